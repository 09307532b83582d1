//! The current path on the beams of a board, in the magnets' field.
//!
//! Every piece of the path rides on one node (the flap) or is shared by the two ends of its element. Near pieces are
//! halved and get three Gauss points; far ones one point at their middle, which for turns of a coil converges as fast
//! as any rule does (the integrand is periodic).

use super::BoardBeam;
use super::loads::carriers;
use crate::beam::frame::Pose;
use crate::beam::motion::Drive;
use crate::element::corotational::exponential;
use crate::magnet::Field;
use copperbend_mesh::board::Board;
use nalgebra::{Matrix6, Vector3, Vector6};

/// A piece longer than this share of its distance to the magnets at rest is halved.
const PIECE_SHARE: f64 = 0.25;

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
    rest: Vec<Vector3<f64>>,
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
        for segment in &path.segments {
            cut(segment.from_m.into(), segment.to_m.into(), &field, &mut |at, step_m| {
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
        let rest = own.frame.nodes.iter().map(|n| n.at_m).collect();
        Some(Self { field, points, nodes, rest, current_a: path.current_a })
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

    fn stiffness_at_rest(&self) -> Vec<(usize, Matrix6<f64>)> {
        // Only the node with most of the path: the flap. Differences over a hundredth of a millimetre and a milliradian.
        let count = |n: usize| self.points.iter().filter(|p| p.node == n).count();
        let Some(&node) = self.nodes.iter().max_by_key(|&&n| count(n)) else { return Vec::new() };
        let rest =
            Pose { at_m: self.rest.clone(), turn: vec![nalgebra::Matrix3::identity(); self.rest.len()] };
        let load = |pose: &Pose| {
            let own = self.load(pose).into_iter().find(|(n, _)| *n == node);
            own.map_or_else(Vector6::zeros, |(_, l)| l)
        };
        let mut k = Matrix6::zeros();
        for c in 0..6 {
            let step = if c < 3 { 1e-5 } else { 1e-3 };
            let side = |sign: f64| {
                let mut pose = rest.clone();
                if c < 3 {
                    pose.at_m[node][c] += sign * step;
                } else {
                    let mut spin = Vector3::zeros();
                    spin[c - 3] = sign * step;
                    pose.turn[node] = exponential(&spin);
                }
                load(&pose)
            };
            k.set_column(c, &((side(1.0) - side(-1.0)) / (2.0 * step)));
        }
        vec![(node, k)]
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
