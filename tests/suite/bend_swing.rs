//! The swing of whole boards: pull-in, contact, strain ranges, and the small swing that must meet the linear answer.

use copperbend_mesh::board::{Board, understand};
use copperbend_solver::bend::{BendOptions, Quiet, bend};
use copperbend_solver::result::{BendAnswer, Swing};

const VANE: &str = include_str!("../../examples/one_arm_vane/design.toml");

/// The one-arm vane with pieces replaced and lines added at the end.
fn vane(replace: &[(&str, &str)], more: &str) -> Board {
    let mut text = VANE.to_owned();
    for (from, to) in replace {
        assert!(text.contains(from), "'{from}' is not in the example");
        text = text.replacen(from, to, 1);
    }
    understand("design.toml", &format!("{text}\n{more}\n")).unwrap()
}

/// One mesh without the modulus span.
fn answer(board: &Board) -> BendAnswer {
    let options = BendOptions { refine: false, modulus_span: false, ..BendOptions::default() };
    bend(board, &options, &mut Quiet).unwrap().answers.remove(0)
}

fn swing(board: &Board) -> Swing {
    answer(board).swing.expect("a magnet drives a flap")
}

const WEIGHTLESS: (&str, &str) = ("[gravity]\ndirection = [1, 0, 0]", "");

/// Two routes to a small swing: the large-motion path with the load that follows, and the linear solve with the load
/// at rest. They differ by the change of the load with the angle only, which kappa measures.
#[test]
fn a_small_swing_meets_the_linear_answer() {
    let board = vane(&[("current = \"8 mA\"", "current = \"0.2 mA\""), WEIGHTLESS], "[swing]\nsteps = 1");
    let answer = answer(&board);
    let linear = answer.loaded.flap_angle_rad.unwrap();
    let swing = answer.swing.unwrap();
    let [down, rest, up] = &swing.by_current[..] else { panic!("three states: {:?}", swing.by_current) };
    assert!((rest.current_a).abs() < 1e-15 && rest.angle_rad.abs() < 1e-9, "nothing acts at rest: {rest:?}");
    let both = 0.5 * (up.angle_rad - down.angle_rad);
    let off = (both / linear - 1.0).abs();
    assert!(off < 1e-3, "mean of both polarities {both:e}, linear {linear:e}: off by {off:e}");
    // To first order angle = linear / (1 - kappa): the polarities part by twice kappa.
    let kappa = swing.coupling.unwrap().kappa;
    let parted = (up.angle_rad + down.angle_rad) / (up.angle_rad - down.angle_rad);
    assert!((parted / kappa - 1.0).abs() < 0.2, "polarities part by {parted:e}, kappa is {kappa:e}");
    let strain = answer.spots[0].strain;
    let off = (up.strain / strain - 1.0).abs();
    assert!(off < 0.02, "worst strain {:e} against linear {strain:e}", up.strain);
}

/// The attracting polarity has a largest current; prescribed angles pass it, and no state exceeds it.
#[test]
fn pull_in_is_traced_and_reported() {
    let board = vane(
        &[("current = \"8 mA\"", "current = \"60 mA\"")],
        "[swing]\nsteps = 2\nangles = { from = \"-9 deg\", to = \"4 deg\", step = \"1 deg\" }",
    );
    let swing = swing(&board);
    let coupling = swing.coupling.unwrap();
    let pull_in = coupling.pull_in.expect("60 mA is far beyond pull-in");
    let estimate = coupling.pull_in_estimate_a.unwrap();
    assert!(
        pull_in.current_a < 0.0 && pull_in.current_a.abs() < estimate.abs(),
        "the field grows towards the magnet: found {}, by the values at rest {estimate}",
        pull_in.current_a
    );
    // Independent of the search: the current along all prescribed angles has its extreme there.
    let extreme = swing.by_angle.iter().map(|s| s.current_a).fold(0.0, f64::min);
    let off = pull_in.current_a / extreme - 1.0;
    assert!(
        (0.0..5e-3).contains(&off),
        "least current of the angles {extreme}, pull-in {}",
        pull_in.current_a
    );
    for s in &swing.by_angle {
        let held = s.angle_rad < pull_in.angle_rad - 0.01;
        let free = s.angle_rad > pull_in.angle_rad + 0.01;
        assert!(!held || !s.stable, "beyond pull-in {pull_in:?} only the angle holds the flap: {s:?}");
        assert!(!free || s.stable, "before pull-in {pull_in:?} a current holds the flap: {s:?}");
    }
    let stop = swing.stops.iter().find(|s| s.why.contains("pull-in")).expect("told");
    assert_eq!(stop.wished, "-60 mA", "what was wished: {stop:?}");
    assert!(swing.by_current.iter().all(|s| s.stable), "only states that a current reaches: {swing:#?}");
    let most = swing.by_current.last().unwrap();
    assert!((most.current_a - 0.06).abs() < 1e-12 && most.angle_rad > 0.1, "the other way is free: {most:?}");
}

/// The torque of the magnets at every prescribed angle is what the arm's spring holds, within the 6 % by which a spring that
/// bends through eight degrees departs from the linear one (weightless vane).
#[test]
fn torque_of_every_angle_is_held_by_the_spring() {
    let board = vane(
        &[WEIGHTLESS],
        "[swing]\nsteps = 1\nangles = { from = \"-8 deg\", to = \"8 deg\", step = \"2 deg\" }",
    );
    let answer = answer(&board);
    let spring = answer.spring.unwrap();
    let swing = answer.swing.unwrap();
    // The arm's spring holds the torque: for a weightless vane torque over angle changes little along the whole path.
    let ratio = |s: &copperbend_solver::result::SwingState| s.torque_nm / s.angle_rad;
    let bent: Vec<f64> = swing.by_angle.iter().filter(|s| s.angle_rad.abs() > 0.01).map(ratio).collect();
    let drive = spring.drive_nm_per_rad.unwrap();
    assert!(bent.len() >= 8, "states: {:?}", swing.by_angle);
    for r in &bent {
        assert!((r / drive - 1.0).abs() < 0.06, "torque over angle {r:e}, linear {drive:e}");
    }
}

#[test]
fn a_swing_into_the_magnet_stops_there() {
    let board =
        vane(&[], "[swing]\nsteps = 1\nangles = { from = \"-30 deg\", to = \"5 deg\", step = \"5 deg\" }");
    let swing = swing(&board);
    let stop = swing.stops.iter().find(|s| s.why.contains("drive magnet")).expect("the magnet is in the way");
    assert!(stop.why.contains("contact itself is not modelled"), "{}", stop.why);
    assert_eq!(stop.wished, "-15 deg", "{stop:?}");
    assert!(
        swing.by_angle.iter().all(|s| s.angle_rad > stop.angle_rad - 1e-9),
        "nothing behind the magnet's face"
    );
    assert!(swing.by_angle.iter().all(|s| s.clearance_m.unwrap() > 0.0), "all states are clear");
    let least = swing.clearance.expect("a magnet is near");
    assert!(least.to.contains("drive magnet") && least.distance_m < 0.3e-3, "{least:?}");
    // Geometry: a straight flap turned about the middle of the arm (x = 4.5 mm) meets the rim of the magnet's face
    // (x = 20.5 mm, z = -3 mm) with its lower face at about z = -0.0275 mm.
    let reach: f64 = 20.5 - 4.5;
    let rigid = (3.0 / reach).atan();
    let off = stop.angle_rad.abs() / rigid - 1.0;
    assert!(
        off.abs() < 0.05,
        "contact at {} deg, rigid flap at {} deg",
        stop.angle_rad.to_degrees(),
        rigid.to_degrees()
    );
}

/// A lid over the vane: the height of the far end at contact is the lid's.
#[test]
fn declared_obstacles_stop_the_swing() {
    let board =
        vane(&[], "[[obstacle]]\nname = \"lid\"\nplane = { height = \"0.4 mm\" }\n[swing]\nsteps = 2");
    let answer = answer(&board);
    let swing = answer.swing.as_ref().unwrap();
    let stop = swing.stops.iter().find(|s| s.wished.ends_with("mA")).expect("the lid is in the way");
    assert!(stop.why.contains("obstacle 'lid'"), "{}", stop.why);
    // Linear shape, scaled to contact: the upper face of the far end is lifted by what is left to the lid.
    let slope = answer.loaded.tip_m[2] / answer.loaded.flap_angle_rad.unwrap();
    let rest = swing.by_current.iter().find(|s| s.current_a.abs() < 1e-12).unwrap();
    let wanted = rest.angle_rad + rest.clearance_m.unwrap() / slope;
    let off = stop.angle_rad / wanted - 1.0;
    assert!(off.abs() < 0.04, "contact at {}, by the linear shape {wanted}", stop.angle_rad);
    assert!(swing.by_current.iter().any(|s| s.angle_rad < -0.03), "the other polarity is free");
}

/// The range of a monotonic swing is the difference of its ends, and the linear strain per current gives its size.
#[test]
fn strain_range_spans_both_ends() {
    let board = vane(&[("current = \"8 mA\"", "current = \"2 mA\"")], "[swing]\nsteps = 2");
    let answer = answer(&board);
    let swing = answer.swing.as_ref().unwrap();
    let top = &swing.spots[0];
    let [low, high] = top.ends;
    assert!((top.range / (high - low).abs() - 1.0).abs() < 1e-6, "{top:?}");
    let ends = [swing.by_current.first().unwrap(), swing.by_current.last().unwrap()];
    let sum = ends[0].strain.abs() + ends[1].strain.abs();
    assert!(
        (top.range / sum - 1.0).abs() < 0.03,
        "range {:e}, worst strains of both ends {sum:e}",
        top.range
    );
    let beside = answer.spots[0].swing_range.expect("the worst spot is in both lists");
    assert!((beside / top.range - 1.0).abs() < 0.02, "{beside:e} beside {:e}", top.range);
    let on_map = swing.maps.iter().flat_map(|m| m.ranking.iter().flatten()).copied().fold(0.0, f64::max);
    assert!(on_map >= 0.95 * top.range, "the map shows it: {on_map:e} against {:e}", top.range);
}

#[test]
fn boards_on_which_nothing_large_happens_have_no_swing() {
    for (board, why) in [
        (vane(&[], "[swing]\noff = true"), "left out by the design"),
        (
            vane(&[("current = \"8 mA\"", "current = \"0 mA\"")], ""),
            "no current, and a weight that bends little",
        ),
        (strip("[\"0 mN\", \"0 mN\", \"0.002 mN\"]", ""), "a force that bends little"),
        (strip(PUSH, "[swing]\noff = true"), "a strip left out by the design"),
    ] {
        assert!(answer(&board).swing.is_none(), "{why}");
    }
}

const STRIP: &str = include_str!("../../examples/plain_strip/design.toml");
const PUSH: &str = "[\"0 mN\", \"0 mN\", \"0.2 mN\"]";

/// The plain strip under another force at its end.
fn strip(force: &str, more: &str) -> Board {
    assert!(STRIP.contains(PUSH), "the example's force");
    understand("strip.toml", &format!("{}\n{more}\n", STRIP.replacen(PUSH, force, 1))).unwrap()
}

/// Without a current the loads grow: the strip follows the elastica where its linear answer is far off. The force is scaled
/// so that P L^2 / EI = 1 by the strip's own linear answer: shortening, lift and slope by elliptic integrals (K. E.
/// Bisshopp, D. C. Drucker, Quart. Appl. Math. 3 (1945) 272-275; recomputed).
#[test]
fn growing_loads_follow_the_elastica() {
    let small = answer(&strip(PUSH, ""));
    let length = 10e-3;
    let linear = small.loaded.largest_m / length;
    let force = format!("[\"0 mN\", \"0 mN\", \"{} mN\"]", 0.2 * (1.0 / 3.0) / linear);
    let swing = answer(&strip(&force, "")).swing.expect("a large motion");
    assert!(swing.by_current.is_empty() && swing.by_angle.is_empty(), "no current: {swing:#?}");
    assert!(swing.angle_of.contains("moves most"), "{}", swing.angle_of);
    let shares: Vec<f64> = swing.by_load.iter().map(|s| s.load).collect();
    assert_eq!(shares, [0.0, 0.25, 0.5, 0.75, 1.0], "even steps");
    let [u, w, slope]: [f64; 3] = [0.05643324, 0.30172077, 0.46135195];
    let last = swing.by_load.last().unwrap();
    let moved = last.largest_m / (length * u.hypot(w));
    let turned = last.angle_rad / slope;
    // Bent tight, a strip this wide stays flat across and is stiffer by up to 1 / (1 - nu^2), nu = 0.34, than it was at
    // first: between the beam's elastica and the plate's at P L^2 / EI = 0.8844 (by shooting: 0.8989 and 0.8986 of it).
    assert!(moved < 1.0 && moved > 0.8989, "moved {moved}");
    assert!(turned < 1.0 && turned > 0.8986, "turned {turned}");
    assert!(swing.by_load.iter().all(|s| s.stable && !s.snapped) && swing.stops.is_empty(), "{swing:#?}");
    assert!(swing.by_load.windows(2).all(|s| s[1].strain.abs() > s[0].strain.abs()), "strain grows");
    let top = &swing.spots[0];
    assert!(
        (top.range / last.strain.abs() - 1.0).abs() < 0.05,
        "from rest: {} and {}",
        top.range,
        last.strain
    );
}

/// Pushed along its length far beyond P = pi^2 E I / (4 L^2): the perfect strip stays straight and says that it is not stable;
/// where no equilibrium is found any more the way ends, with the last good state as a row.
#[test]
fn a_load_that_buckles_the_arm_is_told_and_stops_where_nothing_settles() {
    let answer = answer(&strip("[\"-200 N\", \"0 mN\", \"0 mN\"]", ""));
    let swing = answer.swing.expect("a large motion");
    assert!(swing.by_load[0].stable, "at rest");
    let last = swing.by_load.last().unwrap();
    assert!(last.load > 0.0 && !last.stable, "beyond buckling: {last:#?}");
    let stop = swing.stops.first().expect("nothing bears this");
    assert!(stop.load < 1.0 && stop.why.contains("% of the step"), "{stop:#?}");
    assert!((last.load - stop.load).abs() < 1e-12, "the last good state is a row: {last:?} {stop:?}");
}

/// The example with magnets beside the vane swings tens of degrees, alike both ways.
#[test]
fn a_wide_swing_is_followed_both_ways() {
    let text = include_str!("../../examples/wide_swing_vane/design.toml");
    let swing = swing(&understand("design.toml", text).unwrap());
    let (down, up) = (swing.by_current.first().unwrap(), swing.by_current.last().unwrap());
    assert!(up.angle_rad > 30f64.to_radians() && down.angle_rad < -30f64.to_radians(), "{down:?} {up:?}");
    assert!((up.angle_rad / -down.angle_rad - 1.0).abs() < 0.05, "magnets on both sides: alike both ways");
    assert!(swing.stops.is_empty() && swing.snaps.is_empty(), "nothing in the way: {:#?}", swing.stops);
    // The torque fades with the angle; at rest it is that of the flat board.
    let fades =
        (up.torque_nm / up.current_a) / (swing.by_current[3].torque_nm / swing.by_current[3].current_a);
    assert!(fades < 0.95, "torque per ampere fades: {fades}");
}

/// The span of the copper modulus by ratios from a coarser mesh against the settled mesh itself.
#[test]
fn modulus_span_by_ratios_meets_the_direct_one() {
    let board = understand("design.toml", VANE).unwrap();
    let span = |span_triangles: usize| {
        let options = BendOptions { swing: false, span_triangles, ..BendOptions::default() };
        bend(&board, &options, &mut Quiet).unwrap().answers.remove(0).modulus_span.expect("a span")
    };
    let (direct, ratios) = (span(usize::MAX), span(0));
    assert!(ratios.triangles < direct.triangles, "{} against {}", ratios.triangles, direct.triangles);
    for (a, b) in direct.strain.iter().zip(&ratios.strain) {
        assert!((b / a - 1.0).abs() < 5e-3, "strain {b:e} by ratios, {a:e} directly");
    }
    let (a, b) = (direct.flap_angle_rad.unwrap(), ratios.flap_angle_rad.unwrap());
    for (a, b) in a.iter().zip(&b) {
        assert!((b / a - 1.0).abs() < 1e-3, "angle {b:e} by ratios, {a:e} directly");
    }
}
