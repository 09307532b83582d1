//! A board as a plan: every region with a meaning, the lines and points of supports and loads, the true arcs.

use super::{BoardMesh, MOST_REGIONS, Plan, Role, SizeSource, triangulate};
use crate::board::{Board, Conductor, ConductorId, ConductorKind, LayerId, Load, Place, Warning};
use crate::quality::{MeshError, MeshFault};
use crate::region::{NearMiss, Region, ThinKind, near_misses};

/// Features narrower than this are reported, and merged on request, m.
pub const THIN_M: f64 = 10e-6;

/// The plan of a board, and the meaning of each of its regions (bit i of a zone is `roles[i]`).
///
/// # Errors
/// [`MeshError`] if the board has more than 128 regions with a meaning.
pub fn board_plan(board: &Board) -> Result<(Plan, Vec<Role>), MeshError> {
    let named = named_regions(board);
    if named.len() > MOST_REGIONS {
        return Err(MeshError::new(
            MeshFault::TooManyRegions,
            "board",
            &format!("{} layers, tracks, stiffeners, supports, bodies, arms and loads", named.len()),
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
    let mut roles = Vec::with_capacity(named.len());
    for (region, role, _) in named {
        plan.regions.push(region.into_owned());
        roles.push(role);
    }
    Ok((plan, roles))
}

fn place_of(load: &Load) -> &Place {
    match load {
        Load::Force { place, .. } | Load::Pressure { place, .. } | Load::Moment { place, .. } => place,
    }
}

/// A region with its meaning and the name shown to the user.
type Named<'a> = (std::borrow::Cow<'a, Region>, Role, String);

fn number(i: usize) -> u32 {
    u32::try_from(i).unwrap_or(u32::MAX)
}

/// Every region of the board that a triangle should know of.
fn named_regions(board: &Board) -> Vec<Named<'_>> {
    use std::borrow::Cow::{Borrowed, Owned};
    let mut out: Vec<Named<'_>> = Vec::new();
    for (i, layer) in board.layers.iter().enumerate() {
        out.push((
            Borrowed(&layer.region),
            Role::Layer(LayerId(number(i))),
            format!("layer '{}'", layer.name),
        ));
        for (k, smear) in layer.smears.iter().enumerate() {
            let role = Role::Smear(LayerId(number(i)), number(k));
            out.push((Borrowed(&smear.region), role, format!("smeared coil on '{}'", layer.name)));
        }
    }
    for (i, conductor) in board.conductors.iter().enumerate() {
        let region = smeared_form(board, conductor).map_or(Borrowed(&conductor.region), Owned);
        out.push((region, Role::Conductor(ConductorId(number(i))), format!("'{}'", conductor.name)));
    }
    for (i, stiffener) in board.stiffeners.iter().enumerate() {
        let name = format!("stiffener '{}'", stiffener.name);
        out.push((Borrowed(&stiffener.region), Role::Stiffener(number(i)), name));
    }
    for (i, support) in board.supports.iter().enumerate() {
        if let Place::Area(region) = &support.place {
            out.push((Borrowed(region), Role::Support(number(i)), format!("support '{}'", support.name)));
        }
    }
    for (i, body) in board.bodies.iter().enumerate() {
        out.push((Borrowed(&body.region), Role::Body(number(i)), format!("body '{}'", body.name)));
    }
    for (i, arm) in board.arms.iter().enumerate() {
        out.push((Borrowed(&arm.region), Role::Arm(number(i)), format!("arm '{}'", arm.name)));
    }
    if let Some(flap) = &board.flap {
        out.push((Borrowed(&flap.region), Role::Flap, "flap".to_owned()));
    }
    for (i, load) in board.loads.iter().enumerate() {
        let (Load::Force { name, .. } | Load::Pressure { name, .. } | Load::Moment { name, .. }) = load;
        if let Place::Area(region) = place_of(load) {
            out.push((Borrowed(region), Role::Load(number(i)), format!("load '{name}'")));
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

/// Remarks on features narrower than [`THIN_M`]: they cost many triangles and are seldom meant.
#[must_use]
pub fn thin_warnings(board: &Board) -> Vec<Warning> {
    let named = named_regions(board);
    let mut regions: Vec<&Region> = vec![&board.outline];
    let mut names: Vec<&str> = vec!["outline"];
    for (region, _, name) in &named {
        // The same region often stands for a layer and for its track: named once.
        if !regions.iter().any(|r| *r == region.as_ref()) {
            regions.push(region);
            names.push(name);
        }
    }
    let remedy = if board.mesh.merge_thin {
        "it is merged, as asked"
    } else {
        "draw it wider or let edges coincide, or set merge_thin in [mesh]"
    };
    let mut out = Vec::new();
    let mut warn = |text: String, [x, y]: crate::region::Point| {
        out.push(Warning {
            place: format!("({:.3} mm, {:.3} mm)", x * 1e3, y * 1e3),
            text,
            remedy: remedy.to_owned(),
        });
    };
    for (region, name) in regions.iter().zip(&names) {
        for f in region.thin_features(THIN_M) {
            let what = if f.kind == ThinKind::Part { "part" } else { "gap" };
            warn(format!("{what} of {name} only {:.1} um wide", f.width_m * 1e6), f.at_m);
        }
    }
    for NearMiss { pair: [i, j], feature } in near_misses(&regions, THIN_M) {
        let on_part =
            board.outline.contains(feature.at_m) || board.outline.distance_to_edge_m(feature.at_m) < THIN_M;
        if on_part {
            let text =
                format!("edges of {} and {} only {:.1} um apart", names[i], names[j], feature.width_m * 1e6);
            warn(text, feature.at_m);
        }
    }
    out
}
