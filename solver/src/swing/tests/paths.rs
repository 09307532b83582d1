//! Paths: buckling, prescribed measures, heating, failing steps, loads on levers.

use super::*;

#[test]
fn a_strip_pushed_beyond_its_buckling_load_tells_of_it() {
    // Cantilever: P = pi^2 E I / (4 L^2) (Euler).
    let (length, h) = (10.0, 0.1);
    let strip = Strip::new([length, 1.0], [40, 2], vec![ply(-h / 2.0, h / 2.0, 1.2e4, 0.0)], 0.0);
    let critical = std::f64::consts::PI.powi(2) / (4.0 * length * length);
    let push = strip.end_load(Vector6::new(-critical, 0.0, 0.0, 0.0, 0.0, 0.0));
    let loads: [&dyn MovingLoad; 1] = [&push];
    let mut path = Path::new(&strip.model, Loads { steady: &loads, driven: None }).unwrap();
    let mut at = |share: f64| {
        path.to_level(Level { steady: share, ..Level::default() }).unwrap();
        (path.negative_pivots().unwrap(), path.state().negative_pivots)
    };
    assert_eq!(at(0.995), (0, 0), "straight and stable below");
    assert_eq!(at(1.005).0, 1, "one way to give way above");
    assert_eq!(at(8.9), (1, 1), "still one");
    assert_eq!(at(9.1).0, 2, "the second at nine times the load");
}

#[test]
fn a_push_with_a_small_fault_bends_through_the_buckling_load() {
    // Tip slope 40 degrees at P = 1.063 P_cr for the inextensible strut (Timoshenko, Gere, Theory of Elastic
    // Stability, table of the elastica; recomputed below from K(sin 20 deg)).
    let (length, h) = (10.0, 0.1);
    let strip = Strip::new([length, 1.0], [40, 2], vec![ply(-h / 2.0, h / 2.0, 1.2e4, 0.0)], 0.0);
    let critical = std::f64::consts::PI.powi(2) / (4.0 * length * length);
    let push = strip.end_load(Vector6::new(-critical, 0.0, 0.0, 0.0, 0.0, 0.0));
    let fault = strip.end_load(Vector6::new(0.0, 0.0, 1e-7, 0.0, 0.0, 0.0));
    let steady: [&dyn MovingLoad; 1] = [&fault];
    let mut path = Path::new(&strip.model, Loads { steady: &steady, driven: Some(&push) }).unwrap();
    path.to_level(FULL).unwrap();
    // The slope is prescribed through the tip's height; the load is sought.
    let k = 20f64.to_radians().sin();
    let (mut a, mut g) = (1.0, (1.0 - k * k).sqrt());
    for _ in 0..8 {
        (a, g) = (0.5 * (a + g), (a * g).sqrt());
    }
    let quarter = std::f64::consts::FRAC_PI_2 / a;
    let expected = (2.0 * quarter / std::f64::consts::PI).powi(2);
    let height = 2.0 * k * length / quarter;
    let node = strip.column(strip.nx).start + 1;
    let rest_m = Vector3::from(strip.model.nodes_m[node as usize]);
    let measure = NodeDisplacement { node, rest_m, direction: Vector3::z() };
    let state = path.to_measure(&measure, height).unwrap();
    let [_, w, slope] = strip.tip(&path);
    println!("P / Pcr {} against {expected}, slope {} deg", state.level.driven, slope.to_degrees());
    assert!((w - height).abs() < 1e-5 * length, "height {w} against {height}");
    assert!(
        (state.level.driven / expected - 1.0).abs() < 1e-3,
        "load {} against {expected}",
        state.level.driven
    );
    assert!((slope.to_degrees() / 40.0 - 1.0).abs() < 2e-3, "slope {}", slope.to_degrees());
    assert_eq!(state.negative_pivots, 0, "bent, it is stable");
}

#[test]
fn angle_of_a_turned_flap_and_its_gradient() {
    let mut strip = Strip::new([4.0, 2.0], [6, 3], vec![ply(0.0, 0.1, 1.0, 0.0)], 0.2);
    for p in &mut strip.model.nodes_m {
        p[2] = 0.3;
    }
    let hinge = crate::model::Hinge { root_m: [1.0, 0.0], along: [0.6, 0.8] };
    let triangles: Vec<usize> = (10..30).collect();
    let measure = FlapAngle::new(&strip.model, &triangles, &hinge).unwrap();
    let axis = Vector3::from(hinge.axis());
    for angle in [-170f64, -60.0, 0.0, 1e-4, 35.0, 120.0] {
        let turn = crate::element::corotational::exponential(&(axis * angle.to_radians()));
        let mut pose = Pose::at_rest(&strip.model.nodes_m);
        for (n, x) in (0u32..).zip(&mut pose.positions_m) {
            // Turned, shifted, and a little bent so that the gradient is not that of a rigid flap.
            let bump = 0.02 * f64::from(n * n % 7);
            *x = turn * (*x + Vector3::new(0.0, 0.0, 0.0)) + Vector3::new(0.3, -1.0, 2.0);
            if angle > 30.0 {
                *x += turn * Vector3::new(0.0, 0.0, bump);
            }
        }
        let value = measure.value(&pose);
        if angle < 30.0 {
            assert!((value - angle.to_radians()).abs() < 1e-13, "{angle}: {}", value.to_degrees());
        }
        let gradient = measure.gradient(&pose);
        for n in [5usize, 14, 20] {
            for (c, own) in gradient[n].iter().enumerate().take(3) {
                let mut at = |h: f64| {
                    let before = pose.positions_m[n][c];
                    pose.positions_m[n][c] += h;
                    let value = measure.value(&pose);
                    pose.positions_m[n][c] = before;
                    value
                };
                let h = 1e-4;
                let slope = (8.0 * (at(h) - at(-h)) - (at(2.0 * h) - at(-2.0 * h))) / (12.0 * h);
                let gap = (slope - own).abs();
                assert!(gap < 1e-10, "{angle}, node {n} {c}: {slope} against {own}");
            }
        }
    }
}

#[test]
fn a_prescribed_angle_finds_its_load_and_a_sweep_costs_little() {
    let (length, h) = (10.0, 0.1);
    let strip = Strip::new([length, 1.0], [40, 4], vec![ply(-h / 2.0, h / 2.0, 1.2e4, 0.3)], 0.2);
    let hinge = crate::model::Hinge { root_m: [0.0, 0.0], along: [1.0, 0.0] };
    let far: Vec<usize> = (0..strip.model.triangles.len()).filter(|e| e / 8 >= 30).collect();
    let measure = FlapAngle::new(&strip.model, &far, &hinge).unwrap();
    let load = strip.end_load(Vector6::new(0.0, 0.0, 0.01, 0.0, 0.0, 0.0));
    let mut path = Path::new(&strip.model, Loads { steady: &[], driven: Some(&load) }).unwrap();
    let rest = path.mark();
    let mut found = Vec::new();
    for sign in [1.0, -1.0] {
        path.back_to(&rest);
        for step in 1..=9 {
            let angle = (sign * 5.0 * f64::from(step)).to_radians();
            let state = path.to_measure(&measure, angle).unwrap();
            assert!((measure.value(path.pose()) - angle).abs() < 1e-9, "angle met");
            found.push((state.level.driven, state.iterations));
        }
    }
    println!("{found:?}: {} factorisations", path.factorisations());
    assert!(path.factorisations() <= 60, "{} factorisations", path.factorisations());
    for (up, down) in found[..9].iter().zip(&found[9..]) {
        assert!((up.0 + down.0).abs() < 1e-6 * up.0.abs(), "up and down alike: {up:?} {down:?}");
    }
    // By load alone the same place is reached.
    let mut other = Path::new(&strip.model, Loads { steady: &[], driven: Some(&load) }).unwrap();
    other.to_level(Level { driven: found[8].0, ..Level::default() }).unwrap();
    let angle = measure.value(other.pose()).to_degrees();
    assert!((angle - 45.0).abs() < 1e-6, "by load {angle} degrees");
}

#[test]
fn heating_and_loads_together_do_not_depend_on_the_order() {
    let mut plies = vec![ply(0.0, 50e-6, 4e9, 0.34), ply(50e-6, 85e-6, 117e9, 0.34)];
    (plies[0].heating_k, plies[1].heating_k) = (150.0, 150.0);
    plies[0].expansion_per_k = Vector3::new(60e-6, 60e-6, 0.0);
    let strip = Strip::new([10e-3, 1e-3], [20, 2], plies, 0.0);
    let load = strip.end_load(Vector6::new(0.0, 1e-4, 1.2e-2, 0.0, 0.0, 0.0));
    let loads: [&dyn MovingLoad; 1] = [&load];
    let hot = Level { thermal: 1.0, ..Level::default() };
    let all = Level { steady: 1.0, ..hot };
    let run = |levels: &[Level]| {
        let mut path = Path::new(&strip.model, Loads { steady: &loads, driven: None }).unwrap();
        for level in levels {
            path.to_level(*level).unwrap();
        }
        strip.tip(&path)
    };
    let (a, b, c) = (run(&[hot, all]), run(&[FULL, all]), run(&[all]));
    println!("{a:?}");
    assert!(a[2].abs() > 0.2, "a large turn: {a:?}");
    for i in 0..3 {
        assert!(
            (a[i] - b[i]).abs() < 1e-9 * a[i].abs() && (a[i] - c[i]).abs() < 1e-9 * a[i].abs(),
            "{a:?} {b:?} {c:?}"
        );
    }
    // Heat alone: a circular arc of the bimetal's curvature (S. Timoshenko, J. Opt. Soc. Am. 11 (1925) 233-255).
    let tip = run(&[hot]);
    let laminate = &strip.model.laminates[0];
    let k = laminate.free_strain().unwrap()[3];
    assert!((tip[2] / (-k * 10e-3) - 1.0).abs() < 0.02, "slope {} against {}", tip[2], -k * 10e-3);
}

#[test]
fn a_strip_that_cannot_be_held_is_refused_at_rest() {
    let mut strip = Strip::new([4e-3, 1e-3], [4, 2], vec![ply(0.0, 50e-6, 4e9, 0.3)], 0.0);
    let mut soft = strip.model.laminates[0].clone();
    for m in [&mut soft.a, &mut soft.b, &mut soft.d] {
        m.fill(0.0);
    }
    soft.a = nalgebra::Matrix3::identity() * 1e-300;
    strip.model.laminates.push(soft);
    let last = strip.model.triangles.len();
    strip.model.laminate_of[last - 4..].fill(1);
    let load = strip.end_load(Vector6::new(0.0, 0.0, 1e-6, 0.0, 0.0, 0.0));
    let loads: [&dyn MovingLoad; 1] = [&load];
    let mut path = Path::new(&strip.model, Loads { steady: &loads, driven: None }).unwrap();
    let error = path.to_level(FULL).unwrap_err();
    assert!(matches!(&error, SolveError::Singular { place } if place.contains("node 1")), "{error}");
    assert_eq!(path.state().level, Level::default(), "still at rest");
}

/// A load that is a number only while the tip is low.
struct Cut(DeadLoad, u32, f64);

impl MovingLoad for Cut {
    fn forces(&self, pose: &Pose) -> Vec<Vector6<f64>> {
        let mut f = self.0.forces(pose);
        if pose.positions_m[self.1 as usize][2] > self.2 {
            // Beyond a height the load turns round: no equilibrium there.
            f.iter_mut().for_each(|f| *f *= -1.0);
        }
        f
    }
    fn stiffness(&self, _: &Pose) -> Vec<(u32, crate::element::Matrix18)> {
        Vec::new()
    }
    fn potential_j(&self, _: &Pose) -> Option<f64> {
        None
    }
}

#[test]
fn a_step_that_does_not_settle_keeps_the_last_good_state_and_tells_how_far_it_came() {
    let (length, h) = (10.0, 0.1);
    let strip = Strip::new([length, 1.0], [10, 1], vec![ply(-h / 2.0, h / 2.0, 1.2e4, 0.0)], 0.0);
    let load = strip.end_load(Vector6::new(0.0, 0.0, 0.01, 0.0, 0.0, 0.0));
    let load = Cut(load, strip.column(10).start, 1.0);
    let loads: [&dyn MovingLoad; 1] = [&load];
    let mut path = Path::new(&strip.model, Loads { steady: &loads, driven: None }).unwrap();
    let error = path.to_level(FULL).unwrap_err();
    let SolveError::Stopped { share, .. } = &error else { panic!("{error}") };
    // Tip height about k L / 3 = 1 at k = 0.3.
    assert!((0.29..0.31).contains(share), "{error}");
    let state = path.state();
    assert!((state.level.steady - share).abs() < 1e-15, "the state is that of the share");
    let height = strip.tip(&path)[1];
    assert!((0.98..=1.0).contains(&height), "last good height {height}");
    assert!(error.to_string().contains("last good state"), "{error}");
}

#[test]
fn bytes_do_not_depend_on_the_number_of_threads() {
    let run = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| {
            let h = 0.1;
            let strip = Strip::new([10.0, 1.0], [60, 10], vec![ply(-h / 2.0, h / 2.0, 1.2e4, 0.3)], 0.2);
            let load = strip.end_load(Vector6::new(0.0, 0.01, 0.05, 0.0, 0.0, 0.0));
            let loads: [&dyn MovingLoad; 1] = [&load];
            let mut path = Path::new(&strip.model, Loads { steady: &loads, driven: None }).unwrap();
            path.to_level(FULL).unwrap();
            let bits = path.pose().positions_m.iter().flat_map(|x| [0, 1, 2].map(|i| x[i].to_bits()));
            (bits.collect::<Vec<_>>(), path.state().energy_j.to_bits())
        })
    };
    let one = run(1);
    assert!(one == run(2) && one == run(3), "threads change the answer");
}

#[test]
fn riding_levers_turn_with_the_board_and_keep_their_energy() {
    let (length, h) = (10.0, 0.1);
    let strip = Strip::new([length, 1.0], [10, 2], vec![ply(-h / 2.0, h / 2.0, 1.2e4, 0.3)], 0.1);
    let end = strip.end_load(Vector6::new(0.0, 0.002, 0.03, 0.0, 0.0, 0.0));
    let levers = strip
        .column(10)
        .map(|node| Lever {
            node,
            arm_m: Vector3::new(0.1, -0.2, 0.8),
            force_n: end.nodal[node as usize].fixed_rows::<3>(0).into_owned(),
        })
        .collect();
    let load = RidingLoad::new(&strip.model, end.nodal.clone(), levers);
    // Forces are minus the gradient of the potential; the stiffness is minus the change of the forces.
    let mut pose = Pose::at_rest(&strip.model.nodes_m);
    for (n, r) in pose.rotations.iter_mut().enumerate() {
        let t = 0.1 * n as f64;
        *r = crate::element::corotational::exponential(&Vector3::new(t.sin(), t.cos(), 0.3 * t));
    }
    let f = load.forces(&pose);
    let stiffness = load.stiffness(&pose);
    let node = strip.column(10).start + 1;
    for c in 0..3 {
        let at = |step: f64| {
            let mut other = pose.clone();
            let mut spin = Vector3::zeros();
            spin[c] = step;
            let turned = crate::element::corotational::exponential(&spin) * pose.rotations[node as usize];
            other.rotations[node as usize] = turned;
            other
        };
        let step = 1e-4;
        let slope =
            (load.potential_j(&at(step)).unwrap() - load.potential_j(&at(-step)).unwrap()) / (2.0 * step);
        assert!((slope + f[node as usize][3 + c]).abs() < 1e-9, "gradient {c}: {slope}");
        let change =
            (load.forces(&at(step))[node as usize] - load.forces(&at(-step))[node as usize]) / (2.0 * step);
        let own: f64 = stiffness
            .iter()
            .filter_map(|(t, k)| {
                let corner = strip.model.triangles[*t as usize].iter().position(|&n| n == node)?;
                Some(k[(6 * corner + 3 + c, 6 * corner + 3 + c)])
            })
            .sum();
        assert!((own + change[3 + c]).abs() < 1e-9, "stiffness {c}: {own} against {}", -change[3 + c]);
    }
    // Equilibrium, and the board's energy against the load's: Clapeyron's difference by small steps of the factor.
    let loads: [&dyn MovingLoad; 1] = [&load];
    let mut path = Path::new(&strip.model, Loads { steady: &loads, driven: None }).unwrap();
    let rest = load.potential_j(path.pose()).unwrap();
    let mut work = vec![0.0];
    for i in 1..=16 {
        path.to_level(Level { steady: f64::from(i) / 16.0, ..Level::default() }).unwrap();
        work.push(rest - load.potential_j(path.pose()).unwrap());
    }
    let integral: f64 = (0..8).map(|i| (work[2 * i] + 4.0 * work[2 * i + 1] + work[2 * i + 2]) / 48.0).sum();
    let energy = path.state().energy_j;
    assert!(strip.tip(&path)[2] > 0.5, "a large turn");
    assert!(((work[16] - integral) / energy - 1.0).abs() < 1e-4, "{} against {energy}", work[16] - integral);
}

#[test]
fn a_roof_stops_at_its_limit_load_and_a_state_beyond_the_snap_does_not_lead_back() {
    // Hinged shallow roof, a quarter of it: limit load 0.74112 P0 by an independent spline shell (K. Y. Sze, X. H. Liu,
    // S. H. Lo, Finite Elem. Anal. Des. 40 (2004) 1551-1569, section 3.7).
    let n = 12;
    let mut model = Model::plate([0.0, 0.0], [1.0, 1.0], [n, n], vec![ply(-6.35, 6.35, 3102.75, 0.3)]);
    for p in &mut model.nodes_m {
        let (sin, cos) = (0.1 * p[0]).sin_cos();
        *p = [2540.0 * sin, 254.0 * p[1], 2540.0 * cos];
    }
    let mut hold = |node: u32, components: &[usize]| {
        components.iter().for_each(|&c| model.freedoms.hold(node, c, 0.0));
    };
    (0..=n).for_each(|crown| hold(crown, &[0, 4, 5]));
    (0..=n).for_each(|i| hold(i * (n + 1), &[1, 3, 5]));
    (n * (n + 1)..(n + 1) * (n + 1)).for_each(|foot| hold(foot, &[0, 1, 2]));
    let mut load = DeadLoad { nodal: vec![Vector6::zeros(); model.nodes_m.len()] };
    load.nodal[0][2] = -0.25 * 3000.0;
    let steady: [&dyn MovingLoad; 1] = [&load];
    let mut path = Path::new(&model, Loads { steady: &steady, driven: None }).unwrap();
    path.to_level(Level { steady: 0.7, ..Level::default() }).unwrap();
    let Err(SolveError::Stopped { share, .. }) = path.to_level(Level { steady: 0.85, ..Level::default() })
    else {
        panic!("no state near by beyond the limit load")
    };
    let limit = 0.7 + share * 0.15;
    println!("limit load {limit}");
    assert!((limit / 0.74112 - 1.0).abs() < 5e-3, "limit load {limit}");
    // By the depth of the crown one comes past the limit, to states with the same loads as some before.
    let mut path = Path::new(&model, Loads { steady: &[], driven: Some(&load) }).unwrap();
    let rest_m = Vector3::from(model.nodes_m[0]);
    let depth = NodeDisplacement { node: 0, rest_m, direction: -Vector3::z() };
    let mut marks = Vec::new();
    for k in 0..=14 {
        path.to_measure(&depth, 2.0 * f64::from(k)).unwrap();
        marks.push(path.mark());
    }
    let load_at = |k: usize| marks[k].level().driven;
    assert!(load_at(3) < load_at(13) && load_at(13) < load_at(14), "{:?}", load_at(13));
    assert!(path.leads_back_to(&marks[13]), "further down on the same branch");
    assert!(!path.leads_back_to(&marks[3]), "the load taken back leaves the roof turned inside out");
    path.back_to(&marks[4]);
    assert!(path.leads_back_to(&marks[2]), "before the limit the roof comes back");
}
