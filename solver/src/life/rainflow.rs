//! Rainflow counting of a strain history into closed cycles and half cycles.
//!
//! The three-point rule of ASTM E1049-85 (from memory; its worked example is a test), and its closed form for a
//! history that repeats, where every cycle closes.

use serde::Serialize;

/// A counted cycle.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Counted {
    /// Largest less smallest value.
    pub range: f64,
    /// Half the sum of largest and smallest value.
    pub mean: f64,
    /// 1 for a closed cycle, 0.5 for a half.
    pub count: f64,
}

/// Turning points of a history: ends kept, repeats and values on the way dropped.
#[must_use]
pub fn turning_points(history: &[f64]) -> Vec<f64> {
    let mut out: Vec<f64> = Vec::new();
    for &value in history.iter().filter(|v| v.is_finite()) {
        match out[..] {
            [.., last] if last.total_cmp(&value).is_eq() => {}
            [.., before, last] if (last - before) * (value - last) > 0.0 => {
                if let Some(end) = out.last_mut() {
                    *end = value;
                }
            }
            _ => out.push(value),
        }
    }
    out
}

/// Cycles and half cycles of a history that happens once.
#[must_use]
pub fn rainflow(history: &[f64]) -> Vec<Counted> {
    let mut found = Vec::new();
    let mut open: Vec<f64> = Vec::new();
    for point in turning_points(history) {
        open.push(point);
        while let [.., a, b, c] = open[..] {
            let (now, before) = ((c - b).abs(), (b - a).abs());
            if now < before {
                break;
            }
            if open.len() == 3 {
                found.push(cycle(a, b, 0.5));
                open.remove(0);
            } else {
                found.push(cycle(a, b, 1.0));
                open.truncate(open.len() - 3);
                open.push(c);
            }
        }
    }
    found.extend(open.windows(2).map(|w| cycle(w[0], w[1], 0.5)));
    found
}

/// Closed cycles of a history that repeats without end.
#[must_use]
pub fn rainflow_repeated(history: &[f64]) -> Vec<Counted> {
    let points = turning_points(history);
    let Some(first) = (0..points.len()).max_by(|&a, &b| points[a].total_cmp(&points[b])) else {
        return Vec::new();
    };
    // From the largest value round to it again, every half meets its other half.
    let mut turned: Vec<f64> = points[first..].iter().chain(&points[..first]).copied().collect();
    turned.push(points[first]);
    let mut counted = rainflow(&turned);
    let halves = counted.iter().filter(|c| c.count < 1.0).count();
    if halves == 2 {
        // The outermost cycle came as two equal halves.
        let mut kept: Option<Counted> = None;
        counted.retain(|c| {
            if c.count < 1.0 {
                kept = Some(*c);
            }
            c.count >= 1.0
        });
        counted.extend(kept.map(|c| Counted { count: 1.0, ..c }));
    }
    counted
}

fn cycle(a: f64, b: f64, count: f64) -> Counted {
    Counted { range: (a - b).abs(), mean: 0.5 * (a + b), count }
}
