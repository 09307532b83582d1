//! Regular triangles on a rectangle, for verification problems.

use super::{FlatMesh, Zone};
use crate::region::Point;

/// How each cell of a regular grid is cut into triangles.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Diagonals {
    /// All along (+1, +1).
    #[default]
    Rising,
    /// All along (+1, -1).
    Falling,
    /// Alternating, so that every second node has eight triangles.
    UnionJack,
    /// Both: four triangles about a node in the middle of each cell.
    Crossed,
}

/// Regular triangles on the rectangle `from`-`to` with `cells[0]` by `cells[1]` cells, all in one zone.
///
/// Nodes are numbered row by row from the lower left, x first; those in the middle of cells follow.
#[must_use]
pub fn rectangle_grid(from: Point, to: Point, cells: [u32; 2], diagonals: Diagonals) -> FlatMesh {
    let [nx, ny] = cells.map(|n| n.max(1));
    let at = |i: f64, j: f64| {
        [from[0] + (to[0] - from[0]) * i / f64::from(nx), from[1] + (to[1] - from[1]) * j / f64::from(ny)]
    };
    let mut mesh = FlatMesh {
        zones: vec![Zone { inside: 0, layers: Vec::new() }],
        complete: true,
        ..FlatMesh::default()
    };
    for j in 0..=ny {
        mesh.points_m.extend((0..=nx).map(|i| at(f64::from(i), f64::from(j))));
    }
    let node = |i: u32, j: u32| j * (nx + 1) + i;
    let mut middle = (nx + 1) * (ny + 1);
    for j in 0..ny {
        for i in 0..nx {
            let [a, b, c, d] = [node(i, j), node(i + 1, j), node(i + 1, j + 1), node(i, j + 1)];
            let rising = match diagonals {
                Diagonals::Rising => true,
                Diagonals::Falling => false,
                Diagonals::UnionJack => (i + j) % 2 == 0,
                Diagonals::Crossed => {
                    mesh.points_m.push(at(f64::from(i) + 0.5, f64::from(j) + 0.5));
                    mesh.triangles.extend([[a, b, middle], [b, c, middle], [c, d, middle], [d, a, middle]]);
                    middle += 1;
                    continue;
                }
            };
            mesh.triangles.extend(if rising { [[a, b, c], [a, c, d]] } else { [[a, b, d], [b, c, d]] });
        }
    }
    mesh.zone_of = vec![0; mesh.triangles.len()];
    mesh.min_angle_rad = mesh.smallest_angle().0;
    mesh
}
