//! Everything of one bond limit before it moves: mesh, model, air, modes, the coil's load at rest, the basis.

use super::beams::Beams;
use super::{DriveOptions, Tell};
use crate::air::Medium;
use crate::air::surface::{SurfaceAir, around};
use crate::beam::board::BeamWishes;
use crate::clearance::Guard;
use crate::error::SolveError;
use crate::lorentz::board_resistance_ohm;
use crate::lorentz::inductance::inductance_h;
use crate::lorentz::moving::CarriedPath;
use crate::lorentz::nodal::{Carrier, held_triangles};
use crate::magnet::Field;
use crate::model::{BoardModel, Hinge, board_model, flap_motion, triangles_in};
use crate::modes::{Modal, ModeWishes};
use crate::natural::node_air;
use crate::result::{BasisMode, BondLimit, DriveAnswer, DriveSource};
use crate::swing::{FlapAngle, MovingLoad, Pose};
use copperbend_mesh::board::{Board, DriveWave};
use copperbend_mesh::triangulate::{BoardMesh, Role, board_mesh};
use nalgebra::Vector6;
use std::f64::consts::TAU;
use std::time::Instant;

/// Share of the static answer's flexibility below which the modes alone do.
const LEAST_REST: f64 = 1e-9;

/// A swing below this share of the whole turn is none to refer roll to.
const HARDLY: f64 = 0.01;

/// One amplitude of the reduced board.
pub(super) struct Shape {
    pub(super) name: String,
    /// Motion of every node per unit of the amplitude; modal mass 1 kg.
    pub(super) motion: Vec<Vector6<f64>>,
    /// The same of the beams' nodes; empty by the shell.
    pub(super) beam: Vec<Vector6<f64>>,
    /// Angular frequency, rad/s.
    pub(super) rad_s: f64,
    /// Flap angle and roll per unit, rad.
    pub(super) lift: f64,
    pub(super) roll: f64,
    /// Displacement of the flap's middle along z per unit.
    pub(super) heave: f64,
    /// Force per ampere at rest.
    pub(super) per_ampere: f64,
}

/// A small motion of the board from rest.
#[derive(Debug, Clone, Default)]
pub(super) struct Form {
    /// Of every node of the mesh.
    pub(super) motion: Vec<Vector6<f64>>,
    /// Of every node of the beams; empty by the shell.
    pub(super) beam: Vec<Vector6<f64>>,
}

impl Form {
    fn scaled(mut self, factor: f64) -> Self {
        self.motion.iter_mut().chain(&mut self.beam).for_each(|x| *x *= factor);
        self
    }
}

/// A natural mode at rest.
pub(super) struct FoundMode {
    pub(super) eigenvalue: f64,
    /// Modal mass 1 kg.
    pub(super) form: Form,
    pub(super) air_share: f64,
}

/// Modes at rest, and what they leave of the static answer to the coil.
pub(super) struct Found {
    pub(super) modes: Vec<FoundMode>,
    pub(super) left: Form,
    pub(super) seconds: f64,
}

/// Everything of a board before it moves.
pub(super) struct Stage<'a> {
    pub(super) board: &'a Board,
    pub(super) mesh: BoardMesh,
    pub(super) own: BoardModel,
    /// The board as layered beams, where they were asked for: then mesh and laminates only ride on them.
    pub(super) beams: Option<Beams>,
    pub(super) hinge: Hinge,
    pub(super) carried: CarriedPath,
    pub(super) field: Field,
    pub(super) guard: Guard,
    pub(super) angle: FlapAngle,
    pub(super) medium: Medium,
    pub(super) air: SurfaceAir,
    /// Mass of every node, kg.
    pub(super) node_mass_kg: Vec<f64>,
    /// The swing first, the static answer to the coil last where the modes leave something of it.
    pub(super) shapes: Vec<Shape>,
    pub(super) air_share: f64,
    pub(super) seconds: f64,
}

/// Refuses what cannot be driven.
pub(super) fn check(board: &Board) -> Result<(), SolveError> {
    let refuse = |what: &str, remedy: &str| {
        Err(SolveError::Model { what: what.to_owned(), remedy: remedy.to_owned() })
    };
    if board.flap.is_none() {
        return refuse(
            "nothing swings: the design has no flap",
            "add [flap] with the shape of the stiff part",
        );
    }
    let Some(path) = &board.current else {
        return refuse(
            "nothing drives the flap: the design has no current path",
            "add [circuit] and [drive]",
        );
    };
    if path.current_a == 0.0 {
        return refuse("the drive current is 0", "give [drive] a current above zero: it is the amplitude");
    }
    if board.magnets.is_empty() {
        return refuse("nothing drives the flap: the design has no magnet", "add [[magnet]]");
    }
    if board.drive.voltage_v.is_some() && board_resistance_ohm(board).is_none_or(|r| r <= 0.0) {
        return refuse(
            "a voltage drives, but the resistance of the path is not known",
            "use copper of the library, or give the material a resistivity",
        );
    }
    Ok(())
}

impl<'a> Stage<'a> {
    pub(super) fn new(
        board: &'a Board,
        options: &DriveOptions,
        bond: BondLimit,
        tell: &mut Tell<'_>,
    ) -> Result<Self, SolveError> {
        check(board)?;
        let Some(current) = &board.current else {
            return Err(SolveError::Model {
                what: "no current path".to_owned(),
                remedy: "add [circuit]".to_owned(),
            });
        };
        tell("mesh", 0.0)?;
        let mesh = board_mesh(board, &[]).map_err(SolveError::of_mesh)?;
        tell("model", 0.08)?;
        let mut own = board_model(board, &mesh, bond)?;
        own.model.free_memory = options.free_memory;
        let hinge = Hinge::of(board);
        let flap = triangles_in(&mesh, Role::Flap);
        let angle = FlapAngle::new(&own.model, &flap, &hinge).ok_or_else(|| SolveError::Model {
            what: "the flap's shape covers no triangle of the board".to_owned(),
            remedy: "let [flap] name a shape on the board".to_owned(),
        })?;
        let field = Field::new(&board.magnets);
        let held = held_triangles(board, &mesh);
        let carrier = Carrier { mesh: &mesh.flat, reference_z_m: own.reference_z_m, held: &held };
        let carried = CarriedPath::new(current, &field, &carrier, 1.0);
        let guard = Guard::new(board, &mesh, &own);
        let medium = Medium::AIR;
        let air = around(board, &mesh, &own.still, &medium);
        let node_mass_kg = node_mass(&own, &mesh);
        let beams = match options.beam {
            Some(wishes) => {
                Some(Beams::new(board, &BeamWishes { bond, ..wishes }, &mesh, own.reference_z_m)?)
            }
            None => None,
        };
        let mut stage = Self {
            board,
            mesh,
            own,
            beams,
            hinge,
            carried,
            field,
            guard,
            angle,
            medium,
            air,
            node_mass_kg,
            shapes: Vec::new(),
            air_share: 0.0,
            seconds: 0.0,
        };
        tell("modes", 0.15)?;
        stage.find_shapes(options.modes)?;
        Ok(stage)
    }

    /// The same board, mesh and air with other beams.
    pub(super) fn with_beams(mut self, wishes: BeamWishes, modes: usize) -> Result<Self, SolveError> {
        self.beams = Some(Beams::new(self.board, &wishes, &self.mesh, self.own.reference_z_m)?);
        self.find_shapes(modes)?;
        Ok(self)
    }

    /// Modes at rest and what they leave of the static answer to the coil.
    fn find_shapes(&mut self, count: usize) -> Result<(), SolveError> {
        let rest = Pose::at_rest(&self.own.model.nodes_m);
        let coil = self.carried.forces(&rest);
        let found = match &self.beams {
            Some(beams) => beams.at_rest(&node_air(&self.mesh, &self.air), count.max(1), &coil)?,
            None => self.by_shell(count, &coil)?,
        };
        let mut shapes: Vec<Shape> = Vec::new();
        for (mode, number) in found.modes.iter().zip(1..) {
            let rad_s = mode.eigenvalue.max(0.0).sqrt();
            shapes.push(self.shape(format!("mode {number}"), mode.form.clone(), rad_s, &coil));
        }
        // The swing: most angle by a couple on the flap, a^2 / w^2.
        let ease = |s: &Shape| if s.rad_s > 0.0 { (s.lift / s.rad_s).powi(2) } else { 0.0 };
        let swing = (0..shapes.len()).max_by(|&a, &b| ease(&shapes[a]).total_cmp(&ease(&shapes[b])));
        let Some(swing) = swing.filter(|&s| ease(&shapes[s]) > 0.0) else {
            return Err(SolveError::Model {
                what: "no natural mode turns the flap about the hinge line".to_owned(),
                remedy: "check [flap] and the arms' root and tip".to_owned(),
            });
        };
        self.air_share = found.modes[swing].air_share;
        let mut first = shapes.remove(swing);
        first.name = "swing".to_owned();
        if first.lift < 0.0 {
            let form = Form { motion: first.motion, beam: first.beam };
            first = self.shape(first.name, form.scaled(-1.0), first.rad_s, &coil);
        }
        shapes.insert(0, first);
        let left = found.left;
        // Twice the energy of what is left is the coil's work on it.
        let energy: f64 = left.motion.iter().zip(&coil).map(|(x, f)| x.dot(f)).sum();
        let mass: f64 = self.lumped_square(&left.motion);
        let whole: f64 = shapes.iter().map(|s| (s.per_ampere / s.rad_s).powi(2)).sum();
        if energy > LEAST_REST * whole && mass > 0.0 {
            let scale = mass.sqrt().recip();
            let name = "static answer to the coil".to_owned();
            shapes.push(self.shape(name, left.scaled(scale), (energy / mass).sqrt(), &coil));
        }
        self.shapes = shapes;
        self.seconds = found.seconds;
        Ok(())
    }

    fn by_shell(&self, count: usize, coil: &[Vector6<f64>]) -> Result<Found, SolveError> {
        let wishes = ModeWishes {
            count: count.max(1),
            air_kg_m2: &self.air.per_area_kg_m2,
            prove: false,
            ..ModeWishes::default()
        };
        let begin = Instant::now();
        let modal = Modal::at_rest(&self.own.model, &wishes)?;
        let seconds = begin.elapsed().as_secs_f64();
        let left = Form { motion: modal.static_correction(coil)?, beam: Vec::new() };
        let own = modal.modes.modes.iter().map(|m| FoundMode {
            eigenvalue: m.eigenvalue,
            form: Form { motion: m.shape.clone(), beam: Vec::new() },
            air_share: m.air_share,
        });
        Ok(Found { modes: own.collect(), left, seconds })
    }

    /// Square of a motion in the metric of the lumped mass.
    pub(super) fn lumped_square(&self, motion: &[Vector6<f64>]) -> f64 {
        motion.iter().zip(&self.node_mass_kg).map(|(x, m)| m * x.fixed_rows::<3>(0).norm_squared()).sum()
    }

    fn shape(&self, name: String, form: Form, rad_s: f64, coil: &[Vector6<f64>]) -> Shape {
        let Form { motion, beam } = form;
        let plane = flap_motion(self.board, &self.mesh, &self.hinge, &motion).unwrap_or_default();
        let per_ampere = motion.iter().zip(coil).map(|(x, f)| x.dot(f)).sum();
        Shape {
            name,
            rad_s,
            lift: plane.lift_rad,
            roll: plane.roll_rad,
            heave: plane.centre_m[2],
            per_ampere,
            motion,
            beam,
        }
    }

    pub(super) fn wave(&self) -> crate::drive::Form {
        match self.board.drive.wave {
            DriveWave::Sine => crate::drive::Form::Sine,
            DriveWave::Square => crate::drive::Form::Square,
            DriveWave::Triangle => crate::drive::Form::Triangle,
        }
    }

    pub(super) fn resistance_ohm(&self) -> Option<f64> {
        board_resistance_ohm(self.board).filter(|&r| r > 0.0)
    }

    /// What is known before anything moves.
    pub(super) fn told(&self, bond: BondLimit) -> DriveAnswer {
        let d = &self.board.drive;
        let path = self.board.current.as_ref();
        let resistance_ohm = self.resistance_ohm();
        let drive_a = path.map_or(0.0, |p| p.current_a.abs());
        let current_a = match (d.voltage_v, resistance_ohm) {
            (Some(v), Some(r)) => v / r,
            _ => drive_a,
        };
        let source = DriveSource {
            wave: self.wave().name().to_owned(),
            current_a,
            offset_a: d.offset_a,
            voltage_v: d.voltage_v,
            resistance_ohm,
            inductance_h: path.map_or(0.0, |p| inductance_h(p, self.board)),
            harmonics: self.harmonics(),
        };
        let basis = self.shapes.iter().map(|s| {
            let static_a = s.per_ampere / s.rad_s.powi(2);
            BasisMode {
                name: s.name.clone(),
                frequency_hz: s.rad_s / TAU,
                roll_per_swing: (s.lift.abs() > HARDLY * s.lift.hypot(s.roll)).then(|| s.roll / s.lift),
                angle_rad_per_a: s.lift * static_a,
                roll_rad_per_a: s.roll * static_a,
            }
        });
        DriveAnswer {
            bond,
            beam_elements: self.beams.as_ref().map(Beams::elements),
            source,
            basis: basis.collect(),
            triangles: u32::try_from(self.mesh.flat.triangles.len()).unwrap_or(u32::MAX),
            seconds: [self.seconds, 0.0],
            ..DriveAnswer::default()
        }
    }

    pub(super) fn harmonics(&self) -> u32 {
        let usual = if self.board.drive.wave == DriveWave::Sine { 3 } else { 5 };
        self.board.drive.harmonics.unwrap_or(usual)
    }
}

/// Mass of every node: a third of each triangle's, and bodies.
fn node_mass(own: &BoardModel, mesh: &BoardMesh) -> Vec<f64> {
    let model = &own.model;
    let mut mass = vec![0.0; model.nodes_m.len()];
    for (t, corners) in model.triangles.iter().enumerate() {
        let share = model.laminates[model.laminate_of[t] as usize].mass[0] * mesh.flat.area_m2(t) / 3.0;
        for &node in corners {
            mass[node as usize] += share;
        }
    }
    for (node, inertia) in &model.node_mass {
        mass[*node as usize] += inertia[(0, 0)];
    }
    mass
}
