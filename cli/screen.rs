//! What reaches the terminal: results on standard output, progress and errors on standard error.
//!
//! A reader that closes the pipe early (`| head`) is no error.

use crate::failure::Failure;
use copperbend_solver::bend::Progress;
use std::io::{self, IsTerminal, Write};

/// Prints results.
///
/// # Errors
/// Standard output cannot be written, for another reason than a closed pipe.
pub(crate) fn print(text: &str) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(e) if e.kind() != io::ErrorKind::BrokenPipe => {
            Err(Failure::new(format!("standard output: cannot write: {e}"), "check where it is sent"))
        }
        _ => Ok(()),
    }
}

/// Prints an error; there is nowhere left to complain if that fails.
pub(crate) fn complain(failure: &Failure) {
    let _ = writeln!(io::stderr().lock(), "error: {failure}");
}

/// One line on standard error that says how far the work has come; silent when nobody watches.
#[derive(Debug)]
pub(crate) struct ProgressLine {
    watched: bool,
    shown: String,
}

impl ProgressLine {
    /// A line that is shown when standard error is a terminal.
    pub(crate) fn new() -> Self {
        Self { watched: io::stderr().is_terminal(), shown: String::new() }
    }

    /// Shows a stage.
    pub(crate) fn say(&mut self, text: &str) {
        if self.watched && text != self.shown {
            text.clone_into(&mut self.shown);
            let _ = write!(io::stderr().lock(), "\r\x1b[K{text}");
        }
    }
}

impl Progress for ProgressLine {
    fn report(&mut self, stage: &str, fraction: f64) -> bool {
        if self.watched {
            self.say(&format!("{stage} {:.0} %", 100.0 * fraction.clamp(0.0, 1.0)));
        }
        true
    }
}

impl Drop for ProgressLine {
    fn drop(&mut self) {
        if !self.shown.is_empty() {
            let _ = write!(io::stderr().lock(), "\r\x1b[K");
        }
    }
}
