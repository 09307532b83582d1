//! How warm the coil's flap gets in still air: steady plate, free convection and radiation, resistance at temperature.
//!
//! In: area, resistance, current. Out: temperature. The heat that arms carry away and the wind of the motion are left out,
//! so the estimate lies on the warm side. Absent: bursts, hot spots, the arms' own heat.
//!
//! S. W. Churchill, H. H. S. Chu, Int. J. Heat Mass Transfer 18 (1975) 1323 (laminar vertical plate); W. Sutherland, Phil.
//! Mag. 36 (1893) 507 (air); constants from memory, values checked. A centimetre flap lies below the range the relation
//! was measured in (Rayleigh numbers of some 1e3): rough.

use copperbend_mesh::board::{Board, DriveWave};
use serde::Serialize;

/// Change of copper's resistance over that at 20 degC, 1/K (annealed: National Bureau of Standards Handbook 100, 1966).
const PER_KELVIN: f64 = 0.003_93;
/// Stefan and Boltzmann, W/(m2 K4).
const SIGMA: f64 = 5.670_374_419e-8;
/// Emissivity of covered board (plastic films, textbook).
const EMISSIVITY: f64 = 0.9;
const GRAVITY_M_S2: f64 = 9.806_65;
const KELVIN: f64 = 273.15;
/// Beyond this no board is left: there is no steady state worth the name.
const HOTTEST_DEGC: f64 = 500.0;

/// A flat coil in still air.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct WarmPlate {
    /// Area of one face, m2.
    pub face_m2: f64,
    /// Resistance of the current path at 20 degC, ohm.
    pub resistance_ohm: f64,
    /// Air, degC.
    pub air_degc: f64,
    /// Root mean square over peak of the current.
    pub rms_share: f64,
}

impl WarmPlate {
    /// The flap of a board at its working temperature; None without a flap or a known resistance.
    #[must_use]
    pub fn of(board: &Board) -> Option<Self> {
        let face_m2 = board.flap.as_ref()?.region.intersection(&board.outline).area_m2();
        let resistance_ohm = crate::lorentz::board_resistance_ohm(board).filter(|r| *r > 0.0)?;
        let rms_share = match board.drive.wave {
            DriveWave::Sine => std::f64::consts::FRAC_1_SQRT_2,
            DriveWave::Square => 1.0,
            DriveWave::Triangle => 3.0_f64.sqrt().recip(),
        };
        (face_m2 > 0.0).then_some(Self {
            face_m2,
            resistance_ohm,
            air_degc: board.temperature_degc,
            rms_share,
        })
    }

    /// Temperature at a peak current, A; None where it runs away.
    #[must_use]
    pub fn degc(&self, peak_a: f64) -> Option<f64> {
        let squared = (peak_a * self.rms_share).powi(2);
        let gained = |t: f64| squared * self.resistance_ohm * (1.0 + PER_KELVIN * (t - 20.0));
        let lost = |t: f64| {
            let [convected, radiated] = self.film_w_m2k(t);
            (convected + radiated) * 2.0 * self.face_m2 * (t - self.air_degc)
        };
        let excess = |t: f64| lost(t) - gained(t);
        // Losses grow faster than the resistance: one crossing, if any.
        (excess(HOTTEST_DEGC) > 0.0)
            .then(|| crate::reliability::special::bisect(excess, self.air_degc, HOTTEST_DEGC))
    }

    /// Convection and radiation of a face at a temperature, W/(m2 K).
    fn film_w_m2k(&self, degc: f64) -> [f64; 2] {
        let (air, own) = (self.air_degc + KELVIN, degc + KELVIN);
        let film = 0.5 * (air + own);
        let by = |s: f64| (film / KELVIN).powf(1.5) * (KELVIN + s) / (film + s);
        let (viscosity, conductivity) = (1.716e-5 * by(110.4), 0.0241 * by(194.0));
        let density = 101_325.0 / (287.05 * film);
        let heat = 1006.0;
        let (nu, prandtl) = (viscosity / density, heat * viscosity / conductivity);
        let length = self.face_m2.sqrt();
        let rayleigh = GRAVITY_M_S2 / film * (own - air).abs() * length.powi(3) / (nu * nu) * prandtl;
        let shape = (1.0 + (0.492 / prandtl).powf(9.0 / 16.0)).powf(4.0 / 9.0);
        let nusselt = 0.68 + 0.670 * rayleigh.powf(0.25) / shape;
        let radiated = EMISSIVITY * SIGMA * (own * own + air * air) * (own + air);
        [nusselt * conductivity / length, radiated]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Coil of 6.568 ohm on 15 x 15 mm in air of 25 degC, current by its root mean square: recomputed elsewhere with the
    /// same relations.
    #[test]
    fn a_coil_in_still_air() {
        let plate = WarmPlate { face_m2: 2.25e-4, resistance_ohm: 6.568, air_degc: 25.0, rms_share: 1.0 };
        for (rms_a, want) in [(0.10, 36.214_326_762_2), (0.15, 48.438_122), (0.20, 64.877_429)] {
            let found = plate.degc(rms_a).expect("steady");
            assert!((found - want).abs() < 2e-6, "{rms_a} A: {found} against {want}");
        }
        assert!((plate.degc(0.0).expect("steady") - 25.0).abs() < 1e-9, "no current, no heat");
        assert!(plate.degc(5.0).is_none(), "runs away");
        let [convected, radiated] = plate.film_w_m2k(36.214_326_762_2);
        assert!((convected - 8.121_212).abs() < 1e-6 && (radiated - 5.723_238).abs() < 1e-6, "{convected}");
    }
}
