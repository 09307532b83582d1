//! Layout advice: a good strip draws none of a rule's remarks, one change draws it with its value.

use super::advise;
use crate::model::fixture::{Sheet, material, stiffen, strip};
use crate::result::Advice;
use copperbend_mesh::board::{
    Board, Bond, Conductor, ConductorKind, CurrentPath, Layer, LayerId, LayerKind, MaterialId, PathSegment,
};
use copperbend_mesh::region::{Point, Region};

/// A balanced strip with an arm from x = 4 to 12 mm, 2 mm wide, and three even tracks.
fn good() -> Board {
    let sheets = [
        Sheet("base film", LayerKind::Film, 4e9, 30e-6),
        Sheet("copper", LayerKind::Copper, 117e9, 9e-6),
        Sheet("cover", LayerKind::Cover, 4e9, 30e-6),
    ];
    let mut board = strip(&sheets, 20e-3, 2e-3, 0.34);
    board.arms[0].region = Region::rectangle([4e-3, -1e-3], [12e-3, 1e-3]);
    board.arms[0].root_m = [4e-3, 0.0];
    board.arms[0].tip_m = [12e-3, 0.0];
    board.conductors.clear();
    let mut lines = Vec::new();
    for y in [-0.6e-3, 0.0, 0.6e-3] {
        let line = vec![[0.0, y], [20e-3, y]];
        lines.push(stroke(&line, 0.2e-3));
        board.conductors.push(track(&format!("track {y}"), 1, line, 0.2e-3));
    }
    board.layers[1].region = Region::union(&lines.iter().collect::<Vec<_>>());
    board
}

fn stroke(line: &[Point], width_m: f64) -> Region {
    Region::stroke(line, width_m, copperbend_mesh::region::Ends::Butt)
}

fn track(name: &str, layer: u32, line: Vec<Point>, width_m: f64) -> Conductor {
    Conductor {
        name: name.into(),
        layer: LayerId(layer),
        region: stroke(&line, width_m),
        kind: ConductorKind::Track { centre_line_m: line, width_m },
        ranked: true,
    }
}

fn remarks(board: &Board, rule: &str) -> Vec<Advice> {
    advise(board).into_iter().filter(|a| a.rule == rule).collect()
}

/// The change draws exactly one remark of the rule, with these words; the good board draws none.
fn drawn_by(rule: &str, words: &str, change: impl Fn(&mut Board)) -> Advice {
    let before = remarks(&good(), rule);
    assert!(before.is_empty(), "good board already draws {before:?}");
    let mut board = good();
    change(&mut board);
    let after = remarks(&board, rule);
    assert_eq!(after.len(), 1, "{rule}: {after:#?}");
    let remark = after.into_iter().next().unwrap();
    assert!(remark.found.contains(words), "{rule}: {remark:?}");
    assert!(!remark.source.is_empty() && !remark.advice.is_empty(), "{remark:?}");
    remark
}

fn extra_layer(board: &mut Board, name: &str, kind: LayerKind, region: Region) -> LayerId {
    let sheet = Layer { name: name.into(), kind, region, ..board.layers[2].clone() };
    board.layers.push(sheet);
    LayerId(u32::try_from(board.layers.len() - 1).unwrap())
}

#[test]
fn good_strip_draws_only_the_radius_and_its_square_corners() {
    let rules: Vec<String> = advise(&good()).into_iter().map(|a| a.rule).collect();
    assert_eq!(rules, ["bend radius", "round outer corners"], "{rules:?}");
}

/// Figures: 6, 10, 20 thicknesses for one, two, more copper layers; 100 for a moving bend (JOB sources as printed).
#[test]
fn bend_radius_follows_thickness_and_copper_layers() {
    let one = remarks(&good(), "bend radius").remove(0);
    assert!(one.found.contains("1 copper layer(s), 69.0 um thick"), "{one:?}");
    assert!(one.found.contains("0.414 mm") && one.found.contains("6.900 mm"), "{one:?}");
}

#[test]
fn copper_on_both_faces_is_seen_with_its_overlap() {
    let remark = drawn_by("tracks on both faces", "100 % of the smaller", |board| {
        let region = board.layers[1].region.clone();
        extra_layer(board, "copper top", LayerKind::Copper, region);
    });
    assert!(remark.found.contains("'copper' and 'copper top'"), "{remark:?}");
}

#[test]
fn copper_off_the_neutral_plane_is_measured() {
    // By hand, from the copper's middle: (104.5 x 200 x 4 - 19.5 x 30 x 4) / (200 x 4 + 9 x 117 + 30 x 4) = 41.2 um.
    drawn_by("copper at the neutral plane", "41.2 um above", |board| {
        board.layers[0].thickness_m = 200e-6;
    });
}

#[test]
fn holes_finish_vias_and_thick_copper_in_the_bend_are_seen() {
    drawn_by("holes in the bend", "0.399 mm", |board| {
        let hole = Region::circle([8e-3, 0.3e-3], 0.2e-3, 20e-6);
        board.outline = board.outline.difference(&hole);
    });
    drawn_by("finish on the bend", "30.0 um", |board| {
        let region = board.layers[1].region.clone();
        extra_layer(board, "gold", LayerKind::Finish, region);
    });
    drawn_by("thin rolled copper", "35.0 um", |board| board.layers[1].thickness_m = 35e-6);
    drawn_by("vias in the bend", "a via", |board| {
        let via = PathSegment {
            from_m: [8e-3, 0.0, 34e-6],
            to_m: [8e-3, 0.0, 70e-6],
            section_m2: 0.0,
            layer: None,
        };
        board.current = Some(CurrentPath { segments: vec![via], current_a: 0.0 });
    });
}

#[test]
fn track_corners_slants_width_changes_and_spacing_are_seen() {
    let bent = |board: &mut Board, to: Point| {
        board.conductors[2] = track("bent", 1, vec![[0.0, 0.6e-3], [8e-3, 0.6e-3], to], 0.2e-3);
    };
    drawn_by("track corners in the bend", "30 degrees", |b| bent(b, [9e-3, 0.6e-3 - 0.577_35e-3]));
    drawn_by("tracks straight through the bend", "12 degrees", |b| bent(b, [9e-3, 0.6e-3 - 0.212_56e-3]));
    drawn_by("width changes in the bend", "0.300 mm", |board| {
        board.conductors[2] = track("first", 1, vec![[0.0, 0.6e-3], [7e-3, 0.6e-3]], 0.2e-3);
        board.conductors.push(track("second", 1, vec![[7e-3, 0.6e-3], [20e-3, 0.6e-3]], 0.3e-3));
    });
    drawn_by("even track spacing", "from 0.300 mm to 0.900 mm", |board| {
        board.conductors[1] = track("off", 1, vec![[0.0, 0.3e-3], [20e-3, 0.3e-3]], 0.2e-3);
    });
}

#[test]
fn cover_openings_close_to_the_bend_are_measured() {
    let open = |from: f64, to: f64| {
        move |board: &mut Board| {
            let window = Region::rectangle([from, -2e-3], [to, 2e-3]);
            board.layers[2].region = board.layers[2].region.difference(&window);
        }
    };
    drawn_by("openings close to the bend", "1.500 mm from the arm", open(1e-3, 2.5e-3));
    drawn_by("openings close to the bend", "reaches into", open(3e-3, 5e-3));
    let mut far = good();
    open(0.0, 1e-3)(&mut far);
    assert!(remarks(&far, "openings close to the bend").is_empty(), "3 mm is far enough");
}

#[test]
fn sharp_corners_of_the_outline_are_told_one_by_one_inside() {
    let remark = drawn_by("round inner corners", "270 degrees", |board| {
        let pad = Region::rectangle([0.0, -1e-3], [4e-3, 3e-3]);
        board.outline = Region::union(&[&board.outline, &pad]);
    });
    assert_eq!(remark.at_m.map(|p| p.map(|x| (x * 1e6).round())), Some([4000.0, 1000.0]), "{remark:?}");
}

#[test]
fn stiffener_edge_overlap_holes_and_vias_are_measured() {
    let plate = |board: &mut Board, to: f64| {
        stiffen(board, 24e9, 0.14, 0.2e-3, Bond::Bonded);
        let region = Region::rectangle([0.0, -1e-3], [to, 1e-3]);
        board.stiffeners[0].region = region.clone();
        board.layers[0].region = region;
    };
    drawn_by("stiffener edge", "right at", |board| plate(board, 4e-3));
    drawn_by("stiffener and cover overlap", "0.500 mm under", |board| {
        plate(board, 3.5e-3);
        let window = Region::rectangle([0.0, -2e-3], [3e-3, 2e-3]);
        board.layers[3].region = board.layers[3].region.difference(&window);
    });
    drawn_by("stiffener holes", "0.2", |board| {
        plate(board, 3.5e-3);
        let hole = |radius: f64| Region::circle([2e-3, 0.0], radius, 10e-6);
        board.outline = board.outline.difference(&hole(0.3e-3));
        board.stiffeners[0].region = board.stiffeners[0].region.difference(&hole(0.4e-3));
    });
    drawn_by("vias at the stiffener edge", "0.400 mm from the edge", |board| {
        plate(board, 3.5e-3);
        let via = PathSegment {
            from_m: [3.1e-3, 0.2e-3, 0.0],
            to_m: [3.1e-3, 0.2e-3, 40e-6],
            section_m2: 0.0,
            layer: None,
        };
        board.current = Some(CurrentPath { segments: vec![via], current_a: 0.0 });
    });
}

#[test]
fn adhesive_between_base_film_and_copper_is_seen() {
    drawn_by("adhesive in the base laminate", "'glue'", |board| {
        board.materials.push(material("glue", 1e9, 0.35, 1100.0, 90e-6));
        let id = MaterialId(u32::try_from(board.materials.len() - 1).unwrap());
        let glue = Layer {
            name: "glue".into(),
            kind: LayerKind::Adhesive,
            material: id,
            thickness_m: 12e-6,
            ..board.layers[0].clone()
        };
        board.layers.insert(1, glue);
        for conductor in &mut board.conductors {
            conductor.layer = LayerId(2);
        }
    });
}
