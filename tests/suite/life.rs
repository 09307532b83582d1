//! Life, tests and rigs over the whole path: the loop of a board, the verbs' screens, and every bad table.

use crate::runs::{Ended, Scratch, arg, example, names_in, run};
use copperbend_mesh::board::understand;
use copperbend_solver::bend::{BendOptions, CycleWish, Quiet, bend};
use copperbend_solver::copper::Curve;
use copperbend_solver::result::{BendAnswer, CycleAnswer};

const VANE: &str = include_str!("../../examples/one_arm_vane/design.toml");

fn looped(wish: CycleWish) -> (BendAnswer, CycleAnswer) {
    let board = understand("design.toml", &format!("{VANE}\n[swing]\nsteps = 1\n")).unwrap();
    let options =
        BendOptions { refine: false, modulus_span: false, cycle: Some(wish), ..BendOptions::default() };
    let mut answer = bend(&board, &options, &mut Quiet).unwrap().answers.remove(0);
    let cycle = answer.cycle.take().expect("a loop");
    assert!(cycle.stopped.is_empty(), "{}", cycle.stopped);
    (answer, cycle)
}

/// The example's small swing never yields: the loop must be the elastic swing, with no set.
#[test]
fn a_loop_without_yield_is_the_elastic_swing() {
    let (answer, cycle) = looped(CycleWish { steps: 1, ..CycleWish::default() });
    let swing = answer.swing.expect("a swing");
    let ends = [swing.by_current.first(), swing.by_current.last()].map(|s| s.expect("states").angle_rad);
    for (found, want) in cycle.steady_ends_rad.iter().zip(ends) {
        assert!((found - want).abs() < 1e-7, "{found} against {want}");
    }
    assert!(cycle.shakes_down && cycle.yielded_triangles == 0, "{cycle:?}");
    assert_eq!(
        (cycle.plastic_work_j, cycle.loop_yielding_triangles),
        ([0.0; 2], 0),
        "no plastic work at all"
    );
    assert!(cycle.elastic_work_j > 0.0, "{cycle:?}");
    assert!(cycle.first_set_rad.abs() < 1e-9 && (cycle.rest_after_rad - cycle.rest_before_rad).abs() < 1e-9);
    let (own, plain) = (&cycle.spots[0].spot, &swing.spots[0]);
    assert_eq!((own.x_m, own.y_m), (plain.x_m, plain.y_m), "the same worst spot");
    assert!((own.range / plain.range - 1.0).abs() < 0.02, "{} against {}", own.range, plain.range);
}

/// Copper so soft that the small swing yields: a set in the sense of the first bend, a softer steady loop, and a rest
/// angle that keeps some of it.
#[test]
fn soft_copper_takes_a_set() {
    let soft = Curve::Bilinear { modulus_pa: 117e9, yield_pa: 2e6, hardening_pa: 5e9 };
    let wish = CycleWish { first: Some(soft.clone()), cyclic: Some(soft), angle_rad: None, steps: 2 };
    let (answer, cycle) = looped(wish);
    let elastic = answer.swing.expect("a swing").by_current.last().expect("states").angle_rad;
    assert!(cycle.yielded_triangles > 0 && !cycle.shakes_down, "{cycle:?}");
    let [bend, steady] = cycle.plastic_work_j;
    assert!(bend > 0.0 && steady > 0.0 && cycle.loop_yielding_triangles > 0, "{cycle:?}");
    assert!(steady < 4.0 * cycle.elastic_work_j, "{steady} J against {} J", cycle.elastic_work_j);
    let first = cycle.first_top_rad - cycle.rest_before_rad;
    assert!(cycle.first_set_rad / first > 0.01, "set {} of {first}", cycle.first_set_rad);
    assert!(first > elastic - cycle.rest_before_rad, "soft copper bends further: {first} {elastic}");
    assert!(cycle.loop_change_rad.abs() < 0.05 * first, "the loop closes: {}", cycle.loop_change_rad);
    let half = cycle.range_at(&cycle.spots[0], 0.5 * cycle.currents_a[1], false).expect("inside");
    let share = half / cycle.spots[0].spot.range;
    assert!(share > 0.3 && share < 0.7, "half the current, {share} of the strain");
    assert!(cycle.range_at(&cycle.spots[0], 2.0 * cycle.currents_a[1], false).is_none(), "beyond the loop");
}

#[test]
fn the_screen_of_life_says_cycles_flexes_hours_and_what_it_rests_on() {
    let scratch = Scratch::new("life");
    let out = scratch.path("out");
    let design = example("one_arm_vane");
    let ended = run(&["life", arg(&design), "--one-mesh", "--frequency", "25", "--out", arg(&out)]);
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    for words in [
        "flexes (2 per cycle)",
        "10 % failed",
        "half failed",
        "hours at 25 Hz",
        "no tested sample",
        "extrapolated",
        "rest after power-off",
        "no better than a decade",
        "Prior:",
        "creep",
        "shakes down",
        "Mean stress by spot",
        "Morrow",
        "Smith-Watson-Topper",
        "Life over drive frequency at the computed swing held",
        "rests on",
        "speed not compared",
    ] {
        assert!(ended.out.contains(words), "'{words}' is missing:\n{}", ended.out);
    }
    let names = names_in(&out);
    for name in [
        "life.csv",
        "life_map_copper_top.png",
        "life_over_speed.csv",
        "life_over_speed.png",
        "life_over_swing.csv",
        "life_over_swing.png",
        "results.json",
    ] {
        assert!(names.iter().any(|n| n == name), "{name} is missing: {names:?}");
    }
}

fn refused(ended: &Ended, parts: &[&str]) {
    assert_eq!(ended.code, Some(2), "{}{}", ended.out, ended.err);
    for part in parts {
        assert!(ended.err.contains(part), "'{part}' is missing in {}", ended.err);
    }
}

#[test]
fn bad_tables_of_life_are_refused_before_anything_is_computed() {
    let scratch = Scratch::new("life-tables");
    let design = example("one_arm_vane");
    let table = |name: &str, text: &str| scratch.file(name, text);
    let life = |option: &str, path: &std::path::Path| run(&["life", arg(&design), option, arg(path)]);
    let bad = table(
        "samples.csv",
        "sample,flexes,outcome,x_mm,y_mm,layer\na,-5,failed,,,\nb,1e6,broken,,,\nc,1e6,failed,99,0,copper top\n\
         d,1e6,survived,1,0,copper top\ne,,failed,,,\n",
    );
    let ended = life("--samples", &bad);
    refused(
        &ended,
        &[
            ":2: flexes '-5'",
            ":3: outcome 'broken'",
            ":4: x_mm '99'",
            "off the board",
            ":5: outcome",
            ":6: flexes",
        ],
    );
    let empty = table("duties.csv", "angle_deg,frequency_hz,hours\n");
    refused(&life("--duties", &empty), &["the duty list is empty", "at least one line"]);
    let off = table("places.csv", "sample,x_mm,y_mm,layer\na,-99,0,copper top\n");
    refused(&life("--places", &off), &[":2: x_mm '-99'", "off the board"]);
    let layer = table("layer.csv", "sample,x_mm,y_mm,layer\na,1,0,gold\nb,1,0,\n");
    refused(&life("--places", &layer), &["'gold': is no copper layer", "say which copper layer"]);
    let curve = table("curve.csv", "strain_um_per_m,stress_mpa\n500,50\n400,60\n");
    refused(&life("--curve", &curve), &["row 2", "rising"]);
    refused(&life("--samples", &scratch.path("nowhere.csv")), &["nowhere.csv"]);
}

/// NIST/SEMATECH e-Handbook 8.4.1.3 through the program.
#[test]
fn reliability_reads_lives_and_tells_the_handbooks_answer() {
    let scratch = Scratch::new("reliability");
    let mut text = String::from("sample,hours,outcome\n");
    for t in [54, 187, 216, 240, 244, 335, 361, 373, 375, 386] {
        text.push_str(&format!("u,{t},failed\n"));
    }
    text.push_str(&"u,500,survived\n".repeat(10));
    let lives = scratch.file("lives.csv", &text);
    let out = scratch.path("out");
    let ended = run(&["reliability", arg(&lives), "--out", arg(&out), "--shape", "2", "--parts", "2"]);
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    for words in ["1.7208", "606.53", "0.90565 to 2.8857", "2 parts in series", "shape 2 assumed"] {
        assert!(ended.out.contains(words), "'{words}' is missing:\n{}", ended.out);
    }
    assert_eq!(names_in(&out), ["probability.png", "results.json"], "files");
}

#[test]
fn lives_that_prove_little_are_told_and_bad_ones_refused() {
    let scratch = Scratch::new("lives");
    let fit = |name: &str, text: &str| {
        let lives = scratch.file(name, text);
        run(&["reliability", arg(&lives), "--shape", "2", "--confidence", "0.9"])
    };
    let none = fit("none.csv", &format!("flexes,outcome\n{}", "1e8,survived\n".repeat(20)));
    assert_eq!(none.code, Some(0), "{}", none.err);
    assert!(
        none.out.contains("none of 20 samples failed") && none.out.contains("89.1 % survive"),
        "{}",
        none.out
    );
    assert!(none.out.contains("2.9472e8"), "scale by the survivors alone: {}", none.out);
    let once = fit("once.csv", &format!("flexes,outcome\n{}", "3e7,failed\n".repeat(8)));
    assert_eq!(once.code, Some(0), "{}", once.err);
    assert!(once.out.contains("all 8 failures share one time"), "{}", once.out);
    refused(
        &fit("times.csv", "flexes,outcome\n-3,failed\n,failed\n"),
        &[":2: flexes", ":3: flexes", "missing"],
    );
    refused(&fit("mixed.csv", "flexes,hours,outcome\n1e6,5,failed\n"), &["mixed units are not guessed"]);
    refused(&fit("empty.csv", "flexes,outcome\n"), &["no sample"]);
}

/// Life at the swing that the drive makes: the table with what each speed rests on, the highest speed for the wanted
/// flexes, levels with their samples.
#[test]
fn life_over_speed_follows_the_drive() {
    let scratch = Scratch::new("life-driven");
    let out = scratch.path("out");
    let design = scratch.file("weak.toml", &VANE.replace("current = \"8 mA\"", "current = \"1 mA\""));
    let samples = scratch.file(
        "samples.csv",
        "sample,angle_deg,frequency_hz,flexes,outcome,x_mm,y_mm,layer\nA,2,18,3e8,failed,17,5.5,copper top\n",
    );
    // The crack of sample A again, and one more.
    let places =
        scratch.file("places.csv", "sample,x_mm,y_mm,layer\nA,17,5.5,copper top\nB,-0.4,0.25,copper top\n");
    let ended = run(&[
        "life",
        arg(&design),
        "--one-mesh",
        "--driven",
        "--angle",
        "8",
        "--flexes",
        "1e9",
        "--samples",
        arg(&samples),
        "--places",
        arg(&places),
        "--use-angle",
        "5",
        "--frequency",
        "18",
        "--test-days",
        "40",
        "--out",
        arg(&out),
    ]);
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    for words in [
        "at the swing that the drive makes there",
        "90 % survive 1.00e9 flexes",
        "lower bound",
        "Its samples: most at the lowest level",
        "failures expected",
        "exponent",
        "sample A lies within 0.500 mm of none of the spots",
        "1 of 2 cracks lie within 0.500 mm",
    ] {
        assert!(ended.out.contains(words), "'{words}' is missing:\n{}", ended.out);
    }
    let table = std::fs::read_to_string(out.join("life_over_speed.csv")).expect("a table");
    let rows = |kind: &str| table.lines().filter(|l| l.starts_with(kind)).count();
    assert!(rows("held,") == 12 && rows("driven,") > 20, "{table}");
    let cells = table.lines().next().expect("a heading").split(',').count();
    assert!(table.lines().all(|l| l.split(',').count() == cells || l.contains('"')), "{table}");
}

#[test]
fn plans_say_samples_days_and_what_failures_prove() {
    let ended = run(&[
        "plan",
        "--flexes",
        "1e8",
        "--frequency",
        "16",
        "--samples",
        "20",
        "--predicted-flexes",
        "3e8",
        "--day-cost",
        "7",
        "--start",
        "2026-12-01",
    ]);
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    for words in [
        "22",
        "at least 89.1 % survive",
        "at least 81.9 % survive",
        "Stop rule",
        "fuse",
        "chance of success",
        "after days",
        // 1e8 flexes at 16 Hz are 36.17 days; 22 samples on 20 places take two turns of it: day 72.3.
        "Wed 2027-01-06",
        "Thu 2027-02-11",
    ] {
        assert!(ended.out.contains(words), "'{words}' is missing:\n{}", ended.out);
    }
    for wrong in [["--confidence", "1.5"], ["--start", "2026-02-30"]] {
        let bad = run(&[&["plan", "--flexes", "1e8", "--frequency", "16"][..], &wrong[..]].concat());
        assert_eq!(bad.code, Some(2), "{}", bad.out);
    }
}

/// A made-up log: one sample breaks, one drifts by half a per cent, the log ends in the middle of a line.
#[test]
fn a_rig_log_gives_lives_and_alarms() {
    let scratch = Scratch::new("rig");
    let mut text = String::from("time_min,sample,voltage_v,current_ma,temperature_degc,frequency_hz\n");
    for k in 0..3000 {
        let t = 25.0 + 6.0 * (f64::from(k) / 229.0).sin();
        for sample in ["A", "B", "C"] {
            let worn = if sample == "B" && k > 1500 { 1.006 } else { 1.0 };
            let r = 6.0 * worn * (1.0 + 0.00393 * (t - 20.0));
            let current = if sample == "C" && k > 2000 { 0.0 } else { 60.0 };
            text.push_str(&format!("{k},{sample},{:.6},{current},{t:.3},16\n", 0.06 * r));
        }
    }
    text.push_str("3000,A,0.3");
    let log = scratch.file("log.csv", &text);
    let out = scratch.path("out");
    let ended = run(&["rig", arg(&log), "--out", arg(&out)]);
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    for words in ["3 samples, 1 failed", "drift", "failed at 33.35 h", "stops in the middle of line 9002"] {
        assert!(ended.out.contains(words), "'{words}' is missing:\n{}", ended.out);
    }
    let lives = std::fs::read_to_string(out.join("lives.csv")).expect("lives");
    assert!(lives.contains("A,5758080,survived") && lives.contains(",failed"), "{lives}");
    let fits = run(&["reliability", arg(&out.join("lives.csv"))]);
    assert_eq!(fits.code, Some(0), "the lives are ready for the fit: {}", fits.err);
}

#[test]
fn bad_logs_are_refused_with_line_and_rule() {
    let scratch = Scratch::new("rig-bad");
    let rig = |name: &str, text: &str| {
        let log = scratch.file(name, text);
        run(&["rig", arg(&log)])
    };
    let heading = "time_s,voltage_v,current_a,temperature_degc\n";
    let ended =
        rig("cells.csv", &format!("{heading}0,1,0.1,25\n-5,1,0.1,25\n1,1 V,0.1,25\n2,1,0.1\n0.5,1,0.1,25\n"));
    refused(&ended, &[":3:", ":4: voltage_v '1 V'", ":5: 3 cells", "the unit stands in the heading"]);
    refused(&rig("units.csv", "time_s,voltage_v,current_a,current_ma\n"), &["second unit", "mixed units"]);
    refused(&rig("lacks.csv", "time_s,voltage_v\n0,1\n"), &["no column of current"]);
    refused(&rig("empty.csv", ""), &["no reading"]);
    let mut slip = heading.to_owned();
    for k in 0..80 {
        slip.push_str(&format!("{k},0.6,{},25\n", if k < 60 { 0.1 } else { 100.0 }));
    }
    refused(&rig("slip.csv", &slip), &[":62:", "unit of voltage or current"]);
}
