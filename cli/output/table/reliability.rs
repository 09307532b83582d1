//! Fits and plans on the screen.

use super::Sheet;
use super::grid::{Grid, Lean};
use crate::commands::Lives;
use crate::output::numbers::plain;
use copperbend_solver::life::count;
use copperbend_solver::reliability::calendar::Day;
use copperbend_solver::reliability::plan::{PlanWish, TestPlan};
use copperbend_solver::reliability::{Family, Interval};
use std::path::PathBuf;

fn bounds(i: Interval) -> String {
    let short = |v: f64| if v.is_finite() { plain(v, 5) } else { "no limit".to_owned() };
    format!("{} to {}", short(i.low), short(i.high))
}

/// The screen of `reliability`.
pub(crate) fn reliability(lives: &Lives, written: &[PathBuf]) -> String {
    let mut sheet = Sheet::default();
    let c = 100.0 * lives.confidence;
    sheet.line(format!("{} samples, {} failed; times in {}", lives.samples, lives.failures, lives.unit));
    for own in &lives.fits {
        let fit = &own.fit;
        sheet.heading(&format!(
            "{} distribution by maximum likelihood, survivors included",
            fit.family.words()
        ));
        let (shape, scale) = match fit.family {
            Family::Weibull => ("shape", "scale (63.2 % failed)"),
            Family::Lognormal => ("one over deviation of ln", "median"),
        };
        let rows = [(shape, own.shape), (scale, own.scale), ("10 % failed", own.ten_percent)];
        for (name, [curved, ratio]) in rows {
            sheet.value(name, plain(curved.value, 5));
            sheet.value("", format!("{} (curvature of the likelihood, {c:.0} %)", bounds(curved)));
            sheet.value(
                "",
                format!("{} (likelihood ratio, {c:.0} %: rather this with few failures)", bounds(ratio)),
            );
        }
        sheet.value("log of the likelihood", format!("{:.4}", fit.log_likelihood));
        if lives.parts > 1 {
            let text = format!("{} {}", plain(own.series_ten_percent, 5), lives.unit);
            sheet.value(&format!("{} parts in series", lives.parts), format!("10 % failed at {text}"));
        }
    }
    if !lives.no_fit.is_empty() {
        sheet.heading("No fit");
        sheet.item("!", &lives.no_fit);
    }
    if let Some([shape, scale, ten]) = lives.assumed {
        sheet.heading(&format!(
            "Weibull shape {shape} assumed: what the samples prove at {c:.0} %, one-sided"
        ));
        sheet.value("scale", format!("at least {} {}", plain(scale, 5), lives.unit));
        sheet.value("10 % failed", format!("not before {} {}", plain(ten, 5), lives.unit));
    }
    if let Some([time, share]) = lives.binomial {
        sheet.heading("Without any distribution (binomial, one-sided)");
        let text =
            format!("at least {:.1} % survive {} {} at {c:.0} %", 100.0 * share, plain(time, 5), lives.unit);
        sheet.value("survivors", text);
    }
    if lives.unit == "flexes" {
        sheet.line("");
        sheet.line("  Times are flexes, two per cycle.");
    }
    sheet.files(written);
    sheet.foot();
    sheet.0
}

/// When to look at the samples.
fn when_to_look(
    sheet: &mut Sheet,
    wish: &PlanWish,
    plans: &[TestPlan],
    (looks, start): (&[f64], Option<Day>),
) {
    let turns = plans.first().map_or(1, |p| p.samples.div_ceil(wish.places));
    sheet.heading(&if turns > 1 {
        format!(
            "When to look, for the first plan, in each of its {turns} turns on the rig (dates: first turn)"
        )
    } else {
        "When to look, for the first plan".to_owned()
    });
    let mut grid = Grid::new(&[
        ("look", Lean::Right),
        ("flexes each", Lean::Right),
        ("after days", Lean::Right),
        (if start.is_some() { "on" } else { "" }, Lean::Left),
    ]);
    for (k, cycles) in looks.iter().enumerate() {
        let days = count::days(*cycles, wish.frequency_hz);
        grid.row(vec![
            (k + 1).to_string(),
            format!("{:.2e}", count::flexes(*cycles)),
            format!("{days:.1}"),
            start.map_or(String::new(), |day| day.after(days).to_string()),
        ]);
    }
    sheet.0.push_str(&grid.text());
}

/// The screen of `plan`.
pub(crate) fn plan(
    wish: &PlanWish,
    plans: &[TestPlan],
    (samples, proven): (u32, &[f64]),
    (looks, start): (&[f64], Option<Day>),
) -> String {
    let mut sheet = Sheet::default();
    let percent = |v: f64| format!("{:.1} %", 100.0 * v);
    sheet.line(format!(
        "To show that {} survive {:.3e} flexes ({:.3e} cycles) at {} confidence",
        percent(wish.reliability),
        count::flexes(wish.goal_cycles),
        wish.goal_cycles,
        percent(wish.confidence)
    ));
    let heading = format!(
        "Plans at {} Hz on {} places; fewer samples run longer by an assumed Weibull shape of {}",
        wish.frequency_hz, wish.places, wish.shape
    );
    sheet.heading(&heading);
    let mut grid = Grid::new(&[
        ("samples", Lean::Right),
        ("may fail", Lean::Right),
        ("flexes each", Lean::Right),
        ("days", Lean::Right),
        ("chance of success", Lean::Right),
        ("cost", Lean::Right),
        (if start.is_some() { "ends" } else { "" }, Lean::Left),
    ]);
    for plan in plans {
        grid.row(vec![
            plan.samples.to_string(),
            plan.failures.to_string(),
            format!("{:.3e}", count::flexes(plan.cycles)),
            format!("{:.1}", plan.days),
            plan.chance.map_or_else(|| "-".to_owned(), percent),
            format!("{:.0}", plan.cost),
            start.map_or(String::new(), |day| day.after(plan.days).to_string()),
        ]);
    }
    sheet.0.push_str(&grid.text());
    if plans.iter().all(|p| p.chance.is_none()) {
        sheet
            .item("-", "chance of success: give the predicted flexes to 10 % failed with --predicted-flexes");
    }
    sheet.heading(&format!(
        "What {samples} samples prove at {} when they reach the end",
        percent(wish.confidence)
    ));
    for (failures, share) in proven.iter().enumerate() {
        sheet.value(&format!("{failures} failed"), format!("at least {} survive", percent(*share)));
    }
    when_to_look(&mut sheet, wish, plans, (looks, start));
    sheet.heading("Before the start");
    for text in [
        "Write down the criterion of failure: resistance up by so many per cent at equal temperature, an open longer than \
         so many milliseconds, or a loss of swing. Cracks close when the flap rests: log during motion.",
        "Stop rule: by time or by failures, whichever is written here beforehand, never by what the data look like.",
        "Count cycles at the drive, not by a timer; two flexes a cycle.",
        "Faster by a larger swing only while the crack stays at its place, copper stays elastic where it is in use, and \
         the coil stays as cool: `life --use-angle` judges levels.",
        "Unattended rigs: one fuse and one current limit a channel, over-temperature cut-off, nothing that burns nearby, a \
         smoke alarm, a restart that does not heat a stopped flap. A cracked track is a hot spot: stop that channel.",
        "Strong magnets pinch and break, and disturb pacemakers.",
    ] {
        sheet.item("-", text);
    }
    sheet.foot();
    sheet.0
}
