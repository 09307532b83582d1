//! Air around a moving plate: mass it adds, linear drag, quadratic drag.
//!
//! In: sides of the plate, frequency, amplitude. Out: added mass of plates of finite aspect ratio ([`plate`]), the
//! oscillating ribbon in a viscous fluid ([`ribbon`]), the coefficient of quadratic drag with its bracket ([`drag`]), air on a board ([`surface`]).
//! Each plate moves as if alone: no wall, magnet or neighbour near by (they raise all three). Absent: sound.

pub mod drag;
pub mod plate;
pub mod ribbon;
pub mod surface;

/// A gas around the board.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Medium {
    /// Density, kg/m3.
    pub density_kg_m3: f64,
    /// Viscosity, Pa s.
    pub viscosity_pa_s: f64,
}

impl Medium {
    /// Air at 25 degC and 1013 hPa (standard values, from memory).
    pub const AIR: Self = Self { density_kg_m3: 1.184, viscosity_pa_s: 1.85e-5 };

    /// Reynolds number `density omega b^2 / (4 viscosity)` of a plate of width `width_m` at `omega` (rad/s).
    #[must_use]
    pub fn reynolds(&self, omega: f64, width_m: f64) -> f64 {
        self.density_kg_m3 * omega * width_m * width_m / (4.0 * self.viscosity_pa_s)
    }
}

/// Value at `x` on the straight lines through rows (x ascending), level beyond the ends.
fn along(rows: &[[f64; 2]], x: f64) -> f64 {
    let after = rows.partition_point(|row| row[0] < x);
    match (after.checked_sub(1).and_then(|i| rows.get(i)), rows.get(after)) {
        (Some([x0, y0]), Some([x1, y1])) => y0 + (y1 - y0) * (x - x0) / (x1 - x0),
        (Some(row), None) | (None, Some(row)) => row[1],
        (None, None) => 0.0,
    }
}
