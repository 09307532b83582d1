//! Up, down and up again with copper that yields: first-bend set, steady loop, rest angle after power-off.
//!
//! The first bend and its set follow the monotonic curve; from the set state on, the cyclic curve: the stress left by the
//! set stays as an offset, and the copper then behaves as if never strained ([`crate::copper::shell`]). The ends of the
//! swing are those that the elastic swing reached, or prescribed flap angles.

use super::super::{BendOptions, Told, maps};
use super::{Stage, range, stage};
use crate::clearance::Approach;
use crate::copper::shell::{POINTS, ShellCopper};
use crate::copper::{Curve, Law, SwungFibre};
use crate::error::SolveError;
use crate::life::CopperKind;
use crate::recover::{
    Recovered, Spot, SpotOptions, along, board_traces, largest_normal, recover, spots as pick,
};
use crate::result::{BondLimit, CycleAnswer, CycleSpot, Swing};
use crate::swing::{FlapAngle, Level, Loads, MovingLoad, Path, board_load};
use copperbend_mesh::board::{Board, LayerId, LayerKind};
use copperbend_mesh::triangulate::BoardMesh;
use nalgebra::Vector3;

/// Parts of the law of a smooth curve, and the strain up to which they follow it.
const PARTS: usize = 8;
const MOST_STRAIN: f64 = 0.02;

/// What is asked of the loop.
#[derive(Debug, Clone, Default)]
pub struct CycleWish {
    /// Curve of the first bend; None: by the kind of copper.
    pub first: Option<Curve>,
    /// Curve of the steady loop; None: by the kind of copper.
    pub cyclic: Option<Curve>,
    /// Flap angle of the swing about its rest, rad; None: by current.
    pub angle_rad: Option<f64>,
    /// Parts of each half-swing; 0 for the usual two, three in the half that is recorded.
    pub steps: u32,
}

/// Default curve of a first bend: bilinear. Yield stress: Smithells, Table 22.7, temper O (annealed); from memory
/// (deposited). Hardening of both from memory.
#[must_use]
pub fn first_curve(kind: CopperKind, modulus_pa: f64) -> Curve {
    let yield_pa = match kind {
        CopperKind::RolledAnnealed => 48e6,
        CopperKind::Electrodeposited => 250e6,
    };
    Curve::Bilinear { modulus_pa, yield_pa, hardening_pa: 5e9 }
}

/// Default curve of steady loops: the one that agrees with universal slopes.
#[must_use]
pub fn cyclic_curve(kind: CopperKind, modulus_pa: f64) -> Curve {
    let own = kind.slopes().as_strain_life().cyclic_curve();
    Curve::Power(crate::life::slopes::PowerCurve { modulus_pa, ..own })
}

/// Both laws of one kind of copper.
struct Laws {
    first: Law,
    cyclic: Law,
}

impl CycleWish {
    fn laws(&self, kind: CopperKind) -> Laws {
        let modulus_pa = kind.slopes().modulus_pa;
        let first = self.first.clone().unwrap_or_else(|| first_curve(kind, modulus_pa));
        let cyclic = self.cyclic.clone().unwrap_or_else(|| cyclic_curve(kind, modulus_pa));
        let law = |curve: &Curve| curve.law(0.34, PARTS, MOST_STRAIN);
        Laws { first: law(&first), cyclic: law(&cyclic) }
    }
}

/// Kind of copper of a layer; None for other layers. Copper of unknown making counts as rolled and annealed.
pub(crate) fn kind_of(board: &Board, layer: LayerId) -> Option<CopperKind> {
    let own = board.layers.get(layer.0 as usize).filter(|l| l.kind == LayerKind::Copper)?;
    let name = &board.materials[own.material.0 as usize].name;
    Some(CopperKind::of_material(name).unwrap_or(CopperKind::RolledAnnealed))
}

/// A state on the way.
struct Step {
    current_a: f64,
    angle_rad: f64,
    recovered: Recovered,
}

/// The way of one board.
struct Loop<'s, 'p, 't> {
    stage: &'s Stage<'s>,
    flap: &'s FlapAngle,
    path: Path<'p>,
    told: &'s mut Told<'t>,
    /// Parts of a half-swing, and of the one that is recorded.
    steps: [u32; 2],
    done: f64,
}

/// An end of a half-swing.
#[derive(Clone, Copy)]
enum End {
    Current(f64),
    Angle(f64),
}

impl Loop<'_, '_, '_> {
    fn angle(&self) -> f64 {
        self.stage.angle_rad(self.path.pose())
    }

    /// Plastic work since it was last forgotten, J, and the triangles it happened in.
    fn plastic_work(&self) -> (f64, usize) {
        self.path.copper().map_or((0.0, 0), ShellCopper::plastic_work_j)
    }

    fn look(&mut self) -> Result<Step, SolveError> {
        let balance = self.path.equilibrium()?;
        let recovered = recover(&self.stage.own.model, &balance, balance.level.thermal);
        Ok(Step { current_a: balance.level.driven, angle_rad: self.angle(), recovered })
    }

    /// To an end, in equal parts; the states on the way when asked for, else the last.
    fn to(&mut self, end: End, all: bool) -> Result<Vec<Step>, SolveError> {
        self.path.turn_round();
        let level = self.path.state().level;
        let (from, start) = (level.driven, self.angle());
        let mut seen = Vec::new();
        let steps = self.steps[usize::from(all)];
        for k in 1..=steps {
            self.done += 1.0;
            self.told.stage(
                "swing with yielding copper",
                self.done / f64::from(5 * self.steps[0] + self.steps[1]),
            )?;
            let share = f64::from(k) / f64::from(steps);
            match end {
                End::Current(to) => {
                    self.path.to_level(Level { driven: from + share * (to - from), ..level })?;
                }
                End::Angle(to) => {
                    let target = start + share * (to - start);
                    self.path.to_measure(self.flap, target)?;
                }
            }
            let touched = self.stage.guard.nearest(self.path.pose()).filter(Approach::is_contact);
            if let Some(contact) = touched {
                let why = format!(
                    "at {:.2} deg the board comes into contact with {}: contact itself is not modelled",
                    self.angle().to_degrees(),
                    contact.to
                );
                return Err(SolveError::Stopped { share, why });
            }
            if all || k == steps {
                seen.push(self.look()?);
            }
        }
        Ok(seen)
    }
}

/// Follows the loop; None for a board without magnet, current or flap, or when it is not asked for.
///
/// A loop that ends early is told in [`CycleAnswer::stopped`].
pub(in crate::bend) fn cycle(
    board: &Board,
    options: &BendOptions,
    bond: BondLimit,
    (mesh, swing): (&BoardMesh, &Swing),
    told: &mut Told<'_>,
) -> Result<Option<CycleAnswer>, SolveError> {
    let Some(wish) = &options.cycle else { return Ok(None) };
    if swing.by_current.is_empty() && wish.angle_rad.is_none() {
        return Ok(None);
    }
    let stage = stage(board, mesh, bond, Some(swing.most_current_a))?;
    let (Some(flap), Some(carried)) = (&stage.angle, &stage.carried) else { return Ok(None) };
    let steady = board_load(board, mesh, &stage.own, board.gravity_m_s2)?;
    let steady: [&dyn MovingLoad; 1] = [&steady];
    let mut path = Path::new(&stage.own.model, Loads { steady: &steady, driven: Some(carried) })?;
    path.yielding(ShellCopper::new(
        &stage.own.model.laminates,
        &stage.own.model.laminate_of,
        POINTS,
        |ply| kind_of(board, ply.layer).map(|kind| wish.laws(kind).first),
    ));
    let mut answer = CycleAnswer {
        currents_a: reached(swing),
        first_curve: in_words(
            wish.first.as_ref(),
            "bilinear: elastic to the yield stress, then hardening 5 GPa",
        ),
        cyclic_curve: in_words(
            wish.cyclic.as_ref(),
            "power of the plastic strain, consistent with universal slopes",
        ),
        ..CycleAnswer::default()
    };
    let steps = if wish.steps == 0 { [2, 3] } else { [wish.steps; 2] };
    let mut way = Loop { stage: &stage, flap, path, told, steps, done: 0.0 };
    let seen = match walk(&mut way, wish, &mut answer) {
        Ok(seen) => seen,
        Err(SolveError::Stopped { share, why }) => {
            answer.stopped = format!("stopped at {:.0} % of a step: {why}", 100.0 * share);
            return Ok(Some(answer));
        }
        Err(SolveError::Singular { place }) => {
            answer.stopped = format!("the stiffness vanishes at {place}");
            return Ok(Some(answer));
        }
        Err(other) => return Err(other),
    };
    answer.factorisations = u32::try_from(way.path.factorisations()).unwrap_or(u32::MAX);
    spots(&stage, options, wish, &seen, &mut answer);
    Ok(Some(answer))
}

fn in_words(own: Option<&Curve>, default: &str) -> String {
    own.map_or_else(|| format!("default: {default}"), |_| "given by the user".to_owned())
}

/// Currents that the elastic swing reached within the largest and stable.
fn reached(swing: &Swing) -> [f64; 2] {
    let good = swing.by_current.iter().filter(|s| s.within_current && s.stable).map(|s| s.current_a);
    good.fold([0.0, 0.0], |[low, high], a| [low.min(a), high.max(a)])
}

/// Plastic work of a loop over the elastic work of the swing below which the loop is elastic: rounding of the turns.
const NOTHING: f64 = 1e-6;

/// Shares of the swing at which the mean stress is told.
const SHARES: u32 = 10;

/// States that the spots are judged by: rest, end of the first bend, set, then the upward half of the steady loop.
struct Seen {
    rest: Step,
    first: Step,
    set: Step,
    up: Vec<Step>,
}

fn walk(way: &mut Loop<'_, '_, '_>, wish: &CycleWish, answer: &mut CycleAnswer) -> Result<Seen, SolveError> {
    way.path.to_level(Level { steady: 1.0, driven: 0.0, thermal: 1.0, prescribed: 1.0 })?;
    let rest = way.look()?;
    let rest_j = way.path.state().energy_j;
    answer.rest_before_rad = rest.angle_rad;
    let ends = |rest: f64| match wish.angle_rad {
        Some(by) => [End::Angle(rest - by), End::Angle(rest + by)],
        None => answer.currents_a.map(End::Current),
    };
    let [_, top] = ends(answer.rest_before_rad);
    let last = |mut steps: Vec<Step>| {
        let missing = || SolveError::Stopped { share: 0.0, why: "no step was asked for".to_owned() };
        steps.pop().ok_or_else(missing)
    };
    let first = last(way.to(top, false)?)?;
    let set = last(way.to(End::Current(0.0), false)?)?;
    let (first_work_j, _) = way.plastic_work();
    let yielded = way.path.copper().map_or(0, ShellCopper::yielded);
    answer.yielded_triangles = u32::try_from(yielded).unwrap_or(u32::MAX);
    (answer.first_top_rad, answer.first_set_rad) = (first.angle_rad, set.angle_rad - answer.rest_before_rad);
    let board = way.stage.board;
    way.path.restart_copper(|layer| kind_of(board, layer).map(|kind| wish.laws(kind).cyclic));
    let [bottom, top] = ends(answer.rest_before_rad);
    let once = last(way.to(top, false)?)?.angle_rad;
    let top_j = way.path.state().energy_j;
    way.path.forget_plastic_work();
    let mut up = way.to(bottom, false)?;
    let bottom_j = way.path.state().energy_j;
    up.extend(way.to(top, true)?);
    let (loop_work_j, yielding) = way.plastic_work();
    answer.plastic_work_j = [first_work_j, loop_work_j];
    answer.loop_yielding_triangles = u32::try_from(yielding).unwrap_or(u32::MAX);
    answer.elastic_work_j = (top_j - rest_j).max(bottom_j - rest_j);
    answer.shakes_down = loop_work_j <= NOTHING * answer.elastic_work_j;
    if let [low, .., high] = &up[..] {
        answer.steady_ends_rad = [low.angle_rad, high.angle_rad];
        answer.currents_a = [low.current_a, high.current_a];
        answer.loop_change_rad = high.angle_rad - once;
    }
    answer.rest_after_rad = last(way.to(End::Current(0.0), false)?)?.angle_rad;
    answer.loop_current_a = up.iter().map(|s| s.current_a).collect();
    answer.loop_angle_rad = up.iter().map(|s| s.angle_rad).collect();
    Ok(Seen { rest, first, set, up })
}

fn spots(stage: &Stage<'_>, options: &BendOptions, wish: &CycleWish, seen: &Seen, answer: &mut CycleAnswer) {
    let (Some(low), Some(high)) = (seen.up.first(), seen.up.last()) else { return };
    let traces = board_traces(stage.board, stage.mesh);
    let most = usize::try_from(options.max_spots).unwrap_or(usize::MAX);
    let wishes = SpotOptions { most, ..SpotOptions::default() };
    let between = range::difference(&high.recovered, &low.recovered);
    let states: Vec<Recovered> = seen.up.iter().map(|s| s.recovered.clone()).collect();
    let mut limit = f64::INFINITY;
    for (spot, rank) in pick(&stage.own.model, &between, &traces, &wishes).iter().zip(1_u32..) {
        let row = range::row(stage, &traces, &states, spot, rank);
        let kind = kind_of(stage.board, spot.layer).unwrap_or(CopperKind::RolledAnnealed);
        let laws = wish.laws(kind);
        limit = limit.min(2.0 * laws.cyclic.first_yield_pa() / laws.cyclic.modulus_pa);
        let own = history(stage, seen, spot, row.ends);
        let [rest, first_bend_strain, set_strain] = [own[0], own[1], own[2]];
        let fibre = SwungFibre { rest, first: first_bend_strain, set: set_strain };
        let mean_at = |share: f64| {
            let ends = answer.ends_at_share(&own[3..], share).unwrap_or(row.ends);
            fibre.mean_stress_pa(&laws.first, &laws.cyclic, share, ends)
        };
        let shares = (1..=SHARES).map(|k| f64::from(k) / f64::from(SHARES));
        let mean_stress_over_share: Vec<[f64; 2]> = shares.map(|share| [share, mean_at(share)]).collect();
        let mean_stress_pa = mean_at(1.0);
        answer.spots.push(CycleSpot {
            kind,
            first_bend_strain,
            set_strain,
            mean_strain: 0.5 * (row.ends[0] + row.ends[1]),
            mean_stress_pa,
            mean_stress_over_share,
            loop_strain: own[3..].to_vec(),
            spot: row,
        });
    }
    answer.elastic_range = if limit.is_finite() { limit } else { 0.0 };
    let on = maps::On {
        mesh: stage.mesh,
        model: &stage.own.model,
        reference_z_m: stage.own.reference_z_m,
        corner: &low.recovered.corner,
    };
    answer.maps = maps::all(stage.board, &on, |place| {
        let at = |r: &Recovered| {
            let strain = &r.zone_nodes[place.zone_node as usize].strain;
            place.laminate.copper_strain_at(place.ply, place.z_m, strain, r.thermal_factor)
        };
        let by: Vector3<f64> = at(&high.recovered) - at(&low.recovered);
        (largest_normal(&by).0.abs(), by.into())
    });
}

/// Strain along a spot's direction: rest, end of the first bend, set, then the upward half of the loop. At a singular spot
/// the place values are scaled to the mean that ranks.
fn history(stage: &Stage<'_>, seen: &Seen, spot: &Spot, ends: [f64; 2]) -> Vec<f64> {
    let all = [&seen.rest, &seen.first, &seen.set].into_iter().chain(&seen.up).map(|s| &s.recovered);
    let strains = range::strains_at(stage, all, spot);
    let plain: Vec<f64> = strains.iter().map(|s| along(s, spot.direction_rad)).collect();
    let whole = plain[plain.len() - 1] - plain[3];
    let share = if whole == 0.0 { 1.0 } else { (ends[1] - ends[0]) / whole };
    plain.into_iter().map(|s| s * share).collect()
}
