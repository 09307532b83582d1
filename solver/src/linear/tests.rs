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

/// A matrix like that of a layered shell on a grid: positive definite, coupled, of the given block sizes.
fn grid_structure(nx: u32, ny: u32, sizes: &[u8], engine: Engine) -> Structure {
    let (graph, places) = grid(nx, ny);
    Structure::with_engine(&graph, sizes, &places, engine).unwrap()
}

/// Values with a dominant diagonal, less `shift` on it.
fn values(structure: &Structure, shift: f64) -> Vec<f64> {
    let mut values = Vec::with_capacity(structure.entry_rows().len());
    for column in 0..structure.n_unknowns() {
        let range = structure.entry_start()[column] as usize..structure.entry_start()[column + 1] as usize;
        for &row in &structure.entry_rows()[range] {
            let row = row as usize;
            let off = ((row * 7 + column * 13) % 11) as f64 / 11.0 - 0.5;
            values.push(if row == column { 25.0 + (row % 5) as f64 - shift } else { off });
        }
    }
    values
}

/// `K x` with the stored lower triangle.
fn product(structure: &Structure, values: &[f64], x: &[f64]) -> Vec<f64> {
    let mut y = vec![0.0; x.len()];
    for column in 0..x.len() {
        let range = structure.entry_start()[column] as usize..structure.entry_start()[column + 1] as usize;
        for at in range {
            let row = structure.entry_rows()[at] as usize;
            y[row] += values[at] * x[column];
            if row != column {
                y[column] += values[at] * x[row];
            }
        }
    }
    y
}

fn sample(n: usize) -> Vec<f64> {
    (0..n).map(|i| ((i * 31) % 17) as f64 - 8.0).collect()
}

fn worst(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max)
}

#[test]
fn both_engines_give_the_same_solution_for_any_number_of_right_hand_sides() {
    let sizes: Vec<u8> = (0..60u32 * 45).map(|i| [6, 6, 6, 5, 6, 1, 6, 3][i as usize % 8]).collect();
    let own = grid_structure(60, 45, &sizes, Engine::Fronts);
    let library = grid_structure(60, 45, &sizes, Engine::Library);
    let n = own.n_unknowns();
    assert_eq!(own.order(), library.order(), "the order does not depend on the engine");
    for signed in [false, true] {
        let stored = values(&own, if signed { 24.0 } else { 0.0 });
        let factored = |s: &Structure| {
            if signed { s.factorise_signed(&stored, None) } else { s.factorise(&stored, None) }.unwrap()
        };
        let (a, b) = (factored(&own), factored(&library));
        assert_eq!(a.negative_pivots(), b.negative_pivots(), "signs, {signed}");
        assert_eq!(a.negative_pivots() > 0, signed, "{} negative pivots", a.negative_pivots());
        for n_rhs in [1usize, 2, 3, 5, 8, 15] {
            let load = sample(n * n_rhs);
            let (mut x, mut y) = (load.clone(), load.clone());
            own.solve(&a, &mut x, n_rhs).unwrap();
            library.solve(&b, &mut y, n_rhs).unwrap();
            let size = y.iter().fold(0.0, |m: f64, v| m.max(v.abs()));
            assert!(worst(&x, &y) < 1e-9 * size, "{n_rhs} loads: {:.1e} of {size:.1e}", worst(&x, &y));
            // Backward error: without an exchange of pivots an indefinite matrix loses a few digits.
            let residual = worst(&product(&own, &stored, &x[..n]), &load[..n]);
            assert!(residual < 1e-10 * 60.0 * size, "residual {residual:.1e}, solution {size:.1e}");
        }
    }
}

#[test]
fn negative_pivots_are_the_negative_eigenvalues() {
    let (graph, sizes, structure) = small();
    assert_eq!(graph.len(), sizes.len());
    let (stored, dense) = matrix(&structure);
    for shift in [0.0, 57.0, 58.5, 60.1, 61.3, 62.0, 80.0] {
        let mut shifted = stored.clone();
        for column in 0..structure.n_unknowns() {
            shifted[structure.entry_start()[column] as usize] -= shift;
        }
        let moved = &dense - DMatrix::identity(dense.nrows(), dense.nrows()) * shift;
        let expected = moved.symmetric_eigenvalues().iter().filter(|v| **v < 0.0).count();
        let factor = structure.factorise_signed(&shifted, None).unwrap();
        assert_eq!(factor.negative_pivots(), expected, "shift {shift}");
        let refused = structure.factorise(&shifted, None);
        assert_eq!(refused.is_err(), expected > 0, "shift {shift} without signs");
    }
}

/// Large enough for several branches, shared fronts and parallel kernels.
#[test]
fn same_bits_for_any_number_of_threads() {
    let sizes = vec![6; 130 * 120];
    let structure = grid_structure(130, 120, &sizes, Engine::Fronts);
    let stored = values(&structure, 0.0);
    let n = structure.n_unknowns();
    let run = |threads: usize, signed: bool| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| {
            let factor = if signed {
                structure.factorise_signed(&stored, None)
            } else {
                structure.factorise(&stored, None)
            };
            let factor = factor.unwrap();
            let mut x = sample(3 * n);
            structure.solve(&factor, &mut x, 3).unwrap();
            x
        })
    };
    let mut wants = Vec::new();
    for signed in [false, true] {
        let one = run(1, signed);
        let residual = worst(&product(&structure, &stored, &one[..n]), &sample(3 * n)[..n]);
        assert!(residual < 1e-11, "residual {residual:.1e}");
        for threads in [2, 3, 2] {
            assert!(run(threads, signed) == one, "{threads} threads, signed {signed}: other bits");
        }
        wants.push(one);
    }
    assert!(worst(&wants[0], &wants[1]) < 1e-11, "with and without signs");
}

#[test]
fn memory_is_as_forecast() {
    let sizes = vec![6; 130 * 120];
    let structure = grid_structure(130, 120, &sizes, Engine::Fronts);
    let stored = values(&structure, 0.0);
    let used = |threads: usize, signed: bool| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        let factored = || match signed {
            false => structure.factorise(&stored, None),
            true => structure.factorise_signed(&stored, None),
        };
        pool.install(|| factored().unwrap().memory_bytes())
    };
    assert_eq!(used(1, false), structure.memory_bytes(1), "one thread");
    assert_eq!(used(1, true), structure.signed_memory_bytes(1), "one thread with signs");
    assert_ne!(structure.signed_memory_bytes(1), structure.memory_bytes(1), "signs want other room");
    // With more threads it depends on who is first, so the forecast is the most there can be.
    for (signed, forecast) in [(false, structure.memory_bytes(2)), (true, structure.signed_memory_bytes(2))] {
        let (two, forecast) = (used(2, signed) as f64, forecast as f64);
        assert!(two <= 1.01 * forecast, "{two} bytes taken, {forecast} forecast, signs {signed}");
        assert!(two > 0.85 * forecast, "{two} bytes taken, {forecast} forecast, signs {signed}");
    }
}

#[test]
fn a_second_matrix_reuses_the_memory() {
    let sizes = vec![6; 40 * 50];
    let structure = grid_structure(40, 50, &sizes, Engine::Fronts);
    let first = structure.factorise(&values(&structure, 0.0), None).unwrap();
    let before = first.memory_bytes();
    let stored = values(&structure, 24.5);
    let again = structure.factorise_signed(&stored, Some(first)).unwrap();
    let fresh = structure.factorise_signed(&stored, None).unwrap();
    assert!(again.memory_bytes() < before + before / 4, "only the room for signs is new");
    let (mut x, mut y) = (sample(structure.n_unknowns()), sample(structure.n_unknowns()));
    structure.solve(&again, &mut x, 1).unwrap();
    structure.solve(&fresh, &mut y, 1).unwrap();
    assert!(x == y, "old content leaks into the factor");
}

/// Shapes of graph at the edge of what a tree can be.
#[test]
fn odd_graphs_are_solved() {
    let star = |n: u32| {
        let mut start = vec![0, n];
        start.extend((1..=n).map(|i| n + i));
        let mut neighbours: Vec<u32> = (1..=n).collect();
        neighbours.extend(std::iter::repeat_n(0, n as usize));
        Graph { start, neighbours }
    };
    let dense = |n: u32| Graph {
        start: (0..=n).map(|i| i * (n - 1)).collect(),
        neighbours: (0..n).flat_map(|i| (0..n).filter(move |&j| j != i)).collect(),
    };
    let path = |n: u32| {
        let lists = (0..n).map(|i| [i.checked_sub(1), (i + 1 < n).then_some(i + 1)].into_iter().flatten());
        let mut graph = Graph { start: vec![0], neighbours: Vec::new() };
        for list in lists {
            graph.neighbours.extend(list);
            graph.start.push(u32::try_from(graph.neighbours.len()).unwrap());
        }
        graph
    };
    let loose = Graph { start: vec![0; 501], neighbours: Vec::new() };
    for (name, graph) in [
        ("empty", Graph { start: vec![0], neighbours: Vec::new() }),
        ("one block", Graph { start: vec![0, 0], neighbours: Vec::new() }),
        ("star", star(3000)),
        ("dense", dense(60)),
        ("path", path(20_000)),
        ("loose blocks", loose),
    ] {
        let n = graph.len();
        // All at one place: the order must not need coordinates that differ.
        let structure = Structure::new(&graph, &vec![2; n], &vec![[0.0; 3]; n]).unwrap();
        solves_as_forecast(name, &structure, 2e4);
    }
}

/// Works of the order that is kept, and whether it holds every block once.
fn kept_work(graph: &Graph, sizes: &[u8], places: &[[f64; 3]]) -> f64 {
    let (order, tree) = order::best(graph, sizes, places).unwrap();
    let mut sorted = order;
    sorted.sort_unstable();
    assert!(sorted.iter().enumerate().all(|(i, &b)| i == b as usize), "a permutation");
    let (_, degree) = Tree::postordered(graph, sizes, minimum_degree(graph).unwrap());
    assert!(tree.work <= degree.work, "{:.2e}, minimum degree {:.2e}", tree.work, degree.work);
    tree.work
}

/// A folded board has the graph of the flat one, but blocks that are far apart in it lie over each other.
#[test]
fn folded_boards_are_ordered_about_as_well_as_flat_ones() {
    let (graph, flat) = grid(150, 150);
    let sizes = vec![6; graph.len()];
    let best = kept_work(&graph, &sizes, &flat);
    let half = flat.iter().map(|p| p[0]).fold(0.0, f64::max) / 2.0;
    let hairpin = |p: &[f64; 3]| if p[0] < half { *p } else { [2.0 * half - p[0], p[1], 0.0] };
    let upright = |p: &[f64; 3]| if p[0] < half { *p } else { [half, p[1], p[0] - half] };
    let rolled = |p: &[f64; 3]| {
        let (sin, cos) = (4.0 * p[0] / half).sin_cos();
        [half * cos, p[1], half * sin]
    };
    for (name, places) in [
        ("turned back on itself", flat.iter().map(hairpin).collect::<Vec<_>>()),
        ("at a right angle", flat.iter().map(upright).collect()),
        ("rolled more than once", flat.iter().map(rolled).collect()),
    ] {
        let work = kept_work(&graph, &sizes, &places);
        assert!(work < 1.5 * best, "{name}: {work:.2e} against {best:.2e} flat");
    }
}

/// Beams on a shell: long chains of blocks that hang on a mesh, blocks of other sizes, one block tied to many.
#[test]
fn beam_and_shell_mixtures_are_ordered_and_solved() {
    let (shell, mut places) = grid(70, 70);
    let n = shell.len();
    let plate = kept_work(&shell, &vec![6; n], &places);
    let mut lists: Vec<Vec<u32>> = (0..n).map(|i| shell.of(i).to_vec()).collect();
    let mut sizes = vec![6u8; n];
    let join = |lists: &mut Vec<Vec<u32>>, a: usize, b: usize| {
        lists[a].push(u32::try_from(b).unwrap());
        lists[b].push(u32::try_from(a).unwrap());
    };
    // Two beams of 1500 blocks: one stands off a corner, one bridges two edges of the shell through its places.
    let length = 1500;
    for (root, end, size) in [(0, None, 6u8), (35, Some(n - 36), 3)] {
        let mut last = root;
        for i in 0..length {
            let own = lists.len();
            lists.push(Vec::new());
            sizes.push(size);
            places.push([places[root][0] + f64::from(i) * 0.05, places[root][1], 0.0]);
            join(&mut lists, last, own);
            last = own;
        }
        if let Some(end) = end {
            join(&mut lists, last, end);
        }
    }
    // A rigid piece of one freedom that touches a whole column of the mesh.
    let hub = lists.len();
    lists.push(Vec::new());
    sizes.push(1);
    places.push([1e3, 0.0, 0.0]);
    (0..70).for_each(|i| join(&mut lists, 70 * 20 + i, hub));
    let mut graph = Graph { start: vec![0], neighbours: Vec::new() };
    for list in &mut lists {
        list.sort_unstable();
        graph.neighbours.extend(&*list);
        graph.start.push(u32::try_from(graph.neighbours.len()).unwrap());
    }
    // Eliminated from its free end, a chain costs columns of 12 to 7 rows a block.
    let chains = 2.0 * f64::from(length) * (7..=12).map(|m| f64::from(m * m)).sum::<f64>();
    let work = kept_work(&graph, &sizes, &places);
    assert!(work < 1.3 * plate + 2.0 * chains, "{work:.2e}, shell {plate:.2e}, beams {chains:.2e}");
    let structure = Structure::new(&graph, &sizes, &places).unwrap();
    solves_as_forecast("beams on a shell", &structure, 300.0);
}

/// Factors and solves on one thread a matrix with `raise` added to its diagonal, and judges residual and memory.
fn solves_as_forecast(name: &str, structure: &Structure, raise: f64) {
    let mut stored = values(structure, 0.0);
    for column in 0..structure.n_unknowns() {
        stored[structure.entry_start()[column] as usize] += raise;
    }
    let load = sample(structure.n_unknowns());
    let mut x = load.clone();
    let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
    let taken = pool.install(|| {
        let factor = structure.factorise(&stored, None).unwrap();
        structure.solve(&factor, &mut x, 1).unwrap();
        factor.memory_bytes()
    });
    let residual = worst(&product(structure, &stored, &x), &load);
    assert!(residual < 1e-11, "{name}: residual {residual:.1e}");
    assert_eq!(structure.memory_bytes(1), taken, "{name}: memory");
}
