//! Arms cut into pieces along their centre lines, each piece with the stacks that lie side by side across it.
//!
//! In: a board. Out: one [`Strip`] per arm from what holds it to the flap (or its free end), and the flap cut the same
//! way. Every edge of outline, layers and stiffeners that crosses the strip starts a new piece, so steps are exact;
//! tapers and fillets become many small steps. Absent: stiffness, nodes of a solver.

mod cut;
mod line;
#[cfg(test)]
mod tests;

pub use cut::Slot;

use crate::board::{Board, Place};
use crate::quality::{MeshError, MeshFault};
use crate::region::Point;
use cut::Cutter;
use line::Line;

/// Pieces shorter than this share of the whole strip are merged with their neighbour.
const SHORTEST_SHARE: f64 = 1.0 / 400.0;

/// Pieces along the flap, at least.
const FLAP_PIECES: f64 = 48.0;

/// How fine to cut.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StripWishes {
    /// Pieces along an arm, at least.
    pub pieces: u32,
}

impl Default for StripWishes {
    fn default() -> Self {
        Self { pieces: 40 }
    }
}

/// Which part of the board a piece belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// Between the support and the arm's root.
    Root,
    /// Between the arm's root and its tip.
    Arm,
    /// Between the arm's tip and the flap, or the free end.
    Shoulder,
    /// In the flap.
    Flap,
}

/// One straight piece of a strip: the section at its middle stands for all of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    /// Both ends on the centre line, m.
    pub ends_m: [Point; 2],
    /// Unit direction; across is 90 degrees to the left.
    pub along: [f64; 2],
    /// Stacks side by side, from the right (negative offset) to the left; gaps are openings.
    pub slots: Vec<Slot>,
    /// Where it lies.
    pub part: Part,
}

impl Piece {
    /// Length along the centre line, m.
    #[must_use]
    pub fn length_m(&self) -> f64 {
        let [a, b] = self.ends_m;
        (b[0] - a[0]).hypot(b[1] - a[1])
    }

    /// A place of the board, m: offset across from the middle of the piece.
    #[must_use]
    pub fn place_m(&self, across_m: f64) -> Point {
        let [a, b] = self.ends_m;
        let [c, s] = self.along;
        [0.5 * (a[0] + b[0]) - s * across_m, 0.5 * (a[1] + b[1]) + c * across_m]
    }
}

/// What an end of a strip meets.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// A support, index into [`Board::supports`].
    Held(u32),
    /// The flap.
    Flap,
    /// Nothing.
    Free,
}

/// One arm from its support to its far end.
#[derive(Debug, Clone, PartialEq)]
pub struct Strip {
    /// Index into [`Board::arms`].
    pub arm: u32,
    /// Pieces in order from the support.
    pub pieces: Vec<Piece>,
    /// What its last piece meets; the first always meets a support.
    pub far: End,
    /// The support at its first piece.
    pub support: u32,
}

/// All arms of a board, and its flap.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Strips {
    /// One per arm, in the board's order.
    pub arms: Vec<Strip>,
    /// The flap cut along the mean direction of the arms, from its near edge to its far edge; empty without a flap.
    pub flap: Vec<Piece>,
}

/// Cuts a board's arms and flap into pieces.
///
/// # Errors
/// Every fault of every arm: no arm at all, wider than long, a centre line that leaves the board, a fork, an end that
/// nothing holds.
pub fn strips(board: &Board, wishes: StripWishes) -> Result<Strips, Vec<MeshError>> {
    if board.arms.is_empty() {
        return Err(vec![MeshError::new(
            MeshFault::Loose,
            "the board",
            "no [[arm]]",
            "a beam needs an arm with root and tip",
            "name the bending part in an [[arm]] table, or use the shell",
        )]);
    }
    let mut faults = Vec::new();
    let mut lines = Vec::new();
    for (arm, number) in board.arms.iter().zip(0_u32..) {
        match line::of_arm(board, arm) {
            Ok(line) => lines.push((number, line)),
            Err(fault) => faults.push(fault),
        }
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    let paths: Vec<Vec<Point>> = lines.iter().map(|(_, l)| l.points_m.clone()).collect();
    let mut out = Strips::default();
    for (number, line) in &lines {
        let cutter = Cutter::new(board, &paths, *number as usize);
        match strip(board, *number, line, &cutter, wishes) {
            Ok(strip) => out.arms.push(strip),
            Err(fault) => faults.push(fault),
        }
    }
    if faults.is_empty() {
        out.flap = flap(board);
        Ok(out)
    } else {
        Err(faults)
    }
}

fn strip(
    board: &Board,
    number: u32,
    line: &Line,
    cutter: &Cutter<'_>,
    wishes: StripWishes,
) -> Result<Strip, MeshError> {
    let arm = &board.arms[number as usize];
    let whole = line.length_m();
    let longest = (whole / f64::from(wishes.pieces.max(1))).max(1e-9);
    let mut places = line.breaks_m();
    let fixed = places.clone();
    places.extend(edges_along(board, line, cutter));
    let places = thinned(places, &fixed, whole * SHORTEST_SHARE);
    let mut pieces = Vec::new();
    for pair in places.windows(2) {
        let n = ((pair[1] - pair[0]) / longest - 1e-9).ceil().max(1.0);
        let mut k = 0.0;
        while k < n {
            let [from, to] = [k, k + 1.0].map(|i| pair[0] + (pair[1] - pair[0]) * i / n);
            let middle = 0.5 * (from + to);
            let along = line.direction(middle);
            let part = line.part(middle);
            let piece = Piece { ends_m: [line.at(from), line.at(to)], along, slots: Vec::new(), part };
            let at = line.at(middle);
            let slots = cutter.slots(arm, at, along, part)?;
            pieces.push(Piece { slots, ..piece });
            k += 1.0;
        }
    }
    Ok(Strip { arm: number, pieces, far: line.far, support: line.support })
}

/// Places along a line, m from its start, where an edge of outline or layers crosses it or has a corner
/// within the strip.
fn edges_along(board: &Board, line: &Line, cutter: &Cutter<'_>) -> Vec<f64> {
    let regions = std::iter::once(&board.outline).chain(board.layers.iter().map(|l| &l.region));
    let mut found = line.crossings(regions.clone());
    for corner in regions.flat_map(|r| r.contours.iter().flatten()) {
        let (aside, place) = line.nearest(*corner);
        if aside <= cutter.reach_m() && cutter.own(*corner, aside) {
            found.push(place);
        }
    }
    found
}

/// Ascending places at least `gap` apart; those in `fixed` all stay.
fn thinned(mut places: Vec<f64>, fixed: &[f64], gap: f64) -> Vec<f64> {
    places.sort_by(f64::total_cmp);
    let is_fixed = |p: f64| fixed.iter().any(|f| (f - p).abs() < 1e-9);
    let mut out: Vec<f64> = Vec::new();
    for p in places {
        match out.last() {
            Some(&last) if p - last < gap => {
                if is_fixed(p) && p - last > 1e-9 {
                    if !is_fixed(last) {
                        out.pop();
                    }
                    out.push(p);
                }
            }
            _ => out.push(p),
        }
    }
    out
}

/// The flap cut square to the arms' mean direction.
fn flap(board: &Board) -> Vec<Piece> {
    let Some(flap) = &board.flap else { return Vec::new() };
    let mut run = [0.0; 2];
    let mut root = [0.0; 2];
    for arm in &board.arms {
        let end = [arm.tip_m[0] - arm.root_m[0], arm.tip_m[1] - arm.root_m[1]];
        let length = end[0].hypot(end[1]).max(1e-12);
        run = [run[0] + end[0] / length, run[1] + end[1] / length];
        root = [root[0] + arm.root_m[0], root[1] + arm.root_m[1]];
    }
    let count = f64::from(u32::try_from(board.arms.len()).unwrap_or(1)).max(1.0);
    let length = run[0].hypot(run[1]).max(1e-12);
    let (along, root) = (run.map(|r| r / length), root.map(|r| r / count));
    let on = flap.region.intersection(&board.outline);
    let place = |p: &Point| (p[0] - root[0]) * along[0] + (p[1] - root[1]) * along[1];
    let spans = on.contours.iter().flatten().map(place);
    let (low, high) = spans.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), s| (a.min(s), b.max(s)));
    if low >= high {
        return Vec::new();
    }
    let mut places = vec![low, high];
    let corners = std::iter::once(&on)
        .chain(board.layers.iter().map(|l| &l.region))
        .flat_map(|r| r.contours.iter().flatten());
    places.extend(corners.filter(|p| on.contains(**p)).map(place).filter(|s| *s > low && *s < high));
    let step = (high - low) / FLAP_PIECES;
    let places = thinned(places, &[low, high], 0.5 * step);
    let mut pieces = Vec::new();
    let at = |s: f64| [root[0] + along[0] * s, root[1] + along[1] * s];
    for pair in places.windows(2) {
        let n = ((pair[1] - pair[0]) / step - 1e-9).ceil().max(1.0);
        let mut k = 0.0;
        while k < n {
            let [from, to] = [k, k + 1.0].map(|i| pair[0] + (pair[1] - pair[0]) * i / n);
            let slots = cut::slots_in(board, &on, at(0.5 * (from + to)), along);
            pieces.push(Piece { ends_m: [at(from), at(to)], along, slots, part: Part::Flap });
            k += 1.0;
        }
    }
    pieces
}

/// The support that holds a point of the board, if any.
fn holder(board: &Board, at: Point) -> Option<u32> {
    let holds = |place: &Place| match place {
        Place::Area(region) => region.contains(at),
        Place::Line([p, q]) => crate::region::to_segment(at, *p, *q).0 <= 2e-6,
        Place::Point(p) => (p[0] - at[0]).hypot(p[1] - at[1]) <= 2e-6,
    };
    board.supports.iter().position(|s| holds(&s.place)).and_then(|n| u32::try_from(n).ok())
}

/// A point for messages.
fn mm(p: Point) -> String {
    format!("({:.3}, {:.3}) mm", 1e3 * p[0], 1e3 * p[1])
}
