//! Small boards and structured meshes for tests: a strip along x with layers over its whole width.

use copperbend_mesh::board::{
    Arm, Board, Bond, Conductor, ConductorId, ConductorKind, Elastic, Layer, LayerId, LayerKind, Load,
    LockedIn, Material, MaterialId, MeshWishes, Place, Seat, Stiffener, Support, SupportKind, Value,
};
use copperbend_mesh::region::{Point, Region};
use copperbend_mesh::triangulate::{BoardMesh, FlatMesh, Role, Zone};

pub(crate) fn value(v: f64) -> Value {
    Value { v, lo: 0.7 * v, hi: 1.1 * v, source: "test".into() }
}

pub(crate) fn material(name: &str, e_pa: f64, nu: f64, density: f64, expansion: f64) -> Material {
    Material {
        name: name.into(),
        description: String::new(),
        elastic: Elastic::Isotropic { e_pa: value(e_pa), nu: value(nu) },
        density_kg_m3: value(density),
        expansion_per_k: [value(expansion), value(expansion)],
        elongation: Some(value(0.5)),
        resistivity_ohm_m: (name == "copper").then(|| value(1.7241e-8)),
        shear_pa: None,
        glass_point_degc: None,
    }
}

/// A layer over the whole strip: name, kind, modulus, thickness.
pub(crate) struct Sheet(pub(crate) &'static str, pub(crate) LayerKind, pub(crate) f64, pub(crate) f64);

/// A strip from (0, -width/2) to (length, width/2), clamped along x = 0.
pub(crate) fn strip(sheets: &[Sheet], length_m: f64, width_m: f64, nu: f64) -> Board {
    let outline = Region::rectangle([0.0, -0.5 * width_m], [length_m, 0.5 * width_m]);
    let density = |kind: LayerKind| match kind {
        LayerKind::Copper => 8960.0,
        LayerKind::Adhesive => 1100.0,
        _ => 1420.0,
    };
    let names = |kind: LayerKind| if kind == LayerKind::Copper { "copper" } else { "film" };
    let materials = sheets.iter().map(|s| material(names(s.1), s.2, nu, density(s.1), 17e-6)).collect();
    let layers = sheets
        .iter()
        .zip(0_u32..)
        .map(|(s, n)| Layer {
            name: s.0.into(),
            material: MaterialId(n),
            kind: s.1,
            thickness_m: s.3,
            seat: Seat::Drape,
            region: outline.clone(),
            direction_rad: 0.0,
            smears: Vec::new(),
            stiffener: None,
        })
        .collect::<Vec<_>>();
    let conductors = layers
        .iter()
        .zip(0_u32..)
        .filter(|(l, _)| l.kind == LayerKind::Copper)
        .map(|(l, n)| Conductor {
            name: format!("pour {}", l.name),
            layer: LayerId(n),
            region: outline.clone(),
            kind: ConductorKind::Pour,
            ranked: true,
        })
        .collect();
    Board {
        title: "strip".into(),
        outline: outline.clone(),
        materials,
        layers,
        base_layer: LayerId(0),
        stiffeners: Vec::new(),
        conductors,
        current: None,
        arms: vec![Arm {
            name: "arm".into(),
            region: outline,
            root_m: [0.0, 0.0],
            tip_m: [length_m, 0.0],
            width_m,
            centre_line_m: Vec::new(),
        }],
        flap: None,
        supports: vec![clamp("root", Place::Line([[0.0, -0.5 * width_m], [0.0, 0.5 * width_m]]))],
        bodies: Vec::new(),
        magnets: Vec::new(),
        obstacles: Vec::new(),
        loads: Vec::new(),
        gravity_m_s2: [0.0; 3],
        temperature_degc: 20.0,
        locked_in: LockedIn::default(),
        mesh: MeshWishes {
            coarse_m: None,
            fine_m: None,
            growth: 0.25,
            across_arm: 8,
            min_angle_rad: 25_f64.to_radians(),
            tolerance: 0.01,
            max_refinements: 4,
            max_triangles: 60_000,
            merge_thin: false,
        },
        swing: copperbend_mesh::board::SwingWishes::default(),
        drive: copperbend_mesh::board::DriveWishes::default(),
        limits: Default::default(),
        fillets: Vec::new(),
        landmarks: Vec::new(),
        warnings: Vec::new(),
    }
}

pub(crate) fn clamp(name: &str, place: Place) -> Support {
    let kind = SupportKind::Clamp { rotation_rad: 0.0, axis_point_m: [0.0; 3], axis: [0.0, 1.0, 0.0] };
    Support { name: name.into(), kind, place }
}

/// Force over the whole width at x.
pub(crate) fn line_force(x: f64, width_m: f64, force_n: [f64; 3]) -> Load {
    let place = Place::Line([[x, -0.5 * width_m], [x, 0.5 * width_m]]);
    Load::Force { name: "pull".into(), place, force_n }
}

/// Puts a sheet under the whole strip as a stiffener.
pub(crate) fn stiffen(board: &mut Board, e_pa: f64, nu: f64, thickness_m: f64, bond: Bond) {
    let id = MaterialId(u32::try_from(board.materials.len()).unwrap());
    board.materials.push(material("sheet", e_pa, nu, 1900.0, 14e-6));
    let layer = Layer {
        name: "sheet".into(),
        material: id,
        kind: LayerKind::Stiffener,
        thickness_m,
        seat: Seat::Drape,
        region: board.outline.clone(),
        direction_rad: 0.0,
        smears: Vec::new(),
        stiffener: Some(0),
    };
    board.layers.insert(0, layer);
    board.base_layer = LayerId(1);
    board.stiffeners.push(Stiffener { name: "sheet".into(), region: board.outline.clone(), bond });
    for conductor in &mut board.conductors {
        conductor.layer = LayerId(conductor.layer.0 + 1);
    }
}

/// `nx` by `ny` squares, each cut by a diagonal whose direction alternates; zones by which layers' and loads'
/// regions contain the triangle's middle.
pub(crate) fn grid(board: &Board, nx: u32, ny: u32) -> BoardMesh {
    let [low, high] = board.outline.bounds().unwrap();
    let at = |i: u32, j: u32| {
        let s = f64::from(i) / f64::from(nx);
        let t = f64::from(j) / f64::from(ny);
        [low[0] + s * (high[0] - low[0]), low[1] + t * (high[1] - low[1])]
    };
    let mut points_m: Vec<Point> = Vec::new();
    for i in 0..=nx {
        points_m.extend((0..=ny).map(|j| at(i, j)));
    }
    let node = |i: u32, j: u32| i * (ny + 1) + j;
    let mut triangles = Vec::new();
    for i in 0..nx {
        for j in 0..ny {
            let [a, b, c, d] = [node(i, j), node(i + 1, j), node(i + 1, j + 1), node(i, j + 1)];
            // Mirrored about the middle line: equal diagonals on both sides.
            let lower = 2 * j < ny;
            if (i % 2 == 0) == lower {
                triangles.extend([[a, b, c], [a, c, d]]);
            } else {
                triangles.extend([[a, b, d], [b, c, d]]);
            }
        }
    }
    zoned(board, points_m, triangles)
}

/// Roles and zones of a mesh that already follows the board's regions.
fn zoned(board: &Board, points_m: Vec<Point>, triangles: Vec<[u32; 3]>) -> BoardMesh {
    let (roles, regions) = roles(board);
    let mut zones: Vec<Zone> = Vec::new();
    let mut zone_of = Vec::new();
    for corners in &triangles {
        let [p, q, r] = corners.map(|n| points_m[n as usize]);
        let middle = [(p[0] + q[0] + r[0]) / 3.0, (p[1] + q[1] + r[1]) / 3.0];
        let inside = regions
            .iter()
            .enumerate()
            .filter(|(_, region)| region.contains(middle))
            .fold(0_u128, |bits, (bit, _)| bits | 1 << bit);
        let found = zones.iter().position(|z| z.inside == inside).unwrap_or_else(|| {
            let layers = roles
                .iter()
                .enumerate()
                .filter_map(|(bit, role)| match role {
                    Role::Layer(id) if inside >> bit & 1 == 1 => Some(*id),
                    _ => None,
                })
                .collect();
            zones.push(Zone { inside, layers });
            zones.len() - 1
        });
        zone_of.push(u32::try_from(found).unwrap());
    }
    let flat = FlatMesh {
        points_m,
        triangles,
        zone_of,
        zones,
        min_angle_rad: 0.7,
        complete: true,
        ..FlatMesh::default()
    };
    BoardMesh { flat, roles }
}

fn roles(board: &Board) -> (Vec<Role>, Vec<Region>) {
    let mut all: Vec<(Role, Region)> = Vec::new();
    for (layer, n) in board.layers.iter().zip(0_u32..) {
        all.push((Role::Layer(LayerId(n)), layer.region.clone()));
        for (smear, k) in layer.smears.iter().zip(0_u32..) {
            all.push((Role::Smear(LayerId(n), k), smear.region.clone()));
        }
    }
    for (conductor, n) in board.conductors.iter().zip(0_u32..) {
        all.push((Role::Conductor(ConductorId(n)), conductor.region.clone()));
    }
    for (support, n) in board.supports.iter().zip(0_u32..) {
        if let Place::Area(region) = &support.place {
            all.push((Role::Support(n), region.clone()));
        }
    }
    for (body, n) in board.bodies.iter().zip(0_u32..) {
        all.push((Role::Body(n), body.region.clone()));
    }
    for (arm, n) in board.arms.iter().zip(0_u32..) {
        all.push((Role::Arm(n), arm.region.clone()));
    }
    if let Some(flap) = &board.flap {
        all.push((Role::Flap, flap.region.clone()));
    }
    for (load, n) in board.loads.iter().zip(0_u32..) {
        let (Load::Force { place, .. } | Load::Pressure { place, .. } | Load::Moment { place, .. }) = load;
        if let Place::Area(region) = place {
            all.push((Role::Load(n), region.clone()));
        }
    }
    all.into_iter().unzip()
}
