//! Strips of the shipped examples and of boards that a beam must refuse.

use super::*;
use crate::board::understand;

fn example(name: &str) -> Board {
    let path = format!("{}/../examples/{name}/design.toml", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).expect("the example is there");
    understand("design.toml", &text).unwrap_or_else(|f| panic!("{f}"))
}

/// A clamped strip of film from x = 0 to 10 mm with `shapes` joined to it, arm shape `arm`.
fn film(shapes: &str, arm: &str) -> Board {
    let text = format!(
        "[shapes]\nheld = {{ rectangle = {{ from = [\"-3 mm\", \"-3 mm\"], to = [\"0 mm\", \"3 mm\"] }} }}\n{shapes}\n\
         [outline]\nshape = \"all\"\n\
         [[layer]]\nname = \"film\"\nmaterial = \"polyimide_film\"\nkind = \"film\"\nthickness = \"25 um\"\n\
         [[support]]\nname = \"s\"\nkind = \"clamp\"\nshape = \"held\"\n[[arm]]\nname = \"arm\"\n{arm}\n"
    );
    understand("d.toml", &text).unwrap_or_else(|f| panic!("{f}"))
}

fn rect(name: &str, from: [f64; 2], to: [f64; 2]) -> String {
    format!(
        "{name} = {{ rectangle = {{ from = [\"{} mm\", \"{} mm\"], to = [\"{} mm\", \"{} mm\"] }} }}\n",
        from[0], from[1], to[0], to[1]
    )
}

/// Total length and area of a strip by its pieces.
fn sums(strip: &Strip) -> [f64; 2] {
    let mut sum = [0.0; 2];
    for p in &strip.pieces {
        let width: f64 = p.slots.iter().map(|s| s.across_m[1] - s.across_m[0]).sum();
        sum[0] += p.length_m();
        sum[1] += width * p.length_m();
    }
    sum
}

#[test]
fn plain_strip_is_one_section_from_clamp_to_free_end() {
    let found = strips(&example("plain_strip"), StripWishes::default()).expect("a plain strip");
    let strip = &found.arms[0];
    assert_eq!((strip.support, strip.far), (0, End::Free), "ends");
    let [length, area] = sums(strip);
    // Ends are found to the nanometre within which a point counts as on an edge.
    assert!((length - 10e-3).abs() < 3e-9 && (area - 30e-6).abs() < 1e-11, "{length} {area}");
    assert!(strip.pieces.iter().all(|p| p.slots.len() == 1 && p.slots[0].layers.len() == 2), "one stack");
    assert!(strip.pieces.len() >= 40, "{}", strip.pieces.len());
}

#[test]
fn one_arm_example_reaches_from_the_grip_to_the_flap_with_its_tracks() {
    let board = example("one_arm_vane");
    let found = strips(&board, StripWishes::default()).expect("an arm");
    let strip = &found.arms[0];
    // Grip at -1 mm, flap from 9.4 mm.
    let [first, last] = [strip.pieces[0].ends_m[0], strip.pieces.last().expect("pieces").ends_m[1]];
    assert!((first[0] + 1e-3).abs() < 2e-9 && (last[0] - 9.4e-3).abs() < 2e-9, "{first:?} {last:?}");
    assert_eq!(strip.far, End::Flap, "the arm ends at the flap");
    let middle =
        strip.pieces.iter().find(|p| (p.ends_m[0][0]..p.ends_m[1][0]).contains(&4.6e-3)).expect("it");
    let edges: Vec<f64> = middle.slots.iter().flat_map(|s| s.across_m).map(|y| (y * 1e6).round()).collect();
    // Two tracks of 0.3 mm at +-0.4 mm on an arm 2 mm wide.
    assert_eq!(edges, [-1000.0, -550.0, -550.0, -250.0, -250.0, 250.0, 250.0, 550.0, 550.0, 1000.0], "slots");
    // The root plate ends at -0.4 mm: a piece begins there.
    assert!(strip.pieces.iter().any(|p| (p.ends_m[0][0] + 0.4e-3).abs() < 1e-9), "stiffener end");
    let flap: f64 = found
        .flap
        .iter()
        .map(|p| p.length_m() * p.slots.iter().map(|s| s.across_m[1] - s.across_m[0]).sum::<f64>())
        .sum();
    let true_area = board.flap.as_ref().expect("flap").region.intersection(&board.outline).area_m2();
    assert!((flap / true_area - 1.0).abs() < 1e-3, "flap area {flap} against {true_area}");
}

#[test]
fn two_arms_share_the_pad_behind_their_roots() {
    let found = strips(&example("two_arm_vane"), StripWishes::default()).expect("two arms");
    assert_eq!(found.arms.len(), 2, "arms");
    for (strip, sign) in found.arms.iter().zip([1.0, -1.0]) {
        let root = &strip.pieces[0];
        let (low, high) = (root.slots[0].across_m[0], root.slots.last().expect("slots").across_m[1]);
        // The pad reaches from -8 to 8 mm, the arms lie at +-5 mm: each has its own half.
        let expected = if sign > 0.0 { [-5e-3, 3e-3] } else { [-3e-3, 5e-3] };
        assert!((low - expected[0]).abs() < 3e-6 && (high - expected[1]).abs() < 3e-6, "{low} {high}");
        assert_eq!(root.part, Part::Root, "before the root");
    }
}

#[test]
fn taper_is_followed_by_many_widths() {
    let shapes = "trunk = { polygon = { points = [[\"-1 mm\", \"-1 mm\"], [\"0 mm\", \"-1 mm\"], [\"10 mm\", \"-0.5 mm\"], [\"10 mm\", \"0.5 mm\"], [\"0 mm\", \"1 mm\"], [\"-1 mm\", \"1 mm\"]] } }\nall = { union = [\"held\", \"trunk\"] }";
    let board = film(shapes, "shape = \"trunk\"\nroot = [\"0 mm\", \"0 mm\"]\ntip = [\"10 mm\", \"0 mm\"]");
    let found = strips(&board, StripWishes::default()).expect("a taper");
    for p in &found.arms[0].pieces {
        let x = 0.5 * (p.ends_m[0][0] + p.ends_m[1][0]);
        let width = p.slots[0].across_m[1] - p.slots[0].across_m[0];
        assert!((width - (2e-3 - 0.1 * x)).abs() < 3e-6, "width {width} at {x}");
    }
}

#[test]
fn bent_arm_follows_its_given_line_and_shares_the_corner() {
    let shapes = rect("leg", [-1.0, -1.0], [11.0, 1.0])
        + &rect("foot", [9.0, -1.0], [11.0, 6.0])
        + "both = { union = [\"leg\", \"foot\"] }\nall = { union = [\"held\", \"both\"] }";
    let arm = "shape = \"both\"\nroot = [\"0 mm\", \"0 mm\"]\ntip = [\"10 mm\", \"6 mm\"]\ncentre_line = [[\"10 mm\", \"0 mm\"]]";
    let found = strips(&film(&shapes, arm), StripWishes::default()).expect("a bent arm");
    let [length, area] = sums(&found.arms[0]);
    assert!((length - 16e-3).abs() < 1e-8, "length {length}");
    // 12 x 2 + 5 x 2 less the outer quarter of the corner counted by neither leg, 11 to 12 mm less the root.
    assert!((area / 32e-6 - 1.0).abs() < 0.04, "area {area}");
    assert!(
        found.arms[0].pieces.iter().all(|p| p.slots[0].across_m[1] - p.slots[0].across_m[0] < 2.01e-3),
        "width"
    );
}

#[test]
fn bent_arm_without_a_line_is_followed_along_its_middle() {
    // An S: its chord's middle lies on the arm, its quarters do not.
    let shapes = rect("a", [-1.0, 2.0], [6.0, 3.0])
        + &rect("b", [5.0, -3.0], [6.0, 3.0])
        + &rect("c", [5.0, -3.0], [12.0, -2.0])
        + "both = { union = [\"a\", \"b\", \"c\"] }\nall = { union = [\"both\", \"held\"] }";
    let board =
        film(&shapes, "shape = \"both\"\nroot = [\"0 mm\", \"2.5 mm\"]\ntip = [\"11 mm\", \"-2.5 mm\"]");
    let found = strips(&board, StripWishes::default());
    let found = found.unwrap_or_else(|f| panic!("{f:?}"));
    let [length, _] = sums(&found.arms[0]);
    // 5.5 + 5 + 6.5 mm along the middle lines, corners cut.
    assert!((length / 17e-3 - 1.0).abs() < 0.08, "length {length}");
}

fn refused(shapes: &str, arm: &str) -> Vec<MeshError> {
    strips(&film(shapes, arm), StripWishes::default()).expect_err("must be refused")
}

#[test]
fn line_that_leaves_the_board_is_refused() {
    // Three blocks on a bar: the chord's middle lies on one, the gaps beside it are open.
    let shapes = rect("a", [-1.0, -1.0], [3.0, 1.0])
        + &rect("b", [4.0, -1.0], [6.0, 1.0])
        + &rect("c", [7.0, -1.0], [10.0, 1.0])
        + &rect("bar", [0.0, 1.0], [10.0, 2.0])
        + "all = { union = [\"held\", \"a\", \"b\", \"c\", \"bar\"] }\nboth = { union = [\"a\", \"b\", \"c\"] }";
    let faults =
        refused(&shapes, "shape = \"both\"\nroot = [\"0 mm\", \"0 mm\"]\ntip = [\"10 mm\", \"0 mm\"]");
    assert_eq!(faults[0].fault, MeshFault::OffBoard, "{faults:?}");
    assert!(faults[0].to_string().contains("leaves the board"), "{}", faults[0]);
}

#[test]
fn fork_is_refused() {
    let shapes = rect("stem", [-1.0, -1.0], [5.0, 1.0])
        + &rect("left", [4.0, -0.3], [10.0, 0.3])
        + &rect("right", [4.0, 0.6], [10.0, 1.2])
        + "both = { union = [\"stem\", \"left\", \"right\"] }\nall = { union = [\"held\", \"both\"] }";
    let faults =
        refused(&shapes, "shape = \"both\"\nroot = [\"0 mm\", \"0 mm\"]\ntip = [\"10 mm\", \"0 mm\"]");
    assert_eq!(faults[0].fault, MeshFault::Fork, "{faults:?}");
}

#[test]
fn opening_is_no_fork() {
    let shapes = rect("stem", [-1.0, -1.0], [10.0, 1.0])
        + &rect("hole", [6.0, -0.3], [8.0, 0.4])
        + "whole = { union = [\"held\", \"stem\"] }\nall = { difference = [\"whole\", \"hole\"] }";
    let board = film(&shapes, "shape = \"stem\"\nroot = [\"0 mm\", \"0 mm\"]\ntip = [\"10 mm\", \"0 mm\"]");
    let found = strips(&board, StripWishes::default()).expect("an opening is a step");
    let [_, area] = sums(&found.arms[0]);
    assert!((area / (20e-6 - 1.4e-6) - 1.0).abs() < 1e-6, "area {area}");
}

#[test]
fn arm_wider_than_long_is_refused_with_the_reason() {
    let shapes = rect("stub", [-1.0, -2.0], [3.0, 2.0]) + "all = { union = [\"held\", \"stub\"] }";
    let faults =
        refused(&shapes, "shape = \"stub\"\nroot = [\"0 mm\", \"0 mm\"]\ntip = [\"3 mm\", \"0 mm\"]");
    assert_eq!(faults[0].fault, MeshFault::TooWide, "{faults:?}");
    assert!(faults[0].to_string().contains("4.000 mm wide, 3.000 mm long"), "{}", faults[0]);
}
