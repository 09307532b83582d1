//! Interior points: laid ring by ring from the edges inwards, about one wished side apart.
//!
//! Every point proposes six neighbours at the wished distance, turned to its own edge; a proposal stands if it
//! lies inside the part and no point is closer than a share of the wished side. Away from edges this is the
//! hexagonal lattice, whose triangles are equilateral.

use std::collections::{HashMap, VecDeque};
use std::hash::{BuildHasherDefault, Hasher};

use super::outline_edges::Split;
use super::size::SizeTree;
use crate::region::Point;

/// Closest that two points may come, as a share of the wished side.
const CLOSEST: f64 = 0.76;

/// A point waiting to propose its neighbours.
struct Waiting {
    at: Point,
    direction: f64,
    /// Proposal that would lead back to where it came from.
    back: Option<u8>,
}

/// Interior points of the part in a fixed order; stops above `most` points.
///
/// `inside`: whether a place belongs to the part.
pub(super) fn interior(
    split: &Split,
    size: &SizeTree,
    inside: impl Fn(Point) -> bool,
    most: usize,
) -> Vec<Point> {
    let mut near = Near::new(size.growth());
    let mut queue = VecDeque::new();
    let mut order: Vec<usize> = (0..split.points.len()).collect();
    order.sort_by(|&i, &j| {
        let (p, q) = (split.points[i], split.points[j]);
        p[0].total_cmp(&q[0]).then(p[1].total_cmp(&q[1]))
    });
    for i in order {
        let at = split.points[i];
        near.enter(at, size.at(at));
        queue.push_back(Waiting { at, direction: split.direction[i], back: None });
    }
    let mut out = Vec::new();
    while let Some(w) = queue.pop_front() {
        let reach = size.at(w.at);
        for k in (0..6_u8).filter(|&k| w.back != Some(k)) {
            let direction = w.direction + f64::from(k) * std::f64::consts::FRAC_PI_3;
            let Some(at) = proposal(w.at, direction, reach, size) else { continue };
            let wished = size.at(at);
            if near.any_within(at, wished, CLOSEST * wished) || !inside(at) {
                continue;
            }
            near.enter(at, wished);
            out.push(at);
            queue.push_back(Waiting { at, direction: w.direction, back: Some((k + 3) % 6) });
            if out.len() > most {
                return out;
            }
        }
    }
    out
}

/// Place one wished side away, the side being the mean of the sizes at both ends.
fn proposal(from: Point, direction: f64, here: f64, size: &SizeTree) -> Option<Point> {
    let (s, c) = direction.sin_cos();
    let first = [from[0] + here * c, from[1] + here * s];
    let side = 0.5 * (here + size.at(first));
    let at = [from[0] + side * c, from[1] + side * s];
    at.iter().all(|v| v.is_finite()).then_some(at)
}

/// Points in square cells of a few levels: level L holds points whose wished side is 2^L to 2^(L+1).
struct Near {
    cells: HashMap<[i32; 3], Vec<Point>, BuildHasherDefault<Mix>>,
    /// Sizes differ by at most this factor within the distance of interest.
    spread: f64,
}

impl Near {
    fn new(growth: f64) -> Self {
        Self { cells: HashMap::default(), spread: (growth * CLOSEST).min(0.9) }
    }

    /// Cell side of a level: at least twice the distance of interest, so that four cells cover a query.
    fn cell_side(level: i32) -> f64 {
        f64::from(level + 2).exp2()
    }

    fn enter(&mut self, p: Point, wished: f64) {
        let level = floor(wished.log2());
        let side = Self::cell_side(level);
        self.cells.entry([level, floor(p[0] / side), floor(p[1] / side)]).or_default().push(p);
    }

    fn any_within(&self, p: Point, wished: f64, distance: f64) -> bool {
        let (from, to) = ((wished * (1.0 - self.spread)).log2(), (wished * (1.0 + self.spread)).log2());
        (floor(from)..=floor(to)).any(|level| {
            let side = Self::cell_side(level);
            let cells = [0, 1].map(|k| [floor((p[k] - distance) / side), floor((p[k] + distance) / side)]);
            (cells[0][0]..=cells[0][1]).any(|x| {
                (cells[1][0]..=cells[1][1]).any(|y| {
                    self.cells.get(&[level, x, y]).is_some_and(|points| {
                        points.iter().any(|q| {
                            let (dx, dy) = (p[0] - q[0], p[1] - q[1]);
                            dx * dx + dy * dy < distance * distance
                        })
                    })
                })
            })
        })
    }
}

#[expect(clippy::cast_possible_truncation, reason = "coordinates are below 1e8 steps, sizes above one")]
fn floor(v: f64) -> i32 {
    v.floor() as i32
}

/// Mixes integers by multiplication; the map is never walked, so its order does not matter.
#[derive(Default)]
struct Mix(u64);

impl Hasher for Mix {
    fn finish(&self) -> u64 {
        self.0 ^ (self.0 >> 29)
    }

    fn write(&mut self, bytes: &[u8]) {
        for chunk in bytes.chunks(4) {
            let word = chunk.iter().rev().fold(0_u64, |w, &b| w << 8 | u64::from(b));
            self.0 = (self.0.rotate_left(5) ^ word).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        }
    }

    fn write_i32(&mut self, i: i32) {
        self.0 = (self.0.rotate_left(5) ^ u64::from(i.cast_unsigned())).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    }
}
