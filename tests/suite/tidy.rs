//! The house rules that a machine can check: rooms, dependencies, sizes, unfinished work.

use std::path::{Path, PathBuf};

/// Every Rust file of a folder, with its text, sorted by path.
fn sources(folder: &str) -> Vec<(PathBuf, String)> {
    let mut found = Vec::new();
    let mut open = vec![Path::new(env!("CARGO_MANIFEST_DIR")).join(folder)];
    while let Some(dir) = open.pop() {
        for entry in std::fs::read_dir(&dir).unwrap_or_else(|e| panic!("{}: {e}", dir.display())) {
            let path = entry.expect("a folder entry").path();
            if path.is_dir() {
                open.push(path);
            } else if path.extension().is_some_and(|e| e == "rs") {
                let text = std::fs::read_to_string(&path).expect("source text");
                found.push((path, text));
            }
        }
    }
    found.sort();
    assert!(!found.is_empty(), "no sources in {folder}");
    found
}

/// Lines with one of the words outside comments, each with its file and number.
fn lines_with(folder: &str, words: &[&str], allowed: &str) -> Vec<String> {
    let hits = |(path, text): &(PathBuf, String)| -> Vec<String> {
        let named = path.display().to_string();
        if !allowed.is_empty() && named.contains(allowed) {
            return Vec::new();
        }
        text.lines()
            .enumerate()
            .filter(|(_, line)| !line.trim_start().starts_with("//"))
            .filter(|(_, line)| words.iter().any(|word| line.contains(word)))
            .map(|(i, line)| format!("{named}:{}: {}", i + 1, line.trim()))
            .collect()
    };
    sources(folder).iter().flat_map(hits).collect()
}

#[test]
fn mesh_knows_nothing_of_the_solver() {
    let manifest = include_str!("../../mesh/Cargo.toml");
    assert!(!manifest.contains("copperbend-solver"), "mesh depends on solver");
}

#[test]
fn only_the_linear_room_names_the_sparse_library() {
    let hits = lines_with("solver/src", &["faer"], "/linear/");
    assert!(hits.is_empty(), "the sparse library is named outside its room: {hits:#?}");
}

#[test]
fn computing_crates_do_no_input_or_output() {
    for folder in ["mesh/src", "solver/src"] {
        let hits = lines_with(folder, &["std::fs", "println!", "eprintln!", "print!(", "stdin"], "test");
        assert!(hits.is_empty(), "{folder} reads or prints: {hits:#?}");
    }
}

#[test]
fn nothing_is_left_unfinished() {
    // Written in two parts so that this file does not find itself.
    let words = [
        concat!("to", "do!("),
        concat!("unimpl", "emented!("),
        concat!("#[ig", "nore"),
        concat!("FIX", "ME"),
        concat!("TO", "DO"),
    ];
    for folder in ["mesh/src", "solver/src", "cli", "tests", "benches"] {
        let hits: Vec<String> = sources(folder)
            .iter()
            .filter(|(_, text)| words.iter().any(|word| text.contains(word)))
            .map(|(path, _)| path.display().to_string())
            .collect();
        assert!(hits.is_empty(), "unfinished: {hits:?}");
    }
}

#[test]
fn files_stay_readable() {
    for folder in ["mesh/src", "solver/src", "cli"] {
        for (path, text) in sources(folder) {
            let lines = text.lines().count();
            let test = path.display().to_string().contains("test");
            let limit = if test { 700 } else { 520 };
            assert!(lines <= limit, "{} has {lines} lines: split it into a folder", path.display());
            assert!(test || text.starts_with("//!"), "{} does not say what it is for", path.display());
        }
    }
}

#[test]
fn the_top_level_holds_only_what_the_house_names() {
    let allowed = [
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "solver",
        "mesh",
        "cli",
        "tests",
        "benches",
        "examples",
        "clippy.toml",
        "rustfmt.toml",
        "LICENSE-MIT",
        "LICENSE-APACHE",
        "NOTICE",
        "target",
    ];
    for entry in std::fs::read_dir(env!("CARGO_MANIFEST_DIR")).expect("the top level") {
        let name = entry.expect("an entry").file_name().to_string_lossy().into_owned();
        assert!(
            name.starts_with('.') || allowed.contains(&name.as_str()),
            "'{name}' has no room in the house"
        );
    }
}
