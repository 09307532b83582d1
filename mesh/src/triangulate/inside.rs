//! Inside or outside of a region for very many places: edges sorted into horizontal strips.

use crate::region::{Point, Region, STEPS_PER_M};

/// Even-odd test of one region, lengths in grid steps.
#[derive(Debug)]
pub(super) struct Inside {
    low: f64,
    strip: f64,
    strips: Vec<Vec<[Point; 2]>>,
}

impl Inside {
    pub(super) fn new(region: &Region) -> Self {
        let scaled = |p: Point| [p[0] * STEPS_PER_M, p[1] * STEPS_PER_M];
        let edges: Vec<[Point; 2]> = region.edges().map(|e| e.map(scaled)).collect();
        let [lo, hi] = region.bounds().map_or([[0.0; 2]; 2], |b| b.map(scaled));
        let n = edges.len().clamp(1, 4096);
        #[expect(clippy::cast_precision_loss, reason = "at most 4096")]
        let strip = ((hi[1] - lo[1]) / n as f64).max(1e-3);
        let mut out = Self { low: lo[1], strip, strips: vec![Vec::new(); n] };
        for e in edges {
            let (from, to) = (out.index(e[0][1].min(e[1][1])), out.index(e[0][1].max(e[1][1])));
            for s in from..=to {
                out.strips[s].push(e);
            }
        }
        out
    }

    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "the cast saturates")]
    fn index(&self, y: f64) -> usize {
        (((y - self.low) / self.strip).floor() as usize).min(self.strips.len() - 1)
    }

    /// Whether a place lies inside (no promise within rounding of an edge).
    pub(super) fn contains(&self, p: Point) -> bool {
        let mut inside = false;
        for [a, b] in &self.strips[self.index(p[1])] {
            if (a[1] > p[1]) != (b[1] > p[1]) {
                let x = a[0] + (p[1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0]);
                inside ^= p[0] < x;
            }
        }
        inside
    }
}
