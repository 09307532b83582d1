//! The verb `modes`: board in, natural modes out, about the state under its own loads and a direct current.
//!
//! A list of stage calls: mesh, model, air, the loaded state, modes, then for each a name, the flap's angles and the
//! copper's strain. One pass per bond limit. Frequencies carry the mesh error that the recovered strain tells; the
//! spans of moduli come on top. Absent: damping, forced motion.

mod beam;
mod names;
mod strain;
#[cfg(test)]
mod tests;

pub use beam::beside_shell;

use crate::air::Medium;
use crate::air::surface::{SurfaceAir, around};
use crate::beam::board::BeamWishes;
use crate::bend::{Progress, cautions};
use crate::clearance::{Approach, Guard};
use crate::error::SolveError;
use crate::lorentz::moving::CarriedPath;
use crate::lorentz::nodal::{Carrier, held_triangles};
use crate::magnet::Field;
use crate::model::{BoardModel, Hinge, LoadCase, Solution, board_model, flap_motion, loads, triangles_in};
use crate::modes::{Modal, ModeWishes, Modes};
use crate::recover::board_traces;
use crate::result::{AirFacts, BondLimit, ModeFacts, ModesAnswer, ModesReport, Remark, Shape, StanceFacts};
use crate::settle::{SettleOptions, Trial, settle};
use crate::statics::Prepared;
use crate::summary::summarise;
use crate::swing::{FlapAngle, Level, Loads, Measure, MovingLoad, Path, Pose, board_load};
use copperbend_mesh::board::{Board, Bond, LayerId, LayerKind};
use copperbend_mesh::triangulate::{BoardMesh, Role, SizeSource, board_mesh};
use nalgebra::Vector6;
use names::Parts;

/// Relative change of the spots of swing and roll at which the mesh is fine enough, at best.
const TOLERANCE: f64 = 0.03;

/// Steps towards a direct current: the branch that starts at no current is followed.
const CURRENT_STEPS: u32 = 8;

/// Most refinements of the mesh.
const MOST_REFINEMENTS: u32 = 2;

/// What to compute.
#[derive(Debug, Clone)]
pub struct NaturalOptions {
    /// Modes wanted.
    pub count: usize,
    /// Direct current through the board, A; 0 for none.
    pub current_a: f64,
    /// The gas around the board; None: vacuum.
    pub medium: Option<Medium>,
    /// Layered beams instead of the shell, with what they take for granted (the bond limit comes from the board).
    pub beam: Option<BeamWishes>,
    /// Asks the machine for its free memory, bytes: a factor that would not fit is refused. None: no limit.
    pub free_memory: Option<fn() -> Option<u64>>,
}

impl Default for NaturalOptions {
    fn default() -> Self {
        Self { count: 8, current_a: 0.0, medium: Some(Medium::AIR), beam: None, free_memory: None }
    }
}

/// Natural modes of a board about the state under its loads, its own heating and a direct current.
///
/// With a tape-held stiffener both bond limits are run: bonded, then sliding. A state that is not stable is reported
/// with the way in which it gives way, not refused.
///
/// # Errors
/// Any [`SolveError`]; [`SolveError::Cancelled`] when `progress` says stop; [`SolveError::Model`] for a current in a
/// board without a current path.
pub fn natural_modes(
    board: &Board,
    options: &NaturalOptions,
    progress: &mut dyn Progress,
) -> Result<ModesReport, SolveError> {
    if options.current_a != 0.0 && (board.current.is_none() || board.magnets.is_empty()) {
        return Err(SolveError::Model {
            what: "a current was asked for, but the board has no current path in the field of a magnet"
                .to_owned(),
            remedy: "give the design a [circuit] and a [[magnet]], or leave the current away".to_owned(),
        });
    }
    let taped = board.stiffeners.iter().any(|s| matches!(s.bond, Bond::Tape(_)));
    let bonds: &[BondLimit] =
        if taped { &[BondLimit::Bonded, BondLimit::Sliding] } else { &[BondLimit::AsWritten] };
    let mut tell = |stage: &str, fraction: f64| {
        if progress.report(stage, fraction) { Ok(()) } else { Err(SolveError::Cancelled) }
    };
    let answers = bonds.iter().map(|&bond| match options.beam {
        Some(wishes) => beam::answer(board, options, &BeamWishes { bond, ..wishes }, &mut tell),
        None => answer(board, options, bond, &mut tell),
    });
    let answers = answers.collect::<Result<Vec<_>, _>>()?;
    let warnings = warnings(board, &answers);
    Ok(ModesReport {
        title: board.title.clone(),
        summary: summarise(board),
        air_density_kg_m3: options.medium.map(|m| m.density_kg_m3),
        current_a: options.current_a,
        answers,
        warnings,
        cautions: cautions(board),
        left_out: left_out(options),
    })
}

/// Everything of one bond limit before its modes are told.
struct Stage<'a> {
    board: &'a Board,
    mesh: BoardMesh,
    own: BoardModel,
    hinge: Hinge,
    air: SurfaceAir,
}

fn answer(
    board: &Board,
    options: &NaturalOptions,
    bond: BondLimit,
    tell: &mut dyn FnMut(&str, f64) -> Result<(), SolveError>,
) -> Result<ModesAnswer, SolveError> {
    let (mesh, own) = settled(board, options, bond, tell)?;
    let air = options.medium.map(|medium| around(board, &mesh, &own.still, &medium)).unwrap_or_default();
    let stage = Stage { board, hinge: Hinge::of(board), mesh, own, air };
    tell("loaded state", 0.15)?;
    let steady = board_load(board, &stage.mesh, &stage.own, board.gravity_m_s2)?;
    let steady: [&dyn MovingLoad; 1] = [&steady];
    let carried = stage.carried(options.current_a);
    let driven = carried.as_ref().map(|c| c as &dyn MovingLoad);
    let mut path = Path::new(&stage.own.model, Loads { steady: &steady, driven })?;
    stage.approach(&mut path, options.current_a)?;
    tell("modes", 0.3)?;
    let wishes =
        ModeWishes { count: options.count, air_kg_m2: &stage.air.per_area_kg_m2, ..ModeWishes::default() };
    let rests = path.state().energy_j == 0.0 && path.pose().rotations.iter().all(|r| r.is_identity(0.0));
    let modal =
        if rests { Modal::at_rest(&stage.own.model, &wishes)? } else { Modal::about(&mut path, &wishes)? };
    tell("strain", 0.7)?;
    let answer = stage.told(bond, &path, &modal, &mut |done| tell("strain", 0.7 + 0.3 * done))?;
    Ok(answer)
}

/// Mesh and model, refined until the spots of swing and roll together hold still (small static turns of the flap).
fn settled(
    board: &Board,
    options: &NaturalOptions,
    bond: BondLimit,
    tell: &mut dyn FnMut(&str, f64) -> Result<(), SolveError>,
) -> Result<(BoardMesh, BoardModel), SolveError> {
    let mut build = |sources: &[SizeSource]| -> Result<Trial<(BoardMesh, BoardModel)>, SolveError> {
        tell("mesh", 0.0)?;
        let mesh = board_mesh(board, sources).map_err(SolveError::of_mesh)?;
        tell("model", 0.1)?;
        let mut own = board_model(board, &mesh, bond)?;
        own.model.free_memory = options.free_memory;
        let solution = swing_and_roll(board, &mesh, &own)?;
        let traces = board_traces(board, &mesh);
        Ok(Trial { model: own.model.clone(), solution, thermal_factor: 0.0, traces, extra: (mesh, own) })
    };
    if board.flap.is_none() {
        return Ok(build(&[])?.extra);
    }
    let wishes = SettleOptions {
        tolerance: board.mesh.tolerance.max(TOLERANCE),
        max_refinements: board.mesh.max_refinements.min(MOST_REFINEMENTS),
        max_triangles: board.mesh.max_triangles,
        growth: board.mesh.growth,
        ..SettleOptions::default()
    };
    Ok(settle(&mut build, &wishes, &mut |_| true)?.trial.extra)
}

/// Static turn of the flap by one radian about the hinge line and one about the arm direction; nothing without a flap.
fn swing_and_roll(board: &Board, mesh: &BoardMesh, own: &BoardModel) -> Result<Solution, SolveError> {
    let flap = triangles_in(mesh, Role::Flap);
    let hinge = Hinge::of(board);
    let zeros = vec![Vector6::zeros(); own.model.nodes_m.len()];
    let mut sum = Solution { displacement: zeros.clone(), trailing: zeros, ..Solution::default() };
    if flap.is_empty() {
        return Ok(sum);
    }
    let axis = hinge.axis();
    let case =
        |direction| LoadCase { nodal: loads::unit_couple(mesh, &flap, direction), ..LoadCase::default() };
    let cases = [case([axis[0], axis[1]]), case(hinge.along)];
    for (solution, roll) in Prepared::new(&own.model)?.solve(&cases)?.iter().zip([false, true]) {
        let Some(motion) = flap_motion(board, mesh, &hinge, &solution.displacement) else { continue };
        let factor = 1.0 / if roll { motion.roll_rad } else { motion.lift_rad };
        let add = |to: &mut Vec<Vector6<f64>>, from: &[Vector6<f64>]| {
            to.iter_mut().zip(from).for_each(|(sum, x)| *sum += x * factor);
        };
        add(&mut sum.displacement, &solution.displacement);
        add(&mut sum.trailing, &solution.trailing);
    }
    Ok(sum)
}

impl Stage<'_> {
    /// The current path in the field; None without a current.
    fn carried(&self, current_a: f64) -> Option<CarriedPath> {
        let current = self.board.current.as_ref().filter(|_| current_a != 0.0)?;
        let held = held_triangles(self.board, &self.mesh);
        let carrier = Carrier { mesh: &self.mesh.flat, reference_z_m: self.own.reference_z_m, held: &held };
        Some(CarriedPath::new(current, &Field::new(&self.board.magnets), &carrier, 1.0))
    }

    /// To the loaded state and then to the current in steps, each clear of everything the board must not touch.
    fn approach(&self, path: &mut Path<'_>, current_a: f64) -> Result<(), SolveError> {
        let guard = self.guard();
        for driven in currents(current_a) {
            path.to_level(Level { steady: 1.0, driven, thermal: 1.0, prescribed: 1.0 })?;
            self.clear(&guard, path.pose(), driven)?;
        }
        Ok(())
    }

    fn guard(&self) -> Guard {
        Guard::new(self.board, &self.mesh, &self.own)
    }

    /// Refuses a pose in which the board touches something.
    fn clear(&self, guard: &Guard, pose: &Pose, current_a: f64) -> Result<(), SolveError> {
        let Some(contact) = guard.nearest(pose).filter(Approach::is_contact) else { return Ok(()) };
        Err(SolveError::Model {
            what: format!(
                "at {:.3} mA the board lies against {} (at x {:.2} mm, y {:.2} mm): it has been pulled in, and contact is not \
                 modelled",
                current_a * 1e3,
                contact.to,
                contact.at_m[0] * 1e3,
                contact.at_m[1] * 1e3
            ),
            remedy: "ask for a smaller current, or move the magnet away".to_owned(),
        })
    }

    fn flap_angle(&self) -> Option<FlapAngle> {
        FlapAngle::new(&self.own.model, &triangles_in(&self.mesh, Role::Flap), &self.hinge)
    }

    /// Mass of air on every node, kg.
    fn air_kg(&self) -> Vec<f64> {
        node_air(&self.mesh, &self.air)
    }

    fn told(
        &self,
        bond: BondLimit,
        path: &Path<'_>,
        modal: &Modal,
        tell: &mut dyn FnMut(f64) -> Result<(), SolveError>,
    ) -> Result<ModesAnswer, SolveError> {
        let found = &modal.modes;
        let flap = triangles_in(&self.mesh, Role::Flap);
        let angle = self.flap_angle();
        let parts = Parts::new(self.board, &self.mesh, &self.own.model, path.pose(), &self.hinge);
        let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
        Ok(ModesAnswer {
            bond,
            beam_elements: None,
            flap_angle_rad: angle.map(|a| a.value(path.pose())),
            unstable: count(found.unstable),
            modes: self.modes(path, found, &parts, tell)?,
            counted: found.counted.map(|c| c.map(count)),
            air: self.air.plates.iter().map(air_facts).collect(),
            stance: self.stance(modal, &flap)?,
            triangles: count(self.mesh.flat.triangles.len()),
            unknowns: count(path.n_unknowns()),
            seconds: found.seconds,
            shape: self.shape(&|node| {
                let u = path.displacement_m(node);
                [u[0], u[1], u[2], 0.0, 0.0, 0.0]
            }),
            shapes: found.modes.iter().map(|m| m.shape.iter().map(|&x| x.into()).collect()).collect(),
            copper: self.copper(),
        })
    }

    fn modes(
        &self,
        path: &Path<'_>,
        found: &Modes,
        parts: &Parts,
        tell: &mut dyn FnMut(f64) -> Result<(), SolveError>,
    ) -> Result<Vec<ModeFacts>, SolveError> {
        let traces = board_traces(self.board, &self.mesh);
        let mut all = Vec::new();
        for (mode, number) in found.modes.iter().zip(1_u32..) {
            tell(f64::from(number) / found.modes.len() as f64)?;
            let moved = parts.movement(&mode.shape);
            let strained = strain::of_mode(self, path, &traces, &mode.shape, &moved);
            all.push(ModeFacts {
                number,
                frequency_hz: mode.frequency_hz,
                // The frequency is the root of a quotient of energies, so half the relative error of the energy.
                frequency_error_hz: 0.5 * strained.energy_error * mode.frequency_hz,
                vacuum_hz: mode.vacuum_hz(),
                eigenvalue_rad2_s2: mode.eigenvalue,
                residual: mode.residual,
                air_share: mode.air_share,
                strain: strained.spot,
                ..moved.facts()
            });
        }
        names::name(&mut all);
        Ok(all)
    }

    /// Stiffness of the flap by unit couples, and how far it rolls under a force beside its middle.
    fn stance(&self, modal: &Modal, flap: &[usize]) -> Result<Option<StanceFacts>, SolveError> {
        const ASIDE_M: f64 = 1e-3;
        if flap.is_empty() || modal.modes.unstable > 0 {
            return Ok(None);
        }
        let axis = self.hinge.axis();
        let about_hinge = loads::unit_couple(&self.mesh, flap, [axis[0], axis[1]]);
        let about_arm = loads::unit_couple(&self.mesh, flap, self.hinge.along);
        let mut aside = loads::unit_lift(&self.mesh, flap);
        for (sum, couple) in aside.iter_mut().zip(&about_arm) {
            *sum += couple * ASIDE_M;
        }
        let motion = |nodal: &loads::Nodal| -> Result<_, SolveError> {
            Ok(flap_motion(self.board, &self.mesh, &self.hinge, &modal.response(nodal)?))
        };
        let (Some(swing), Some(roll), Some(aside)) =
            (motion(&about_hinge)?, motion(&about_arm)?, motion(&aside)?)
        else {
            return Ok(None);
        };
        Ok(Some(StanceFacts {
            swing_nm_per_rad: 1.0 / swing.lift_rad,
            roll_nm_per_rad: 1.0 / roll.roll_rad,
            roll_per_swing_1_mm_aside: aside.roll_rad / aside.lift_rad,
        }))
    }

    /// Mesh, and the loaded state's displacements.
    fn shape(&self, moved: &dyn Fn(u32) -> [f64; 6]) -> Shape {
        let (flat, model) = (&self.mesh.flat, &self.own.model);
        let thickness = |&l: &u32| model.laminates[l as usize].thickness_m();
        Shape {
            points_m: flat.points_m.clone(),
            triangles: flat.triangles.clone(),
            zone_of: flat.zone_of.clone(),
            loaded: (0_u32..).zip(&model.nodes_m).map(|(node, _)| moved(node)).collect(),
            thickness_m: model.laminate_of.iter().map(thickness).collect(),
            ..Shape::default()
        }
    }

    /// Triangles that carry copper.
    fn copper(&self) -> Vec<bool> {
        let model = &self.own.model;
        let is_copper = |layer: LayerId| {
            self.board.layers.get(layer.0 as usize).is_some_and(|l| l.kind == LayerKind::Copper)
        };
        let carries: Vec<bool> =
            model.laminates.iter().map(|l| l.plies.iter().any(|p| is_copper(p.layer))).collect();
        model.laminate_of.iter().map(|&l| carries[l as usize]).collect()
    }
}

/// Currents on the way to a direct current; 0 alone without one.
fn currents(to_a: f64) -> Vec<f64> {
    let steps = if to_a == 0.0 { 0 } else { CURRENT_STEPS };
    (0..=steps).map(|step| to_a * f64::from(step) / f64::from(steps.max(1))).collect()
}

/// Mass of air on every node, kg: a third of each triangle's.
pub(crate) fn node_air(mesh: &BoardMesh, air: &SurfaceAir) -> Vec<f64> {
    let flat = &mesh.flat;
    let mut all = vec![0.0; flat.points_m.len()];
    for (t, per_area) in air.per_area_kg_m2.iter().enumerate() {
        let share = per_area * flat.area_m2(t) / 3.0;
        flat.triangles[t].iter().for_each(|&n| all[n as usize] += share);
    }
    all
}

fn air_facts(own: &crate::air::surface::PlateInAir) -> AirFacts {
    AirFacts {
        part: own.name.clone(),
        sides_m: [own.plate.length_m, own.plate.width_m],
        mass_kg: own.mass_kg,
    }
}

fn warnings(board: &Board, answers: &[ModesAnswer]) -> Vec<Remark> {
    let mut found = Remark::of_board(board);
    for answer in answers {
        if answer.unstable > 0 {
            found.push(Remark {
                place: "state".to_owned(),
                text: format!(
                    "the state about which the board should vibrate is not stable: it gives way in {} way(s), see the modes \
                     without a frequency",
                    answer.unstable
                ),
                remedy: "lower the current or the load, or stiffen the arms".to_owned(),
            });
        }
    }
    found
}

fn left_out(options: &NaturalOptions) -> Vec<String> {
    let mut lines = vec![
        "damping: frequencies are those of the undamped board".to_owned(),
        "spans of moduli and thicknesses: a modulus off by 10 % moves a frequency by up to 5 %".to_owned(),
        "large motion: modes are small motions about the state; at tens of degrees frequencies shift"
            .to_owned(),
    ];
    if options.beam.is_some() {
        lines.extend(beam::left_out());
    }
    if options.medium.is_some() {
        lines.push(
            "air near walls and magnets, and between neighbouring parts: both add to the moving mass"
                .to_owned(),
        );
    }
    lines
}
