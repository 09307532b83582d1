//! Shared by the tests that run the program: a scratch folder, a small design, and how a run ended.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::atomic::{AtomicU32, Ordering};

static COUNT: AtomicU32 = AtomicU32::new(0);

/// A folder of its own for one test, removed at the end.
pub(crate) struct Scratch(pub(crate) PathBuf);

impl Scratch {
    pub(crate) fn new(name: &str) -> Self {
        let n = COUNT.fetch_add(1, Ordering::Relaxed);
        let folder =
            Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("{name}-{}-{n}", std::process::id()));
        std::fs::create_dir_all(&folder).expect("a scratch folder");
        Self(folder)
    }

    /// Writes a file and returns its path.
    pub(crate) fn file(&self, name: &str, text: &str) -> PathBuf {
        let path = self.0.join(name);
        std::fs::write(&path, text).expect("the scratch folder takes files");
        path
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// A narrow arm with one track, pushed at its end; coarse, so that a run takes a moment only.
pub(crate) const SMALL: &str = r#"
title = "Small arm"
[shapes]
body = { rectangle = { from = ["-2 mm", "-0.6 mm"], to = ["6 mm", "0.6 mm"] } }
held = { rectangle = { from = ["-2 mm", "-0.6 mm"], to = ["0 mm", "0.6 mm"] } }
arm  = { rectangle = { from = ["0 mm", "-0.6 mm"], to = ["6 mm", "0.6 mm"] } }
[outline]
shape = "body"
[[layer]]
name = "base film"
material = "polyimide_film"
kind = "film"
thickness = "25 um"
[[layer]]
name = "copper top"
material = "copper_rolled_annealed"
kind = "copper"
thickness = "18 um"
[[track]]
name = "supply, plus"
layer = "copper top"
points = [["-1.5 mm", "0.1 mm"], ["5.5 mm", "0.1 mm"]]
width = "0.4 mm"
[[support]]
name = "holder"
kind = "clamp"
shape = "held"
[[arm]]
name = "arm"
shape = "arm"
root = ["0 mm", "0 mm"]
tip = ["6 mm", "0 mm"]
[[force]]
name = "push"
line = [["6 mm", "-0.6 mm"], ["6 mm", "0.6 mm"]]
force = ["0 mN", "0 mN", "0.3 mN"]
"#;

/// The program with its arguments.
pub(crate) fn program(args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_copperbend"));
    command.args(args);
    command
}

/// How a run ended.
pub(crate) struct Ended {
    pub(crate) code: Option<i32>,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl From<Output> for Ended {
    fn from(o: Output) -> Self {
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("the program prints UTF-8");
        Self { code: o.status.code(), out: text(o.stdout), err: text(o.stderr) }
    }
}

/// Runs the program to its end.
pub(crate) fn run(args: &[&str]) -> Ended {
    program(args).output().expect("the program starts").into()
}

/// A path as an argument.
pub(crate) fn arg(path: &Path) -> &str {
    path.to_str().expect("paths of the tests are UTF-8")
}

/// A shipped example.
pub(crate) fn example(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("examples").join(name).join("design.toml")
}

/// Names in a folder, hidden ones included, sorted.
pub(crate) fn names_in(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .map(|entries| entries.flatten().map(|e| e.file_name().to_string_lossy().into_owned()).collect())
        .unwrap_or_default();
    names.sort();
    names
}
