//! Times of assembly, order, symbolic, factor, solve and refinement on three sizes and a slender strip.
//!
//! `cargo bench --bench linear` prints a table; names of models (`small middle square strip`) choose among them.
//! `cargo bench --bench linear -- export middle FILE` writes one matrix (lower triangle by columns, raw
//! little-endian: n and entries as u64, starts and rows as u32, values and load as f64) for `compare.py`.

#![expect(clippy::print_stdout, reason = "a bench prints its table")]

use copperbend_mesh::board::LayerId;
use copperbend_solver::assemble;
use copperbend_solver::freedoms::Freedoms;
use copperbend_solver::laminate::{Laminate, Ply, isotropic_q};
use copperbend_solver::model::{LoadCase, Model};
use copperbend_solver::statics::Prepared;
use nalgebra::{Vector3, Vector6};
use std::error::Error;
use std::io::{BufWriter, Write};
use std::time::Instant;

/// Name and rectangles along and across.
const MODELS: [(&str, usize, usize); 4] =
    [("small", 100, 100), ("middle", 245, 245), ("strip", 2000, 80), ("square", 400, 400)];

fn main() -> Result<(), Box<dyn Error>> {
    let words: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with("--")).collect();
    if let [verb, name, file] = words.as_slice()
        && verb == "export"
    {
        let (_, nx, ny) = MODELS.iter().find(|m| m.0 == name).ok_or("no such model")?;
        return export(&model(*nx, *ny), *nx, *ny, file);
    }
    println!(
        "{:8} {:>8} {:>9} {:>7} {:>8} {:>8} {:>7} {:>7} {:>7} {:>7} {:>6} {:>8} {:>8}",
        "model",
        "unknowns",
        "elements",
        "order",
        "symbolic",
        "assembly",
        "factor",
        "solve",
        "total*",
        "refined",
        "steps",
        "first",
        "Gflop"
    );
    for (name, nx, ny) in MODELS {
        if words.is_empty() || words.iter().any(|w| w == name) {
            run(name, nx, ny)?;
        }
    }
    println!("seconds; total* = order + symbolic + factor + one solve, first factor of the process included");
    Ok(())
}

/// A 30 x 3 x 0.08 mm arm of film, copper and cover, clamped at one end.
fn model(nx: usize, ny: usize) -> Model {
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
    let mut model = Model { laminates: vec![Laminate::new(plies)], ..Model::default() };
    let (length, width) = (30e-3, 3e-3);
    for i in 0..=nx {
        for j in 0..=ny {
            model.nodes_m.push([length * ratio(i, nx), width * (ratio(j, ny) - 0.5), 0.0]);
        }
    }
    let at = |i: usize, j: usize| u32::try_from(i * (ny + 1) + j).unwrap_or(u32::MAX);
    for i in 0..nx {
        for j in 0..ny {
            let [a, b, c, d] = [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)];
            let pair = if (i + j) % 2 == 0 { [[a, b, c], [a, c, d]] } else { [[a, b, d], [b, c, d]] };
            model.triangles.extend(pair);
        }
    }
    model.laminate_of = vec![0; model.triangles.len()];
    model.freedoms = Freedoms::free(model.nodes_m.len());
    for j in 0..=ny {
        model.freedoms.clamp(at(0, j));
    }
    model
}

#[expect(clippy::cast_precision_loss, reason = "grid counts are small")]
fn ratio(part: usize, whole: usize) -> f64 {
    part as f64 / whole as f64
}

fn tip_load(nx: usize, ny: usize) -> LoadCase {
    let mut nodal = vec![Vector6::zeros(); (nx + 1) * (ny + 1)];
    for load in &mut nodal[nx * (ny + 1)..] {
        load[2] = 1e-3 * ratio(1, ny + 1);
    }
    LoadCase { nodal, ..LoadCase::default() }
}

fn run(name: &str, nx: usize, ny: usize) -> Result<(), Box<dyn Error>> {
    let model = model(nx, ny);
    let prepared = Prepared::new(&model)?;
    let seconds = prepared.seconds();
    let structure = prepared.structure();
    let mut rhs = vec![1.0; structure.n_unknowns()];
    let begin = Instant::now();
    structure.solve(prepared.factor(), &mut rhs, 1)?;
    let solve = begin.elapsed().as_secs_f64();
    let begin = Instant::now();
    let solution = prepared.solve(&[tip_load(nx, ny)])?.remove(0);
    let refined = begin.elapsed().as_secs_f64();
    let total = seconds.order + seconds.symbolic + seconds.factor + solve;
    println!(
        "{name:8} {:8} {:9.3} {:7.3} {:8.3} {:8.3} {:7.3} {solve:7.3} {total:7.3} {refined:7.3} {:6} {:8.1e} {:8.1}",
        structure.n_unknowns(),
        seconds.elements,
        seconds.order,
        seconds.symbolic,
        seconds.assembly,
        seconds.factor,
        solution.refinements,
        solution.first_correction,
        structure.work() / 1e9,
    );
    Ok(())
}

fn export(model: &Model, nx: usize, ny: usize, file: &str) -> Result<(), Box<dyn Error>> {
    let matrix = assemble::stiffness(model)?;
    let load = assemble::load_vector(model, &tip_load(nx, ny))?;
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
