//! Rectangle, circle, and the stroke of a path.

use i_overlay::mesh::float::stroke::offset::StrokeOffset;
use i_overlay::mesh::float::style::{LineCap, LineJoin, StrokeStyle};

use super::rounded::arc_step_rad;
use super::{Point, Region, STEPS_PER_M};

/// How the ends of a stroked path look.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Ends {
    /// Cut square at the end point.
    #[default]
    Butt,
    /// A half disc about the end point.
    Round,
}

/// Finest flattening of a circle, rad: 4096 corners.
const SHORTEST_STEP_RAD: f64 = std::f64::consts::TAU / 4096.0;

/// Turns sharper than this (interior angle, rad) get a round joint instead of a mitred one: 75 degrees, so
/// that right angles stay sharp, as track corners are drawn.
const MITRE_FROM_RAD: f64 = 75.0 * std::f64::consts::PI / 180.0;

impl Region {
    /// Rectangle with corners at `from` and `to` (any two opposite corners), m.
    #[must_use]
    pub fn rectangle(from: Point, to: Point) -> Self {
        Self::from_polygon(&[from, [to[0], from[1]], to, [from[0], to[1]]])
    }

    /// Disc as a polygon with its corners on the circle, chords no longer than `chord_m` and at least 16 of them.
    #[must_use]
    pub fn circle(centre: Point, radius_m: f64, chord_m: f64) -> Self {
        Self::from_polygon(&circle_points(centre, radius_m, chord_m))
    }

    /// The area swept by a pen of width `width_m` along an open path, m.
    ///
    /// Corners are mitred up to a right angle and round beyond; a path that crosses itself gives one region.
    #[must_use]
    pub fn stroke(path: &[Point], width_m: f64, ends: Ends) -> Self {
        Self::stroke_of(path, width_m, ends, false)
    }

    /// The ring swept by a pen of width `width_m` along a closed path, m.
    #[must_use]
    pub fn stroke_closed(path: &[Point], width_m: f64) -> Self {
        Self::stroke_of(path, width_m, Ends::Butt, true)
    }

    fn stroke_of(path: &[Point], width_m: f64, ends: Ends, closed: bool) -> Self {
        let usable = |v: f64| v.is_finite() && v.abs() < 1e3;
        let usable_width = width_m > 0.0 && usable(width_m);
        if !usable_width || !path.iter().flatten().all(|&v| usable(v)) {
            return Self::default();
        }
        // In grid steps, so that the engine's own tolerances are far below the grid.
        let mut steps: Vec<Point> = path.iter().map(|p| [p[0] * STEPS_PER_M, p[1] * STEPS_PER_M]).collect();
        steps.dedup_by(|a, b| (a[0] - b[0]).hypot(a[1] - b[1]) < 1e-3);
        if steps.len() < 2 {
            return match ends {
                Ends::Round => path
                    .first()
                    .map_or_else(Self::default, |&p| Self::circle(p, width_m / 2.0, width_m / 16.0)),
                Ends::Butt => Self::default(),
            };
        }
        let radius_m = width_m / 2.0;
        let sharp: Vec<bool> = (0..steps.len()).map(|i| is_sharp(&steps, i, closed)).collect();
        let mut contours = Vec::new();
        for run in runs(&steps, &sharp, closed) {
            let whole = closed && !sharp.contains(&true);
            contours.extend(swept(&run, width_m, ends, whole));
        }
        for (p, _) in steps.iter().zip(&sharp).filter(|(_, sharp)| **sharp) {
            contours.push(circle_points([p[0] / STEPS_PER_M, p[1] / STEPS_PER_M], radius_m, radius_m / 8.0));
        }
        Self { contours }.normal()
    }
}

/// Contours swept along a path without sharp turns; path in grid steps, result in m.
fn swept(path: &[Point], width_m: f64, ends: Ends, closed: bool) -> Vec<Vec<Point>> {
    let step = arc_step_rad(width_m / 2.0);
    let mut style = StrokeStyle::new(width_m * STEPS_PER_M).line_join(LineJoin::Miter(MITRE_FROM_RAD / 2.0));
    style.miter_min_turn = 0.0;
    if ends == Ends::Round {
        style.start_cap = LineCap::Round(step);
        style.end_cap = LineCap::Round(step);
    }
    path.stroke_as::<i64>(style, closed)
        .into_iter()
        .flatten()
        .map(|c| c.into_iter().map(|p| [p[0] / STEPS_PER_M, p[1] / STEPS_PER_M]).collect())
        .collect()
}

/// Whether the turn at corner `i` is too sharp for a mitre.
fn is_sharp(path: &[Point], i: usize, closed: bool) -> bool {
    let n = path.len();
    if !closed && (i == 0 || i + 1 == n) {
        return false;
    }
    let (a, b, c) = (path[(i + n - 1) % n], path[i], path[(i + 1) % n]);
    let (u, v) = ([b[0] - a[0], b[1] - a[1]], [c[0] - b[0], c[1] - b[1]]);
    let turn = (u[0] * v[1] - u[1] * v[0]).atan2(u[0] * v[0] + u[1] * v[1]).abs();
    turn > std::f64::consts::PI - MITRE_FROM_RAD
}

/// The path cut at its sharp turns; a closed path with any of them is opened there.
fn runs(path: &[Point], sharp: &[bool], closed: bool) -> Vec<Vec<Point>> {
    let mut path = path.to_vec();
    let mut sharp = sharp.to_vec();
    if closed && let Some(first) = sharp.iter().position(|&s| s) {
        path.rotate_left(first);
        sharp.rotate_left(first);
        path.push(path[0]);
        sharp.push(false);
        sharp[0] = false;
    }
    let mut runs = vec![Vec::new()];
    for (i, (&p, &cut)) in path.iter().zip(&sharp).enumerate() {
        if let Some(run) = runs.last_mut() {
            run.push(p);
        }
        if cut && i + 1 < path.len() {
            runs.push(vec![p]);
        }
    }
    runs
}

/// Corners of the polygon that stands for a circle, counter-clockwise.
pub(super) fn circle_points(centre: Point, radius_m: f64, chord_m: f64) -> Vec<Point> {
    if !(radius_m > 0.0 && radius_m.is_finite()) {
        return Vec::new();
    }
    let wanted = if chord_m > 0.0 {
        let step = 2.0 * (chord_m / (2.0 * radius_m)).min(1.0).asin();
        step.max(SHORTEST_STEP_RAD)
    } else {
        arc_step_rad(radius_m)
    };
    // A multiple of four keeps the circle symmetric about both axes through its centre.
    let quarter = (std::f64::consts::FRAC_PI_2 / wanted).ceil().max(4.0);
    let n = 4.0 * quarter;
    let mut points = Vec::new();
    let mut i = 0.0;
    while i < n {
        let angle = std::f64::consts::TAU * i / n;
        points.push([centre[0] + radius_m * angle.cos(), centre[1] + radius_m * angle.sin()]);
        i += 1.0;
    }
    points
}
