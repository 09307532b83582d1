//! Ctrl-C in the middle of a run: exit code 130, at once, nothing half-written.

#![cfg(unix)]

use crate::runs::{Ended, Scratch, arg, example, names_in, program};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Starts work that takes seconds, interrupts it after `wait`, and returns how it ended and how long it took to end.
fn interrupted(work: &[&str], out: &Path, wait: Duration) -> (Ended, Duration) {
    let mut child = program(work);
    let child = child
        .args(["--out", arg(out)])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    std::thread::sleep(wait);
    let sent = Instant::now();
    let kill = Command::new("kill").args(["-INT", &child.id().to_string()]).status();
    assert!(kill.expect("kill runs").success(), "the run had ended before it was interrupted");
    let ended = child.wait_with_output().expect("the program ends").into();
    (ended, sent.elapsed())
}

#[test]
fn interrupt_ends_the_run_and_leaves_no_trace() {
    let scratch = Scratch::new("interrupt");
    let text = std::fs::read_to_string(example("one_arm_vane")).expect("the example");
    let fine =
        "\n[mesh]\ncoarse = \"0.06 mm\"\nfine = \"0.03 mm\"\nmax_refinements = 0\nmax_triangles = 900000\n";
    let design = scratch.file("vane.toml", &format!("{text}{fine}"));
    let (ended, took) =
        interrupted(&["bend", arg(&design)], &scratch.path("new/deeper"), Duration::from_millis(700));
    assert_eq!(ended.code, Some(130), "{}{}", ended.out, ended.err);
    assert!(took < Duration::from_secs(5), "it went on for {took:?}");
    assert!(ended.err.contains("nothing was written"), "{}", ended.err);
    assert_eq!(ended.out, "", "no table of a run that was stopped");
    assert!(!scratch.path("new").exists(), "a folder stayed behind");

    let kept = scratch.path("kept");
    std::fs::create_dir(&kept).expect("a folder");
    std::fs::write(kept.join("results.json"), "earlier").expect("writes");
    let (ended, _) = interrupted(&["bend", arg(&design)], &kept, Duration::from_millis(300));
    assert_eq!(ended.code, Some(130), "{}{}", ended.out, ended.err);
    assert_eq!(names_in(&kept), ["results.json"], "something was left in the folder");
    let text = std::fs::read_to_string(kept.join("results.json")).expect("reads");
    assert_eq!(text, "earlier", "an earlier result was touched");
}

/// Ten thousand variants, stopped in the middle: no table, no half of one.
#[test]
fn interrupt_ends_a_study_of_variants_and_leaves_no_trace() {
    let scratch = Scratch::new("interrupt-vary");
    let design = example("one_arm_vane");
    let work = [
        "vary",
        arg(&design),
        "--change",
        "layer[copper top].thickness = 9 um .. 35 um : 100",
        "--change",
        "shapes.arm.rectangle.to[1] = 0.9 mm .. 1.2 mm : 100",
    ];
    let kept = scratch.path("kept");
    std::fs::create_dir(&kept).expect("a folder");
    std::fs::write(kept.join("variants.csv"), "earlier").expect("writes");
    let (ended, took) = interrupted(&work, &kept, Duration::from_millis(1500));
    assert_eq!(ended.code, Some(130), "{}{}", ended.out, ended.err);
    assert!(took < Duration::from_secs(5), "it went on for {took:?}");
    assert!(ended.err.contains("nothing was written") && ended.out.is_empty(), "{}{}", ended.out, ended.err);
    assert_eq!(names_in(&kept), ["variants.csv"], "something was left in the folder");
    let text = std::fs::read_to_string(kept.join("variants.csv")).expect("reads");
    assert_eq!(text, "earlier", "an earlier table was touched");
}
