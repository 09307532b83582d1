//! The driven swing of whole boards: slow drive against statics, eddy currents, supplies, refusals, measured decays.

use crate::runs::{Scratch, arg, run};
use copperbend_mesh::board::{Board, understand};
use copperbend_solver::bend::{BendOptions, Quiet, bend};
use copperbend_solver::driven::{DriveOptions, InTime, drive};
use copperbend_solver::natural::{NaturalOptions, natural_modes};
use copperbend_solver::result::{DriveAnswer, DriveReport};

const VANE: &str = include_str!("../../examples/one_arm_vane/design.toml");

/// Coarse triangles: a run takes a moment.
const COARSE: &str = "[mesh]\nacross_arm = 4\nmax_refinements = 0";

/// The one-arm vane with pieces replaced and lines added at the end.
fn vane(replace: &[(&str, &str)], more: &str) -> Board {
    let mut text = VANE.to_owned();
    for (from, to) in replace {
        assert!(text.contains(from), "'{from}' is not in the example");
        text = text.replacen(from, to, 1);
    }
    understand("design.toml", &format!("{text}\n{COARSE}\n{more}\n")).unwrap()
}

fn report(board: &Board) -> DriveReport {
    drive(board, &DriveOptions::default(), &mut Quiet).unwrap()
}

fn answer(board: &Board) -> DriveAnswer {
    report(board).answers.remove(0)
}

fn share(answer: &DriveAnswer, name: &str) -> f64 {
    answer.damping.iter().find(|d| d.name == name).map_or(0.0, |d| d.ratio)
}

const WEIGHTLESS: (&str, &str) = ("[gravity]\ndirection = [1, 0, 0]", "");
const CURRENT: &str = "current = \"8 mA\"";

/// A drive near frequency zero is statics: the swing of a small current is the linear flap angle of `bend`, and a steady
/// current with hardly any alternating part holds the flap where the large-motion path of `bend` finds it.
#[test]
fn a_slow_drive_meets_statics() {
    let slow = "from = \"0.05 Hz\"\nto = \"0.1 Hz\"\npoints = 2";
    let options = BendOptions { refine: false, modulus_span: false, ..BendOptions::default() };
    let small = format!("current = \"0.2 mA\"\n{slow}");
    let board = vane(&[(CURRENT, &small), WEIGHTLESS], "");
    let linear = bend(&board, &options, &mut Quiet).unwrap().answers[0].loaded.flap_angle_rad.unwrap();
    let driven = answer(&board);
    let swing = driven.sweep[0].swing_rad;
    assert!((swing / linear.abs() - 1.0).abs() < 2e-3, "{swing:e} against {linear:e}");
    assert!(driven.sweep[0].lag_rad < 1e-3 && driven.sweep[0].stable == Some(true), "{:?}", driven.sweep[0]);
    // Steady 8 mA: the torque changes by some tens of per cent on the way.
    let held = format!("current = \"0.01 mA\"\noffset = \"8 mA\"\nswing = \"6 deg\"\n{slow}");
    let mean = answer(&vane(&[(CURRENT, &held), WEIGHTLESS], "")).sweep[0].mean_rad;
    let board = vane(&[WEIGHTLESS], "[swing]\nsteps = 1");
    let swung = bend(&board, &options, &mut Quiet).unwrap().answers.remove(0).swing.unwrap();
    let at = swung.by_current.iter().find(|s| s.current_a > 7e-3).unwrap().angle_rad;
    assert!((mean / at - 1.0).abs() < 2e-3, "{mean:e} against {at:e}");
}

/// A drive at frequency zero is the slow cycle: its ends are the balances that a steady current of either sign holds, and a
/// very low frequency comes to the same. A current that pulls the flap in says so and keeps the other rows.
#[test]
fn a_drive_at_frequency_zero_is_the_slow_cycle() {
    let zero = "current = \"2 mA\"\nfrom = \"0 Hz\"\nto = \"0.04 Hz\"\npoints = 3";
    let own = answer(&vane(&[(CURRENT, zero), WEIGHTLESS], ""));
    let hertz: Vec<f64> = own.sweep.iter().filter(|r| r.asked).map(|r| r.frequency_hz).collect();
    assert!(
        hertz.len() == 3 && hertz.iter().zip([0.0, 0.02, 0.04]).all(|(a, b)| (a - b).abs() < 1e-12),
        "{hertz:?}"
    );
    let [slow, low] = [&own.sweep[0], &own.sweep[1]];
    assert!(
        (slow.swing_rad / low.swing_rad - 1.0).abs() < 1e-3,
        "{} against {}",
        slow.swing_rad,
        low.swing_rad
    );
    assert!(
        (slow.strain_range / low.strain_range - 1.0).abs() < 1e-2,
        "{} {}",
        slow.strain_range,
        low.strain_range
    );
    assert!(slow.lag_rad < 1e-6 && slow.stable == Some(true) && own.slow_lost.is_none(), "{slow:?}");
    let options = BendOptions { refine: false, modulus_span: false, ..BendOptions::default() };
    let board = vane(&[(CURRENT, "current = \"2 mA\""), WEIGHTLESS], "[swing]\nsteps = 1");
    let swung = bend(&board, &options, &mut Quiet).unwrap().answers.remove(0).swing.unwrap();
    for (sign, extreme) in [(-1.0, slow.extremes_rad[0]), (1.0, slow.extremes_rad[1])] {
        let near =
            swung.by_current.iter().find(|s| s.angle_rad * sign > 0.0 && s.current_a.abs() > 1.9e-3).unwrap();
        assert!((extreme / near.angle_rad - 1.0).abs() < 3e-3, "{extreme} against {}", near.angle_rad);
    }
    let hard = "current = \"80 mA\"\nfrom = \"0 Hz\"\nto = \"200 Hz\"\npoints = 3";
    let pulled = answer(&vane(&[(CURRENT, hard), WEIGHTLESS], ""));
    assert!(pulled.slow_lost.as_ref().is_some_and(|w| w.contains("pulled in")), "{:?}", pulled.slow_lost);
}

/// The example at a quarter of its current: its energy closes, time agrees, and everything has a place.
#[test]
fn the_example_swings() {
    let board = vane(&[(CURRENT, "current = \"2 mA\"")], "");
    let report = report(&board);
    let own = &report.answers[0];
    assert!(own.sweep_lost.is_none() && own.swing.energy_gap < 1e-3, "{:?}", own.swing);
    assert!(own.time_check.unwrap() < 5e-3, "steps in time leave by {:?}", own.time_check);
    let f = own.swing.frequency_hz;
    // Common practice, no source: a flap of some square centimetres on narrow arms is usable to about 10 to 25 Hz.
    assert!((8.0..25.0).contains(&f), "{f} Hz");
    // The vane hangs: its weight stiffens the swing. The same state by the natural modes, on a mesh of their own.
    let options = NaturalOptions { count: 1, ..NaturalOptions::default() };
    let natural =
        natural_modes(&board, &options, &mut Quiet).unwrap().answers.remove(0).modes[0].frequency_hz;
    assert!((f / natural - 1.0).abs() < 3e-3, "{f} Hz against {natural} Hz");
    assert!((1.01..1.06).contains(&(f / own.swing.flat_frequency_hz)), "{:?}", own.swing);
    let half = &own.half_frequency;
    assert!(half.epsilon < half.threshold && half.found_hz.is_none(), "{half:?}");
    let peak = &own.sweep[own.peak.unwrap()];
    assert!(
        !peak.beyond && peak.strain_range > 0.0 && peak.strain_range_error.is_some_and(|e| e > 0.0),
        "{peak:?}"
    );
    assert!(own.swing.stops[0].contains("drive magnet"), "{:?}", own.swing);
    assert!(own.usable.frequency_hz.is_some_and(|u| u > f), "{:?}", own.usable);
    assert!(own.usable.binds.contains("swing reached"), "{:?}", own.usable);
    assert!(
        own.levels.len() >= 10 && own.levels.windows(2).all(|w| w[0].swing_rad < w[1].swing_rad),
        "levels"
    );
    let [more, less] = own.peak_bracket_rad.unwrap();
    assert!(
        more > peak.swing_rad * 0.999 && less < peak.swing_rad * 1.001,
        "{more} {less} {}",
        peak.swing_rad
    );
    assert_eq!(own.spots[0].rank, 1, "spots");
}

/// The example at its full current, driven at resonance, would strike the magnet: the torque that changes with the angle
/// makes half-frequency motion, the steady motion runs away beyond contact, and the answer says so and keeps its rows.
#[test]
fn the_example_driven_too_hard_says_so() {
    let report = report(&vane(&[], ""));
    let own = &report.answers[0];
    assert!(own.half_frequency.epsilon > own.half_frequency.threshold, "{:?}", own.half_frequency);
    assert!(own.sweep.iter().any(|r| r.beyond), "no row beyond contact");
    assert!(own.sweep_lost.is_some() && own.sweep.len() >= 10, "{:?}", own.sweep_lost);
    assert!(own.usable.frequency_hz.is_some_and(|u| u < own.swing.frequency_hz), "{:?}", own.usable);
    assert!(own.usable.binds.contains("lost there"), "{:?}", own.usable);
    let why = own.sweep_lost.as_ref().unwrap();
    assert!(why.contains("has struck") && why.contains("drive magnet") && why.contains(" deg"), "{why}");
    for place in ["half frequency", "swing", "sweep over frequency"] {
        assert!(report.warnings.iter().any(|w| w.place == place), "{place}: {:?}", report.warnings);
    }
}

/// An aluminium plate on the vane: eddy damping as an independent finite-difference solution gives it, many times that of
/// the arms; a tenfold worse conductor damps a tenth.
#[test]
fn an_aluminium_plate_damps_by_eddy_currents() {
    let plate = |material: &str| {
        format!(
            "[[stiffener]]\nname = \"back\"\nshape = \"stiff\"\nside = \"below\"\nmaterial = \"{material}\"\n\
             thickness = \"0.3 mm\"\nbond = \"bonded\"\ntape = {{ material = \"bond_film_thermoset\", thickness = \"25 um\" }}"
        )
    };
    let slow = "current = \"0.5 mA\"\npoints = 2";
    let driven = |material: &str| answer(&vane(&[(CURRENT, slow), WEIGHTLESS], &plate(material)));
    let aluminium = driven("aluminium_5052");
    let w = std::f64::consts::TAU * aluminium.swing.frequency_hz;
    let c = share(&aluminium, "eddy currents") * 2.0 * w * aluminium.swing.inertia_kg_m2;
    // The same sheet (15.6 x 14 mm with its 3 mm hole, corners sharp) apart from this program: stream function on a grid
    // of 160 x 140 by finite differences, disc field by quadrature over its pole faces, turning stiffly about x = 3.96 mm,
    // the centre of an arm of 9 mm pushed 8 mm beyond its end.
    let apart = 2.358e-7;
    assert!((c / apart - 1.0).abs() < 0.03, "{c:e} N m s against {apart:e}");
    let eddy = share(&aluminium, "eddy currents");
    assert!(eddy > 3.0 * share(&aluminium, "arms"), "{:?}", aluminium.damping);
    let steel = driven("stainless_304");
    let per = |a: &DriveAnswer, rho: f64| {
        share(a, "eddy currents") * a.swing.frequency_hz * a.swing.inertia_kg_m2 * rho
    };
    let ratio = per(&steel, 7.2e-7) / per(&aluminium, 4.99e-8);
    assert!((ratio - 1.0).abs() < 0.02, "damping goes with the conductivity: {ratio}");
}

/// A voltage drives: the motion's induced voltage damps with K^2 / R, so the resonance is lower than with the same
/// current forced.
#[test]
fn a_voltage_is_damped_by_what_it_induces() {
    let near = "from = \"12 Hz\"\nto = \"17 Hz\"\npoints = 12\n";
    let forced = answer(&vane(&[(CURRENT, &format!("current = \"0.5 mA\"\n{near}")), WEIGHTLESS], ""));
    let resistance = forced.source.resistance_ohm.unwrap();
    let volts = format!("current = \"0.5 mA\"\nvoltage = \"{:.6} mV\"\n{near}", 0.5 * resistance);
    let driven = answer(&vane(&[(CURRENT, &volts), WEIGHTLESS], ""));
    let swing = &driven.swing;
    let w = std::f64::consts::TAU * swing.frequency_hz;
    let want = swing.torque_nm_per_a.powi(2) / resistance / (2.0 * w * swing.inertia_kg_m2);
    let got = share(&driven, "induced voltage");
    assert!((got / want - 1.0).abs() < 0.02, "{got:e} against {want:e}");
    let top = |a: &DriveAnswer| a.sweep[a.peak.unwrap()].swing_rad;
    assert!(top(&driven) < 0.97 * top(&forced), "{} against {}", top(&driven), top(&forced));
}

/// Two roads to one swing: driven from rest for many periods the steps in time end in the steady swing of the harmonic
/// balance; left alone the swing then dies out. A shock through the holder turns the flap by what its impulse gives:
/// the angle tells a centre of percussion that must lie inside the vane, beyond its middle seen from mid-arm.
#[test]
fn start_stop_and_shock_in_time() {
    let near = "current = \"0.5 mA\"\nfrom = \"12 Hz\"\nto = \"17 Hz\"\npoints = 8";
    let board = vane(&[(CURRENT, near), WEIGHTLESS], "");
    let (peak_m_s2, duration_s) = (20.0, 1e-3);
    let wishes = [InTime::StartStop { periods: 50 }, InTime::Shock { peak_m_s2, duration_s }];
    let options = DriveOptions { in_time: wishes.to_vec(), ..DriveOptions::default() };
    let own = drive(&board, &options, &mut Quiet).unwrap().answers.remove(0);
    let steady = own.sweep[own.peak.unwrap()].swing_rad;
    let trace = &own.traces[0];
    let between = |from: f64, to: f64| {
        let part = trace
            .points
            .iter()
            .filter(|p| p.time_s * trace.frequency_hz >= from && p.time_s * trace.frequency_hz < to);
        let [low, high] = part
            .fold([f64::INFINITY, f64::NEG_INFINITY], |[l, h], p| [l.min(p.angle_rad), h.max(p.angle_rad)]);
        0.5 * (high - low)
    };
    assert!((between(48.0, 49.9) / steady - 1.0).abs() < 0.01, "{} against {steady}", between(48.0, 49.9));
    assert!(between(0.0, 1.5) < 0.5 * steady && between(95.0, 97.0) < 0.05 * steady, "grows and dies out");
    // Half-sine: change of velocity 2 a T / pi. Free swing from it: angle = m r dv / (I w).
    let speed = 2.0 * peak_m_s2 * duration_s / std::f64::consts::PI;
    let w = std::f64::consts::TAU * own.swing.frequency_hz;
    // Point mass at the lever that gives both: m r / I = 1 / r_c, r_c the centre of percussion, some 13 to 15 mm here.
    let lever = speed / (w * own.traces[1].largest_rad);
    assert!((11e-3..16e-3).contains(&lever), "centre of percussion at {lever} m");
}

/// A magnet beside the middle rolls the vane; mirrored it rolls the other way by as much.
#[test]
fn a_load_beside_the_middle_rolls() {
    let moved = |y: &str| {
        let centre = format!("centre = [\"17.5 mm\", \"{y}\", \"-4 mm\"]");
        let slow = (CURRENT, "current = \"0.5 mA\"\npoints = 2");
        answer(&vane(&[slow, ("centre = [\"17.5 mm\", \"0 mm\", \"-4 mm\"]", &centre)], ""))
    };
    let [left, middle, right] = ["1 mm", "0 mm", "-1 mm"].map(moved);
    let roll = |a: &DriveAnswer| a.sweep[0].roll_rad / a.sweep[0].swing_rad;
    assert!(roll(&left) > 30.0 * roll(&middle), "{:e} against {:e}", roll(&left), roll(&middle));
    assert!((roll(&left) / roll(&right) - 1.0).abs() < 0.02, "{:e} against {:e}", roll(&left), roll(&right));
}

/// What cannot be driven is refused with a remedy.
#[test]
fn what_cannot_be_driven_is_refused() {
    let magnet = &VANE[VANE.find("[[magnet]]").unwrap()..VANE.find("[gravity]").unwrap()];
    let flap = "[flap]\nshape = \"stiff\"";
    for (from, to, words) in [
        (magnet, "", "no magnet"),
        (CURRENT, "current = \"0 mA\"", "the drive current is 0"),
        (flap, "", "no flap"),
    ] {
        let error =
            drive(&vane(&[(from, to)], ""), &DriveOptions::default(), &mut Quiet).unwrap_err().to_string();
        assert!(error.contains(words) && error.contains(';'), "{error}");
    }
    // A frequency below zero and a sweep that runs backwards are faults of the file, with their lines.
    let text = VANE.replacen(CURRENT, "current = \"8 mA\"\nfrom = \"-1 Hz\"", 1);
    let faults = understand("design.toml", &text).unwrap_err().to_string();
    assert!(faults.contains("`from` is outside the range") && faults.contains("Hz"), "{faults}");
    let text =
        VANE.replacen(CURRENT, "current = \"8 mA\"\nfrom = \"20 Hz\"\nto = \"5 Hz\"\nwave = \"saw\"", 1);
    let faults = understand("design.toml", &text).unwrap_err().to_string();
    assert!(faults.contains("`to` must lie above `from`") && faults.contains("square"), "{faults}");
}

/// The program writes table, file and picture, the same bytes for any number of threads.
#[test]
fn the_verb_writes_the_same_for_any_number_of_threads() {
    let scratch = Scratch::new("drive");
    let text = format!("{VANE}\n{COARSE}\n").replacen(CURRENT, "current = \"1 mA\"\npoints = 5", 1);
    let design = scratch.file("vane.toml", &text);
    let go = |threads: &str, out: &str| {
        let folder = scratch.path(out);
        let ended = run(&[
            "drive",
            arg(&design),
            "--out",
            arg(&folder),
            "--threads",
            threads,
            "--start",
            "3",
            "--shock",
            "-20,1",
        ]);
        assert_eq!(ended.code, Some(0), "{}", ended.err);
        (
            ended.out,
            std::fs::read(folder.join("motions.csv")).unwrap(),
            std::fs::read(folder.join("response.png")).unwrap(),
        )
    };
    let (one, two) = (go("1", "one"), go("2", "two"));
    assert!(one.1 == two.1 && one.2 == two.2, "bytes differ");
    for words in
        ["natural frequency", "eddy currents", "usable to", "two flexes", "Steady swing over strength"]
    {
        assert!(one.0.contains(words), "'{words}' is missing:\n{}", one.0);
    }
    let traces = std::fs::read_to_string(scratch.path("one").join("in_time.csv")).unwrap();
    assert!(traces.contains("start and stop") && traces.contains("shock"), "both traces");
    let csv = String::from_utf8(one.1).unwrap();
    assert!(csv.lines().next().unwrap().contains("swing_deg") && csv.lines().count() > 14, "{csv}");
}

/// A decay as a recorder writes it is fitted; faults are told with their lines, all of them.
#[test]
fn measured_decays_are_fitted_and_faults_told() {
    let scratch = Scratch::new("damping");
    let mut text = String::from("time_ms;angle_deg\n# released by hand\n");
    let (f, zeta) = (13.7_f64, 0.018_f64);
    for i in 0..1200 {
        let t = f64::from(i) * 1e-3;
        let w = std::f64::consts::TAU * f;
        let angle = 8.0 * (-zeta * w * t).exp() * ((1.0 - zeta * zeta).sqrt() * w * t).cos() + 0.5;
        text.push_str(&format!("{};{angle:.6}\n", f64::from(i)));
    }
    let good = scratch.file("decay.csv", &text);
    let ended = run(&["damping", arg(&good)]);
    let screen = ended.out;
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    assert!(screen.contains("13.70") && screen.contains("0.0180"), "{screen}");
    let refused = |name: &str, text: &str, words: &[&str]| {
        let path = scratch.file(name, text);
        let ended = run(&["damping", arg(&path)]);
        assert_eq!(ended.code, Some(2), "{name}: {}", ended.out);
        let error = ended.err;
        for word in words {
            assert!(error.contains(word), "{name}: '{word}' is missing: {error}");
        }
    };
    refused("empty.csv", "", &["empty.csv:1", "no table", "time_s,angle_deg"]);
    refused("head.csv", "time_s,angle_deg\n", &["no rows"]);
    refused("units.csv", "t,x\n1,2\n", &["units.csv:1", "does not say"]);
    refused(
        "broken.csv",
        "time_s,angle_deg\n0,1\n0.1,nan\n0.05,x\n0.3\n0,3\n",
        &["broken.csv:3", "broken.csv:4", "broken.csv:5", "broken.csv:6", "does not rise"],
    );
    refused("flat.csv", "time_s,angle_deg\n0,1\n1,1\n2,1\n", &["only 3 samples"]);
    refused(
        "flank.csv",
        "frequency_hz,swing_deg\n1,1\n2,2\n3,3\n4,4\n5,5\n6,6\n7,7\n",
        &["hold no resonance"],
    );
    let binary = scratch.path("binary.csv");
    std::fs::write(&binary, [0xff, 0xfe, 0x00, 0x01]).unwrap();
    let ended = run(&["damping", arg(&binary)]);
    assert!(ended.code == Some(2) && ended.err.contains("UTF-8"), "{}", ended.err);
}
