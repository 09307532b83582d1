//! Where the next mesh must be finer.

use super::compare::{at_limit, still, top};
use super::{Look, SettleOptions};
use crate::recover::{Spot, thickness_m};
use copperbend_mesh::triangulate::SizeSource;
use rayon::prelude::*;

/// What the next mesh should be.
pub(super) enum Next {
    /// All size wishes: the old ones and new ones.
    Refine(Vec<SizeSource>),
    /// Every place that should be finer is at its limit.
    Finest,
    /// The next mesh would be too large.
    TooMany,
}

/// A wish for smaller triangles.
#[derive(Clone, Copy)]
struct Wish {
    at: [f64; 2],
    size_m: f64,
}

/// Sizes of the next mesh from the errors of this one.
pub(super) fn next<T>(now: &Look<T>, sources: &[SizeSource], options: &SettleOptions) -> Next {
    let moving = top(&now.spots, options).into_iter().filter(|spot| !still(spot, options));
    let mut wishes: Vec<Wish> = moving.flat_map(|spot| spot_wishes(spot, options)).collect();
    wishes.extend(energy_wishes(now, options));
    wishes.sort_by(|one, other| one.size_m.total_cmp(&other.size_m));
    let nodes_m = &now.trial.model.nodes_m;
    let mut all = sources.to_vec();
    let mut near = Near::new(nodes_m, options.growth);
    sources.iter().for_each(|source| near.add(source));
    let mut added = Near::new(nodes_m, options.growth);
    for wish in wishes {
        if near.least(wish.at, 1.15 * wish.size_m).is_none() {
            let source = SizeSource { at_m: [wish.at, wish.at], size_m: wish.size_m };
            near.add(&source);
            added.add(&source);
            all.push(source);
        }
    }
    if all.len() == sources.len() {
        Next::Finest
    } else if expected(now, &added) > f64::from(options.max_triangles) {
        Next::TooMany
    } else {
        Next::Refine(all)
    }
}

/// Cells of the search grid along its longer side.
const CELLS: usize = 100;

/// Size sources by place, to find those that reach a point.
struct Near {
    low: [f64; 2],
    cell_m: f64,
    growth: f64,
    cells: Vec<Vec<SizeSource>>,
}

impl Near {
    /// Over the nodes of a model.
    fn new(nodes_m: &[[f64; 3]], growth: f64) -> Self {
        let span = |axis: usize| {
            nodes_m
                .iter()
                .fold([f64::INFINITY, f64::NEG_INFINITY], |[l, h], n| [l.min(n[axis]), h.max(n[axis])])
        };
        let (x, y) = (span(0), span(1));
        let cell_m = ((x[1] - x[0]).max(y[1] - y[0]) / CELLS as f64).max(f64::MIN_POSITIVE);
        Self { low: [x[0], y[0]], cell_m, growth, cells: vec![Vec::new(); CELLS * CELLS] }
    }

    /// Cell of a place; the cells at the rim take what lies beyond.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "the cast cuts off at zero")]
    fn cell(&self, at: [f64; 2]) -> [usize; 2] {
        [0, 1].map(|k| (((at[k] - self.low[k]) / self.cell_m) as usize).min(CELLS - 1))
    }

    fn add(&mut self, source: &SizeSource) {
        let [i, j] = self.cell(source.at_m[0]);
        self.cells[i * CELLS + j].push(*source);
    }

    /// Least size that the sources ask for at a place, if it is at most `limit_m`.
    fn least(&self, at: [f64; 2], limit_m: f64) -> Option<f64> {
        let reach = limit_m / self.growth;
        let [low, high] = [-reach, reach].map(|r| self.cell([at[0] + r, at[1] + r]));
        let mut least = None::<f64>;
        for i in low[0]..=high[0] {
            for source in self.cells[i * CELLS + low[1]..=i * CELLS + high[1]].iter().flatten() {
                let size = reached(source, at, self.growth);
                if size <= least.unwrap_or(limit_m) {
                    least = Some(size);
                }
            }
        }
        least
    }
}

fn reached(source: &SizeSource, at: [f64; 2], growth: f64) -> f64 {
    let [x, y] = source.at_m[0];
    source.size_m + growth * (x - at[0]).hypot(y - at[1])
}

/// Wishes around one spot: at its place, or over the half-disc of a mean.
fn spot_wishes(spot: &Spot, options: &SettleOptions) -> Vec<Wish> {
    let at = [spot.place_m[0], spot.place_m[1]];
    if let Some(mean) = spot.mean {
        let size_m = 0.9 * options.finest_share * mean.radius_m;
        if mean.resolved {
            return Vec::new();
        }
        let ring = (0_u32..8).map(|k| {
            let (s, c) = (f64::from(k) * std::f64::consts::FRAC_PI_4).sin_cos();
            Wish { at: [at[0] + mean.radius_m * c, at[1] + mean.radius_m * s], size_m }
        });
        return std::iter::once(Wish { at, size_m }).chain(ring).collect();
    }
    if at_limit(spot, options) {
        return Vec::new();
    }
    let off = spot.uncertainty / spot.strain.abs();
    let factor = (options.tolerance / off).clamp(0.25, 0.5);
    vec![Wish { at, size_m: (spot.size_m * factor).max(options.finest_share * spot.thickness_m) }]
}

/// Most triangles of the next mesh, over those of this one, that the energy rule may ask for.
const GROWTH_PER_MESH: f64 = 2.0;
/// A triangle shrinks at most by this factor per mesh.
const SHRINK: f64 = 3.0;

/// Wishes of triangles with more than their share of the wished energy error.
///
/// The error is asked down to a half per mesh at most, less if that would more than double the triangles.
fn energy_wishes<T>(now: &Look<T>, options: &SettleOptions) -> Vec<Wish> {
    let (model, recovered) = (&now.trial.model, &now.recovered);
    let error = recovered.relative_error();
    if error <= options.energy_error {
        return Vec::new();
    }
    let count = model.triangles.iter().fold(0.0, |sum, _| sum + 1.0);
    let ratio = |triangle: usize, wished: f64| {
        let share = wished * wished * recovered.energy / count;
        (recovered.error[triangle] / share).powf(0.25).clamp(1.0, SHRINK)
    };
    let grown =
        |wished: f64| (0..model.triangles.len()).map(|t| ratio(t, wished).powi(2)).sum::<f64>() / count;
    let wished = [0.5, 0.6, 0.7, 0.8, 0.9]
        .map(|part| options.energy_error.max(part * error))
        .into_iter()
        .find(|&wished| grown(wished) <= GROWTH_PER_MESH)
        .unwrap_or(error);
    let thickness: Vec<f64> = model.laminates.iter().map(thickness_m).collect();
    let mut wishes = Vec::new();
    for (triangle, corners) in (0_u32..).zip(&model.triangles) {
        let ratio = ratio(triangle as usize, wished);
        let size = recovered.size_m(triangle);
        let finest = options.finest_share * thickness[model.laminate_of[triangle as usize] as usize];
        let size_m = (size / ratio).max(finest);
        if ratio >= 1.4 && size_m < 0.8 * size {
            let mid =
                |axis: usize| corners.iter().map(|&n| model.nodes_m[n as usize][axis]).sum::<f64>() / 3.0;
            wishes.push(Wish { at: [mid(0), mid(1)], size_m });
        }
    }
    wishes
}

/// Triangles that the next mesh would have, from the sizes wished over each present triangle.
fn expected<T>(now: &Look<T>, added: &Near) -> f64 {
    let (model, recovered) = (&now.trial.model, &now.recovered);
    let splits = |(triangle, corners): (usize, &[u32; 3])| {
        let triangle = u32::try_from(triangle).unwrap_or(u32::MAX);
        let mid =
            [0, 1].map(|axis| corners.iter().map(|&n| model.nodes_m[n as usize][axis]).sum::<f64>() / 3.0);
        let size = recovered.size_m(triangle);
        let wished = added.least(mid, size).unwrap_or(size);
        (size / wished).powi(2)
    };
    let all: Vec<f64> = model.triangles.par_iter().enumerate().map(splits).collect();
    all.iter().sum()
}
