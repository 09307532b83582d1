//! Text with a unit → SI number, or a message that shows the text and what would be right.

use super::units::{ALL, Dimension, Unit};
use crate::design::nearest;
use std::fmt;

/// Why a text is not a quantity of the wanted dimension.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QuantityError {
    /// Complete sentence without a final stop: text, rule, remedy.
    message: String,
}

impl fmt::Display for QuantityError {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(&self.message)
    }
}

impl std::error::Error for QuantityError {}

impl QuantityError {
    /// The number is not finite.
    pub(super) fn not_finite(text: &str, dimension: &Dimension) -> Self {
        Self {
            message: format!(
                "`{text}` is not a finite number: {} such as {:?} is expected",
                dimension.noun, dimension.example
            ),
        }
    }
}

/// SI value of a text such as "18 um" (degC for temperatures).
///
/// Spaces, points and asterisks between unit parts do not matter; both micro signs, the ohm and the degree sign
/// are understood.
///
/// # Errors
/// [`QuantityError`] if the number cannot be read or is not finite, or the unit is missing or unknown.
pub fn parse(text: &str, dimension: &Dimension) -> Result<f64, QuantityError> {
    let trimmed = text.trim();
    let (number, rest) = split_number(trimmed);
    let bare = |s: &str| s.trim_start_matches(['+', '-']).to_ascii_lowercase();
    if ["nan", "inf"].iter().any(|word| bare(trimmed).starts_with(word)) {
        return Err(QuantityError::not_finite(trimmed, dimension));
    }
    if number.is_empty() {
        return Err(QuantityError {
            message: format!(
                "`{text}` does not start with a number: {} such as {:?} is expected",
                dimension.noun, dimension.example
            ),
        });
    }
    if rest.starts_with(',') {
        return Err(QuantityError {
            message: format!(
                "`{text}`: write a decimal point, not a comma, for example {:?}",
                dimension.example
            ),
        });
    }
    let value: f64 = number
        .parse()
        .map_err(|_| QuantityError { message: format!("`{number}` in `{text}` is not a number") })?;
    if !value.is_finite() {
        return Err(QuantityError::not_finite(trimmed, dimension));
    }
    let unit = normalise(rest);
    if unit.is_empty() && !dimension.bare {
        return Err(QuantityError {
            message: format!(
                "`{text}` has no unit: {} is expected in one of {}, for example {:?}",
                dimension.noun,
                dimension.known_units(),
                dimension.example
            ),
        });
    }
    match find(&unit, dimension) {
        Some(u) => Ok(value * u.times / u.over + u.plus),
        None => Err(QuantityError { message: unknown_unit(rest.trim(), &unit, dimension) }),
    }
}

fn find(unit: &str, dimension: &Dimension) -> Option<&'static Unit> {
    dimension.units.iter().find(|u| normalise(u.shown) == unit || u.also.contains(&unit))
}

fn unknown_unit(written: &str, unit: &str, dimension: &Dimension) -> String {
    let noun = dimension.noun.trim_start_matches("a ").trim_start_matches("an ");
    let mut message = format!("unknown {noun} unit `{written}` (known: {})", dimension.known_units());
    if let Some(other) = ALL.iter().find(|d| find(unit, d).is_some()) {
        message += &format!(
            "; `{written}` is a unit of {}",
            other.noun.trim_start_matches("a ").trim_start_matches("an ")
        );
    } else if let Some(close) = nearest(written, dimension.units.iter().map(|u| u.shown)) {
        message += &format!("; did you mean `{close}`?");
    }
    message
}

/// Longest leading text that reads as a decimal number, and the rest.
fn split_number(text: &str) -> (&str, &str) {
    let bytes = text.as_bytes();
    let digits = |mut i: usize| {
        while bytes.get(i).is_some_and(u8::is_ascii_digit) {
            i += 1;
        }
        i
    };
    let sign = usize::from(matches!(bytes.first(), Some(b'+' | b'-')));
    let whole = digits(sign);
    let mut end = whole;
    if bytes.get(end) == Some(&b'.') {
        end = digits(end + 1);
    }
    // A point alone is no number.
    if end - sign < 1 || (end - sign == 1 && bytes[sign] == b'.') {
        return ("", text);
    }
    if matches!(bytes.get(end), Some(b'e' | b'E')) {
        let first = end + 1 + usize::from(matches!(bytes.get(end + 1), Some(b'+' | b'-')));
        let last = digits(first);
        if last > first {
            end = last;
        }
    }
    text.split_at(end)
}

/// One spelling for each unit: no spaces, ASCII only, no product or power signs.
fn normalise(unit: &str) -> String {
    let mut plain = String::with_capacity(unit.len());
    for c in unit.chars() {
        match c {
            // U+00B5 MICRO SIGN and U+03BC GREEK SMALL LETTER MU.
            '\u{b5}' | '\u{3bc}' => plain.push('u'),
            '\u{b0}' => plain.push_str("deg"),
            '\u{2126}' | '\u{3a9}' => plain.push_str("ohm"),
            '\u{b2}' => plain.push('2'),
            '\u{b3}' => plain.push('3'),
            ' ' | '\t' | '.' | '*' | '^' | '\u{b7}' | '\u{22c5}' | '\u{a0}' | '\u{202f}' => {}
            other => plain.push(other),
        }
    }
    plain
}
