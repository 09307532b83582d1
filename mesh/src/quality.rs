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
    /// A centre line leaves the board.
    OffBoard,
    /// An arm parts into several.
    Fork,
    /// An arm is wider than long.
    TooWide,
    /// An arm ends where nothing holds it, or there is none.
    Loose,
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

/// A gap between edges of the plan narrower than this excuses small angles in it, m: such places are thin features,
/// reported by name.
pub const THIN_GAP_M: f64 = 10e-6;

/// Why the geometry allows no larger angle somewhere.
///
/// An angle may be smaller than wished only where the plan itself forces it; everywhere else it is a fault of the mesh.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Cause {
    /// The triangle touches a node where two edges of the plan, with material between them, meet at this angle, rad,
    /// which is below the wished one.
    NarrowCorner(f64),
    /// All corners of the triangle lie on edges of the plan, and its least height, m, is below [`THIN_GAP_M`].
    ThinGap(f64),
    /// Nothing in the plan.
    Mesh,
}

/// The smallest angle of some triangles.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SmallestAngle {
    /// The angle, rad.
    pub angle_rad: f64,
    /// The triangle.
    pub triangle: u32,
    /// Its centre, m.
    pub at_m: Point,
    /// Why it is not larger; [`Cause::Mesh`] also when it is large enough.
    pub cause: Cause,
    /// Regions ([`crate::triangulate::Plan::regions`], one bit each) whose edges run through its corners.
    pub regions: u128,
    /// Whether the outline runs through one of its corners.
    pub at_rim: bool,
}

/// Angles, sizes and counts of a mesh.
#[derive(Debug, Clone, PartialEq)]
pub struct QualityReport {
    /// Number of nodes.
    pub nodes: usize,
    /// Number of triangles.
    pub triangles: usize,
    /// Smallest angle of all; `None` without triangles.
    pub smallest: Option<SmallestAngle>,
    /// Smallest angle of the triangles that nothing in the plan excuses.
    pub smallest_free: Option<SmallestAngle>,
    /// Mean over triangles of their smallest angle, rad (60 degrees for equilateral ones).
    pub mean_angle_rad: f64,
    /// Triangles with an angle below the wished one, with the angle, worst first, at most 10.
    pub below_limit: Vec<(u32, f64)>,
    /// How many triangles are below the wished angle.
    pub n_below_limit: usize,
    /// How many of them nothing in the plan excuses.
    pub n_free_below_limit: usize,
    /// Shortest and longest triangle side, m.
    pub sides_m: [f64; 2],
    /// Whole area, m2.
    pub area_m2: f64,
}

/// Measures a mesh; `limit_rad`: the wished smallest angle.
#[must_use]
pub fn report(mesh: &FlatMesh, limit_rad: f64) -> QualityReport {
    let angles: Vec<f64> = (0..mesh.triangles.len()).map(|t| smallest_angle(mesh.corners_m(t))).collect();
    let mut order: Vec<(u32, f64)> = (0_u32..).zip(angles.iter().copied()).collect();
    order.sort_by(|x, y| x.1.total_cmp(&y.1).then(x.0.cmp(&y.0)));
    let n_below_limit = order.iter().take_while(|x| x.1 < limit_rad).count();
    let corners = Corners::new(mesh, limit_rad);
    let cause = |&(t, angle): &(u32, f64)| if angle < limit_rad { corners.cause(t) } else { Cause::Mesh };
    let free = order.iter().find(|x| cause(x) == Cause::Mesh);
    let place = |x: &(u32, f64)| corners.place(*x, cause(x));
    let mut sides_m = [f64::INFINITY, 0.0_f64];
    for t in 0..mesh.triangles.len() {
        let c = mesh.corners_m(t);
        for k in 0..3 {
            let (p, q) = (c[k], c[(k + 1) % 3]);
            let side = (p[0] - q[0]).hypot(p[1] - q[1]);
            sides_m = [sides_m[0].min(side), sides_m[1].max(side)];
        }
    }
    #[expect(clippy::cast_precision_loss, reason = "a count of triangles")]
    let n = angles.len().max(1) as f64;
    QualityReport {
        nodes: mesh.points_m.len(),
        triangles: mesh.triangles.len(),
        smallest: order.first().map(place),
        smallest_free: free.map(place),
        mean_angle_rad: angles.iter().sum::<f64>() / n,
        below_limit: order.iter().take(n_below_limit.min(10)).copied().collect(),
        n_below_limit,
        n_free_below_limit: order.iter().take(n_below_limit).filter(|x| cause(x) == Cause::Mesh).count(),
        sides_m,
        area_m2: (0..mesh.triangles.len()).map(|t| mesh.area_m2(t)).sum(),
    }
}

/// Narrow corners of the plan, found again in the mesh.
struct Corners<'a> {
    mesh: &'a FlatMesh,
    /// Whether an edge of the plan runs through a node.
    on_plan: Vec<bool>,
    /// Narrowest corner at a node, rad.
    narrow: Vec<Option<f64>>,
}

impl<'a> Corners<'a> {
    fn new(mesh: &'a FlatMesh, limit_rad: f64) -> Self {
        let n = mesh.points_m.len();
        let mut around: Vec<Vec<f64>> = vec![Vec::new(); n];
        for &[a, b] in &mesh.plan_edges {
            let (p, q) = (mesh.points_m[a as usize], mesh.points_m[b as usize]);
            around[a as usize].push((q[1] - p[1]).atan2(q[0] - p[0]));
            around[b as usize].push((p[1] - q[1]).atan2(p[0] - q[0]));
        }
        let mut wedges: Vec<Vec<[f64; 2]>> = vec![Vec::new(); n];
        for (fan, found) in around.iter_mut().zip(&mut wedges) {
            fan.sort_by(f64::total_cmp);
            for i in 0..fan.len() {
                let angle = (fan[(i + 1) % fan.len()] - fan[i]).rem_euclid(std::f64::consts::TAU);
                if fan.len() > 1 && angle < limit_rad {
                    found.push([fan[i], angle]);
                }
            }
        }
        // A wedge counts when a triangle fills it: outside the part there is none.
        let mut narrow: Vec<Option<f64>> = vec![None; n];
        for (t, nodes) in mesh.triangles.iter().enumerate() {
            let c = mesh.centroid_m(t);
            for &v in nodes {
                let p = mesh.points_m[v as usize];
                let toward = (c[1] - p[1]).atan2(c[0] - p[0]);
                for &[from, angle] in &wedges[v as usize] {
                    if (toward - from).rem_euclid(std::f64::consts::TAU) < angle {
                        let known = &mut narrow[v as usize];
                        *known = Some(known.map_or(angle, |k| k.min(angle)));
                    }
                }
            }
        }
        Self { mesh, on_plan: around.iter().map(|a| !a.is_empty()).collect(), narrow }
    }

    fn cause(&self, t: u32) -> Cause {
        let nodes = self.mesh.triangles[t as usize];
        let narrowest = nodes.iter().filter_map(|&v| self.narrow[v as usize]).min_by(f64::total_cmp);
        if let Some(angle) = narrowest {
            return Cause::NarrowCorner(angle);
        }
        let height = 2.0 * self.mesh.area_m2(t as usize) / self.mesh.size_m(t as usize);
        if height < THIN_GAP_M && nodes.iter().all(|&v| self.on_plan[v as usize]) {
            return Cause::ThinGap(height);
        }
        Cause::Mesh
    }

    fn place(&self, (triangle, angle_rad): (u32, f64), cause: Cause) -> SmallestAngle {
        let mesh = self.mesh;
        let nodes = mesh.triangles[triangle as usize];
        // Regions that some but not all triangles at a corner lie in have an edge there.
        let (mut regions, mut all, mut any) = (0_u128, [u128::MAX; 3], [0_u128; 3]);
        for (t, around) in mesh.triangles.iter().enumerate() {
            for (k, v) in nodes.iter().enumerate() {
                if around.contains(v) {
                    let inside = mesh.zones[mesh.zone_of[t] as usize].inside;
                    all[k] &= inside;
                    any[k] |= inside;
                }
            }
        }
        for k in 0..3 {
            regions |= any[k] & !all[k];
        }
        let rim = mesh.boundary_edges();
        SmallestAngle {
            angle_rad,
            triangle,
            at_m: mesh.centroid_m(triangle as usize),
            cause,
            regions,
            at_rim: rim.iter().flatten().any(|v| nodes.contains(v)),
        }
    }
}
