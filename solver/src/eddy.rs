//! Eddy currents in thin conducting sheets that move in a magnet's field, and what they damp.
//!
//! In: triangles with the sheet conductance (conductivity times thickness), electromotive field `v x B` on them. Out:
//! damping between motions. The current per width is the surface curl of a stream function `psi`, which is constant on
//! every edge of the sheet (zero on the outer one, unknown on a hole's): for all test functions `eta` of that kind
//! `int grad psi . grad eta / G dA = int (v x B) . (grad eta x n) dA`, and the power is
//! `int |grad psi|^2 / G dA`. The field of the eddy currents themselves is left out (small while frequency times
//! permeability times conductance times size is). Absent: motion, magnets.

use crate::error::SolveError;
use crate::freedoms::index_u32;
use crate::linear::{Factor, Graph, Structure};
use crate::magnet::Field;
use nalgebra::{DMatrix, Vector3};
use rayon::prelude::*;
use std::collections::BTreeMap;

/// Triangles that conduct.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Sheet {
    /// Corner nodes.
    pub triangles: Vec<[u32; 3]>,
    /// Conductivity times thickness of each, siemens.
    pub conductance_s: Vec<f64>,
}

/// A sheet, ready for any motion.
#[derive(Debug)]
pub struct Stream {
    sheet: Sheet,
    /// Unknown of every node of the board; None: held at zero or not on the sheet.
    unknown: Vec<Option<u32>>,
    structure: Structure,
    factor: Factor,
}

impl Stream {
    /// Orders and factors the equations of a sheet; None where it has no inside.
    ///
    /// # Errors
    /// [`SolveError::Memory`]-like failures of the linear room, as [`SolveError::Model`].
    pub fn new(points_m: &[Vector3<f64>], sheet: Sheet) -> Result<Option<Self>, SolveError> {
        let (unknown, n) = unknowns(points_m, &sheet);
        if n == 0 {
            return Ok(None);
        }
        let mut neighbours: Vec<Vec<u32>> = vec![Vec::new(); n];
        let mut places = vec![[0.0; 3]; n];
        for corners in &sheet.triangles {
            for (a, b) in pairs(corners) {
                let (ua, ub) = (unknown[a as usize], unknown[b as usize]);
                if let Some(ua) = ua {
                    places[ua as usize] = points_m[a as usize].into();
                    if let Some(ub) = ub.filter(|ub| *ub != ua) {
                        neighbours[ua as usize].push(ub);
                    }
                }
            }
        }
        let mut graph = Graph { start: vec![0], neighbours: Vec::new() };
        for mut own in neighbours {
            own.sort_unstable();
            own.dedup();
            graph.neighbours.extend(own);
            graph.start.push(index_u32(graph.neighbours.len()));
        }
        let refused = |e: crate::linear::LinearError| SolveError::Model {
            what: format!("the eddy currents of a conducting sheet cannot be solved: {e}"),
            remedy: "use a coarser mesh".to_owned(),
        };
        let structure = Structure::new(&graph, &vec![1; n], &places).map_err(refused)?;
        let values = stiffness(points_m, &sheet, &unknown, &structure);
        let factor = structure.factorise(&values, None).map_err(refused)?;
        Ok(Some(Self { sheet, unknown, structure, factor }))
    }

    /// Flux density in the middles of all sides, T.
    #[must_use]
    pub fn fields(&self, points_m: &[Vector3<f64>], field: &Field) -> BTreeMap<[u32; 2], Vector3<f64>> {
        let mut sides: Vec<[u32; 2]> = self
            .sheet
            .triangles
            .iter()
            .flat_map(|c| pairs(c).filter(|(a, b)| a < b).map(|(a, b)| [a, b]))
            .collect();
        sides.sort_unstable();
        sides.dedup();
        let middle = |side: &[u32; 2]| (points_m[side[0] as usize] + points_m[side[1] as usize]) * 0.5;
        sides.par_iter().map(|side| (*side, field.at(middle(side).into()))).collect()
    }

    /// Damping between motions, N s/m where motions are in m: `emf(triangle, corner)` gives `v x B` (V/m per unit of each
    /// motion's rate) in one of the triangle's three mid-side points, `points_m` the nodes where the board is now.
    ///
    /// # Errors
    /// [`SolveError::Model`] when the machine refuses the memory.
    pub fn damping(
        &self,
        points_m: &[Vector3<f64>],
        motions: usize,
        emf: &(dyn Fn([u32; 2], usize) -> Vector3<f64> + Sync),
    ) -> Result<DMatrix<f64>, SolveError> {
        let n = self.structure.n_unknowns();
        let mut right = DMatrix::<f64>::zeros(n, motions);
        for corners in &self.sheet.triangles {
            let at = corners.map(|c| points_m[c as usize]);
            for motion in 0..motions {
                let sides = [[0, 1], [1, 2], [2, 0]].map(|[a, b]: [usize; 2]| [corners[a], corners[b]]);
                let mean = sides.map(|side| emf(side, motion)).iter().sum::<Vector3<f64>>() / 3.0;
                for a in 0..3 {
                    let Some(u) = self.unknown[corners[a] as usize] else { continue };
                    let opposite = at[(a + 2) % 3] - at[(a + 1) % 3];
                    let row = self.structure.first()[self.structure.position()[u as usize] as usize];
                    right[(row as usize, motion)] += 0.5 * mean.dot(&opposite);
                }
            }
        }
        let mut solved = right.clone();
        self.structure.solve(&self.factor, solved.as_mut_slice(), motions).map_err(|e| {
            SolveError::Model {
                what: format!("the eddy currents of a conducting sheet cannot be solved: {e}"),
                remedy: "use a coarser mesh".to_owned(),
            }
        })?;
        let damping = right.tr_mul(&solved);
        Ok((&damping + damping.transpose()) * 0.5)
    }
}

fn pairs(corners: &[u32; 3]) -> impl Iterator<Item = (u32, u32)> + '_ {
    (0..3).flat_map(move |i| (0..3).filter(move |&j| j != i).map(move |j| (corners[i], corners[j])))
}

/// Lower triangle in elimination order.
fn stiffness(
    points_m: &[Vector3<f64>],
    sheet: &Sheet,
    unknown: &[Option<u32>],
    structure: &Structure,
) -> Vec<f64> {
    let (start, rows) = (structure.entry_start(), structure.entry_rows());
    let mut values = vec![0.0; rows.len()];
    let place = |u: u32| structure.first()[structure.position()[u as usize] as usize];
    for (corners, conductance) in sheet.triangles.iter().zip(&sheet.conductance_s) {
        let at = corners.map(|c| points_m[c as usize]);
        let side = |a: usize| at[(a + 2) % 3] - at[(a + 1) % 3];
        let double = side(0).cross(&side(1)).norm();
        for a in 0..3 {
            for b in 0..3 {
                let (Some(ua), Some(ub)) = (unknown[corners[a] as usize], unknown[corners[b] as usize])
                else {
                    continue;
                };
                let (row, column) = (place(ua), place(ub));
                if row < column {
                    continue;
                }
                let range = start[column as usize] as usize..start[column as usize + 1] as usize;
                if let Ok(k) = rows[range.clone()].binary_search(&row) {
                    values[range.start + k] += side(a).dot(&side(b)) / (2.0 * double * conductance);
                }
            }
        }
    }
    values
}

/// Unknown of every node, and how many there are: one per inner node, one per hole.
fn unknowns(points_m: &[Vector3<f64>], sheet: &Sheet) -> (Vec<Option<u32>>, usize) {
    let mut edges: BTreeMap<[u32; 2], u32> = BTreeMap::new();
    for corners in &sheet.triangles {
        for (a, b) in pairs(corners).filter(|(a, b)| a < b) {
            *edges.entry([a, b]).or_insert(0) += 1;
        }
    }
    // Pieces by shared nodes; edges of the sheet by shared nodes among them.
    let mut piece = Sets::new(points_m.len());
    let mut loops = Sets::new(points_m.len());
    let mut on_edge = vec![false; points_m.len()];
    for (&[a, b], &count) in &edges {
        piece.join(a, b);
        if count == 1 {
            loops.join(a, b);
            (on_edge[a as usize], on_edge[b as usize]) = (true, true);
        }
    }
    // The loop through the leftmost node of a piece is its outer one.
    let mut leftmost: BTreeMap<u32, u32> = BTreeMap::new();
    let mut used = vec![false; points_m.len()];
    for &node in sheet.triangles.iter().flatten() {
        used[node as usize] = true;
        let own = leftmost.entry(piece.root(node)).or_insert(node);
        if points_m[node as usize][0] < points_m[*own as usize][0] {
            *own = node;
        }
    }
    let outer: Vec<u32> = leftmost.values().map(|&node| loops.root(node)).collect();
    let mut of_loop: BTreeMap<u32, u32> = BTreeMap::new();
    let mut unknown = vec![None; points_m.len()];
    let mut n = 0u32;
    let mut next = || {
        n += 1;
        n - 1
    };
    for node in 0..index_u32(points_m.len()) {
        let i = node as usize;
        if !used[i] {
            continue;
        }
        if on_edge[i] {
            let root = loops.root(node);
            if !outer.contains(&root) {
                unknown[i] = Some(*of_loop.entry(root).or_insert_with(&mut next));
            }
        } else {
            unknown[i] = Some(next());
        }
    }
    (unknown, n as usize)
}

/// Disjoint sets of nodes.
struct Sets(Vec<u32>);

impl Sets {
    fn new(n: usize) -> Self {
        Self((0..index_u32(n)).collect())
    }

    fn root(&mut self, node: u32) -> u32 {
        let mut root = node;
        while self.0[root as usize] != root {
            root = self.0[root as usize];
        }
        let mut at = node;
        while self.0[at as usize] != root {
            at = std::mem::replace(&mut self.0[at as usize], root);
        }
        root
    }

    fn join(&mut self, a: u32, b: u32) {
        let (a, b) = (self.root(a), self.root(b));
        self.0[a.max(b) as usize] = a.min(b);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::{PI, TAU};

    /// Ring-shaped mesh between two radii (0: a full disc), `rings` rings; `open` radians left out.
    fn disc(inner: f64, outer: f64, rings: u32, open: f64) -> (Vec<Vector3<f64>>, Vec<[u32; 3]>) {
        let around = 6 * rings;
        let mut points = Vec::new();
        let columns = if open > 0.0 { around + 1 } else { around };
        for r in 0..=rings {
            let radius = inner + (outer - inner) * f64::from(r) / f64::from(rings);
            for c in 0..columns {
                let angle = (TAU - open) * f64::from(c) / f64::from(around);
                points.push(Vector3::new(radius * angle.cos(), radius * angle.sin(), 0.0));
            }
        }
        let mut triangles = Vec::new();
        for r in 0..rings {
            for c in 0..around {
                let [a, b] = [c, (c + 1) % columns].map(|c| r * columns + c);
                let [d, e] = [a + columns, b + columns];
                if inner > 0.0 || r > 0 {
                    triangles.extend([[a, d, e], [a, e, b]]);
                } else {
                    // All nodes of the first ring are the centre.
                    triangles.push([0, d, e]);
                }
            }
        }
        (points, triangles)
    }

    const CONDUCTANCE: f64 = 20e6 * 0.3e-3;
    const RATE: f64 = 7.0;

    fn power(points: &[Vector3<f64>], triangles: Vec<[u32; 3]>) -> f64 {
        let conductance_s = vec![CONDUCTANCE; triangles.len()];
        let stream = Stream::new(points, Sheet { triangles, conductance_s }).unwrap().expect("an inside");
        // A field along z that grows everywhere alike: E = r/2 dB/dt around the axis, in any gauge.
        let emf = |side: [u32; 2], _: usize| {
            let at = (points[side[0] as usize] + points[side[1] as usize]) * 0.5;
            Vector3::new(-at[1], at[0], 0.0) * (0.5 * RATE)
        };
        stream.damping(points, 1, &emf).unwrap()[(0, 0)]
    }

    /// Disc in a uniform field that changes: power pi G (dB/dt)^2 a^4 / 8 (any book on induction; the current runs in
    /// circles). Wished 0.5 %; second order.
    #[test]
    fn disc_in_a_uniform_changing_field() {
        let a: f64 = 5e-3;
        let want = PI * CONDUCTANCE * RATE * RATE * a.powi(4) / 8.0;
        let off = |rings| {
            let (points, triangles) = disc(0.0, a, rings, 0.0);
            power(&points, triangles) / want - 1.0
        };
        let (coarse, fine) = (off(12), off(24));
        assert!(fine.abs() < 5e-3, "{fine:e}");
        let order = (coarse / fine).abs().log2();
        assert!((order - 2.0).abs() < 0.15, "order {order}: {coarse:e}, {fine:e}");
    }

    /// A ring: pi G (dB/dt)^2 (a^4 - b^4) / 8, since the current may circle the hole. Cut open it may not: then the inner
    /// current returns at the rim, and less than (but some) power is left.
    #[test]
    fn a_hole_carries_current_around_it_unless_cut() {
        let (b, a): (f64, f64) = (3e-3, 5e-3);
        let want = PI * CONDUCTANCE * RATE * RATE * (a.powi(4) - b.powi(4)) / 8.0;
        let (points, triangles) = disc(b, a, 16, 0.0);
        let whole = power(&points, triangles);
        assert!((whole / want - 1.0).abs() < 5e-3, "{whole:e} against {want:e}");
        let (points, triangles) = disc(b, a, 16, 0.01);
        let cut = power(&points, triangles);
        // A narrow strip of width w carries G (dB/dt)^2 w^3 / 12 a length.
        let strip = CONDUCTANCE * RATE * RATE * (a - b).powi(3) / 12.0 * PI * (a + b);
        assert!(
            (cut / strip - 1.0).abs() < 0.25 && cut < 0.3 * whole,
            "{cut:e}: strip {strip:e}, whole {whole:e}"
        );
    }

    /// A gradient of any potential drives no current.
    #[test]
    fn a_gradient_drives_nothing() {
        let (points, triangles) = disc(2e-3, 5e-3, 8, 0.0);
        let conductance_s = vec![CONDUCTANCE; triangles.len()];
        let stream = Stream::new(&points, Sheet { triangles, conductance_s }).unwrap().expect("an inside");
        let emf = |_: [u32; 2], motion: usize| {
            if motion == 0 { Vector3::x() } else { Vector3::new(0.3, -2.0, 5.0) }
        };
        let d = stream.damping(&points, 2, &emf).unwrap();
        assert!(d.amax() < 1e-20, "{d}");
    }
}
