//! One test per fault: its line, its rule, its remedy; and the examples, which are free of faults.

use super::*;

const STRIP: &str = include_str!("../../../../examples/plain_strip/design.toml");
const ONE_ARM: &str = include_str!("../../../../examples/one_arm_vane/design.toml");
const TWO_ARMS: &str = include_str!("../../../../examples/two_arm_vane/design.toml");

fn board(text: &str) -> Board {
    understand("design.toml", text).unwrap_or_else(|faults| panic!("{faults}"))
}

#[test]
fn examples_are_free_of_faults() {
    for text in [STRIP, ONE_ARM, TWO_ARMS] {
        let b = board(text);
        println!("{}: {} layers, {} conductors", b.title, b.layers.len(), b.conductors.len());
        for w in &b.warnings {
            println!("  {}: {} ({})", w.place, w.text, w.remedy);
        }
        for l in &b.landmarks {
            println!("  landmark {} ({} edges)", l.name, l.edges_m.len());
        }
    }
}

/// The faults of a design in which one text was replaced by another.
fn faults_after(text: &str, from: &str, to: &str) -> Vec<super::super::Fault> {
    assert!(text.contains(from), "`{from}` is not in the design");
    match understand("design.toml", &text.replacen(from, to, 1)) {
        Ok(_) => panic!("`{to}` was accepted"),
        Err(faults) => faults.list,
    }
}

/// Line of the first appearance of a text.
fn line_of(text: &str, piece: &str) -> usize {
    text[..text.find(piece).expect(piece)].matches('\n').count() + 1
}

/// Checks that exactly one fault is found, on the line of `to`, with these words in rule and remedy.
fn one_fault(text: &str, from: &str, to: &str, rule: &str, remedy: &str) {
    let list = faults_after(text, from, to);
    assert_eq!(list.len(), 1, "{list:#?}");
    let changed = text.replacen(from, to, 1);
    let line = line_of(&changed, to);
    let last = line + to.matches('\n').count();
    assert!(
        (line..=last).contains(&list[0].line),
        "line {} instead of {line} to {last}: {list:#?}",
        list[0].line
    );
    assert!(list[0].rule.contains(rule), "rule: {list:#?}");
    assert!(list[0].remedy.contains(remedy), "remedy: {list:#?}");
}

/// As [`one_fault`] where the fault is reported elsewhere: at the line of `at`.
fn fault_at(text: &str, from: &str, to: &str, at: &str, words: [&str; 2]) {
    let list = faults_after(text, from, to);
    let changed = text.replacen(from, to, 1);
    let hit = list.iter().find(|f| f.rule.contains(words[0]) && f.remedy.contains(words[1]));
    let hit = hit.unwrap_or_else(|| panic!("no such fault: {list:#?}"));
    if !at.is_empty() {
        assert_eq!(hit.line, line_of(&changed, at), "{list:#?}");
    }
}

#[test]
fn empty_and_huge_files_are_refused() {
    for (text, rule) in
        [(" \n ".to_owned(), "the file is empty"), ("# x\n".repeat(1 << 20) + "#", "at most 4096 KiB")]
    {
        let faults = understand("design.toml", &text).expect_err("refused");
        assert_eq!(faults.list.len(), 1, "{faults}");
        assert!(faults.list[0].rule.contains(rule), "{faults}");
        assert!(!faults.list[0].remedy.is_empty(), "{faults}");
        assert!(faults.to_string().starts_with("design.toml:1:1: "), "{faults}");
    }
}

#[test]
fn unknown_names_offer_the_nearest() {
    one_fault(
        STRIP,
        "thickness = \"18 um\"",
        "thickness = \"18 um\"\nthicknes = \"18 um\"",
        "unknown field `thicknes`",
        "did you mean `thickness`?",
    );
    one_fault(
        STRIP,
        "\"copper_rolled_annealed\"",
        "\"copper_roled_annealed\"",
        "unknown material",
        "did you mean `copper_rolled_annealed`?",
    );
    one_fault(STRIP, "shape = \"held\"", "shape = \"hold\"", "unknown shape `hold`", "did you mean `held`?");
    one_fault(STRIP, "kind = \"copper\"", "kind = \"coper\"", "did you mean `copper`?", "write one of");
    one_fault(
        ONE_ARM,
        "chain = [\"supply plus\"",
        "chain = [\"suply plus\"",
        "unknown track or coil",
        "did you mean `supply plus`?",
    );
    one_fault(
        ONE_ARM,
        "layer = \"copper bottom\"",
        "layer = \"copper buttom\"",
        "unknown copper layer",
        "did you mean `copper bottom`?",
    );
    one_fault(ONE_ARM, "grade = \"N42\"", "grade = \"N43\"", "unknown magnet grade", "did you mean");
    one_fault(STRIP, "[[force]]", "[[forces]]", "unknown table `forces`", "did you mean `force`?");
}

#[test]
fn wrong_units_and_bare_numbers_are_refused() {
    one_fault(
        STRIP,
        "\"18 um\"\nwhere",
        "\"18 mA\"\nwhere",
        "`mA` is a unit of current",
        "such as \"18 um\"",
    );
    one_fault(
        STRIP,
        "\"18 um\"\nwhere",
        "18\nwhere",
        "expected a thickness with its unit as a string, such as \"18 um\"",
        "units: um",
    );
    one_fault(STRIP, "\"18 um\"\nwhere", "\"18\"\nwhere", "has no unit", "units: um");
    one_fault(STRIP, "\"18 um\"\nwhere", "\"nan um\"\nwhere", "not a finite number", "units: um");
    one_fault(ONE_ARM, "turns = 12 ", "turns = nan ", "not a finite number", "finite number");
}

#[test]
fn sizes_must_be_above_zero() {
    one_fault(
        STRIP,
        "\"18 um\"\nwhere",
        "\"0 um\"\nwhere",
        "a thickness must be above 0",
        "such as \"18 um\"",
    );
    one_fault(STRIP, "\"18 um\"\nwhere", "\"-18 um\"\nwhere", "a thickness must be above 0", "such as");
    one_fault(ONE_ARM, "width = \"0.3 mm\"", "width = \"0 mm\"", "a width must be above 0", "such as");
    one_fault(
        ONE_ARM,
        "diameter = \"3 mm\"",
        "diameter = \"-3 mm\"",
        "a diameter must be above 0",
        "such as",
    );
    one_fault(
        STRIP,
        "to = [\"10 mm\", \"1.5 mm\"]",
        "to = [\"10 mm\", \"-1.5 mm\"]",
        "has no area",
        "check its sizes",
    );
    one_fault(
        STRIP,
        "to = [\"10 mm\", \"1.5 mm\"]",
        "to = [\"10 m\", \"1.5 mm\"]",
        "beyond 1 m",
        "check the unit",
    );
}

#[test]
fn every_fault_is_reported_at_once_in_order() {
    let text = STRIP
        .replacen("thickness = \"25 um\"", "thickness = \"25 mu\"", 1)
        .replacen("kind = \"clamp\"", "kind = \"clam\"", 1)
        .replacen("root = [", "rot = [", 1)
        .replacen("\"18 um\"\nwhere", "\"0 um\"\nwhere", 1);
    let faults = understand("design.toml", &text).expect_err("faulty");
    let lines: Vec<usize> = faults.list.iter().map(|f| f.line).collect();
    let want = ["\"25 mu\"", "\"0 um\"", "\"clam\"", "[[arm]]", "rot = ["].map(|t| line_of(&text, t));
    assert_eq!(lines, want, "{faults}");
    assert!(faults.to_string().contains(&format!("design.toml:{}:13: ", want[0])), "{faults}");
}

#[test]
fn placed_layers_must_neither_gap_nor_overlap() {
    let at = |z: &str| format!("where = [\"strip\"]\nbottom = \"{z}\"");
    fault_at(STRIP, "where = [\"strip\"]", &at("30 um"), "", ["leaves a gap of 5 um", "bottom = \"25 um\""]);
    fault_at(
        STRIP,
        "where = [\"strip\"]",
        &at("20 um"),
        "",
        ["overlaps the layers of 5 um", "bottom = \"25 um\""],
    );
    let list = faults_after(STRIP, "where = [\"strip\"]", &at("30 um"));
    assert_eq!(list.len(), 1, "{list:#?}");
    board(&STRIP.replacen("where = [\"strip\"]", &at("25 um"), 1));
    fault_at(
        STRIP,
        "where = [\"strip\"]",
        "seat = \"level\"\nbottom = \"25 um\"",
        "bottom = ",
        ["both `seat` and `bottom`", "only one"],
    );
}

#[test]
fn crossing_outlines_and_bad_shapes_are_refused() {
    let polygon = |points: &str| format!("strip = {{ polygon = {{ points = [{points}] }} }}\n#");
    let bow = polygon(
        "[\"-3 mm\", \"-1.5 mm\"], [\"10 mm\", \"1.5 mm\"], [\"10 mm\", \"-1.5 mm\"], [\"-3 mm\", \"1.5 mm\"]",
    );
    one_fault(STRIP, "strip = ", &bow, "the edges of polygon `strip` cross at (3.5, 0) mm", "in the order");
    one_fault(
        STRIP,
        "strip = ",
        &polygon("[\"0 mm\", \"0 mm\"], [\"1 mm\", \"0 mm\"]"),
        "fewer than 3 corners",
        "three points",
    );
    one_fault(
        STRIP,
        "strip = ",
        "strip = { circle = { centre = [\"0 mm\", \"0 mm\"], diameter = \"1 mm\" }, union = [\"held\"] }\n#",
        "several kinds: circle, union",
        "exactly one of",
    );
    one_fault(STRIP, "strip = ", "strip = { union = [\"strip\"] }\n#", "is made of itself", "lead back");
    one_fault(STRIP, "strip = ", "strip = { }\n#", "has no kind", "exactly one of");
    one_fault(ONE_ARM, "fillet = \"0.5 mm\"", "fillet = \"5 mm\"", "does not fit", "smaller fillet");
    one_fault(ONE_ARM, "radius = \"1.5 mm\"", "radius = \"9 mm\"", "does not fit", "smaller radius");
}

#[test]
fn copper_outside_the_outline_is_refused() {
    fault_at(
        ONE_ARM,
        "[\"-6 mm\", \"2 mm\"], [\"-3 mm\", \"0.4 mm\"]",
        "[\"-6 mm\", \"2 mm\"], [\"3 mm\", \"3 mm\"]",
        "[\"3 mm\", \"3 mm\"]",
        ["track `supply plus` leaves the outline by", "widen the outline"],
    );
    fault_at(
        ONE_ARM,
        "diameter = \"3 mm\"",
        "diameter = \"6 mm\"",
        "outer = ",
        ["coil `coil` leaves the outline", "move it inside"],
    );
    fault_at(
        STRIP,
        "where = [\"strip\"]",
        "where = [\"big\"]\n[shapes.big]\nrectangle = { from = [\"-3 mm\", \"-1.5 mm\"], to = [\"12 mm\", \"1.5 mm\"] }",
        "where = ",
        ["copper `big` leaves the outline by 2000 um", "move it inside"],
    );
    fault_at(
        STRIP,
        "line = [[\"10 mm\"",
        "line = [[\"11 mm\"",
        "line = [",
        ["1000 um outside the outline", "onto the board"],
    );
}

#[test]
fn open_current_paths_are_refused_with_both_coordinates() {
    let apart = faults_after(
        ONE_ARM,
        "[\"11.5 mm\", \"0.4 mm\"], [\"12.6 mm\", \"0 mm\"]",
        "[\"11.5 mm\", \"0.4 mm\"], [\"12.5 mm\", \"0 mm\"]",
    );
    assert_eq!(apart.len(), 1, "{apart:#?}");
    assert_eq!(
        (apart[0].line, apart[0].text.as_str()),
        (line_of(ONE_ARM, "chain ="), "\"coil\""),
        "{apart:#?}"
    );
    assert!(
        apart[0].rule.contains("(12.5000, 0.0000) mm") && apart[0].rule.contains("(12.6000, 0.0000) mm"),
        "{apart:#?}"
    );
    fault_at(
        ONE_ARM,
        "points = [[\"-6 mm\", \"2 mm\"], [\"-3 mm\", \"0.4 mm\"]",
        "points = [[\"0.5 mm\", \"0.4 mm\"], [\"3 mm\", \"0.4 mm\"]",
        "chain =",
        [
            "it starts at (0.5, 0.4) mm, which is not inside a clamp; the nearest clamp 'holder' is 1.5 mm away",
            "a pad that moves is no pad",
        ],
    );
    fault_at(
        ONE_ARM,
        "chain = [\"supply plus\", \"coil\", \"bridge\", \"supply minus\"]",
        "chain = []",
        "[circuit]",
        ["the chain is empty", "+ pad"],
    );
    fault_at(
        ONE_ARM,
        "[circuit]\nchain = [\"supply plus\", \"coil\", \"bridge\", \"supply minus\"]",
        "",
        "[drive]",
        ["a drive current without a path", "add [circuit]"],
    );
}

#[test]
fn magnets_must_stay_clear_of_copper_and_board() {
    fault_at(
        ONE_ARM,
        "\"-4 mm\"]",
        "\"-0.5 mm\"]",
        "centre = [\"17.5 mm\", \"0 mm\", \"-0.5 mm\"]",
        ["touches magnet 'drive magnet' at (", "move the magnet away"],
    );
    let away = faults_after(
        ONE_ARM,
        "centre = [\"17.5 mm\", \"0 mm\", \"-4 mm\"]",
        "centre = [\"22 mm\", \"8 mm\", \"0 mm\"]",
    );
    assert!(away[0].rule.contains("reaches into the board"), "{away:#?}");
    fault_at(
        TWO_ARMS,
        "height = \"-5.5 mm\"",
        "height = \"-4.5 mm\"",
        "height = \"-4.5 mm\"",
        ["not behind magnet 'ring'", "from -5.5 to -3.5 mm"],
    );
    fault_at(
        TWO_ARMS,
        "back_plate =",
        "carried_by = \"vane\"\nback_plate =",
        "carried_by",
        ["not computed yet", "fix the magnet in space"],
    );
    fault_at(
        TWO_ARMS,
        "remanence = \"1.30 T\"",
        "",
        "name = \"ring\"",
        ["either `remanence` or `grade`", "grade = \"N42\""],
    );
    fault_at(
        TWO_ARMS,
        "inner = \"3 mm\"",
        "inner = \"9 mm\"",
        "inner = \"9 mm\"",
        ["must be below the outer one", "disc"],
    );
}

#[test]
fn boards_must_be_held_everywhere() {
    let clamp = "[[support]]\nname = \"vice\"\nkind = \"clamp\"\nshape = \"held\"\n";
    fault_at(STRIP, clamp, "", "", ["nothing is clamped: the file has no [[support]]", "kind = \"clamp\""]);
    fault_at(
        STRIP,
        "held  = { rectangle = { from = [\"-3 mm\"",
        "held  = { rectangle = { from = [\"-9 mm\", \"-1.5 mm\"], to = [\"-8 mm\", \"1.5 mm\"] } }\nh2 = { rectangle = { from = [\"-3 mm\"",
        "shape = \"held\"",
        ["'vice' lies outside the outline", "onto the board"],
    );
    // The strip is cut in two by an opening across it.
    let cut = STRIP.replacen("shape = \"strip\"\n", "shape = \"strip\"\nopenings = [\"slot\"]\n", 1).replacen(
        "[outline]",
        "slot = { rectangle = { from = [\"5 mm\", \"-2 mm\"], to = [\"6 mm\", \"2 mm\"] } }\nend = { rectangle = { from = [\"6 mm\", \"-2 mm\"], to = [\"10 mm\", \"2 mm\"] } }\n[outline]",
        1,
    );
    let faults = understand("design.toml", &cut).expect_err("in two pieces");
    let hit = faults
        .list
        .iter()
        .find(|f| f.rule.contains("the piece 'end' at (8, 0) mm is not connected to any support"));
    assert_eq!(hit.map(|f| f.line), Some(line_of(&cut, "shape = \"strip\"")), "{faults}");
    fault_at(
        STRIP,
        "kind = \"clamp\"\nshape = \"held\"",
        "kind = \"simple\"\nline = [[\"0 mm\", \"-1 mm\"], [\"0 mm\", \"1 mm\"]]",
        "shape = \"strip\"",
        ["can still move", "add a clamp"],
    );
    fault_at(
        ONE_ARM,
        "shape = \"stiff\"",
        "shape = \"pad\"\nrigid = true",
        "shape = \"pad\"\nrigid",
        ["the rigid flap overlaps support 'holder'", "rigid = false"],
    );
}

#[test]
fn more_regions_than_the_mesh_tells_apart_are_refused() {
    let mut text = STRIP.to_owned();
    for i in 0..130 {
        text += &format!(
            "\n[[track]]\nname = \"t{i}\"\nlayer = \"copper\"\nwidth = \"5 um\"\npoints = [[\"1 mm\", \"{0} um\"], [\"9 mm\", \"{0} um\"]]\n",
            i * 20 - 1300
        );
    }
    let faults = understand("design.toml", &text).expect_err("too many");
    assert!(
        faults.list[0].rule.contains("at most 128 are told apart") && faults.list[0].remedy.contains("union"),
        "{faults}"
    );
}

#[test]
fn materials_and_tapes_are_checked() {
    let own =
        |rest: &str| format!("[materials.m]\n{rest}\n[[layer]]\nname = \"base film\"\nmaterial = \"m\"");
    let base = "[[layer]]\nname = \"base film\"\nmaterial = \"polyimide_film\"";
    fault_at(
        STRIP,
        base,
        &own("youngs_modulus = \"3 GPa\"\npoisson_ratio = 0.3"),
        "[materials.m]",
        ["has no density", "`like`"],
    );
    fault_at(
        STRIP,
        base,
        &own("like = \"fr4\"\npoisson_ratio_12 = 1.2"),
        "[materials.m]",
        ["too large", "direction is 1"],
    );
    fault_at(
        STRIP,
        base,
        &own("like = \"polyimide_film\"\npoisson_ratio = 0.5"),
        "poisson_ratio",
        ["below 0.5", "rubbery"],
    );
    fault_at(
        STRIP,
        base,
        &own("like = \"polyimide_film\"\nyoungs_modulus_1 = \"3 GPa\"\npoisson_ratio = 0.3"),
        "[materials.m]",
        ["with and without direction", "_1"],
    );
    fault_at(
        STRIP,
        base,
        &own("like = \"polyimid_film\""),
        "like",
        ["unknown material `polyimid_film`", "did you mean `polyimide_film`"],
    );
    fault_at(
        STRIP,
        "\"polyimide_film\"",
        "\"coverlay\"",
        "\"coverlay\"",
        ["not one material", "two layers, film and adhesive"],
    );
    let warned =
        board(&STRIP.replacen(base, &own("like = \"polyimide_film\"\nyoungs_modulus = \"9 GPa\""), 1));
    assert!(
        warned
            .warnings
            .iter()
            .any(|w| w.text.contains("youngs_modulus 9.000e9 of 'm' lies outside the plausible span")),
        "{:#?}",
        warned.warnings
    );
    fault_at(
        TWO_ARMS,
        "tape = { material = \"transfer_tape_acrylic\", thickness = \"50 um\", shear_modulus = \"0.4 MPa\" }",
        "bond = \"tape\"",
        "bond =",
        ["needs a shear modulus", "add tape"],
    );
}

#[test]
fn duplicate_names_are_refused() {
    one_fault(
        STRIP,
        "name = \"copper\"",
        "name = \"base film\"  # again",
        "two layers are called `base film`",
        "its own name",
    );
    fault_at(STRIP, "title = ", "shapes = 3\ntitle = ", "[shapes]", ["this is not TOML", "each key once"]);
}

#[test]
fn bonds_follow_the_tape_where_none_is_written() {
    use super::super::Bond;
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
        assert!(b.warnings.iter().any(|w| w.text.contains(words)), "{words}: {:#?}", b.warnings)
    };
    has(&board(STRIP), "copper of layer 'copper' is bare over 30 mm2 of arm 'strip'");
    has(&board(TWO_ARMS), "copper weight 0.5 oz taken as 17.5 um (35 um per ounce per square foot)");
    has(&board(ONE_ARM), "remanence 1.305 T taken for N42, middle of 1.28 to 1.33 T");
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
    let still =
        STRIP.replacen("\"0.2 mN\"", "\"0.2 mN\"", 1).split("[[force]]").next().map(board).expect("strip");
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
    assert!((path.current_a - 0.02).abs() < 1e-15, "{}", path.current_a);
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
        assert_eq!(pair[0].to_m, pair[1].from_m, "the path is continuous");
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
