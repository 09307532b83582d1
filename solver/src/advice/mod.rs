//! Layout advice of the trade, each with its source: board in, remarks out. Never a verdict on life or strength.
//!
//! The bending part is the arms. Absent: anything that needs a solved model.

mod arms;
mod edges;
#[cfg(test)]
mod tests;

use crate::result::Advice;
use copperbend_mesh::board::{Board, ConductorKind, LayerId, LayerKind};
use copperbend_mesh::region::{Point, Region};

/// What the trade's layout rules say about this board: the bending arms first, then edges and corners.
#[must_use]
pub fn advise(board: &Board) -> Vec<Advice> {
    let mut found = arms::advise(board);
    found.extend(edges::advise(board));
    found
}

/// Where the rules were read. All are public wording; none is a standard's clause.
mod source {
    pub(super) const CONSTRUCTION: &str =
        "a flexible-circuit fabricator's circuit construction guidelines (web page)";
    pub(super) const CONSTRUCTION_AND_COLUMN: &str = "a fabricator's circuit construction guidelines (web page); D. Becker, trade magazine column, Apr 2018";
    pub(super) const RADIUS: &str = "K. Smith, Decreasing bend radius and improving reliability, part I, trade \
         magazine, 11 Oct 2019; N. Koop, Beyond the bend, trade column; a fabricator's mechanical design page";
    pub(super) const RELIABILITY: &str =
        "K. Smith, Decreasing bend radius and improving reliability, part I, trade magazine, 11 Oct 2019";
    pub(super) const MISTAKES: &str = "T. Dunn, common flex design mistakes, trade column, 6 Jul 2023";
    pub(super) const RULES: &str = "a fabricator's CAD rules (web page)";
    pub(super) const OVERLAP: &str = "a fabricator's trade blog on protecting flexible circuits";
    pub(super) const RELIEF: &str =
        "a trade blog on stress relief for flexible circuits, quoting a handbook figure";
}

/// A remark about one place.
struct Finding<'a> {
    rule: &'a str,
    place: String,
    found: String,
    advice: &'a str,
    source: &'a str,
    at_m: Option<Point>,
}

impl From<Finding<'_>> for Advice {
    fn from(f: Finding<'_>) -> Self {
        Self {
            rule: f.rule.into(),
            place: f.place,
            found: f.found,
            advice: f.advice.into(),
            source: f.source.into(),
            at_m: f.at_m,
        }
    }
}

/// Tracks with centre line and width: conductor index, layer, centre line, width, name.
struct Track<'a> {
    layer: LayerId,
    line: &'a [Point],
    width_m: f64,
    name: &'a str,
}

fn tracks(board: &Board) -> Vec<Track<'_>> {
    board
        .conductors
        .iter()
        .filter_map(|c| match &c.kind {
            ConductorKind::Track { centre_line_m, width_m } => {
                Some(Track { layer: c.layer, line: centre_line_m, width_m: *width_m, name: &c.name })
            }
            ConductorKind::CoilTurns | ConductorKind::Pour => None,
        })
        .collect()
}

fn layers_of<'b>(board: &'b Board, kinds: &[LayerKind]) -> Vec<(LayerId, &'b copperbend_mesh::board::Layer)> {
    board
        .layers
        .iter()
        .zip(0_u32..)
        .filter(|(l, _)| kinds.contains(&l.kind))
        .map(|(l, n)| (LayerId(n), l))
        .collect()
}

/// Shortest distance between two regions, m; zero when they overlap.
fn gap_m(one: &Region, other: &Region) -> f64 {
    if !one.intersection(other).is_empty() {
        return 0.0;
    }
    // The shortest way between polygons always starts or ends at a corner.
    let from = |a: &Region, b: &Region| {
        a.contours.iter().flatten().map(|&p| b.distance_to_edge_m(p)).fold(f64::INFINITY, f64::min)
    };
    from(one, other).min(from(other, one))
}

/// Length in millimetres with three digits.
fn mm(length_m: f64) -> String {
    format!("{:.3} mm", 1e3 * length_m)
}

/// Length in micrometres.
fn um(length_m: f64) -> String {
    format!("{:.1} um", 1e6 * length_m)
}
