//! What the program says and how it ends: help, errors with place and remedy, exit codes, interrupted output.

use crate::runs::{Ended, SMALL, Scratch, arg, example, names_in, program, run};
use std::process::Stdio;

/// The run ended in an error that has all the words, and printed no result.
#[track_caller]
fn refused(ended: &Ended, words: &[&str]) {
    assert_eq!(ended.code, Some(2), "exit code; said: {}{}", ended.out, ended.err);
    for word in words {
        assert!(ended.err.contains(word), "'{word}' is missing in: {}", ended.err);
    }
    assert!(ended.out.is_empty(), "an error printed results: {}", ended.out);
    assert!(!ended.err.contains("panicked"), "{}", ended.err);
}

#[test]
fn help_names_every_verb() {
    let ended = run(&["--help"]);
    assert_eq!(ended.code, Some(0), "exit code of help");
    for verb in ["bend", "modes", "check", "mesh", "matrices", "verify", "schema"] {
        assert!(ended.out.contains(verb), "'{verb}' is missing in: {}", ended.out);
    }
}

#[test]
fn unknown_verb_and_missing_argument_are_errors() {
    for args in [&["fold"][..], &[], &["bend"], &["bend", "x.toml", "--scale", "-5"]] {
        let ended = run(args);
        assert_eq!(ended.code, Some(2), "{args:?}: {}", ended.err);
        assert!(!ended.err.is_empty(), "{args:?} says nothing");
    }
}

#[test]
fn missing_design_is_named() {
    refused(&run(&["bend", "no/such/vane.toml"]), &["no/such/vane.toml", "check the path"]);
}

#[test]
fn folder_in_place_of_a_design_is_named() {
    let scratch = Scratch::new("folder");
    refused(&run(&["check", arg(&scratch.0)]), &["this is a folder"]);
}

#[test]
fn empty_design_is_an_error_with_its_place() {
    let scratch = Scratch::new("empty");
    let design = scratch.file("empty.toml", "");
    refused(&run(&["bend", arg(&design)]), &["empty.toml:1:1"]);
    assert_eq!(names_in(&scratch.0), ["empty.toml"], "an error left something behind");
}

#[test]
fn huge_file_is_refused_without_reading_it() {
    let scratch = Scratch::new("huge");
    let path = scratch.path("huge.toml");
    // A sparse file of a terabyte: reading it whole would be noticed.
    let file = std::fs::File::create(&path).expect("a file");
    if file.set_len(1 << 40).or_else(|_| file.set_len(1 << 30)).is_ok() {
        refused(&run(&["check", arg(&path)]), &["huge.toml", "too large"]);
    }
}

#[cfg(unix)]
#[test]
fn endless_device_is_refused() {
    refused(&run(&["check", "/dev/zero"]), &["/dev/zero", "too large"]);
}

#[test]
fn text_in_another_encoding_is_refused_with_its_line() {
    let scratch = Scratch::new("latin");
    let path = scratch.path("latin.toml");
    std::fs::write(&path, b"title = \"x\"\n# 18 \xb5m\n").expect("a file");
    refused(&run(&["check", arg(&path)]), &["latin.toml:2", "UTF-8"]);
}

#[test]
fn all_faults_are_reported_together_with_line_and_remedy() {
    let scratch = Scratch::new("faults");
    let text = SMALL
        .replace("thickness = \"18 um\"", "thickness = \"-18 um\"")
        .replace("width = \"0.4 mm\"", "widht = \"0.4 mm\"");
    let text = text.replace("force = [\"0 mN\", \"0 mN\", \"0.3 mN\"]", "force = [0, 0, 0.3]");
    let design = scratch.file("faults.toml", &text);
    let line = |needle: &str| {
        let n = text.lines().position(|l| l.contains(needle)).expect("the fault is in the text") + 1;
        format!("faults.toml:{n}:")
    };
    let ended = run(&["bend", arg(&design)]);
    refused(&ended, &[&line("-18 um"), &line("widht"), &line("force = [0"), "width", "remedy"]);
    assert_eq!(names_in(&scratch.0), ["faults.toml"], "an error left something behind");
}

#[test]
fn file_in_place_of_the_output_folder_is_refused_before_the_solve() {
    let scratch = Scratch::new("in-the-way");
    let design = scratch.file("arm.toml", SMALL);
    let taken = scratch.file("taken", "mine");
    refused(&run(&["bend", arg(&design), "--out", arg(&taken)]), &["taken", "not a folder", "--out"]);
    refused(&run(&["bend", arg(&design), "--out", arg(&taken.join("below"))]), &["taken"]);
    assert_eq!(std::fs::read_to_string(&taken).expect("still there"), "mine", "the file was touched");
}

#[cfg(unix)]
#[test]
fn full_disk_leaves_nothing_half_written() {
    let scratch = Scratch::new("full");
    let design = scratch.file("arm.toml", SMALL);
    let out = scratch.path("results");
    // A limit on the size of files (in blocks of 512 bytes) stands in for a full disk.
    let script = "trap '' XFSZ; ulimit -f 2; exec \"$0\" bend \"$1\" --one-mesh --out \"$2\"";
    let ended: Ended = std::process::Command::new("sh")
        .args(["-c", script, env!("CARGO_BIN_EXE_copperbend"), arg(&design), arg(&out)])
        .output()
        .expect("a shell")
        .into();
    refused(&ended, &["results", "cannot write"]);
    assert!(!out.exists(), "left behind: {:?}", names_in(&out));
}

#[cfg(target_os = "linux")]
#[test]
fn results_that_cannot_be_printed_are_an_error() {
    let full = std::fs::OpenOptions::new().write(true).open("/dev/full").expect("the full device");
    let status = program(&["schema"]).stdout(full).stderr(Stdio::null()).status().expect("runs");
    assert_eq!(status.code(), Some(2), "a full standard output went unnoticed");
}

#[test]
fn reader_that_leaves_early_is_no_error() {
    let mut child = program(&["schema"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    drop(child.stdout.take());
    let ended: Ended = child.wait_with_output().expect("ends").into();
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    assert!(ended.err.is_empty(), "{}", ended.err);
}

#[test]
fn names_in_any_script_work() {
    let scratch = Scratch::new("names");
    let design = scratch.file("пластина \u{b5}.toml", SMALL);
    let ended = run(&["bend", arg(&design), "--one-mesh", "--no-modulus-span"]);
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    let out = scratch.path("пластина \u{b5}-bend");
    assert!(names_in(&out).contains(&"results.json".to_owned()), "{:?}", names_in(&out));
    assert!(ended.out.contains("пластина"), "the folder is not named: {}", ended.out);
}

#[test]
fn limit_of_the_user_exceeded_gives_exit_code_one_and_all_results() {
    let scratch = Scratch::new("limit");
    let quick = |design: &std::path::Path| {
        run(&["bend", arg(design), "--one-mesh", "--no-modulus-span", "--no-pictures"])
    };
    let strict = scratch.file("strict.toml", &format!("{SMALL}\n[limits]\ncopper_strain = \"0.0001 %\"\n"));
    let ended = quick(&strict);
    assert_eq!(ended.code, Some(1), "{}{}", ended.out, ended.err);
    assert!(ended.out.contains("EXCEEDED"), "{}", ended.out);
    assert!(scratch.path("strict-bend").join("results.json").exists(), "results are missing");
    let wide = scratch.file("wide.toml", &format!("{SMALL}\n[limits]\ncopper_strain = \"50 %\"\n"));
    let ended = quick(&wide);
    assert_eq!(ended.code, Some(0), "{}{}", ended.out, ended.err);
    assert!(ended.out.contains("kept"), "{}", ended.out);
}

#[test]
fn bend_table_gives_figures_with_units_places_and_error() {
    let scratch = Scratch::new("table");
    let design = scratch.file("arm.toml", SMALL);
    let ended = run(&["bend", arg(&design), "--one-mesh", "--no-pictures"]);
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    for words in [
        "\u{b5}m/m",
        "\u{b1}",
        "supply, plus",
        "copper top",
        "x, mm",
        "good digits",
        "leaves out",
        "triangles",
    ] {
        assert!(ended.out.contains(words), "'{words}' is missing in:\n{}", ended.out);
    }
    let foot = ended.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(foot.ends_with("Follow local rules and the makers' safety sheets."), "foot: {foot}");
    let low = ended.out.to_lowercase();
    for banned in ["navg", "spr ", " raw ", "averaged", "increment", "substep"] {
        assert!(!low.contains(banned), "'{banned}' reached the screen:\n{}", ended.out);
    }
}

#[test]
fn magnets_and_current_bring_their_cautions() {
    let scratch = Scratch::new("cautions");
    let out = scratch.path("out");
    let design = example("one_arm_vane");
    let ended =
        run(&["bend", arg(&design), "--one-mesh", "--no-modulus-span", "--no-pictures", "--out", arg(&out)]);
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    let low = ended.out.to_lowercase();
    for words in ["cautions", "implant", "burn", "torque constant", "n\u{b7}m/a", "flap angle"] {
        assert!(low.contains(words), "'{words}' is missing in:\n{}", ended.out);
    }
}

#[test]
fn check_shows_areas_mass_resistance_and_sourced_advice() {
    let ended = run(&["check", arg(&example("one_arm_vane")), "--at", "2,0", "--at=-3.5,0.5"]);
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    for words in [
        "mm\u{b2}",
        "mass of the layers",
        "ohm",
        "Stack at x 2.000 mm",
        "Stack at x -3.500 mm",
        "advice",
        "[",
    ] {
        assert!(ended.out.contains(words), "'{words}' is missing in:\n{}", ended.out);
    }
}

#[test]
fn check_refuses_a_point_off_the_board() {
    refused(&run(&["check", arg(&example("plain_strip")), "--at", "500,0"]), &["500,0", "outline"]);
}

#[test]
fn schema_is_json_that_refuses_unknown_fields() {
    let ended = run(&["schema"]);
    let schema: serde_json::Value = serde_json::from_str(&ended.out).expect("valid JSON");
    assert_eq!(schema["additionalProperties"], serde_json::Value::Bool(false), "unknown fields are refused");
    assert!(schema["properties"]["layer"].is_object(), "layers are described");
    let scratch = Scratch::new("schema");
    let file = scratch.path("design.schema.json");
    assert_eq!(run(&["schema", "--out", arg(&file)]).code, Some(0), "writes a file");
    assert_eq!(std::fs::read_to_string(&file).expect("written"), ended.out, "same text in the file");
}

#[test]
fn verify_prints_target_result_and_source() {
    let ended = run(&["verify", "patch-membrane"]);
    assert_eq!(ended.code, Some(0), "{}{}", ended.out, ended.err);
    for words in ["target", "result", "ratio", "tolerance", "pass", "Sources"] {
        assert!(ended.out.contains(words), "'{words}' is missing in:\n{}", ended.out);
    }
    refused(&run(&["verify", "no-such-problem"]), &["no-such-problem", "patch-membrane"]);
}

/// A step of 2 um in the outline is shorter than anything that can be made: the verbs that mesh say that it closed.
#[test]
fn points_that_became_one_are_named_with_their_place() {
    let scratch = Scratch::new("merged");
    let whole = r#"body = { rectangle = { from = ["-2 mm", "-0.6 mm"], to = ["6 mm", "0.6 mm"] } }"#;
    let stepped = r#"
strip = { rectangle = { from = ["-2 mm", "-0.6 mm"], to = ["6 mm", "0.6 mm"] } }
wider = { rectangle = { from = ["5.2 mm", "-0.602 mm"], to = ["6 mm", "0.6 mm"] } }
body = { union = ["strip", "wider"] }"#;
    let text = SMALL.replace(whole, stepped);
    let text = text.replace(
        r#"to = ["6 mm", "0.6 mm"] } }
[outline]"#,
        r#"to = ["5 mm", "0.6 mm"] } }
[outline]"#,
    );
    let text = text.replace(r#"tip = ["6 mm", "0 mm"]"#, r#"tip = ["5 mm", "0 mm"]"#);
    let design = scratch.file("stepped.toml", &text);
    let plain = scratch.file("plain.toml", SMALL);
    let out = scratch.path("out");
    for verb in [&["check"][..], &["mesh", "--out", arg(&out)], &["bend", "--one-mesh", "--out", arg(&out)]] {
        let ended = run(&[verb, &[arg(&design)]].concat());
        let flat = ended.out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(ended.code, Some(0), "{verb:?}: {}", ended.err);
        for words in ["points 2.0 um apart at (5.200 mm, -0.60", "on edges of the outline", "2.5 um apart"] {
            assert!(flat.contains(words), "{verb:?}: '{words}' is missing in: {}", ended.out);
        }
        let ended = run(&[verb, &[arg(&plain)]].concat());
        assert!(!ended.out.contains("became one"), "{verb:?}: nothing is that close: {}", ended.out);
    }
}
