//! A small board with a made-up smooth strain field, for the tests of the pictures and files.

use copperbend_mesh::board::{
    Arm, Board, Conductor, ConductorKind, Flap, Layer, LayerId, LayerKind, Limits, LockedIn, Magnet,
    MagnetShape, MaterialId, MeshWishes, Place, Seat, Support, SupportKind,
};
use copperbend_mesh::region::{Ends, Point, Region};
use copperbend_mesh::triangulate::{FlatMesh, Zone};
use copperbend_solver::result::{BendAnswer, BendReport, Face, Shape, SingularKind, Spot, StrainMap};

const TRACKS: [(&str, f64); 2] = [("supply plus", 0.35e-3), ("supply minus", -0.35e-3)];
const TRACK_WIDTH: f64 = 0.2e-3;

fn body() -> Region {
    let pad = Region::rectangle([-5e-3, -4e-3], [0.0, 4e-3]);
    let arm = Region::rectangle([-0.5e-3, -0.7e-3], [8.5e-3, 0.7e-3]);
    let vane = Region::rectangle([8e-3, -6e-3], [20e-3, 6e-3]);
    Region::union(&[&pad, &arm, &vane])
}

fn layer(name: &str, kind: LayerKind, thickness_m: f64, region: Region) -> Layer {
    Layer {
        name: name.to_owned(),
        material: MaterialId(0),
        kind,
        thickness_m,
        seat: Seat::Drape,
        region,
        direction_rad: 0.0,
        smears: Vec::new(),
        stiffener: None,
    }
}

/// A chopper vane with one arm.
pub(crate) fn board() -> Board {
    let tracks = TRACKS.map(|(name, y)| Conductor {
        name: name.to_owned(),
        layer: LayerId(1),
        region: Region::stroke(&[[-4e-3, y], [9e-3, y]], TRACK_WIDTH, Ends::Round),
        kind: ConductorKind::Track { centre_line_m: vec![[-4e-3, y], [9e-3, y]], width_m: TRACK_WIDTH },
        ranked: true,
    });
    let copper = Region::union(&[&tracks[0].region, &tracks[1].region]);
    Board {
        title: "Chopper vane, one arm".to_owned(),
        outline: body(),
        materials: Vec::new(),
        layers: vec![
            layer("base film", LayerKind::Film, 25e-6, body()),
            layer("copper top", LayerKind::Copper, 18e-6, copper),
        ],
        base_layer: LayerId(0),
        stiffeners: Vec::new(),
        conductors: tracks.to_vec(),
        current: None,
        arms: vec![Arm {
            name: "arm".to_owned(),
            region: Region::rectangle([0.0, -0.7e-3], [8e-3, 0.7e-3]),
            root_m: [0.0, 0.0],
            tip_m: [8e-3, 0.0],
            width_m: 1.4e-3,
        }],
        flap: Some(Flap { region: Region::rectangle([8e-3, -6e-3], [20e-3, 6e-3]), rigid: false }),
        supports: vec![Support {
            name: "holder".to_owned(),
            kind: SupportKind::Clamp { rotation_rad: 0.0, axis_point_m: [0.0; 3], axis: [0.0, 1.0, 0.0] },
            place: Place::Area(Region::rectangle([-5e-3, -4e-3], [-0.5e-3, 4e-3])),
        }],
        bodies: Vec::new(),
        magnets: vec![Magnet {
            name: "field magnet".to_owned(),
            shape: MagnetShape::Disc { diameter_m: 6e-3, height_m: 2e-3 },
            polarisation_t: [0.0, 0.0, 1.3],
            centre_m: [14e-3, 0.0, -6e-3],
            rotation: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
            back_plate: None,
            remanence_note: "given".to_owned(),
        }],
        loads: Vec::new(),
        gravity_m_s2: [0.0; 3],
        temperature_degc: 20.0,
        locked_in: LockedIn::default(),
        mesh: MeshWishes {
            coarse_m: None,
            fine_m: None,
            growth: 0.2,
            across_arm: 8,
            min_angle_rad: 0.5,
            tolerance: 0.01,
            max_refinements: 8,
            max_triangles: 100_000,
            merge_thin: false,
        },
        limits: Limits::default(),
        fillets: Vec::new(),
        landmarks: Vec::new(),
        warnings: Vec::new(),
    }
}

/// Triangles on a lattice that meets every straight edge of the board.
pub(crate) fn mesh() -> FlatMesh {
    let step = 0.05e-3;
    let (board, mut flat) = (board(), FlatMesh::default());
    let across: Vec<f64> = (-120..=120).map(|j| f64::from(j) * step).collect();
    let along: Vec<f64> = (0..=125).map(|i| -5e-3 + f64::from(i) * 0.2e-3).collect();
    for &x in &along {
        flat.points_m.extend(across.iter().map(|&y| [x, y]));
    }
    let n = across.len();
    for i in 0..along.len() - 1 {
        for j in 0..n - 1 {
            let centre = [0.5 * (along[i] + along[i + 1]), 0.5 * (across[j] + across[j + 1])];
            if board.outline.contains(centre) {
                let zone = u32::from(board.layers[1].region.contains(centre));
                let [a, b, c, d] = [i * n + j, (i + 1) * n + j, (i + 1) * n + j + 1, i * n + j + 1]
                    .map(|v| u32::try_from(v).expect("small mesh"));
                flat.triangles.extend([[a, b, c], [a, c, d]]);
                flat.zone_of.extend([zone, zone]);
            }
        }
    }
    flat.zones = vec![
        Zone { inside: 1, layers: vec![LayerId(0)] },
        Zone { inside: 3, layers: vec![LayerId(0), LayerId(1)] },
    ];
    flat.min_angle_rad = 0.24;
    flat.complete = true;
    flat
}

/// Curvature of the arm: largest at the root, gone at the vane.
fn strain_at([x, y]: Point) -> [f64; 3] {
    let bend = if x < 0.0 { (1.0 + x / 2e-3).max(0.0) } else { (1.0 - x / 9e-3).max(0.0) };
    let twist = 0.4 * y / 0.7e-3;
    [2.4e-3 * bend * (1.0 + 0.3 * y / 0.7e-3), -7e-4 * bend, 8e-4 * bend * twist]
}

fn spot(rank: u32, track: &str, at: Point) -> Spot {
    Spot {
        rank,
        track: track.to_owned(),
        layer: "copper top".to_owned(),
        layer_index: 1,
        face: Face::Upper,
        x_m: at[0],
        y_m: at[1],
        near: "clamp edge of 'holder'".to_owned(),
        near_m: 0.12e-3,
        strain: strain_at(at)[0],
        strain_error: 0.01 * strain_at(at)[0],
        singular: (rank == 3).then_some(SingularKind::ClampEnd),
        mean_radius_m: (rank == 3).then_some(4e-5),
        ..Spot::default()
    }
}

/// An answer with a tip rise of about 4 mm.
pub(crate) fn answer() -> BendAnswer {
    let flat = mesh();
    let rise = |x: f64| {
        let s = x.max(0.0);
        if s < 8e-3 { 0.5 * 60.0 * s * s } else { 0.5 * 60.0 * 64e-6 + 0.48 * (s - 8e-3) }
    };
    let loaded = flat.points_m.iter().map(|p| [0.0, 0.0, rise(p[0]) * 0.5, 0.0, 0.0, 0.0]).collect();
    let copper: Vec<u32> = (0..).zip(&flat.zone_of).filter(|&(_, &z)| z == 1).map(|(t, _)| t).collect();
    let map = |face: Face, factor: f64| {
        let components: Vec<[[f64; 3]; 3]> = copper
            .iter()
            .map(|&t| {
                flat.triangles[t as usize].map(|n| strain_at(flat.points_m[n as usize]).map(|v| v * factor))
            })
            .collect();
        StrainMap {
            layer: "copper top".to_owned(),
            layer_index: 1,
            face,
            triangles: copper.clone(),
            z_m: vec![if face == Face::Lower { 25e-6 } else { 43e-6 }; copper.len()],
            ranking: components.iter().map(|c| c.map(|v| v[0])).collect(),
            components,
            unranked: vec![false; copper.len()],
        }
    };
    let n = flat.triangles.len();
    BendAnswer {
        spots: vec![
            spot(1, "supply plus", [0.0, 0.45e-3]),
            spot(2, "supply minus", [0.05e-3, -0.25e-3]),
            spot(3, "supply plus", [0.6e-3, 0.25e-3]),
            spot(4, "supply minus", [0.2e-3, -0.45e-3]),
            spot(5, "supply plus", [6.2e-3, 0.4e-3]),
        ],
        maps: vec![map(Face::Lower, -0.2), map(Face::Upper, 1.0)],
        shape: Shape {
            thickness_m: vec![43e-6; n],
            error_share: vec![0.1; n],
            strains: vec![[[0.0; 6]; 3]; n],
            loaded,
            unloaded: vec![[0.0; 6]; flat.points_m.len()],
            load: vec![[0.0; 6]; flat.points_m.len()],
            points_m: flat.points_m,
            triangles: flat.triangles,
            zone_of: flat.zone_of,
        },
        ..BendAnswer::default()
    }
}

/// A report with that answer.
pub(crate) fn report() -> BendReport {
    BendReport { title: board().title, answers: vec![answer()], ..BendReport::default() }
}

/// Keeps a picture for a person to look at, when the variable `COPPERBEND_PICTURES` names a folder.
pub(crate) fn keep(name: &str, png: &[u8]) {
    if let Some(folder) = std::env::var_os("COPPERBEND_PICTURES") {
        std::fs::write(std::path::Path::new(&folder).join(name), png).expect("the folder takes pictures");
    }
}

/// Pixels of a PNG: width, height, RGB.
pub(crate) fn pixels(bytes: &[u8]) -> (u32, u32, Vec<[u8; 3]>) {
    let mut reader = png::Decoder::new(std::io::Cursor::new(bytes)).read_info().expect("a PNG");
    let mut raw = vec![0; reader.output_buffer_size().expect("a size")];
    let info = reader.next_frame(&mut raw).expect("a frame");
    let rgb = raw[..info.buffer_size()].chunks(3).map(|p| [p[0], p[1], p[2]]).collect();
    (info.width, info.height, rgb)
}
