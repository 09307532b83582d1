//! Equilibria of a frame: small, large, at a given load or at a given angle of one node.
//!
//! In: a frame with riding loads and, if driven, a load per ampere that depends on the pose. Out: poses. Newton with
//! the tree factor, begun where the states before and their slopes lead (`super::ahead`); a step that does not settle
//! is halved. Absent: motion in time.

use super::ahead::{Known, ahead};
use super::frame::{Frame, Linearised, Pose, Ride, Share};
use super::tree::{TreeFactor, TreeMatrix};
use crate::element::beam::MovedBeam;
use crate::error::SolveError;
use nalgebra::{Matrix6, Vector3, Vector6};

/// Iterations after which a step is given up.
const MOST_ITERATIONS: usize = 30;

/// A search ends when the next step would turn no node by more than this, rad, nor move one by more than this share of
/// the frame.
const SETTLED: f64 = 1e-9;

/// A step of less than this, rad or in sizes of the frame, leaves the drive's stiffness good for the next iteration.
const STILL_GOOD: f64 = 1e-3;

/// Signs counted one step of this size before the end hold at the end.
const SAME_SIGNS: f64 = 1e-5;

/// Spin of one iteration beyond which a step is given up, rad.
const WILD_RAD: f64 = 1.6;

/// Halvings of a step before the search ends.
const MOST_HALVINGS: u32 = 8;

/// Loads on nodes, and their change with the motion of their own node.
pub type LoadAndStiffness = (Vec<(usize, Vector6<f64>)>, Vec<(usize, Matrix6<f64>)>);

/// A load per ampere that rides on a frame.
pub trait Drive: Sync {
    /// Forces and moments on nodes at a pose, at one ampere: N, N m.
    fn load(&self, pose: &Pose) -> Vec<(usize, Vector6<f64>)>;
    /// The same, and its change with the motion of its own node.
    fn load_and_stiffness(&self, pose: &Pose) -> LoadAndStiffness;
}

/// Angle of one node about an axis, by the direction of a line fixed in it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NodeAngle {
    /// Node.
    pub node: usize,
    /// Direction in the node, unit, at rest: the angle is that of this line above its place at rest.
    pub along: Vector3<f64>,
    /// Direction towards which a positive angle turns it.
    pub up: Vector3<f64>,
}

impl NodeAngle {
    /// Angle, rad, in (-pi, pi].
    #[must_use]
    pub fn at(&self, pose: &Pose) -> f64 {
        let p = pose.turn[self.node] * self.along;
        p.dot(&self.up).atan2(p.dot(&self.along))
    }

    /// Change of the angle per spin.
    fn gradient(&self, pose: &Pose) -> Vector3<f64> {
        let p = pose.turn[self.node] * self.along;
        let (x, z) = (p.dot(&self.along), p.dot(&self.up));
        (p.cross(&self.up) * x - p.cross(&self.along) * z) / (x * x + z * z)
    }

    /// Change of the angle with a small motion from a pose.
    fn turned(&self, pose: &Pose, x: &[Vector6<f64>]) -> f64 {
        self.gradient(pose).dot(&x[self.node].fixed_rows::<3>(3))
    }
}

/// A frame with its loads, walking from equilibrium to equilibrium.
pub struct Motion<'f> {
    frame: &'f Frame,
    rides: &'f [Ride],
    drive: Option<&'f dyn Drive>,
    /// The drive's load at the present pose and its stiffness at one close by, per ampere.
    drive_now: LoadAndStiffness,
    /// Mode forces of the elements as foretold by the last step; empty: as they are.
    foretold: Vec<Vector6<f64>>,
    /// The last two equilibria, the later one last.
    reached: Vec<Reached>,
    held: Vec<[bool; 6]>,
    size_m: f64,
    /// Present pose.
    pub pose: Pose,
    /// Present loads.
    pub share: Share,
    /// Iterations so far.
    pub iterations: usize,
    /// Negative pivots of the last factor: above 0 the state is unstable at constant current.
    pub negative: usize,
}

impl std::fmt::Debug for Motion<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Motion").field("share", &self.share).finish_non_exhaustive()
    }
}

/// An equilibrium and its motion per ampere, as of one step before.
struct Reached {
    pose: Pose,
    share: Share,
    per_ampere: Vec<Vector6<f64>>,
    forces: Vec<Vector6<f64>>,
    forces_per_ampere: Vec<Vector6<f64>>,
}

/// What leads from one equilibrium to the next.
#[derive(Clone, Copy)]
enum Lead<'a> {
    /// The current.
    Current,
    /// An angle, by the current.
    Angle(&'a NodeAngle),
}

/// One linearised state.
struct Linear {
    /// Load less internal force.
    left: Vec<Vector6<f64>>,
    factor: TreeFactor,
    per_ampere: Vec<Vector6<f64>>,
    places: Vec<MovedBeam>,
    /// Mode forces of the elements.
    forces: Vec<Vector6<f64>>,
}

impl Reached {
    /// The state by what leads; None where the lead does not move with the current.
    fn known(&self, lead: Lead<'_>) -> Option<Known> {
        let (lead, rate) = match lead {
            Lead::Current => (self.share.drive, 1.0),
            Lead::Angle(angle) => (angle.at(&self.pose), angle.turned(&self.pose, &self.per_ampere)),
        };
        let amperes_slope = Some(1.0 / rate).filter(|r| r.is_finite())?;
        Some(Known {
            pose: self.pose.clone(),
            amperes: self.share.drive,
            lead,
            slope: self.per_ampere.iter().map(|p| p * amperes_slope).collect(),
            amperes_slope,
            forces: self.forces.clone(),
            forces_slope: self.forces_per_ampere.iter().map(|p| p * amperes_slope).collect(),
        })
    }
}

impl<'f> Motion<'f> {
    /// At rest, unloaded.
    #[must_use]
    pub fn new(frame: &'f Frame, rides: &'f [Ride], drive: Option<&'f dyn Drive>) -> Self {
        let far = frame.nodes.iter().map(|n| (n.at_m - frame.nodes[0].at_m).norm());
        Self {
            frame,
            rides,
            drive,
            drive_now: LoadAndStiffness::default(),
            foretold: Vec::new(),
            reached: Vec::new(),
            held: frame.held(),
            size_m: far.fold(1e-9, f64::max),
            pose: frame.rest(),
            share: Share::default(),
            iterations: 0,
            negative: 0,
        }
    }

    /// Small motion about the present pose by loads that do not change with it: the stiffness is that of the elements
    /// alone, as in the shell's linear answers. The pose stays.
    ///
    /// # Errors
    /// [`SolveError::Singular`] where something is not held.
    pub fn small(&mut self, loads: &[Ride], share: Share) -> Result<Vec<Vector6<f64>>, SolveError> {
        let (force, _) = self.residual(&self.pose, loads, share)?;
        let (_, k) = self.residual(&self.pose, &[], Share::default())?;
        let factor = self.factored(k)?;
        let mut x: Vec<Vector6<f64>> = force.iter().map(|f| -f).collect();
        if share.drive != 0.0 {
            for (x, d) in x.iter_mut().zip(self.driven(&self.pose)) {
                *x += d * share.drive;
            }
        }
        self.mask(&mut x);
        self.frame.tree.solve(&factor, &mut x);
        Ok(x)
    }

    /// Small motion about the present equilibrium by more forces, everything else staying.
    ///
    /// # Errors
    /// As [`Self::small`].
    pub fn answer_to(&self, more: &[Ride]) -> Result<Vec<Vector6<f64>>, SolveError> {
        let factor = self.factored(self.tangent()?)?;
        let mut x = vec![Vector6::zeros(); self.frame.nodes.len()];
        for ride in more {
            let moment = (self.pose.turn[ride.node] * ride.arm_m).cross(&ride.force_n) + ride.moment_nm;
            for c in 0..3 {
                x[ride.node][c] += ride.force_n[c];
                x[ride.node][3 + c] += moment[c];
            }
        }
        self.mask(&mut x);
        self.frame.tree.solve(&factor, &mut x);
        Ok(x)
    }

    /// Tangent stiffness at the present pose, held freedoms taken out.
    ///
    /// # Errors
    /// An element collapsed.
    pub fn tangent(&self) -> Result<TreeMatrix, SolveError> {
        let (_, mut k) = self.residual(&self.pose, self.rides, self.share)?;
        if let Some(drive) = self.drive.filter(|_| self.share.drive != 0.0) {
            self.add_stiffness(&mut k, &drive.load_and_stiffness(&self.pose).1);
        }
        self.frame.tree.hold(&mut k, &self.held);
        Ok(k)
    }

    /// Goes to given loads through equilibria.
    ///
    /// # Errors
    /// [`SolveError::Stopped`] where no further equilibrium is found; the last good one is kept.
    pub fn to(&mut self, wished: Share) -> Result<(), SolveError> {
        let start = self.share;
        let at = |t: f64| {
            let mix = |a: f64, b: f64| if t >= 1.0 { b } else { a + (b - a) * t };
            Share {
                dead: mix(start.dead, wished.dead),
                heating: mix(start.heating, wished.heating),
                drive: mix(start.drive, wished.drive),
            }
        };
        self.walk(|own, t| {
            let goal = at(t);
            own.look_ahead(Lead::Current, goal.drive, &goal);
            own.newton(goal, None)
        })
    }

    /// Goes to a given angle by the drive's current.
    ///
    /// # Errors
    /// As [`Self::to`]; [`SolveError::Model`] without a drive.
    pub fn to_angle(&mut self, angle: &NodeAngle, wished_rad: f64) -> Result<(), SolveError> {
        if self.drive.is_none() {
            return Err(SolveError::Model {
                what: "an angle is prescribed but nothing drives the flap".to_owned(),
                remedy: "give a magnet and a current path".to_owned(),
            });
        }
        let start = angle.at(&self.pose);
        self.walk(|own, t| {
            let goal = if t >= 1.0 { wished_rad } else { start + (wished_rad - start) * t };
            let same = own.share;
            own.look_ahead(Lead::Angle(angle), goal, &same);
            own.newton(own.share, Some((angle, goal)))
        })
    }

    /// Puts pose and current where the states reached before lead, if the present one is the last of them and nothing but
    /// the current changes.
    fn look_ahead(&mut self, lead: Lead<'_>, goal: f64, share: &Share) {
        self.foretold.clear();
        let bits = |s: &Share| [s.dead.to_bits(), s.heating.to_bits()];
        let same = |a: &Share, b: &Share| bits(a) == bits(b);
        let known: Vec<Known> = (self.reached.iter().rev())
            .filter(|r| same(&r.share, share))
            .map_while(|r| r.known(lead))
            .collect();
        let Some(last) = known.first().filter(|l| l.pose == self.pose && same(&self.share, share)) else {
            return;
        };
        let there = ahead(last, known.get(1), goal);
        (self.pose, self.share.drive, self.foretold) = (there.pose, there.amperes, there.forces);
    }

    /// Force and moment of the drive at one ampere on the frame as a whole about a point fixed in space, N and N m: at
    /// the state reached last, without another look at the field.
    #[must_use]
    pub fn driven_about(&self, about_m: &Vector3<f64>) -> (Vector3<f64>, Vector3<f64>) {
        self.drive_now.0.iter().fold((Vector3::zeros(), Vector3::zeros()), |(force, moment), (node, load)| {
            let own: Vector3<f64> = load.fixed_rows::<3>(0).into_owned();
            let arm = self.pose.at_m[*node] - about_m;
            (force + own, moment + load.fixed_rows::<3>(3) + arm.cross(&own))
        })
    }

    /// Takes a way of length 1 in steps that are halved when one fails.
    fn walk(
        &mut self,
        mut step_to: impl FnMut(&mut Self, f64) -> Result<(), SolveError>,
    ) -> Result<(), SolveError> {
        let (mut done, mut step, mut halvings) = (0.0, 1.0, 0);
        while done < 1.0 {
            let next = if done + step > 1.0 - 1e-9 { 1.0 } else { done + step };
            let kept = (self.pose.clone(), self.share);
            match step_to(self, next) {
                Ok(()) => {
                    done = next;
                    step *= 1.5;
                }
                Err(error) => {
                    (self.pose, self.share) = kept;
                    halvings += 1;
                    step *= 0.4;
                    if halvings > MOST_HALVINGS {
                        let why = match error {
                            SolveError::Stopped { why, .. } => why,
                            other => other.to_string(),
                        };
                        return Err(SolveError::Stopped { share: done, why });
                    }
                }
            }
        }
        Ok(())
    }

    /// Newton at given loads, or at a given angle with the current free.
    fn newton(&mut self, share: Share, pinned: Option<(&NodeAngle, f64)>) -> Result<(), SolveError> {
        self.share = share;
        let mut pose = self.pose.clone();
        self.frame.place_held(&mut pose, share.heating);
        self.pose = pose;
        let (mut before, mut size) = (f64::INFINITY, f64::INFINITY);
        for _ in 0..MOST_ITERATIONS {
            self.iterations += 1;
            let linear = self.linearised(size > STILL_GOOD)?;
            let mut x = linear.left;
            self.frame.tree.solve(&linear.factor, &mut x);
            let mut per_ampere = linear.per_ampere;
            self.frame.tree.solve(&linear.factor, &mut per_ampere);
            let mut amperes = 0.0;
            let mut off = 0.0;
            if let Some((angle, goal)) = pinned {
                off = goal - angle.at(&self.pose);
                amperes = (off - angle.turned(&self.pose, &x)) / angle.turned(&self.pose, &per_ampere);
                for (x, p) in x.iter_mut().zip(&per_ampere) {
                    *x += p * amperes;
                }
            }
            let spin = x.iter().map(|d| d.fixed_rows::<3>(3).amax()).fold(0.0, f64::max);
            let shift = x.iter().map(|d| d.fixed_rows::<3>(0).amax()).fold(0.0, f64::max);
            if !(spin < WILD_RAD && shift.is_finite() && amperes.is_finite()) {
                return Err(stopped("the motion runs away"));
            }
            let changes = self.frame.changes_of_forces(&self.pose, &linear.places, &x);
            let begun = self.pose.clone();
            self.pose.step(&x, 1.0);
            self.foretold = linear.forces.iter().zip(changes).map(|(f, c)| f + c).collect();
            self.share.drive += amperes;
            self.negative = linear.factor.negative;
            let (loads, stiffness) = &mut self.drive_now;
            for ((node, load), (_, k)) in loads.iter_mut().zip(stiffness) {
                *load += *k * x[*node];
            }
            // The next step would be smaller by the square of the rate by which this one is.
            size = spin.max(shift / self.size_m);
            let next = if before.is_finite() { size * (size / before).powi(2).min(1.0) } else { size };
            let pinned_off = off.abs().min(size * size);
            if next < SETTLED && pinned_off < 10.0 * SETTLED {
                if size >= SAME_SIGNS {
                    // The signs belong to the pose that was reached.
                    let (_, mut k) = self.residual(&self.pose, self.rides, self.share)?;
                    self.add_stiffness(&mut k, &self.drive_now.1);
                    if let Ok(factor) = self.factored(k) {
                        self.negative = factor.negative;
                    }
                }
                if self.reached.len() > 1 {
                    self.reached.remove(0);
                }
                let (pose, share) = (self.pose.clone(), self.share);
                let forces_per_ampere = self.frame.changes_of_forces(&begun, &linear.places, &per_ampere);
                let forces = std::mem::take(&mut self.foretold);
                self.reached.push(Reached { pose, share, per_ampere, forces, forces_per_ampere });
                return Ok(());
            }
            before = size;
        }
        Err(stopped("the iteration does not settle"))
    }

    fn linearised(&mut self, renew: bool) -> Result<Linear, SolveError> {
        let foretold = Some(self.foretold.as_slice()).filter(|f| !f.is_empty());
        let state = self.frame.linearised(&self.pose, self.rides, self.share, foretold);
        let Some(Linearised { left: force, stiffness: mut k, places, forces }) = state else {
            return Err(collapsed());
        };
        let mut left: Vec<Vector6<f64>> = force.iter().map(|f| -f).collect();
        let mut per_ampere = vec![Vector6::zeros(); self.frame.nodes.len()];
        if let Some(drive) = self.drive {
            if renew {
                self.drive_now = drive.load_and_stiffness(&self.pose);
            } else {
                self.drive_now.0 = drive.load(&self.pose);
            }
            for (node, own) in &self.drive_now.0 {
                per_ampere[*node] += own;
            }
            self.add_stiffness(&mut k, &self.drive_now.1);
        }
        for (l, d) in left.iter_mut().zip(&per_ampere) {
            *l += d * self.share.drive;
        }
        self.mask(&mut left);
        self.mask(&mut per_ampere);
        let factor = self.factored(k)?;
        Ok(Linear { left, factor, per_ampere, places, forces })
    }

    fn residual(
        &self,
        pose: &Pose,
        rides: &[Ride],
        share: Share,
    ) -> Result<(Vec<Vector6<f64>>, TreeMatrix), SolveError> {
        self.frame.residual(pose, rides, share).ok_or_else(collapsed)
    }

    fn factored(&self, mut k: TreeMatrix) -> Result<TreeFactor, SolveError> {
        self.frame.tree.hold(&mut k, &self.held);
        self.frame.tree.factor(&k).map_err(|node| {
            let at = self.frame.nodes[node].at_m * 1e3;
            SolveError::Singular { place: format!("({:.3}, {:.3}) mm of the beam model", at.x, at.y) }
        })
    }

    /// The drive's load at one ampere on all nodes.
    fn driven(&self, pose: &Pose) -> Vec<Vector6<f64>> {
        let mut all = vec![Vector6::zeros(); self.frame.nodes.len()];
        if let Some(drive) = self.drive {
            for (node, load) in drive.load(pose) {
                all[node] += load;
            }
        }
        all
    }

    fn add_stiffness(&self, k: &mut TreeMatrix, stiffness: &[(usize, Matrix6<f64>)]) {
        for (node, per_ampere) in stiffness {
            let sum = per_ampere + per_ampere.transpose();
            k.diagonal[*node] -= sum * (0.5 * self.share.drive);
        }
    }

    fn mask(&self, x: &mut [Vector6<f64>]) {
        for (x, held) in x.iter_mut().zip(&self.held) {
            for c in (0..6).filter(|&c| held[c]) {
                x[c] = 0.0;
            }
        }
    }
}

fn collapsed() -> SolveError {
    stopped("a piece of an arm has collapsed")
}

fn stopped(why: &str) -> SolveError {
    SolveError::Stopped { share: 0.0, why: why.to_owned() }
}
