//! Board or plain regions in, graded conforming triangles out; every triangle knows its zone.

use crate::board::{Board, LayerId};
use crate::quality::{MeshError, MeshFault};
use crate::region::{Point, Region};

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
    /// Smallest angle, rad, and whether every angle reached the limit.
    pub min_angle_rad: f64,
    /// False when the triangle cap or the geometry stopped the refinement early.
    pub complete: bool,
}

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

/// Graded conforming triangles of a plan.
///
/// # Errors
/// [`MeshError`] if the plan is empty or needs more triangles than allowed.
pub fn triangulate(plan: &Plan, size: &SizeField) -> Result<FlatMesh, MeshError> {
    if plan.outline.is_empty() {
        return Err(MeshError::new(
            MeshFault::Input,
            "outline",
            "no area",
            "a part must have area",
            "draw it",
        ));
    }
    if plan.regions.len() > 128 || size.max_triangles == 0 {
        return Err(MeshError::new(
            MeshFault::TooManyRegions,
            "plan",
            &format!("{} regions", plan.regions.len()),
            "at most 128",
            "join some",
        ));
    }
    Ok(FlatMesh::default())
}

/// The plan of a board, and the meaning of each of its regions.
///
/// # Errors
/// [`MeshError`] if the board has more than 128 regions with a meaning.
pub fn board_plan(board: &Board) -> Result<(Plan, Vec<Role>), MeshError> {
    Ok((Plan { outline: board.outline.clone(), ..Plan::default() }, Vec::new()))
}

/// The size field of a board: fine where strain peaks, coarse elsewhere.
#[must_use]
pub fn board_size_field(board: &Board) -> SizeField {
    SizeField {
        coarse_m: board.mesh.coarse_m.unwrap_or(1e-3),
        fine_m: board.mesh.fine_m.unwrap_or(1e-4),
        growth: board.mesh.growth,
        sources: Vec::new(),
        min_angle_rad: board.mesh.min_angle_rad,
        max_triangles: board.mesh.max_triangles,
    }
}

/// Triangles of a board, with further fine places.
///
/// # Errors
/// As [`triangulate`] and [`board_plan`].
pub fn board_mesh(board: &Board, extra: &[SizeSource]) -> Result<BoardMesh, MeshError> {
    let (plan, roles) = board_plan(board)?;
    let mut size = board_size_field(board);
    size.sources.extend_from_slice(extra);
    Ok(BoardMesh { flat: triangulate(&plan, &size)?, roles })
}
