//! Zones and triangles: what the solver will see.
//!
//! Input: a board and its triangles. Output: a PNG. Zones of one stack share a pale colour; sides of triangles
//! fade where they would be closer than the pixels. Below: the arm's root and the smallest triangle, enlarged.

use super::canvas::{Anchor, Canvas, PictureError, Rect};
use super::colour::{INK, LINE, PAPER, Rgb, SOFT_INK, mix, zone_fill};
use super::figure;
use super::numbers::typeset;
use super::panel::{Panel, View};
use copperbend_mesh::board::{Board, LayerId};
use copperbend_mesh::region::Point;
use copperbend_mesh::triangulate::FlatMesh;

const PAGE_WIDTH: i32 = 1600;
const MARGIN: i32 = 40;
/// Stacks named in the legend.
const LEGEND: usize = 12;

/// Draws the zones and triangles of a board.
///
/// # Errors
/// There are no triangles, or the page cannot be drawn.
pub(crate) fn draw(board: &Board, mesh: &FlatMesh) -> Result<Vec<u8>, PictureError> {
    if mesh.triangles.is_empty() {
        return Err(PictureError("there are no triangles to draw".to_owned()));
    }
    let bounds = figure::bounds(&board.outline)?;
    let stacks = Stacks::of(mesh);
    let left = MARGIN + 58;
    let wide = PAGE_WIDTH - left - MARGIN;
    let aspect = (bounds[1][1] - bounds[0][1]) / (bounds[1][0] - bounds[0][0]).max(1e-12);
    let main_h = figure::px((f64::from(wide) * aspect).clamp(260.0, 860.0)) + 40;
    let legend_rows = i32::try_from(stacks.list.len().min(LEGEND)).unwrap_or(0);
    let (top, close_h) = (118, 460);
    let legend_y = top + main_h + 70;
    let close_y = legend_y + legend_rows * 26 + 44;
    let height = close_y + close_h + 40;
    let mut canvas = Canvas::new(figure::side(PAGE_WIDTH), figure::side(height), PAPER)?;
    let words = format!(
        "{}   {} triangles, {} nodes, smallest angle {:.1}\u{b0}{}",
        board.title,
        mesh.triangles.len(),
        mesh.points_m.len(),
        mesh.min_angle_rad.to_degrees(),
        if mesh.complete { "" } else { ", refinement stopped early" },
    );
    figure::heading(&mut canvas, MARGIN, PAGE_WIDTH - 2 * MARGIN, ["Zones and triangles", &words])?;

    let view = View::fit(Rect { x: left, y: top, w: wide, h: main_h }, bounds, 18);
    paint(board, mesh, &stacks, view).place(&mut canvas);
    figure::axes(&mut canvas, &view)?;
    figure::scale_bar(&mut canvas, &view)?;
    legend(&mut canvas, board, &stacks, legend_y)?;
    let gap = 24;
    let each = (PAGE_WIDTH - 2 * MARGIN - gap) / 2;
    for ((words, centre, span), i) in close_ups(board, mesh, bounds).into_iter().zip(0..) {
        let rect = Rect { x: MARGIN + i * (each + gap), y: close_y, w: each, h: close_h };
        let view = View { rect, centre_m: centre, px_per_m: f64::from(each) / span };
        paint(board, mesh, &stacks, view).place(&mut canvas);
        canvas.frame(rect, LINE);
        canvas.text([rect.x, close_y - 18], Anchor::Left, 20.0, INK, &words)?;
        figure::scale_bar(&mut canvas, &view)?;
    }
    canvas.png()
}

/// Distinct stacks with their area, largest first, and the stack of every zone.
struct Stacks {
    list: Vec<(Vec<LayerId>, f64)>,
    of_zone: Vec<usize>,
}

impl Stacks {
    fn of(mesh: &FlatMesh) -> Self {
        let mut area = vec![0.0; mesh.zones.len()];
        for (t, &zone) in mesh.zone_of.iter().enumerate() {
            area[zone as usize] += 0.5 * twice_area(corners(mesh, t));
        }
        let mut list: Vec<(Vec<LayerId>, f64)> = Vec::new();
        for (zone, &a) in mesh.zones.iter().zip(&area) {
            match list.iter_mut().find(|(layers, _)| *layers == zone.layers) {
                Some((_, sum)) => *sum += a,
                None => list.push((zone.layers.clone(), a)),
            }
        }
        list.sort_by(|a, b| b.1.total_cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
        let place = |layers: &Vec<LayerId>| list.iter().position(|(l, _)| l == layers).unwrap_or(0);
        let of_zone = mesh.zones.iter().map(|z| place(&z.layers)).collect();
        Self { list, of_zone }
    }
}

fn corners(mesh: &FlatMesh, triangle: usize) -> [Point; 3] {
    mesh.triangles[triangle].map(|n| mesh.points_m[n as usize])
}

fn twice_area([a, b, c]: [Point; 3]) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1])
}

fn paint(board: &Board, mesh: &FlatMesh, stacks: &Stacks, view: View) -> Panel {
    let mut panel = Panel::new(view, PAPER);
    let shapes: Vec<[Point; 3]> = (0..mesh.triangles.len()).map(|t| corners(mesh, t)).collect();
    // Height of each corner over the opposite side, page pixels: turns a weight into a distance.
    let heights: Vec<[f64; 3]> = shapes
        .iter()
        .map(|c| {
            [0, 1, 2].map(|i| {
                let (p, q) = (c[(i + 1) % 3], c[(i + 2) % 3]);
                twice_area(*c).abs() / (q[0] - p[0]).hypot(q[1] - p[1]).max(1e-300) * view.px_per_m
            })
        })
        .collect();
    let fills: Vec<Rgb> = stacks.of_zone.iter().map(|&s| zone_fill(s)).collect();
    let side = mix(INK, PAPER, 0.25);
    panel.triangles(&shapes, |t, weights| {
        let fill = fills[mesh.zone_of[t] as usize];
        let h = heights[t];
        let distance = (0..3).map(|i| weights[i] * h[i]).fold(f64::INFINITY, f64::min);
        let strength = ((h.iter().copied().fold(f64::INFINITY, f64::min) - 2.0) / 8.0).clamp(0.06, 0.75);
        Some(if distance < 0.55 { mix(fill, side, strength) } else { fill })
    });
    panel.outline(&board.outline, 1.4, INK);
    panel
}

fn legend(canvas: &mut Canvas, board: &Board, stacks: &Stacks, top: i32) -> Result<(), PictureError> {
    for (i, (layers, area)) in stacks.list.iter().take(LEGEND).enumerate() {
        let (row, x) = (i32::try_from(i).unwrap_or(0), MARGIN);
        let y = top + row * 26;
        let patch = Rect { x, y: y - 9, w: 26, h: 18 };
        canvas.fill(patch, zone_fill(i));
        canvas.frame(patch, LINE);
        let names: Vec<&str> = layers
            .iter()
            .map(|l| board.layers.get(l.0 as usize).map_or("?", |layer| layer.name.as_str()))
            .collect();
        let stack = if names.is_empty() { "no layer".to_owned() } else { names.join(" + ") };
        let text = format!("{:.2} mm\u{b2}, from below: {stack}", area * 1e6);
        canvas.text(
            [x + 36, y],
            Anchor::Left,
            18.0,
            SOFT_INK,
            &Canvas::fit(18.0, &text, PAGE_WIDTH - 2 * MARGIN - 40),
        )?;
    }
    Ok(())
}

/// Two places worth a closer look: the root of the first arm and the smallest triangle.
fn close_ups(board: &Board, mesh: &FlatMesh, [lo, hi]: [Point; 2]) -> Vec<(String, Point, f64)> {
    let size = (hi[0] - lo[0]).max(hi[1] - lo[1]);
    let mut out = Vec::new();
    if let Some(arm) = board.arms.first() {
        let words = format!("root of arm '{}'", arm.name);
        out.push((words, arm.root_m, (2.4 * arm.width_m).clamp(0.01 * size, size)));
    }
    let smallest = (0..mesh.triangles.len())
        .min_by(|&a, &b| twice_area(corners(mesh, a)).total_cmp(&twice_area(corners(mesh, b))));
    if let Some(t) = smallest {
        let c = corners(mesh, t);
        let centre = [0, 1].map(|k| (c[0][k] + c[1][k] + c[2][k]) / 3.0);
        let side = (0..3).map(|i| (c[i][0] - c[(i + 1) % 3][0]).hypot(c[i][1] - c[(i + 1) % 3][1]));
        let side = side.fold(0.0, f64::max);
        let words = format!(
            "smallest triangle, longest side {:.1} \u{b5}m, at x {:.3} mm, y {:.3} mm",
            side * 1e6,
            centre[0] * 1e3,
            centre[1] * 1e3
        );
        out.push((typeset(&words), centre, (30.0 * side).min(size)));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::sample;

    #[test]
    fn every_stack_is_drawn_and_listed() {
        let (board, mesh) = (sample::board(), sample::mesh());
        let stacks = Stacks::of(&mesh);
        assert_eq!(stacks.list.len(), 2, "bare film and film with copper");
        assert!(stacks.list[0].1 > stacks.list[1].1, "the larger stack comes first");
        let area: f64 = stacks.list.iter().map(|s| s.1).sum();
        assert!((area / board.outline.area_m2() - 1.0).abs() < 0.02, "area {area}");
        let bytes = draw(&board, &mesh).expect("a picture");
        sample::keep("mesh.png", &bytes);
        let (w, _, rgb) = sample::pixels(&bytes);
        assert_eq!(w, 1600, "page width");
        for stack in 0..2 {
            let n = rgb.iter().filter(|&&c| c == zone_fill(stack)).count();
            assert!(n > 3000, "stack {stack}: {n} pixels");
        }
    }

    #[test]
    fn no_triangles_is_an_error() {
        assert!(draw(&sample::board(), &FlatMesh::default()).is_err(), "nothing to draw");
    }
}
