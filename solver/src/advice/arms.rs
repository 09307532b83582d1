//! Rules about what lies on the bending arms.

use super::{Finding, Track, layers_of, mm, source, tracks, um};
use crate::model::laminate_of_layers;
use crate::result::{Advice, BondLimit};
use crate::summary::layers_at;
use copperbend_mesh::board::{Arm, Board, LayerKind};
use copperbend_mesh::region::Point;

/// Pieces smaller than this are left-overs of drawing, m2 (a square of 10 um).
const CRUMB_M2: f64 = 1e-10;

/// A track counts as turning at a corner from this angle, rad.
const SHARP_RAD: f64 = 20.0 * std::f64::consts::PI / 180.0;

pub(super) fn advise(board: &Board) -> Vec<Advice> {
    let tracks = tracks(board);
    let mut found = Vec::new();
    for arm in &board.arms {
        found.extend(radius(board, arm));
        found.extend(copper_on_both_faces(board, arm));
        found.extend(copper_off_neutral(board, arm));
        found.extend(thick_or_plated_copper(board, arm));
        found.extend(adhesive_under_copper(board, arm));
        found.extend(holes(board, arm));
        found.extend(finish(board, arm));
        found.extend(track_runs(arm, &tracks));
        found.extend(width_changes(arm, &tracks));
        found.extend(spacing(board, arm, &tracks));
        found.extend(vias(board, arm));
    }
    found
}

fn middle(arm: &Arm) -> Point {
    [0.5 * (arm.root_m[0] + arm.tip_m[0]), 0.5 * (arm.root_m[1] + arm.tip_m[1])]
}

fn place(arm: &Arm) -> String {
    format!("arm '{}'", arm.name)
}

/// Names of the copper layers with more than crumbs on the arm.
fn copper_layers<'b>(board: &'b Board, arm: &Arm) -> Vec<&'b copperbend_mesh::board::Layer> {
    layers_of(board, &[LayerKind::Copper])
        .into_iter()
        .map(|(_, l)| l)
        .filter(|l| l.region.intersection(&arm.region).area_m2() > CRUMB_M2)
        .collect()
}

fn radius(board: &Board, arm: &Arm) -> Option<Advice> {
    let n_copper = copper_layers(board, arm).len();
    if n_copper == 0 {
        return None;
    }
    let thickness = arm_thickness_m(board, arm);
    let factor = match n_copper {
        1 => 6.0,
        2 => 10.0,
        _ => 20.0,
    };
    Some(
        Finding {
            rule: "bend radius",
            place: place(arm),
            found: format!(
                "{n_copper} copper layer(s), {} thick: the rules give {} for a bend made once at assembly and {} \
                 (100 thicknesses) for a bend in use",
                um(thickness),
                mm(factor * thickness),
                mm(100.0 * thickness)
            ),
            advice: "radius over thickness says nothing about life at tens of hertz; even 100 thicknesses leave \
                     about 0.5 % strain at the outer face: go by the strain table",
            source: source::RADIUS,
            at_m: Some(middle(arm)),
        }
        .into(),
    )
}

/// Largest thickness along the middle line of an arm, stiffeners left out, m.
fn arm_thickness_m(board: &Board, arm: &Arm) -> f64 {
    (0..=20_i32)
        .map(|i| {
            let s = f64::from(i) / 20.0;
            let at = [
                arm.root_m[0] + s * (arm.tip_m[0] - arm.root_m[0]),
                arm.root_m[1] + s * (arm.tip_m[1] - arm.root_m[1]),
            ];
            let mut layers = layers_at(board, at);
            layers.retain(|l| board.layers[l.0 as usize].stiffener.is_none());
            laminate_of_layers(board, &layers, BondLimit::Bonded).thickness_m()
        })
        .fold(0.0, f64::max)
}

fn copper_on_both_faces(board: &Board, arm: &Arm) -> Option<Advice> {
    let copper = copper_layers(board, arm);
    let [first, second, ..] = copper.as_slice() else { return None };
    let one = first.region.intersection(&arm.region);
    let other = second.region.intersection(&arm.region);
    let shared = one.intersection(&other).area_m2() / one.area_m2().min(other.area_m2());
    Some(
        Finding {
            rule: "tracks on both faces",
            place: place(arm),
            found: format!(
                "copper on '{}' and '{}'; {:.0} % of the smaller lies under the other",
                first.name,
                second.name,
                100.0 * shared
            ),
            advice: "use one copper layer in a moving bend; if two are needed, stagger the tracks: one above the \
                     other makes a stiff beam with the copper far from the neutral plane",
            source: source::CONSTRUCTION_AND_COLUMN,
            at_m: Some(middle(arm)),
        }
        .into(),
    )
}

fn copper_off_neutral(board: &Board, arm: &Arm) -> Vec<Advice> {
    let mut found = Vec::new();
    for layer in copper_layers(board, arm) {
        let on_arm = layer.region.intersection(&arm.region);
        let Some(at) = point_inside(&on_arm, middle(arm)) else { continue };
        let mut layers = layers_at(board, at);
        layers.retain(|l| board.layers[l.0 as usize].stiffener.is_none());
        let laminate = laminate_of_layers(board, &layers, BondLimit::Bonded);
        let own = laminate.plies.iter().find(|p| board.layers[p.layer.0 as usize].name == layer.name);
        let Some(own) = own else { continue };
        let off = 0.5 * (own.z0_m + own.z1_m) - laminate.neutral_plane_m();
        let thickness = laminate.thickness_m();
        if off.abs() > 0.1 * thickness {
            found.push(
                Finding {
                    rule: "copper at the neutral plane",
                    place: format!("{}, layer '{}'", place(arm), layer.name),
                    found: format!(
                        "the copper's middle lies {} {} the neutral plane of a stack {} thick",
                        um(off.abs()),
                        if off > 0.0 { "above" } else { "below" },
                        um(thickness)
                    ),
                    advice: "balance the films so that the copper lies at the neutral plane (mind copper-free gaps: \
                             their neutral plane differs)",
                    source: source::CONSTRUCTION,
                    at_m: Some(at),
                }
                .into(),
            );
        }
    }
    found
}

/// A point well inside a region, near a wished place.
fn point_inside(region: &copperbend_mesh::region::Region, near: Point) -> Option<Point> {
    if region.contains(near) {
        return Some(near);
    }
    let mut best: Option<(f64, Point)> = None;
    for piece in region.pieces() {
        let centre = piece.centroid_m();
        // Middle of the widest gap between neighbouring corners as a fallback for bent pieces.
        let spots = std::iter::once(centre).chain(piece.edges().map(|[p, q]| {
            let length = (q[0] - p[0]).hypot(q[1] - p[1]).max(1e-12);
            let inward = [-(q[1] - p[1]) / length * 2e-6, (q[0] - p[0]) / length * 2e-6];
            [0.5 * (p[0] + q[0]) + inward[0], 0.5 * (p[1] + q[1]) + inward[1]]
        }));
        if let Some(at) = spots.into_iter().find(|&s| piece.contains(s)) {
            let gap = (at[0] - near[0]).hypot(at[1] - near[1]);
            if best.is_none_or(|(least, _)| gap < least) {
                best = Some((gap, at));
            }
        }
    }
    best.map(|(_, at)| at)
}

fn thick_or_plated_copper(board: &Board, arm: &Arm) -> Vec<Advice> {
    let mut found = Vec::new();
    for layer in copper_layers(board, arm) {
        let material = &board.materials[layer.material.0 as usize];
        let words = format!("{} {}", material.name, material.description).to_lowercase();
        let plated = ["electrodeposited", "electro-deposited", "plated"].iter().any(|w| words.contains(w));
        let thick = layer.thickness_m > 25e-6;
        if plated || thick {
            found.push(
                Finding {
                    rule: "thin rolled copper",
                    place: format!("{}, layer '{}'", place(arm), layer.name),
                    found: format!("{} of '{}'", um(layer.thickness_m), material.name),
                    advice: "in a moving bend use thin rolled-annealed copper with the grain along the arm, and plate \
                             the pads only",
                    source: source::RELIABILITY,
                    at_m: Some(middle(arm)),
                }
                .into(),
            );
        }
    }
    found
}

fn adhesive_under_copper(board: &Board, arm: &Arm) -> Option<Advice> {
    let pair = board.layers.windows(2).find(|pair| {
        let kinds = (pair[0].kind, pair[1].kind);
        let touches = matches!(
            kinds,
            (LayerKind::Adhesive, LayerKind::Copper) | (LayerKind::Copper, LayerKind::Adhesive)
        );
        touches && pair.iter().all(|l| !l.region.intersection(&arm.region).is_empty())
    })?;
    let adhesive = pair.iter().position(|l| l.kind == LayerKind::Adhesive)?;
    let film_below =
        board.layers.iter().position(|l| std::ptr::eq(l, &pair[0])).and_then(|n| n.checked_sub(1));
    let base = film_below.is_some_and(|n| board.layers[n].kind == LayerKind::Film);
    if adhesive != 0 || !base {
        // Adhesive above copper belongs to the cover.
        return None;
    }
    Some(
        Finding {
            rule: "adhesive in the base laminate",
            place: place(arm),
            found: format!("'{}' lies between base film and copper", pair[0].name),
            advice: "take a base laminate without adhesive for moving bends: thinner, and nothing to creep or \
                     embrittle",
            source: source::RELIABILITY,
            at_m: Some(middle(arm)),
        }
        .into(),
    )
}

fn holes(board: &Board, arm: &Arm) -> Vec<Advice> {
    board
        .outline
        .openings()
        .into_iter()
        .filter(|hole| !hole.intersection(&arm.region).is_empty())
        .map(|hole| {
            let size = 2.0 * (hole.area_m2() / std::f64::consts::PI).sqrt();
            Finding {
                rule: "holes in the bend",
                place: place(arm),
                found: format!("an opening of about {} across", mm(size)),
                advice: "keep holes and slots out of the bending part",
                source: source::CONSTRUCTION,
                at_m: Some(hole.centroid_m()),
            }
            .into()
        })
        .collect()
}

fn finish(board: &Board, arm: &Arm) -> Vec<Advice> {
    layers_of(board, &[LayerKind::Finish])
        .into_iter()
        .filter(|(_, l)| l.region.intersection(&arm.region).area_m2() > CRUMB_M2)
        .map(|(_, l)| {
            Finding {
                rule: "finish on the bend",
                place: format!("{}, layer '{}'", place(arm), l.name),
                found: format!("{} of '{}'", um(l.thickness_m), board.materials[l.material.0 as usize].name),
                advice: "plate the pads only: a nickel or gold finish on bending copper cracks first and takes the \
                         copper with it",
                source: source::RELIABILITY,
                at_m: Some(middle(arm)),
            }
            .into()
        })
        .collect()
}

/// Tracks that turn a corner on the arm, or do not run along it.
fn track_runs(arm: &Arm, tracks: &[Track<'_>]) -> Vec<Advice> {
    let run = (arm.tip_m[1] - arm.root_m[1]).atan2(arm.tip_m[0] - arm.root_m[0]);
    let mut found = Vec::new();
    for track in tracks {
        for three in track.line.windows(3) {
            let turn = turn_rad(three[0], three[1], three[2]);
            if turn.abs() > SHARP_RAD && arm.region.contains(three[1]) {
                found.push(
                    Finding {
                        rule: "track corners in the bend",
                        place: format!("{}, track '{}'", place(arm), track.name),
                        found: format!("the track turns by {:.0} degrees at a point", turn.abs().to_degrees()),
                        advice: "no sharp track corners in the bend: run straight, or round the corner outside it",
                        source: source::MISTAKES,
                        at_m: Some(three[1]),
                    }
                    .into(),
                );
            }
        }
        let slant = track
            .line
            .windows(2)
            .filter(|ends| {
                let at = [0.5 * (ends[0][0] + ends[1][0]), 0.5 * (ends[0][1] + ends[1][1])];
                arm.region.contains(at)
            })
            .map(|ends| {
                let own = (ends[1][1] - ends[0][1]).atan2(ends[1][0] - ends[0][0]);
                let off = (own - run).sin().asin().abs();
                (off, [0.5 * (ends[0][0] + ends[1][0]), 0.5 * (ends[0][1] + ends[1][1])])
            })
            .max_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((off, at)) = slant.filter(|s| s.0.to_degrees() > 10.0) {
            found.push(
                Finding {
                    rule: "tracks straight through the bend",
                    place: format!("{}, track '{}'", place(arm), track.name),
                    found: format!("up to {:.0} degrees off the arm's direction", off.to_degrees()),
                    advice: "run tracks straight along the arm, square to the bend line",
                    source: source::CONSTRUCTION,
                    at_m: Some(at),
                }
                .into(),
            );
        }
    }
    found
}

/// Change of direction at the middle of three points, rad.
fn turn_rad(p: Point, q: Point, r: Point) -> f64 {
    let (a, b) = ([q[0] - p[0], q[1] - p[1]], [r[0] - q[0], r[1] - q[1]]);
    (a[0] * b[1] - a[1] * b[0]).atan2(a[0] * b[0] + a[1] * b[1])
}

fn width_changes(arm: &Arm, tracks: &[Track<'_>]) -> Vec<Advice> {
    let mut found = Vec::new();
    for (n, one) in tracks.iter().enumerate() {
        for other in &tracks[n + 1..] {
            let ends = |t: &Track<'_>| [t.line.first().copied(), t.line.last().copied()];
            let meeting = ends(one).into_iter().flatten().find(|p| {
                ends(other).into_iter().flatten().any(|q| (p[0] - q[0]).hypot(p[1] - q[1]) <= 10e-6)
            });
            let Some(at) = meeting else { continue };
            let differ = (one.width_m - other.width_m).abs() > 1e-6;
            if one.layer == other.layer && differ && arm.region.contains(at) {
                found.push(
                    Finding {
                        rule: "width changes in the bend",
                        place: place(arm),
                        found: format!(
                            "'{}' ({}) meets '{}' ({})",
                            one.name,
                            mm(one.width_m),
                            other.name,
                            mm(other.width_m)
                        ),
                        advice: "keep the track width constant through the bend; change it outside",
                        source: source::CONSTRUCTION,
                        at_m: Some(at),
                    }
                    .into(),
                );
            }
        }
    }
    found
}

/// Uneven track spacing across the arm at mid-length, per layer.
fn spacing(board: &Board, arm: &Arm, tracks: &[Track<'_>]) -> Vec<Advice> {
    let run = [arm.tip_m[0] - arm.root_m[0], arm.tip_m[1] - arm.root_m[1]];
    let length = run[0].hypot(run[1]);
    let across = [-run[1] / length, run[0] / length];
    let centre = middle(arm);
    let mut found = Vec::new();
    for (id, layer) in layers_of(board, &[LayerKind::Copper]) {
        let mut at: Vec<f64> = tracks
            .iter()
            .filter(|t| t.layer == id)
            .flat_map(|t| t.line.windows(2))
            .filter_map(|ends| {
                let [p, q] = [ends[0], ends[1]].map(|e| {
                    let off = [e[0] - centre[0], e[1] - centre[1]];
                    let along = (off[0] * run[0] + off[1] * run[1]) / length;
                    [along, off[0] * across[0] + off[1] * across[1]]
                });
                let crosses = (p[0] > 0.0) != (q[0] > 0.0);
                crosses.then(|| p[1] + (q[1] - p[1]) * p[0] / (p[0] - q[0]))
            })
            .filter(|&y| arm.region.contains([centre[0] + y * across[0], centre[1] + y * across[1]]))
            .collect();
        at.sort_by(f64::total_cmp);
        let gaps: Vec<f64> = at.windows(2).map(|p| p[1] - p[0]).collect();
        let (least, most) =
            gaps.iter().fold((f64::INFINITY, 0.0), |(a, b): (f64, f64), &g| (a.min(g), b.max(g)));
        if gaps.len() > 1 && most > 1.25 * least {
            found.push(
                Finding {
                    rule: "even track spacing",
                    place: format!("{}, layer '{}'", place(arm), layer.name),
                    found: format!("centre distances from {} to {} at mid-length", mm(least), mm(most)),
                    advice: "space tracks evenly across the bend so that it bends evenly",
                    source: source::CONSTRUCTION,
                    at_m: Some(centre),
                }
                .into(),
            );
        }
    }
    found
}

fn vias(board: &Board, arm: &Arm) -> Vec<Advice> {
    super::edges::vias(board)
        .into_iter()
        .filter(|&at| arm.region.contains(at))
        .map(|at| {
            Finding {
                rule: "vias in the bend",
                place: place(arm),
                found: "a via between copper layers".into(),
                advice: "no plated holes in a moving bend; move the via to the flap or the fixed side",
                source: source::CONSTRUCTION,
                at_m: Some(at),
            }
            .into()
        })
        .collect()
}
