//! What makes a mesh unfit: the error that refuses one, and a report of angles, sizes and orientation.

use std::fmt;

use crate::region::Point;
use crate::triangulate::FlatMesh;
use crate::triangulate::shape::smallest_angle;

/// Why no mesh could be made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum MeshFault {
    /// The plan has no area, or a coordinate or size is unusable.
    Input,
    /// More regions than one mesh can tell apart.
    TooManyRegions,
    /// More triangles than allowed.
    TooManyTriangles,
    /// A triangle is inverted or has no area.
    BadTriangle,
}

/// A mesh that is refused: place, value, rule and remedy.
#[derive(Debug, Clone, PartialEq)]
pub struct MeshError {
    /// Kind of fault.
    pub fault: MeshFault,
    /// Where.
    pub place: String,
    /// The value found.
    pub value: String,
    /// The rule it breaks.
    pub rule: String,
    /// What to do about it.
    pub remedy: String,
}

impl MeshError {
    pub(crate) fn new(fault: MeshFault, place: &str, value: &str, rule: &str, remedy: &str) -> Self {
        Self {
            fault,
            place: place.to_owned(),
            value: value.to_owned(),
            rule: rule.to_owned(),
            remedy: remedy.to_owned(),
        }
    }
}

impl fmt::Display for MeshError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}: {}; {}", self.place, self.value, self.rule, self.remedy)
    }
}

impl std::error::Error for MeshError {}

/// Smallest height of a triangle as a share of its longest side below which it counts as having no area.
const FLAT: f64 = 1e-9;

/// Refuses a mesh with a clockwise or degenerate triangle.
///
/// # Errors
/// [`MeshError`] that names the first such triangle by its place.
pub fn refuse_bad(mesh: &FlatMesh) -> Result<(), MeshError> {
    for t in 0..mesh.triangles.len() {
        let (area, side) = (mesh.area_m2(t), mesh.size_m(t));
        if area.is_nan() || 2.0 * area <= FLAT * side * side {
            let [x, y] = mesh.centroid_m(t);
            return Err(MeshError::new(
                MeshFault::BadTriangle,
                &format!("triangle {t} at ({:.4} mm, {:.4} mm)", x * 1e3, y * 1e3),
                &format!("area {:.3e} mm2, longest side {:.4} mm", area * 1e6, side * 1e3),
                "triangles must run counter-clockwise and have an area",
                "look for features of the design thinner than 2 um there, or let thin features be merged",
            ));
        }
    }
    Ok(())
}

/// Angles, sizes and counts of a mesh.
#[derive(Debug, Clone, PartialEq)]
pub struct QualityReport {
    /// Number of nodes.
    pub nodes: usize,
    /// Number of triangles.
    pub triangles: usize,
    /// Smallest angle, rad.
    pub smallest_angle_rad: f64,
    /// Centre of the triangle with the smallest angle, m.
    pub smallest_angle_at_m: Option<Point>,
    /// Mean over triangles of their smallest angle, rad (60 degrees for equilateral ones).
    pub mean_angle_rad: f64,
    /// Triangles with an angle below the wished one, with the angle, worst first, at most 10.
    pub below_limit: Vec<(u32, f64)>,
    /// How many triangles are below the wished angle.
    pub n_below_limit: usize,
    /// Shortest and longest triangle side, m.
    pub sides_m: [f64; 2],
    /// Whole area, m2.
    pub area_m2: f64,
}

/// Measures a mesh; `limit_rad`: the wished smallest angle.
#[must_use]
pub fn report(mesh: &FlatMesh, limit_rad: f64) -> QualityReport {
    let angles: Vec<f64> = (0..mesh.triangles.len()).map(|t| smallest_angle(mesh.corners_m(t))).collect();
    let mut below: Vec<(u32, f64)> =
        (0_u32..).zip(&angles).filter(|&(_, &a)| a < limit_rad).map(|(t, &a)| (t, a)).collect();
    below.sort_by(|x, y| x.1.total_cmp(&y.1).then(x.0.cmp(&y.0)));
    let n_below_limit = below.len();
    below.truncate(10);
    let mut sides_m = [f64::INFINITY, 0.0_f64];
    for t in 0..mesh.triangles.len() {
        let c = mesh.corners_m(t);
        for k in 0..3 {
            let (p, q) = (c[k], c[(k + 1) % 3]);
            let side = (p[0] - q[0]).hypot(p[1] - q[1]);
            sides_m = [sides_m[0].min(side), sides_m[1].max(side)];
        }
    }
    let (smallest_angle_rad, worst) = mesh.smallest_angle();
    #[expect(clippy::cast_precision_loss, reason = "a count of triangles")]
    let n = angles.len().max(1) as f64;
    QualityReport {
        nodes: mesh.points_m.len(),
        triangles: mesh.triangles.len(),
        smallest_angle_rad,
        smallest_angle_at_m: worst.map(|t| mesh.centroid_m(t)),
        mean_angle_rad: angles.iter().sum::<f64>() / n,
        below_limit: below,
        n_below_limit,
        sides_m,
        area_m2: (0..mesh.triangles.len()).map(|t| mesh.area_m2(t)).sum(),
    }
}
