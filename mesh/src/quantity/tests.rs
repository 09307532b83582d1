//! Quantities: every unit, both micro signs, and the messages of refused texts.

use super::*;

fn metres(text: &str) -> f64 {
    text.parse::<Length>().unwrap_or_else(|e| panic!("{text}: {e}")).0
}

fn refused<T: std::str::FromStr<Err = QuantityError> + fmt::Debug>(text: &str) -> String {
    text.parse::<T>().expect_err(text).to_string()
}

#[test]
fn lengths_read_to_the_nearest_number() {
    // The literal is the double nearest to the decimal value, so equality is exact.
    for (text, m) in [
        ("18 um", 18e-6),
        ("25 um", 25e-6),
        ("12.5\u{b5}m", 12.5e-6),
        ("12.5 \u{3bc}m", 12.5e-6),
        ("2 mil", 50.8e-6),
        ("0.1 in", 2.54e-3),
        ("-3.25 mm", -3.25e-3),
        ("1e-3 m", 1e-3),
        ("1.5e3um", 1.5e-3),
        ("+2cm", 0.02),
        (".5 mm", 0.5e-3),
    ] {
        assert!((metres(text) - m).abs() <= f64::EPSILON * m.abs(), "{text} read as {:e}", metres(text));
    }
    assert_eq!(metres("25 um").to_string(), "0.000025", "round numbers must print round");
}

#[test]
fn copper_weight_is_35_um_per_ounce() {
    let half: Thickness = "0.5 oz".parse().unwrap();
    assert!((half.0 - 17.5e-6).abs() < 1e-20, "0.5 oz read as {:e}", half.0);
    assert_eq!(Thickness::copper_weight("0.5 oz"), Some(0.5));
    assert_eq!(Thickness::copper_weight("18 um"), None);
    assert!(
        refused::<Length>("1 oz").starts_with("unknown length unit `oz` (known: um, mm, cm, m, mil, in)")
    );
}

#[test]
fn other_dimensions_convert_to_si() {
    fn si<T: std::str::FromStr<Err = QuantityError>>(text: &str, get: fn(T) -> f64) -> f64 {
        get(text.parse::<T>().unwrap_or_else(|e| panic!("{text}: {e}")))
    }
    let cases = [
        (si::<Current>("120 mA", |v| v.0), 0.12),
        (si::<FluxDensity>("1.30 T", |v| v.0), 1.3),
        (si::<FluxDensity>("13 kG", |v| v.0), 1.3),
        (si::<Temperature>("40 degC", |v| v.0), 40.0),
        (si::<Temperature>("40 \u{b0}C", |v| v.0), 40.0),
        (si::<Temperature>("293.15 K", |v| v.0), 20.0),
        (si::<TemperatureRise>("20 degC", |v| v.0), 20.0),
        (si::<Stress>("2.5 GPa", |v| v.0), 2.5e9),
        // 1 psi = 6894.757293 Pa (NIST SP 811, appendix B.8, from memory).
        (si::<Stress>("1 psi", |v| v.0), 6_894.757_293),
        (si::<Mass>("120 mg", |v| v.0), 120e-6),
        (si::<Density>("1.42 g/cm3", |v| v.0), 1420.0),
        (si::<Density>("1420 kg/m\u{b3}", |v| v.0), 1420.0),
        (si::<Force>("1.5 mN", |v| v.0), 1.5e-3),
        (si::<Force>("1 gf", |v| v.0), 9.806_65e-3),
        (si::<Moment>("5 mN.m", |v| v.0), 5e-3),
        (si::<Moment>("5 uN m", |v| v.0), 5e-6),
        (si::<Moment>("5 N\u{b7}m", |v| v.0), 5.0),
        (si::<Angle>("180 deg", |v| v.0), std::f64::consts::PI),
        (si::<Share>("0.3 %", |v| v.0), 0.003),
        (si::<Share>("3000 microstrain", |v| v.0), 0.003),
        (si::<Share>("0.25", |v| v.0), 0.25),
        (si::<Expansion>("20 ppm/K", |v| v.0), 20e-6),
        (si::<Acceleration>("1 g", |v| v.0), 9.806_65),
        (si::<Resistivity>("17.241 nohm m", |v| v.0), 17.241e-9),
        (si::<Inertia>("40 g mm2", |v| v.0), 4e-8),
    ];
    for (i, (got, want)) in cases.into_iter().enumerate() {
        assert!((got - want).abs() <= 1e-9 * want.abs(), "case {i}: {got:e} instead of {want:e}");
    }
}

#[test]
fn refused_texts_say_what_would_be_right() {
    let unknown = refused::<Length>("35 mu");
    assert!(
        unknown.starts_with("unknown length unit `mu` (known: um, mm, cm, m, mil, in); did you mean `mm`?")
            || unknown.contains("did you mean"),
        "{unknown}"
    );
    assert!(
        refused::<Length>("35 mA").ends_with("`mA` is a unit of current"),
        "{}",
        refused::<Length>("35 mA")
    );
    assert!(refused::<Length>("35").contains("has no unit"), "{}", refused::<Length>("35"));
    assert!(refused::<Length>("0,5 mm").contains("decimal point"), "{}", refused::<Length>("0,5 mm"));
    assert!(
        refused::<Length>("thick").contains("does not start with a number"),
        "{}",
        refused::<Length>("thick")
    );
    for text in ["nan mm", "NaN", "inf mm", "-inf um", "1e999 mm"] {
        assert!(
            refused::<Length>(text).contains("not a finite number"),
            "{text}: {}",
            refused::<Length>(text)
        );
    }
    for text in ["", " ", ".", "-", "e5 mm", "+. mm"] {
        assert!(
            refused::<Length>(text).contains("does not start with a number"),
            "{text:?}: {}",
            refused::<Length>(text)
        );
    }
}

#[test]
fn bare_numbers_ask_for_a_string_with_unit() {
    #[derive(Debug, serde::Deserialize)]
    struct Sheet {
        #[expect(dead_code, reason = "read only for its error")]
        thickness: Length,
    }
    let message = toml::from_str::<Sheet>("thickness = 35").expect_err("bare").message().to_owned();
    assert_eq!(
        message,
        "invalid type: integer `35`, expected a length with its unit as a string, such as \"18 um\""
    );
}
