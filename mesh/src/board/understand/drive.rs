//! `[drive]` → wishes about an alternating drive.

use super::Builder;
use crate::board::{DriveWave, DriveWishes};
use crate::design::{self, Design, Wanted};
use crate::quantity::{Angle, Current, Frequency, Share, Voltage};

/// Lowest and highest drive frequency, Hz.
const FREQUENCIES_HZ: [f64; 2] = [1e-3, 1e5];

impl Builder<'_> {
    /// Wishes about the drive, the current apart.
    pub(super) fn drive(&mut self, design: &Design) {
        let Some(placed) = &design.drive else { return };
        let d = &placed.item;
        let wave = self.take_opt(d.wave.as_ref()).flatten().map_or(DriveWave::Sine, |w| match w {
            design::DriveWave::Sine => DriveWave::Sine,
            design::DriveWave::Square => DriveWave::Square,
            design::DriveWave::Triangle => DriveWave::Triangle,
        });
        let frequency = |f: Frequency| f.0;
        // From zero: the slow drive, which is statics.
        let from_hz = self.in_range(d.from.as_ref(), "from", frequency, [0.0, FREQUENCIES_HZ[1]]);
        let to_hz = self.in_range(d.to.as_ref(), "to", frequency, FREQUENCIES_HZ);
        if let (Some(from), Some(to), Some(given)) = (from_hz, to_hz, &d.to)
            && to <= from
        {
            self.faults.add(&given.span, "`to` must lie above `from`", Frequency::wanted());
        }
        self.board.drive = DriveWishes {
            wave,
            offset_a: self
                .in_range(d.offset.as_ref(), "offset", |a: Current| a.0, [-1e3, 1e3])
                .unwrap_or(0.0),
            voltage_v: self.in_range(d.voltage.as_ref(), "voltage", |v: Voltage| v.0, [1e-9, 1e4]),
            from_hz,
            to_hz,
            points: self.count(d.points.as_ref(), "points", [2, 2000]),
            harmonics: self.count(d.harmonics.as_ref(), "harmonics", [1, 15]),
            swing_rad: self.in_range(d.swing.as_ref(), "swing", |a: Angle| a.0, [1e-6, 1.5]),
            loss_factor: self.in_range(d.loss_factor.as_ref(), "loss_factor", |s: Share| s.0, [0.0, 2.0]),
            drag_coefficient: self.in_range(
                d.drag_coefficient.as_ref(),
                "drag_coefficient",
                |s: Share| s.0,
                [0.0, 1e3],
            ),
            roll: self.in_range(d.roll.as_ref(), "roll", |s: Share| s.0, [1e-6, 10.0]),
        };
    }
}
