//! One cut across a strip: which stacks lie side by side.

use super::{Part, mm};
use crate::board::{Arm, Board, LayerId};
use crate::quality::{MeshError, MeshFault};
use crate::region::{Point, Region, to_segment};

/// Slots narrower than this join their neighbour, m: crumbs of rounding to the grid.
const CRUMB_M: f64 = 2e-6;

/// A stack over some width of a section.
#[derive(Debug, Clone, PartialEq)]
pub struct Slot {
    /// Right and left edge across the strip, m from the centre line.
    pub across_m: [f64; 2],
    /// Layers present, from the bottom.
    pub layers: Vec<LayerId>,
}

/// Cuts one arm's sections out of a board with several arms.
pub(super) struct Cutter<'b> {
    board: &'b Board,
    openings: Vec<Region>,
    /// Centre lines of all arms.
    paths: &'b [Vec<Point>],
    own: usize,
}

impl<'b> Cutter<'b> {
    pub(super) fn new(board: &'b Board, paths: &'b [Vec<Point>], own: usize) -> Self {
        Self { board, openings: board.outline.openings(), paths, own }
    }

    /// Corners further from the centre line than this do not start a new piece, m.
    pub(super) fn reach_m(&self) -> f64 {
        self.board.arms.get(self.own).map_or(0.0, |a| 1.5 * a.width_m)
    }

    /// Whether a point at this distance from the own line is nearer to it than to any other.
    pub(super) fn own(&self, at: Point, aside_m: f64) -> bool {
        self.nearest_of(at) >= aside_m - 1e-9
    }

    /// Distance to the nearest centre line, m.
    fn nearest_of(&self, at: Point) -> f64 {
        let pieces = self.paths.iter().flat_map(|p| p.windows(2));
        pieces.map(|e| to_segment(at, e[0], e[1]).0).fold(f64::INFINITY, f64::min)
    }

    /// The section of an arm at a place.
    pub(super) fn slots(
        &self,
        arm: &Arm,
        at: Point,
        along: [f64; 2],
        part: Part,
    ) -> Result<Vec<Slot>, MeshError> {
        let all = slots_in(self.board, &self.board.outline, at, along);
        let place = |y: f64| [at[0] - along[1] * y, at[1] + along[0] * y];
        // A followed line cuts corners a little.
        let spare = (0.25 * arm.width_m).max(CRUMB_M);
        let gap = |s: &Slot| s.across_m[0].max(-s.across_m[1]).max(0.0);
        let nearest = (0..all.len()).min_by(|&a, &b| gap(&all[a]).total_cmp(&gap(&all[b])));
        let Some(main) = nearest.filter(|&n| gap(&all[n]) <= spare || self.in_opening(at)) else {
            return Err(MeshError::new(
                MeshFault::OffBoard,
                &format!("arm '{}'", arm.name),
                &mm(at),
                "the centre line leaves the board there",
                "give the arm its `centre_line`",
            ));
        };
        let joined = |a: &Slot, b: &Slot| {
            let gap = b.across_m[0] - a.across_m[1];
            gap <= CRUMB_M || self.in_opening(place(0.5 * (a.across_m[1] + b.across_m[0])))
        };
        let (mut first, mut last) = (main, main);
        while first > 0 && joined(&all[first - 1], &all[first]) {
            first -= 1;
        }
        while last + 1 < all.len() && joined(&all[last], &all[last + 1]) {
            last += 1;
        }
        if part == Part::Arm {
            let beside = all[..first].iter().chain(&all[last + 1..]);
            for other in beside {
                let there = place(0.5 * (other.across_m[0] + other.across_m[1]));
                if arm.region.contains(there) {
                    return Err(MeshError::new(
                        MeshFault::Fork,
                        &format!("arm '{}'", arm.name),
                        &format!("a second prong at {}", mm(there)),
                        "an arm that forks is no beam",
                        "make each prong an [[arm]] of its own, or use the shell",
                    ));
                }
            }
        }
        Ok(self.clipped(&all[first..=last], place))
    }

    fn in_opening(&self, at: Point) -> bool {
        self.openings.iter().any(|o| o.contains(at))
    }

    /// The part of a section that is nearer to the own centre line, here, than to any other place of any line.
    fn clipped(&self, slots: &[Slot], place: impl Fn(f64) -> Point) -> Vec<Slot> {
        let own = |y: f64| self.nearest_of(place(y)) >= y.abs() - 1e-9;
        let limit = |end: f64| {
            if own(end) {
                return end;
            }
            let (mut yes, mut no) = (0.0, end);
            for _ in 0..40 {
                let middle = 0.5 * (yes + no);
                if own(middle) {
                    yes = middle;
                } else {
                    no = middle;
                }
            }
            yes
        };
        let right = slots.first().map_or(0.0, |s| limit(s.across_m[0].min(0.0)));
        let left = slots.last().map_or(0.0, |s| limit(s.across_m[1].max(0.0)));
        slots
            .iter()
            .filter_map(|s| {
                let across_m = [s.across_m[0].max(right), s.across_m[1].min(left)];
                (across_m[1] - across_m[0] > CRUMB_M).then(|| Slot { across_m, layers: s.layers.clone() })
            })
            .collect()
    }
}

/// Every stack of a region along the line across a place, from right to left.
pub(super) fn slots_in(board: &Board, region: &Region, at: Point, along: [f64; 2]) -> Vec<Slot> {
    let across = [-along[1], along[0]];
    let outline = region.cuts_m(at, across);
    let layers: Vec<Vec<f64>> = board.layers.iter().map(|l| l.region.cuts_m(at, across)).collect();
    let mut ends: Vec<f64> = outline.iter().chain(layers.iter().flatten()).copied().collect();
    ends.sort_by(f64::total_cmp);
    let inside = |cuts: &[f64], y: f64| cuts.iter().take_while(|c| **c < y).count() % 2 == 1;
    let mut slots: Vec<Slot> = Vec::new();
    for pair in ends.windows(2) {
        let middle = 0.5 * (pair[0] + pair[1]);
        if pair[1] - pair[0] <= 0.0 || !inside(&outline, middle) {
            continue;
        }
        let present = layers.iter().zip(0_u32..).filter(|(cuts, _)| inside(cuts, middle));
        let layers: Vec<LayerId> = present.map(|(_, n)| LayerId(n)).collect();
        match slots.last_mut() {
            Some(last) if pair[0] - last.across_m[1] <= 1e-12 => {
                let narrow = last.across_m[1] - last.across_m[0] <= CRUMB_M;
                if last.layers == layers || pair[1] - pair[0] <= CRUMB_M {
                    last.across_m[1] = pair[1];
                } else if narrow {
                    last.across_m[1] = pair[1];
                    last.layers = layers;
                } else {
                    slots.push(Slot { across_m: [pair[0], pair[1]], layers });
                }
            }
            _ => slots.push(Slot { across_m: [pair[0], pair[1]], layers }),
        }
    }
    slots.retain(|s| !s.layers.is_empty());
    slots
}
