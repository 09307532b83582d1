//! `[drive]`.

use super::given::{Given, word};
use crate::quantity::{Angle, Current, Frequency, Share, Voltage};
use schemars::JsonSchema;
use serde::Deserialize;

word!(
    /// Form of an alternating drive.
    DriveWave {
        /// Sine.
        Sine = "sine",
        /// Square.
        Square = "square",
        /// Triangle.
        Triangle = "triangle",
    }
);

/// The drive. `bend` takes the current as steady, `drive` as the amplitude of an alternating one.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Drive {
    /// Current through the chain: steady for `bend`, amplitude for `drive`.
    pub current: Given<Current>,
    /// Form of the alternating drive. Default: sine.
    pub wave: Option<Given<DriveWave>>,
    /// Mean of the alternating current. Default: 0 mA.
    pub offset: Option<Given<Current>>,
    /// Amplitude of an alternating voltage that drives instead of the current. Default: the current is forced.
    pub voltage: Option<Given<Voltage>>,
    /// Lowest drive frequency. Default: a fifth of the first natural frequency.
    pub from: Option<Given<Frequency>>,
    /// Highest drive frequency. Default: two and a half times the first natural frequency.
    pub to: Option<Given<Frequency>>,
    /// Drive frequencies, evenly spaced by ratio. Default: 60.
    pub points: Option<Given<u32>>,
    /// Harmonics of the drive in the steady motion. Default: 3, for square and triangle waves 5.
    pub harmonics: Option<Given<u32>>,
    /// Swing (amplitude) that is wished. Default: the swing at the lowest drive frequency.
    pub swing: Option<Given<Angle>>,
    /// Measured loss factor of the arms (twice the damping ratio without air). Default: by the layers.
    pub loss_factor: Option<Given<Share>>,
    /// Measured drag coefficient of the flap. Default: by the swing and the flap's size.
    pub drag_coefficient: Option<Given<Share>>,
    /// Largest roll over swing that is wished. Default: 10 %.
    pub roll: Option<Given<Share>>,
}
