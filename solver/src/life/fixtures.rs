//! Steady loops made up for tests.

use super::CopperKind;
use crate::result::{CycleAnswer, CycleSpot, RangeSpot};

/// A spot with its strain range over the share of the swing, odd about zero.
pub(super) fn spot(rank: u32, at_share: impl Fn(f64) -> f64) -> CycleSpot {
    let loop_strain: Vec<f64> = (-10..=10).map(|k| 0.5 * at_share(0.1 * f64::from(k))).collect();
    let spot = RangeSpot { rank, range: loop_strain[20] - loop_strain[0], ..RangeSpot::default() };
    CycleSpot {
        spot,
        kind: CopperKind::RolledAnnealed,
        first_bend_strain: 0.0,
        set_strain: 0.0,
        mean_strain: 0.0,
        mean_stress_pa: 0.0,
        mean_stress_over_share: Vec::new(),
        loop_strain,
    }
}

/// A loop of +-10 degrees by +-60 mA with spots whose strain range over the share of the swing is given.
pub(super) fn board(spots: Vec<CycleSpot>) -> CycleAnswer {
    let over = |whole: f64| (-10..=10).map(|k| 0.1 * f64::from(k) * whole).collect::<Vec<f64>>();
    CycleAnswer {
        currents_a: [-0.06, 0.06],
        steady_ends_rad: [-10.0_f64.to_radians(), 10.0_f64.to_radians()],
        loop_current_a: over(0.06),
        loop_angle_rad: over(10.0_f64.to_radians()),
        elastic_range: 1.25e-3,
        spots,
        ..CycleAnswer::default()
    }
}
