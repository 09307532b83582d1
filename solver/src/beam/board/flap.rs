//! The flap of a board of beams: one rigid node with the mass of its layers, or a wide beam.

use super::{Build, Span};
use crate::beam::frame::{FrameNode, rigid_mass};
use crate::error::SolveError;
use copperbend_mesh::strip::{Piece, Strips};
use nalgebra::{Matrix3, Vector3};

/// The flap as built.
pub(super) struct Flap {
    pub(super) node: usize,
    /// Middle of its area, from the node, m.
    pub(super) centre_m: Vector3<f64>,
    pub(super) mass_kg: f64,
    /// Middle of its mass, from the node, m.
    pub(super) mass_centre_m: Vector3<f64>,
}

impl Build<'_> {
    /// Joins the arms' last elements (`ends`) to the flap. None without a flap.
    pub(super) fn flap(&mut self, found: &Strips, ends: &[usize]) -> Result<Option<Flap>, SolveError> {
        if ends.is_empty() || found.flap.is_empty() {
            return Ok(None);
        }
        let tips: Vec<Vector3<f64>> = ends.iter().map(|&e| self.nodes[self.links[e].nodes[1]].at_m).collect();
        let count = f64::from(u32::try_from(tips.len()).unwrap_or(1));
        let mut middle = tips.iter().sum::<Vector3<f64>>() / count;
        if self.wishes.elastic_flap {
            // On the flap's own line, where its first piece begins.
            let at = found.flap[0].ends_m[0];
            middle = Vector3::new(at[0], at[1], self.reference_z_m);
        }
        // Every arm's last node gives way to the flap's.
        let node = self.nodes.len();
        self.nodes.push(FrameNode::free(middle));
        for (&e, tip) in ends.iter().zip(&tips) {
            let old = self.links[e].nodes[1];
            self.links[e].nodes[1] = node;
            self.links[e].arms_m[1] = tip - middle;
            self.nodes[old].held = [true; 6];
        }
        let (mut area, mut first, mut mass, mut heavy) = (0.0, Vector3::zeros(), 0.0, Vector3::zeros());
        for piece in &found.flap {
            for s in self.stretches(piece) {
                let [a, b] = s.across_m;
                let own = (b - a) * piece.length_m();
                let at = piece.place_m(0.5 * (a + b));
                let at = Vector3::new(at[0], at[1], self.reference_z_m) - middle;
                area += own;
                first += at * own;
                let [m, mz, mzz] = s.laminate.mass;
                let (m, up) = (m * own, if m > 0.0 { mz / m } else { 0.0 });
                let centre = at + Vector3::new(0.0, 0.0, up);
                mass += m;
                heavy += centre * m;
                if !self.wishes.elastic_flap {
                    let inertia = slab(piece, [a, b], m, mzz * own - m * up * up);
                    self.nodes[node].inertia += rigid_mass(m, &centre, &inertia);
                }
            }
        }
        if self.wishes.elastic_flap {
            self.wide(found, ends, node)?;
        }
        let share = |sum: Vector3<f64>, whole: f64| if whole > 0.0 { sum / whole } else { Vector3::zeros() };
        let (centre_m, mass_centre_m) = (share(first, area), share(heavy, mass));
        Ok(Some(Flap { node, centre_m, mass_kg: mass, mass_centre_m }))
    }

    /// The flap as a wide beam from a node on.
    fn wide(&mut self, found: &Strips, ends: &[usize], first: usize) -> Result<(), SolveError> {
        let mut from = first;
        let mut start_m = 0.0;
        let stretches: Vec<[f64; 2]> = ends.iter().map(|&e| self.arrives(e, &found.flap[0])).collect();
        let carried = self.carried(&found.flap, Some(&stretches));
        for (piece, carries) in found.flap.iter().zip(carried) {
            let section = self.section_of(&carries, piece)?;
            let to = self.nodes.len();
            let at = piece.ends_m[1];
            self.nodes.push(FrameNode::free(Vector3::new(at[0], at[1], self.reference_z_m)));
            let span = Span { arm: None, piece: piece.clone(), section, twist_share: 1.0, start_m };
            start_m += piece.length_m();
            self.element([from, to], [Vector3::zeros(); 2], span)?;
            from = to;
        }
        Ok(())
    }
}

impl Build<'_> {
    /// Edges across the flap of what carries at the end of an arm's last element, m.
    fn arrives(&self, end: usize, flap: &Piece) -> [f64; 2] {
        let last = &self.spans[end];
        let stretches = self.sections[last.section].stretches().map(|s| s.across_m);
        let [right, left] =
            stretches.fold([f64::INFINITY, f64::NEG_INFINITY], |[a, b], [c, d]| [a.min(c), b.max(d)]);
        let [tip, near] = [last.piece.ends_m[1], flap.ends_m[0]];
        let [c, s] = flap.along;
        let aside = (tip[1] - near[1]) * c - (tip[0] - near[0]) * s;
        [aside + right, aside + left]
    }
}

/// Inertia of a thin slab about its centre, board axes: kg m2.
fn slab(piece: &Piece, across: [f64; 2], mass: f64, through: f64) -> Matrix3<f64> {
    let (l, w) = (piece.length_m(), across[1] - across[0]);
    let own = Vector3::new(
        w * w / 12.0 * mass + through,
        l * l / 12.0 * mass + through,
        (l * l + w * w) / 12.0 * mass,
    );
    let [c, s] = piece.along;
    let turn = Matrix3::new(c, -s, 0.0, s, c, 0.0, 0.0, 0.0, 1.0);
    turn * Matrix3::from_diagonal(&own) * turn.transpose()
}
