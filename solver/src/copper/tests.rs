//! The law against closed forms, finite differences, Masing's rules, and an independent integration.

#![allow(clippy::float_cmp, reason = "exact figures are meant")]
#![allow(clippy::print_stdout, reason = "figures are shown when a test fails")]

use super::bending::{Strand, bare_foil_set, set_ratio};
use super::*;
use crate::life::CopperKind;
use nalgebra::{Matrix3, Vector3};

#[track_caller]
fn close(value: f64, want: f64, tolerance: f64) {
    assert!((value / want - 1.0).abs() <= tolerance, "{value} against {want}");
}

fn ideal(hardening_pa: f64) -> Law {
    Curve::Bilinear { modulus_pa: 117e9, yield_pa: 60e6, hardening_pa }.law(0.34, 1, 0.02)
}

fn cyclic() -> Law {
    let curve = CopperKind::RolledAnnealed.slopes().as_strain_life().cyclic_curve();
    Curve::Power(curve).law(0.34, 10, 0.02)
}

/// Closed form: load to 0.5 %, let go (no reverse yield: the strain let go is below 2 sy / E).
#[test]
fn set_of_a_fibre() {
    for (hardening, want) in [(0.0, 0.004_487_179), (5e9, 0.004_303_279)] {
        let law = ideal(hardening);
        let mut fibre = Fibre::new(&law);
        fibre.to(0.005);
        close(fibre.release(), want, 1e-6);
        assert!(fibre.stress_pa().abs() < 1.0, "stress left {}", fibre.stress_pa());
    }
}

/// Bare foil: textbook closed form and the sum over fibres. Laminates: recomputed independently by another program
/// (midpoint rule, 4000 slices a layer).
#[test]
fn set_of_bent_foils_and_laminates() {
    let law = ideal(0.0);
    close(bare_foil_set(35e-6, 5e-3, 60e6, 117e9), 0.781_792_538_705_955, 1e-12);
    close(set_ratio(&[Strand::Copper(35e-6, &law)], 200.0, 4000), 0.781_792_538_7, 1e-6);
    let stack = |film: f64, copper: f64| {
        let film = Strand::Elastic([film, 2.5e9]);
        set_ratio(&[film, Strand::Copper(copper, &law), film], 200.0, 4000)
    };
    assert!((stack(25e-6, 35e-6) - 0.608_54).abs() < 1e-4, "{}", stack(25e-6, 35e-6));
    assert!((stack(50e-6, 18e-6) - 0.083_477).abs() < 1e-4, "{}", stack(50e-6, 18e-6));
    assert_eq!(bare_foil_set(35e-6, 1.0, 60e6, 117e9), 0.0, "a gentle bend leaves no set");
}

#[test]
fn parts_follow_their_curve() {
    let law = cyclic();
    assert!((6..=10).contains(&law.parts.len()), "{} parts", law.parts.len());
    close(law.parts.iter().map(|p| p.share).sum(), 1.0, 1e-12);
    let curve = Curve::Power(CopperKind::RolledAnnealed.slopes().as_strain_life().cyclic_curve());
    let mut worst: f64 = 0.0;
    for k in 1..400 {
        let strain = 0.02 * f64::from(k) / 400.0;
        worst = worst.max((law.first_pull_pa(strain) / curve.stress_pa(strain) - 1.0).abs());
    }
    assert!(worst < 0.015, "the law is {worst} off its curve");
    let table = Curve::checked(vec![[4e-4, 46.8e6], [2e-3, 70e6], [1e-2, 110e6]]).expect("a curve");
    let law = table.law(0.34, 8, 0.02);
    for (strain, stress) in [(2e-4, 23.4e6), (2e-3, 70e6), (6e-3, 90e6), (2e-2, 110e6)] {
        close(law.first_pull_pa(strain), stress, 1e-12);
    }
}

#[test]
fn bad_curves_name_their_row() {
    let told = |rows: &[[f64; 2]]| Curve::checked(rows.to_vec()).expect_err("a fault").to_string();
    assert!(told(&[]).contains("two to ten rows"), "empty");
    assert!(told(&[[1e-3, 5e7], [5e-4, 6e7]]).contains("row 2"), "strain falls");
    assert!(told(&[[1e-3, 5e7], [2e-3, 4e7]]).contains("must not fall"), "stress falls");
    assert!(told(&[[1e-3, 5e7], [2e-3, 2e8]]).contains("must not rise"), "stiffens");
    assert!(told(&[[f64::NAN, 5e7], [2e-3, 6e7]]).contains("row 1"), "no number");
}

/// Masing: a branch after reversal is the first pull at twice the scale, whatever the law.
#[test]
fn branches_are_the_first_pull_doubled() {
    let law = cyclic();
    let mut fibre = Fibre::new(&law);
    let top = fibre.to(0.004);
    for k in 1..=40 {
        let back = 0.008 * f64::from(k) / 40.0;
        let drop = top - fibre.to(0.004 - back);
        close(drop, 2.0 * law.first_pull_pa(0.5 * back), 1e-12);
    }
    // The tips lie on the curve: the loop closes.
    close(fibre.stress_pa(), -top, 1e-12);
    close(fibre.to(0.004), top, 1e-12);
}

/// A small loop closed on the way leaves no trace: the branch goes on as if it had not been.
#[test]
fn closed_loops_are_forgotten() {
    let law = cyclic();
    let (mut plain, mut looped) = (Fibre::new(&law), Fibre::new(&law));
    for strain in [0.006, -0.002] {
        plain.to(strain);
        looped.to(strain);
    }
    for strain in [0.001, -0.001, 0.000_2, 0.001, -0.002] {
        looped.to(strain);
    }
    for strain in [-0.003, 0.002, 0.006] {
        close(plain.to(strain), looped.to(strain), 1e-12);
    }
}

/// Heat of a loop against its area by the trapezoid rule at the kinks.
#[test]
fn heat_of_a_loop_is_its_area() {
    let law = cyclic();
    let mut fibre = Fibre::new(&law);
    fibre.to(0.003);
    let before = fibre.lost_j_m3();
    let (mut area, mut last) = (0.0, [0.003, fibre.stress_pa()]);
    let ways = [(0.003, -0.003), (-0.003, 0.003)];
    for (from, to) in ways {
        for k in 1..=20_000 {
            let strain = from + (to - from) * f64::from(k) / 20_000.0;
            let stress = fibre.to(strain);
            area += 0.5 * (stress + last[1]) * (strain - last[0]);
            last = [strain, stress];
        }
    }
    close(fibre.lost_j_m3() - before, area, 1e-6);
    // The same loop in two steps only: nothing depends on the steps.
    let mut coarse = Fibre::new(&law);
    for strain in [0.003, -0.003, 0.003] {
        coarse.to(strain);
    }
    close(coarse.stress_pa(), fibre.stress_pa(), 1e-12);
}

/// Loops in plane stress: heat against the area of all three stress-strain loops together, the strain turning on the
/// way. What is stored is stored energy of the parts; once the loop closes nothing is. The area of the polygon of steps
/// errs with their square, so must the difference.
#[test]
fn heat_of_a_plane_loop_is_its_area() {
    let law = cyclic();
    let at = |angle: f64| Vector3::new(3e-3 * angle.cos(), -1e-3 * angle.cos(), 1.2e-3 * (angle + 0.4).sin());
    let soft = crate::laminate::isotropic_q(law.modulus_pa, law.poisson).try_inverse().expect("a stiffness");
    let stored = |parts: &[Vector3<f64>]| -> f64 {
        law.parts.iter().zip(parts).map(|(part, s)| 0.5 * part.share * s.dot(&(soft * s))).sum()
    };
    let round = |n: i32| {
        let mut parts = vec![Vector3::zeros(); law.parts.len()];
        law.step(&at(0.0), &mut parts);
        let (mut heat, mut area, mut kept) = (0.0, 0.0, 0.0);
        for _ in 0..6 {
            let before = stored(&parts);
            (heat, area) = (0.0, 0.0);
            let mut stress: Vector3<f64> =
                law.parts.iter().zip(&parts).map(|(part, s)| *s * part.share).sum();
            for k in 1..=n {
                let angle = |k: i32| std::f64::consts::TAU * f64::from(k) / f64::from(n);
                let by = at(angle(k)) - at(angle(k - 1));
                let now = law.step(&by, &mut parts);
                heat += now.lost_j_m3;
                area += 0.5 * (now.stress + stress).dot(&by);
                stress = now.stress;
            }
            kept = stored(&parts) - before;
        }
        println!("{n} steps: heat {heat} J/m3, area {area} J/m3, stored {kept} J/m3");
        assert!(kept.abs() < 1e-3 * area, "the loop closes: {kept} of {area} J/m3");
        [heat, area - kept]
    };
    let [heat, area] = round(40_000);
    close(heat, area, 1e-6);
    let [coarse_heat, coarse_area] = round(1000);
    let [coarse, fine] = [coarse_heat / coarse_area - 1.0, heat / area - 1.0].map(f64::abs);
    println!("off by {coarse:.2e} in 1000 steps, {fine:.2e} in 40000");
    assert!(fine < coarse / 200.0, "second order: {coarse} {fine}");
    close(coarse_heat, heat, 1e-3);
}

/// One way and back in single steps: the heat of a part under uniaxial stress is that of the fibre, whatever the step.
#[test]
fn heat_does_not_depend_on_the_step_along_one_direction() {
    let law = ideal(0.0);
    let heat = |n: i32| {
        let mut parts = vec![Vector3::zeros(); 1];
        let mut sum = 0.0;
        for way in [4e-3, -8e-3, 8e-3] {
            for _ in 0..n {
                // Ideally plastic shear: the stress keeps its direction.
                sum += law.step(&Vector3::new(0.0, 0.0, way / f64::from(n)), &mut parts).lost_j_m3;
            }
        }
        sum
    };
    let yield_pa = 60e6 / 3.0_f64.sqrt();
    let shear_pa = 117e9 / 2.68;
    let plastic = 20e-3 - 5.0 * yield_pa / shear_pa;
    close(heat(1), yield_pa * plastic, 1e-12);
    close(heat(17), yield_pa * plastic, 1e-12);
}

#[test]
fn tangent_is_the_derivative() {
    let law = cyclic();
    let mut parts = vec![Vector3::zeros(); law.parts.len()];
    law.step(&Vector3::new(3e-3, -1.5e-3, 1e-3), &mut parts);
    for by in [[1e-3, 2e-3, -5e-4], [-4e-3, 1e-3, 2e-3], [2e-4, -1e-4, 1e-5], [-2e-3, -2e-3, 0.0]] {
        let by = Vector3::from(by);
        let found = law.step(&by, &mut parts.clone());
        let h = 1e-9;
        let difference = Matrix3::from_fn(|i, j| {
            let at = |sign: f64| {
                let mut moved = by;
                moved[j] += sign * h;
                law.step(&moved, &mut parts.clone()).stress[i]
            };
            (at(1.0) - at(-1.0)) / (2.0 * h)
        });
        let off = (found.tangent - difference).amax() / found.tangent.amax();
        assert!(off < 1e-6, "tangent off by {off}: {by}");
        assert!(
            (found.tangent - found.tangent.transpose()).amax() < 1e-12 * found.tangent.amax(),
            "symmetric"
        );
    }
}

/// One direction pulled with the sides free: in plane stress the parts contract differently; the fibre is missed by
/// less than two per cent, a single part not at all.
#[test]
fn plane_stress_pulled_one_way_is_nearly_the_fibre() {
    for (law, allowed) in [(ideal(0.0), 1e-9), (cyclic(), 0.02)] {
        let mut parts = vec![Vector3::zeros(); law.parts.len()];
        let (mut across, mut strain) = (0.0, 0.0);
        for _ in 0..40 {
            strain += 1e-4;
            let mut by = Vector3::new(1e-4, 0.0, 0.0);
            for _ in 0..60 {
                let now = law.step(&by, &mut parts.clone());
                if now.stress[1].abs() < 1e-3 {
                    break;
                }
                by[1] -= now.stress[1] / now.tangent[(1, 1)];
            }
            across += by[1];
            let now = law.step(&by, &mut parts);
            let want = law.first_pull_pa(strain);
            assert!((now.stress[0] / want - 1.0).abs() < allowed, "{strain}: {} {want}", now.stress[0]);
        }
        assert!(across < -0.3 * strain && across > -0.5 * strain, "contraction {}", across / strain);
    }
}

#[test]
fn shear_yields_at_the_mises_stress() {
    let law = ideal(0.0);
    let mut parts = vec![Vector3::zeros(); 1];
    let now = law.step(&Vector3::new(0.0, 0.0, 0.01), &mut parts);
    close(now.stress[2], 60e6 / 3.0_f64.sqrt(), 1e-12);
    close(mises_pa(&now.stress), 60e6, 1e-12);
}
