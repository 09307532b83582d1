//! Picture of the driven swing: swing, lag, strain range and roll over frequency, swing over strength.
//!
//! Input: one answer of `drive`. Output: a PNG file. Lines follow the branch, so a fold shows as one; what is not stable
//! is broken. The span of the drag coefficient stands as a bar at the peak, limits as thin lines with their words.

use super::canvas::{Anchor, Canvas, PictureError, Rect};
use super::colour::{INK, LINE, PAPER, Rgb, SOFT_INK};
use super::figure::{self, dashed};
use super::numbers::{plain, tick, typeset};
use super::panel::{Panel, View};
use copperbend_mesh::board::Board;
use copperbend_mesh::region::Point;
use copperbend_solver::result::{DriveAnswer, DriveRow};

const PAGE_WIDTH: i32 = 1600;
const MARGIN: i32 = 40;
const SWING: Rgb = [33, 90, 156];
const STRAIN: Rgb = [150, 60, 30];
const ROLL: Rgb = [96, 84, 140];

/// What one chart shows.
struct Chart<'a> {
    name: &'a str,
    across: &'a str,
    colour: Rgb,
    rows: &'a [DriveRow],
    x: fn(&DriveRow) -> f64,
    y: fn(&DriveRow) -> f64,
    /// Level lines with their words.
    levels: Vec<(f64, String)>,
    /// Upright lines with their words.
    uprights: Vec<(f64, String)>,
    /// An upright bar.
    bar: Option<(f64, [f64; 2])>,
}

/// The response of one answer.
///
/// # Errors
/// The page cannot be drawn, or there is nothing to draw.
pub(crate) fn draw(board: &Board, answer: &DriveAnswer) -> Result<Vec<u8>, PictureError> {
    if answer.sweep.len() < 2 {
        return Err(PictureError("the sweep has no motions to draw".to_owned()));
    }
    let charts = charts(board, answer);
    let (left, top, each, gap) = (MARGIN + 100, 150, 300, 84);
    let count = i32::try_from(charts.len()).unwrap_or(0);
    let height = top + count * (each + gap) + 60;
    let mut canvas = Canvas::new(figure::side(PAGE_WIDTH), figure::side(height), PAPER)?;
    let source = &answer.source;
    let words = format!(
        "{}   {} drive, \u{b1}{} mA{}",
        board.title,
        source.wave,
        plain(source.current_a * 1e3, 3),
        if source.offset_a == 0.0 {
            String::new()
        } else {
            format!(" about {} mA", plain(source.offset_a * 1e3, 3))
        }
    );
    figure::heading(&mut canvas, MARGIN, PAGE_WIDTH - 2 * MARGIN, ["Driven swing in air", &words])?;
    for (chart, k) in charts.iter().zip(0..) {
        let rect = Rect { x: left, y: top + k * (each + gap), w: PAGE_WIDTH - left - MARGIN, h: each };
        chart.draw(&mut canvas, rect)?;
    }
    let foot = "Full line: stable; broken: not stable. Bar: span of the drag coefficient (half to twice). Dots: asked values.";
    canvas.text([MARGIN, height - 24], Anchor::Left, 16.0, SOFT_INK, foot)?;
    canvas.png()
}

fn charts<'a>(board: &Board, answer: &'a DriveAnswer) -> Vec<Chart<'a>> {
    let hertz: fn(&DriveRow) -> f64 = |r| r.frequency_hz;
    let uprights = |words: bool| {
        let text = |t: String| if words { t } else { String::new() };
        let mut list = vec![(
            answer.swing.frequency_hz,
            text(format!("natural {} Hz", plain(answer.swing.frequency_hz, 3))),
        )];
        if let Some(f) = answer.usable.frequency_hz {
            list.push((f, text(format!("usable to {} Hz", plain(f, 3)))));
        }
        list
    };
    let chart = |name, colour, y, words| Chart {
        name,
        across: "drive frequency, Hz",
        colour,
        rows: &answer.sweep,
        x: hertz,
        y,
        levels: Vec::new(),
        uprights: uprights(words),
        bar: None,
    };
    let peak = answer.peak.and_then(|p| answer.sweep.get(p));
    let bar = peak
        .zip(answer.peak_bracket_rad)
        .map(|(row, [a, b])| (row.frequency_hz, [a.to_degrees(), b.to_degrees()]));
    let wished = board.drive.swing_rad.map(|w| (w.to_degrees(), "wished swing".to_owned()));
    let strain = board.limits.copper_strain.map(|s| (2e6 * s, "twice the strain limit".to_owned()));
    let mut list = vec![
        Chart {
            bar,
            levels: wished.into_iter().collect(),
            ..chart("swing (amplitude), \u{b0}", SWING, |r| r.swing_rad.to_degrees(), true)
        },
        chart("lag behind the drive, \u{b0}", INK, |r| r.lag_rad.to_degrees(), false),
        Chart {
            levels: strain.into_iter().collect(),
            ..chart("largest copper strain range, \u{b5}m/m", STRAIN, |r| r.strain_range * 1e6, false)
        },
        chart(
            "roll over swing, %",
            ROLL,
            |r| if r.swing_rad > 0.0 { 100.0 * r.roll_rad / r.swing_rad } else { 0.0 },
            false,
        ),
    ];
    if answer.levels.len() > 1 {
        list.push(Chart {
            across: "strength of the drive, % of the designed",
            rows: &answer.levels,
            x: |r| 100.0 * r.level,
            uprights: Vec::new(),
            ..chart(
                "swing (amplitude) at the frequency of the largest swing, \u{b0}",
                SWING,
                |r| r.swing_rad.to_degrees(),
                false,
            )
        });
    }
    list
}

impl Chart<'_> {
    /// Lowest and highest values shown.
    fn span(&self) -> [[f64; 2]; 2] {
        let x: Vec<f64> = self.rows.iter().map(self.x).collect();
        let mut y: Vec<f64> = self.rows.iter().map(self.y).collect();
        y.extend(self.bar.iter().flat_map(|b| b.1));
        let most = y.iter().copied().fold(0.0, f64::max);
        // A limit far above what happens is not worth the room.
        y.extend(self.levels.iter().map(|l| l.0).filter(|&l| l < 3.0 * most));
        let ends = |v: &[f64]| {
            let low = v.iter().copied().filter(|v| v.is_finite()).fold(f64::INFINITY, f64::min);
            let high = v.iter().copied().filter(|v| v.is_finite()).fold(f64::NEG_INFINITY, f64::max);
            if low < high { [low, high] } else { [low.min(0.0), low.max(0.0) + 1.0] }
        };
        let ([x0, x1], [y0, y1]) = (ends(&x), ends(&y));
        let room = [0.02 * (x1 - x0), 0.08 * (y1 - y0.min(0.0))];
        [[x0 - room[0], x1 + room[0]], [y0.min(0.0), y1 + room[1]]]
    }

    fn draw(&self, canvas: &mut Canvas, rect: Rect) -> Result<(), PictureError> {
        let span = self.span();
        let size = [f64::from(rect.w), f64::from(rect.h)];
        let place = |p: [f64; 2]| -> Point {
            [0, 1].map(|k| ((p[k] - span[k][0]) / (span[k][1] - span[k][0]) - 0.5) * size[k])
        };
        let mut panel = Panel::new(View { rect, centre_m: [0.0; 2], px_per_m: 1.0 }, PAPER);
        for (level, _) in self.levels.iter().filter(|l| l.0 < span[1][1]) {
            panel.line([place([span[0][0], *level]), place([span[0][1], *level])], 1.4, LINE);
        }
        for (x, _) in self.uprights.iter().filter(|u| span[0][0] < u.0 && u.0 < span[0][1]) {
            panel.line([place([*x, span[1][0]]), place([*x, span[1][1]])], 1.4, LINE);
        }
        if let Some((x, [a, b])) = self.bar {
            panel.line([place([x, a]), place([x, b])], 7.0, [170, 190, 214]);
        }
        let at = |r: &DriveRow| place([(self.x)(r), (self.y)(r)]);
        for pair in self.rows.windows(2) {
            let ends = [at(&pair[0]), at(&pair[1])];
            if pair.iter().all(|r| r.stable != Some(false)) {
                panel.line(ends, 2.6, self.colour);
            } else {
                dashed(&mut panel, ends);
            }
        }
        for row in self.rows.iter().filter(|r| r.asked) {
            panel.ring(at(row), 1.6, 3.2, self.colour);
        }
        panel.place(canvas);
        self.words(canvas, rect, span)
    }

    fn words(&self, canvas: &mut Canvas, r: Rect, span: [[f64; 2]; 2]) -> Result<(), PictureError> {
        const TEXT: f64 = 18.0;
        canvas.frame(r, LINE);
        let share = |k: usize, v: f64| (v - span[k][0]) / (span[k][1] - span[k][0]);
        let x_of = |v: f64| r.x + figure::px(share(0, v) * f64::from(r.w));
        let y_of = |v: f64| r.y + r.h - figure::px(share(1, v) * f64::from(r.h));
        let step = [0, 1].map(|k| {
            let room = if k == 0 { 120.0 / f64::from(r.w) } else { 58.0 / f64::from(r.h) };
            figure::handy_below(room * (span[k][1] - span[k][0])).max(1e-12)
        });
        let unsigned = |v: f64, step: f64| typeset(tick(v, step).trim_start_matches('+'));
        for v in figure::multiples(span[0][0], span[0][1], step[0]) {
            let x = x_of(v);
            canvas.fill(Rect { x, y: r.y + r.h, w: 1, h: 7 }, INK);
            if x < r.x + r.w - 16 - Canvas::text_width(TEXT, self.across) {
                canvas.text([x, r.y + r.h + 19], Anchor::Centre, TEXT, INK, &unsigned(v, step[0]))?;
            }
        }
        for v in figure::multiples(span[1][0], span[1][1], step[1]) {
            let y = y_of(v);
            canvas.fill(Rect { x: r.x - 7, y, w: 7, h: 1 }, INK);
            canvas.text([r.x - 12, y], Anchor::Right, TEXT, INK, &unsigned(v, step[1]))?;
        }
        for (level, text) in self.levels.iter().filter(|l| l.0 < span[1][1]) {
            canvas.text([r.x + r.w - 8, y_of(*level) - 12], Anchor::Right, 16.0, SOFT_INK, text)?;
        }
        for ((x, text), k) in self.uprights.iter().filter(|u| span[0][0] < u.0 && u.0 < span[0][1]).zip(0..) {
            let x = x_of(*x);
            let (at, anchor) =
                if x < r.x + r.w - 180 { (x + 6, Anchor::Left) } else { (x - 6, Anchor::Right) };
            canvas.text([at, r.y + 14 + 20 * k], anchor, 16.0, SOFT_INK, text)?;
        }
        canvas.text([r.x + r.w, r.y + r.h + 19], Anchor::Right, TEXT, INK, self.across)?;
        canvas.text([r.x, r.y - 18], Anchor::Left, 20.0, INK, self.name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::sample;

    #[test]
    fn response_shows_stable_and_unstable_stretches_and_the_bar() {
        let bytes = draw(&sample::board(), &sample::drive()).expect("a picture");
        sample::keep("response.png", &bytes);
        let (w, _, rgb) = sample::pixels(&bytes);
        assert_eq!(w, 1600, "page width");
        let count = |colour: Rgb| rgb.iter().filter(|p| **p == colour).count();
        assert!(count(SWING) > 500 && count(STRAIN) > 500 && count(ROLL) > 300, "three curves");
        assert!(count([170, 190, 214]) > 100, "the bar");
    }

    #[test]
    fn a_sweep_without_motions_is_told_and_not_drawn() {
        assert!(draw(&sample::board(), &DriveAnswer::default()).is_err(), "nothing");
    }
}
