//! All edges of a plan made into one arrangement: edges meet only at shared ends.
//!
//! Corners of regions lie on the 1 um grid; crossings are placed 64 times finer, so that they hardly bend the edges.
//! An edge that passes a point closer than half a grid diagonal is led through it, and points that close become
//! one, again and again until nothing changes. Two edges that almost coincide become one, so no sliver thinner
//! than the grid is left.

use std::collections::HashMap;

use crate::region::buckets::Buckets;
use crate::region::{Point, STEPS_PER_M};

/// A point in fine steps: [`FINE`] to a grid step.
pub(super) type Step = [i32; 2];

/// Fine steps in a grid step.
pub(super) const FINE: i32 = 64;

/// Half the diagonal of a grid cell (a little more), in fine steps: an edge this close to a point is led through it.
/// Grid points are never this close to each other.
const HALF_DIAGONAL: f64 = 0.708 * FINE as f64;

/// Passes after which the arrangement counts as settled in any case.
const MOST_PASSES: u32 = 30;

/// A piece of an edge of the plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Segment {
    pub(super) ends: [Step; 2],
    /// Part of the outline, or a line that was asked for: stays where it is.
    pub(super) firm: bool,
}

/// Edges that meet only at their ends.
#[derive(Debug, Default)]
pub(super) struct Arrangement {
    /// Points, sorted by x then y.
    pub(super) points: Vec<Step>,
    /// Edges between points, lower index first, sorted.
    pub(super) edges: Vec<[u32; 2]>,
    /// Which edges stay where they are: the outline, and lines that were asked for.
    pub(super) firm: Vec<bool>,
    /// False when crossings were left after the last pass.
    pub(super) settled: bool,
}

impl Arrangement {
    /// Drops edges whose middle, and single points whose place (m) is not wanted.
    pub(super) fn keep(&mut self, wanted: impl Fn(Point) -> bool) {
        let metres = |p: Point| p.map(|v| v / f64::from(FINE) / STEPS_PER_M);
        let points = &self.points;
        let (mut used, mut single) = (vec![false; points.len()], vec![true; points.len()]);
        let mut flags = std::mem::take(&mut self.firm).into_iter();
        let mut firm = Vec::new();
        self.edges.retain(|&[a, b]| {
            let flag = flags.next();
            let (p, q) = (real(points[a as usize]), real(points[b as usize]));
            let kept = wanted(metres([(p[0] + q[0]) / 2.0, (p[1] + q[1]) / 2.0]));
            for i in [a, b] {
                single[i as usize] = false;
                used[i as usize] |= kept;
            }
            firm.extend(flag.filter(|_| kept));
            kept
        });
        self.firm = firm;
        for i in (0..points.len()).filter(|&i| single[i]) {
            used[i] = wanted(metres(real(points[i])));
        }
        let mut new_of = vec![0_u32; points.len()];
        for (next, i) in (0..).zip((0..points.len()).filter(|&i| used[i])) {
            new_of[i] = next;
        }
        let mut i = 0;
        self.points.retain(|_| {
            i += 1;
            used[i - 1]
        });
        for v in self.edges.iter_mut().flatten() {
            *v = new_of[*v as usize];
        }
    }
}

/// A point of the grid in fine steps.
pub(super) fn fine([x, y]: [i32; 2]) -> Step {
    [x * FINE, y * FINE]
}

/// Arrangement of segments and single points; points closer than `merge` (fine steps) become one.
pub(super) fn arrange(segments: &[Segment], singles: &[Step], merge: f64) -> Arrangement {
    let tolerance = HALF_DIAGONAL.max(merge);
    let mut segments = segments.to_vec();
    let mut singles = singles.to_vec();
    merge_near(&mut segments, &mut singles, tolerance);
    let mut settled = false;
    for _ in 0..MOST_PASSES {
        tidy(&mut segments);
        let split = split_once(&segments, &singles, tolerance);
        let Some(next) = split else {
            settled = true;
            break;
        };
        segments = next;
        merge_near(&mut segments, &mut singles, tolerance);
    }
    tidy(&mut segments);
    let mut points: Vec<Step> = segments.iter().flat_map(|s| &s.ends).chain(&singles).copied().collect();
    points.sort_unstable();
    points.dedup();
    let find = |p: &Step| points.binary_search(p).ok().and_then(|i| u32::try_from(i).ok());
    let (edges, firm) =
        segments.iter().filter_map(|s| Some(([find(&s.ends[0])?, find(&s.ends[1])?], s.firm))).unzip();
    Arrangement { points, edges, firm, settled }
}

/// Puts every segment's lower end first, drops points and repeats, sorts.
fn tidy(segments: &mut Vec<Segment>) {
    for s in segments.iter_mut() {
        if s.ends[0] > s.ends[1] {
            s.ends.swap(0, 1);
        }
    }
    segments.retain(|s| s.ends[0] != s.ends[1]);
    segments.sort_unstable();
    segments.dedup_by(|later, kept| {
        let same = later.ends == kept.ends;
        kept.firm |= same && later.firm;
        same
    });
}

fn real(s: Step) -> Point {
    [f64::from(s[0]), f64::from(s[1])]
}

/// Nearest fine step.
#[expect(clippy::cast_possible_truncation, reason = "between points that fit")]
fn rounded(p: Point) -> Step {
    [p[0].round() as i32, p[1].round() as i32]
}

/// Moves every point onto an earlier one closer than `merge`; grid points come first, then in sorted order.
fn merge_near(segments: &mut [Segment], singles: &mut [Step], merge: f64) {
    let mut points: Vec<Step> =
        segments.iter().flat_map(|s| &s.ends).chain(singles.iter()).copied().collect();
    points.sort_unstable_by_key(|p| (p[0] % FINE != 0 || p[1] % FINE != 0, *p));
    points.dedup();
    let cell = |p: Step| [0, 1].map(|k| (f64::from(p[k]) / merge).floor().to_bits());
    let neighbours = |p: Step| {
        let c = [0, 1].map(|k| (f64::from(p[k]) / merge).floor());
        [-1.0, 0.0, 1.0].into_iter().flat_map(move |x| {
            [-1.0, 0.0, 1.0].into_iter().map(move |y| [(c[0] + x).to_bits(), (c[1] + y).to_bits()])
        })
    };
    let mut kept: HashMap<[u64; 2], Vec<Step>> = HashMap::new();
    let mut moved: HashMap<Step, Step> = HashMap::new();
    for &p in &points {
        let gap = |q: &Step| f64::from(p[0] - q[0]).hypot(f64::from(p[1] - q[1]));
        let near = neighbours(p)
            .filter_map(|c| kept.get(&c))
            .flatten()
            .filter(|q| gap(q) < merge)
            .min_by(|a, b| gap(a).total_cmp(&gap(b)).then(a.cmp(b)));
        if let Some(&q) = near {
            moved.insert(p, q);
        } else {
            kept.entry(cell(p)).or_default().push(p);
        }
    }
    for p in segments.iter_mut().flat_map(|s| &mut s.ends).chain(singles) {
        if let Some(&q) = moved.get(p) {
            *p = q;
        }
    }
}

/// Splits every segment at crossings and near points; `None` when there is nothing to split.
fn split_once(segments: &[Segment], singles: &[Step], tolerance: f64) -> Option<Vec<Segment>> {
    let ends: Vec<[Point; 2]> = segments.iter().map(|s| s.ends.map(real)).collect();
    let index = Buckets::of_segments(&ends, tolerance);
    let mut cuts: Vec<(u32, Step)> = Vec::new();
    for group in index.groups() {
        for (k, &i) in group.iter().enumerate() {
            for &j in &group[k + 1..] {
                if let Some(p) = crossing(segments[i as usize].ends, segments[j as usize].ends) {
                    cuts.push((i, p));
                    cuts.push((j, p));
                }
            }
        }
    }
    let mut points: Vec<Step> = segments.iter().flat_map(|s| &s.ends).chain(singles).copied().collect();
    points.extend(cuts.iter().map(|c| c.1));
    points.sort_unstable();
    points.dedup();
    for p in points {
        for &i in index.near(real(p)) {
            if passes(segments[i as usize].ends, p, tolerance) {
                cuts.push((i, p));
            }
        }
    }
    cuts.sort_unstable();
    cuts.dedup();
    cuts.retain(|&(i, p)| !segments[i as usize].ends.contains(&p));
    if cuts.is_empty() {
        return None;
    }
    Some(cut(segments, &cuts))
}

/// Segments replaced by the chains through their cuts; `cuts` sorted by segment.
fn cut(segments: &[Segment], cuts: &[(u32, Step)]) -> Vec<Segment> {
    let mut out = Vec::with_capacity(segments.len() + cuts.len());
    let mut rest = cuts;
    for (i, &Segment { ends: [a, b], firm }) in segments.iter().enumerate() {
        let n = rest.iter().take_while(|c| c.0 as usize == i).count();
        let (mine, later) = rest.split_at(n);
        rest = later;
        let mut chain: Vec<Step> = mine.iter().map(|c| c.1).collect();
        let along = |p: &Step| {
            let d = |k: usize| (i64::from(p[k]) - i64::from(a[k])) * (i64::from(b[k]) - i64::from(a[k]));
            d(0) + d(1)
        };
        chain.sort_by_key(|p| (along(p), *p));
        let mut from = a;
        for p in chain.into_iter().chain([b]) {
            out.push(Segment { ends: [from, p], firm });
            from = p;
        }
    }
    out
}

/// Twice the signed area of a triangle; exact.
fn turn(a: Step, b: Step, c: Step) -> i64 {
    let d = |p: Step, q: Step, k: usize| i64::from(q[k]) - i64::from(p[k]);
    d(a, b, 0) * d(a, c, 1) - d(a, b, 1) * d(a, c, 0)
}

/// Fine step nearest to where two segments properly cross.
fn crossing([a, b]: [Step; 2], [c, d]: [Step; 2]) -> Option<Step> {
    let apart = (0..2).any(|k| a[k].max(b[k]) < c[k].min(d[k]) || c[k].max(d[k]) < a[k].min(b[k]));
    if apart {
        return None;
    }
    let (s, t) = (turn(a, b, c), turn(a, b, d));
    let (u, v) = (turn(c, d, a), turn(c, d, b));
    if s.signum() * t.signum() >= 0 || u.signum() * v.signum() >= 0 {
        return None;
    }
    #[expect(clippy::cast_precision_loss, reason = "rounded to the grid below")]
    let share = u as f64 / (u as f64 - v as f64);
    let (p, q) = (real(a), real(b));
    Some(rounded([p[0] + share * (q[0] - p[0]), p[1] + share * (q[1] - p[1])]))
}

/// Whether the segment passes `p`, which is not one of its ends, within the tolerance.
fn passes([a, b]: [Step; 2], p: Step, tolerance: f64) -> bool {
    if p == a || p == b {
        return false;
    }
    let d = |k: usize| i64::from(b[k]) - i64::from(a[k]);
    let e = |k: usize| i64::from(p[k]) - i64::from(a[k]);
    let (len2, dot) = (d(0) * d(0) + d(1) * d(1), d(0) * e(0) + d(1) * e(1));
    if dot <= 0 || dot >= len2 {
        return false;
    }
    let across = turn(a, b, p);
    #[expect(clippy::cast_precision_loss, reason = "compared with a tolerance")]
    let (across, length) = (across.unsigned_abs() as f64, (len2 as f64).sqrt());
    across < tolerance * length
}

#[cfg(test)]
mod tests {
    use super::*;

    fn arrange(ends: &[[Step; 2]], singles: &[Step], merge: f64) -> Arrangement {
        let segments: Vec<Segment> = ends.iter().map(|&ends| Segment { ends, firm: false }).collect();
        super::arrange(&segments, singles, merge)
    }

    /// True when no two edges cross and no point lies within the tolerance of an edge's interior.
    fn is_clean(a: &Arrangement) -> bool {
        let seg = |e: &[u32; 2]| [a.points[e[0] as usize], a.points[e[1] as usize]];
        a.edges.iter().enumerate().all(|(i, e)| {
            a.edges[i + 1..].iter().all(|f| crossing(seg(e), seg(f)).is_none())
                && a.points.iter().all(|&p| !passes(seg(e), p, HALF_DIAGONAL))
        })
    }

    #[test]
    fn crossing_segments_share_a_point() {
        let a = arrange(&[[fine([0, 0]), fine([100, 100])], [fine([0, 100]), fine([101, 0])]], &[], 0.0);
        assert!(a.settled && a.points.len() == 5, "{a:?}");
        assert_eq!(a.edges.len(), 4, "four edges");
    }

    #[test]
    fn overlapping_segments_merge() {
        let a = arrange(
            &[[[0, 0], [100, 0]], [[40, 0], [160, 0]], [[100, 0], [0, 0]]].map(|s| s.map(fine)),
            &[fine([20, 0])],
            0.0,
        );
        assert_eq!(a.points, [[0, 0], [20, 0], [40, 0], [100, 0], [160, 0]].map(fine).to_vec(), "points");
        assert_eq!(a.edges.len(), 4, "no edge twice");
    }

    #[test]
    fn random_segments_settle_and_are_clean() {
        // A simple congruential generator (constants of Knuth's MMIX); the seed is the loop variable.
        for seed in 1..20_u64 {
            let mut state = seed;
            let mut next = || {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                i32::try_from((state >> 33) % 400).unwrap()
            };
            let segments: Vec<[Step; 2]> =
                (0..40).map(|_| [fine([next(), next()]), fine([next(), next()])]).collect();
            let a = arrange(&segments, &[], 0.0);
            assert!(a.settled && is_clean(&a), "seed {seed}");
        }
    }

    #[test]
    fn near_points_merge_on_request() {
        let two = [[[0, 0], [1000, 0]], [[0, 6], [1000, 6]]].map(|s| s.map(fine));
        assert_eq!(arrange(&two, &[], 0.0).edges.len(), 2, "a gap of 6 steps is kept");
        assert_eq!(arrange(&two, &[], 10.0 * f64::from(FINE)).edges.len(), 1, "and merged on request");
    }
}
