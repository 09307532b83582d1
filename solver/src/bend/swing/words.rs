//! Words and round numbers of the swing: currents, angles, what is touched, which angles are prescribed.

use crate::clearance::Approach;

pub(super) fn touching(approach: &Approach) -> String {
    let [x, y] = approach.at_m.map(|v| v * 1e3);
    format!("into contact with {} (board at x {x:.2} mm, y {y:.2} mm)", approach.to)
}

pub(super) fn milliampere(current_a: f64) -> String {
    format!("{} mA", short(current_a * 1e3))
}

pub(super) fn degrees(angle_rad: f64) -> String {
    format!("{} deg", short(angle_rad.to_degrees()))
}

/// With sign, three decimals at most.
fn short(value: f64) -> String {
    let text = format!("{value:+.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Whole multiples of a step inside a span, its ends added.
pub(super) fn multiples(from: f64, to: f64, step: f64) -> Vec<f64> {
    let first = (from / step - 1e-9).ceil();
    let mut list = vec![from];
    let mut k = first;
    while k * step <= to + 1e-9 * step && list.len() < 1000 {
        if (k * step - from).abs() > 1e-6 * step {
            list.push(k * step);
        }
        k += 1.0;
    }
    if list.last().is_some_and(|&last| (to - last).abs() > 1e-6 * step) {
        list.push(to);
    }
    list
}

#[cfg(test)]
mod tests {
    use super::multiples;

    #[test]
    fn prescribed_angles_are_round_and_reach_both_ends() {
        let list = multiples(-12.0, 10.0, 5.0);
        assert_eq!(list, [-12.0, -10.0, -5.0, 0.0, 5.0, 10.0], "ends kept, multiples between");
        assert_eq!(multiples(0.0, 3.0, 7.0), [0.0, 3.0], "a step wider than the span");
    }
}
