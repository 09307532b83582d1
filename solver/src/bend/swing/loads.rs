//! From rest to the whole loads of a board that no current drives: weight, forces, heating and moved supports together.
//!
//! In: a walk at rest. Out: states at even shares of the loads, where the board snaps to another state on the way, where
//! the way ends. A step that turns the board far more than the ones before, or arrives at a state that is not stable,
//! is gone back: a state of the same branch leads back to where it came from, another one does not.

use super::walk::{Seen, Step, Walk, leaps};
use super::words::touching;
use crate::error::SolveError;
use crate::result::Snap;
use crate::swing::{Level, Mark};

/// Halvings towards the load of a snap or of a contact.
const HALVINGS: usize = 7;

/// The design's loads at a share.
fn level(share: f64) -> Level {
    Level { steady: share, driven: 0.0, thermal: share, prescribed: share }
}

impl Walk<'_, '_, '_> {
    /// In `parts` even steps.
    pub(super) fn loads(&mut self, parts: u32) -> Result<(), SolveError> {
        let (mut before, mut turned) = (None, None::<f64>);
        for k in 0..=parts {
            let share = f64::from(k) / f64::from(parts);
            self.wished = percent(share);
            let mark = self.path.mark();
            let from = mark.level().steady;
            match self.step(|path, _| path.to_level(level(share)).map(|_| ()))? {
                Step::Clear(mut seen) => {
                    let by = before.map(|angle| seen.row.angle_rad - angle);
                    if k > 0 && self.is_odd(&seen, by, turned) && !self.path.leads_back_to(&mark) {
                        let here = self.path.mark();
                        self.snap(&mark, [from, share])?;
                        self.path.back_to(&here);
                        seen.row.snapped = true;
                        turned = None;
                    } else {
                        turned = by;
                    }
                    before = Some(seen.row.angle_rad);
                    self.found.loads.push(*seen);
                }
                Step::Contact(_) => return self.touch(&mark, [from, share]),
                Step::Failed(why) => {
                    self.keep_last(from)?;
                    self.stop(why);
                    return Ok(());
                }
            }
        }
        Ok(())
    }

    /// Whether a state may lie on another branch than the one before.
    fn is_odd(&self, seen: &Seen, by: Option<f64>, turned: Option<f64>) -> bool {
        let first = self.stage.loaded_rad * seen.row.load;
        by.is_some_and(|by| leaps(by, turned.unwrap_or(first))) || !seen.row.stable
    }

    /// Keeps the last good state of a step that did not arrive, if it got anywhere.
    fn keep_last(&mut self, from: f64) -> Result<(), SolveError> {
        if self.path.state().level.steady > from
            && let Step::Clear(seen) = self.look()?
        {
            self.found.loads.push(*seen);
        }
        Ok(())
    }

    /// Halves the loads between a state and the one it snaps to.
    fn snap(&mut self, start: &Mark, [mut low, mut high]: [f64; 2]) -> Result<(), SolveError> {
        let mut good = start.clone();
        self.path.back_to(&good);
        let mut angles = [self.here().0; 2];
        for _ in 0..HALVINGS {
            self.path.back_to(&good);
            let middle = 0.5 * (low + high);
            match self.path.to_level(level(middle)) {
                Ok(_) if self.path.leads_back_to(&good) => {
                    good = self.path.mark();
                    (low, angles[0]) = (middle, self.here().0);
                }
                Ok(_) => (high, angles[1]) = (middle, self.here().0),
                Err(SolveError::Stopped { .. } | SolveError::Singular { .. }) => high = middle,
                Err(other) => return Err(other),
            }
        }
        self.found.snaps.push(Snap { loads: [low, high], currents_a: [0.0; 2], angles_rad: angles });
        Ok(())
    }

    /// Halves the loads between a clear state and contact, keeps the last clear one and tells.
    fn touch(&mut self, clear: &Mark, [mut low, mut high]: [f64; 2]) -> Result<(), SolveError> {
        let mut last = clear.clone();
        let mut what = String::new();
        for _ in 0..HALVINGS {
            self.path.back_to(&last);
            let middle = 0.5 * (low + high);
            match self.step(|path, _| path.to_level(level(middle)).map(|_| ()))? {
                Step::Clear(_) => {
                    low = middle;
                    last = self.path.mark();
                }
                Step::Contact(approach) => {
                    high = middle;
                    what = touching(&approach);
                }
                Step::Failed(_) => break,
            }
        }
        self.path.back_to(&last);
        if low > clear.level().steady {
            self.keep_last(clear.level().steady)?;
        }
        if what.is_empty() {
            self.path.back_to(&last);
            what = "into contact".to_owned();
        }
        self.stop(format!(
            "between {} and {} the board comes {what}; contact itself is not modelled, the way stops there",
            percent(low),
            percent(high)
        ));
        Ok(())
    }
}

fn percent(share: f64) -> String {
    let text = format!("{:.2}", 100.0 * share);
    format!("{} % of the loads", text.trim_end_matches('0').trim_end_matches('.'))
}
