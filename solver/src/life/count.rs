//! Cycles, reversals, flexes, hours: one drive period of a symmetric swing is one cycle and two flexes.

/// Seconds of a day.
const DAY_S: f64 = 86_400.0;

/// Flexes a cycle: both polarities bend the copper once.
pub const FLEXES_PER_CYCLE: f64 = 2.0;

/// Flexes of a number of cycles.
#[must_use]
pub fn flexes(cycles: f64) -> f64 {
    FLEXES_PER_CYCLE * cycles
}

/// Cycles of a number of flexes.
#[must_use]
pub fn cycles(flexes: f64) -> f64 {
    flexes / FLEXES_PER_CYCLE
}

/// Cycles in a number of days at a frequency, Hz.
#[must_use]
pub fn cycles_in_days(frequency_hz: f64, days: f64) -> f64 {
    frequency_hz * days * DAY_S
}

/// Hours for a number of cycles at a frequency, Hz.
#[must_use]
pub fn hours(cycles: f64, frequency_hz: f64) -> f64 {
    cycles / frequency_hz / 3600.0
}

/// Days for a number of cycles at a frequency, Hz.
#[must_use]
pub fn days(cycles: f64, frequency_hz: f64) -> f64 {
    cycles / frequency_hz / DAY_S
}
