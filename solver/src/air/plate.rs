//! Mass that air adds to a flat plate moving normal to itself.
//!
//! In: sides of a rectangle. Out: added mass and added inertia of its three rigid motions out of the plane, and a
//! density over the plate with the same three figures, for motions in between. Potential flow, thin plate.

use super::{Medium, along};
use std::f64::consts::PI;

/// Width over length, and three factors on the strip's values: mass of the plate moving as a whole, inertia about
/// its short middle line, inertia about its long middle line.
///
/// First factor: the table of DNV-RP-C205 (as remembered) recomputed; the other two: doublet panels on cosine grids,
/// extrapolated, about 0.2 %. The tests compute all three again.
const ROWS: [[f64; 4]; 10] = [
    [0.0, 1.0, 1.0, 1.0],
    [0.05, 0.9736, 0.9242, 0.9905],
    [0.1, 0.9473, 0.8548, 0.9810],
    [1.0 / 7.0, 0.9256, 0.8004, 0.9730],
    [0.2, 0.8964, 0.7349, 0.9624],
    [0.25, 0.8719, 0.6836, 0.9531],
    [1.0 / 3.0, 0.8316, 0.6093, 0.9377],
    [0.5, 0.7567, 0.4946, 0.9070],
    [2.0 / 3.0, 0.6897, 0.4126, 0.8766],
    [1.0, 0.5788, 0.3065, 0.8172],
];

/// A rectangle in air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plate {
    /// Shorter side, m.
    pub width_m: f64,
    /// Longer side, m.
    pub length_m: f64,
}

/// What air adds to the rigid motions of a plate out of its plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Added {
    /// Moving as a whole, kg.
    pub mass_kg: f64,
    /// Turning about the middle line parallel to the short side, kg m2.
    pub about_short_kg_m2: f64,
    /// Turning about the middle line parallel to the long side, kg m2.
    pub about_long_kg_m2: f64,
}

impl Plate {
    /// From two sides in any order, m.
    #[must_use]
    pub fn new(a_m: f64, b_m: f64) -> Self {
        Self { width_m: a_m.min(b_m), length_m: a_m.max(b_m) }
    }

    /// Longer over shorter side.
    #[must_use]
    pub fn aspect(&self) -> f64 {
        self.length_m / self.width_m
    }

    /// Factors on the strip's values: moving as a whole, turning about the short, about the long middle line.
    #[must_use]
    pub fn factors(&self) -> [f64; 3] {
        let at = self.width_m / self.length_m;
        [1, 2, 3].map(|column| along(&ROWS.map(|row| [row[0], row[column]]), at))
    }

    /// Added mass and inertia; strip values pi/4 rho b^2 a length and pi/128 rho b^4 a length times the factors.
    #[must_use]
    pub fn added(&self, medium: &Medium) -> Added {
        let (b, l) = (self.width_m, self.length_m);
        let strip = 0.25 * PI * medium.density_kg_m3 * b * b * l;
        let [whole, short, long] = self.factors();
        Added {
            mass_kg: whole * strip,
            about_short_kg_m2: short * strip * l * l / 12.0,
            about_long_kg_m2: long * strip * b * b / 32.0,
        }
    }

    /// Added mass per area, up to a constant factor, at `along` and `across` (-1 to 1 from edge to edge along the
    /// longer and the shorter side): `(1 - s^2)^p` in each, p such that both inertias come out.
    #[must_use]
    pub fn density_shape(&self, along: f64, across: f64) -> f64 {
        let [whole, short, long] = self.factors();
        // The mean square of s under (1 - s^2)^p is 1 / (2 p + 3).
        let power = |mean_square: f64| 0.5 / mean_square - 1.5;
        let part = |s: f64, p: f64| (1.0 - s * s).max(0.0).powf(p);
        part(along, power(short / (3.0 * whole))) * part(across, power(long / (8.0 * whole)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{DMatrix, DVector};

    /// Factors by constant-doublet panels on `nx` x `ny` cosine cells: their jump of potential stops the flow through
    /// the middle (in angle) of each.
    fn panels(aspect: f64, [nx, ny]: [usize; 2]) -> [f64; 3] {
        let edge = |side: f64, i: usize, n: usize| -0.5 * side * (PI * i as f64 / n as f64).cos();
        let middle = |side: f64, i: usize, n: usize| -0.5 * side * (PI * (i as f64 + 0.5) / n as f64).cos();
        let at = |k: usize| [middle(aspect, k / ny, nx), middle(1.0, k % ny, ny)];
        let flow = DMatrix::from_fn(nx * ny, nx * ny, |p, q| {
            let ([x, y], [i, j]) = (at(p), [q / ny, q % ny]);
            let corner = |a: usize, b: usize| {
                let [dx, dy] = [edge(aspect, i + a, nx) - x, edge(1.0, j + b, ny) - y];
                dx.hypot(dy) / (dx * dy)
            };
            (corner(0, 0) - corner(0, 1) - corner(1, 0) + corner(1, 1)) / (4.0 * PI)
        });
        let area = |k: usize| {
            let (i, j) = (k / ny, k % ny);
            (edge(aspect, i + 1, nx) - edge(aspect, i, nx)) * (edge(1.0, j + 1, ny) - edge(1.0, j, ny))
        };
        let lu = flow.lu();
        let factor = |motion: &dyn Fn([f64; 2]) -> f64, strip: f64| {
            let jump = lu.solve(&DVector::from_fn(nx * ny, |k, _| motion(at(k)))).unwrap();
            (0..nx * ny).map(|k| jump[k] * motion(at(k)) * area(k)).sum::<f64>() / strip
        };
        [
            factor(&|_| 1.0, 0.25 * PI * aspect),
            factor(&|p| p[0], 0.25 * PI * aspect.powi(3) / 12.0),
            factor(&|p| p[1], PI / 128.0 * aspect),
        ]
    }

    #[test]
    fn table_agrees_with_doublet_panels() {
        for (aspect, n) in [(1.0, [12, 12]), (2.0, [17, 12]), (5.0, [26, 12])] {
            let (coarse, fine) = (panels(aspect, [n[0] / 2, n[1] / 2]), panels(aspect, n));
            let table = Plate::new(1.0, aspect).factors();
            for (k, own) in table.into_iter().enumerate() {
                let limit = (4.0 * fine[k] - coarse[k]) / 3.0;
                assert!(
                    (own / limit - 1.0).abs() < 6e-3,
                    "aspect {aspect}, motion {k}: {own} against {limit}"
                );
            }
        }
    }

    #[test]
    fn mass_agrees_with_the_published_table() {
        // DNV-RP-C205, added mass of rectangular plates (as remembered; recomputed to 0.5 %).
        for (aspect, c) in
            [(1.0, 0.579), (1.5, 0.690), (2.0, 0.757), (3.0, 0.832), (5.0, 0.897), (10.0, 0.947)]
        {
            let own = Plate::new(aspect, 1.0).factors()[0];
            assert!((own / c - 1.0).abs() < 6e-3, "aspect {aspect}: {own} against {c}");
        }
        // A long strip: pi/4 rho b^2 per length.
        let strip = Plate::new(1e-3, 10.0).added(&Medium::AIR).mass_kg;
        assert!((strip / (0.25 * PI * 1.184 * 1e-6 * 10.0) - 1.0).abs() < 1e-3, "{strip}");
    }

    #[test]
    fn flap_agrees_with_panels_in_all_three_motions() {
        // Square flap of 13 mm turning about a line 6 mm from its edge: doublet panels, extrapolated, about 0.5 %.
        let plate = Plate::new(0.013, 0.013);
        let added = plate.added(&Medium::AIR);
        let hinge = added.about_short_kg_m2 + added.mass_kg * 0.0125f64.powi(2);
        for (name, own, exact) in [
            ("as a whole", added.mass_kg, 1.182_632_324e-6),
            ("hinge", hinge, 1.935_996_767e-10),
            ("roll", added.about_long_kg_m2, 8.813_376e-12),
        ] {
            assert!((own / exact - 1.0).abs() < 6e-3, "{name}: {own} against {exact}");
        }
    }

    #[test]
    fn density_over_the_plate_has_both_inertias() {
        for (a, b) in [(1.0, 1.0), (1.0, 2.5), (1.0, 12.0)] {
            let plate = Plate::new(a, b);
            let n = 400;
            let mut sums = [0.0; 3];
            for i in 0..n {
                for j in 0..n {
                    let [s, t] = [i, j].map(|k| (k as f64 + 0.5) / n as f64 * 2.0 - 1.0);
                    let weight = plate.density_shape(s, t);
                    let [x, y] = [0.5 * plate.length_m * s, 0.5 * plate.width_m * t];
                    for (sum, part) in sums.iter_mut().zip([1.0, x * x, y * y]) {
                        *sum += weight * part;
                    }
                }
            }
            let added = plate.added(&Medium::AIR);
            for (sum, exact) in sums[1..].iter().zip([added.about_short_kg_m2, added.about_long_kg_m2]) {
                let own = sum / sums[0] * added.mass_kg;
                assert!((own / exact - 1.0).abs() < 1e-3, "{own} against {exact}");
            }
        }
    }
}
