//! The plan's edges as a graph that can be changed: points, the edges between them, what each edge stands for.

use std::collections::BTreeMap;

use super::outline_edges::{Arcs, Split};
use crate::region::Point;

/// What an edge stands for.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Info {
    /// The arc it is a chord of.
    pub(super) arc: Option<u32>,
    /// Stays where it is: outline, or a line that was asked for.
    pub(super) firm: bool,
}

/// The graph of edges while it is changed.
#[derive(Debug)]
pub(super) struct Web<'a> {
    pub(super) points: Vec<Point>,
    direction: Vec<f64>,
    /// Points that stay where they are: on the outline, or asked for.
    pub(super) firm: Vec<bool>,
    /// Points that were asked for.
    pub(super) kept: Vec<bool>,
    /// Points that had edges at first: they go with their last edge, single points stay.
    had_edges: Vec<bool>,
    pub(super) around: Vec<Vec<u32>>,
    pub(super) edges: BTreeMap<[u32; 2], Info>,
    pub(super) arcs: &'a Arcs,
    /// Where edges were led differently, and by how much.
    pub(super) moved: Vec<(Point, f64)>,
    /// Where points became one, and how far apart they were.
    pub(super) merged: Vec<(Point, f64)>,
}

pub(super) fn key(a: u32, b: u32) -> [u32; 2] {
    [a.min(b), a.max(b)]
}

/// A count as a point's number.
pub(super) fn number(i: usize) -> u32 {
    u32::try_from(i).unwrap_or(u32::MAX)
}

impl<'a> Web<'a> {
    /// The graph of split edges; `kept`: points that must stay.
    pub(super) fn new(split: &Split, arcs: &'a Arcs, kept: &[Point]) -> Self {
        let kept: Vec<bool> = split.points.iter().map(|p| kept.contains(p)).collect();
        let n = split.points.len();
        let mut web = Self {
            points: split.points.clone(),
            direction: split.direction.clone(),
            firm: kept.clone(),
            kept,
            had_edges: vec![false; n],
            around: vec![Vec::new(); n],
            edges: BTreeMap::new(),
            arcs,
            moved: Vec::new(),
            merged: Vec::new(),
        };
        for ((&[a, b], &arc), &firm) in split.edges.iter().zip(&split.arc_of_edge).zip(&split.firm) {
            for i in [a, b] {
                web.firm[i as usize] |= firm;
                web.had_edges[i as usize] = true;
            }
            web.join(a, b, Info { arc, firm });
        }
        web
    }

    /// A new point, `direction` of an edge through it.
    pub(super) fn add(&mut self, p: Point, direction: f64) -> u32 {
        self.points.push(p);
        self.direction.push(direction);
        self.firm.push(false);
        self.kept.push(false);
        self.had_edges.push(true);
        self.around.push(Vec::new());
        number(self.points.len() - 1)
    }

    pub(super) fn join(&mut self, a: u32, b: u32, info: Info) {
        if a == b {
            return;
        }
        if let Some(known) = self.edges.get_mut(&key(a, b)) {
            known.firm |= info.firm;
            known.arc = known.arc.or(info.arc);
            return;
        }
        self.edges.insert(key(a, b), info);
        self.around[a as usize].push(b);
        self.around[b as usize].push(a);
    }

    pub(super) fn part(&mut self, a: u32, b: u32) -> Option<Info> {
        self.around[a as usize].retain(|&x| x != b);
        self.around[b as usize].retain(|&x| x != a);
        self.edges.remove(&key(a, b))
    }

    /// A new point on the edge `a`-`b`, on its true arc if it follows one and the arc is near.
    pub(super) fn insert(&mut self, [a, b]: [u32; 2], p: Point) -> Option<u32> {
        let info = self.part(a, b)?;
        let reach = 0.2 * self.apart(p, self.at(a)).min(self.apart(p, self.at(b)));
        let p = info.arc.and_then(|k| self.arcs.on(k, p, reach)).unwrap_or(p);
        let (from, to) = (self.at(a), self.at(b));
        let v = self.add(p, (to[1] - from[1]).atan2(to[0] - from[0]));
        self.firm[v as usize] = info.firm;
        self.join(a, v, info);
        self.join(v, b, info);
        Some(v)
    }

    /// Moves every edge of `from` to `to`.
    pub(super) fn merge(&mut self, from: u32, to: u32) {
        for other in std::mem::take(&mut self.around[from as usize]) {
            self.around[other as usize].retain(|&x| x != from);
            if let Some(info) = self.edges.remove(&key(from, other)) {
                self.join(to, other, info);
            }
        }
    }

    pub(super) fn at(&self, v: u32) -> Point {
        self.points[v as usize]
    }

    fn apart(&self, p: Point, q: Point) -> f64 {
        (p[0] - q[0]).hypot(p[1] - q[1])
    }

    pub(super) fn length(&self, a: u32, b: u32) -> f64 {
        self.apart(self.at(a), self.at(b))
    }

    /// Neighbours of a point in the order of their direction, rad.
    pub(super) fn fan(&self, v: u32) -> Vec<(f64, u32)> {
        let p = self.at(v);
        let mut fan: Vec<(f64, u32)> = self.around[v as usize]
            .iter()
            .map(|&a| (self.at(a), a))
            .map(|(q, a)| ((q[1] - p[1]).atan2(q[0] - p[0]), a))
            .collect();
        fan.sort_by(|x, y| x.0.total_cmp(&y.0).then(x.1.cmp(&y.1)));
        fan
    }

    /// The edges as they are now, and the new number of every point; points that lost all their edges are dropped.
    pub(super) fn finish(self) -> (Split, Vec<u32>) {
        let mut new_of = vec![u32::MAX; self.points.len()];
        let mut out = Split::default();
        for (i, &p) in self.points.iter().enumerate() {
            if !self.around[i].is_empty() || !self.had_edges[i] {
                new_of[i] = number(out.points.len());
                out.points.push(p);
                out.direction.push(self.direction[i]);
            }
        }
        for ([a, b], info) in self.edges {
            out.edges.push([new_of[a as usize], new_of[b as usize]]);
            out.arc_of_edge.push(info.arc);
            out.firm.push(info.firm);
        }
        (out, new_of)
    }
}
