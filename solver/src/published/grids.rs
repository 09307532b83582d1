//! Regular and mapped triangle meshes for the published problems.

/// How each quadrilateral cell is cut in two.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Cut {
    /// From the cell's second corner to its fourth.
    Falling,
    /// Alternating like a union flag, without a preferred direction.
    Cross,
}

/// A mesh with a regular numbering: `(n0 + 1) x (n1 + 1)` nodes.
#[derive(Debug, Clone)]
pub(super) struct Grid {
    pub nodes: Vec<[f64; 3]>,
    pub triangles: Vec<[u32; 3]>,
    n: [u32; 2],
}

impl Grid {
    /// Image of the unit square under `place`, cut into `n[0] x n[1]` cells.
    pub(super) fn mapped(n: [u32; 2], cut: Cut, place: impl Fn(f64, f64) -> [f64; 3]) -> Self {
        let mut nodes = Vec::new();
        for j in 0..=n[1] {
            for i in 0..=n[0] {
                nodes.push(place(f64::from(i) / f64::from(n[0]), f64::from(j) / f64::from(n[1])));
            }
        }
        let mut grid = Self { nodes, triangles: Vec::new(), n };
        for j in 0..n[1] {
            for i in 0..n[0] {
                let corner = [grid.at(i, j), grid.at(i + 1, j), grid.at(i + 1, j + 1), grid.at(i, j + 1)];
                let rising = match cut {
                    Cut::Falling => false,
                    Cut::Cross => (i + j) % 2 == 0,
                };
                let pair = if rising { [[0, 1, 2], [0, 2, 3]] } else { [[0, 1, 3], [1, 2, 3]] };
                grid.triangles.extend(pair.map(|t| t.map(|k| corner[k])));
            }
        }
        grid
    }

    /// Flat rectangle from the origin, `lengths` along x and y.
    pub(super) fn rectangle(lengths: [f64; 2], n: [u32; 2], cut: Cut) -> Self {
        Self::mapped(n, cut, |s, t| [s * lengths[0], t * lengths[1], 0.0])
    }

    /// Full disc about the origin: `rings` rings, the k-th with 6 k nodes.
    pub(super) fn disc(radius: f64, rings: u32) -> Self {
        let mut nodes = vec![[0.0; 3]];
        let mut triangles = Vec::new();
        let start = |k: u32| if k == 0 { 0 } else { 1 + 3 * k * (k - 1) };
        let at = |k: u32, i: u32| if k == 0 { 0 } else { start(k) + i % (6 * k) };
        for k in 1..=rings {
            let r = radius * f64::from(k) / f64::from(rings);
            for i in 0..6 * k {
                let (s, c) = (std::f64::consts::TAU * f64::from(i) / f64::from(6 * k)).sin_cos();
                nodes.push([r * c, r * s, 0.0]);
            }
            for sector in 0..6 {
                for i in 0..k {
                    let (outer, inner) = (sector * k + i, sector * (k - 1) + i);
                    triangles.push([at(k, outer), at(k, outer + 1), at(k - 1, inner)]);
                    if i + 1 < k {
                        triangles.push([at(k, outer + 1), at(k - 1, inner + 1), at(k - 1, inner)]);
                    }
                }
            }
        }
        Self { nodes, triangles, n: [6 * rings, 0] }
    }

    /// Node numbers on the rim of a [`Grid::disc`].
    pub(super) fn rim(&self) -> Vec<u32> {
        let total = u32::try_from(self.nodes.len()).unwrap_or(u32::MAX);
        (total - self.n[0]..total).collect()
    }

    /// Node at grid position.
    pub(super) const fn at(&self, i: u32, j: u32) -> u32 {
        j * (self.n[0] + 1) + i
    }

    /// Nodes with the first parameter at position `i`, along the second.
    pub(super) fn column(&self, i: u32) -> Vec<u32> {
        (0..=self.n[1]).map(|j| self.at(i, j)).collect()
    }

    /// Nodes with the second parameter at position `j`, along the first.
    pub(super) fn row(&self, j: u32) -> Vec<u32> {
        (0..=self.n[0]).map(|i| self.at(i, j)).collect()
    }

    /// The side where the first parameter is 0 or 1.
    pub(super) fn first(&self, end: u32) -> Vec<u32> {
        self.column(end * self.n[0])
    }

    /// The side where the second parameter is 0 or 1.
    pub(super) fn second(&self, end: u32) -> Vec<u32> {
        self.row(end * self.n[1])
    }

    /// All four sides, corners once or twice.
    pub(super) fn sides(&self) -> Vec<u32> {
        [self.first(0), self.first(1), self.second(0), self.second(1)].concat()
    }

    /// Every node.
    pub(super) fn all(&self) -> std::ops::Range<u32> {
        0..u32::try_from(self.nodes.len()).unwrap_or(u32::MAX)
    }
}
