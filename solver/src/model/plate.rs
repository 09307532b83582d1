//! A plain plate on a regular grid: the model that tests and benches start from.

use super::Model;
use crate::freedoms::Freedoms;
use crate::laminate::{Laminate, Ply};

impl Model {
    /// A flat rectangle from `origin_m`, `size_m` along x and y, of `nx` by `ny` cells with two triangles each whose
    /// diagonals alternate; one laminate, free all around. The nodes of a column (equal x) follow each other with
    /// rising y.
    #[must_use]
    pub fn plate(origin_m: [f64; 2], size_m: [f64; 2], [nx, ny]: [u32; 2], plies: Vec<Ply>) -> Self {
        let mut model = Self { laminates: vec![Laminate::new(plies)], ..Self::default() };
        let along = |k: usize, part: u32, whole: u32| {
            origin_m[k] + size_m[k] * (f64::from(part) / f64::from(whole.max(1)))
        };
        for i in 0..=nx {
            model.nodes_m.extend((0..=ny).map(|j| [along(0, i, nx), along(1, j, ny), 0.0]));
        }
        let at = |i: u32, j: u32| i * (ny + 1) + j;
        for (i, j) in (0..nx).flat_map(|i| (0..ny).map(move |j| (i, j))) {
            let [a, b, c, d] = [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)];
            let pair = if (i + j) % 2 == 0 { [[a, b, c], [a, c, d]] } else { [[a, b, d], [b, c, d]] };
            model.triangles.extend(pair);
        }
        model.laminate_of = vec![0; model.triangles.len()];
        model.freedoms = Freedoms::free(model.nodes_m.len());
        model
    }
}
