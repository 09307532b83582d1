//! What every picture shares: ticks in millimetres, scale bar, numbered rings, handy steps, file names.
//!
//! Input: a view and the page. Output: marks on the page. Absent: fields and boards.

use super::canvas::{Anchor, Canvas, PictureError, Rect};
use super::colour::{INK, LINE, PAPER, Rgb, SOFT_INK};
use super::panel::{Panel, View};
use copperbend_mesh::region::{Point, Region};

/// Height of tick labels.
const TICK_TEXT: f64 = 18.0;

/// Nearest whole pixel.
#[expect(clippy::cast_possible_truncation, reason = "pages are far below the range of i32")]
pub(crate) fn px(v: f64) -> i32 {
    v.round().clamp(-1e6, 1e6) as i32
}

/// A page side as the canvas wants it.
pub(crate) fn side(v: i32) -> u32 {
    u32::try_from(v).unwrap_or(0)
}

/// Box round a region, m.
///
/// # Errors
/// The region is empty or not finite.
pub(crate) fn bounds(region: &Region) -> Result<[Point; 2], PictureError> {
    let mut lo = [f64::INFINITY; 2];
    let mut hi = [f64::NEG_INFINITY; 2];
    for p in region.contours.iter().flatten() {
        for k in 0..2 {
            lo[k] = lo[k].min(p[k]);
            hi[k] = hi[k].max(p[k]);
        }
    }
    let finite = lo.iter().chain(&hi).all(|v| v.is_finite());
    if finite { Ok([lo, hi]) } else { Err(PictureError("there is no outline to draw".to_owned())) }
}

/// Largest of 1, 2, 5 times a power of ten that is not above `v`.
pub(crate) fn handy_below(v: f64) -> f64 {
    let decade = 10f64.powf(v.log10().floor());
    [5.0, 2.0, 1.0].map(|m| m * decade).into_iter().find(|&s| s <= v * (1.0 + 1e-9)).unwrap_or(decade)
}

/// Smallest handy figure (1, 1.2, 1.6, 2, 2.4, 3, 4, 5, 6, 8 times a power of ten) not below `v`.
pub(crate) fn handy_above(v: f64) -> f64 {
    let decade = 10f64.powf(v.log10().floor());
    [1.0, 1.2, 1.6, 2.0, 2.4, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0]
        .map(|m| m * decade)
        .into_iter()
        .find(|&s| s >= v * (1.0 - 1e-9))
        .unwrap_or(10.0 * decade)
}

/// A length along an axis in mm, as many decimals as the step needs.
fn millimetres(v_m: f64, step_m: f64) -> String {
    let decimals = (0..6).find(|&d| (step_m * 1e3 * 10f64.powi(d)).round() >= 1.0 - 1e-9).unwrap_or(6);
    let v = v_m * 1e3;
    let v = if v.abs() < 1e-9 { 0.0 } else { v };
    format!("{v:.*}", usize::try_from(decimals).unwrap_or(0)).replace('-', "\u{2212}")
}

/// Ticks of a step inside a span, as whole multiples.
pub(crate) fn multiples(lo: f64, hi: f64, step: f64) -> impl Iterator<Item = f64> {
    let first = (lo / step - 1e-9).ceil();
    let n = ((hi / step + 1e-9).floor() - first).clamp(-1.0, 400.0);
    (0..400).map(f64::from).take_while(move |&i| i <= n).map(move |i| (first + i) * step)
}

/// Draws the frame of a panel with ticks in millimetres at its left and lower side.
///
/// # Errors
/// The page cannot take text.
pub(crate) fn axes(canvas: &mut Canvas, view: &View) -> Result<(), PictureError> {
    axes_named(canvas, view, ["x, mm", "y, mm"])
}

/// As [`axes`], with other names.
///
/// # Errors
/// The page cannot take text.
pub(crate) fn axes_named(canvas: &mut Canvas, view: &View, names: [&str; 2]) -> Result<(), PictureError> {
    let r = view.rect;
    canvas.frame(r, LINE);
    let step = handy_below(110.0 / view.px_per_m).max(1e-7);
    let [lo, hi] = view.shown_m();
    for x in multiples(lo[0], hi[0], step) {
        let at = px(view.page([x, 0.0])[0]);
        canvas.fill(Rect { x: at, y: r.y + r.h, w: 1, h: 7 }, INK);
        let below = [at, r.y + r.h + 19];
        canvas.text(below, Anchor::Centre, TICK_TEXT, INK, &millimetres(x, step))?;
    }
    for y in multiples(lo[1], hi[1], step) {
        let at = px(view.page([0.0, y])[1]);
        canvas.fill(Rect { x: r.x - 7, y: at, w: 7, h: 1 }, INK);
        if at > r.y + 16 {
            canvas.text([r.x - 12, at], Anchor::Right, TICK_TEXT, INK, &millimetres(y, step))?;
        }
    }
    // A line of its own, so that no tick goes without its number.
    canvas.text([r.x + r.w, r.y + r.h + 41], Anchor::Right, TICK_TEXT, INK, names[0])?;
    canvas.text([r.x - 12, r.y + 2], Anchor::Right, TICK_TEXT, INK, names[1])
}

/// Draws a scale bar in the lower right corner of a panel.
///
/// # Errors
/// The page cannot take text.
pub(crate) fn scale_bar(canvas: &mut Canvas, view: &View) -> Result<(), PictureError> {
    let length = handy_below(0.22 * f64::from(view.rect.w.min(view.rect.h * 2)) / view.px_per_m);
    let r = view.rect;
    let wide = px(length * view.px_per_m);
    let (right, y) = (r.x + r.w - 20, r.y + r.h - 20);
    let text = if length < 0.999_999e-3 {
        format!("{:.0} \u{b5}m", length * 1e6)
    } else {
        format!("{:.0} mm", length * 1e3)
    };
    let room = wide.max(Canvas::text_width(TICK_TEXT, &text));
    canvas.veil(Rect { x: right - room - 8, y: y - 30, w: room + 16, h: 42 }, PAPER, 0.75);
    canvas.fill(Rect { x: right - wide, y: y - 2, w: wide, h: 4 }, INK);
    for x in [right - wide, right - 2] {
        canvas.fill(Rect { x, y: y - 7, w: 2, h: 14 }, INK);
    }
    canvas.text([right - wide / 2, y - 18], Anchor::Centre, TICK_TEXT, INK, &text)
}

/// A number that goes beside a place.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Label {
    /// The place, m.
    pub(crate) at_m: Point,
    /// What to write.
    pub(crate) text: String,
    /// Pixels about the place that the text must leave clear.
    pub(crate) clear_px: f64,
}

/// A label with its place on the page.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct PlacedLabel {
    centre: [f64; 2],
    text: String,
    size: f64,
}

/// Finds room beside each place for its label and draws the pointing lines; labels keep clear of the
/// places, of one another and of the panel's edge.
pub(crate) fn place_labels(panel: &mut Panel, labels: &[Label], size: f64) -> Vec<PlacedLabel> {
    let view = *panel.view();
    let discs: Vec<([f64; 2], f64)> = labels.iter().map(|l| (view.page(l.at_m), l.clear_px)).collect();
    let mut placed: Vec<PlacedLabel> = Vec::new();
    for (label, &(at, clear)) in labels.iter().zip(&discs) {
        let half = [0.5 * f64::from(Canvas::text_width(size, &label.text)) + 4.0, 0.5 * size + 1.0];
        let mut best = (f64::INFINITY, at);
        for ring in 0..7 {
            let reach = clear + half[0].max(half[1]) + 26.0 * f64::from(ring);
            for turn in 0..16 {
                // Up and to the right first, then round.
                let angle = (45.0 + 22.5 * f64::from(turn)).to_radians();
                let centre = [at[0] + reach * angle.cos(), at[1] - reach * angle.sin()];
                let cost = crowding(&view, centre, half, &discs, &placed)
                    + 0.6 * f64::from(ring)
                    + 0.02 * f64::from(turn);
                if cost < best.0 {
                    best = (cost, centre);
                }
            }
        }
        let centre = best.1;
        let away = (centre[0] - at[0]).hypot(centre[1] - at[1]);
        if away > clear + half[0] + 12.0 {
            let unit = [(centre[0] - at[0]) / away, (centre[1] - at[1]) / away];
            let from = view.plane([at[0] + unit[0] * clear, at[1] + unit[1] * clear]);
            let to = view.plane([centre[0] - unit[0] * half[1], centre[1] - unit[1] * half[1]]);
            panel.line([from, to], 3.6, PAPER);
            panel.line([from, to], 1.3, INK);
        }
        placed.push(PlacedLabel { centre, text: label.text.clone(), size });
    }
    placed
}

/// How badly a label would sit at a place: overlaps with rings, labels and the panel's edge.
fn crowding(
    view: &View,
    centre: [f64; 2],
    half: [f64; 2],
    discs: &[([f64; 2], f64)],
    placed: &[PlacedLabel],
) -> f64 {
    let r = view.rect;
    let mut cost = 0.0;
    let inside = centre[0] - half[0] > f64::from(r.x + 2)
        && centre[0] + half[0] < f64::from(r.x + r.w - 2)
        && centre[1] - half[1] > f64::from(r.y + 2)
        && centre[1] + half[1] < f64::from(r.y + r.h - 2);
    if !inside {
        cost += 50.0;
    }
    for (at, clear) in discs {
        let gap = [0, 1].map(|k| ((at[k] - centre[k]).abs() - half[k]).max(0.0));
        if gap[0].hypot(gap[1]) < *clear {
            cost += 10.0;
        }
    }
    for other in placed {
        let other_half = [0.5 * f64::from(Canvas::text_width(other.size, &other.text)) + 4.0, half[1]];
        if (0..2).all(|k| (other.centre[k] - centre[k]).abs() < half[k] + other_half[k]) {
            cost += 20.0;
        }
    }
    cost
}

/// Writes placed labels on the page, each on a pale patch.
///
/// # Errors
/// The page cannot take text.
pub(crate) fn write_labels(canvas: &mut Canvas, placed: &[PlacedLabel]) -> Result<(), PictureError> {
    for label in placed {
        let wide = Canvas::text_width(label.size, &label.text) + 8;
        let tall = px(label.size) + 2;
        let (x, y) = (px(label.centre[0]), px(label.centre[1]));
        canvas.veil(Rect { x: x - wide / 2, y: y - tall / 2, w: wide, h: tall }, PAPER, 0.8);
        canvas.text([x, y], Anchor::Centre, label.size, INK, &label.text)?;
    }
    Ok(())
}

/// Writes several lines of secondary text.
///
/// # Errors
/// The page cannot take text.
pub(crate) fn lines(
    canvas: &mut Canvas,
    at: [i32; 2],
    size: f64,
    room: i32,
    lines: &[(Rgb, String)],
) -> Result<(), PictureError> {
    for ((colour, line), i) in lines.iter().zip(0..) {
        let y = at[1] + px(f64::from(i) * size * 1.35);
        canvas.text([at[0], y], Anchor::Left, size, *colour, &Canvas::fit(size, line, room))?;
    }
    Ok(())
}

/// A name made fit for a file name: letters and digits of any script kept, everything else an underscore.
pub(crate) fn file_words(name: &str) -> String {
    let mut out = String::new();
    for c in name.chars() {
        if c.is_alphanumeric() {
            out.extend(c.to_lowercase());
        } else if !out.ends_with('_') && !out.is_empty() {
            out.push('_');
        }
    }
    let out: String = out.trim_end_matches('_').chars().take(60).collect();
    if out.is_empty() { "unnamed".to_owned() } else { out }
}

/// Title and line beneath it.
///
/// # Errors
/// The page cannot take text.
pub(crate) fn heading(canvas: &mut Canvas, x: i32, room: i32, words: [&str; 2]) -> Result<(), PictureError> {
    canvas.text([x, 40], Anchor::Left, 34.0, INK, &Canvas::fit(34.0, words[0], room))?;
    canvas.text([x, 80], Anchor::Left, 22.0, SOFT_INK, &Canvas::fit(22.0, words[1], room))
}

/// A broken line: pieces of seven pixels.
pub(crate) fn dashed(panel: &mut Panel, [from, to]: [Point; 2]) {
    let d = [to[0] - from[0], to[1] - from[1]];
    let length = d[0].hypot(d[1]);
    let at = |s: f64| [from[0] + d[0] * s / length, from[1] + d[1] * s / length];
    let mut s = 0.0;
    while s < length {
        panel.line([at(s), at((s + 7.0).min(length))], 2.0, INK);
        s += 13.0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::panel::Panel;

    #[test]
    fn handy_figures_bracket_their_value() {
        for v in [0.000_13, 0.9, 1.0, 1.01, 2.3, 7.7, 9.99, 48.0, 1e6] {
            assert!(
                handy_above(v) >= v * 0.999_999 && handy_above(v) < 1.5 * v,
                "above {v}: {}",
                handy_above(v)
            );
            assert!(
                handy_below(v) <= v * 1.000_001 && handy_below(v) > 0.39 * v,
                "below {v}: {}",
                handy_below(v)
            );
        }
    }

    #[test]
    fn ticks_are_multiples_and_inside() {
        let ticks: Vec<f64> = multiples(-0.0031, 0.0052, 0.001).collect();
        assert_eq!(ticks.len(), 9, "{ticks:?}");
        assert!(ticks.iter().all(|t| (t / 0.001 - (t / 0.001).round()).abs() < 1e-9), "{ticks:?}");
    }

    #[test]
    fn labels_of_crowded_places_do_not_overlap() {
        let rect = Rect { x: 0, y: 0, w: 400, h: 300 };
        let view = View { rect, centre_m: [0.0, 0.0], px_per_m: 1e5 };
        let mut panel = Panel::new(view, PAPER);
        let labels: Vec<Label> = (0..10)
            .map(|i| Label { at_m: [f64::from(i) * 5e-5, 0.0], text: (i + 1).to_string(), clear_px: 12.0 })
            .collect();
        let placed = place_labels(&mut panel, &labels, 20.0);
        for (i, a) in placed.iter().enumerate() {
            for b in &placed[i + 1..] {
                let apart =
                    (a.centre[0] - b.centre[0]).abs() > 12.0 || (a.centre[1] - b.centre[1]).abs() > 18.0;
                assert!(apart, "{a:?} on {b:?}");
            }
        }
    }

    #[test]
    fn file_names_keep_letters_of_any_script() {
        assert_eq!(file_words("copper top"), "copper_top", "spaces");
        assert_eq!(file_words("Kupfer (außen)/2"), "kupfer_außen_2", "other letters stay");
        assert_eq!(file_words("../..//"), "unnamed", "no way out of the folder");
    }
}
