//! Corners rounded by true arcs: the flattened points, and each arc as a [`Fillet`].

use std::f64::consts::{PI, TAU};
use std::fmt;

use super::{Point, Region};
use crate::board::Fillet;

/// Chords of a flattened arc are at most this share of the radius.
const CHORD_OF_RADIUS: f64 = 1.0 / 8.0;

/// Chords stay at least this long, m: shorter ones would drown in the 1 um grid.
const SHORTEST_CHORD_M: f64 = 4e-6;

/// A chord leaves its arc by at most this, m.
const LARGEST_SAGITTA_M: f64 = 5e-6;

/// Angle of one chord of an arc of this radius, rad: chord at most R/8, sagitta at most 5 um, chord at least 4 um.
pub(crate) fn arc_step_rad(radius_m: f64) -> f64 {
    if !(radius_m > 0.0 && radius_m.is_finite()) {
        return PI / 4.0;
    }
    let by_sagitta = (8.0 * radius_m * LARGEST_SAGITTA_M).sqrt();
    let chord = (radius_m * CHORD_OF_RADIUS).min(by_sagitta).max(SHORTEST_CHORD_M);
    (2.0 * (chord / (2.0 * radius_m)).min(1.0).asin()).min(PI / 4.0)
}

/// Points of a polygon or path after rounding, and the arcs they follow.
pub type Rounded = (Vec<Point>, Vec<Fillet>);

/// A corner radius that does not fit.
#[derive(Debug, Clone, PartialEq)]
pub struct RoundingFault {
    /// Index of the corner.
    pub corner: usize,
    /// Where it is, m.
    pub at_m: Point,
    /// The radius asked for, m.
    pub radius_m: f64,
    /// Largest radius that fits there if all corners next to it keep theirs, m.
    pub largest_m: f64,
}

impl fmt::Display for RoundingFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "corner {} at ({:.4} mm, {:.4} mm): a radius of {:.4} mm does not fit between its neighbours, at most {:.4} mm does",
            self.corner + 1,
            self.at_m[0] * 1e3,
            self.at_m[1] * 1e3,
            self.radius_m * 1e3,
            self.largest_m.max(0.0) * 1e3
        )
    }
}

impl std::error::Error for RoundingFault {}

/// A closed polygon with rounded corners: points on the arcs (not yet snapped) and the arcs.
///
/// `radii`: one per corner, m; a single value serves all corners, missing ones and zero leave a corner sharp.
/// `name`: shown to the user for every arc.
/// Chords are at most R/8, so at least 13 on a right angle.
///
/// # Errors
/// [`RoundingFault`] if the arcs of two neighbouring corners overlap.
pub fn rounded_polygon(points: &[Point], radii: &[f64], name: &str) -> Result<Rounded, RoundingFault> {
    rounded(points, radii, name, true)
}

/// An open path with rounded corners, as [`rounded_polygon`]; its ends stay where they are.
///
/// # Errors
/// [`RoundingFault`] if the arcs of two neighbouring corners overlap.
pub fn rounded_path(points: &[Point], radii: &[f64], name: &str) -> Result<Rounded, RoundingFault> {
    rounded(points, radii, name, false)
}

/// Radius of corner `i`.
fn radius_of(radii: &[f64], i: usize) -> f64 {
    let r = if radii.len() == 1 { radii[0] } else { radii.get(i).copied().unwrap_or(0.0) };
    if r > 0.0 && r.is_finite() { r } else { 0.0 }
}

/// Signed turn at `b` when walking a-b-c, rad.
fn turn_rad(a: Point, b: Point, c: Point) -> f64 {
    let (u, v) = ([b[0] - a[0], b[1] - a[1]], [c[0] - b[0], c[1] - b[1]]);
    (u[0] * v[1] - u[1] * v[0]).atan2(u[0] * v[0] + u[1] * v[1])
}

/// Distance of two points, m.
pub(crate) fn distance(a: Point, b: Point) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

fn rounded(points: &[Point], radii: &[f64], name: &str, closed: bool) -> Result<Rounded, RoundingFault> {
    let n = points.len();
    if n < 3 {
        return Ok((points.to_vec(), Vec::new()));
    }
    let around = |i: usize| (points[(i + n - 1) % n], points[i], points[(i + 1) % n]);
    let is_corner = |i: usize| closed || (i > 0 && i + 1 < n);
    let cut = |i: usize| {
        let (a, b, c) = around(i);
        let turn = turn_rad(a, b, c);
        if is_corner(i) && turn.abs() > 1e-9 { radius_of(radii, i) * (turn.abs() / 2.0).tan() } else { 0.0 }
    };
    let cuts: Vec<f64> = (0..n).map(cut).collect();
    let (mut out, mut fillets) = (Vec::with_capacity(n), Vec::new());
    for i in 0..n {
        let (a, b, c) = around(i);
        if cuts[i] <= 0.0 {
            out.push(b);
            continue;
        }
        let room = (distance(a, b) - cuts[(i + n - 1) % n]).min(distance(b, c) - cuts[(i + 1) % n]);
        if cuts[i] > room + 1e-9 {
            let radius_m = radius_of(radii, i);
            return Err(RoundingFault { corner: i, at_m: b, radius_m, largest_m: radius_m * room / cuts[i] });
        }
        let fillet = tangent_arc([a, b, c], radius_of(radii, i), cuts[i], name);
        out.extend(arc_points(&fillet));
        fillets.push(fillet);
    }
    Ok((out, fillets))
}

/// Arc tangent to both sides of the corner at `b`.
fn tangent_arc([a, b, c]: [Point; 3], radius_m: f64, cut_m: f64, name: &str) -> Fillet {
    let turn = turn_rad(a, b, c);
    let side = if turn > 0.0 { 1.0 } else { -1.0 };
    let before = distance(a, b);
    let u = [(b[0] - a[0]) / before, (b[1] - a[1]) / before];
    let from = [b[0] - u[0] * cut_m, b[1] - u[1] * cut_m];
    let normal = [-u[1] * side, u[0] * side];
    let centre_m = [from[0] + normal[0] * radius_m, from[1] + normal[1] * radius_m];
    let start = (-normal[1]).atan2(-normal[0]);
    Fillet { centre_m, radius_m, angles_rad: [start, turn], name: name.to_owned() }
}

/// Points along an arc from its start to its end, both included.
fn arc_points(arc: &Fillet) -> Vec<Point> {
    let sweep = arc.angles_rad[1];
    let chords = (sweep.abs() / arc_step_rad(arc.radius_m) - 1e-9).ceil().max(1.0);
    let mut points = Vec::new();
    let mut k = 0.0;
    while k <= chords {
        let angle = arc.angles_rad[0] + sweep * k / chords;
        points.push([
            arc.centre_m[0] + arc.radius_m * angle.cos(),
            arc.centre_m[1] + arc.radius_m * angle.sin(),
        ]);
        k += 1.0;
    }
    points
}

impl Fillet {
    /// Point of the arc nearest in angle to `p`, or `None` when `p` lies outside its swept angle.
    ///
    /// `slack_m` widens the swept angle by this length at both ends.
    #[must_use]
    pub fn nearest_m(&self, p: Point, slack_m: f64) -> Option<Point> {
        let (x, y) = (p[0] - self.centre_m[0], p[1] - self.centre_m[1]);
        let r = x.hypot(y);
        if !(r > 0.0 && self.radius_m > 0.0) {
            return None;
        }
        let sweep = self.angles_rad[1];
        let slack = slack_m / self.radius_m;
        // Angle run since the start, in the direction of the sweep, within a full turn.
        let run = ((y.atan2(x) - self.angles_rad[0]) * sweep.signum() + slack).rem_euclid(TAU) - slack;
        (run <= sweep.abs() + slack)
            .then(|| [self.centre_m[0] + x * self.radius_m / r, self.centre_m[1] + y * self.radius_m / r])
    }

    /// Middle of the arc, m.
    #[must_use]
    pub fn middle_m(&self) -> Point {
        let angle = self.angles_rad[0] + self.angles_rad[1] / 2.0;
        [self.centre_m[0] + self.radius_m * angle.cos(), self.centre_m[1] + self.radius_m * angle.sin()]
    }

    /// Points along the arc, both ends included, chords at most R/8, m.
    #[must_use]
    pub fn points_m(&self) -> Vec<Point> {
        arc_points(self)
    }
}

/// Corners that turn less than this are part of a flattened curve and stay as they are, rad (20 degrees).
const CURVE_TURN_RAD: f64 = 20.0 * PI / 180.0;

impl Region {
    /// This region with its re-entrant corners rounded by `radius_m`, and the arcs.
    ///
    /// Corners of flattened curves (turning less than 20 degrees) stay as they are.
    ///
    /// # Errors
    /// [`RoundingFault`] if a radius does not fit between the neighbouring corners.
    pub fn fillet_reentrant(&self, radius_m: f64, name: &str) -> Result<(Self, Vec<Fillet>), RoundingFault> {
        let (mut contours, mut fillets) = (Vec::new(), Vec::new());
        for contour in &self.contours {
            let n = contour.len();
            let radii: Vec<f64> = (0..n)
                .map(|i| {
                    let turn = turn_rad(contour[(i + n - 1) % n], contour[i], contour[(i + 1) % n]);
                    if turn < -CURVE_TURN_RAD { radius_m } else { 0.0 }
                })
                .collect();
            // A single radius would serve all corners: the list is as long as the contour, so never one.
            let (points, arcs) = rounded_polygon(contour, &radii, name)?;
            contours.push(points);
            fillets.extend(arcs);
        }
        Ok((Self { contours }.normal(), fillets))
    }
}
