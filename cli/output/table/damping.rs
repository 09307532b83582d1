//! What a measured decay or resonance tells, on the screen.

use super::Sheet;
use super::grid::{Grid, Lean};
use crate::commands::damping::{Fitted, for_design};
use crate::output::numbers::plain;
use copperbend_solver::decay::fit::Fitted as Value;
use copperbend_solver::driven::Expected;

/// Likeness of neighbouring residuals from which the model misses something.
const ALIKE: f64 = 0.5;

/// Fitted values, beside those of a design where one is given.
pub(crate) fn damping(name: &str, fitted: &Fitted, beside: Option<&Expected>) -> String {
    let mut sheet = Sheet::default();
    let (frequency, ratio, drag) = match fitted {
        Fitted::Decay(d) => {
            sheet.line(format!("{name}: a free decay"));
            sheet.value(
                "record",
                format!(
                    "{} half swings from \u{b1}{} to \u{b1}{}\u{b0} about {}\u{b0}",
                    d.halves,
                    plain(d.from_rad.to_degrees(), 3),
                    plain(d.to_rad.to_degrees(), 3),
                    plain(d.mean_rad.value.to_degrees(), 3)
                ),
            );
            sheet.value(
                "left by the fit",
                format!("{}\u{b0} (root mean square)", plain(d.left_rad.to_degrees(), 2)),
            );
            (d.frequency_hz, d.ratio, d.drag_per_rad)
        }
        Fitted::Resonance(r, most) => {
            sheet.line(format!(
                "{name}: a resonance, swings up to \u{b1}{}\u{b0}",
                plain(most.to_degrees(), 3)
            ));
            sheet.value(
                "left by the fit",
                format!("{} % of the swing (root mean square)", plain(100.0 * r.left, 2)),
            );
            (r.frequency_hz, r.ratio, r.drag_per_rad)
        }
    };
    sheet.heading("Fitted, with one standard deviation");
    rows(&mut sheet, [frequency, ratio, drag], beside);
    if let Fitted::Decay(d) = fitted
        && d.likeness > ALIKE
    {
        sheet.item(
            "!",
            &format!(
                "what the fit leaves is alike from sample to sample ({}): the flap does something that damping in \
                 proportion to rate and its square does not tell; the deviations are widened for it",
                plain(d.likeness, 2)
            ),
        );
    }
    if let Some(own) = beside {
        let [loss, coefficient] = for_design([ratio.value, ratio.spread], [drag.value, drag.spread], own);
        sheet.heading("For [drive] of the design");
        sheet.line(format!(
            "  loss_factor = {}        # deviation {}; linear air and eddy currents taken off",
            plain(loss[0], 3),
            plain(loss[1], 2)
        ));
        sheet.line(format!(
            "  drag_coefficient = {}   # deviation {}",
            plain(coefficient[0], 3),
            plain(coefficient[1], 2)
        ));
    } else {
        sheet.item("-", "give the design too (--design FILE) to see these beside its defaults");
    }
    sheet.foot();
    sheet.0
}

fn rows(sheet: &mut Sheet, [frequency, ratio, drag]: [Value; 3], beside: Option<&Expected>) {
    let mut headings = vec![("", Lean::Left), ("measured", Lean::Right), ("\u{b1}", Lean::Right)];
    if beside.is_some() {
        headings.extend([("design", Lean::Right), ("from", Lean::Right), ("to", Lean::Right)]);
    }
    let mut grid = Grid::new(&headings);
    let mut row = |name: &str, v: Value, factor: f64, design: Option<[f64; 3]>| {
        let mut cells = vec![name.to_owned(), plain(v.value * factor, 4), plain(v.spread * factor, 2)];
        if let Some(own) = design {
            cells.extend(own.map(|x| plain(x, 3)));
        }
        grid.row(cells);
    };
    let linear = beside.map(|e| {
        let rest = e.air_ratio + e.eddy_ratio;
        [
            0.5 * e.loss_factor[0] + rest,
            0.5 * e.loss_factor[1] + 0.5 * e.air_ratio,
            0.5 * e.loss_factor[2] + rest,
        ]
    });
    row("natural frequency, Hz", frequency, 1.0, beside.map(|e| [e.frequency_hz; 3]));
    row("damping ratio (arms, linear air, eddy currents)", ratio, 1.0, linear);
    row(
        "drag over inertia, 1/rad",
        drag,
        1.0,
        beside.map(|e| e.coefficient.map(|c| c * e.drag_per_coefficient)),
    );
    if let Some(e) = beside {
        row("drag coefficient", drag, 1.0 / e.drag_per_coefficient, Some(e.coefficient));
    }
    sheet.0.push_str(&grid.text());
}

#[cfg(test)]
mod tests {
    use super::*;
    use copperbend_solver::decay::free::Decay;

    #[test]
    fn measured_values_stand_beside_the_defaults() {
        let v = |value: f64, spread: f64| Value { value, spread };
        let fitted = Fitted::Decay(Decay {
            frequency_hz: v(12.03, 0.01),
            ratio: v(0.021, 0.001),
            drag_per_rad: v(0.3, 0.02),
            mean_rad: v(0.0, 1e-4),
            from_rad: 0.4,
            to_rad: 0.05,
            halves: 30,
            left_rad: 1e-3,
            likeness: 0.8,
        });
        let own = Expected {
            frequency_hz: 12.5,
            loss_factor: [0.015, 0.008, 0.03],
            air_ratio: 0.004,
            eddy_ratio: 0.002,
            drag_per_coefficient: 0.1,
            coefficient: [2.5, 1.25, 5.0],
        };
        let text = damping("decay.csv", &fitted, Some(&own));
        // 2 (0.021 - 0.004 - 0.002) and 0.3 / 0.1.
        for words in
            ["loss_factor = 0.0300", "drag_coefficient = 3.00", "alike from sample", "30 half swings"]
        {
            assert!(text.contains(words), "'{words}' is missing:\n{text}");
        }
        assert!(damping("decay.csv", &fitted, None).contains("--design"), "hint");
    }
}
