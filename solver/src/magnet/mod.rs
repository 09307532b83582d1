//! Flux density of permanent magnets at a point, in closed form.
//!
//! Input: the board's magnets (rigid, uniform polarisation, SI). Output: [`Field::at`] in tesla,
//! [`Field::gradient`], and the distance to the nearest magnet. Absent: susceptibility of the magnet (recoil
//! permeability 1.05 is taken as 1: a few per cent at most), saturation of a back plate, eddy currents.

pub mod cuboid;
pub mod cylinder;
pub mod kernel;
pub mod potential;

use copperbend_mesh::board::{Magnet, MagnetShape};
use copperbend_mesh::coil::clearance;
use nalgebra::{Matrix3, Vector3};

/// Beyond this many half-sizes a magnet is eight point dipoles: there the closed forms lose digits.
const FAR: f64 = 300.0;

/// One uniformly polarised body in space.
#[derive(Debug, Clone, PartialEq)]
struct Source {
    shape: MagnetShape,
    centre_m: Vector3<f64>,
    /// Own frame to space.
    rotation: Matrix3<f64>,
    /// In the own frame, T.
    polarisation_t: Vector3<f64>,
}

/// The field of all magnets and their mirror images.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Field {
    sources: Vec<Source>,
    magnets: Vec<Magnet>,
}

impl Field {
    /// Prepares the magnets; one with a back plate gets a mirror magnet behind the plate (permeability of the
    /// iron infinite, plate infinitely wide, no saturation).
    #[must_use]
    pub fn new(magnets: &[Magnet]) -> Self {
        let mut sources = Vec::new();
        for magnet in magnets {
            let source = Source::new(magnet);
            let image =
                magnet.back_plate.map(|[point, normal]| source.mirrored(point.into(), normal.into(), 1.0));
            sources.push(source);
            sources.extend(image);
        }
        Self { sources, magnets: magnets.to_vec() }
    }

    /// Whether there is no magnet at all.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.sources.is_empty()
    }

    /// Flux density at a point, T; inside a magnet B, not H. Finite everywhere: on the edges of a magnet the
    /// logarithmic peak is cut off at 1e-9 of its size.
    #[must_use]
    pub fn at(&self, p_m: [f64; 3]) -> Vector3<f64> {
        let p = Vector3::from(p_m);
        self.sources.iter().fold(Vector3::zeros(), |sum, source| sum + source.at(p))
    }

    /// Vector potential at a point, T m, without divergence; its line integral around a closed path is the flux
    /// through the path.
    #[must_use]
    pub fn potential(&self, p_m: [f64; 3]) -> Vector3<f64> {
        let p = Vector3::from(p_m);
        self.sources.iter().fold(Vector3::zeros(), |sum, source| sum + source.potential(p))
    }

    /// Gradient of the flux density, T/m: entry (i, j) is the change of component i along axis j. In closed form;
    /// symmetric and without trace. Meaningless on a magnet's surface.
    #[must_use]
    pub fn gradient(&self, p_m: [f64; 3]) -> Matrix3<f64> {
        self.at_with_gradient(p_m).1
    }

    /// [`Self::at`] and [`Self::gradient`] together, for less work than both.
    #[must_use]
    pub fn at_with_gradient(&self, p_m: [f64; 3]) -> (Vector3<f64>, Matrix3<f64>) {
        let p = Vector3::from(p_m);
        self.sources.iter().fold((Vector3::zeros(), Matrix3::zeros()), |sum, source| {
            let (b, g) = source.at_with_gradient(p);
            (sum.0 + b, sum.1 + g)
        })
    }

    /// Distance from a point to the nearest magnet's surface, m: negative inside, infinite without magnets.
    #[must_use]
    pub fn clearance_m(&self, p_m: [f64; 3]) -> f64 {
        self.magnets.iter().map(|magnet| clearance::distance_m(magnet, p_m)).fold(f64::INFINITY, f64::min)
    }

    /// Name of the magnet whose material contains a point, or None.
    #[must_use]
    pub fn inside(&self, p_m: [f64; 3]) -> Option<&str> {
        let holder = self.magnets.iter().find(|magnet| clearance::distance_m(magnet, p_m) < 0.0);
        holder.map(|magnet| magnet.name.as_str())
    }
}

impl Source {
    fn new(magnet: &Magnet) -> Self {
        let r = &magnet.rotation;
        Self {
            shape: magnet.shape,
            centre_m: magnet.centre_m.into(),
            rotation: Matrix3::from_fn(|i, j| r[i][j]),
            polarisation_t: magnet.polarisation_t.into(),
        }
    }

    /// Mirror magnet behind an iron plane: polarisation along the normal stays, polarisation in the plane flips.
    ///
    /// `strength`: (mu - 1)/(mu + 1) of the iron, 1 for ideal iron.
    fn mirrored(&self, point: Vector3<f64>, normal: Vector3<f64>, strength: f64) -> Self {
        let reflect = Matrix3::identity() - 2.0 * normal * normal.transpose();
        // All bodies are symmetric about their own mid-plane, so that the reflected one is a rotated one.
        let rotation = reflect * self.rotation * Matrix3::from_diagonal(&Vector3::new(1.0, 1.0, -1.0));
        let polarisation = -strength * (reflect * (self.rotation * self.polarisation_t));
        Self {
            shape: self.shape,
            centre_m: point + reflect * (self.centre_m - point),
            rotation,
            polarisation_t: rotation.transpose() * polarisation,
        }
    }

    fn at(&self, p: Vector3<f64>) -> Vector3<f64> {
        let own = self.rotation.transpose() * (p - self.centre_m);
        self.rotation * self.own_field(own)
    }

    fn at_with_gradient(&self, p: Vector3<f64>) -> (Vector3<f64>, Matrix3<f64>) {
        let own = self.rotation.transpose() * (p - self.centre_m);
        let (b, g) = self.own_field_and_gradient(&own);
        (self.rotation * b, self.rotation * g * self.rotation.transpose())
    }

    fn potential(&self, p: Vector3<f64>) -> Vector3<f64> {
        let own = self.rotation.transpose() * (p - self.centre_m);
        let (size, spread_m) = self.spread();
        let a = if own.norm_squared() > (FAR * size).powi(2) {
            self.dipoles(spread_m).fold(Vector3::zeros(), |sum, (at, moment)| {
                let r = own - at;
                sum + moment.cross(&r) / r.norm().powi(3)
            })
        } else {
            potential::of_body(&self.shape, &own, &self.polarisation_t)
        };
        self.rotation * a
    }

    /// Flux density in the own frame, T.
    fn own_field(&self, p: Vector3<f64>) -> Vector3<f64> {
        let (size, spread_m) = self.spread();
        if p.norm_squared() > (FAR * size).powi(2) {
            return self.far_field(p, spread_m);
        }
        let j = &self.polarisation_t;
        match self.shape {
            MagnetShape::Disc { diameter_m, height_m } => {
                cylinder::field(&p, 0.5 * diameter_m, 0.5 * height_m, j)
            }
            MagnetShape::Ring { outer_m, inner_m, height_m } => {
                let half = 0.5 * height_m;
                cylinder::field(&p, 0.5 * outer_m, half, j) - cylinder::field(&p, 0.5 * inner_m, half, j)
            }
            MagnetShape::Block { sides_m } => cuboid::field(&p, &sides_m, j),
        }
    }

    /// Flux density and its gradient in the own frame, T and T/m.
    fn own_field_and_gradient(&self, p: &Vector3<f64>) -> (Vector3<f64>, Matrix3<f64>) {
        let (size, spread_m) = self.spread();
        if p.norm_squared() > (FAR * size).powi(2) {
            return (self.far_field(*p, spread_m), self.far_gradient(*p, spread_m));
        }
        let j = &self.polarisation_t;
        match self.shape {
            MagnetShape::Disc { diameter_m, height_m } => {
                cylinder::field_and_gradient(p, 0.5 * diameter_m, 0.5 * height_m, j)
            }
            MagnetShape::Ring { outer_m, inner_m, height_m } => {
                let of = |across: f64| cylinder::field_and_gradient(p, 0.5 * across, 0.5 * height_m, j);
                let (outer, inner) = (of(outer_m), of(inner_m));
                (outer.0 - inner.0, outer.1 - inner.1)
            }
            MagnetShape::Block { sides_m } => {
                (cuboid::field(p, &sides_m, j), cuboid::gradient(p, &sides_m, j))
            }
        }
    }

    /// Half-diagonal, m, and the root mean square distance of the material from the three mid-planes, m.
    fn spread(&self) -> (f64, [f64; 3]) {
        match self.shape {
            MagnetShape::Disc { diameter_m, height_m } => {
                let side = 0.25 * diameter_m;
                (0.5 * diameter_m.hypot(height_m), [side, side, height_m / 12.0_f64.sqrt()])
            }
            MagnetShape::Ring { outer_m, inner_m, height_m } => {
                let side = 0.25 * outer_m.hypot(inner_m);
                (0.5 * outer_m.hypot(height_m), [side, side, height_m / 12.0_f64.sqrt()])
            }
            MagnetShape::Block { sides_m } => {
                let diagonal = Vector3::from(sides_m).norm();
                (0.5 * diagonal, sides_m.map(|side| side / 12.0_f64.sqrt()))
            }
        }
    }

    fn volume_m3(&self) -> f64 {
        let disc = |diameter: f64, height: f64| std::f64::consts::FRAC_PI_4 * diameter * diameter * height;
        match self.shape {
            MagnetShape::Disc { diameter_m, height_m } => disc(diameter_m, height_m),
            MagnetShape::Ring { outer_m, inner_m, height_m } => {
                disc(outer_m, height_m) - disc(inner_m, height_m)
            }
            MagnetShape::Block { sides_m: [a, b, c] } => a * b * c,
        }
    }

    /// Eight dipoles with the body's second moments: exact to the dipole and the next multipole. Places, m, and
    /// moments over 4 pi, T m3.
    fn dipoles(&self, spread_m: [f64; 3]) -> impl Iterator<Item = (Vector3<f64>, Vector3<f64>)> {
        let moment = self.polarisation_t * (self.volume_m3() / (32.0 * std::f64::consts::PI));
        (0..8_u8).map(move |corner| {
            let sign = |bit: u8| if corner >> bit & 1 == 1 { 1.0 } else { -1.0 };
            (Vector3::new(sign(0) * spread_m[0], sign(1) * spread_m[1], sign(2) * spread_m[2]), moment)
        })
    }

    fn far_field(&self, p: Vector3<f64>, spread_m: [f64; 3]) -> Vector3<f64> {
        self.dipoles(spread_m).fold(Vector3::zeros(), |sum, (at, moment)| {
            let r = p - at;
            let d = r.norm();
            sum + (r * (3.0 * moment.dot(&r) / (d * d)) - moment) / d.powi(3)
        })
    }

    fn far_gradient(&self, p: Vector3<f64>, spread_m: [f64; 3]) -> Matrix3<f64> {
        self.dipoles(spread_m).fold(Matrix3::zeros(), |sum, (at, moment)| {
            let r = p - at;
            let d = r.norm();
            let n = r / d;
            let along = moment.dot(&n);
            let outer = moment * n.transpose() + n * moment.transpose();
            let own = outer + Matrix3::identity() * along - n * n.transpose() * (5.0 * along);
            sum + own * (3.0 / d.powi(4))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn disc(centre_m: [f64; 3], polarisation_t: [f64; 3]) -> Magnet {
        Magnet {
            name: "drive".to_owned(),
            shape: MagnetShape::Disc { diameter_m: 8e-3, height_m: 2e-3 },
            polarisation_t,
            centre_m,
            rotation: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
            back_plate: None,
            remanence_note: String::new(),
        }
    }

    #[test]
    fn far_dipoles_meet_the_closed_forms() {
        let shapes = [
            MagnetShape::Disc { diameter_m: 8e-3, height_m: 2e-3 },
            MagnetShape::Ring { outer_m: 8e-3, inner_m: 4e-3, height_m: 2e-3 },
            MagnetShape::Block { sides_m: [8e-3, 3e-3, 2e-3] },
        ];
        for shape in shapes {
            let source = Source::new(&Magnet { shape, ..disc([0.0; 3], [0.3, -0.4, 1.2]) });
            let (size, spread) = source.spread();
            let direction = Vector3::new(0.3, -0.5, 0.6).normalize();
            for (share, tolerance) in [(0.1, 1e-5), (0.3, 1e-7), (0.9999, 1e-8)] {
                let p = direction * (share * FAR * size);
                let (near, far) = (source.own_field(p), source.far_field(p, spread));
                let off = (near - far).norm() / far.norm();
                assert!(off < tolerance, "{off:e} at {share} of the switch for {shape:?}");
                let (near, far) = (source.own_field_and_gradient(&p).1, source.far_gradient(p, spread));
                let off = (near - far).norm() / far.norm();
                assert!(off < 10.0 * tolerance, "gradient: {off:e} at {share} of the switch for {shape:?}");
            }
        }
    }

    /// Fourth-order differences of the field: an independent route to its gradient.
    fn by_differences(field: &Field, p: Vector3<f64>, step: f64) -> Matrix3<f64> {
        Matrix3::from_columns(&[0, 1, 2].map(|axis| {
            let at = |n: f64| field.at((p + Vector3::ith(axis, n * step)).into());
            ((at(1.0) - at(-1.0)) * 8.0 - (at(2.0) - at(-2.0))) / (12.0 * step)
        }))
    }

    /// Above, beside, below, in a bore, inside the material, on and next to the axis; any polarisation, a back plate.
    #[test]
    fn gradient_is_the_change_of_the_field_without_source_and_curl() {
        let bodies = [
            (MagnetShape::Disc { diameter_m: 8e-3, height_m: 2e-3 }, [0.0, 0.0, 1.3]),
            (MagnetShape::Disc { diameter_m: 8e-3, height_m: 2e-3 }, [0.7, -0.4, 0.0]),
            (MagnetShape::Ring { outer_m: 9e-3, inner_m: 4e-3, height_m: 3e-3 }, [0.5, 0.3, 1.1]),
            (MagnetShape::Block { sides_m: [8e-3, 3e-3, 2e-3] }, [0.5, 0.3, -1.1]),
        ];
        let places = [
            [1e-3, -2e-3, 2.5e-3],
            [6e-3, 1e-3, 0.3e-3],
            [-3e-3, 7e-3, -4e-3],
            [0.4e-3, 0.3e-3, 0.2e-3],
            [3e-3, 0.5e-3, 0.2e-3],
            [1e-3, 0.0, 4e-3],
            [0.0, 0.0, 3e-3],
            [1e-8, 2e-8, 2.5e-3],
            [0.03, -0.02, 0.04],
        ];
        for (shape, polarisation) in bodies {
            let plate = Some([[0.0, 0.0, -9e-3], [0.0, 0.0, 1.0]]);
            let magnet = Magnet { shape, back_plate: plate, ..disc([0.0; 3], polarisation) };
            let field = Field::new(&[magnet]);
            for p in places.map(Vector3::from) {
                let (b, g) = field.at_with_gradient(p.into());
                assert!(
                    (b - field.at(p.into())).norm() <= 1e-15 * b.norm(),
                    "field beside its gradient at {p}"
                );
                let step = (field.clearance_m(p.into()).abs() / 200.0).min(10e-6);
                let want = by_differences(&field, p, step);
                let off = (g - want).norm() / g.norm();
                assert!(off < 1e-8, "{off:e} for {shape:?} {polarisation:?} at {p}: {g} against {want}");
                assert!(g.trace().abs() < 1e-14 * g.norm(), "divergence {:e} at {p}", g.trace());
                assert!((g - g.transpose()).norm() < 1e-14 * g.norm(), "curl at {p}");
            }
        }
    }

    /// Iron of finite permeability: reference row of an independent computation, mu = 1000.
    #[test]
    fn weaker_image_of_real_iron() {
        let source = Source::new(&disc([0.0; 3], [0.0, 0.0, 1.3]));
        let plane = Vector3::new(0.0, 0.0, -1.5e-3);
        let image = source.mirrored(plane, Vector3::z(), 999.0 / 1001.0);
        let p = Vector3::new(2e-3, 1e-3, 3e-3);
        let got = source.at(p) + image.at(p);
        let want = Vector3::new(0.07966496452668, 0.03983248226334, 0.1930539810449);
        assert!((got - want).norm() < 1e-12, "{got} against {want}");
    }

    #[test]
    fn oblique_image_gives_no_flux_along_the_plate() {
        // At the surface of ideal iron the field stands normal to it, whatever the magnet's direction.
        let normal = Vector3::new(0.2, -0.3, 0.9).normalize();
        let point = normal * -4e-3;
        let magnet = Magnet {
            back_plate: Some([point.into(), normal.into()]),
            shape: MagnetShape::Block { sides_m: [3e-3, 2e-3, 1e-3] },
            ..disc([0.0; 3], [0.4, 0.7, -0.9])
        };
        let field = Field::new(&[magnet]);
        let along = normal.cross(&Vector3::x()).normalize();
        for s in [-3e-3, 0.0, 2e-3, 5e-3] {
            let b = field.at((point + along * s).into());
            let tangential = (b - normal * normal.dot(&b)).norm();
            assert!(tangential < 1e-14 + 1e-12 * b.norm(), "{tangential:e} T along the plate of {b}");
        }
    }

    #[test]
    fn inside_and_clearance() {
        let field = Field::new(&[disc([0.0, 0.0, -2.5e-3], [0.0, 0.0, 1.3])]);
        assert_eq!(field.inside([0.0, 0.0, -2.0e-3]), Some("drive"), "in the disc");
        assert_eq!(field.inside([0.0, 0.0, 0.0]), None, "above the disc");
        assert!((field.clearance_m([0.0; 3]) - 1.5e-3).abs() < 1e-15, "{}", field.clearance_m([0.0; 3]));
        assert!(Field::default().clearance_m([0.0; 3]).is_infinite(), "no magnet");
        assert!(Field::default().at([0.0; 3]).norm() < f64::MIN_POSITIVE, "no magnet, no field");
    }
}
