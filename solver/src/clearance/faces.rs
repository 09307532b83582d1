//! The surface of a moving board that is watched: both faces, and the walls where the board ends or its height steps.
//!
//! In: board, mesh, laminates. Out: triangles whose corners ride at heights over the nodes. A glued body stands on its
//! footprint: its height is not in the design, so it is taken to reach as far beyond its centre of mass as the board's
//! face lies before it.

use crate::lorentz::nodal::held_triangles;
use crate::model::BoardModel;
use copperbend_mesh::board::Board;
use copperbend_mesh::region::Point;
use copperbend_mesh::triangulate::BoardMesh;
use std::collections::BTreeMap;

/// A triangle of the surface: nodes of the mesh and heights over the reference plane along their directors, m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Face {
    pub(super) corners: [u32; 3],
    pub(super) heights_m: [f64; 3],
}

/// Lower and upper height of a triangle, m.
type Span = [f64; 2];

/// Everything that moves: faces, then walls.
pub(super) fn faces(board: &Board, mesh: &BoardMesh, own: &BoardModel) -> Vec<Face> {
    let held = held_triangles(board, mesh);
    let spans: Vec<Span> = (0..mesh.flat.triangles.len()).map(|t| span(board, mesh, own, t)).collect();
    surface(&mesh.flat.triangles, &spans, &held)
}

/// Plies of a triangle, and the body that stands on it.
fn span(board: &Board, mesh: &BoardMesh, own: &BoardModel, triangle: usize) -> Span {
    let plies = &own.model.laminates[own.model.laminate_of[triangle] as usize].plies;
    let low = plies.iter().map(|p| p.z0_m).fold(f64::INFINITY, f64::min);
    let high = plies.iter().map(|p| p.z1_m).fold(f64::NEG_INFINITY, f64::max);
    let [mut low, mut high] = if low <= high { [low, high] } else { [0.0, 0.0] };
    let middle = middle(mesh, triangle);
    for body in board.bodies.iter().filter(|body| body.region.contains(middle)) {
        let centre = body.centre_z_m - own.reference_z_m;
        if centre > high {
            high = 2.0 * centre - high;
        } else if centre < low {
            low = 2.0 * centre - low;
        }
    }
    [low, high]
}

fn middle(mesh: &BoardMesh, triangle: usize) -> Point {
    let corners = mesh.flat.triangles[triangle].map(|n| mesh.flat.points_m[n as usize]);
    [0, 1].map(|i| (corners[0][i] + corners[1][i] + corners[2][i]) / 3.0)
}

/// Faces of the triangles that move, and walls along the edges where they end or step.
fn surface(triangles: &[[u32; 3]], spans: &[Span], held: &[bool]) -> Vec<Face> {
    let moves = |t: usize| !held.get(t).copied().unwrap_or(false);
    let mut out: Vec<Face> = (0..triangles.len())
        .filter(|&t| moves(t))
        .flat_map(|t| spans[t].map(|height| Face { corners: triangles[t], heights_m: [height; 3] }))
        .collect();
    let mut beside: BTreeMap<[u32; 2], Vec<usize>> = BTreeMap::new();
    for (t, &[a, b, c]) in triangles.iter().enumerate() {
        for [p, q] in [[a, b], [b, c], [c, a]] {
            beside.entry([p.min(q), p.max(q)]).or_default().push(t);
        }
    }
    for (edge, beside) in beside {
        match beside[..] {
            [t] if moves(t) => wall(edge, spans[t], &mut out),
            [s, t] if moves(s) && moves(t) => {
                for (one, other) in spans[s].into_iter().zip(spans[t]) {
                    wall(edge, [one, other], &mut out);
                }
            }
            _ => {}
        }
    }
    out
}

/// Two triangles that stand on an edge; none where there is no height between.
fn wall([a, b]: [u32; 2], [low, high]: Span, out: &mut Vec<Face>) {
    if (high - low).abs() > 0.0 {
        out.push(Face { corners: [a, b, b], heights_m: [low, low, high] });
        out.push(Face { corners: [a, b, a], heights_m: [low, high, high] });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_triangles_of_unlike_height_have_walls_all_around_and_a_step_between() {
        let triangles = [[0, 1, 2], [0, 2, 3]];
        let all = surface(&triangles, &[[0.0, 1.0], [-0.5, 1.0]], &[false, false]);
        // Four faces; four outer edges and the lower step between, two triangles each.
        assert_eq!(all.len(), 4 + 8 + 2, "{all:?}");
        let step: Vec<&Face> = all.iter().filter(|f| f.corners.iter().all(|c| [0, 2].contains(c))).collect();
        assert_eq!(step.len(), 2, "the step lies on the common edge: {step:?}");
        assert!(step.iter().all(|f| f.heights_m.iter().all(|h| *h <= 0.0)), "below only: {step:?}");
        let clamped = surface(&triangles, &[[0.0, 1.0], [-0.5, 1.0]], &[false, true]);
        assert_eq!(clamped.len(), 2 + 4, "a held triangle has neither faces nor walls: {clamped:?}");
    }
}
