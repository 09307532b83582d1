//! Estimates and claims on the screen.

use super::Sheet;
use super::bend::bond_words;
use super::grid::{Grid, Lean};
use crate::output::numbers::{engineering, plain};
use copperbend_solver::claims::Verdict;
use copperbend_solver::hand::{Estimate, Put};
use copperbend_solver::result::BondLimit;
use std::path::PathBuf;

/// The text of `hand`.
pub(crate) fn hand(
    title: &str,
    all: &[Estimate],
    bond: BondLimit,
    taped: bool,
    written: &[PathBuf],
) -> String {
    let mut sheet = Sheet::default();
    sheet.line(title);
    sheet.line("Hand estimates beside the beam and the shell (linear, flat at rest)");
    if taped {
        sheet.line(format!("Beam and shell with {}", bond_words(bond)));
    }
    for e in all {
        sheet.heading(e.quantity);
        sheet.value("formula", e.formula);
        sheet.value("with", e.put.iter().map(put).collect::<Vec<_>>().join("; "));
        sheet.value("source", e.source);
        sheet.value("by hand", number(e.value, e.unit));
        let beside = |v: Option<f64>| match v {
            Some(v) if v != 0.0 => format!("{} (hand over it: {:.3})", number(v, e.unit), e.value / v),
            Some(v) => number(v, e.unit),
            None => "not computed".to_owned(),
        };
        sheet.value("beam", beside(e.beam));
        sheet.value("shell", beside(e.shell));
        e.costs.iter().for_each(|c| sheet.item("-", c));
    }
    sheet.files(written);
    sheet.foot();
    sheet.0
}

fn put(p: &Put) -> String {
    format!("{} = {} ({})", p.letter, number(p.value, p.unit), p.name)
}

/// A value in its unit; lengths in mm or um, strain in um/m, compound units as they are.
fn number(v: f64, unit: &str) -> String {
    match unit {
        "" => plain(v, 4),
        "1" => format!("{} um/m", plain(v * 1e6, 4)),
        "m" if v.abs() < 1e-3 => format!("{} um", plain(v * 1e6, 4)),
        "m" => format!("{} mm", plain(v * 1e3, 4)),
        "kg" => format!("{} mg", plain(v * 1e6, 4)),
        "m2" => format!("{} um2", plain(v * 1e12, 4)),
        "rad" => format!("{} deg", plain(v.to_degrees(), 4)),
        "Pa" | "Hz" | "N" | "ohm" => engineering(v, unit),
        "N m2" | "N m/rad" | "N m/A" | "N m" | "N/m" | "N/A" | "rad/A" => {
            engineering(v, &unit.replace("N m2", "N\u{b7}m\u{b2}").replace("N m", "N\u{b7}m"))
        }
        _ => format!("{} {unit}", plain(v, 4)),
    }
}

/// The text of `claims`.
pub(crate) fn claims(title: &str, file: &str, all: &[Verdict], written: &[PathBuf]) -> String {
    let mut sheet = Sheet::default();
    sheet.line(title);
    let agree = all.iter().filter(|v| v.agrees).count();
    sheet.line(format!("Claims of {file}: {agree} of {} agree", all.len()));
    let mut grid = Grid::new(&[
        ("line", Lean::Right),
        ("quantity", Lean::Left),
        ("claimed", Lean::Right),
        ("found", Lean::Right),
        ("by", Lean::Left),
        ("verdict", Lean::Left),
        ("allowed", Lean::Right),
    ]);
    for v in all {
        let place = v
            .place_m
            .map_or(String::new(), |[x, y]| format!(" at ({}, {}) mm", plain(x * 1e3, 4), plain(y * 1e3, 4)));
        let verdict = match (v.agrees, v.difference) {
            (true, Some(d)) => format!("agrees ({:+.2} %)", 100.0 * d),
            (true, None) => "agrees".to_owned(),
            (false, Some(d)) => format!("DIFFERS by {:+.2} %", 100.0 * d),
            (false, None) => "no value".to_owned(),
        };
        grid.row([
            v.line.to_string(),
            format!("{}{place}", v.quantity),
            number(v.claimed, v.unit),
            v.found.map_or(String::new(), |f| number(f, v.unit)),
            v.model.to_owned(),
            verdict,
            format!("{} %", plain(100.0 * v.tolerance, 3)),
        ]);
    }
    sheet.line(grid.text().trim_end());
    let open: Vec<&Verdict> = all.iter().filter(|v| !v.agrees).collect();
    if !open.is_empty() {
        sheet.heading("Likely reasons, found by switching one effect at a time");
    }
    for v in open {
        sheet.item("!", &format!("line {}, {}: {}", v.line, v.quantity, v.reason));
        for s in &v.switched {
            let off = 100.0 * (v.claimed / s.value - 1.0);
            sheet.item(" ", &format!("{}: {} (claim then {off:+.1} %)", s.effect, number(s.value, v.unit)));
        }
    }
    sheet.files(written);
    sheet.foot();
    sheet.0
}
