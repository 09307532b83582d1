//! A board as a plan: every region with a meaning, the lines and points of supports and loads, the true arcs.

use super::web::number;
use super::{BoardMesh, MOST_REGIONS, Merged, Plan, Role, SizeSource, triangulate};
use crate::board::{Board, Conductor, ConductorId, ConductorKind, LayerId, Load, Place};
use crate::quality::{MeshError, MeshFault, SmallestAngle};
use crate::region::Region;

/// Features narrower than this are merged on request, m.
pub const THIN_M: f64 = 10e-6;

/// The plan of a board, and the meaning of each of its regions (bit i of a zone is `roles[i]`).
///
/// # Errors
/// [`MeshError`] if the board has more than 128 regions with a meaning.
pub fn board_plan(board: &Board) -> Result<(Plan, Vec<Role>), MeshError> {
    let meant = meant_regions(board);
    if meant.len() > MOST_REGIONS {
        return Err(MeshError::new(
            MeshFault::TooManyRegions,
            "board",
            &format!("{} layers, tracks, stiffeners, supports, bodies, arms and loads", meant.len()),
            "at most 128 can be told apart",
            "join tracks that lie on the stiff flap into one, or leave out what carries no load",
        ));
    }
    let merge_m = if board.mesh.merge_thin { THIN_M } else { 0.0 };
    let mut plan =
        Plan { outline: board.outline.clone(), arcs: board.fillets.clone(), merge_m, ..Plan::default() };
    let places = board.supports.iter().map(|s| &s.place).chain(board.loads.iter().map(place_of));
    for place in places {
        match place {
            Place::Line(ends) => plan.lines.push(*ends),
            Place::Point(p) => plan.points.push(*p),
            Place::Area(_) => {}
        }
    }
    let mut roles = Vec::with_capacity(meant.len());
    for (region, role) in meant {
        plan.regions.push(region.into_owned());
        roles.push(role);
    }
    Ok((plan, roles))
}

impl Role {
    /// What the region is, by name, for messages.
    #[must_use]
    pub fn name(&self, board: &Board) -> String {
        let named = |what: &str, name: Option<&str>| format!("{what} '{}'", name.unwrap_or("?"));
        let layer = |id: &LayerId| board.layers.get(id.0 as usize).map(|l| l.name.as_str());
        match self {
            Self::Layer(id) => named("layer", layer(id)),
            Self::Conductor(id) => {
                named("copper", board.conductors.get(id.0 as usize).map(|c| c.name.as_str()))
            }
            Self::Smear(id, _) => named("smeared turns on layer", layer(id)),
            Self::Support(i) => named("support", board.supports.get(*i as usize).map(|s| s.name.as_str())),
            Self::Body(i) => named("body", board.bodies.get(*i as usize).map(|b| b.name.as_str())),
            Self::Stiffener(i) => {
                named("stiffener", board.stiffeners.get(*i as usize).map(|s| s.name.as_str()))
            }
            Self::Arm(i) => named("arm", board.arms.get(*i as usize).map(|a| a.name.as_str())),
            Self::Flap => "the flap".to_owned(),
            Self::Load(i) => named("load", board.loads.get(*i as usize).map(name_of)),
        }
    }
}

impl BoardMesh {
    /// Names of everything whose edges run through the corners of a triangle that was singled out.
    #[must_use]
    pub fn names_at(&self, board: &Board, place: &SmallestAngle) -> Vec<String> {
        let rim = place.at_rim.then(|| "the outline".to_owned());
        let named = |(bit, role): (usize, &Role)| (place.regions >> bit & 1 == 1).then(|| role.name(board));
        rim.into_iter().chain(self.roles.iter().enumerate().filter_map(named)).collect()
    }
}

/// Most places of merged points named one by one.
const MOST_MERGED: usize = 12;

impl BoardMesh {
    /// Places where points hardly apart became one, in words, for remarks.
    #[must_use]
    pub fn merged_words(&self, board: &Board) -> Vec<String> {
        let of = |m: &Merged| {
            let roles = self.roles.iter().enumerate().filter(|(bit, _)| m.regions >> bit & 1 == 1);
            let mut names: Vec<String> = m.at_rim.then(|| "the outline".to_owned()).into_iter().collect();
            names.extend(roles.map(|(_, role)| role.name(board)));
            let edges =
                if names.is_empty() { String::new() } else { format!(" on edges of {}", names.join(", ")) };
            let [x, y] = m.at_m.map(|v| v * 1e3);
            let apart = m.apart_m * 1e6;
            format!("points {apart:.1} um apart at ({x:.3} mm, {y:.3} mm){edges} became one")
        };
        let all = &self.flat.merged;
        let mut words: Vec<String> = all.iter().take(MOST_MERGED).map(of).collect();
        if all.len() > MOST_MERGED {
            words.push(format!("{} more places where points became one", all.len() - MOST_MERGED));
        }
        words
    }
}

/// What a reader can do about [`BoardMesh::merged_words`].
pub const MERGED_REMEDY: &str =
    "let the points coincide or lie at least 2.5 um apart: shorter edges cannot be made";

fn name_of(load: &Load) -> &str {
    match load {
        Load::Force { name, .. } | Load::Pressure { name, .. } | Load::Moment { name, .. } => name,
    }
}

fn place_of(load: &Load) -> &Place {
    match load {
        Load::Force { place, .. } | Load::Pressure { place, .. } | Load::Moment { place, .. } => place,
    }
}

/// A region with its meaning.
type Meant<'a> = (std::borrow::Cow<'a, Region>, Role);

/// Every region of the board that a triangle should know of.
fn meant_regions(board: &Board) -> Vec<Meant<'_>> {
    use std::borrow::Cow::{Borrowed, Owned};
    let mut out: Vec<Meant<'_>> = Vec::new();
    for (i, layer) in board.layers.iter().enumerate() {
        let id = LayerId(number(i));
        out.push((Borrowed(&layer.region), Role::Layer(id)));
        let smears = layer.smears.iter().enumerate();
        out.extend(smears.map(|(k, s)| (Borrowed(&s.region), Role::Smear(id, number(k)))));
    }
    for (i, conductor) in board.conductors.iter().enumerate() {
        let region = smeared_form(board, conductor).map_or(Borrowed(&conductor.region), Owned);
        out.push((region, Role::Conductor(ConductorId(number(i)))));
    }
    let stiffeners = board.stiffeners.iter().enumerate();
    out.extend(stiffeners.map(|(i, s)| (Borrowed(&s.region), Role::Stiffener(number(i)))));
    for (i, support) in board.supports.iter().enumerate() {
        if let Place::Area(region) = &support.place {
            out.push((Borrowed(region), Role::Support(number(i))));
        }
    }
    out.extend(board.bodies.iter().enumerate().map(|(i, b)| (Borrowed(&b.region), Role::Body(number(i)))));
    out.extend(board.arms.iter().enumerate().map(|(i, a)| (Borrowed(&a.region), Role::Arm(number(i)))));
    out.extend(board.flap.iter().map(|f| (Borrowed(&f.region), Role::Flap)));
    for (i, load) in board.loads.iter().enumerate() {
        if let Place::Area(region) = place_of(load) {
            out.push((Borrowed(region), Role::Load(number(i))));
        }
    }
    out
}

/// Where coil turns are smeared, the smeared area stands for them, so that no turn is meshed.
fn smeared_form(board: &Board, conductor: &Conductor) -> Option<Region> {
    if conductor.kind != ConductorKind::CoilTurns {
        return None;
    }
    let layer = board.layers.get(conductor.layer.0 as usize)?;
    let touched: Vec<&Region> = layer
        .smears
        .iter()
        .map(|s| &s.region)
        .filter(|r| !r.intersection(&conductor.region).is_empty())
        .collect();
    (!touched.is_empty()).then(|| Region::union(&touched))
}

/// Triangles of a board, with further fine places; the layers of every zone are filled in.
///
/// # Errors
/// As [`triangulate`] and [`board_plan`].
pub fn board_mesh(board: &Board, extra: &[SizeSource]) -> Result<BoardMesh, MeshError> {
    let (plan, roles) = board_plan(board)?;
    let mut size = super::board_size_field(board);
    size.sources.extend_from_slice(extra);
    let mut flat = triangulate(&plan, &size)?;
    for zone in &mut flat.zones {
        zone.layers = roles
            .iter()
            .enumerate()
            .filter(|(bit, _)| zone.inside >> bit & 1 == 1)
            .filter_map(|(_, role)| if let Role::Layer(id) = role { Some(*id) } else { None })
            .collect();
        zone.layers.sort_unstable();
    }
    Ok(BoardMesh { flat, roles })
}
