//! Places where the shell's strain has no limit under refinement: clamp ends, sharp re-entrant corners, ends and
//! corners of stack edges.
//!
//! In: a model and its neighbours. Out: flagged nodes with their kind. Absent: strains.
//! Source: Williams 1952, J. Appl. Mech. 19, 526 (corner exponents; cited from memory).

use super::fields::zone;
use super::topology::{Edge, Topology};
use crate::laminate::Laminate;
use crate::model::Model;
use nalgebra::Vector3;
use std::f64::consts::PI;

/// Why a point is singular.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum SingularKind {
    /// The edge of a clamp or of a rigid piece ends.
    ClampEnd,
    /// A free edge turns inwards without a fillet.
    ReentrantCorner,
    /// The edge of a clamp or of a rigid piece turns.
    ClampCorner,
    /// The edge of a stiffener or of another layer meets the free edge.
    StackEdgeEnd,
    /// The edge of a stiffener, track or other layer turns without a fillet.
    StackCorner,
    /// A single node is held.
    PointSupport,
}

impl SingularKind {
    /// Words for the table of spots.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::ClampEnd => "end of a clamp edge",
            Self::ReentrantCorner => "inward corner without a fillet",
            Self::ClampCorner => "corner of a clamp",
            Self::StackEdgeEnd => "end of a stack edge",
            Self::StackCorner => "corner of a stack edge",
            Self::PointSupport => "point support",
        }
    }
}

/// A flagged point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Singular {
    /// Node.
    pub node: u32,
    /// Why.
    pub kind: SingularKind,
    /// Place, m.
    pub place_m: [f64; 3],
    /// Total thickness of the thinnest stack there, m.
    pub thickness_m: f64,
}

/// Inward angle from which a corner counts as sharp, rad (200 degrees).
const SHARP: f64 = 200.0 / 180.0 * PI;
/// Angle from which a "corner" is the inside of a ring or a slit's end, rad (345 degrees): not judged for stacks.
const AROUND: f64 = 345.0 / 180.0 * PI;
/// Ratio of stiffness from which a stack edge matters.
const CONTRAST: f64 = 1.5;

/// All singular points of a model, sorted by node; one per node, the first kind that applies.
#[must_use]
pub fn singular_points(model: &Model, topology: &Topology) -> Vec<Singular> {
    let held = held_nodes(model);
    let moving: Vec<bool> =
        model.triangles.iter().map(|corners| !corners.iter().all(|&n| held[n as usize])).collect();
    let survey = Survey { model, topology, held, moving };
    let mut found: Vec<(u32, SingularKind)> = survey.clamp_ends();
    found.extend(survey.sharp(|_| 0).into_iter().map(|node| {
        let kind = if survey.held[node as usize] {
            SingularKind::ClampCorner
        } else {
            SingularKind::ReentrantCorner
        };
        (node, kind)
    }));
    found.extend(survey.stack_edge_ends());
    let corners = survey.sharp(|triangle| zone(model, triangle));
    found.extend(
        corners
            .into_iter()
            .filter(|&node| survey.contrast(node) > CONTRAST)
            .map(|node| (node, SingularKind::StackCorner)),
    );
    // Stable: of several kinds at a node the one found first stays.
    found.sort_by_key(|&(node, _)| node);
    found.dedup_by_key(|&mut (node, _)| node);
    found
        .into_iter()
        .map(|(node, kind)| Singular {
            node,
            kind,
            place_m: model.nodes_m[node as usize],
            thickness_m: survey.thinnest(node),
        })
        .collect()
}

/// Nodes held like a clamp in the plane (two displacements or more) or in bending (deflection and both slopes),
/// and nodes of rigid pieces.
fn held_nodes(model: &Model) -> Vec<bool> {
    let freedoms = &model.freedoms;
    let mut followers = vec![0_u32; freedoms.blocks.len()];
    for follow in &freedoms.follow {
        followers[follow.block as usize] += 1;
    }
    let mut flags = vec![false; model.nodes_m.len()];
    for (flag, follow) in flags.iter_mut().zip(&freedoms.follow) {
        let held = &freedoms.blocks[follow.block as usize].held;
        let displacements = held[..3].iter().filter(|&&h| h).count();
        let bending = held[2..5].iter().all(|&h| h);
        *flag = displacements >= 2 || bending || followers[follow.block as usize] > 1;
    }
    flags
}

/// Total thickness of a stack, sliding plies excepted, m.
pub(crate) fn thickness_m(laminate: &Laminate) -> f64 {
    let joined = laminate.plies.iter().filter(|ply| !ply.sliding);
    let (low, high) = joined
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), ply| (low.min(ply.z0_m), high.max(ply.z1_m)));
    (high - low).max(0.0)
}

struct Survey<'a> {
    model: &'a Model,
    topology: &'a Topology,
    held: Vec<bool>,
    moving: Vec<bool>,
}

impl Survey<'_> {
    /// Laminates of the moving triangles at a node.
    fn laminates(&self, node: u32) -> impl Iterator<Item = &Laminate> {
        self.topology
            .around(node)
            .iter()
            .filter(|&&t| self.moving[t as usize])
            .map(|&t| &self.model.laminates[self.model.laminate_of[t as usize] as usize])
    }

    fn thinnest(&self, node: u32) -> f64 {
        self.laminates(node).map(thickness_m).fold(f64::INFINITY, f64::min)
    }

    /// Largest ratio of stretching or bending stiffness between zones at a node.
    fn contrast(&self, node: u32) -> f64 {
        let mut zones = self.topology.around(node).iter().map(|&t| zone(self.model, t));
        let first = zones.next();
        if zones.all(|zone| Some(zone) == first) {
            return 1.0;
        }
        let span = |of: fn(&Laminate) -> f64| {
            let (low, high) =
                self.laminates(node).map(of).fold((f64::INFINITY, 0.0), |(low, high): (f64, f64), value| {
                    (low.min(value), high.max(value))
                });
            if low > 0.0 { high / low } else { 1.0 }
        };
        span(|laminate| laminate.a.trace()).max(span(|laminate| laminate.d.trace()))
    }

    fn clamp_ends(&self) -> Vec<(u32, SingularKind)> {
        let n_nodes = self.model.nodes_m.len();
        let (mut joined, mut loose_rim, mut rim) =
            (vec![0_u32; n_nodes], vec![false; n_nodes], vec![false; n_nodes]);
        for edge in &self.topology.edges {
            let [p, q] = edge.nodes.map(|node| node as usize);
            let free = edge.second.is_none();
            for (own, other) in [(p, q), (q, p)] {
                rim[own] |= free;
                loose_rim[own] |= free && !self.held[other];
                joined[own] += u32::from(self.held[other]);
            }
        }
        let kind = |node: usize| {
            if !self.held[node] || !self.topology.around(index(node)).iter().any(|&t| self.moving[t as usize])
            {
                None
            } else if joined[node] == 0 {
                Some(SingularKind::PointSupport)
            } else if loose_rim[node] || (!rim[node] && joined[node] == 1) {
                Some(SingularKind::ClampEnd)
            } else {
                None
            }
        };
        (0..n_nodes).filter_map(|node| kind(node).map(|kind| (index(node), kind))).collect()
    }

    fn stack_edge_ends(&self) -> Vec<(u32, SingularKind)> {
        let mut rim: Vec<u32> = self
            .topology
            .edges
            .iter()
            .filter(|edge| edge.second.is_none())
            .flat_map(|edge| edge.nodes)
            .filter(|&node| !self.held[node as usize])
            .collect();
        rim.sort_unstable();
        rim.dedup();
        rim.into_iter()
            .filter(|&node| self.contrast(node) > CONTRAST)
            .map(|node| (node, SingularKind::StackEdgeEnd))
            .collect()
    }

    /// Nodes where the edge of a set of moving triangles (same key) turns inwards sharply and is no arc.
    fn sharp(&self, key: impl Fn(u32) -> u32) -> Vec<u32> {
        let mut rims = self.rims(&key);
        rims.sort_unstable();
        let mut found = Vec::new();
        for same in rims.chunk_by(|one, other| (one.0, one.1) == (other.0, other.1)) {
            let (set, node) = (same[0].0, same[0].1);
            let [(_, _, before), (_, _, after)] = *same else { continue };
            let turn = self.angle(node, set, &key) - PI;
            if turn <= SHARP - PI || turn >= AROUND - PI {
                continue;
            }
            let beside = [before, after].map(|other| self.angle(other, set, &key) - PI);
            if beside.iter().all(|&other| other > turn / 3.0 && other < 3.0 * turn) {
                continue;
            }
            found.push(node);
        }
        found.sort_unstable();
        found.dedup();
        found
    }

    /// Rim edges of every set: (set, node, node at the other end), once from each end.
    fn rims(&self, key: &impl Fn(u32) -> u32) -> Vec<(u32, u32, u32)> {
        let of = |triangle: u32| self.moving[triangle as usize].then(|| key(triangle));
        let mut rims = Vec::new();
        for &Edge { nodes: [p, q], first, second } in &self.topology.edges {
            let sides = [of(first), second.and_then(of)];
            if sides[0] == sides[1] {
                continue;
            }
            for set in sides.into_iter().flatten() {
                rims.push((set, p, q));
                rims.push((set, q, p));
            }
        }
        rims
    }

    /// Angle that a set fills at a node, rad.
    fn angle(&self, node: u32, set: u32, key: &impl Fn(u32) -> u32) -> f64 {
        self.topology
            .around(node)
            .iter()
            .filter(|&&triangle| self.moving[triangle as usize] && key(triangle) == set)
            .map(|&triangle| {
                let corners = self.model.triangles[triangle as usize];
                let at = corners.iter().position(|&n| n == node).unwrap_or(0);
                let place = |i: usize| Vector3::from(self.model.nodes_m[corners[(at + i) % 3] as usize]);
                (place(1) - place(0)).angle(&(place(2) - place(0)))
            })
            .sum()
    }
}

fn index(node: usize) -> u32 {
    u32::try_from(node).unwrap_or(u32::MAX)
}
