//! Natural modes on the screen: frequencies and names, shares, strain, and one board against another.

use super::Sheet;
use super::beam::{MODEL_WORDS, UNSURE_BEAMS};
use super::bend::{bond_words, face_word};
use super::grid::{Grid, Lean};
use crate::output::numbers::{beside, degrees, engineering, mm, plain, strain};
use copperbend_solver::result::{ModeFacts, ModeKind, ModesAnswer, ModesReport};
use std::path::PathBuf;

/// The text of `modes`.
pub(crate) fn modes(report: &ModesReport, against: Option<&ModesReport>, written: &[PathBuf]) -> String {
    let mut sheet = Sheet::default();
    sheet.line(&report.title);
    for answer in &report.answers {
        if report.answers.len() > 1 {
            sheet.heading(&format!("=== {} ===", bond_words(answer.bond)));
        }
        state(&mut sheet, report, answer);
        frequencies(&mut sheet, report, answer);
        shares(&mut sheet, answer);
        strains(&mut sheet, answer);
        how_sure(&mut sheet, answer);
    }
    if let Some(other) = against {
        beside_other(&mut sheet, report, other);
    }
    sheet.remarks(&report.left_out, &report.warnings, &report.cautions);
    sheet.files(written);
    sheet.foot();
    sheet.0
}

/// Name and frequency of a mode, for the heading of its picture.
pub(crate) fn mode_words(m: &ModeFacts) -> String {
    format!("Mode {}: {}, {}", m.number, m.name, hertz(m))
}

fn hertz(m: &ModeFacts) -> String {
    if m.eigenvalue_rad2_s2 < 0.0 {
        "no frequency".to_owned()
    } else {
        format!("{} Hz", plain(m.frequency_hz, 4))
    }
}

fn state(sheet: &mut Sheet, report: &ModesReport, answer: &ModesAnswer) {
    sheet.heading("Natural modes about the loaded state");
    if answer.beam_elements.is_some() {
        sheet.value("model", MODEL_WORDS);
    }
    let current = match report.current_a {
        0.0 => "no current".to_owned(),
        a => format!("direct current {}", engineering(a, "A")),
    };
    let state = match answer.flap_angle_rad {
        Some(angle) => format!("{current}, flap angle {}", degrees(angle)),
        None => current,
    };
    sheet.value("state", state);
    if answer.unstable > 0 {
        sheet.value("stability", format!("NOT STABLE: gives way in {} way(s)", answer.unstable));
    }
    match report.air_density_kg_m3 {
        None => sheet.value("air", "none (vacuum)"),
        Some(density) => {
            let part = |a: &copperbend_solver::result::AirFacts| {
                format!(
                    "{} as a plate of {} x {} mm carries {}g",
                    a.part,
                    mm(a.sides_m[0]),
                    mm(a.sides_m[1]),
                    engineering(a.mass_kg * 1e3, "")
                )
            };
            let parts: Vec<String> = answer.air.iter().map(part).collect();
            sheet.value("air", format!("{} kg/m3: {}", plain(density, 4), parts.join("; ")));
        }
    }
    if let Some(stance) = &answer.stance {
        sheet.value(
            "stiffness of the flap",
            format!(
                "swing {}, roll {} (roll over swing {}); a force 1 mm beside the flap's middle rolls it by {} of its swing",
                engineering(stance.swing_nm_per_rad, "N\u{b7}m/rad"),
                engineering(stance.roll_nm_per_rad, "N\u{b7}m/rad"),
                plain(stance.roll_nm_per_rad / stance.swing_nm_per_rad, 3),
                percent(stance.roll_per_swing_1_mm_aside.abs())
            ),
        );
    }
}

fn percent(share: f64) -> String {
    let v = 100.0 * share;
    if v.abs() < 0.005 {
        "0 %".to_owned()
    } else if v.abs() < 9.95 {
        format!("{v:.2} %")
    } else {
        format!("{v:.0} %")
    }
}

fn frequencies(sheet: &mut Sheet, report: &ModesReport, answer: &ModesAnswer) {
    let airy = report.air_density_kg_m3.is_some();
    let mut headings = vec![
        ("mode", Lean::Right),
        ("moves as", Lean::Left),
        ("frequency, Hz", Lean::Right),
        ("\u{b1} (mesh)", Lean::Right),
    ];
    if airy {
        headings.extend([("in vacuum, Hz", Lean::Right), ("air, % of mass", Lean::Right)]);
    }
    headings.extend([("roll/swing", Lean::Right), ("moving mass, mg", Lean::Right)]);
    let mut grid = Grid::new(&headings);
    for m in &answer.modes {
        let stable = m.eigenvalue_rad2_s2 >= 0.0;
        let number = |v: f64| if stable { plain(v, 4) } else { "-".to_owned() };
        let mut row = vec![
            m.number.to_string(),
            m.name.clone(),
            number(m.frequency_hz),
            if stable { plain(m.frequency_error_hz, 2) } else { "-".to_owned() },
        ];
        if airy {
            row.extend([number(m.vacuum_hz), format!("{:.2}", 100.0 * m.air_share)]);
        }
        row.push(m.roll_per_swing.map_or_else(
            || "-".to_owned(),
            |v| if v.abs() > 100.0 { "> 100".to_owned() } else { format!("{v:+.4}") },
        ));
        row.push(plain(m.mass_at_largest_kg * 1e6, 3));
        grid.row(row);
    }
    sheet.0.push_str(&grid.text());
    sheet.item(
        "",
        "roll/swing: turn of the flap about the arm direction over its turn about the hinge line; moving mass: at the place \
         of the largest displacement",
    );
}

fn shares(sheet: &mut Sheet, answer: &ModesAnswer) {
    sheet.heading("Shares of the kinetic energy, %");
    let names = ["mode", "swing", "roll", "sideways", "flap plate", "arms bend", "arms twist", "rest"];
    let mut grid = Grid::new(&names.map(|n| (n, Lean::Right)));
    for m in &answer.modes {
        let s = &m.shares;
        let all = [s.swing, s.roll, s.sideways, s.flap_plate, s.arm_bend, s.arm_twist, s.rest];
        let mut row = vec![m.number.to_string()];
        row.extend(all.map(|v| format!("{:.1}", 100.0 * v)));
        grid.row(row);
    }
    sheet.0.push_str(&grid.text());
}

fn strains(sheet: &mut Sheet, answer: &ModesAnswer) {
    if answer.modes.iter().all(|m| m.strain.is_none()) {
        return;
    }
    sheet.heading("Worst copper strain of each mode, \u{b5}m/m (ranking strain, magnitude)");
    let mut grid = Grid::new(&[
        ("mode", Lean::Right),
        ("per \u{b0} swing", Lean::Right),
        ("per \u{b0} turn", Lean::Right),
        ("per 0.1 mm", Lean::Right),
        ("\u{b1} %", Lean::Right),
        ("track", Lean::Left),
        ("face", Lean::Left),
        ("x, mm", Lean::Right),
        ("y, mm", Lean::Right),
        ("near", Lean::Left),
    ]);
    let size =
        |v: Option<f64>| v.map_or_else(|| "-".to_owned(), |v| strain(v).trim_start_matches('+').to_owned());
    for m in &answer.modes {
        let Some(s) = &m.strain else { continue };
        grid.row([
            m.number.to_string(),
            size(s.per_swing_degree),
            size(s.per_turn_degree),
            size(Some(s.per_tenth_mm)),
            s.relative_error.map_or_else(|| "-".to_owned(), |e| plain(100.0 * e, 2)),
            s.track.clone(),
            format!("{}{}", face_word(s.face), if s.mean { ", mean" } else { "" }),
            mm(s.x_m),
            mm(s.y_m),
            beside(s.near_m, &s.near),
        ]);
    }
    sheet.0.push_str(&grid.text());
    sheet.item(
        "",
        "swing: about the hinge line; turn: the flap's whole rotation; 0.1 mm: of the largest displacement; \u{b1}: mesh and \
         recovery. Mean: over half a disc about a place where strain has no limit",
    );
    if answer.modes.iter().filter_map(|m| m.strain.as_ref()).any(|s| s.relative_error.is_none()) {
        sheet.item("\u{b1} %:", UNSURE_BEAMS);
    }
}

fn how_sure(sheet: &mut Sheet, answer: &ModesAnswer) {
    sheet.heading("How sure");
    let worst = answer.modes.iter().map(|m| m.residual).fold(0.0, f64::max);
    sheet.value("eigenvalues", format!("largest relative residual {worst:.0e}, by solves with full digits"));
    let proof = match answer.counted {
        Some([below, found]) if below == found => {
            format!("the factor counts {below} mode(s) below the highest, {found} were found: none is missed")
        }
        Some([below, found]) => format!("the factor counts {below} modes, {found} were found"),
        None => "not proven: too few modes".to_owned(),
    };
    sheet.value("completeness", proof);
    if let Some(elements) = answer.beam_elements {
        let halved = "\u{b1} of a frequency is its change when every element is halved";
        sheet.value("beams", format!("{elements} elements, {} unknowns; {halved}", answer.unknowns));
        return;
    }
    sheet.value(
        "mesh",
        format!(
            "{} triangles, {} unknowns; \u{b1} of a frequency is half the relative energy of recovered less raw strain",
            answer.triangles, answer.unknowns
        ),
    );
}

/// Swing and roll of a board for one row of a comparison.
struct Pair<'a> {
    title: &'a str,
    swing: Option<&'a ModeFacts>,
    roll: Option<&'a ModeFacts>,
    answer: Option<&'a ModesAnswer>,
    arms: usize,
}

impl<'a> Pair<'a> {
    fn of(report: &'a ModesReport) -> Self {
        let answer = report.answers.first();
        let first = |kind: ModeKind| answer.and_then(|a| a.modes.iter().find(|m| m.kind == kind));
        Self {
            title: &report.title,
            swing: first(ModeKind::Swing),
            roll: first(ModeKind::Roll),
            answer,
            arms: report.summary.arms.len(),
        }
    }

    fn ratio(&self) -> Option<f64> {
        Some(self.roll?.frequency_hz / self.swing?.frequency_hz)
    }
}

fn beside_other(sheet: &mut Sheet, report: &ModesReport, other: &ModesReport) {
    let boards = [Pair::of(report), Pair::of(other)];
    sheet.heading("Swing and roll, one board against the other");
    let mut grid = Grid::new(&[("", Lean::Left), ("this board", Lean::Right), ("the other", Lean::Right)]);
    let mut row = |name: &str, of: &dyn Fn(&Pair<'_>) -> Option<String>| {
        let cell = |p: &Pair<'_>| of(p).unwrap_or_else(|| "-".to_owned());
        grid.row([name.to_owned(), cell(&boards[0]), cell(&boards[1])]);
    };
    row("arms", &|p| Some(p.arms.to_string()));
    row("swing, Hz", &|p| Some(plain(p.swing?.frequency_hz, 4)));
    row("roll, Hz", &|p| Some(plain(p.roll?.frequency_hz, 4)));
    row("roll over swing, frequencies", &|p| Some(plain(p.ratio()?, 3)));
    row("swing stiffness, \u{b5}N\u{b7}m/\u{b0}", &|p| {
        Some(plain(p.answer?.stance?.swing_nm_per_rad.to_radians() * 1e6, 3))
    });
    row("roll stiffness, \u{b5}N\u{b7}m/\u{b0}", &|p| {
        Some(plain(p.answer?.stance?.roll_nm_per_rad.to_radians() * 1e6, 3))
    });
    row("roll over swing, stiffness", &|p| {
        let stance = p.answer?.stance?;
        Some(plain(stance.roll_nm_per_rad / stance.swing_nm_per_rad, 3))
    });
    row("roll by a force 1 mm aside, % of swing", &|p| {
        Some(plain(100.0 * p.answer?.stance?.roll_per_swing_1_mm_aside.abs(), 3))
    });
    row("roll in the swing mode, % of swing", &|p| Some(plain(100.0 * p.swing?.roll_per_swing?.abs(), 2)));
    row("copper, \u{b5}m/m per \u{b0} of swing", &|p| {
        Some(plain(p.swing?.strain.as_ref()?.per_swing_degree? * 1e6, 3))
    });
    row("copper, \u{b5}m/m per \u{b0} of roll", &|p| {
        Some(plain(p.roll?.strain.as_ref()?.per_turn_degree? * 1e6, 3))
    });
    sheet.0.push_str(&grid.text());
    sheet.item("", &format!("this board: {}; the other: {}", boards[0].title, boards[1].title));
    sheet.item("", &versus(report, other));
}

/// Why one of two boards rolls less, in words.
pub(crate) fn versus(report: &ModesReport, other: &ModesReport) -> String {
    let boards = [Pair::of(report), Pair::of(other)];
    let stance = |p: &Pair<'_>| p.answer.and_then(|a| a.stance);
    let (Some(a), Some(b)) = (stance(&boards[0]), stance(&boards[1])) else {
        return "without a flap on both boards, or about an unstable state, there is no roll to compare"
            .to_owned();
    };
    let [one, two] = [a, b].map(|s| s.roll_nm_per_rad / s.swing_nm_per_rad);
    let (less, factor) = if two > one { (boards[1].title, two / one) } else { (boards[0].title, one / two) };
    let reason = match (boards[0].arms, boards[1].arms) {
        (1, n) | (n, 1) if n > 1 => {
            "a single arm can only twist under roll; arms side by side must also bend against each other, with a lever of \
             their distance"
        }
        _ => "its arms are stiffer against roll for the same swing",
    };
    format!("for the same swing '{less}' is {} times as stiff against roll: {reason}", plain(factor, 3))
}
