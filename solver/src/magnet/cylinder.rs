//! Uniformly polarised cylinder: flux density and its gradient for any direction of polarisation.
//!
//! With psi = (1/4 pi) times the integral of dV / r over the body, the flux density is J plus the second derivatives
//! of psi times J, and its gradient the third derivatives times J. psi has no azimuth: four second and six third
//! derivatives say everything.
//!
//! Second derivatives, axial: N. Derby, S. Olbert, Am. J. Phys. 78 (2010) 229 (equivalent current sheet, gives B
//! inside too). Diametral: A. Caciagli, R. Baars, A. Philipse, B. Kuipers, J. Magn. Magn. Mater. 456 (2018) 423,
//! rewritten with the kernel's linear combinations so that nothing cancels. Both recalled from memory and checked
//! against numerical surface integrals in the tests.
//!
//! Third derivatives: the change of the axial field along the axis is the field of two current loops at the ends (W.
//! R. Smythe, Static and Dynamic Electricity, section 7.10; from memory); the rest follows from symmetry and from
//! the divergence that vanishes. Checked against differences of the field in the tests.

use super::kernel::cels;
use nalgebra::{Matrix3, Vector3};
use std::f64::consts::FRAC_1_PI;

/// Nearer to the axis than this share of the radius the field is expanded about the axis.
const AXIS: f64 = 1e-3;

/// Smallest complementary modulus: cuts the logarithm at the circular edges.
const EDGE: f64 = 1e-9;

/// Flux density of a cylinder about the origin with its axis along z, T.
///
/// `p`: point, m. `a`, `b`: radius and half height, m. `j`: polarisation, T.
#[must_use]
pub fn field(p: &Vector3<f64>, a: f64, b: f64, j: &Vector3<f64>) -> Vector3<f64> {
    if a <= 0.0 {
        return Vector3::zeros();
    }
    let place = Place::new(p, a, b);
    let second = place.second(&place.ends());
    place.to_space(&second.times(&place.own(j)))
}

/// [`field`] and its gradient, T/m: entry (i, j) is the change of component i along axis j. Meaningless on the
/// surface.
#[must_use]
pub fn field_and_gradient(
    p: &Vector3<f64>,
    a: f64,
    b: f64,
    j: &Vector3<f64>,
) -> (Vector3<f64>, Matrix3<f64>) {
    if a <= 0.0 {
        return (Vector3::zeros(), Matrix3::zeros());
    }
    let place = Place::new(p, a, b);
    let ends = place.ends();
    let (second, own) = (place.second(&ends), place.own(j));
    let gradient = place.third(&second, &ends).times(&own);
    let turn = place.axes();
    (place.to_space(&second.times(&own)), turn * gradient * turn.transpose())
}

/// Root of a sum of squares; lengths of boards are far from the ends of the number range, so the plain root does.
fn length(a: f64, b: f64) -> f64 {
    (a * a + b * b).sqrt()
}

/// A point seen from a cylinder: distance from the axis and azimuth.
struct Place {
    rho: f64,
    cos: f64,
    sin: f64,
    z: f64,
    a: f64,
    b: f64,
}

/// Second derivatives of psi in the axes outwards (r), around (t), along (z), inside with the body's own share.
struct Second {
    rr: f64,
    tt: f64,
    zz: f64,
    rz: f64,
}

/// Third derivatives of psi in the same axes.
struct Third {
    rrr: f64,
    rtt: f64,
    rrz: f64,
    ttz: f64,
    rzz: f64,
    zzz: f64,
}

/// What both solutions share at one end: height over the end, distance to the far rim, the kernel's modulus.
struct End {
    z: f64,
    s: f64,
    kc: f64,
}

impl End {
    fn new(z: f64, rho: f64, a: f64) -> Self {
        let s = length(z, rho + a);
        Self { z, s, kc: (length(z, a - rho) / s).max(EDGE) }
    }
}

impl Place {
    fn new(p: &Vector3<f64>, a: f64, b: f64) -> Self {
        let rho = length(p.x, p.y);
        let (cos, sin) = if rho > 0.0 { (p.x / rho, p.y / rho) } else { (1.0, 0.0) };
        Self { rho, cos, sin, z: p.z, a, b }
    }

    /// At the lower and at the upper face.
    fn ends(&self) -> [End; 2] {
        [End::new(self.z + self.b, self.rho, self.a), End::new(self.z - self.b, self.rho, self.a)]
    }

    /// A vector in the axes outwards, around, along.
    fn own(&self, v: &Vector3<f64>) -> Vector3<f64> {
        Vector3::new(self.cos * v.x + self.sin * v.y, self.cos * v.y - self.sin * v.x, v.z)
    }

    fn to_space(&self, v: &Vector3<f64>) -> Vector3<f64> {
        Vector3::new(self.cos * v.x - self.sin * v.y, self.sin * v.x + self.cos * v.y, v.z)
    }

    fn axes(&self) -> Matrix3<f64> {
        Matrix3::new(self.cos, -self.sin, 0.0, self.sin, self.cos, 0.0, 0.0, 0.0, 1.0)
    }

    fn is_on_axis(&self) -> bool {
        self.rho < AXIS * self.a
    }

    /// Second to seventh derivative of psi along the axis, on it.
    fn on_axis(&self) -> [f64; 6] {
        let end = |z: f64| {
            let d = length(z, self.a);
            let (u, v, e) = (z / d, (self.a / d).powi(2), 1.0 / d);
            let w = u * u;
            let fourth = v * (15.0 * w - 3.0) * e.powi(3);
            let fifth = v * u * (45.0 - 105.0 * w) * e.powi(4);
            let sixth = v * (45.0 + w * (945.0 * w - 630.0)) * e.powi(5);
            [u, v * e, -3.0 * v * u * e * e, fourth, fifth, sixth]
        };
        let (low, high) = (end(self.z + self.b), end(self.z - self.b));
        [0, 1, 2, 3, 4, 5].map(|i| 0.5 * (low[i] - high[i]))
    }

    fn second(&self, ends: &[End; 2]) -> Second {
        let (a, rho) = (self.a, self.rho);
        let within = if self.z.abs() < self.b { 1.0 } else { 0.0 };
        if self.is_on_axis() {
            let ([f2, f3, f4, f5, f6, f7], h) = (self.on_axis(), rho * rho);
            return Second {
                rr: within - f2 / 2.0 + h * (3.0 * f4 / 16.0 - h * 5.0 * f6 / 384.0),
                tt: within - f2 / 2.0 + h * (f4 / 16.0 - h * f6 / 384.0),
                zz: f2 + h * (h * f6 / 64.0 - f4 / 4.0),
                rz: rho * (h * (f5 / 16.0 - h * f7 / 384.0) - f3 / 2.0),
            };
        }
        let gamma = (a - rho) / (a + rho);
        // Third kind: on rho = a its numerator vanishes with its parameter.
        let square = (gamma * gamma).max(1e-300);
        let at = |end: &End| {
            let [one, plain] = cels(end.kc, 1.0, [(1.0, -1.0), (0.0, 1.0)]);
            let [along, three, four] = cels(end.kc, square, [(1.0, gamma), (0.0, 1.0), (-1.0, 1.0)]);
            let beta = end.z / end.s;
            [one / end.s, beta * along, -beta * (gamma * four + one), beta * (plain - gamma * gamma * three)]
        };
        let (low, high) = (at(&ends[0]), at(&ends[1]));
        let [rz, zz, rr, tt] = [0, 1, 2, 3].map(|i| FRAC_1_PI * a * (low[i] - high[i]));
        let own = if rho < a { within } else { 0.0 };
        Second { rr: rr / (2.0 * rho) + own, tt: own - tt / rho, zz: zz / (a + rho), rz }
    }

    fn third(&self, second: &Second, ends: &[End; 2]) -> Third {
        let (a, rho) = (self.a, self.rho);
        if self.is_on_axis() {
            let ([_, f3, f4, f5, f6, f7], h) = (self.on_axis(), rho * rho);
            let zzz = f3 + h * (h * f7 / 64.0 - f5 / 4.0);
            let ttz = h * (f5 / 16.0 - h * f7 / 384.0) - f3 / 2.0;
            let rzz = rho * (h * f6 / 16.0 - f4 / 2.0);
            let rtt = rho * (f4 / 8.0 - h * f6 / 96.0);
            return Third { rrr: -rzz - rtt, rtt, rrz: -zzz - ttz, ttz, rzz, zzz };
        }
        // Current loops at the ends.
        let ring = |end: &End| {
            let near = end.kc * end.s;
            let along = ((a - rho) / (near * near), (a + rho) / (end.s * end.s));
            let [along, outwards] = cels(end.kc, 1.0, [along, (1.0 / (end.kc * end.kc), -1.0)]);
            (along / end.s, outwards * end.z / end.s.powi(3))
        };
        let [low, high] = ends.each_ref().map(ring);
        let (zzz, rzz) = (FRAC_1_PI * a * (low.0 - high.0), FRAC_1_PI * a * (low.1 - high.1));
        let ttz = second.rz / rho;
        let rtt = (second.rr - second.tt) / rho;
        Third { rrr: -rzz - rtt, rtt, rrz: -zzz - ttz, ttz, rzz, zzz }
    }
}

impl Second {
    /// Flux density of a polarisation, own axes.
    fn times(&self, j: &Vector3<f64>) -> Vector3<f64> {
        Vector3::new(self.rr * j.x + self.rz * j.z, self.tt * j.y, self.rz * j.x + self.zz * j.z)
    }
}

impl Third {
    /// Gradient for a polarisation, own axes.
    fn times(&self, j: &Vector3<f64>) -> Matrix3<f64> {
        let rr = self.rrr * j.x + self.rrz * j.z;
        let rt = self.rtt * j.y;
        let rz = self.rrz * j.x + self.rzz * j.z;
        let tt = self.rtt * j.x + self.ttz * j.z;
        let tz = self.ttz * j.y;
        let zz = self.rzz * j.x + self.zzz * j.z;
        Matrix3::new(rr, rt, rz, rt, tt, tz, rz, tz, zz)
    }
}
