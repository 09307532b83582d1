//! The user's own results against the program's: agree, or differ by how much and most likely why.
//!
//! In: claims (quantity, value, unit, tolerance, place) and a board. Out: one [`Verdict`] per claim. The shell answers
//! where it can; each effect that the user may have left out is switched off one at a time with the beam, as a factor
//! on the answer, and the one that brings the answer to the claim is named. Absent: reading files.

mod quantity;
mod read;
#[cfg(test)]
mod tests;

pub use quantity::{Kind, QUANTITIES, Quantity};
pub use read::{Claim, ClaimFault, check_layers, from_csv, from_toml};

use crate::air::Medium;
use crate::air::plate::Plate;
use crate::beam::answer::{BeamAnswer, BeamScope, answer, loaded};
use crate::beam::board::{BeamWishes, board_beam};
use crate::beam::section::Across;
use crate::error::SolveError;
use crate::hand::ShellFacts;
use crate::recover::largest_normal;
use crate::result::{BendAnswer, BondLimit};
use copperbend_mesh::board::{Board, Bond, Elastic, LayerKind, Material};
use copperbend_mesh::region::{Point, Region};
use nalgebra::Vector3;
use serde::Serialize;

/// One effect switched off.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Switched {
    /// Effect, in words.
    pub effect: &'static str,
    /// What the answer becomes, SI.
    pub value: f64,
}

/// A claim judged.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Verdict {
    /// Line of the claim in its file.
    pub line: usize,
    /// Quantity.
    pub quantity: &'static str,
    /// Place, m, where one was given.
    pub place_m: Option<Point>,
    /// Claimed value, SI.
    pub claimed: f64,
    /// The program's value, SI.
    pub found: Option<f64>,
    /// SI unit.
    pub unit: &'static str,
    /// Model that gave it.
    pub model: &'static str,
    /// Claimed over found, less one.
    pub difference: Option<f64>,
    /// Allowed difference, share.
    pub tolerance: f64,
    /// Within the tolerance.
    pub agrees: bool,
    /// Effects that move the answer, each alone.
    pub switched: Vec<Switched>,
    /// Likely reason of a difference, or why there is no value.
    pub reason: String,
}

/// The program's knowledge of a board for judging claims.
pub struct Judge<'b> {
    board: &'b Board,
    base: BeamAnswer,
    variants: Vec<(&'static str, BeamAnswer)>,
    shell: Option<(&'b BendAnswer, &'b ShellFacts)>,
}

impl std::fmt::Debug for Judge<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Judge").field("variants", &self.variants.len()).finish_non_exhaustive()
    }
}

/// Further than about a track's width from any copper there is nothing to claim, m.
const BESIDE_COPPER_M: f64 = 0.5e-3;

const SCOPE: BeamScope = BeamScope { frequencies: 6 };

impl<'b> Judge<'b> {
    /// Runs the beam as it is and with each effect switched.
    ///
    /// # Errors
    /// The board has no beam.
    pub fn new(
        board: &'b Board,
        bond: BondLimit,
        shell: Option<(&'b BendAnswer, &'b ShellFacts)>,
    ) -> Result<Self, SolveError> {
        let wishes = BeamWishes { bond, ..BeamWishes::default() };
        let own = board_beam(board, &wishes)?;
        let base = answer(board, &own, SCOPE)?;
        let run = |board: &Board, wishes: BeamWishes| {
            board_beam(board, &wishes).and_then(|own| answer(board, &own, SCOPE))
        };
        let flat = BeamWishes { across: Across::Flat, ..wishes };
        let warping = BeamWishes { warping_held: false, ..wishes };
        let mut variants = vec![
            ("plane strain instead of free curl across", run(board, flat)?),
            ("held warping of the arms' ends left out", run(board, warping)?),
            ("tracks smeared over the arm's width", run(&smeared(board), wishes)?),
            ("tracks taken as a full sheet of copper", run(&sheet(board), wishes)?),
            ("fillets, root and shoulder left out (bare arm)", bare(board, &base)),
        ];
        if board.stiffeners.iter().any(|s| matches!(s.bond, Bond::Tape(_))) {
            let other = if bond == BondLimit::Sliding { BondLimit::Bonded } else { BondLimit::Sliding };
            let words = if other == BondLimit::Sliding {
                "stiffener tape taken as soft in shear"
            } else {
                "stiffener tape taken as stiff in shear"
            };
            variants.push((words, run(board, BeamWishes { bond: other, ..wishes })?));
        }
        if own.flap.is_some() {
            variants.push(("added mass of air", aired(board, &wishes)?));
        }
        // A state that large motion does not reach (pulled in, say) is no reason to judge nothing.
        if let Ok(large) = loaded(board, &own, SCOPE) {
            let words = if own.drive.is_some() {
                "large swing in the real field instead of small angles"
            } else {
                "large deflection instead of small"
            };
            variants.push((words, large));
        }
        Ok(Self { board, base, variants, shell })
    }

    /// Judges one claim.
    #[must_use]
    pub fn judge(&self, claim: &Claim) -> Verdict {
        let base = of_beam(claim, &self.base);
        let (found, model) = self.found(claim);
        let mut switched: Vec<Switched> = Vec::new();
        if let (Some(found), Some(base)) = (found, base.filter(|b| *b != 0.0)) {
            for (effect, other) in &self.variants {
                if let Some(value) = of_beam(claim, other).map(|v| found * v / base)
                    && value.is_finite()
                    && (value / found - 1.0).abs() > 1e-4
                {
                    switched.push(Switched { effect, value });
                }
            }
        }
        let difference = found.filter(|f| *f != 0.0).map(|f| claim.value / f - 1.0);
        let agrees = match (found, difference) {
            (Some(_), Some(d)) => d.abs() <= claim.tolerance,
            (Some(_), None) => claim.value.abs() <= 0.0,
            _ => false,
        };
        let reason = match found {
            None if claim.place_m.is_some() => format!(
                "no copper of the arms or beside them lies within {} mm of this place",
                1e3 * BESIDE_COPPER_M
            ),
            None => "the program has no value for this on this board".to_owned(),
            Some(_) if agrees => String::new(),
            Some(found) => reason(claim, found, &switched),
        };
        Verdict {
            line: claim.line,
            quantity: claim.quantity.name,
            place_m: claim.place_m,
            claimed: claim.value,
            found,
            unit: claim.quantity.kind.si(),
            model,
            difference,
            tolerance: claim.tolerance,
            agrees,
            switched,
            reason,
        }
    }

    /// The program's value and the model it comes from.
    fn found(&self, claim: &Claim) -> (Option<f64>, &'static str) {
        if let (Some(at), Some((answer, _))) = (claim.place_m, self.shell)
            && claim.quantity.name == "copper strain"
        {
            return (strain_at(answer, at, claim.layer.as_deref()), "shell, at the place");
        }
        let by_shell = match (self.shell, claim.layer.as_deref()) {
            (Some((answer, _)), Some(layer)) if claim.quantity.name == "copper strain" => {
                answer.spots.iter().find(|s| s.layer == layer).map(|s| s.strain.abs())
            }
            (shell, _) => shell.and_then(|(_, facts)| claim.quantity.shell(facts)),
        };
        let whole = claim.quantity.board(self.board);
        match (whole, by_shell) {
            (Some(v), _) => (Some(v), "whole current path"),
            (None, Some(v)) => (Some(v), "shell"),
            (None, None) if claim.place_m.is_some() => (of_beam(claim, &self.base), "beam, worst place"),
            (None, None) => (of_beam(claim, &self.base), "beam"),
        }
    }
}

/// What a beam's answer says about a claim; a strain of the claim's layer where it names one.
fn of_beam(claim: &Claim, answer: &BeamAnswer) -> Option<f64> {
    match claim.layer.as_deref().filter(|_| claim.quantity.name == "copper strain") {
        Some(layer) => answer.strains.iter().find(|s| s.layer == layer).map(|s| s.strain.abs()),
        None => claim.quantity.beam(answer),
    }
}

/// The effect that brings the answer nearest to the claim.
fn reason(claim: &Claim, found: f64, switched: &[Switched]) -> String {
    let off = |v: f64| (claim.value / v - 1.0).abs();
    let mut ranked: Vec<&Switched> = switched.iter().filter(|s| s.value != 0.0).collect();
    ranked.sort_by(|a, b| off(a.value).total_cmp(&off(b.value)));
    let sign = claim.value / found < 0.0;
    if sign && off(-found) <= claim.tolerance {
        return "the sign: positive lifts the flap towards +z".to_owned();
    }
    let double =
        [(2.0, "twice"), (0.5, "half of")].into_iter().find(|(f, _)| off(found * f) <= claim.tolerance);
    match ranked.first() {
        Some(best) if off(best.value) <= claim.tolerance => format!("agrees with: {}", best.effect),
        _ if double.is_some() => {
            let (_, words) = double.unwrap_or((1.0, ""));
            format!(
                "the claim is {words} the program's value: peak against peak-to-peak, one arm against two, cycles against flexes?"
            )
        }
        Some(best) if off(best.value) < 0.7 * off(found) => {
            format!("nearest: {} (then {:+.1} %)", best.effect, 100.0 * (claim.value / best.value - 1.0))
        }
        _ => "no single effect explains it: check moduli, thicknesses, place and unit".to_owned(),
    }
}

/// Ranking strain of the copper nearest to a place.
fn strain_at(answer: &BendAnswer, at: Point, layer: Option<&str>) -> Option<f64> {
    let mut best: Option<(f64, f64)> = None;
    for map in answer.maps.iter().filter(|m| layer.is_none_or(|l| l == m.layer)) {
        for (&t, corners) in map.triangles.iter().zip(&map.components) {
            let points = answer.shape.triangles[t as usize].map(|n| answer.shape.points_m[n as usize]);
            let weights = barycentric(&points, at);
            let outside = weights.iter().map(|w| (-w).max(0.0)).fold(0.0, f64::max);
            let middle = [0, 1].map(|i| (points[0][i] + points[1][i] + points[2][i]) / 3.0);
            let gap = if outside <= 1e-9 { 0.0 } else { (middle[0] - at[0]).hypot(middle[1] - at[1]) };
            let weights = if outside <= 1e-9 { weights } else { [1.0 / 3.0; 3] };
            let own = Vector3::from_fn(|i, _| (0..3).map(|c| weights[c] * corners[c][i]).sum());
            let strain = largest_normal(&own).0;
            let better =
                best.is_none_or(|(g, s)| gap < g - 1e-12 || (gap <= g + 1e-12 && strain.abs() > s.abs()));
            if better {
                best = Some((gap, strain));
            }
        }
    }
    best.filter(|(gap, _)| *gap < BESIDE_COPPER_M).map(|(_, strain)| strain.abs())
}

fn barycentric(p: &[Point; 3], at: Point) -> [f64; 3] {
    let twice = |a: Point, b: Point, c: Point| (b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1]);
    let whole = twice(p[0], p[1], p[2]);
    [twice(at, p[1], p[2]) / whole, twice(p[0], at, p[2]) / whole, twice(p[0], p[1], at) / whole]
}

/// The board with every copper layer of the arms as a sheet over the arm.
fn sheet(board: &Board) -> Board {
    let mut own = board.clone();
    for layer in own.layers.iter_mut().filter(|l| l.kind == LayerKind::Copper) {
        for arm in &board.arms {
            if layer.region.intersection(&arm.region).area_m2() > 1e-10 {
                layer.region = Region::union(&[&layer.region, &arm.region.intersection(&board.outline)]);
            }
        }
    }
    own
}

/// The same with a modulus and density lowered to the tracks' share of the arm's area.
fn smeared(board: &Board) -> Board {
    let mut own = sheet(board);
    for n in 0..own.layers.len() {
        if own.layers[n].kind != LayerKind::Copper {
            continue;
        }
        let (mut copper, mut whole) = (0.0, 0.0);
        for arm in &board.arms {
            let part = board.layers[n].region.intersection(&arm.region).area_m2();
            if part > 1e-10 {
                copper += part;
                whole += arm.region.intersection(&board.outline).area_m2();
            }
        }
        if whole > 0.0 && copper < 0.999 * whole {
            let share = copper / whole;
            let mut material = own.materials[own.layers[n].material.0 as usize].clone();
            soften(&mut material, share);
            own.layers[n].material =
                copperbend_mesh::board::MaterialId(u32::try_from(own.materials.len()).unwrap_or(0));
            own.materials.push(material);
        }
    }
    own
}

/// Lowers moduli and density to a share.
fn soften(material: &mut Material, share: f64) {
    material.density_kg_m3.v *= share;
    match &mut material.elastic {
        Elastic::Isotropic { e_pa, .. } => e_pa.v *= share,
        Elastic::Orthotropic { e1_pa, e2_pa, g12_pa, .. } => {
            for value in [e1_pa, e2_pa, g12_pa] {
                value.v *= share;
            }
        }
    }
}

/// The bare arms by the textbook: springs and angle scaled from one section over the length from root to tip.
fn bare(board: &Board, base: &BeamAnswer) -> BeamAnswer {
    let mut own = base.clone();
    let count = f64::from(u32::try_from(board.arms.len()).unwrap_or(1));
    let Some(arm) = board.arms.first() else { return own };
    let length = (arm.tip_m[0] - arm.root_m[0]).hypot(arm.tip_m[1] - arm.root_m[1]);
    let moment = count * base.section[0] / length;
    if let Some(real) = base.moment_nm_per_rad {
        let factor = moment / real;
        own.moment_nm_per_rad = Some(moment);
        own.force_n_per_m *= factor;
        own.flap_angle_rad = base.flap_angle_rad.map(|a| a / factor);
        own.angle_per_ampere_rad = base.angle_per_ampere_rad.map(|a| a / factor);
        for f in own.frequencies.iter_mut().filter(|f| f.kind == "swing") {
            f.frequency_hz *= factor.sqrt();
        }
    }
    own
}

/// The beam with the air that moves with the flap.
fn aired(board: &Board, wishes: &BeamWishes) -> Result<BeamAnswer, SolveError> {
    let mut own = board_beam(board, wishes)?;
    if let (Some(node), Some(flap)) = (own.flap, &board.flap)
        && let Some([low, high]) = flap.region.bounds()
    {
        let added = Plate::new(high[0] - low[0], high[1] - low[1]).added(&Medium::AIR);
        let arm = own.flap_centre_m;
        // Only motion out of the plane moves air.
        let mut own_mass = nalgebra::Matrix6::zeros();
        own_mass[(2, 2)] = added.mass_kg;
        let wide = high[0] - low[0] < high[1] - low[1];
        let (about_x, about_y) = if wide {
            (added.about_short_kg_m2, added.about_long_kg_m2)
        } else {
            (added.about_long_kg_m2, added.about_short_kg_m2)
        };
        (own_mass[(3, 3)], own_mass[(4, 4)]) = (about_x, about_y);
        let follow = crate::freedoms::rigid(&arm);
        own.frame.nodes[node].inertia += follow.transpose() * own_mass * follow;
    }
    answer(board, &own, SCOPE)
}
