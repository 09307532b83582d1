//! Inductance of a current path: an estimate.
//!
//! In: straight pieces with their section. Out: henry. Neumann's double integral over all pairs of pieces, the distance
//! widened by the geometric mean distance of the section (0.2235 times width plus thickness for a rectangle: E. B. Rosa
//! and F. W. Grover, Bull. Bureau of Standards 8 (1912), from memory), which gives a straight wire its textbook value.
//! Absent: iron, eddy currents, skin effect.

use copperbend_mesh::board::{Board, CurrentPath};
use nalgebra::Vector3;
use rayon::prelude::*;

/// Permeability of vacuum over 4 pi, H/m.
const MU_OVER_4PI: f64 = 1e-7;

/// Geometric mean distance of a rectangle from itself, over the sum of its sides.
const MEAN_DISTANCE: f64 = 0.2235;

/// Three Gauss points on 0 to 1.
const GAUSS: [[f64; 2]; 3] =
    [[0.112_701_665_379_258_3, 5.0 / 18.0], [0.5, 8.0 / 18.0], [0.887_298_334_620_741_7, 5.0 / 18.0]];

/// A straight piece: ends and geometric mean distance, m.
struct Piece {
    from: Vector3<f64>,
    to: Vector3<f64>,
    mean_m: f64,
}

/// Inductance of a board's path, H; the closing line between the pads is part of it.
#[must_use]
pub fn inductance_h(path: &CurrentPath, board: &Board) -> f64 {
    let usual = path
        .segments
        .iter()
        .filter_map(|s| s.layer.map(|l| (s.section_m2, board.layers[l.0 as usize].thickness_m)))
        .find(|s| s.0 > 0.0);
    let mean = |section: f64, thickness: f64| MEAN_DISTANCE * (section / thickness + thickness);
    let fallback = usual.map_or(1e-5, |(section, thickness)| mean(section, thickness));
    let pieces: Vec<Piece> = path
        .segments
        .iter()
        .map(|s| {
            let own = s.layer.filter(|_| s.section_m2 > 0.0);
            let mean_m = own.map_or(fallback, |l| mean(s.section_m2, board.layers[l.0 as usize].thickness_m));
            Piece { from: s.from_m.into(), to: s.to_m.into(), mean_m }
        })
        .collect();
    of_pieces(&pieces)
}

fn of_pieces(pieces: &[Piece]) -> f64 {
    let rows: Vec<f64> =
        pieces.par_iter().map(|a| pieces.iter().map(|b| mutual(a, b)).sum::<f64>()).collect();
    MU_OVER_4PI * rows.iter().sum::<f64>()
}

/// Double integral of `da . db / sqrt(r^2 + g^2)`: along the second in closed form, along the first by Gauss points, cut
/// where the pieces are close to each other.
fn mutual(a: &Piece, b: &Piece) -> f64 {
    let (da, db) = (a.to - a.from, b.to - b.from);
    let length = db.norm();
    if length <= 0.0 || da.norm() <= 0.0 {
        return 0.0;
    }
    let along = db / length;
    let square = 0.5 * (a.mean_m.powi(2) + b.mean_m.powi(2));
    let near = ((a.from + a.to) - (b.from + b.to)).norm() * 0.5 < 1.5 * (da.norm() + length);
    let parts = if near { 8 } else { 1 };
    let mut sum = 0.0;
    for part in 0..parts {
        for [at, weight] in GAUSS {
            let share = (f64::from(part) + at) / f64::from(parts);
            let off = a.from + da * share - b.from;
            let s = off.dot(&along);
            let aside = ((off - along * s).norm_squared() + square).sqrt();
            sum += weight / f64::from(parts) * (((length - s) / aside).asinh() + (s / aside).asinh());
        }
    }
    sum * da.dot(&along)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::{PI, TAU};

    /// A circle of round wire: mu0 R (ln(8 R / g) - 2) (any handbook), g the geometric mean distance.
    #[test]
    fn a_circle_has_the_handbook_inductance() {
        let (radius, mean_m) = (5e-3, 25e-6);
        let at = |k: u32| {
            let (s, c) = (TAU * f64::from(k) / 240.0).sin_cos();
            Vector3::new(radius * c, radius * s, 0.0)
        };
        let pieces: Vec<Piece> = (0..240).map(|k| Piece { from: at(k), to: at(k + 1), mean_m }).collect();
        let want = 4e-7 * PI * radius * ((8.0 * radius / mean_m).ln() - 2.0);
        let got = of_pieces(&pieces);
        assert!((got / want - 1.0).abs() < 5e-3, "{got:e} against {want:e}");
    }

    /// A long straight wire: 2e-7 l (ln(2 l / g) - 1).
    #[test]
    fn a_straight_wire() {
        let piece = Piece { from: Vector3::zeros(), to: Vector3::new(0.1, 0.0, 0.0), mean_m: 1e-4 };
        let want = 2e-7 * 0.1 * ((0.2_f64 / 1e-4).ln() - 1.0);
        let got = of_pieces(&[piece]);
        assert!((got / want - 1.0).abs() < 5e-3, "{got:e} against {want:e}");
    }

    /// The worked coil (28 turns a layer, 12 mm, 90 um wide, 160 um pitch, 18 um copper): 5.42 uH one layer by the
    /// mutual inductance of rings, recomputed independently; 5.65 uH by the current-sheet formula of S. S. Mohan and
    /// others, IEEE J. Solid-State Circuits 34 (1999) (from memory). Here every chord is counted.
    #[test]
    fn the_worked_coil() {
        let mean_m = MEAN_DISTANCE * (90e-6 + 18e-6);
        let outer = 6e-3 - 45e-6;
        let at = |k: u32| {
            let turn = f64::from(k) / 36.0;
            let r = outer - 160e-6 * turn;
            let (s, c) = (TAU * turn).sin_cos();
            Vector3::new(r * c, r * s, 0.0)
        };
        let pieces: Vec<Piece> = (0..28 * 36).map(|k| Piece { from: at(k), to: at(k + 1), mean_m }).collect();
        let got = of_pieces(&pieces);
        assert!((got / 5.42e-6 - 1.0).abs() < 0.03, "{got:e}");
    }
}
