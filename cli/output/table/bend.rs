//! The results of `bend`.

use super::Sheet;
use super::grid::{Grid, Lean, wrap};
use crate::output::numbers::{beside, degrees, engineering, mm, plain, signed, strain, strain_with_error};
use copperbend_mesh::board::Board;
use copperbend_solver::result::{
    Accuracy, BendAnswer, BendReport, BondLimit, DriveLoad, Face, LimitCheck, Movement, SettleHistory,
    SingularKind, Spot,
};
use std::path::PathBuf;

/// The text of `bend`.
pub(crate) fn bend(report: &BendReport, written: &[PathBuf]) -> String {
    let mut sheet = Sheet::default();
    sheet.line(&report.title);
    if let Some(drive) = &report.drive {
        drive_load(&mut sheet, drive);
    }
    for answer in &report.answers {
        if report.answers.len() > 1 {
            sheet.heading(&format!("=== {} ===", bond_words(answer.bond)));
        }
        movement(&mut sheet, answer);
        spots(&mut sheet, answer);
        if let Some(swing) = &answer.swing {
            super::swing::swing(&mut sheet, swing);
        }
        elongations(&mut sheet, answer);
        how_sure(&mut sheet, answer);
    }
    limits(&mut sheet, &report.limits);
    sheet.remarks(&report.left_out, &report.warnings, &report.cautions);
    sheet.files(written);
    sheet.foot();
    sheet.0
}

/// How tapes were taken, in words.
pub(super) fn bond_words(bond: BondLimit) -> &'static str {
    match bond {
        BondLimit::AsWritten => "stiffeners held as written",
        BondLimit::Bonded => "stiffener tape taken as stiff in shear (bonded)",
        BondLimit::Sliding => "stiffener tape taken as free of shear (sliding)",
    }
}

/// Flap angle beyond which pictures say that small motion is left behind, rad; the warning below the tables has the same.
const FAR_RAD: f64 = 0.0873;

/// Whether the answer by small motion is far from the swing that was followed beside it.
fn far(answer: &BendAnswer) -> bool {
    let angle = answer.loaded.flap_angle_rad.unwrap_or(0.0).abs();
    angle > FAR_RAD && answer.swing.as_ref().is_some_and(|s| s.views.len() > 1)
}

/// Drive and temperature, for the line under a map's title.
pub(crate) fn state_words(report: &BendReport, answer: &BendAnswer, board: &Board) -> String {
    let mut words = Vec::new();
    if let Some(drive) = &report.drive {
        words.push(engineering(drive.current_a, "A"));
    }
    words.push(format!("{} \u{b0}C", plain(board.temperature_degc, 3)));
    if report.answers.len() > 1 {
        words.push(bond_words(answer.bond).to_owned());
    }
    if far(answer) {
        words.push("small-motion theory: too large here, read the range over the swing".to_owned());
    }
    words.join(", ")
}

/// Angle and largest movement, for the line under the shape's title.
pub(crate) fn shape_words(report: &BendReport, answer: &BendAnswer) -> String {
    let m = &answer.loaded;
    let mut words = Vec::new();
    if let Some(angle) = m.flap_angle_rad {
        words.push(format!("flap angle {}", degrees(angle)));
    }
    words.push(format!("largest movement {} mm", plain(m.largest_m * 1e3, 4)));
    if report.answers.len() > 1 {
        words.push(bond_words(answer.bond).to_owned());
    }
    if far(answer) {
        words.push("small-motion theory: the true bend is in swing_side".to_owned());
    }
    crate::output::numbers::typeset(&words.join(", "))
}

fn drive_load(sheet: &mut Sheet, d: &DriveLoad) {
    sheet.heading(&format!(
        "Drive: {} in the magnets' field, board flat and at rest",
        engineering(d.current_a, "A")
    ));
    sheet.value("force", vector_n(d.force_n));
    sheet.value(
        "torque, hinge line",
        format!("{} (positive lifts the flap)", engineering(d.torque_nm, "N\u{b7}m")),
    );
    sheet.value("torque constant", engineering(d.torque_constant_nm_per_a, "N\u{b7}m/A"));
    // What cancels by symmetry leaves rounding behind; it is not a torque.
    let scale = d.torque_nm.abs().max(d.roll_torque_nm.abs()).max(d.yaw_torque_nm.abs());
    let clean = |torque: f64| if torque.abs() < 1e-9 * scale { 0.0 } else { torque };
    sheet.value("roll torque, arm axis", engineering(clean(d.roll_torque_nm), "N\u{b7}m"));
    sheet.value("yaw torque, +z", engineering(clean(d.yaw_torque_nm), "N\u{b7}m"));
    sheet.value("largest flux density", format!("{} on the path", engineering(d.field_max_t, "T")));
    sheet.value(
        "resistance at 20 \u{b0}C",
        format!("{} ohm, heat {}", plain(d.resistance_ohm, 4), engineering(d.power_w, "W")),
    );
}

fn vector_n(v: [f64; 3]) -> String {
    crate::output::numbers::vector(v, "N")
}

fn movement(sheet: &mut Sheet, answer: &BendAnswer) {
    let (m, rest) = (&answer.loaded, &answer.unloaded);
    let bent_before = rest.largest_m > 1e-9;
    let own_bend = if bent_before { " (the unloaded shape's own bend included)" } else { "" };
    sheet.heading(&format!("Movement under load{own_bend}"));
    let own = |value: Option<f64>| match value {
        Some(v) if v.abs() > 1e-9 => format!(" (unloaded {})", degrees(v)),
        _ => String::new(),
    };
    if let Some(angle) = m.flap_angle_rad {
        sheet.value("flap angle", format!("{}{}", degrees(angle), own(rest.flap_angle_rad)));
    }
    if let Some(roll) = m.roll_angle_rad {
        sheet.value("roll of the flap", format!("{}{}", degrees(roll), own(rest.roll_angle_rad)));
    }
    if let Some(centre) = m.flap_centre_m {
        sheet.value("flap centre", displacement(centre));
    }
    let [x, y] = m.tip_at_m.map(mm);
    sheet.value("far end", format!("{} (at x {x} mm, y {y} mm)", displacement(m.tip_m)));
    let [x, y] = m.largest_at_m.map(mm);
    sheet.value("largest movement", format!("{} mm (at x {x} mm, y {y} mm)", plain(m.largest_m * 1e3, 4)));
    forces(sheet, m);
    if let Some(s) = &answer.spring {
        sheet.value(
            "spring of the arms",
            format!(
                "{} about the hinge, {} at the flap's centre, {} in roll",
                engineering(s.moment_nm_per_rad, "N\u{b7}m/rad"),
                engineering(s.force_n_per_m, "N/m"),
                engineering(s.roll_nm_per_rad, "N\u{b7}m/rad")
            ),
        );
        if let Some(drive) = s.drive_nm_per_rad {
            sheet.value("drive torque per angle", engineering(drive, "N\u{b7}m/rad"));
        }
    }
}

fn forces(sheet: &mut Sheet, m: &Movement) {
    sheet.value("sum of the loads", vector_n(m.load_n));
    sheet.value("sum at the supports", vector_n(m.reaction_n));
}

fn displacement(v_m: [f64; 3]) -> String {
    let largest = v_m.iter().fold(0.0f64, |m, c| m.max(c.abs()));
    let decimals = if largest < 1e-4 { 6 } else { 4 };
    let [x, y, z] = v_m.map(|c| signed(c * 1e3, decimals));
    format!("x {x}, y {y}, z {z} mm")
}

fn spots(sheet: &mut Sheet, answer: &BendAnswer) {
    sheet.heading("Copper where cracks start first: normal strain of largest magnitude, \u{b5}m/m");
    if answer.spots.is_empty() {
        sheet.line("  no copper is strained");
        return;
    }
    let any_unloaded = answer.spots.iter().any(|s| s.unloaded_strain.abs() > 1e-9);
    let any_range = answer.spots.iter().any(|s| s.swing_range.is_some());
    let any_mark = answer.spots.iter().any(|s| !marks(s).is_empty());
    let mut headings = vec![("#", Lean::Right), ("strain", Lean::Right), ("\u{b1}", Lean::Right)];
    headings.push(("along track", Lean::Right));
    if any_unloaded {
        headings.push(("unloaded", Lean::Right));
    }
    if any_range {
        headings.push(("swing range", Lean::Right));
    }
    headings.extend([("track", Lean::Left), ("layer", Lean::Left), ("face", Lean::Left)]);
    headings.extend([("x, mm", Lean::Right), ("y, mm", Lean::Right)]);
    if any_mark {
        headings.push(("", Lean::Left));
    }
    headings.push(("nearest feature", Lean::Left));
    let mut grid = Grid::new(&headings);
    for s in &answer.spots {
        let [value, error] = strain_with_error(s.strain, s.strain_error);
        let along = s.along_track.map_or_else(|| "-".to_owned(), strain);
        let mut row = vec![s.rank.to_string(), value, error, along];
        if any_unloaded {
            row.push(strain(s.unloaded_strain));
        }
        if any_range {
            let range = |r: f64| strain(r).trim_start_matches('+').to_owned();
            row.push(s.swing_range.map_or_else(|| "-".to_owned(), range));
        }
        row.extend([s.track.clone(), s.layer.clone(), face_word(s.face).to_owned(), mm(s.x_m), mm(s.y_m)]);
        if any_mark {
            row.push(marks(s));
        }
        row.push(beside(s.near_m, &s.near));
        grid.row(row);
    }
    sheet.0.push_str(&grid.text());
    spot_notes(sheet, &answer.spots);
    if let Some(span) = &answer.modulus_span {
        let moduli = span.modulus_pa.map(|p| plain(p / 1e9, 3));
        let mut steps: Vec<String> =
            moduli.iter().zip(span.strain).map(|(gpa, s)| format!("{} at {gpa} GPa", strain(s))).collect();
        steps.dedup();
        sheet.item(
            "-",
            &format!(
                "worst spot with the modulus of '{}' at both ends of its span: {}",
                span.material,
                steps.join(", ")
            ),
        );
    }
}

pub(super) fn face_word(face: Face) -> &'static str {
    match face {
        Face::Lower => "lower",
        Face::Upper => "upper",
    }
}

/// Letters explained below the table.
fn marks(s: &Spot) -> String {
    let mut marks = String::new();
    if s.singular.is_some() {
        marks.push('m');
    }
    if s.indicative {
        marks.push('i');
    }
    marks
}

/// Remarks below the table; spots with the same remark share a line.
fn spot_notes(sheet: &mut Sheet, spots: &[Spot]) {
    let mut notes: Vec<(String, Vec<String>)> = Vec::new();
    for s in spots {
        let Some(note) = spot_note(s) else { continue };
        match notes.iter_mut().find(|n| n.0 == note) {
            Some((_, ranks)) => ranks.push(s.rank.to_string()),
            None => notes.push((note, vec![s.rank.to_string()])),
        }
    }
    for (note, ranks) in &notes {
        sheet.item(&format!("{}:", ranks.join(", ")), note);
    }
    if spots.iter().any(|s| s.singular.is_some()) {
        sheet.item("m:", "strain has no limit there as triangles shrink; given is a mean over a half-disc");
    }
    if spots.iter().any(|s| s.indicative) {
        sheet.item(
            "i:",
            "strain across a track narrower than about three thicknesses is indicative only; rely on the strain \
             along the track",
        );
    }
}

fn spot_note(s: &Spot) -> Option<String> {
    if !s.note.is_empty() {
        return Some(s.note.clone());
    }
    let kind = match s.singular? {
        SingularKind::ClampEnd => "end of a clamp's edge",
        SingularKind::ReentrantCorner => "inner corner without a radius",
        SingularKind::StackEdge => "end of a layer's edge",
    };
    let radius =
        s.mean_radius_m.map_or(String::new(), |r| format!(" of radius {} \u{b5}m", plain(r * 1e6, 3)));
    Some(format!("{kind}: mean over a half-disc{radius}"))
}

fn elongations(sheet: &mut Sheet, answer: &BendAnswer) {
    let mut grid = Grid::new(&[
        ("layer", Lean::Left),
        ("material", Lean::Left),
        ("face", Lean::Left),
        ("strain, \u{b5}m/m", Lean::Right),
        ("breaks at, %", Lean::Right),
        ("share, %", Lean::Right),
        ("x, mm", Lean::Right),
        ("y, mm", Lean::Right),
        ("", Lean::Left),
    ]);
    let unknown = || "not known".to_owned();
    for e in &answer.elongations {
        grid.row([
            e.layer.clone(),
            e.material.clone(),
            face_word(e.face).to_owned(),
            strain(e.strain),
            e.elongation.map_or_else(unknown, |v| plain(v * 100.0, 3)),
            e.share.map_or_else(unknown, |v| plain(v * 100.0, 2)),
            mm(e.x_m),
            mm(e.y_m),
            e.note.clone(),
        ]);
    }
    if !grid.is_empty() {
        sheet.heading("Other layers against their own elongation at break");
        sheet.0.push_str(&grid.text());
    }
}

fn how_sure(sheet: &mut Sheet, answer: &BendAnswer) {
    sheet.heading("How sure");
    accuracy(sheet, &answer.accuracy);
    let m = &answer.mesh;
    let early = if m.complete { "" } else { "; its refinement stopped early" };
    sheet.value(
        "mesh",
        format!(
            "{} triangles, {} unknowns, sides {} to {} \u{b5}m, smallest angle {:.1}\u{b0}{early}",
            m.triangles,
            m.unknowns,
            plain(m.shortest_m * 1e6, 3),
            plain(m.longest_m * 1e6, 3),
            m.min_angle_deg
        ),
    );
    if m.moved_corners > 0 {
        sheet.value("corners blunted", super::check::blunted(m.moved_corners, m.moved_most_m, m.moved_at_m));
    }
    settle(sheet, &answer.settle);
}

fn accuracy(sheet: &mut Sheet, a: &Accuracy) {
    sheet.value(
        "linear solve",
        format!(
            "{:.1} good digits after {} correction{} (one plain solve: {:.1}); loads and supports balance to {}",
            a.digits,
            a.corrections,
            if a.corrections == 1 { "" } else { "s" },
            -a.first_correction.max(1e-16).log10(),
            format_args!("{:.0e}", a.balance)
        ),
    );
}

fn settle(sheet: &mut Sheet, s: &SettleHistory) {
    if s.passes.is_empty() {
        return;
    }
    let passes = s.passes.iter().map(|p| {
        let change = p.change.map_or(String::new(), |c| format!(" (change {} %)", plain(c * 100.0, 2)));
        format!("{} triangles: {}{change}", p.triangles, strain(p.top_strain))
    });
    let words = if s.settled { "settled" } else { "NOT settled" };
    let text = passes.collect::<Vec<_>>().join("; ");
    sheet.value("worst strain by mesh", format!("{text}; {words}: {}", s.stopped));
}

fn limits(sheet: &mut Sheet, limits: &[LimitCheck]) {
    if limits.is_empty() {
        return;
    }
    sheet.heading("Your limits (the value includes its uncertainty)");
    for l in limits {
        let show = |v: f64| match l.unit.as_str() {
            "1" => format!("{} \u{b5}m/m", strain(v)),
            "rad" => degrees(v),
            unit => engineering(v, unit),
        };
        let verdict = if l.exceeded { "EXCEEDED" } else { "kept" };
        let text = format!("{} against {}: {verdict}", show(l.value), show(l.limit));
        sheet.value(&l.what, wrap(&text, 28, super::WIDTH));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::sample;

    #[test]
    fn every_spot_has_strain_error_and_place() {
        let text = bend(&sample::report(), &[PathBuf::from("out/results.json")]);
        let row = text.lines().find(|l| l.trim_start().starts_with("1 ")).expect("a first row");
        for wanted in ["+2863", "29", "supply plus", "copper top", "upper", "0.450", "clamp edge of 'holder'"]
        {
            assert!(row.contains(wanted), "'{wanted}' is missing in: {row}");
        }
        assert!(
            text.split_whitespace()
                .collect::<Vec<_>>()
                .join(" ")
                .contains("mean over a half-disc of radius 40.0 \u{b5}m"),
            "the mean is not explained:\n{text}"
        );
        assert!(text.contains("Written to out:") && text.contains("Not a certificate"), "foot:\n{text}");
    }

    #[test]
    fn exceeded_limit_is_said_aloud() {
        let mut report = sample::report();
        report.limits = vec![LimitCheck {
            what: "copper strain".to_owned(),
            unit: "1".to_owned(),
            limit: 2e-3,
            value: 2.9e-3,
            exceeded: true,
        }];
        let text = bend(&report, &[]);
        assert!(text.contains("+2900 \u{b5}m/m against +2000 \u{b5}m/m: EXCEEDED"), "{text}");
    }

    #[test]
    fn no_line_of_running_text_is_too_long() {
        let text = bend(&sample::report(), &[]);
        let long = text
            .lines()
            .filter(|l| !l.contains("clamp edge"))
            .find(|l| l.chars().count() > super::super::WIDTH);
        assert!(long.is_none(), "{long:?}");
    }
}
