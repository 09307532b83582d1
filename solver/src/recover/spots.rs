//! Spots: local maxima of the ranking strain on each piece of copper, merged, with their uncertainty.
//!
//! In: a model, its recovered strains, traces. Out: spots, largest first. Absent: comparison between meshes, see
//! [`crate::settle`].

use super::cells::Cells;
use super::corners::{Singular, thickness_m};
use super::fields::{Recovered, zone};
use super::mean::disc_mean;
use super::rank::{Face, Ranked, along, rank_layer};
use crate::model::Model;
use copperbend_mesh::board::{ConductorId, LayerId};
use copperbend_mesh::region::Point;
use nalgebra::{Matrix3, Vector3, Vector6};
use rayon::prelude::*;
use std::cell::LazyCell;
use std::f64::consts::FRAC_1_SQRT_2;
use std::ops::Deref;

/// A piece of one layer whose strain is looked at: a track, a pour, the turns of a coil, or a whole layer.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Trace {
    /// Name shown in the table.
    pub name: String,
    /// The copper it stands for; None for a whole layer.
    pub conductor: Option<ConductorId>,
    /// Layer.
    pub layer: Option<LayerId>,
    /// Width of a track, m.
    pub width_m: Option<f64>,
    /// Centre line of a track, m.
    pub centre_line_m: Vec<Point>,
    /// Triangles inside, sorted.
    pub triangles: Vec<u32>,
    /// Ranked for cracks.
    pub ranked: bool,
}

/// How spots are picked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpotOptions {
    /// Most spots kept.
    pub most: usize,
    /// Local maxima below this share of the largest are dropped.
    pub least_share: f64,
    /// Relative uncertainty that no spot goes below.
    pub floor: f64,
}

impl Default for SpotOptions {
    fn default() -> Self {
        Self { most: 100, least_share: 0.1, floor: 0.01 }
    }
}

/// Mean about a singular point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpotMean {
    /// The point and why it is flagged.
    pub singular: Singular,
    /// Radius of the half-disc, m.
    pub radius_m: f64,
    /// Whether the triangles there are no larger than half the radius (to a tenth).
    pub resolved: bool,
    /// Size of the triangles in the half-disc, area mean, m.
    pub size_m: f64,
}

/// A local maximum of the ranking strain.
#[derive(Debug, Clone, PartialEq)]
pub struct Spot {
    /// Index into the traces.
    pub trace: usize,
    /// Layer.
    pub layer: LayerId,
    /// Face of the layer.
    pub face: Face,
    /// Place on the reference plane, m.
    pub place_m: [f64; 3],
    /// Height of the face above the reference plane, m.
    pub z_m: f64,
    /// Strain that ranks: the recovered value, or the mean about a singular point.
    pub strain: f64,
    /// Its direction from the x axis, rad.
    pub direction_rad: f64,
    /// Mechanical strain along the track at the same face, where there is a centre line.
    pub along_track: Option<f64>,
    /// Largest of the triangles' own values at the place.
    pub highest: f64,
    /// Value of the second opinion.
    pub second: f64,
    /// Uncertainty of the strain, absolute.
    pub uncertainty: f64,
    /// Difference to the previous mesh, where there was one.
    pub change: Option<f64>,
    /// Size of the triangles around, m.
    pub size_m: f64,
    /// Total thickness of the stack, m.
    pub thickness_m: f64,
    /// Set where the strain has no limit under refinement: `strain` is then a mean.
    pub mean: Option<SpotMean>,
    /// Across a track narrower than three thicknesses: the shell does not hold there.
    pub indicative: bool,
    /// Node of the local maximum.
    pub node: u32,
    /// Recovery zone.
    pub zone: u32,
    /// Laminate there.
    pub laminate: u32,
}

/// Spots of all ranked traces, largest magnitude first.
#[must_use]
pub fn spots(model: &Model, recovered: &Recovered, traces: &[Trace], options: &SpotOptions) -> Vec<Spot> {
    let mut found: Vec<Spot> = (0..traces.len())
        .into_par_iter()
        .filter(|&trace| traces[trace].ranked)
        .map(|trace| Look { model, recovered, trace: &traces[trace] }.spots(trace, options))
        .collect::<Vec<_>>()
        .concat();
    sort(&mut found);
    let least = found.first().map_or(0.0, |spot| spot.strain.abs() * options.least_share);
    found.retain(|spot| spot.strain.abs() >= least && spot.strain != 0.0);
    found.truncate(options.most);
    found
}

fn sort(spots: &mut [Spot]) {
    spots.sort_by(|one, other| {
        other
            .strain
            .abs()
            .total_cmp(&one.strain.abs())
            .then(one.trace.cmp(&other.trace))
            .then(one.node.cmp(&other.node))
    });
}

/// Ranking strain at every node of a trace: node, zone-node, value; sorted by node, the larger side of a stack edge.
#[must_use]
pub fn trace_values(model: &Model, recovered: &Recovered, trace: &Trace) -> Vec<(u32, u32, Ranked)> {
    Look { model, recovered, trace }.values()
}

/// Mean strain that ranks over a half-disc of a trace, on the triangles of one zone.
pub(crate) struct TraceMean {
    pub(crate) ranked: Ranked,
    pub(crate) smooth: f64,
    pub(crate) triad: Matrix3<f64>,
    pub(crate) size_m: f64,
}

/// See [`TraceMean`]; None where that zone of the trace does not reach the disc.
///
/// `of`: zone and laminate.
pub(crate) fn trace_mean(
    model: &Model,
    recovered: &Recovered,
    trace: &Trace,
    of: (u32, u32),
    disc: ([f64; 3], f64),
) -> Option<TraceMean> {
    mean_of(model, recovered, (trace.layer?, &trace.triangles), of, disc)
}

/// The same from a layer and those of a trace's triangles that may reach the disc, sorted.
fn mean_of(
    model: &Model,
    recovered: &Recovered,
    (layer, near): (LayerId, &[u32]),
    of: (u32, u32),
    disc: ([f64; 3], f64),
) -> Option<TraceMean> {
    let triangles: Vec<u32> = near.iter().copied().filter(|&t| zone(model, t) == of.0).collect();
    let mean = disc_mean(model, recovered, &triangles, disc.0, disc.1)?;
    let stack = &model.laminates[of.1 as usize];
    Some(TraceMean {
        ranked: rank_layer(stack, layer, &mean.strain, recovered.thermal_factor)?,
        smooth: rank_layer(stack, layer, &mean.smooth, recovered.thermal_factor)?.strain,
        triad: mean.triad,
        size_m: mean.size_m,
    })
}

struct Look<'a> {
    model: &'a Model,
    recovered: &'a Recovered,
    trace: &'a Trace,
}

impl Look<'_> {
    fn rank(&self, laminate: u32, strain: &Vector6<f64>) -> Option<Ranked> {
        let stack = &self.model.laminates[laminate as usize];
        rank_layer(stack, self.trace.layer?, strain, self.recovered.thermal_factor)
    }

    fn values(&self) -> Vec<(u32, u32, Ranked)> {
        let mut met = vec![false; self.recovered.zone_nodes.len()];
        for z in self.trace.triangles.iter().flat_map(|&t| self.recovered.corner[t as usize]) {
            met[z as usize] = true;
        }
        // Zone-nodes are sorted by node, so equal nodes are neighbours here.
        let mut values: Vec<(u32, u32, Ranked)> = Vec::new();
        for (zone_node, _) in (0_u32..).zip(&met).filter(|(_, met)| **met) {
            let own = &self.recovered.zone_nodes[zone_node as usize];
            let Some(ranked) = self.rank(own.laminate, &own.strain) else { continue };
            match values.last_mut() {
                Some(last) if last.0 == own.node => {
                    if ranked.strain.abs() > last.2.strain.abs() {
                        *last = (own.node, zone_node, ranked);
                    }
                }
                _ => values.push((own.node, zone_node, ranked)),
            }
        }
        values
    }

    /// Indices of the values that no neighbour on the trace exceeds.
    fn maxima(&self, values: &[(u32, u32, Ranked)]) -> Vec<usize> {
        let mut place_of = vec![None; self.model.nodes_m.len()];
        for (k, value) in values.iter().enumerate() {
            place_of[value.0 as usize] = Some(k);
        }
        let place = |node: u32| place_of[node as usize];
        let mut highest = vec![true; values.len()];
        for &triangle in &self.trace.triangles {
            let corners = self.model.triangles[triangle as usize].map(place);
            for (i, j) in [(0, 1), (1, 2), (2, 0)] {
                let (Some(p), Some(q)) = (corners[i], corners[j]) else { continue };
                let [a, b] = [p, q].map(|k| values[k].2.strain.abs());
                // Equal values: the lower node keeps the title.
                let lower = if a > b || (a >= b && p < q) { q } else { p };
                highest[lower] = false;
            }
        }
        (0..values.len()).filter(|&k| highest[k]).collect()
    }

    fn spots(&self, trace: usize, options: &SpotOptions) -> Vec<Spot> {
        let values = self.values();
        let cells = LazyCell::new(|| Cells::new(self.model, &self.trace.triangles));
        let mut candidates: Vec<Spot> = self
            .maxima(&values)
            .into_iter()
            .filter_map(|k| self.spot(trace, &values[k], options.floor, &cells))
            .collect();
        sort(&mut candidates);
        let mut kept: Vec<Spot> = Vec::new();
        for spot in candidates {
            // The board's 1 um grid may put the two edges of one track a hair further apart than its width.
            let reach = (2.0 * spot.thickness_m).max(self.trace.width_m.unwrap_or(0.0)) + 1e-6;
            if kept.iter().all(|other| distance_m(&other.place_m, &spot.place_m) > reach) {
                kept.push(spot);
            }
        }
        kept
    }

    fn spot<'c>(
        &self,
        trace: usize,
        value: &(u32, u32, Ranked),
        floor: f64,
        cells: &impl Deref<Target = Cells<'c>>,
    ) -> Option<Spot> {
        let (node, zone_node, ranked) = *value;
        let own = &self.recovered.zone_nodes[zone_node as usize];
        let second = self.rank(own.laminate, &own.second)?.strain;
        let highest = self
            .recovered
            .raw_at(zone_node)
            .filter_map(|raw| Some(self.rank(own.laminate, &raw)?.strain))
            .fold(0.0, |best: f64, strain| if strain.abs() > best.abs() { strain } else { best });
        let mut spot = Spot {
            trace,
            layer: self.trace.layer?,
            face: ranked.face,
            place_m: self.model.nodes_m[node as usize],
            z_m: ranked.z_m,
            strain: ranked.strain,
            direction_rad: ranked.direction_rad,
            along_track: None,
            highest,
            second,
            uncertainty: 0.0,
            change: None,
            size_m: self.recovered.local_size_m(zone_node),
            thickness_m: thickness_m(&self.model.laminates[own.laminate as usize]),
            mean: None,
            indicative: false,
            node,
            zone: own.zone,
            laminate: own.laminate,
        };
        let mut final_ranked = ranked;
        let mut triad = own.triad;
        if let Some((mean, about)) = self.about_singular(&spot, cells) {
            spot.mean = Some(mean);
            spot.place_m = mean.singular.place_m;
            spot.strain = about.ranked.strain;
            (spot.face, spot.z_m) = (about.ranked.face, about.ranked.z_m);
            spot.direction_rad = about.ranked.direction_rad;
            (spot.highest, spot.second) = (about.ranked.strain, about.smooth);
            (final_ranked, triad) = (about.ranked, about.triad);
        }
        self.track_side(&mut spot, &final_ranked, &triad);
        spot.uncertainty = spread(&spot).max(floor * spot.strain.abs());
        Some(spot)
    }

    /// The singular point that a spot belongs to, with the mean about it.
    fn about_singular<'c>(
        &self,
        spot: &Spot,
        cells: &impl Deref<Target = Cells<'c>>,
    ) -> Option<(SpotMean, TraceMean)> {
        let near = self
            .recovered
            .singular
            .iter()
            .map(|singular| (distance_m(&singular.place_m, &spot.place_m), singular))
            // Closer than two triangles, a maximum cannot be told from the singular point's own.
            .filter(|(distance, singular)| *distance <= singular.thickness_m.max(2.0 * spot.size_m))
            .min_by(|one, other| one.0.total_cmp(&other.0))?
            .1;
        let mut singular = *near;
        if !self.touches(near.node) {
            singular.place_m = spot.place_m;
        }
        let radius_m = near.thickness_m;
        let disc = (singular.place_m, radius_m);
        let layer = self.trace.layer?;
        let close = cells.around(&singular.place_m, radius_m);
        let of = (spot.zone, spot.laminate);
        let about = mean_of(self.model, self.recovered, (layer, &close), of, disc)?;
        let resolved = about.size_m <= 0.55 * radius_m;
        Some((SpotMean { singular, radius_m, resolved, size_m: about.size_m }, about))
    }

    /// Whether a triangle of the trace has this node as a corner.
    fn touches(&self, node: u32) -> bool {
        let zone_nodes = &self.recovered.zone_nodes;
        let first = zone_nodes.partition_point(|own| own.node < node);
        let here = zone_nodes[first..].iter().take_while(|own| own.node == node);
        here.flat_map(|own| &own.triangles).any(|(t, _)| self.trace.triangles.binary_search(t).is_ok())
    }

    /// Strain along the track, and whether the ranking strain runs across a track too narrow for a shell.
    fn track_side(&self, spot: &mut Spot, ranked: &Ranked, triad: &Matrix3<f64>) {
        let Some(run) = direction_at(&self.trace.centre_line_m, [spot.place_m[0], spot.place_m[1]]) else {
            return;
        };
        let in_axes = triad * Vector3::new(run[0], run[1], 0.0);
        let angle = in_axes[1].atan2(in_axes[0]);
        spot.along_track = Some(along(&Vector3::from(ranked.components), angle));
        let across = (ranked.direction_rad - angle).cos().abs() < FRAC_1_SQRT_2;
        let narrow = self.trace.width_m.is_some_and(|width| width < 3.0 * spot.thickness_m);
        spot.indicative = across && narrow;
    }
}

/// Span between the reported value, the triangles' own highest and the second opinion: what one mesh alone can say.
fn spread(spot: &Spot) -> f64 {
    let values = [spot.strain, spot.highest, spot.second];
    let low = values.iter().copied().fold(f64::INFINITY, f64::min);
    values.iter().copied().fold(f64::NEG_INFINITY, f64::max) - low
}

/// Unit direction of the piece of a polyline nearest to a point; None for less than two points.
fn direction_at(line: &[Point], at: Point) -> Option<[f64; 2]> {
    line.windows(2)
        .filter_map(|ends| {
            let [p, q] = [ends[0], ends[1]];
            let run = [q[0] - p[0], q[1] - p[1]];
            let length = run[0].hypot(run[1]);
            (length > 0.0).then(|| (segment_distance_m(p, q, at), run.map(|part| part / length)))
        })
        .min_by(|one, other| one.0.total_cmp(&other.0))
        .map(|(_, run)| run)
}

/// Distance from a point to a straight piece, m.
pub(crate) fn segment_distance_m(p: Point, q: Point, at: Point) -> f64 {
    let run = [q[0] - p[0], q[1] - p[1]];
    let square = run[0] * run[0] + run[1] * run[1];
    let along = (at[0] - p[0]) * run[0] + (at[1] - p[1]) * run[1];
    let share = if square > 0.0 { (along / square).clamp(0.0, 1.0) } else { 0.0 };
    (p[0] + share * run[0] - at[0]).hypot(p[1] + share * run[1] - at[1])
}

/// Distance of two places, m.
pub(crate) fn distance_m(one: &[f64; 3], other: &[f64; 3]) -> f64 {
    (Vector3::from(*one) - Vector3::from(*other)).norm()
}
