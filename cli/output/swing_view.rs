//! Pictures of the swing: the board from the side at several currents, and what the current does.
//!
//! Input: the swing of one answer. Output: two PNG files. The side view is in true scale; lines of equal polarity share
//! a colour, deeper for more current, and every line carries its current.

use super::canvas::{Anchor, Canvas, PictureError, Rect};
use super::colour::{INK, LINE, PAPER, Rgb, SOFT_INK, mix};
use super::figure::{self, Label, dashed};
use super::numbers::{self, typeset};
use super::panel::{Panel, View};
use super::shape_view::{MAGNET, hinge, hull, surface_points};
use copperbend_mesh::board::{Board, MagnetShape, Obstacle, ObstacleShape};
use copperbend_mesh::region::{Point, Region};
use copperbend_solver::result::{Swing, SwingState};

const PAGE_WIDTH: i32 = 1600;
const MARGIN: i32 = 40;
/// Outlines that differ by less than this are one, m.
const ALIKE_M: f64 = 1e-6;
/// Positive currents; negative ones.
const POSITIVE: Rgb = [33, 90, 156];
const NEGATIVE: Rgb = [196, 98, 16];

/// Colour of a current: its polarity, paler for less.
fn tone(current_a: f64, most_a: f64) -> Rgb {
    let share = (current_a.abs() / most_a).clamp(0.0, 1.0);
    if share < 1e-9 {
        return INK;
    }
    let full = if current_a > 0.0 { POSITIVE } else { NEGATIVE };
    mix(full, PAPER, 0.5 * (1.0 - share))
}

/// Full colour of a polarity.
fn polarity(current_a: f64) -> Rgb {
    tone(current_a, current_a.abs().max(1e-9))
}

/// Whether states are given by their share of the loads.
fn is_loading(swing: &Swing) -> bool {
    !swing.by_load.is_empty()
}

/// Colour and words of a state in the side view.
fn told(swing: &Swing, load: f64, current_a: f64) -> (Rgb, String) {
    if is_loading(swing) {
        (tone(load, 1.0), typeset(&format!("{} %", numbers::plain(100.0 * load, 4))))
    } else {
        (tone(current_a, swing.most_current_a), current(current_a))
    }
}

/// A current as written beside a line.
fn current(current_a: f64) -> String {
    let text = format!("{:.3}", current_a * 1e3);
    let text = text.trim_end_matches('0').trim_end_matches('.');
    let text = if text == "-0" { "0" } else { text };
    let sign = if current_a > 1e-12 && text != "0" { "+" } else { "" };
    typeset(&format!("{sign}{text} mA"))
}

/// Name and outline of everything fixed, seen along the hinge line.
fn solids(board: &Board, origin: Point, along: Point) -> Vec<(String, Vec<Point>)> {
    let flat = |p: [f64; 3]| [(p[0] - origin[0]) * along[0] + (p[1] - origin[1]) * along[1], p[2]];
    let mut out: Vec<(String, Vec<Point>)> = board
        .magnets
        .iter()
        .map(|m| (m.name.clone(), hull(surface_points(m).into_iter().map(flat).collect())))
        .collect();
    out.extend(
        board.obstacles.iter().filter_map(|o| Some((o.name.clone(), hull(corners(o)?.map(flat).collect())))),
    );
    // What lies behind its like is one outline with both names.
    let mut seen: Vec<(String, Vec<Point>)> = Vec::new();
    for (name, outline) in out {
        let alike = |other: &[Point]| {
            let gap = |p: &Point, q: &Point| (p[0] - q[0]).hypot(p[1] - q[1]);
            other.len() == outline.len() && other.iter().zip(&outline).all(|(p, q)| gap(p, q) < ALIKE_M)
        };
        match seen.iter_mut().find(|(_, other)| alike(other)) {
            Some((names, _)) => *names = format!("{names}, {name}"),
            None => seen.push((name, outline)),
        }
    }
    seen
}

/// Points around a solid obstacle whose hull is its outline.
fn corners(obstacle: &Obstacle) -> Option<impl Iterator<Item = [f64; 3]>> {
    let ObstacleShape::Solid { shape, centre_m, rotation } = obstacle.shape else { return None };
    let own: Vec<[f64; 3]> = match shape {
        MagnetShape::Block { sides_m } => (0..8_u8)
            .map(|n| [0, 1, 2].map(|k| sides_m[k] * if n >> k & 1 == 1 { 0.5 } else { -0.5 }))
            .collect(),
        MagnetShape::Disc { diameter_m: d, height_m: h }
        | MagnetShape::Ring { outer_m: d, height_m: h, .. } => {
            let around = (0..64_u8).map(|n| (f64::from(n) * std::f64::consts::TAU / 64.0).sin_cos());
            around.flat_map(|(s, c)| [0.5, -0.5].map(|z| [0.5 * d * c, 0.5 * d * s, z * h])).collect()
        }
    };
    Some(
        own.into_iter().map(move |p| {
            [0, 1, 2].map(|i| centre_m[i] + (0..3).map(|j| rotation[i][j] * p[j]).sum::<f64>())
        }),
    )
}

/// The board from the side at every current of the swing, true scale.
///
/// # Errors
/// The page cannot be drawn.
pub(crate) fn side(board: &Board, swing: &Swing) -> Result<Vec<u8>, PictureError> {
    let (origin, along) = hinge(board, figure::bounds(&board.outline)?);
    let solids = solids(board, origin, along);
    let mut planes: Vec<f64> = board.magnets.iter().filter_map(|m| Some(m.back_plate?[0][2])).collect();
    planes.extend(board.obstacles.iter().filter_map(|o| match o.shape {
        ObstacleShape::Plane { height_m, .. } => Some(height_m),
        ObstacleShape::Solid { .. } => None,
    }));
    let (mut lo, mut hi) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    let lines = swing.views.iter().flat_map(|v| &v.line_m);
    for p in lines.chain(solids.iter().flat_map(|s| &s.1)) {
        for k in 0..2 {
            (lo[k], hi[k]) = (lo[k].min(p[k]), hi[k].max(p[k]));
        }
    }
    if swing.views.is_empty() || !(lo[0] < hi[0] && lo[1] <= hi[1]) {
        return Err(PictureError("the swing has no state to draw".to_owned()));
    }
    let room = 0.09 * (hi[0] - lo[0]);
    let (lo, hi) = ([lo[0], lo[1] - 0.4 * room], [hi[0] + 1.6 * room, hi[1] + 0.4 * room]);
    let (left, top) = (MARGIN + 58, 130);
    let wide = PAGE_WIDTH - left - MARGIN;
    let tall = f64::from(wide) * (hi[1] - lo[1]) / (hi[0] - lo[0]);
    let high = figure::px(tall.clamp(320.0, 1100.0)) + 40;
    let height = top + high + 100;
    let mut canvas = Canvas::new(figure::side(PAGE_WIDTH), figure::side(height), PAPER)?;
    let words = format!("{}   seen along the hinge line, true scale", board.title);
    let title =
        if is_loading(swing) { "The board under growing loads" } else { "The board at several currents" };
    figure::heading(&mut canvas, MARGIN, PAGE_WIDTH - 2 * MARGIN, [title, &words])?;
    let view = View::fit(Rect { x: left, y: top, w: wide, h: high }, [lo, hi], 22);
    let mut panel = Panel::new(view, PAPER);
    for (_, outline) in &solids {
        let region = Region { contours: vec![outline.clone()] };
        panel.fill(&region, mix(MAGNET, PAPER, 0.35));
        panel.outline(&region, 1.2, LINE);
    }
    let [from, to] = view.shown_m();
    for z in planes {
        panel.line([[from[0], z], [to[0], z]], 3.0, LINE);
    }
    let mut tips = Vec::new();
    for state in &swing.views {
        let (colour, words) = told(swing, state.load, state.current_a);
        for pair in state.line_m.windows(2) {
            panel.line([pair[0], pair[1]], 3.0, colour);
        }
        if let Some(&tip) = state.line_m.last() {
            panel.ring(tip, 3.0, 3.0, colour);
            tips.push((view.page(tip), words));
        }
    }
    let beside = beside_tips(&mut panel, tips);
    panel.place(&mut canvas);
    for (at, text) in &beside {
        canvas.text([figure::px(at[0]), figure::px(at[1])], Anchor::Left, 19.0, INK, text)?;
    }
    for (name, outline) in &solids {
        name_solid(&mut canvas, &view, name, outline)?;
    }
    figure::axes_named(&mut canvas, &view, ["along the arm, mm", "z, mm"])?;
    figure::scale_bar(&mut canvas, &view)?;
    let colours = if is_loading(swing) {
        "Blue, deeper for more: share of the loads; black: at rest."
    } else {
        "Blue: positive current; orange: negative; black: none."
    };
    let foot = format!(
        "{colours} Line: reference plane of the board at the arm's middle. Grey: magnets and obstacles."
    );
    canvas.text([MARGIN, height - 24], Anchor::Left, 16.0, SOFT_INK, &foot)?;
    canvas.png()
}

/// Where the currents are written: in a column right of the tips, none over another, thin lines to their tips.
fn beside_tips(panel: &mut Panel, mut tips: Vec<([f64; 2], String)>) -> Vec<([f64; 2], String)> {
    const APART: f64 = 25.0;
    let view = *panel.view();
    tips.sort_by(|a, b| a.0[1].total_cmp(&b.0[1]));
    let column = tips.iter().map(|t| t.0[0]).fold(f64::NEG_INFINITY, f64::max) + 40.0;
    let mut heights: Vec<f64> = tips.iter().map(|t| t.0[1]).collect();
    // Neighbours push each other apart evenly until none overlap.
    for _ in 0..400 {
        for i in 1..heights.len() {
            let lack = APART - (heights[i] - heights[i - 1]);
            if lack > 0.01 {
                heights[i] += 0.5 * lack;
                heights[i - 1] -= 0.5 * lack;
            }
        }
    }
    let (top, bottom) = (f64::from(view.rect.y) + 16.0, f64::from(view.rect.y + view.rect.h) - 16.0);
    let high = heights.first().map_or(0.0, |y| (top - y).max(0.0));
    let low = heights.last().map_or(0.0, |y| (y - bottom).max(0.0));
    let shift = if high > 0.0 { high } else { -low };
    let mut placed = Vec::new();
    for ((tip, text), y) in tips.into_iter().zip(heights) {
        let y = y + shift;
        panel.line([view.plane([tip[0] + 7.0, tip[1]]), view.plane([column - 5.0, y])], 1.0, LINE);
        placed.push(([column, y], text));
    }
    placed
}

fn name_solid(canvas: &mut Canvas, view: &View, name: &str, outline: &[Point]) -> Result<(), PictureError> {
    let page: Vec<[f64; 2]> = outline.iter().map(|&p| view.page(p)).collect();
    let span = |k: usize| {
        let low = page.iter().map(|p| p[k]).fold(f64::INFINITY, f64::min);
        let high = page.iter().map(|p| p[k]).fold(f64::NEG_INFINITY, f64::max);
        (low, high)
    };
    let ((x0, x1), (y0, y1)) = (span(0), span(1));
    let wide = f64::from(Canvas::text_width(18.0, name));
    if wide < x1 - x0 && y1 - y0 > 20.0 && view.shows(view.plane([0.5 * (x0 + x1), 0.5 * (y0 + y1)])) {
        // Near the upper end of a tall one: the board passes through its middle.
        let at = [figure::px(0.5 * (x0 + x1)), figure::px(y0 + (0.5 * (y1 - y0)).min(24.0))];
        canvas.text(at, Anchor::Centre, 18.0, SOFT_INK, name)?;
    }
    Ok(())
}

/// Angle and worst strain against current or share of the loads: every state of the swing.
///
/// # Errors
/// The page cannot be drawn.
pub(crate) fn curves(board: &Board, swing: &Swing) -> Result<Vec<u8>, PictureError> {
    let loading = is_loading(swing);
    let mut path: Vec<&SwingState> = swing.by_current.iter().chain(&swing.by_angle).collect();
    path.sort_by(|a, b| a.angle_rad.total_cmp(&b.angle_rad));
    if loading {
        path = swing.by_load.iter().collect();
    }
    if path.len() < 2 {
        return Err(PictureError("the swing has no states to draw".to_owned()));
    }
    let (left, top, each, gap) = (MARGIN + 100, 130, 480, 96);
    let wide = PAGE_WIDTH - left - MARGIN;
    let height = top + 2 * each + gap + 110;
    let mut canvas = Canvas::new(figure::side(PAGE_WIDTH), figure::side(height), PAPER)?;
    figure::heading(
        &mut canvas,
        MARGIN,
        PAGE_WIDTH - 2 * MARGIN,
        [
            if loading {
                "Angle and worst copper strain against the loads"
            } else {
                "Flap angle and worst copper strain against current"
            },
            &board.title,
        ],
    )?;
    let deg: fn(&SwingState) -> f64 = |s| s.angle_rad.to_degrees();
    let micro: fn(&SwingState) -> f64 = |s| s.strain.abs() * 1e6;
    let angle = if loading { "angle, \u{b0}" } else { "flap angle, \u{b0}" };
    let rows = [(angle, deg), ("worst strain, magnitude, \u{b5}m/m", micro)];
    for ((name, of), y) in rows.into_iter().zip([top, top + each + gap]) {
        let rect = Rect { x: left, y, w: wide, h: each };
        Chart::new(rect, &path, [along(swing), of]).draw(&mut canvas, swing, &path, name)?;
    }
    let foot = if loading {
        "Dots: equilibria at shares of the loads. Full line: stable; dashed: not stable, or passed by a snap."
    } else {
        "Filled: states at given currents; rings: states at given angles. Full line: stable at constant current; dashed: \
         held by the angle only. Grey band: currents beyond the largest."
    };
    canvas.text([MARGIN, height - 24], Anchor::Left, 16.0, SOFT_INK, foot)?;
    canvas.png()
}

/// What a chart runs over: current in mA, or share of the loads in %.
fn along(swing: &Swing) -> fn(&SwingState) -> f64 {
    if is_loading(swing) { |s| s.load * 1e2 } else { |s| s.current_a * 1e3 }
}

/// Name of the loads' axis.
const LOAD: &str = "load, %";

/// A chart of one quantity against another: page pixels serve as the plane.
struct Chart {
    rect: Rect,
    low: [f64; 2],
    high: [f64; 2],
    /// Abscissa and ordinate.
    of: [fn(&SwingState) -> f64; 2],
}

impl Chart {
    fn new(rect: Rect, path: &[&SwingState], of: [fn(&SwingState) -> f64; 2]) -> Self {
        let at = |s: &&SwingState| of.map(|of| of(s));
        let (mut low, mut high) = ([0.0; 2], [0.0; 2]);
        for p in path.iter().map(at) {
            for k in 0..2 {
                (low[k], high[k]) = (f64::min(low[k], p[k]), f64::max(high[k], p[k]));
            }
        }
        for k in 0..2 {
            let room = 0.06 * (high[k] - low[k]).max(1e-9);
            low[k] -= if k == 1 && low[k] == 0.0 { 0.0 } else { room };
            high[k] += room;
        }
        Self { rect, low, high, of }
    }

    /// Place in the panel's own plane: one unit a pixel, y up.
    fn place(&self, p: [f64; 2]) -> Point {
        let size = [f64::from(self.rect.w), f64::from(self.rect.h)];
        [0, 1].map(|k| ((p[k] - self.low[k]) / (self.high[k] - self.low[k]) - 0.5) * size[k])
    }

    fn draw(
        &self,
        canvas: &mut Canvas,
        swing: &Swing,
        path: &[&SwingState],
        name: &str,
    ) -> Result<(), PictureError> {
        let view = View { rect: self.rect, centre_m: [0.0; 2], px_per_m: 1.0 };
        let mut panel = Panel::new(view, PAPER);
        self.ground(&mut panel, swing);
        let at = |s: &SwingState| self.place(self.of.map(|of| of(s)));
        for pair in path.windows(2) {
            let stable = pair[0].stable && pair[1].stable && !pair[1].snapped;
            let ends = [at(pair[0]), at(pair[1])];
            if stable { panel.line(ends, 2.4, INK) } else { dashed(&mut panel, ends) }
        }
        for s in &swing.by_angle {
            panel.ring(at(s), 5.5, 2.2, SOFT_INK);
        }
        for s in &swing.by_current {
            panel.ring(at(s), 3.0, 6.0, polarity(s.current_a));
        }
        for s in &swing.by_load {
            panel.ring(at(s), 3.0, 6.0, tone(s.load, 1.0));
        }
        let peak = swing.coupling.and_then(|c| c.pull_in).and_then(|p| {
            let near = |s: &&&SwingState| (s.angle_rad - p.angle_rad).abs();
            path.iter().min_by(|a, b| near(a).total_cmp(&near(b))).map(|s| (p, at(s)))
        });
        let label = peak.map(|(p, at_m)| Label {
            at_m,
            text: format!("pull-in {}", current(p.current_a)),
            clear_px: 14.0,
        });
        let labels: Vec<Label> = label.into_iter().collect();
        for l in &labels {
            panel.ring(l.at_m, 11.0, 2.0, INK);
        }
        let placed = figure::place_labels(&mut panel, &labels, 19.0);
        panel.place(canvas);
        figure::write_labels(canvas, &placed)?;
        self.ticks(canvas, [if is_loading(swing) { LOAD } else { "current, mA" }, name])
    }

    /// Currents beyond the largest, and the axes through zero.
    fn ground(&self, panel: &mut Panel, swing: &Swing) {
        let most = swing.most_current_a * 1e3;
        for [from, to] in [[self.low[0], -most], [most, self.high[0]]] {
            if from < to && !is_loading(swing) {
                let (a, b) = (self.place([from, self.low[1]]), self.place([to, self.high[1]]));
                let band = Region { contours: vec![vec![a, [b[0], a[1]], b, [a[0], b[1]]]] };
                panel.fill(&band, [238, 239, 241]);
            }
        }
        let zero = [[[self.low[0], 0.0], [self.high[0], 0.0]], [[0.0, self.low[1]], [0.0, self.high[1]]]];
        for [from, to] in zero {
            panel.line([self.place(from), self.place(to)], 1.0, LINE);
        }
    }

    fn ticks(&self, canvas: &mut Canvas, [across, name]: [&str; 2]) -> Result<(), PictureError> {
        const TEXT: f64 = 18.0;
        let r = self.rect;
        let room = figure::px(f64::from(Canvas::text_width(TEXT, across))) + 40;
        canvas.frame(r, LINE);
        let steps = [0, 1].map(|k| {
            let room = if k == 0 { 150.0 / f64::from(r.w) } else { 70.0 / f64::from(r.h) };
            figure::handy_below(room * (self.high[k] - self.low[k])).max(1e-12)
        });
        for k in 0..2 {
            for v in figure::multiples(self.low[k], self.high[k], steps[k]) {
                let mut p = self.low;
                p[k] = v;
                let [x, y] = self.place(p);
                let text = typeset(&numbers::tick(v, steps[k]));
                if k == 0 {
                    let text = if across == LOAD { text.trim_start_matches('+') } else { &text };
                    let x = r.x + r.w / 2 + figure::px(x);
                    canvas.fill(Rect { x, y: r.y + r.h, w: 1, h: 7 }, INK);
                    if x < r.x + r.w - room {
                        canvas.text([x, r.y + r.h + 19], Anchor::Centre, TEXT, INK, text)?;
                    }
                } else {
                    let y = r.y + r.h / 2 - figure::px(y);
                    canvas.fill(Rect { x: r.x - 7, y, w: 7, h: 1 }, INK);
                    let text = if self.low[1] < 0.0 { &text } else { text.trim_start_matches('+') };
                    canvas.text([r.x - 12, y], Anchor::Right, TEXT, INK, text)?;
                }
            }
        }
        canvas.text([r.x + r.w, r.y + r.h + 19], Anchor::Right, TEXT, INK, across)?;
        canvas.text([r.x, r.y - 18], Anchor::Left, 20.0, INK, name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::sample;

    fn count(rgb: &[Rgb], colour: Rgb) -> usize {
        rgb.iter().filter(|p| **p == colour).count()
    }

    #[test]
    fn side_view_has_a_line_for_each_current_in_its_polarity() {
        let bytes = side(&sample::board(), &sample::swing()).expect("a picture");
        sample::keep("swing_side.png", &bytes);
        let (w, _, rgb) = sample::pixels(&bytes);
        assert_eq!(w, 1600, "page width");
        assert!(count(&rgb, POSITIVE) > 300, "the full positive current is blue");
        assert!(count(&rgb, tone(-10.8e-3, 0.04)) > 300, "a part of the negative current is a paler orange");
    }

    #[test]
    fn curves_show_states_and_the_band_beyond_the_largest_current() {
        let bytes = curves(&sample::board(), &sample::swing()).expect("a picture");
        sample::keep("swing_curves.png", &bytes);
        let (_, _, rgb) = sample::pixels(&bytes);
        assert!(count(&rgb, [238, 239, 241]) > 10_000, "the band beyond the largest current");
        assert!(count(&rgb, POSITIVE) > 50 && count(&rgb, NEGATIVE) > 50, "dots of both polarities");
    }

    #[test]
    fn growing_loads_are_drawn_over_their_share() {
        let bytes = side(&sample::board(), &sample::loading()).expect("a picture");
        sample::keep("loading_side.png", &bytes);
        assert!(count(&sample::pixels(&bytes).2, POSITIVE) > 300, "the whole load is blue");
        let bytes = curves(&sample::board(), &sample::loading()).expect("a picture");
        sample::keep("loading_curves.png", &bytes);
        let (_, _, rgb) = sample::pixels(&bytes);
        assert!(count(&rgb, [238, 239, 241]) == 0, "no band of currents");
        assert!(count(&rgb, POSITIVE) > 50, "dots");
    }

    #[test]
    fn a_swing_without_states_is_told_and_not_drawn() {
        let nothing = Swing::default();
        assert!(side(&sample::board(), &nothing).is_err(), "no view");
        assert!(curves(&sample::board(), &nothing).is_err(), "no state");
    }

    #[test]
    fn currents_are_short_and_signed() {
        assert_eq!(current(0.0), "0 mA", "none");
        assert_eq!(current(0.06), "+60 mA", "positive");
        assert_eq!(current(-10.8551e-3), "\u{2212}10.855 mA", "negative");
    }
}
