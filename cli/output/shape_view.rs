//! The bent board at true scale: from the side, and obliquely from above.
//!
//! Input: displacements, words. Output: a PNG. Nothing is magnified; the outline at rest is drawn as a thin line.
//! Magnets are drawn where they stand, so that the gap can be judged. A second position may show through, pale.

use super::canvas::{Anchor, Canvas, PictureError, Rect};
use super::colour::{FILM, INK, LINE, PAPER, Rgb, SOFT_INK, mix};
use super::figure;
use super::panel::{Panel, View};
use copperbend_mesh::board::{Board, Magnet};
use copperbend_mesh::region::Point;
use copperbend_solver::result::{BendAnswer, Shape};
use copperbend_solver::summary::stack_at;
use rayon::prelude::*;
use std::collections::BTreeMap;

mod magnets;

use magnets::magnet;
pub(super) use magnets::{MAGNET, hull, surface_points};

const PAGE_WIDTH: i32 = 1600;
const MARGIN: i32 = 40;
const COPPER: Rgb = [205, 150, 105];
const BENT: Rgb = [44, 74, 110];

/// What stands around the two views.
#[derive(Debug, Clone, Copy)]
pub(super) struct Words<'a> {
    pub(super) title: &'a str,
    /// Line under the title.
    pub(super) figures: &'a str,
    pub(super) foot: &'a str,
}

/// A board somewhere else than at rest.
#[derive(Debug, Clone)]
pub(super) struct Moved<'a> {
    pub(super) shape: &'a Shape,
    /// Displacement of every node, m.
    pub(super) by: Vec<[f64; 3]>,
    /// A second position, drawn pale behind the first.
    pub(super) ghost: Option<Vec<[f64; 3]>>,
    /// Triangles that carry copper.
    pub(super) copper: Vec<bool>,
}

/// Draws the bent shape of one answer. `words`: figures for the line under the title.
///
/// # Errors
/// The page cannot be drawn.
pub(crate) fn draw(board: &Board, answer: &BendAnswer, words: &str) -> Result<Vec<u8>, PictureError> {
    let mut copper = vec![false; answer.shape.triangles.len()];
    for t in answer.maps.iter().flat_map(|m| &m.triangles) {
        copper[*t as usize] = true;
    }
    let by = answer.shape.loaded.iter().map(|d| [d[0], d[1], d[2]]).collect();
    let moved = Moved { shape: &answer.shape, by, ghost: None, copper };
    let figures = [board.title.as_str(), words].join("   ");
    let words = Words {
        title: "Bent shape, true scale",
        figures: figures.trim(),
        foot: "Thin line: the board at rest. Loaded shape with the unloaded shape's own bend included.",
    };
    page(board, moved, &words)
}

/// Draws a moved board from the side and obliquely from above.
///
/// # Errors
/// The page cannot be drawn.
pub(super) fn page(board: &Board, moved: Moved<'_>, words: &Words<'_>) -> Result<Vec<u8>, PictureError> {
    let scene = Scene::of(board, moved)?;
    let left = MARGIN + 58;
    let wide = PAGE_WIDTH - left - MARGIN;
    let (top, gap) = (150, 130);
    let side_box = scene.box_of(&Projection::side(scene.along));
    let oblique_box = scene.box_of(&Projection::oblique(scene.along));
    let side_h = height_for(side_box, wide - 60, [240.0, 640.0]) + 60;
    let oblique_h = height_for(oblique_box, wide - 60, [300.0, 820.0]) + 60;
    let height = top + side_h + gap + oblique_h + 60;
    let mut canvas = Canvas::new(figure::side(PAGE_WIDTH), figure::side(height), PAPER)?;

    figure::heading(&mut canvas, MARGIN, PAGE_WIDTH - 2 * MARGIN, [words.title, words.figures])?;
    canvas.text([left, top - 18], Anchor::Left, 20.0, INK, "from the side, along the hinge line")?;
    let view = View::fit(Rect { x: left, y: top, w: wide, h: side_h }, side_box, 26);
    let second = top + side_h + gap;
    let below = View::fit(Rect { x: left, y: second, w: wide, h: oblique_h }, oblique_box, 26);
    let (side, oblique) = rayon::join(|| scene.side(&view), || scene.oblique(&below));
    side.place(&mut canvas);
    scene.name_magnets(&mut canvas, &view, &Projection::side(scene.along))?;
    figure::axes_named(&mut canvas, &view, ["along the arm, mm", "z, mm"])?;
    figure::scale_bar(&mut canvas, &view)?;

    canvas.text([left, second - 18], Anchor::Left, 20.0, INK, "obliquely from above")?;
    let view = below;
    oblique.place(&mut canvas);
    scene.name_faces(&mut canvas, &view, &Projection::oblique(scene.along))?;
    canvas.frame(view.rect, LINE);
    figure::scale_bar(&mut canvas, &view)?;
    canvas.text([MARGIN, height - 24], Anchor::Left, 16.0, SOFT_INK, words.foot)?;
    canvas.png()
}

/// The oblique view alone, to stand beside others: its box on the page and the panel.
///
/// # Errors
/// The board has no size.
pub(super) fn oblique_panel(
    board: &Board,
    moved: Moved<'_>,
    rect: Rect,
) -> Result<(View, Panel), PictureError> {
    let scene = Scene::of(board, moved)?;
    let view = View::fit(rect, scene.box_of(&Projection::oblique(scene.along)), 20);
    let panel = scene.oblique(&view);
    Ok((view, panel))
}

/// Height of a panel that shows a box at a width, within limits, pixels.
fn height_for([lo, hi]: [Point; 2], width: i32, limits: [f64; 2]) -> i32 {
    let aspect = (hi[1] - lo[1]) / (hi[0] - lo[0]).max(1e-12);
    figure::px((f64::from(width) * aspect).clamp(limits[0], limits[1]))
}

/// A parallel view of space: page right, page up, and towards the eye.
#[derive(Debug, Clone, Copy)]
struct Projection {
    right: [f64; 3],
    up: [f64; 3],
    eye: [f64; 3],
}

impl Projection {
    /// Along the hinge line: arm direction to the right, z up.
    fn side(along: Point) -> Self {
        Self { right: [along[0], along[1], 0.0], up: [0.0, 0.0, 1.0], eye: [along[1], -along[0], 0.0] }
    }

    /// From above and aside: the arm runs to the right and away.
    fn oblique(along: Point) -> Self {
        let (turn, lift) = (35f64.to_radians(), 28f64.to_radians());
        let (ct, st) = (turn.cos(), turn.sin());
        let right = [along[0] * ct + along[1] * st, along[1] * ct - along[0] * st, 0.0];
        // The horizontal direction towards the eye is a quarter turn clockwise from `right`.
        let towards = [right[1], -right[0], 0.0];
        let (cl, sl) = (lift.cos(), lift.sin());
        Self {
            right,
            up: [-towards[0] * sl, -towards[1] * sl, cl],
            eye: [towards[0] * cl, towards[1] * cl, sl],
        }
    }

    fn flat(&self, p: [f64; 3]) -> Point {
        [dot(self.right, p), dot(self.up, p)]
    }
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

fn minus(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

/// Everything that is drawn, in space, with the hinge line through the origin.
struct Scene {
    along: Point,
    bent: Vec<[f64; 3]>,
    ghost: Option<Vec<[f64; 3]>>,
    triangles: Vec<[u32; 3]>,
    copper: Vec<bool>,
    rim: Vec<[u32; 2]>,
    rest: Vec<Vec<[f64; 3]>>,
    magnets: Vec<(String, Vec<[f64; 3]>)>,
    /// Lower and upper face of the stack above the base film's lower face, per triangle, m.
    faces_m: Vec<[f64; 2]>,
}

impl Scene {
    fn of(board: &Board, moved: Moved<'_>) -> Result<Self, PictureError> {
        let shape = moved.shape;
        let bounds = figure::bounds(&board.outline)?;
        let (hinge, along) = hinge(board, bounds);
        let shift = |p: [f64; 3]| [p[0] - hinge[0], p[1] - hinge[1], p[2]];
        let placed = |by: &[[f64; 3]]| {
            let all = shape.points_m.iter().zip(by);
            all.map(|(p, d)| shift([p[0] + d[0], p[1] + d[1], d[2]])).collect()
        };
        let bent = placed(&moved.by);
        let ghost = moved.ghost.as_deref().map(placed);
        let rest = board.outline.contours.iter();
        let rest = rest.map(|c| c.iter().map(|p| shift([p[0], p[1], 0.0])).collect()).collect();
        let size = (bounds[1][0] - bounds[0][0]).max(bounds[1][1] - bounds[0][1]);
        let middle = [0, 1].map(|k| 0.5 * (bounds[0][k] + bounds[1][k]));
        let near = |m: &&Magnet| {
            let d = [m.centre_m[0] - middle[0], m.centre_m[1] - middle[1], m.centre_m[2]];
            dot(d, d).sqrt() < 1.5 * size
        };
        let magnets = board.magnets.iter().filter(near);
        Ok(Self {
            along,
            bent,
            ghost,
            copper: moved.copper,
            rim: rim(&shape.triangles),
            rest,
            magnets: magnets
                .map(|m| (m.name.clone(), surface_points(m).into_iter().map(shift).collect()))
                .collect(),
            faces_m: faces(board, shape),
            triangles: shape.triangles.clone(),
        })
    }

    fn box_of(&self, projection: &Projection) -> [Point; 2] {
        let mut lo = [f64::INFINITY; 2];
        let mut hi = [f64::NEG_INFINITY; 2];
        let rest = self.rest.iter().flatten();
        let magnets = self.magnets.iter().flat_map(|m| &m.1);
        for p in self.bent.iter().chain(self.ghost.iter().flatten()).chain(rest).chain(magnets) {
            let q = projection.flat(*p);
            for k in 0..2 {
                if q[k].is_finite() {
                    lo[k] = lo[k].min(q[k]);
                    hi[k] = hi[k].max(q[k]);
                }
            }
        }
        if lo[0] <= hi[0] && lo[1] <= hi[1] { [lo, hi] } else { [[0.0; 2], [1e-3; 2]] }
    }

    fn rest_lines(&self, panel: &mut Panel, projection: &Projection) {
        for contour in &self.rest {
            for i in 0..contour.len() {
                let ends = [contour[i], contour[(i + 1) % contour.len()]].map(|p| projection.flat(p));
                panel.line(ends, 1.0, SOFT_INK);
            }
        }
    }

    fn side(&self, view: &View) -> Panel {
        let projection = Projection::side(self.along);
        let mut panel = Panel::new(*view, PAPER);
        self.magnets(&mut panel, &projection);
        self.rest_lines(&mut panel, &projection);
        let ghost = self.ghost.as_ref().map(|ghost| (ghost, mix(BENT, PAPER, 0.62)));
        for (points, tone) in ghost.into_iter().chain([(&self.bent, BENT)]) {
            let slabs: Vec<[Point; 6]> = (0..self.triangles.len())
                .into_par_iter()
                .map(|t| self.slab(points, t).map(|p| projection.flat(p)))
                .collect();
            panel.prisms(&slabs, tone);
            // A film of 25 um would vanish on a board of 50 mm: the rim is never thinner than a fine line.
            for edge in &self.rim {
                panel.line(edge.map(|n| projection.flat(points[n as usize])), 1.6, tone);
            }
        }
        panel
    }

    /// The six corners of a triangle's stack, lower and upper face.
    fn slab(&self, points: &[[f64; 3]], triangle: usize) -> [[f64; 3]; 6] {
        let [a, b, c] = self.triangles[triangle].map(|n| points[n as usize]);
        let n = cross(minus(b, a), minus(c, a));
        let size = dot(n, n).sqrt().max(1e-300);
        let at = |p: [f64; 3], z: f64| [0, 1, 2].map(|k| p[k] + n[k] / size * z);
        let [low, high] = self.faces_m[triangle];
        [at(a, low), at(b, low), at(c, low), at(a, high), at(b, high), at(c, high)]
    }

    fn oblique(&self, view: &View) -> Panel {
        let projection = Projection::oblique(self.along);
        let mut panel = Panel::new(*view, PAPER);
        let nearness = |points: &[[f64; 3]]| {
            points.iter().map(|p| dot(projection.eye, *p)).sum::<f64>() / points.len().max(1) as f64
        };
        let mut magnets: Vec<&[[f64; 3]]> = self.magnets.iter().map(|m| m.1.as_slice()).collect();
        magnets.sort_by(|a, b| nearness(a).total_cmp(&nearness(b)));
        let (before, behind): (Vec<_>, Vec<_>) =
            magnets.into_iter().partition(|points| self.covers(&projection, points));
        behind.into_iter().for_each(|points| magnet(&mut panel, &projection, points, false));
        self.rest_lines(&mut panel, &projection);
        let mut order: Vec<(f64, usize)> = (0..self.triangles.len())
            .into_par_iter()
            .map(|t| (self.corners(t).iter().map(|p| dot(projection.eye, *p)).sum::<f64>(), t))
            .collect();
        order.par_sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let corners: Vec<[Point; 3]> =
            order.par_iter().map(|&(_, t)| self.corners(t).map(|p| projection.flat(p))).collect();
        let tones: Vec<Rgb> = order.par_iter().map(|&(_, t)| self.tone(t)).collect();
        panel.triangles(&corners, |i, _| Some(tones[i]));
        for edge in &self.rim {
            panel.line(edge.map(|n| projection.flat(self.bent[n as usize])), 1.2, BENT);
        }
        // What stands before the board lets it show through.
        before.into_iter().for_each(|points| magnet(&mut panel, &projection, points, true));
        panel
    }

    fn corners(&self, triangle: usize) -> [[f64; 3]; 3] {
        self.triangles[triangle].map(|n| self.bent[n as usize])
    }

    /// Colour of a triangle under a light from the upper left of the page.
    fn tone(&self, triangle: usize) -> Rgb {
        let [a, b, c] = self.corners(triangle);
        let n = cross(minus(b, a), minus(c, a));
        let size = dot(n, n).sqrt().max(1e-300);
        let light = [-0.48, -0.36, 0.80];
        let lit = (dot(n, light) / size).abs().clamp(0.0, 1.0);
        let base = if self.copper[triangle] { COPPER } else { mix(FILM, BENT, 0.12) };
        mix(mix(base, INK, 0.55), mix(base, PAPER, 0.25), lit)
    }
}

/// A point of the hinge line and the mean arm direction; without arms, the long side of the board.
pub(super) fn hinge(board: &Board, [lo, hi]: [Point; 2]) -> (Point, Point) {
    let mut root = [0.0; 2];
    let mut along = [0.0; 2];
    for arm in &board.arms {
        let d = [arm.tip_m[0] - arm.root_m[0], arm.tip_m[1] - arm.root_m[1]];
        let length = d[0].hypot(d[1]).max(1e-300);
        for k in 0..2 {
            root[k] += arm.root_m[k] / board.arms.len() as f64;
            along[k] += d[k] / length;
        }
    }
    let length = along[0].hypot(along[1]);
    if length > 1e-6 {
        return (root, [along[0] / length, along[1] / length]);
    }
    if hi[0] - lo[0] >= hi[1] - lo[1] { ([0.0; 2], [1.0, 0.0]) } else { ([0.0; 2], [0.0, 1.0]) }
}

/// Lower and upper face of the stack for every triangle: one look per zone.
fn faces(board: &Board, shape: &Shape) -> Vec<[f64; 2]> {
    let mut of_zone: BTreeMap<u32, [f64; 2]> = BTreeMap::new();
    let look = |t: usize| {
        let p = shape.triangles[t].map(|n| shape.points_m[n as usize]);
        let middle = [0, 1].map(|k| (p[0][k] + p[1][k] + p[2][k]) / 3.0);
        let plies = stack_at(board, middle).map(|s| s.plies).unwrap_or_default();
        let low = plies.iter().map(|ply| ply.z_m[0]).fold(f64::INFINITY, f64::min);
        let high = plies.iter().map(|ply| ply.z_m[1]).fold(f64::NEG_INFINITY, f64::max);
        if low <= high { [low, high] } else { [0.0, shape.thickness_m.get(t).copied().unwrap_or(0.0)] }
    };
    shape.zone_of.iter().enumerate().map(|(t, &z)| *of_zone.entry(z).or_insert_with(|| look(t))).collect()
}

/// Edges that belong to one triangle only.
fn rim(triangles: &[[u32; 3]]) -> Vec<[u32; 2]> {
    let mut edges: Vec<[u32; 2]> = triangles
        .iter()
        .flat_map(|t| [[t[0], t[1]], [t[1], t[2]], [t[2], t[0]]])
        .map(|[a, b]| [a.min(b), a.max(b)])
        .collect();
    edges.par_sort_unstable();
    edges.chunk_by(|a, b| a == b).filter(|same| same.len() == 1).map(|same| same[0]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::sample;

    #[test]
    fn bent_board_is_drawn_at_true_scale_with_the_rest_outline() {
        let (board, answer) = (sample::board(), sample::answer());
        let bytes = draw(&board, &answer, "flap angle +14.2\u{b0}").expect("a picture");
        sample::keep("shape.png", &bytes);
        let (w, h, rgb) = sample::pixels(&bytes);
        assert_eq!(w, 1600, "page width");
        assert!((700..2200).contains(&h), "page height {h}");
        assert!(rgb.iter().filter(|&&c| c == BENT).count() > 1500, "the bent board is missing");
        assert!(rgb.iter().filter(|&&c| c == SOFT_INK).count() > 300, "the outline at rest is missing");
        assert_eq!(bytes, draw(&board, &answer, "flap angle +14.2\u{b0}").expect("a picture"), "repeats");
    }

    #[test]
    fn rim_of_two_triangles_is_their_outline() {
        assert_eq!(rim(&[[0, 1, 2], [0, 2, 3]]), vec![[0, 1], [0, 3], [1, 2], [2, 3]], "inner edge kept");
    }

    #[test]
    fn oblique_axes_are_a_right_handed_frame() {
        let p = Projection::oblique([1.0, 0.0]);
        let up = cross(p.eye, p.right);
        assert!((0..3).all(|k| (up[k] - p.up[k]).abs() < 1e-12), "{up:?} against {:?}", p.up);
        assert!((dot(p.eye, p.eye) - 1.0).abs() < 1e-12, "the eye direction has unit length");
    }
}
