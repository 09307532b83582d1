//! The program: parse, dispatch, exit code. Nothing else in the project reads files, prints or draws.

mod args;
mod commands;
mod failure;
mod given;
mod interrupt;
mod machine;
mod output;
mod record;
mod screen;

use clap::Parser;
use std::process::ExitCode;

fn main() -> ExitCode {
    machine::with_large_pages();
    let cli = args::Cli::parse();
    interrupt::watch();
    match commands::run(&cli) {
        Ok(commands::Outcome::Done) => ExitCode::SUCCESS,
        Ok(commands::Outcome::Exceeded) => ExitCode::from(1),
        Err(failure) => {
            screen::complain(&failure);
            ExitCode::from(2)
        }
    }
}
