//! Life on the screen: set and steady loop of the copper, cycles and flexes of the spots and of the board.

use super::Sheet;
use super::grid::{Grid, Lean};
use crate::commands::{NEAR_M, STRAINED};
use crate::output::numbers::{beside, degrees, engineering, mm, plain, signed, strain, strain_with_error};
use copperbend_solver::life::count;
use copperbend_solver::life::found::Agreement;
use copperbend_solver::life::levels::{TOO_QUIET, TestLevel};
use copperbend_solver::life::report::{LifeReport, Lives};
use copperbend_solver::life::speed::{COMPARED_HZ, SpeedCurve, SpeedRow};
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
        mean_stress(&mut sheet, one);
        board(&mut sheet, one.life);
        one.life.speed.iter().for_each(|curve| speed(&mut sheet, one.life, curve));
        duties(&mut sheet, one.life);
        if let Some(found) = one.agreement {
            agreement(&mut sheet, found);
        }
        levels(&mut sheet, one);
        remarks(&mut sheet);
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
    let [first, steady] = cycle.plastic_work_j.map(|w| engineering(w, "J"));
    sheet.value(
        "plastic work",
        format!("{first} in the first bend, {steady} in every cycle of the steady loop"),
    );
    let settled = if cycle.shakes_down {
        format!(
            "shakes down: no plastic work in the steady loop; a loop is elastic up to a strain range of {limit} \u{b5}m/m"
        )
    } else {
        format!(
            "yields in every cycle in {} triangles, where the strain range is above {limit} \u{b5}m/m",
            cycle.loop_yielding_triangles
        )
    };
    sheet.value("copper", settled);
    if !cycle.stopped.is_empty() {
        sheet.item("!", &format!("the loop was not finished: {}", cycle.stopped));
    }
}

fn spots(sheet: &mut Sheet, one: &LifeShown<'_>) {
    sheet.heading(&format!(
        "Cycles to crack by spot, flexes (2 per cycle) twice as many (bounds at {:.0} %, mean stress applied where it \
         lasts); strain in \u{b5}m/m over one cycle",
        100.0 * one.life.confidence
    ));
    let mut grid = Grid::new(&[
        ("#", Lean::Right),
        ("range", Lean::Right),
        ("\u{b1}", Lean::Right),
        ("mean", Lean::Right),
        ("first", Lean::Right),
        ("10 % failed, cycles", Lean::Left),
        ("half failed, cycles", Lean::Left),
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
            with_bounds(life.lives.half_cycles, 1.0),
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

fn mean_stress(sheet: &mut Sheet, one: &LifeShown<'_>) {
    sheet.heading(
        "Mean stress by spot: cycles by universal slopes as strain-life law, uncorrected and by two corrections; strain in \
         \u{b5}m/m",
    );
    let mut grid = Grid::new(&[
        ("#", Lean::Right),
        ("amplitude", Lean::Right),
        ("mean strain", Lean::Right),
        ("mean, MPa", Lean::Right),
        ("uncorrected", Lean::Right),
        ("Morrow", Lean::Right),
        ("Smith-Watson-Topper", Lean::Right),
        ("half failed, cycles: with, without", Lean::Left),
        ("in the band", Lean::Left),
    ]);
    for (own, life) in one.cycle.spots.iter().zip(&one.life.spots) {
        let m = &life.mean_stress;
        let [with, without] = [life.lives, life.without_mean].map(|l| rough(l.half_cycles.value));
        grid.row(vec![
            own.spot.rank.to_string(),
            strain(m.amplitude).trim_start_matches('+').to_owned(),
            strain(own.mean_strain),
            signed(m.mean_pa * 1e-6, 1),
            rough(m.none_cycles),
            rough(m.morrow_cycles),
            rough(m.swt_cycles),
            format!("{with}, {without}"),
            m.verdict().replace("um/m", "\u{b5}m/m"),
        ]);
    }
    sheet.0.push_str(&grid.text());
}

/// Rows of a curve that are shown: all of a few, else about twenty with the shortest life among them.
fn shown(curve: &SpeedCurve) -> Vec<&SpeedRow> {
    const MOST: usize = 24;
    let n = curve.rows.len();
    let hours = |r: &SpeedRow| r.lives.map(|l| count::hours(l.ten_percent_cycles.value, r.frequency_hz));
    let shortest =
        (0..n).filter_map(|k| Some((k, hours(&curve.rows[k])?))).min_by(|a, b| a.1.total_cmp(&b.1));
    let every = n.div_ceil(MOST).max(1);
    let first = shortest.map_or(0, |s| s.0 % every);
    (0..n).filter(|k| k % every == first).map(|k| &curve.rows[k]).collect()
}

fn speed(sheet: &mut Sheet, life: &LifeReport, curve: &SpeedCurve) {
    let rows = shown(curve);
    let thinned = if rows.len() < curve.rows.len() { "; all rows in life_over_speed.csv" } else { "" };
    sheet.heading(&if curve.driven {
        format!("Life over drive frequency at the swing that the drive makes there{thinned}")
    } else {
        "Life over drive frequency at the computed swing held: cycles stay, hours fall".to_owned()
    });
    let mut headings = vec![("Hz", Lean::Right)];
    if curve.driven {
        headings.extend([("swing, \u{b1}\u{b0}", Lean::Right), ("strain range, \u{b5}m/m", Lean::Right)]);
        headings.push(("10 % failed, flexes", Lean::Left));
    }
    headings.extend([
        ("10 % failed, hours", Lean::Left),
        ("half, hours", Lean::Right),
        ("rests on", Lean::Left),
    ]);
    let mut grid = Grid::new(&headings);
    for row in rows {
        let mut cells = vec![plain(row.frequency_hz, 3)];
        if curve.driven {
            cells.push(format!("{:.2}", row.swing_rad.to_degrees()));
            cells.push(row.range.map_or("-".to_owned(), |r| strain(r).trim_start_matches('+').to_owned()));
        }
        if let Some(own) = row.lives {
            let per = count::hours(1.0, row.frequency_hz);
            if curve.driven {
                cells.push(with_bounds(own.ten_percent_cycles, count::FLEXES_PER_CYCLE));
            }
            cells.push(hours_with_bounds(&own, per));
            cells.push(hours_words(own.half_cycles.value, per));
        } else {
            cells.extend(["-", "-"].map(str::to_owned));
            cells.extend(curve.driven.then(|| "-".to_owned()));
        }
        let mut words = row.lives.map_or(String::new(), |_| row.evidence.words().to_owned());
        for more in [row.note.as_str(), if row.speed_untested { "speed not compared" } else { "" }] {
            if !more.is_empty() {
                words = if words.is_empty() { more.to_owned() } else { format!("{words}; {more}") };
            }
        }
        cells.push(words);
        grid.row(cells);
    }
    sheet.0.push_str(&grid.text());
    if curve.rows.iter().any(|r| r.speed_untested) {
        let [low, high] = COMPARED_HZ;
        sheet.item(
            "-",
            &format!(
                "speed not compared: outside {low} to {high} Hz, between which the cycles at a held swing hardly depend on \
                 the speed (judgement), and no sample was tested within a factor of 1.5"
            ),
        );
    }
    if let (Some([best, sure]), Some(wanted)) = (curve.highest_hz, life.wanted_cycles) {
        let hertz = |f: Option<f64>| f.map_or("at no frequency".to_owned(), |f| format!("up to {f:.1} Hz"));
        sheet.value(
            "wanted",
            format!(
                "90 % survive {:.2e} flexes {} by the best value, {} by the lower bound (frequencies of the sweep, not all \
                 below need do)",
                count::flexes(wanted),
                hertz(best),
                hertz(sure)
            ),
        );
    }
}

/// Hours of so many cycles; beyond the laws they say so.
fn hours_words(cycles: f64, per_cycle: f64) -> String {
    let over = if cycles >= 1e12 { "over " } else { "" };
    let hours = cycles.min(1e12) * per_cycle;
    if hours < 1e5 { format!("{over}{}", plain(hours, 2)) } else { format!("{over}{hours:.1e}") }
}

fn hours_with_bounds(own: &Lives, per_cycle: f64) -> String {
    let i = own.ten_percent_cycles;
    let [v, low, high] = [i.value, i.low, i.high].map(|c| hours_words(c, per_cycle));
    format!("{v} ({low} to {high})")
}

fn board(sheet: &mut Sheet, life: &LifeReport) {
    sheet.heading("The board as a whole: it fails at its weakest spot");
    for (name, own) in
        [("10 % failed", life.board.ten_percent_cycles), ("half failed", life.board.half_cycles)]
    {
        sheet.value(name, format!("{} cycles", with_bounds(own, 1.0)));
        sheet.value("", format!("{} flexes (2 per cycle)", with_bounds(own, count::FLEXES_PER_CYCLE)));
        if let Some(f) = life.frequency_hz {
            let [best, low] = [own.value, own.low].map(|c| hours_words(c, count::hours(1.0, f)));
            sheet.value("", format!("{best} hours at {f} Hz (at least {low})"));
        }
    }
    let [with, without] = [life.board, life.board_without_mean].map(|l| l.half_cycles.value);
    if (with / without - 1.0).abs() > 0.01 {
        let text = format!("half failed after {} cycles, were there no mean stress", rough(without));
        sheet.value("uncorrected", text);
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
    if !life.elsewhere.is_empty() {
        sheet.item(
            "!",
            &format!(
                "the crack of sample {} lies within {} mm of none of the spots: counted as a failure of the whole sample \
                 without a place; list more with --spots, or the model misses that place",
                life.elsewhere.join(", "),
                mm(NEAR_M)
            ),
        );
    }
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
            "{} of {} cracks lie within {} mm of one of the {} spots that reach {:.0} % of the largest strain range",
            found.met,
            found.cracks,
            mm(found.radius_m),
            found.spots,
            100.0 * STRAINED
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
    sheet.heading("A faster test by a larger swing: time to half failed over that in use, with bounds");
    let mut grid = Grid::new(&[
        ("", Lean::Left),
        ("swing, \u{b1}\u{b0}", Lean::Right),
        ("range, \u{b5}m/m", Lean::Right),
        ("half failed, cycles", Lean::Left),
        ("time over use", Lean::Left),
        ("coil, \u{b0}C", Lean::Right),
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
            strain(level.range).trim_start_matches('+').to_owned(),
            with_bounds(level.half_cycles, 1.0),
            if i == 0 {
                "1".to_owned()
            } else {
                let t = level.time_share;
                format!("{} ({} to {})", plain(t.value, 2), plain(t.low, 2), plain(t.high, 2))
            },
            level.coil_degc.map_or("-".to_owned(), |t| format!("{t:.0}")),
            verdict,
        ]);
    }
    sheet.0.push_str(&grid.text());
    split(sheet, one);
}

/// Samples over the levels.
fn split(sheet: &mut Sheet, one: &LifeShown<'_>) {
    let top = one.levels.iter().rev().find(|l| l.refused.is_empty()).and_then(|l| l.exponent);
    if let Some(m) = top {
        let text = format!(
            "life goes with strain to the power of -{:.1} ({:.1} to {:.1} at {:.0} %) up to the highest usable level",
            m.value,
            m.low,
            m.high,
            100.0 * one.life.confidence
        );
        sheet.value("exponent", text);
    }
    let used: Vec<(usize, &TestLevel)> =
        one.levels.iter().enumerate().filter(|(_, l)| l.samples > 0).collect();
    if used.is_empty() {
        sheet.item(
            "!",
            "no level may be used: test at the swing in use, longer or with more samples (`plan`)",
        );
        return;
    }
    sheet.heading("Its samples: most at the lowest level, from which the life in use is read");
    let mut headings = vec![("", Lean::Left), ("samples", Lean::Right), ("flexes each", Lean::Right)];
    headings.extend([("days", Lean::Right), ("failures expected", Lean::Right), ("none fails", Lean::Right)]);
    let mut grid = Grid::new(&headings);
    for (i, level) in &used {
        let days = one.life.frequency_hz.map(|f| format!("{:.1}", count::days(level.run_cycles, f)));
        grid.row(vec![
            format!("level {i}"),
            level.samples.to_string(),
            rough(count::flexes(level.run_cycles)),
            days.unwrap_or_else(|| "-".to_owned()),
            format!("{:.1}", level.expected_failures),
            format!("{:.0} %", 100.0 * level.none_fail),
        ]);
    }
    sheet.0.push_str(&grid.text());
    if one.life.frequency_hz.is_none() {
        sheet.item("-", "days: give the drive frequency with --frequency");
    }
    for (i, level) in used.iter().filter(|(_, l)| l.none_fail > TOO_QUIET) {
        sheet.item(
            "!",
            &format!(
                "level {i} shows no failure with a chance of {:.0} % and then says little about the exponent: run longer \
                 (--test-days) or give it more samples (--test-samples)",
                100.0 * level.none_fail
            ),
        );
    }
}

fn remarks(sheet: &mut Sheet) {
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
    sheet.item(
        "-",
        "Mean stress: a mean strain does harm only by the stress it leaves. It counts whole up to an amplitude of 400 \
         \u{b5}m/m and not at all from 600 \u{b5}m/m on, where annealed copper relaxes it (judgement); tension only. The \
         harsher correction moves the short edge of the literature band, the milder one the long edge; samples are \
         corrected in the same way at their own swing.",
    );
}
