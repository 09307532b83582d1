//! Ctrl-C in the middle of a run: exit code 130, at once, nothing half-written.

#![cfg(unix)]

use crate::runs::{Ended, Scratch, arg, example, names_in, program};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Starts `bend` on a mesh that takes seconds, interrupts it after `wait`, and returns how it ended and how long
/// it took to end.
fn interrupted(design: &Path, out: &Path, wait: Duration) -> (Ended, Duration) {
    let child = program(&["bend", arg(design), "--out", arg(out)])
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
    let (ended, took) = interrupted(&design, &scratch.path("new/deeper"), Duration::from_millis(700));
    assert_eq!(ended.code, Some(130), "{}{}", ended.out, ended.err);
    assert!(took < Duration::from_secs(5), "it went on for {took:?}");
    assert!(ended.err.contains("nothing was written"), "{}", ended.err);
    assert_eq!(ended.out, "", "no table of a run that was stopped");
    assert!(!scratch.path("new").exists(), "a folder stayed behind");

    let kept = scratch.path("kept");
    std::fs::create_dir(&kept).expect("a folder");
    std::fs::write(kept.join("results.json"), "earlier").expect("writes");
    let (ended, _) = interrupted(&design, &kept, Duration::from_millis(300));
    assert_eq!(ended.code, Some(130), "{}{}", ended.out, ended.err);
    assert_eq!(names_in(&kept), ["results.json"], "something was left in the folder");
    let text = std::fs::read_to_string(kept.join("results.json")).expect("reads");
    assert_eq!(text, "earlier", "an earlier result was touched");
}
