//! Recovered generalised strains per zone-node, and the energy error of each triangle.
//!
//! Zones end where the laminate changes and at folds sharper than 20 degrees: strain jumps there by design.
//! Source: Zienkiewicz and Zhu 1987, Int. J. Numer. Methods Eng. 24, 337 (error from recovered against raw
//! strain; cited from memory).

use super::corners::{Singular, singular_points};
use super::fit::{CornerWeights, mid_side_weights, weighted};
use super::motion::Motion;
use super::nodal::{NodeWeights, gradients, nodal_weights};
use super::rank::rotate;
use super::topology::{Around, Topology};
use crate::element::{self, Local};
use crate::laminate::Laminate;
use crate::model::Model;
use nalgebra::{Matrix3, Matrix6, Vector6};
use rayon::prelude::*;

/// Strains at a node as seen from one zone.
#[derive(Debug, Clone, PartialEq)]
pub struct ZoneNode {
    /// Node.
    pub node: u32,
    /// Recovery zone: [`Model::zone_of`], or the laminate where that is empty.
    pub zone: u32,
    /// Laminate of the first triangle (all of them in a plain zone).
    pub laminate: u32,
    /// Triangles of the zone that touch the node, with the corner at which they do.
    pub triangles: Vec<(u32, u8)>,
    /// Axes of the strains below: rows e1, e2, normal.
    pub triad: Matrix3<f64>,
    /// The value reported: a quadratic through the mid-side values around the node.
    pub strain: Vector6<f64>,
    /// Second opinion: gradients of quadratics through the nodal displacements and rotations.
    pub second: Vector6<f64>,
    /// Area-weighted mean of the triangles' own values at this corner.
    pub mean: Vector6<f64>,
}

/// Strains of a whole model: order (ex, ey, gxy, kx, ky, kxy), curvatures in 1/m, all total (thermal included).
#[derive(Debug, Clone, Default)]
pub struct Recovered {
    /// Sorted by node, then zone.
    pub zone_nodes: Vec<ZoneNode>,
    /// Index of each triangle corner into [`Recovered::zone_nodes`].
    pub corner: Vec<[u32; 3]>,
    /// Each triangle's own strains at its corners, in its own axes.
    pub raw: Vec<[Vector6<f64>; 3]>,
    /// Axes of each triangle: rows e1, e2, normal.
    pub triad: Vec<Matrix3<f64>>,
    /// Area of each triangle, m2.
    pub area_m2: Vec<f64>,
    /// Squared energy error of each triangle, J: twice the energy of recovered minus raw strain.
    pub error: Vec<f64>,
    /// Twice the strain energy of the raw strains, J.
    pub energy: f64,
    /// Share of the plies' own heating that acts.
    pub thermal_factor: f64,
    /// Places where the strain has no limit under refinement, sorted by node.
    pub singular: Vec<Singular>,
}

impl Recovered {
    /// Relative error of the strain field in the energy norm, estimated.
    #[must_use]
    pub fn relative_error(&self) -> f64 {
        let error: f64 = self.error.iter().sum();
        if self.energy > 0.0 { (error / self.energy).sqrt() } else { 0.0 }
    }

    /// Size of a triangle: side of the equilateral triangle of the same area, m.
    #[must_use]
    pub fn size_m(&self, triangle: u32) -> f64 {
        (self.area_m2[triangle as usize] * 4.0 / 3.0_f64.sqrt()).sqrt()
    }

    /// Size of the triangles around a zone-node: side of the equilateral triangle of their mean area, m.
    #[must_use]
    pub fn local_size_m(&self, zone_node: u32) -> f64 {
        let around = &self.zone_nodes[zone_node as usize].triangles;
        let area: f64 = around.iter().map(|&(triangle, _)| self.area_m2[triangle as usize]).sum();
        let count = around.iter().fold(0.0, |sum, _| sum + 1.0);
        (area / count * 4.0 / 3.0_f64.sqrt()).sqrt()
    }

    /// The triangles' own strains at a zone-node, in the zone-node's axes.
    pub fn raw_at(&self, zone_node: u32) -> impl Iterator<Item = Vector6<f64>> + '_ {
        let own = &self.zone_nodes[zone_node as usize];
        own.triangles.iter().map(move |&(triangle, corner)| {
            let strain = &self.raw[triangle as usize][corner as usize];
            into_axes(strain, &self.triad[triangle as usize], &own.triad)
        })
    }
}

/// Angle from axes `to` to axes `from` about the common normal, rad; exactly zero for equal axes.
fn angle_between(from: &Matrix3<f64>, to: &Matrix3<f64>) -> f64 {
    let e1 = from.row(0);
    e1.dot(&to.row(1)).atan2(e1.dot(&to.row(0)))
}

/// Strains given in axes `from`, in axes `to`.
pub(super) fn into_axes(strain: &Vector6<f64>, from: &Matrix3<f64>, to: &Matrix3<f64>) -> Vector6<f64> {
    if from == to { *strain } else { rotate(strain, -angle_between(from, to)) }
}

/// Strains of one triangle at its three corners, in its own axes (membrane strain at its true scale).
///
/// The rigid part of the motion is taken out before the strains are formed, so a large rigid motion costs no digits.
#[must_use]
pub fn element_strains(model: &Model, source: &impl Motion, triangle: usize) -> [Vector6<f64>; 3] {
    let local = local(model, triangle);
    let motion = source.of_triangle(model, triangle, &local);
    element::shell::corner_strains(&local.corners, &motion, 1.0)
}

fn local(model: &Model, triangle: usize) -> Local {
    let nodes = model.triangles[triangle].map(|node| node as usize);
    let axis = model.axis_of.get(triangle).copied().unwrap_or([1.0, 0.0, 0.0]);
    element::local(nodes.map(|node| model.nodes_m[node]), axis)
}

/// Axes and area of a triangle.
fn measured(model: &Model, triangle: usize) -> (Matrix3<f64>, f64) {
    let Local { corners: [p, q, r], triad } = local(model, triangle);
    (triad, 0.5 * ((q[0] - p[0]) * (r[1] - p[1]) - (r[0] - p[0]) * (q[1] - p[1])).abs())
}

/// Recovers strains and the error of each triangle; parallel, the same bytes whatever the thread count.
///
/// `source`: a linear solution, or an equilibrium under large motion. `thermal_factor`: the load case's factor on the
/// plies' heating. Returns total strains, in axes that turn with the material.
#[must_use]
pub fn recover(model: &Model, source: &impl Motion, thermal_factor: f64) -> Recovered {
    let strains = || own_strains(model, source);
    let (raw, patches) = rayon::join(strains, || Patches::new(model));
    let Patches { blank, fits } = patches;
    filled(model, (blank, &fits), source, (raw, thermal_factor))
}

/// What recovery needs of a mesh whatever its motion: zones, singular points, the weights of both fits.
#[derive(Debug, Clone)]
pub struct Patches {
    blank: Recovered,
    fits: Vec<Fit>,
}

impl Patches {
    /// Looks at a model once, for any number of motions.
    #[must_use]
    pub fn new(model: &Model) -> Self {
        let axes = || -> (Vec<Matrix3<f64>>, Vec<f64>) {
            (0..model.triangles.len()).into_par_iter().map(|t| measured(model, t)).unzip()
        };
        let ((triad, area_m2), topology) =
            rayon::join(axes, || Topology::new(model.nodes_m.len(), &model.triangles));
        let mut blank = Recovered { triad, area_m2, ..Recovered::default() };
        let all: Vec<u32> = (0_u32..).take(model.nodes_m.len()).collect();
        group(model, &topology.around, &all, &mut blank);
        let fit = |z: usize| Fit::new(model, &blank, z);
        let fits = || -> Vec<Fit> { (0..blank.zone_nodes.len()).into_par_iter().map(fit).collect() };
        let (singular, fits) = rayon::join(|| singular_points(model, &topology), fits);
        blank.singular = singular;
        Self { blank, fits }
    }

    /// The same to the last bit as [`recover`].
    #[must_use]
    pub fn recover(&self, model: &Model, source: &impl Motion, thermal_factor: f64) -> Recovered {
        let strains = || own_strains(model, source);
        let (raw, blank) = rayon::join(strains, || self.blank.clone());
        filled(model, (blank, &self.fits), source, (raw, thermal_factor))
    }
}

fn own_strains(model: &Model, source: &impl Motion) -> Vec<[Vector6<f64>; 3]> {
    (0..model.triangles.len()).into_par_iter().map(|t| element_strains(model, source, t)).collect()
}

fn filled(
    model: &Model,
    (mut recovered, fits): (Recovered, &[Fit]),
    source: &impl Motion,
    (raw, thermal_factor): (Vec<[Vector6<f64>; 3]>, f64),
) -> Recovered {
    (recovered.raw, recovered.thermal_factor) = (raw, thermal_factor);
    let of = |(z, fit): (usize, &Fit)| fit.values(model, source, &recovered, z);
    let values: Vec<[Vector6<f64>; 3]> = fits.par_iter().enumerate().map(of).collect();
    for (own, [strain, second, mean]) in recovered.zone_nodes.iter_mut().zip(values) {
        (own.strain, own.second, own.mean) = (strain, second, mean);
    }
    energies(model, &mut recovered);
    recovered
}

/// Weights of both fits at one zone-node.
#[derive(Debug, Clone)]
struct Fit {
    mid_sides: Option<CornerWeights>,
    nodes: Option<NodeWeights>,
}

impl Fit {
    fn new(model: &Model, recovered: &Recovered, zone_node: usize) -> Self {
        Self {
            mid_sides: mid_side_weights(&model.nodes_m, recovered, zone_node),
            nodes: nodal_weights(&model.nodes_m, recovered, zone_node),
        }
    }

    /// Strain, second opinion, mean.
    fn values(
        &self,
        model: &Model,
        source: &impl Motion,
        recovered: &Recovered,
        zone_node: usize,
    ) -> [Vector6<f64>; 3] {
        let mean = mean(recovered, zone_node);
        let strain = self.mid_sides.as_ref().map_or(mean, |w| weighted(recovered, zone_node, w));
        let second =
            self.nodes.as_ref().map_or(strain, |w| gradients(model, source, recovered, (zone_node, w)));
        [strain, second, mean]
    }
}

/// Strains recovered at a few nodes only, the same to the last bit as [`recover`] gives there; elsewhere nothing.
///
/// Singular points and errors are left out. `nodes`: sorted.
pub(crate) fn recover_at(
    model: &Model,
    source: &impl Motion,
    thermal_factor: f64,
    nodes: &[u32],
) -> Recovered {
    let around = Around::new(model.nodes_m.len(), &model.triangles);
    let ring = |nodes: &[u32]| {
        let mut triangles: Vec<u32> = nodes.iter().flat_map(|&n| around.of(n)).copied().collect();
        triangles.sort_unstable();
        triangles.dedup();
        let mut reached: Vec<u32> = triangles.iter().flat_map(|&t| model.triangles[t as usize]).collect();
        reached.sort_unstable();
        reached.dedup();
        (triangles, reached)
    };
    // Fits look at the triangles of two rings, and so at the zones of all nodes of the first.
    let (_, reached) = ring(nodes);
    let (triangles, grouped) = ring(&reached);
    let n = model.triangles.len();
    let mut recovered = Recovered {
        raw: vec![[Vector6::zeros(); 3]; n],
        triad: vec![Matrix3::identity(); n],
        area_m2: vec![0.0; n],
        thermal_factor,
        ..Recovered::default()
    };
    for t in triangles.iter().map(|&t| t as usize) {
        recovered.raw[t] = element_strains(model, source, t);
        (recovered.triad[t], recovered.area_m2[t]) = measured(model, t);
    }
    group(model, &around, &grouped, &mut recovered);
    let wanted = |&z: &usize| nodes.binary_search(&recovered.zone_nodes[z].node).is_ok();
    let few: Vec<usize> = (0..recovered.zone_nodes.len()).filter(wanted).collect();
    for z in few {
        let values = Fit::new(model, &recovered, z).values(model, source, &recovered, z);
        let own = &mut recovered.zone_nodes[z];
        [own.strain, own.second, own.mean] = values;
    }
    recovered
}

/// Recovery zone of a triangle.
pub(crate) fn zone(model: &Model, triangle: u32) -> u32 {
    let of = if model.zone_of.is_empty() { &model.laminate_of } else { &model.zone_of };
    of[triangle as usize]
}

/// Cosine of the sharpest fold that still counts as one surface (20 degrees).
const COS_FOLD: f64 = 0.939_692_620_785_908_4;

/// Nodes a thread takes at a time.
const CHUNK: usize = 512;

/// Sorts the corners at some nodes into zones of the same laminate and direction. `nodes`: sorted.
fn group(model: &Model, around: &Around, nodes: &[u32], recovered: &mut Recovered) {
    let at = |&node: &u32| zones_at(model, around.of(node), node, &recovered.triad);
    let found: Vec<Vec<ZoneNode>> =
        nodes.par_chunks(CHUNK).map(|chunk| chunk.iter().flat_map(at).collect()).collect();
    recovered.zone_nodes = Vec::with_capacity(found.iter().map(Vec::len).sum());
    recovered.zone_nodes.extend(found.into_iter().flatten());
    recovered.corner = vec![[0; 3]; model.triangles.len()];
    for (index, own) in (0_u32..).zip(&recovered.zone_nodes) {
        for &(triangle, corner) in &own.triangles {
            recovered.corner[triangle as usize][corner as usize] = index;
        }
    }
}

/// The zones at one node, sorted.
fn zones_at(model: &Model, around: &[u32], node: u32, triads: &[Matrix3<f64>]) -> Vec<ZoneNode> {
    let mut here: Vec<ZoneNode> = Vec::new();
    for &triangle in around {
        let t = triangle as usize;
        let corner = (0_u8..3).find(|&c| model.triangles[t][c as usize] == node).unwrap_or(0);
        let zone = zone(model, triangle);
        let normal = triads[t].row(2);
        match here.iter_mut().find(|own| own.zone == zone && own.triad.row(2).dot(&normal) > COS_FOLD) {
            Some(own) => own.triangles.push((triangle, corner)),
            None => here.push(ZoneNode {
                node,
                zone,
                laminate: model.laminate_of[t],
                triangles: vec![(triangle, corner)],
                triad: triads[t],
                strain: Vector6::zeros(),
                second: Vector6::zeros(),
                mean: Vector6::zeros(),
            }),
        }
    }
    here.sort_by_key(|own| own.zone);
    here
}

fn mean(recovered: &Recovered, zone_node: usize) -> Vector6<f64> {
    let own = &recovered.zone_nodes[zone_node];
    let (mut sum, mut weight) = (Vector6::zeros(), 0.0);
    for &(triangle, corner) in &own.triangles {
        let area = recovered.area_m2[triangle as usize];
        let raw = &recovered.raw[triangle as usize][corner as usize];
        sum += into_axes(raw, &recovered.triad[triangle as usize], &own.triad) * area;
        weight += area;
    }
    sum / weight
}

/// Error per triangle and energy, by the mid-side rule (exact for strains linear over the triangle).
fn energies(model: &Model, recovered: &mut Recovered) {
    let stiffness: Vec<Matrix6<f64>> = model.laminates.iter().map(Laminate::abd).collect();
    let pairs: Vec<[f64; 2]> = (0..model.triangles.len())
        .into_par_iter()
        .map(|t| {
            let c = &stiffness[model.laminate_of[t] as usize];
            let smooth = recovered.corner[t].map(|z| {
                let own = &recovered.zone_nodes[z as usize];
                into_axes(&own.strain, &own.triad, &recovered.triad[t])
            });
            let raw = &recovered.raw[t];
            let mut sums = [0.0; 2];
            for [i, j] in [[0, 1], [1, 2], [2, 0]] {
                let at_raw = (raw[i] + raw[j]) * 0.5;
                let off = (smooth[i] + smooth[j]) * 0.5 - at_raw;
                sums[0] += off.dot(&(c * off));
                sums[1] += at_raw.dot(&(c * at_raw));
            }
            sums.map(|sum| sum * recovered.area_m2[t] / 3.0)
        })
        .collect();
    recovered.error = pairs.iter().map(|pair| pair[0].max(0.0)).collect();
    recovered.energy = pairs.iter().map(|pair| pair[1]).sum();
}
