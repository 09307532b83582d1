//! Spirals and supply tracks as current-carrying paths.
//!
//! Input: a [`SpiralSpec`] or centre lines. Output: polylines per layer, the plan form of the turns, and (in
//! [`path`]) the joined circuit; [`clearance`] measures how far a path stays from a magnet's body.
//! Absent: fields and forces.

pub mod clearance;
pub mod path;

use crate::region::{Point, Region};
use std::f64::consts::{FRAC_PI_2, FRAC_PI_4, TAU};
use std::fmt;

/// Chords that stand for one turn unless the caller asks for another number.
///
/// A round coil of 72 chords a turn encloses 0.13 % less area than the circle; its force is low by 0.013 %.
pub const CHORDS_PER_TURN: u32 = 72;

/// Grid of region vertices, m.
const GRID_M: f64 = 1e-6;

/// Plan form of a spiral.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SpiralForm {
    /// Circular turns.
    Round,
    /// Straight sides and plain corners.
    Square,
    /// Straight sides and rounded corners.
    Rounded {
        /// Corner radius of the outermost copper edge, m.
        corner_radius_m: f64,
    },
}

/// Direction in which the turns are followed from the outer end inward, seen from +z.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sense {
    /// Counter-clockwise.
    CounterClockwise,
    /// Clockwise.
    Clockwise,
}

/// A spiral coil on one or more layers.
///
/// Layer 1 runs inward from the outer end, layer 2 outward from the same place, layer 3 inward again, all in
/// the same rotational sense, so that the turns add. Each layer starts where the one before it ends (via).
#[derive(Debug, Clone, PartialEq)]
pub struct SpiralSpec {
    /// Plan form.
    pub form: SpiralForm,
    /// Centre of the turns, m.
    pub centre_m: Point,
    /// Size over the outermost copper edges along x and y, m; a round coil uses the first.
    pub outer_m: [f64; 2],
    /// Turns a layer; quarters only for straight-sided forms.
    pub turns: f64,
    /// Copper width, m.
    pub track_width_m: f64,
    /// Distance from turn to turn, m.
    pub pitch_m: f64,
    /// Rotational sense.
    pub sense: Sense,
    /// Direction of the outer end from the centre, rad from +x; straight-sided forms take the nearest corner.
    pub start_angle_rad: f64,
    /// Chords a turn; see [`CHORDS_PER_TURN`]. Straight-sided forms spend them in their rounded corners.
    pub chords_per_turn: u32,
}

/// Why a spiral cannot be drawn.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum CoilError {
    /// A size is zero, negative or not a number.
    Size {
        /// Which one, with its value.
        what: String,
    },
    /// Copper of neighbouring turns would touch.
    TurnsTouch {
        /// Pitch, m.
        pitch_m: f64,
        /// Width, m.
        width_m: f64,
    },
    /// The turns do not fit between the outer edge and the centre.
    NoHole {
        /// Turns asked for.
        turns: f64,
        /// Turns that fit.
        fit: f64,
    },
    /// The corner radius is larger than half the coil, or smaller than half the copper width.
    CornerRadius {
        /// Radius asked for, m.
        radius_m: f64,
        /// Smallest and largest that fit, m.
        span_m: [f64; 2],
    },
    /// A straight-sided coil with a number of turns that does not end on a corner.
    Quarters {
        /// Turns asked for.
        turns: f64,
    },
}

impl fmt::Display for CoilError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Size { what } => write!(f, "{what} must be above 0"),
            Self::TurnsTouch { pitch_m, width_m } => write!(
                f,
                "pitch {:.4} mm leaves no gap between turns {:.4} mm wide; raise the pitch or narrow the track",
                pitch_m * 1e3,
                width_m * 1e3
            ),
            Self::NoHole { turns, fit } => write!(
                f,
                "{turns} turns do not fit between the outer edge and the centre; at most {fit} do: take fewer \
                 turns, a smaller pitch or a larger coil"
            ),
            Self::CornerRadius { radius_m, span_m } => write!(
                f,
                "corner radius {:.4} mm does not fit; it must lie between {:.4} and {:.4} mm",
                radius_m * 1e3,
                span_m[0] * 1e3,
                span_m[1] * 1e3
            ),
            Self::Quarters { turns } => {
                write!(f, "{turns} turns do not end on a corner; give a multiple of 0.25")
            }
        }
    }
}

impl std::error::Error for CoilError {}

impl SpiralSpec {
    /// Checks that the spiral can be drawn.
    ///
    /// # Errors
    /// One [`CoilError`] variant per rule, the first that fails.
    pub fn check(&self) -> Result<(), CoilError> {
        let named = [
            ("outer size", self.outer_m[0]),
            ("outer size along y", self.outer_m[1]),
            ("track width", self.track_width_m),
            ("pitch", self.pitch_m),
            ("number of turns", self.turns),
            ("number of chords a turn", f64::from(self.chords_per_turn)),
        ];
        for (name, value) in named {
            if !(value > 0.0 && value.is_finite()) {
                return Err(CoilError::Size { what: format!("{name} {value}") });
            }
        }
        if self.pitch_m - self.track_width_m < GRID_M {
            return Err(CoilError::TurnsTouch { pitch_m: self.pitch_m, width_m: self.track_width_m });
        }
        let quarters = self.turns * 4.0;
        if self.form != SpiralForm::Round && (quarters - quarters.round()).abs() > 1e-9 {
            return Err(CoilError::Quarters { turns: self.turns });
        }
        let least = self.half_m()[0].min(self.half_m()[1]);
        let room_m = least - 0.5 * self.track_width_m - GRID_M;
        if self.pitch_m * self.turns > room_m {
            let fit = (room_m / self.pitch_m * 4.0).floor().max(0.0) / 4.0;
            return Err(CoilError::NoHole { turns: self.turns, fit });
        }
        if let SpiralForm::Rounded { corner_radius_m } = self.form {
            let span_m = [0.5 * self.track_width_m, least + 0.5 * self.track_width_m];
            if !(span_m[0] <= corner_radius_m && corner_radius_m <= span_m[1] * (1.0 + 1e-12)) {
                return Err(CoilError::CornerRadius { radius_m: corner_radius_m, span_m });
            }
        }
        Ok(())
    }

    /// Half the size of the outermost centre line along x and y, m.
    fn half_m(&self) -> [f64; 2] {
        let y = if self.form == SpiralForm::Round { self.outer_m[0] } else { self.outer_m[1] };
        [self.outer_m[0], y].map(|size| 0.5 * (size - self.track_width_m))
    }

    /// Vertices in one corner of a straight-sided form.
    fn corner_points(&self) -> usize {
        match self.form {
            SpiralForm::Rounded { .. } => (self.chords_per_turn as usize / 4).max(2),
            SpiralForm::Round | SpiralForm::Square => 1,
        }
    }

    /// Vertices a turn.
    fn per_turn(&self) -> usize {
        match self.form {
            SpiralForm::Round => self.chords_per_turn.max(3) as usize,
            SpiralForm::Square | SpiralForm::Rounded { .. } => 4 * self.corner_points(),
        }
    }

    /// Vertices of one layer.
    fn per_layer(&self) -> usize {
        match self.form {
            SpiralForm::Round => to_count(self.turns * count_to_f64(self.per_turn())).max(1) + 1,
            SpiralForm::Square | SpiralForm::Rounded { .. } => {
                to_count(self.turns * 4.0).max(1) * self.corner_points()
            }
        }
    }

    /// Vertex `step` of layer `layer`, moved outward by `aside_m` from the centre line, m.
    ///
    /// Straight-sided forms: corner c, point m of n and turn t give u = t + (c + (m + 1/2)/n)/4; the curve is
    /// the outer rounded rectangle set in by pitch u, corner radius max(rc - pitch u, 0).
    fn vertex(&self, layer: usize, step: usize, aside_m: f64) -> Point {
        let last = self.per_layer() - 1;
        let inward = if layer.is_multiple_of(2) { step } else { last - step };
        let per_turn = count_to_f64(self.per_turn());
        let place = layer * last + step;
        let flip = if self.sense == Sense::Clockwise { -1.0 } else { 1.0 };
        let [x, y] = if self.form == SpiralForm::Round {
            let radius = self.half_m()[0] - self.pitch_m * count_to_f64(inward) / per_turn + aside_m;
            // A whole number of turns comes off the angle first, so that equal places get equal points.
            let turn = count_to_f64(place % self.per_turn()) / per_turn;
            let angle = flip * self.start_angle_rad + TAU * turn;
            [radius * angle.cos(), radius * angle.sin()]
        } else {
            let set_in = self.pitch_m * (count_to_f64(inward) + 0.5) / per_turn - aside_m;
            self.corner_vertex(place, set_in, flip)
        };
        [self.centre_m[0] + x, self.centre_m[1] + flip * y]
    }

    /// Vertex of a straight-sided turn set in by `set_in_m` from the outermost centre line, about the centre.
    fn corner_vertex(&self, place: usize, set_in_m: f64, flip: f64) -> Point {
        let n = self.corner_points();
        let first = ((flip * self.start_angle_rad - FRAC_PI_4) / FRAC_PI_2).round().rem_euclid(4.0);
        let corner = (place / n + to_count(first)) % 4;
        let m = count_to_f64(place % n);
        let outer_radius = match self.form {
            SpiralForm::Rounded { corner_radius_m } => corner_radius_m - 0.5 * self.track_width_m,
            SpiralForm::Round | SpiralForm::Square => 0.0,
        };
        let radius = if n > 1 { (outer_radius - set_in_m).max(0.0) } else { 0.0 };
        let within = if n > 1 { m / (count_to_f64(n) - 1.0) } else { 0.0 };
        let angle = FRAC_PI_2 * (count_to_f64(corner) + within);
        let sign = [[1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0], [1.0, -1.0]][corner];
        let half = self.half_m();
        [
            sign[0] * (half[0] - set_in_m - radius) + radius * angle.cos(),
            sign[1] * (half[1] - set_in_m - radius) + radius * angle.sin(),
        ]
    }
}

/// Centre line of a one-layer spiral from its outer to its inner end, m.
///
/// # Errors
/// As [`SpiralSpec::check`].
pub fn spiral(spec: &SpiralSpec) -> Result<Vec<Point>, CoilError> {
    Ok(spirals(spec, 1)?.pop().unwrap_or_default())
}

/// Centre lines of a coil on `n_layers` layers, in the order and direction of the current, m.
///
/// Each line starts at the plan position where the one before it ends.
///
/// # Errors
/// As [`SpiralSpec::check`].
pub fn spirals(spec: &SpiralSpec, n_layers: usize) -> Result<Vec<Vec<Point>>, CoilError> {
    spec.check()?;
    let line = |layer| (0..spec.per_layer()).map(|step| spec.vertex(layer, step, 0.0)).collect();
    Ok((0..n_layers).map(line).collect())
}

/// Plan form of the copper of layer `layer` (0 = first): one closed ribbon with square ends.
///
/// # Errors
/// As [`SpiralSpec::check`].
pub fn turns_region(spec: &SpiralSpec, layer: usize) -> Result<Region, CoilError> {
    spec.check()?;
    let half_m = 0.5 * spec.track_width_m;
    let n = spec.per_layer();
    let outer = (0..n).map(|step| spec.vertex(layer, step, half_m));
    let inner = (0..n).rev().map(|step| spec.vertex(layer, step, -half_m));
    let mut contour: Vec<Point> =
        outer.chain(inner).map(|p| p.map(|x| (x / GRID_M).round() * GRID_M)).collect();
    contour.dedup();
    if contour.first() == contour.last() {
        contour.pop();
    }
    if signed_area(&contour) < 0.0 {
        contour.reverse();
    }
    Ok(Region { contours: vec![contour] })
}

/// Length of a polyline, m.
#[must_use]
pub fn length_m(points: &[Point]) -> f64 {
    points.windows(2).map(|w| (w[1][0] - w[0][0]).hypot(w[1][1] - w[0][1])).sum()
}

/// Area enclosed by a closed contour, counter-clockwise positive, m2.
fn signed_area(contour: &[Point]) -> f64 {
    let next = contour.iter().cycle().skip(1);
    0.5 * contour.iter().zip(next).map(|(a, b)| a[0] * b[1] - a[1] * b[0]).sum::<f64>()
}

#[expect(clippy::cast_precision_loss, reason = "vertex counts stay far below 2^52")]
fn count_to_f64(n: usize) -> f64 {
    n as f64
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "rounded, not negative, small")]
fn to_count(x: f64) -> usize {
    x.round().max(0.0) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spec(form: SpiralForm, outer_m: [f64; 2], turns: f64, width: f64, pitch: f64) -> SpiralSpec {
        SpiralSpec {
            form,
            centre_m: [0.0, 0.0],
            outer_m,
            turns,
            track_width_m: width,
            pitch_m: pitch,
            sense: Sense::CounterClockwise,
            start_angle_rad: 0.0,
            chords_per_turn: CHORDS_PER_TURN,
        }
    }

    fn square() -> SpiralSpec {
        spec(SpiralForm::Square, [0.0121, 0.0121], 20.0, 1e-4, 2e-4)
    }

    fn rounded() -> SpiralSpec {
        let form = SpiralForm::Rounded { corner_radius_m: 0.00205 };
        SpiralSpec { chords_per_turn: 36, ..spec(form, [0.0121, 0.0101], 15.0, 1e-4, 2e-4) }
    }

    fn round() -> SpiralSpec {
        spec(SpiralForm::Round, [0.012, 0.012], 28.0, 9e-5, 1.6e-4)
    }

    fn near(a: Point, b: Point, tol: f64) -> bool {
        (a[0] - b[0]).hypot(a[1] - b[1]) < tol
    }

    fn winding(points: &[Point]) -> f64 {
        points
            .windows(2)
            .map(|w| (w[0][0] * w[1][1] - w[0][1] * w[1][0]).atan2(w[0][0] * w[1][0] + w[0][1] * w[1][1]))
            .sum()
    }

    /// Reference values computed independently (second implementation of the vertex rule, 13 digits).
    #[test]
    fn square_spiral_has_the_reference_vertices_and_length() {
        let line = spiral(&SpiralSpec { start_angle_rad: FRAC_PI_4, ..square() }).unwrap();
        let golden = [[0.005975, 0.005975], [-0.005925, 0.005925], [-0.005875, -0.005875]];
        for (got, want) in line.iter().zip(golden) {
            assert!(near(*got, want, 1e-15), "{got:?} against {want:?}");
        }
        assert_eq!(line.len(), 80, "four vertices a turn");
        let length = length_m(&line);
        assert!((length / 0.6320135246882 - 1.0).abs() < 1e-12, "length {length}");
    }

    /// Reference values as above.
    #[test]
    fn rounded_spiral_has_the_reference_vertices_and_length() {
        let line = spiral(&SpiralSpec { start_angle_rad: FRAC_PI_4, ..rounded() }).unwrap();
        let golden = [
            [0.005997222222222, 0.003],
            [0.005953397350136, 0.003388554891349],
            [0.005834927404849, 0.003760051817058],
        ];
        for (got, want) in line.iter().zip(golden) {
            assert!(near(*got, want, 1e-14), "{got:?} against {want:?}");
        }
        assert_eq!(line.len(), 540, "nine vertices a corner");
        let length = length_m(&line);
        assert!((length / 0.4590527660525 - 1.0).abs() < 1e-12, "length {length}");
    }

    /// Two layers of 28 turns with via and closing piece: 1.306860618769 m (reference, 13 digits).
    #[test]
    fn round_spiral_has_the_reference_length() {
        let lines = spirals(&round(), 2).unwrap();
        let length: f64 = lines.iter().map(|line| length_m(line)).sum::<f64>() + 2.0 * 4.3e-5;
        assert!((length / 1.306860618769 - 1.0).abs() < 1e-12, "length {length}");
        let inner = lines[0].last().unwrap();
        assert!(near(*inner, [0.001475, 0.0], 1e-15), "inner end {inner:?}");
    }

    #[test]
    fn layers_join_and_turn_the_same_way() {
        for (mut spec, turned) in [(round(), 28.0), (square(), 19.75), (rounded(), 14.9)] {
            for sense in [Sense::CounterClockwise, Sense::Clockwise] {
                spec.sense = sense;
                spec.start_angle_rad = 2.0;
                let lines = spirals(&spec, 3).unwrap();
                let sign = if sense == Sense::Clockwise { -1.0 } else { 1.0 };
                for pair in lines.windows(2) {
                    assert!(
                        near(*pair[0].last().unwrap(), pair[1][0], 1e-15),
                        "layers of {spec:?} do not meet"
                    );
                }
                for line in &lines {
                    let turns = sign * winding(line) / TAU;
                    assert!((turns - turned).abs() < 0.26, "{turns} turns in {spec:?}");
                }
                let [out, back] = [lines[0][0], *lines[1].last().unwrap()].map(|p| p[0].hypot(p[1]));
                assert!((out - back).abs() < 1e-12 || spec.form != SpiralForm::Round, "{out} and {back}");
            }
        }
    }

    #[test]
    fn start_angle_turns_the_outer_end() {
        let mut spec = round();
        for sense in [Sense::CounterClockwise, Sense::Clockwise] {
            spec.sense = sense;
            spec.start_angle_rad = 2.1;
            let start = spiral(&spec).unwrap()[0];
            assert!((start[1].atan2(start[0]) - 2.1).abs() < 1e-12, "{start:?}");
            let corner = spiral(&SpiralSpec { start_angle_rad: 2.1, sense, ..square() }).unwrap()[0];
            assert!(corner[0] < 0.0 && corner[1] > 0.0, "nearest corner is upper left, got {corner:?}");
        }
    }

    #[test]
    fn ribbon_area_is_length_times_width() {
        for (spec, share) in [(round(), 1e-3), (square(), 5e-3), (rounded(), 5e-3)] {
            for layer in [0, 1] {
                let region = turns_region(&spec, layer).unwrap();
                let area = signed_area(&region.contours[0]);
                let want = length_m(&spirals(&spec, 2).unwrap()[layer]) * spec.track_width_m;
                assert!((area / want - 1.0).abs() < share, "{area} against {want} for {spec:?}");
            }
        }
    }

    #[test]
    fn impossible_spirals_are_refused() {
        let full = spiral(&SpiralSpec { turns: 38.0, ..round() }).unwrap_err();
        assert_eq!(full, CoilError::NoHole { turns: 38.0, fit: 36.75 }, "{full}");
        let touch = spiral(&SpiralSpec { pitch_m: 9e-5, ..round() }).unwrap_err();
        assert!(matches!(touch, CoilError::TurnsTouch { .. }), "{touch}");
        let part = spiral(&SpiralSpec { turns: 3.1, ..square() }).unwrap_err();
        assert!(matches!(part, CoilError::Quarters { .. }), "{part}");
        let nan = spiral(&SpiralSpec { track_width_m: f64::NAN, ..square() }).unwrap_err();
        assert!(nan.to_string().contains("track width"), "{nan}");
        let wide = SpiralForm::Rounded { corner_radius_m: 0.009 };
        let corner = spiral(&SpiralSpec { form: wide, ..square() }).unwrap_err();
        assert!(matches!(corner, CoilError::CornerRadius { .. }), "{corner}");
    }
}
