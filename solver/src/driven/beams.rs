//! The driven swing by the fast model: what the layered beams give in the shell's place.
//!
//! In: a board, its mesh, what the beams take for granted. Out: modes at rest and what they leave of the static answer,
//! equilibria along the way, strain of the copper's sections; everything else (air, path, eddy currents, clearance,
//! sweeps) is the shell's, on triangles that ride on the beams. [`beside_shell`] puts both answers side by side.

use super::damping::Damping;
use super::stage::{Form, Found, FoundMode, Stage};
use super::strain::{At, Place};
use super::way::{State, Strained, Walk, Way, unreached};
use super::{DriveOptions, Tell, drive};
use crate::beam::board::{BeamWishes, BoardBeam, board_beam};
use crate::beam::compare::{Beside, Compared, compared, each_bond, switched};
use crate::beam::copper::{CopperAt, Forces};
use crate::beam::frame::{Link, Pose, Ride, Share};
use crate::beam::modes::modes;
use crate::beam::motion::{Drive, Motion, NodeAngle};
use crate::beam::skin::{Holding, Skin};
use crate::bend::Progress;
use crate::drive::Curve;
use crate::error::SolveError;
use crate::recover::{board_traces, largest_normal, track_at};
use crate::result::{DriveAnswer, DriveReport, Face};
use crate::swing::{self, Measure};
use copperbend_mesh::board::Board;
use copperbend_mesh::triangulate::BoardMesh;
use nalgebra::{Vector3, Vector6};
use std::collections::BTreeMap;
use std::f64::consts::TAU;
use std::time::Instant;

/// Share by which the frequencies of two largest swings differ when they lie on different resonances: the natural
/// frequencies of both models differ by a few per cent.
const PEAKS_APART: f64 = 0.2;

/// A board as beams, its triangles' nodes riding on them.
pub(super) struct Beams {
    pub(super) own: BoardBeam,
    skin: Skin,
}

impl Beams {
    pub(super) fn new(
        board: &Board,
        wishes: &BeamWishes,
        mesh: &BoardMesh,
        z_m: f64,
    ) -> Result<Self, SolveError> {
        let own = board_beam(board, wishes)?;
        let skin = Skin::new(board, &own, mesh, z_m);
        Ok(Self { own, skin })
    }

    pub(super) fn elements(&self) -> u32 {
        u32::try_from(self.own.frame.links.len()).unwrap_or(u32::MAX)
    }

    /// Modes at rest in air (`air_kg` of every node), and what they leave of the static answer to forces on the nodes.
    pub(super) fn at_rest(
        &self,
        air_kg: &[f64],
        count: usize,
        nodal: &[Vector6<f64>],
    ) -> Result<Found, SolveError> {
        let begin = Instant::now();
        let frame = &self.own.frame;
        let airy = self.skin.in_air(frame, air_kg);
        let mut motion = Motion::new(frame, &[], None);
        let found = modes(&airy, &motion, count)?;
        let rest = frame.rest();
        let loads = self.skin.rides(nodal, frame.nodes.len());
        let mut left = motion.small(&loads, Share { dead: 1.0, ..Share::default() })?;
        for mode in &found {
            let work: f64 = loads
                .iter()
                .map(|r| {
                    let x = &mode.shape[r.node];
                    r.force_n.dot(&x.fixed_rows::<3>(0)) + r.moment_nm.dot(&x.fixed_rows::<3>(3))
                })
                .sum();
            left.iter_mut().zip(&mode.shape).for_each(|(l, x)| *l -= x * (work / mode.eigenvalue));
        }
        let form = |beam: Vec<Vector6<f64>>| Form { motion: self.skin.motion(&rest, &beam), beam };
        let told = found.into_iter().map(|mode| {
            let form = form(mode.shape);
            let air_share = form.motion.iter().zip(air_kg).map(|(x, m)| m * x[2] * x[2]).sum();
            FoundMode { eigenvalue: mode.eigenvalue, form, air_share }
        });
        Ok(Found { modes: told.collect(), left: form(left), seconds: begin.elapsed().as_secs_f64() })
    }

    /// Forces on the nodes that hold the board on its way.
    pub(super) fn holding(&self, nodal: &[Vector3<f64>]) -> Holding {
        self.skin.holding(nodal, &self.own.frame)
    }

    /// The way, at its state under the steady loads.
    pub(super) fn walk<'s, 'b>(
        &'s self,
        stage: &'s Stage<'b>,
        holding: &'s Holding,
    ) -> Result<BeamWalk<'s, 'b>, SolveError> {
        let flap = self.own.flap.ok_or_else(|| SolveError::Model {
            what: "no arm of the beams carries the flap".to_owned(),
            remedy: "use --model shell for this board".to_owned(),
        })?;
        let [c, s] = self.own.hinge.along;
        let angle = NodeAngle { node: flap, along: Vector3::new(c, s, 0.0), up: Vector3::z() };
        let mut motion = Motion::new(&self.own.frame, &self.own.rides, Some(holding as &dyn Drive));
        motion.to(Share { dead: 1.0, heating: 1.0, drive: 0.0 })?;
        Ok(BeamWalk { beams: self, stage, holding, angle, motion })
    }

    /// Worst copper strain of a small motion from rest.
    fn worst(&self, board: &Board, motion: &[Vector6<f64>]) -> f64 {
        let (frame, rest) = (&self.own.frame, self.own.frame.rest());
        let mut worst = 0.0_f64;
        self.own.copper(
            board,
            &|link: &Link| frame.mode_forces_by(link, &rest, motion, 0.0),
            0.0,
            &mut |_, strain| worst = worst.max(largest_normal(&strain).0.abs()),
        );
        worst
    }

    /// The worst place of every layer on every arm by the difference of the two ends of the way, worst first.
    pub(super) fn strained(&self, stage: &Stage<'_>, way: &Way, most: usize) -> Vec<At> {
        let frame = &self.own.frame;
        let all = |forces: &Forces<'_>, heating: f64| {
            let mut rows: Vec<(CopperAt, Vector3<f64>)> = Vec::new();
            self.own.copper(stage.board, forces, heating, &mut |at, strain| rows.push((at.clone(), strain)));
            rows
        };
        let of_state = |s: &State| match &s.strained {
            Strained::Beams(pose) => all(&|link: &Link| frame.mode_forces(link, pose, 1.0), 1.0),
            Strained::Shell(_) => Vec::new(),
        };
        let states: Vec<_> = way.states.iter().map(of_state).collect();
        let rest = frame.rest();
        let shapes: Vec<_> = stage.shapes[1..]
            .iter()
            .map(|s| all(&|link: &Link| frame.mode_forces_by(link, &rest, &s.beam, 0.0), 0.0))
            .collect();
        let (Some(first), Some(last)) = (states.first(), states.last()) else { return Vec::new() };
        let mut worst: BTreeMap<(u32, u32), (f64, usize)> = BTreeMap::new();
        for (n, (a, b)) in first.iter().zip(last).enumerate() {
            let range = largest_normal(&(b.1 - a.1)).0.abs();
            let own = worst.entry((a.0.arm, a.0.layer)).or_insert((range, n));
            if range > own.0 * (1.0 + 1e-9) {
                *own = (range, n);
            }
        }
        let mut order: Vec<(f64, usize)> = worst.into_values().collect();
        order.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        order.truncate(most);
        let traces = board_traces(stage.board, &stage.mesh);
        let told = |(_, n): (f64, usize)| {
            let at = &first[n].0;
            let rows = states.iter().map(|s| s[n].1.as_slice().to_vec()).collect();
            At {
                place: Place {
                    track: track_at(&traces, &stage.mesh, at.layer, at.at_m),
                    layer: stage.board.layers[at.layer as usize].name.clone(),
                    face: if at.upper { Face::Upper } else { Face::Lower },
                    at_m: at.at_m,
                    unsure: None,
                    mean: false,
                },
                over_way: Curve::new(way.amplitude.clone(), rows).unwrap_or_default(),
                per_shape: shapes.iter().map(|s| s[n].1).collect(),
                share: 1.0,
            }
        };
        order.into_iter().map(told).collect()
    }
}

/// The beams on their way.
pub(super) struct BeamWalk<'s, 'b> {
    beams: &'s Beams,
    stage: &'s Stage<'b>,
    holding: &'s Holding,
    angle: NodeAngle,
    motion: Motion<'s>,
}

impl BeamWalk<'_, '_> {
    /// Energy of the elements and of the steady loads, J; None with moments of fixed direction.
    fn energy_j(&self) -> Option<f64> {
        let (frame, pose) = (&self.beams.own.frame, &self.motion.pose);
        let mut sum = 0.0;
        for link in &frame.links {
            sum += link.element.energy(&frame.moved(link, pose)?, 1.0);
        }
        let potential = |r: &Ride| {
            let moved = pose.point_m(r.node, &r.arm_m) - (frame.nodes[r.node].at_m + r.arm_m);
            (r.moment_nm == Vector3::zeros()).then(|| -r.force_n.dot(&moved))
        };
        let steady: Option<f64> = self.beams.own.rides.iter().map(potential).sum();
        Some(sum + steady?)
    }
}

impl Walk for BeamWalk<'_, '_> {
    type Mark = (Pose, Share);

    fn mark(&self) -> Self::Mark {
        (self.motion.pose.clone(), self.motion.share)
    }

    fn back_to(&mut self, mark: &Self::Mark) {
        (self.motion.pose, self.motion.share) = mark.clone();
    }

    fn look(&mut self) -> Result<State, SolveError> {
        let pose = self.pose();
        Ok(State {
            angle_rad: self.stage.angle.value(&pose),
            flux_wb: self.stage.carried.flux_wb(&pose),
            factor: self.motion.share.drive,
            work_j: self.holding.work_j(&self.motion.pose),
            energy_j: self.energy_j(),
            strained: Strained::Beams(self.motion.pose.clone()),
            pose,
        })
    }

    fn to_angle(&mut self, target_rad: f64) -> Result<Option<String>, SolveError> {
        match self.motion.to_angle(&self.angle, target_rad) {
            Ok(()) => Ok(None),
            Err(error) => unreached(error),
        }
    }

    fn pose(&self) -> swing::Pose {
        self.beams.skin.pose(&self.motion.pose)
    }

    fn unknowns(&self) -> usize {
        6 * self.beams.own.frame.nodes.len()
    }
}

/// Frequency, spring, torque per ampere, damping of the arms, copper strain per flap angle: what is known before
/// anything moves far.
type Still = [f64; 5];

fn still(stage: &Stage<'_>, damping: &Damping) -> Still {
    let swing = &stage.shapes[0];
    [
        swing.rad_s / TAU,
        (swing.rad_s / swing.lift).powi(2),
        (swing.per_ampere / swing.lift).abs(),
        0.5 * damping.arms()[0],
        stage.beams.as_ref().map_or(0.0, |b| b.worst(stage.board, &swing.beam)) / swing.lift.abs(),
    ]
}

/// The driven swing of beams (`options.beam`) beside the shell's, one list a bond limit, with what the beams'
/// assumptions cost.
///
/// # Errors
/// As [`super::drive`].
pub fn beside_shell(
    board: &Board,
    options: &DriveOptions,
    shell: &DriveReport,
    progress: &mut dyn Progress,
) -> Result<Beside, SolveError> {
    let options = DriveOptions { beam: Some(options.beam.unwrap_or_default()), ..options.clone() };
    let beam = drive(board, &options, progress)?;
    each_bond([&beam.answers, &shell.answers], |a| a.bond, |b, s| compare(board, &options, b, s))
}

/// A figure of an answer.
type Of<'o> = &'o dyn Fn(&DriveAnswer) -> Option<f64>;

fn compare(
    board: &Board,
    options: &DriveOptions,
    beam: &DriveAnswer,
    shell: &DriveAnswer,
) -> Result<Vec<Compared>, SolveError> {
    let wishes = BeamWishes { bond: beam.bond, ..options.beam.unwrap_or_default() };
    let tell: &mut Tell<'_> = &mut |_, _| Ok(());
    let mut stage = Some(Stage::new(board, options, beam.bond, tell)?);
    let base = stage.as_ref().map_or([0.0; 5], |s| still(s, &Damping::new(s)));
    let switched = switched(&wishes, |other| {
        let Some(own) = stage.take() else { return Ok(base) };
        let own = own.with_beams(other, options.modes)?;
        let values = still(&own, &Damping::new(&own));
        stage = Some(own);
        Ok(values)
    })?;
    let mut rows = Vec::new();
    let mut row = |name: &str, unit: &'static str, of: Of<'_>, still: Option<usize>| {
        let Some(value) = of(beam).filter(|v| *v > 0.0) else { return };
        let factor = |all: &Still, n: usize| value * all[n] / base[n];
        let others: Vec<_> =
            switched.iter().filter_map(|(name, all)| Some((*name, Some(factor(all, still?))))).collect();
        rows.push(compared(name, unit, value, of(shell), &others));
    };
    row("natural frequency", "Hz", &|a| Some(a.swing.frequency_hz), Some(0));
    row("spring of the swing", "N m/rad", &|a| Some(a.swing.spring_nm_per_rad), Some(1));
    row("torque per ampere", "N m/A", &|a| Some(a.swing.torque_nm_per_a.abs()), Some(2));
    let arms = |a: &DriveAnswer| a.damping.iter().find(|d| d.name == "arms").map(|d| d.ratio);
    row("damping ratio of the arms", "1", &arms, Some(3));
    let peak = |a: &DriveAnswer| a.peak.and_then(|p| a.sweep.get(p)).cloned();
    let per_degree = |a: &DriveAnswer| {
        let p = peak(a).filter(|p| p.swing_rad > 0.0)?;
        Some(p.strain_range / p.swing_rad.to_degrees())
    };
    row("largest copper strain range per degree of swing", "1/deg", &per_degree, Some(4));
    let settled = rows.len();
    let mut row = |name: &str, unit: &'static str, of: Of<'_>| {
        let Some(value) = of(beam).filter(|v| *v > 0.0) else { return };
        rows.push(compared(name, unit, value, of(shell), &[]));
    };
    row("largest stable swing", "rad", &|a| Some(peak(a)?.swing_rad));
    row("its frequency", "Hz", &|a| Some(peak(a)?.frequency_hz));
    row("its copper strain range", "1", &|a| Some(peak(a)?.strain_range));
    row("usable speed", "Hz", &|a| a.usable.frequency_hz);
    let reason = match [beam, shell].map(|a| peak(a).map(|p| p.frequency_hz)) {
        [Some(b), Some(s)] if (b / s - 1.0).abs() > PEAKS_APART => format!(
            "the largest stable swing lies on another resonance by the beams ({b:.2} Hz) than by the shell ({s:.2} Hz): \
             compare the rows above, which need no common frequency"
        ),
        _ => "follows frequency, spring, torque and strain per degree above; each sweep at its own largest swing, on \
              the frequencies asked"
            .to_owned(),
    };
    for row in rows[settled..].iter_mut().filter(|r| !r.reason.is_empty()) {
        row.reason.clone_from(&reason);
    }
    Ok(rows)
}
