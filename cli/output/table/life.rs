//! Life on the screen: set and steady loop of the copper, cycles and flexes of the spots and of the board.

use super::Sheet;
use super::grid::{Grid, Lean};
use crate::output::numbers::{beside, degrees, engineering, mm, strain, strain_with_error};
use copperbend_solver::life::count;
use copperbend_solver::life::found::Agreement;
use copperbend_solver::life::report::{LifeReport, TestLevel, hours};
use copperbend_solver::reliability::Interval;
use copperbend_solver::result::CycleAnswer;
use std::path::PathBuf;

/// Everything that the screen of `life` shows of one answer.
pub(crate) struct LifeShown<'a> {
    /// Title of the design, and how tapes were taken.
    pub(crate) title: String,
    /// The loop.
    pub(crate) cycle: &'a CycleAnswer,
    /// Its life.
    pub(crate) life: &'a LifeReport,
    /// Found cracks against the spots.
    pub(crate) agreement: Option<Agreement>,
    /// Levels of a faster test, the use first.
    pub(crate) levels: &'a [TestLevel],
}

/// Two digits: nobody knows life better.
fn rough(cycles: f64) -> String {
    if cycles >= 1e12 { "over 1e12".to_owned() } else { format!("{cycles:.1e}") }
}

fn with_bounds(cycles: Interval, factor: f64) -> String {
    let [v, low, high] = [cycles.value, cycles.low, cycles.high].map(|c| rough(factor * c));
    format!("{v} ({low} to {high})")
}

/// The screen of `life`.
pub(crate) fn life(shown: &[LifeShown<'_>], written: &[PathBuf]) -> String {
    let mut sheet = Sheet::default();
    for one in shown {
        sheet.line(&one.title);
        yielding(&mut sheet, one.cycle);
        spots(&mut sheet, one);
        board(&mut sheet, one.life);
        duties(&mut sheet, one.life);
        if let Some(found) = one.agreement {
            agreement(&mut sheet, found);
        }
        levels(&mut sheet, one);
        remarks(&mut sheet, one);
    }
    sheet.files(written);
    sheet.foot();
    sheet.0
}

fn yielding(sheet: &mut Sheet, cycle: &CycleAnswer) {
    sheet.heading(
        "Copper that yields: first bend and set by the first curve, steady loop by the cyclic curve",
    );
    sheet.value("first curve", &cycle.first_curve);
    sheet.value("cyclic curve", &cycle.cyclic_curve);
    let [low, high] = cycle.currents_a.map(|a| engineering(a, "A"));
    sheet.value("swing between", format!("{low} and {high}"));
    sheet.value("flap angle before", format!("{} without current", degrees(cycle.rest_before_rad)));
    sheet.value("end of the first bend", degrees(cycle.first_top_rad));
    sheet.value("set by the first bend", format!("{} without current", degrees(cycle.first_set_rad)));
    let [low, high] = cycle.steady_ends_rad.map(degrees);
    sheet.value("steady swing", format!("{low} to {high}"));
    sheet.value("rest after power-off", format!("{} (after the steady loop)", degrees(cycle.rest_after_rad)));
    let limit = strain(cycle.elastic_range);
    let settled = if cycle.shakes_down {
        format!("elastic in the steady loop: no strain range above {limit} \u{b5}m/m (shakedown)")
    } else {
        format!("yields in every cycle where the strain range is above {limit} \u{b5}m/m")
    };
    sheet.value("copper", settled);
    if !cycle.stopped.is_empty() {
        sheet.item("!", &format!("the loop was not finished: {}", cycle.stopped));
    }
}

fn spots(sheet: &mut Sheet, one: &LifeShown<'_>) {
    sheet.heading(&format!(
        "Cycles to crack by spot (bounds at {:.0} %); strain in \u{b5}m/m over one cycle",
        100.0 * one.life.confidence
    ));
    let mut grid = Grid::new(&[
        ("#", Lean::Right),
        ("range", Lean::Right),
        ("\u{b1}", Lean::Right),
        ("mean", Lean::Right),
        ("first", Lean::Right),
        ("10 % failed, cycles", Lean::Left),
        ("half, cycles", Lean::Right),
        ("literature, cycles", Lean::Left),
        ("layer", Lean::Left),
        ("x, mm", Lean::Right),
        ("y, mm", Lean::Right),
        ("", Lean::Left),
        ("nearest feature", Lean::Left),
    ]);
    for (own, life) in one.cycle.spots.iter().zip(&one.life.spots) {
        let s = &own.spot;
        let [range, error] = strain_with_error(s.range, s.range_error);
        grid.row(vec![
            s.rank.to_string(),
            range.trim_start_matches('+').to_owned(),
            error,
            strain(own.mean_strain),
            strain(own.first_bend_strain),
            with_bounds(life.lives.ten_percent_cycles, 1.0),
            rough(life.lives.half_cycles.value),
            format!("{} to {}", rough(life.band.low()), rough(life.band.high())),
            s.layer.clone(),
            mm(s.x_m),
            mm(s.y_m),
            if life.extrapolated { "e" } else { "" }.to_owned(),
            beside(s.near_m, &s.near),
        ]);
    }
    sheet.0.push_str(&grid.text());
    if one.life.spots.iter().any(|s| s.extrapolated) {
        sheet.item("e:", "extrapolated: the strain lies below every data point");
    }
}

fn board(sheet: &mut Sheet, life: &LifeReport) {
    sheet.heading("The board as a whole: it fails at its weakest spot");
    for (name, own) in
        [("10 % failed", life.board.ten_percent_cycles), ("half failed", life.board.half_cycles)]
    {
        sheet.value(name, format!("{} cycles", with_bounds(own, 1.0)));
        sheet.value("", format!("{} flexes (2 per cycle)", with_bounds(own, count::FLEXES_PER_CYCLE)));
        if let (Some(f), Some(h), Some(low)) =
            (life.frequency_hz, hours(own.value, life.frequency_hz), hours(own.low, life.frequency_hz))
        {
            sheet.value("", format!("{h:.3e} hours at {f} Hz (at least {low:.3e})"));
        }
    }
    let evidence = match life.samples {
        [0, _] => "no tested sample: the figures are the literature's and a stated prior, no measurement of this board"
            .to_owned(),
        [n, failed] => {
            let [low, high] = life.tested_range.unwrap_or_default().map(strain);
            format!(
                "{n} tested samples, {failed} failed, strain range {} to {} \u{b5}m/m, fitted through the computed \
                 strain, survivors included; Weibull shape about {:.1}",
                low.trim_start_matches('+'),
                high.trim_start_matches('+'),
                life.shape
            )
        }
    };
    sheet.value("evidence", evidence);
}

fn duties(sheet: &mut Sheet, life: &LifeReport) {
    let Some((terms, sum)) = &life.duty_damage else { return };
    sheet.heading(
        "Duties: share of the life (half failed) used by one round of the list, added up (Palmgren, Miner)",
    );
    for (i, term) in terms.iter().enumerate() {
        sheet.value(&format!("duty {}", i + 1), format!("{term:.3e}"));
    }
    let rounds = if *sum > 0.0 { format!("{:.2e} rounds", 1.0 / sum) } else { "no limit found".to_owned() };
    sheet.value("sum", format!("{sum:.3e}: {rounds}; in practice 0.3 to 3 times that"));
}

fn agreement(sheet: &mut Sheet, found: Agreement) {
    sheet.heading("Found cracks against the ranked spots");
    sheet.value(
        "agreement",
        format!(
            "{} of {} cracks lie within {} mm of one of the first {} spots",
            found.met,
            found.cracks,
            mm(found.radius_m),
            found.spots
        ),
    );
    sheet.value(
        "by luck",
        format!(
            "these surroundings are {:.1} % of the ranked copper; places drawn at random would agree as often with a \
             chance of {:.2e}",
            100.0 * found.covered,
            found.by_luck
        ),
    );
    if found.by_luck > 0.05 {
        sheet.item("!", "luck alone explains this: the model is not confirmed");
    }
}

fn levels(sheet: &mut Sheet, one: &LifeShown<'_>) {
    if one.levels.is_empty() {
        return;
    }
    sheet.heading("A faster test by a larger swing: time to half failed over that in use");
    let mut grid = Grid::new(&[
        ("", Lean::Left),
        ("swing, \u{b1}\u{b0}", Lean::Right),
        ("half failed, cycles", Lean::Left),
        ("time", Lean::Right),
        ("", Lean::Left),
    ]);
    for (i, level) in one.levels.iter().enumerate() {
        let name = if i == 0 { "use".to_owned() } else { format!("level {i}") };
        let verdict = if level.refused.is_empty() {
            if i == 0 { String::new() } else { "may be used".to_owned() }
        } else {
            format!("refused: {}", level.refused)
        };
        grid.row(vec![
            name,
            format!("{:.2}", level.angle_rad.to_degrees()),
            with_bounds(level.half_cycles, 1.0),
            format!("{:.3}", level.time_share),
            verdict,
        ]);
    }
    sheet.0.push_str(&grid.text());
}

fn remarks(sheet: &mut Sheet, one: &LifeShown<'_>) {
    sheet.heading("What to keep in mind");
    for text in [
        "Life follows from strain alone to no better than a decade; a range of 1.5 times in strain is about 50 times in \
         life.",
        "A cycle is one drive period, two flexes. A supplier's flexes count both polarities.",
        "Prior: middle of the literature band, 10 and 90 % points at its edges (a decade at least); exponent changed by \
         1 (one deviation); Weibull shape 2 (1.5 to 4). Judgement, no source.",
        "Quiet swing: at resonance give the measured angle with --angle. Speed between 10 and 50 Hz changes the cycles \
         little at a held swing and temperature.",
        "Films and adhesives stay elastic; their creep, which adds to the set of a board stored bent, is not modelled.",
    ] {
        sheet.item("-", text);
    }
    let corrected = one.life.spots.iter().map(|s| s.mean_stress.factor()).fold(1.0, f64::min);
    if corrected < 0.95 {
        sheet.item(
            "-",
            &format!(
                "A lasting mean stress would shorten the life to {corrected:.2} times (harsher of two corrections, by \
                 universal slopes); it is not applied above."
            ),
        );
    }
}
