//! Limits, warnings, cautions, and what the model leaves out.

use crate::result::{BendAnswer, BendReport, BondLimit, Caution, LimitCheck, Remark, SwingState};
use copperbend_mesh::board::Board;
use copperbend_mesh::coil::clearance::distance_m;
use copperbend_mesh::triangulate::MERGED_REMEDY;

/// Flap angle from which a linear answer is questionable, rad (5 degrees).
const LARGE_ANGLE_RAD: f64 = 5.0 * std::f64::consts::PI / 180.0;
/// Deflection over arm length from which a linear answer is questionable.
const LARGE_DEFLECTION: f64 = 0.10;
/// Elastic copper strain from which yielding matters; annealed foil yields at or before it (0.2 % offset strain).
const YIELDING: f64 = 2e-3;
/// Digits below which the solve itself limits the answer.
const FEW_DIGITS: f64 = 4.0;

/// Fills limits, warnings, cautions and omissions.
pub(super) fn fill(board: &Board, report: &mut BendReport) {
    report.limits = limits(board, report);
    report.warnings = Remark::of_board(board);
    for answer in &report.answers {
        report.warnings.extend(warnings(board, answer));
        report.warnings.extend(contact_remarks(board, answer));
    }
    report.cautions = cautions(board);
    report.left_out = left_out(board, report);
}

fn limits(board: &Board, report: &BendReport) -> Vec<LimitCheck> {
    let mut checks = Vec::new();
    let mut check = |what: &str, unit: &str, limit: Option<f64>, value: f64| {
        if let Some(limit) = limit {
            let exceeded = value > limit;
            checks.push(LimitCheck { what: what.into(), unit: unit.into(), limit, value, exceeded });
        }
    };
    let most = |of: &dyn Fn(&BendAnswer) -> f64| report.answers.iter().map(of).fold(0.0, f64::max);
    let strain = most(&|a| {
        let small = a.spots.iter().map(|s| s.strain.abs() + s.strain_error).fold(0.0, f64::max);
        driven(a).map(|s| s.strain.abs() + s.strain_error).fold(small, f64::max)
    });
    check("copper strain", "1", board.limits.copper_strain, strain);
    // Where the swing was followed its angles hold, not those of small deflections.
    let angle = most(&|a| match driven(a).map(|s| s.angle_rad.abs()).fold(0.0, f64::max) {
        swung if swung > 0.0 => swung,
        _ => a.loaded.flap_angle_rad.unwrap_or(0.0).abs(),
    });
    check("flap angle", "rad", board.limits.flap_angle_rad, angle);
    let drive = board.current.as_ref().map_or(0.0, |c| c.current_a.abs());
    let current = most(&|a| a.swing.as_ref().map_or(0.0, |s| s.most_current_a)).max(drive);
    check("current", "A", board.limits.current_a, current);
    checks
}

/// States of large motion that currents up to the largest, or the loads, reach.
fn driven(answer: &BendAnswer) -> impl Iterator<Item = &SwingState> {
    answer.swing.iter().flat_map(|s| s.by_current.iter().chain(&s.by_load))
}

fn bond_words(bond: BondLimit) -> &'static str {
    match bond {
        BondLimit::AsWritten => "answer",
        BondLimit::Bonded => "answer with tapes stiff in shear",
        BondLimit::Sliding => "answer with tapes sliding",
    }
}

fn warnings(board: &Board, answer: &BendAnswer) -> Vec<Remark> {
    let place = bond_words(answer.bond).to_owned();
    let mut found = Vec::new();
    let mut warn = |text: String, remedy: &str| {
        found.push(Remark { place: place.clone(), text, remedy: remedy.into() });
    };
    let angle = answer.loaded.flap_angle_rad.unwrap_or(0.0).abs();
    let arm = shortest_arm_m(board);
    let reach = answer.loaded.largest_m / arm;
    if angle > LARGE_ANGLE_RAD || reach > LARGE_DEFLECTION {
        warn(
            format!(
                "flap angle {:.1} degrees, deflection {:.0} % of the arm's length: beyond about 5 degrees or 10 % the \
                 linear theory used here drifts",
                angle.to_degrees(),
                100.0 * reach
            ),
            if answer.swing.as_ref().is_some_and(|s| s.by_load.is_empty()) {
                "read the table of the swing: it follows the flap through large angles"
            } else if answer.swing.is_some() {
                "read the table of the large motion: it follows the board through large angles"
            } else {
                "take the figures as a first estimate, or lower the load to stay in the linear range"
            },
        );
    }
    for stop in answer.swing.iter().flat_map(|s| &s.stops) {
        warn(
            format!("the way to {} ended at {:.2} degrees", stop.wished, stop.angle_rad.to_degrees()),
            "see the reason below the table of the swing or large motion; less load or more distance keeps clear of it",
        );
    }
    for snap in answer.swing.iter().flat_map(|s| &s.snaps) {
        let [from, to] = snap.angles_rad.map(f64::to_degrees);
        warn(
            format!("the board snaps from {from:.2} to {to:.2} degrees on the way"),
            "see where below the table; figures beyond the snap hold only if the board stays whole and at rest there",
        );
    }
    if answer.swing.iter().flat_map(|s| &s.by_load).any(|s| !s.stable) {
        warn(
            "a state under growing loads is not stable: the board buckles away".to_owned(),
            "less load, a stiffer or shorter arm, or a force off its plane so that the way it takes is known",
        );
    }
    for text in &answer.mesh.merged {
        warn(format!("the mesh: {text}"), MERGED_REMEDY);
    }
    if !answer.mesh.complete {
        warn(
            format!("the mesh stopped early; smallest angle {:.1} degrees", answer.mesh.min_angle_deg),
            "allow more triangles ([mesh] max_triangles), or remove features thinner than the triangles",
        );
    }
    let change = answer.settle.passes.last().and_then(|p| p.change);
    let still = change.is_some_and(|c| c <= answer.settle.tolerance);
    if !answer.settle.settled && !still && !answer.spots.is_empty() {
        warn(format!("the worst spots did not settle: {}", answer.settle.stopped), &answer.settle.remedy);
    }
    if let Some(top) = answer.spots.first()
        && top.strain.abs() > YIELDING
    {
        warn(
            format!(
                "copper strain {:.2} %: annealed copper yields before 0.2 %, the model is elastic",
                100.0 * top.strain
            ),
            "the place holds; where films carry the bending the strain holds too, where copper does it is larger",
        );
    }
    if answer.accuracy.digits < FEW_DIGITS {
        warn(
            format!("the displacements have only {:.1} good digits", answer.accuracy.digits),
            "use larger triangles ([mesh] fine): below half the thickness they gain nothing",
        );
    }
    found
}

/// Magnets that the bent board would touch or pass through: the model knows no contact.
fn contact_remarks(board: &Board, answer: &BendAnswer) -> Vec<Remark> {
    let shape = &answer.shape;
    let half = 0.5 * shape.thickness_m.iter().copied().fold(0.0, f64::max);
    let mut found = Vec::new();
    for magnet in &board.magnets {
        let gap = |(p, d): (&[f64; 2], &[f64; 6])| {
            let bent = [p[0] + d[0], p[1] + d[1], answer.mesh.reference_z_m + d[2]];
            (distance_m(magnet, bent), *p)
        };
        let nearest = shape.points_m.iter().zip(&shape.loaded).map(gap).min_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((distance, at)) = nearest
            && distance < half
        {
            found.push(Remark {
                place: format!("{}, x {:.2} mm, y {:.2} mm", bond_words(answer.bond), at[0] * 1e3, at[1] * 1e3),
                text: format!("the bent board touches or passes through magnet '{}': contact is not modelled", magnet.name),
                remedy: "lower the load, move the magnet away, or read the answer as the shape without the magnet in \
                         the way"
                    .into(),
            });
        }
    }
    found
}

/// Length of the shortest arm; without arms the longer side of the outline's extent, m.
fn shortest_arm_m(board: &Board) -> f64 {
    let arms = board.arms.iter().map(|a| (a.tip_m[0] - a.root_m[0]).hypot(a.tip_m[1] - a.root_m[1]));
    let least = arms.fold(f64::INFINITY, f64::min);
    if least.is_finite() {
        return least;
    }
    board.outline.bounds().map_or(f64::INFINITY, |[low, high]| (high[0] - low[0]).max(high[1] - low[1]))
}

/// Safety cautions due for a design.
pub(crate) fn cautions(board: &Board) -> Vec<Caution> {
    let mut found = Vec::new();
    let mut caution =
        |about: &str, text: &str| found.push(Caution { about: about.into(), text: text.into() });
    if !board.magnets.is_empty() {
        caution(
            "magnets",
            "Strong magnets snap together, pinch skin, crush fingers and splinter: wear eye protection, keep steel and \
             other magnets away, assemble with a non-magnetic jig. Keep them well away from people with a pacemaker or \
             other implant and from children: swallowed magnets are a medical emergency. Do not cut, drill or overheat \
             them.",
        );
    }
    if board.current.as_ref().is_some_and(|c| c.current_a != 0.0) {
        caution(
            "hot coil",
            "A coil can burn a finger or scorch film and adhesive before it looks hot, most of all when the flap is \
             stalled or the air is still. Temperature is not computed here: limit the current in hardware, fuse the \
             supply, watch the first run, and do not leave a first endurance run alone.",
        );
    }
    caution(
        "estimate",
        "Estimates from a model and the data named in it. Not a certificate. Check on samples before relying on any \
         figure. Follow local rules and the makers' safety sheets.",
    );
    found
}

fn left_out(board: &Board, report: &BendReport) -> Vec<String> {
    let mut out: Vec<String> = [
        "large rotation in movement, spots and other layers: forces and stiffness are those of the flat board; only the \
         swing, or the table of large motion, follows large angles",
        "yielding and creep: every layer is elastic at the values listed",
        "the change of strain through the thickness within about one thickness of an edge (shear of soft adhesive, \
         peel at a stiffener's edge)",
        "motion: inertia, air, resonance",
        "contact, damage, moisture, residual stress beyond the stress-free temperature given",
    ]
    .map(String::from)
    .to_vec();
    if report.drive.is_some() {
        out.push(
            "the change of the magnet's load as the flap moves, outside the swing; heating by the current"
                .into(),
        );
    }
    if report.answers.iter().any(|a| a.swing.is_some()) {
        out.push(
            "in large motion: contact itself (it stops there), eddy currents; a glued body is taken to reach as far beyond \
             its centre of mass as the board's face lies before it"
                .into(),
        );
    }
    if board.layers.iter().any(|l| !l.smears.is_empty()) {
        out.push(format!(
            "single coil turns where they are smeared: turn direction in steps of {} degree, no strain peaks at the \
             turns' edges",
            crate::model::TURN_STEP_DEG
        ));
    }
    if report.answers.len() > 1 {
        out.push("the shear of the stiffener's tape: the truth lies between the two answers".into());
    }
    out
}
