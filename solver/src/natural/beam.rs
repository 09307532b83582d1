//! Natural modes of a board by the fast model: layered beams, told like the shell's.
//!
//! In: as for the shell, and what the beams take for granted. Out: the same answer; the board's triangles ride on the
//! beams, so air, clearance, names and pictures are made as they are there. Strain is that of the sections. The error of
//! a frequency is its change when every element is halved. [`beside_shell`] puts both answers side by side.
//! Absent: strain at corners, steps and clamps.

use super::names::{self, Parts};
use super::strain::per_degree;
use super::{NaturalOptions, Stage, air_facts, currents, natural_modes};
use crate::air::surface::around;
use crate::beam::answer::Unit;
use crate::beam::board::{BeamWishes, BoardBeam, board_beam};
use crate::beam::compare::{Beside, Compared, LEFT_OUT, compared, each_bond, switched};
use crate::beam::copper::CopperAt;
use crate::beam::frame::{Link, Pose, Ride, Share};
use crate::beam::modes::{BeamMode, counted, modes};
use crate::beam::motion::{Drive, Motion};
use crate::beam::skin::Skin;
use crate::bend::Progress;
use crate::error::SolveError;
use crate::model::{Hinge, board_model};
use crate::recover::{beside_landmark, board_traces, largest_normal, track_at};
use crate::result::{Face, ModeFacts, ModeSpot, ModesAnswer, ModesReport, StanceFacts};
use crate::swing::Measure;
use copperbend_mesh::board::Board;
use copperbend_mesh::triangulate::board_mesh;
use nalgebra::{Vector3, Vector6};

type Tell<'t> = dyn FnMut(&str, f64) -> Result<(), SolveError> + 't;

/// Beams in their loaded state with their modes.
struct Solved {
    own: BoardBeam,
    skin: Skin,
    pose: Pose,
    modes: Vec<BeamMode>,
    /// Share of air in the modal mass of each.
    airy: Vec<f64>,
    counted: Option<[usize; 2]>,
    unstable: usize,
    stance: Option<StanceFacts>,
}

/// Mesh, laminates and air of a board, once for all beams made of it.
fn stage<'a>(
    board: &'a Board,
    options: &NaturalOptions,
    wishes: &BeamWishes,
    tell: &mut Tell<'_>,
) -> Result<Stage<'a>, SolveError> {
    tell("mesh", 0.0)?;
    let mesh = board_mesh(board, &[]).map_err(SolveError::of_mesh)?;
    tell("model", 0.2)?;
    let own = board_model(board, &mesh, wishes.bond)?;
    let air = options.medium.map(|medium| around(board, &mesh, &own.still, &medium)).unwrap_or_default();
    Ok(Stage { board, hinge: Hinge::of(board), mesh, own, air })
}

/// Modes of the beams under one bond limit.
pub(super) fn answer(
    board: &Board,
    options: &NaturalOptions,
    wishes: &BeamWishes,
    tell: &mut Tell<'_>,
) -> Result<ModesAnswer, SolveError> {
    let stage = stage(board, options, wishes, tell)?;
    tell("modes", 0.5)?;
    let solved = Solved::new(&stage, options, wishes)?;
    let halved = BeamWishes { pieces: 2 * wishes.pieces, ..*wishes };
    let finer = Solved::new(&stage, options, &halved)?;
    tell("strain", 0.9)?;
    let pose = solved.skin.pose(&solved.pose);
    let parts = Parts::new(board, &stage.mesh, &stage.own.model, &pose, &stage.hinge);
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    let shapes: Vec<Vec<Vector6<f64>>> =
        solved.modes.iter().map(|m| solved.skin.motion(&solved.pose, &m.shape)).collect();
    let angle = stage.flap_angle();
    let modes = told(&stage, &solved, &finer, &shapes, &parts);
    let moved = |node: u32| {
        let n = node as usize;
        let u = pose.positions_m[n] - Vector3::from(stage.own.model.nodes_m[n]);
        [u.x, u.y, u.z, 0.0, 0.0, 0.0]
    };
    Ok(ModesAnswer {
        bond: wishes.bond,
        beam_elements: Some(count(solved.own.frame.links.len())),
        flap_angle_rad: angle.map(|a| a.value(&pose)),
        unstable: count(solved.unstable),
        modes,
        counted: solved.counted.map(|c| c.map(count)),
        air: stage.air.plates.iter().map(air_facts).collect(),
        stance: solved.stance,
        triangles: count(stage.mesh.flat.triangles.len()),
        unknowns: count(6 * solved.own.frame.nodes.len()),
        seconds: 0.0,
        shape: stage.shape(&moved),
        shapes: shapes.iter().map(|s| s.iter().map(|&x| x.into()).collect()).collect(),
        copper: stage.copper(),
    })
}

impl Solved {
    fn new(stage: &Stage<'_>, options: &NaturalOptions, wishes: &BeamWishes) -> Result<Self, SolveError> {
        let own = board_beam(stage.board, wishes)?;
        let skin = Skin::new(stage.board, &own, &stage.mesh, stage.own.reference_z_m);
        let drive = own.drive.as_ref().filter(|_| options.current_a != 0.0).map(|d| d as &dyn Drive);
        let mut motion = Motion::new(&own.frame, &own.rides, drive);
        let guard = stage.guard();
        for drive in currents(options.current_a) {
            motion.to(Share { dead: 1.0, heating: 1.0, drive })?;
            stage.clear(&guard, &skin.pose(&motion.pose), drive)?;
        }
        let air_kg = stage.air_kg();
        let airy = skin.in_air(&own.frame, &air_kg);
        let modes = modes(&airy, &motion, options.count)?;
        let share = |mode: &BeamMode| -> f64 {
            let normal = |n: usize| skin.normal_motion(&motion.pose, &mode.shape, n);
            (0..air_kg.len()).filter(|&n| air_kg[n] > 0.0).map(|n| air_kg[n] * normal(n).powi(2)).sum()
        };
        let air_shares = modes.iter().map(share).collect();
        let counted = counted(&airy, &motion, &modes)?;
        let unstable = modes.iter().filter(|m| m.eigenvalue < 0.0).count();
        let stance = match own.flap.filter(|_| unstable == 0) {
            Some(flap) => Some(stance(&own, &motion, flap)?),
            None => None,
        };
        let pose = motion.pose.clone();
        Ok(Self { pose, modes, airy: air_shares, counted, unstable, stance, skin, own })
    }

    /// Worst copper strain of a mode, with its place; None without copper on the arms.
    fn worst(&self, board: &Board, shape: &[Vector6<f64>]) -> Option<(CopperAt, f64)> {
        let forces = |link: &Link| self.own.frame.mode_forces_by(link, &self.pose, shape, 0.0);
        let mut worst: Option<(CopperAt, f64)> = None;
        self.own.copper(board, &forces, 0.0, &mut |at, strain| {
            let size = largest_normal(&strain).0.abs();
            if worst.as_ref().is_none_or(|w| size > w.1 * (1.0 + 1e-9)) {
                worst = Some((at.clone(), size));
            }
        });
        worst
    }
}

fn told(
    stage: &Stage<'_>,
    solved: &Solved,
    finer: &Solved,
    shapes: &[Vec<Vector6<f64>>],
    parts: &Parts,
) -> Vec<ModeFacts> {
    let traces = board_traces(stage.board, &stage.mesh);
    let mut all: Vec<ModeFacts> = Vec::new();
    for (n, mode) in solved.modes.iter().enumerate() {
        let moved = parts.movement(&shapes[n]);
        let strain = solved.worst(stage.board, &mode.shape).map(|(at, strain)| {
            let (near, near_m) = beside_landmark(stage.board, at.at_m);
            let (per_swing_degree, per_turn_degree) = per_degree(stage, &moved, strain);
            ModeSpot {
                per_swing_degree,
                per_turn_degree,
                per_tenth_mm: strain * 1e-4 / moved.largest_m,
                relative_error: None,
                track: track_at(&traces, &stage.mesh, at.layer, at.at_m),
                layer: stage.board.layers[at.layer as usize].name.clone(),
                face: if at.upper { Face::Upper } else { Face::Lower },
                x_m: at.at_m[0],
                y_m: at.at_m[1],
                near,
                near_m,
                mean: false,
            }
        });
        let (airy, finer) = (solved.airy[n], finer.modes.get(n));
        all.push(ModeFacts {
            number: u32::try_from(n + 1).unwrap_or(u32::MAX),
            frequency_hz: mode.frequency_hz,
            frequency_error_hz: finer.map_or(0.0, |f| (f.frequency_hz - mode.frequency_hz).abs()),
            vacuum_hz: mode.frequency_hz / (1.0 - airy).sqrt(),
            eigenvalue_rad2_s2: mode.eigenvalue,
            residual: mode.residual,
            air_share: airy,
            strain,
            ..moved.facts()
        });
    }
    names::name(&mut all);
    all
}

/// Stiffness of the flap about the loaded state.
fn stance(own: &BoardBeam, motion: &Motion<'_>, flap: usize) -> Result<StanceFacts, SolveError> {
    const ASIDE_M: f64 = 1e-3;
    let turned =
        |rides: &[Ride]| -> Result<[f64; 2], SolveError> { Ok(own.turning(&motion.answer_to(rides)?)) };
    let about_hinge = turned(&own.unit_loads(flap, Unit::Pitch))?;
    let about_arm = turned(&own.unit_loads(flap, Unit::Roll))?;
    let aside = turned(&own.unit_loads(flap, Unit::Lift))?;
    let rolled = aside[1] + ASIDE_M * about_arm[1];
    Ok(StanceFacts {
        swing_nm_per_rad: 1.0 / about_hinge[0],
        roll_nm_per_rad: 1.0 / about_arm[1],
        roll_per_swing_1_mm_aside: rolled / (aside[0] + ASIDE_M * about_arm[0]),
    })
}

/// Mode by mode: frequencies and strain, with what the beam's assumptions cost.
fn compare(
    board: &Board,
    options: &NaturalOptions,
    beam: &ModesAnswer,
    shell: &ModesAnswer,
) -> Result<Vec<Compared>, SolveError> {
    let wishes = BeamWishes { bond: beam.bond, ..options.beam.unwrap_or_default() };
    let stage = stage(board, options, &wishes, &mut |_, _| Ok(()))?;
    let switched = switched(&wishes, |other| {
        let solved = Solved::new(&stage, options, &other)?;
        let pose = solved.skin.pose(&solved.pose);
        let parts = Parts::new(board, &stage.mesh, &stage.own.model, &pose, &stage.hinge);
        let shapes: Vec<Vec<Vector6<f64>>> =
            solved.modes.iter().map(|m| solved.skin.motion(&solved.pose, &m.shape)).collect();
        Ok(told(&stage, &solved, &solved, &shapes, &parts))
    })?;
    let mut rows = Vec::new();
    for own in &beam.modes {
        let same = |all: &[ModeFacts]| all.iter().find(|m| m.name == own.name).cloned();
        let there = same(&shell.modes);
        let mut row = |what: &str, unit: &'static str, of: &dyn Fn(&ModeFacts) -> Option<f64>| {
            let Some(value) = of(own).filter(|v| *v > 0.0) else { return };
            let others: Vec<_> =
                switched.iter().map(|(n, all)| (*n, same(all).and_then(|m| of(&m)))).collect();
            let name = format!("{}: {what}", own.name);
            rows.push(compared(&name, unit, value, there.as_ref().and_then(of), &others));
        };
        row("frequency", "Hz", &|m| Some(m.frequency_hz));
        row("largest copper strain per degree of turn", "1/deg", &|m| {
            m.strain.as_ref().and_then(|s| s.per_turn_degree)
        });
    }
    Ok(rows)
}

/// What the beams leave out, beside what every answer does.
pub(super) fn left_out() -> [String; 2] {
    let error = "\u{b1} of a frequency is its change when every beam element is halved: how far the beams are from the true \
                 board is more, and the shell tells it";
    [LEFT_OUT, error].map(str::to_owned)
}

/// The modes of beams (`options.beam`) beside the shell's, one list a bond limit.
///
/// # Errors
/// As [`super::natural_modes`].
pub fn beside_shell(
    board: &Board,
    options: &NaturalOptions,
    shell: &ModesReport,
    progress: &mut dyn Progress,
) -> Result<Beside, SolveError> {
    let options = NaturalOptions { beam: Some(options.beam.unwrap_or_default()), ..options.clone() };
    let beam = natural_modes(board, &options, progress)?;
    each_bond([&beam.answers, &shell.answers], |a| a.bond, |b, s| compare(board, &options, b, s))
}
