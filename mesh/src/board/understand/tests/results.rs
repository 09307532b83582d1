//! What understood designs become, and that no damaged file brings the program down.

use super::{ONE_ARM, STRIP, TWO_ARMS, board};
use crate::board::{Board, Bond, LayerId, understand};
use crate::region::Point;

#[test]
fn examples_are_free_of_faults_and_of_thin_features() {
    for (text, title, layers, conductors) in [
        (STRIP, "Plain strip for hand formulas", 2, 1),
        (ONE_ARM, "Chopper vane, one arm", 9, 7),
        (TWO_ARMS, "Chopper vane, two arms", 8, 7),
    ] {
        let b = board(text);
        assert_eq!((b.title.as_str(), b.layers.len(), b.conductors.len()), (title, layers, conductors));
        for w in &b.warnings {
            assert!(!w.text.contains("thin feature") && !w.text.contains("short cut"), "{w:?}");
            assert!(!w.place.is_empty() && !w.remedy.is_empty(), "{w:?}");
        }
    }
}

/// Every line left out, every value of every line replaced by something else, every prefix of the file: an answer
/// or a list of faults, each with a place inside the file.
#[test]
fn damaged_files_never_bring_the_program_down() {
    let mut n_faulty = 0;
    let mut look = |text: &str| {
        if let Err(faults) = understand("design.toml", text) {
            n_faulty += 1;
            let n_lines = text.lines().count().max(1);
            assert!(!faults.list.is_empty(), "an error without a fault for\n{text}");
            for f in &faults.list {
                assert!(
                    1 <= f.line && f.line <= n_lines + 1 && f.column >= 1 && !f.rule.is_empty(),
                    "{f:?} in\n{text}"
                );
            }
        }
    };
    let lines: Vec<&str> = TWO_ARMS.lines().collect();
    for i in 0..lines.len() {
        let mut without = lines.clone();
        without.remove(i);
        look(&without.join("\n"));
        if i % 4 == 0 {
            look(&lines[..i].join("\n"));
        }
        let Some((key, _)) = lines[i].split_once('=') else { continue };
        for value in ["\"0 mm\"", "\"-1e30 mm\"", "nan", "[]", "\"\"", "{ }"] {
            let mut changed = lines.clone();
            let line = format!("{key}= {value}");
            changed[i] = &line;
            look(&changed.join("\n"));
        }
    }
    assert!(n_faulty > 300, "only {n_faulty} damaged files were refused");
}

#[test]
fn bonds_follow_the_tape_where_none_is_written() {
    let explicit = board(TWO_ARMS);
    assert_eq!(explicit.stiffeners[0].bond, Bond::Tape(0.4e6), "a shear modulus asks for both limits");
    let soft = board(&TWO_ARMS.replacen(", shear_modulus = \"0.4 MPa\"", "", 1));
    assert_eq!(soft.stiffeners[0].bond, Bond::Sliding, "above its glass point of -15 degC at 20 degC");
    assert!(
        soft.warnings.iter().any(|w| w.text.contains("default used: bond = \"sliding\"")),
        "{:#?}",
        soft.warnings
    );
    let frozen = board(
        &(TWO_ARMS.replacen(", shear_modulus = \"0.4 MPa\"", "", 1)
            + "\n[temperature]\nworking = \"-30 degC\"\n"),
    );
    assert_eq!(frozen.stiffeners[0].bond, Bond::Bonded, "below its glass point");
    assert_eq!(board(ONE_ARM).stiffeners[0].bond, Bond::Bonded);
}

#[test]
fn remarks_name_bare_copper_thin_features_and_conversions() {
    let has = |b: &Board, words: &str| {
        assert!(b.warnings.iter().any(|w| w.text.contains(words)), "{words}: {:#?}", b.warnings);
    };
    has(&board(STRIP), "copper of layer 'copper' is bare over 30 mm2 of arm 'strip'");
    has(&board(TWO_ARMS), "copper weight 0.5 oz taken as 17.5 um (35 um per ounce per square foot)");
    has(&board(ONE_ARM), "remanence 1.305 T taken for N42, middle of 1.28 to 1.33 T");
    let hot = |degc: &str| {
        board(&ONE_ARM.replacen("working = \"30 degC\"", &format!("working = \"{degc} degC\""), 1))
    };
    has(&hot("900"), "working at 900 degC");
    has(&hot("-90"), "working at -90 degC");
    assert!(!hot("100").warnings.iter().any(|w| w.text.contains("working at")), "a usual temperature");
    let thin = STRIP.replacen("where = [\"strip\"]", "where = [\"strip\"]\nexcept = [\"slit\"]", 1).replacen(
        "[outline]",
        "slit = { rectangle = { from = [\"4 mm\", \"-1 mm\"], to = [\"4.005 mm\", \"1 mm\"] } }\n[outline]",
        1,
    );
    has(&board(&thin), "thin feature: 'strip' on layer 'copper' has a gap of 5 um wide");
    let wide = ONE_ARM.replacen(
        "plate     = { rectangle = { from = [\"-8 mm\"",
        "plate     = { rectangle = { from = [\"-9 mm\"",
        1,
    );
    has(&board(&wide), "stiffener 'root plate' overhangs the outline by 1000 um");
    let still = STRIP.split("[[force]]").next().map(board).expect("strip");
    has(&still, "nothing loads the board");
    has(&board(&ONE_ARM.replacen("turns_model = \"smeared\"", "", 1)), "enter the stiffness smeared");
}

#[test]
fn level_adhesive_fills_gaps_up_to_one_height() {
    use crate::layup::{layers_at, stack};
    let b = board(ONE_ARM);
    let on = |p: Point| stack(&b, &layers_at(&b, p));
    let id = |name: &str| {
        *b.layers.iter().zip(0..).find(|(l, _)| l.name == name).map(|(_, i)| LayerId(i)).as_ref().expect(name)
    };
    // On the arm: over a track, and between the two tracks.
    let (track, gap) = (on([4e-3, 0.4e-3]), on([4e-3, 0.0]));
    let (over, between) = (track.ply(id("adhesive top")).unwrap(), gap.ply(id("adhesive top")).unwrap());
    assert!((over.z0_m - 43e-6).abs() < 1e-12 && (over.z1_m - 58e-6).abs() < 1e-12, "{over:?}");
    assert!((between.z0_m - 25e-6).abs() < 1e-12 && (between.z1_m - 58e-6).abs() < 1e-12, "{between:?}");
    // Below the base film the stack is mirrored; the bottom copper ends before the arm, so its level shows there too.
    let faces = gap.faces_m().unwrap();
    assert!((faces[0] + 45.5e-6).abs() < 1e-12 && (faces[1] - 70.5e-6).abs() < 1e-12, "{faces:?}");
    // The stiffener hangs under the pad: cover 45.5 um, film 25 um, plate 300 um.
    let pad = on([-7e-3, 4e-3]).faces_m().unwrap();
    assert!((pad[0] + 370.5e-6).abs() < 1e-12, "{pad:?}");
    let plies = on([-7e-3, 4e-3]);
    assert!(plies.plies.windows(2).all(|w| (w[0].z1_m - w[1].z0_m).abs() < 1e-12), "gaps in {plies:?}");
}

#[test]
fn current_path_runs_from_pad_to_pad_at_the_copper_heights() {
    let b = board(ONE_ARM);
    let path = b.current.expect("driven");
    assert!((path.current_a - 0.008).abs() < 1e-15, "{}", path.current_a);
    let first = path.segments[0];
    // Middle of the top copper: 25 + 18/2 um; section 0.3 mm x 18 um.
    assert!(
        (first.from_m[2] - 34e-6).abs() < 1e-12 && (first.section_m2 - 5.4e-9).abs() < 1e-18,
        "{first:?}"
    );
    let last = path.segments.last().unwrap();
    assert!(
        last.layer.is_none() && (last.to_m[0] - first.from_m[0]).abs() < 1e-12,
        "closed between the pads: {last:?}"
    );
    let low = path.segments.iter().flat_map(|s| [s.from_m[2], s.to_m[2]]).fold(f64::INFINITY, f64::min);
    assert!((low + 9e-6).abs() < 1e-12, "middle of the bottom copper is {low:e}");
    for pair in path.segments.windows(2) {
        let step = pair[0].to_m.iter().zip(pair[1].from_m).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        assert!(step < 1e-15, "the path jumps by {step:e} m");
    }
}

#[test]
fn smeared_coil_has_the_copper_area_of_its_turns() {
    let (smeared, each) = (board(ONE_ARM), board(&ONE_ARM.replacen("\"smeared\"", "\"each\"", 1)));
    let turns = |b: &Board| b.conductors.iter().find(|c| c.name == "coil").expect("coil").region.area_m2();
    let smear = &smeared.layers.iter().find(|l| l.name == "copper top").unwrap().smears[0];
    let ratio = turns(&smeared) * smear.copper_share / turns(&each);
    assert!((ratio - 1.0).abs() < 5e-3, "{ratio}");
    assert!(smeared.conductors.iter().all(|c| c.ranked != (c.name == "coil")), "turns are not ranked");
}

#[test]
fn landmarks_and_arcs_are_named() {
    let b = board(ONE_ARM);
    let names: Vec<&str> = b.landmarks.iter().map(|l| l.name.as_str()).collect();
    for name in
        ["clamp edge of 'holder'", "stiffener 'root plate' edge", "opening 'sight'", "fillet of 'body'"]
    {
        assert!(names.contains(&name), "{name} not in {names:?}");
    }
    let fillets: Vec<_> = b.fillets.iter().filter(|f| f.name == "fillet of 'body'").collect();
    assert_eq!(fillets.len(), 4, "{fillets:?}");
    assert!(fillets.iter().all(|f| (f.radius_m - 0.5e-3).abs() < 1e-12), "{fillets:?}");
    assert!((b.arms[0].width_m - 2e-3).abs() < 1e-9, "{}", b.arms[0].width_m);
    let sharp = board(&ONE_ARM.replacen(", fillet = \"0.5 mm\"", "", 1));
    assert_eq!(sharp.landmarks.iter().filter(|l| l.name.starts_with("sharp corner")).count(), 4);
}
