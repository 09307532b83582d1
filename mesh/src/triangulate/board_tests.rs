use super::*;
use crate::board::*;
use crate::quality::report;
use crate::region::{Ends, rounded_polygon};

const MM: f64 = 1e-3;

fn rect(x0: f64, y0: f64, x1: f64, y1: f64) -> Region {
    Region::rectangle([x0 * MM, y0 * MM], [x1 * MM, y1 * MM])
}

fn value(v: f64) -> Value {
    Value { v, lo: v, hi: v, source: "invented".to_owned() }
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

fn film() -> Material {
    Material {
        name: "film".to_owned(),
        description: String::new(),
        elastic: Elastic::Isotropic { e_pa: value(4e9), nu: value(0.34) },
        density_kg_m3: value(1420.0),
        expansion_per_k: [value(2e-5), value(2e-5)],
        elongation: None,
        resistivity_ohm_m: None,
        shear_pa: None,
        glass_point_degc: None,
    }
}

/// A vane of the photometer's chopper: pad, one arm 1.2 mm wide with fillets, flap with an opening; two tracks.
fn vane() -> Board {
    let body = Region::union(&[
        &rect(-5.0, -4.0, 0.0, 4.0),
        &rect(-0.5, -0.6, 8.5, 0.6),
        &rect(8.0, -6.0, 20.0, 6.0),
    ]);
    let (body, fillets) = body.fillet_reentrant(0.5 * MM, "fillet").unwrap();
    let outline = body.difference(&Region::circle([19.0 * MM, 5.0 * MM], 0.3 * MM, 0.0));
    let track = |y: f64| Region::stroke(&[[-4.0 * MM, y * MM], [9.0 * MM, y * MM]], 0.2 * MM, Ends::Butt);
    let copper = Region::union(&[&track(0.3), &track(-0.3)]);
    let conductor = |name: &str, y: f64| Conductor {
        name: name.to_owned(),
        layer: LayerId(1),
        region: track(y),
        kind: ConductorKind::Track {
            centre_line_m: vec![[-4.0 * MM, y * MM], [9.0 * MM, y * MM]],
            width_m: 0.2 * MM,
        },
        ranked: true,
    };
    Board {
        title: "vane".to_owned(),
        materials: vec![film()],
        layers: vec![
            layer("base film", LayerKind::Film, 25e-6, outline.clone()),
            layer("copper", LayerKind::Copper, 18e-6, copper),
            layer("cover", LayerKind::Cover, 25e-6, outline.difference(&rect(-5.0, -4.0, -3.0, 4.0))),
        ],
        base_layer: LayerId(0),
        stiffeners: Vec::new(),
        conductors: vec![conductor("supply plus", 0.3), conductor("supply minus", -0.3)],
        current: None,
        arms: vec![Arm {
            name: "arm".to_owned(),
            region: rect(0.0, -0.6, 8.0, 0.6),
            root_m: [0.0, 0.0],
            tip_m: [8.0 * MM, 0.0],
            width_m: 1.2 * MM,
            centre_line_m: Vec::new(),
        }],
        flap: Some(Flap { region: rect(8.0, -6.0, 20.0, 6.0), rigid: false }),
        supports: vec![Support {
            name: "holder".to_owned(),
            kind: SupportKind::Clamp { rotation_rad: 0.0, axis_point_m: [0.0; 3], axis: [0.0, 1.0, 0.0] },
            place: Place::Area(rect(-5.0, -4.0, 0.0, 4.0)),
        }],
        bodies: Vec::new(),
        magnets: Vec::new(),
        obstacles: Vec::new(),
        loads: vec![Load::Force {
            name: "tip".to_owned(),
            place: Place::Point([19.0 * MM, 0.0]),
            force_n: [0.0, 0.0, 1e-3],
        }],
        gravity_m_s2: [0.0; 3],
        temperature_degc: 20.0,
        locked_in: LockedIn::default(),
        mesh: MeshWishes {
            coarse_m: None,
            fine_m: None,
            growth: 0.2,
            across_arm: 8,
            min_angle_rad: 25_f64.to_radians(),
            tolerance: 0.01,
            max_refinements: 4,
            max_triangles: 400_000,
            merge_thin: false,
        },
        swing: SwingWishes::default(),
        drive: DriveWishes::default(),
        limits: Limits::default(),
        outline,
        fillets,
        landmarks: Vec::new(),
        warnings: Vec::new(),
    }
}

#[test]
fn vane_is_meshed_as_promised() {
    let board = vane();
    let mesh = board_mesh(&board, &[]).unwrap();
    let flat = &mesh.flat;
    let r = report(flat, board.mesh.min_angle_rad);
    // Clamp, arm and flap edges run into the fillets without an angle: these cusps are cut off.
    assert!(flat.complete && r.n_below_limit == 0, "{r:?}");
    assert!(!flat.moved.is_empty() && flat.moved.iter().all(|m| m.by_m <= MOVED_MOST_M), "{:?}", flat.moved);
    assert!(r.sides_m[0] > 2e-6, "{r:?}");
    assert!((1500..20_000).contains(&r.triangles), "{} triangles for a simple vane", r.triangles);
    // Areas by role against the algebra.
    for (role, region) in [
        (Role::Layer(LayerId(0)), &board.layers[0].region),
        (Role::Layer(LayerId(1)), &board.layers[1].region),
        (Role::Conductor(ConductorId(1)), &board.conductors[1].region),
        (Role::Arm(0), &board.arms[0].region),
    ] {
        let have: f64 = mesh.triangles_in(role).iter().map(|&t| flat.area_m2(t as usize)).sum();
        let want = region.intersection(&board.outline).area_m2();
        assert!((have - want).abs() < 3e-9, "{role:?}: {have} m2, {want} m2");
    }
    // Layers of the zones follow the regions.
    let locator = flat.locator();
    let (t, _) = locator.triangle_at([4.0 * MM, 0.3 * MM]).unwrap();
    assert_eq!(
        flat.zones[flat.zone_of[t] as usize].layers,
        vec![LayerId(0), LayerId(1), LayerId(2)],
        "on a track"
    );
    let (t, _) = locator.triangle_at([-4.0 * MM, 3.0 * MM]).unwrap();
    assert_eq!(flat.zones[flat.zone_of[t] as usize].layers, vec![LayerId(0)], "bare film");
    assert!(flat.nearest_node([19.0 * MM, 0.0]).unwrap().1 < 1e-12, "the loaded point is a node");
    // The clamp edge is a chain of edges across the arm's root, at least 8 of them, fillets included.
    let root: Vec<ZoneEdge> = mesh.edges_of(Role::Support(0));
    let across: f64 = root
        .iter()
        .map(|e| {
            let [a, b] = e.nodes.map(|i| flat.points_m[i as usize]);
            // On its line; at its ends it steps over to the fillet where the two are close together.
            for p in [a, b] {
                let beside_fillet = board.fillets.iter().filter_map(|f| f.nearest_m(p, 0.0)).any(|q| {
                    (q[0] - p[0]).hypot(q[1] - p[1]) < MOVED_MOST_M && p[0].abs() < MOVED_MOST_M + 1e-9
                });
                assert!(p[0].abs() < 1e-12 || beside_fillet, "clamp edge at x = 0: {a:?} {b:?}");
            }
            (a[1] - b[1]).abs()
        })
        .sum();
    assert!(root.len() >= 8 && (across - 2.2 * MM).abs() < 0.2 * MM, "{} edges over {across} m", root.len());
}

#[test]
fn arms_have_eight_triangles_across() {
    let board = vane();
    let mesh = board_mesh(&board, &[]).unwrap();
    let locator = mesh.flat.locator();
    for k in 1..60 {
        let x = 8.0 * MM * f64::from(k) / 60.0;
        // Triangles met on the way across, sampled finely; a row of triangles is two of them.
        let mut met: Vec<usize> = (1..600)
            .map(|j| [x, (-0.6 + 1.2 * f64::from(j) / 600.0) * MM])
            .filter_map(|p| locator.triangle_at(p).map(|f| f.0))
            .collect();
        met.dedup();
        assert!(met.len() >= 10, "at x = {x}: {} triangles across", met.len());
        let size = locator.size_at([x, 0.0]).unwrap();
        assert!(size < 1.4 * 1.2 * MM / 8.0, "at x = {x}: side {size} m on the middle of the arm");
    }
}

#[test]
fn sides_stay_above_half_the_thickness_unless_asked() {
    let mut board = vane();
    let field = board_size_field(&board);
    assert!(field.sources.iter().all(|s| s.size_m >= 25e-6 - 1e-12), "half of 50 um of films");
    // Fillets of R = 0.5 mm want 62.5 um, which the thickness allows.
    let least = field.size_at(board.fillets[0].middle_m());
    assert!((least - 62.5e-6).abs() < 1e-6, "side on the fillet {least} m");
    board.mesh.fine_m = Some(200e-6);
    let field = board_size_field(&board);
    assert!(field.size_at(board.fillets[0].middle_m()) >= 200e-6, "as the user set it");
    board.mesh.fine_m = Some(5e-6);
    assert!(board_size_field(&board).size_at([0.0, 1.1 * MM]) <= 6e-6, "clamp end as fine as asked");
}

#[test]
fn further_sources_refine() {
    let board = vane();
    let coarse = board_mesh(&board, &[]).unwrap();
    let at = [14.0 * MM, -2.0 * MM];
    let fine = board_mesh(&board, &[SizeSource { at_m: [at, at], size_m: 40e-6 }]).unwrap();
    let side = |m: &BoardMesh| m.flat.locator().size_at(at).unwrap();
    assert!(side(&fine) < 80e-6 && side(&coarse) > 200e-6, "{} and {}", side(&fine), side(&coarse));
}

#[test]
fn smeared_turns_are_not_meshed() {
    let mut board = vane();
    let path: Vec<Point> = (0..=720)
        .map(|i| {
            let a = f64::from(i) / 720.0 * std::f64::consts::TAU * 18.0;
            let r = (1.5 + 0.16 * a / std::f64::consts::TAU) * MM;
            [14.0 * MM + r * a.cos(), r * a.sin()]
        })
        .collect();
    board.conductors.push(Conductor {
        name: "coil".to_owned(),
        layer: LayerId(1),
        region: Region::stroke(&path, 0.09 * MM, Ends::Butt),
        kind: ConductorKind::CoilTurns,
        ranked: false,
    });
    let area = Region::circle([14.0 * MM, 0.0], 4.5 * MM, 0.0);
    board.layers[1].region = Region::union(&[&board.layers[1].region, &area]);
    let turns = board_mesh(&board, &[]).unwrap();
    board.layers[1].smears.push(Smear {
        region: area,
        copper_share: 0.5,
        filler: MaterialId(0),
        centre_m: [14.0 * MM, 0.0],
        turns: TurnAxes::Round,
    });
    let smeared = board_mesh(&board, &[]).unwrap();
    let (each, few) = (turns.flat.triangles.len(), smeared.flat.triangles.len());
    assert!(few * 4 < each, "{few} triangles smeared, {each} turn by turn");
    assert!(
        !smeared.triangles_in(Role::Conductor(ConductorId(2))).is_empty(),
        "the coil still has its triangles"
    );
}

#[test]
fn too_many_regions_are_refused() {
    let mut board = vane();
    let one = board.conductors[0].clone();
    board.conductors.extend(std::iter::repeat_n(one, 130));
    let err = board_mesh(&board, &[]).unwrap_err();
    assert_eq!(err.fault, MeshFault::TooManyRegions, "{err}");
}

#[test]
fn plain_strip_without_arms_is_fine_at_its_clamp() {
    let mut board = vane();
    board.outline = rect(0.0, 0.0, 40.0, 5.0);
    board.layers = vec![layer("base film", LayerKind::Film, 50e-6, board.outline.clone())];
    (board.conductors, board.arms, board.flap, board.fillets, board.loads) = Default::default();
    board.supports[0].place = Place::Area(rect(0.0, 0.0, 5.0, 5.0));
    let mesh = board_mesh(&board, &[]).unwrap();
    let edges = mesh.edges_of(Role::Support(0));
    assert!(edges.len() >= 8, "{} edges along the clamp", edges.len());
    let field = board_size_field(&board);
    assert!((field.size_at([5.0 * MM, 0.0]) - 25e-6).abs() < 1e-9, "half the thickness at the clamp's end");
    let _ = rounded_polygon(&[], &[], "").unwrap();
}
