//! Remarks that do not stop the work: bare copper, thin features, drives without effect.

use super::{Builder, mm, round, um};
use crate::board::{ConductorKind, LayerKind};
use crate::design::Design;
use crate::region::{GRID_M, Point, Region, ThinFeature, ThinKind, to_segment};

/// Features thinner than this are reported, m.
const THIN_M: f64 = 10e-6;

/// Edges that meet this near to a narrow place form its corner, m.
const CORNER_M: f64 = 0.3e-3;

/// Most thin features named one by one.
const MOST_THIN: usize = 12;

impl Builder<'_> {
    /// All remarks, once the board is known to be free of faults.
    pub(super) fn remarks(&mut self, design: &Design) {
        self.remark_loads();
        self.short_circuits(design);
        self.bare_copper();
        self.thin();
    }

    /// Copper of one layer that meets although the current passes through something else in between.
    fn short_circuits(&mut self, design: &Design) {
        let chain: Vec<String> = design
            .circuit
            .iter()
            .flat_map(|c| c.item.chain.iter().filter_map(|n| n.value.clone().ok()))
            .collect();
        let place_of = |name: &str| chain.iter().position(|n| n == name);
        let mut found = Vec::new();
        for (i, a) in self.board.conductors.iter().enumerate() {
            for b in &self.board.conductors[i + 1..] {
                let (Some(p), Some(q)) = (place_of(&a.name), place_of(&b.name)) else { continue };
                if a.layer != b.layer || p.abs_diff(q) < 2 || !near(&a.region, &b.region) {
                    continue;
                }
                let shared = a.region.intersection(&b.region);
                if shared.area_m2() > 1e-11 {
                    let at = mm(super::seats::inside_point(&shared));
                    found.push(format!(
                        "'{}' and '{}' touch on one layer at {at}: the current takes a short cut",
                        a.name, b.name
                    ));
                }
            }
        }
        for text in found {
            self.warn(
                "[circuit]",
                text,
                "move the tracks apart; the results assume that all current follows the chain",
            );
        }
    }

    /// Copper on an arm without any layer over it, on the side away from the base film.
    fn bare_copper(&mut self) {
        let board = &self.board;
        let mut places: Vec<(String, &Region)> =
            board.arms.iter().map(|a| (format!("arm '{}'", a.name), &a.region)).collect();
        if places.is_empty() {
            places.push(("the board".to_owned(), &board.outline));
        }
        let held: Vec<&Region> = board.supports.iter().filter_map(|s| Self::area_of(&s.place)).collect();
        let held = Region::union(&held);
        let mut found = Vec::new();
        for (i, layer) in board.layers.iter().enumerate() {
            if layer.kind != LayerKind::Copper {
                continue;
            }
            let outward =
                if i < board.base_layer.0 as usize { &board.layers[..i] } else { &board.layers[i + 1..] };
            let covers: Vec<&Region> =
                outward.iter().filter(|l| l.kind != LayerKind::Copper).map(|l| &l.region).collect();
            let open = layer.region.difference(&Region::union(&covers)).difference(&held);
            for (place, region) in &places {
                let bare_mm2 = open.intersection(region).area_m2() * 1e6;
                if bare_mm2 > 1e-3 {
                    found.push((
                        layer.name.clone(),
                        format!(
                            "copper of layer '{}' is bare over {} mm2 of {place}",
                            layer.name,
                            round(bare_mm2)
                        ),
                    ));
                }
            }
        }
        for (layer, text) in found {
            self.warn(format!("layer '{layer}'"), text, "cover it: bare copper cracks earlier and corrodes");
        }
    }

    /// Parts and gaps thinner than 10 um, by name.
    fn thin(&mut self) {
        let board = &self.board;
        let mut found: Vec<(String, ThinFeature)> = Vec::new();
        let mut add =
            |name: String, list: Vec<ThinFeature>| found.extend(list.into_iter().map(|f| (name.clone(), f)));
        add("the outline".to_owned(), board.outline.thin_features(THIN_M));
        let mut named: Vec<(String, &Region)> = vec![("the outline".to_owned(), &board.outline)];
        for c in &board.conductors {
            let name = format!("'{}' on layer '{}'", c.name, board.layers[c.layer.0 as usize].name);
            add(name.clone(), c.region.thin_features(THIN_M));
            // A coil nearly meets its own supply track by design; its turns were checked above.
            if c.kind != ConductorKind::CoilTurns {
                named.push((name, &c.region));
            }
        }
        for l in board.layers.iter().filter(|l| l.kind != LayerKind::Copper && l.region != board.outline) {
            named.push((format!("layer '{}'", l.name), &l.region));
        }
        named.extend(
            board
                .supports
                .iter()
                .filter_map(|s| Some((format!("support '{}'", s.name), Self::area_of(&s.place)?))),
        );
        named.extend(board.arms.iter().map(|a| (format!("arm '{}'", a.name), &a.region)));
        named.extend(board.flap.iter().map(|f| ("the flap".to_owned(), &f.region)));
        for (i, (name, region)) in named.iter().enumerate() {
            for (other_name, other) in &named[i + 1..] {
                if near(region, other) {
                    let apart = region
                        .near_misses(other, THIN_M)
                        .into_iter()
                        .filter(|f| !meets(region, other, f.at_m));
                    add(format!("{name} and {other_name}"), apart.collect());
                }
            }
        }
        let n = found.len();
        for (name, f) in found.into_iter().take(MOST_THIN) {
            let what = match f.kind {
                ThinKind::Part => "is only",
                ThinKind::Gap => "has a gap of",
                ThinKind::NearMiss => "nearly meet, edges",
            };
            let tail = if f.kind == ThinKind::NearMiss { "apart" } else { "wide" };
            let text = format!("thin feature: {name} {what} {} {tail} at {}", um(f.width_m), mm(f.at_m));
            self.warn(
                "the board",
                text,
                "let edges coincide or lie further apart; merge_thin = true in [mesh] merges it",
            );
        }
        if n > MOST_THIN {
            self.warn(
                "the board",
                format!("{} more thin features", n - MOST_THIN),
                "correct those above first",
            );
        }
    }
}

/// Whether edges of two regions meet close to a place: then they form a corner there, not a gap.
fn meets(a: &Region, b: &Region, at: Point) -> bool {
    let close = |region: &Region| -> Vec<[Point; 2]> {
        region.edges().filter(|e| to_segment(at, e[0], e[1]).0 < CORNER_M).collect()
    };
    let others = close(b);
    close(a).iter().any(|e| others.iter().any(|o| segments_touch(*e, *o)))
}

/// Whether two edges touch or cross, within the grid.
fn segments_touch(e: [Point; 2], o: [Point; 2]) -> bool {
    let side = |p: Point, [a, b]: [Point; 2]| (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]);
    let apart = |s: [Point; 2], t: [Point; 2]| side(t[0], s) * side(t[1], s) > 0.0;
    let near = |p: Point, [a, b]: [Point; 2]| to_segment(p, a, b).0 < 0.6 * GRID_M;
    near(e[0], o) || near(e[1], o) || near(o[0], e) || near(o[1], e) || !(apart(e, o) || apart(o, e))
}

/// Whether two regions come near each other by their bounds.
fn near(a: &Region, b: &Region) -> bool {
    let (Some([alo, ahi]), Some([blo, bhi])) = (a.bounds(), b.bounds()) else { return false };
    (0..2).all(|k| alo[k] <= bhi[k] + THIN_M && blo[k] <= ahi[k] + THIN_M)
}
