//! Mean of the strains over the half-disc about a singular point, inside one zone.

use super::fields::{Recovered, into_axes};
use crate::model::Model;
use nalgebra::{Matrix3, Vector3, Vector6};
use std::f64::consts::TAU;

/// Sides of the polygon that stands for the circle; its area equals the circle's.
const SIDES: u32 = 64;

/// Mean strains over the part of a disc that lies in one zone.
#[derive(Debug, Clone, PartialEq)]
pub struct DiscMean {
    /// Area mean of the triangles' own strains, in the axes below.
    pub strain: Vector6<f64>,
    /// Area mean of the recovered strains.
    pub smooth: Vector6<f64>,
    /// Axes: rows e1, e2, normal.
    pub triad: Matrix3<f64>,
    /// Area averaged over, m2.
    pub area_m2: f64,
    /// Area mean of the sizes of the triangles met, m.
    pub size_m: f64,
}

/// Area mean over the disc of `radius_m` about `centre_m`, on those of `triangles` that are connected inside the
/// disc to the one nearest to the centre; None if none reaches the disc.
///
/// `triangles`: sorted, of one laminate.
#[must_use]
pub fn disc_mean(
    model: &Model,
    recovered: &Recovered,
    triangles: &[u32],
    centre_m: [f64; 3],
    radius_m: f64,
) -> Option<DiscMean> {
    let centre = Vector3::from(centre_m);
    let mut pieces: Vec<(u32, Piece)> = triangles
        .iter()
        .filter_map(|&triangle| Some((triangle, clip(model, recovered, triangle, &centre, radius_m)?)))
        .collect();
    keep_connected(model, &mut pieces);
    let triad = recovered.triad[pieces.first()?.0 as usize];
    let mut mean =
        DiscMean { strain: Vector6::zeros(), smooth: Vector6::zeros(), triad, area_m2: 0.0, size_m: 0.0 };
    for (triangle, piece) in &pieces {
        let t = *triangle as usize;
        let own = &recovered.triad[t];
        for corner in 0..3 {
            let weight = piece.area_m2 * piece.share[corner];
            let recovered_here = &recovered.zone_nodes[recovered.corner[t][corner] as usize];
            mean.strain += into_axes(&recovered.raw[t][corner], own, &triad) * weight;
            mean.smooth += into_axes(&recovered_here.strain, &recovered_here.triad, &triad) * weight;
        }
        mean.area_m2 += piece.area_m2;
        mean.size_m += recovered.size_m(*triangle) * piece.area_m2;
    }
    mean.strain /= mean.area_m2;
    mean.smooth /= mean.area_m2;
    mean.size_m /= mean.area_m2;
    Some(mean)
}

/// The part of a triangle inside the disc: area, area coordinates of its centroid, least distance to the centre.
struct Piece {
    area_m2: f64,
    share: [f64; 3],
    distance_m: f64,
}

fn clip(
    model: &Model,
    recovered: &Recovered,
    triangle: u32,
    centre: &Vector3<f64>,
    radius_m: f64,
) -> Option<Piece> {
    let t = triangle as usize;
    if !may_reach(model, triangle, centre, radius_m) {
        return None;
    }
    let local = model.triangles[t]
        .map(|node| recovered.triad[t] * (Vector3::from(model.nodes_m[node as usize]) - centre));
    if local[0][2].abs() > radius_m {
        return None;
    }
    let corners = local.map(|p| [p[0], p[1]]);
    let mut polygon = corners.to_vec();
    // Apothem of the regular polygon with the circle's area.
    let step = TAU / f64::from(SIDES);
    let apothem = radius_m * (0.5 * step / (0.5 * step).tan()).sqrt();
    if corners.iter().any(|&[x, y]| x.hypot(y) > apothem) {
        for side in 0..SIDES {
            let (s, c) = (step * f64::from(side)).sin_cos();
            polygon = cut(&polygon, [c, s], apothem);
            if polygon.len() < 3 {
                return None;
            }
        }
    }
    let (area_m2, centroid) = area_centroid(&polygon);
    let whole = recovered.area_m2[t];
    if area_m2 <= 1e-12 * whole {
        return None;
    }
    let share = [0, 1, 2].map(|i| {
        let [p, q] = [corners[(i + 1) % 3], corners[(i + 2) % 3]];
        0.5 * cross(p, q, centroid) / whole
    });
    let distance_m = polygon.iter().map(|&[x, y]| x.hypot(y)).fold(f64::INFINITY, f64::min);
    Some(Piece { area_m2, share, distance_m })
}

/// False where a triangle is certainly out of the disc: cheap, before any clipping.
fn may_reach(model: &Model, triangle: u32, centre: &Vector3<f64>, radius_m: f64) -> bool {
    let [p, q, r] = model.triangles[triangle as usize].map(|n| Vector3::from(model.nodes_m[n as usize]));
    // Every point of the triangle lies within its longer side from p; the disc may be tilted by its own radius.
    let side = (q - p).norm_squared().max((r - p).norm_squared()).sqrt();
    (p - centre).norm_squared() <= (side + 1.01 * radius_m).powi(2) + radius_m.powi(2)
}

fn cross(p: [f64; 2], q: [f64; 2], r: [f64; 2]) -> f64 {
    (q[0] - p[0]) * (r[1] - p[1]) - (r[0] - p[0]) * (q[1] - p[1])
}

/// Part of a convex polygon with `normal . x <= limit`.
fn cut(polygon: &[[f64; 2]], normal: [f64; 2], limit: f64) -> Vec<[f64; 2]> {
    let beyond = |p: [f64; 2]| normal[0] * p[0] + normal[1] * p[1] - limit;
    let mut kept = Vec::with_capacity(polygon.len() + 1);
    for (i, &p) in polygon.iter().enumerate() {
        let q = polygon[(i + 1) % polygon.len()];
        let (a, b) = (beyond(p), beyond(q));
        if a <= 0.0 {
            kept.push(p);
        }
        if (a < 0.0 && b > 0.0) || (a > 0.0 && b < 0.0) {
            let share = a / (a - b);
            kept.push([p[0] + share * (q[0] - p[0]), p[1] + share * (q[1] - p[1])]);
        }
    }
    kept
}

fn area_centroid(polygon: &[[f64; 2]]) -> (f64, [f64; 2]) {
    let origin = polygon[0];
    let (mut twice, mut sum) = (0.0, [0.0; 2]);
    for pair in polygon[1..].windows(2) {
        let piece = cross(origin, pair[0], pair[1]);
        twice += piece;
        for axis in 0..2 {
            sum[axis] += piece * (origin[axis] + pair[0][axis] + pair[1][axis]) / 3.0;
        }
    }
    (0.5 * twice, sum.map(|value| if twice > 0.0 { value / twice } else { 0.0 }))
}

/// Keeps the pieces connected through nodes to the piece nearest to the centre.
fn keep_connected(model: &Model, pieces: &mut Vec<(u32, Piece)>) {
    let Some(nearest) = pieces.iter().map(|(_, piece)| piece.distance_m).min_by(f64::total_cmp) else {
        return;
    };
    let mut joined: Vec<bool> = pieces.iter().map(|(_, piece)| piece.distance_m <= nearest).collect();
    loop {
        let mut nodes: Vec<u32> = pieces
            .iter()
            .zip(&joined)
            .filter(|(_, joined)| **joined)
            .flat_map(|((triangle, _), _)| model.triangles[*triangle as usize])
            .collect();
        nodes.sort_unstable();
        let mut grew = false;
        for ((triangle, _), flag) in pieces.iter().zip(&mut joined) {
            let touches =
                || model.triangles[*triangle as usize].iter().any(|node| nodes.binary_search(node).is_ok());
            if !*flag && touches() {
                *flag = true;
                grew = true;
            }
        }
        if !grew {
            break;
        }
    }
    let mut keep = joined.into_iter();
    pieces.retain(|_| keep.next().unwrap_or(false));
}
