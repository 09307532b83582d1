//! The current path on the beams of a board, in the magnets' field.
//!
//! Every piece of the path rides on one node (the flap) or is shared by the two ends of its element; two Gauss points
//! each. The many points of a coil on one node are gathered box by box into few: the field across a box no larger than
//! its distance to the magnets is a polynomial there, which its values on a grid of [`GRID`] by [`GRID`] places give,
//! so the coil's points hand their shares to these places.

use super::BoardBeam;
use super::loads::carriers;
use crate::beam::frame::Pose;
use crate::beam::motion::{Drive, LoadAndStiffness};
use crate::magnet::Field;
use copperbend_mesh::board::{Board, PathSegment};
use nalgebra::{Matrix3, SMatrix, Vector3, Vector6};
use rayon::prelude::*;

/// A piece longer than this share of its distance to the magnets at rest is halved.
const PIECE_SHARE: f64 = 0.4;

/// Places of a box along each of its sides.
const GRID: usize = 8;

/// Half the longer side of a box over the distance of its middle to the magnets at rest.
const BOX_SHARE: f64 = 0.57;

/// Points that one thread takes at a time; fixed, so that sums do not depend on the number of threads.
const CHUNK: usize = 48;

/// Places of two Gauss points from the middle, in lengths of the piece.
const GAUSS: f64 = 0.288_675_134_594_812_9;

/// Most that the chords of one point turn, rad.
const ARC_RAD: f64 = 0.35;

/// Neighbours that turn less than this, rad, are chords of one curve.
const CURVE_RAD: f64 = 0.3;

/// A point of the path: shares of nodes with arms, direction times length.
#[derive(Debug, Clone)]
struct Point {
    node: usize,
    arm_m: Vector3<f64>,
    step_m: Vector3<f64>,
}

/// The path as points on nodes.
#[derive(Debug, Clone)]
pub struct CoilDrive {
    field: Field,
    /// In the order of their nodes.
    points: Vec<Point>,
    /// Current of the design, A.
    pub current_a: f64,
}

impl CoilDrive {
    /// The path of a board; None without current path or magnets.
    pub(super) fn new(board: &Board, own: &BoardBeam) -> Option<Self> {
        let path = board.current.as_ref()?;
        if board.magnets.is_empty() {
            return None;
        }
        let field = Field::new(&board.magnets);
        let mut kept = Vec::new();
        for (node, of_node) in Self::pieces(board, own, &field)?.into_iter().enumerate() {
            if !of_node.is_empty() {
                gather(of_node, &own.frame.nodes[node].at_m, &field, &mut kept);
            }
        }
        Some(Self { field, points: kept, current_a: path.current_a })
    }

    /// Points of every piece of the path, by node.
    fn pieces(board: &Board, own: &BoardBeam, field: &Field) -> Option<Vec<Vec<Point>>> {
        let path = board.current.as_ref()?;
        let mut points: Vec<Vec<Point>> = vec![Vec::new(); own.frame.nodes.len()];
        let riding = |at: Vector3<f64>| -> Vec<(usize, f64)> {
            carriers(board, own, [at.x, at.y], at.z).into_iter().map(|(n, share, _)| (n, share)).collect()
        };
        for run in arcs(&path.segments) {
            // A curve whose middle rides on one node alone is a coil's turn on the flap.
            let middle = run.chords[run.chords.len() / 2];
            let whole = Some(riding((middle[0] + middle[1]) * 0.5)).filter(|w| run.curved() && w.len() == 1);
            for [a, b] in &run.chords {
                cut(*a, *b, field, &mut |middle, step| {
                    let on = whole.clone().unwrap_or_else(|| riding(middle));
                    // What lies behind a clamp does no work.
                    for (node, share) in on.into_iter().filter(|&(n, _)| own.frame.nodes[n].held != [true; 6])
                    {
                        for place in [-GAUSS, GAUSS] {
                            let arm_m = middle + step * place - own.frame.nodes[node].at_m;
                            points[node].push(Point { node, arm_m, step_m: step * (0.5 * share) });
                        }
                    }
                });
            }
        }
        Some(points)
    }

    /// Force and moment at one ampere about a point fixed in space, N and N m.
    #[must_use]
    pub fn total(&self, pose: &Pose, about_m: [f64; 3]) -> (Vector3<f64>, Vector3<f64>) {
        let about = Vector3::from(about_m);
        let (mut force, mut moment) = (Vector3::zeros(), Vector3::zeros());
        for p in &self.points {
            let (at, f) = self.pull(pose, p);
            force += f;
            moment += (at - about).cross(&f);
        }
        (force, moment)
    }

    fn pull(&self, pose: &Pose, p: &Point) -> (Vector3<f64>, Vector3<f64>) {
        let at = pose.point_m(p.node, &p.arm_m);
        let step = pose.turn[p.node] * p.step_m;
        (at, step.cross(&self.field.at(at.into())))
    }
}

impl Drive for CoilDrive {
    fn load(&self, pose: &Pose) -> Vec<(usize, Vector6<f64>)> {
        let each = |p: &Point, sum: &mut Vector6<f64>| {
            let (at, f) = self.pull(pose, p);
            add(sum, &f, &(at - pose.at_m[p.node]).cross(&f));
        };
        self.sums(Vector6::zeros(), each)
    }

    fn load_and_stiffness(&self, pose: &Pose) -> LoadAndStiffness {
        let each = |p: &Point, sum: &mut SMatrix<f64, 6, 7>| {
            let arm = pose.turn[p.node] * p.arm_m;
            let step = pose.turn[p.node] * p.step_m;
            let (b, gradient) = self.field.at_with_gradient((pose.at_m[p.node] + arm).into());
            let f = step.cross(&b);
            let mut load = Vector6::zeros();
            add(&mut load, &f, &arm.cross(&f));
            let mut column = sum.column_mut(6);
            column += load;
            // Force by a shift of the place, and by a spin: the place shifts by spin x arm, the step turns.
            let shift: Matrix3<f64> = step.cross_matrix() * gradient;
            let spin = turned(&step, &b) - shift * arm.cross_matrix();
            let lever = arm.cross_matrix();
            let mut block = |row: usize, column: usize, part: Matrix3<f64>| {
                let mut view = sum.fixed_view_mut::<3, 3>(row, column);
                view += part;
            };
            block(0, 0, shift);
            block(0, 3, spin);
            block(3, 0, lever * shift);
            block(3, 3, lever * spin + turned(&arm, &f));
        };
        let sums = self.sums(SMatrix::<f64, 6, 7>::zeros(), each);
        let split = |(n, m): (usize, SMatrix<f64, 6, 7>)| {
            ((n, m.column(6).into_owned()), (n, m.fixed_columns::<6>(0).into_owned()))
        };
        sums.into_iter().map(split).unzip()
    }
}

impl CoilDrive {
    /// Sums over the points of every node, in the order of the nodes.
    fn sums<T: Copy + Send + Sync + std::ops::AddAssign>(
        &self,
        zero: T,
        each: impl Fn(&Point, &mut T) + Sync,
    ) -> Vec<(usize, T)> {
        let part = |points: &[Point]| {
            let mut sums: Vec<(usize, T)> = Vec::new();
            for p in points {
                if sums.last().is_none_or(|s| s.0 != p.node) {
                    sums.push((p.node, zero));
                }
                if let Some(last) = sums.last_mut() {
                    each(p, &mut last.1);
                }
            }
            sums
        };
        let parts: Vec<Vec<(usize, T)>> = self.points.par_chunks(CHUNK).map(part).collect();
        let mut whole: Vec<(usize, T)> = Vec::new();
        for (node, own) in parts.into_iter().flatten() {
            match whole.last_mut() {
                Some(last) if last.0 == node => last.1 += own,
                _ => whole.push((node, own)),
            }
        }
        whole
    }
}

fn add(sum: &mut Vector6<f64>, force: &Vector3<f64>, moment: &Vector3<f64>) {
    for c in 0..3 {
        sum[c] += force[c];
        sum[3 + c] += moment[c];
    }
}

/// Change of `a x b` by a spin of `a`: `(spin x a) x b = a (b . spin) - (a . b) spin`.
fn turned(a: &Vector3<f64>, b: &Vector3<f64>) -> Matrix3<f64> {
    a * b.transpose() - Matrix3::identity() * a.dot(b)
}

/// Hands on the points of one node at `at_m`, many in one box as few.
fn gather(points: Vec<Point>, at_m: &Vector3<f64>, field: &Field, out: &mut Vec<Point>) {
    if points.len() <= GRID * GRID {
        out.extend(points);
        return;
    }
    let span = |c: usize| {
        let ends = points.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), p| {
            (low.min(p.arm_m[c]), high.max(p.arm_m[c]))
        });
        [0.5 * (ends.0 + ends.1), (0.5 * (ends.1 - ends.0)).max(1e-9)]
    };
    let [x, y] = [span(0), span(1)];
    let length: f64 = points.iter().map(|p| p.step_m.norm()).sum();
    let high =
        points.iter().map(|p| p.step_m.norm() * p.arm_m.z).sum::<f64>() / length.max(f64::MIN_POSITIVE);
    let middle = at_m + Vector3::new(x[0], y[0], high);
    if x[1].max(y[1]) > BOX_SHARE * field.clearance_m(middle.into()).max(2e-5) {
        let (c, at) = if x[1] > y[1] { (0, x[0]) } else { (1, y[0]) };
        let (low, high): (Vec<Point>, Vec<Point>) = points.into_iter().partition(|p| p.arm_m[c] < at);
        gather(low, at_m, field, out);
        gather(high, at_m, field, out);
        return;
    }
    let node = points[0].node;
    let mut steps = [[Vector3::zeros(); GRID]; GRID];
    for p in &points {
        let along = shares((p.arm_m.x - x[0]) / x[1]);
        let across = shares((p.arm_m.y - y[0]) / y[1]);
        for (row, a) in steps.iter_mut().zip(along) {
            for (step, b) in row.iter_mut().zip(across) {
                *step += p.step_m * (a * b);
            }
        }
    }
    for (i, row) in steps.iter().enumerate() {
        for (j, &step_m) in row.iter().enumerate() {
            let arm_m = Vector3::new(x[0] + x[1] * chebyshev(i), y[0] + y[1] * chebyshev(j), high);
            out.push(Point { node, arm_m, step_m });
        }
    }
}

/// Place of a grid from -1 to 1: zeros of the Chebyshev polynomial.
fn chebyshev(k: usize) -> f64 {
    ((k as f64 + 0.5) / GRID as f64 * std::f64::consts::PI).cos()
}

/// What a value at `t` takes from the values at the places of a grid (Lagrange).
fn shares(t: f64) -> [f64; GRID] {
    std::array::from_fn(|k| {
        let own = chebyshev(k);
        (0..GRID).filter(|&i| i != k).map(|i| (t - chebyshev(i)) / (own - chebyshev(i))).product()
    })
}

/// Chords of one curve taken together, or one straight piece.
struct Run {
    chords: Vec<[Vector3<f64>; 2]>,
    turned_rad: f64,
}

/// Joins chords of curves until they turn by [`ARC_RAD`].
fn arcs(segments: &[PathSegment]) -> Vec<Run> {
    let mut runs: Vec<Run> = Vec::new();
    let mut layer = None;
    for s in segments {
        let own = [Vector3::from(s.from_m), Vector3::from(s.to_m)];
        let turn = runs.last().and_then(|r| r.chords.last()).map_or(0.0, |last| {
            let (a, b) = (last[1] - last[0], own[1] - own[0]);
            a.cross(&b).norm().atan2(a.dot(&b))
        });
        let joins = layer == Some(s.layer) && s.layer.is_some() && turn > 1e-6 && turn < CURVE_RAD;
        layer = Some(s.layer);
        match runs.last_mut() {
            Some(run) if joins && run.turned_rad + turn <= ARC_RAD => {
                run.turned_rad += turn;
                run.chords.push(own);
            }
            _ => runs.push(Run { chords: vec![own], turned_rad: 0.0 }),
        }
    }
    runs
}

impl Run {
    fn curved(&self) -> bool {
        self.chords.len() > 1
    }
}

/// Hands out pieces: their middles and length vectors.
fn cut(
    from: Vector3<f64>,
    to: Vector3<f64>,
    field: &Field,
    take: &mut impl FnMut(Vector3<f64>, Vector3<f64>),
) {
    let step = to - from;
    let middle = (from + to) * 0.5;
    if step.norm() > PIECE_SHARE * field.clearance_m(middle.into()).max(2e-5) {
        cut(from, middle, field, take);
        cut(middle, to, field, take);
    } else if step.norm() > 0.0 {
        take(middle, step);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::beam::board::{BeamWishes, board_beam};
    use crate::element::corotational::exponential;
    use copperbend_mesh::board::understand;

    const DESIGNS: [&str; 3] = [
        include_str!("../../../../examples/one_arm_vane/design.toml"),
        include_str!("../../../../examples/two_arm_vane/design.toml"),
        include_str!("../../../../examples/wide_swing_vane/design.toml"),
    ];

    fn built(text: &str) -> (Board, BoardBeam) {
        let board = understand("design.toml", text).unwrap_or_else(|f| panic!("{f}"));
        let own = board_beam(&board, &BeamWishes::default()).expect("beams");
        (board, own)
    }

    /// The flap's node turned about the hinge direction and shifted.
    fn swung(own: &BoardBeam, node: usize, rad: f64) -> Pose {
        let mut pose = own.frame.rest();
        pose.turn[node] = exponential(&(Vector3::from(own.hinge.axis()) * rad));
        pose.at_m[node] += Vector3::new(-1e-3 * rad.abs(), 0.0, 6e-3 * rad);
        pose
    }

    /// Few gathered places against all pieces of the path: force and moment on every node within a thousandth, at rest and
    /// turned.
    #[test]
    fn gathering_keeps_the_load() {
        for text in DESIGNS {
            let (board, own) = built(text);
            let (coil, node) = (own.drive.as_ref().expect("a drive"), own.flap.expect("a flap"));
            let pieces = CoilDrive::pieces(&board, &own, &coil.field).expect("a path");
            let all = CoilDrive { points: pieces.into_iter().flatten().collect(), ..coil.clone() };
            assert!(
                4 * coil.points.len() < all.points.len(),
                "{} of {}",
                coil.points.len(),
                all.points.len()
            );
            for rad in [0.0, 0.2, -0.1] {
                let pose = swung(&own, node, rad);
                let [few, many] = [coil.load(&pose), all.load(&pose)];
                let largest = many.iter().map(|l| l.1.norm()).fold(0.0, f64::max);
                for (few, many) in few.iter().zip(&many) {
                    assert_eq!(few.0, many.0, "the same nodes");
                    for part in [0, 3] {
                        let [f, m] = [few, many].map(|l| l.1.fixed_rows::<3>(part).into_owned());
                        let off = (f - m).norm() / m.norm().max(1e-6 * largest);
                        assert!(off < 1e-3, "{}: node {} at {rad} rad off by {off:e}", board.title, few.0);
                    }
                }
            }
        }
    }

    /// The same against the path cut into equal short pieces that ride on the flap or rest: torque about the hinge line
    /// within 0.5 %, since the program lets the leads bend with the arms. What lies behind the clamp does no work.
    #[test]
    fn gathered_places_give_the_load_of_the_whole_path() {
        for text in DESIGNS {
            let (board, own) = built(text);
            let (coil, node) = (own.drive.as_ref().expect("a drive"), own.flap.expect("a flap"));
            let flap = board.flap.as_ref().expect("a flap");
            let path = board.current.as_ref().expect("a path");
            for rad in [0.0, 0.2, -0.1] {
                let pose = swung(&own, node, rad);
                let mut sum = Vector6::zeros();
                for s in &path.segments {
                    let [a, b] = [s.from_m, s.to_m].map(Vector3::from);
                    let parts = ((b - a).norm() / 2e-5).ceil().max(1.0);
                    let step = (b - a) / parts;
                    let mut at = a + step * 0.5;
                    let mut done = 0.5;
                    while done < parts {
                        let moved = if flap.region.contains([at.x, at.y]) {
                            let arm = pose.turn[node] * (at - own.frame.nodes[node].at_m);
                            Some((pose.at_m[node] + arm, pose.turn[node] * step))
                        } else {
                            (own.hinge.along_m([at.x, at.y]) > -0.4e-3).then_some((at, step))
                        };
                        if let Some((at, step)) = moved {
                            let f = step.cross(&coil.field.at(at.into()));
                            add(&mut sum, &f, &(at - Vector3::from(own.hinge.point_m())).cross(&f));
                        }
                        at += step;
                        done += 1.0;
                    }
                }
                // Between clamp and arm only leads across the board differ, which hardly turn it.
                let (_, moment) = coil.total(&pose, own.hinge.point_m());
                let turn = sum.fixed_rows::<3>(3);
                let axis = Vector3::from(own.hinge.axis());
                let torque = moment.dot(&axis) / turn.dot(&axis) - 1.0;
                let title = &board.title;
                assert!(torque.abs() < 5e-3, "{title}: torque at {rad} rad off by {torque}");
            }
        }
    }

    #[test]
    fn stiffness_is_the_change_of_the_load() {
        for text in DESIGNS {
            let (_, own) = built(text);
            let (coil, node) = (own.drive.as_ref().expect("a drive"), own.flap.expect("a flap"));
            let base = swung(&own, node, 0.1);
            let of = |pose: &Pose| coil.load(pose).into_iter().find(|l| l.0 == node).expect("a load").1;
            let (load, stiffness) = coil.load_and_stiffness(&base);
            let same = load.iter().find(|l| l.0 == node).expect("a load").1;
            assert!((same - of(&base)).norm() < 1e-12 * same.norm(), "the load itself");
            let k = stiffness.iter().find(|l| l.0 == node).expect("a stiffness").1;
            for c in 0..6 {
                let moved = |by: f64| {
                    let mut pose = base.clone();
                    if c < 3 {
                        pose.at_m[node][c] += by;
                    } else {
                        let mut spin = Vector3::zeros();
                        spin[c - 3] = by;
                        pose.turn[node] = exponential(&spin) * base.turn[node];
                    }
                    of(&pose)
                };
                let step = if c < 3 { 1e-6 } else { 1e-4 };
                let column = (moved(step) - moved(-step)) / (2.0 * step);
                let off = (column - k.column(c)).norm() / column.norm();
                assert!(off < 1e-5, "column {c} off by {off}: {column} {}", k.column(c));
            }
        }
    }
}
