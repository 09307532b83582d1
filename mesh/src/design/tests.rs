//! Reading: what is wrong is named with its place, and everything else is still read.

use super::*;
use crate::board::fault::FaultList;

fn faults_of(text: &str) -> Vec<crate::board::Fault> {
    let mut faults = FaultList::new("d.toml", text);
    let _ = read(text, &mut faults);
    faults.finish(()).err().map(|f| f.list).unwrap_or_default()
}

#[test]
fn unknown_fields_in_several_tables_are_all_named() {
    let text = "[[layer]]\nname = \"a\"\nmaterial = \"fr4\"\nkind = \"film\"\nthicknes = \"18 um\"\ncolour = 3\n\n[shape]\na = 1\n";
    let list = faults_of(text);
    let got: Vec<_> = list.iter().map(|f| (f.line, f.rule.as_str(), f.remedy.as_str())).collect();
    assert_eq!(
        got,
        [
            (5, "unknown field `thicknes`", "did you mean `thickness`?"),
            (
                6,
                "unknown field `colour`",
                "use one of: name, material, kind, thickness, where, except, seat, bottom, direction"
            ),
            (8, "unknown table `shape`", "did you mean `shapes`?"),
        ]
    );
}

#[test]
fn nested_fields_are_repaired_too() {
    let list = faults_of(
        "[shapes]\na = { rectangle = { from = [\"0 mm\", \"0 mm\"], too = [\"1 mm\", \"1 mm\"] } }\n",
    );
    let got: Vec<_> = list.iter().map(|f| (f.line, f.column, f.rule.as_str())).collect();
    assert_eq!(got, [(2, 46, "unknown field `too`")], "taken for `to`, which is not missing then");
}

#[test]
fn a_misspelt_field_is_read_as_the_one_that_was_meant() {
    let layer = |fields: &str| {
        let list =
            faults_of(&format!("[[layer]]\nname = \"a\"\nmaterial = \"fr4\"\nkind = \"film\"\n{fields}"));
        list.into_iter().map(|f| (f.line, f.rule)).collect::<Vec<_>>()
    };
    let unknown = |line| (line, "unknown field `thicknes`".to_owned());
    // Its value is judged too, by whoever takes it; here nothing more is wrong.
    assert_eq!(layer("thicknes = \"18 um\"\n"), [unknown(5)]);
    // Where the right one stands beside it, the misspelt one is only in the way.
    assert_eq!(layer("thickness = \"18 um\"\nthicknes = \"19 um\"\n"), [unknown(6)]);
    // Far from every name it stands for none.
    assert_eq!(
        layer("height = \"18 um\"\n"),
        [(1, "missing field `thickness`".to_owned()), (5, "unknown field `height`".to_owned())]
    );
}

#[test]
fn syntax_faults_show_line_and_text() {
    let list = faults_of("title = \"x\"\nthickness = 18 um\n");
    assert_eq!((list.len(), list[0].line), (1, 2), "{list:?}");
    assert!(list[0].rule.starts_with("this is not TOML"), "{list:?}");
}

#[test]
fn schema_describes_tables_and_refuses_others() {
    let schema = schema();
    for part in [
        "\"additionalProperties\": false",
        "Thickness; copper weights such as",
        "\"layer\"",
        "rounded_rectangle",
    ] {
        assert!(schema.contains(part), "{part} not in the schema");
    }
}
