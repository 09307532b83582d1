//! The results of the beam model, alone and beside the shell.

use super::Sheet;
use super::bend::bond_words;
use super::grid::{Grid, Lean};
use crate::commands::BeamRun;
use crate::output::numbers::{engineering, plain, signed};
use copperbend_solver::beam::answer::BeamState;
use copperbend_solver::beam::compare::Compared;
use copperbend_solver::result::BondLimit;
use std::path::PathBuf;

/// What the fast model is.
pub(super) const MODEL_WORDS: &str =
    "layered beams, the fast model; strain at corners, steps and clamps needs the shell";

/// Why a strain of the beams has no uncertainty beside it.
pub(super) const UNSURE_BEAMS: &str =
    "not estimated by layered beams; `--model both` puts the shell's strain beside theirs";

/// The text of `bend --model beam`.
pub(crate) fn beam(title: &str, runs: &[BeamRun], written: &[PathBuf]) -> String {
    let mut sheet = Sheet::default();
    sheet.line(title);
    sheet.line("Layered beams: the fast model. Strain at corners, steps and clamps needs the shell.");
    for run in runs {
        if runs.len() > 1 {
            sheet.heading(&format!("=== {} ===", bond_words(run.bond)));
        }
        let a = &run.answer;
        sheet.heading("Section of the first arm at mid-length");
        sheet.value("bending stiffness", engineering(a.section[0], "N\u{b7}m\u{b2}"));
        sheet.value("twisting stiffness", engineering(a.twisting_nm2, "N\u{b7}m\u{b2}"));
        sheet.value("neutral plane", format!("{} um above z = 0", plain(a.section[1] * 1e6, 4)));
        sheet.heading("Linear answers, and what the beam's assumptions cost");
        sheet.line(rows(&run.rows).trim_end());
        if !a.strains.is_empty() {
            sheet.heading(
                "Largest copper strain of each layer on the arms (all loads, linear, section strain only)",
            );
            let mut grid = Grid::new(&[
                ("arm", Lean::Left),
                ("layer", Lean::Left),
                ("um/m", Lean::Right),
                ("x mm", Lean::Right),
                ("y mm", Lean::Right),
                ("z um", Lean::Right),
            ]);
            for s in &a.strains {
                grid.row([
                    s.arm.clone(),
                    s.layer.clone(),
                    signed(s.strain * 1e6, 1),
                    signed(s.at_m[0] * 1e3, 3),
                    signed(s.at_m[1] * 1e3, 3),
                    signed(s.z_m * 1e6, 1),
                ]);
            }
            sheet.line(grid.text().trim_end());
        }
        if !a.frequencies.is_empty() {
            sheet.heading("Natural frequencies, flat at rest, without air");
            for (n, f) in a.frequencies.iter().enumerate() {
                sheet.value(&format!("{} ({})", n + 1, f.kind), format!("{} Hz", plain(f.frequency_hz, 4)));
            }
        }
        if !run.swing.is_empty() {
            sheet.heading("Swing by current: quiet equilibria through large angles");
            sheet.line(swing(&run.swing).trim_end());
        }
        if let Some(why) = &run.stopped {
            sheet.item("!", &format!("the swing ends early: {why}"));
        }
    }
    sheet.files(written);
    sheet.foot();
    sheet.0
}

/// Beam and shell side by side; empty without rows.
pub(crate) fn beside(answers: &[(BondLimit, Vec<Compared>)]) -> String {
    let mut sheet = Sheet::default();
    for (bond, own) in answers {
        sheet.line(format!("Beam and shell side by side, {}", bond_words(*bond)));
        sheet.line(rows(own));
        for r in own.iter().filter(|r| !r.reason.is_empty()) {
            sheet.item("-", &format!("{}: {}", r.quantity, r.reason));
        }
        sheet.line("");
    }
    sheet.0
}

fn rows(rows: &[Compared]) -> String {
    let shell = rows.iter().any(|r| r.shell.is_some());
    let rigid = rows.iter().any(|r| r.rigid_flap.is_some());
    let mut heads = vec![("quantity", Lean::Left), ("unit", Lean::Left), ("beam", Lean::Right)];
    if shell {
        heads.extend([("shell", Lean::Right), ("shell/beam", Lean::Right)]);
    }
    if rigid {
        heads.push(("both with a rigid flap", Lean::Right));
    }
    heads.push(("one assumption switched", Lean::Left));
    let mut grid = Grid::new(&heads);
    for r in rows {
        let mut cells = vec![r.quantity.clone(), r.unit.to_owned(), plain(r.beam, 4)];
        if shell {
            cells.push(r.shell.map_or(String::new(), |v| plain(v, 4)));
            cells.push(r.ratio.map_or(String::new(), |v| format!("{v:.4}")));
        }
        if rigid {
            cells.push(r.rigid_flap.map_or(String::new(), |v| format!("{v:.4}")));
        }
        let effects = r.effects.iter().map(|e| format!("{} {:+.1} %", e.name, 100.0 * (e.factor - 1.0)));
        cells.push(effects.collect::<Vec<_>>().join("; "));
        grid.row(cells);
    }
    grid.text()
}

fn swing(states: &[BeamState]) -> String {
    let mut grid = Grid::new(&[
        ("mA", Lean::Right),
        ("angle deg", Lean::Right),
        ("torque uN m", Lean::Right),
        ("strain um/m", Lean::Right),
        ("", Lean::Left),
    ]);
    for s in states {
        grid.row([
            signed(s.current_a * 1e3, 3),
            signed(s.angle_rad.to_degrees(), 3),
            signed(s.torque_nm * 1e6, 4),
            signed(s.strain * 1e6, 1),
            if s.stable { String::new() } else { "unstable at this current".to_owned() },
        ]);
    }
    grid.text()
}
