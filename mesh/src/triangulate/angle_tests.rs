//! No angle below the wished one but where the plan forces it: corners, cusps, gaps, arcs and random boards.

use super::tests::*;
use super::*;
use crate::quality::{Cause, report};
use crate::region::{Ends, rounded_polygon};
use std::f64::consts::{FRAC_PI_2, TAU};

/// Numbers from a congruential generator (constants of Knuth's MMIX).
struct Numbers(u64);

impl Numbers {
    fn next(&mut self, low: f64, high: f64) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        low + (high - low) * f64::from(u32::try_from(self.0 >> 40).unwrap()) / f64::from(1 << 24)
    }
}

fn turned(p: [f64; 2], angle: f64) -> Point {
    let (s, c) = angle.sin_cos();
    [(p[0] * c - p[1] * s) * MM, (p[0] * s + p[1] * c) * MM]
}

fn polygon(points: &[[f64; 2]], angle: f64) -> Region {
    Region::from_polygon(&points.iter().map(|&p| turned(p, angle)).collect::<Vec<_>>())
}

#[test]
fn corners_of_all_angles() {
    // One wedge at a time, once as the outline itself and once as a region inside a plate, turned to and fro.
    for degrees in [2.0_f64, 3.0, 5.0, 8.0, 12.0, 17.0, 23.0, 24.9, 26.0, 30.0, 37.0, 45.0, 55.0, 60.0] {
        for turn in [0.0, 0.3, 1.1] {
            let (s, c) = degrees.to_radians().sin_cos();
            let wedge = polygon(&[[0.0, 0.0], [8.0, 0.0], [8.0 * c, 8.0 * s]], turn);
            let plate = polygon(&[[-9.0, -9.0], [9.0, -9.0], [9.0, 9.0], [-9.0, 9.0]], turn);
            let label = format!("{degrees} degrees turned by {turn}");
            let size = field(0.8, vec![source([0.0, 0.0], [0.0, 0.0], 0.06)]);
            let alone = Plan { outline: wedge.clone(), ..Plan::default() };
            let mesh = triangulate(&alone, &size).unwrap();
            no_needless_angle(&mesh, &label);
            let r = report(&mesh, LIMIT_RAD);
            // The outline keeps its corner: one triangle has its angle.
            if degrees < 24.0 {
                let smallest = r.smallest.unwrap();
                assert!((smallest.angle_rad.to_degrees() - degrees).abs() < 0.1, "{label}: {smallest:?}");
                assert!(matches!(smallest.cause, Cause::NarrowCorner(_)), "{label}: {smallest:?}");
                assert!(r.n_below_limit <= 2, "{label}: {r:?}");
            }
            assert!(r.triangles < 3000, "{label}: {r:?}");
            let inner = Plan { outline: plate, regions: vec![wedge.clone()], ..Plan::default() };
            let mesh = triangulate(&inner, &size).unwrap();
            let r = report(&mesh, LIMIT_RAD);
            assert_eq!(r.n_below_limit, 0, "{label}, inside: {r:?}");
            // The blunted tip is g wide at most, so it holds at most g^2 / (2 angle).
            let lost = wedge.area_m2() - zone_area(&mesh, 0);
            let most = MOVED_MOST_M.powi(2) / (2.0 * degrees.to_radians()) + 1e-11;
            assert!(lost.abs() < most, "{label}: {lost} m2 lost");
        }
    }
}

#[test]
fn pencil_of_lines_through_one_point() {
    for (n, spread) in [(2, 0.1), (3, 0.2), (5, 0.9), (8, 1.2), (12, 3.0), (24, TAU)] {
        for turn in [0.0, 0.2, 0.77] {
            let plate = polygon(&[[-9.0, -9.0], [9.0, -9.0], [9.0, 9.0], [-9.0, 9.0]], 0.0);
            let rays: Vec<f64> = (0..n).map(|k| turn + spread * f64::from(k) / f64::from(n)).collect();
            let regions = rays.iter().map(|&a| polygon(&[[0.0, 0.0], [7.0, 0.0], [7.0, 6.0]], a)).collect();
            let plan = Plan { outline: plate, regions, ..Plan::default() };
            let size = field(0.8, vec![source([0.0, 0.0], [0.0, 0.0], 0.05)]);
            let mesh = triangulate(&plan, &size).unwrap();
            no_needless_angle(&mesh, &format!("{n} rays over {spread}, turned by {turn}"));
        }
    }
}

#[test]
fn circle_touching_a_line() {
    // Discs that touch the edge of a plate, a stiffener edge, and cross one by a few um.
    for radius in [0.05, 0.3, 1.0, 3.0] {
        for depth in [0.0, 0.001, 0.003, 0.01, -0.012] {
            let disc = Region::circle([0.0, (radius - depth) * MM], radius * MM, 0.0);
            let plan = Plan {
                outline: rect(-8.0, -4.0, 8.0, 8.0),
                regions: vec![disc.clone(), rect(-8.0, -4.0, 8.0, 0.0)],
                ..Plan::default()
            };
            let size = field(0.8, vec![source([0.0, 0.0], [0.0, 0.0], 0.06)]);
            let mesh = triangulate(&plan, &size).unwrap();
            let label = format!("radius {radius} mm, {depth} mm deep");
            no_needless_angle(&mesh, &label);
            // The cusps are cut where the gap is 4 um: sqrt(2 R g) long, a third of g times that in area, two of them.
            let cut = (2.0 * radius * MM * 4e-6_f64).sqrt() * 4e-6;
            let off = zone_area(&mesh, 0) - disc.area_m2();
            assert!(off.abs() < cut + 2.5e-10, "{label}: {off} m2 off");
        }
    }
}

#[test]
fn gap_beside_a_fillet() {
    // A stack edge that runs 25 um beside a fillet of the outline, and on along the straight edges.
    for gap in [0.012, 0.025, 0.05] {
        let corners = [[0.0, 0.0], [6.0, 0.0], [6.0, 4.0], [3.0, 4.0], [3.0, 2.0], [0.0, 2.0]];
        let radii = [0.0, 0.0, 0.0, 0.0, 0.5 * MM, 0.0];
        let (points, arcs) = rounded_polygon(&corners.map(|p| [p[0] * MM, p[1] * MM]), &radii, "f").unwrap();
        let inner = corners
            .map(|p| [p[0] + if p[0] > 2.0 { gap } else { 0.0 }, p[1] - if p[1] > 1.0 { gap } else { 0.0 }]);
        let (cover, _) = rounded_polygon(
            &inner.map(|p| [p[0] * MM, p[1] * MM]),
            &[0.0, 0.0, 0.0, 0.0, (0.5 + gap) * MM, 0.0],
            "f",
        )
        .unwrap();
        let cover = Region::from_polygon(&cover).intersection(&rect(1.0, 0.0, 5.0, 3.5));
        let outline = Region::from_polygon(&points);
        let plan = Plan { outline, regions: vec![cover.clone()], arcs, ..Plan::default() };
        let size = field(0.5, arc_sources(&plan.arcs, 62e-6));
        let mesh = triangulate(&plan, &size).unwrap();
        neat(&mesh, &plan, 3e-9);
        no_needless_angle(&mesh, &format!("gap {gap} mm"));
        let off = zone_area(&mesh, 0) - cover.area_m2();
        assert!(off.abs() < 1e-10, "gap {gap} mm: {off} m2 off");
    }
}

#[test]
fn small_fillets_with_short_chords() {
    // Radius 80 um: chords of 10 um, crossed by straight edges at many places.
    for seed in 1..=40 {
        let mut numbers = Numbers(seed * 31);
        let mut next = |low, high| numbers.next(low, high);
        let turn = next(0.0, FRAC_PI_2);
        let corners = [[0.0, 0.0], [3.0, 0.0], [3.0, 2.0], [1.5, 2.0], [1.5, 1.0], [0.0, 1.0]];
        let points: Vec<Point> = corners.iter().map(|&p| turned(p, turn)).collect();
        let (points, arcs) = rounded_polygon(&points, &[0.08 * MM], "corner").unwrap();
        let outline = Region::from_polygon(&points);
        let x = next(1.4, 1.6);
        let regions = vec![
            polygon(&[[x, -1.0], [5.0, -1.0], [5.0, 5.0], [x, 5.0]], turn),
            polygon(&[[-1.0, -1.0], [5.0, -1.0], [5.0, next(0.9, 1.1)], [-1.0, next(0.9, 1.1)]], turn),
        ];
        let plan = Plan { outline, regions, arcs, ..Plan::default() };
        let mesh = triangulate(&plan, &field(0.3, arc_sources(&plan.arcs, 10e-6))).unwrap();
        no_needless_angle(&mesh, &format!("seed {seed}"));
        assert!(mesh.complete && mesh.triangles.len() < 30_000, "seed {seed}: {}", mesh.triangles.len());
    }
}

/// A board turned by any angle: arm with fillets, flap, tracks that end in a coil, stiffeners, clamp, openings.
fn random_board(numbers: &mut Numbers) -> Plan {
    let turn = numbers.next(0.0, TAU);
    let mut next = |low, high| numbers.next(low, high);
    let corners = [
        [-5.0, -4.0],
        [0.0, -4.0],
        [0.0, -0.7],
        [8.0, -0.6],
        [8.0, -5.0],
        [18.0, -5.0],
        [18.0, 5.0],
        [8.0, 5.0],
        [8.0, 0.6],
        [0.0, 0.7],
        [0.0, 4.0],
        [-5.0, 4.0],
    ];
    let points: Vec<Point> = corners.iter().map(|&p| turned(p, turn)).collect();
    let (points, arcs) = rounded_polygon(&points, &[next(0.15, 0.55) * MM], "corner").unwrap();
    let opening = Region::circle(turned([next(9.0, 16.5), next(-4.2, 4.2)], turn), next(0.2, 0.9) * MM, 0.0);
    let outline = Region::from_polygon(&points).difference(&opening);
    let box_of = |x0: f64, y0: f64, x1: f64, y1: f64, a: f64| {
        polygon(&[[x0, y0], [x1, y0], [x1, y1], [x0, y1]], turn + a)
    };
    let (x, y, r) = (next(11.5, 14.0), next(-1.0, 1.0), next(1.5, 2.8));
    let ring = Region::circle(turned([x, y], turn), r * MM, 0.0).difference(&Region::circle(
        turned([x, y], turn),
        0.5 * r * MM,
        0.0,
    ));
    let track = |y0: f64, end: [f64; 2], width: f64| {
        let path: Vec<Point> = [[-4.0, y0], [8.3, y0], end].iter().map(|&p| turned(p, turn)).collect();
        Region::stroke(&path, width * MM, Ends::Butt)
    };
    let around = next(0.0, TAU);
    let lead = track(0.3, [x + r * around.cos(), y + r * around.sin()], next(0.1, 0.3));
    let back = track(-0.3, [next(9.0, 12.0), next(-4.0, -2.0)], next(0.1, 0.3));
    let regions = vec![
        Region::union(&[&ring, &lead]),
        lead,
        back,
        ring,
        box_of(-5.0, -4.0, 0.0, 4.0, 0.0),
        box_of(0.0, -0.7, 8.0, 0.7, 0.0),
        box_of(8.0, -5.0, 18.0, 5.0, 0.0),
        box_of(next(8.0, 9.0), -6.0, 17.5, next(2.0, 4.99), next(-0.02, 0.02)),
        outline.difference(&box_of(-5.0, -4.0, next(-3.0, -1.0), 4.0, next(-0.1, 0.1))),
    ];
    Plan { outline, regions, arcs, ..Plan::default() }
}

#[test]
fn random_boards_have_no_needless_angle() {
    for seed in 1..=60 {
        let mut numbers = Numbers(seed * 7919);
        let plan = random_board(&mut numbers);
        let mut size = field(0.6, arc_sources(&plan.arcs, 50e-6));
        size.fine_m = 20e-6;
        let mesh = triangulate(&plan, &size).unwrap_or_else(|e| panic!("seed {seed}: {e}"));
        let label = format!("seed {seed}");
        assert!(mesh.complete, "{label}");
        no_needless_angle(&mesh, &label);
        let rim: f64 = plan.outline.edges().map(|[a, b]| (a[0] - b[0]).hypot(a[1] - b[1])).sum();
        assert!(mesh.moved.iter().all(|m| m.by_m <= MOVED_MOST_M), "{label}: {:?}", mesh.moved);
        for (bit, region) in plan.regions.iter().enumerate() {
            let (have, want) = (zone_area(&mesh, bit), region.intersection(&plan.outline).area_m2());
            // Slanted edges are led through snapped corners (0.71 um) and arcs leave their chords (5 um).
            let round: f64 = region.edges().map(|[a, b]| (a[0] - b[0]).hypot(a[1] - b[1])).sum();
            assert!((have - want).abs() < (round + rim) * 0.8e-6, "{label}, region {bit}: {have}, {want} m2");
        }
    }
}

/// Steps in the outline: below [`MERGED_M`] their ends become one point, which is told with its place and how far apart
/// they were; longer ones stay.
#[test]
fn steps_too_short_to_be_made_are_told() {
    let bar =
        |[x0, y0]: [f64; 2], [x1, y1]: [f64; 2]| polygon(&[[x0, y0], [x1, y0], [x1, y1], [x0, y1]], 0.0);
    for (step_um, merges) in [(2.0, true), (3.0, false)] {
        let low = -1.0 - 1e-3 * step_um;
        let outline = Region::union(&[&bar([0.0, -1.0], [5.0, 1.0]), &bar([5.0, low], [9.0, 1.0])]);
        let regions = vec![bar([4.0, -0.5], [6.0, 0.5])];
        let mesh = triangulate(&Plan { outline, regions, ..Plan::default() }, &field(0.5, vec![])).unwrap();
        assert_eq!(mesh.merged.len(), usize::from(merges), "{step_um} um: {:?}", mesh.merged);
        for m in &mesh.merged {
            assert!((m.apart_m - 1e-6 * step_um).abs() < 1e-12 && m.at_rim && m.regions == 0, "{m:?}");
            let off = (m.at_m[0] - 5.0 * MM).hypot(m.at_m[1] + MM);
            assert!(off <= MERGED_M, "{off} m from the step: {m:?}");
        }
    }
}
