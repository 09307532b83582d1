//! Rules about outline corners, cover openings, stiffener edges and holes.

use super::{Finding, gap_m, layers_of, mm, source};
use crate::result::Advice;
use copperbend_mesh::board::{Board, Layer, LayerKind, Stiffener};
use copperbend_mesh::region::{Point, Region};

/// Cover openings stay this far from the start of a bend, m (0.100 in).
const OPENING_TO_BEND_M: f64 = 2.54e-3;
/// Stiffener and cover overlap by at least this, m (0.030 in).
const OVERLAP_M: f64 = 0.762e-3;
/// Stiffener holes are larger than the circuit's by this, m.
const HOLE_ALLOWANCE_M: f64 = 0.4e-3;
/// "At the stiffener edge" for a via, m; the trade gives no figure, this one is ours.
const VIA_TO_EDGE_M: f64 = 1e-3;
/// Corners that turn less than this are pieces of an arc, rad.
const CORNER_RAD: f64 = 25.0 * std::f64::consts::PI / 180.0;
/// Openings smaller than this are left-overs of drawing, m2 (a square of 10 um).
const CRUMB_M2: f64 = 1e-10;

pub(super) fn advise(board: &Board) -> Vec<Advice> {
    let mut found = corners(board);
    found.extend(openings_near_bend(board));
    for stiffener in &board.stiffeners {
        found.extend(stiffener_edge(board, stiffener));
        found.extend(cover_overlap(board, stiffener));
        found.extend(stiffener_holes(board, stiffener));
        found.extend(vias_at_edge(board, stiffener));
    }
    found
}

/// Places of vias in the current path, m.
pub(super) fn vias(board: &Board) -> Vec<Point> {
    let Some(path) = &board.current else { return Vec::new() };
    let upright = path.segments.iter().filter(|s| {
        let run = [s.to_m[0] - s.from_m[0], s.to_m[1] - s.from_m[1]];
        s.layer.is_none() && run[0].hypot(run[1]) < 1e-6 && (s.to_m[2] - s.from_m[2]).abs() > 1e-9
    });
    upright.map(|s| [s.from_m[0], s.from_m[1]]).collect()
}

/// Inner corners of the outline one by one, outer corners counted.
fn corners(board: &Board) -> Vec<Advice> {
    let mut found = Vec::new();
    let mut outer: Vec<Point> = Vec::new();
    for contour in &board.outline.contours {
        let n = contour.len();
        for i in 0..n {
            let (p, q, r) = (contour[(i + n - 1) % n], contour[i], contour[(i + 1) % n]);
            let (a, b) = ([q[0] - p[0], q[1] - p[1]], [r[0] - q[0], r[1] - q[1]]);
            let turn = (a[0] * b[1] - a[1] * b[0]).atan2(a[0] * b[0] + a[1] * b[1]);
            // Material lies on the left: a right turn is an inner corner.
            if turn < -CORNER_RAD {
                found.push(
                    Finding {
                        rule: "round inner corners",
                        place: format!("outline at ({}, {})", mm(q[0]), mm(q[1])),
                        found: format!("a sharp inner corner of {:.0} degrees", 180.0 - turn.to_degrees()),
                        advice: "round every inner corner of the outline: tears start there, and the strain of a \
                                 sharp one has no limit in the model either",
                        source: source::RULES,
                        at_m: Some(q),
                    }
                    .into(),
                );
            } else if turn > CORNER_RAD {
                outer.push(q);
            }
        }
    }
    if let Some(&first) = outer.first() {
        found.push(
            Finding {
                rule: "round outer corners",
                place: "outline".into(),
                found: format!(
                    "{} sharp outer corners, the first at ({}, {})",
                    outer.len(),
                    mm(first[0]),
                    mm(first[1])
                ),
                advice: "round outer corners as well: they catch and lift",
                source: source::RULES,
                at_m: Some(first),
            }
            .into(),
        );
    }
    found
}

/// Cover and mask openings on the arms or close to their ends.
fn openings_near_bend(board: &Board) -> Vec<Advice> {
    let mut found = Vec::new();
    for (_, layer) in layers_of(board, &[LayerKind::Cover, LayerKind::Mask]) {
        for opening in openings(board, layer) {
            for arm in &board.arms {
                let gap = gap_m(&opening, &arm.region);
                if gap >= OPENING_TO_BEND_M {
                    continue;
                }
                let inside = gap <= 0.0;
                found.push(
                    Finding {
                        rule: "openings close to the bend",
                        place: format!("layer '{}', arm '{}'", layer.name, arm.name),
                        found: if inside {
                            "an opening reaches into the arm".into()
                        } else {
                            format!("an opening {} from the arm", mm(gap))
                        },
                        advice: "keep cover openings at least 2.54 mm (0.100 in) from the start of a bend, and say \
                                 by a strain relief where the bend begins",
                        source: source::CONSTRUCTION,
                        at_m: Some(opening.centroid_m()),
                    }
                    .into(),
                );
            }
        }
    }
    found
}

/// Parts of the outline that a layer leaves free.
fn openings(board: &Board, layer: &Layer) -> Vec<Region> {
    let free = board.outline.difference(&layer.region);
    free.pieces().into_iter().filter(|p| p.area_m2() > CRUMB_M2).collect()
}

/// Edge pieces of a stiffener that lie on the board, not along its outline.
fn edges_on_board(board: &Board, stiffener: &Stiffener) -> Vec<[Point; 2]> {
    let own = stiffener.region.edges();
    own.filter(|[p, q]| board.outline.contains_clear([0.5 * (p[0] + q[0]), 0.5 * (p[1] + q[1])], 2e-6))
        .collect()
}

fn stiffener_edge(board: &Board, stiffener: &Stiffener) -> Option<Advice> {
    let edges = edges_on_board(board, stiffener);
    let near = edges.iter().find_map(|[p, q]| {
        let at = [0.5 * (p[0] + q[0]), 0.5 * (p[1] + q[1])];
        let arm =
            board.arms.iter().find(|a| a.region.contains(at) || a.region.distance_to_edge_m(at) < 1e-3)?;
        Some((at, arm))
    });
    let (at, arm) = near?;
    Some(
        Finding {
            rule: "stiffener edge",
            place: format!("stiffener '{}' at arm '{}'", stiffener.name, arm.name),
            found: "the arm bends right at the stiffener's edge".into(),
            advice: "round or break the edge before bonding, or lay a bead of soft epoxy 1 to 2 mm wide along it",
            source: source::RELIEF,
            at_m: Some(at),
        }
        .into(),
    )
}

/// Cover ending under or just before a stiffener.
fn cover_overlap(board: &Board, stiffener: &Stiffener) -> Vec<Advice> {
    let edges = edges_on_board(board, stiffener);
    let mut found = Vec::new();
    for (_, layer) in layers_of(board, &[LayerKind::Cover, LayerKind::Mask]) {
        for opening in openings(board, layer) {
            let under = opening.intersection(&stiffener.region);
            if under.is_empty() {
                continue;
            }
            let corners = under.contours.iter().flatten();
            let overlap = corners
                .map(|&p| edges.iter().map(|&[a, b]| segment_m(p, a, b)).fold(f64::INFINITY, f64::min))
                .fold(f64::INFINITY, f64::min);
            if overlap < OVERLAP_M {
                found.push(
                    Finding {
                        rule: "stiffener and cover overlap",
                        place: format!("stiffener '{}', layer '{}'", stiffener.name, layer.name),
                        found: format!("the cover reaches {} under the stiffener", mm(overlap)),
                        advice: "let stiffener and cover overlap by at least 0.76 mm (0.030 in)",
                        source: source::OVERLAP,
                        at_m: Some(under.centroid_m()),
                    }
                    .into(),
                );
            }
        }
    }
    found
}

fn segment_m(at: Point, p: Point, q: Point) -> f64 {
    let run = [q[0] - p[0], q[1] - p[1]];
    let square = run[0] * run[0] + run[1] * run[1];
    let along = (((at[0] - p[0]) * run[0] + (at[1] - p[1]) * run[1]) / square).clamp(0.0, 1.0);
    (at[0] - p[0] - along * run[0]).hypot(at[1] - p[1] - along * run[1])
}

fn stiffener_holes(board: &Board, stiffener: &Stiffener) -> Vec<Advice> {
    let across = |r: &Region| 2.0 * (r.area_m2() / std::f64::consts::PI).sqrt();
    let own = stiffener.region.openings();
    let mut found = Vec::new();
    for hole in board.outline.openings() {
        let at = hole.centroid_m();
        let matching = own.iter().find(|h| h.contains(at));
        let Some(matching) = matching else { continue };
        let spare = across(matching) - across(&hole);
        if spare < HOLE_ALLOWANCE_M - 1e-6 {
            found.push(
                Finding {
                    rule: "stiffener holes",
                    place: format!("stiffener '{}'", stiffener.name),
                    found: format!("its hole is {} larger than the circuit's", mm(spare)),
                    advice: "make stiffener holes about 0.4 mm larger than the circuit's",
                    source: source::RULES,
                    at_m: Some(at),
                }
                .into(),
            );
        }
    }
    found
}

fn vias_at_edge(board: &Board, stiffener: &Stiffener) -> Vec<Advice> {
    let edges = edges_on_board(board, stiffener);
    let mut found = Vec::new();
    for at in vias(board) {
        let gap = edges.iter().map(|&[p, q]| segment_m(at, p, q)).fold(f64::INFINITY, f64::min);
        if gap < VIA_TO_EDGE_M {
            found.push(
                Finding {
                    rule: "vias at the stiffener edge",
                    place: format!("stiffener '{}'", stiffener.name),
                    found: format!("a via {} from the edge", mm(gap)),
                    advice: "no via at a stiffener edge (we remark below 1 mm; the trade gives no figure)",
                    source: source::MISTAKES,
                    at_m: Some(at),
                }
                .into(),
            );
        }
    }
    found
}
