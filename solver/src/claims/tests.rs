//! Reading of claims, and judgement on the plain strip.

use super::*;
use crate::model::fixture::{Sheet, line_force, strip};
use copperbend_mesh::board::LayerKind;

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
