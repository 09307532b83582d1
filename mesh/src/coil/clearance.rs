//! How far a current path stays from the bodies of magnets.

use crate::board::{CurrentPath, Magnet, MagnetShape, Obstacle, ObstacleShape};

/// A path closer to a magnet than this touches it, m.
pub const TOUCH_M: f64 = 1e-6;

/// A place where the path touches or enters a magnet.
#[derive(Debug, Clone, PartialEq)]
pub struct Touch {
    /// Name of the magnet.
    pub magnet: String,
    /// Index of the path's piece.
    pub segment: usize,
    /// The place, m.
    pub at_m: [f64; 3],
    /// Distance to the magnet's surface there, m; negative inside.
    pub distance_m: f64,
}

/// Distance from a point to a magnet's surface, m; negative inside the material.
#[must_use]
pub fn distance_m(magnet: &Magnet, p: [f64; 3]) -> f64 {
    solid_distance_m(&magnet.shape, to_body(magnet, p))
}

/// Distance from a point to an obstacle's surface, m; negative inside.
#[must_use]
pub fn obstacle_distance_m(obstacle: &Obstacle, p: [f64; 3]) -> f64 {
    match &obstacle.shape {
        ObstacleShape::Solid { shape, centre_m, rotation } => {
            solid_distance_m(shape, into_frame(centre_m, rotation, p))
        }
        ObstacleShape::Plane { height_m, up } => up * (p[2] - height_m),
    }
}

/// Distance from a point in the body's own frame to its surface, m; negative inside.
fn solid_distance_m(shape: &MagnetShape, [x, y, z]: [f64; 3]) -> f64 {
    match *shape {
        MagnetShape::Disc { diameter_m, height_m } => {
            outside_box(&[x.hypot(y) - 0.5 * diameter_m, z.abs() - 0.5 * height_m])
        }
        MagnetShape::Ring { outer_m, inner_m, height_m } => {
            let rho = x.hypot(y);
            let wall = (rho - 0.5 * outer_m).max(0.5 * inner_m - rho);
            outside_box(&[wall, z.abs() - 0.5 * height_m])
        }
        MagnetShape::Block { sides_m: [a, b, c] } => {
            outside_box(&[x.abs() - 0.5 * a, y.abs() - 0.5 * b, z.abs() - 0.5 * c])
        }
    }
}

/// Point in the magnet's own frame, m.
#[must_use]
pub fn to_body(magnet: &Magnet, p: [f64; 3]) -> [f64; 3] {
    into_frame(&magnet.centre_m, &magnet.rotation, p)
}

fn into_frame(centre_m: &[f64; 3], r: &[[f64; 3]; 3], p: [f64; 3]) -> [f64; 3] {
    let d = [0, 1, 2].map(|i| p[i] - centre_m[i]);
    [0, 1, 2].map(|j| r[0][j] * d[0] + r[1][j] * d[1] + r[2][j] * d[2])
}

/// First place along the path where it touches a magnet, or None.
#[must_use]
pub fn touching(path: &CurrentPath, magnets: &[Magnet]) -> Option<Touch> {
    let mut first = None;
    for (segment, piece) in path.segments.iter().enumerate() {
        for magnet in magnets {
            let (at_m, distance_m) = nearest(magnet, piece.from_m, piece.to_m);
            if distance_m < TOUCH_M && first.is_none() {
                first = Some(Touch { magnet: magnet.name.clone(), segment, at_m, distance_m });
            }
        }
    }
    first
}

/// Smallest distance from a path to any magnet's surface, m; infinite without magnets.
#[must_use]
pub fn gap_m(path: &CurrentPath, magnets: &[Magnet]) -> f64 {
    let pieces = path.segments.iter().flat_map(|piece| magnets.iter().map(move |magnet| (piece, magnet)));
    pieces.map(|(piece, magnet)| nearest(magnet, piece.from_m, piece.to_m).1).fold(f64::INFINITY, f64::min)
}

/// Place of a straight piece nearest to the magnet, and the distance, m.
///
/// The distance changes by at most the length walked, so a step may be as long as the lead of the distance over
/// the best so far: the result is at most 1 % too large. Steps are never shorter than half the touching distance.
fn nearest(magnet: &Magnet, from: [f64; 3], to: [f64; 3]) -> ([f64; 3], f64) {
    let along = [0, 1, 2].map(|i| to[i] - from[i]);
    let length = along.iter().map(|x| x * x).sum::<f64>().sqrt();
    let mut best = (from, distance_m(magnet, from));
    let mut s = (0.01 * best.1).max(0.5 * TOUCH_M).min(length);
    while length > 0.0 && best.1 >= TOUCH_M {
        let p = [0, 1, 2].map(|i| from[i] + along[i] * (s / length));
        let d = distance_m(magnet, p);
        if d < best.1 {
            best = (p, d);
        }
        if s >= length {
            break;
        }
        // Nothing within d of p is nearer than 0: only places beyond d - best could beat the best so far.
        s = (s + (d - 0.99 * best.1).max(0.01 * d).max(0.5 * TOUCH_M)).min(length);
    }
    best
}

/// Distance to a box from the signed distances to its pairs of faces.
fn outside_box(over: &[f64]) -> f64 {
    let outside = over.iter().map(|d| d.max(0.0).powi(2)).sum::<f64>().sqrt();
    let deepest = over.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if outside > 0.0 { outside } else { deepest }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::board::PathSegment;

    fn magnet(shape: MagnetShape, centre_m: [f64; 3], rotation: [[f64; 3]; 3]) -> Magnet {
        Magnet {
            name: "drive".to_owned(),
            shape,
            polarisation_t: [0.0, 0.0, 1.3],
            centre_m,
            rotation,
            back_plate: None,
            remanence_note: String::new(),
        }
    }

    const UPRIGHT: [[f64; 3]; 3] = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];

    fn path(from_m: [f64; 3], to_m: [f64; 3]) -> CurrentPath {
        CurrentPath {
            segments: vec![PathSegment { from_m, to_m, section_m2: 1e-9, layer: None }],
            current_a: 0.1,
        }
    }

    #[test]
    fn distances_to_the_three_shapes() {
        let disc =
            magnet(MagnetShape::Disc { diameter_m: 8e-3, height_m: 2e-3 }, [0.0, 0.0, -2.5e-3], UPRIGHT);
        let cases = [([0.0, 0.0, 0.0], 1.5e-3), ([7e-3, 0.0, 2.5e-3], 5e-3), ([0.0, 0.0, -2e-3], -0.5e-3)];
        for (p, want) in cases {
            let got = distance_m(&disc, p);
            assert!((got - want).abs() < 1e-15, "{got} against {want} at {p:?}");
        }
        let ring = MagnetShape::Ring { outer_m: 10e-3, inner_m: 4e-3, height_m: 3e-3 };
        let bore = distance_m(&magnet(ring, [0.0; 3], UPRIGHT), [0.5e-3, 0.0, 0.0]);
        assert!((bore - 1.5e-3).abs() < 1e-15, "in the bore: {bore}");
        // Axis along +x: own z is board x.
        let lying = [[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]];
        let block = magnet(MagnetShape::Block { sides_m: [1e-3, 2e-3, 6e-3] }, [0.0; 3], lying);
        let end = distance_m(&block, [4e-3, 0.0, 0.0]);
        assert!((end - 1e-3).abs() < 1e-15, "end of the lying block: {end}");
    }

    #[test]
    fn path_through_a_magnet_touches_and_one_above_does_not() {
        let disc = [magnet(MagnetShape::Disc { diameter_m: 8e-3, height_m: 2e-3 }, [0.0; 3], UPRIGHT)];
        let hit = touching(&path([-9e-3, 3.9e-3, 0.0], [9e-3, 3.9e-3, 0.0]), &disc).unwrap();
        assert!(hit.distance_m < TOUCH_M && hit.at_m[0].abs() < 1e-3, "{hit:?}");
        let above = path([-9e-3, 0.0, 1.01e-3], [9e-3, 0.0, 1.01e-3]);
        assert_eq!(touching(&above, &disc), None, "10 um above the face");
        let gap = gap_m(&above, &disc);
        assert!((gap - 1e-5).abs() < 2e-7, "gap {gap}");
    }
}
