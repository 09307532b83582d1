use std::f64::consts::PI;

use super::*;

const MM: f64 = 1e-3;

fn mm(points: &[[f64; 2]]) -> Vec<Point> {
    points.iter().map(|p| [p[0] / 1e3, p[1] / 1e3]).collect()
}

fn close(value: f64, wanted: f64, tolerance: f64) {
    assert!((value - wanted).abs() <= tolerance, "{value} is not {wanted} within {tolerance}");
}

#[test]
fn boolean_areas_are_exact() {
    let a = Region::rectangle([0.0, 0.0], [4.0 * MM, 2.0 * MM]);
    let b = Region::rectangle([3.0 * MM, 1.0 * MM], [6.0 * MM, 5.0 * MM]);
    close(Region::union(&[&a, &b]).area_m2(), 19e-6, 1e-15);
    close(a.intersection(&b).area_m2(), 1e-6, 1e-15);
    close(a.difference(&b).area_m2(), 7e-6, 1e-15);
    let hole = Region::rectangle([1.0 * MM, 0.5 * MM], [2.0 * MM, 1.5 * MM]);
    let ring = a.difference(&hole);
    close(ring.area_m2(), 7e-6, 1e-15);
    assert_eq!(ring.contours.len(), 2, "one outer contour, one hole");
    assert!(
        twice_area(&ring.contours[0]) > 0.0 && twice_area(&ring.contours[1]) < 0.0,
        "orientation of hole"
    );
    assert!(
        ring.contains([0.5 * MM, 1.0 * MM]) && !ring.contains([1.5 * MM, 1.0 * MM]),
        "inside and in the hole"
    );
    assert!(ring.contains([1.0 * MM, 1.0 * MM]), "a point on an edge counts as inside");
    assert_eq!(ring.openings().len(), 1, "one opening");
    close(ring.openings()[0].area_m2(), 1e-6, 1e-15);
}

#[test]
fn orientation_of_input_does_not_matter() {
    let mut points = mm(&[[0.0, 0.0], [3.0, 0.0], [3.0, 1.0], [0.0, 1.0]]);
    let there = Region::from_polygon(&points);
    points.reverse();
    assert_eq!(there, Region::from_polygon(&points), "same region from both orientations");
}

#[test]
fn pieces_keep_their_holes() {
    let ring = Region::rectangle([0.0, 0.0], [3.0 * MM, 3.0 * MM])
        .difference(&Region::rectangle([1.0 * MM, 1.0 * MM], [2.0 * MM, 2.0 * MM]));
    let other = Region::rectangle([5.0 * MM, 0.0], [6.0 * MM, 1.0 * MM]);
    let pieces = Region::union(&[&other, &ring]).pieces();
    assert_eq!(pieces.len(), 2, "two pieces");
    close(pieces[0].area_m2(), 8e-6, 1e-15);
    close(pieces[1].area_m2(), 1e-6, 1e-15);
}

#[test]
fn centroid_of_a_half_disc() {
    // Centre of area of a half disc lies 4 R / (3 pi) above its base (any table of plane areas).
    let disc = Region::circle([1.0 * MM, 0.0], 2.0 * MM, 0.02 * MM);
    let half = disc.difference(&Region::rectangle([-5.0 * MM, -5.0 * MM], [5.0 * MM, 0.0]));
    let c = half.centroid_m();
    close(c[0], 1.0 * MM, 1e-9);
    close(c[1], 4.0 * 2.0 * MM / (3.0 * PI), 1e-7);
    close(disc.area_m2(), PI * 4e-6, 1e-9);
}

#[test]
fn stroke_has_the_area_of_its_path() {
    // Straight: length times width; round ends add one disc; a mitred right angle keeps length times width.
    let width = 0.15 * MM;
    let line = Region::stroke(&mm(&[[0.0, 0.0], [5.0, 0.0]]), width, Ends::Butt);
    close(line.area_m2(), 5.0 * MM * width, 1e-12);
    let round = Region::stroke(&mm(&[[0.0, 0.0], [5.0, 0.0]]), width, Ends::Round);
    close(round.area_m2() / (5.0 * MM * width + PI * width * width / 4.0), 1.0, 1e-3);
    let bent = Region::stroke(&mm(&[[0.0, 0.0], [5.0, 0.0], [5.0, 3.0]]), width, Ends::Butt);
    close(bent.area_m2(), 8.0 * MM * width, 2e-12);
    assert!(bent.contains([5.0 * MM + 0.074 * MM, -0.074 * MM]), "the mitred corner is filled");
    let sharp = Region::stroke(&mm(&[[0.0, 0.0], [5.0, 0.0], [1.0, 0.5]]), width, Ends::Butt);
    assert!(sharp.contains([5.0 * MM + 0.07 * MM, 0.0]), "a sharp turn gets a round joint");
    assert!(!sharp.contains([5.0 * MM + 0.08 * MM, 0.0]), "and no long mitre");
    assert_eq!(sharp.pieces().len(), 1, "one piece");
}

#[test]
fn stroke_of_a_spiral_is_one_piece() {
    let path: Vec<Point> = (0..=400)
        .map(|i| {
            let a = f64::from(i) * 2.0 * PI * 5.0 / 400.0;
            let r = 1.0 * MM + 0.16 * MM * a / (2.0 * PI);
            [r * a.cos(), r * a.sin()]
        })
        .collect();
    let length: f64 = path.windows(2).map(|w| (w[0][0] - w[1][0]).hypot(w[0][1] - w[1][1])).sum();
    let spiral = Region::stroke(&path, 0.09 * MM, Ends::Butt);
    assert_eq!(spiral.contours.len(), 1, "turns do not touch");
    close(spiral.area_m2() / (length * 0.09 * MM), 1.0, 2e-3);
}

#[test]
fn stroke_refuses_nonsense_quietly() {
    assert!(Region::stroke(&[[f64::NAN, 0.0], [1.0, 0.0]], 1e-3, Ends::Butt).is_empty(), "not a number");
    assert!(Region::stroke(&[[0.0, 0.0], [1.0, 0.0]], -1e-3, Ends::Butt).is_empty(), "negative width");
    assert!(Region::stroke(&[], 1e-3, Ends::Round).is_empty(), "no path");
}

#[test]
fn rounded_corners_lie_on_their_arcs() {
    let square = mm(&[[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]]);
    let (points, arcs) = rounded_polygon(&square, &[1.0 * MM], "corner").unwrap();
    assert_eq!(arcs.len(), 4, "four arcs");
    assert!(points.len() >= 4 * 14, "at least 13 chords a corner, {} points", points.len());
    // Area of a square with rounded corners: side^2 - (4 - pi) R^2.
    let region = Region::from_polygon(&points);
    close(region.area_m2(), 100e-6 - (4.0 - PI) * 1e-6, 1e-8);
    for p in &points {
        let on = arcs
            .iter()
            .filter_map(|a| a.nearest_m(*p, 1e-9))
            .any(|q| (q[0] - p[0]).hypot(q[1] - p[1]) < 1e-12);
        assert!(on, "({}, {}) lies on an arc", p[0], p[1]);
    }
    let fault = rounded_polygon(&square, &[6.0 * MM], "corner").unwrap_err();
    assert!(fault.to_string().contains("at most 4.0000 mm"), "{fault}");
}

#[test]
fn reentrant_corners_are_filleted() {
    let pad = Region::rectangle([-5.0 * MM, -4.0 * MM], [0.0, 4.0 * MM]);
    let arm = Region::rectangle([-0.5 * MM, -0.6 * MM], [8.0 * MM, 0.6 * MM]);
    let body = Region::union(&[&pad, &arm]);
    let (round, arcs) = body.fillet_reentrant(0.5 * MM, "fillet").unwrap();
    assert_eq!(arcs.len(), 2, "two re-entrant corners");
    // Each fillet adds (1 - pi/4) R^2.
    close(round.area_m2() - body.area_m2(), 2.0 * (1.0 - PI / 4.0) * 0.25e-6, 2e-9);
}

#[test]
fn self_crossing_gives_the_place() {
    let bow = mm(&[[0.0, 0.0], [2.0, 2.0], [2.0, 0.0], [0.0, 2.0]]);
    let p = self_crossing(&bow).unwrap();
    close(p[0], 1.0 * MM, 1e-12);
    close(p[1], 1.0 * MM, 1e-12);
    assert_eq!(self_crossing(&mm(&[[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]])), None, "a square");
    let spike = mm(&[[0.0, 0.0], [2.0, 0.0], [3.0, 0.0], [2.0, 0.0], [2.0, 2.0]]);
    assert!(self_crossing(&spike).is_some(), "a spike runs back along itself");
    let touch = mm(&[[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [2.0, 0.0], [0.0, 4.0]]);
    assert_eq!(self_crossing(&touch), Some([2.0 * MM, 0.0]), "touching counts");
    assert_eq!(self_crossing(&[[0.0, 0.0]; 5]), None, "a point");
}

#[test]
fn thin_parts_and_gaps_are_found() {
    let plate = Region::rectangle([0.0, 0.0], [10.0 * MM, 5.0 * MM]);
    assert!(plate.thin_features(20e-6).is_empty(), "a plate has none");
    let slit = plate.difference(&Region::rectangle([2.0 * MM, 2.0 * MM], [5.0 * MM, 2.006 * MM]));
    let gaps = slit.thin_features(20e-6);
    assert!(!gaps.is_empty() && gaps.iter().all(|f| f.kind == ThinKind::Gap), "{gaps:?}");
    close(gaps[0].width_m, 6e-6, 1e-12);
    let neck = plate.difference(&Region::rectangle([2.0 * MM, 0.008 * MM], [5.0 * MM, 2.0 * MM]));
    let parts = neck.thin_features(20e-6);
    assert!(!parts.is_empty() && parts.iter().all(|f| f.kind == ThinKind::Part), "{parts:?}");
    close(parts[0].width_m, 8e-6, 1e-12);
    assert!(
        Region::circle([0.0, 0.0], 0.3 * MM, 0.0).thin_features(20e-6).is_empty(),
        "a finely flattened circle"
    );
}

#[test]
fn near_misses_between_regions() {
    let a = Region::rectangle([0.0, 0.0], [5.0 * MM, 5.0 * MM]);
    let b = Region::rectangle([5.003 * MM, 1.0 * MM], [8.0 * MM, 2.0 * MM]);
    let found = near_misses(&[&a, &b], 10e-6);
    assert_eq!(found.len(), 2, "a place at each end of the short side: {found:?}");
    assert_eq!(found[0].pair, [0, 1], "the two regions");
    close(found[0].feature.width_m, 3e-6, 1e-12);
    let c = Region::rectangle([5.0 * MM, 1.0 * MM], [8.0 * MM, 2.0 * MM]);
    assert!(near_misses(&[&a, &c, &a], 10e-6).is_empty(), "edges that coincide are no near miss");
}

#[test]
fn far_and_undefined_coordinates_do_not_panic() {
    let _ = Region::rectangle([f64::NEG_INFINITY, 0.0], [f64::INFINITY, f64::NAN]);
    let _ = Region::from_polygon(&[[1e300, 0.0], [0.0, -1e300], [f64::NAN, 1.0]]);
    let _ = Region::circle([0.0, 0.0], f64::INFINITY, 1e-3);
}
