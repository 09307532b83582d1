//! Plane polygons with holes, in metres, and their Boolean algebra on a 1 um grid.
//!
//! In: points, radii, widths. Out: [`Region`]s whose vertices all lie on the grid, and the true arcs they follow.
//! Absent: what a region stands for, triangles.

mod boolean;
pub(crate) mod buckets;
mod crossing;
mod query;
mod rounded;
mod shapes;
mod thin;

pub use crossing::self_crossing;
pub(crate) use rounded::distance;
pub use rounded::{Rounded, RoundingFault, rounded_path, rounded_polygon};
pub use shapes::Ends;
pub use thin::{NearMiss, ThinFeature, ThinKind, near_misses};

/// A point of the board plane, m.
pub type Point = [f64; 2];

/// Grid of all region vertices, m: finer than any fabrication tolerance.
pub const GRID_M: f64 = 1e-6;

/// Grid steps per metre; dividing by it gives the double nearest to the decimal value.
pub(crate) const STEPS_PER_M: f64 = 1e6;

/// Largest coordinate in grid steps (10 m): keeps all integer products exact.
const LARGEST_STEP: f64 = 1e7;

/// A plane region: outer contours counter-clockwise, holes clockwise, every vertex on the 1 um grid.
///
/// Contours are closed implicitly (the first point is not repeated) and do not cross.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Region {
    /// Closed contours, m; positive area = material, negative = hole.
    pub contours: Vec<Vec<Point>>,
}

/// Nearest grid point, in grid steps; not-a-number becomes 0, far values stop at 10 m.
#[expect(clippy::cast_possible_truncation, reason = "clamped to 1e7 before the cast")]
pub(crate) fn to_step(value_m: f64) -> i32 {
    (value_m * STEPS_PER_M).round().clamp(-LARGEST_STEP, LARGEST_STEP) as i32
}

/// Nearest grid point of a point, in grid steps.
pub(crate) fn to_steps(p: Point) -> [i32; 2] {
    [to_step(p[0]), to_step(p[1])]
}

/// A grid point in metres.
pub(crate) fn from_steps(s: [i32; 2]) -> Point {
    [f64::from(s[0]) / STEPS_PER_M, f64::from(s[1]) / STEPS_PER_M]
}

/// The grid point nearest to `p`, m.
#[must_use]
pub fn snap(p: Point) -> Point {
    from_steps(to_steps(p))
}

/// Twice the signed area of a contour, m2.
pub(crate) fn twice_area(contour: &[Point]) -> f64 {
    let Some(&o) = contour.first() else { return 0.0 };
    let mut sum = 0.0;
    for w in contour.windows(2) {
        sum += (w[0][0] - o[0]) * (w[1][1] - o[1]) - (w[1][0] - o[0]) * (w[0][1] - o[1]);
    }
    sum
}

/// Distance of `p` to the segment `a`-`b`, and the nearest point's place along it (0 to 1).
pub(crate) fn to_segment(p: Point, a: Point, b: Point) -> (f64, f64) {
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    let len2 = dx * dx + dy * dy;
    let t = if len2 > 0.0 { (((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / len2).clamp(0.0, 1.0) } else { 0.0 };
    let (qx, qy) = (a[0] + t * dx - p[0], a[1] + t * dy - p[1]);
    ((qx * qx + qy * qy).sqrt(), t)
}

#[cfg(test)]
mod tests;
