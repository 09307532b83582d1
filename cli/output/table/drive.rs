//! The driven swing on the screen.

use super::Sheet;
use super::beam::{MODEL_WORDS, UNSURE_BEAMS};
use super::bend::{bond_words, face_word};
use super::grid::{Grid, Lean};
use crate::output::numbers::{beside, degrees, engineering, mm, plain, signed, strain_with_error};
use copperbend_solver::result::{DriveAnswer, DriveReport, DriveRow};
use std::path::PathBuf;

/// Rows of a sweep shown on the screen at most; the file has all.
const SHOWN: usize = 22;

/// The report of `drive`.
pub(crate) fn drive(report: &DriveReport, written: &[PathBuf]) -> String {
    let mut sheet = Sheet::default();
    sheet.line(format!("{}: driven swing in air", report.title));
    for answer in &report.answers {
        if report.answers.len() > 1 {
            sheet.heading(&format!("== {} ==", bond_words(answer.bond)));
        }
        one(&mut sheet, answer);
    }
    if !report.limits.is_empty() {
        sheet.heading("Limits of the design against the largest value of the sweep");
        for l in &report.limits {
            let (value, limit) = match l.unit.as_str() {
                "rad" => (degrees(l.value), degrees(l.limit)),
                "1" => (
                    format!("{} \u{b5}m/m", plain(l.value * 1e6, 4)),
                    format!("{} \u{b5}m/m", plain(l.limit * 1e6, 4)),
                ),
                unit => (engineering(l.value, unit), engineering(l.limit, unit)),
            };
            sheet.value(&l.what, format!("{value} of {limit}{}", if l.exceeded { ": EXCEEDED" } else { "" }));
        }
    }
    sheet.remarks(&report.left_out, &report.warnings, &report.cautions);
    sheet.files(written);
    sheet.foot();
    sheet.0
}

fn one(sheet: &mut Sheet, answer: &DriveAnswer) {
    source(sheet, answer);
    oscillator(sheet, answer);
    damping(sheet, answer);
    basis(sheet, answer);
    sweep(sheet, answer);
    levels(sheet, answer);
    in_time(sheet, answer);
    usable(sheet, answer);
    spots(sheet, answer);
}

fn in_time(sheet: &mut Sheet, answer: &DriveAnswer) {
    if answer.traces.is_empty() {
        return;
    }
    sheet.heading("In time (the file has every point)");
    for t in &answer.traces {
        let beyond = if t.beyond { ", beyond the flap angles followed" } else { "" };
        let ended = t
            .ended_s
            .map_or(String::new(), |s| format!("; the steps no longer settle at {}", engineering(s, "s")));
        sheet.value(
            &t.name,
            format!(
                "largest excursion {}\u{b0} from the angle without current{beyond}, at {} Hz{ended}",
                plain(t.largest_rad.to_degrees(), 4),
                plain(t.frequency_hz, 4)
            ),
        );
    }
}

fn source(sheet: &mut Sheet, answer: &DriveAnswer) {
    let s = &answer.source;
    sheet.heading("Drive");
    if answer.beam_elements.is_some() {
        sheet.value("model", MODEL_WORDS);
    }
    let about =
        if s.offset_a == 0.0 { String::new() } else { format!(", about {}", engineering(s.offset_a, "A")) };
    let how = match s.voltage_v {
        Some(v) => format!(
            "voltage of \u{b1}{}, which is \u{b1}{} through the resistance alone",
            engineering(v, "V"),
            engineering(s.current_a, "A")
        ),
        None => format!("current of \u{b1}{}, forced", engineering(s.current_a, "A")),
    };
    sheet.value("wave", format!("{} {how}{about}", s.wave));
    if let Some(r) = s.resistance_ohm {
        let lag = s.inductance_h / r;
        sheet.value(
            "path",
            format!(
                "{} at 20 \u{b0}C, about {} (estimate to some 5 %), time constant {}",
                engineering(r, "\u{3a9}"),
                engineering(s.inductance_h, "H"),
                engineering(lag, "s")
            ),
        );
    }
    sheet.value("harmonics", format!("{} of the drive in the steady motion", s.harmonics));
}

fn oscillator(sheet: &mut Sheet, answer: &DriveAnswer) {
    let s = &answer.swing;
    sheet.heading("The swing as one oscillator");
    sheet.value(
        "natural frequency",
        format!(
            "{} Hz about the state under weight and heat ({} Hz flat and without them), in air (air is {} % of the moving \
             mass)",
            plain(s.frequency_hz, 4),
            plain(s.flat_frequency_hz, 4),
            plain(100.0 * s.air_share, 2)
        ),
    );
    sheet.value(
        "spring, inertia",
        format!(
            "{}/rad, {} about the hinge line",
            engineering(s.spring_nm_per_rad, "N\u{b7}m"),
            format_args!("{} g\u{b7}mm\u{b2}", plain(s.inertia_kg_m2 * 1e9, 3))
        ),
    );
    sheet.value(
        "torque of the coil",
        format!(
            "{}/A at rest, changing by {}/(rad\u{b7}A)",
            engineering(s.torque_nm_per_a, "N\u{b7}m"),
            engineering(s.torque_change_nm_per_rad_a, "N\u{b7}m")
        ),
    );
    let [low, high] = s.followed_rad.map(degrees);
    sheet.value(
        "large swing",
        format!(
            "flap angle {} without current; followed from {low} to {high}; energy along it closes to {} %",
            degrees(s.rest_angle_rad),
            plain(100.0 * s.energy_gap, 2)
        ),
    );
    let h = &answer.half_frequency;
    let verdict = match (h.found_hz, h.epsilon > h.threshold) {
        (Some([a, b]), _) => {
            format!("; half-frequency swing found from {} to {} Hz", plain(a, 4), plain(b, 4))
        }
        (None, true) => "; beyond it: keep away from twice the natural frequency".to_owned(),
        (None, false) => "; the flap keeps to the drive frequency".to_owned(),
    };
    sheet.value(
        "half frequency",
        format!(
            "the current changes the stiffness by \u{3b5} = {}, damping holds up to 4\u{3b6} = {}{verdict}",
            plain(h.epsilon, 3),
            plain(h.threshold, 3)
        ),
    );
}

fn damping(sheet: &mut Sheet, answer: &DriveAnswer) {
    sheet.heading("Damping ratio of the swing, share by share");
    for d in &answer.damping {
        let measured = if d.measured { " (measured)" } else { "" };
        let [low, high] = d.span;
        sheet.value(
            &d.name,
            format!("{}, {} to {}{measured}: {}", plain(d.ratio, 3), plain(low, 2), plain(high, 2), d.basis),
        );
    }
}

fn basis(sheet: &mut Sheet, answer: &DriveAnswer) {
    sheet.heading(
        "Shapes the board moves in (flat, without weight), and what one ampere does in each at rest",
    );
    let mut grid = Grid::new(&[
        ("shape", Lean::Left),
        ("Hz", Lean::Right),
        ("flap angle, \u{b0}/A", Lean::Right),
        ("roll, \u{b0}/A", Lean::Right),
        ("roll over swing", Lean::Right),
    ]);
    for b in &answer.basis {
        grid.row([
            b.name.clone(),
            plain(b.frequency_hz, 4),
            plain(b.angle_rad_per_a.to_degrees(), 3),
            plain(b.roll_rad_per_a.to_degrees(), 3),
            b.roll_per_swing.map_or_else(|| "-".to_owned(), |r| plain(r.abs(), 2)),
        ]);
    }
    sheet.0.push_str(&grid.text());
}

fn rows(sheet: &mut Sheet, first: (&str, fn(&DriveRow) -> String), list: &[&DriveRow]) {
    let marked = list.iter().any(|r| r.stable == Some(false) || r.beyond);
    let mut headings = vec![
        (first.0, Lean::Right),
        ("swing \u{b1}\u{b0}", Lean::Right),
        ("lag, \u{b0}", Lean::Right),
        ("mean, \u{b0}", Lean::Right),
        ("roll \u{b1}\u{b0}", Lean::Right),
        ("strain range, \u{b5}m/m", Lean::Right),
        ("\u{b1}", Lean::Right),
        ("spot", Lean::Right),
        ("rms, mA", Lean::Right),
        ("power, mW", Lean::Right),
        ("settles, periods", Lean::Right),
    ];
    if marked {
        headings.push(("", Lean::Left));
    }
    let mut grid = Grid::new(&headings);
    for r in list {
        let [range, error] = range_with_error(r.strain_range, r.strain_range_error);
        let mut row = vec![
            first.1(r),
            plain(r.swing_rad.to_degrees(), 4),
            format!("{:.1}", r.lag_rad.to_degrees()),
            signed(r.mean_rad.to_degrees(), 3),
            plain(r.roll_rad.to_degrees(), 2),
            range,
            error,
            r.spot.to_string(),
            plain(r.current_rms_a * 1e3, 3),
            r.power_w.map_or_else(|| "-".to_owned(), |p| plain(p * 1e3, 3)),
            r.settles_periods.map_or_else(|| "-".to_owned(), |n| plain(n, 2)),
        ];
        if marked {
            let beyond = if r.beyond { "x" } else { "" };
            row.push(format!("{beyond}{}", if r.stable == Some(false) { "u" } else { "" }));
        }
        grid.row(row);
    }
    sheet.0.push_str(&grid.text());
    if list.iter().any(|r| r.stable == Some(false)) {
        let ways: std::collections::BTreeSet<&str> =
            list.iter().filter(|r| r.stable == Some(false)).map(|r| r.gives_way.as_str()).collect();
        let ways: Vec<&str> = ways.into_iter().collect();
        sheet.item("u:", &format!("not stable: the flap {}", ways.join(" or ")));
    }
    if list.iter().any(|r| r.beyond) {
        sheet.item("x:", "reaches beyond the flap angles followed: extrapolated");
    }
}

/// At most [`SHOWN`] rows, the one with the largest swing among them.
fn chosen(all: &[DriveRow], peak: Option<usize>) -> Vec<&DriveRow> {
    let asked: Vec<usize> = (0..all.len()).filter(|&i| all[i].asked).collect();
    let every = asked.len().div_ceil(SHOWN).max(1);
    let last = asked.len().saturating_sub(1);
    (0..all.len())
        .filter(|&i| {
            let place = asked.iter().position(|&a| a == i);
            peak == Some(i) || place.is_some_and(|p| p % every == 0 || p == last)
        })
        .map(|i| &all[i])
        .collect()
}

fn sweep(sheet: &mut Sheet, answer: &DriveAnswer) {
    sheet.heading("Steady swing over frequency (harmonic balance; the file has every row)");
    let [modes, sweep] = answer.seconds;
    if sweep > 0.0 {
        let n = answer.sweep.iter().filter(|r| r.asked).count();
        sheet.line(format!(
            "  {n} asked motions in {} s; the modes took {} s, their matrices and factor included",
            plain(sweep, 2),
            plain(modes, 2)
        ));
    }
    let list = chosen(&answer.sweep, answer.peak);
    let hertz =
        |r: &DriveRow| if r.frequency_hz > 0.0 { plain(r.frequency_hz, 4) } else { "0 (slow)".to_owned() };
    rows(sheet, ("Hz", hertz), &list);
    if list.iter().any(|r| r.frequency_hz == 0.0) {
        sheet.item(
            "0:",
            "so slow that the flap is in balance with the current at every instant: no lag, no gain",
        );
    }
    if let Some(why) = &answer.slow_lost {
        sheet.item("!", why);
    }
    if let Some(why) = &answer.sweep_lost {
        sheet.item("!", why);
    }
    if let Some(row) = answer.peak.and_then(|p| answer.sweep.get(p)) {
        let span = answer.peak_bracket_rad.map_or(String::new(), |[a, b]| {
            format!(
                "; with the drag coefficient at half or twice, \u{b1}{} or \u{b1}{}\u{b0}",
                plain(a.to_degrees(), 3),
                plain(b.to_degrees(), 3)
            )
        });
        let check = answer.time_check.map_or(String::new(), |d| {
            format!("; steps in time leave it by {} of the swing in eight periods", plain(d, 2))
        });
        sheet.value(
            "largest stable swing",
            format!(
                "\u{b1}{}\u{b0} at {} Hz{span}{check}",
                plain(row.swing_rad.to_degrees(), 4),
                plain(row.frequency_hz, 4)
            ),
        );
    }
}

fn levels(sheet: &mut Sheet, answer: &DriveAnswer) {
    let Some(first) = answer.levels.first() else { return };
    sheet.heading(&format!("Steady swing over strength, at {} Hz", plain(first.frequency_hz, 4)));
    let list: Vec<&DriveRow> = answer.levels.iter().collect();
    rows(sheet, ("% of the drive", |r| plain(100.0 * r.level, 3)), &list);
    if let Some(why) = &answer.levels_lost {
        sheet.item("!", why);
    }
}

fn usable(sheet: &mut Sheet, answer: &DriveAnswer) {
    sheet.heading("Usable speed");
    let u = &answer.usable;
    match u.frequency_hz {
        Some(f) => sheet.value("usable to", format!("{} Hz; then fails: {}", plain(f, 4), u.binds)),
        None => sheet.value("usable", format!("at no frequency of the sweep: {}", u.binds)),
    }
    for l in &u.limits {
        let to = l.holds_to_hz.map_or_else(|| "nowhere".to_owned(), |f| format!("up to {} Hz", plain(f, 4)));
        let default = if l.default { " (taken by default)" } else { "" };
        let fails = l.fails_hz.map_or(String::new(), |[a, b]| {
            if a < b {
                format!(", but fails at full strength from {} to {} Hz", plain(a, 4), plain(b, 4))
            } else {
                format!(", but fails at full strength at {} Hz", plain(a, 4))
            }
        });
        sheet.value(&l.name, format!("{}{default}: holds {to}{fails}", l.limit));
    }
}

/// A strain range in um/m without sign, and its error; a dash where none was estimated.
fn range_with_error(range: f64, error: Option<f64>) -> [String; 2] {
    let [shown, known] = strain_with_error(range, error.unwrap_or(0.0));
    [shown.trim_start_matches('+').to_owned(), error.map_or_else(|| "-".to_owned(), |_| known)]
}

fn spots(sheet: &mut Sheet, answer: &DriveAnswer) {
    if answer.spots.is_empty() {
        return;
    }
    sheet.heading("Copper that fatigue sees first: strain range at the largest stable swing, \u{b5}m/m");
    let mut grid = Grid::new(&[
        ("#", Lean::Right),
        ("range", Lean::Right),
        ("\u{b1}", Lean::Right),
        ("track", Lean::Left),
        ("layer", Lean::Left),
        ("face", Lean::Left),
        ("x, mm", Lean::Right),
        ("y, mm", Lean::Right),
        ("nearest feature", Lean::Left),
    ]);
    for s in &answer.spots {
        let [range, error] = range_with_error(s.range, s.range_error);
        grid.row([
            s.rank.to_string(),
            range,
            error,
            s.track.clone(),
            s.layer.clone(),
            face_word(s.face).to_owned(),
            mm(s.x_m),
            mm(s.y_m),
            beside(s.near_m, &s.near),
        ]);
    }
    sheet.0.push_str(&grid.text());
    if answer.spots.iter().any(|s| s.range_error.is_none()) {
        sheet.item("\u{b1}:", UNSURE_BEAMS);
    }
    sheet.item(
        "-",
        "one drive period is one cycle of this range, two flexes; a half-frequency swing has half the cycles",
    );
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::sample;

    #[test]
    fn screen_names_shares_limits_and_marks() {
        let report = DriveReport { answers: vec![sample::drive()], ..DriveReport::default() };
        let text = drive(&report, &[]);
        for words in [
            "eddy currents",
            "usable to",
            "Hz; then fails",
            "u: not stable: the flap leaps",
            "4\u{3b6}",
            "two flexes",
        ] {
            assert!(text.contains(words), "'{words}' is missing:\n{text}");
        }
    }
}
