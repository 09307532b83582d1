//! The current path on the beams of a board, in the magnets' field.
//!
//! Every piece of the path rides on one node (the flap) or is shared by the two ends of its element. Pieces near a
//! magnet are halved; all get one point at their middle.

use super::BoardBeam;
use super::loads::carriers;
use crate::beam::frame::Pose;
use crate::beam::motion::Drive;
use crate::element::corotational::exponential;
use crate::magnet::Field;
use copperbend_mesh::board::{Board, PathSegment};
use nalgebra::{Matrix6, Vector3, Vector6};

/// A piece longer than this share of its distance to the magnets at rest is halved.
const PIECE_SHARE: f64 = 0.4;

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
    points: Vec<Point>,
    nodes: Vec<usize>,
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
        let mut points = Vec::new();
        for run in arcs(&path.segments) {
            run.cut(&field, &mut |at, step_m| {
                for (node, share, arm_m) in carriers(board, own, [at.x, at.y], at.z) {
                    // What lies behind a clamp does no work.
                    if own.frame.nodes[node].held != [true; 6] {
                        points.push(Point { node, arm_m, step_m: step_m * share });
                    }
                }
            });
        }
        let mut nodes: Vec<usize> = points.iter().map(|p: &Point| p.node).collect();
        nodes.sort_unstable();
        nodes.dedup();
        Some(Self { field, points, nodes, current_a: path.current_a })
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
        let mut sums: Vec<(usize, Vector6<f64>)> =
            self.nodes.iter().map(|&n| (n, Vector6::zeros())).collect();
        for p in &self.points {
            let (at, f) = self.pull(pose, p);
            let moment = (at - pose.at_m[p.node]).cross(&f);
            if let Ok(k) = self.nodes.binary_search(&p.node) {
                let sum = &mut sums[k].1;
                for c in 0..3 {
                    sum[c] += f[c];
                    sum[3 + c] += moment[c];
                }
            }
        }
        sums
    }

    fn stiffness(&self, at: &Pose) -> Vec<(usize, Matrix6<f64>)> {
        // Only the node with most of the path: the flap. Differences over a hundredth of a millimetre and a milliradian.
        let count = |n: usize| self.points.iter().filter(|p| p.node == n).count();
        let Some(&node) = self.nodes.iter().max_by_key(|&&n| count(n)) else { return Vec::new() };
        let load = |pose: &Pose| {
            let own = self.load(pose).into_iter().find(|(n, _)| *n == node);
            own.map_or_else(Vector6::zeros, |(_, l)| l)
        };
        let mut k = Matrix6::zeros();
        for c in 0..6 {
            let step = if c < 3 { 1e-5 } else { 1e-3 };
            let side = |sign: f64| {
                let mut pose = at.clone();
                if c < 3 {
                    pose.at_m[node][c] += sign * step;
                } else {
                    let mut spin = Vector3::zeros();
                    spin[c - 3] = sign * step;
                    pose.turn[node] = exponential(&spin) * at.turn[node];
                }
                load(&pose)
            };
            k.set_column(c, &((side(1.0) - side(-1.0)) / (2.0 * step)));
        }
        vec![(node, k)]
    }
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
    /// Hands out points with their length vectors. An arc gets one point at the middle of its length with the arc's
    /// whole length: along a coil that is the midpoint rule over the angle, which converges faster than any power.
    fn cut(&self, field: &Field, take: &mut impl FnMut(Vector3<f64>, Vector3<f64>)) {
        let lengths: Vec<f64> = self.chords.iter().map(|[a, b]| (b - a).norm()).collect();
        let whole: f64 = lengths.iter().sum();
        let mut left = 0.5 * whole;
        let mut middle = self.chords[0][0];
        for ([a, b], length) in self.chords.iter().zip(&lengths) {
            if left <= *length {
                middle = a + (b - a) * (left / length.max(f64::MIN_POSITIVE));
                break;
            }
            left -= length;
        }
        let far = whole <= PIECE_SHARE * field.clearance_m(middle.into()).max(2e-5);
        let ends = self.chords[self.chords.len() - 1][1] - self.chords[0][0];
        if far && ends.norm() > 0.0 {
            take(middle, ends * (whole / ends.norm()));
        } else {
            for [a, b] in &self.chords {
                cut(*a, *b, field, take);
            }
        }
    }
}

/// Hands out points with their length vectors.
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
