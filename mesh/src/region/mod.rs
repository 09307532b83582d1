//! Plane polygons with holes, in metres, and their Boolean algebra on a 1 um grid.

/// A point of the board plane, m.
pub type Point = [f64; 2];

/// A plane region: outer contours counter-clockwise, holes clockwise, every vertex on the 1 um grid.
///
/// Contours are closed implicitly (the first point is not repeated) and do not cross.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Region {
    /// Closed contours, m; positive area = material, negative = hole.
    pub contours: Vec<Vec<Point>>,
}
