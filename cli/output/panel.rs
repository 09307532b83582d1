//! A window onto the board plane: everything drawn in metres, at true proportions, finer than the page.
//!
//! Input: polygons, lines and triangles in metres (y up). Output: a block of page pixels, averaged down from
//! a finer grid so that narrow tracks and slanted edges stay clear. Absent: text and axes.

use super::canvas::{Canvas, Rect};
use super::colour::{Rgb, mix};
use copperbend_mesh::region::{Point, Region};
use rayon::prelude::*;
use shapes::{Convex, PRISM, Triangle};
use std::ops::Range;

mod shapes;

/// Fine pixels per page pixel, each way.
const FINE: usize = 3;
/// Rows of fine pixels that one worker fills at a time.
const BAND: usize = 96;

/// Where the panel sits on the page and which part of the plane it shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct View {
    /// Place on the page, pixels.
    pub(crate) rect: Rect,
    /// Point of the plane at the middle of the panel, m.
    pub(crate) centre_m: Point,
    /// Page pixels per metre, the same in x and y.
    pub(crate) px_per_m: f64,
}

impl View {
    /// Shows a box of the plane as large as it fits, with a margin in page pixels all round.
    pub(crate) fn fit(rect: Rect, [lo, hi]: [Point; 2], margin_px: i32) -> Self {
        let size = [(hi[0] - lo[0]).max(1e-9), (hi[1] - lo[1]).max(1e-9)];
        let room = [rect.w - 2 * margin_px, rect.h - 2 * margin_px].map(|v| f64::from(v.max(1)));
        let px_per_m = (room[0] / size[0]).min(room[1] / size[1]);
        Self { rect, centre_m: [0.5 * (lo[0] + hi[0]), 0.5 * (lo[1] + hi[1])], px_per_m }
    }

    /// Page position of a point of the plane.
    pub(crate) fn page(&self, p: Point) -> [f64; 2] {
        [
            f64::from(self.rect.x) + 0.5 * f64::from(self.rect.w) + (p[0] - self.centre_m[0]) * self.px_per_m,
            f64::from(self.rect.y) + 0.5 * f64::from(self.rect.h) - (p[1] - self.centre_m[1]) * self.px_per_m,
        ]
    }

    /// Point of the plane at a page position.
    pub(crate) fn plane(&self, at: [f64; 2]) -> Point {
        let middle =
            [self.rect.x * 2 + self.rect.w, self.rect.y * 2 + self.rect.h].map(|v| 0.5 * f64::from(v));
        [
            self.centre_m[0] + (at[0] - middle[0]) / self.px_per_m,
            self.centre_m[1] - (at[1] - middle[1]) / self.px_per_m,
        ]
    }

    /// The box of the plane that is shown, m.
    pub(crate) fn shown_m(&self) -> [Point; 2] {
        let half = [self.rect.w, self.rect.h].map(|v| 0.5 * f64::from(v) / self.px_per_m);
        [
            [self.centre_m[0] - half[0], self.centre_m[1] - half[1]],
            [self.centre_m[0] + half[0], self.centre_m[1] + half[1]],
        ]
    }

    /// Whether a point of the plane lies inside the panel.
    pub(crate) fn shows(&self, p: Point) -> bool {
        let [lo, hi] = self.shown_m();
        (lo[0]..=hi[0]).contains(&p[0]) && (lo[1]..=hi[1]).contains(&p[1])
    }
}

/// A window being drawn.
#[derive(Debug, Clone)]
pub(crate) struct Panel {
    view: View,
    width: usize,
    height: usize,
    fine: Vec<Rgb>,
}

/// Fine pixel column or row at or after a coordinate, kept inside `0..=limit`.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the panel")]
fn first_at(coordinate: f64, limit: usize) -> usize {
    // Pixel `i` has its centre at `i + 0.5`. The cast rounds down, without the call that rounding up would be.
    let at = (coordinate - 0.5).clamp(0.0, limit as f64);
    let down = at as usize;
    down + usize::from((down as f64) < at)
}

impl Panel {
    /// An empty window.
    pub(crate) fn new(view: View, background: Rgb) -> Self {
        let side = |v: i32| usize::try_from(v).unwrap_or(0) * FINE;
        let (width, height) = (side(view.rect.w), side(view.rect.h));
        Self { view, width, height, fine: vec![background; width * height] }
    }

    /// What the window shows.
    pub(crate) fn view(&self) -> &View {
        &self.view
    }

    /// Fine pixel position of a point of the plane.
    fn fine(&self, p: Point) -> [f64; 2] {
        let k = FINE as f64 * self.view.px_per_m;
        [
            0.5 * self.width as f64 + (p[0] - self.view.centre_m[0]) * k,
            0.5 * self.height as f64 - (p[1] - self.view.centre_m[1]) * k,
        ]
    }

    /// Fills closed contours given in fine pixels by the even-odd rule. `paint` gets the colour underneath and
    /// the sum of row and column.
    fn fill_contours(&mut self, contours: &[Vec<[f64; 2]>], paint: &impl Fn(Rgb, usize) -> Rgb) {
        let edges: Vec<[[f64; 2]; 2]> = contours
            .iter()
            .flat_map(|c| (0..c.len()).map(move |i| [c[i], c[(i + 1) % c.len()]]))
            .filter(|e| (e[0][1] - e[1][1]).abs() > 0.0 && e.iter().flatten().all(|v| v.is_finite()))
            .collect();
        let lowest = edges.iter().flatten().map(|p| p[1]).fold(f64::INFINITY, f64::min);
        let highest = edges.iter().flatten().map(|p| p[1]).fold(f64::NEG_INFINITY, f64::max);
        if edges.is_empty() {
            return;
        }
        let mut crossings = Vec::new();
        for row in first_at(lowest, self.height)..first_at(highest, self.height) {
            let y = row as f64 + 0.5;
            crossings.clear();
            crossings.extend(
                edges
                    .iter()
                    .filter(|e| (e[0][1] <= y) != (e[1][1] <= y))
                    .map(|[a, b]| a[0] + (b[0] - a[0]) * (y - a[1]) / (b[1] - a[1])),
            );
            crossings.sort_by(f64::total_cmp);
            for pair in crossings.chunks_exact(2) {
                let (from, to) = (first_at(pair[0], self.width), first_at(pair[1], self.width));
                let pixels = &mut self.fine[row * self.width + from..row * self.width + to.max(from)];
                for (pixel, column) in pixels.iter_mut().zip(from..) {
                    *pixel = paint(*pixel, row + column);
                }
            }
        }
    }

    /// Fills a region.
    pub(crate) fn fill(&mut self, region: &Region, colour: Rgb) {
        let contours = self.contours(region);
        self.fill_contours(&contours, &|_, _| colour);
    }

    /// Lays a colour over a region like tinted glass; `share` of it, 0 to 1.
    pub(crate) fn veil(&mut self, region: &Region, colour: Rgb, share: f64) {
        let contours = self.contours(region);
        self.fill_contours(&contours, &|under, _| mix(under, colour, share));
    }

    /// Fills a region with slanted stripes, `every_px` page pixels apart.
    pub(crate) fn hatch(&mut self, region: &Region, colour: Rgb, every_px: usize) {
        let period = (every_px * FINE).max(1);
        let contours = self.contours(region);
        self.fill_contours(&contours, &|under, diagonal| {
            if diagonal % period < period.div_ceil(5) { mix(under, colour, 0.7) } else { under }
        });
    }

    fn contours(&self, region: &Region) -> Vec<Vec<[f64; 2]>> {
        region.contours.iter().map(|c| c.iter().map(|&p| self.fine(p)).collect()).collect()
    }

    /// Draws the boundary of a region, `width_px` in page pixels.
    pub(crate) fn outline(&mut self, region: &Region, width_px: f64, colour: Rgb) {
        for contour in &region.contours {
            for i in 0..contour.len() {
                self.line([contour[i], contour[(i + 1) % contour.len()]], width_px, colour);
            }
        }
    }

    /// Draws a straight line with round ends, `width_px` in page pixels.
    pub(crate) fn line(&mut self, ends: [Point; 2], width_px: f64, colour: Rgb) {
        let half = 0.5 * width_px * FINE as f64;
        let [a, b] = ends.map(|p| self.fine(p));
        let length = (b[0] - a[0]).hypot(b[1] - a[1]);
        if !length.is_finite() || !self.meets(a, b, half) {
            return;
        }
        if length > 1e-9 {
            let n = [-(b[1] - a[1]) / length * half, (b[0] - a[0]) / length * half];
            let quad = vec![
                [a[0] + n[0], a[1] + n[1]],
                [b[0] + n[0], b[1] + n[1]],
                [b[0] - n[0], b[1] - n[1]],
                [a[0] - n[0], a[1] - n[1]],
            ];
            self.fill_contours(&[quad], &|_, _| colour);
        }
        if half > 1.5 {
            self.round(a, half, colour);
            self.round(b, half, colour);
        }
    }

    /// Whether a line's box meets the panel.
    fn meets(&self, a: [f64; 2], b: [f64; 2], half: f64) -> bool {
        let (w, h) = (self.width as f64, self.height as f64);
        a[0].max(b[0]) + half >= 0.0
            && a[1].max(b[1]) + half >= 0.0
            && a[0].min(b[0]) - half <= w
            && a[1].min(b[1]) - half <= h
    }

    fn round(&mut self, centre: [f64; 2], radius: f64, colour: Rgb) {
        self.annulus(centre, [0.0, radius], colour);
    }

    /// Draws a ring about a point of the plane; radius and line width in page pixels.
    pub(crate) fn ring(&mut self, centre: Point, radius_px: f64, width_px: f64, colour: Rgb) {
        let k = FINE as f64;
        let radii = [radius_px - 0.5 * width_px, radius_px + 0.5 * width_px].map(|r| r * k);
        self.annulus(self.fine(centre), radii, colour);
    }

    fn annulus(&mut self, c: [f64; 2], radii: [f64; 2], colour: Rgb) {
        let [inner, outer] = radii;
        for row in first_at(c[1] - outer, self.height)..first_at(c[1] + outer, self.height) {
            for column in first_at(c[0] - outer, self.width)..first_at(c[0] + outer, self.width) {
                let r = (column as f64 + 0.5 - c[0]).hypot(row as f64 + 0.5 - c[1]);
                if r <= outer && r >= inner {
                    self.fine[row * self.width + column] = colour;
                }
            }
        }
    }

    /// Paints triangles in their order (later ones over earlier ones). `corners_m` gives the corners of
    /// triangle `i`; `shade` its colour at the barycentric place, or nothing to leave the pixels there.
    pub(crate) fn triangles<S>(&mut self, corners_m: &[[Point; 3]], shade: S)
    where
        S: Fn(usize, [f64; 3]) -> Option<Rgb> + Sync,
    {
        let shapes: Vec<Triangle> = corners_m
            .par_iter()
            .enumerate()
            .filter_map(|(idx, c)| Triangle::new(idx, c.map(|p| self.fine(p)), self.width, self.height))
            .collect();
        let rows: Vec<[usize; 2]> = shapes.iter().map(|t| t.rows).collect();
        self.bands(&rows, |i, rows, first, pixels, width| {
            for row in rows {
                shapes[i].paint_row(
                    row,
                    &mut pixels[(row - first) * width..(row - first + 1) * width],
                    &shade,
                );
            }
        });
    }

    /// Fills the outlines of prisms with one colour, whatever their order: each has three corners below and three above.
    pub(crate) fn prisms(&mut self, corners_m: &[[Point; 6]], colour: Rgb) {
        let shapes: Vec<[[f64; 2]; 6]> = corners_m.par_iter().map(|c| c.map(|p| self.fine(p))).collect();
        let rows: Vec<[usize; 2]> = shapes
            .iter()
            .map(|c| {
                let span = c
                    .iter()
                    .map(|p| p[1])
                    .fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], y| [low.min(y), high.max(y)]);
                let finite = c.iter().flatten().all(|v| v.is_finite());
                if finite { span.map(|y| first_at(y, self.height)) } else { [0, 0] }
            })
            .collect();
        self.bands(&rows, |i, rows, first, pixels, width| {
            // A projected prism is convex: between its outermost crossings with a row lies all of it.
            let mut room = [[0.0; 2]; BAND];
            let spans = &mut room[..rows.len()];
            spans.fill([f64::INFINITY, f64::NEG_INFINITY]);
            for [a, b] in PRISM.map(|ends| ends.map(|k| shapes[i][k])) {
                let (low, high) = if a[1] < b[1] { (a, b) } else { (b, a) };
                let slope = (high[0] - low[0]) / (high[1] - low[1]);
                let from = first_at(low[1], rows.end).max(rows.start);
                for row in from..first_at(high[1], rows.end) {
                    let x = low[0] + slope * (row as f64 + 0.5 - low[1]);
                    let span = &mut spans[row - rows.start];
                    *span = [span[0].min(x), span[1].max(x)];
                }
            }
            for row in rows.clone() {
                let [from, to] = spans[row - rows.start].map(|x| first_at(x, width));
                if from < to {
                    pixels[(row - first) * width + from..(row - first) * width + to].fill(colour);
                }
            }
        });
    }

    /// Fills convex polygons with one colour, whatever their order.
    pub(crate) fn convex(&mut self, polygons: &[Vec<Point>], colour: Rgb) {
        let shapes: Vec<Convex> = polygons
            .par_iter()
            .filter_map(|corners| Convex::new(corners.iter().map(|&p| self.fine(p)).collect(), self.height))
            .collect();
        let rows: Vec<[usize; 2]> = shapes.iter().map(|s| s.rows).collect();
        self.bands(&rows, |i, rows, first, pixels, width| {
            for row in rows {
                let [from, to] = shapes[i].span(row, width);
                pixels[(row - first) * width..][from..to.max(from)].fill(colour);
            }
        });
    }

    /// Calls `paint` for every band of rows that every shape reaches: number of the shape, its rows in the band, first row
    /// of the band, pixels of the band, pixels in a row. Shapes in their order, bands on threads of their own.
    /// `rows`: first row and row after the last of each shape.
    fn bands(
        &mut self,
        rows: &[[usize; 2]],
        paint: impl Fn(usize, Range<usize>, usize, &mut [Rgb], usize) + Sync,
    ) {
        let width = self.width.max(1);
        let mut met: Vec<Vec<usize>> = vec![Vec::new(); self.height.div_ceil(BAND)];
        for (i, &[from, to]) in rows.iter().enumerate().filter(|(_, r)| r[0] < r[1]) {
            let last = to.div_ceil(BAND).min(met.len());
            met[(from / BAND).min(last)..last].iter_mut().for_each(|list| list.push(i));
        }
        self.fine.par_chunks_mut(BAND * width).zip(&met).enumerate().for_each(|(band, (pixels, met))| {
            let first = band * BAND;
            let last = first + pixels.len() / width;
            for &i in met {
                paint(i, rows[i][0].max(first)..rows[i][1].min(last), first, pixels, width);
            }
        });
    }

    /// Averages the fine pixels and lays the window onto the page.
    pub(crate) fn place(&self, page: &mut Canvas) {
        let (w, h) = (self.width / FINE, self.height / FINE);
        let n = u32::try_from(FINE * FINE).unwrap_or(1);
        let mut block = vec![[0u8; 3]; w * h];
        block.par_chunks_mut(w.max(1)).enumerate().for_each(|(row, line)| {
            for (column, out) in line.iter_mut().enumerate() {
                let mut sum = [0u32; 3];
                for fine_row in row * FINE..(row + 1) * FINE {
                    let at = fine_row * self.width + column * FINE;
                    for p in &self.fine[at..at + FINE] {
                        (0..3).for_each(|i| sum[i] += u32::from(p[i]));
                    }
                }
                *out = sum.map(|s| u8::try_from((s + n / 2) / n).unwrap_or(u8::MAX));
            }
        });
        page.blit([self.view.rect.x, self.view.rect.y], w, &block);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::colour::PAPER;

    const RED: Rgb = [200, 0, 0];

    fn panel() -> Panel {
        let rect = Rect { x: 0, y: 0, w: 100, h: 50 };
        Panel::new(View { rect, centre_m: [0.05, 0.025], px_per_m: 1000.0 }, PAPER)
    }

    fn share(panel: &Panel, colour: Rgb) -> f64 {
        panel.fine.iter().filter(|&&c| c == colour).count() as f64 / panel.fine.len() as f64
    }

    fn rectangle(x: [f64; 2], y: [f64; 2]) -> Vec<Point> {
        vec![[x[0], y[0]], [x[1], y[0]], [x[1], y[1]], [x[0], y[1]]]
    }

    #[test]
    fn filled_region_covers_its_area_and_spares_its_hole() {
        let mut p = panel();
        let mut hole = rectangle([0.03, 0.05], [0.02, 0.03]);
        hole.reverse();
        p.fill(&Region { contours: vec![rectangle([0.01, 0.09], [0.01, 0.04]), hole] }, RED);
        let expected = (0.08 * 0.03 - 0.02 * 0.01) / (0.1 * 0.05);
        assert!((share(&p, RED) - expected).abs() < 0.003, "{} against {expected}", share(&p, RED));
    }

    #[test]
    fn triangles_leave_no_seam_and_interpolate() {
        let mut p = panel();
        let (a, b, c, d) = ([0.0, 0.0], [0.1, 0.0], [0.1, 0.05], [0.0, 0.05]);
        let mid = [0.0371, 0.0213];
        p.triangles(&[[a, b, mid], [b, c, mid], [c, d, mid], [d, a, mid]], |_, at| {
            assert!((at.iter().sum::<f64>() - 1.0).abs() < 1e-9, "weights {at:?} do not sum to one");
            Some(RED)
        });
        assert!((share(&p, RED) - 1.0).abs() < 1e-12, "seams: {}", share(&p, RED));
    }

    #[test]
    fn later_triangles_cover_earlier_ones() {
        let mut p = panel();
        let t = [[0.0, 0.0], [0.1, 0.0], [0.05, 0.05]];
        p.triangles(&[t, t], |idx, _| Some(if idx == 0 { RED } else { [0, 0, 200] }));
        assert!(share(&p, RED) < 1e-12, "the first triangle shows through");
        assert!((share(&p, [0, 0, 200]) - 0.5).abs() < 0.01, "half the panel is covered");
    }

    #[test]
    fn convex_polygons_cover_what_a_filled_region_covers() {
        let six: Vec<Point> = (0..6)
            .map(|i| f64::from(i) * std::f64::consts::PI / 3.0 + 0.1)
            .map(|a| [0.05 + 0.02 * a.cos(), 0.025 + 0.02 * a.sin()])
            .collect();
        let (mut one, mut other) = (panel(), panel());
        one.convex(&[six.clone(), vec![], vec![[f64::NAN; 2]; 3]], RED);
        other.fill(&Region { contours: vec![six] }, RED);
        assert!(one.fine == other.fine, "{} against {}", share(&one, RED), share(&other, RED));
    }

    #[test]
    fn prisms_cover_what_the_hull_of_their_corners_covers() {
        let mut prism = [[0.0; 2]; 6];
        let below = [[0.031, 0.012], [0.072, 0.009], [0.055, 0.031]];
        for (k, [x, y]) in below.into_iter().enumerate() {
            (prism[k], prism[3 + k]) = ([x, y], [x + 0.004, y + 0.011]);
        }
        let hull = vec![prism[0], prism[1], prism[4], prism[5], prism[2], prism[3]];
        let hull = crate::output::shape_view::hull(hull);
        let (mut one, mut other) = (panel(), panel());
        one.prisms(&[prism, [[f64::NAN; 2]; 6], [[0.05, 0.02]; 6]], RED);
        other.fill(&Region { contours: vec![hull] }, RED);
        assert!(one.fine == other.fine, "{} against {}", share(&one, RED), share(&other, RED));
        assert!(share(&one, RED) > 0.1, "too little: {}", share(&one, RED));
    }

    #[test]
    fn line_and_ring_have_their_width() {
        let mut p = panel();
        p.line([[-1.0, 0.025], [1.0, 0.025]], 2.0, RED);
        assert!((share(&p, RED) - 2.0 / 50.0).abs() < 1e-9, "line covers {}", share(&p, RED));
        let mut p = panel();
        p.ring([0.05, 0.025], 10.0, 2.0, RED);
        let expected = std::f64::consts::PI * (11.0f64.powi(2) - 9.0f64.powi(2)) / 5000.0;
        assert!((share(&p, RED) / expected - 1.0).abs() < 0.03, "ring covers {}", share(&p, RED));
    }

    #[test]
    fn wild_coordinates_are_survived() {
        let mut p = panel();
        p.line([[f64::NAN, 0.0], [1e300, 0.0]], 1.0, RED);
        p.line([[-1e12, -1e12], [1e12, 1e12]], 1.0, RED);
        p.triangles(&[[[f64::INFINITY, 0.0], [0.0, 0.0], [1.0, 1.0]]], |_, _| Some(RED));
        p.fill(&Region { contours: vec![vec![], vec![[0.0, 0.0]], vec![[f64::NAN; 2]; 4]] }, RED);
        assert!(share(&p, RED) < 0.1, "wild input painted {}", share(&p, RED));
    }

    #[test]
    fn view_keeps_proportions_and_maps_y_upwards() {
        let rect = Rect { x: 10, y: 20, w: 300, h: 300 };
        let v = View::fit(rect, [[0.0, 0.0], [0.02, 0.01]], 10);
        let (a, b) = (v.page([0.0, 0.0]), v.page([0.02, 0.01]));
        assert!((b[0] - a[0] - 280.0).abs() < 1e-9 && (a[1] - b[1] - 140.0).abs() < 1e-9, "{a:?} {b:?}");
        assert!(v.shows([0.01, 0.005]) && !v.shows([0.05, 0.0]), "what is shown");
    }
}
