//! How wide the part of a section is that carries, where an arm opens into something wider.
//!
//! In: pieces of a strip in order. Out: for each the edges between which load runs. A moment that enters a wide plate
//! from a narrow arm does not fill it at once. In a half plane whose straight edge is free but for a moment `M` at one
//! point, the deflection `w = A r (ln r cos t - (1 + nu)/2 t sin t)` leaves the edge free of moment and of force and has
//! the curvature `2 M / (pi D (1 - nu) (3 + nu) r)` straight ahead: that of a strip as wide as
//! `pi (3 + nu) / (2 (1 + nu)) r` at the distance `r`. So the width that carries grows by that much per length at most.
//! (Derived for this file; the shell checks it.) Absent: what holds the contraction across back.

use copperbend_mesh::strip::{Piece, Slot};
use std::f64::consts::PI;

/// Growth of the carrying width per length, for a Poisson's ratio.
pub(super) fn growth(nu: f64) -> f64 {
    PI * (3.0 + nu) / (2.0 * (1.0 + nu))
}

/// Right and left edge of what carries in every piece; widths grow by `growth` per length at most, in both directions.
pub(super) fn carrying(pieces: &[Piece], growth: f64) -> Vec<[f64; 2]> {
    let mut out: Vec<[f64; 2]> = pieces.iter().map(edges).collect();
    let mut sweep = |order: &mut dyn Iterator<Item = usize>| {
        let mut limit = [f64::NEG_INFINITY, f64::INFINITY];
        for i in order {
            let [right, left] = edges(&pieces[i]);
            let more = 0.5 * growth * pieces[i].length_m();
            out[i] = [out[i][0].max(limit[0] - 0.5 * more), out[i][1].min(limit[1] + 0.5 * more)];
            limit = [right.max(limit[0] - more), left.min(limit[1] + more)];
        }
    };
    sweep(&mut (0..pieces.len()));
    sweep(&mut (0..pieces.len()).rev());
    out
}

/// Outer edges of a piece, m across.
pub(super) fn edges(piece: &Piece) -> [f64; 2] {
    let across = piece.slots.iter().map(|s| s.across_m);
    across.fold([f64::INFINITY, f64::NEG_INFINITY], |[a, b], [c, d]| [a.min(c), b.max(d)])
}

/// A piece cut down to what lies inside some stretches of its width; whole where nothing would be left.
pub(super) fn within(piece: &Piece, stretches: &[[f64; 2]]) -> Piece {
    let mut slots: Vec<Slot> = Vec::new();
    for slot in &piece.slots {
        for [a, b] in joined(stretches) {
            let across_m = [slot.across_m[0].max(a), slot.across_m[1].min(b)];
            if across_m[1] - across_m[0] > 1e-8 {
                slots.push(Slot { across_m, layers: slot.layers.clone() });
            }
        }
    }
    if slots.is_empty() { piece.clone() } else { Piece { slots, ..piece.clone() } }
}

/// Stretches in order, those that overlap as one.
fn joined(stretches: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let mut all = stretches.to_vec();
    all.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let mut out: Vec<[f64; 2]> = Vec::new();
    for [a, b] in all {
        match out.last_mut() {
            Some(last) if a <= last[1] => last[1] = last[1].max(b),
            _ => out.push([a, b]),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use copperbend_mesh::strip::Part;

    fn piece(from: f64, to: f64, across_m: [f64; 2]) -> Piece {
        let slots = vec![Slot { across_m, layers: Vec::new() }];
        Piece { ends_m: [[from, 0.0], [to, 0.0]], along: [1.0, 0.0], slots, part: Part::Arm }
    }

    #[test]
    fn width_grows_from_the_narrow_part_on_both_sides() {
        let pieces = [
            piece(0.0, 1.0, [-5.0, 5.0]),
            piece(1.0, 2.0, [-5.0, 5.0]),
            piece(2.0, 4.0, [-1.0, 1.0]),
            piece(4.0, 5.0, [-1.5, 9.0]),
        ];
        let found = carrying(&pieces, 4.0);
        // 2 to each side per length: at half a length 1 more than the narrow part, at one and a half 3 more.
        assert_eq!(found, [[-4.0, 4.0], [-2.0, 2.0], [-1.0, 1.0], [-1.5, 2.0]], "widths");
    }

    #[test]
    fn overlapping_stretches_are_one() {
        let cut = within(&piece(0.0, 1.0, [-5.0, 5.0]), &[[1.0, 3.0], [-9.0, -4.0], [2.0, 4.0]]);
        let across: Vec<[f64; 2]> = cut.slots.iter().map(|s| s.across_m).collect();
        assert_eq!(across, [[-5.0, -4.0], [1.0, 4.0]], "slots");
    }

    /// The half-plane field: no moment and no force at the free edge, and the moment about the edge through any half
    /// circle is the same (all by differences of the deflection).
    #[test]
    fn the_half_plane_field_is_one() {
        let (nu, amplitude) = (0.34, 1.0);
        let w = |x: f64, y: f64| {
            let (r, t) = (x.hypot(y), y.atan2(x));
            amplitude * r * (r.ln() * t.cos() - 0.5 * (1.0 + nu) * t * t.sin())
        };
        let h = 1e-3;
        let curvatures = |x: f64, y: f64| {
            let xx = (w(x + h, y) - 2.0 * w(x, y) + w(x - h, y)) / (h * h);
            let yy = (w(x, y + h) - 2.0 * w(x, y) + w(x, y - h)) / (h * h);
            let xy = (w(x + h, y + h) - w(x + h, y - h) - w(x - h, y + h) + w(x - h, y - h)) / (4.0 * h * h);
            [xx, yy, xy]
        };
        // Moments per D on faces normal to x and y, and twisting.
        let moments = |x: f64, y: f64| {
            let [xx, yy, xy] = curvatures(x, y);
            [-(xx + nu * yy), -(yy + nu * xx), -(1.0 - nu) * xy]
        };
        let laplacian = |x: f64, y: f64| {
            let [xx, yy, _] = curvatures(x, y);
            xx + yy
        };
        // Edge x = 0: bending moment, and the force with the change of twist. Differences of differences: 1e-3 or so.
        let y = 0.8;
        assert!(moments(0.0, y)[0].abs() < 1e-4, "edge moment {}", moments(0.0, y)[0]);
        let e = 1e-2;
        let shear = -(laplacian(e, y) - laplacian(-e, y)) / (2.0 * e);
        let twist = (moments(0.0, y + e)[2] - moments(0.0, y - e)[2]) / (2.0 * e);
        assert!((shear + twist).abs() < 2e-3 * shear.abs().max(1.0), "edge force {shear} {twist}");
        // A straight cut x = const carries the whole moment M: integral of m_x over y, and of shear times the distance to
        // the edge. m_x falls with 1/r^2 only off the axis, so the tails are taken far out.
        let x = 1.0;
        let n = 200_000;
        let far = 2_000.0;
        let mut sum = 0.0;
        for i in 0..n {
            // Even steps in the logarithm of 1 + y.
            let step = (1.0_f64 + far).ln() / f64::from(n);
            let u = (f64::from(i) + 0.5) * step;
            let y = u.exp() - 1.0;
            let (r2, t) = (x * x + y * y, y.atan2(x));
            // Curvatures in closed form: in r and t, then turned.
            let r = r2.sqrt();
            let (c, s) = (t.cos(), t.sin());
            let radial = c / r;
            let hoop = -nu * c / r;
            let mixed = -s / r;
            let xx = radial * c * c + hoop * s * s - 2.0 * mixed * s * c;
            let yy = radial * s * s + hoop * c * c + 2.0 * mixed * s * c;
            let near = curvatures(x, y);
            if y < 5.0 {
                assert!(
                    (near[0] - xx).abs() < 1e-4 && (near[1] - yy).abs() < 1e-4,
                    "field at {y}: {near:?} {xx} {yy}"
                );
            }
            // d/dx of the Laplacian (1 - nu) c / r = (1 - nu) x / r^2.
            let shear = (1.0 - nu) * (1.0 / r2 - 2.0 * x * x / (r2 * r2));
            sum += 2.0 * ((xx + nu * yy) - x * shear) * u.exp() * step;
        }
        let expected = 0.5 * PI * (1.0 - nu) * (3.0 + nu);
        assert!((sum.abs() / expected - 1.0).abs() < 5e-3, "moment {sum} against {expected}");
        // Straight ahead the curvature is A / r: the strip's width by M / (D (1 - nu^2) curvature).
        let width = expected / (1.0 - nu * nu);
        assert!((width / growth(nu) - 1.0).abs() < 1e-12, "{width} {}", growth(nu));
    }
}
