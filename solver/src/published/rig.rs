//! A model under test with its loads: short words for supports, forces, and reading the answer.

use super::grids::Grid;
use crate::element::{self, mass, shell};
use crate::error::SolveError;
use crate::freedoms::Freedoms;
use crate::laminate::{Laminate, Ply, isotropic_q, orthotropic_q};
use crate::model::{LoadCase, Model, Solution};
use crate::statics::Prepared;
use crate::swing::{DeadLoad, Level, Loads, MovingLoad, Path};
use copperbend_mesh::board::LayerId;
use nalgebra::{Matrix3, Vector3, Vector6};

pub(super) const U: usize = 0;
pub(super) const V: usize = 1;
pub(super) const W: usize = 2;
pub(super) const TX: usize = 3;
pub(super) const TY: usize = 4;
pub(super) const TZ: usize = 5;

/// Freedoms held on a plane of symmetry whose normal is the given global axis.
pub(super) const fn symmetry(normal: usize) -> [usize; 3] {
    match normal {
        U => [U, TY, TZ],
        V => [V, TX, TZ],
        _ => [W, TX, TY],
    }
}

/// A ply with nothing but stiffness.
pub(super) const fn ply(z0: f64, z1: f64, q_pa: Matrix3<f64>) -> Ply {
    Ply {
        layer: LayerId(0),
        z0_m: z0,
        z1_m: z1,
        q_pa,
        expansion_per_k: Vector3::new(0.0, 0.0, 0.0),
        density_kg_m3: 0.0,
        heating_k: 0.0,
        sliding: false,
    }
}

/// One isotropic sheet about its mid-surface.
pub(super) fn sheet(e: f64, nu: f64, thickness: f64) -> Laminate {
    Laminate::new(vec![ply(-0.5 * thickness, 0.5 * thickness, isotropic_q(e, nu))])
}

/// Equal plies from the bottom, of one orthotropic material at the given angles, about mid-height.
pub(super) fn equal_plies(thickness: f64, [e1, e2, nu12, g12]: [f64; 4], angles_deg: &[f64]) -> Laminate {
    let count = f64::from(u32::try_from(angles_deg.len()).unwrap_or(u32::MAX));
    let height = |i: usize| thickness * (f64::from(u32::try_from(i).unwrap_or(u32::MAX)) / count - 0.5);
    let one = |(i, angle): (usize, &f64)| {
        ply(height(i), height(i + 1), orthotropic_q(e1, e2, nu12, g12, angle.to_radians()))
    };
    Laminate::new(angles_deg.iter().enumerate().map(one).collect())
}

/// A model with one laminate, its supports and one set of loads.
#[derive(Debug, Clone)]
pub(super) struct Rig {
    pub model: Model,
    pub load: LoadCase,
}

impl Rig {
    /// Free and unloaded; the laminate's x axis is global x.
    pub(super) fn new(grid: &Grid, laminate: Laminate) -> Self {
        Self::from_mesh(grid.nodes.clone(), grid.triangles.clone(), laminate)
    }

    /// As [`Rig::new`] on any triangles.
    pub(super) fn from_mesh(nodes_m: Vec<[f64; 3]>, triangles: Vec<[u32; 3]>, laminate: Laminate) -> Self {
        let load = LoadCase {
            nodal: vec![Vector6::zeros(); nodes_m.len()],
            thermal_factor: 0.0,
            prescribed_factor: 1.0,
        };
        let model = Model {
            freedoms: Freedoms::free(nodes_m.len()),
            laminates: vec![laminate],
            laminate_of: vec![0; triangles.len()],
            nodes_m,
            triangles,
            ..Model::default()
        };
        Self { model, load }
    }

    /// Holds components of nodes at zero.
    pub(super) fn hold(&mut self, nodes: impl IntoIterator<Item = u32>, components: &[usize]) {
        for node in nodes {
            for &c in components {
                self.model.freedoms.hold(node, c, 0.0);
            }
        }
    }

    /// Holds all six components of nodes at zero.
    pub(super) fn clamp(&mut self, nodes: impl IntoIterator<Item = u32>) {
        self.hold(nodes, &[U, V, W, TX, TY, TZ]);
    }

    /// Holds one component at a value.
    pub(super) fn prescribe(&mut self, node: u32, component: usize, value: f64) {
        self.model.freedoms.hold(node, component, value);
    }

    /// Adds a force or moment at a node.
    pub(super) fn force(&mut self, node: u32, component: usize, value: f64) {
        self.load.nodal[node as usize][component] += value;
    }

    /// Spreads a total force or moment evenly along a line of nodes.
    pub(super) fn line(&mut self, nodes: &[u32], component: usize, total: f64) {
        let share = total / length(&self.model.nodes_m, nodes);
        self.line_by(nodes, component, |_| share);
    }

    /// Spreads a force or moment per length, as a function of place, along a line of nodes.
    pub(super) fn line_by(&mut self, nodes: &[u32], component: usize, per_length: impl Fn([f64; 3]) -> f64) {
        for pair in nodes.windows(2) {
            let [p, q] = [self.model.nodes_m[pair[0] as usize], self.model.nodes_m[pair[1] as usize]];
            let side = (Vector3::from(q) - Vector3::from(p)).norm();
            let (a, b) = (per_length(p), per_length(q));
            // Exact for a load that runs linearly along the side.
            self.force(pair[0], component, side * (2.0 * a + b) / 6.0);
            self.force(pair[1], component, side * (a + 2.0 * b) / 6.0);
        }
    }

    /// Spreads an in-plane pull per length, along x, over an edge that runs upwards with the part on its left.
    ///
    /// The edge bulges with the drilling of its ends, so a pull carries moments of `q l^2 / 8` there.
    pub(super) fn pull(&mut self, nodes: &[u32], per_length: impl Fn([f64; 3]) -> f64) {
        self.line_by(nodes, U, &per_length);
        for pair in nodes.windows(2) {
            let [p, q] = [self.model.nodes_m[pair[0] as usize], self.model.nodes_m[pair[1] as usize]];
            let moment = 0.5 * (per_length(p) + per_length(q)) * (q[1] - p[1]).powi(2) / 8.0;
            self.force(pair[0], TZ, -moment);
            self.force(pair[1], TZ, moment);
        }
    }

    /// Adds a force per area, global axes, as a function of place.
    pub(super) fn area(&mut self, per_area: impl Fn([f64; 3]) -> [f64; 3]) {
        for t in &self.model.triangles {
            let corners = t.map(|n| self.model.nodes_m[n as usize]);
            let middle = [0, 1, 2].map(|a| corners.iter().map(|c| c[a]).sum::<f64>() / 3.0);
            let own = element::local(corners, [1.0, 0.0, 0.0]);
            let pressure = own.triad * Vector3::from(per_area(middle));
            let f = own.vector_to_global(&mass::area_load(&own.corners, pressure.into()));
            for (n, node) in t.iter().enumerate() {
                self.load.nodal[*node as usize] += f.fixed_rows::<6>(6 * n);
            }
        }
    }

    /// Solves for the displacements.
    pub(super) fn solve(&self) -> Result<Solution, SolveError> {
        let mut solutions = Prepared::new(&self.model)?.solve(std::slice::from_ref(&self.load))?;
        solutions.pop().ok_or_else(|| SolveError::Model {
            what: "no solution for the load".to_owned(),
            remedy: "report this".to_owned(),
        })
    }

    /// Generalised strain to report at a corner of a triangle.
    pub(super) fn strain(&self, solution: &Solution, triangle: usize, corner: usize) -> Vector6<f64> {
        let mut zeta = [0.0; 3];
        zeta[corner] = 1.0;
        strain(&self.model, solution, triangle, zeta)
    }

    /// Area mean of the corner strains of the triangles round a node.
    pub(super) fn node_strain(&self, solution: &Solution, node: u32) -> Vector6<f64> {
        let (mut sum, mut total) = (Vector6::zeros(), 0.0);
        for (t, corners) in self.model.triangles.iter().enumerate() {
            if let Some(corner) = corners.iter().position(|&n| n == node) {
                let area = self.double_area(t);
                sum += self.strain(solution, t, corner) * area;
                total += area;
            }
        }
        sum / total
    }

    fn double_area(&self, triangle: usize) -> f64 {
        let nodes = self.model.triangles[triangle].map(|n| self.model.nodes_m[n as usize]);
        element::double_area(&element::local(nodes, [1.0, 0.0, 0.0]).corners)
    }
}

/// Generalised strain at area coordinates of a triangle, in the laminate's axes.
pub(super) fn strain(model: &Model, solution: &Solution, triangle: usize, zeta: [f64; 3]) -> Vector6<f64> {
    let nodes = model.triangles[triangle];
    let axis = model.axis_of.get(triangle).copied().unwrap_or([1.0, 0.0, 0.0]);
    let own = element::local(nodes.map(|n| model.nodes_m[n as usize]), axis);
    let mut q = element::Vector18::zeros();
    for (n, node) in nodes.iter().enumerate() {
        // Relative to the first node: the digits of a small strain survive a large motion.
        let (at, first) = (*node as usize, nodes[0] as usize);
        let mut d = solution.displacement[at];
        for c in 0..3 {
            d[c] = (d[c] - solution.displacement[first][c])
                + (solution.trailing[at][c] - solution.trailing[first][c]);
        }
        q.fixed_rows_mut::<6>(6 * n).copy_from(&d);
    }
    shell::strain_operator(&own.corners, zeta, 1.0) * own.vector_to_local(&q)
}

/// Length of a line of nodes.
fn length(nodes_m: &[[f64; 3]], line: &[u32]) -> f64 {
    let side = |pair: &[u32]| {
        (Vector3::from(nodes_m[pair[1] as usize]) - Vector3::from(nodes_m[pair[0] as usize])).norm()
    };
    line.windows(2).map(side).sum()
}

/// Mean of a displacement component over nodes.
pub(super) fn mean(solution: &Solution, nodes: &[u32], component: usize) -> f64 {
    let sum: f64 = nodes.iter().map(|&n| solution.displacement[n as usize][component]).sum();
    sum / f64::from(u32::try_from(nodes.len()).unwrap_or(u32::MAX))
}

/// Number of nodes.
pub(super) fn count_of(nodes: &[u32]) -> f64 {
    f64::from(u32::try_from(nodes.len()).unwrap_or(u32::MAX))
}

/// Runs a rig's loads through factors, in order, with large motion, and reads each state.
pub(super) fn along(
    rig: &Rig,
    factors: &[f64],
    read: impl Fn(&Path<'_>) -> Vec<f64>,
) -> Result<Vec<f64>, SolveError> {
    let load = DeadLoad { nodal: rig.load.nodal.clone() };
    let loads: [&dyn MovingLoad; 1] = [&load];
    let mut path = Path::new(&rig.model, Loads { steady: &loads, driven: None })?;
    let mut values = Vec::new();
    for &steady in factors {
        path.to_level(Level { steady, ..Level::default() })?;
        values.extend(read(&path));
    }
    Ok(values)
}

/// Displacement component of one node.
pub(super) fn at(solution: &Solution, node: u32, component: usize) -> f64 {
    solution.displacement[node as usize][component]
}
