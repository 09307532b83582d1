//! The example vane from -45 to +45 degrees in steps of 5, against as many linear rounds on the same mesh.
//!
//! `cargo bench --bench swing` prints a table; names of sizes (`shipped small middle`) choose among them, `library`
//! adds the same by the library's own sparse factorisation. A round is element matrices, their sum, one factor, and
//! one solve refined to seven digits; order and patterns are left out of both sides.

#![expect(clippy::print_stdout, reason = "a bench prints its table")]

use copperbend_mesh::board::understand;
use copperbend_mesh::triangulate::{Role, board_mesh};
use copperbend_solver::bend::loaded_case;
use copperbend_solver::linear::Engine;
use copperbend_solver::model::{Hinge, board_model, loads, triangles_in};
use copperbend_solver::result::BondLimit;
use copperbend_solver::statics::Prepared;
use copperbend_solver::swing::{DeadLoad, FlapAngle, Level, Loads, MovingLoad, Path, board_load};
use std::error::Error;
use std::time::Instant;

const DESIGN: &str = include_str!("../examples/one_arm_vane/design.toml");

/// Name and mesh wishes.
const SIZES: [(&str, &str); 3] = [
    ("shipped", ""),
    ("small", "[mesh]\ncoarse = \"0.4 mm\"\nfine = \"0.12 mm\"\nmax_triangles = 400000\n"),
    ("middle", "[mesh]\ncoarse = \"0.15 mm\"\nfine = \"0.06 mm\"\nmax_triangles = 400000\n"),
];

fn main() -> Result<(), Box<dyn Error>> {
    let words: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with("--")).collect();
    println!(
        "{:8} {:8} {:>9} {:>9} {:>8} {:>8} {:>8} {:>8}",
        "size", "engine", "triangles", "unknowns", "factors", "swing s", "round s", "ratio"
    );
    for (name, wishes) in SIZES {
        let sized = SIZES.iter().any(|(size, _)| words.iter().any(|w| w == size));
        if sized && !words.iter().any(|w| w == name) {
            continue;
        }
        run([name, "fronts"], wishes, Engine::Fronts)?;
        if words.iter().any(|w| w == "library") {
            run([name, "library"], wishes, Engine::Library)?;
        }
    }
    println!("ratio = swing / (factors * round)");
    Ok(())
}

fn run([name, label]: [&str; 2], wishes: &str, engine: Engine) -> Result<(), Box<dyn Error>> {
    let board = understand("design.toml", &format!("{DESIGN}\n{wishes}")).map_err(|f| f.to_string())?;
    let mesh = board_mesh(&board, &[]).map_err(|e| e.to_string())?;
    let mut own = board_model(&board, &mesh, BondLimit::Bonded)?;
    own.model.engine = engine;
    let case = loaded_case(&board, &mesh, &own)?;
    let mut round = f64::INFINITY;
    for _ in 0..3 {
        let prepared = Prepared::new(&own.model)?;
        let begin = Instant::now();
        let _ = prepared.solve(std::slice::from_ref(&case))?;
        let s = prepared.seconds();
        round = round.min(s.elements + s.assembly + s.factor + begin.elapsed().as_secs_f64());
    }
    let flap = triangles_in(&mesh, Role::Flap);
    let hinge = Hinge::of(&board);
    let angle = FlapAngle::new(&own.model, &flap, &hinge).ok_or("no flap")?;
    let axis = hinge.axis();
    let push = DeadLoad { nodal: loads::unit_couple(&mesh, &flap, [axis[0], axis[1]]) };
    let weight = board_load(&board, &mesh, &own, board.gravity_m_s2)?;
    let steady: [&dyn MovingLoad; 1] = [&weight];
    let mut path = Path::new(&own.model, Loads { steady: &steady, driven: Some(&push) })?;
    let begin = Instant::now();
    path.to_level(Level { steady: 1.0, driven: 0.0, thermal: 1.0, prescribed: 1.0 })?;
    let start = path.mark();
    for sign in [1.0, -1.0] {
        path.back_to(&start);
        for step in 1..=9 {
            path.to_measure(&angle, f64::to_radians(sign * 5.0 * f64::from(step)))?;
        }
    }
    let swing = begin.elapsed().as_secs_f64();
    let factors = path.factorisations();
    let count = f64::from(u32::try_from(factors)?);
    println!(
        "{name:8} {label:8} {:9} {:9} {factors:8} {swing:8.3} {round:8.3} {:8.2}",
        mesh.flat.triangles.len(),
        path.n_unknowns(),
        swing / (count * round)
    );
    Ok(())
}
