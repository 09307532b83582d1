//! Counting, laws, damage and rules against recomputed values, a worked example of a standard, facts of the trade.

#![allow(clippy::float_cmp, reason = "exact figures are meant")]

use super::*;
use crate::life::foil::FoilRelation;
use crate::life::mean::with_mean_stress;
use crate::life::miner::{Block, NoDamage, damage};
use crate::life::rainflow::{rainflow, rainflow_repeated};
use crate::life::slopes::StrainLife;

#[track_caller]
fn close(value: f64, want: f64, tolerance: f64) {
    assert!((value / want - 1.0).abs() <= tolerance, "{value} against {want}");
}

/// Common practice, no source: at 25 Hz the copper flexes 50 times a second; 16 Hz for a month is more than 80 million
/// flexes, both polarities counted.
#[test]
fn counting_facts_of_the_trade() {
    assert_eq!(count::flexes(25.0), 50.0, "flexes a second at 25 Hz");
    assert!(count::flexes(count::cycles_in_days(16.0, 30.0)) > 80e6, "a month at 16 Hz");
    for (hz, days, want) in [
        (18.0, 30.0, 93_312_000.0),
        (18.0, 31.0, 96_422_400.0),
        (18.0, 28.0, 87_091_200.0),
        (22.0, 30.0, 114_048_000.0),
    ] {
        assert_eq!(count::flexes(count::cycles_in_days(hz, days)), want, "{days} days at {hz} Hz");
    }
    close(count::days(count::cycles(1e8), 22.0), 26.304_714, 1e-7);
    close(count::days(count::cycles(1e8), 18.0), 32.150_206, 1e-7);
    close(count::hours(count::cycles(1e8), 25.0), 555.555_556, 1e-8);
}

const ROLLED: FoilRelation = CopperKind::RolledAnnealed.foil();
const DEPOSITED: FoilRelation = CopperKind::Electrodeposited.foil();

/// Recomputed independently (Newton on the printed equation).
#[test]
fn foil_relation() {
    for (range, rolled, deposited) in [
        (0.02, 201.407_141_511_573, 62.525_092_019_578),
        (0.01, 820.933_474_625_059, 322.835_901_463_858),
        (0.005, 4_332.274_934_163_14, 3_326.654_531_810_94),
        (0.003, 21_511.519_203_148_3, 71_002.310_031_347_6),
        (0.002, 127_863.733_975_223, 3_558_539.429_462_49),
        (0.0015, 741_827.121_968_451, 88_288_489.650_968_3),
        (0.001, 20_046_950.414_085_1, 9_159_429_833.692_47),
    ] {
        close(ROLLED.cycles(range).expect("rolled"), rolled, 1e-9);
        close(DEPOSITED.cycles(range).expect("deposited"), deposited, 1e-9);
    }
    close(ROLLED.range(1e5), 0.002_097_667_738_749_8, 1e-12);
    close(ROLLED.range(1e8), 0.000_840_316_719_124_457, 1e-12);
    close(ROLLED.range(5e7), 0.000_905_004_353_800_742, 1e-12);
    close(DEPOSITED.range(1e5), 2.877_828e-3, 1e-6);
    close(DEPOSITED.range(1e8), 1.483_655e-3, 1e-6);
}

/// 18 um of copper bent to 6 mm both ways: outer fibre 9 um from the axis.
#[test]
fn worked_arm() {
    close(ROLLED.cycles(2.0 * 9e-6 / 6e-3).expect("law"), 21_500.0, 1e-3);
    close(2.0 * 9e-6 / ROLLED.range(count::cycles(1e8)), 19.9e-3, 1e-3);
    close(foil::mandrel_range(18e-6, 68e-6, 6e-3), 36e-6 / 12.068e-3, 1e-12);
}

#[test]
fn universal_slopes_in_both_forms() {
    let law = CopperKind::RolledAnnealed.slopes();
    for (range, want) in [
        (0.01, 2_477.851_298_427_41),
        (0.003, 51_081.038_761_471_5),
        (0.002, 223_192.038_112_849),
        (0.001, 10_154_309.591_539_7),
    ] {
        close(law.cycles(range).expect("law"), want, 1e-9);
        close(law.as_strain_life().cycles(0.5 * range).expect("law"), want, 1e-9);
    }
    let lines = law.as_strain_life();
    close(lines.strength_pa, 418.392_922e6, 1e-8);
    close(lines.ductility, 0.611_853, 1e-6);
    close(lines.transition_cycles(), 22_468.328, 1e-6);
    close(lines.cyclic_curve().coefficient_pa, 461.588e6, 2e-6);
}

fn lines() -> StrainLife {
    StrainLife {
        strength_pa: 418.392_922e6,
        strength_exponent: -0.12,
        ductility: 0.611_853,
        ductility_exponent: -0.6,
        modulus_pa: 117e9,
    }
}

#[test]
fn strain_life_law_and_its_cyclic_curve() {
    for (amplitude, cycles, stress) in [
        (0.0005, 10_154_311.773_198_7, 55_547_263.708_285_2),
        (0.001, 223_192.181_297_893, 87_825_221.187_605_1),
        (0.002, 21_774.907_462_478_9, 116_119_717.679_908),
        (0.005, 2_477.853_681_591_41, 150_720_265.519_152),
        (0.01, 625.212_864_341_167, 177_802_302.537_528),
    ] {
        close(lines().cycles(amplitude).expect("law"), cycles, 1e-9);
        let curve = lines().cyclic_curve();
        close(curve.stress_pa(amplitude), stress, 1e-9);
        close(curve.strain(curve.stress_pa(-amplitude)), -amplitude, 1e-12);
    }
}

#[test]
fn mean_stress_shortens_life() {
    let found = with_mean_stress(&lines(), 0.001, 50e6).expect("law");
    close(found.none_cycles, 223_192.181_297_893, 1e-9);
    close(found.morrow_cycles, 155_480.293_232_431, 1e-9);
    close(found.swt_cycles, 69_661.118_587_132_3, 1e-9);
    assert!(found.lasts == 0.0 && found.factors() == [1.0; 2], "above 600 um/m the mean stress relaxes");
    let none = with_mean_stress(&lines(), 0.0004, 0.0).expect("law");
    close(none.swt_cycles, none.none_cycles, 1e-6);
    let small = with_mean_stress(&lines(), 0.0004, 20e6).expect("law");
    assert!(small.lasts == 1.0 && small.factors()[1] < 0.8, "{small:?}");
    let pressed = with_mean_stress(&lines(), 0.0004, -20e6).expect("law");
    assert!(pressed.factors() == [1.0; 2] && pressed.morrow_cycles > pressed.none_cycles, "{pressed:?}");
    let crushed = with_mean_stress(&lines(), 0.0004, -90e6).expect("law");
    assert!(crushed.swt_cycles == MOST_CYCLES, "never open: {crushed:?}");
}

/// Where the plastic line is small both corrections have closed forms: Morrow's factor on life is
/// `(1 - sm / sf')^(-1 / b)`, that of Smith, Watson, Topper `(1 + sm / sa)^(1 / 2b)` (both derived from the elastic lines).
#[test]
fn mean_stress_closed_forms_of_the_elastic_line() {
    let law = StrainLife { ductility: 1e-9, ..lines() };
    let (amplitude, mean_pa) = (3e-4, 25e6);
    let found = with_mean_stress(&law, amplitude, mean_pa).expect("law");
    let b = law.strength_exponent;
    close(found.none_cycles, 0.5 * (amplitude * law.modulus_pa / law.strength_pa).powf(1.0 / b), 1e-4);
    close(found.morrow_cycles / found.none_cycles, (1.0 - mean_pa / law.strength_pa).powf(-1.0 / b), 1e-4);
    let stress = law.modulus_pa * amplitude;
    let swt = (1.0 + mean_pa / stress).powf(1.0 / (2.0 * b));
    close(found.swt_cycles / found.none_cycles, swt, 0.01);
}

/// The band under a mean stress: each edge by its own correction where the stress lasts, untouched where it does not.
#[test]
fn the_band_uses_the_mean_stress_that_lasts() {
    let kind = CopperKind::RolledAnnealed;
    let (plain, under) = (Band::at(kind, 7e-4).expect("law"), Band::under(kind, 7e-4, 30e6).expect("law"));
    let both = with_mean_stress(&kind.slopes().as_strain_life(), 3.5e-4, 30e6).expect("law");
    let [harsh, mild] = [both.swt_cycles, both.morrow_cycles].map(|n| n / both.none_cycles);
    assert!(harsh < mild && mild < 1.0, "{both:?}");
    close(under.low() / plain.low(), harsh, 1e-12);
    close(under.high() / plain.high(), mild, 1e-12);
    assert_eq!(under.without_mean(), [plain.low(), plain.high()], "shown beside");
    assert_eq!(both.verdict(), "used: it lasts");
    for (range, mean_pa) in [(1.3e-3, 30e6), (7e-4, -30e6), (7e-4, 0.0)] {
        let same = Band::under(kind, range, mean_pa).expect("law");
        assert_eq!(same.mean_factors, [1.0; 2], "range {range}, mean {mean_pa}");
    }
    let part = Band::under(kind, 1e-3, 30e6).expect("law").mean_factors[0];
    let whole = with_mean_stress(&kind.slopes().as_strain_life(), 5e-4, 30e6).expect("law");
    close(part, (whole.swt_cycles / whole.none_cycles).sqrt(), 1e-9);
}

/// Slope exponent by hand from the two anchors.
#[test]
fn high_cycle_line_passes_its_anchors() {
    let line = CopperKind::RolledAnnealed.line();
    close(line.exponent(), 8.551_755, 1e-6);
    close(line.cycles(2.0 * 76e6 / 117e9), 1e8, 1e-12);
    close(line.cycles(7.6e-4), 9.8e9, 1e-12);
}

#[test]
fn the_band_holds_all_laws_and_says_where_data_end() {
    let band = Band::at(CopperKind::RolledAnnealed, 1e-3).expect("law");
    close(band.foil_cycles, 2.0047e7, 1e-4);
    close(band.line_cycles, 9.4e8, 0.01);
    assert!(band.low() < band.middle() && band.middle() < band.high() && !band.extrapolated, "{band:?}");
    assert!(
        Band::at(CopperKind::RolledAnnealed, 7.5e-4).expect("law").extrapolated,
        "below 3.8e-4 amplitude"
    );
    let tiny = Band::at(CopperKind::RolledAnnealed, 1e-5).expect("law");
    assert!(tiny.extrapolated && tiny.low() == MOST_CYCLES, "{tiny:?}");
    let high = Band::at(CopperKind::RolledAnnealed, 0.3).expect_err("far above");
    assert!(high.is_high() && high.to_string().contains("within ten cycles"), "{high}");
    for bad in [f64::NAN, -1e-3] {
        assert!(Band::at(CopperKind::Electrodeposited, bad).is_err(), "{bad} is no strain");
    }
    // A decade at least between the 10 and 90 per cent points.
    close((2.0 * band.doubt() * 1.281_551_6).exp(), band.high() / band.low(), 1e-6);
    let band = Band::at(CopperKind::RolledAnnealed, 1e-3).expect("law");
    let narrow = Band { foil_cycles: 1e5, slopes_cycles: 1.1e5, line_cycles: 1e3, ..band };
    close((2.0 * narrow.doubt() * 1.281_551_6).exp(), 10.0, 1e-6);
}

/// Ductile copper lasts longer in few large bends, strong copper in many small ones (trend measured on 18 um foils:
/// H. D. Merchant and others, Circuit World 25 (1999) 38, abstract read).
#[test]
fn foils_change_places_with_strain() {
    let [r, d] = [ROLLED, DEPOSITED].map(|f| f.cycles(0.02).expect("law"));
    assert!(r > 2.0 * d, "large bends: {r} {d}");
    let [r, d] = [ROLLED, DEPOSITED].map(|f| f.cycles(0.0015).expect("law"));
    assert!(d > 10.0 * r, "small bends: {r} {d}");
}

/// Worked example of ASTM E1049-85, Figure 6 (from memory): -2 1 -3 5 -1 3 -4 4 -2.
#[test]
fn rainflow_example_of_the_standard() {
    let counted = rainflow(&[-2.0, 1.0, -3.0, 5.0, -1.0, 3.0, -4.0, 4.0, -2.0]);
    let of = |range: f64| counted.iter().filter(|c| c.range == range).map(|c| c.count).sum::<f64>();
    assert_eq!([3.0, 4.0, 6.0, 8.0, 9.0].map(of), [0.5, 1.5, 0.5, 1.0, 0.5], "{counted:?}");
    assert!((counted.iter().map(|c| c.count).sum::<f64>() - 4.0).abs() < 1e-12, "no other ranges");
    let closed = counted.iter().find(|c| c.count == 1.0).expect("a closed cycle");
    assert_eq!((closed.range, closed.mean), (4.0, 1.0), "from -1 to 3");
}

#[test]
fn repeated_histories_close_all_cycles() {
    let counted = rainflow_repeated(&[0.0, 1.0, 0.3, 0.6, -1.0, 0.0]);
    assert_eq!(counted.len(), 2, "{counted:?}");
    assert!(counted.iter().all(|c| c.count == 1.0), "{counted:?}");
    assert!(counted.iter().any(|c| c.range == 2.0) && counted.iter().any(|c| (c.range - 0.3).abs() < 1e-12));
    assert!(rainflow_repeated(&[]).is_empty() && rainflow(&[1.0, 1.0]).is_empty(), "nothing moves");
    let steady = rainflow_repeated(&[1.0, -1.0]);
    assert_eq!(steady, [rainflow::Counted { range: 2.0, mean: 0.0, count: 1.0 }], "one swing");
}

#[test]
fn damage_adds_up() {
    let block = |cycles, range| Block { cycles, range };
    let law = |range| ROLLED.cycles(range);
    let duties = [block(1e4, 0.003), block(1e5, 0.002), block(1e7, 0.0009)];
    let terms = damage(&duties, law).expect("damage");
    for (term, want) in terms.iter().zip([0.464_867_214, 0.782_082_588, 0.189_967_360]) {
        close(*term, want, 1e-8);
    }
    close(terms.iter().sum(), 1.436_917_162_325_99, 1e-9);
    assert_eq!(damage(&[], law), Err(NoDamage::Empty), "an empty duty list");
    assert!(matches!(damage(&[block(-1.0, 0.002)], law), Err(NoDamage::Cycles(1, _))), "negative cycles");
    assert!(matches!(damage(&[block(1.0, 0.5)], law), Err(NoDamage::Outside(1, _))), "far too much strain");
    assert_eq!(damage(&[block(1e9, 1e-6)], law), Ok(vec![0.0]), "hardly any strain uses nothing");
}

/// Rule as quoted by two flex makers (read there); double-sided form from memory.
#[test]
fn radius_rules() {
    for (percent, want) in
        [(0.3, 5_765.833_333_333), (0.1, 17_432.5), (10.0, 107.5), (11.0, 91.590_909_090_9), (16.0, 41.875)]
    {
        close(radius::least_radius_single(35.0, 50.0, percent), want, 1e-9);
    }
    close(radius::least_radius_double(25.0, 18.0, 40.0, 0.3), 10_096.166_666_666_7, 1e-9);
    close(radius::least_radius_double(50.0, 35.0, 50.0, 10.0), 490.0, 1e-9);
}

#[test]
fn soft_tapes_share_load_over_centimetres() {
    for (shear, want) in [
        (5e4, 0.039_562_828_403_747_2),
        (4e5, 0.013_987_572_123_604_7),
        (2e6, 0.006_255_432_421_712_24),
        (5e8, 0.000_395_628_284_037_472),
    ] {
        let length = radius::shear_lag_length_m([shear, 50e-6], [[20e9, 0.12e-3], [22.5e9, 0.2e-3]]);
        close(length, want, 1e-9);
    }
}
