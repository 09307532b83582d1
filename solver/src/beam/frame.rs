//! Nodes, elements and loads of a frame of beams at any pose: internal force, tangent, mass.
//!
//! In: nodes with what holds them, elements whose ends may sit off their node (rigid arms: a flap is one node with
//! inertia, the arms' ends reach out from it), forces that ride on nodes. Out: sums over a tree matrix. Absent:
//! search for equilibria, see [`super::motion`].

use super::tree::{Tree, TreeMatrix};
use crate::element::beam::{BeamElement, Matrix12, MovedBeam, Vector12};
use crate::element::corotational::exponential;
use crate::freedoms::rigid;
use nalgebra::{Matrix3, Matrix6, SMatrix, Vector3, Vector6};

/// A node: six freedoms, displacement and spin.
#[derive(Debug, Clone, PartialEq)]
pub struct FrameNode {
    /// Place at rest, m.
    pub at_m: Vector3<f64>,
    /// Held freedoms.
    pub held: [bool; 6],
    /// Rigid mass that moves with it, about the node, axes at rest: kg, kg m, kg m2.
    pub inertia: Matrix6<f64>,
}

impl FrameNode {
    /// A free node without mass of its own.
    #[must_use]
    pub fn free(at_m: Vector3<f64>) -> Self {
        Self { at_m, held: [false; 6], inertia: Matrix6::zeros() }
    }
}

/// An element between two nodes.
#[derive(Debug, Clone, PartialEq)]
pub struct Link {
    /// Nodes.
    pub nodes: [usize; 2],
    /// From each node to the element's end, at rest, m.
    pub arms_m: [Vector3<f64>; 2],
    /// The element.
    pub element: BeamElement,
}

impl Link {
    /// Small motion of the element's ends by that of the nodes.
    fn ends_by(&self, pose: &Pose, motion: &[Vector6<f64>]) -> Vector12 {
        let mut ends = Vector12::zeros();
        for (e, &node) in self.nodes.iter().enumerate() {
            let spin: Vector3<f64> = motion[node].fixed_rows::<3>(3).into_owned();
            let by = motion[node].fixed_rows::<3>(0) + spin.cross(&(pose.turn[node] * self.arms_m[e]));
            ends.fixed_rows_mut::<3>(6 * e).copy_from(&by);
            ends.fixed_rows_mut::<3>(6 * e + 3).copy_from(&spin);
        }
        ends
    }
}

/// A force of fixed direction at a place that moves with a node, and a moment of fixed direction.
#[derive(Debug, Clone, PartialEq)]
pub struct Ride {
    /// Node.
    pub node: usize,
    /// From the node to the place, at rest, m.
    pub arm_m: Vector3<f64>,
    /// Force, N.
    pub force_n: Vector3<f64>,
    /// Moment, N m.
    pub moment_nm: Vector3<f64>,
}

/// A held node that is turned about an axis: mounting rotation of a clamp.
#[derive(Debug, Clone, PartialEq)]
pub struct Turned {
    /// Node.
    pub node: usize,
    /// A point of the axis, m.
    pub through_m: Vector3<f64>,
    /// Rotation vector, rad.
    pub rotation_rad: Vector3<f64>,
}

/// A frame at rest.
#[derive(Debug, Clone, Default)]
pub struct Frame {
    /// Nodes.
    pub nodes: Vec<FrameNode>,
    /// Elements.
    pub links: Vec<Link>,
    /// Turned clamps.
    pub turned: Vec<Turned>,
    /// Order of elimination.
    pub tree: Tree,
}

/// Where every node is and how it is turned from rest.
#[derive(Debug, Clone, PartialEq)]
pub struct Pose {
    /// Places, m.
    pub at_m: Vec<Vector3<f64>>,
    /// Rotations from rest.
    pub turn: Vec<Matrix3<f64>>,
}

impl Pose {
    /// Place of a point that rides on a node, m.
    #[must_use]
    pub fn point_m(&self, node: usize, arm_m: &Vector3<f64>) -> Vector3<f64> {
        self.at_m[node] + self.turn[node] * arm_m
    }

    /// Moves every node by a displacement and a spin.
    pub fn step(&mut self, by: &[Vector6<f64>], share: f64) {
        for (n, d) in by.iter().enumerate() {
            self.at_m[n] += d.fixed_rows::<3>(0) * share;
            let spin: Vector3<f64> = d.fixed_rows::<3>(3) * share;
            self.turn[n] = exponential(&spin) * self.turn[n];
        }
    }
}

/// How much of each kind of load acts.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Share {
    /// Riding forces.
    pub dead: f64,
    /// Heating of the layers and turned clamps.
    pub heating: f64,
    /// The drive: current, A.
    pub drive: f64,
}

/// A frame at a pose: what is left of the forces, and how it changes.
#[derive(Debug)]
pub struct Linearised {
    /// Internal forces less riding loads.
    pub left: Vec<Vector6<f64>>,
    /// Their change, symmetric part.
    pub stiffness: TreeMatrix,
    /// Every element's place.
    pub places: Vec<MovedBeam>,
    /// Mode forces there.
    pub forces: Vec<Vector6<f64>>,
}

impl Frame {
    /// A frame of nodes and elements; None where the elements close a ring.
    #[must_use]
    pub fn new(nodes: Vec<FrameNode>, links: Vec<Link>) -> Option<Self> {
        let pairs: Vec<[usize; 2]> = links.iter().map(|l| l.nodes).collect();
        let tree = Tree::new(nodes.len(), &pairs)?;
        Some(Self { nodes, links, turned: Vec::new(), tree })
    }

    /// The pose at rest.
    #[must_use]
    pub fn rest(&self) -> Pose {
        Pose {
            at_m: self.nodes.iter().map(|n| n.at_m).collect(),
            turn: vec![Matrix3::identity(); self.nodes.len()],
        }
    }

    /// Puts turned clamps where a share of their rotation brings them.
    pub fn place_held(&self, pose: &mut Pose, share: f64) {
        for t in &self.turned {
            let turn = exponential(&(t.rotation_rad * share));
            pose.turn[t.node] = turn;
            pose.at_m[t.node] = t.through_m + turn * (self.nodes[t.node].at_m - t.through_m);
        }
    }

    /// An element's frame in a pose; None where it has collapsed.
    #[must_use]
    pub fn moved(&self, link: &Link, pose: &Pose) -> Option<MovedBeam> {
        let [a, b] = link.nodes;
        let ends = [pose.point_m(a, &link.arms_m[0]), pose.point_m(b, &link.arms_m[1])];
        MovedBeam::new(&link.element, ends, [&pose.turn[a], &pose.turn[b]])
    }

    /// Internal forces less riding loads, and their tangent (symmetric part); None where an element collapsed.
    #[must_use]
    pub fn residual(
        &self,
        pose: &Pose,
        rides: &[Ride],
        share: Share,
    ) -> Option<(Vec<Vector6<f64>>, TreeMatrix)> {
        let state = self.linearised(pose, rides, share, None)?;
        Some((state.left, state.stiffness))
    }

    /// The same with every element's place, and with mode forces `foretold` by the last step in the parts of the tangent
    /// that turn forces ([`BeamElement::pull`]).
    #[must_use]
    pub fn linearised(
        &self,
        pose: &Pose,
        rides: &[Ride],
        share: Share,
        foretold: Option<&[Vector6<f64>]>,
    ) -> Option<Linearised> {
        let mut force = vec![Vector6::zeros(); self.nodes.len()];
        let mut k = self.tree.zeros();
        let mut places = Vec::with_capacity(self.links.len());
        let mut forces = Vec::with_capacity(self.links.len());
        for (n, link) in self.links.iter().enumerate() {
            let moved = self.moved(link, pose)?;
            let own = link.element.mode_forces(&moved, share.heating);
            let pull = link.element.pull(&moved, &own, foretold.map_or(&own, |f| &f[n]));
            self.add_link(link, pose, &pull, (&mut force, &mut k));
            places.push(moved);
            forces.push(own);
        }
        for ride in rides {
            let arm = pose.turn[ride.node] * ride.arm_m;
            let f = ride.force_n * share.dead;
            let moment = arm.cross(&f) + ride.moment_nm * share.dead;
            let at = &mut force[ride.node];
            for c in 0..3 {
                at[c] -= f[c];
                at[3 + c] -= moment[c];
            }
            add_turning(&mut k.diagonal[ride.node], &-f, &arm);
        }
        Some(Linearised { left: force, stiffness: k, places, forces })
    }

    fn add_link(
        &self,
        link: &Link,
        pose: &Pose,
        (f, ahead, t): &(Vector12, Vector12, Matrix12),
        (force, k): (&mut [Vector6<f64>], &mut TreeMatrix),
    ) {
        let arms = [0, 1].map(|e| pose.turn[link.nodes[e]] * link.arms_m[e]);
        let end = |f: &Vector12, e: usize, row: usize| f.fixed_rows::<3>(6 * e + row).into_owned();
        for (e, (&node, arm)) in link.nodes.iter().zip(&arms).enumerate() {
            let (pull, mut moment): (Vector3<f64>, Vector3<f64>) = (end(f, e, 0), end(f, e, 3));
            moment += arm.cross(&pull);
            for c in 0..3 {
                force[node][c] += pull[c];
                force[node][3 + c] += moment[c];
            }
            add_turning(&mut k.diagonal[node], &end(ahead, e, 0), arm);
        }
        for (e, g) in [(0, 0), (0, 1), (1, 1)] {
            let (a, b) = (link.nodes[e], link.nodes[g]);
            let there = t.fixed_view::<6, 6>(6 * e, 6 * g);
            let back = t.fixed_view::<6, 6>(6 * g, 6 * e).transpose();
            let mut block: Matrix6<f64> = (there + back) * 0.5;
            follow(&mut block, &arms[e], &arms[g]);
            if e == g || self.tree.parent[a] == Some(b) {
                self.tree.add(k, a, b, &block);
            } else {
                self.tree.add(k, b, a, &block.transpose());
            }
        }
    }

    /// Mass at a pose.
    #[must_use]
    pub fn mass(&self, pose: &Pose) -> Option<TreeMatrix> {
        let mut m = self.tree.zeros();
        for link in &self.links {
            let moved = self.moved(link, pose)?;
            let own = link.element.mass_in_space(&moved);
            let follow = [0, 1].map(|e| rigid(&(pose.turn[link.nodes[e]] * link.arms_m[e])));
            for e in 0..2 {
                for g in 0..2 {
                    let block: Matrix6<f64> = own.fixed_view::<6, 6>(6 * e, 6 * g).into_owned();
                    let block = follow[e].tr_mul(&(block * follow[g]));
                    self.tree.add(&mut m, link.nodes[e], link.nodes[g], &block);
                }
            }
        }
        for (n, node) in self.nodes.iter().enumerate() {
            let mut turn = SMatrix::<f64, 6, 6>::zeros();
            turn.fixed_view_mut::<3, 3>(0, 0).copy_from(&pose.turn[n]);
            turn.fixed_view_mut::<3, 3>(3, 3).copy_from(&pose.turn[n]);
            m.diagonal[n] += turn * node.inertia * turn.transpose();
        }
        Some(m)
    }

    /// Forces of an element's six modes in a pose, `heating` as in [`Share`].
    #[must_use]
    pub fn mode_forces(&self, link: &Link, pose: &Pose, heating: f64) -> Option<Vector6<f64>> {
        Some(link.element.mode_forces(&self.moved(link, pose)?, heating))
    }

    /// Change of these forces for every element by a small motion from its place, to first order.
    pub(super) fn changes_of_forces(
        &self,
        pose: &Pose,
        places: &[MovedBeam],
        motion: &[Vector6<f64>],
    ) -> Vec<Vector6<f64>> {
        let one = |(link, moved): (&Link, &MovedBeam)| {
            link.element.change_of_forces(moved, &link.ends_by(pose, motion))
        };
        self.links.iter().zip(places).map(one).collect()
    }

    /// Change of these forces with a small motion from a pose.
    #[must_use]
    pub fn mode_forces_by(
        &self,
        link: &Link,
        pose: &Pose,
        motion: &[Vector6<f64>],
        heating: f64,
    ) -> Option<Vector6<f64>> {
        let moved = self.moved(link, pose)?;
        Some(link.element.small_mode_forces(&moved, &link.ends_by(pose, motion), heating))
    }

    /// Held freedoms of every node.
    #[must_use]
    pub fn held(&self) -> Vec<[bool; 6]> {
        self.nodes.iter().map(|n| n.held).collect()
    }
}

/// `G(left)' block G(right)` with the motion `G` of the end of an arm by that of its node.
fn follow(block: &mut Matrix6<f64>, left: &Vector3<f64>, right: &Vector3<f64>) {
    if right.x != 0.0 || right.y != 0.0 || right.z != 0.0 {
        let more = block.fixed_columns::<3>(0) * right.cross_matrix();
        let mut turned = block.fixed_columns_mut::<3>(3);
        turned -= more;
    }
    if left.x != 0.0 || left.y != 0.0 || left.z != 0.0 {
        let more = left.cross_matrix() * block.fixed_rows::<3>(0);
        let mut turned = block.fixed_rows_mut::<3>(3);
        turned += more;
    }
}

/// A force at the end of an arm that turns with the node: symmetric part of the change of its moment.
fn add_turning(k: &mut Matrix6<f64>, force: &Vector3<f64>, arm: &Vector3<f64>) {
    let term = force.cross_matrix() * arm.cross_matrix();
    let mut block = k.fixed_view_mut::<3, 3>(3, 3);
    block += (term + term.transpose()) * 0.5;
}

/// Rigid mass about a node: mass, place of its centre from the node, inertia about the centre.
#[must_use]
pub fn rigid_mass(mass_kg: f64, centre_m: &Vector3<f64>, inertia_kg_m2: &Matrix3<f64>) -> Matrix6<f64> {
    let mut own = Matrix6::zeros();
    own.fixed_view_mut::<3, 3>(0, 0).fill_diagonal(mass_kg);
    own.fixed_view_mut::<3, 3>(3, 3).copy_from(inertia_kg_m2);
    // The centre moves with the node: u + theta x arm.
    let follow = rigid(centre_m);
    follow.transpose() * own * follow
}
