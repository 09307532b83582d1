//! A small board with a made-up smooth strain field, for the tests of the pictures and files.

use copperbend_mesh::board::{Board, LayerId, understand};
use copperbend_mesh::region::Point;
use copperbend_mesh::triangulate::{FlatMesh, Zone};
use copperbend_solver::result::{
    BendAnswer, BendReport, Coupling, DampingShare, DriveAnswer, DriveRow, DriveSpot, Face, HalfFrequency,
    PullIn, Shape, SideView, SingularKind, Snap, Spot, StrainMap, Swing, SwingFacts, SwingState, SwingStop,
    Usable,
};

const DESIGN: &str = r#"
title = "Chopper vane, one arm"
[shapes]
pad  = { rectangle = { from = ["-5 mm", "-4 mm"], to = ["0 mm", "4 mm"] } }
arm  = { rectangle = { from = ["-0.5 mm", "-0.7 mm"], to = ["8.5 mm", "0.7 mm"] } }
vane = { rectangle = { from = ["8 mm", "-6 mm"], to = ["20 mm", "6 mm"] } }
body = { union = ["pad", "arm", "vane"] }
held = { rectangle = { from = ["-5 mm", "-4 mm"], to = ["-0.5 mm", "4 mm"] } }
[outline]
shape = "body"
[[layer]]
name = "base film"
material = "polyimide_film"
kind = "film"
thickness = "25 um"
[[layer]]
name = "copper top"
material = "copper_rolled_annealed"
kind = "copper"
thickness = "18 um"
[[track]]
name = "supply plus"
layer = "copper top"
points = [["-4 mm", "0.35 mm"], ["9 mm", "0.35 mm"]]
width = "0.2 mm"
[[track]]
name = "supply minus"
layer = "copper top"
points = [["-4 mm", "-0.35 mm"], ["9 mm", "-0.35 mm"]]
width = "0.2 mm"
[[support]]
name = "holder"
kind = "clamp"
shape = "held"
[[arm]]
name = "arm"
shape = "arm"
root = ["0 mm", "0 mm"]
tip = ["8 mm", "0 mm"]
[flap]
shape = "vane"
[[magnet]]
name = "field magnet"
disc = { diameter = "6 mm", height = "2 mm" }
magnetisation = "axial"
remanence = "1.3 T"
centre = ["14 mm", "0 mm", "-6 mm"]
"#;

/// A chopper vane with one arm.
pub(crate) fn board() -> Board {
    understand("sample.toml", DESIGN).expect("the sample is a valid design")
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

/// A driven swing that folds over: three motions at some frequencies, the middle one not stable.
pub(crate) fn drive() -> DriveAnswer {
    let row = |hz: f64, deg: f64, stable: bool| DriveRow {
        frequency_hz: hz,
        level: 1.0,
        asked: true,
        stable: Some(stable),
        gives_way: if stable { String::new() } else { "leaps to another swing".to_owned() },
        swing_rad: deg.to_radians(),
        first_rad: deg.to_radians(),
        lag_rad: (hz * 9.0).to_radians(),
        roll_rad: 0.04 * deg.to_radians(),
        strain_range: 150e-6 * deg,
        strain_range_error: Some(4e-6 * deg),
        spot: 1,
        current_rms_a: 5.66e-3,
        power_w: Some(2e-4),
        settles_periods: stable.then_some(14.0),
        ..DriveRow::default()
    };
    let sweep = vec![
        row(5.0, 3.0, true),
        row(9.0, 5.0, true),
        row(12.0, 11.0, true),
        row(14.0, 17.0, true),
        row(13.0, 12.0, false),
        row(12.5, 7.0, false),
        row(14.0, 4.0, true),
        row(20.0, 1.5, true),
    ];
    let share = |name: &str, ratio: f64| DampingShare {
        name: name.to_owned(),
        ratio,
        span: [0.5 * ratio, 2.0 * ratio],
        basis: "made up".to_owned(),
        measured: false,
    };
    DriveAnswer {
        damping: vec![share("arms", 0.01), share("eddy currents", 0.002)],
        half_frequency: HalfFrequency { epsilon: 0.01, threshold: 0.048, ..HalfFrequency::default() },
        swing: SwingFacts { frequency_hz: 12.2, ..SwingFacts::default() },
        levels: (1..=10)
            .map(|k| DriveRow { level: 0.1 * f64::from(k), ..row(14.0, 1.7 * f64::from(k), true) })
            .collect(),
        peak: Some(3),
        peak_bracket_rad: Some([0.36, 0.22]),
        usable: Usable { frequency_hz: Some(14.0), binds: "swing reached".to_owned(), limits: Vec::new() },
        spots: vec![DriveSpot {
            rank: 1,
            track: "supply plus".to_owned(),
            layer: "copper top".to_owned(),
            x_m: 0.1e-3,
            y_m: 0.2e-3,
            near: "clamp edge of 'holder'".to_owned(),
            near_m: 1e-4,
            range: 2.55e-3,
            range_error: Some(6e-5),
            ..DriveSpot::default()
        }],
        sweep,
        ..DriveAnswer::default()
    }
}

/// A swing with pull-in at the negative side.
pub(crate) fn swing() -> Swing {
    let state = |ma: f64, deg: f64, stable: bool| SwingState {
        current_a: ma * 1e-3,
        load: 1.0,
        largest_m: 0.2e-3 * deg.abs(),
        angle_rad: deg.to_radians(),
        torque_nm: 1.5e-6 * deg,
        strain: -33e-6 * deg,
        strain_error: 1e-6,
        track: "supply plus".to_owned(),
        at_m: [0.1e-3, 0.2e-3],
        clearance_m: Some(2e-3),
        within_current: ma.abs() <= 40.0,
        stable,
        snapped: false,
    };
    let view = |ma: f64, deg: f64| SideView {
        current_a: ma * 1e-3,
        load: 1.0,
        angle_rad: deg.to_radians(),
        line_m: (0..20_u8).map(|k| [f64::from(k) * 1e-3, (f64::from(k) * 1e-3).powi(2) * deg]).collect(),
    };
    Swing {
        most_current_a: 0.04,
        by_current: vec![state(-10.8, -7.0, true), state(0.0, 0.0, true), state(40.0, 6.0, true)],
        by_angle: vec![state(-9.0, -10.0, false), state(-9.0, -4.0, true), state(70.0, 8.0, true)],
        coupling: Some(Coupling {
            pull_in: Some(PullIn { current_a: -10.9e-3, angle_rad: -0.12 }),
            ..Coupling::default()
        }),
        stops: vec![SwingStop {
            wished: "-40 mA".to_owned(),
            why: "pull-in".to_owned(),
            ..SwingStop::default()
        }],
        views: vec![view(-10.8, -7.0), view(0.0, 0.0), view(40.0, 6.0)],
        ..Swing::default()
    }
}

/// The way of a board from rest to its whole loads, with a snap at half of them.
pub(crate) fn loading() -> Swing {
    let mut swing = swing();
    let share = |k: usize| 0.5 * f64::from(u32::try_from(k).unwrap_or(0));
    for (k, state) in swing.by_current.iter_mut().enumerate() {
        (state.current_a, state.load, state.snapped) = (0.0, share(k), k == 1);
    }
    for (k, view) in swing.views.iter_mut().enumerate() {
        (view.current_a, view.load) = (0.0, share(k));
    }
    let snap = Snap { loads: [0.49, 0.5], currents_a: [0.0; 2], angles_rad: [-0.1, 0.0] };
    Swing {
        most_current_a: 0.0,
        by_load: std::mem::take(&mut swing.by_current),
        by_angle: Vec::new(),
        angle_of: "board at x 9.000 mm, y 1.000 mm, which moves most".to_owned(),
        coupling: None,
        snaps: vec![snap],
        stops: Vec::new(),
        ..swing
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
