//! The board as understood: areas, mass, the stack at a point, arm sections, resistance.
//!
//! In: a board. Out: plain tables. Absent: mesh, solving.

use crate::model::{laminate_of_layers, slides};
use crate::result::{
    ArmFacts, BoardSummary, BondLimit, CircuitFacts, LayerFacts, StackAt, StackPly, TrackFacts,
};
use copperbend_mesh::board::{Arm, Board, ConductorKind, CurrentPath, LayerId, LayerKind, MaterialId};
use copperbend_mesh::layup::stack;
use copperbend_mesh::region::{Point, Region};

/// Areas, mass and circuit of a board.
#[must_use]
pub fn summarise(board: &Board) -> BoardSummary {
    let pieces = stack_regions(board);
    let masses = layer_masses(board, &pieces);
    let layers = board.layers.iter().zip(&masses).map(|(layer, &mass_kg)| LayerFacts {
        name: layer.name.clone(),
        material: board.materials[layer.material.0 as usize].name.clone(),
        kind: kind_words(layer.kind).into(),
        thickness_m: layer.thickness_m,
        area_m2: layer.region.area_m2(),
        mass_kg,
    });
    let tracks = board.conductors.iter().map(|c| {
        let (length_m, width_m) = match &c.kind {
            ConductorKind::Track { centre_line_m, width_m } => {
                (Some(copperbend_mesh::coil::length_m(centre_line_m)), Some(*width_m))
            }
            ConductorKind::CoilTurns | ConductorKind::Pour => (None, None),
        };
        let layer = board.layers[c.layer.0 as usize].name.clone();
        TrackFacts { name: c.name.clone(), layer, length_m, width_m, area_m2: c.region.area_m2() }
    });
    BoardSummary {
        outline_area_m2: board.outline.area_m2(),
        extent_m: board.outline.bounds().unwrap_or_default(),
        layers: layers.collect(),
        layer_mass_kg: masses.iter().sum(),
        body_mass_kg: board.bodies.iter().map(|b| b.mass_kg).sum(),
        flap_mass_kg: flap_mass_kg(board, &pieces),
        arms: board.arms.iter().map(|arm| arm_facts(board, arm)).collect(),
        circuit: board.current.as_ref().map(|path| circuit_facts(board, path)),
        tracks: tracks.collect(),
    }
}

/// The stack at a point; None outside the outline.
///
/// Smeared coils count as full copper here. Bending is about y, free to curl across.
#[must_use]
pub fn stack_at(board: &Board, at_m: Point) -> Option<StackAt> {
    if !board.outline.contains(at_m) {
        return None;
    }
    let layers = layers_at(board, at_m);
    let plies: Vec<StackPly> = stack(board, &layers)
        .plies
        .iter()
        .map(|ply| {
            let layer = &board.layers[ply.layer.0 as usize];
            StackPly {
                layer: layer.name.clone(),
                material: board.materials[layer.material.0 as usize].name.clone(),
                z_m: [ply.z0_m, ply.z1_m],
                sliding: layer.stiffener.is_some_and(|s| slides(board, s, BondLimit::AsWritten)),
            }
        })
        .collect();
    let laminate = laminate_of_layers(board, &layers, BondLimit::AsWritten);
    let bending_nm = laminate.compliance().map_or(0.0, |c| 1.0 / c[(3, 3)]);
    Some(StackAt {
        at_m,
        plies,
        thickness_m: laminate.thickness_m(),
        neutral_z_m: laminate.neutral_plane_m(),
        bending_nm,
    })
}

/// What a layer is for, in the trade's words.
#[must_use]
pub fn kind_words(kind: LayerKind) -> &'static str {
    match kind {
        LayerKind::Film => "film",
        LayerKind::Copper => "copper",
        LayerKind::Adhesive => "adhesive",
        LayerKind::Cover => "cover",
        LayerKind::Mask => "mask",
        LayerKind::Finish => "finish",
        LayerKind::Stiffener => "stiffener",
        LayerKind::Tape => "tape",
    }
}

/// Layers present at a point, from the bottom.
pub(crate) fn layers_at(board: &Board, at: Point) -> Vec<LayerId> {
    board.layers.iter().zip(0_u32..).filter(|(l, _)| l.region.contains(at)).map(|(_, n)| LayerId(n)).collect()
}

/// The outline cut into regions of equal stack.
fn stack_regions(board: &Board) -> Vec<(Region, Vec<LayerId>)> {
    let everything: Vec<&Region> =
        std::iter::once(&board.outline).chain(board.layers.iter().map(|l| &l.region)).collect();
    let mut pieces = vec![(Region::union(&everything), Vec::new())];
    for (layer, number) in board.layers.iter().zip(0_u32..) {
        let mut next = Vec::with_capacity(pieces.len() * 2);
        for (region, layers) in pieces {
            let inside = region.intersection(&layer.region);
            if inside.is_empty() {
                next.push((region, layers));
                continue;
            }
            let outside = region.difference(&layer.region);
            if !outside.is_empty() {
                next.push((outside, layers.clone()));
            }
            let mut with = layers;
            with.push(LayerId(number));
            next.push((inside, with));
        }
        pieces = next;
    }
    pieces
}

fn layer_masses(board: &Board, pieces: &[(Region, Vec<LayerId>)]) -> Vec<f64> {
    let mut masses = vec![0.0; board.layers.len()];
    for (region, layers) in pieces {
        for ply in stack(board, layers).plies {
            let layer = &board.layers[ply.layer.0 as usize];
            let own = density(board, layer.material);
            let mut mass = own * region.area_m2();
            for smear in &layer.smears {
                let part = region.intersection(&smear.region).area_m2();
                let filler = density(board, smear.filler);
                mass -= part * (1.0 - smear.copper_share) * (own - filler);
            }
            masses[ply.layer.0 as usize] += mass * (ply.z1_m - ply.z0_m);
        }
    }
    masses
}

fn density(board: &Board, material: MaterialId) -> f64 {
    board.materials[material.0 as usize].density_kg_m3.v
}

/// Flap's layers and the bodies whose centre lies on it, kg.
fn flap_mass_kg(board: &Board, pieces: &[(Region, Vec<LayerId>)]) -> Option<f64> {
    let flap = board.flap.as_ref()?;
    let inside: Vec<(Region, Vec<LayerId>)> =
        pieces.iter().map(|(r, l)| (r.intersection(&flap.region), l.clone())).collect();
    let layers: f64 = layer_masses(board, &inside).iter().sum();
    let on_it = board.bodies.iter().filter(|b| flap.region.contains(b.region.centroid_m()));
    Some(layers + on_it.map(|b| b.mass_kg).sum::<f64>())
}

fn circuit_facts(board: &Board, path: &CurrentPath) -> CircuitFacts {
    let mut facts = CircuitFacts { current_a: path.current_a, ..CircuitFacts::default() };
    for segment in &path.segments {
        if segment.layer.is_none() || segment.section_m2 <= 0.0 {
            continue;
        }
        let [a, b] = [segment.from_m, segment.to_m];
        let length = (b[0] - a[0]).hypot(b[1] - a[1]).hypot(b[2] - a[2]);
        facts.length_m += length;
        facts.density_a_per_m2 = facts.density_a_per_m2.max(path.current_a.abs() / segment.section_m2);
    }
    facts.resistance_ohm = crate::lorentz::board_resistance_ohm(board).unwrap_or(0.0);
    facts.power_w = facts.resistance_ohm * path.current_a.powi(2);
    facts
}

fn arm_facts(board: &Board, arm: &Arm) -> ArmFacts {
    let length_m = (arm.tip_m[0] - arm.root_m[0]).hypot(arm.tip_m[1] - arm.root_m[1]);
    let [bending_nm2, neutral_z_m] = section(board, arm);
    ArmFacts { name: arm.name.clone(), length_m, width_m: arm.width_m, bending_nm2, neutral_z_m }
}

/// Bending stiffness, N m2, and neutral plane, m, of an arm cut at mid-length; sliding stiffeners left out.
///
/// Transformed-section beam: each ply counts with its modulus along the arm.
fn section(board: &Board, arm: &Arm) -> [f64; 2] {
    let run = [arm.tip_m[0] - arm.root_m[0], arm.tip_m[1] - arm.root_m[1]];
    let length = run[0].hypot(run[1]);
    let angle = run[1].atan2(run[0]);
    let middle = [0.5 * (arm.tip_m[0] + arm.root_m[0]), 0.5 * (arm.tip_m[1] + arm.root_m[1])];
    let across = [-run[1] / length, run[0] / length];
    let mut cuts = arm.region.cuts_m(middle, across);
    for layer in &board.layers {
        cuts.extend(layer.region.cuts_m(middle, across));
    }
    cuts.sort_by(f64::total_cmp);
    let mut sums = [0.0; 3];
    for pair in cuts.windows(2) {
        let (width, at) = (pair[1] - pair[0], 0.5 * (pair[0] + pair[1]));
        let place = [middle[0] + at * across[0], middle[1] + at * across[1]];
        if width <= 0.0 || !arm.region.contains(place) {
            continue;
        }
        let laminate = laminate_of_layers(board, &layers_at(board, place), BondLimit::AsWritten);
        for ply in laminate.plies.iter().filter(|p| !p.sliding) {
            let turn = crate::laminate::strain_rotation(angle);
            let compliance = ply.q_pa.try_inverse().unwrap_or_default();
            // Stress along the arm in board axes, then the strain along the arm that it makes.
            let stress = turn.transpose() * nalgebra::Vector3::x();
            let modulus = 1.0 / (turn * compliance * stress)[0];
            for (sum, power) in sums.iter_mut().zip(1..) {
                *sum += modulus * width * (ply.z1_m.powi(power) - ply.z0_m.powi(power)) / f64::from(power);
            }
        }
    }
    let [stretch, coupling, bending] = sums;
    if stretch > 0.0 { [bending - coupling * coupling / stretch, coupling / stretch] } else { [0.0, 0.0] }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::fixture::{Sheet, material, strip};
    use copperbend_mesh::board::{Seat, Smear, TurnAxes};

    fn board() -> Board {
        let sheets = [
            Sheet("base", LayerKind::Film, 4e9, 25e-6),
            Sheet("copper", LayerKind::Copper, 117e9, 18e-6),
            Sheet("glue", LayerKind::Adhesive, 1.5e9, 15e-6),
        ];
        let mut board = strip(&sheets, 10e-3, 2e-3, 0.0);
        board.layers[1].region = Region::rectangle([0.0, -0.5e-3], [10e-3, 0.5e-3]);
        // Fills the sides of the copper up to 15 um above it.
        board.layers[2].seat = Seat::Level(58e-6);
        board
    }

    /// Volumes by hand: 20 mm2 film, 10 mm2 copper, glue 15 um over copper and 33 um beside it.
    #[test]
    fn masses_follow_the_true_thickness_of_a_level_layer() {
        let facts = summarise(&board());
        let by_hand = [20e-6 * 25e-6 * 1420.0, 10e-6 * 18e-6 * 8960.0, 10e-6 * (15e-6 + 33e-6) * 1100.0];
        for (layer, expected) in facts.layers.iter().zip(by_hand) {
            let ratio = layer.mass_kg / expected;
            assert!((ratio - 1.0).abs() < 1e-9, "{}: {} against {expected}", layer.name, layer.mass_kg);
        }
        assert!((facts.outline_area_m2 - 20e-6).abs() < 1e-15, "{}", facts.outline_area_m2);
    }

    /// Transformed section by hand: three strips side by side.
    #[test]
    fn arm_section_is_the_transformed_section() {
        let arm = &summarise(&board()).arms[0];
        let (film, copper, glue) = (4e9_f64, 117e9_f64, 1.5e9_f64);
        let rows = [
            (film, 2e-3, 0.0, 25e-6),
            (copper, 1e-3, 25e-6, 43e-6),
            (glue, 1e-3, 43e-6, 58e-6),
            (glue, 1e-3, 25e-6, 58e-6),
        ];
        let sum = |k: i32| -> f64 {
            rows.iter()
                .map(|&(e, w, a, b): &(f64, f64, f64, f64)| e * w * (b.powi(k) - a.powi(k)) / f64::from(k))
                .sum()
        };
        let neutral = sum(2) / sum(1);
        let bending = sum(3) - neutral * sum(2);
        assert!((arm.neutral_z_m / neutral - 1.0).abs() < 1e-9, "{} against {neutral}", arm.neutral_z_m);
        assert!((arm.bending_nm2 / bending - 1.0).abs() < 1e-9, "{} against {bending}", arm.bending_nm2);
    }

    #[test]
    fn stack_at_a_point_lists_what_lies_there() {
        let board = board();
        let names = |at: Point| -> Vec<(String, f64)> {
            let plies = stack_at(&board, at).unwrap_or_default().plies;
            plies.into_iter().map(|p| (p.layer, ((p.z_m[1] - p.z_m[0]) * 1e6).round())).collect()
        };
        let on = [("base".into(), 25.0), ("copper".into(), 18.0), ("glue".into(), 15.0)];
        assert_eq!(names([5e-3, 0.0]), on, "on the copper");
        assert_eq!(names([5e-3, 0.8e-3]), [("base".into(), 25.0), ("glue".into(), 33.0)], "beside it");
        assert!(stack_at(&board, [11e-3, 0.0]).is_none(), "outside");
    }

    #[test]
    fn smeared_turns_weigh_their_share() {
        let mut board = board();
        board.materials.push(material("gap", 1e9, 0.3, 1000.0, 0.0));
        let region = board.layers[1].region.clone();
        board.layers[1].smears.push(Smear {
            region,
            copper_share: 0.6,
            filler: MaterialId(3),
            centre_m: [5e-3, 0.0],
            turns: TurnAxes::Square,
        });
        let mass = summarise(&board).layers[1].mass_kg;
        let expected = 10e-6 * 18e-6 * (0.6 * 8960.0 + 0.4 * 1000.0);
        assert!((mass / expected - 1.0).abs() < 1e-9, "{mass} against {expected}");
    }
}
