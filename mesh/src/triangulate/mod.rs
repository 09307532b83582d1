//! Board or plain regions in, graded conforming triangles out; every triangle knows its zone.

mod arrange;
mod board_plan;
mod board_size;
mod build;
mod corners;
mod front;
mod grid;
mod inside;
mod locate;
mod outline_edges;
mod part;
mod refine;
pub(crate) mod shape;
mod size;
mod web;
mod zip;

pub use board_plan::{MERGED_REMEDY, THIN_M, board_mesh, board_plan};
pub use board_size::board_size_field;
pub use grid::{Diagonals, rectangle_grid};
pub use locate::Locator;
pub use shape::ZoneEdge;

use crate::board::LayerId;
use crate::quality::{MeshError, MeshFault};
use crate::region::{GRID_M, Point, Region, STEPS_PER_M, snap, to_segment, to_steps};

/// A set of regions whose edges the triangles must respect.
#[derive(Debug, Clone, Default)]
pub struct Plan {
    /// The part that is meshed.
    pub outline: Region,
    /// Regions with an identity: a triangle records which of them contain it. At most 128.
    pub regions: Vec<Region>,
    /// Lines and points that must be triangle edges and nodes (supports, line loads), inside the outline.
    pub lines: Vec<[Point; 2]>,
    /// Points that must be nodes.
    pub points: Vec<Point>,
    /// Arcs that edges follow: when a boundary edge on an arc is split the new point lies on the arc.
    pub arcs: Vec<crate::board::Fillet>,
    /// Points and edges closer together than this become one, m; 0 keeps everything the 1 um grid can tell apart.
    pub merge_m: f64,
}

/// A place where triangles must be small.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SizeSource {
    /// Ends of the piece (equal for a point), m.
    pub at_m: [Point; 2],
    /// Triangle side there, m.
    pub size_m: f64,
}

/// Size field: the least over sources of `size + growth * distance`, at most `coarse_m`.
#[derive(Debug, Clone, PartialEq)]
pub struct SizeField {
    /// Largest side, m.
    pub coarse_m: f64,
    /// Smallest side, m: no source goes below.
    pub fine_m: f64,
    /// Growth per length.
    pub growth: f64,
    /// Fine places.
    pub sources: Vec<SizeSource>,
    /// Smallest angle asked for, rad.
    pub min_angle_rad: f64,
    /// Most triangles.
    pub max_triangles: u32,
}

/// Triangles that share the same set of regions.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Zone {
    /// Which of [`Plan::regions`] contain the zone, one bit each.
    pub inside: u128,
    /// Layers present, from the bottom (filled by [`board_mesh`]; empty for plain plans).
    pub layers: Vec<LayerId>,
}

/// A plane triangle mesh.
#[derive(Debug, Clone, Default)]
pub struct FlatMesh {
    /// Nodes, m.
    pub points_m: Vec<Point>,
    /// Corners, counter-clockwise.
    pub triangles: Vec<[u32; 3]>,
    /// Zone of each triangle, index into [`FlatMesh::zones`].
    pub zone_of: Vec<u32>,
    /// Zones, sorted.
    pub zones: Vec<Zone>,
    /// Smallest angle, rad.
    pub min_angle_rad: f64,
    /// Sides of triangles that lie on edges of the plan (regions, outline, lines), lower node first, sorted.
    pub plan_edges: Vec<[u32; 2]>,
    /// Places where edges of the plan were led differently by more than 1 um, one per place.
    pub moved: Vec<Moved>,
    /// Places where points of the plan closer together than [`MERGED_M`] became one, farthest apart first.
    pub merged: Vec<Merged>,
    /// False when the triangle cap or the geometry stopped the refinement early.
    pub complete: bool,
}

/// A place where edges of the plan were moved so that no triangle is needlessly narrow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moved {
    /// Where, m.
    pub at_m: Point,
    /// Largest distance by which an edge moved, m: at most [`MOVED_MOST_M`].
    pub by_m: f64,
}

/// A place where points of the plan, joined by an edge shorter than [`MERGED_M`], became one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Merged {
    /// Where, m.
    pub at_m: Point,
    /// How far apart the points lay, m.
    pub apart_m: f64,
    /// Regions ([`Plan::regions`], one bit each) with an edge there.
    pub regions: u128,
    /// Whether the outline has an edge there.
    pub at_rim: bool,
}

/// Ends of an edge shorter than this become one point, m.
pub const MERGED_M: f64 = 2.5e-6;

/// Edges move by at most this, m: below what any fabricator holds.
pub const MOVED_MOST_M: f64 = 8e-6;

/// What a region of a board's plan stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// A layer is present.
    Layer(LayerId),
    /// A named piece of copper.
    Conductor(crate::board::ConductorId),
    /// Smeared turns: layer and index into its smears.
    Smear(LayerId, u32),
    /// An area support.
    Support(u32),
    /// The footprint of a body.
    Body(u32),
    /// A stiffener.
    Stiffener(u32),
    /// An arm.
    Arm(u32),
    /// The flap.
    Flap,
    /// The area of a load.
    Load(u32),
}

/// A board's triangles with the meaning of every zone bit.
#[derive(Debug, Clone, Default)]
pub struct BoardMesh {
    /// Triangles and zones; `zones[..].layers` is filled.
    pub flat: FlatMesh,
    /// Meaning of each bit of [`Zone::inside`].
    pub roles: Vec<Role>,
}

impl BoardMesh {
    /// Whether a triangle lies inside a role's region.
    #[must_use]
    pub fn is_in(&self, triangle: usize, role: Role) -> bool {
        let inside = self.flat.zones[self.flat.zone_of[triangle] as usize].inside;
        self.roles.iter().position(|&r| r == role).is_some_and(|bit| inside >> bit & 1 == 1)
    }
}

/// Most regions of one plan: one bit each in [`Zone::inside`].
pub const MOST_REGIONS: usize = 128;

/// Smallest usable triangle side, m: two grid steps.
const SMALLEST_SIDE_M: f64 = 2e-6;

/// Graded conforming triangles of a plan: every edge of every region, every line and every point is kept.
///
/// No angle is smaller than wished but where the plan forces it, see [`crate::quality::Cause`]. For that, corners
/// between edges narrower than the wished angle are blunted where one of the edges may move by [`MOVED_MOST_M`]
/// ([`FlatMesh::moved`] tells where); corners of the outline and of lines that were asked for stay.
///
/// Deterministic: nodes follow a space-filling curve, triangles their lowest node. Positions of edges are exact on
/// the 1 um grid; edges along [`Plan::arcs`] have their nodes on the true arc.
/// [`FlatMesh::complete`] is false when the wished smallest angle could not be reached everywhere.
///
/// # Errors
/// [`MeshError`] if the plan has no area, a number is unusable, a point lies outside, or more triangles are needed
/// than allowed.
pub fn triangulate(plan: &Plan, size: &SizeField) -> Result<FlatMesh, MeshError> {
    check(plan, size)?;
    let Some(bounds) = plan.outline.bounds() else { return Err(no_area()) };
    let step = |p: Point| arrange::fine(to_steps(p));
    let mut segments: Vec<arrange::Segment> = Vec::new();
    segments.extend(plan.outline.edges().map(|e| arrange::Segment { ends: e.map(step), firm: true }));
    segments.extend(plan.lines.iter().map(|l| arrange::Segment { ends: l.map(step), firm: true }));
    let inner = plan.regions.iter().flat_map(Region::edges);
    segments.extend(inner.map(|e| arrange::Segment { ends: e.map(step), firm: false }));
    let singles: Vec<[i32; 2]> = plan.points.iter().map(|&p| step(p)).collect();
    let merge = plan.merge_m * STEPS_PER_M * f64::from(arrange::FINE);
    let mut arrangement = arrange::arrange(&segments, &singles, merge);
    let rim = part::Part::with_reach(&plan.outline, part::ON_EDGE_M + plan.merge_m);
    arrangement.keep(|p| rim.contains(p) || rim.on_edge(p));
    let arcs = outline_edges::Arcs::new(&plan.arcs);
    let field = usable(size);
    let square = bounds.map(|p| [p[0] * STEPS_PER_M, p[1] * STEPS_PER_M]);
    let tree = size::SizeTree::new(&field, square, STEPS_PER_M);
    let split = outline_edges::split_edges(&arrangement, &arcs, &tree);
    let kept: Vec<Point> = plan.points.iter().map(|&p| to_steps(p).map(f64::from)).collect();
    let zip::Zipped { split: zipped, moved, merged } = zip::zip(&split, &arcs, &tree, &kept);
    // A triangulation of n points has about 2 n triangles (Euler).
    let most = size.max_triangles as usize / 2 + 1;
    if split.points.len() > 4 * most {
        return Err(too_many(split.points.len() / 2, size));
    }
    let inside = inside::Inside::new(&plan.outline);
    let mut made = None;
    // Zipping moves edges by micrometres; should they then cross something, they stay as they were.
    let as_was = (Vec::new(), Vec::new());
    for (edges, changed, last) in [(zipped, (moved, merged), false), (split, as_was, true)] {
        let seated = corners::seat(&edges, (&tree, &arcs), &kept, |p| inside.contains(p));
        let interior = front::interior(&seated.split, &tree, |p| inside.contains(p), most);
        if interior.len() > most {
            return Err(too_many(2 * interior.len(), size));
        }
        if let Some(built) = build::triangles(&seated, &interior, plan, last)? {
            let n = seated.split.points.len();
            let fixed = seated.split.points.iter().map(|p| kept.contains(p)).collect::<Vec<bool>>();
            made = Some((built, changed, fixed, 8 * (n + interior.len()) + 4 * most.min(1_000_000)));
            break;
        }
    }
    let Some((mut built, (moved, merged), fixed, room)) = made else { return Err(no_area()) };
    let complete = built.refine(&arcs, &fixed, (size.min_angle_rad, room));
    let mut mesh = built.finish();
    mesh.moved = moved;
    mesh.merged = merged.into_iter().map(|m| named(plan, m)).collect();
    mesh.complete = complete && arrangement.settled;
    if mesh.triangles.len() > size.max_triangles as usize {
        return Err(too_many(mesh.triangles.len(), size));
    }
    crate::quality::refuse_bad(&mesh)?;
    Ok(mesh)
}

/// Which edges of the plan run through a place where points became one.
fn named(plan: &Plan, (at_m, apart_m): (Point, f64)) -> Merged {
    let there = |region: &Region| region.edges().any(|[a, b]| to_segment(at_m, a, b).0 < MERGED_M);
    let regions = plan.regions.iter().enumerate();
    Merged {
        at_m,
        apart_m,
        regions: regions.fold(0, |mask, (bit, region)| mask | (u128::from(there(region)) << bit)),
        at_rim: there(&plan.outline),
    }
}

fn no_area() -> MeshError {
    MeshError::new(
        MeshFault::Input,
        "outline",
        "no area",
        "the part must have an area",
        "check the shapes that make the outline",
    )
}

fn too_many(found: usize, size: &SizeField) -> MeshError {
    MeshError::new(
        MeshFault::TooManyTriangles,
        "mesh",
        &format!("more than {found} triangles needed"),
        &format!("at most {} are allowed", size.max_triangles),
        "raise the coarse or fine size, merge thin features, or allow more triangles",
    )
}

/// Refuses numbers that no mesh can be made from.
fn check(plan: &Plan, size: &SizeField) -> Result<(), MeshError> {
    let refuse = |place: &str, value: String, rule: &str, remedy: &str| {
        Err(MeshError::new(MeshFault::Input, place, &value, rule, remedy))
    };
    let positive = |v: f64| v > 0.0 && v.is_finite();
    if plan.regions.len() > MOST_REGIONS {
        return Err(MeshError::new(
            MeshFault::TooManyRegions,
            "plan",
            &format!("{} regions", plan.regions.len()),
            "at most 128 layers, tracks, stiffeners, supports and other regions can be told apart",
            "join tracks or shapes that need not be told apart",
        ));
    }
    if !(positive(size.coarse_m) && size.growth >= 0.0 && size.growth.is_finite()) {
        let value = format!("coarse side {} m, growth {}", size.coarse_m, size.growth);
        return refuse(
            "mesh sizes",
            value,
            "the coarse side must be above 0, growth 0 or more",
            "correct them",
        );
    }
    if let Some(s) =
        size.sources.iter().find(|s| !(positive(s.size_m) && s.at_m.iter().flatten().all(|v| v.is_finite())))
    {
        return refuse(
            "mesh sizes",
            format!("{s:?}"),
            "sides must be above 0 at finite places",
            "correct it",
        );
    }
    for p in plan.points.iter().chain(plan.lines.iter().flatten()) {
        if !p.iter().all(|v| v.is_finite()) {
            return refuse("plan", format!("{p:?}"), "points must be finite", "correct it");
        }
    }
    for &p in &plan.points {
        if !plan.outline.contains(snap(p)) && plan.outline.distance_to_edge_m(p) > 1.5 * GRID_M {
            let place = format!("point ({:.4} mm, {:.4} mm)", p[0] * 1e3, p[1] * 1e3);
            return refuse(&place, "outside the part".to_owned(), "it must lie on the part", "move it");
        }
    }
    if plan.outline.area_m2() <= 0.0 { Err(no_area()) } else { Ok(()) }
}

/// The field with sides of at least two grid steps.
fn usable(size: &SizeField) -> SizeField {
    let mut field = size.clone();
    field.fine_m = field.fine_m.max(SMALLEST_SIDE_M);
    field.coarse_m = field.coarse_m.max(field.fine_m);
    field
}

#[cfg(test)]
mod angle_tests;
#[cfg(test)]
mod board_tests;
#[cfg(test)]
mod tests;
