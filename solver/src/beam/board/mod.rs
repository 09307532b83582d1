//! A board as a frame of beams: strips to nodes, elements and sections; loads, masses and drive put on them.
//!
//! In: board, wishes. Out: [`BoardBeam`], ready for [`super::motion`] and [`super::modes`]. Absent: solving.

mod drive;
mod flap;
mod loads;
mod spread;

pub use drive::CoilDrive;
pub(in crate::beam) use loads::{Carriers, carriers};

use super::frame::{Frame, FrameNode, Link, Ride, Turned};
use super::section::{Across, Section, Stretch, mass_of, twist_share, twisting_nm2};
use crate::element::beam::{BeamElement, SectionAt};
use crate::error::SolveError;
use crate::model::{Hinge, laminate_at, laminate_of_layers};
use crate::result::BondLimit;
use copperbend_mesh::board::{Board, SupportKind};
use copperbend_mesh::quality::MeshError;
use copperbend_mesh::strip::{End, Part, Piece, StripWishes, Strips, strips};
use nalgebra::{Matrix3, Vector3, Vector4};
use std::collections::BTreeMap;

/// What the beam takes for granted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BeamWishes {
    /// How tapes of stiffeners are taken.
    pub bond: BondLimit,
    /// What a strip does across its width.
    pub across: Across,
    /// Roots and tips of the arms may not warp.
    pub warping_held: bool,
    /// The flap bends as a wide beam.
    pub elastic_flap: bool,
    /// Load spreads from an arm into wider parts by degrees; else over their whole width at once.
    pub spreads: bool,
    /// Pieces along an arm, at least.
    pub pieces: u32,
}

impl Default for BeamWishes {
    fn default() -> Self {
        Self {
            bond: BondLimit::AsWritten,
            across: Across::Free,
            warping_held: true,
            elastic_flap: false,
            spreads: true,
            pieces: 40,
        }
    }
}

/// What an element stands for.
#[derive(Debug, Clone, PartialEq)]
pub struct Span {
    /// Index into [`Board::arms`]; None in the flap.
    pub arm: Option<u32>,
    /// The piece of the strip.
    pub piece: Piece,
    /// Index into [`BoardBeam::sections`].
    pub section: usize,
    /// Share of the free twist that held warping leaves.
    pub twist_share: f64,
    /// Place of its first end along the strip, m from the support.
    pub start_m: f64,
}

/// A board as beams.
#[derive(Debug)]
pub struct BoardBeam {
    /// Nodes and elements.
    pub frame: Frame,
    /// One per element.
    pub spans: Vec<Span>,
    /// Distinct sections.
    pub sections: Vec<Section>,
    /// Mechanical loads and weight.
    pub rides: Vec<Ride>,
    /// The magnets' load per ampere.
    pub drive: Option<CoilDrive>,
    /// Node of the flap.
    pub flap: Option<usize>,
    /// Far end of every arm, in the board's order.
    pub tips: Vec<usize>,
    /// Hinge line and arm direction.
    pub hinge: Hinge,
    /// Height of the beams' axes above z = 0, m: neutral plane of the first arm.
    pub reference_z_m: f64,
    /// Centre of the flap's area, from its node, m.
    pub flap_centre_m: Vector3<f64>,
    /// Mass of the flap and what is glued to it, kg; its centre from the node, m.
    pub flap_mass: (f64, Vector3<f64>),
}

/// In the making.
struct Build<'b> {
    board: &'b Board,
    wishes: &'b BeamWishes,
    reference_z_m: f64,
    nodes: Vec<FrameNode>,
    links: Vec<Link>,
    spans: Vec<Span>,
    sections: Vec<Section>,
    known: BTreeMap<Vec<i64>, usize>,
    turned: Vec<Turned>,
}

/// Makes the beams of a board.
///
/// # Errors
/// [`SolveError::Mesh`] with every fault of the strips; [`SolveError::Model`] for supports or sections that a beam
/// cannot have.
pub fn board_beam(board: &Board, wishes: &BeamWishes) -> Result<BoardBeam, SolveError> {
    let found = strips(board, StripWishes { pieces: wishes.pieces }).map_err(|f| refused(&f))?;
    let reference_z_m = reference(board, wishes, &found);
    let mut build = Build {
        board,
        wishes,
        reference_z_m,
        nodes: Vec::new(),
        links: Vec::new(),
        spans: Vec::new(),
        sections: Vec::new(),
        known: BTreeMap::new(),
        turned: Vec::new(),
    };
    let mut ends = Vec::new();
    for strip in &found.arms {
        ends.push(build.arm(strip)?);
    }
    let on_flap: Vec<usize> =
        found.arms.iter().zip(&ends).filter(|(s, _)| s.far == End::Flap).map(|(_, &e)| e).collect();
    let flap = build.flap(&found, &on_flap)?;
    let tips = ends.iter().map(|&e| build.links[e].nodes[1]).collect();
    let ring = || SolveError::Model {
        what: "the arms close a ring".to_owned(),
        remedy: "use the shell for this board".to_owned(),
    };
    let mut frame = Frame::new(build.nodes, build.links).ok_or_else(ring)?;
    frame.turned = build.turned;
    let mut own = BoardBeam {
        frame,
        spans: build.spans,
        sections: build.sections,
        rides: Vec::new(),
        drive: None,
        flap: flap.as_ref().map(|f| f.node),
        tips,
        hinge: Hinge::of(board),
        reference_z_m,
        flap_centre_m: flap.as_ref().map_or_else(Vector3::zeros, |f| f.centre_m),
        flap_mass: flap.as_ref().map_or((0.0, Vector3::zeros()), |f| (f.mass_kg, f.mass_centre_m)),
    };
    loads::bodies(board, &mut own);
    own.rides = loads::all(board, &own)?;
    own.drive = CoilDrive::new(board, &own);
    Ok(own)
}

/// Faults of the strips as one error.
fn refused(faults: &[MeshError]) -> SolveError {
    let line = |f: &MeshError| format!("{}: {}: {} ({})", f.place, f.value, f.rule, f.remedy);
    let what = faults.iter().map(line).collect::<Vec<_>>().join("\n");
    SolveError::Mesh { what, remedy: "use --model shell for what no beam can do".to_owned() }
}

/// Neutral plane of the first arm at mid-length, m above z = 0.
fn reference(board: &Board, wishes: &BeamWishes, found: &Strips) -> f64 {
    let Some(strip) = found.arms.first() else { return 0.0 };
    let inner: Vec<&Piece> = strip.pieces.iter().filter(|p| p.part == Part::Arm).collect();
    let Some(piece) = inner.get(inner.len() / 2) else { return 0.0 };
    let (mut stretch, mut coupling) = (0.0, 0.0);
    for slot in &piece.slots {
        let own = laminate_of_layers(board, &slot.layers, wishes.bond);
        let width = slot.across_m[1] - slot.across_m[0];
        stretch += width * own.a[(0, 0)];
        coupling += width * own.b[(0, 0)];
    }
    if stretch > 0.0 { coupling / stretch } else { 0.0 }
}

impl Build<'_> {
    /// Nodes and elements of one arm; returns its last element, whose second node is the flap's when there is one.
    fn arm(&mut self, strip: &copperbend_mesh::strip::Strip) -> Result<usize, SolveError> {
        let first = self.nodes.len();
        for n in 0..=strip.pieces.len() {
            let at = if n == 0 { strip.pieces[0].ends_m[0] } else { strip.pieces[n - 1].ends_m[1] };
            self.nodes.push(FrameNode::free(Vector3::new(at[0], at[1], self.reference_z_m)));
        }
        self.hold(first, strip.support)?;
        let last = self.nodes.len() - 1;
        if let End::Held(support) = strip.far {
            self.hold(last, support)?;
        }
        let inner: Vec<&Piece> = strip.pieces.iter().filter(|p| p.part == Part::Arm).collect();
        let whole: f64 = inner.iter().map(|p| p.length_m()).sum();
        let decay = match inner.get(inner.len() / 2) {
            Some(piece) if self.wishes.warping_held => {
                let section = self.section(piece)?;
                let s = &self.sections[section];
                if s.warping_nm4 > 0.0 { (s.stiffness[(3, 3)] / s.warping_nm4).sqrt() } else { f64::INFINITY }
            }
            _ => f64::INFINITY,
        };
        let held = [true, strip.far != End::Free];
        let (mut start, mut along) = (0.0, 0.0);
        let carried = self.carried(&strip.pieces, None);
        for (n, (piece, carries)) in strip.pieces.iter().zip(carried).enumerate() {
            let section = self.section_of(&carries, piece)?;
            let length = piece.length_m();
            let mut share = 1.0;
            if piece.part == Part::Arm {
                if decay.is_finite() {
                    let at = |t: f64| twist_share(along + t * length, whole, decay, held);
                    share = (at(0.0) + 4.0 * at(0.5) + at(1.0)) / 6.0;
                }
                along += length;
            }
            let span = Span {
                arm: Some(strip.arm),
                piece: piece.clone(),
                section,
                twist_share: share.max(1e-6),
                start_m: start,
            };
            self.element([first + n, first + n + 1], [Vector3::zeros(); 2], span)?;
            start += length;
        }
        Ok(self.links.len() - 1)
    }

    fn hold(&mut self, node: usize, support: u32) -> Result<(), SolveError> {
        let support = &self.board.supports[support as usize];
        match support.kind {
            SupportKind::Clamp { rotation_rad, axis_point_m, axis } => {
                self.nodes[node].held = [true; 6];
                if rotation_rad != 0.0 {
                    let rotation_rad = Vector3::from(axis) * rotation_rad;
                    self.turned.push(Turned { node, through_m: axis_point_m.into(), rotation_rad });
                }
            }
            SupportKind::Simple => self.nodes[node].held = [true, true, true, false, false, false],
            SupportKind::Symmetry => {
                return Err(SolveError::Model {
                    what: format!(
                        "support '{}' is a line of symmetry, which a beam cannot have",
                        support.name
                    ),
                    remedy: "describe the whole board, or use --model shell".to_owned(),
                });
            }
        }
        Ok(())
    }

    /// One element with its span.
    fn element(
        &mut self,
        nodes: [usize; 2],
        arms_m: [Vector3<f64>; 2],
        span: Span,
    ) -> Result<(), SolveError> {
        let section = &self.sections[span.section];
        let mut compliance = section.compliance;
        // Less twist for the same torque; what bending and twist share goes with its root.
        let root = span.twist_share.sqrt();
        for c in 0..4 {
            compliance[(3, c)] *= root;
            compliance[(c, 3)] *= root;
        }
        let mut free: Vector4<f64> = section.free;
        free[3] *= root;
        let at = |place| SectionAt { place, weight: 0.5, compliance, free };
        // Two Gauss points are exact for a constant section.
        let rule = [at(0.211_324_865_405_187_1), at(0.788_675_134_594_812_9)];
        let [a, b] = [0, 1].map(|e| self.nodes[nodes[e]].at_m + arms_m[e]);
        let [c, s] = span.piece.along;
        let triad = Matrix3::new(c, s, 0.0, -s, c, 0.0, 0.0, 0.0, 1.0);
        let element = BeamElement::new((b - a).norm(), triad, &rule, &section.mass);
        let element = element.ok_or_else(|| no_stiffness(&span.piece))?;
        self.links.push(Link { nodes, arms_m, element });
        self.spans.push(span);
        Ok(())
    }

    /// What carries of every piece; `from`: edges of what carries at the first one's near end, where load comes from
    /// arms, m across.
    fn carried(&self, pieces: &[Piece], from: Option<&[[f64; 2]]>) -> Vec<Piece> {
        if !self.wishes.spreads {
            return pieces.to_vec();
        }
        let growth = spread::growth(self.contraction(pieces));
        let Some(from) = from else {
            let edges = spread::carrying(pieces, growth);
            return pieces.iter().zip(edges).map(|(p, e)| spread::within(p, &[e])).collect();
        };
        let mut run_m = 0.0;
        let one = |piece: &Piece| {
            let more = 0.5 * growth * (run_m + 0.5 * piece.length_m());
            run_m += piece.length_m();
            let stretches: Vec<[f64; 2]> = from.iter().map(|[a, b]| [a - more, b + more]).collect();
            spread::within(piece, &stretches)
        };
        pieces.iter().map(one).collect()
    }

    /// Poisson's ratio in bending of the widest piece's first stack.
    fn contraction(&self, pieces: &[Piece]) -> f64 {
        let width = |p: &Piece| {
            let [a, b] = spread::edges(p);
            b - a
        };
        let widest = pieces.iter().max_by(|a, b| width(a).total_cmp(&width(b)));
        let Some(stack) = widest.and_then(|p| self.stretches(p).into_iter().next()) else { return 0.0 };
        let d = &stack.laminate.d;
        if d[(0, 0)] > 0.0 { (d[(0, 1)] / d[(0, 0)]).clamp(0.0, 0.5) } else { 0.0 }
    }

    /// The section of a piece; equal ones are made once.
    fn section(&mut self, piece: &Piece) -> Result<usize, SolveError> {
        self.section_of(piece, piece)
    }

    /// The section that carries with the mass of the whole piece; equal ones are made once.
    fn section_of(&mut self, piece: &Piece, whole: &Piece) -> Result<usize, SolveError> {
        let mut key = key(piece);
        if piece.slots != whole.slots {
            key.extend(self::key(whole));
        }
        if let Some(&known) = self.known.get(&key) {
            return Ok(known);
        }
        let stretches: Vec<Stretch> = self.stretches(piece);
        let twisting = twisting_nm2(&stretches);
        let mut section = Section::new(&stretches, piece.along, self.wishes.across, twisting)
            .ok_or_else(|| no_stiffness(piece))?;
        if piece.slots != whole.slots {
            section.mass = mass_of(&self.stretches(whole));
        }
        self.sections.push(section);
        self.known.insert(key, self.sections.len() - 1);
        Ok(self.sections.len() - 1)
    }

    fn stretches(&self, piece: &Piece) -> Vec<Stretch> {
        let one = |slot: &copperbend_mesh::strip::Slot| {
            let at = piece.place_m(0.5 * (slot.across_m[0] + slot.across_m[1]));
            let laminate = laminate_at(self.board, &slot.layers, at, self.wishes.bond, self.reference_z_m);
            Stretch { across_m: slot.across_m, laminate }
        };
        piece.slots.iter().map(one).collect()
    }
}

/// What makes two sections equal: edges to 10 nm, layers, direction, and in the flap the place (turns of a coil).
fn key(piece: &Piece) -> Vec<i64> {
    #[expect(clippy::cast_possible_truncation, reason = "board sizes are far below the limit")]
    let whole = |x: f64, unit: f64| (x / unit).round() as i64;
    let mut key = vec![whole(piece.along[0], 1e-9), whole(piece.along[1], 1e-9)];
    if piece.part == Part::Flap {
        key.extend(piece.ends_m[0].map(|x| whole(x, 1e-9)));
    }
    for slot in &piece.slots {
        key.extend([i64::MIN, whole(slot.across_m[0], 1e-8), whole(slot.across_m[1], 1e-8)]);
        key.extend(slot.layers.iter().map(|l| i64::from(l.0)));
    }
    key
}

fn no_stiffness(piece: &Piece) -> SolveError {
    let [x, y] = piece.place_m(0.0);
    SolveError::Model {
        what: format!("the section at ({:.3}, {:.3}) mm has no stiffness", 1e3 * x, 1e3 * y),
        remedy: "give its layers a modulus".to_owned(),
    }
}
