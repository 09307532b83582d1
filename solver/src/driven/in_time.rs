//! The swing in time: start and stop of the drive, and a shock through the holder.
//!
//! In: the reduced board. Out: flap angle, roll and current over time. Stepped by the generalised-alpha scheme with a
//! little damping of what the steps cannot resolve; the drag coefficient is that of the largest swing. A step that does
//! not settle ends the trace there. Absent: steady motion.

use super::stage::Stage;
use super::way::Way;
use crate::drive::step::{Inputs, Run, Scheme};
use crate::drive::{Instant, Oscillator, Reduced, Wave};
use crate::result::{TimePoint, TimeTrace};
use nalgebra::DVector;
use std::f64::consts::{PI, TAU};

/// Steps over a period of the drive or of the swing.
const STEPS: u32 = 200;

/// Every so many steps one is kept.
const KEPT: u32 = 5;

/// What to follow in time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum InTime {
    /// Drive from rest for some periods at the frequency of the largest swing, then as long without.
    StartStop {
        /// Periods.
        periods: u32,
    },
    /// A half sine of acceleration across the board, through the holder, without drive.
    Shock {
        /// Peak, m/s2; positive lifts the holder.
        peak_m_s2: f64,
        /// Its length, s.
        duration_s: f64,
    },
}

/// A run at `frequency_hz`, the drag coefficient at `swing_rad`.
pub(super) fn trace(
    (stage, way, system): (&Stage<'_>, &Way, &Reduced),
    wish: InTime,
    wave: Wave,
    [frequency_hz, swing_rad]: [f64; 2],
) -> Option<TimeTrace> {
    let n = stage.shapes.len();
    let own_hz = stage.shapes[0].rad_s / TAU;
    let (name, hertz, until_s, step_s) = match wish {
        InTime::StartStop { periods } => {
            let whole = 2.0 * f64::from(periods) / frequency_hz;
            ("start and stop", frequency_hz, whole, 1.0 / frequency_hz / f64::from(STEPS))
        }
        InTime::Shock { duration_s, .. } => {
            let step = (1.0 / own_hz / f64::from(STEPS)).min(duration_s / 40.0);
            ("shock", own_hz, duration_s + 20.0 / own_hz, step)
        }
    };
    let inputs = |t: f64| match wish {
        InTime::StartStop { periods } => {
            let on = t < f64::from(periods) / frequency_hz;
            // A start at phase -90 deg, where a sine passes zero.
            let lag = wave.lag_s * TAU * frequency_hz;
            let value = wave.amplitude * wave.form.series(TAU * frequency_hz * t - 0.5 * PI, 15, lag);
            Inputs { input: if on { wave.offset + value } else { 0.0 }, base_m_s2: 0.0, swing: swing_rad }
        }
        InTime::Shock { peak_m_s2, duration_s } => {
            let base_m_s2 = if t < duration_s { peak_m_s2 * (PI * t / duration_s).sin() } else { 0.0 };
            Inputs { input: 0.0, base_m_s2, swing: swing_rad }
        }
    };
    let mut start = DVector::zeros(n);
    start[0] = way.at_angle(way.rest_rad);
    let mut run = Run::new(system, Scheme::Alpha(0.8), &inputs, [start, DVector::zeros(n)])?;
    let mut points = Vec::new();
    let mut ended = None;
    let mut count = 0u32;
    while run.now().time_s < until_s {
        if count.is_multiple_of(KEPT) {
            points.push(point(stage, way, system, run.now(), &inputs));
        }
        count += 1;
        if !run.step(step_s) {
            ended = Some(run.now().time_s);
            break;
        }
    }
    let most = points.iter().map(|p| (p.angle_rad - way.rest_rad).abs()).fold(0.0, f64::max);
    let [low, high] = way.span_rad();
    let beyond = points.iter().any(|p| p.angle_rad < low - 1e-3 || p.angle_rad > high + 1e-3);
    Some(TimeTrace {
        name: name.to_owned(),
        frequency_hz: hertz,
        largest_rad: most,
        beyond,
        ended_s: ended,
        points,
    })
}

fn point(
    stage: &Stage<'_>,
    way: &Way,
    system: &Reduced,
    now: &crate::drive::step::Moment,
    inputs: &dyn Fn(f64) -> Inputs,
) -> TimePoint {
    let others: f64 = (1..now.q.len()).map(|j| stage.shapes[j].lift * now.q[j]).sum();
    let roll = stage.shapes.iter().zip(now.q.iter()).map(|(s, q)| s.roll * q).sum();
    let given = inputs(now.time_s);
    let at = Instant {
        q: now.q.as_slice(),
        v: now.v.as_slice(),
        input: given.input,
        base_m_s2: given.base_m_s2,
        swing: given.swing,
    };
    debug_assert_eq!(system.size(), now.q.len(), "one amplitude a shape");
    TimePoint {
        time_s: now.time_s,
        angle_rad: way.angle.at(now.q[0], 0)[0] + others,
        roll_rad: roll,
        current_a: system.current_a(&at),
    }
}
