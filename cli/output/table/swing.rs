//! The swing on the screen: states by current and by angle, limits of the path, strain ranges.

use super::Sheet;
use super::grid::{Grid, Lean};
use crate::output::numbers::{
    beside, degrees, engineering, mm, plain, signed, strain, strain_with_error, typeset,
};
use copperbend_solver::result::{BendAnswer, Coupling, Face, Swing, SwingState};

/// The swing of one answer.
pub(super) fn swing(sheet: &mut Sheet, swing: &Swing) {
    sheet.heading(
        "The swing: equilibria through large angles in the real field (no motion: inertia and air left out)",
    );
    sheet.value("flap angle at no current", degrees(swing.rest_angle_rad));
    states(sheet, "current, mA", &swing.by_current);
    if !swing.by_angle.is_empty() {
        sheet.line("  prescribed flap angle, and the current that it needs:");
        states(sheet, "needs, mA", &swing.by_angle);
    }
    let all = || swing.by_current.iter().chain(&swing.by_angle);
    if all().any(|s| !s.within_current) {
        let most = engineering(swing.most_current_a, "A");
        sheet.item(
            "b:",
            &format!("beyond the largest current of {most}: no current up to it reaches this angle"),
        );
    }
    if all().any(|s| !s.stable) {
        sheet.item(
            "h:",
            "an equilibrium only while the angle is held: at constant current the flap would leave it, so that a drive \
             current alone does not reach it",
        );
    }
    for stop in &swing.stops {
        let text = format!(
            "the way to {} ended at {} and {}: {}",
            stop.wished,
            engineering(stop.current_a, "A"),
            degrees(stop.angle_rad),
            stop.why
        );
        sheet.item("!", &text);
    }
    if let Some(coupling) = &swing.coupling {
        coupled(sheet, swing, coupling);
    }
    clearance(sheet, swing);
    spots(sheet, swing);
}

/// The ends of the swing, for the line under a map's title.
pub(crate) fn swing_words(answer: &BendAnswer) -> String {
    let ends = answer.swing.as_ref().map_or([0.0; 2], |s| s.range_angles_rad);
    let [low, high] = ends.map(degrees);
    typeset(&format!("flap angle from {low} to {high}"))
}

fn states(sheet: &mut Sheet, current: &str, states: &[SwingState]) {
    let clear = states.iter().any(|s| s.clearance_m.is_some());
    let marked = states.iter().any(|s| !marks(s).is_empty());
    let mut headings = vec![
        ("angle, \u{b0}", Lean::Right),
        (current, Lean::Right),
        ("torque, \u{b5}N\u{b7}m", Lean::Right),
        ("worst strain, \u{b5}m/m", Lean::Right),
        ("\u{b1}", Lean::Right),
    ];
    if clear {
        headings.push(("clearance, mm", Lean::Right));
    }
    if marked {
        headings.push(("", Lean::Left));
    }
    headings.extend([("track", Lean::Left), ("x, mm", Lean::Right), ("y, mm", Lean::Right)]);
    let mut grid = Grid::new(&headings);
    for s in states {
        let [value, error] = strain_with_error(s.strain, s.strain_error);
        let mut row = vec![
            signed(s.angle_rad.to_degrees(), 2),
            signed(s.current_a * 1e3, 3),
            signed(s.torque_nm * 1e6, 3),
            value,
            error,
        ];
        if clear {
            row.push(s.clearance_m.map_or_else(|| "-".to_owned(), mm));
        }
        if marked {
            row.push(marks(s));
        }
        row.extend([s.track.clone(), mm(s.at_m[0]), mm(s.at_m[1])]);
        grid.row(row);
    }
    sheet.0.push_str(&grid.text());
}

/// Letters explained below the tables.
fn marks(s: &SwingState) -> String {
    let mut marks = String::new();
    if !s.within_current {
        marks.push('b');
    }
    if !s.stable {
        marks.push('h');
    }
    marks
}

fn coupled(sheet: &mut Sheet, swing: &Swing, c: &Coupling) {
    let most = engineering(swing.most_current_a, "A");
    sheet.value(
        "kappa",
        format!(
            "{} at +{most}, {} at \u{2212}{most} (change of torque over spring, at rest; +1 pulls in, negative stiffens)",
            signed(c.kappa, 3),
            signed(-c.kappa, 3)
        )
        .replace('\u{2212}', "-"),
    );
    let estimate = c.pull_in_estimate_a.map_or_else(|| "none".to_owned(), |a| engineering(a, "A"));
    let traced = match &c.pull_in {
        Some(p) => format!("found at {} and {}", engineering(p.current_a, "A"), degrees(p.angle_rad)),
        None => format!("none met up to {most} in either polarity"),
    };
    sheet.value("pull-in", format!("{traced}; by the values at rest alone: {estimate}"));
}

fn clearance(sheet: &mut Sheet, swing: &Swing) {
    if let Some(c) = &swing.clearance {
        let text = format!(
            "{} mm to {}, at {} and {} (board at x {} mm, y {} mm)",
            plain(c.distance_m * 1e3, 3),
            c.to,
            degrees(c.angle_rad),
            engineering(c.current_a, "A"),
            mm(c.at_m[0]),
            mm(c.at_m[1])
        );
        sheet.value("least clearance", text);
    }
    if !swing.touching_at_rest.is_empty() {
        sheet.value("touches at rest", format!("{}: not watched", swing.touching_at_rest.join(", ")));
    }
}

fn spots(sheet: &mut Sheet, swing: &Swing) {
    let [low, high] = swing.range_angles_rad.map(degrees);
    sheet.heading(&format!(
        "Copper that fatigue sees first: strain range over the swing from {low} to {high}, \u{b5}m/m"
    ));
    if swing.spots.is_empty() {
        sheet.line("  no ranked copper is strained");
        return;
    }
    let marked = swing.spots.iter().any(|s| s.singular.is_some() || s.indicative);
    let mut headings = vec![
        ("#", Lean::Right),
        ("range", Lean::Right),
        ("\u{b1}", Lean::Right),
        ("low end", Lean::Right),
        ("high end", Lean::Right),
        ("track", Lean::Left),
        ("layer", Lean::Left),
        ("face", Lean::Left),
        ("x, mm", Lean::Right),
        ("y, mm", Lean::Right),
    ];
    if marked {
        headings.push(("", Lean::Left));
    }
    headings.push(("nearest feature", Lean::Left));
    let mut grid = Grid::new(&headings);
    for s in &swing.spots {
        let [range, error] = strain_with_error(s.range, s.range_error);
        let face = match s.face {
            Face::Lower => "lower",
            Face::Upper => "upper",
        };
        let mut row = vec![
            s.rank.to_string(),
            range.trim_start_matches('+').to_owned(),
            error,
            strain(s.ends[0]),
            strain(s.ends[1]),
            s.track.clone(),
            s.layer.clone(),
            face.to_owned(),
            mm(s.x_m),
            mm(s.y_m),
        ];
        if marked {
            let mean = if s.singular.is_some() { "m" } else { "" };
            row.push(format!("{mean}{}", if s.indicative { "i" } else { "" }));
        }
        row.push(beside(s.near_m, &s.near));
        grid.row(row);
    }
    sheet.0.push_str(&grid.text());
    sheet.item("-", "one symmetric drive period is one cycle of this range, two flexes");
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::sample;

    #[test]
    fn marks_are_explained_and_limits_told() {
        let mut sheet = Sheet::default();
        swing(&mut sheet, &sample::swing());
        let text = sheet.0;
        for words in
            ["b: beyond the largest current of 40.0 mA", "h: an equilibrium only while", "the way to -40 mA"]
        {
            assert!(text.contains(words), "'{words}' is missing:\n{text}");
        }
        let held =
            text.lines().find(|l| l.trim_start().starts_with("-10.00")).expect("the row at -10 degrees");
        assert!(held.contains(" h "), "marked: {held}");
        assert!(text.contains("found at -10.9 mA"), "pull-in:\n{text}");
    }
}
