//! Mode shapes: one picture a mode from the side (both ends of the motion) and obliquely; two boards beside each other.
//!
//! Input: answers of `modes`. Output: PNGs. The amplitude is chosen so that the motion can be seen, and is said.

use super::canvas::{Anchor, Canvas, PictureError, Rect};
use super::colour::{INK, LINE, PAPER, SOFT_INK};
use super::figure;
use super::numbers::{plain, typeset};
use super::shape_view::{self, Moved, Words};
use super::table;
use copperbend_mesh::board::Board;
use copperbend_solver::result::{ModeFacts, ModeKind, ModesAnswer, ModesReport};

/// Largest displacement on the pictures as a share of the board's longer side.
const SEEN: f64 = 0.1;

const PAGE: i32 = 1600;
const MARGIN: i32 = 40;

/// Draws one mode.
///
/// # Errors
/// The page cannot be drawn.
pub(crate) fn draw(board: &Board, answer: &ModesAnswer, mode: usize) -> Result<Vec<u8>, PictureError> {
    let (Some(facts), Some(_)) = (answer.modes.get(mode), answer.shapes.get(mode)) else {
        return Err(PictureError(format!("there is no mode {mode}")));
    };
    let seen_m = amplitude_m(board)?;
    let mut moved = moved(answer, mode, seen_m);
    moved.ghost = Some(placed(answer, mode, -upwards(answer, mode) * seen_m));
    let strain = facts
        .strain
        .as_ref()
        .and_then(|s| s.per_swing_degree)
        .map(|per| format!("   copper {} \u{b5}m/m per degree of swing", plain(per * 1e6, 3)));
    let figures = format!(
        "{}   roll {}{}",
        board.title,
        facts
            .roll_per_swing
            .map_or_else(|| "without swing".to_owned(), |v| format!("{:.1} % of swing", 100.0 * v.abs())),
        strain.unwrap_or_default()
    );
    let foot = format!(
        "Thin line: the board at rest. Pale: the other end of the motion. Drawn with a largest displacement of {} mm; a mode \
         has no size of its own.",
        plain(seen_m * 1e3, 2)
    );
    let title = table::mode_words(facts);
    shape_view::page(
        board,
        moved,
        &Words { title: &typeset(&title), figures: &typeset(&figures), foot: &foot },
    )
}

/// One side of a comparison.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Side<'a> {
    pub(crate) board: &'a Board,
    pub(crate) report: &'a ModesReport,
}

/// Draws swing and roll of two boards, one below the other, with the figures that say which rolls less.
///
/// # Errors
/// The page cannot be drawn.
pub(crate) fn beside(sides: [Side<'_>; 2]) -> Result<Vec<u8>, PictureError> {
    let (column, tall, top) = ((PAGE - 3 * MARGIN) / 2, 460, 150);
    let height = top + 2 * (tall + 110) + 40;
    let mut canvas = Canvas::new(figure::side(PAGE), figure::side(height), PAPER)?;
    let words = table::versus(sides[0].report, sides[1].report);
    figure::heading(&mut canvas, MARGIN, PAGE - 2 * MARGIN, ["Swing and roll side by side", ""])?;
    let (first, second) = halves(&words);
    for (line, y) in [(first, 76), (second, 100)] {
        canvas.text(
            [MARGIN, y],
            Anchor::Left,
            20.0,
            SOFT_INK,
            &Canvas::fit(20.0, line, PAGE - 2 * MARGIN),
        )?;
    }
    for (c, side) in (0_i32..).zip(&sides) {
        let Some(answer) = side.report.answers.first() else { continue };
        let x = MARGIN + c * (column + MARGIN);
        for (r, kind) in (0_i32..).zip([ModeKind::Swing, ModeKind::Roll]) {
            let y = top + r * (tall + 110);
            let rect = Rect { x, y: y + 40, w: column, h: tall };
            panel(&mut canvas, side, answer, kind, rect)?;
        }
    }
    let foot = "Thin line: the board at rest. Amplitudes chosen to be seen; both boards to their own scale.";
    canvas.text([MARGIN, height - 24], Anchor::Left, 16.0, SOFT_INK, foot)?;
    canvas.png()
}

/// One mode of one board with its figures above.
fn panel(
    canvas: &mut Canvas,
    side: &Side<'_>,
    answer: &ModesAnswer,
    kind: ModeKind,
    rect: Rect,
) -> Result<(), PictureError> {
    let found = answer.modes.iter().position(|m| m.kind == kind);
    let told =
        |m: &ModeFacts| format!("{}: {}, {} Hz", side.report.title, kind.words(), plain(m.frequency_hz, 4));
    let text = found.map_or_else(
        || format!("{}: no {} among the modes asked for", side.report.title, kind.words()),
        |mode| told(&answer.modes[mode]),
    );
    canvas.text(
        [rect.x, rect.y - 18],
        Anchor::Left,
        20.0,
        INK,
        &Canvas::fit(20.0, &typeset(&text), rect.w),
    )?;
    if let Some(mode) = found {
        let moved = moved(answer, mode, amplitude_m(side.board)?);
        let (view, drawn) = shape_view::oblique_panel(side.board, moved, rect)?;
        drawn.place(canvas);
        figure::scale_bar(canvas, &view)?;
    }
    canvas.frame(rect, LINE);
    Ok(())
}

/// A text in two lines of about the same length.
fn halves(text: &str) -> (&str, &str) {
    let middle = text.len() / 2;
    let cut = text.char_indices().filter(|(_, c)| *c == ' ').min_by_key(|(i, _)| i.abs_diff(middle));
    cut.map_or((text, ""), |(i, _)| (&text[..i], text[i..].trim_start()))
}

/// Largest displacement to draw, m.
fn amplitude_m(board: &Board) -> Result<f64, PictureError> {
    let [lo, hi] = figure::bounds(&board.outline)?;
    Ok(figure::handy_below(SEEN * (hi[0] - lo[0]).max(hi[1] - lo[1])))
}

fn moved(answer: &ModesAnswer, mode: usize, seen_m: f64) -> Moved<'_> {
    let upwards = upwards(answer, mode);
    Moved {
        shape: &answer.shape,
        by: placed(answer, mode, upwards * seen_m),
        ghost: None,
        copper: answer.copper.clone(),
    }
}

/// Sign that lifts the flap, or turns it to the positive side.
fn upwards(answer: &ModesAnswer, mode: usize) -> f64 {
    let facts = &answer.modes[mode];
    let turn =
        if facts.swing_rad.abs() >= 0.1 * facts.roll_rad.abs() { facts.swing_rad } else { facts.roll_rad };
    if turn < 0.0 { -1.0 } else { 1.0 }
}

/// Displacement of every node at one end of the motion, the loaded state's included, m.
fn placed(answer: &ModesAnswer, mode: usize, seen_m: f64) -> Vec<[f64; 3]> {
    let factor = seen_m / answer.modes[mode].largest_m.max(f64::MIN_POSITIVE);
    let pairs = answer.shape.loaded.iter().zip(&answer.shapes[mode]);
    pairs.map(|(state, x)| [0, 1, 2].map(|k| state[k] + factor * x[k])).collect()
}
