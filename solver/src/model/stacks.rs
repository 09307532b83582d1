//! Laminate of every triangle: layers and their heights, material directions, smeared turns, heating.
//!
//! In: board, mesh, bond limit, reference plane. Out: distinct laminates and who has which. Absent: supports.

use super::stripes;
use crate::laminate::{Laminate, Ply, isotropic_q, orthotropic_q, rotated_expansion};
use crate::result::BondLimit;
use copperbend_mesh::board::{Board, Bond, Elastic, LayerId, Material, MaterialId, Smear, TurnAxes};
use copperbend_mesh::layup::{LayupPly, stack};
use copperbend_mesh::triangulate::{BoardMesh, Role};
use std::collections::BTreeMap;
use std::f64::consts::{FRAC_PI_2, PI};

/// Turn directions of a smeared round coil are taken in steps of this many degrees: the direction is off by at
/// most half a step, the modulus along the turn by 0.14 % where it is ten times that across.
pub const TURN_STEP_DEG: f64 = 1.0;

/// Layers present with the smears that act there; equal ones share a laminate wherever they lie.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Kind {
    layers: Vec<LayerId>,
    smears: Vec<(LayerId, u32)>,
    still: bool,
}

/// Laminates of a mesh.
pub(super) struct Stacks {
    pub(super) laminates: Vec<Laminate>,
    pub(super) laminate_of: Vec<u32>,
    pub(super) zone_of: Vec<u32>,
    /// Mid-height of the flex stack per triangle, m above z = 0.
    pub(super) mid_z_m: Vec<f64>,
}

/// Laminates about a reference plane.
///
/// `still`: triangles that cannot strain (inside a clamp or a rigid piece); they form zones of their own so that
/// their zero strain is never smoothed into the neighbours.
pub(super) fn stacks(
    board: &Board,
    mesh: &BoardMesh,
    bond: BondLimit,
    reference_z_m: f64,
    still: &[bool],
) -> Stacks {
    let flat = &mesh.flat;
    let of_zone: Vec<Kind> = (0..flat.zones.len()).map(|z| kind(mesh, z)).collect();
    let mut known: BTreeMap<(Kind, Vec<u16>), u32> = BTreeMap::new();
    let mut zones: BTreeMap<Kind, u32> = BTreeMap::new();
    let mut out = Stacks {
        laminates: Vec::new(),
        laminate_of: Vec::with_capacity(flat.triangles.len()),
        zone_of: Vec::with_capacity(flat.triangles.len()),
        mid_z_m: Vec::with_capacity(flat.triangles.len()),
    };
    let mut mid_of: Vec<f64> = Vec::new();
    // Zone and laminate of mesh zones without smears, moving and still: the same for all their triangles.
    let mut plain: Vec<[Option<(u32, u32)>; 2]> = vec![[None; 2]; flat.zones.len()];
    for t in 0..flat.triangles.len() {
        let (own, at_rest) = (flat.zone_of[t] as usize, still.get(t).copied().unwrap_or(false));
        if let Some((zone, laminate)) = plain[own][usize::from(at_rest)] {
            out.zone_of.push(zone);
            out.laminate_of.push(laminate);
            out.mid_z_m.push(mid_of[laminate as usize]);
            continue;
        }
        let mut kind = of_zone[own].clone();
        kind.still = at_rest;
        let next_zone = index(zones.len());
        let zone = *zones.entry(kind.clone()).or_insert(next_zone);
        let smeared = !kind.smears.is_empty();
        out.zone_of.push(zone);
        let at = flat.centroid_m(t);
        let turns: Vec<u16> =
            kind.smears.iter().filter_map(|&s| smear_of(board, s)).map(|s| turn_step(s, at)).collect();
        let laminate = *known.entry((kind, turns)).or_insert_with_key(|(kind, turns)| {
            let (laminate, mid) = laminate(board, kind, turns, bond, reference_z_m);
            out.laminates.push(laminate);
            mid_of.push(mid);
            index(mid_of.len() - 1)
        });
        if !smeared {
            plain[own][usize::from(at_rest)] = Some((zone, laminate));
        }
        out.laminate_of.push(laminate);
        out.mid_z_m.push(mid_of[laminate as usize]);
    }
    out
}

/// The stack of some layers about z = 0, without smears; for questions about one place.
pub(crate) fn laminate_of_layers(board: &Board, layers: &[LayerId], bond: BondLimit) -> Laminate {
    let kind = Kind { layers: layers.to_vec(), smears: Vec::new(), still: false };
    laminate(board, &kind, &[], bond, 0.0).0
}

/// The stack of some layers at a place of the board, smeared turns included, about a reference plane, m above z = 0.
pub(crate) fn laminate_at(
    board: &Board,
    layers: &[LayerId],
    at: [f64; 2],
    bond: BondLimit,
    reference_z_m: f64,
) -> Laminate {
    let smears: Vec<(LayerId, u32)> = layers
        .iter()
        .flat_map(|&id| {
            let own = board.layers.get(id.0 as usize).map_or(&[][..], |l| &l.smears);
            let there = own.iter().zip(0_u32..).filter(|(s, _)| s.region.contains(at));
            there.map(move |(_, n)| (id, n))
        })
        .collect();
    let turns: Vec<u16> =
        smears.iter().filter_map(|&s| smear_of(board, s)).map(|s| turn_step(s, at)).collect();
    let kind = Kind { layers: layers.to_vec(), smears, still: false };
    laminate(board, &kind, &turns, bond, reference_z_m).0
}

/// Height above z = 0 of the neutral plane of the bending arms, m: stretching stiffness is balanced about it.
///
/// Without arms, the plane of the stack with the largest area. Supported areas do not count.
pub(super) fn neutral_plane_m(board: &Board, mesh: &BoardMesh, bond: BondLimit) -> f64 {
    let n_zones = mesh.flat.zones.len();
    let mut area = vec![0.0; n_zones];
    for t in 0..mesh.flat.triangles.len() {
        area[mesh.flat.zone_of[t] as usize] += mesh.flat.area_m2(t);
    }
    let inside = |zone: usize, wanted: fn(&Role) -> bool| {
        let bits = mesh.flat.zones[zone].inside;
        mesh.roles.iter().enumerate().any(|(bit, role)| wanted(role) && bits >> bit & 1 == 1)
    };
    let loose: Vec<usize> = (0..n_zones).filter(|&z| !inside(z, |r| matches!(r, Role::Support(_)))).collect();
    let mut chosen: Vec<usize> = loose
        .iter()
        .copied()
        .filter(|&z| inside(z, |r| matches!(r, Role::Arm(_))) && !inside(z, |r| matches!(r, Role::Flap)))
        .collect();
    if chosen.is_empty() {
        chosen = loose.into_iter().max_by(|&a, &b| area[a].total_cmp(&area[b])).into_iter().collect();
    }
    let (mut stretch, mut coupling) = (0.0, 0.0);
    for z in chosen {
        let own = laminate_of_layers(board, &mesh.flat.zones[z].layers, bond);
        stretch += area[z] * (own.a[(0, 0)] + own.a[(1, 1)]);
        coupling += area[z] * (own.b[(0, 0)] + own.b[(1, 1)]);
    }
    if stretch > 0.0 { coupling / stretch } else { 0.0 }
}

fn kind(mesh: &BoardMesh, zone: usize) -> Kind {
    let zone = &mesh.flat.zones[zone];
    let smears = mesh
        .roles
        .iter()
        .enumerate()
        .filter_map(|(bit, role)| match *role {
            Role::Smear(layer, n) if zone.inside >> bit & 1 == 1 && zone.layers.contains(&layer) => {
                Some((layer, n))
            }
            _ => None,
        })
        .collect();
    Kind { layers: zone.layers.clone(), smears, still: false }
}

fn smear_of(board: &Board, (layer, n): (LayerId, u32)) -> Option<&Smear> {
    board.layers.get(layer.0 as usize)?.smears.get(n as usize)
}

/// Direction of the turns at a place in steps of [`TURN_STEP_DEG`], 0 to 180 degrees.
fn turn_step(smear: &Smear, at: [f64; 2]) -> u16 {
    let off = [at[0] - smear.centre_m[0], at[1] - smear.centre_m[1]];
    let angle = match smear.turns {
        TurnAxes::Round => off[1].atan2(off[0]) + FRAC_PI_2,
        // On the sides left and right of the centre the turns run along y.
        TurnAxes::Square if off[0].abs() > off[1].abs() => FRAC_PI_2,
        TurnAxes::Square => 0.0,
    };
    let steps = (180.0 / TURN_STEP_DEG).round();
    let step = (angle / PI * steps).round().rem_euclid(steps);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a whole number below 180")]
    let step = step as u16;
    step
}

fn laminate(
    board: &Board,
    kind: &Kind,
    turns: &[u16],
    bond: BondLimit,
    reference_z_m: f64,
) -> (Laminate, f64) {
    let layup = stack(board, &kind.layers);
    let smear_at = |layer: LayerId| {
        let (&own, &step) = kind.smears.iter().zip(turns).find(|((l, _), _)| *l == layer)?;
        Some((smear_of(board, own)?, f64::from(step) * TURN_STEP_DEG.to_radians()))
    };
    let one = |p: &LayupPly, smear| one_ply(board, p, smear, bond, reference_z_m);
    let plies = layup
        .plies
        .iter()
        .map(|p| one(p, smear_at(p.layer).map_or(Filling::Own, |(s, a)| Filling::Mixed(s, a))));
    let mut laminate = Laminate::new(plies.collect());
    let smeared: Vec<(usize, &Smear, f64)> = layup
        .plies
        .iter()
        .enumerate()
        .filter_map(|(n, p)| smear_at(p.layer).map(|(smear, angle)| (n, smear, angle)))
        .collect();
    // Turns of several layers run side by side only when they share a direction.
    if let Some(&(_, _, angle)) = smeared.first()
        && turns.iter().all(|t| *t == turns[0])
    {
        let (stripes, copper) = stripes_of(&smeared, |bare| {
            let plies = layup.plies.iter().enumerate().map(|(n, p)| {
                let filler =
                    smeared.iter().find(|(k, _, _)| *k == n && bare.contains(&n)).map(|(_, s, _)| s.filler);
                one(p, filler.map_or(Filling::Own, Filling::Filler))
            });
            Laminate::new(plies.collect())
        });
        stripes::join(&mut laminate, &stripes, angle, &copper);
    }
    let flex = layup.plies.iter().filter(|p| board.layers[p.layer.0 as usize].stiffener.is_none());
    let (low, high) =
        flex.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), p| (low.min(p.z0_m), high.max(p.z1_m)));
    let mid = if low <= high { 0.5 * (low + high) } else { reference_z_m };
    (laminate, mid)
}

/// Shares and stacks of stripes; smeared plies, each with a stripe that has its copper.
type Stripes = (Vec<(f64, Laminate)>, Vec<(usize, usize)>);

/// Stripes of a place with smeared plies: shares and stacks; and each smeared ply with a stripe that has its copper.
///
/// `smeared`: ply, smear, turn direction. `stack`: the laminate in which these plies carry filler. Turns of several
/// layers lie over each other.
fn stripes_of(smeared: &[(usize, &Smear, f64)], stack: impl Fn(&[usize]) -> Laminate) -> Stripes {
    let mut ends: Vec<f64> = smeared.iter().map(|s| s.1.copper_share).chain([0.0, 1.0]).collect();
    ends.sort_by(f64::total_cmp);
    ends.dedup();
    let stripes: Vec<(f64, Laminate)> = ends
        .windows(2)
        .map(|w| {
            let bare: Vec<usize> = smeared.iter().filter(|s| s.1.copper_share <= w[0]).map(|s| s.0).collect();
            (w[1] - w[0], stack(&bare))
        })
        .collect();
    // The first stripe has the copper of every layer.
    let copper = smeared.iter().filter(|s| s.1.copper_share > 0.0).map(|s| (s.0, 0)).collect();
    (stripes, copper)
}

/// What fills a ply.
#[derive(Clone, Copy)]
enum Filling<'a> {
    /// The layer's own material.
    Own,
    /// Turns and filler mixed, turns along this angle, rad.
    Mixed(&'a Smear, f64),
    /// Filler between turns.
    Filler(MaterialId),
}

fn one_ply(board: &Board, ply: &LayupPly, filling: Filling<'_>, bond: BondLimit, reference_z_m: f64) -> Ply {
    let layer = &board.layers[ply.layer.0 as usize];
    let of = |id: MaterialId| &board.materials[id.0 as usize];
    let (plane, angle, heated) = match filling {
        Filling::Own => (Plane::of(of(layer.material)), layer.direction_rad, layer.material),
        Filling::Filler(filler) => (Plane::of(of(filler)), layer.direction_rad, filler),
        Filling::Mixed(smear, angle) => {
            (smeared(of(layer.material), of(smear.filler), smear.copper_share), angle, layer.material)
        }
    };
    let sliding = layer.stiffener.is_some_and(|s| slides(board, s, bond));
    Ply {
        layer: ply.layer,
        z0_m: ply.z0_m - reference_z_m,
        z1_m: ply.z1_m - reference_z_m,
        q_pa: plane.q_pa(angle),
        expansion_per_k: rotated_expansion(plane.expansion[0], plane.expansion[1], angle),
        density_kg_m3: plane.density,
        heating_k: heating_k(board, heated),
        sliding,
    }
}

/// Temperature change of a material since it was free of stress, K.
fn heating_k(board: &Board, material: MaterialId) -> f64 {
    let own = board.locked_in.stress_free_of.iter().find(|(m, _)| *m == material).map(|&(_, t)| t);
    own.or(board.locked_in.stress_free_degc).map_or(0.0, |free| board.temperature_degc - free)
}

/// Whether a stiffener's tape carries no shear under a bond limit.
pub(crate) fn slides(board: &Board, stiffener: u32, bond: BondLimit) -> bool {
    match (board.stiffeners[stiffener as usize].bond, bond) {
        (Bond::Bonded, _) | (Bond::Tape(_), BondLimit::Bonded) => false,
        (Bond::Sliding, _) | (Bond::Tape(_), BondLimit::Sliding) => true,
        (Bond::Tape(_), BondLimit::AsWritten) => {
            let tape = board.layers.iter().find(|l| {
                l.stiffener == Some(stiffener) && l.kind == copperbend_mesh::board::LayerKind::Tape
            });
            let glass = tape.and_then(|l| board.materials[l.material.0 as usize].glass_point_degc.as_ref());
            // A transfer tape above its glass point flows; without a known point it is taken as above.
            glass.is_none_or(|g| board.temperature_degc > g.v)
        }
    }
}

/// Plane elastic constants along and across a direction.
#[derive(Debug, Clone, Copy)]
struct Plane {
    e1: f64,
    e2: f64,
    nu12: f64,
    g12: f64,
    expansion: [f64; 2],
    density: f64,
    isotropic: bool,
}

impl Plane {
    fn of(material: &Material) -> Self {
        let expansion = [material.expansion_per_k[0].v, material.expansion_per_k[1].v];
        let density = material.density_kg_m3.v;
        match &material.elastic {
            Elastic::Isotropic { e_pa, nu } => {
                let g12 = e_pa.v / (2.0 * (1.0 + nu.v));
                Self { e1: e_pa.v, e2: e_pa.v, nu12: nu.v, g12, expansion, density, isotropic: true }
            }
            Elastic::Orthotropic { e1_pa, e2_pa, nu12, g12_pa } => Self {
                e1: e1_pa.v,
                e2: e2_pa.v,
                nu12: nu12.v,
                g12: g12_pa.v,
                expansion,
                density,
                isotropic: false,
            },
        }
    }

    fn q_pa(&self, angle: f64) -> nalgebra::Matrix3<f64> {
        // The isotropic form has no rotation to round off.
        if self.isotropic {
            isotropic_q(self.e1, self.nu12)
        } else {
            orthotropic_q(self.e1, self.e2, self.nu12, self.g12, angle)
        }
    }
}

/// Copper turns and filler as one material, direction 1 along the turns: density and stress of the ply by itself; the
/// plate's stiffness comes from [`stripes`], which also lets neighbouring plies differ between turn and gap.
///
/// Along the turns both strain alike (shares add); across and in shear both carry the same stress (compliances
/// add). Source: rule of mixtures for a fibre layer, e.g. Jones, Mechanics of Composite Materials (from memory).
fn smeared(copper: &Material, filler: &Material, copper_share: f64) -> Plane {
    let (c, f) = (Plane::of(copper), Plane::of(filler));
    let (s, r) = (copper_share, 1.0 - copper_share);
    let e1 = s * c.e1 + r * f.e1;
    let along = (s * c.e1 * c.expansion[0] + r * f.e1 * f.expansion[0]) / e1;
    Plane {
        e1,
        e2: 1.0 / (s / c.e2 + r / f.e2),
        nu12: s * c.nu12 + r * f.nu12,
        g12: 1.0 / (s / c.g12 + r / f.g12),
        expansion: [along, s * c.expansion[1] + r * f.expansion[1]],
        density: s * c.density + r * f.density,
        isotropic: false,
    }
}

fn index(n: usize) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}
