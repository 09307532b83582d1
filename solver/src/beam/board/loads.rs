//! Mechanical loads, weight and glued bodies on the beams of a board.

use super::BoardBeam;
use crate::beam::frame::{Ride, rigid_mass};
use crate::error::SolveError;
use copperbend_mesh::board::{Board, Load, Place};
use copperbend_mesh::region::{Point, Region};
use nalgebra::{Matrix3, Vector3};

/// Which nodes carry a point of the board, with their shares and the arm from each, m.
pub(in crate::beam) type Carriers = Vec<(usize, f64, Vector3<f64>)>;

/// Nodes that carry a point of the board at a height above z = 0, m.
pub(in crate::beam) fn carriers(board: &Board, own: &BoardBeam, at: Point, z_m: f64) -> Carriers {
    let place = Vector3::new(at[0], at[1], z_m);
    let in_flap = board.flap.as_ref().is_some_and(|f| f.region.contains(at));
    let elastic = own.spans.iter().any(|s| s.arm.is_none());
    if let Some(node) = own.flap.filter(|_| in_flap && !elastic) {
        return vec![(node, 1.0, place - own.frame.nodes[node].at_m)];
    }
    let foot = |link: usize| {
        let ends = own.spans[link].piece.ends_m;
        let d = [ends[1][0] - ends[0][0], ends[1][1] - ends[0][1]];
        let t = ((at[0] - ends[0][0]) * d[0] + (at[1] - ends[0][1]) * d[1]) / (d[0] * d[0] + d[1] * d[1]);
        let t = t.clamp(0.0, 1.0);
        ((ends[0][0] + t * d[0] - at[0]).hypot(ends[0][1] + t * d[1] - at[1]), t)
    };
    let best = (0..own.spans.len())
        .filter(|&l| !elastic || own.spans[l].arm.is_none() == in_flap)
        .map(|l| (l, foot(l)))
        .min_by(|a, b| a.1.0.total_cmp(&b.1.0));
    let Some((link, (_, t))) = best else { return Vec::new() };
    let link = &own.frame.links[link];
    [1.0 - t, t]
        .into_iter()
        .zip(link.nodes)
        .filter(|(share, _)| *share > 0.0)
        .map(|(share, node)| (node, share, place - own.frame.nodes[node].at_m))
        .collect()
}

/// Adds the mass of glued bodies to the nodes that carry them.
pub(super) fn bodies(board: &Board, own: &mut BoardBeam) {
    for body in &board.bodies {
        let on = carriers(board, own, body.region.centroid_m(), body.centre_z_m);
        for (node, share, arm) in on {
            let inertia = Matrix3::from_diagonal(&Vector3::from(body.inertia_kg_m2)) * share;
            own.frame.nodes[node].inertia += rigid_mass(body.mass_kg * share, &arm, &inertia);
            if own.flap == Some(node) {
                let (mass, centre) = own.flap_mass;
                let whole = mass + body.mass_kg * share;
                own.flap_mass = (whole, (centre * mass + arm * (body.mass_kg * share)) / whole);
            }
        }
    }
}

/// Every mechanical load and the weight of all parts.
pub(super) fn all(board: &Board, own: &BoardBeam) -> Result<Vec<Ride>, SolveError> {
    let mut rides = Vec::new();
    for load in &board.loads {
        match load {
            Load::Force { place, force_n, .. } => {
                for (share, at) in places(place, own) {
                    put(&mut rides, board, own, (at, mid_height(own, at)), Vector3::from(*force_n) * share);
                }
            }
            Load::Pressure { name, place, pressure_pa } => {
                let Place::Area(region) = place else {
                    return Err(SolveError::Model {
                        what: format!("pressure '{name}' has no area"),
                        remedy: "give it shape = \"...\"".into(),
                    });
                };
                let force = Vector3::new(0.0, 0.0, pressure_pa * region.area_m2());
                for (share, at) in places(place, own) {
                    put(&mut rides, board, own, (at, own.reference_z_m), force * share);
                }
            }
            Load::Moment { place, moment_nm, .. } => {
                for (share, at) in places(place, own) {
                    for (node, part, _) in carriers(board, own, at, own.reference_z_m) {
                        let moment_nm = Vector3::from(*moment_nm) * (share * part);
                        let zero = Vector3::zeros();
                        rides.push(Ride { node, arm_m: zero, force_n: zero, moment_nm });
                    }
                }
            }
        }
    }
    weight(board.gravity_m_s2.into(), own, &mut rides);
    Ok(rides)
}

fn put(rides: &mut Vec<Ride>, board: &Board, own: &BoardBeam, (at, z_m): (Point, f64), force: Vector3<f64>) {
    for (node, share, arm_m) in carriers(board, own, at, z_m) {
        rides.push(Ride { node, arm_m, force_n: force * share, moment_nm: Vector3::zeros() });
    }
}

/// Mid-height of the stack at a place, m above z = 0; the axis where none is known.
fn mid_height(own: &BoardBeam, at: Point) -> f64 {
    let inside = own.spans.iter().find_map(|span| {
        let [a, b] = span.piece.ends_m;
        let [c, s] = span.piece.along;
        let along = (at[0] - a[0]) * c + (at[1] - a[1]) * s;
        let across = -(at[0] - a[0]) * s + (at[1] - a[1]) * c;
        let fits = along >= -1e-6 && along <= (b[0] - a[0]).hypot(b[1] - a[1]) + 1e-6;
        let stretch = own.sections[span.section]
            .stretches()
            .find(|s| across >= s.across_m[0] - 1e-6 && across <= s.across_m[1] + 1e-6)?;
        let faces = stretch.laminate.plies.iter().filter(|p| !p.sliding);
        let (low, high) =
            faces.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), p| (l.min(p.z0_m), h.max(p.z1_m)));
        (fits && low < high).then_some(own.reference_z_m + 0.5 * (low + high))
    });
    inside.unwrap_or(own.reference_z_m)
}

/// Points that stand for a place, with their shares.
fn places(place: &Place, own: &BoardBeam) -> Vec<(f64, Point)> {
    match place {
        Place::Point(at) => vec![(1.0, *at)],
        Place::Line([p, q]) => {
            let at = |i: u8| {
                let t = (f64::from(i) + 0.5) / 16.0;
                [p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1])]
            };
            (0..16_u8).map(|i| (1.0 / 16.0, at(i))).collect()
        }
        Place::Area(region) => slices(region, own),
    }
}

/// An area in slices across the arms, by their share of the area.
fn slices(region: &Region, own: &BoardBeam) -> Vec<(f64, Point)> {
    let along = own.hinge.along;
    let across = [-along[1], along[0]];
    let corners = region.contours.iter().flatten().map(|p| own.hinge.along_m(*p));
    let (low, high) = corners.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), s| (a.min(s), b.max(s)));
    let mut out = Vec::new();
    for i in 0..64_u8 {
        let s = low + (high - low) * (f64::from(i) + 0.5) / 64.0;
        let at = [own.hinge.root_m[0] + along[0] * s, own.hinge.root_m[1] + along[1] * s];
        for pair in region.cuts_m(at, across).chunks_exact(2) {
            let y = 0.5 * (pair[0] + pair[1]);
            out.push((pair[1] - pair[0], [at[0] + across[0] * y, at[1] + across[1] * y]));
        }
    }
    let whole: f64 = out.iter().map(|o| o.0).sum();
    for o in &mut out {
        o.0 /= whole.max(f64::MIN_POSITIVE);
    }
    out
}

/// Weight of elements, half at each end, and of rigid masses.
fn weight(gravity: Vector3<f64>, own: &BoardBeam, rides: &mut Vec<Ride>) {
    if gravity == Vector3::zeros() {
        return;
    }
    for (link, span) in own.frame.links.iter().zip(&own.spans) {
        let mass = &own.sections[span.section].mass;
        let half = 0.5 * mass.mass * link.element.length_m;
        let [y, z] = mass.first.map(|m| if mass.mass > 0.0 { m / mass.mass } else { 0.0 });
        let off = link.element.triad.transpose() * Vector3::new(0.0, y, z);
        for e in 0..2 {
            let arm_m = link.arms_m[e] + off;
            rides.push(Ride {
                node: link.nodes[e],
                arm_m,
                force_n: gravity * half,
                moment_nm: Vector3::zeros(),
            });
        }
    }
    for (node, n) in own.frame.nodes.iter().enumerate() {
        let mass = n.inertia[(0, 0)];
        if mass > 0.0 {
            // The lower left block is mass times the arm's cross matrix.
            let arm_m = Vector3::new(n.inertia[(5, 1)], n.inertia[(3, 2)], n.inertia[(4, 0)]) / mass;
            rides.push(Ride { node, arm_m, force_n: gravity * mass, moment_nm: Vector3::zeros() });
        }
    }
}
