//! Tracks and coils joined end to end into one current path.
//!
//! Input: named legs, each a chain of centre lines on layers. Output: straight pieces in the direction of
//! positive current, with vias where the layer changes.

use crate::board::{LayerId, PathSegment};
use crate::region::{Point, distance};
use std::fmt;

/// Ends closer than this are one place, m.
pub const JOIN_M: f64 = 10e-6;

/// A centre line on one layer.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// Centre line, m.
    pub points_m: Vec<Point>,
    /// Layer it is on.
    pub layer: LayerId,
    /// Height of the copper's middle, m.
    pub z_m: f64,
    /// Copper cross-section, m2.
    pub section_m2: f64,
}

/// A named link of the circuit: one track, or the layers of a coil in order.
#[derive(Debug, Clone, PartialEq)]
pub struct Leg {
    /// Name as written.
    pub name: String,
    /// Its centre lines, each starting where the one before it ends.
    pub runs: Vec<Run>,
}

/// Why legs do not make a path.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum JoinError {
    /// A leg has no length.
    Empty {
        /// Its name.
        leg: String,
    },
    /// Two neighbours in the chain do not meet.
    Apart {
        /// Name of the first.
        first: String,
        /// Its nearest end, m.
        first_end_m: Point,
        /// Name of the second.
        second: String,
        /// Its nearest end, m.
        second_end_m: Point,
    },
}

impl fmt::Display for JoinError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty { leg } => write!(f, "'{leg}' has fewer than two points"),
            Self::Apart { first, first_end_m: a, second, second_end_m: b } => write!(
                f,
                "the current path is open: '{first}' ends at ({:.4}, {:.4}) mm and '{second}' starts at \
                 ({:.4}, {:.4}) mm, {:.4} mm apart; ends join within {:.3} mm",
                a[0] * 1e3,
                a[1] * 1e3,
                b[0] * 1e3,
                b[1] * 1e3,
                distance(*a, *b) * 1e3,
                JOIN_M * 1e3
            ),
        }
    }
}

impl std::error::Error for JoinError {}

/// Joins legs end to end into straight pieces from the first leg's free end (+) to the last leg's free end (-).
///
/// A leg drawn the other way round is turned; a single leg, or one that fits both ways, keeps its direction.
/// Ends within [`JOIN_M`] are brought together on the end of the earlier leg; a change of layer gets a
/// vertical piece (via).
///
/// # Errors
/// [`JoinError::Empty`] for a leg with fewer than two points, [`JoinError::Apart`] with both coordinates where
/// neighbours do not meet.
pub fn join(legs: &[Leg]) -> Result<Vec<PathSegment>, JoinError> {
    for leg in legs {
        if leg.runs.is_empty() || leg.runs.iter().any(|run| run.points_m.len() < 2) {
            return Err(JoinError::Empty { leg: leg.name.clone() });
        }
    }
    let mut segments = Vec::new();
    let mut end: Option<(Point, &str)> = None;
    for (index, leg) in legs.iter().enumerate() {
        let next = legs.get(index + 1);
        let turned = match end {
            Some((at, _)) => distance(at, finish(leg)) < distance(at, start(leg)),
            None => next.is_some_and(|next| gap(start(leg), next) < gap(finish(leg), next)),
        };
        let runs = if turned { turn(&leg.runs) } else { leg.runs.clone() };
        for run in &runs {
            let first = run.points_m[0];
            if let Some((at, name)) = end
                && distance(at, first) > JOIN_M
            {
                return Err(JoinError::Apart {
                    first: name.to_owned(),
                    first_end_m: at,
                    second: leg.name.clone(),
                    second_end_m: first,
                });
            }
            append(&mut segments, run);
            end = run.points_m.last().map(|&p| (p, leg.name.as_str()));
        }
    }
    Ok(segments)
}

/// Straight piece that closes a path from its last to its first point; None if they coincide.
#[must_use]
pub fn closing(segments: &[PathSegment]) -> Option<PathSegment> {
    let (first, last) = (segments.first()?, segments.last()?);
    let piece = PathSegment { from_m: last.to_m, to_m: first.from_m, section_m2: 0.0, layer: None };
    (piece.from_m.iter().zip(piece.to_m).any(|(a, b)| (a - b).abs() > 1e-9)).then_some(piece)
}

/// Adds one run after what is there, with a via if the height changes.
fn append(segments: &mut Vec<PathSegment>, run: &Run) {
    let lift = |p: Point| [p[0], p[1], run.z_m];
    let mut at = lift(run.points_m[0]);
    if let Some(previous) = segments.last().map(|s| s.to_m) {
        at = [previous[0], previous[1], run.z_m];
        if (previous[2] - run.z_m).abs() > 1e-12 {
            segments.push(PathSegment { from_m: previous, to_m: at, section_m2: 0.0, layer: None });
        }
    }
    for &point in &run.points_m[1..] {
        let to_m = lift(point);
        if distance([at[0], at[1]], point) > 1e-12 {
            let (section_m2, layer) = (run.section_m2, Some(run.layer));
            segments.push(PathSegment { from_m: at, to_m, section_m2, layer });
            at = to_m;
        }
    }
}

fn turn(runs: &[Run]) -> Vec<Run> {
    let back = |run: &Run| Run { points_m: run.points_m.iter().rev().copied().collect(), ..run.clone() };
    runs.iter().rev().map(back).collect()
}

fn start(leg: &Leg) -> Point {
    leg.runs[0].points_m[0]
}

fn finish(leg: &Leg) -> Point {
    let points = &leg.runs[leg.runs.len() - 1].points_m;
    points[points.len() - 1]
}

fn gap(from: Point, leg: &Leg) -> f64 {
    distance(from, start(leg)).min(distance(from, finish(leg)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(points_m: &[Point], layer: u32) -> Run {
        Run {
            points_m: points_m.to_vec(),
            layer: LayerId(layer),
            z_m: f64::from(layer) * 1e-5,
            section_m2: 1e-9,
        }
    }

    fn leg(name: &str, points: &[Point], layer: u32) -> Leg {
        Leg { name: name.to_owned(), runs: vec![run(points, layer)] }
    }

    fn same(a: [f64; 3], b: [f64; 3]) -> bool {
        a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-15)
    }

    #[test]
    fn legs_drawn_either_way_join_with_a_via_at_the_layer_change() {
        let plus = leg("plus", &[[1e-3, 0.0], [0.0, 0.0]], 1);
        let coil = Leg {
            name: "coil".to_owned(),
            runs: vec![run(&[[1.005e-3, 0.0], [2e-3, 0.0]], 1), run(&[[2e-3, 0.0], [1e-3, 1e-3]], 2)],
        };
        let minus = leg("minus", &[[0.0, 1e-3], [1e-3, 1e-3]], 2);
        let path = join(&[plus, coil, minus]).unwrap();
        for pair in path.windows(2) {
            assert!(same(pair[0].to_m, pair[1].from_m), "the path breaks at {:?}", pair[0].to_m);
        }
        assert!(same(path[0].from_m, [0.0, 0.0, 1e-5]), "starts at {:?}", path[0].from_m);
        let end = path.last().unwrap().to_m;
        assert!(same(end, [0.0, 1e-3, 2e-5]), "ends at {end:?}");
        let vias = path.iter().filter(|s| s.layer.is_none()).count();
        assert_eq!(vias, 1, "one via between the coil's layers");
        let close = closing(&path).unwrap();
        assert!(same(close.from_m, end) && same(close.to_m, [0.0, 0.0, 1e-5]), "closing piece {close:?}");
    }

    #[test]
    fn open_path_names_both_ends() {
        let a = leg("plus", &[[0.0, 0.0], [1e-3, 0.0]], 1);
        let b = leg("coil", &[[1.02e-3, 0.0], [2e-3, 0.0]], 1);
        let message = join(&[a, b]).unwrap_err().to_string();
        for part in
            ["'plus'", "(1.0000, 0.0000)", "'coil'", "(1.0200, 0.0000)", "0.0200 mm apart", "0.010 mm"]
        {
            assert!(message.contains(part), "'{part}' is missing in: {message}");
        }
    }

    #[test]
    fn leg_without_length_is_refused() {
        let message = join(&[leg("stub", &[[0.0, 0.0]], 0)]).unwrap_err().to_string();
        assert!(message.contains("'stub'"), "{message}");
    }
}
