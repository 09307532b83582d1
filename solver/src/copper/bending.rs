//! A wide strip of layers bent and let go, fibre by fibre: permanent set by hand-checkable sums.
//!
//! Every fibre is alone along the strip (no contraction across), so this is the simplest law of set; the shell, with
//! plane stress, gives somewhat other figures for the same stack, since its layers share the contraction across.

use super::{Fibre, Law};

/// A layer of the strip.
#[derive(Debug, Clone, Copy)]
pub enum Strand<'l> {
    /// Thickness (m) and Young's modulus (Pa) of an elastic layer.
    Elastic([f64; 2]),
    /// Thickness (m) of a layer that yields, and its law.
    Copper(f64, &'l Law),
}

/// Curvature left over a curvature applied to a flat stack and let go, by `slices` fibres a layer, about the middle
/// plane of a symmetric stack; unloading is elastic.
#[must_use]
pub fn set_ratio(stack: &[Strand<'_>], curvature_per_m: f64, slices: u32) -> f64 {
    let thickness = |s: &Strand<'_>| match s {
        Strand::Elastic([t, _]) | Strand::Copper(t, _) => *t,
    };
    let whole: f64 = stack.iter().map(thickness).sum();
    let (mut low, mut moment, mut stiffness) = (-0.5 * whole, 0.0, 0.0);
    for strand in stack {
        let t = thickness(strand);
        let slice = t / f64::from(slices);
        for k in 0..slices {
            let z = low + slice * (f64::from(k) + 0.5);
            let strain = z * curvature_per_m;
            let (stress, modulus) = match strand {
                Strand::Elastic([_, e]) => (e * strain, *e),
                Strand::Copper(_, law) => (Fibre::new(law).to(strain), law.modulus_pa),
            };
            moment += stress * z * slice;
            stiffness += modulus * z * z * slice;
        }
        low += t;
    }
    1.0 - moment / (stiffness * curvature_per_m)
}

/// Residual over applied curvature of a bare foil, elastic and ideally plastic: `1 - 1.5 r + 0.5 r^3` with
/// `r = 2 sy rho / (E t)` (textbook; derived anew). Zero where nothing yields.
#[must_use]
pub fn bare_foil_set(thickness_m: f64, radius_m: f64, yield_pa: f64, modulus_pa: f64) -> f64 {
    let r = (2.0 * yield_pa * radius_m / (modulus_pa * thickness_m)).min(1.0);
    1.0 - 1.5 * r + 0.5 * r.powi(3)
}
