//! Triangles by place, to find those that may reach a disc.

use crate::model::Model;

/// Triangles in strips across the x axis.
#[derive(Debug)]
pub(super) struct Cells<'m> {
    model: &'m Model,
    /// Least x of any first corner, m.
    least_m: f64,
    strip_m: f64,
    /// Longest side of any triangle along x or y, m.
    longest_m: f64,
    /// First place of every strip in `triangles`, and one more.
    start: Vec<u32>,
    /// Strip by strip, in the order given.
    triangles: Vec<u32>,
}

impl<'m> Cells<'m> {
    /// Sorts triangles by their first corner; strips are at least as wide as the longest triangle, and no more of them
    /// than triangles.
    pub(super) fn new(model: &'m Model, triangles: &[u32]) -> Self {
        let span = |t: u32| {
            let [p, q, r] = corners(model, t);
            [q, r].iter().map(|c| (c[0] - p[0]).abs().max((c[1] - p[1]).abs())).fold(0.0, f64::max)
        };
        let longest_m = triangles.iter().map(|&t| span(t)).fold(0.0, f64::max);
        let first = |t: u32| corners(model, t)[0][0];
        let [least_m, most_m] = triangles
            .iter()
            .map(|&t| first(t))
            .fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], x| [low.min(x), high.max(x)]);
        let count = triangles.len().max(1) as f64;
        let strip_m = longest_m.max((most_m - least_m) / count).max(f64::MIN_POSITIVE);
        let mut own = Self { model, least_m, strip_m, longest_m, start: Vec::new(), triangles: Vec::new() };
        let strips = triangles.iter().map(|&t| own.strip(first(t))).collect::<Vec<usize>>();
        own.start = vec![0; strips.iter().max().map_or(1, |last| last + 2)];
        strips.iter().for_each(|&s| own.start[s + 1] += 1);
        for s in 1..own.start.len() {
            own.start[s] += own.start[s - 1];
        }
        let mut next = own.start.clone();
        own.triangles = vec![0; triangles.len()];
        for (&t, s) in triangles.iter().zip(strips) {
            own.triangles[next[s] as usize] = t;
            next[s] += 1;
        }
        own
    }

    /// Number of a strip; the first one for all before it.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "cut off at zero, few strips"
    )]
    fn strip(&self, x: f64) -> usize {
        ((x - self.least_m) / self.strip_m).max(0.0) as usize
    }

    /// All triangles that come within `radius_m` of a place, and some more; sorted.
    pub(super) fn around(&self, at: &[f64; 3], radius_m: f64) -> Vec<u32> {
        let reach = 1.01 * radius_m + self.longest_m;
        let last = self.start.len() - 1;
        let (from, to) = (self.strip(at[0] - reach).min(last), (self.strip(at[0] + reach) + 1).min(last));
        let near = &self.triangles[self.start[from] as usize..self.start[to] as usize];
        let reaches = |t: &u32| {
            let [p, ..] = corners(self.model, *t);
            (p[0] - at[0]).abs() <= reach && (p[1] - at[1]).abs() <= reach
        };
        let mut found: Vec<u32> = near.iter().copied().filter(reaches).collect();
        found.sort_unstable();
        found
    }
}

fn corners(model: &Model, triangle: u32) -> [[f64; 3]; 3] {
    model.triangles[triangle as usize].map(|n| model.nodes_m[n as usize])
}
