//! Reading of claims, and judgement on the plain strip.

use super::*;
use crate::model::fixture::{Sheet, line_force, strip};
use copperbend_mesh::board::{LayerKind, understand};

#[test]
fn toml_and_csv_read_alike() {
    let toml = "[[claim]]\nquantity = \"tip lift\"\nvalue = \"0.252 mm\"\ntolerance = \"2 %\"\n\n[[claim]]\n\
        quantity = \"copper strain\"\nvalue = 72.7\nunit = \"um/m\"\nplace = [0.5, 0]\n";
    let csv =
        "quantity,value,unit,tolerance,x_mm,y_mm\ntip lift,0.252,mm,2 %,,\ncopper strain,72.7,um/m,,0.5,0\n";
    let (a, b) = (from_toml(toml).expect("reads"), from_csv(csv).expect("reads"));
    for (a, b) in a.iter().zip(&b) {
        let same =
            a.quantity == b.quantity && (a.tolerance - b.tolerance).abs() < 1e-15 && a.place_m == b.place_m;
        assert!(same && (a.value - b.value).abs() < 1e-18, "{a:?} {b:?}");
    }
    assert!((a[0].value - 0.252e-3).abs() < 1e-18 && a.len() == 2, "{a:?}");
    assert_eq!((a[1].line, b[1].line), (6, 3), "lines");
}

#[test]
fn faults_come_all_at_once_with_the_nearest_name_and_units_that_fit() {
    let csv =
        "quantity,value,unit\nflap angel,1,deg\nswing frequency,12,mm\ntip lift,x,mm\nresistance,3,furlong\n";
    let faults = from_csv(csv).expect_err("four faults");
    let text: Vec<String> = faults.iter().map(ToString::to_string).collect();
    assert_eq!(faults.len(), 4, "{text:?}");
    assert!(text[0].starts_with("2: unknown quantity 'flap angel'; did you mean 'flap angle'?"), "{text:?}");
    assert!(
        text[1].contains("'mm' is the unit of a length, but 'swing frequency' is a frequency"),
        "{text:?}"
    );
    assert!(text[2].contains("'x' is no number") && text[3].contains("unknown unit 'furlong'"), "{text:?}");
    assert!(
        from_csv("").is_err() && from_toml("").is_err() && from_toml("a = [").is_err(),
        "nothing to read"
    );
}

#[test]
fn layers_and_tables_that_are_not_there_are_refused() {
    let csv = "quantity,value,unit,layer\ncopper strain,70,um/m,coper\ncopper strain,70,um/m,copper\n";
    let claims = from_csv(csv).expect("reads");
    let faults = check_layers(&claims, &board(0.34)).expect_err("one");
    assert_eq!(faults.len(), 1, "{faults:?}");
    assert_eq!(faults[0].to_string(), "2: the board has no copper layer 'coper'; did you mean 'copper'?");
    assert!(check_layers(&claims[1..], &board(0.34)).is_ok(), "the right name");
    let toml = "[[claim]]\nquantity = \"tip lift\"\nvalue = \"1 mm\"\n[[clam]]\nquantity = \"tip lift\"\n";
    let faults = from_toml(toml).expect_err("one");
    assert_eq!(faults.len(), 1, "{faults:?}");
    assert!(
        faults[0].to_string().starts_with("4: unknown table or field 'clam'; did you mean 'claim'?"),
        "{faults:?}"
    );
}

fn board(nu: f64) -> Board {
    let sheets =
        [Sheet("base", LayerKind::Film, 4e9, 25e-6), Sheet("copper", LayerKind::Copper, 117e9, 18e-6)];
    let mut board = strip(&sheets, 10e-3, 2e-3, nu);
    board.loads.push(line_force(10e-3, 2e-3, [0.0, 0.0, 0.2e-3]));
    board
}

/// The plain strip by the closed form: the lift agrees, the plane-strain lift is recognised as such, and a value that
/// nothing explains is told so.
#[test]
fn likely_reason_is_found_by_switching_one_effect() {
    let board = board(0.34);
    let judge = Judge::new(&board, BondLimit::AsWritten, None).expect("a beam");
    // Transformed section of film and copper, 2 mm wide.
    let (e, z): ([f64; 2], [f64; 3]) = ([4e9, 117e9], [0.0, 25e-6, 43e-6]);
    let sum = |p: i32| (0..2).map(|i| e[i] * (z[i + 1].powi(p) - z[i].powi(p)) / f64::from(p)).sum::<f64>();
    let bending = 2e-3 * (sum(3) - sum(2).powi(2) / sum(1));
    let lift = 0.2e-3 * 1e-6 / (3.0 * bending);
    let ask = |mm: f64| {
        let text = format!("quantity,value,unit,tolerance\ntip lift,{},mm,1 %\n", mm * 1e3);
        judge.judge(&from_csv(&text).expect("reads")[0])
    };
    let own = ask(lift);
    assert!(own.agrees && own.reason.is_empty(), "{own:?}");
    let flat = ask(lift * (1.0 - 0.34 * 0.34));
    assert!(!flat.agrees && flat.reason.contains("plane strain"), "{flat:?}");
    let double = ask(2.0 * lift);
    assert!(!double.agrees && double.reason.contains("twice"), "{double:?}");
    let wild = ask(7.0 * lift);
    assert!(wild.reason.contains("no single effect"), "{wild:?}");
    let none = judge.judge(&from_csv("quantity,value,unit\nresistance,3,ohm\n").expect("reads")[0]);
    assert!(none.found.is_none() && !none.agrees, "{none:?}");
}

/// One claim about a quantity, allowed to differ by a share.
fn claim(quantity: &str, value: f64, unit: &str, tolerance: f64) -> Claim {
    let text =
        format!("quantity,value,unit,tolerance\n{quantity},{value:e},{unit},{} %\n", 100.0 * tolerance);
    from_csv(&text).expect("reads").remove(0)
}

/// The answer that large motion gives in a verdict.
fn by_large_motion(verdict: &Verdict) -> f64 {
    verdict.switched.iter().find(|s| s.effect.starts_with("large")).expect("large motion moves it").value
}

/// A film on either side of a copper sheet: the neutral plane is the middle.
fn symmetric(force_n: [f64; 3]) -> (Board, f64) {
    let sheets = [
        Sheet("base", LayerKind::Film, 4e9, 25e-6),
        Sheet("copper", LayerKind::Copper, 117e9, 18e-6),
        Sheet("cover", LayerKind::Film, 4e9, 25e-6),
    ];
    let mut board = strip(&sheets, 10e-3, 2e-3, 0.0);
    board.loads.push(line_force(10e-3, 2e-3, force_n));
    let bending = 2e-3 / 12.0 * (4e9 * (68e-6_f64.powi(3) - 18e-6_f64.powi(3)) + 117e9 * 18e-6_f64.powi(3));
    (board, bending)
}

/// Strain at the root of a cantilever under a dead end force goes with the lever, which shortens by u:
/// u/L = 0.05643324 at P L^2/EI = 1 (K. E. Bisshopp, D. C. Drucker, Quart. Appl. Math. 3 (1945) 272; elliptic integrals).
#[test]
fn large_deflection_is_named_for_strain() {
    let (mut board, bending) = symmetric([0.0; 3]);
    board.loads = vec![line_force(10e-3, 2e-3, [0.0, 0.0, bending / 1e-4])];
    let judge = Judge::new(&board, BondLimit::AsWritten, None).expect("a beam");
    // Copper 9 um from the neutral plane, root moment P L over EI: curvature 1/L.
    let linear = 9e-6 / 10e-3;
    let small = judge.judge(&claim("copper strain", linear, "1", 0.002));
    assert!(small.agrees, "{small:?}");
    let shortened = linear * (1.0 - 0.056_433_24);
    let large = judge.judge(&claim("copper strain", shortened, "1", 0.005));
    assert!(!large.agrees && large.reason == "agrees with: large deflection instead of small", "{large:?}");
    assert!((by_large_motion(&large) / shortened - 1.0).abs() < 0.002, "{large:?}");
}

/// A pull of T L^2/EI = 5 along a cantilever raises its first frequency from 3.516015 to 5.768199 sqrt(EI/m)/L^2
/// (A. Bokaian, J. Sound Vib. 142 (1990) 481; characteristic equation).
#[test]
fn loaded_state_is_named_for_frequency() {
    let (mut board, bending) = symmetric([0.0; 3]);
    board.loads = vec![line_force(10e-3, 2e-3, [5.0 * bending / 1e-4, 0.0, 0.0])];
    let mass = 2e-3 * (1420.0 * 50e-6 + 8960.0 * 18e-6);
    let unit = (bending / mass).sqrt() / 1e-4 / std::f64::consts::TAU;
    let judge = Judge::new(&board, BondLimit::AsWritten, None).expect("a beam");
    let rest = judge.judge(&claim("swing frequency", 3.516_015 * unit, "Hz", 0.002));
    assert!(rest.agrees, "{rest:?}");
    let pulled = judge.judge(&claim("swing frequency", 5.768_199 * unit, "Hz", 0.005));
    assert!(!pulled.agrees && pulled.reason.contains("large deflection"), "{pulled:?}");
    assert!((by_large_motion(&pulled) / (5.768_199 * unit) - 1.0).abs() < 0.005, "{pulled:?}");
}

/// A flat coil in an even field along the board: its torque per ampere fades with the cosine of its angle (the law of the
/// moving-coil meter, from memory), and a couple bends the arm to an arc: k a = I T cos a.
#[test]
fn large_swing_is_named_for_torque() {
    let text = include_str!("../../../examples/wide_swing_vane/design.toml")
        .replace(
            "block = { sides = [\"16 mm\", \"6 mm\", \"40 mm\"] }",
            "block = { sides = [\"300 mm\", \"60 mm\", \"300 mm\"] }",
        )
        .replace("centre = [\"18 mm\", \"12 mm\", \"0 mm\"]", "centre = [\"22 mm\", \"100 mm\", \"0 mm\"]")
        .replace("centre = [\"18 mm\", \"-12 mm\", \"0 mm\"]", "centre = [\"22 mm\", \"-100 mm\", \"0 mm\"]")
        .replace("[gravity]\ndirection = [1, 0, 0]", "")
        .replace("working = \"30 degC\"", "working = \"20 degC\"");
    let board = understand("design.toml", &text).unwrap_or_else(|f| panic!("{f}"));
    let judge = Judge::new(&board, BondLimit::AsWritten, None).expect("a beam");
    let found = |what: &str, unit: &str| judge.judge(&claim(what, 1.0, unit, 0.01)).found.expect("a value");
    let (torque, spring) = (found("torque per ampere", "N m/A"), found("moment per flap angle", "N m/rad"));
    let current = board.current.as_ref().expect("a path").current_a;
    let mut angle = 0.0_f64;
    for _ in 0..200 {
        angle = 0.5 * (angle + current * torque / spring * angle.cos());
    }
    assert!(angle.abs() > 0.4 && angle.abs() < 1.2, "the angle is large: {angle} rad");
    let faded = torque * angle.cos();
    let verdict = judge.judge(&claim("torque per ampere", faded, "N m/A", 0.02));
    assert!(!verdict.agrees && verdict.reason.contains("large swing"), "{verdict:?}");
    let by_swing = by_large_motion(&verdict);
    assert!((by_swing / faded - 1.0).abs() < 0.01, "{by_swing} against {faded} at {angle} rad");
    let turned = by_large_motion(&judge.judge(&claim("flap angle", 1.0, "rad", 0.01)));
    assert!((turned / angle - 1.0).abs() < 0.01, "{turned} against {angle}");
}
