//! The beam of the wide-swinging example from -45 to +45 degrees by its coil, in steps of 5, against the shell at the
//! same steps, and the rate of variants of the one-arm example with one and with all threads.
//!
//! `cargo bench --bench beam` prints both; the shell runs on the mesh of the program's own sizes.

#![expect(clippy::print_stdout, reason = "a bench prints its table")]

use copperbend_mesh::board::understand;
use copperbend_mesh::design::vary::{Change, places, table, variant, variants};
use copperbend_mesh::triangulate::{Role, board_mesh};
use copperbend_solver::beam::answer::{BeamScope, beam, swing};
use copperbend_solver::beam::board::{BeamWishes, board_beam};
use copperbend_solver::lorentz::moving::CarriedPath;
use copperbend_solver::lorentz::nodal::{Carrier, held_triangles};
use copperbend_solver::magnet::Field;
use copperbend_solver::model::{Hinge, board_model, triangles_in};
use copperbend_solver::result::BondLimit;
use copperbend_solver::swing::{FlapAngle, Level, Loads, MovingLoad, Path, board_load};
use rayon::prelude::*;
use std::error::Error;
use std::time::Instant;

const DESIGN: &str = include_str!("../examples/one_arm_vane/design.toml");

const WIDE: &str = include_str!("../examples/wide_swing_vane/design.toml");

fn main() -> Result<(), Box<dyn Error>> {
    let board = understand("design.toml", WIDE).map_err(|f| f.to_string())?;
    let angles: Vec<f64> = (-9..=9_i32).map(|k| f64::to_radians(5.0 * f64::from(k))).collect();
    let begin = Instant::now();
    let own = board_beam(&board, &BeamWishes::default())?;
    let built = begin.elapsed().as_secs_f64();
    let mut fast = f64::INFINITY;
    let mut states = 0;
    for _ in 0..5 {
        let begin = Instant::now();
        let (found, stopped) = swing(&board, &own, &[], &angles)?;
        fast = fast.min(begin.elapsed().as_secs_f64());
        states = found.len();
        if let Some(why) = stopped {
            println!("beam stopped: {why}");
        }
    }
    let slow = shell(&angles)?;
    println!(
        "beam: built in {:.2} ms, {states} states in {:.2} ms; shell {:.0} ms; ratio {:.0}",
        1e3 * built,
        1e3 * fast,
        1e3 * slow,
        slow / fast
    );
    rate(1)?;
    rate(0)
}

/// Seconds of the shell for the same angles by the same drive.
fn shell(angles: &[f64]) -> Result<f64, Box<dyn Error>> {
    let board = understand("design.toml", WIDE).map_err(|f| f.to_string())?;
    let current = board.current.clone().ok_or("no current path")?;
    let mesh = board_mesh(&board, &[]).map_err(|e| e.to_string())?;
    let own = board_model(&board, &mesh, BondLimit::Bonded)?;
    let flap = triangles_in(&mesh, Role::Flap);
    let hinge = Hinge::of(&board);
    let angle = FlapAngle::new(&own.model, &flap, &hinge).ok_or("no flap")?;
    let held = held_triangles(&board, &mesh);
    let carrier = Carrier { mesh: &mesh.flat, reference_z_m: own.reference_z_m, held: &held };
    let carried = CarriedPath::new(&current, &Field::new(&board.magnets), &carrier, 1.0);
    let weight = board_load(&board, &mesh, &own, board.gravity_m_s2)?;
    let steady: [&dyn MovingLoad; 1] = [&weight];
    let mut path = Path::new(&own.model, Loads { steady: &steady, driven: Some(&carried) })?;
    let begin = Instant::now();
    path.to_level(Level { steady: 1.0, driven: 0.0, thermal: 1.0, prescribed: 1.0 })?;
    let start = path.mark();
    for up in [true, false] {
        path.back_to(&start);
        let mut side: Vec<f64> = angles.iter().copied().filter(|a| (*a > 0.0) == up && *a != 0.0).collect();
        side.sort_by(|a, b| a.abs().total_cmp(&b.abs()));
        for goal in side {
            path.to_measure(&angle, goal)?;
        }
    }
    Ok(begin.elapsed().as_secs_f64())
}

/// Variants a second with some threads (0: all).
fn rate(threads: usize) -> Result<(), Box<dyn Error>> {
    let changes = [
        Change::parse("layer[copper top].thickness = 9 um .. 35 um : 20")?,
        Change::parse("shapes.arm.rectangle.to[1] = 0.9 mm .. 1.2 mm : 20")?,
    ];
    let design = table(DESIGN)?;
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build()?;
    let total = variants(&changes);
    let begin = Instant::now();
    let good = pool.install(|| {
        (0..total)
            .into_par_iter()
            .filter(|&n| {
                let text = variant(&design, &changes, &places(&changes, n));
                let board = text.ok().and_then(|t| understand("design.toml", &t).ok());
                board.is_some_and(|b| beam(&b, &BeamWishes::default(), BeamScope { frequencies: 4 }).is_ok())
            })
            .count()
    });
    let seconds = begin.elapsed().as_secs_f64();
    println!(
        "{} thread(s): {good} of {total} variants in {seconds:.2} s, {:.2} ms each",
        pool.current_num_threads(),
        1e3 * seconds / total as f64
    );
    Ok(())
}
