//! A square grid of cells that lists which segments or boxes come near each cell: a search index.

use super::Point;

/// Index over numbered items; cells hold item numbers in rising order.
#[derive(Debug, Clone)]
pub(crate) struct Buckets {
    low: Point,
    cell: f64,
    across: [usize; 2],
    start: Vec<u32>,
    items: Vec<u32>,
}

/// Most cells for each item.
const CELLS_PER_ITEM: f64 = 4.0;

impl Buckets {
    /// Index of segments, each entered in every cell it comes closer to than `reach`.
    pub(crate) fn of_segments(segments: &[[Point; 2]], reach: f64) -> Self {
        let length: f64 = segments.iter().map(|[a, b]| (a[0] - b[0]).hypot(a[1] - b[1])).sum();
        let mut index = Self::empty(segments.iter().flatten().copied(), reach, (length, segments.len()));
        let mut entries = Vec::with_capacity(2 * segments.len());
        for (i, &ends) in segments.iter().enumerate() {
            index.enter_segment(ends, reach, number(i), &mut entries);
        }
        index.fill(&entries);
        index
    }

    /// Index of boxes (lowest and highest corner), each entered in every cell it touches.
    pub(crate) fn of_boxes(boxes: &[[Point; 2]]) -> Self {
        let side: f64 = boxes.iter().map(|[a, b]| (b[0] - a[0]).max(b[1] - a[1])).sum();
        let mut index = Self::empty(boxes.iter().flatten().copied(), 0.0, (side, boxes.len()));
        let mut entries = Vec::with_capacity(4 * boxes.len());
        for (i, [lo, hi]) in boxes.iter().enumerate() {
            let ([x0, y0], [x1, y1]) = (index.place(*lo), index.place(*hi));
            for y in y0..=y1 {
                entries.extend((x0..=x1).map(|x| (number(y * index.across[0] + x), number(i))));
            }
        }
        index.fill(&entries);
        index
    }

    fn empty(points: impl Iterator<Item = Point>, reach: f64, (total, n): (f64, usize)) -> Self {
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for p in points {
            for k in 0..2 {
                low[k] = low[k].min(p[k]);
                high[k] = high[k].max(p[k]);
            }
        }
        if !(low[0] <= high[0] && low[1] <= high[1]) {
            (low, high) = ([0.0; 2], [0.0; 2]);
        }
        for k in 0..2 {
            low[k] -= reach;
            high[k] += reach;
        }
        let (w, h) = (high[0] - low[0], high[1] - low[1]);
        let items = real(n.max(1));
        // About the mean size of an item, but no more than a few cells for each item.
        let most = CELLS_PER_ITEM * (items + 16.0);
        let cell = (total / items).max(2.0 * reach).max((w * h / most).sqrt()).max(w.max(h) / most);
        let cell = if cell > 0.0 && cell.is_finite() { cell } else { 1.0 };
        let across = [index(w / cell) + 1, index(h / cell) + 1];
        Self { low, cell, across, start: Vec::new(), items: Vec::new() }
    }

    /// Cell of a point; points outside fall into the nearest cell.
    fn place(&self, p: Point) -> [usize; 2] {
        [0, 1].map(|k| index((p[k] - self.low[k]) / self.cell).min(self.across[k] - 1))
    }

    fn enter_segment(&self, [a, b]: [Point; 2], reach: f64, item: u32, entries: &mut Vec<(u32, u32)>) {
        let (low, high) = if a[1] <= b[1] { (a, b) } else { (b, a) };
        let rows = [self.place([0.0, low[1] - reach])[1], self.place([0.0, high[1] + reach])[1]];
        for y in rows[0]..=rows[1] {
            // The part of the segment within reach of this row of cells.
            let bottom = self.low[1] + real(y) * self.cell - reach;
            let top = bottom + self.cell + 2.0 * reach;
            let at = |level: f64| {
                let rise = high[1] - low[1];
                let t = if rise > 0.0 { ((level - low[1]) / rise).clamp(0.0, 1.0) } else { 0.0 };
                low[0] + t * (high[0] - low[0])
            };
            let flat = high[1] - low[1] <= 0.0;
            let (p, q) = if flat { (low[0], high[0]) } else { (at(bottom), at(top)) };
            let x0 = self.place([p.min(q) - reach, 0.0])[0];
            let x1 = self.place([p.max(q) + reach, 0.0])[0];
            entries.extend((x0..=x1).map(|x| (number(y * self.across[0] + x), item)));
        }
    }

    /// Counting sort of (cell, item) entries into the lists.
    fn fill(&mut self, entries: &[(u32, u32)]) {
        let mut start = vec![0_u32; self.across[0] * self.across[1] + 1];
        for &(cell, _) in entries {
            start[cell as usize + 1] += 1;
        }
        for c in 1..start.len() {
            start[c] += start[c - 1];
        }
        let mut next = start.clone();
        self.items = vec![0; entries.len()];
        for &(cell, item) in entries {
            self.items[next[cell as usize] as usize] = item;
            next[cell as usize] += 1;
        }
        self.start = start;
    }

    /// Items near a point.
    pub(crate) fn near(&self, p: Point) -> &[u32] {
        let [x, y] = self.place(p);
        self.list(y * self.across[0] + x)
    }

    fn list(&self, cell: usize) -> &[u32] {
        &self.items[self.start[cell] as usize..self.start[cell + 1] as usize]
    }

    /// All items that share a cell, cell by cell.
    pub(crate) fn groups(&self) -> impl Iterator<Item = &[u32]> {
        (0..self.across[0] * self.across[1]).map(|c| self.list(c)).filter(|l| l.len() > 1)
    }

    /// Items in the cells that a box touches; an item may come several times.
    pub(crate) fn in_box(&self, lo: Point, hi: Point) -> impl Iterator<Item = u32> {
        let ([x0, y0], [x1, y1]) = (self.place(lo), self.place(hi));
        (y0..=y1).flat_map(move |y| (x0..=x1).flat_map(move |x| self.list(y * self.across[0] + x))).copied()
    }
}

#[expect(clippy::cast_precision_loss, reason = "counts far below 2^52")]
fn real(n: usize) -> f64 {
    n as f64
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "the cast saturates; cells are few"
)]
fn index(v: f64) -> usize {
    v.floor() as usize
}

#[expect(clippy::cast_possible_truncation, reason = "cells and items are far below 2^32")]
fn number(i: usize) -> u32 {
    i as u32
}
