//! How far the moving board stays from magnets, back plates and declared obstacles.
//!
//! In: board, mesh, model, any [`Pose`]. Out: the least distance, what it is to, and where on the board. Faces and walls
//! of everything that moves are watched (`faces`), thickness, stiffeners and glued bodies included; parts in clamps
//! are not. Absent: contact itself.

mod faces;

use crate::model::BoardModel;
use crate::swing::Pose;
use copperbend_mesh::board::{Board, MagnetShape, ObstacleShape};
use copperbend_mesh::region::Point;
use copperbend_mesh::triangulate::BoardMesh;
use faces::Face;
use nalgebra::{Matrix3, Vector3};
use rayon::prelude::*;

/// Nearer than this is contact, m.
pub const TOUCH_M: f64 = 1e-6;

/// The least distance is found to this share of itself, or to a tenth of [`TOUCH_M`].
const FINENESS: f64 = 1e-3;

/// A triangle is cut into four at most this often: 1/256 of its side is left.
const MOST_CUTS: u32 = 8;

/// Faces a thread takes at a time.
const CHUNK: usize = 512;

/// The nearest approach in one pose.
#[derive(Debug, Clone, PartialEq)]
pub struct Approach {
    /// What is near ("magnet 'drive'", "back plate of 'drive'", "obstacle 'lid'").
    pub to: String,
    /// Distance, m; at most [`TOUCH_M`] means contact, negative inside.
    pub distance_m: f64,
    /// Where on the board at rest, m.
    pub at_m: Point,
}

impl Approach {
    /// Whether board and obstacle touch or overlap.
    #[must_use]
    pub fn is_contact(&self) -> bool {
        self.distance_m <= TOUCH_M
    }
}

/// What the board must not touch, and the faces that are watched.
#[derive(Debug, Clone, Default)]
pub struct Guard {
    things: Vec<Thing>,
    faces: Vec<Face>,
    at_rest_m: Vec<Point>,
    touching: Vec<String>,
}

#[derive(Debug, Clone)]
struct Thing {
    name: String,
    solid: Solid,
}

/// A solid fixed in space, convex but for the bore of a ring.
#[derive(Debug, Clone)]
enum Solid {
    Disc { radius_m: f64, half_m: f64, frame: Frame },
    Ring { outer_m: f64, inner_m: f64, half_m: f64, frame: Frame },
    Block { half_m: [f64; 3], frame: Frame },
    Plane { point: Vector3<f64>, normal: Vector3<f64> },
}

/// Own frame of a solid: rows of `turn` bring a direction from space.
#[derive(Debug, Clone)]
struct Frame {
    centre: Vector3<f64>,
    turn: Matrix3<f64>,
}

/// Distance, and the plane that holds the whole solid back, if there is one: direction away from it, a place on it.
struct Sight {
    distance_m: f64,
    held_back: Option<[Vector3<f64>; 2]>,
}

impl Guard {
    /// Everything on the board that moves against everything fixed in space. What touches at rest is named in
    /// [`Self::touching_at_rest`] and not watched.
    #[must_use]
    pub fn new(board: &Board, mesh: &BoardMesh, own: &BoardModel) -> Self {
        let mut guard = Self {
            things: things(board),
            faces: faces::faces(board, mesh, own),
            at_rest_m: mesh.flat.points_m.clone(),
            touching: Vec::new(),
        };
        let rest = Pose::at_rest(&own.model.nodes_m);
        let touches = |thing: &Thing| guard.nearest_to(thing, &rest).is_some_and(|a| a.is_contact());
        let (touching, clear): (Vec<Thing>, Vec<Thing>) = guard.things.iter().cloned().partition(touches);
        guard.touching = touching.into_iter().map(|thing| thing.name).collect();
        guard.things = clear;
        guard
    }

    /// Names of what the board touches at rest already.
    #[must_use]
    pub fn touching_at_rest(&self) -> &[String] {
        &self.touching
    }

    /// The nearest approach in a pose; None when there is nothing to touch.
    ///
    /// The distance is at most 0.1 % (or 0.1 um) too large.
    #[must_use]
    pub fn nearest(&self, pose: &Pose) -> Option<Approach> {
        self.things
            .iter()
            .filter_map(|thing| self.nearest_to(thing, pose))
            .min_by(|a, b| a.distance_m.total_cmp(&b.distance_m))
    }

    fn nearest_to(&self, thing: &Thing, pose: &Pose) -> Option<Approach> {
        let place = |face: &Face, corner: usize| {
            let node = face.corners[corner] as usize;
            pose.positions_m[node] + pose.rotations[node].column(2) * face.heights_m[corner]
        };
        let unit = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
        let best = self.nearest_of(Best::default(), |best, i, face| {
            for (corner, share) in unit.into_iter().enumerate() {
                best.offer(thing.solid.sight(place(face, corner)).distance_m, i, share);
            }
        });
        // Corners first: what they leave out of reach is not looked into.
        let best = self.nearest_of(best, |best, i, face| {
            let corners = [0, 1, 2].map(|corner| place(face, corner));
            search(&thing.solid, i, [corners, unit.map(Vector3::from)], MOST_CUTS, best);
        });
        let face = self.faces.get(best.face)?;
        let mut at_m = [0.0; 2];
        for (&node, share) in face.corners.iter().zip(best.share) {
            let p = self.at_rest_m[node as usize];
            at_m = [at_m[0] + share * p[0], at_m[1] + share * p[1]];
        }
        Some(Approach { to: thing.name.clone(), distance_m: best.distance_m, at_m })
    }
}

impl Guard {
    /// The nearest place after a look at every face, from a place known before: chunks of faces in parallel, of fixed
    /// size, so that the outcome does not depend on the threads.
    fn nearest_of(&self, known: Best, look: impl Fn(&mut Best, usize, &Face) + Sync) -> Best {
        let of = |(chunk, faces): (usize, &[Face])| {
            let mut best = known;
            for (k, face) in faces.iter().enumerate() {
                look(&mut best, CHUNK * chunk + k, face);
            }
            best
        };
        let parts: Vec<Best> = self.faces.par_chunks(CHUNK).enumerate().map(of).collect();
        parts
            .into_iter()
            .fold(known, |best, part| if part.distance_m < best.distance_m { part } else { best })
    }
}

/// The nearest place so far.
#[derive(Debug, Clone, Copy)]
struct Best {
    distance_m: f64,
    face: usize,
    share: [f64; 3],
}

impl Default for Best {
    fn default() -> Self {
        Self { distance_m: f64::INFINITY, face: 0, share: [1.0, 0.0, 0.0] }
    }
}

impl Best {
    fn offer(&mut self, distance_m: f64, face: usize, share: [f64; 3]) {
        if distance_m < self.distance_m {
            *self = Self { distance_m, face, share };
        }
    }
}

/// Looks for a nearer place inside a triangle: places in space and their area coordinates.
///
/// Where the solid stays behind the plane through its nearest point, normal to the line of sight, no place of the
/// triangle can be nearer than its distance to that plane. Anywhere, distance changes by no more than the way.
fn search(solid: &Solid, face: usize, [at, share]: [[Vector3<f64>; 3]; 2], cuts: u32, best: &mut Best) {
    let middle = (at[0] + at[1] + at[2]) / 3.0;
    let sight = solid.sight(middle);
    let shares = (share[0] + share[1] + share[2]) / 3.0;
    best.offer(sight.distance_m, face, shares.into());
    let floor = match sight.held_back {
        Some([away, surface]) => at.iter().map(|p| away.dot(&(p - surface))).fold(f64::INFINITY, f64::min),
        None => sight.distance_m - at.iter().map(|p| (p - middle).norm()).fold(0.0, f64::max),
    };
    let slack = (FINENESS * best.distance_m).max(0.1 * TOUCH_M);
    if cuts == 0 || floor >= best.distance_m - slack || best.distance_m <= TOUCH_M {
        return;
    }
    let half = |x: &[Vector3<f64>; 3]| [(x[1] + x[2]) * 0.5, (x[2] + x[0]) * 0.5, (x[0] + x[1]) * 0.5];
    let (p, s) = (half(&at), half(&share));
    for (p, s) in
        [([at[0], p[2], p[1]], [share[0], s[2], s[1]]), ([p[2], at[1], p[0]], [s[2], share[1], s[0]])]
            .into_iter()
            .chain([([p[1], p[0], at[2]], [s[1], s[0], share[2]]), (p, s)])
    {
        search(solid, face, [p, s], cuts - 1, best);
    }
}

impl Solid {
    fn sight(&self, p: Vector3<f64>) -> Sight {
        match self {
            Self::Plane { point, normal } => {
                let distance_m = normal.dot(&(p - point));
                Sight { distance_m, held_back: Some([*normal, p - normal * distance_m]) }
            }
            Self::Block { half_m, frame } => {
                let own = frame.inwards(p);
                let nearest = Vector3::from_fn(|i, _| own[i].clamp(-half_m[i], half_m[i]));
                let deepest = (0..3).map(|i| own[i].abs() - half_m[i]).fold(f64::NEG_INFINITY, f64::max);
                frame.sight(own, nearest, deepest)
            }
            Self::Disc { radius_m, half_m, frame } => {
                let own = frame.inwards(p);
                let rho = own.x.hypot(own.y);
                let keep = if rho > *radius_m { radius_m / rho } else { 1.0 };
                let nearest = Vector3::new(own.x * keep, own.y * keep, own.z.clamp(-half_m, *half_m));
                frame.sight(own, nearest, (rho - radius_m).max(own.z.abs() - half_m))
            }
            Self::Ring { outer_m, inner_m, half_m, frame } => {
                let own = frame.inwards(p);
                let rho = own.x.hypot(own.y);
                // On the axis every direction is as near as any other.
                let [x, y] = if rho > 0.0 { [own.x / rho, own.y / rho] } else { [1.0, 0.0] };
                let keep = rho.clamp(*inner_m, *outer_m);
                let nearest = Vector3::new(x * keep, y * keep, own.z.clamp(-half_m, *half_m));
                let deepest = (rho - outer_m).max(inner_m - rho).max(own.z.abs() - half_m);
                let sight = frame.sight(own, nearest, deepest);
                // From within the bore nothing holds the ring back.
                Sight { held_back: sight.held_back.filter(|_| rho >= *inner_m), ..sight }
            }
        }
    }
}

impl Frame {
    fn inwards(&self, p: Vector3<f64>) -> Vector3<f64> {
        self.turn * (p - self.centre)
    }

    /// From a place and its nearest point of the solid, own frame; `deepest` is the distance when inside.
    fn sight(&self, own: Vector3<f64>, nearest: Vector3<f64>, deepest: f64) -> Sight {
        let line = own - nearest;
        let length = line.norm();
        let back = self.turn.transpose();
        if length > 0.0 {
            let surface = self.centre + back * nearest;
            return Sight { distance_m: length, held_back: Some([back * (line / length), surface]) };
        }
        Sight { distance_m: deepest.min(0.0), held_back: None }
    }
}

/// Magnets, their back plates and the declared obstacles.
fn things(board: &Board) -> Vec<Thing> {
    let mut out = Vec::new();
    for magnet in &board.magnets {
        let solid = solid(&magnet.shape, magnet.centre_m, &magnet.rotation);
        out.push(Thing { name: format!("magnet '{}'", magnet.name), solid });
        if let Some([point, normal]) = magnet.back_plate {
            let solid = Solid::Plane { point: point.into(), normal: normal.into() };
            out.push(Thing { name: format!("back plate of magnet '{}'", magnet.name), solid });
        }
    }
    for obstacle in &board.obstacles {
        let solid = match &obstacle.shape {
            ObstacleShape::Solid { shape, centre_m, rotation } => solid(shape, *centre_m, rotation),
            ObstacleShape::Plane { height_m, up } => {
                Solid::Plane { point: Vector3::new(0.0, 0.0, *height_m), normal: Vector3::new(0.0, 0.0, *up) }
            }
        };
        out.push(Thing { name: format!("obstacle '{}'", obstacle.name), solid });
    }
    out
}

fn solid(shape: &MagnetShape, centre_m: [f64; 3], rotation: &[[f64; 3]; 3]) -> Solid {
    let turn = Matrix3::from_fn(|i, j| rotation[j][i]);
    let frame = Frame { centre: centre_m.into(), turn };
    match *shape {
        MagnetShape::Disc { diameter_m: d, height_m } => {
            Solid::Disc { radius_m: 0.5 * d, half_m: 0.5 * height_m, frame }
        }
        MagnetShape::Ring { outer_m, inner_m, height_m } => {
            Solid::Ring { outer_m: 0.5 * outer_m, inner_m: 0.5 * inner_m, half_m: 0.5 * height_m, frame }
        }
        MagnetShape::Block { sides_m } => Solid::Block { half_m: sides_m.map(|s| 0.5 * s), frame },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::Rotation3;

    /// One triangle over a corner, an edge or a face of a turned block, and over a disc's rim: against dense sampling.
    #[test]
    fn least_distance_matches_dense_sampling() {
        let turn = Rotation3::from_euler_angles(0.4, -0.7, 1.1);
        let frame = Frame { centre: Vector3::new(1e-3, -2e-3, 0.5e-3), turn: turn.matrix().transpose() };
        let solids = [
            Solid::Block { half_m: [1e-3, 2e-3, 0.5e-3], frame: frame.clone() },
            Solid::Disc { radius_m: 1.5e-3, half_m: 0.6e-3, frame: frame.clone() },
            Solid::Ring { outer_m: 2e-3, inner_m: 1.2e-3, half_m: 0.6e-3, frame: frame.clone() },
            // Wide enough that the triangles pass through the bore.
            Solid::Ring { outer_m: 15e-3, inner_m: 12e-3, half_m: 4e-3, frame },
            Solid::Plane { point: Vector3::new(0.0, 0.0, -1e-3), normal: turn * Vector3::z() },
        ];
        let guard = |solid: &Solid| Guard {
            things: vec![Thing { name: "it".to_owned(), solid: solid.clone() }],
            faces: vec![
                Face { corners: [0, 1, 2], heights_m: [-0.1e-3; 3] },
                Face { corners: [0, 1, 2], heights_m: [0.2e-3; 3] },
            ],
            at_rest_m: vec![[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]],
            touching: Vec::new(),
        };
        let poses = [
            [[-4.0, -5.0, 3.5], [7.0, -1.0, 3.1], [0.0, 6.0, 3.3]],
            [[4.0, -5.0, 1.0], [5.0, 3.0, -4.0], [4.5, -1.0, 6.0]],
            [[-3.0, 4.0, 2.0], [6.0, 3.0, 3.0], [1.0, 5.0, -6.0]],
        ];
        for solid in &solids {
            for corners in poses {
                let pose = Pose {
                    positions_m: corners.map(|c| Vector3::from(c) * 1e-3).to_vec(),
                    rotations: vec![*Rotation3::from_euler_angles(0.1, 0.2, 0.0).matrix(); 3],
                };
                let found = guard(solid).nearest(&pose).expect("a distance");
                let mut dense = f64::INFINITY;
                let n = 300;
                for height in [-0.1e-3, 0.2e-3] {
                    let at = |k: usize| pose.positions_m[k] + pose.rotations[k].column(2) * height;
                    for i in 0..=n {
                        for j in 0..=(n - i) {
                            let [a, b] = [i, j].map(|k| f64::from(k) / f64::from(n));
                            let p = at(0) * (1.0 - a - b) + at(1) * a + at(2) * b;
                            dense = dense.min(solid.sight(p).distance_m);
                        }
                    }
                }
                let off = (found.distance_m - dense) / dense.abs();
                assert!(off < 2e-3 && off > -2e-2, "{solid:?}: {} against {dense}", found.distance_m);
                let [x, y] = found.at_m;
                assert!(x >= 0.0 && y >= 0.0 && x + y <= 1.0 + 1e-12, "place {:?}", found.at_m);
            }
        }
    }

    #[test]
    fn a_bore_is_open() {
        let frame = Frame { centre: Vector3::zeros(), turn: Matrix3::identity() };
        let ring = Solid::Ring { outer_m: 5e-3, inner_m: 2e-3, half_m: 1e-3, frame };
        let rows = [
            ([0.0, 0.0, 0.0], 2e-3),
            ([0.5e-3, 0.0, 0.3e-3], 1.5e-3),
            ([0.0, 0.0, 1e-3 + 1.5e-3], 2.5e-3),
            ([0.0, 3e-3, 4e-3], 3e-3),
            ([0.0, 3e-3, 0.8e-3], -0.2e-3),
            ([8e-3, 0.0, 5e-3], 5e-3),
        ];
        for (p, want) in rows {
            let got = ring.sight(Vector3::from(p)).distance_m;
            assert!((got - want).abs() < 1e-15, "{got} against {want} at {p:?}");
        }
    }

    #[test]
    fn places_inside_are_contact() {
        let frame = Frame { centre: Vector3::zeros(), turn: Matrix3::identity() };
        let disc = Solid::Disc { radius_m: 2e-3, half_m: 1e-3, frame };
        let sight = disc.sight(Vector3::new(0.5e-3, 0.0, 0.7e-3));
        assert!((sight.distance_m + 0.3e-3).abs() < 1e-15, "0.3 mm under the face: {}", sight.distance_m);
        let approach = Approach { to: String::new(), distance_m: sight.distance_m, at_m: [0.0; 2] };
        assert!(approach.is_contact(), "inside is contact");
    }
}
