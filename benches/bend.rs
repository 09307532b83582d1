//! Times of whole passes of `bend`, from the text of a design to the report, at three sizes.
//!
//! `cargo bench --bench bend` prints a table; names of sizes (`small middle large`) choose among them. The design
//! is the example with one arm, its mesh set finer and not refined. Files and pictures are left out.

#![expect(clippy::print_stdout, reason = "a bench prints its table")]

use copperbend_mesh::board::understand;
use copperbend_solver::bend::{BendOptions, Progress, bend};
use std::error::Error;
use std::time::Instant;

const DESIGN: &str = include_str!("../examples/one_arm_vane/design.toml");

/// Name, coarse and fine triangle size.
const SIZES: [(&str, &str, &str); 3] =
    [("small", "0.4 mm", "0.12 mm"), ("middle", "0.15 mm", "0.06 mm"), ("large", "0.078 mm", "0.03 mm")];

/// Remembers when each stage began.
#[derive(Debug, Default)]
struct Clock {
    stages: Vec<(String, Instant)>,
}

impl Progress for Clock {
    fn report(&mut self, stage: &str, _fraction: f64) -> bool {
        self.stages.push((stage.to_owned(), Instant::now()));
        true
    }
}

impl Clock {
    /// Seconds from the beginning of a stage to the beginning of the next.
    fn seconds(&self, name: &str) -> f64 {
        let pairs = self.stages.windows(2).filter(|pair| pair[0].0 == name);
        pairs.map(|pair| (pair[1].1 - pair[0].1).as_secs_f64()).sum()
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let words: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with("--")).collect();
    println!(
        "{:8} {:>9} {:>9} {:>7} {:>7} {:>7} {:>7} {:>7} {:>7}",
        "size", "triangles", "unknowns", "mesh", "model", "solve", "recover", "rest*", "total"
    );
    for (name, coarse, fine) in SIZES {
        if words.is_empty() || words.iter().any(|w| w == name) {
            run(name, coarse, fine)?;
        }
    }
    println!(
        "seconds; rest* = reading the design, tables, arrays for maps, copper modulus at both ends of its span"
    );
    Ok(())
}

fn run(name: &str, coarse: &str, fine: &str) -> Result<(), Box<dyn Error>> {
    let text = format!(
        "{DESIGN}\n[mesh]\ncoarse = \"{coarse}\"\nfine = \"{fine}\"\nmax_refinements = 0\nmax_triangles = 400000\n"
    );
    let begin = Instant::now();
    let board = understand("design.toml", &text).map_err(|faults| faults.to_string())?;
    let mut clock = Clock::default();
    let report =
        bend(&board, &BendOptions { refine: false, swing: false, ..BendOptions::default() }, &mut clock)?;
    let total = begin.elapsed().as_secs_f64();
    let mesh = &report.answers.first().ok_or("no answer")?.mesh;
    let parts = ["mesh", "model", "solve", "recover"].map(|stage| clock.seconds(stage));
    let [meshing, model, solve, recover] = parts;
    let rest = total - parts.iter().sum::<f64>();
    println!(
        "{name:8} {:9} {:9} {meshing:7.3} {model:7.3} {solve:7.3} {recover:7.3} {rest:7.3} {total:7.3}",
        mesh.triangles, mesh.unknowns
    );
    Ok(())
}
