//! Features thinner than a given width: narrow parts, narrow gaps, and edges of two regions that nearly meet.

use super::buckets::Buckets;
use super::{Point, Region, to_segment};

/// What is narrow.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum ThinKind {
    /// Material between two edges.
    Part,
    /// Free space between two edges.
    Gap,
    /// Edges of two different regions that nearly meet.
    NearMiss,
}

/// One narrow place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ThinFeature {
    /// What is narrow.
    pub kind: ThinKind,
    /// Middle of the narrow place, m.
    pub at_m: Point,
    /// Its width, m.
    pub width_m: f64,
}

/// Narrow places closer together than this are one, m.
const SAME_PLACE_M: f64 = 0.25e-3;

/// An edge with its place along the contour, for telling neighbours from facing edges.
struct Side {
    ends: [Point; 2],
    contour: usize,
    /// Length along the contour from its first point to this edge's start, m.
    start_m: f64,
    /// Length of the whole contour, m.
    round_m: f64,
}

fn sides(region: &Region) -> Vec<Side> {
    let mut out = Vec::new();
    for (contour, points) in region.contours.iter().enumerate() {
        let first = out.len();
        let mut start_m = 0.0;
        for (i, &a) in points.iter().enumerate() {
            let b = points[(i + 1) % points.len()];
            out.push(Side { ends: [a, b], contour, start_m, round_m: 0.0 });
            start_m += (b[0] - a[0]).hypot(b[1] - a[1]);
        }
        for side in &mut out[first..] {
            side.round_m = start_m;
        }
    }
    out
}

fn index(sides: &[Side], reach_m: f64) -> Buckets {
    let ends: Vec<_> = sides.iter().map(|s| s.ends).collect();
    Buckets::of_segments(&ends, reach_m)
}

impl Region {
    /// Parts and gaps of this region narrower than `width_m`, narrowest first, one per place.
    ///
    /// Found between a corner and a facing edge; the two sides of one sharp corner do not count.
    #[must_use]
    pub fn thin_features(&self, width_m: f64) -> Vec<ThinFeature> {
        let sides = sides(self);
        let buckets = index(&sides, width_m);
        let mut found = Vec::new();
        for side in &sides {
            for (p, place_m) in probes(side, width_m) {
                for &j in buckets.near(p) {
                    let other = &sides[j as usize];
                    let (gap, t) = to_segment(p, other.ends[0], other.ends[1]);
                    if gap >= width_m || is_neighbour(side.contour, place_m, other, (t, gap)) {
                        continue;
                    }
                    let q = along(other.ends, t);
                    let middle = [(p[0] + q[0]) / 2.0, (p[1] + q[1]) / 2.0];
                    let kind = if self.contains(middle) { ThinKind::Part } else { ThinKind::Gap };
                    found.push(ThinFeature { kind, at_m: middle, width_m: gap });
                }
            }
        }
        one_per_place(found)
    }
}

impl Region {
    /// Places where edges of this region and of another come closer than `width_m` without meeting.
    #[must_use]
    pub fn near_misses(&self, other: &Self, width_m: f64) -> Vec<ThinFeature> {
        near_misses(&[self, other], width_m).into_iter().map(|n| n.feature).collect()
    }
}

/// Two regions whose edges nearly meet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NearMiss {
    /// The regions, by their place in the list; lower first.
    pub pair: [usize; 2],
    /// Where, and how close.
    pub feature: ThinFeature,
}

/// Places where edges of different regions come closer than `width_m` without meeting, narrowest first.
///
/// Of several pairs at one place the first is named.
#[must_use]
pub fn near_misses(regions: &[&Region], width_m: f64) -> Vec<NearMiss> {
    let mut all: Vec<(usize, [Point; 2])> = Vec::new();
    for (r, region) in regions.iter().enumerate() {
        all.extend(region.edges().map(|e| (r, e)));
    }
    let ends: Vec<[Point; 2]> = all.iter().map(|e| e.1).collect();
    let buckets = Buckets::of_segments(&ends, width_m);
    let gap_to = |p: Point, other: usize| {
        let near = buckets.near(p).iter().map(|&j| all[j as usize]).filter(|e| e.0 == other);
        near.map(|(_, [a, b])| to_segment(p, a, b).0).fold(f64::INFINITY, f64::min)
    };
    let mut found = Vec::new();
    let mut nearest: Vec<(usize, f64, Point)> = Vec::new();
    let contours = regions.iter().flat_map(|r| &r.contours);
    let places = contours.flat_map(|c| (0..c.len()).map(move |i| (c, i)));
    for ((owner, [p, _]), (contour, place)) in all.iter().zip(places) {
        nearest.clear();
        for &j in buckets.near(*p) {
            let (other, edge) = all[j as usize];
            let (gap, t) = to_segment(*p, edge[0], edge[1]);
            if other == *owner || gap >= width_m {
                continue;
            }
            // The nearest edge of each region decides: a corner on its edge is no near miss.
            match nearest.iter_mut().find(|n| n.0 == other) {
                Some(n) if n.1 <= gap => {}
                Some(n) => *n = (other, gap, along(edge, t)),
                None => nearest.push((other, gap, along(edge, t))),
            }
        }
        for &(other, gap_m, q) in nearest.iter().filter(|n| n.1 > TOUCH_M) {
            if leaves(contour, place, width_m, |p| gap_to(p, other)) {
                continue;
            }
            let at_m = [(p[0] + q[0]) / 2.0, (p[1] + q[1]) / 2.0];
            let feature = ThinFeature { kind: ThinKind::NearMiss, at_m, width_m: gap_m };
            found.push(NearMiss { pair: [(*owner).min(other), (*owner).max(other)], feature });
        }
    }
    found.sort_by(|a, b| a.feature.width_m.total_cmp(&b.feature.width_m).then(a.pair.cmp(&b.pair)));
    let mut kept: Vec<NearMiss> = Vec::new();
    for f in found {
        let same = |k: &NearMiss| {
            (k.feature.at_m[0] - f.feature.at_m[0]).hypot(k.feature.at_m[1] - f.feature.at_m[1])
                < SAME_PLACE_M
        };
        if !kept.iter().any(same) {
            kept.push(f);
        }
    }
    kept
}

/// Closer than this edges touch, m: three quarters of the grid.
const TOUCH_M: f64 = 0.75 * super::GRID_M;

/// Whether a contour close to another region at its point `place` touches it a little before or after: then the two
/// leave each other gently (a straight edge running into an arc), and nothing is thin.
fn leaves(contour: &[Point], place: usize, width_m: f64, gap_to: impl Fn(Point) -> f64) -> bool {
    let n = contour.len();
    [1, n - 1].into_iter().any(|step| {
        let (mut i, mut left) = (place, MOST_STEPS.min(n));
        while left > 0 {
            i = (i + step) % n;
            let gap = gap_to(contour[i]);
            if gap <= TOUCH_M {
                return true;
            }
            if gap >= width_m {
                return false;
            }
            left -= 1;
        }
        false
    })
}

/// Points of a flattened curve followed at most.
const MOST_STEPS: usize = 16;

fn along([a, b]: [Point; 2], t: f64) -> Point {
    [a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t]
}

/// Places of an edge that are tested against facing edges: its start, and on long edges a point a little away
/// from each end (the ends of a slit are joined by its short side and would not tell). With place along the contour.
fn probes(side: &Side, width_m: f64) -> impl Iterator<Item = (Point, f64)> + '_ {
    let [a, b] = side.ends;
    let length = (a[0] - b[0]).hypot(a[1] - b[1]);
    let inset = (4.0 * width_m).min(length / 2.0);
    let inner = if length > 2.0 * width_m { vec![inset / length, 1.0 - inset / length] } else { Vec::new() };
    std::iter::once(0.0).chain(inner).map(move |t| (along(side.ends, t), side.start_m + t * length))
}

/// Whether the way along the contour is hardly longer than the straight one: neighbours, not facing edges.
fn is_neighbour(contour: usize, place_m: f64, other: &Side, (t, gap_m): (f64, f64)) -> bool {
    if contour != other.contour {
        return false;
    }
    let [a, b] = other.ends;
    let there = other.start_m + t * (a[0] - b[0]).hypot(a[1] - b[1]);
    let way = (there - place_m).abs();
    way.min(other.round_m - way) <= 3.0 * gap_m + super::GRID_M
}

/// Keeps the narrowest feature of each kind at each place; order: width, then place.
fn one_per_place(mut found: Vec<ThinFeature>) -> Vec<ThinFeature> {
    found.sort_by(|a, b| {
        a.width_m
            .total_cmp(&b.width_m)
            .then(a.at_m[0].total_cmp(&b.at_m[0]))
            .then(a.at_m[1].total_cmp(&b.at_m[1]))
            .then(a.kind.cmp(&b.kind))
    });
    let mut kept: Vec<ThinFeature> = Vec::new();
    for f in found {
        let known = kept
            .iter()
            .any(|k| k.kind == f.kind && (k.at_m[0] - f.at_m[0]).hypot(k.at_m[1] - f.at_m[1]) < SAME_PLACE_M);
        if !known {
            kept.push(f);
        }
    }
    kept
}
