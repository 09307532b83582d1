//! Strain of the copper and of every stack along the beams of a board.
//!
//! In: mode forces of the elements. Out: strain at both faces of every copper layer and both edges of every track at the
//! ends of every element, the worst of each layer and arm, the generalised strain of all stacks. Absent: concentration.

use super::board::BoardBeam;
use super::frame::Link;
use crate::element::beam::section_forces;
use crate::laminate::Laminate;
use crate::recover::largest_normal;
use copperbend_mesh::board::{Board, LayerKind};
use copperbend_mesh::region::Point;
use copperbend_mesh::strip::Part;
use nalgebra::{Vector3, Vector4, Vector6};
use serde::Serialize;
use std::collections::BTreeMap;

/// Copper strain of largest magnitude in one layer on one arm.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct BeamStrain {
    /// Arm.
    pub arm: String,
    /// Layer.
    pub layer: String,
    /// Place on the board, m.
    pub at_m: Point,
    /// Height of the face above z = 0, m.
    pub z_m: f64,
    /// Mechanical normal strain of largest magnitude over directions, signed.
    pub strain: f64,
}

/// Mode forces of an element.
pub type Forces<'f> = dyn Fn(&Link) -> Option<Vector6<f64>> + 'f;

/// A point of the copper on an arm.
#[derive(Debug, Clone, PartialEq)]
pub struct CopperAt {
    /// Index of the arm.
    pub arm: u32,
    /// Index of the layer.
    pub layer: u32,
    /// Place on the board, m.
    pub at_m: Point,
    /// Height above z = 0, m.
    pub z_m: f64,
    /// Upper face of the copper.
    pub upper: bool,
}

/// The same within a section.
#[derive(Debug, Clone, Copy)]
struct FaceAt {
    layer: u32,
    across_m: f64,
    z_m: f64,
    upper: bool,
}

impl BoardBeam {
    /// Element at the middle of the first arm, whose first end is the nearest to it.
    #[must_use]
    pub fn middle_section(&self) -> Option<usize> {
        let inner: Vec<usize> = (0..self.spans.len())
            .filter(|&l| self.spans[l].arm == Some(0) && self.spans[l].piece.part == Part::Arm)
            .collect();
        inner.get(inner.len() / 2).copied()
    }

    /// Copper strain of largest magnitude at the middle of the first arm for a small motion.
    #[must_use]
    pub fn middle_strain(&self, board: &Board, x: &[Vector6<f64>]) -> f64 {
        let Some(l) = self.middle_section() else { return 0.0 };
        let (link, rest) = (&self.frame.links[l], self.frame.rest());
        let Some(forces) = self.frame.mode_forces_by(link, &rest, x, 1.0) else { return 0.0 };
        let whole: f64 = self
            .spans
            .iter()
            .filter(|s| s.arm == Some(0) && s.piece.part == Part::Arm)
            .map(|s| s.piece.length_m())
            .sum();
        let first = self
            .spans
            .iter()
            .find(|s| s.arm == Some(0) && s.piece.part == Part::Arm)
            .map_or(0.0, |s| s.start_m);
        let span = &self.spans[l];
        let place = ((first + 0.5 * whole - span.start_m) / span.piece.length_m()).clamp(0.0, 1.0);
        let mut worst = 0.0_f64;
        self.faces(board, l, (place, &forces), 1.0, &mut |_, strain| {
            let strain = largest_normal(&strain).0;
            if strain.abs() > worst.abs() {
                worst = strain;
            }
        });
        worst
    }

    /// Copper strain of largest magnitude per layer and arm, worst first; `forces` gives an element's mode forces.
    #[must_use]
    pub fn strains(&self, board: &Board, forces: &Forces<'_>, heating: f64) -> Vec<BeamStrain> {
        let mut worst: BTreeMap<(u32, u32), (f64, CopperAt)> = BTreeMap::new();
        self.copper(board, forces, heating, &mut |at, strain| {
            let strain = largest_normal(&strain).0;
            let own = worst.entry((at.arm, at.layer)).or_insert_with(|| (strain, at.clone()));
            if strain.abs() > own.0.abs() {
                *own = (strain, at.clone());
            }
        });
        let told = |(strain, at): (f64, CopperAt)| BeamStrain {
            arm: board.arms[at.arm as usize].name.clone(),
            layer: board.layers[at.layer as usize].name.clone(),
            at_m: at.at_m,
            z_m: at.z_m,
            strain,
        };
        let mut all: Vec<BeamStrain> = worst.into_values().map(told).collect();
        all.sort_by(|a, b| b.strain.abs().total_cmp(&a.strain.abs()));
        all
    }

    /// Hands out the copper strain (xx, yy, xy; board axes) at both ends of every element of the arms, always in the
    /// same order; elements without forces are left out.
    pub fn copper(
        &self,
        board: &Board,
        forces: &Forces<'_>,
        heating: f64,
        take: &mut dyn FnMut(&CopperAt, Vector3<f64>),
    ) {
        for (l, span) in self.spans.iter().enumerate() {
            let Some(arm) = span.arm else { continue };
            let Some(q) = forces(&self.frame.links[l]) else { continue };
            let [a, b] = span.piece.ends_m;
            let [c, s] = span.piece.along;
            for place in [0.0, 1.0] {
                let middle = [0, 1].map(|i| a[i] + place * (b[i] - a[i]));
                self.faces(board, l, (place, &q), heating, &mut |face, strain| {
                    let at_m = [middle[0] - s * face.across_m, middle[1] + c * face.across_m];
                    let FaceAt { layer, z_m, upper, .. } = face;
                    take(&CopperAt { arm, layer, at_m, z_m, upper }, strain);
                });
            }
        }
    }

    /// Hands out the copper strain (xx, yy, xy; board axes) at every face and track edge of an element.
    fn faces(
        &self,
        board: &Board,
        link: usize,
        (place, forces): (f64, &Vector6<f64>),
        heating: f64,
        take: &mut dyn FnMut(FaceAt, Vector3<f64>),
    ) {
        let section = &self.sections[self.spans[link].section];
        let strain = self.section_strain(link, place, forces, heating);
        for (n, stretch) in section.stretches().enumerate() {
            for (p, ply) in stretch.laminate.plies.iter().enumerate() {
                if board.layers[ply.layer.0 as usize].kind != LayerKind::Copper {
                    continue;
                }
                for across_m in stretch.across_m {
                    let whole = section.strain_at(n, across_m, &strain, heating);
                    for (z, upper) in [(ply.z0_m, false), (ply.z1_m, true)] {
                        let own = stretch.laminate.copper_strain_at(p, z, &whole, heating);
                        let z_m = z + self.reference_z_m;
                        take(FaceAt { layer: ply.layer.0, across_m, z_m, upper }, own);
                    }
                }
            }
        }
    }

    /// Stretch, curvatures and twist of an element's section at a place, by its mode forces.
    fn section_strain(&self, link: usize, place: f64, forces: &Vector6<f64>, heating: f64) -> Vector4<f64> {
        let span = &self.spans[link];
        let section = &self.sections[span.section];
        let mut strain: Vector4<f64> =
            section.compliance * (section_forces(place) * forces) + section.free * heating;
        strain[3] *= span.twist_share;
        strain
    }

    /// Hands out the generalised strain (board axes) of every stack for a small motion from rest, with its area:
    /// two points of Gauss along each element, three across each stretch.
    pub fn stacks(&self, motion: &[Vector6<f64>], take: &mut dyn FnMut(&Laminate, &Vector6<f64>, f64)) {
        const ALONG: [f64; 2] = [0.211_324_865_405_187_1, 0.788_675_134_594_812_9];
        let rest = self.frame.rest();
        for (l, link) in self.frame.links.iter().enumerate() {
            let Some(q) = self.frame.mode_forces_by(link, &rest, motion, 0.0) else { continue };
            let section = &self.sections[self.spans[l].section];
            for place in ALONG {
                let strain = self.section_strain(l, place, &q, 0.0);
                for (n, stretch) in section.stretches().enumerate() {
                    let [a, b] = stretch.across_m;
                    let area = 0.5 * link.element.length_m * (b - a);
                    for (t, weight) in [(0.0, 1.0 / 6.0), (0.5, 4.0 / 6.0), (1.0, 1.0 / 6.0)] {
                        let whole = section.strain_at(n, a + t * (b - a), &strain, 0.0);
                        take(&stretch.laminate, &whole, area * weight);
                    }
                }
            }
        }
    }
}
