//! Pictures of life: the life map of a copper layer, and life over the swing with its evidence.
//!
//! Input: the steady loop and its life. Output: PNG files. The map is coloured by the decade of flexes that the lower
//! edge of the literature band gives, pale for long life, dark for short: one hue family, even in lightness, no strain
//! colours, so that nobody takes one for the other.

use super::canvas::{Anchor, Canvas, PictureError, Rect};
use super::chart::{Axis, Chart};
use super::colour::{FILM, INK, LINE, PAPER, Rgb, SOFT_INK, mix};
use super::figure::{self, Label};
use super::panel::{Panel, View};
use copperbend_mesh::board::{Board, LayerId, Place, SupportKind};
use copperbend_mesh::region::Point;
use copperbend_solver::life::report::{Amplitude, GivenSample, LifeReport, Lives as Life};
use copperbend_solver::life::speed::{Evidence, SpeedCurve, SpeedRow};
use copperbend_solver::life::{Band, CopperKind, count};
use copperbend_solver::result::{CycleAnswer, Shape};

const PAGE_WIDTH: i32 = 1600;
const MARGIN: i32 = 40;
/// Decades of flexes at the ends of the colours.
const DECADES: [f64; 2] = [4.0, 10.0];
const LONG: Rgb = [226, 236, 238];
const MIDDLE: Rgb = [84, 142, 150];
const SHORT: Rgb = [28, 32, 68];
const CRACK: Rgb = [214, 96, 24];

/// A crack that was found.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Crack {
    /// Sample.
    pub(crate) sample: String,
    /// Index of the copper layer.
    pub(crate) layer_index: u32,
    /// Place, m.
    pub(crate) at_m: Point,
}

/// Colour of a logarithm of flexes.
fn colour(log_flexes: f64) -> Rgb {
    let t = ((log_flexes - DECADES[0]) / (DECADES[1] - DECADES[0])).clamp(0.0, 1.0);
    if t < 0.5 { mix(SHORT, MIDDLE, 2.0 * t) } else { mix(MIDDLE, LONG, 2.0 * t - 1.0) }
}

/// Logarithm of flexes by logarithm of strain range, tabulated: the laws are too slow for every pixel.
struct Lives {
    first: f64,
    step: f64,
    values: Vec<f64>,
}

impl Lives {
    fn new(kind: CopperKind) -> Self {
        let (first, last, n) = (1e-6_f64.ln(), 0.2_f64.ln(), 400);
        let step = (last - first) / f64::from(n);
        let at = |k: i32| {
            let range = (first + step * f64::from(k)).exp();
            // Above the laws a crack is immediate.
            Band::at(kind, range).map_or(1.0, |band| count::flexes(band.low()).log10())
        };
        Self { first, step, values: (0..=n).map(at).collect() }
    }

    fn at(&self, range: f64) -> f64 {
        let place = ((range.max(1e-7).ln() - self.first) / self.step).clamp(0.0, 399.0);
        let mut k = 0;
        while f64::from(k) + 1.0 <= place {
            k += 1;
        }
        let k = usize::try_from(k).unwrap_or(0);
        let share = place - place.floor();
        self.values[k] + share * (self.values[k + 1] - self.values[k])
    }
}

/// The life map of one layer.
///
/// # Errors
/// The layer has no map, or the page cannot be drawn.
pub(crate) fn map(
    board: &Board,
    (cycle, shape): (&CycleAnswer, &Shape),
    (layer_index, kind): (u32, CopperKind),
    cracks: &[Crack],
) -> Result<Vec<u8>, PictureError> {
    let layer = &board.layers[layer_index as usize].name;
    let maps: Vec<_> = cycle.maps.iter().filter(|m| m.layer_index == layer_index).collect();
    let first =
        maps.first().ok_or_else(|| PictureError(format!("layer '{layer}' carries no copper to draw")))?;
    let bounds = figure::bounds(&board.outline)?;
    let (left, top, bar) = (MARGIN + 58, 118, 210);
    let wide = PAGE_WIDTH - left - MARGIN - bar;
    let aspect = (bounds[1][1] - bounds[0][1]) / (bounds[1][0] - bounds[0][0]).max(1e-12);
    let high = figure::px((f64::from(wide) * aspect).clamp(260.0, 900.0)) + 40;
    let view = View::fit(Rect { x: left, y: top, w: wide, h: high }, bounds, 18);
    let mut canvas = Canvas::new(figure::side(PAGE_WIDTH), figure::side(top + high + 130), PAPER)?;
    let title = format!("Life of the copper, layer '{layer}'");
    let words = format!(
        "{}   steady swing; shorter edge of the literature band ({}); worse face at every place",
        board.title,
        kind.words()
    );
    figure::heading(&mut canvas, MARGIN, PAGE_WIDTH - 2 * MARGIN, [&title, &words])?;
    let mut panel = Panel::new(view, PAPER);
    panel.fill(&board.outline, FILM);
    let lives = Lives::new(kind);
    let corners: Vec<[Point; 3]> = first
        .triangles
        .iter()
        .map(|&t| shape.triangles[t as usize].map(|n| shape.points_m[n as usize]))
        .collect();
    panel.triangles(&corners, |t, weights| {
        let of = |m: &&copperbend_solver::result::StrainMap| {
            (0..3).map(|c| weights[c] * m.ranking[t][c]).sum::<f64>().abs()
        };
        let range = maps.iter().map(of).fold(0.0, f64::max);
        let own = colour(lives.at(range));
        Some(if first.unranked[t] { mix(own, FILM, 0.55) } else { own })
    });
    for support in &board.supports {
        if let (Place::Area(region), SupportKind::Clamp { .. } | SupportKind::Simple) =
            (&support.place, &support.kind)
        {
            panel.hatch(&region.intersection(&board.outline), LINE, 9);
        }
    }
    for conductor in board.conductors.iter().filter(|c| c.layer == LayerId(layer_index)) {
        panel.outline(&conductor.region, 0.7, mix(INK, PAPER, 0.35));
    }
    panel.outline(&board.outline, 1.6, LINE);
    let mut labels = Vec::new();
    for own in cycle.spots.iter().filter(|s| s.spot.layer_index == layer_index) {
        let at_m = [own.spot.x_m, own.spot.y_m];
        panel.ring(at_m, 11.0, 2.0, INK);
        labels.push(Label { at_m, text: own.spot.rank.to_string(), clear_px: 13.0 });
    }
    let arm = 9.0 / view.px_per_m;
    for crack in cracks.iter().filter(|c| c.layer_index == layer_index) {
        let [x, y] = crack.at_m;
        panel.line([[x - arm, y - arm], [x + arm, y + arm]], 4.0, CRACK);
        panel.line([[x - arm, y + arm], [x + arm, y - arm]], 4.0, CRACK);
    }
    let placed = figure::place_labels(&mut panel, &labels, 20.0);
    panel.place(&mut canvas);
    figure::axes(&mut canvas, &view)?;
    figure::scale_bar(&mut canvas, &view)?;
    figure::write_labels(&mut canvas, &placed)?;
    life_bar(&mut canvas, Rect { x: PAGE_WIDTH - MARGIN - 160, y: top + 30, w: 30, h: high - 60 })?;
    let mut foot =
        "Rings: spots of largest strain range, numbered as in the table. Mean stress left out.".to_owned();
    if cracks.iter().any(|c| c.layer_index == layer_index) {
        foot.push_str(" Crosses: cracks that were found.");
    }
    foot.push_str(" A decade of life is within the doubt of every place.");
    canvas.text([MARGIN, top + high + 100], Anchor::Left, 18.0, SOFT_INK, &foot)?;
    canvas.png()
}

fn life_bar(canvas: &mut Canvas, bar: Rect) -> Result<(), PictureError> {
    for y in 0..bar.h {
        let t = 1.0 - f64::from(y) / f64::from(bar.h);
        canvas.fill(Rect { y: bar.y + y, h: 1, ..bar }, colour(DECADES[0] + t * (DECADES[1] - DECADES[0])));
    }
    canvas.frame(bar, LINE);
    for k in 4..=10 {
        let share = (f64::from(k) - DECADES[0]) / (DECADES[1] - DECADES[0]);
        let y = bar.y + bar.h - figure::px(share * f64::from(bar.h));
        let text = match k {
            4 => "1e4 or less".to_owned(),
            10 => "1e10 or more".to_owned(),
            k => format!("1e{k}"),
        };
        canvas.text([bar.x + bar.w + 10, y], Anchor::Left, 18.0, INK, &text)?;
    }
    canvas.text([bar.x + 40, bar.y - 24], Anchor::Centre, 19.0, INK, "flexes (2 per cycle)")
}

/// Life of the board over its swing, with the tested samples.
///
/// # Errors
/// The page cannot be drawn.
pub(crate) fn curve(
    board: &Board,
    cycle: &CycleAnswer,
    report: &LifeReport,
    samples: &[GivenSample],
) -> Result<Vec<u8>, PictureError> {
    let flexes = |cycles: f64| count::flexes(cycles);
    let rows = &report.curve;
    let tested: Vec<(Point, bool)> = samples
        .iter()
        .map(|s| {
            let whole = cycle.currents_a[0].abs().min(cycle.currents_a[1].abs());
            let angle = match s.swing {
                Some(Amplitude::Angle(rad)) => rad,
                Some(Amplitude::Current(a)) if whole > 0.0 => {
                    rows.last().map_or(0.0, |row| row.angle_rad * a / whole)
                }
                _ => rows.last().map_or(0.0, |row| row.angle_rad),
            };
            ([angle.to_degrees(), flexes(s.cycles)], s.failed)
        })
        .collect();
    let values = rows.iter().flat_map(|r| {
        [r.lives.ten_percent_cycles.low, r.lives.half_cycles.high, r.lives.half_cycles.value].map(flexes)
    });
    let most = rows.iter().map(|r| r.angle_rad.to_degrees()).chain(tested.iter().map(|t| t.0[0]));
    let x = Axis::from_zero(most.fold(0.0, f64::max), "swing of the flap about its rest, \u{b1}\u{b0}");
    let y = Axis::decades(values.chain(tested.iter().map(|t| t.0[1])), "flexes (2 per cycle)");
    let mut canvas = Canvas::new(figure::side(PAGE_WIDTH), 1010, PAPER)?;
    let words = subtitle(board, report);
    figure::heading(&mut canvas, MARGIN, PAGE_WIDTH - 2 * MARGIN, ["Life over the swing", &words])?;
    let mut chart = Chart::new(Rect { x: 150, y: 150, w: PAGE_WIDTH - 230, h: 660 }, x, y);
    let line = |of: &dyn Fn(&copperbend_solver::life::report::CurveRow) -> f64| -> Vec<Point> {
        rows.iter().map(|r| [r.angle_rad.to_degrees(), flexes(of(r))]).collect()
    };
    let ten = |r: &copperbend_solver::life::report::CurveRow| r.lives.ten_percent_cycles;
    let half = |r: &copperbend_solver::life::report::CurveRow| r.lives.half_cycles;
    chart.band(&line(&|r| ten(r).low), &line(&|r| ten(r).high), mix(MIDDLE, PAPER, 0.7));
    chart.line(&line(&|r| ten(r).value), 4.0, SHORT);
    chart.line(&line(&|r| half(r).value), 2.0, MIDDLE);
    for row in rows {
        let at = [row.angle_rad.to_degrees(), flexes(ten(row).value)];
        mark(&mut chart, at, row.evidence);
    }
    for (at, failed) in &tested {
        if *failed { chart.dot(*at, 8.0, CRACK) } else { chart.open(*at, 8.0, CRACK) }
    }
    chart.finish(&mut canvas)?;
    let foot = [
        "Dark line and band: 10 % of the boards have failed, with its bounds. Thin line: half have failed.",
        "Orange: tested samples, filled failed, open still whole. On the dark line: square filled, samples were tested at \
         this strain;",
        "square open, between data points; dot, literature alone; ring, extrapolated: the strain lies below every data \
         point.",
        "At a held swing the cycles hardly depend on the speed between 10 and 50 Hz; hours go with one over the speed.",
    ];
    for (text, y) in foot.iter().zip([880, 908, 936, 964]) {
        canvas.text([MARGIN, y], Anchor::Left, 18.0, SOFT_INK, text)?;
    }
    canvas.png()
}

/// A point of a curve by what it rests on.
fn mark(chart: &mut Chart, at: Point, evidence: Evidence) {
    match evidence {
        Evidence::Tested => chart.square(at, 7.0, SHORT, true),
        Evidence::Between => chart.square(at, 7.0, SHORT, false),
        Evidence::Literature => chart.dot(at, 6.0, SHORT),
        Evidence::Extrapolated => chart.open(at, 6.0, SHORT),
    }
}

fn subtitle(board: &Board, report: &LifeReport) -> String {
    let evidence = match report.samples {
        [0, _] => "no tested sample: literature alone".to_owned(),
        [n, failed] => format!("{n} tested samples, {failed} failed"),
    };
    format!("{}   {evidence}; bounds at {:.0} % confidence", board.title, 100.0 * report.confidence)
}

/// Hours of a life at a row's frequency.
fn hours_of(row: &SpeedRow, of: impl Fn(&Life) -> f64) -> Option<Point> {
    row.lives.as_ref().map(|l| [row.frequency_hz, count::hours(of(l), row.frequency_hz)])
}

/// Unbroken stretches of a curve.
fn stretches(curve: &SpeedCurve) -> Vec<&[SpeedRow]> {
    curve.rows.split(|r| r.lives.is_none()).filter(|part| !part.is_empty()).collect()
}

/// Life of the board over drive frequency, each point by what it rests on.
///
/// # Errors
/// The page cannot be drawn.
pub(crate) fn speed(board: &Board, report: &LifeReport) -> Result<Vec<u8>, PictureError> {
    let rows = || report.speed.iter().flat_map(|c| &c.rows);
    let main = report.speed.last();
    let most = rows().map(|r| r.frequency_hz).fold(0.0, f64::max);
    let of_main = || main.into_iter().flat_map(|c| &c.rows);
    let values = of_main().flat_map(|r| {
        let low = hours_of(r, |l| l.ten_percent_cycles.low);
        [low, hours_of(r, |l| l.half_cycles.value), hours_of(r, |l| l.ten_percent_cycles.high)]
    });
    let held = rows().filter_map(|r| hours_of(r, |l| l.ten_percent_cycles.value));
    let y = Axis::decades(values.flatten().chain(held).map(|p| p[1]), "hours of running");
    let x = Axis::from_zero(most, "drive frequency, Hz");
    let mut canvas = Canvas::new(figure::side(PAGE_WIDTH), 1010, PAPER)?;
    let words = subtitle(board, report);
    figure::heading(&mut canvas, MARGIN, PAGE_WIDTH - 2 * MARGIN, ["Life over the drive frequency", &words])?;
    let mut chart = Chart::new(Rect { x: 150, y: 150, w: PAGE_WIDTH - 230, h: 660 }, x, y);
    let line = |part: &[SpeedRow], of: fn(&Life) -> f64| -> Vec<Point> {
        part.iter().filter_map(|r| hours_of(r, of)).collect()
    };
    for part in main.map(stretches).unwrap_or_default() {
        let [low, high] =
            [line(part, |l| l.ten_percent_cycles.low), line(part, |l| l.ten_percent_cycles.high)];
        chart.band(&low, &high, mix(MIDDLE, PAPER, 0.7));
    }
    if let Some(wanted) = report.wanted_cycles {
        let at = |k: i32| {
            let f = most * f64::from(k) / 60.0;
            [f, count::hours(wanted, f)]
        };
        chart.line(&(1..=60).map(at).collect::<Vec<_>>(), 2.0, CRACK);
    }
    for curve in &report.speed {
        for part in stretches(curve) {
            let lead = Some(curve.driven) == main.map(|m| m.driven);
            chart.line(&line(part, |l| l.half_cycles.value), 2.0, if lead { MIDDLE } else { LINE });
            chart.line(&line(part, |l| l.ten_percent_cycles.value), if lead { 4.0 } else { 2.0 }, SHORT);
        }
    }
    for row in of_main() {
        let Some(at) = hours_of(row, |l| l.ten_percent_cycles.value) else { continue };
        mark(&mut chart, at, row.evidence);
    }
    chart.finish(&mut canvas)?;
    let swing = main.and_then(|c| c.rows.first()).map_or(0.0, |r| r.swing_rad.to_degrees());
    let what = if main.is_some_and(|c| c.driven) {
        "Thick line and band: 10 % failed at the swing that the drive makes at each frequency. Thin lines: half failed; and \
         the largest swing held throughout."
            .to_owned()
    } else {
        format!(
            "Thick line and band: 10 % failed at a held swing of \u{b1}{swing:.2}\u{b0}. Thin line: half failed."
        )
    };
    let mut foot = vec![
        what,
        "On the thick line: square filled, samples were tested at this strain; square open, between data points;"
            .to_owned(),
        "dot, literature alone; ring, extrapolated: the strain lies below every data point.".to_owned(),
    ];
    if report.wanted_cycles.is_some() {
        foot.push("Orange line: the wanted flexes.".to_owned());
    }
    for (text, y) in foot.iter().zip([880, 908, 936, 964]) {
        canvas.text([MARGIN, y], Anchor::Left, 18.0, SOFT_INK, text)?;
    }
    canvas.png()
}

/// A probability plot: failures at their ranks, survivors on the axis, the fitted line with its bounds.
///
/// # Errors
/// The page cannot be drawn.
pub(crate) fn probability(
    title: [&str; 2],
    unit: &str,
    points: &[Point],
    survivors: &[f64],
    fit: &dyn Fn(f64) -> [f64; 3],
) -> Result<Vec<u8>, PictureError> {
    let weibull = |p: f64| (-(-p).ln_1p()).ln();
    let shares = [0.01, 0.02, 0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 0.9, 0.99];
    let ticks = shares.iter().map(|p| (*p, format!("{:.0} %", 100.0 * p))).collect();
    let y = Axis::new([0.01, 0.99], weibull, ticks, "share failed (Weibull scale)");
    let grid: Vec<f64> = (0..=60)
        .map(|k| {
            let z = weibull(0.01) + (weibull(0.99) - weibull(0.01)) * f64::from(k) / 60.0;
            -(-z.exp()).exp_m1()
        })
        .collect();
    let lines: Vec<[f64; 3]> = grid.iter().map(|&p| fit(p)).collect();
    let middle = lines.iter().map(|l| l[0]);
    let x = Axis::decades(middle.chain(points.iter().map(|p| p[0])).chain(survivors.iter().copied()), unit);
    let mut canvas = Canvas::new(figure::side(PAGE_WIDTH), 980, PAPER)?;
    figure::heading(&mut canvas, MARGIN, PAGE_WIDTH - 2 * MARGIN, title)?;
    let mut chart = Chart::new(Rect { x: 150, y: 150, w: PAGE_WIDTH - 230, h: 660 }, x, y);
    let line = |i: usize| -> Vec<Point> { lines.iter().zip(&grid).map(|(l, p)| [l[i], *p]).collect() };
    chart.line(&line(1), 2.0, MIDDLE);
    chart.line(&line(2), 2.0, MIDDLE);
    chart.line(&line(0), 4.0, SHORT);
    for point in points {
        chart.dot(*point, 8.0, CRACK);
    }
    for time in survivors {
        chart.open([*time, 0.0105], 7.0, CRACK);
    }
    chart.finish(&mut canvas)?;
    let foot = "Filled: failures at their median ranks; open, on the axis: survivors; dark line: maximum likelihood; thin \
                lines: bounds of the life.";
    canvas.text([MARGIN, 910], Anchor::Left, 18.0, SOFT_INK, foot)?;
    canvas.png()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::sample;

    #[test]
    fn shorter_life_is_darker_everywhere() {
        let light = |c: Rgb| 0.3 * f64::from(c[0]) + 0.59 * f64::from(c[1]) + 0.11 * f64::from(c[2]);
        let all: Vec<f64> = (0..=60).map(|k| light(colour(4.0 + 0.1 * f64::from(k)))).collect();
        assert!(all.windows(2).all(|w| w[1] > w[0] - 1e-9), "{all:?}");
        let lives = Lives::new(CopperKind::RolledAnnealed);
        let want = Band::at(CopperKind::RolledAnnealed, 2e-3).map(|b| count::flexes(b.low()).log10());
        assert!(want.is_ok_and(|w| (lives.at(2e-3) - w).abs() < 0.01), "table {}", lives.at(2e-3));
        assert!(lives.at(0.0) > 11.0 && lives.at(0.5) < 2.0, "ends");
    }

    #[test]
    fn probability_plot_has_points_and_line() {
        let fit = |p: f64| {
            let life = 3e6 * (-(-p).ln_1p()).powf(0.5);
            [life, 0.6 * life, 1.6 * life]
        };
        let points = [[1e6, 0.1], [2e6, 0.3], [3.3e6, 0.6]];
        let bytes = probability(["Lives", "three of five failed"], "cycles", &points, &[4e6, 4e6], &fit);
        let bytes = bytes.expect("a plot");
        sample::keep("probability.png", &bytes);
        let (w, _, rgb) = sample::pixels(&bytes);
        assert_eq!(w, 1600, "page width");
        let count = |c: Rgb| rgb.iter().filter(|&&p| p == c).count();
        assert!(count(CRACK) > 300 && count(SHORT) > 500, "{} {}", count(CRACK), count(SHORT));
    }
}
