//! Bad input through the real program: exit code, place and remedy in the message, nothing half-written.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// A small driven vane without faults or remarks; every case spoils one thing.
const GOOD: &str = r#"
title = "Chopper vane for tests of bad input"
[shapes]
pad = { rectangle = { from = ["-3 mm", "-2 mm"], to = ["0 mm", "2 mm"] } }
strip = { rectangle = { from = ["-0.5 mm", "-0.5 mm"], to = ["4.5 mm", "0.5 mm"] } }
vane = { rectangle = { from = ["4 mm", "-2.5 mm"], to = ["9 mm", "2.5 mm"] } }
body = { union = ["pad", "strip", "vane"], fillet = "0.3 mm" }
held = { rectangle = { from = ["-3 mm", "-2 mm"], to = ["-0.5 mm", "2 mm"] } }
plate = { rectangle = { from = ["5 mm", "-2 mm"], to = ["8 mm", "2 mm"] } }
[outline]
shape = "body"
[[layer]]
name = "base film"
material = "polyimide_film"
kind = "film"
thickness = "25 um"
[[layer]]
name = "copper"
material = "copper_rolled_annealed"
kind = "copper"
thickness = "18 um"
[[layer]]
name = "cover"
material = "polyimide_film"
kind = "cover"
thickness = "12.5 um"
[[track]]
name = "out"
layer = "copper"
points = [["-2 mm", "0.25 mm"], ["6 mm", "0.25 mm"]]
width = "0.2 mm"
[[track]]
name = "back"
layer = "copper"
points = [["6 mm", "0.25 mm"], ["6 mm", "-0.25 mm"], ["-2 mm", "-0.25 mm"]]
width = "0.2 mm"
[circuit]
chain = ["out", "back"]
[drive]
current = "50 mA"
[[stiffener]]
name = "plate"
shape = "plate"
side = "above"
material = "fr4"
thickness = "0.1 mm"
bond = "bonded"
[[support]]
name = "holder"
kind = "clamp"
shape = "held"
[[arm]]
name = "arm"
shape = "strip"
root = ["0 mm", "0 mm"]
tip = ["4 mm", "0 mm"]
[flap]
shape = "vane"
[[magnet]]
name = "drive"
disc = { diameter = "4 mm", height = "1 mm" }
magnetisation = "axial"
remanence = "1.3 T"
centre = ["6.5 mm", "0 mm", "-2 mm"]
polarity = "up"
[gravity]
direction = [0, 0, -1]
[mesh]
coarse = "1 mm"
max_refinements = 0
"#;

/// A folder of its own for one test, removed at the end.
struct Scratch(PathBuf);

impl Scratch {
    fn new(name: &str) -> Self {
        let folder = std::env::temp_dir().join(format!("copperbend-refused-{}-{name}", std::process::id()));
        let _ = fs::remove_dir_all(&folder);
        fs::create_dir_all(&folder).unwrap();
        Self(folder)
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }

    fn write(&self, name: &str, text: &str) -> PathBuf {
        fs::write(self.path(name), text).unwrap();
        self.path(name)
    }

    /// Names of everything in the folder.
    fn names(&self) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(&self.0)
            .unwrap()
            .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

fn program() -> Command {
    Command::new(env!("CARGO_BIN_EXE_copperbend"))
}

/// One pass of `bend` without pictures.
fn bend(design: &Path, out: &Path) -> Output {
    let quick = ["--one-mesh", "--no-modulus-span", "--no-pictures", "--threads", "2"];
    program().arg("bend").arg(design).arg("--out").arg(out).args(quick).output().unwrap()
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn spoilt(good: &str, bad: &str) -> String {
    assert_eq!(GOOD.matches(good).count(), 1, "'{good}' stands once in the design");
    GOOD.replace(good, bad)
}

/// Runs a design that must be refused and returns what was said.
fn refusal(name: &str, text: &str, parts: &[&str]) -> String {
    let scratch = Scratch::new(name);
    let design = scratch.write("design.toml", text);
    let output = bend(&design, &scratch.path("out"));
    let message = said(&output);
    assert_eq!(output.status.code(), Some(2), "{name}: exit code of\n{message}");
    for part in parts {
        assert!(message.contains(part), "{name}: '{part}' is missing in\n{message}");
    }
    assert_eq!(scratch.names(), ["design.toml"], "{name}: something was written");
    assert!(!message.contains("panicked"), "{name}: {message}");
    message
}

/// A case spoilt at one place: the message must also name the line of that place.
fn refused(name: &str, (good, bad): (&str, &str), parts: &[&str]) {
    let text = spoilt(good, bad);
    let message = refusal(name, &text, parts);
    let first = text.lines().zip(GOOD.lines()).position(|(a, b)| a != b);
    let last = text.lines().rev().zip(GOOD.lines().rev()).position(|(a, b)| a != b);
    let (first, last) = (first.unwrap() + 1, text.lines().count() - last.unwrap());
    let named = (first..=last).any(|line| message.contains(&format!("design.toml:{line}:")));
    assert!(named, "{name}: none of lines {first} to {last} is named in\n{message}");
    assert!(message.contains("remedy:"), "{name}: no remedy in\n{message}");
}

#[test]
fn unspoilt_design_bends() {
    let scratch = Scratch::new("good");
    let design = scratch.write("design.toml", GOOD);
    let output = bend(&design, &scratch.path("out"));
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    for file in ["results.json", "spots.csv", "fields.vtu"] {
        let length = fs::metadata(scratch.path("out").join(file)).map(|facts| facts.len()).unwrap_or(0);
        assert!(length > 100, "{file} has {length} bytes");
    }
}

#[test]
fn unknown_field_offers_the_nearest_name() {
    refused("unknown-field", ("kind = \"film\"\nthickness", "kind = \"film\"\nthicknes"), &["`thickness`"]);
    refused("unknown-table", ("[gravity]", "[gravty]"), &["`gravity`"]);
    refused("unknown-shape", ("[outline]\nshape = \"body\"", "[outline]\nshape = \"bodi\""), &["`body`"]);
    refused("unknown-material", ("material = \"fr4\"", "material = \"fr5\""), &["fr4"]);
}

#[test]
fn missing_and_wrong_units_are_refused() {
    refused("no-unit", ("thickness = \"25 um\"", "thickness = \"25\""), &["unit", "um"]);
    refused("bare-number", ("thickness = \"25 um\"", "thickness = 25"), &["unit"]);
    refused("wrong-unit", ("thickness = \"25 um\"", "thickness = \"25 mA\""), &["25 mA", "um"]);
    refused("current-in-volts", ("current = \"50 mA\"", "current = \"50 mV\""), &["50 mV", "mA"]);
}

#[test]
fn thickness_must_be_above_zero() {
    for (name, bad) in [("zero", "0 um"), ("negative", "-25 um")] {
        let bad = format!("thickness = \"{bad}\"");
        refused(name, ("thickness = \"25 um\"", &bad), &["thickness", "above 0"]);
    }
}

#[test]
fn gap_between_layers_is_refused() {
    let seat = "thickness = \"12.5 um\"\nbottom = \"90 um\"";
    let text = spoilt("thickness = \"12.5 um\"", seat);
    refusal("gap", &text, &["gap", "cover", "remedy:"]);
}

#[test]
fn self_crossing_outline_is_refused() {
    let crossed = "body = { polygon = { points = [[\"-3 mm\", \"-2 mm\"], [\"9 mm\", \"2 mm\"], \
                   [\"9 mm\", \"-2 mm\"], [\"-3 mm\", \"2 mm\"]] } }";
    let good = "body = { union = [\"pad\", \"strip\", \"vane\"], fillet = \"0.3 mm\" }";
    refused("crossing", (good, crossed), &["`body`", "cross", "(3, 0)"]);
}

#[test]
fn shape_outside_the_outline_is_refused() {
    let good = "plate = { rectangle = { from = [\"5 mm\", \"-2 mm\"], to = [\"8 mm\", \"2 mm\"] } }";
    // A stiffener that overhangs is clipped with a remark; a track that does is a fault.
    let track = "points = [[\"-2 mm\", \"0.25 mm\"], [\"6 mm\", \"0.25 mm\"]]";
    let beyond = "points = [[\"-2 mm\", \"0.25 mm\"], [\"6 mm\", \"0.25 mm\"], [\"6 mm\", \"4 mm\"]]";
    let away = "plate = { rectangle = { from = [\"20 mm\", \"-2 mm\"], to = [\"28 mm\", \"2 mm\"] } }";
    refusal("beyond", &spoilt(track, beyond), &["'out'", "outline", "remedy:"]);
    refusal("away", &spoilt(good, away), &["`plate`", "does not touch the board", "remedy:"]);
}

#[test]
fn open_current_path_names_both_ends() {
    let good = "points = [[\"6 mm\", \"0.25 mm\"], [\"6 mm\", \"-0.25 mm\"]";
    let apart = "points = [[\"6.1 mm\", \"0.25 mm\"], [\"6 mm\", \"-0.25 mm\"]";
    let text = spoilt(good, apart);
    refusal("open", &text, &["open", "'out'", "6.0000", "'back'", "6.1000", "0.1000 mm", "remedy:"]);
    // A pad that moves is no pad.
    let moving = "[\"6 mm\", \"-0.25 mm\"], [\"1 mm\", \"-0.25 mm\"]]";
    let text = spoilt("[\"6 mm\", \"-0.25 mm\"], [\"-2 mm\", \"-0.25 mm\"]]", moving);
    refusal("moving-pad", &text, &["open", "clamp", "remedy:"]);
}

#[test]
fn track_touching_a_magnet_is_refused() {
    let good = "centre = [\"6.5 mm\", \"0 mm\", \"-2 mm\"]";
    refused("touch", (good, "centre = [\"6.5 mm\", \"0 mm\", \"0 mm\"]"), &["touches magnet 'drive'", "mm"]);
}

#[test]
fn unsupported_boards_are_refused_and_named() {
    let good = "body = { union = [\"pad\", \"strip\", \"vane\"], fillet = \"0.3 mm\" }";
    let island = "isle = { circle = { centre = [\"12 mm\", \"0 mm\"], diameter = \"2 mm\" } }\n\
                  body = { union = [\"pad\", \"strip\", \"vane\", \"isle\"], fillet = \"0.3 mm\" }";
    refusal("island", &spoilt(good, island), &["'isle'", "not connected", "remedy:"]);
    let support = "[[support]]\nname = \"holder\"\nkind = \"clamp\"\nshape = \"held\"\n";
    refusal("no-support", &spoilt(support, ""), &["nothing is clamped", "[[support]]", "remedy:"]);
}

#[test]
fn nan_and_infinity_are_refused() {
    refused("nan-text", ("thickness = \"25 um\"", "thickness = \"nan um\""), &["nan"]);
    refused("nan-number", ("direction = [0, 0, -1]", "direction = [0, 0, nan]"), &["nan"]);
    refused("infinite", ("remanence = \"1.3 T\"", "remanence = \"inf T\""), &["inf"]);
    refused("overflow", ("thickness = \"25 um\"", "thickness = \"1e999 um\""), &["1e999"]);
}

#[test]
fn files_that_are_no_design_are_refused() {
    refusal("empty", "", &["design.toml", "empty"]);
    refusal("not-toml", "title = \"open\n", &["design.toml:1:"]);
    let scratch = Scratch::new("no-design");
    let out = scratch.path("out");
    let missing = bend(&scratch.path("absent.toml"), &out);
    assert_eq!(missing.status.code(), Some(2), "{}", said(&missing));
    assert!(said(&missing).contains("absent.toml"), "{}", said(&missing));
    let folder = bend(&scratch.0, &out);
    assert_eq!(folder.status.code(), Some(2), "{}", said(&folder));
    assert!(said(&folder).contains("folder"), "{}", said(&folder));
    fs::write(scratch.path("picture.toml"), [0x89, 0x50, 0xff, 0xfe, 0x00]).unwrap();
    let binary = bend(&scratch.path("picture.toml"), &out);
    assert_eq!(binary.status.code(), Some(2), "{}", said(&binary));
    assert!(said(&binary).contains("UTF-8"), "{}", said(&binary));
    // A file of 64 MB is not read; it has no blocks on the disk.
    let huge = fs::File::create(scratch.path("huge.toml")).unwrap();
    huge.set_len(64 << 20).unwrap();
    let huge = bend(&scratch.path("huge.toml"), &out);
    assert_eq!(huge.status.code(), Some(2), "{}", said(&huge));
    assert!(said(&huge).contains("too large"), "{}", said(&huge));
    assert!(!out.exists(), "something was written");
}

#[test]
fn all_faults_are_reported_together() {
    let text = GOOD
        .replace("thickness = \"25 um\"", "thickness = \"0 um\"")
        .replace("current = \"50 mA\"", "current = \"50\"")
        .replace("material = \"fr4\"", "material = \"fr5\"")
        .replace("name = \"arm\"", "name = \"arm\"\ncolour = \"green\"");
    let message = refusal("together", &text, &["above 0", "unit", "fr4", "colour"]);
    let places = message.matches("design.toml:").count();
    assert!(places >= 4, "{places} places in\n{message}");
    assert_eq!(message.matches("remedy:").count(), places, "a remedy for every fault in\n{message}");
}

#[test]
fn folder_that_cannot_be_made_is_refused() {
    let scratch = Scratch::new("folder");
    let design = scratch.write("design.toml", GOOD);
    let file = scratch.write("file", "in the way");
    // Permissions do not stop every user; a file in the way does, and so does the kernel's own file system.
    let mut places = vec![file.clone(), file.join("below")];
    if cfg!(target_os = "linux") {
        places.push(PathBuf::from("/proc/copperbend-results"));
    }
    for place in places {
        let output = bend(&design, &place);
        let message = said(&output);
        assert_eq!(output.status.code(), Some(2), "{message}");
        assert!(message.contains(&place.display().to_string()), "{message}");
        assert!(message.contains("--out") || message.contains("path"), "no remedy in {message}");
    }
    assert_eq!(fs::read_to_string(&file).unwrap(), "in the way", "the file in the way is untouched");
}

/// A write that fails half-way: the limit on file size stops it (no privileges needed).
#[cfg(target_os = "linux")]
#[test]
fn write_that_fails_leaves_earlier_results_whole() {
    let scratch = Scratch::new("half");
    let design = scratch.write("design.toml", GOOD);
    let out = scratch.path("out");
    fs::create_dir(&out).unwrap();
    fs::write(out.join("results.json"), "earlier").unwrap();
    let run = Command::new("sh")
        .arg("-c")
        .arg("trap '' XFSZ; ulimit -f 4; exec \"$0\" bend \"$1\" --out \"$2\" --one-mesh --no-pictures --no-modulus-span")
        .args([Path::new(env!("CARGO_BIN_EXE_copperbend")), &design, &out])
        .output()
        .unwrap();
    let message = said(&run);
    assert_eq!(run.status.code(), Some(2), "{message}");
    assert!(message.contains("cannot write") && message.contains("out"), "{message}");
    assert_eq!(fs::read_to_string(out.join("results.json")).unwrap(), "earlier", "earlier result");
    assert_eq!(fs::read_dir(&out).unwrap().count(), 1, "something was left behind");
}

/// A disk that is really full, where a user may mount one of 16 kB in a name space of their own.
#[cfg(target_os = "linux")]
#[test]
fn full_disk_is_named_and_left_clean() {
    let scratch = Scratch::new("full");
    let design = scratch.write("design.toml", GOOD);
    let disk = scratch.path("disk");
    fs::create_dir(&disk).unwrap();
    let script = "mount -t tmpfs -o size=16k none \"$2\" || exit 77; \
                  \"$0\" bend \"$1\" --out \"$2/out\" --one-mesh --no-pictures --no-modulus-span; code=$?; \
                  ls -A \"$2\"; exit $code";
    let run = Command::new("unshare")
        .args(["--map-root-user", "--mount", "sh", "-c", script])
        .args([Path::new(env!("CARGO_BIN_EXE_copperbend")), &design, &disk])
        .output();
    match run.ok().and_then(|run| run.status.code().map(|code| (code, run))) {
        Some((2, run)) => {
            let message = said(&run);
            assert!(message.contains("disk") && message.contains("space"), "{message}");
            assert_eq!(String::from_utf8_lossy(&run.stdout).trim(), "", "left on the full disk");
        }
        Some((0, run)) => panic!("16 kB took all results: {}", String::from_utf8_lossy(&run.stdout)),
        // No such command here, or name spaces are forbidden: the check above on half-written files stands.
        _ => {}
    }
    // The screen may be a full disk as well.
    let full = fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    let run = program().arg("schema").stdout(full).output().unwrap();
    let message = said(&run);
    assert_eq!(run.status.code(), Some(2), "{message}");
    assert!(!message.is_empty() && !message.contains("panicked"), "{message}");
}

/// Runs a design that must pass with a remark, and returns the screen.
fn remarked(name: &str, text: &str, parts: &[&str]) {
    let scratch = Scratch::new(name);
    let design = scratch.write("design.toml", text);
    let output = bend(&design, &scratch.path("out"));
    let screen = String::from_utf8_lossy(&output.stdout).into_owned() + &said(&output);
    assert_eq!(output.status.code(), Some(0), "{name}: exit code of\n{screen}");
    for part in parts {
        assert!(screen.contains(part), "{name}: '{part}' is missing in\n{screen}");
    }
    assert!(scratch.path("out").join("results.json").exists(), "{name}: results are written");
}

#[test]
fn doubtful_designs_pass_with_remarks() {
    let good = "plate = { rectangle = { from = [\"5 mm\", \"-2 mm\"], to = [\"8 mm\", \"2 mm\"] } }";
    let thin = "plate = { rectangle = { from = [\"5 mm\", \"-2 mm\"], to = [\"8.996 mm\", \"2 mm\"] } }";
    remarked("thin", &spoilt(good, thin), &["thin feature", "plate"]);
    let cover = "[[layer]]\nname = \"cover\"\nmaterial = \"polyimide_film\"\nkind = \"cover\"\nthickness = \"12.5 um\"\n";
    remarked("bare", &spoilt(cover, ""), &["bare", "copper"]);
    let own = "[materials.odd]\nlike = \"polyimide_film\"\nyoungs_modulus = \"90 GPa\"\n[outline]\n";
    let text = spoilt("[outline]\n", own).replace("material = \"fr4\"", "material = \"odd\"");
    remarked("span", &text, &["youngs_modulus", "'odd'", "outside the plausible span"]);
    let text = spoilt("coarse = \"1 mm\"", "coarse = \"2 mm\"\nfine = \"0.5 mm\"\nacross_arm = 1");
    remarked("coarse", &text, &["did not settle", "max_refinements"]);
}

#[test]
fn exceeded_limit_gives_exit_code_1_with_results() {
    for (name, limit) in [
        ("strain", "copper_strain = \"0.00001 %\""),
        ("angle", "flap_angle = \"0.0001 deg\""),
        ("current", "current = \"10 mA\""),
    ] {
        let scratch = Scratch::new(&format!("limit-{name}"));
        let design = scratch.write("design.toml", &format!("{GOOD}[limits]\n{limit}\n"));
        let output = bend(&design, &scratch.path("out"));
        assert_eq!(output.status.code(), Some(1), "{name}: {}", said(&output));
        let screen = String::from_utf8_lossy(&output.stdout);
        assert!(screen.contains(name) && screen.contains("limit"), "{name}: {screen}");
        assert!(scratch.path("out").join("results.json").exists(), "{name}: results are written");
    }
    let scratch = Scratch::new("limit-kept");
    let design = scratch.write("design.toml", &format!("{GOOD}[limits]\ncopper_strain = \"50 %\"\n"));
    let output = bend(&design, &scratch.path("out"));
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
}

#[test]
fn command_line_mistakes_are_refused() {
    for arguments in [
        vec!["bned"],
        vec!["bend"],
        vec!["bend", "x.toml", "--scale", "nan"],
        vec!["--threads", "0", "schema"],
    ] {
        let output = program().args(&arguments).output().unwrap();
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {}", said(&output));
        assert!(!said(&output).is_empty(), "{arguments:?}: nothing was said");
    }
}
