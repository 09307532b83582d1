//! Strain of the copper over a steady motion: spots once, then the range at each from curves along the way.
//!
//! In: states of the way, shapes. Out: for any motion the largest range at the spots. Spots come from the difference of
//! the two ends of the way, as the static swing does it; the other shapes add their strain linearly. Absent: life.

use super::stage::Stage;
use super::way::{State, Strained, Way};
use crate::bend::{difference, face, widest};
use crate::drive::Curve;
use crate::model::Solution;
use crate::recover::{Recovered, SpotOptions, beside_landmark, board_traces, largest_normal, recover, spots};
use crate::result::{DriveSpot, Face};
use nalgebra::{Vector3, Vector6};

/// Spots followed.
const MOST: usize = 8;

/// A place of the copper that is followed.
pub(super) struct Place {
    pub(super) track: String,
    pub(super) layer: String,
    pub(super) face: Face,
    pub(super) at_m: [f64; 2],
    /// Uncertainty of its strain over the strain; None: not estimated.
    pub(super) unsure: Option<f64>,
    /// The strain is a mean about a singular point.
    pub(super) mean: bool,
}

/// Strain at one spot.
pub(super) struct At {
    pub(super) place: Place,
    /// Copper strain (xx, yy, xy) over the amplitude of the swing.
    pub(super) over_way: Curve,
    /// The same per unit of every other shape.
    pub(super) per_shape: Vec<Vector3<f64>>,
    /// A mean at a singular point over the value at the place.
    pub(super) share: f64,
}

/// Strain at all spots.
pub(super) struct Strains {
    at: Vec<At>,
}

/// Range at one spot.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Range {
    pub(super) spot: usize,
    pub(super) range: f64,
    pub(super) error: Option<f64>,
}

impl Strains {
    pub(super) fn new(stage: &Stage<'_>, way: &Way) -> Self {
        let at = match &stage.beams {
            Some(beams) => beams.strained(stage, way, MOST),
            None => by_shell(stage, way),
        };
        Self { at }
    }

    /// Range at every spot over a motion given by its amplitudes, sample by sample.
    pub(super) fn ranges(&self, samples: &[Vec<f64>]) -> Vec<Range> {
        let of = |(i, at): (usize, &At)| {
            let strains: Vec<Vector3<f64>> = samples
                .iter()
                .map(|q| {
                    let way = if at.over_way.width() == 3 {
                        Vector3::from_fn(|c, _| at.over_way.at(q[0], c)[0])
                    } else {
                        Vector3::zeros()
                    };
                    at.per_shape.iter().zip(&q[1..]).fold(way, |sum, (s, q)| sum + s * *q)
                })
                .collect();
            let range = widest(&strains).0 * at.share;
            let error = at.place.unsure.map(|u| u * range);
            Range { spot: i, range, error }
        };
        self.at.iter().enumerate().map(of).collect()
    }

    /// Spots by their range in one motion, worst first, and the rank of each.
    pub(super) fn told(&self, stage: &Stage<'_>, ranges: &[Range]) -> (Vec<DriveSpot>, Vec<u32>) {
        let mut order: Vec<Range> = ranges.to_vec();
        order.sort_by(|a, b| b.range.total_cmp(&a.range).then(a.spot.cmp(&b.spot)));
        let mut ranks = vec![0; self.at.len()];
        let rows = order
            .iter()
            .zip(1_u32..)
            .map(|(range, rank)| {
                ranks[range.spot] = rank;
                let place = &self.at[range.spot].place;
                let (near, near_m) = beside_landmark(stage.board, place.at_m);
                DriveSpot {
                    rank,
                    track: place.track.clone(),
                    layer: place.layer.clone(),
                    face: place.face,
                    x_m: place.at_m[0],
                    y_m: place.at_m[1],
                    near,
                    near_m,
                    range: range.range,
                    range_error: range.error,
                    mean: place.mean,
                }
            })
            .collect();
        (rows, ranks)
    }
}

/// Spots by the difference of the two ends of the way, with their strain along it.
fn by_shell(stage: &Stage<'_>, way: &Way) -> Vec<At> {
    let model = &stage.own.model;
    let traces = board_traces(stage.board, &stage.mesh);
    let of_shell = |s: &State| match &s.strained {
        Strained::Shell(balance) => Some(recover(model, balance.as_ref(), balance.level.thermal)),
        Strained::Beams(_) => None,
    };
    let states: Vec<Recovered> = way.states.iter().filter_map(of_shell).collect();
    let shapes: Vec<Recovered> = stage.shapes[1..]
        .iter()
        .map(|s| {
            let solution = Solution {
                displacement: s.motion.clone(),
                trailing: vec![Vector6::zeros(); s.motion.len()],
                ..Solution::default()
            };
            recover(model, &solution, 0.0)
        })
        .collect();
    let (Some(first), Some(last)) = (states.first(), states.last()) else {
        return Vec::new();
    };
    let wishes = SpotOptions { most: MOST, ..SpotOptions::default() };
    let found = spots(model, &difference(last, first), &traces, &wishes);
    found
        .into_iter()
        .map(|spot| {
            let laminate = &model.laminates[spot.laminate as usize];
            let ply = laminate.plies.iter().position(|p| p.layer == spot.layer).unwrap_or(0);
            let of = |r: &Recovered| -> Vector3<f64> {
                let own = r.zone_nodes.iter().find(|z| z.node == spot.node && z.zone == spot.zone);
                let strain = own.map_or_else(Vector6::zeros, |z| z.strain);
                laminate.copper_strain_at(ply, spot.z_m, &strain, r.thermal_factor)
            };
            let rows: Vec<Vec<f64>> = states.iter().map(|r| of(r).as_slice().to_vec()).collect();
            let between = largest_normal(&(of(last) - of(first))).0.abs();
            let share = if between > 0.0 && spot.mean.is_some() { spot.strain.abs() / between } else { 1.0 };
            let size = spot.strain.abs();
            let place = Place {
                track: traces[spot.trace].name.clone(),
                layer: stage.board.layers[spot.layer.0 as usize].name.clone(),
                face: face(spot.face),
                at_m: [spot.place_m[0], spot.place_m[1]],
                unsure: Some(if size > 0.0 { spot.uncertainty / size } else { 0.0 }),
                mean: spot.mean.is_some(),
            };
            At {
                place,
                over_way: Curve::new(way.amplitude.clone(), rows).unwrap_or_default(),
                per_shape: shapes.iter().map(of).collect(),
                share,
            }
        })
        .collect()
}
