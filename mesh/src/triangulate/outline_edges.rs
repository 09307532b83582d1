//! Edges of the arrangement split to the wished size; edges along true arcs are split on the arc.

use super::arrange::{Arrangement, FINE, Step};
use super::size::SizeTree;
use crate::board::Fillet;
use crate::region::Point;

/// Grid steps per metre.
const SCALE: f64 = 1e6;

/// A snapped point lies this close to its arc, in grid steps (half a cell diagonal, and a little).
const ON_ARC: f64 = 0.75;

/// Points with their constraint edges, in grid steps.
#[derive(Debug, Default)]
pub(super) struct Split {
    /// Points; those of the arrangement first.
    pub(super) points: Vec<Point>,
    /// Edges between points.
    pub(super) edges: Vec<[u32; 2]>,
    /// Direction of an edge at each point, rad.
    pub(super) direction: Vec<f64>,
    /// The arc that an edge is a chord of, index into [`Arcs`].
    pub(super) arc_of_edge: Vec<Option<u32>>,
    /// Which edges stay where they are: the outline, and lines that were asked for.
    pub(super) firm: Vec<bool>,
}

/// True arcs in grid steps.
#[derive(Debug)]
pub(super) struct Arcs(Vec<Fillet>);

impl Arcs {
    /// Arcs of the plan; those without a usable radius are left out.
    pub(super) fn new(arcs: &[Fillet]) -> Self {
        let usable = |f: &&Fillet| {
            f.radius_m > 2.0 / SCALE
                && [f.radius_m, f.centre_m[0], f.centre_m[1], f.angles_rad[0], f.angles_rad[1]]
                    .iter()
                    .all(|v| v.is_finite())
        };
        let scaled = |f: &Fillet| Fillet {
            centre_m: [f.centre_m[0] * SCALE, f.centre_m[1] * SCALE],
            radius_m: f.radius_m * SCALE,
            angles_rad: f.angles_rad,
            name: String::new(),
        };
        Self(arcs.iter().filter(usable).map(scaled).collect())
    }

    /// Place on arc `k` nearest to `p`, if `p` is within `reach` of it.
    pub(super) fn on(&self, k: u32, p: Point, reach: f64) -> Option<Point> {
        let q = self.0[k as usize].nearest_m(p, ON_ARC)?;
        ((q[0] - p[0]).hypot(q[1] - p[1]) <= reach).then_some(q)
    }

    /// Arcs that a grid point lies on.
    fn of(&self, p: Point) -> impl Iterator<Item = u32> + '_ {
        (0_u32..).zip(&self.0).map(|(k, _)| k).filter(move |&k| self.on(k, p, ON_ARC).is_some())
    }

    pub(super) fn radius(&self, k: u32) -> f64 {
        self.0[k as usize].radius_m
    }
}

/// A point in grid steps.
fn real(s: Step) -> Point {
    s.map(|v| f64::from(v) / f64::from(FINE))
}

/// Longest edge that can be a chord of an arc, as a share of the radius.
const CHORD_SHARE: f64 = 0.3;

/// Splits every edge of the arrangement so that no piece is longer than the size field wishes.
pub(super) fn split_edges(plan: &Arrangement, arcs: &Arcs, size: &SizeTree) -> Split {
    let mut out = Split { points: plan.points.iter().map(|&s| real(s)).collect(), ..Split::default() };
    let on: Vec<Vec<u32>> = out.points.iter().map(|&p| arcs.of(p).collect()).collect();
    let arc_of = |[a, b]: [u32; 2]| {
        let (p, q) = (real(plan.points[a as usize]), real(plan.points[b as usize]));
        let length = (p[0] - q[0]).hypot(p[1] - q[1]);
        on[a as usize]
            .iter()
            .copied()
            .find(|k| on[b as usize].contains(k) && length <= CHORD_SHARE * arcs.radius(*k) + 2.0)
    };
    let of_edge: Vec<Option<u32>> = plan.edges.iter().map(|&e| arc_of(e)).collect();
    out.direction = vec![0.0; out.points.len()];
    let mut arc_at: Vec<Option<u32>> = vec![None; out.points.len()];
    for (e, arc) in plan.edges.iter().zip(&of_edge) {
        let (a, b) = (e[0] as usize, e[1] as usize);
        let angle = (out.points[b][1] - out.points[a][1]).atan2(out.points[b][0] - out.points[a][0]);
        (out.direction[a], out.direction[b]) = (angle, angle);
        if let Some(k) = arc {
            for i in [a, b] {
                arc_at[i] = arc_at[i].or(Some(*k));
            }
        }
    }
    for (p, arc) in out.points.iter_mut().zip(arc_at) {
        if let Some(q) = arc.and_then(|k| arcs.on(k, *p, ON_ARC)) {
            *p = q;
        }
    }
    for ((&e, &arc), &firm) in plan.edges.iter().zip(&of_edge).zip(&plan.firm) {
        split_edge(&mut out, e, arc, (arcs, size));
        out.firm.resize(out.edges.len(), firm);
    }
    out
}

/// Appends the pieces of one edge.
fn split_edge(out: &mut Split, [a, b]: [u32; 2], arc: Option<u32>, (arcs, size): (&Arcs, &SizeTree)) {
    let (p, q) = (out.points[a as usize], out.points[b as usize]);
    let at = |t: f64| [p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1])];
    let length = (p[0] - q[0]).hypot(p[1] - q[1]);
    let angle = (q[1] - p[1]).atan2(q[0] - p[0]);
    let mut from = a;
    for t in places(|t| size.at(at(t)), length) {
        let chord = at(t);
        let point = arc.and_then(|k| arcs.on(k, chord, length)).unwrap_or(chord);
        let to = number(out.points.len());
        out.points.push(point);
        out.direction.push(angle);
        out.edges.push([from, to]);
        out.arc_of_edge.push(arc);
        from = to;
    }
    out.edges.push([from, b]);
    out.arc_of_edge.push(arc);
}

/// Places (0 to 1) that cut a segment into pieces as long as the size field wishes or a little shorter.
fn places(size_at: impl Fn(f64) -> f64, length: f64) -> Vec<f64> {
    // Number of wished sides up to each sampled place, by the trapezoidal rule on 1 / size; the samples are
    // close enough that the size hardly changes between them.
    let (mut t, mut sides, mut before) = (0.0, 0.0, 1.0 / size_at(0.0));
    let mut samples = vec![(0.0, 0.0)];
    while t < 1.0 {
        let step = (0.25 / (before * length)).max(1e-4);
        let next = if t + 1.5 * step >= 1.0 { 1.0 } else { t + step };
        let here = 1.0 / size_at(next);
        sides += 0.5 * (before + here) * (next - t) * length;
        (t, before) = (next, here);
        samples.push((t, sides));
    }
    let pieces = (sides - 1e-6).ceil();
    let mut out = Vec::new();
    let (mut k, mut i) = (1.0, 1);
    while k < pieces {
        let wanted = sides * k / pieces;
        while i + 1 < samples.len() && samples[i].1 < wanted {
            i += 1;
        }
        let (lo, hi) = (samples[i - 1], samples[i]);
        let share = if hi.1 > lo.1 { (wanted - lo.1) / (hi.1 - lo.1) } else { 0.5 };
        out.push(lo.0 + share * (hi.0 - lo.0));
        k += 1.0;
    }
    out
}

#[expect(clippy::cast_possible_truncation, reason = "points are capped far below 2^32")]
fn number(i: usize) -> u32 {
    i as u32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_follow_the_size() {
        // Uniform size: equal pieces, none longer than wished.
        let t = places(|_| 30.0, 100.0);
        assert_eq!(t.len(), 3, "four pieces of 25: {t:?}");
        assert!((t[0] - 0.25).abs() < 1e-12, "{t:?}");
        assert!(places(|_| 100.0, 100.0).is_empty(), "one piece of exactly the wished size");
        // Linear size: lengths in proportion.
        let size = |t: f64| 10.0 + 20.0 * t;
        let t = places(size, 100.0);
        let all: Vec<f64> = std::iter::once(0.0).chain(t).chain([1.0]).collect();
        for w in all.windows(2) {
            let (length, wished) = ((w[1] - w[0]) * 100.0, size((w[0] + w[1]) / 2.0));
            assert!(length <= 1.02 * wished && length > 0.7 * wished, "piece {length}, wished {wished}");
        }
    }
}
