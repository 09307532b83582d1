//! The rig log on the screen.

use super::Sheet;
use super::grid::{Grid, Lean};
use crate::commands::Watched;
use copperbend_solver::life::count;
use copperbend_solver::rig_log::{Alarms, Kind};
use std::path::PathBuf;

/// The screen of `rig`. `cut`: line at which the log stops in the middle.
pub(crate) fn rig(watched: &[Watched], alarms: &Alarms, cut: Option<u64>, written: &[PathBuf]) -> String {
    let mut sheet = Sheet::default();
    let failed = watched.iter().filter(|w| w.failed_s_cycles.is_some()).count();
    sheet.line(format!("{} samples, {failed} failed", watched.len()));
    sheet.heading(&format!(
        "Resistance corrected to {} \u{b0}C; failed at +{} % or an open of {} ms",
        alarms.reference_degc,
        alarms.failure * 100.0,
        alarms.open_s * 1e3
    ));
    let mut grid = Grid::new(&[
        ("sample", Lean::Left),
        ("readings", Lean::Right),
        ("begins at, ohm", Lean::Right),
        ("highest, %", Lean::Right),
        ("opens", Lean::Right),
        ("flexes (2 per cycle)", Lean::Right),
        ("hours", Lean::Right),
        ("outcome", Lean::Left),
    ]);
    for own in watched {
        let outcome = match own.failed_s_cycles {
            Some([time_s, _]) => format!("failed at {:.2} h", time_s / 3600.0),
            None => "whole".to_owned(),
        };
        grid.row(vec![
            own.name.clone(),
            own.readings.to_string(),
            own.base_ohm.map_or_else(|| "-".to_owned(), |r| format!("{r:.4}")),
            format!("{:+.2}", 100.0 * (own.highest_ratio - 1.0)),
            own.opens.to_string(),
            format!("{:.4e}", count::flexes(own.cycles)),
            format!("{:.2}", own.running_s / 3600.0),
            outcome,
        ]);
    }
    sheet.0.push_str(&grid.text());
    alarms_of(&mut sheet, watched);
    if let Some(line) = cut {
        sheet.item("!", &format!("the log stops in the middle of line {line}; that line is left out"));
    }
    if watched.iter().any(|w| w.uncorrected) {
        sheet
            .item("!", "readings without temperature are not corrected: day and night may look like a drift");
    }
    sheet.item("-", "A cracked track under current is a hot spot: stop its channel before anything else.");
    sheet.files(written);
    sheet.foot();
    sheet.0
}

fn alarms_of(sheet: &mut Sheet, watched: &[Watched]) {
    sheet.heading("What happened");
    let mut any = false;
    for own in watched {
        for event in own.events.iter().take(8) {
            any = true;
            let what = match event.kind {
                Kind::Drift => format!("drift: resistance up by {:.2} %", 100.0 * (event.ratio - 1.0)),
                Kind::Jump => "jump of the resistance".to_owned(),
                Kind::Open(s) => format!("open for {:.1} ms, closed again", s * 1e3),
                Kind::Gap(s) => format!("no reading for {:.2} h: not counted as running", s / 3600.0),
                Kind::Failed => "failed".to_owned(),
            };
            let at =
                format!("{:.3} h, {:.3e} flexes: {what}", event.time_s / 3600.0, count::flexes(event.cycles));
            sheet.value(&own.name, at);
        }
        let left = own.events.len().saturating_sub(8) as u64 + own.more_events;
        if left > 0 {
            sheet.value(&own.name, format!("and {left} more, see events.csv"));
        }
    }
    if !any {
        sheet.line("  nothing: no drift, jump or open");
    }
}
