//! The size field, evaluated fast: a tree of squares, each with the few sources that can matter inside it.

use super::SizeField;
use crate::region::{Point, to_segment};

/// Sources of a leaf are not thinned out further below this number.
const FEW: usize = 6;

/// Deepest level of the tree.
const DEEPEST: u32 = 20;

impl SizeField {
    /// Wished triangle side at a place, m: by the definition, over all sources.
    #[must_use]
    pub fn size_at(&self, p: Point) -> f64 {
        let least = self
            .sources
            .iter()
            .map(|s| s.size_m + self.growth * to_segment(p, s.at_m[0], s.at_m[1]).0)
            .fold(self.coarse_m, f64::min);
        least.max(self.fine_m)
    }

    /// The same field with every size multiplied by `factor` (0.5 halves the triangles).
    #[must_use]
    pub fn scaled(&self, factor: f64) -> Self {
        let mut out = self.clone();
        out.coarse_m *= factor;
        out.fine_m *= factor;
        for s in &mut out.sources {
            s.size_m *= factor;
        }
        out
    }
}

/// One source in the tree's units.
#[derive(Debug, Clone, Copy)]
struct Source {
    ends: [Point; 2],
    size: f64,
}

#[derive(Debug, Clone, Copy)]
enum Node {
    /// First of four children.
    Branch(u32),
    /// Range of [`SizeTree::lists`].
    Leaf(u32, u32),
}

/// A size field in grid steps over a rectangle.
#[derive(Debug)]
pub(super) struct SizeTree {
    low: Point,
    side: f64,
    nodes: Vec<Node>,
    lists: Vec<Source>,
    coarse: f64,
    fine: f64,
    growth: f64,
}

impl SizeTree {
    /// Tree over the rectangle `low`-`high`, all lengths multiplied by `scale`.
    pub(super) fn new(field: &SizeField, [low, high]: [Point; 2], scale: f64) -> Self {
        let side = (high[0] - low[0]).max(high[1] - low[1]).max(1.0) * (1.0 + 1e-9);
        let mut tree = Self {
            low,
            side,
            nodes: vec![Node::Leaf(0, 0)],
            lists: Vec::new(),
            coarse: field.coarse_m * scale,
            fine: field.fine_m * scale,
            growth: field.growth,
        };
        let at = |p: Point| [p[0] * scale, p[1] * scale];
        let sources: Vec<Source> = field
            .sources
            .iter()
            .map(|s| Source { ends: [at(s.at_m[0]), at(s.at_m[1])], size: s.size_m * scale })
            .collect();
        tree.grow(0, low, (side, 0), &sources);
        tree
    }

    /// Fills node `node`, whose square starts at `low`, with the sources that matter in it.
    fn grow(&mut self, node: usize, low: Point, (side, depth): (f64, u32), candidates: &[Source]) {
        let centre = [low[0] + side / 2.0, low[1] + side / 2.0];
        // Within the square the field of one source differs from its value at the centre by at most this.
        let spread = self.growth * side * std::f64::consts::FRAC_1_SQRT_2;
        let values: Vec<f64> = candidates.iter().map(|s| self.value(s, centre)).collect();
        let least = values.iter().copied().fold(self.coarse, f64::min);
        let bound = (least + spread).max(self.fine);
        let kept: Vec<Source> = candidates
            .iter()
            .zip(&values)
            .filter(|&(_, &v)| v - spread < bound.min(self.coarse))
            .map(|(s, _)| *s)
            .collect();
        let small = side < 0.5 * (least - spread).max(self.fine);
        if kept.len() <= FEW || depth >= DEEPEST || small {
            let first = index(self.lists.len());
            self.lists.extend_from_slice(&kept);
            self.nodes[node] = Node::Leaf(first, index(self.lists.len()));
            return;
        }
        let first = self.nodes.len();
        self.nodes[node] = Node::Branch(index(first));
        self.nodes.extend([Node::Leaf(0, 0); 4]);
        let half = side / 2.0;
        for (k, [x, y]) in [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [1.0, 1.0]].into_iter().enumerate() {
            self.grow(first + k, [low[0] + x * half, low[1] + y * half], (half, depth + 1), &kept);
        }
    }

    fn value(&self, s: &Source, p: Point) -> f64 {
        s.size + self.growth * to_segment(p, s.ends[0], s.ends[1]).0
    }

    /// Wished side at a place, grid steps.
    pub(super) fn at(&self, p: Point) -> f64 {
        let (mut low, mut side, mut node) = (self.low, self.side, 0);
        loop {
            match self.nodes[node] {
                Node::Branch(first) => {
                    side /= 2.0;
                    let right = p[0] >= low[0] + side;
                    let upper = p[1] >= low[1] + side;
                    low = [
                        low[0] + f64::from(u8::from(right)) * side,
                        low[1] + f64::from(u8::from(upper)) * side,
                    ];
                    node = first as usize + usize::from(right) + 2 * usize::from(upper);
                }
                Node::Leaf(from, to) => {
                    let list = &self.lists[from as usize..to as usize];
                    let least = list.iter().map(|s| self.value(s, p)).fold(self.coarse, f64::min);
                    return least.max(self.fine);
                }
            }
        }
    }

    /// Growth of size per length.
    pub(super) fn growth(&self) -> f64 {
        self.growth
    }
}

#[expect(clippy::cast_possible_truncation, reason = "nodes and sources are far below 2^32")]
fn index(i: usize) -> u32 {
    i as u32
}

#[cfg(test)]
mod tests {
    use super::super::SizeSource;
    use super::*;

    #[test]
    fn tree_equals_the_definition() {
        let mut state = 7_u64;
        let mut next = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            f64::from(u32::try_from(state >> 40).unwrap()) / f64::from(1 << 24) * 20e-3
        };
        let sources = (0..3000)
            .map(|_| {
                let a = [next(), next()];
                SizeSource { at_m: [a, [a[0] + next() / 20.0, a[1]]], size_m: 20e-6 + next() / 100.0 }
            })
            .collect();
        let field = SizeField {
            coarse_m: 0.6e-3,
            fine_m: 30e-6,
            growth: 0.2,
            sources,
            min_angle_rad: 0.4,
            max_triangles: 1,
        };
        let tree = SizeTree::new(&field, [[0.0, 0.0], [20e3, 20e3]], 1e6);
        for _ in 0..2000 {
            let p = [next(), next()];
            let (fast, slow) = (tree.at([p[0] * 1e6, p[1] * 1e6]) * 1e-6, field.size_at(p));
            assert!((fast - slow).abs() < 1e-12, "{fast} at {p:?}, by definition {slow}");
        }
    }
}
