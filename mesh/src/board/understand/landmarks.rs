//! Named edges near which a spot may lie.

use super::shapes::on_edge;
use super::{Builder, mm};
use crate::board::{Landmark, LayerKind, Place, SupportKind};
use crate::design::Design;
use crate::region::{Point, Region};

impl Builder<'_> {
    /// Clamp edges, stiffener edges, openings, corners, fillets, edges of covers.
    pub(super) fn landmarks(&mut self, design: &Design) {
        self.keep_arcs();
        let outline = self.board.outline.clone();
        let mut found = Vec::new();
        for support in &self.board.supports {
            let kind = match support.kind {
                SupportKind::Clamp { .. } => "clamp",
                SupportKind::Simple => "support",
                SupportKind::Symmetry => "symmetry line",
            };
            let edges_m = match &support.place {
                Place::Area(region) => inner_edges(region, &outline),
                Place::Line(line) => vec![*line],
                Place::Point(p) => vec![[*p, *p]],
            };
            found.push(Landmark { name: format!("{kind} edge of '{}'", support.name), edges_m });
        }
        for stiffener in &self.board.stiffeners {
            let edges_m = inner_edges(&stiffener.region, &outline);
            found.push(Landmark { name: format!("stiffener '{}' edge", stiffener.name), edges_m });
        }
        for body in &self.board.bodies {
            found.push(Landmark {
                name: format!("edge of body '{}'", body.name),
                edges_m: inner_edges(&body.region, &outline),
            });
        }
        for layer in &self.board.layers {
            if matches!(layer.kind, LayerKind::Cover | LayerKind::Mask | LayerKind::Finish) {
                let edges_m = inner_edges(&layer.region, &outline);
                found.push(Landmark { name: format!("edge of '{}'", layer.name), edges_m });
            }
        }
        found.extend(self.openings(design));
        for fillet in &self.board.fillets {
            let points = fillet_points(fillet);
            let edges_m = points.windows(2).map(|w| [w[0], w[1]]).collect();
            found.push(Landmark { name: fillet.name.clone(), edges_m });
        }
        found.extend(sharp_corners(&outline));
        found.retain(|l| !l.edges_m.is_empty());
        self.board.landmarks = found;
    }

    /// Arcs that are still an edge of something, each once.
    fn keep_arcs(&mut self) {
        let board = &self.board;
        let mut edges: Vec<&Region> = vec![&board.outline];
        edges.extend(board.layers.iter().filter(|l| l.kind != LayerKind::Copper).map(|l| &l.region));
        edges.extend(board.stiffeners.iter().map(|s| &s.region));
        edges.extend(
            board
                .conductors
                .iter()
                .filter(|c| c.kind == crate::board::ConductorKind::Pour)
                .map(|c| &c.region),
        );
        edges.dedup();
        let mut kept: Vec<crate::board::Fillet> = Vec::new();
        for fillet in &board.fillets {
            if !kept.contains(fillet) && edges.iter().any(|r| on_edge(fillet, r)) {
                kept.push(fillet.clone());
            }
        }
        self.board.fillets = kept;
    }

    fn openings(&self, design: &Design) -> Vec<Landmark> {
        let names = design.outline.as_ref().and_then(|o| o.item.openings.as_ref());
        let names = names.into_iter().flatten().filter_map(|n| n.value.as_ref().ok());
        names
            .filter_map(|name| {
                let region = &self.shapes.get(name)?.as_ref()?.region;
                Some(Landmark { name: format!("opening '{name}'"), edges_m: region.edges().collect() })
            })
            .collect()
    }
}

/// Edges of a region that lie inside the outline, not on its edge.
fn inner_edges(region: &Region, outline: &Region) -> Vec<[Point; 2]> {
    region
        .edges()
        .filter(|[a, b]| {
            let middle = [0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1])];
            outline.contains_clear(middle, 2e-6)
        })
        .collect()
}

/// Points along an arc, at most 10 degrees apart.
fn fillet_points(fillet: &crate::board::Fillet) -> Vec<Point> {
    let [start, sweep] = fillet.angles_rad;
    let n = (sweep.abs() / 10f64.to_radians()).ceil().clamp(1.0, 36.0);
    let mut points = Vec::new();
    let mut i = 0.0;
    while i <= n {
        let angle = start + sweep * i / n;
        points.push([
            fillet.centre_m[0] + fillet.radius_m * angle.cos(),
            fillet.centre_m[1] + fillet.radius_m * angle.sin(),
        ]);
        i += 1.0;
    }
    points
}

/// Re-entrant corners of the outline that are not rounded: strain there has no limit.
fn sharp_corners(outline: &Region) -> Vec<Landmark> {
    let mut found = Vec::new();
    for contour in &outline.contours {
        let n = contour.len();
        for i in 0..n {
            let (a, b, c) = (contour[(i + n - 1) % n], contour[i], contour[(i + 1) % n]);
            let (u, v) = ([b[0] - a[0], b[1] - a[1]], [c[0] - b[0], c[1] - b[1]]);
            let turn = (u[0] * v[1] - u[1] * v[0]).atan2(u[0] * v[0] + u[1] * v[1]);
            if turn < -20f64.to_radians() {
                found.push(Landmark { name: format!("sharp corner at {}", mm(b)), edges_m: vec![[b, b]] });
            }
        }
    }
    found
}
