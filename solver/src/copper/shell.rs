//! Yielding copper in the layers of a shell: what it gives less than elastic copper, and its memory.
//!
//! In: laminates with their copper plies and laws, the small motion of every triangle. Out: per triangle the forces and
//! stiffness by which the yielding stack falls short of the elastic one, so that a solver subtracts them and knows
//! nothing else of copper. Points lie at the middles of the sides and at Gauss heights of every copper ply. A triangle
//! that has not yielded since its law began costs one look at the faces of its copper. Smeared coils and plies of
//! sliding stiffeners stay elastic.

use super::{Law, mises_pa};
use crate::element::{Local, Matrix18, Vector18, double_area, shell};
use crate::laminate::{Laminate, Ply};
use copperbend_mesh::board::LayerId;
use nalgebra::{Matrix3, Matrix6, Vector3, Vector6};
use rayon::prelude::*;

/// Points through each copper ply unless asked otherwise.
pub const POINTS: usize = 5;

/// Triangles a thread takes at a time.
const CHUNK: usize = 128;

/// A copper ply of a laminate.
#[derive(Debug, Clone)]
struct Sheet {
    layer: LayerId,
    /// Faces above the reference plane, m.
    faces_m: [f64; 2],
    q_pa: Matrix3<f64>,
    free: Vector3<f64>,
    law: Law,
}

/// What a triangle remembers.
#[derive(Debug, Clone)]
struct Memory {
    /// Per point strain and stress at the start of the loop's law, strain since, the parts' stresses.
    points: Vec<Vector3<f64>>,
    /// Where its law began, while it is elastic since.
    start: Option<Box<Start>>,
}

/// A triangle where its law began.
#[derive(Debug, Clone)]
struct Start {
    /// Generalised strains at the middles of the sides, and the factor on heating.
    strains: [Vector6<f64>; 3],
    thermal: f64,
    /// Resultants by which the copper falls short as long as nothing yields; None: by nothing.
    short: Option<[Vector6<f64>; 3]>,
}

/// Forces and stiffness that the yielding of a triangle takes off the elastic ones, conjugate to its motion.
#[derive(Debug, Clone)]
pub struct Shortfall {
    /// The motion it belongs to.
    pub motion: Vector18,
    /// Forces there, N and N m.
    pub force: Vector18,
    /// Algorithmic change of the forces with the motion.
    pub stiffness: Matrix18,
}

impl Shortfall {
    /// Forces at a motion near by, to first order.
    #[must_use]
    pub fn force_at(&self, motion: &Vector18) -> Vector18 {
        self.force + self.stiffness * (motion - self.motion)
    }
}

/// The copper of a mesh.
#[derive(Debug, Clone)]
pub struct ShellCopper {
    /// Copper plies of each laminate that may yield.
    sheets: Vec<Vec<Sheet>>,
    /// Factor on the membrane's drilling strain of each laminate.
    scale: Vec<f64>,
    laminate_of: Vec<u32>,
    memory: Vec<Option<Memory>>,
    /// Work turned into heat in each triangle, J.
    lost_j: Vec<f64>,
    /// Height in a ply (0 to 1) and weight of every point.
    points: Vec<[f64; 2]>,
}

/// Elastic constants of an isotropic plane-stress stiffness; None for others.
fn isotropic(q_pa: &Matrix3<f64>) -> Option<[f64; 2]> {
    let nu = q_pa[(0, 1)] / q_pa[(0, 0)];
    let e_pa = q_pa[(0, 0)] * (1.0 - nu * nu);
    let own = crate::laminate::isotropic_q(e_pa, nu);
    ((own - q_pa).amax() <= 1e-9 * q_pa.amax()).then_some([e_pa, nu])
}

impl ShellCopper {
    /// Copper never strained.
    ///
    /// `law`: the law of a ply, None for one that stays elastic. Its elastic constants are replaced by the ply's own.
    #[must_use]
    pub fn new(
        laminates: &[Laminate],
        laminate_of: &[u32],
        points: usize,
        law: impl Fn(&Ply) -> Option<Law>,
    ) -> Self {
        let sheet = |ply: &Ply| {
            let [e_pa, nu] = isotropic(&ply.q_pa)?;
            let law = law(ply)?.with_elastic(e_pa, nu);
            Some(Sheet {
                layer: ply.layer,
                faces_m: [ply.z0_m, ply.z1_m],
                q_pa: ply.q_pa,
                free: ply.free_strain(),
                law,
            })
        };
        let sheets = |laminate: &Laminate| {
            let yields = |i: usize| !laminate.plies[i].sliding && laminate.copper.iter().all(|c| c.ply != i);
            let plies = laminate.plies.iter().enumerate();
            plies.filter(|&(i, _)| yields(i)).filter_map(|(_, ply)| sheet(ply)).collect()
        };
        Self {
            sheets: laminates.iter().map(sheets).collect(),
            scale: laminates.iter().map(|l| l.drilling_scale).collect(),
            laminate_of: laminate_of.to_vec(),
            memory: vec![None; laminate_of.len()],
            lost_j: vec![0.0; laminate_of.len()],
            points: gauss(points.clamp(1, 256)),
        }
    }

    /// Triangles in which copper has yielded.
    #[must_use]
    pub fn yielded(&self) -> usize {
        self.memory.iter().filter(|m| m.is_some()).count()
    }

    /// Work that yielding turned into heat since [`Self::forget_work`], J, and the triangles it happened in.
    #[must_use]
    pub fn plastic_work_j(&self) -> (f64, usize) {
        (self.lost_j.iter().sum(), self.lost_j.iter().filter(|w| **w > 0.0).count())
    }

    /// Counts the plastic work anew from here.
    pub fn forget_work(&mut self) {
        self.lost_j.fill(0.0);
    }

    /// What a triangle falls short by at a motion; None while its copper is elastic.
    #[must_use]
    pub fn shortfall(
        &self,
        triangle: usize,
        local: &Local,
        motion: &Vector18,
        thermal: f64,
    ) -> Option<Shortfall> {
        let laminate = self.laminate_of[triangle] as usize;
        let sheets = self.sheets.get(laminate).filter(|s| !s.is_empty())?;
        let scale = self.scale[laminate];
        let strains = shell::mid_side_strains(&local.corners, motion, scale);
        let memory = self.memory[triangle].as_ref();
        if let Some(start) = quiet(memory, sheets, &strains, thermal) {
            let short = start?.short.as_ref()?;
            let (force, stiffness) =
                shell::mid_side_forces(&local.corners, scale, short, &[Matrix6::zeros(); 3]);
            return Some(Shortfall { motion: *motion, force, stiffness });
        }
        let mut scratch = Vec::new();
        let mut resultants = [Vector6::zeros(); 3];
        let mut changes = [Matrix6::zeros(); 3];
        self.each_point(sheets, &strains, thermal, |at, sheet, strain| {
            let (base, own) = remembered(memory, at.start, sheet, &mut scratch);
            let now = sheet.law.step(&(strain - base[0] - own.since), own.parts);
            let left = (sheet.q_pa * strain - base[1] - now.stress) * at.weight_m;
            add_resultant(&mut resultants[at.side], &left, at.z_m);
            add_change(&mut changes[at.side], &((sheet.q_pa - now.tangent) * at.weight_m), at.z_m);
        });
        let (force, stiffness) = shell::mid_side_forces(&local.corners, scale, &resultants, &changes);
        Some(Shortfall { motion: *motion, force, stiffness })
    }

    /// Whether a triangle holds copper that may yield.
    #[must_use]
    pub fn may_yield(&self, triangle: usize) -> bool {
        self.sheets.get(self.laminate_of[triangle] as usize).is_some_and(|s| !s.is_empty())
    }

    /// Goes through the points of a triangle in the order of its memory.
    fn each_point(
        &self,
        sheets: &[Sheet],
        strains: &[Vector6<f64>; 3],
        thermal: f64,
        mut visit: impl FnMut(Place, &Sheet, Vector3<f64>),
    ) {
        let mut start = 0;
        for (side, strain) in strains.iter().enumerate() {
            for sheet in sheets {
                let [low, high] = sheet.faces_m;
                for [share, weight] in &self.points {
                    let z_m = low + share * (high - low);
                    let place = Place { side, start, z_m, weight_m: weight * (high - low) };
                    visit(place, sheet, strain_at(strain, z_m) - sheet.free * thermal);
                    start += HEAD + sheet.law.parts.len();
                }
            }
        }
    }

    /// Keeps the state at the motions of all triangles as the one that later steps start from.
    pub fn keep(&mut self, motion: impl Fn(usize) -> Option<Vector18> + Sync, local: &[Local], thermal: f64) {
        let mut memory = std::mem::take(&mut self.memory);
        let mut lost = std::mem::take(&mut self.lost_j);
        let own = &*self;
        let all = memory.par_iter_mut().zip(&mut lost).enumerate().with_min_len(CHUNK);
        all.for_each(|(triangle, (memory, lost))| {
            let laminate = own.laminate_of[triangle] as usize;
            let Some(sheets) = own.sheets.get(laminate).filter(|s| !s.is_empty()) else { return };
            let Some(motion) = motion(triangle) else { return };
            let corners = &local[triangle].corners;
            let strains = shell::mid_side_strains(corners, &motion, own.scale[laminate]);
            if quiet(memory.as_ref(), sheets, &strains, thermal).is_some() {
                return;
            }
            let weight_m2 = double_area(corners) / 6.0;
            let memory = memory.get_or_insert_with(|| own.blank(sheets));
            memory.start = None;
            let kept = &mut memory.points;
            own.each_point(sheets, &strains, thermal, |at, sheet, strain| {
                let parts = at.start + HEAD..at.start + HEAD + sheet.law.parts.len();
                let by = strain - kept[at.start] - kept[at.start + 2];
                *lost += sheet.law.step(&by, &mut kept[parts]).lost_j_m3 * at.weight_m * weight_m2;
                kept[at.start + 2] = strain - kept[at.start];
            });
        });
        (self.memory, self.lost_j) = (memory, lost);
    }

    fn blank(&self, sheets: &[Sheet]) -> Memory {
        let per_side: usize =
            sheets.iter().map(|sheet| self.points.len() * (HEAD + sheet.law.parts.len())).sum();
        Memory { points: vec![Vector3::zeros(); 3 * per_side], start: None }
    }

    /// Changes to other laws at the present state: the stress there stays as an offset, and the copper behaves from
    /// this strain on as if never strained. `motion`: of every triangle now.
    pub fn restart(
        &mut self,
        motion: impl Fn(usize) -> Option<Vector18> + Sync,
        local: &[Local],
        thermal: f64,
        law: impl Fn(LayerId) -> Option<Law>,
    ) {
        let mut next = self.clone();
        for sheet in next.sheets.iter_mut().flatten() {
            let [e, nu] = [sheet.law.modulus_pa, sheet.law.poisson];
            if let Some(law) = law(sheet.layer) {
                sheet.law = law.with_elastic(e, nu);
            }
        }
        let memory: Vec<Option<Memory>> = (0..self.memory.len())
            .into_par_iter()
            .with_min_len(CHUNK)
            .map(|triangle| {
                let laminate = self.laminate_of[triangle] as usize;
                let sheets = self.sheets.get(laminate).filter(|s| !s.is_empty())?;
                let motion = motion(triangle)?;
                let corners = &local[triangle].corners;
                let strains = shell::mid_side_strains(corners, &motion, self.scale[laminate]);
                let mut heads = Vec::new();
                let mut scratch = Vec::new();
                let mut short = [Vector6::zeros(); 3];
                let memory = self.memory[triangle].as_ref();
                self.each_point(sheets, &strains, thermal, |at, sheet, strain| {
                    let (base, own) = remembered(memory, at.start, sheet, &mut scratch);
                    let by = strain - base[0] - own.since;
                    let stress = base[1] + sheet.law.step(&by, own.parts).stress;
                    heads.push([strain, stress]);
                    add_resultant(
                        &mut short[at.side],
                        &((sheet.q_pa * strain - stress) * at.weight_m),
                        at.z_m,
                    );
                });
                let mut kept = next.blank(&next.sheets[laminate]);
                let short = memory.is_some().then_some(short);
                kept.start = Some(Box::new(Start { strains, thermal, short }));
                let mut each = heads.into_iter();
                next.each_point(&next.sheets[laminate], &strains, thermal, |at, _, _| {
                    if let Some([strain, stress]) = each.next() {
                        kept.points[at.start] = strain;
                        kept.points[at.start + 1] = stress;
                    }
                });
                Some(kept)
            })
            .collect();
        next.memory = memory;
        *self = next;
    }
}

/// Entries of a point's memory before its parts: strain and stress where its law began, strain since.
const HEAD: usize = 3;

/// A point of a triangle.
#[derive(Clone, Copy)]
struct Place {
    side: usize,
    /// Where its memory begins.
    start: usize,
    z_m: f64,
    weight_m: f64,
}

/// A point's parts, ready to be stepped, and the strain they stand at.
struct Own<'s> {
    since: Vector3<f64>,
    parts: &'s mut [Vector3<f64>],
}

/// Strain and stress where the law began, and a copy of the parts.
fn remembered<'s>(
    memory: Option<&Memory>,
    start: usize,
    sheet: &Sheet,
    scratch: &'s mut Vec<Vector3<f64>>,
) -> ([Vector3<f64>; 2], Own<'s>) {
    scratch.clear();
    let n = sheet.law.parts.len();
    let Some(Memory { points: kept, .. }) = memory else {
        scratch.resize(n, Vector3::zeros());
        return ([Vector3::zeros(); 2], Own { since: Vector3::zeros(), parts: scratch });
    };
    scratch.extend_from_slice(&kept[start + HEAD..start + HEAD + n]);
    ([kept[start], kept[start + 1]], Own { since: kept[start + 2], parts: scratch })
}

fn strain_at(strain: &Vector6<f64>, z_m: f64) -> Vector3<f64> {
    strain.fixed_rows::<3>(0) + strain.fixed_rows::<3>(3) * z_m
}

/// Whether a triangle is elastic since its law began: None where it yields or has; else where that was, if not at rest.
fn quiet<'m>(
    memory: Option<&'m Memory>,
    sheets: &[Sheet],
    strains: &[Vector6<f64>; 3],
    thermal: f64,
) -> Option<Option<&'m Start>> {
    let start = match memory {
        None => None,
        Some(memory) => Some(memory.start.as_deref()?),
    };
    let since = |side: usize| start.map_or(strains[side], |s| strains[side] - s.strains[side]);
    let warmer = thermal - start.map_or(0.0, |s| s.thermal);
    // The von Mises stress is largest on a face.
    let yields = sheets.iter().any(|sheet| {
        let limit = sheet.law.first_yield_pa();
        (0..3).any(|side| {
            let by = since(side);
            let at = |&z: &f64| mises_pa(&(sheet.q_pa * (strain_at(&by, z) - sheet.free * warmer))) > limit;
            sheet.faces_m.iter().any(at)
        })
    });
    (!yields).then_some(start)
}

fn add_resultant(sum: &mut Vector6<f64>, stress: &Vector3<f64>, z_m: f64) {
    for i in 0..3 {
        sum[i] += stress[i];
        sum[i + 3] += stress[i] * z_m;
    }
}

fn add_change(sum: &mut Matrix6<f64>, change: &Matrix3<f64>, z_m: f64) {
    for i in 0..3 {
        for j in 0..3 {
            let c = change[(i, j)];
            sum[(i, j)] += c;
            sum[(i, j + 3)] += c * z_m;
            sum[(i + 3, j)] += c * z_m;
            sum[(i + 3, j + 3)] += c * z_m * z_m;
        }
    }
}

/// Gauss points and weights on (0, 1), by Newton on Legendre polynomials.
fn gauss(n: usize) -> Vec<[f64; 2]> {
    let count = n as f64;
    (0..n)
        .map(|i| {
            let mut x = (std::f64::consts::PI * (i as f64 + 0.75) / (count + 0.5)).cos();
            let mut slope = 1.0;
            for _ in 0..20 {
                let (mut now, mut before) = (x, 1.0);
                for k in 1..n {
                    let k = k as f64;
                    (now, before) = (((2.0 * k + 1.0) * x * now - k * before) / (k + 1.0), now);
                }
                slope = count * (x * now - before) / (x * x - 1.0);
                let by = now / slope;
                x -= by;
                if by.abs() < 1e-16 {
                    break;
                }
            }
            [0.5 * (1.0 - x), 1.0 / ((1.0 - x * x) * slope * slope)]
        })
        .collect()
}
