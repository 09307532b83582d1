//! Numbers as people read them: a few digits, a fitting prefix, always a unit.
//!
//! SI inside, units of the drawing outside: the only other place besides the reading of quantities that converts.

/// A value with about `digits` significant digits in plain decimals (no exponent between 1e-4 and 1e7).
pub(crate) fn plain(v: f64, digits: i32) -> String {
    if !v.is_finite() {
        return "not a number".to_owned();
    }
    if v == 0.0 {
        return "0".to_owned();
    }
    let decade = decade_of(v, digits);
    if !(-4..7).contains(&decade) {
        return format!("{v:.*e}", usize::try_from(digits - 1).unwrap_or(0));
    }
    format!("{v:.*}", usize::try_from((digits - 1 - decade).max(0)).unwrap_or(0))
}

/// Power of ten of the first digit after rounding to `digits`.
#[expect(clippy::cast_possible_truncation, reason = "exponents of finite doubles are small")]
fn decade_of(v: f64, digits: i32) -> i32 {
    let decade = v.abs().log10().floor() as i32;
    let rounded_up = (v.abs() / 10f64.powi(decade - digits + 1)).round() >= 10f64.powi(digits);
    decade + i32::from(rounded_up)
}

/// A value with a prefix that suits it: `engineering(3.2e-3, "N")` is "3.20 mN".
pub(crate) fn engineering(v: f64, unit: &str) -> String {
    const PREFIXES: [(f64, &str); 7] =
        [(1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "\u{b5}"), (1e-9, "n"), (1e-12, "p")];
    let (factor, prefix) = PREFIXES
        .into_iter()
        .find(|(factor, _)| v.abs() >= 0.9995 * factor)
        .unwrap_or((if v == 0.0 { 1.0 } else { 1e-12 }, if v == 0.0 { "" } else { "p" }));
    format!("{} {prefix}{unit}", plain(v / factor, 3))
}

/// Distance to a named feature: "0.455 mm from fillet of 'body'", or "on ..." within the board's 1 um grid.
pub(crate) fn beside(distance_m: f64, feature: &str) -> String {
    if distance_m < 1e-6 {
        return format!("on {feature}");
    }
    format!("{} mm from {feature}", plain(distance_m * 1e3, 3))
}

/// A vector with one prefix for all three parts, chosen by the largest.
pub(crate) fn vector(v: [f64; 3], unit: &str) -> String {
    let largest = v.iter().fold(0.0f64, |m, c| m.max(c.abs()));
    let sample = engineering(largest, unit);
    let prefixed = sample.rsplit(' ').next().unwrap_or(unit);
    let factor = match prefixed.strip_suffix(unit) {
        Some("M") => 1e6,
        Some("k") => 1e3,
        Some("m") => 1e-3,
        Some("\u{b5}") => 1e-6,
        Some("n") => 1e-9,
        Some("p") => 1e-12,
        _ => 1.0,
    };
    let decimals = 2 - decade_of((largest / factor).max(1.0), 3);
    let decimals = usize::try_from(decimals.max(0)).unwrap_or(0);
    let [x, y, z] = v.map(|c| signed(c / factor, decimals));
    format!("x {x}, y {y}, z {z} {prefixed}")
}

/// A value with its sign and a fixed number of decimals; what rounds to zero has no sign.
pub(crate) fn signed(v: f64, decimals: usize) -> String {
    let text = format!("{v:+.decimals$}");
    if text.chars().any(|c| ('1'..='9').contains(&c)) {
        text
    } else {
        text.trim_start_matches(['+', '-']).to_owned()
    }
}

/// A length in mm to the micrometre.
pub(crate) fn mm(v_m: f64) -> String {
    let text = format!("{:.3}", v_m * 1e3);
    if text == "-0.000" { "0.000".to_owned() } else { text }
}

/// A length in um, tenths below 100.
pub(crate) fn um(v_m: f64) -> String {
    let v = v_m * 1e6;
    if v.abs() < 99.95 { plain_tenths(v) } else { format!("{v:.0}") }
}

fn plain_tenths(v: f64) -> String {
    let text = format!("{v:.1}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
}

/// An angle in degrees with its sign, small angles to more decimals.
pub(crate) fn degrees(v_rad: f64) -> String {
    let v = v_rad.to_degrees();
    let decimals = if v.abs() < 1.0 { 4 } else { 3 };
    format!("{}\u{b0}", signed(v, decimals))
}

/// A strain in um/m with its sign and its error, to the same decimal place.
pub(crate) fn strain_with_error(strain: f64, error: f64) -> [String; 2] {
    let decimals = strain_decimals(strain.abs().max(error.abs()));
    // An error is never rounded down to nothing.
    let least = 10f64.powi(-i32::try_from(decimals).unwrap_or(0));
    let shown = if error > 0.0 { (error * 1e6).max(least) } else { error * 1e6 };
    [signed(strain * 1e6, decimals), format!("{shown:.decimals$}")]
}

/// A strain in um/m with its sign.
pub(crate) fn strain(strain: f64) -> String {
    signed(strain * 1e6, strain_decimals(strain.abs()))
}

fn strain_decimals(size: f64) -> usize {
    match size * 1e6 {
        s if s >= 99.95 || s == 0.0 => 0,
        s if s >= 9.995 => 1,
        _ => 2,
    }
}

/// A value on a scale of whole steps, signed, with no more decimals than the step needs.
pub(crate) fn tick(v: f64, step: f64) -> String {
    let whole = |d: i32| {
        let scaled = step.abs() * 10f64.powi(d);
        (scaled - scaled.round()).abs() < 1e-6 * scaled.max(1e-300)
    };
    let decimals = (0..6).find(|&d| whole(d)).unwrap_or(6);
    signed(v, usize::try_from(decimals).unwrap_or(0))
}

/// With the typographic minus, for pictures.
pub(crate) fn typeset(text: &str) -> String {
    text.replace('-', "\u{2212}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_are_kept_across_decades() {
        assert_eq!(plain(123_456.0, 3), "123456", "large values lose nothing");
        assert_eq!(plain(0.012_345, 3), "0.0123", "small values keep three digits");
        assert_eq!(plain(9.999, 3), "10.0", "rounding up keeps the count");
        assert_eq!(plain(1.5e-7, 3), "1.50e-7", "very small values take an exponent");
    }

    #[test]
    fn prefixes_fit_the_size() {
        assert_eq!(engineering(3.2e-3, "N"), "3.20 mN", "milli");
        assert_eq!(engineering(-4.56e-7, "N\u{b7}m"), "-456 nN\u{b7}m", "nano, with sign");
        assert_eq!(engineering(0.999_9e-3, "N"), "1.00 mN", "rounds into the next prefix");
        assert_eq!(engineering(0.0, "N"), "0 N", "nothing");
    }

    #[test]
    fn vectors_share_their_prefix() {
        assert_eq!(vector([0.0, 1e-3, -2.5e-5], "N"), "x 0.00, y +1.00, z -0.03 mN", "milli for all");
        assert_eq!(vector([0.0; 3], "N"), "x 0.00, y 0.00, z 0.00 N", "nothing");
    }

    #[test]
    fn strains_and_errors_share_their_decimals() {
        assert_eq!(strain_with_error(2.8634e-3, 2.8e-5), ["+2863", "28"], "thousands");
        assert_eq!(strain_with_error(-5.5e-5, 1e-9), ["-55.0", "0.1"], "an error never vanishes");
        assert_eq!(strain(0.0), "0", "zero has no sign");
    }

    #[test]
    fn ticks_have_the_decimals_of_their_step() {
        assert_eq!(tick(60.0, 20.0), "+60", "whole steps");
        assert_eq!(tick(-4.5, 1.5), "-4.5", "halves");
        assert_eq!(tick(0.0, 0.25), "0.00", "quarters");
    }

    #[test]
    fn zero_lengths_and_angles_have_no_minus() {
        assert_eq!(mm(-1e-9), "0.000", "length");
        assert_eq!(degrees(-1e-12), "0.0000\u{b0}", "angle");
    }
}
