//! Angles left too small at blunt corners: the refinement excuses every triangle whose short side spans two edges
//! that meet, however wide their angle. Away from sharp corners these are mended here.

use spade::{ConstrainedDelaunayTriangulation, Point2, PositionInTriangulation, Triangulation};

use super::shape::smallest_angle;
use crate::region::Point;

type Cdt = ConstrainedDelaunayTriangulation<Point2<f64>>;

/// Rounds of mending; each handles every bad triangle once.
const ROUNDS: u32 = 8;

/// Triangles closer to a sharp corner than this many of their sides are left alone.
const NEAR_SHARP: f64 = 12.0;

/// Adds points at the centres of the circles through bad triangles, or in the middle of edges in the way.
///
/// `sharp`: corners that excuse small angles, grid steps.
pub(super) fn polish(cdt: &mut Cdt, limit_rad: f64, sharp: &[Point]) {
    for _ in 0..ROUNDS {
        let bad: Vec<[Point2<f64>; 3]> = cdt
            .inner_faces()
            .map(|f| f.positions())
            .filter(|c| {
                let corners = c.map(|p| [p.x, p.y]);
                smallest_angle(corners) < limit_rad && !is_excused(corners, sharp)
            })
            .collect();
        if bad.is_empty() {
            return;
        }
        for corners in bad {
            mend(cdt, corners);
        }
    }
}

fn side(a: Point, b: Point) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

fn is_excused([a, b, c]: [Point; 3], sharp: &[Point]) -> bool {
    let reach = NEAR_SHARP * side(a, b).max(side(b, c)).max(side(c, a));
    sharp.iter().any(|&s| side(s, a) < reach)
}

/// One point for one bad triangle, unless an earlier one has changed the triangle.
fn mend(cdt: &mut Cdt, corners: [Point2<f64>; 3]) {
    let centre = Point2::new(
        (corners[0].x + corners[1].x + corners[2].x) / 3.0,
        (corners[0].y + corners[1].y + corners[2].y) / 3.0,
    );
    let PositionInTriangulation::OnFace(face) = cdt.locate(centre) else { return };
    let face = cdt.face(face);
    if !face.positions().iter().all(|p| corners.contains(p)) {
        return;
    }
    let target = face.circumcenter();
    // Walk from the triangle to the centre of its circle: a constraint edge in the way is split instead.
    let in_way = cdt
        .get_conflicting_edges_between_points(centre, target)
        .next()
        .map(|e| e.fix().as_undirected())
        .or_else(|| encroached(cdt, target));
    match in_way {
        None => {
            let _ = cdt.insert(target);
        }
        Some(edge) => {
            let edge = cdt.undirected_edge(edge);
            if !edge.is_constraint_edge() {
                return;
            }
            let [a, b] = edge.vertices().map(|v| v.fix());
            let [p, q] = edge.positions();
            let edge = edge.fix();
            cdt.remove_constraint_edge(edge);
            let middle = Point2::new((p.x + q.x) / 2.0, (p.y + q.y) / 2.0);
            match cdt.insert(middle) {
                Ok(m) => {
                    let _ = cdt.try_add_constraint(a, m);
                    let _ = cdt.try_add_constraint(m, b);
                }
                Err(_) => {
                    let _ = cdt.try_add_constraint(a, b);
                }
            }
        }
    }
}

/// A constraint edge of the triangle around `p` whose diametral circle holds `p`.
fn encroached(cdt: &Cdt, p: Point2<f64>) -> Option<spade::handles::FixedUndirectedEdgeHandle> {
    let PositionInTriangulation::OnFace(face) = cdt.locate(p) else { return None };
    let edges = cdt.face(face).adjacent_edges();
    edges
        .into_iter()
        .filter(|e| e.is_constraint_edge())
        .find(|e| {
            let [a, b] = e.positions();
            (a.x - p.x) * (b.x - p.x) + (a.y - p.y) * (b.y - p.y) < 0.0
        })
        .map(|e| e.as_undirected().fix())
}
