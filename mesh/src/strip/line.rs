//! The centre line of one arm, from the support that holds it to the flap, another support, or the free end.

use super::{End, Part, holder, mm};
use crate::board::{Arm, Board};
use crate::quality::{MeshError, MeshFault};
use crate::region::{Point, Region, to_segment};

/// Steps in which a line is searched per its length.
const STEPS: f64 = 800.0;

/// A place within this distance of the outline still counts as on the board, m: outlines lie on a 1 um grid.
const ON_BOARD_M: f64 = 2e-6;

/// A polyline with what lies at its ends; places are lengths from its first point.
#[derive(Debug, Clone)]
pub(super) struct Line {
    pub(super) points_m: Vec<Point>,
    starts_m: Vec<f64>,
    root_m: f64,
    tip_m: f64,
    pub(super) support: u32,
    pub(super) far: End,
}

/// The centre line of an arm: as given, straight, or along the middle of the outline.
pub(super) fn of_arm(board: &Board, arm: &Arm) -> Result<Line, MeshError> {
    let place = format!("arm '{}'", arm.name);
    let straight = [arm.root_m, arm.tip_m];
    let points: Vec<Point> = if !arm.centre_line_m.is_empty() {
        let inner = arm.centre_line_m.iter().copied();
        let all: Vec<Point> = std::iter::once(arm.root_m).chain(inner).chain([arm.tip_m]).collect();
        if let Some(off) = first_off(board, &all) {
            return Err(MeshError::new(
                MeshFault::OffBoard,
                &place,
                &mm(off),
                "the centre line leaves the board there",
                "lead `centre_line` along the middle of the arm",
            ));
        }
        all
    } else if let Some(off) = first_off(board, &straight) {
        followed(arm).ok_or_else(|| {
            MeshError::new(
                MeshFault::OffBoard,
                &place,
                &mm(off),
                "the centre line leaves the board there, and the outline does not lead from root to tip",
                "give the arm its `centre_line`",
            )
        })?
    } else {
        straight.to_vec()
    };
    let length: f64 = points.windows(2).map(|e| distance(e[0], e[1])).sum();
    if arm.width_m > length {
        return Err(MeshError::new(
            MeshFault::TooWide,
            &place,
            &format!("{:.3} mm wide, {:.3} mm long", 1e3 * arm.width_m, 1e3 * length),
            "an arm wider than long does not bend like a beam",
            "use the shell for this board",
        ));
    }
    ended(board, &place, points)
}

/// Extends a line from root to tip to what holds it and to what it carries.
fn ended(board: &Board, place: &str, inner: Vec<Point>) -> Result<Line, MeshError> {
    let [low, high] = board.outline.bounds().unwrap_or_default();
    let beyond = distance(low, high) + 1e-3;
    let n = inner.len();
    let (back, ahead) = (unit(inner[1], inner[0]), unit(inner[n - 2], inner[n - 1]));
    let mut points = vec![[inner[0][0] + back[0] * beyond, inner[0][1] + back[1] * beyond]];
    points.extend(inner.iter().copied());
    points.push([inner[n - 1][0] + ahead[0] * beyond, inner[n - 1][1] + ahead[1] * beyond]);
    let mut line = Line::new(points);
    line.root_m = line.starts_m[1];
    line.tip_m = line.starts_m[n];
    let step = (line.tip_m - line.root_m) / STEPS * 4.0;
    let held = |s: f64| holder(board, line.at(s)).is_some();
    let on = |s: f64| {
        board.outline.contains(line.at(s)) || board.outline.openings().iter().any(|o| o.contains(line.at(s)))
    };
    let loose = || {
        MeshError::new(
            MeshFault::Loose,
            place,
            &mm(inner[0]),
            "no support lies behind its root along the centre line",
            "clamp the board there, or turn root and tip round",
        )
    };
    let near = if held(line.root_m) {
        let out = walk(line.root_m, step, line.tip_m, |s| !held(s)).ok_or_else(loose)?;
        edge(out - step, out, |s| !held(s))
    } else {
        let found = walk(line.root_m, -step, 0.0, |s| held(s) || !on(s)).filter(|&s| held(s));
        let found = found.ok_or_else(loose)?;
        edge(found + step, found, held)
    };
    let support = holder(board, line.at(near))
        .or_else(|| holder(board, line.at(near - 1e-3 * step)))
        .or_else(|| holder(board, line.at(line.root_m)))
        .ok_or_else(loose)?;
    let in_flap = |s: f64| board.flap.as_ref().is_some_and(|f| f.region.contains(line.at(s)));
    // Strictly beyond the near end, so that its own support is not met again.
    let meets = |s: f64| in_flap(s) || held(s) || (s > line.tip_m && !on(s));
    let start = near + 1e-3 * step;
    let end = line.starts_m.last().copied().unwrap_or_default();
    let found = walk(start, step, end, meets).ok_or_else(loose)?;
    let far = edge((found - step).max(start), found, meets);
    let just = far + 1e-3 * step;
    let end_at = if in_flap(just) {
        End::Flap
    } else if let Some(n) = holder(board, line.at(just)) {
        End::Held(n)
    } else {
        End::Free
    };
    if end_at == End::Free && board.flap.is_some() {
        return Err(MeshError::new(
            MeshFault::OffBoard,
            place,
            &mm(line.at(far)),
            "the centre line leaves the board there before it meets the flap",
            "let the arm's tip point at the flap, or give the arm its `centre_line`",
        ));
    }
    if far <= line.root_m || near >= line.tip_m {
        return Err(MeshError::new(
            MeshFault::Loose,
            place,
            &mm(line.at(far)),
            "flap or support covers the whole arm",
            "leave the bending part free",
        ));
    }
    let mut part = line.part_of(near, far);
    (part.support, part.far) = (support, end_at);
    Ok(part)
}

impl Line {
    fn new(points_m: Vec<Point>) -> Self {
        let mut starts_m = vec![0.0];
        for ends in points_m.windows(2) {
            let last = starts_m.last().copied().unwrap_or_default();
            starts_m.push(last + distance(ends[0], ends[1]));
        }
        Self { points_m, starts_m, root_m: 0.0, tip_m: 0.0, support: 0, far: End::Free }
    }

    /// The part between two places.
    fn part_of(&self, near: f64, far: f64) -> Self {
        let inner = self.points_m.iter().zip(&self.starts_m);
        let inner = inner.filter(|&(_, &s)| s > near + 1e-9 && s < far - 1e-9).map(|(p, _)| *p);
        let points: Vec<Point> = std::iter::once(self.at(near)).chain(inner).chain([self.at(far)]).collect();
        let mut part = Self::new(points);
        part.root_m = (self.root_m - near).max(0.0);
        part.tip_m = (self.tip_m - near).min(part.length_m());
        part
    }

    pub(super) fn length_m(&self) -> f64 {
        self.starts_m.last().copied().unwrap_or_default()
    }

    /// Ends, bends, root and tip.
    pub(super) fn breaks_m(&self) -> Vec<f64> {
        let mut all = self.starts_m.clone();
        all.extend([self.root_m, self.tip_m]);
        all.sort_by(f64::total_cmp);
        all.dedup_by(|b, a| *b - *a < 1e-8);
        all
    }

    fn segment(&self, s: f64) -> usize {
        let after = self.starts_m.iter().position(|&start| start > s).unwrap_or(self.starts_m.len() - 1);
        after.saturating_sub(1).min(self.points_m.len().saturating_sub(2))
    }

    pub(super) fn direction(&self, s: f64) -> [f64; 2] {
        let k = self.segment(s);
        unit(self.points_m[k], self.points_m[k + 1])
    }

    pub(super) fn at(&self, s: f64) -> Point {
        let k = self.segment(s);
        let (d, from) = (self.direction(s), self.points_m[k]);
        let along = s - self.starts_m[k];
        [from[0] + d[0] * along, from[1] + d[1] * along]
    }

    pub(super) fn part(&self, s: f64) -> Part {
        if s < self.root_m {
            Part::Root
        } else if s > self.tip_m {
            Part::Shoulder
        } else {
            Part::Arm
        }
    }

    /// Places where edges of regions cross the line.
    pub(super) fn crossings<'r>(&self, regions: impl Iterator<Item = &'r Region> + Clone) -> Vec<f64> {
        let mut found = Vec::new();
        for (ends, start) in self.points_m.windows(2).zip(&self.starts_m) {
            let (along, length) = (unit(ends[0], ends[1]), distance(ends[0], ends[1]));
            for region in regions.clone() {
                let cuts = region.cuts_m(ends[0], along).into_iter().filter(|c| (0.0..=length).contains(c));
                found.extend(cuts.map(|c| start + c));
            }
        }
        found
    }

    /// Distance of a point and the place of its foot.
    pub(super) fn nearest(&self, p: Point) -> (f64, f64) {
        let ends = self.points_m.windows(2).zip(&self.starts_m);
        ends.map(|(e, start)| {
            let (gap, t) = to_segment(p, e[0], e[1]);
            (gap, start + t * distance(e[0], e[1]))
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .unwrap_or((f64::INFINITY, 0.0))
    }
}

/// First place, stepping from `from` towards `to`, where something holds.
fn walk(from: f64, step: f64, to: f64, holds: impl Fn(f64) -> bool) -> Option<f64> {
    let mut s = from;
    while (to - s) * step >= 0.0 {
        if holds(s) {
            return Some(s);
        }
        s += step;
    }
    None
}

/// Place between `no` and `yes` where something begins to hold, to a nanometre.
fn edge(no: f64, yes: f64, holds: impl Fn(f64) -> bool) -> f64 {
    let (mut no, mut yes) = (no, yes);
    while (yes - no).abs() > 1e-10 {
        let middle = 0.5 * (no + yes);
        if holds(middle) {
            yes = middle;
        } else {
            no = middle;
        }
    }
    // Edges lie on a grid of 1 um; the last digit is theirs.
    yes
}

fn on_board(board: &Board, at: Point) -> bool {
    board.outline.contains(at)
        || board.outline.distance_to_edge_m(at) <= ON_BOARD_M
        || board.outline.openings().iter().any(|o| o.contains(at))
}

/// First sampled place of a polyline off the board.
fn first_off(board: &Board, points: &[Point]) -> Option<Point> {
    points.windows(2).find_map(|ends| {
        (0..=64_u8).find_map(|i| {
            let t = f64::from(i) / 64.0;
            let at = [0, 1].map(|k| ends[0][k] + t * (ends[1][k] - ends[0][k]));
            (!on_board(board, at)).then_some(at)
        })
    })
}

/// Walks along the middle of an arm's plan form from root to tip; None where it does not lead there.
fn followed(arm: &Arm) -> Option<Vec<Point>> {
    let step = 0.25 * arm.width_m.max(1e-6);
    let mut along = first_direction(arm)?;
    let mut points = vec![arm.root_m];
    for _ in 0..20_000 {
        let last = *points.last()?;
        if distance(last, arm.tip_m) < 1.5 * step {
            break;
        }
        let ahead = [last[0] + along[0] * step, last[1] + along[1] * step];
        let across = [-along[1], along[0]];
        let cuts = arm.region.cuts_m(ahead, across);
        // The pair of cuts round the guess, or the nearest one.
        let gap = |p: &[f64]| if p[0] <= 0.0 && p[1] >= 0.0 { 0.0 } else { p[0].abs().min(p[1].abs()) };
        let pair = cuts.chunks_exact(2).min_by(|a, b| gap(a).total_cmp(&gap(b)))?;
        if gap(pair) > 2.0 * step {
            return None;
        }
        let aside = 0.5 * (pair[0] + pair[1]);
        let next = [ahead[0] + across[0] * aside, ahead[1] + across[1] * aside];
        let run = unit(last, next);
        along = unit([0.0; 2], [along[0] + run[0], along[1] + run[1]]);
        points.push(next);
    }
    let last = *points.last()?;
    if distance(last, arm.tip_m) >= 1.5 * step {
        return None;
    }
    if points.len() > 1 {
        points.pop();
    }
    points.push(arm.tip_m);
    Some(points)
}

/// Direction in which the plan form continues from the root: along the longest free way.
fn first_direction(arm: &Arm) -> Option<[f64; 2]> {
    let inside = arm.region.centroid_m();
    let start = unit(arm.root_m, inside);
    (0..72_u8)
        .map(|i| {
            let (s, c) = (f64::from(i) * std::f64::consts::PI / 36.0).sin_cos();
            let d = [start[0] * c - start[1] * s, start[0] * s + start[1] * c];
            let from = [arm.root_m[0] + d[0] * 2e-6, arm.root_m[1] + d[1] * 2e-6];
            let free = arm.region.cuts_m(from, d).into_iter().find(|s| *s > 0.0).unwrap_or(0.0);
            let free = if arm.region.contains(from) { free } else { 0.0 };
            // Square to the root's width: the shorter way across, with the longer way along.
            let across = arm.region.cuts_m(from, [-d[1], d[0]]);
            let width: f64 = across
                .chunks_exact(2)
                .find(|p| p[0] <= 0.0 && p[1] >= 0.0)
                .map_or(f64::INFINITY, |p| p[1] - p[0]);
            (free / width.max(1e-9), d)
        })
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .filter(|(free, _)| *free > 0.0)
        .map(|(_, d)| d)
}

fn distance(a: Point, b: Point) -> f64 {
    crate::region::distance(a, b)
}

fn unit(from: Point, to: Point) -> [f64; 2] {
    let d = [to[0] - from[0], to[1] - from[1]];
    let length = d[0].hypot(d[1]).max(1e-15);
    d.map(|x| x / length)
}
