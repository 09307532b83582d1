//! The solver against dense elimination, its order against minimum degree, its errors against planted faults.

use super::*;
use crate::linear::dissect;
use crate::linear::order::minimum_degree;
use crate::linear::tree::Tree;
use nalgebra::{DMatrix, DVector};

/// Grid graph with both diagonals alternating, and its places.
fn grid(nx: u32, ny: u32) -> (Graph, Vec<[f64; 3]>) {
    let at = |i: u32, j: u32| i * ny + j;
    let mut edges = Vec::new();
    for i in 0..nx {
        for j in 0..ny {
            let mut join = |a: u32, b: u32| edges.extend([(a, b), (b, a)]);
            if i + 1 < nx {
                join(at(i, j), at(i + 1, j));
            }
            if j + 1 < ny {
                join(at(i, j), at(i, j + 1));
            }
            if i + 1 < nx && j + 1 < ny {
                if (i + j) % 2 == 0 {
                    join(at(i, j), at(i + 1, j + 1));
                } else {
                    join(at(i + 1, j), at(i, j + 1));
                }
            }
        }
    }
    edges.sort_unstable();
    let mut start = vec![0u32; (nx * ny) as usize + 1];
    for &(a, _) in &edges {
        start[a as usize + 1] += 1;
    }
    for i in 1..start.len() {
        start[i] += start[i - 1];
    }
    let places = (0..nx * ny).map(|n| [f64::from(n / ny), f64::from(n % ny), 0.0]).collect();
    (Graph { start, neighbours: edges.iter().map(|e| e.1).collect() }, places)
}

/// A positive definite matrix on the structure, as stored values and dense.
fn matrix(structure: &Structure) -> (Vec<f64>, DMatrix<f64>) {
    let n = structure.n_unknowns();
    let mut dense = DMatrix::zeros(n, n);
    let mut values = Vec::new();
    for column in 0..n {
        let range = structure.entry_start()[column] as usize..structure.entry_start()[column + 1] as usize;
        for &row in &structure.entry_rows()[range] {
            let row = row as usize;
            let value = if row == column { 60.0 } else { ((row * 7 + column * 13) % 11) as f64 / 11.0 - 0.5 };
            values.push(value);
            dense[(row, column)] = value;
            dense[(column, row)] = value;
        }
    }
    (values, dense)
}

fn small() -> (Graph, Vec<u8>, Structure) {
    let (graph, places) = grid(7, 5);
    let sizes: Vec<u8> = (0u8..35).map(|i| 1 + (i * 5) % 6).collect();
    let structure = Structure::new(&graph, &sizes, &places).unwrap();
    (graph, sizes, structure)
}

#[test]
fn solution_agrees_with_dense_elimination() {
    let (_, _, structure) = small();
    let (values, dense) = matrix(&structure);
    let n = structure.n_unknowns();
    let factor = structure.factorise(&values, None).unwrap();
    let mut rhs: Vec<f64> = (0..3 * n).map(|i| ((i * 31) % 17) as f64 - 8.0).collect();
    let cholesky = dense.cholesky().unwrap();
    let expected: Vec<f64> = rhs
        .chunks(n)
        .flat_map(|b| cholesky.solve(&DVector::from_column_slice(b)).data.as_vec().clone())
        .collect();
    structure.solve(&factor, &mut rhs, 3).unwrap();
    for (i, (a, b)) in rhs.iter().zip(&expected).enumerate() {
        assert!((a - b).abs() < 1e-13, "entry {i}: {a} against {b}");
    }
    // A second matrix into the same memory.
    let halved: Vec<f64> = values.iter().map(|v| 0.5 * v).collect();
    let factor = structure.factorise(&halved, Some(factor)).unwrap();
    let mut rhs: Vec<f64> = (0..n).map(|i| ((i * 31) % 17) as f64 - 8.0).collect();
    structure.solve(&factor, &mut rhs, 1).unwrap();
    assert!(
        (rhs[5] - 2.0 * expected[5]).abs() < 1e-13,
        "refactored: {} against {}",
        rhs[5],
        2.0 * expected[5]
    );
}

#[test]
fn bad_pivot_and_bad_entry_name_block_and_component() {
    let (_, sizes, structure) = small();
    let (values, _) = matrix(&structure);
    for position in [0usize, 11, 34] {
        let block = structure.order()[position];
        let component = u32::from(sizes[block as usize]) - 1;
        let unknown = structure.first()[position] + component;
        let diagonal = structure.entry_start()[unknown as usize] as usize;
        let mut spoilt = values.clone();
        spoilt[diagonal] = -1e3;
        let error = structure.factorise(&spoilt, None).unwrap_err();
        assert_eq!(
            error,
            LinearError::Pivot { block, component },
            "negative diagonal at position {position}"
        );
        spoilt[diagonal] = f64::NAN;
        let error = structure.factorise(&spoilt, None).unwrap_err();
        assert_eq!(error, LinearError::NotFinite { block, component }, "NaN at position {position}");
    }
}

#[test]
fn dissection_orders_every_block_once_and_saves_work_on_a_square() {
    let (graph, places) = grid(140, 141);
    let sizes = vec![6; graph.len()];
    let order = dissect::order(&graph, &places).unwrap();
    let mut sorted = order.clone();
    sorted.sort_unstable();
    assert!(sorted.iter().enumerate().all(|(i, &b)| i == b as usize), "a permutation");
    let (_, dissected) = Tree::postordered(&graph, &sizes, order.clone());
    let (_, degree) = Tree::postordered(&graph, &sizes, minimum_degree(&graph).unwrap());
    assert!(
        dissected.work < 0.85 * degree.work,
        "dissection {:.2e}, minimum degree {:.2e}",
        dissected.work,
        degree.work
    );
    for threads in [1, 2, 3] {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        let again = pool.install(|| dissect::order(&graph, &places)).unwrap();
        assert!(again == order, "{threads} threads change the order");
    }
}

#[test]
fn dissection_bears_points_that_coincide() {
    // Rigid pieces far apart may share a place; loose parts have no edges between them.
    let (graph, places) = grid(30, 10);
    let same = vec![[1.0, 2.0, 3.0]; places.len()];
    let order = dissect::order(&graph, &same).unwrap();
    let mut sorted = order;
    sorted.sort_unstable();
    assert!(sorted.iter().enumerate().all(|(i, &b)| i == b as usize), "a permutation");
    let empty = Graph { start: vec![0; 301], neighbours: Vec::new() };
    assert_eq!(dissect::order(&empty, &places).unwrap().len(), 300, "loose blocks");
}
