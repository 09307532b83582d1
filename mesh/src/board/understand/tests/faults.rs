//! One test per fault: its line, its rule, its remedy.

use super::{ONE_ARM, STRIP, TWO_ARMS, board};
use crate::board::{Fault, understand};

/// The faults of a design in which one text was replaced by another.
fn faults_after(text: &str, from: &str, to: &str) -> Vec<Fault> {
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
    // `rot` is taken for `root`: one fault, not a second one for a field that is missing.
    let want = ["\"25 mu\"", "\"0 um\"", "\"clam\"", "rot = ["].map(|t| line_of(&text, t));
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
        &own("like = \"polyimide_film\"\npoisson_ratio = -1"),
        "poisson_ratio",
        ["above -1", "hand formulas"],
    );
    // Hand formulas of beams leave sideways contraction out; foams and folded sheets may have less than none.
    for allowed in ["0", "-0.3", "0.499"] {
        board(&STRIP.replacen(
            base,
            &own(&format!("like = \"polyimide_film\"\npoisson_ratio = \"{allowed}\"")),
            1,
        ));
    }
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
            .any(|w| w.text.contains("youngs_modulus 9 GPa of 'm' lies outside the plausible span")),
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

/// A design with something put at its end.
fn with(text: &str, more: &str) -> String {
    format!("{text}\n{more}\n")
}

/// Rules and remedies of the faults of a design, in one text.
fn told(text: &str) -> String {
    match understand("design.toml", text) {
        Ok(_) => String::new(),
        Err(faults) => faults.list.iter().map(|f| format!("{} / {}\n", f.rule, f.remedy)).collect(),
    }
}

#[test]
fn obstacles_need_one_shape_a_place_and_room() {
    let rows = [
        ("disc = { diameter = \"2 mm\", height = \"1 mm\" }", "has no place", "add centre"),
        ("centre = [\"1 mm\", \"0 mm\", \"5 mm\"]", "exactly one shape", "disc, block, plane"),
        (
            "plane = { height = \"-5 mm\" }\ncentre = [\"1 mm\", \"0 mm\", \"5 mm\"]",
            "neither centre nor tilt",
            "use a block",
        ),
        ("plane = { height = \"0.05 mm\" }", "cuts the board", "reaches from"),
        (
            "block = { sides = [\"2 mm\", \"2 mm\", \"0 mm\"] }\ncentre = [\"5 mm\", \"0 mm\", \"5 mm\"]",
            "must be above 0",
            "three lengths",
        ),
        (
            "block = { sides = [\"2 mm\", \"2 mm\", \"2 mm\"] }\ncentre = [\"5 mm\", \"0 mm\", \"1 mm\"]",
            "obstacle 'stop' reaches into the board at (",
            "move the obstacle",
        ),
        (
            "disc = { diameter = \"-2 mm\", height = \"1 mm\" }\ncentre = [\"5 mm\", \"0 mm\", \"9 mm\"]",
            "must be above 0",
            "length",
        ),
    ];
    for (lines, rule, remedy) in rows {
        let found = told(&with(ONE_ARM, &format!("[[obstacle]]\nname = \"stop\"\n{lines}")));
        assert!(found.contains(rule) && found.contains(remedy), "{lines}: {found}");
    }
    let twice = told(&with(ONE_ARM, "[[obstacle]]\nname = \"drive magnet\"\nplane = { height = \"-9 mm\" }"));
    assert!(twice.contains("two obstacles are called `drive magnet`"), "{twice}");
    let good = with(
        ONE_ARM,
        "[[obstacle]]\nname = \"stop\"\nblock = { sides = [\"2 mm\", \"2 mm\", \"2 mm\"] }\n\
         centre = [\"5 mm\", \"0 mm\", \"1.2 mm\"]\ntilt = { about_z = \"30 deg\" }\n\
         [[obstacle]]\nname = \"lid\"\nplane = { height = \"7 mm\" }",
    );
    let known = board(&good).obstacles;
    assert_eq!(known.len(), 2, "{known:#?}");
    assert_eq!(
        known[1].shape,
        crate::board::ObstacleShape::Plane { height_m: 7e-3, up: -1.0 },
        "a lid is solid above"
    );
}

#[test]
fn swing_wishes_are_checked() {
    let rows = [
        ("steps = 0", "`steps` must lie between 1 and 40", "whole number"),
        ("current = \"0 mA\"", "`current` is outside the range", "current"),
        ("angles = { from = \"0 deg\", to = \"0 deg\", step = \"5 deg\" }", "no angle to prescribe", "angle"),
        (
            "angles = { from = \"5 deg\", to = \"20 deg\", step = \"5 deg\" }",
            "`from` is outside the range",
            "angle",
        ),
        (
            "angles = { from = \"-45 deg\", to = \"45 deg\", step = \"0.1 deg\" }",
            "more than 200 angles",
            "larger step",
        ),
        ("angle = \"4 deg\"", "unknown field `angle`", "angles"),
    ];
    for (line, rule, remedy) in rows {
        let found = told(&with(ONE_ARM, &format!("[swing]\n{line}")));
        assert!(found.contains(rule) && found.contains(remedy), "{line}: {found}");
    }
    let known = board(&with(
        ONE_ARM,
        "[swing]\ncurrent = \"60 mA\"\nsteps = 3\nangles = { from = \"-30 deg\", to = \"20 deg\", step = \"10 deg\" }",
    ))
    .swing;
    assert_eq!((known.off, known.steps, known.current_a), (false, 3, Some(0.06)), "{known:?}");
    let angles = known.angles_rad.expect("angles");
    assert!((angles[0].to_degrees() + 30.0).abs() < 1e-12, "{angles:?}");
    assert_eq!(board(ONE_ARM).swing, crate::board::SwingWishes::default(), "nothing written");
}

#[test]
fn a_stiffener_on_one_that_slides_is_refused() {
    let second = |shape: &str, bond: &str| {
        format!(
            "bond = \"{bond}\"\ntape = {{ material = \"bond_film_thermoset\", thickness = \"25 um\" }}\n\
             [[stiffener]]\nname = \"second\"\nshape = \"{shape}\"\nside = \"below\"\nmaterial = \"fr4\"\n\
             thickness = \"0.2 mm\"\nbond = \"bonded\"\n"
        )
    };
    let from = "bond = \"bonded\"\n";
    let words = ["`second` lies on stiffener `root plate`", "bond the inner one"];
    fault_at(ONE_ARM, from, &second("plate", "sliding"), "", words);
    for (shape, bond) in [("plate", "bonded"), ("stiff", "sliding")] {
        let text = ONE_ARM.replacen(from, &second(shape, bond), 1);
        assert!(understand("design.toml", &text).is_ok(), "{shape} on a {bond} one: {text}");
    }
}
