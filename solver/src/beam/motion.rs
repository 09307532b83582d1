//! Equilibria of a frame: small, large, at a given load or at a given angle of one node.
//!
//! In: a frame with riding loads and, if driven, a load per ampere that depends on the pose. Out: poses. Newton with
//! the tree factor; a step that does not settle is halved. Absent: motion in time.
//!
use super::frame::{Frame, Pose, Ride, Share};
use super::tree::{TreeFactor, TreeMatrix};
use crate::error::SolveError;
use nalgebra::{Matrix6, Vector3, Vector6};

/// Iterations after which a step is given up.
const MOST_ITERATIONS: usize = 30;

/// A search ends when the next step would turn no node by more than this, rad, nor move one by more than this share of
/// the frame.
const SETTLED: f64 = 1e-9;

/// Iterations after which the drive's stiffness is taken anew.
const RENEWED: usize = 4;

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
}

/// A frame with its loads, walking from equilibrium to equilibrium.
pub struct Motion<'f> {
    frame: &'f Frame,
    rides: &'f [Ride],
    drive: Option<&'f dyn Drive>,
    /// The drive's stiffness at a pose close by, per ampere.
    drive_stiffness: Vec<(usize, Matrix6<f64>)>,
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

/// One linearised state.
struct Linear {
    /// Load less internal force.
    left: Vec<Vector6<f64>>,
    factor: TreeFactor,
    per_ampere: Vec<Vector6<f64>>,
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
            drive_stiffness: Vec::new(),
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
        self.walk(|own, t| own.newton(at(t), None))
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
            own.newton(own.share, Some((angle, goal)))
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
        let mut before = f64::INFINITY;
        for iteration in 0..MOST_ITERATIONS {
            self.iterations += 1;
            // The first iteration starts where the last search ended: the drive's stiffness there is known.
            let linear = self.linearised(self.drive_stiffness.is_empty() || iteration % RENEWED == 1)?;
            let mut x = linear.left;
            self.frame.tree.solve(&linear.factor, &mut x);
            let mut amperes = 0.0;
            let mut off = 0.0;
            if let Some((angle, goal)) = pinned {
                let mut per_ampere = linear.per_ampere;
                self.frame.tree.solve(&linear.factor, &mut per_ampere);
                let g = angle.gradient(&self.pose);
                let turned = |x: &[Vector6<f64>]| g.dot(&x[angle.node].fixed_rows::<3>(3));
                off = goal - angle.at(&self.pose);
                amperes = (off - turned(&x)) / turned(&per_ampere);
                for (x, p) in x.iter_mut().zip(&per_ampere) {
                    *x += p * amperes;
                }
            }
            let spin = x.iter().map(|d| d.fixed_rows::<3>(3).amax()).fold(0.0, f64::max);
            let shift = x.iter().map(|d| d.fixed_rows::<3>(0).amax()).fold(0.0, f64::max);
            if !(spin < WILD_RAD && shift.is_finite() && amperes.is_finite()) {
                return Err(stopped("the motion runs away"));
            }
            self.pose.step(&x, 1.0);
            self.share.drive += amperes;
            self.negative = linear.factor.negative;
            // The next step would be smaller by the square of the rate by which this one is.
            let size = spin.max(shift / self.size_m);
            let next = if before.is_finite() { size * (size / before).powi(2).min(1.0) } else { size };
            let pinned_off = off.abs().min(size * size);
            if next < SETTLED && pinned_off < 10.0 * SETTLED {
                if size >= SETTLED {
                    // The signs belong to the pose that was reached.
                    let (_, mut k) = self.residual(&self.pose, self.rides, self.share)?;
                    self.add_stiffness(&mut k, &self.drive_stiffness);
                    if let Ok(factor) = self.factored(k) {
                        self.negative = factor.negative;
                    }
                }
                return Ok(());
            }
            before = size;
        }
        Err(stopped("the iteration does not settle"))
    }

    fn linearised(&mut self, renew: bool) -> Result<Linear, SolveError> {
        let (force, mut k) = self.residual(&self.pose, self.rides, self.share)?;
        let mut left: Vec<Vector6<f64>> = force.iter().map(|f| -f).collect();
        let mut per_ampere = vec![Vector6::zeros(); self.frame.nodes.len()];
        if let Some(drive) = self.drive {
            let load = if renew {
                let (load, stiffness) = drive.load_and_stiffness(&self.pose);
                self.drive_stiffness = stiffness;
                load
            } else {
                drive.load(&self.pose)
            };
            for (node, own) in load {
                per_ampere[node] += own;
            }
            self.add_stiffness(&mut k, &self.drive_stiffness);
        }
        for (l, d) in left.iter_mut().zip(&per_ampere) {
            *l += d * self.share.drive;
        }
        self.mask(&mut left);
        self.mask(&mut per_ampere);
        let factor = self.factored(k)?;
        Ok(Linear { left, factor, per_ampere })
    }

    fn residual(
        &self,
        pose: &Pose,
        rides: &[Ride],
        share: Share,
    ) -> Result<(Vec<Vector6<f64>>, TreeMatrix), SolveError> {
        self.frame.residual(pose, rides, share).ok_or_else(|| stopped("a piece of an arm has collapsed"))
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

fn stopped(why: &str) -> SolveError {
    SolveError::Stopped { share: 0.0, why: why.to_owned() }
}
