//! `modes` from the command line: files, table, another board beside it, refusals.

use crate::runs::{SMALL, Scratch, arg, example, run};

#[test]
fn modes_writes_its_files_and_table() {
    let scratch = Scratch::new("modes");
    let design = scratch.file("small.toml", SMALL);
    let out = scratch.path("out");
    let ended = run(&["modes", arg(&design), "--count", "3", "--out", arg(&out)]);
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    let screen = ended.out;
    for words in
        ["frequency, Hz", "in vacuum, Hz", "Shares of the kinetic energy", "none is missed", "mode_01.png"]
    {
        assert!(screen.contains(words), "'{words}' is missing:\n{screen}");
    }
    let csv = std::fs::read_to_string(out.join("modes.csv")).expect("modes.csv");
    let rows: Vec<&str> = csv.lines().collect();
    assert_eq!(rows.len(), 4, "heading and three modes:\n{csv}");
    // Names may hold commas: those between quotes part no cells.
    let parted = |row: &str| row.split('"').step_by(2).map(|p| p.matches(',').count()).sum::<usize>();
    assert!(rows.iter().all(|row| parted(row) == parted(rows[0])), "cells:\n{csv}");
    let json: serde_json::Value =
        serde_json::from_slice(&std::fs::read(out.join("results.json")).expect("results.json"))
            .expect("JSON");
    let first = &json["report"]["answers"][0]["modes"][0];
    // A clamped strip of 6 x 1.2 mm: 25 um polyimide with some copper swings at several hundred hertz.
    let hz = first["frequency_hz"].as_f64().expect("a frequency");
    assert!((100.0..2000.0).contains(&hz), "{hz} Hz");
    assert!(first["frequency_error_hz"].as_f64().is_some_and(|e| e >= 0.0 && e < 0.1 * hz), "{first}");
    for name in ["mode_01.png", "mode_03.png", "modes.vtu"] {
        let bytes = std::fs::read(out.join(name)).expect(name);
        assert!(bytes.len() > 5000, "{name} holds {} bytes", bytes.len());
    }
    let vtu = std::fs::read_to_string(out.join("modes.vtu")).expect("text");
    assert!(vtu.contains("mode 1 ") && vtu.contains("rotation, rad"), "shapes in the mesh file");
    assert_eq!(vtu.matches("<DataArray").count(), vtu.matches("</DataArray>").count(), "whole arrays");
}

#[test]
fn another_board_stands_beside() {
    let scratch = Scratch::new("against");
    // On one mesh each, for speed.
    let [one, two] = ["one_arm_vane", "two_arm_vane"].map(|name| {
        let text = std::fs::read_to_string(example(name)).expect("an example");
        scratch.file(&format!("{name}.toml"), &format!("{text}\n[mesh]\nmax_refinements = 0\n"))
    });
    let out = scratch.path("out");
    let ended = run(&["modes", arg(&one), "--against", arg(&two), "--count", "3", "--out", arg(&out)]);
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    assert!(ended.out.lines().all(|line| line.chars().count() <= 130), "lines too long:\n{}", ended.out);
    let screen = ended.out.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in [
        "roll over swing, stiffness",
        "times as stiff against roll",
        "a single arm can only twist",
        "against.png",
    ] {
        assert!(screen.contains(words), "'{words}' is missing:\n{screen}");
    }
}

#[test]
fn what_modes_refuses_it_names() {
    let scratch = Scratch::new("modes-refused");
    let design = scratch.file("small.toml", SMALL);
    let ended = run(&["modes", arg(&design), "--current", "5 mm"]);
    assert_eq!(ended.code, Some(2), "a length is no current");
    assert!(ended.err.contains("5 mm"), "{}", ended.err);
    let out = scratch.path("out");
    let ended = run(&["modes", arg(&design), "--current", "5 mA", "--out", arg(&out)]);
    assert_eq!(ended.code, Some(2), "no current path");
    assert!(ended.err.contains("[circuit]"), "{}", ended.err);
    assert!(!out.join("modes.csv").exists(), "nothing half-written");
}

/// Widths of an arm under one current: the example holds its own asserts, on which width is best and on what limits the
/// others.
#[test]
fn the_best_arm_width_lies_inside_and_moves_with_the_current() {
    crate::arm_width::main().unwrap();
}
