//! Magnets in the views of the bent board: where they stand, what hides what, their names.
//!
//! Input: magnets of the board. Output: solid bodies behind the board, glass before it. Absent: the board itself.

use super::super::canvas::{Anchor, Canvas, PictureError, Rect};
use super::super::colour::{INK, LINE, PAPER, Rgb, mix};
use super::super::figure;
use super::super::panel::{Panel, View};
use super::{Projection, Scene, dot};
use copperbend_mesh::board::{Magnet, MagnetShape};
use copperbend_mesh::region::{Point, Region};
use rayon::prelude::*;

pub(in super::super) const MAGNET: Rgb = [168, 176, 190];
/// Height of a name's letters and of its line, pixels.
const LETTERS: f64 = 17.0;
const LINE_HEIGHT: f64 = 22.0;

impl Scene {
    pub(super) fn magnets(&self, panel: &mut Panel, projection: &Projection) {
        for (_, points) in &self.magnets {
            magnet(panel, projection, points, false);
        }
    }

    /// Whether a magnet stands between the eye and the board: nearer than those nodes that lie behind its outline.
    pub(super) fn covers(&self, projection: &Projection, points: &[[f64; 3]]) -> bool {
        let outline = hull(points.iter().map(|p| projection.flat(*p)).collect());
        let behind: Vec<f64> = self
            .bent
            .par_iter()
            .filter(|p| inside(&outline, projection.flat(**p)))
            .map(|p| dot(projection.eye, *p))
            .collect();
        let mean = |all: &mut dyn Iterator<Item = f64>, count: usize| all.sum::<f64>() / count.max(1) as f64;
        let own = mean(&mut points.iter().map(|p| dot(projection.eye, *p)), points.len());
        !behind.is_empty() && mean(&mut behind.iter().copied(), behind.len()) < own
    }

    /// Writes each magnet's name on it, where it has room: magnets one behind the other share a line.
    pub(super) fn name_magnets(
        &self,
        canvas: &mut Canvas,
        view: &View,
        projection: &Projection,
    ) -> Result<(), PictureError> {
        let mut named: Vec<([[f64; 2]; 2], String)> = Vec::new();
        for (name, points) in &self.magnets {
            let on_page: Vec<Point> = points.iter().map(|p| view.page(projection.flat(*p))).collect();
            let span = [0, 1].map(|k| extent(on_page.iter().map(|p| p[k])));
            let same = |of: &[[f64; 2]; 2]| {
                of.iter().flatten().zip(span.iter().flatten()).all(|(a, b)| (a - b).abs() < 2.0)
            };
            match named.iter_mut().find(|(of, _)| same(of)) {
                Some((_, names)) => *names = format!("{names}, {name}"),
                None => named.push((span, name.clone())),
            }
        }
        let mut lines: Vec<Rect> = Vec::new();
        for ([x, y], names) in named {
            let width = Canvas::text_width(LETTERS, &names);
            if figure::px(x[1] - x[0]) - 8 <= width || y[1] - y[0] <= LINE_HEIGHT {
                continue;
            }
            // The board usually crosses the middle of a tall magnet.
            let down = if y[1] - y[0] > 4.0 * LINE_HEIGHT { y[0] + LINE_HEIGHT } else { 0.5 * (y[0] + y[1]) };
            let line = figure::px(LINE_HEIGHT);
            let mut at = [figure::px(0.5 * (x[0] + x[1])), figure::px(down)];
            let hits = |at: [i32; 2], of: &Rect| {
                (at[0] - of.x).abs() < (width + of.w) / 2 + 6 && (at[1] - of.y).abs() < line
            };
            while lines.iter().any(|of| hits(at, of)) {
                at[1] += line;
            }
            if f64::from(at[1]) + 0.5 * LINE_HEIGHT < y[1] + 1.0 {
                canvas.text(at, Anchor::Centre, LETTERS, INK, &names)?;
                lines.push(Rect { x: at[0], y: at[1], w: width, h: line });
            }
        }
        Ok(())
    }

    /// Names on the faces nearest to the eye of those magnets that the board does not hide.
    pub(super) fn name_faces(
        &self,
        canvas: &mut Canvas,
        view: &View,
        projection: &Projection,
    ) -> Result<(), PictureError> {
        for (name, points) in &self.magnets {
            let [_, near] = rims(projection, points);
            let on_page: Vec<Point> = near.iter().map(|p| view.page(projection.flat(*p))).collect();
            let [x, y] = [0, 1].map(|k| extent(on_page.iter().map(|p| p[k])));
            let middle = [0.5 * (x[0] + x[1]), 0.5 * (y[0] + y[1])];
            let hidden = self.bent.iter().any(|p| {
                let q = view.page(projection.flat(*p));
                (q[0] - middle[0]).abs() < 40.0 && (q[1] - middle[1]).abs() < 14.0
            });
            let room = figure::px(x[1] - x[0]) - 12 > Canvas::text_width(LETTERS, name) && y[1] - y[0] > 26.0;
            if room && (!hidden || self.covers(projection, points)) {
                canvas.text(middle.map(figure::px), Anchor::Centre, LETTERS, INK, name)?;
            }
        }
        Ok(())
    }
}

/// Far and near rim of a magnet's points, as seen from the eye: they alternate in the list.
fn rims(projection: &Projection, points: &[[f64; 3]]) -> [Vec<[f64; 3]>; 2] {
    let [one, other] = [0, 1].map(|k| points.iter().skip(k).step_by(2).copied().collect::<Vec<_>>());
    let nearness = |rim: &[[f64; 3]]| rim.iter().map(|p| dot(projection.eye, *p)).sum::<f64>();
    if nearness(&other) > nearness(&one) { [one, other] } else { [other, one] }
}

/// Draws one magnet, solid or as glass.
pub(super) fn magnet(panel: &mut Panel, projection: &Projection, points: &[[f64; 3]], glass: bool) {
    let outline = hull(points.iter().map(|p| projection.flat(*p)).collect());
    let region = Region { contours: vec![outline] };
    let tone = mix(MAGNET, PAPER, 0.35);
    if glass {
        panel.veil(&region, tone, 0.45);
    } else {
        panel.fill(&region, tone);
    }
    panel.outline(&region, 1.0, LINE);
    let [far, near] = rims(projection, points);
    // A block shows its foremost edge too; a round magnet has none.
    let foremost = (0..near.len()).max_by(|&a, &b| {
        let [a, b] = [a, b].map(|k| dot(projection.eye, near[k]) + dot(projection.eye, far[k]));
        a.total_cmp(&b)
    });
    if let Some(k) = foremost.filter(|_| near.len() == 4) {
        panel.line([near[k], far[k]].map(|p| projection.flat(p)), 1.0, LINE);
    }
    let near = near.iter().map(|p| projection.flat(*p)).collect();
    panel.outline(&Region { contours: vec![near] }, 1.0, LINE);
}

/// Whether a convex, counter-clockwise polygon holds a point.
fn inside(polygon: &[Point], at: Point) -> bool {
    (0..polygon.len()).all(|i| {
        let (a, b) = (polygon[i], polygon[(i + 1) % polygon.len()]);
        (b[0] - a[0]) * (at[1] - a[1]) - (b[1] - a[1]) * (at[0] - a[0]) >= 0.0
    })
}

/// Least and largest of some numbers.
fn extent(values: impl Iterator<Item = f64>) -> [f64; 2] {
    values.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], v| [low.min(v), high.max(v)])
}

/// Points whose hull is the magnet's body, in board axes, m.
pub(in super::super) fn surface_points(magnet: &Magnet) -> Vec<[f64; 3]> {
    let (rim, height): (Vec<Point>, f64) = match magnet.shape {
        MagnetShape::Disc { diameter_m: d, height_m } | MagnetShape::Ring { outer_m: d, height_m, .. } => {
            let turn = |i: i32| (f64::from(i) * 7.5).to_radians();
            ((0..48).map(|i| [0.5 * d * turn(i).cos(), 0.5 * d * turn(i).sin()]).collect(), height_m)
        }
        MagnetShape::Block { sides_m: [a, b, c] } => {
            let (a, b) = (0.5 * a, 0.5 * b);
            (vec![[-a, -b], [a, -b], [a, b], [-a, b]], c)
        }
    };
    let own = rim.iter().flat_map(|p| [-0.5, 0.5].map(|s| [p[0], p[1], s * height]));
    own.map(|p| {
        let turned = magnet.rotation.map(|row| dot(row, p));
        [0, 1, 2].map(|k| magnet.centre_m[k] + turned[k])
    })
    .collect()
}

/// Convex hull, counter-clockwise (monotone chain).
pub(in super::super) fn hull(mut points: Vec<Point>) -> Vec<Point> {
    points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    points.dedup();
    let turn = |o: Point, a: Point, b: Point| (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0]);
    let half = |run: &mut dyn Iterator<Item = Point>| {
        let mut chain: Vec<Point> = Vec::new();
        for p in run {
            while chain.len() > 1 && turn(chain[chain.len() - 2], chain[chain.len() - 1], p) <= 0.0 {
                chain.pop();
            }
            chain.push(p);
        }
        chain.pop();
        chain
    };
    let mut out = half(&mut points.iter().copied());
    out.extend(half(&mut points.iter().rev().copied()));
    out
}

#[cfg(test)]
mod tests {
    use super::super::{Moved, draw};
    use super::*;
    use crate::output::sample;

    #[test]
    fn hull_of_a_square_with_inner_points_is_the_square() {
        let hull = hull(vec![[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0], [0.5, 0.5], [0.5, 0.0]]);
        assert_eq!(hull.len(), 4, "{hull:?}");
    }

    #[test]
    fn magnets_before_the_board_let_it_show_through() {
        let (mut board, answer) = (sample::board(), sample::answer());
        let [lo, hi] = figure::bounds(&board.outline).expect("a board with a size");
        // Two walls along the board, the second between it and the eye.
        board.magnets = [("far wall", hi[1] + 6e-3), ("near wall", lo[1] - 6e-3)]
            .map(|(name, y_m)| Magnet {
                name: name.to_owned(),
                shape: MagnetShape::Block { sides_m: [hi[0] - lo[0], 4e-3, 40e-3] },
                polarisation_t: [0.0, 0.0, 1.3],
                centre_m: [0.5 * (lo[0] + hi[0]), y_m, 0.0],
                rotation: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
                back_plate: None,
                remanence_note: String::new(),
            })
            .into();
        sample::keep("shape-walls.png", &draw(&board, &answer, "").expect("a picture"));
        let mut copper = vec![false; answer.shape.triangles.len()];
        answer.maps.iter().flat_map(|m| &m.triangles).for_each(|&t| copper[t as usize] = true);
        let by = answer.shape.loaded.iter().map(|d| [d[0], d[1], d[2]]).collect();
        let moved = Moved { shape: &answer.shape, by, ghost: None, copper };
        let mut scene = Scene::of(&board, moved).expect("a scene");
        let projection = Projection::oblique(scene.along);
        let covering: Vec<bool> = scene.magnets.iter().map(|m| scene.covers(&projection, &m.1)).collect();
        assert_eq!(covering, [false, true], "far wall, near wall");
        let rect = Rect { x: 0, y: 0, w: 900, h: 900 };
        let view = View::fit(rect, scene.box_of(&projection), 10);
        let warmth = |scene: &Scene| -> Vec<i32> {
            let mut page = Canvas::new(900, 900, PAPER).expect("a page");
            scene.oblique(&view).place(&mut page);
            let (_, _, rgb) = sample::pixels(&page.png().expect("a picture"));
            rgb.iter().map(|c| i32::from(c[0]) - i32::from(c[2])).collect()
        };
        let walled = warmth(&scene);
        scene.magnets.clear();
        let bare = warmth(&scene);
        // Copper is warm, a wall bluish: behind glass copper stays on the warm side of grey, behind a solid wall it does
        // not.
        let copper: Vec<usize> = (0..bare.len()).filter(|&k| bare[k] > 24).collect();
        let left = copper.iter().filter(|&&k| walled[k] > 0).count();
        assert!(
            copper.len() > 200 && 10 * left > 9 * copper.len(),
            "{left} of {} pixels are left",
            copper.len()
        );
    }
}
