//! What the program writes: files that other programs read, pictures, and the same bytes every time.

use crate::runs::{SMALL, Scratch, arg, example, names_in, run};
use serde_json::Value;
use std::path::Path;

const QUICK: [&str; 2] = ["--one-mesh", "--no-modulus-span"];

/// Runs `bend` and returns its folder.
#[track_caller]
fn bent(scratch: &Scratch, name: &str, design: &Path, more: &[&str]) -> std::path::PathBuf {
    let out = scratch.path(name);
    let mut args = vec!["bend", arg(design), "--out", arg(&out)];
    args.extend(QUICK);
    args.extend(more);
    let ended = run(&args);
    assert_eq!(ended.code, Some(0), "{}{}", ended.out, ended.err);
    out
}

fn results(folder: &Path) -> Value {
    let bytes = std::fs::read(folder.join("results.json")).expect("results.json");
    serde_json::from_slice(&bytes).expect("valid JSON")
}

/// Width, height and pixels of a PNG.
fn picture(path: &Path) -> (u32, u32, Vec<[u8; 3]>) {
    let file = std::io::BufReader::new(std::fs::File::open(path).expect("a picture"));
    let mut reader = png::Decoder::new(file).read_info().expect("a PNG");
    let mut raw = vec![0; reader.output_buffer_size().expect("a size")];
    let info = reader.next_frame(&mut raw).expect("a frame");
    (info.width, info.height, raw[..info.buffer_size()].chunks(3).map(|p| [p[0], p[1], p[2]]).collect())
}

/// Pixels by the difference of red and blue: warm (tension) and cold (compression) colours of the maps.
fn warm_and_cold(pixels: &[[u8; 3]]) -> (usize, usize) {
    let count =
        |f: &dyn Fn(i32) -> bool| pixels.iter().filter(|p| f(i32::from(p[0]) - i32::from(p[2]))).count();
    (count(&|d| d > 40), count(&|d| d < -40))
}

#[test]
fn one_run_fills_the_folder_and_lists_its_files() {
    let scratch = Scratch::new("files");
    let out = bent(&scratch, "out", &scratch.file("arm.toml", SMALL), &[]);
    let expected = [
        "fields.vtu",
        "results.json",
        "shape.png",
        "spots.csv",
        "strain_copper_top.png",
        "strain_copper_top_range.png",
        "swing.csv",
        "swing_curves.png",
        "swing_side.png",
    ];
    assert_eq!(names_in(&out), expected, "files of the run");
    let listed: Vec<String> = results(&out)["files"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|v| v.as_str().expect("a name").to_owned())
        .collect();
    assert_eq!(listed.len(), 8, "results.json lists the others: {listed:?}");
}

#[test]
fn results_have_units_places_errors_and_the_design() {
    let scratch = Scratch::new("json");
    let design = scratch.file("arm.toml", SMALL);
    let read = results(&bent(&scratch, "out", &design, &["--no-pictures"]));
    assert_eq!(read["design"]["text"], SMALL, "the input is kept");
    let answer = &read["report"]["answers"][0];
    let spots = answer["spots"].as_array().expect("spots");
    assert!(!spots.is_empty(), "no spots");
    let size = |s: &Value| s["strain"].as_f64().expect("a strain").abs();
    for (i, spot) in spots.iter().enumerate() {
        assert_eq!(spot["rank"].as_u64(), Some(i as u64 + 1), "ranks count up");
        assert!(i == 0 || size(spot) <= size(&spots[i - 1]) * (1.0 + 1e-12), "spot {i} is out of order");
        assert!(spot["strain_error"].as_f64().is_some_and(|e| e >= 0.0), "error of spot {i}: {spot}");
        let (x, y) = (spot["x_m"].as_f64().expect("x"), spot["y_m"].as_f64().expect("y"));
        assert!((-2.001e-3..=6.001e-3).contains(&x) && y.abs() <= 0.601e-3, "spot {i} is off the board");
        assert_eq!(spot["layer"], "copper top", "layer of spot {i}");
    }
    assert!(answer["accuracy"]["digits"].as_f64().is_some_and(|d| d > 6.0), "{}", answer["accuracy"]);
    assert!(answer["loaded"]["tip_m"][2].as_f64().is_some_and(|w| w > 0.0), "the push lifts the end");
    let total = answer["loaded"]["reaction_n"][2].as_f64().expect("a reaction");
    assert!((total + 0.3e-3).abs() < 1e-9, "the holder carries the push: {total} N");
}

#[test]
fn spots_table_agrees_with_the_results() {
    let scratch = Scratch::new("csv");
    let out = bent(&scratch, "out", &scratch.file("arm.toml", SMALL), &["--no-pictures"]);
    let spots = results(&out)["report"]["answers"][0]["spots"].as_array().expect("spots").clone();
    let text = std::fs::read_to_string(out.join("spots.csv")).expect("spots.csv");
    let rows: Vec<&str> = text.split("\r\n").filter(|l| !l.is_empty()).collect();
    assert_eq!(rows.len(), spots.len() + 1, "a row a spot and a heading");
    assert!(rows[0].contains("strain_um_per_m") && rows[0].contains("x_mm"), "units: {}", rows[0]);
    assert!(rows[1].contains("\"supply, plus\""), "a comma in a name is quoted: {}", rows[1]);
    // The quoted name holds the one comma that does not part cells.
    let cells: Vec<&str> = rows[1].split(',').collect();
    let strain: f64 = cells[8].parse().expect("a strain");
    let expected = spots[0]["strain"].as_f64().expect("a strain") * 1e6;
    assert!((strain - expected).abs() < 1e-3, "{strain} against {expected}");
}

#[test]
fn maps_have_their_size_and_show_the_sign() {
    let scratch = Scratch::new("maps");
    let design = scratch.file("arm.toml", SMALL);
    // The push lifts the end: the copper on top is pressed.
    let out = bent(&scratch, "out", &design, &["--faces", "each"]);
    let (w, h, pixels) = picture(&out.join("strain_copper_top_upper.png"));
    // No close-ups: they would hardly magnify this short arm.
    assert!(w == 1600 && (500..2400).contains(&h), "{w} x {h}");
    let paper = pixels.iter().filter(|&&p| p == [255; 3]).count() as f64 / pixels.len() as f64;
    assert!((0.2..0.95).contains(&paper), "share of bare paper {paper}");
    // The colour bar itself has as many warm as cold pixels; the copper tips the balance.
    let (warm, cold) = warm_and_cold(&pixels);
    assert!(cold > warm + 5000, "pressed copper is drawn {warm} warm, {cold} cold");
    let (_, _, pixels) = picture(&out.join("strain_copper_top_lower.png"));
    let (warm, cold) = warm_and_cold(&pixels);
    // The neutral plane lies inside this thick copper, so its lower face is pulled.
    assert!(warm > cold + 5000, "pulled copper is drawn {warm} warm, {cold} cold");
    let (w, h, pixels) = picture(&out.join("shape.png"));
    assert!(w == 1600 && (600..2400).contains(&h), "{w} x {h}");
    assert!(pixels.iter().filter(|&&p| p != [255; 3]).count() > 10_000, "the shape is empty");
}

#[test]
fn fixed_scale_gives_the_same_colours_in_different_runs() {
    let scratch = Scratch::new("scale");
    let design = scratch.file("arm.toml", SMALL);
    let hard = scratch.file("hard.toml", &SMALL.replace("0.3 mN", "0.6 mN"));
    let (warm_soft, cold_soft) = warm_and_cold(
        &picture(&bent(&scratch, "a", &design, &["--scale", "900"]).join("strain_copper_top.png")).2,
    );
    let (_, cold_hard) = warm_and_cold(
        &picture(&bent(&scratch, "b", &hard, &["--scale", "900"]).join("strain_copper_top.png")).2,
    );
    assert!(cold_hard > cold_soft, "twice the load is not darker: {cold_hard} against {cold_soft}");
    assert!(warm_soft > 0, "the colour bar has both halves");
}

/// Attribute of the first element that starts with `<tag`.
fn attribute(xml: &str, tag: &str, name: &str) -> String {
    let from = xml.find(&format!("<{tag}")).unwrap_or_else(|| panic!("no <{tag}"));
    let element = &xml[from..from + xml[from..].find('>').expect("an end")];
    let at = element.find(&format!("{name}=\"")).unwrap_or_else(|| panic!("no {name} in {element}"));
    element[at + name.len() + 2..].split('"').next().expect("a value").to_owned()
}

/// Bytes of the array of a name.
fn array(xml: &str, name: &str) -> Vec<u8> {
    let from = xml.find(&format!("Name=\"{name}\"")).unwrap_or_else(|| panic!("no array '{name}'"));
    let body = xml[from..].split('>').nth(1).expect("a body").split('<').next().expect("an end");
    let digit = |c: u8| match c {
        b'A'..=b'Z' => c - b'A',
        b'a'..=b'z' => c - b'a' + 26,
        b'0'..=b'9' => c - b'0' + 52,
        b'+' => 62,
        b'/' => 63,
        _ => panic!("not base64: {c}"),
    };
    let mut bytes = Vec::new();
    let clean: Vec<u8> = body.bytes().filter(|c| !c.is_ascii_whitespace() && *c != b'=').collect();
    for four in clean.chunks(4) {
        let word = four.iter().fold(0u32, |w, &c| w << 6 | u32::from(digit(c))) << (6 * (4 - four.len()));
        bytes.extend_from_slice(&word.to_be_bytes()[1..four.len()]);
    }
    let length = u64::from_le_bytes(bytes[..8].try_into().expect("a length"));
    assert_eq!(length, bytes.len() as u64 - 8, "length of '{name}'");
    bytes.split_off(8)
}

fn doubles(bytes: &[u8]) -> Vec<f64> {
    bytes.chunks(8).map(|b| f64::from_le_bytes(b.try_into().expect("eight bytes"))).collect()
}

#[test]
fn grid_file_has_the_counts_and_the_tip_of_the_results() {
    let scratch = Scratch::new("vtu");
    let out = bent(&scratch, "out", &scratch.file("arm.toml", SMALL), &["--no-pictures"]);
    let xml = std::fs::read_to_string(out.join("fields.vtu")).expect("fields.vtu");
    let answer = results(&out)["report"]["answers"][0].clone();
    assert_eq!(attribute(&xml, "VTKFile", "type"), "UnstructuredGrid", "kind of file");
    let cells: usize = attribute(&xml, "Piece", "NumberOfCells").parse().expect("a count");
    let points: usize = attribute(&xml, "Piece", "NumberOfPoints").parse().expect("a count");
    assert_eq!(cells as u64, answer["mesh"]["triangles"].as_u64().expect("a count"), "triangles");
    assert!(
        points as u64 >= answer["mesh"]["nodes"].as_u64().expect("a count"),
        "nodes, doubled at zone edges"
    );
    let connectivity = array(&xml, "connectivity");
    assert_eq!(connectivity.len(), 3 * 8 * cells, "three corners a triangle");
    let largest = connectivity.chunks(8).map(|b| i64::from_le_bytes(b.try_into().expect("eight"))).max();
    assert_eq!(largest, Some(points as i64 - 1), "corners name points");
    assert_eq!(array(&xml, "types"), vec![5u8; cells], "triangles");
    let positions = doubles(&array(&xml, "position, m"));
    let moved = doubles(&array(&xml, "displacement, m, loaded"));
    assert_eq!((positions.len(), moved.len()), (3 * points, 3 * points), "three numbers a point");
    let size = |d: &[f64]| d.iter().map(|v| v * v).sum::<f64>().sqrt();
    let largest = moved.chunks(3).map(size).fold(0.0, f64::max);
    let told = answer["loaded"]["largest_m"].as_f64().expect("a movement");
    assert!((largest / told - 1.0).abs() < 1e-12, "{largest} against {told}");
    let strain = doubles(&array(&xml, "ranking strain, copper top, upper face"));
    let known = strain.iter().filter(|v| v.is_finite()).count();
    assert!(known > 100 && known < points, "{known} of {points} points carry copper");
}

#[test]
fn same_input_gives_the_same_bytes_with_any_number_of_threads() {
    let scratch = Scratch::new("bytes");
    let design = scratch.file("arm.toml", SMALL);
    let one = bent(&scratch, "one", &design, &["--threads", "1"]);
    let two = bent(&scratch, "two", &design, &["--threads", "2"]);
    let names = names_in(&one);
    assert_eq!(names, names_in(&two), "files");
    for name in names {
        let read = |folder: &Path| std::fs::read(folder.join(&name)).expect("a file");
        assert!(read(&one) == read(&two), "{name} differs between one thread and two");
    }
}

#[test]
fn exported_matrices_give_the_movement_that_bend_reports() {
    let scratch = Scratch::new("matrices");
    // A coarse mesh: a dense solve stands in for the other tool.
    let text = format!("{SMALL}\n[mesh]\ncoarse = \"0.6 mm\"\nfine = \"0.2 mm\"\nacross_arm = 3\n");
    let design = scratch.file("arm.toml", &text);
    let out = scratch.path("matrices");
    let ended = run(&["matrices", arg(&design), "--out", arg(&out)]);
    assert_eq!(ended.code, Some(0), "{}{}", ended.out, ended.err);
    assert_eq!(names_in(&out), ["load.mtx", "mass.mtx", "stiffness.mtx", "unknowns.csv"], "files");
    let read = |name: &str| std::fs::read_to_string(out.join(name)).expect("a file");
    let sparse = |name: &str| {
        nalgebra_sparse::io::load_coo_from_matrix_market_str::<f64>(&read(name)).expect("Matrix Market")
    };
    let stiffness = sparse("stiffness.mtx");
    let n = stiffness.nrows();
    let load: Vec<f64> = read("load.mtx")
        .lines()
        .skip_while(|l| l.starts_with('%'))
        .skip(1)
        .map(|l| l.parse().expect("a number"))
        .collect();
    let unknowns = read("unknowns.csv");
    assert_eq!((load.len(), unknowns.lines().count() - 1, sparse("mass.mtx").nrows()), (n, n, n), "one size");
    let dense = nalgebra::DMatrix::from(&stiffness);
    let moved = dense.cholesky().expect("positive definite").solve(&nalgebra::DVector::from_vec(load));
    let largest = unknowns
        .lines()
        .skip(1)
        .zip(moved.iter())
        .filter(|(row, _)| row.split(',').nth(2) == Some("w"))
        .map(|(_, w)| w.abs())
        .fold(0.0, f64::max);
    let told = results(&bent(&scratch, "bend", &design, &["--no-pictures"]));
    let told = told["report"]["answers"][0]["loaded"]["largest_m"].as_f64().expect("a movement");
    assert!((largest / told - 1.0).abs() < 1e-3, "{largest} against {told}");
}

#[test]
fn mesh_verb_draws_its_picture() {
    let scratch = Scratch::new("mesh");
    let out = scratch.path("mesh");
    let ended = run(&["mesh", arg(&scratch.file("arm.toml", SMALL)), "--out", arg(&out)]);
    assert_eq!(ended.code, Some(0), "{}{}", ended.out, ended.err);
    let (w, _, pixels) = picture(&out.join("mesh.png"));
    assert_eq!(w, 1600, "page width");
    assert!(pixels.iter().filter(|&&p| p != [255; 3]).count() > 50_000, "the mesh is empty");
}

#[test]
fn every_example_bends() {
    let scratch = Scratch::new("examples");
    for name in ["plain_strip", "one_arm_vane", "two_arm_vane", "wide_swing_vane"] {
        let out = bent(&scratch, name, &example(name), &[]);
        let answers = results(&out)["report"]["answers"].as_array().expect("answers").clone();
        assert!(!answers.is_empty(), "{name} has no answer");
        for answer in answers {
            assert!(!answer["spots"].as_array().expect("spots").is_empty(), "{name} has no spots");
        }
        assert!(names_in(&out).iter().any(|f| f.starts_with("strain_")), "{name}: {:?}", names_in(&out));
    }
}
