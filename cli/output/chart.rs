//! A plain chart: two axes, lines, points, bands.
//!
//! Input: points in the units of the axes. Output: drawn on a page. Absent: what the points mean.

use super::canvas::{Anchor, Canvas, PictureError, Rect};
use super::colour::{INK, LINE, PAPER, Rgb, SOFT_INK, mix};
use super::figure;
use super::panel::{Panel, View};
use copperbend_mesh::region::Point;

/// An axis with its ticks. Values are shown by its scale, straight or logarithmic.
#[derive(Debug, Clone)]
pub(crate) struct Axis {
    span: [f64; 2],
    scale: fn(f64) -> f64,
    ticks: Vec<(f64, String)>,
    name: String,
}

impl Axis {
    /// An axis between two values, its scale, ticks by value, and name with unit.
    pub(crate) fn new(
        span: [f64; 2],
        scale: fn(f64) -> f64,
        ticks: Vec<(f64, String)>,
        name: impl Into<String>,
    ) -> Self {
        Self { span: span.map(scale), scale, ticks, name: name.into() }
    }

    /// Decades of a logarithmic axis that holds all values.
    pub(crate) fn decades(values: impl Iterator<Item = f64>, name: impl Into<String>) -> Self {
        let good = values.filter(|v| v.is_finite() && *v > 0.0).map(f64::log10);
        let (low, high) = good.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)));
        let (low, high) = if low <= high { (low.floor(), high.ceil()) } else { (0.0, 1.0) };
        let high = if high > low { high } else { low + 1.0 };
        let count = figure::multiples(low, high, if high - low > 10.0 { 2.0 } else { 1.0 });
        let ticks = count.map(|k| (10.0_f64.powf(k), format!("1e{k:.0}"))).collect();
        Self::new([10.0_f64.powf(low), 10.0_f64.powf(high)], f64::log10, ticks, name)
    }

    /// A plain axis from zero to above the largest value.
    pub(crate) fn from_zero(most: f64, name: impl Into<String>) -> Self {
        let most = if most > 0.0 && most.is_finite() { figure::handy_above(1.05 * most) } else { 1.0 };
        let step = figure::handy_below(0.3 * most);
        let ticks = figure::multiples(0.0, most, step)
            .map(|v| (v, super::numbers::tick(v, step).trim_start_matches('+').to_owned()))
            .collect();
        Self::new([0.0, most], |v| v, ticks, name)
    }

    fn share(&self, value: f64) -> f64 {
        ((self.scale)(value) - self.span[0]) / (self.span[1] - self.span[0])
    }
}

/// A chart being drawn.
#[derive(Debug)]
pub(crate) struct Chart {
    rect: Rect,
    panel: Panel,
    x: Axis,
    y: Axis,
}

impl Chart {
    /// An empty chart in a place of the page.
    pub(crate) fn new(rect: Rect, x: Axis, y: Axis) -> Self {
        let size = [f64::from(rect.w), f64::from(rect.h)];
        let view = View::fit(rect, [[0.0; 2], size], 0);
        let mut chart = Self { rect, panel: Panel::new(view, PAPER), x, y };
        let faint = mix(LINE, PAPER, 0.75);
        for (value, _) in chart.x.ticks.clone() {
            let at = chart.x.share(value) * size[0];
            chart.panel.line([[at, 0.0], [at, size[1]]], 1.0, faint);
        }
        for (value, _) in chart.y.ticks.clone() {
            let at = chart.y.share(value) * size[1];
            chart.panel.line([[0.0, at], [size[0], at]], 1.0, faint);
        }
        chart
    }

    fn place(&self, [x, y]: Point) -> Point {
        // Far outside counts as just outside: the panel cuts there.
        let [u, v] =
            [self.x.share(x), self.y.share(y)].map(|s| if s.is_nan() { -9.0 } else { s.clamp(-9.0, 9.0) });
        [u * f64::from(self.rect.w), v * f64::from(self.rect.h)]
    }

    /// A line through points.
    pub(crate) fn line(&mut self, points: &[Point], width: f64, colour: Rgb) {
        for pair in points.windows(2) {
            let ends = [self.place(pair[0]), self.place(pair[1])];
            self.panel.line(ends, width, colour);
        }
    }

    /// The area between two lines of equal x.
    pub(crate) fn band(&mut self, low: &[Point], high: &[Point], colour: Rgb) {
        let quads: Vec<Vec<Point>> = low
            .windows(2)
            .zip(high.windows(2))
            .map(|(a, b)| [a[0], a[1], b[1], b[0]].map(|p| self.place(p)).to_vec())
            .collect();
        self.panel.convex(&quads, colour);
    }

    /// A filled point.
    pub(crate) fn dot(&mut self, at: Point, radius: f64, colour: Rgb) {
        let place = self.place(at);
        self.panel.ring(place, 0.5 * radius, radius, colour);
    }

    /// An open point: a survivor.
    pub(crate) fn open(&mut self, at: Point, radius: f64, colour: Rgb) {
        let place = self.place(at);
        self.panel.ring(place, radius, 2.0, colour);
    }

    /// A square of half the side `reach`, filled or open.
    pub(crate) fn square(&mut self, at: Point, reach: f64, colour: Rgb, filled: bool) {
        let [x, y] = self.place(at);
        let corner = |r: f64| [[x - r, y - r], [x + r, y - r], [x + r, y + r], [x - r, y + r]].to_vec();
        self.panel.convex(&[corner(reach)], colour);
        if !filled {
            self.panel.convex(&[corner(0.65 * reach)], PAPER);
        }
    }

    /// Puts the chart onto the page, with ticks and names.
    ///
    /// # Errors
    /// The page cannot be drawn.
    pub(crate) fn finish(self, canvas: &mut Canvas) -> Result<(), PictureError> {
        self.panel.place(canvas);
        let r = self.rect;
        canvas.frame(r, LINE);
        for (value, text) in &self.x.ticks {
            let at = r.x + figure::px(self.x.share(*value) * f64::from(r.w));
            canvas.text([at, r.y + r.h + 16], Anchor::Centre, 18.0, SOFT_INK, text)?;
        }
        for (value, text) in &self.y.ticks {
            let at = r.y + r.h - figure::px(self.y.share(*value) * f64::from(r.h));
            canvas.text([r.x - 10, at], Anchor::Right, 18.0, SOFT_INK, text)?;
        }
        canvas.text([r.x + r.w / 2, r.y + r.h + 46], Anchor::Centre, 20.0, INK, &self.x.name)?;
        canvas.text([r.x - 80, r.y - 22], Anchor::Left, 20.0, INK, &self.y.name)
    }
}
