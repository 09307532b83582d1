//! Frames of bars under test: short words for building, holding and loading them.

use crate::beam::frame::{Frame, FrameNode, Link, Ride};
use crate::beam::modes::{BeamMode, modes};
use crate::beam::motion::Motion;
use crate::element::beam::{BeamElement, SectionAt, SectionMass};
use crate::error::SolveError;
use nalgebra::{Matrix3, Matrix4, Matrix6, Vector3, Vector4, Vector6};

/// Uncoupled section: stretching, bending about the axis across and about the axis up, twisting; and inertia.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bar {
    pub ea: f64,
    pub ei_y: f64,
    pub ei_z: f64,
    pub gj: f64,
    pub mass: SectionMass,
}

/// Places and weights of three Gauss points on (0, 1).
const GAUSS: [(f64, f64); 3] =
    [(0.112_701_665_379_258_3, 5.0 / 18.0), (0.5, 4.0 / 9.0), (0.887_298_334_620_741_7, 5.0 / 18.0)];

impl Bar {
    /// Rectangle `across` wide and `up` high; `j`: torsion constant.
    pub(super) fn rectangle([e, nu, density]: [f64; 3], across: f64, up: f64, j: f64) -> Self {
        let area = across * up;
        let second = [area * across * across / 12.0, area * up * up / 12.0];
        let mass = SectionMass {
            mass: density * area,
            first: [0.0; 2],
            second: [density * second[0], density * second[1], 0.0],
        };
        Self { ea: e * area, ei_y: e * second[1], ei_z: e * second[0], gj: e / (2.0 * (1.0 + nu)) * j, mass }
    }

    /// A slender strip bending about the axis across: the bending stiffness, and mass per length.
    pub(super) const fn slender(ei: f64, mass: f64) -> Self {
        let mass = SectionMass { mass, first: [0.0; 2], second: [0.0; 3] };
        Self { ea: 1e7 * ei, ei_y: ei, ei_z: 1e3 * ei, gj: ei, mass }
    }

    fn compliance(&self) -> Matrix4<f64> {
        Matrix4::from_diagonal(&Vector4::new(1.0 / self.ea, 1.0 / self.ei_y, 1.0 / self.ei_z, 1.0 / self.gj))
    }
}

/// Frame in the making.
#[derive(Debug, Clone, Default)]
pub(super) struct Bars {
    pub nodes: Vec<FrameNode>,
    pub links: Vec<Link>,
    pub rides: Vec<Ride>,
}

impl Bars {
    /// A line of elements through points, `up` normal to them; `section` by place from 0 to 1.
    pub(super) fn line(points: &[Vector3<f64>], up: Vector3<f64>, section: impl Fn(f64) -> Bar) -> Self {
        let nodes = points.iter().map(|p| FrameNode::free(*p)).collect();
        let mut own = Self { nodes, ..Self::default() };
        let count = f64::from(u32::try_from(points.len() - 1).unwrap_or(1));
        for n in 1..points.len() {
            let first = f64::from(u32::try_from(n - 1).unwrap_or(0)) / count;
            own.link([n - 1, n], up, &|s| section(first + s / count));
        }
        own
    }

    /// A straight cantilever along x, its first end clamped.
    pub(super) fn cantilever(length: f64, pieces: u32, section: impl Fn(f64) -> Bar) -> Self {
        let at = |i: u32| Vector3::new(length * f64::from(i) / f64::from(pieces), 0.0, 0.0);
        let points: Vec<Vector3<f64>> = (0..=pieces).map(at).collect();
        let mut own = Self::line(&points, Vector3::z(), section);
        own.nodes[0].held = [true; 6];
        own
    }

    /// One element between two nodes.
    pub(super) fn link(&mut self, nodes: [usize; 2], up: Vector3<f64>, section: &dyn Fn(f64) -> Bar) {
        self.arm_link(nodes, [Vector3::zeros(); 2], up, section);
    }

    /// One element whose ends sit off their nodes.
    pub(super) fn arm_link(
        &mut self,
        nodes: [usize; 2],
        arms_m: [Vector3<f64>; 2],
        up: Vector3<f64>,
        section: &dyn Fn(f64) -> Bar,
    ) {
        let [a, b] = [0, 1].map(|e| self.nodes[nodes[e]].at_m + arms_m[e]);
        let along = (b - a).normalize();
        let triad = Matrix3::from_rows(&[along.transpose(), up.cross(&along).transpose(), up.transpose()]);
        let at = |(place, weight): (f64, f64)| SectionAt {
            place,
            weight,
            compliance: section(place).compliance(),
            free: Vector4::zeros(),
        };
        if let Some(element) = BeamElement::new((b - a).norm(), triad, &GAUSS.map(at), &section(0.5).mass) {
            self.links.push(Link { nodes, arms_m, element });
        }
    }

    pub(super) fn last(&self) -> usize {
        self.nodes.len() - 1
    }

    /// Adds a dead force and moment at a node.
    pub(super) fn load(&mut self, node: usize, load: [f64; 6]) {
        let [fx, fy, fz, mx, my, mz] = load;
        let (force_n, moment_nm) = (Vector3::new(fx, fy, fz), Vector3::new(mx, my, mz));
        self.rides.push(Ride { node, arm_m: Vector3::zeros(), force_n, moment_nm });
    }

    pub(super) fn frame(&self) -> Result<Frame, SolveError> {
        Frame::new(self.nodes.clone(), self.links.clone()).ok_or_else(|| SolveError::Model {
            what: "the bars close a ring".to_owned(),
            remedy: "report this".to_owned(),
        })
    }

    /// Small motion under all loads.
    pub(super) fn small(&self) -> Result<Vec<Vector6<f64>>, SolveError> {
        let frame = self.frame()?;
        Motion::new(&frame, &[], None).small(&self.rides, super::frames::FULL)
    }

    /// Lowest modes at rest.
    pub(super) fn modes(&self, count: usize) -> Result<Vec<BeamMode>, SolveError> {
        let frame = self.frame()?;
        modes(&frame, &Motion::new(&frame, &[], None), count)
    }

    /// Holds everything but motion in the x-z plane at every node, and pulls out what `held` adds at one.
    pub(super) fn planar(&mut self) {
        for node in &mut self.nodes {
            for c in [1, 3, 5] {
                node.held[c] = true;
            }
        }
    }

    /// A point mass at a node.
    pub(super) fn point_mass(&mut self, node: usize, mass: f64) {
        let mut inertia = Matrix6::zeros();
        inertia.fixed_view_mut::<3, 3>(0, 0).fill_diagonal(mass);
        self.nodes[node].inertia = inertia;
    }
}
