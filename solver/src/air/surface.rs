//! Added mass of a board's moving parts, triangle by triangle.
//!
//! In: board, mesh, what cannot move. Out: mass of air per area for motion normal to each triangle. Flap and arms are
//! plates of their own: each takes the rectangle with its area's second moments, and its air is spread so that heave
//! and both turns of that rectangle come out. Air that passes from one part to another is left out, and so are walls
//! near by; both matter less than the bracket printed with the result.

use super::Medium;
use super::plate::Plate;
use crate::model::triangles_in;
use copperbend_mesh::board::Board;
use copperbend_mesh::region::Point;
use copperbend_mesh::triangulate::{BoardMesh, FlatMesh, Role};
use nalgebra::{Matrix2, SymmetricEigen, Vector2};

/// A part of the board as a plate in air.
#[derive(Debug, Clone, PartialEq)]
pub struct PlateInAir {
    /// "flap", the arm's name, or "board".
    pub name: String,
    /// The rectangle with its area's second moments.
    pub plate: Plate,
    /// Added mass moving as a whole, kg.
    pub mass_kg: f64,
}

/// Air on a board.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct SurfaceAir {
    /// Added mass per area of each triangle, kg/m2.
    pub per_area_kg_m2: Vec<f64>,
    /// The plates it was made of.
    pub plates: Vec<PlateInAir>,
}

/// Air around every part that can move.
///
/// `still`: triangles that cannot.
#[must_use]
pub fn around(board: &Board, mesh: &BoardMesh, still: &[bool], medium: &Medium) -> SurfaceAir {
    let n = mesh.flat.triangles.len();
    let moves = |t: &usize| !still.get(*t).copied().unwrap_or(false);
    let mut free: Vec<bool> = (0..n).map(|t| moves(&t)).collect();
    let mut parts: Vec<(String, Vec<usize>)> = Vec::new();
    let mut take = |name: &str, triangles: Vec<usize>| {
        let own: Vec<usize> = triangles.into_iter().filter(|&t| std::mem::take(&mut free[t])).collect();
        if !own.is_empty() {
            parts.push((name.to_owned(), own));
        }
    };
    if board.flap.is_some() {
        take("flap", triangles_in(mesh, Role::Flap));
    }
    for (arm, number) in board.arms.iter().zip(0_u32..) {
        take(&arm.name, triangles_in(mesh, Role::Arm(number)));
    }
    if parts.is_empty() {
        parts.push(("board".to_owned(), (0..n).filter(moves).collect()));
        free.fill(false);
    }
    let mut air = SurfaceAir { per_area_kg_m2: vec![0.0; n], plates: Vec::new() };
    let mut total = [0.0; 2];
    for (name, triangles) in parts {
        let Some(plate) = fill(&mesh.flat, &triangles, medium, &mut air.per_area_kg_m2) else { continue };
        let mass_kg = plate.added(medium).mass_kg;
        total[0] += mass_kg;
        total[1] += triangles.iter().map(|&t| mesh.flat.area_m2(t)).sum::<f64>();
        air.plates.push(PlateInAir { name, plate, mass_kg });
    }
    // Fillets and the like between the parts: as much as the mean.
    for t in (0..n).filter(|&t| free[t] && total[1] > 0.0) {
        air.per_area_kg_m2[t] = total[0] / total[1];
    }
    air
}

/// Spreads the air of one plate over its triangles; None if they span no plate.
fn fill(flat: &FlatMesh, triangles: &[usize], medium: &Medium, out: &mut [f64]) -> Option<Plate> {
    let (centre, axes, [half_long, half_short]) = rectangle(flat, triangles)?;
    let plate = Plate::new(2.0 * half_long, 2.0 * half_short);
    let weight = |t: usize| {
        let off = Vector2::from(middle(flat, t)) - centre;
        plate.density_shape(axes.column(0).dot(&off) / half_long, axes.column(1).dot(&off) / half_short)
    };
    let weights: Vec<f64> = triangles.iter().map(|&t| weight(t)).collect();
    let sum: f64 = triangles.iter().zip(&weights).map(|(&t, w)| w * flat.area_m2(t)).sum();
    // A part that fills its rectangle badly has the less air.
    let area: f64 = triangles.iter().map(|&t| flat.area_m2(t)).sum();
    let share = (area / (4.0 * half_long * half_short)).min(1.0);
    let mass = plate.added(medium).mass_kg * share;
    if sum.is_nan() || sum <= 0.0 {
        return None;
    }
    for (&t, w) in triangles.iter().zip(weights) {
        out[t] = mass * w / sum;
    }
    Some(plate)
}

fn middle(flat: &FlatMesh, triangle: usize) -> Point {
    let p = flat.triangles[triangle].map(|n| flat.points_m[n as usize]);
    [0, 1].map(|k| (p[0][k] + p[1][k] + p[2][k]) / 3.0)
}

/// Centre, axes (long, short) and half sides of the rectangle with the second moments of some triangles.
fn rectangle(flat: &FlatMesh, triangles: &[usize]) -> Option<(Vector2<f64>, Matrix2<f64>, [f64; 2])> {
    let (mut area, mut first, mut second) = (0.0, Vector2::zeros(), Matrix2::zeros());
    for &t in triangles {
        let corners = flat.triangles[t].map(|n| Vector2::from(flat.points_m[n as usize]));
        let third = flat.area_m2(t) / 3.0;
        for (i, j) in [(0, 1), (1, 2), (2, 0)] {
            let p = (corners[i] + corners[j]) * 0.5;
            area += third;
            first += p * third;
            second += p * p.transpose() * third;
        }
    }
    if area <= 0.0 {
        return None;
    }
    let centre = first / area;
    let eigen = SymmetricEigen::new(second / area - centre * centre.transpose());
    let long = usize::from(eigen.eigenvalues[1] > eigen.eigenvalues[0]);
    let half = [long, 1 - long].map(|k| (3.0 * eigen.eigenvalues[k]).max(0.0).sqrt());
    let axes = Matrix2::from_columns(&[eigen.eigenvectors.column(long), eigen.eigenvectors.column(1 - long)]);
    (half[1] > 0.0).then_some((centre, axes, half))
}
