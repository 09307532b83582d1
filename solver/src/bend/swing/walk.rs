//! Along the equilibria of the swing: by current, by angle, up to pull-in or contact.
//!
//! In: a path at rest. Out: states seen, and where each way ended early. Currents are approached step by step from the
//! state without current; where a step fails, turns unstable or leaps, the way is gone again by prescribed angle, which
//! passes the largest current that has an equilibrium (pull-in) instead of missing it.

use super::super::Told;
use super::Stage;
use super::words::{degrees, milliampere, multiples, touching};
use crate::clearance::Approach;
use crate::error::SolveError;
use crate::result::{PullIn, Snap, SwingState, SwingStop};
use crate::swing::{Equilibrium, Level, Mark, Path, Pose};

/// A step that turns the flap this many times further than the one before (the first: than small motion says), and
/// [`LEAP_RAD`] more, may have left its branch: it is looked at.
const LEAP: f64 = 1.6;
const LEAP_RAD: f64 = 0.02;

/// Where a step of current turns the flap this many times further than the one before, or kappa by the values at rest
/// is above this, pull-in may be near: the next step goes by prescribed angle.
const SOFTENING: f64 = 1.35;
const MOST_KAPPA: f64 = 0.4;

/// Share of the clearance that one step may use up.
pub(super) const APPROACH: f64 = 0.9;

/// Smallest part of a step towards something near.
const LEAST_PART: f64 = 1.0 / 32.0;

/// Smallest and largest step of the angle on the way to pull-in, rad.
const CREEP_RAD: [f64; 2] = [0.005, 0.06];

/// Most steps on the way to pull-in.
const MOST_CREEPS: usize = 60;

/// States kept per step of current on the way to pull-in.
const SEEN_PER_STEP: f64 = 4.0;

/// Halvings towards the place of contact.
const HALVINGS: usize = 8;

/// Largest flap angle of prescribed angles chosen here, rad.
const MOST_RAD: f64 = 60.0 * std::f64::consts::PI / 180.0;

/// A state with what its row and its strain need.
pub(super) struct Seen {
    pub(super) row: SwingState,
    pub(super) pose: Pose,
    pub(super) balance: Equilibrium,
    pub(super) approach: Option<Approach>,
}

/// What was seen on all ways.
#[derive(Default)]
pub(super) struct Found {
    pub(super) currents: Vec<Seen>,
    pub(super) angles: Vec<Seen>,
    /// From rest to the whole loads.
    pub(super) loads: Vec<Seen>,
    pub(super) snaps: Vec<Snap>,
    pub(super) stops: Vec<SwingStop>,
    pub(super) pull_in: Option<PullIn>,
    pub(super) rest_angle_rad: f64,
    pub(super) factorisations: usize,
}

/// A walk along the equilibria of one board.
pub(super) struct Walk<'w, 'p, 't> {
    pub(super) stage: &'w Stage<'w>,
    pub(super) path: Path<'p>,
    pub(super) told: &'w mut Told<'t>,
    pub(super) found: Found,
    rest: Option<Mark>,
    /// What the present way leads to, in words.
    pub(super) wished: String,
    /// Change of torque over spring at the largest current, positive polarity, by the values at rest.
    kappa: f64,
    pub(super) done: f64,
    /// Nearest approaches of the states looked at last.
    pub(super) near: Vec<(Mark, Option<Approach>)>,
}

/// How a step ended.
pub(super) enum Step {
    /// At a state clear of everything.
    Clear(Box<Seen>),
    /// Board and something else overlap.
    Contact(Approach),
    /// No equilibrium found.
    Failed(String),
}

impl<'w, 'p, 't> Walk<'w, 'p, 't> {
    pub(super) fn new(stage: &'w Stage<'w>, path: Path<'p>, told: &'w mut Told<'t>, kappa: f64) -> Self {
        Self {
            stage,
            path,
            told,
            found: Found::default(),
            rest: None,
            wished: String::new(),
            kappa,
            done: 0.0,
            near: Vec::new(),
        }
    }

    pub(super) fn finish(mut self) -> Found {
        self.found.factorisations = self.path.factorisations();
        self.found
    }

    /// To the state without current.
    pub(super) fn start(&mut self, loaded: Level) -> Result<(), SolveError> {
        "the state without current".clone_into(&mut self.wished);
        match self.step(|path, _| path.to_level(loaded).map(|_| ()))? {
            Step::Clear(seen) => {
                self.found.rest_angle_rad = seen.row.angle_rad;
                self.found.currents.push(*seen);
                self.rest = Some(self.path.mark());
            }
            Step::Contact(approach) => {
                let why = format!(
                    "without current the board already lies {}: contact is not modelled",
                    touching(&approach)
                );
                self.stop(why);
            }
            Step::Failed(why) => self.stop(why),
        }
        Ok(())
    }

    /// Both polarities up to the largest current.
    pub(super) fn currents(&mut self, steps: u32) -> Result<(), SolveError> {
        let Some(rest) = self.rest.clone() else { return Ok(()) };
        for polarity in [1.0, -1.0] {
            self.path.back_to(&rest);
            self.polarity(polarity * self.stage.most_a, steps.max(1))?;
        }
        Ok(())
    }

    fn polarity(&mut self, end_a: f64, steps: u32) -> Result<(), SolveError> {
        self.wished = milliampere(end_a);
        let mut before = self.found.rest_angle_rad;
        let mut turned: Option<f64> = None;
        let mut softening = 1.0;
        for k in 1..=steps {
            let current = end_a * f64::from(k) / f64::from(steps);
            let mark = self.path.mark();
            let level = Level { driven: current, ..self.path.state().level };
            let near = softening > SOFTENING || self.kappa * current / self.stage.most_a > MOST_KAPPA;
            let step = if near {
                Step::Failed(String::new())
            } else {
                self.step(|path, _| path.to_level(level).map(|_| ()))?
            };
            if let Step::Clear(seen) = &step {
                let by = seen.row.angle_rad - before;
                let small = self.stage.rad_per_ampere * (current - mark.level().driven);
                let leapt = leaps(by, turned.unwrap_or(small));
                if seen.row.stable && (!leapt || self.path.leads_back_to(&mark)) {
                    softening = turned.map_or(1.0, |t| by / t);
                    turned = Some(by);
                    before = seen.row.angle_rad;
                    if let Step::Clear(seen) = step {
                        self.found.currents.push(*seen);
                    }
                    continue;
                }
            }
            self.path.back_to(&mark);
            let apart_a = end_a.abs() / f64::from(steps) / SEEN_PER_STEP;
            if !self.creep(current, turned, apart_a)? {
                return Ok(());
            }
            // The current was reached by prescribed angle after all.
            let level = Level { driven: current, ..self.path.state().level };
            let (near, at) = (self.path.mark(), self.here());
            match self.step(|path, _| path.to_level(level).map(|_| ()))? {
                Step::Clear(mut seen) => {
                    let by = seen.row.angle_rad - before;
                    if leaps(seen.row.angle_rad - at.0, CREEP_RAD[1]) && !self.path.leads_back_to(&near) {
                        seen.row.snapped = true;
                        self.found.snaps.push(Snap {
                            loads: [1.0; 2],
                            currents_a: [at.1, current],
                            angles_rad: [at.0, seen.row.angle_rad],
                        });
                    }
                    softening = turned.map_or(1.0, |t| by / t);
                    turned = Some(by);
                    before = seen.row.angle_rad;
                    self.found.currents.push(*seen);
                }
                Step::Contact(_) => return Ok(()),
                Step::Failed(why) => {
                    self.stop(why);
                    return Ok(());
                }
            }
        }
        Ok(())
    }

    /// From the present state by prescribed angle towards a current: true when it is reached, false (and told) when
    /// pull-in, contact or the end of convergence comes first. States whose currents lie `apart_a` apart are kept.
    fn creep(&mut self, current: f64, turned: Option<f64>, apart_a: f64) -> Result<bool, SolveError> {
        let start = self.here();
        let mut kept = start.1;
        let sense = match turned {
            Some(t) if t != 0.0 => t.signum(),
            _ => (current * self.torque_per_factor()).signum(),
        };
        let by = sense * turned.map_or(CREEP_RAD[1], |t| 0.5 * t.abs()).clamp(CREEP_RAD[0], CREEP_RAD[1]);
        let mut way = vec![start];
        for _ in 0..MOST_CREEPS {
            let (angle, _) = way[way.len() - 1];
            let mark = self.path.mark();
            match self.turn_to(angle + by)? {
                Step::Clear(seen) => {
                    let now = (seen.row.angle_rad, seen.row.current_a);
                    way.push(now);
                    if (now.1 / current) >= 1.0 {
                        return Ok(true);
                    }
                    if way.len() > 2 && now.1 / current < way[way.len() - 2].1 / current {
                        self.pulled_in(&way)?;
                        return Ok(false);
                    }
                    if (now.1 - kept).abs() >= apart_a && seen.row.stable {
                        kept = now.1;
                        self.found.currents.push(*seen);
                    }
                }
                Step::Contact(approach) => {
                    self.contact(&mark, angle, angle + by, approach)?;
                    return Ok(false);
                }
                Step::Failed(why) => {
                    self.path.back_to(&mark);
                    self.stop(why);
                    return Ok(false);
                }
            }
        }
        self.stop("the flap goes on turning without reaching this current".to_owned());
        Ok(false)
    }

    /// The current has passed its largest value: parabola through the last three states, then once more beside it.
    fn pulled_in(&mut self, way: &[(f64, f64)]) -> Result<(), SolveError> {
        let top = |p: &[(f64, f64); 3]| {
            let [(a, fa), (b, fb), (c, fc)] = *p;
            let (left, right) = ((fb - fa) / (b - a), (fc - fb) / (c - b));
            let bend = (right - left) / (c - a);
            // Slope at b of the parabola through all three.
            let slope = left + bend * (b - a);
            let at = b - slope / (2.0 * bend);
            (at, fb - slope * slope / (4.0 * bend))
        };
        let n = way.len();
        let three = [way[n - 3], way[n - 2], way[n - 1]];
        let mut peak = top(&three);
        if let Step::Clear(_) = self.turn_to(peak.0)? {
            let half = 0.25 * (three[2].0 - three[1].0);
            let now = self.here();
            let mut beside = vec![now];
            for angle in [now.0 + half, now.0 - half] {
                if let Step::Clear(next) = self.turn_to(angle)? {
                    beside.push((next.row.angle_rad, next.row.current_a));
                }
            }
            if let [now, after, before] = beside[..] {
                let fine = top(&[before, now, after]);
                peak = if (fine.0 - now.0).abs() < 2.0 * half.abs() { fine } else { now };
            }
            // The last state that holds at constant current lies a hair before the peak.
            if let Step::Clear(seen) = self.turn_to(peak.0 - 0.04 * half)? {
                if seen.row.current_a.abs() > peak.1.abs() {
                    peak = (seen.row.angle_rad, seen.row.current_a);
                }
                self.found.currents.push(*seen);
            }
        }
        self.found.pull_in = Some(PullIn { current_a: peak.1, angle_rad: peak.0 });
        let why = format!(
            "pull-in at {} and {:.2} deg: beyond this current the magnet's torque grows faster than the arms' and no \
             equilibrium is near",
            milliampere(peak.1),
            peak.0.to_degrees()
        );
        self.stop(why);
        Ok(())
    }

    /// Prescribed angles; chosen from what the current reached when none are given.
    pub(super) fn angles(&mut self, given: Option<[f64; 3]>) -> Result<(), SolveError> {
        let Some(rest) = self.rest.clone() else { return Ok(()) };
        let list = given.map_or_else(|| self.own_angles(), |[from, to, step]| multiples(from, to, step));
        let start = self.found.rest_angle_rad;
        let (mut up, mut down): (Vec<f64>, Vec<f64>) = list.into_iter().partition(|&a| a >= start);
        up.sort_by(f64::total_cmp);
        down.sort_by(|a, b| b.total_cmp(a));
        for side in [up, down] {
            self.path.back_to(&rest);
            let mut angle = start;
            for next in side {
                let mark = self.path.mark();
                self.wished = degrees(next);
                match self.turn_to(next)? {
                    Step::Clear(seen) => {
                        self.found.angles.push(*seen);
                        angle = next;
                    }
                    Step::Contact(approach) => {
                        self.contact(&mark, angle, next, approach)?;
                        break;
                    }
                    Step::Failed(why) => {
                        self.path.back_to(&mark);
                        self.stop(format!("no current holds the flap there: {why}"));
                        break;
                    }
                }
            }
        }
        Ok(())
    }

    /// Round angles on both sides, a little beyond what the current reached there.
    fn own_angles(&self) -> Vec<f64> {
        let reached = |sign: f64| {
            let most = self.found.currents.iter().map(|s| sign * s.row.angle_rad).fold(0.0, f64::max);
            (1.2 * most).min(MOST_RAD).to_degrees()
        };
        let (down, up) = (reached(-1.0), reached(1.0));
        let steps = [0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 15.0];
        let step = steps.into_iter().find(|s| (down + up) / s <= 4.5).unwrap_or(15.0);
        let end = |side: f64| (side / step).ceil() * step;
        let mut list = multiples(-end(down).to_radians(), end(up).to_radians(), f64::to_radians(step));
        // The state without current stands for the flat one.
        list.retain(|angle| (angle - self.found.rest_angle_rad).abs() > 0.1 * f64::to_radians(step));
        list
    }

    /// Halves the way from a clear angle to one in contact, and tells where it happens.
    fn contact(&mut self, clear: &Mark, from: f64, to: f64, at: Approach) -> Result<(), SolveError> {
        let (mut good, mut bad, mut touched) = (from, to, at);
        let mut last = clear.clone();
        for _ in 0..HALVINGS {
            self.path.back_to(&last);
            let middle = 0.5 * (good + bad);
            match self.turn_to(middle)? {
                Step::Clear(_) => {
                    good = middle;
                    last = self.path.mark();
                }
                Step::Contact(approach) => (bad, touched) = (middle, approach),
                Step::Failed(_) => break,
            }
        }
        self.path.back_to(&last);
        let why = format!(
            "at {:.2} to {:.2} deg the board comes {}; contact itself is not modelled, the swing stops there",
            good.to_degrees(),
            bad.to_degrees(),
            touching(&touched)
        );
        self.stop(why);
        Ok(())
    }

    /// To a flap angle: at once where the way there is clear, else in parts that cannot jump into something near.
    fn turn_to(&mut self, angle: f64) -> Result<Step, SolveError> {
        let start = self.path.mark();
        let at_once = self.turn_part(angle)?;
        if matches!(at_once, Step::Clear(_)) {
            return Ok(at_once);
        }
        self.path.back_to(&start);
        let (mut from, _) = self.here();
        let whole = angle - from;
        loop {
            let left = angle - from;
            let clear = self.clear_m();
            let safe = (APPROACH * clear / self.stage.reach_m).max(LEAST_PART * whole.abs());
            if safe >= whole.abs() {
                return self.turn_part(angle);
            }
            let last = left.abs() <= safe;
            let next = if last { angle } else { from + safe.copysign(left) };
            let step = self.turn_part(next)?;
            if last || !matches!(step, Step::Clear(_)) {
                return Ok(step);
            }
            from = next;
        }
    }

    fn turn_part(&mut self, angle: f64) -> Result<Step, SolveError> {
        self.step(|path, stage| match &stage.angle {
            Some(flap) => path.to_measure(flap, angle).map(|_| ()),
            None => Ok(()),
        })
    }
}

/// Whether a turn is much more than the one before it.
pub(super) fn leaps(by: f64, turned: f64) -> bool {
    by.abs() > LEAP * turned.abs() + LEAP_RAD
}
