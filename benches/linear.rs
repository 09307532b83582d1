//! Times of order, symbolic, factor, solve and refinement on plain grids and on a real graded arm mesh.
//!
//! `cargo bench --bench linear` prints a table; names of models (`tiny small middle strip square arm`) choose among
//! them, `library` adds the same by the library's own sparse factorisation on the same order, `modes` the time of ten
//! natural modes.
//! `cargo bench --bench linear -- export middle FILE` writes one matrix (lower triangle by columns, raw
//! little-endian: n and entries as u64, starts and rows as u32, values and load as f64) for `compare.py`.

#![expect(clippy::print_stdout, reason = "a bench prints its table")]

use copperbend_mesh::board::{LayerId, understand};
use copperbend_mesh::triangulate::board_mesh;
use copperbend_solver::assemble;
use copperbend_solver::laminate::{Ply, isotropic_q};
use copperbend_solver::linear::Engine;
use copperbend_solver::model::{LoadCase, Model, board_model};
use copperbend_solver::modes::{ModeWishes, modes};
use copperbend_solver::result::BondLimit;
use copperbend_solver::statics::Prepared;
use nalgebra::{Vector3, Vector6};
use std::error::Error;
use std::io::{BufWriter, Write};
use std::time::Instant;

/// Name and rectangles along and across; none for the mesh of the example with one arm.
const MODELS: [(&str, Option<[u32; 2]>); 6] = [
    ("tiny", Some([60, 13])),
    ("small", Some([100, 100])),
    ("middle", Some([245, 245])),
    ("strip", Some([2000, 80])),
    ("square", Some([400, 400])),
    ("arm", None),
];

/// The example whose mesh is the `arm`, and triangle sizes that give about as many unknowns as `middle`.
const ARM: &str = include_str!("../examples/one_arm_vane/design.toml");
const ARM_MESH: &str =
    "\n[mesh]\ncoarse = \"0.066 mm\"\nfine = \"0.027 mm\"\nmax_refinements = 0\nmax_triangles = 400000\n";

/// A model and one load on it.
struct Problem {
    model: Model,
    load: LoadCase,
}

fn main() -> Result<(), Box<dyn Error>> {
    let words: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with("--")).collect();
    if let [verb, name, file] = words.as_slice()
        && verb == "export"
    {
        let (_, grid) = MODELS.iter().find(|m| m.0 == name).ok_or("no such model")?;
        return export(&problem(*grid)?, file);
    }
    println!(
        "{:8} {:8} {:>8} {:>7} {:>8} {:>7} {:>7} {:>7} {:>7} {:>7} {:>7} {:>7} {:>6} {:>7} {:>8} {:>8}",
        "model",
        "engine",
        "unknowns",
        "order",
        "symbolic",
        "factor",
        "again",
        "solve",
        "eight",
        "total*",
        "LDL",
        "refined",
        "steps",
        "Gflop",
        "MB",
        "forecast"
    );
    let named = |w: &String| MODELS.iter().any(|m| m.0 == w);
    for (name, grid) in MODELS {
        if !words.iter().any(named) || words.iter().any(|w| w == name) {
            let mut problem = problem(grid)?;
            let said = |word: &str| words.iter().any(|w| w == word);
            for (engine, label) in [(Engine::Fronts, "fronts"), (Engine::Library, "library")] {
                problem.model.engine = engine;
                if engine == Engine::Fronts || said("library") {
                    run([name, label], &problem)?;
                    if said("modes") {
                        ten_modes([name, label], &problem)?;
                    }
                }
            }
        }
    }
    println!(
        "seconds; solve, eight: best of three; factor: first of its pattern, again: into the same memory, LDL: the same with signs; total* = order \
         + symbolic + factor + solve"
    );
    Ok(())
}

fn problem(grid: Option<[u32; 2]>) -> Result<Problem, Box<dyn Error>> {
    let Some([nx, ny]) = grid else {
        let board = understand("design.toml", &format!("{ARM}{ARM_MESH}")).map_err(|f| f.to_string())?;
        let mesh = board_mesh(&board, &[])?;
        let model = board_model(&board, &mesh, BondLimit::AsWritten)?.model;
        let mut nodal = vec![Vector6::zeros(); model.nodes_m.len()];
        for (load, p) in nodal.iter_mut().zip(&model.nodes_m) {
            load[2] = 1e-6 * p[0];
        }
        return Ok(Problem { model, load: LoadCase { nodal, ..LoadCase::default() } });
    };
    Ok(Problem { model: model(nx, ny), load: tip_load(nx, ny) })
}

/// A 30 x 3 x 0.08 mm arm of film, copper and cover, clamped at one end.
fn model(nx: u32, ny: u32) -> Model {
    let ply = |z0_um: f64, z1_um: f64, e_pa: f64, nu: f64| Ply {
        layer: LayerId(0),
        z0_m: z0_um * 1e-6,
        z1_m: z1_um * 1e-6,
        q_pa: isotropic_q(e_pa, nu),
        expansion_per_k: Vector3::zeros(),
        density_kg_m3: 1420.0,
        heating_k: 0.0,
        sliding: false,
    };
    let plies = vec![ply(-40.0, 10.0, 4e9, 0.34), ply(10.0, 28.0, 117e9, 0.34), ply(28.0, 40.0, 3e9, 0.34)];
    let mut model = Model::plate([0.0, -1.5e-3], [30e-3, 3e-3], [nx, ny], plies);
    (0..=ny).for_each(|node| model.freedoms.clamp(node));
    model
}

fn tip_load(nx: u32, ny: u32) -> LoadCase {
    let column = ny as usize + 1;
    let mut nodal = vec![Vector6::zeros(); (nx as usize + 1) * column];
    for load in &mut nodal[nx as usize * column..] {
        load[2] = 1e-3 / f64::from(ny + 1);
    }
    LoadCase { nodal, ..LoadCase::default() }
}

fn run([name, label]: [&str; 2], problem: &Problem) -> Result<(), Box<dyn Error>> {
    let (structure, values) = assemble::ordered(&problem.model)?;
    let [order, symbolic] = structure.seconds();
    let mut clock = Instant::now();
    let mut lap = || std::mem::replace(&mut clock, Instant::now()).elapsed().as_secs_f64();
    let first = structure.factorise(&values, None)?;
    let factor = lap();
    let made = structure.factorise(&values, Some(first))?;
    let again = lap();
    let [megabytes, forecast] =
        [made.memory_bytes() >> 20, structure.memory_bytes(rayon::current_num_threads()) >> 20];
    let n = structure.n_unknowns();
    let mut rhs = vec![1.0; 8 * n];
    let (mut solve, mut eight) = (f64::INFINITY, f64::INFINITY);
    for _ in 0..3 {
        lap();
        structure.solve(&made, &mut rhs[..n], 1)?;
        solve = solve.min(lap());
        structure.solve(&made, &mut rhs, 8)?;
        eight = eight.min(lap());
    }
    let signed = structure.factorise_signed(&values, Some(made))?;
    let ldl = lap();
    drop((signed, values, rhs));
    let (refined, steps) = refined(problem)?;
    let total = order + symbolic + factor + solve;
    let gflop = structure.work() / 1e9;
    println!(
        "{name:8} {label:8} {n:8} {order:7.3} {symbolic:8.3} {factor:7.3} {again:7.3} {solve:7.3} {eight:7.3} \
         {total:7.3} {ldl:7.3} {refined:7.3} {steps:6} {gflop:7.1} {megabytes:8} {forecast:8}"
    );
    Ok(())
}

/// Time of ten modes, with and without the proof that none is missed, and the worst residual.
fn ten_modes([name, label]: [&str; 2], problem: &Problem) -> Result<(), Box<dyn Error>> {
    for prove in [false, true] {
        let begin = Instant::now();
        let found = modes(&problem.model, &ModeWishes { prove, ..ModeWishes::default() })?;
        let seconds = begin.elapsed().as_secs_f64();
        let worst = found.modes.iter().map(|m| m.residual).fold(0.0, f64::max);
        println!(
            "{name:8} {label:8} ten modes, {} proof: {seconds:.2} s of which eigenvalues {:.2} s, {} solves of eight, worst residual {worst:.0e}",
            if prove { "with" } else { "without" },
            found.seconds,
            found.solves,
        );
    }
    Ok(())
}

/// Seconds and steps of the solution refined to seven digits, factor not counted.
fn refined(problem: &Problem) -> Result<(f64, u32), Box<dyn Error>> {
    let prepared = Prepared::new(&problem.model)?;
    let begin = Instant::now();
    let solution = prepared.solve(std::slice::from_ref(&problem.load))?.remove(0);
    Ok((begin.elapsed().as_secs_f64(), solution.refinements))
}

fn export(problem: &Problem, file: &str) -> Result<(), Box<dyn Error>> {
    let model = &problem.model;
    let matrix = assemble::stiffness(model)?;
    let load = assemble::load_vector(model, &problem.load)?;
    let mut starts = vec![0u32];
    let mut rows = Vec::new();
    let mut values = Vec::new();
    for (j, column) in matrix.col_iter().enumerate() {
        for (&row, &value) in column.row_indices().iter().zip(column.values()).filter(|(row, _)| **row >= j) {
            rows.push(u32::try_from(row)?);
            values.push(value);
        }
        starts.push(u32::try_from(rows.len())?);
    }
    let mut out = BufWriter::new(std::fs::File::create(file)?);
    for count in [load.len(), rows.len()] {
        out.write_all(&u64::try_from(count)?.to_le_bytes())?;
    }
    for index in starts.iter().chain(&rows) {
        out.write_all(&index.to_le_bytes())?;
    }
    for value in values.iter().chain(&load) {
        out.write_all(&value.to_le_bytes())?;
    }
    Ok(out.flush()?)
}
