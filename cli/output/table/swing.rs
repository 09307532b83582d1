//! The swing on the screen: states by current and by angle, limits of the path, strain ranges.

use super::Sheet;
use super::grid::{Grid, Lean};
use crate::output::numbers::{
    beside, degrees, engineering, mm, plain, signed, strain, strain_with_error, typeset,
};
use copperbend_solver::result::{BendAnswer, Coupling, Face, Snap, Swing, SwingState};

/// Turn up to which the field at rest still holds, rad.
const ESTIMATE_RAD: f64 = 0.05;

/// A turn beyond which no board goes, rad.
const SENSELESS_RAD: f64 = 1.5;

/// The swing of one answer.
pub(super) fn swing(sheet: &mut Sheet, swing: &Swing) {
    if swing.by_load.is_empty() {
        sheet.heading(
            "The swing: equilibria through large angles in the real field (no motion: inertia and air left out)",
        );
        sheet.value("flap angle at no current", degrees(swing.rest_angle_rad));
        states(sheet, Given::Current("current, mA"), &swing.by_current);
    } else {
        sheet.heading(
            "Large motion: equilibria from rest to the whole loads (no motion: inertia and air left out)",
        );
        sheet.value("angle", format!("of the {}", swing.angle_of));
        states(sheet, Given::Load, &swing.by_load);
    }
    if !swing.by_angle.is_empty() {
        sheet.line("  prescribed flap angle, and the current that it needs:");
        states(sheet, Given::Current("needs, mA"), &swing.by_angle);
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
    if swing.by_load.iter().any(|s| !s.stable) {
        sheet.item(
            "u:",
            "not stable: the board stays there by perfect symmetry only; the smallest disturbance lets it buckle away",
        );
    }
    if all().chain(&swing.by_load).any(|s| s.snapped) {
        sheet.item("s:", "reached by a snap: no equilibrium leads there steadily from the state before");
    }
    for snap in &swing.snaps {
        sheet.item("!", &snapped(snap));
    }
    for stop in &swing.stops {
        let text = format!(
            "the way to {} ended at {} and {}: {}",
            stop.wished,
            place(swing, stop.load, stop.current_a),
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
    let what = match &answer.swing {
        Some(swing) if !swing.by_load.is_empty() => "angle",
        _ => "flap angle",
    };
    typeset(&format!("{what} from {low} to {high}"))
}

/// What the states of a table are given by, with the heading of its column.
#[derive(Clone, Copy)]
enum Given<'h> {
    Current(&'h str),
    Load,
}

/// Where on its way a state lies: its current, or its share of the loads.
fn place(swing: &Swing, load: f64, current_a: f64) -> String {
    if swing.by_load.is_empty() && swing.most_current_a > 0.0 {
        engineering(current_a, "A")
    } else {
        format!("{} % of the loads", plain(100.0 * load, 4))
    }
}

fn snapped(snap: &Snap) -> String {
    let by_load = (snap.currents_a[0] - snap.currents_a[1]).abs() <= 0.0;
    let [low, high] = if by_load {
        snap.loads.map(|share| format!("{} %", plain(100.0 * share, 4)))
    } else {
        snap.currents_a.map(|a| engineering(a, "A"))
    };
    let what = if by_load { " of the loads" } else { "" };
    let [from, to] = snap.angles_rad.map(degrees);
    format!(
        "between {low} and {high}{what} the board snaps from {from} to {to}; how it gets there (inertia, rebound) is \
         not modelled"
    )
}

fn states(sheet: &mut Sheet, given: Given<'_>, states: &[SwingState]) {
    let clear = states.iter().any(|s| s.clearance_m.is_some());
    let by_load = matches!(given, Given::Load);
    let marked = states.iter().any(|s| !marks(s, by_load).is_empty());
    let drive = match given {
        Given::Current(current) => {
            [("angle, \u{b0}", Lean::Right), (current, Lean::Right), ("torque, \u{b5}N\u{b7}m", Lean::Right)]
        }
        Given::Load => [("load, %", Lean::Right), ("angle, \u{b0}", Lean::Right), ("moves, mm", Lean::Right)],
    };
    let mut headings = drive.to_vec();
    headings.extend([("worst strain, \u{b5}m/m", Lean::Right), ("\u{b1}", Lean::Right)]);
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
        let angle = signed(s.angle_rad.to_degrees(), 2);
        let mut row = match given {
            Given::Current(_) => vec![angle, signed(s.current_a * 1e3, 3), signed(s.torque_nm * 1e6, 3)],
            Given::Load => vec![plain(100.0 * s.load, 4), angle, mm(s.largest_m)],
        };
        row.extend([value, error]);
        if clear {
            row.push(s.clearance_m.map_or_else(|| "-".to_owned(), mm));
        }
        if marked {
            row.push(marks(s, by_load));
        }
        row.extend([s.track.clone(), mm(s.at_m[0]), mm(s.at_m[1])]);
        grid.row(row);
    }
    sheet.0.push_str(&grid.text());
}

/// Letters explained below the tables.
fn marks(s: &SwingState, by_load: bool) -> String {
    let mut marks = String::new();
    if !s.within_current && !by_load {
        marks.push('b');
    }
    if !s.stable {
        marks.push(if by_load { 'u' } else { 'h' });
    }
    if s.snapped {
        marks.push('s');
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
    let found = c.pull_in.as_ref().map(|p| {
        format!("found at {} and {} on the way", engineering(p.current_a, "A"), degrees(p.angle_rad))
    });
    let traced = found.unwrap_or_else(|| format!("none met up to {most} in either polarity"));
    sheet.value("pull-in", format!("{traced}; {}", estimate(c)));
}

/// The pull-in current by the values at rest, with what it is worth.
fn estimate(c: &Coupling) -> String {
    let Some(current_a) = c.pull_in_estimate_a else {
        return "the values at rest give none".to_owned();
    };
    let current = engineering(current_a, "A");
    let far = c.pull_in_estimate_rad.map(f64::abs).filter(|turn| *turn > ESTIMATE_RAD);
    if far.is_some_and(|turn| turn > SENSELESS_RAD) {
        return "the values at rest tell of none within reach".to_owned();
    }
    match (far, c.pull_in) {
        (_, Some(_)) => format!("the values at rest alone would give {current}: go by the one found"),
        (Some(turn), None) => format!(
            "the values at rest alone give {current}, where they turn the flap by {}: beyond a few degrees such an \
             estimate is no guide, often several times too large",
            degrees(turn)
        ),
        (None, None) => {
            format!("by the values at rest {current}, a fair estimate since the flap turns little")
        }
    }
}

fn clearance(sheet: &mut Sheet, swing: &Swing) {
    if let Some(c) = &swing.clearance {
        let text = format!(
            "{} mm to {}, at {} and {} (board at x {} mm, y {} mm)",
            plain(c.distance_m * 1e3, 3),
            c.to,
            degrees(c.angle_rad),
            place(swing, c.load, c.current_a),
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
    let over = if swing.by_load.is_empty() { "the swing" } else { "the loading" };
    sheet.heading(&format!(
        "Copper that fatigue sees first: strain range over {over} from {low} to {high}, \u{b5}m/m"
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
    let cycle = if swing.by_load.is_empty() {
        "one symmetric drive period is one cycle of this range, two flexes"
    } else {
        "once loaded and back to rest is one cycle of this range"
    };
    sheet.item("-", cycle);
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

    #[test]
    fn growing_loads_have_their_own_table_and_snaps_are_told() {
        let mut sheet = Sheet::default();
        swing(&mut sheet, &sample::loading());
        let text = sheet.0;
        for words in [
            "Large motion: equilibria from rest to the whole loads",
            "which moves most",
            "s: reached by a snap",
            "between 49.00 % and 50.00 % of the loads the board snaps from -5.730",
        ] {
            assert!(text.contains(words), "'{words}' is missing:\n{text}");
        }
        assert!(!text.contains("current, mA"), "no current:\n{text}");
    }
}
