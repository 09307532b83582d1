//! The strain map of one copper layer: the board at true proportions, the copper coloured by its strain.
//!
//! Input: one answer of `bend` and the board. Output: a PNG. The field is interpolated pixel by pixel inside
//! every triangle and never across the edge of a zone. Worst spots are ringed and numbered as in the table;
//! below the board the worst of them are shown again, enlarged.

use super::canvas::{Anchor, Canvas, PictureError, Rect};
use super::colour::{FILM, INK, LINE, PAPER, SOFT_INK, StrainScale, mix};
use super::figure::{self, Label, PlacedLabel};
use super::numbers::{self, beside, typeset};
use super::panel::{Panel, View};
use copperbend_mesh::board::{Board, LayerId, Place, SupportKind};
use copperbend_mesh::region::Point;
use copperbend_solver::result::{BendAnswer, Face, Spot, StrainMap};

/// Width of the page, pixels.
const PAGE_WIDTH: i32 = 1600;
const MARGIN: i32 = 40;
/// Enlarged places below the board.
const CLOSE_UPS: usize = 3;
/// Height of an enlarged place, pixels.
const CLOSE_UP_HEIGHT: i32 = 380;
/// Scale of an enlarged place over that of the board, at least.
const WORTH_ENLARGING: f64 = 1.5;

/// Which face of the copper a map shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Faces {
    /// At every place the face with the larger magnitude.
    Worse,
    /// One face.
    One(Face),
}

/// What is common to all maps of one run.
#[derive(Debug, Clone)]
pub(crate) struct MapStyle {
    /// Strain at the ends of the colour bar.
    pub(crate) full_scale: f64,
    /// Line under the title ("60 mA, 40 degC").
    pub(crate) state: String,
    /// Ranges over the swing instead of the strain of one state.
    pub(crate) range: bool,
    /// Scale of colours.
    pub(crate) colours: StrainScale,
}

/// One layer of one answer.
#[derive(Debug, Clone, Copy)]
pub(crate) struct MapOf<'a> {
    /// The board.
    pub(crate) board: &'a Board,
    /// The answer.
    pub(crate) answer: &'a BendAnswer,
    /// Layer shown.
    pub(crate) layer_index: u32,
    /// Face shown.
    pub(crate) faces: Faces,
}

/// Full scale of the colour bar: the worst spots' strain, rounded up to a handy figure.
pub(crate) fn handy_full_scale(answers: &[BendAnswer]) -> f64 {
    let worst = answers.iter().flat_map(|a| &a.spots).map(|s| s.strain.abs()).fold(0.0, f64::max);
    let worst = if worst > 0.0 {
        worst
    } else {
        let corners = answers.iter().flat_map(|a| &a.maps).flat_map(|m| m.ranking.iter().flatten());
        corners.map(|v| v.abs()).fold(0.0, f64::max)
    };
    figure::handy_above(if worst.is_finite() && worst > 0.0 { worst } else { 1e-6 })
}

/// Strain of largest magnitude over all directions, sign kept; `[exx, eyy, gxy]`.
fn ranking([exx, eyy, gxy]: [f64; 3]) -> f64 {
    let (middle, radius) = (0.5 * (exx + eyy), 0.5 * ((exx - eyy).powi(2) + gxy * gxy).sqrt());
    if middle < 0.0 { middle - radius } else { middle + radius }
}

/// Corner values of the faces of one layer, triangle by triangle.
struct Field {
    corners_m: Vec<[Point; 3]>,
    /// Per triangle and face: strain components at the corners.
    faces: Vec<Vec<[[f64; 3]; 3]>>,
    unranked: Vec<bool>,
}

impl Field {
    fn of(what: &MapOf<'_>) -> Option<Self> {
        let wanted = |m: &&StrainMap| {
            m.layer_index == what.layer_index
                && match what.faces {
                    Faces::Worse => true,
                    Faces::One(face) => m.face == face,
                }
        };
        let maps: Vec<&StrainMap> = what.answer.maps.iter().filter(wanted).collect();
        let first = maps.first()?;
        let shape = &what.answer.shape;
        let corners_m = first
            .triangles
            .iter()
            .map(|&t| shape.triangles[t as usize].map(|n| shape.points_m[n as usize]))
            .collect();
        let faces = maps.iter().map(|m| m.components.clone()).collect();
        Some(Self { corners_m, faces, unranked: first.unranked.clone() })
    }

    /// Strain shown at a place of a triangle.
    fn at(&self, triangle: usize, weights: [f64; 3]) -> f64 {
        let mut worst = 0.0f64;
        for face in &self.faces {
            let corners = &face[triangle];
            let strain = [0, 1, 2].map(|k| (0..3).map(|c| weights[c] * corners[c][k]).sum::<f64>());
            let value = ranking(strain);
            if value.abs() > worst.abs() || value.is_nan() {
                worst = value;
            }
        }
        worst
    }
}

/// Draws the map of one layer.
///
/// # Errors
/// The layer has no strain in this answer, or the page cannot be drawn.
pub(crate) fn draw(what: &MapOf<'_>, style: &MapStyle) -> Result<Vec<u8>, PictureError> {
    let layer = &what.board.layers[what.layer_index as usize];
    let field = Field::of(what)
        .ok_or_else(|| PictureError(format!("layer '{}' carries no strain to draw", layer.name)))?;
    let on_map = |s: &&Spot| {
        s.layer_index == what.layer_index
            && match what.faces {
                Faces::Worse => true,
                Faces::One(face) => s.face == face,
            }
    };
    let spots: Vec<&Spot> = what.answer.spots.iter().filter(on_map).collect();
    let bounds = figure::bounds(&what.board.outline)?;
    let scale = Page::arrange(bounds, 0).main.px_per_m;
    let mut enlarged = enlarged_spots(what.board, &spots);
    enlarged.retain(|spot| close_up_scale(what.board, spot) >= WORTH_ENLARGING * scale);
    let page = Page::arrange(bounds, enlarged.len());
    let mut canvas = Canvas::new(figure::side(PAGE_WIDTH), figure::side(page.height), PAPER)?;

    heading(&mut canvas, what, style)?;
    let mut main = Panel::new(page.main, PAPER);
    paint(&mut main, what, &field, style);
    let labels = ring_spots(&mut main, &spots, 11.0);
    main.place(&mut canvas);
    figure::axes(&mut canvas, &page.main)?;
    figure::scale_bar(&mut canvas, &page.main)?;
    figure::write_labels(&mut canvas, &labels)?;
    colour_bar(&mut canvas, page.bar, style)?;
    for (close, spot) in page.close_ups.iter().zip(&enlarged) {
        close_up(&mut canvas, *close, what, &field, (style, spot, &spots))?;
    }
    footing(&mut canvas, page.height, &spots, style.range)?;
    canvas.png()
}

/// Where everything goes.
struct Page {
    main: View,
    bar: Rect,
    close_ups: Vec<Rect>,
    height: i32,
}

impl Page {
    fn arrange(bounds: [Point; 2], n: usize) -> Self {
        const TOP: i32 = 118;
        const BAR: i32 = 190;
        let (left, axis_h) = (MARGIN + 58, 52);
        let wide = PAGE_WIDTH - left - MARGIN - BAR;
        let aspect = (bounds[1][1] - bounds[0][1]) / (bounds[1][0] - bounds[0][0]).max(1e-12);
        let tall = f64::from(wide) * aspect;
        let main_h = figure::px(tall.clamp(260.0, 900.0)) + 40;
        let main = Rect { x: left, y: TOP, w: wide, h: main_h };
        let below = TOP + main_h + axis_h;
        let gap = 24;
        let count = i32::try_from(n).unwrap_or(1).max(1);
        let each = (PAGE_WIDTH - 2 * MARGIN - (count - 1) * gap) / count;
        let close_h = CLOSE_UP_HEIGHT;
        let close_ups = (0..n)
            .map(|i| {
                let x = MARGIN + i32::try_from(i).unwrap_or(0) * (each + gap);
                Rect { x, y: below + 44, w: each, h: close_h }
            })
            .collect();
        let height = if n == 0 { below + 70 } else { below + 44 + close_h + 92 };
        Self {
            main: View::fit(main, bounds, 18),
            bar: Rect { x: PAGE_WIDTH - MARGIN - BAR + 50, y: TOP + 30, w: 30, h: main_h - 60 },
            close_ups,
            height,
        }
    }
}

fn face_words(faces: Faces) -> &'static str {
    match faces {
        Faces::Worse => "worse of lower and upper face",
        Faces::One(Face::Lower) => "lower face",
        Faces::One(Face::Upper) => "upper face",
    }
}

fn heading(canvas: &mut Canvas, what: &MapOf<'_>, style: &MapStyle) -> Result<(), PictureError> {
    let layer = &what.board.layers[what.layer_index as usize];
    let room = PAGE_WIDTH - 2 * MARGIN;
    let what_word = if style.range { "Strain range over the swing," } else { "Strain of" };
    let title = format!("{what_word} '{}', {}", layer.name, face_words(what.faces));
    let below = [what.board.title.as_str(), style.state.as_str()].join("   ");
    figure::heading(canvas, MARGIN, room, [&title, below.trim()])
}

/// Board, copper, outlines.
fn paint(panel: &mut Panel, what: &MapOf<'_>, field: &Field, style: &MapStyle) {
    let board = what.board;
    panel.fill(&board.outline, FILM);
    let full = style.full_scale;
    panel.triangles(&field.corners_m, |t, weights| {
        let colour = style.colours.colour(field.at(t, weights) / full);
        Some(if field.unranked[t] { mix(colour, FILM, 0.55) } else { colour })
    });
    // Over the copper too: what a support holds does not strain.
    for support in &board.supports {
        if let (Place::Area(region), SupportKind::Clamp { .. } | SupportKind::Simple) =
            (&support.place, &support.kind)
        {
            panel.hatch(&region.intersection(&board.outline), LINE, 9);
        }
    }
    copper_edges(panel, board, what.layer_index);
    for stiffener in &board.stiffeners {
        panel.outline(&stiffener.region, 1.0, mix(LINE, PAPER, 0.25));
    }
    panel.outline(&board.outline, 1.6, LINE);
}

fn copper_edges(panel: &mut Panel, board: &Board, layer_index: u32) {
    let on_layer = board.conductors.iter().filter(|c| c.layer == LayerId(layer_index));
    for conductor in on_layer {
        panel.outline(&conductor.region, 0.7, mix(INK, PAPER, 0.35));
    }
}

/// The worst spots, leaving out those that an earlier close-up already shows.
fn enlarged_spots<'a>(board: &Board, spots: &[&'a Spot]) -> Vec<&'a Spot> {
    let mut chosen: Vec<&Spot> = Vec::new();
    for &spot in spots {
        let shown = chosen.iter().any(|c| {
            let reach = 0.42 * close_up_span(board, c);
            (c.x_m - spot.x_m).abs() < reach && (c.y_m - spot.y_m).abs() < reach
        });
        if !shown && chosen.len() < CLOSE_UPS {
            chosen.push(spot);
        }
    }
    chosen
}

/// Rings the spots inside a panel and says where their numbers go.
fn ring_spots(panel: &mut Panel, spots: &[&Spot], radius_px: f64) -> Vec<PlacedLabel> {
    let shown: Vec<&&Spot> = spots.iter().filter(|s| panel.view().shows([s.x_m, s.y_m])).collect();
    for s in shown.iter().rev() {
        let at = [s.x_m, s.y_m];
        panel.ring(at, radius_px, 5.0, PAPER);
        panel.ring(at, radius_px, 2.4, INK);
        if s.singular.is_some() {
            panel.ring(at, radius_px + 4.5, 1.6, INK);
        }
    }
    let labels: Vec<Label> = shown
        .iter()
        .map(|s| Label { at_m: [s.x_m, s.y_m], text: s.rank.to_string(), clear_px: radius_px + 6.0 })
        .collect();
    figure::place_labels(panel, &labels, 22.0)
}

fn close_up(
    canvas: &mut Canvas,
    rect: Rect,
    what: &MapOf<'_>,
    field: &Field,
    (style, spot, spots): (&MapStyle, &Spot, &[&Spot]),
) -> Result<(), PictureError> {
    let px_per_m = close_up_scale(what.board, spot);
    let view = View { rect, centre_m: [spot.x_m, spot.y_m], px_per_m };
    let mut panel = Panel::new(view, PAPER);
    paint(&mut panel, what, field, style);
    let labels = ring_spots(&mut panel, spots, 15.0);
    panel.place(canvas);
    canvas.frame(rect, LINE);
    figure::scale_bar(canvas, &view)?;
    figure::write_labels(canvas, &labels)?;
    let mean = if spot.singular.is_some() { " (mean)" } else { "" };
    let [strain, error] = numbers::strain_with_error(spot.strain, spot.strain_error);
    let strain = typeset(if style.range { strain.trim_start_matches('+') } else { &strain });
    let title = format!("{}  {}  {strain} \u{b1} {error} \u{b5}m/m{mean}", spot.rank, spot.track);
    canvas.text([rect.x, rect.y - 18], Anchor::Left, 20.0, INK, &Canvas::fit(20.0, &title, rect.w))?;
    let place = typeset(&format!("x {} mm, y {} mm", numbers::mm(spot.x_m), numbers::mm(spot.y_m)));
    let near = beside(spot.near_m, &spot.near);
    let lines = [(SOFT_INK, place), (SOFT_INK, near)];
    figure::lines(canvas, [rect.x, rect.y + rect.h + 18], 18.0, rect.w, &lines)
}

/// Width shown around a spot: the arm or a few track widths, m.
fn close_up_span(board: &Board, spot: &Spot) -> f64 {
    let arm = board.arms.iter().filter(|a| a.region.contains([spot.x_m, spot.y_m]));
    let arm = arm.map(|a| 1.8 * a.width_m).fold(f64::INFINITY, f64::min);
    let size = figure::bounds(&board.outline).map_or(0.02, |[lo, hi]| (hi[0] - lo[0]).max(hi[1] - lo[1]));
    if arm.is_finite() { arm.clamp(0.02 * size, 0.5 * size) } else { 0.12 * size }
}

/// Pixels per metre of an enlarged place: close-ups are always wider than high.
fn close_up_scale(board: &Board, spot: &Spot) -> f64 {
    f64::from(CLOSE_UP_HEIGHT) / close_up_span(board, spot)
}

fn colour_bar(canvas: &mut Canvas, bar: Rect, style: &MapStyle) -> Result<(), PictureError> {
    for row in 0..bar.h {
        let down = (f64::from(row) + 0.5) / f64::from(bar.h);
        let value = if style.range { 1.0 - down } else { 1.0 - 2.0 * down };
        canvas.fill(Rect { y: bar.y + row, h: 1, ..bar }, style.colours.colour(value));
    }
    canvas.frame(bar, LINE);
    let name = if style.range { "range, \u{b5}m/m" } else { "strain, \u{b5}m/m" };
    canvas.text([bar.x - 6, bar.y - 46], Anchor::Left, 20.0, INK, name)?;
    if !style.range {
        canvas.text([bar.x - 6, bar.y - 18], Anchor::Left, 17.0, SOFT_INK, "tension")?;
        canvas.text([bar.x - 6, bar.y + bar.h + 18], Anchor::Left, 17.0, SOFT_INK, "compression")?;
    }
    for i in if style.range { 0..=4 } else { -4..=4 } {
        let share = f64::from(i) / 4.0;
        let down = if style.range { 1.0 - share } else { 0.5 * (1.0 - share) };
        let y = bar.y + figure::px(f64::from(bar.h) * down).min(bar.h - 1);
        canvas.fill(Rect { x: bar.x + bar.w, y, w: 6, h: 1 }, INK);
        let text = typeset(&numbers::tick(share * style.full_scale * 1e6, 0.25 * style.full_scale * 1e6));
        let text = if style.range { text.trim_start_matches('+') } else { &text };
        canvas.text([bar.x + bar.w + 12, y], Anchor::Left, 20.0, INK, text)?;
    }
    Ok(())
}

fn footing(canvas: &mut Canvas, height: i32, spots: &[&Spot], range: bool) -> Result<(), PictureError> {
    let mut words = vec![if range {
        "Range of the mechanical normal strain in one material direction, largest over all directions; grey: no copper \
         of this layer; hatched: held."
    } else {
        "Mechanical normal strain of largest magnitude over all directions, sign kept; grey: no copper of this \
         layer; hatched: held."
    }];
    if spots.iter().any(|s| s.singular.is_some()) {
        words.push("Double ring: no mesh-independent value there, a mean over a half-disc is given.");
    }
    let text = words.join(" ");
    let text = Canvas::fit(16.0, &text, PAGE_WIDTH - 2 * MARGIN);
    canvas.text([MARGIN, height - 22], Anchor::Left, 16.0, SOFT_INK, &text)
}

/// File name of a map.
pub(crate) fn file_name(layer: &str, faces: Faces, suffix: &str) -> String {
    let face = match faces {
        Faces::Worse => "",
        Faces::One(Face::Lower) => "_lower",
        Faces::One(Face::Upper) => "_upper",
    };
    format!("strain_{}{face}{suffix}.png", figure::file_words(layer))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::sample;

    #[test]
    fn ranking_takes_the_larger_magnitude_and_keeps_the_sign() {
        assert!((ranking([1e-3, -4e-4, 0.0]) - 1e-3).abs() < 1e-15, "tension along x");
        assert!((ranking([4e-4, -1e-3, 0.0]) + 1e-3).abs() < 1e-15, "compression along y");
        // Pure shear g = 2 e: principal strains +-e at 45 degrees.
        assert!((ranking([0.0, 0.0, 2e-3]).abs() - 1e-3).abs() < 1e-15, "pure shear");
    }

    fn style(full_scale: f64) -> MapStyle {
        MapStyle {
            full_scale,
            range: false,
            state: "60 mA, 20 \u{b0}C".to_owned(),
            colours: StrainScale::new(),
        }
    }

    #[test]
    fn map_shows_the_copper_in_its_colours() {
        let (board, answer) = (sample::board(), sample::answer());
        let of = MapOf { board: &board, answer: &answer, layer_index: 1, faces: Faces::Worse };
        let full = handy_full_scale(std::slice::from_ref(&answer));
        let bytes = draw(&of, &style(full)).expect("a map");
        sample::keep("strain-map.png", &bytes);
        let (w, h, rgb) = sample::pixels(&bytes);
        assert_eq!(w, 1600, "page width");
        assert!((700..2000).contains(&h), "page height {h}");
        let tension = rgb.iter().filter(|c| c[0] > 150 && c[2] < 110).count();
        let film = rgb.iter().filter(|&&c| c == FILM).count();
        assert!(tension > 2000, "only {tension} pixels of clear tension");
        assert!(film > 50_000, "only {film} pixels of film");
        assert_eq!(bytes, draw(&of, &style(full)).expect("a map"), "same input, same bytes");
    }

    #[test]
    fn one_face_alone_and_a_fixed_scale_change_the_colours() {
        let (board, answer) = (sample::board(), sample::answer());
        let of = |faces| MapOf { board: &board, answer: &answer, layer_index: 1, faces };
        let lower = draw(&of(Faces::One(Face::Lower)), &style(3e-3)).expect("a map");
        sample::keep("strain-map-lower.png", &lower);
        let upper = draw(&of(Faces::One(Face::Upper)), &style(3e-3)).expect("a map");
        let wide = draw(&of(Faces::One(Face::Upper)), &style(3e-2)).expect("a map");
        assert!(lower != upper && upper != wide, "the maps do not differ");
    }

    #[test]
    fn copper_under_a_clamp_is_hatched() {
        let (board, answer) = (sample::board(), sample::answer());
        let what = MapOf { board: &board, answer: &answer, layer_index: 1, faces: Faces::Worse };
        let field = Field::of(&what).expect("a field");
        let stripes = |board: &Board| {
            let of = MapOf { board, ..what };
            // The track's start, 4 mm inside the clamp.
            let view = View {
                rect: Rect { x: 0, y: 0, w: 60, h: 60 },
                centre_m: [-3e-3, 0.35e-3],
                px_per_m: 60.0 / 0.15e-3,
            };
            let mut panel = Panel::new(view, PAPER);
            paint(&mut panel, &of, &field, &style(3e-3));
            let mut page = Canvas::new(60, 60, PAPER).expect("a page");
            panel.place(&mut page);
            let (_, _, rgb) = sample::pixels(&page.png().expect("a picture"));
            let mut colours = rgb;
            colours.sort_unstable();
            colours.dedup();
            colours.len()
        };
        let mut free = board.clone();
        free.supports.clear();
        assert!(stripes(&board) > stripes(&free) + 2, "{} against {}", stripes(&board), stripes(&free));
    }

    #[test]
    fn close_ups_that_hardly_magnify_are_left_out() {
        let (mut board, answer) = (sample::board(), sample::answer());
        let height = |board: &Board| {
            let of = MapOf { board, answer: &answer, layer_index: 1, faces: Faces::Worse };
            sample::pixels(&draw(&of, &style(3e-3)).expect("a map")).1
        };
        let with = height(&board);
        // A close-up shows 1.8 arm widths: as wide as this it would be no larger than the map.
        board.arms.iter_mut().for_each(|arm| arm.width_m = 20e-3);
        let without = height(&board);
        assert!(without + 300 < with, "close-ups are still there: {without} against {with}");
    }

    #[test]
    fn layer_without_copper_is_an_error() {
        let (board, answer) = (sample::board(), sample::answer());
        let of = MapOf { board: &board, answer: &answer, layer_index: 0, faces: Faces::Worse };
        assert!(draw(&of, &style(1e-3)).is_err(), "film has no copper strain");
    }
}
