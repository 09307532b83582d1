//! The fast model through the program: beam alone and beside the shell, hand estimates, claims, variants.

use crate::runs::{Scratch, arg, example, names_in, run};
use copperbend_mesh::board::{Board, Elastic, understand};
use copperbend_solver::beam::answer::{BeamScope, beam};
use copperbend_solver::beam::board::BeamWishes;
use copperbend_solver::beam::compare::{compare, middle_strain, rigid_shell};
use copperbend_solver::bend::{BendOptions, Quiet, bend};
use copperbend_solver::natural::{NaturalOptions, natural_modes};
use copperbend_solver::result::BondLimit;

/// The plain strip of the examples with every Poisson's ratio replaced.
fn strip(nu: f64) -> Board {
    let text = std::fs::read_to_string(example("plain_strip")).expect("the example");
    let mut board = understand("design.toml", &text).unwrap_or_else(|f| panic!("{f}"));
    for material in &mut board.materials {
        if let Elastic::Isotropic { nu: own, .. } = &mut material.elastic {
            own.v = nu;
        }
    }
    board
}

/// Tip lift, two bending frequencies and mid-arm copper strain of the plain strip: shell over beam. Both without air; the
/// shell's frequencies on a mesh that is fine enough for the second bend.
fn ratios(nu: f64) -> [f64; 4] {
    let mut board = strip(nu);
    let own = beam(&board, &BeamWishes::default(), BeamScope { frequencies: 0 }).expect("a beam");
    let options = BendOptions { refine: false, modulus_span: false, swing: false, ..BendOptions::default() };
    let report = bend(&board, &options, &mut Quiet).expect("bends");
    let shell = &report.answers[0];
    (board.mesh.coarse_m, board.mesh.fine_m) = (Some(0.3e-3), Some(0.15e-3));
    let frequencies = |beam: Option<BeamWishes>| {
        let wishes = NaturalOptions { count: 4, medium: None, beam, ..NaturalOptions::default() };
        let found = natural_modes(&board, &wishes, &mut Quiet).expect("modes");
        let hz = |name: &str| found.answers[0].modes.iter().find(|m| m.name == name).map(|m| m.frequency_hz);
        ["arms bend", "arms bend no. 2"].map(|name| hz(name).expect("a bending mode"))
    };
    let (fast, slow) = (frequencies(Some(BeamWishes::default())), frequencies(None));
    [
        shell.loaded.tip_m[2] / own.tip_m[2],
        slow[0] / fast[0],
        slow[1] / fast[1],
        middle_strain(&board, shell).expect("copper") / own.middle_strain.abs(),
    ]
}

/// Without lateral contraction the shell strip is a beam: lift, both frequencies and strain within 0.5 %.
/// With it, the clamp holds back contraction and curl: between the free beam (1) and plane strain (1 - nu^2 in lift).
#[test]
fn beam_and_shell_agree_on_the_plain_strip() {
    for (name, ratio) in ["lift", "frequency", "second frequency", "strain"].iter().zip(ratios(0.0)) {
        assert!((ratio - 1.0).abs() < 0.005, "{name} at nu = 0: shell over beam {ratio}");
    }
    let [lift, first, second, _] = ratios(0.34);
    let least = 1.0 - 0.34 * 0.34;
    assert!(lift > least && lift < 0.995, "lift {lift}, plane strain {least}");
    for frequency in [first, second] {
        assert!(frequency > 1.002 && frequency < (1.0 / least).sqrt(), "frequencies {first}, {second}");
    }
}

/// With the flap made rigid in both, arm, fillets, root and loads are left: springs of the example vanes, angle and mid-arm
/// strain under all loads (coil and hanging weight) within 1 %, within 2 % where a tape at the root is free of shear.
#[test]
fn beam_and_shell_agree_on_a_vane_with_a_rigid_flap() {
    for name in ["one_arm_vane", "two_arm_vane", "wide_swing_vane"] {
        let text = std::fs::read_to_string(example(name)).expect("the example");
        let board = understand("design.toml", &text).unwrap_or_else(|f| panic!("{f}"));
        let options =
            BendOptions { refine: false, modulus_span: false, swing: false, ..BendOptions::default() };
        let tied = rigid_shell(&board, &options, &mut Quiet).expect("bends").expect("a flap that bends");
        for shell in &tied.answers {
            let wishes = BeamWishes { bond: shell.bond, ..BeamWishes::default() };
            let allowed = if shell.bond == BondLimit::Sliding { 0.02 } else { 0.01 };
            let (_, rows) = compare(&board, &wishes, Some(shell), Some(shell)).expect("compares");
            for what in [
                "moment per flap angle",
                "force per lift of the flap",
                "flap angle, all loads",
                "copper strain at mid-arm",
            ] {
                let row = rows.iter().find(|r| r.quantity == what).expect("the row");
                let ratio = row.rigid_flap.expect("a ratio");
                assert!((ratio - 1.0).abs() < allowed, "{name}, {what}: shell over beam {ratio}");
            }
        }
        assert!(rigid_shell(&tied_board(&board), &options, &mut Quiet).expect("no work").is_none(), "twice");
    }
}

fn tied_board(board: &Board) -> Board {
    let mut own = board.clone();
    if let Some(flap) = &mut own.flap {
        flap.rigid = true;
    }
    own
}

/// 0.2 mN on 10 mm with EI of the transformed section: 0.252 mm and 72.7 um/m (closed form, as in the README).
#[test]
fn plain_strip_gives_the_beam_formulas() {
    let text = std::fs::read_to_string(example("plain_strip")).expect("the example");
    let board = understand("design.toml", &text).unwrap_or_else(|f| panic!("{f}"));
    let own = beam(&board, &BeamWishes::default(), BeamScope { frequencies: 0 }).expect("a beam");
    let by_hand = 0.2e-3 * 1e-6 / (3.0 * own.section[0]);
    assert!((own.tip_m[2] / by_hand - 1.0).abs() < 1e-4, "{} against {by_hand}", own.tip_m[2]);
    assert!((own.tip_m[2] * 1e3 - 0.252).abs() < 0.001, "{}", own.tip_m[2]);
    let worst = own.strains[0].strain.abs() * 1e6;
    assert!((worst - 72.7).abs() < 0.5, "{worst}");
}

#[test]
fn beam_verb_writes_its_files_and_says_its_numbers() {
    let scratch = Scratch::new("beam-verb");
    let out = scratch.path("out");
    let ended = run(&["bend", arg(&example("one_arm_vane")), "--model", "beam", "--out", arg(&out)]);
    assert_eq!(ended.code, Some(0), "{}{}", ended.out, ended.err);
    assert_eq!(names_in(&out), ["beam.csv", "beam.json", "beam_swing.csv"], "files");
    for words in
        ["moment per flap angle", "bending stiffness", "Swing by current", "um/m", "Hz", "Not a certificate"]
    {
        assert!(ended.out.contains(words), "'{words}' is missing:\n{}", ended.out);
    }
    let again = scratch.path("again");
    let second = run(&[
        "--threads",
        "1",
        "bend",
        arg(&example("one_arm_vane")),
        "--model",
        "beam",
        "--out",
        arg(&again),
    ]);
    assert_eq!(second.code, Some(0), "{}", second.err);
    for name in ["beam.csv", "beam.json", "beam_swing.csv"] {
        let read = |folder: &std::path::Path| std::fs::read(folder.join(name)).expect("a file");
        assert!(read(&out) == read(&again), "{name} differs between runs");
    }
}

#[test]
fn hand_prints_formula_numbers_source_and_both_models() {
    let scratch = Scratch::new("hand");
    let out = scratch.path("out");
    let ended = run(&["hand", arg(&example("one_arm_vane")), "--no-shell", "--out", arg(&out)]);
    assert_eq!(ended.code, Some(0), "{}{}", ended.out, ended.err);
    let wanted = [
        "neutral plane",
        "k = n EI / L",
        "force of the coil per ampere",
        "torque about the hinge line per ampere",
        "flap angle per ampere",
        "first swing frequency",
        "roll frequency",
        "copper strain at the root",
        "coil resistance at 20 degC",
        "minimum bend radius in use",
        "source",
        "by hand",
        "hand over",
    ];
    for words in wanted {
        assert!(ended.out.contains(words), "'{words}' is missing:\n{}", ended.out);
    }
    assert_eq!(names_in(&out), ["hand.csv", "hand.json"], "files");
}

#[test]
fn claims_agree_or_differ_with_the_reason_and_the_exit_code() {
    let scratch = Scratch::new("claims");
    let good = scratch.file("good.csv", "quantity,value,unit,tolerance\ntip lift,0.252,mm,1 %\n");
    let out = scratch.path("out");
    let ended = run(&["claims", arg(&example("plain_strip")), arg(&good), "--no-shell", "--out", arg(&out)]);
    assert_eq!(ended.code, Some(0), "{}{}", ended.out, ended.err);
    assert!(ended.out.contains("agrees") && ended.out.contains("1 of 1 agree"), "{}", ended.out);
    // The lift of a plate in plane strain: 1 - 0.34^2 of the beam's.
    let far = scratch
        .file("far.toml", "[[claim]]\nquantity = \"tip lift\"\nvalue = \"0.2229 mm\"\ntolerance = \"1 %\"\n");
    let ended = run(&["claims", arg(&example("plain_strip")), arg(&far), "--no-shell", "--out", arg(&out)]);
    assert_eq!(ended.code, Some(1), "{}{}", ended.out, ended.err);
    assert!(ended.out.contains("DIFFERS by -11") && ended.out.contains("plane strain"), "{}", ended.out);
    assert_eq!(names_in(&out), ["claims.csv"], "files");
}

#[test]
fn faulty_claims_are_refused_with_line_and_remedy() {
    let scratch = Scratch::new("claims-faults");
    let bad = scratch.file("bad.csv", "quantity,value,unit\ntip lft,1,mm\ntip lift,1,Hz\n");
    let ended = run(&["claims", arg(&example("plain_strip")), arg(&bad), "--no-shell"]);
    assert_eq!(ended.code, Some(2), "{}", ended.out);
    assert!(
        ended.err.contains("bad.csv:2: unknown quantity 'tip lft'; did you mean 'tip lift'?"),
        "{}",
        ended.err
    );
    assert!(ended.err.contains("bad.csv:3: 'Hz' is the unit of a frequency"), "{}", ended.err);
    let layer = scratch.file("layer.csv", "quantity,value,unit,layer\ncopper strain,70,um/m,coper\n");
    let ended = run(&["claims", arg(&example("plain_strip")), arg(&layer), "--no-shell"]);
    assert_eq!(ended.code, Some(2), "{}", ended.out);
    assert!(
        ended.err.contains("layer.csv:2: the board has no copper layer 'coper'; did you mean 'copper'?"),
        "{}",
        ended.err
    );
}

#[test]
fn variants_run_over_every_combination_and_keep_refusals() {
    let scratch = Scratch::new("vary");
    let out = scratch.path("out");
    let design = example("plain_strip");
    let args = [
        "vary",
        arg(&design),
        "--out",
        arg(&out),
        "--change",
        "layer[copper].thickness = 9 um .. 36 um : 4",
        "--change",
        "shapes.strip.rectangle.to[0] = 1 mm .. 10 mm : 2",
    ];
    let ended = run(&args);
    assert_eq!(ended.code, Some(0), "{}{}", ended.out, ended.err);
    let text = std::fs::read_to_string(out.join("variants.csv")).expect("the table");
    assert_eq!(text.lines().count(), 9, "a heading and eight rows:\n{text}");
    let lift = |row: &str| row.split(',').nth(4).and_then(|c| c.parse::<f64>().ok());
    let lifts: Vec<f64> = text.lines().skip(1).filter_map(lift).collect();
    // 1 mm long strips end before the force and the tip: refused, the four others bend less with more copper.
    assert_eq!(lifts.len(), 4, "{text}");
    assert!(lifts.windows(2).all(|w| w[1] < w[0]), "{lifts:?}");
    let ended = run(&[
        "vary",
        arg(&example("plain_strip")),
        "--change",
        "layer[coper].thickness = 9 um .. 36 um : 4",
    ]);
    assert_eq!(ended.code, Some(2), "{}", ended.out);
    assert!(ended.err.contains("did you mean 'copper'?"), "{}", ended.err);
    let none = scratch.path("none");
    let ended = run(&[
        "vary",
        arg(&design),
        "--out",
        arg(&none),
        "--change",
        "layer[copper].thickness = -2 um .. -1 um : 2",
    ]);
    assert_eq!(ended.code, Some(2), "{}", ended.out);
    assert!(ended.err.contains("none of the 2 variants") && ended.err.contains("above 0"), "{}", ended.err);
    assert!(!none.exists(), "a table of nothing");
}
