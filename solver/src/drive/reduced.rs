//! The board on few amplitudes: natural modes of unit mass, the first of them the swing.
//!
//! In: modes, and curves over the swing's amplitude computed along the large motion. Out: an [`Oscillator`]. Potential
//! `1/2 sum w_j^2 q_j^2 + dU(q_0) - i (Phi(q_0) + sum_j b_j(q_0) q_j)`, so that every static answer along the large
//! motion comes out exactly; drag patch by patch as `1/2 rho C A v |v|`; eddy currents and linear air by matrices.
//! `q_0` is the length of the path in the metric of the mass, which makes the kinetic energy that of the mode however
//! far it swings. Absent: triangles, magnets.

use super::curve::Curve;
use super::oscillator::{Force, Instant, Linear, Oscillator};
use crate::vectors::widest;
use nalgebra::DVector;

/// A piece of surface that pushes air.
#[derive(Debug, Clone, PartialEq)]
pub struct Patch {
    /// Area, m2.
    pub area_m2: f64,
    /// Velocity normal to the surface per rate of every amplitude.
    pub normal: Vec<f64>,
}

/// Quadratic drag of all patches.
#[derive(Clone, PartialEq)]
pub struct QuadraticDrag {
    /// Density of the gas, kg/m3.
    pub density_kg_m3: f64,
    /// Drag coefficient over the swing, rad: value and slope.
    pub coefficient: Coefficient,
    patches: Vec<Patch>,
    /// The patches again, in groups.
    groups: Vec<Group>,
}

/// Patches worked off together.
const TOGETHER: usize = 16;

/// Some patches, their values side by side; missing ones have no area.
#[derive(Clone, PartialEq)]
struct Group {
    area_m2: [f64; TOGETHER],
    /// One row per amplitude.
    normal: Vec<[f64; TOGETHER]>,
}

impl QuadraticDrag {
    /// Of patches that all have one number of amplitudes.
    #[must_use]
    pub fn new(density_kg_m3: f64, coefficient: Coefficient, patches: Vec<Patch>) -> Self {
        let n = patches.iter().map(|p| p.normal.len()).max().unwrap_or(0);
        let group = |chunk: &[Patch]| {
            let row = |of: &dyn Fn(&Patch) -> f64| std::array::from_fn(|i| chunk.get(i).map_or(0.0, of));
            Group {
                area_m2: row(&|p| p.area_m2),
                normal: (0..n).map(|r| row(&|p| p.normal.get(r).copied().unwrap_or(0.0))).collect(),
            }
        };
        let groups = patches.chunks(TOGETHER).map(group).collect();
        Self { density_kg_m3, coefficient, patches, groups }
    }

    /// The patches.
    #[must_use]
    pub fn patches(&self) -> &[Patch] {
        &self.patches
    }

    /// Adds the force at rates `v`.
    fn add(&self, v: &[f64], swing_rad: f64, out: &mut Force) {
        let [c, slope] = self.coefficient.at(swing_rad);
        widest(
            #[inline(always)]
            || self.groups.iter().for_each(|group| group.add(0.5 * self.density_kg_m3, [c, slope], v, out)),
        );
    }
}

impl Group {
    #[inline(always)]
    fn add(&self, half_density: f64, [c, slope]: [f64; 2], v: &[f64], out: &mut Force) {
        let mut rate = [0.0; TOGETHER];
        for (row, v) in self.normal.iter().zip(v) {
            for (sum, w) in rate.iter_mut().zip(row) {
                *sum += w * v;
            }
        }
        let mut size = [0.0; TOGETHER];
        for i in 0..TOGETHER {
            size[i] = half_density * self.area_m2[i] * rate[i].abs();
        }
        for (r, row) in self.normal.iter().enumerate() {
            let mut push = [0.0; TOGETHER];
            for i in 0..TOGETHER {
                push[i] = size[i] * row[i];
            }
            let force = dot(&push, &rate);
            out.value[r] -= c * force;
            out.by_swing[r] -= slope * force;
            for (k, other) in self.normal[..=r].iter().enumerate() {
                let own = 2.0 * c * dot(&push, other);
                out.by_v[(r, k)] -= own;
                if k < r {
                    out.by_v[(k, r)] -= own;
                }
            }
        }
    }
}

#[inline(always)]
fn dot(a: &[f64; TOGETHER], b: &[f64; TOGETHER]) -> f64 {
    let mut lanes = [0.0; 4];
    for (a, b) in a.chunks_exact(4).zip(b.chunks_exact(4)) {
        for i in 0..4 {
            lanes[i] += a[i] * b[i];
        }
    }
    (lanes[0] + lanes[1]) + (lanes[2] + lanes[3])
}

impl std::fmt::Debug for QuadraticDrag {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("QuadraticDrag").field("patches", &self.patches.len()).finish_non_exhaustive()
    }
}

/// Drag coefficient over the swing.
#[derive(Debug, Clone, PartialEq)]
pub struct Coefficient {
    /// Over the logarithm of the swing (rad).
    pub over_log_swing: Curve,
    /// Factor for brackets.
    pub factor: f64,
}

impl Coefficient {
    /// The same at every swing.
    #[must_use]
    pub fn fixed(value: f64) -> Self {
        let over_log_swing = Curve::new(vec![0.0], vec![vec![value]]).unwrap_or_default();
        Self { over_log_swing, factor: 1.0 }
    }

    /// Value and slope (per rad) at a swing. Level beyond the ends of the curve.
    #[must_use]
    pub fn at(&self, swing_rad: f64) -> [f64; 2] {
        if self.over_log_swing.width() == 0 {
            return [0.0; 2];
        }
        let [low, high] = self.over_log_swing.span();
        let log = swing_rad.max(f64::MIN_POSITIVE).ln();
        let [value, slope, _] = self.over_log_swing.at(log.clamp(low, high), 0);
        let slope = if low < log && log < high { slope / swing_rad } else { 0.0 };
        [value * self.factor, slope * self.factor]
    }
}

/// How the current comes about.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Supply {
    /// The input is the current, A.
    Current,
    /// The input is the voltage, V, on this resistance, ohm; motion induces a voltage against it.
    Voltage(f64),
}

/// The board on few amplitudes.
#[derive(Debug, Clone)]
pub struct Reduced {
    /// Unit mass, damping, squares of the angular frequencies.
    pub linear: Linear,
    /// Over the swing's amplitude: restoring force beyond the linear one.
    pub restoring: Curve,
    /// Over the swing's amplitude: force per ampere on every amplitude.
    pub per_ampere: Curve,
    /// Over the swing's amplitude: eddy damping, all entries column by column; None without.
    pub eddy: Option<Curve>,
    /// Drag; None in vacuum.
    pub drag: Option<QuadraticDrag>,
    /// Force on every amplitude per acceleration of the holder.
    pub base: DVector<f64>,
    /// Flap angle per amplitude, rad.
    pub angle: DVector<f64>,
    /// What carries the current.
    pub supply: Supply,
}

impl Reduced {
    /// Force per ampere on every amplitude: the change of flux with it.
    fn flux_slope(&self, q: &[f64]) -> DVector<f64> {
        let near = self.per_ampere.near(q[0]);
        let mut slope = DVector::from_fn(q.len(), |j, _| near.of(j)[0]);
        // Phi = ... + b_j(q_0) q_j.
        slope[0] += (1..q.len()).map(|j| near.of(j)[1] * q[j]).sum::<f64>();
        slope
    }

    /// Voltage that the motion induces, V.
    #[must_use]
    pub fn induced_v(&self, q: &[f64], v: &[f64]) -> f64 {
        self.flux_slope(q).iter().zip(v).map(|(s, v)| s * v).sum()
    }

    /// Current at an instant, A.
    #[must_use]
    pub fn current_a(&self, at: &Instant<'_>) -> f64 {
        match self.supply {
            Supply::Current => at.input,
            Supply::Voltage(resistance) => (at.input - self.induced_v(at.q, at.v)) / resistance,
        }
    }

    fn add_magnet(&self, at: &Instant<'_>, out: &mut Force) {
        let n = at.q.len();
        let near = self.per_ampere.near(at.q[0]);
        let slope = self.flux_slope(at.q);
        // Changes of the slope: of the swing's row, and of its column alike, with every other amplitude.
        let by_other = |j: usize| near.of(j)[1];
        let own = by_other(0) + (1..n).map(|j| near.of(j)[2] * at.q[j]).sum::<f64>();
        let (current, per_input) = match self.supply {
            Supply::Current => (at.input, 1.0),
            Supply::Voltage(resistance) => {
                let induced: f64 = slope.iter().zip(at.v).map(|(s, v)| s * v).sum();
                ((at.input - induced) / resistance, resistance.recip())
            }
        };
        out.value.axpy(current, &slope, 1.0);
        out.by_input.axpy(per_input, &slope, 1.0);
        out.by_q[(0, 0)] += own * current;
        for j in 1..n {
            out.by_q[(0, j)] += by_other(j) * current;
            out.by_q[(j, 0)] += by_other(j) * current;
        }
        if let Supply::Voltage(resistance) = self.supply {
            // How the induced voltage changes with every amplitude at given rates.
            let mut change = DVector::from_fn(n, |j, _| by_other(j) * at.v[0]);
            change[0] = own * at.v[0] + (1..n).map(|j| by_other(j) * at.v[j]).sum::<f64>();
            out.by_q.ger(-1.0 / resistance, &slope, &change, 1.0);
            out.by_v.ger(-1.0 / resistance, &slope, &slope, 1.0);
        }
    }

    fn add_eddy(eddy: &Curve, at: &Instant<'_>, out: &mut Force) {
        let n = at.q.len();
        let near = eddy.near(at.q[0]);
        for c in 0..n {
            for r in 0..n {
                let [value, slope, _] = near.of(c * n + r);
                out.value[r] -= value * at.v[c];
                out.by_v[(r, c)] -= value;
                out.by_q[(r, 0)] -= slope * at.v[c];
            }
        }
    }
}

impl Oscillator for Reduced {
    fn linear(&self) -> &Linear {
        &self.linear
    }

    fn force(&self, at: &Instant<'_>, out: &mut Force) {
        let [value, slope, _] = self.restoring.at(at.q[0], 0);
        out.value[0] -= value;
        out.by_q[(0, 0)] -= slope;
        out.value.axpy(at.base_m_s2, &self.base, 1.0);
        self.add_magnet(at, out);
        if let Some(eddy) = &self.eddy {
            Self::add_eddy(eddy, at, out);
        }
        if let Some(drag) = &self.drag {
            drag.add(at.v, at.swing, out);
        }
    }

    fn swing(&self) -> Option<&DVector<f64>> {
        self.drag.is_some().then_some(&self.angle)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::DMatrix;

    fn curve(of: impl Fn(f64) -> Vec<f64>) -> Curve {
        let places: Vec<f64> = (0..9).map(|i| -0.4 + 0.1 * f64::from(i)).collect();
        Curve::new(places.clone(), places.into_iter().map(of).collect()).unwrap()
    }

    fn example(supply: Supply) -> Reduced {
        let logs: Vec<f64> = (0..12).map(|i| -6.0 + f64::from(i)).collect();
        let coefficient = Coefficient {
            over_log_swing: Curve::new(
                logs.clone(),
                logs.iter().map(|l| vec![8.0 * (-l / 3.0).exp()]).collect(),
            )
            .unwrap(),
            factor: 0.6,
        };
        Reduced {
            linear: Linear {
                mass: DMatrix::identity(2, 2),
                damping: DMatrix::from_diagonal(&DVector::from_vec(vec![0.3, 0.5])),
                stiffness: DMatrix::from_diagonal(&DVector::from_vec(vec![9.0, 90.0])),
            },
            restoring: curve(|x| vec![0.4 + x * x * x - 0.2 * x]),
            per_ampere: curve(|x| vec![2.0 * x.cos(), 0.3 + x]),
            eddy: Some(curve(|x| vec![0.2 / (1.0 + x * x), 0.01 * x, 0.01 * x, 0.1])),
            drag: Some(QuadraticDrag::new(
                1.2,
                coefficient,
                vec![
                    Patch { area_m2: 0.4, normal: vec![1.0, 0.3] },
                    Patch { area_m2: 0.2, normal: vec![0.6, -0.8] },
                ],
            )),
            base: DVector::from_vec(vec![0.2, -0.1]),
            angle: DVector::from_vec(vec![1.0, 0.1]),
            supply,
        }
    }

    /// Every derivative against differences, both supplies.
    #[test]
    fn derivatives_are_exact() {
        for supply in [Supply::Current, Supply::Voltage(3.0)] {
            let system = example(supply);
            let values = [0.13, -0.05, 0.7, -0.4, 0.6, 0.2];
            let at = |x: &[f64; 6]| {
                let mut out = Force::zeros(2);
                let state = Instant { q: &x[..2], v: &x[2..4], input: x[4], base_m_s2: 1.5, swing: x[5] };
                system.force(&state, &mut out);
                out
            };
            let exact = at(&values);
            for i in 0..6 {
                let beside = |d: f64| {
                    let mut x = values;
                    x[i] += d;
                    at(&x).value
                };
                let by = (beside(1e-6) - beside(-1e-6)) / 2e-6;
                let want = match i {
                    0 | 1 => exact.by_q.column(i).into_owned(),
                    2 | 3 => exact.by_v.column(i - 2).into_owned(),
                    4 => exact.by_input.clone(),
                    _ => exact.by_swing.clone(),
                };
                assert!(
                    (&by - &want).amax() < 1e-7 * want.amax().max(1.0),
                    "{supply:?}, {i}: {by} against {want}"
                );
            }
        }
    }

    /// A voltage drives what is left of it: with the coil at rest `v / r`, and its induced voltage takes out exactly the
    /// mechanical power of the force.
    #[test]
    fn induced_voltage_balances_the_power() {
        let system = example(Supply::Voltage(3.0));
        let at = Instant { q: &[0.1, 0.02], v: &[0.5, -0.2], input: 1.2, base_m_s2: 0.0, swing: 0.1 };
        let current = system.current_a(&at);
        let slope = system.flux_slope(at.q);
        let mechanical: f64 = slope.iter().zip(at.v).map(|(s, v)| s * v * current).sum();
        let electrical = 1.2 * current - 3.0 * current * current;
        assert!((mechanical - electrical).abs() < 1e-14, "{mechanical} against {electrical}");
        let still = Instant { v: &[0.0, 0.0], ..at };
        assert!((system.current_a(&still) - 0.4).abs() < 1e-15, "at rest");
    }

    #[test]
    fn coefficient_is_level_beyond_its_curve() {
        let c = example(Supply::Current).drag.unwrap().coefficient;
        assert!(c.at(0.0).iter().zip(c.at(1e-30)).all(|(a, b)| (a - b).abs() < 1e-300), "no swing");
        assert!(c.at(1e-30)[1] == 0.0 && c.at(1e6)[1] == 0.0, "level");
        let want = 0.6 * 8.0 * 0.4_f64.powf(-1.0 / 3.0);
        assert!((c.at(0.4)[0] / want - 1.0).abs() < 1e-2, "{}", c.at(0.4)[0]);
    }
}
