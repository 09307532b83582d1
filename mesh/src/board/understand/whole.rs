//! Rules that need the whole board: what holds it, what touches, how many regions.

use super::magnets::half_height;
use super::seats::inside_point;
use super::{Builder, mm, round};
use crate::board::{Load, Place, Support, SupportKind};
use crate::coil::clearance::{distance_m, touching};
use crate::design::{Design, Named, Shape};
use crate::region::{Point, Region};

/// Most regions with an identity.
const MOST_REGIONS: usize = 128;

impl Builder<'_> {
    /// All rules about the whole; only as far as the parts were understood.
    pub(super) fn whole_board(&mut self, design: &Design) {
        self.pads(design);
        self.held(design);
        self.rigid_flap(design);
        self.magnets_apart(design);
        self.region_count();
    }

    /// Every piece of the board is held.
    fn held(&mut self, design: &Design) {
        if design.support.is_empty() {
            self.faults.add(
                &(0..0),
                "nothing is clamped: the file has no [[support]]",
                "add [[support]] with kind = \"clamp\" and the shape that is held",
            );
            return;
        }
        if self.board.supports.len() < design.support.len() || self.board.outline.contours.is_empty() {
            // A faulty support was reported; what it would have held is not known.
            return;
        }
        let pieces = self.board.outline.pieces();
        let alone = pieces.len() == 1;
        for piece in &pieces {
            let holding: Vec<&Support> =
                self.board.supports.iter().filter(|s| touches(&s.place, piece)).collect();
            let name = self.name_of(piece, &design.shapes);
            if holding.is_empty() {
                let at = mm(inside_point(piece));
                let rule = if alone {
                    "nothing is clamped: no support lies on the board".to_owned()
                } else {
                    format!("the piece {name} at {at} is not connected to any support")
                };
                let span = self.outline_span.clone();
                self.faults.add(
                    &span,
                    rule,
                    "join it to the board with a shape that overlaps both, or give it its own support",
                );
            } else if !is_held(&holding) {
                let names: Vec<String> = holding.iter().map(|s| format!("'{}'", s.name)).collect();
                let rule = format!(
                    "the piece {name} can still move: its supports ({}) leave a rotation or a shift free",
                    names.join(", ")
                );
                let span = self.outline_span.clone();
                self.faults.add(
                    &span,
                    rule,
                    "add a clamp, or a second simple support not in line with the first",
                );
            }
        }
    }

    /// A piece by the smallest named shape that covers its middle.
    fn name_of(&self, piece: &Region, shapes: &[Named<Shape>]) -> String {
        let at = inside_point(piece);
        let covering = shapes.iter().filter_map(|s| {
            let region = &self.shapes.get(&s.name)?.as_ref()?.region;
            region.contains(at).then(|| (region.area_m2(), s.name.as_str()))
        });
        covering
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map_or_else(|| "without a name".to_owned(), |(_, name)| format!("'{name}'"))
    }

    /// A rigid flap cannot be clamped too.
    fn rigid_flap(&mut self, design: &Design) {
        let Some(flap) = self.board.flap.as_ref().filter(|f| f.rigid) else { return };
        let clamp = self.board.supports.iter().find(|s| match &s.place {
            Place::Area(region) => region.intersection(&flap.region).area_m2() > 1e-12,
            Place::Line(ends) => ends.iter().any(|p| flap.region.contains(*p)),
            Place::Point(p) => flap.region.contains(*p),
        });
        if let (Some(clamp), Some(placed)) = (clamp, &design.flap) {
            let rule = format!("the rigid flap overlaps support '{}'", clamp.name);
            self.faults.add(
                &placed.item.shape.span,
                rule,
                "keep the flap's shape clear of the support, or write rigid = false",
            );
        }
    }

    /// No track in a magnet, no magnet in the board.
    fn magnets_apart(&mut self, design: &Design) {
        let Some(faces) = self.highest_and_lowest() else { return };
        if let Some(path) = &self.board.current
            && let Some(touch) = touching(path, &self.board.magnets)
        {
            let [x, y, z] = touch.at_m.map(|v| round(v * 1e3));
            let track = self.conductor_at([touch.at_m[0], touch.at_m[1]]);
            let rule = format!("{track} touches magnet '{}' at ({x}, {y}, {z}) mm", touch.magnet);
            self.magnet_fault(design, &touch.magnet.clone(), rule);
            return;
        }
        for magnet in self.board.magnets.clone() {
            let half = half_height(&magnet);
            let [low, high] = [magnet.centre_m[2] - half, magnet.centre_m[2] + half];
            if high <= faces[0] || low >= faces[1] {
                continue;
            }
            if let Some(at) = self.inside_board(&magnet, faces) {
                self.magnet_fault(
                    design,
                    &magnet.name,
                    format!("magnet '{}' reaches into the board at {}", magnet.name, mm(at)),
                );
            }
        }
    }

    fn magnet_fault(&mut self, design: &Design, name: &str, rule: String) {
        let span = design
            .magnet
            .iter()
            .find(|m| m.item.name.value.as_deref().ok() == Some(name))
            .map_or(0..0, |m| m.item.centre.span.clone());
        self.faults.add(
            &span,
            rule,
            "move the magnet away from the board; z = 0 is the lower face of the base film",
        );
    }

    /// Lowest and highest face anywhere, by the thicknesses of all layers.
    pub(super) fn highest_and_lowest(&self) -> Option<[f64; 2]> {
        let board = &self.board;
        let stack = |ids: Vec<crate::board::LayerId>| crate::layup::stack(board, &ids).faces_m();
        let all = (0..board.layers.len()).map(super::layers::id_of).collect();
        stack(all)
    }

    /// A point of the board inside a magnet, looked for on a grid.
    fn inside_board(&self, magnet: &crate::board::Magnet, faces: [f64; 2]) -> Option<Point> {
        self.on_grid(|p| {
            [faces[0], 0.5 * (faces[0] + faces[1]), faces[1]]
                .into_iter()
                .any(|z| distance_m(magnet, [p[0], p[1], z]) < -1e-6)
        })
    }

    /// A place whose lower face, middle or upper face has a property, looked for on a grid.
    pub(super) fn first_on_board(&self, is: impl Fn([f64; 3]) -> bool) -> Option<Point> {
        self.on_grid(|p| {
            let present = crate::layup::layers_at(&self.board, p);
            crate::layup::stack(&self.board, &present).faces_m().is_some_and(|[low, high]| {
                [low, 0.5 * (low + high), high].into_iter().any(|z| is([p[0], p[1], z]))
            })
        })
    }

    /// First point of a grid over the outline with a property.
    fn on_grid(&self, is: impl Fn(Point) -> bool) -> Option<Point> {
        let [lo, hi] = self.board.outline.bounds()?;
        let steps = 80u8;
        for i in 0..=steps {
            for j in 0..=steps {
                let (s, t) = (f64::from(i) / f64::from(steps), f64::from(j) / f64::from(steps));
                let p = [lo[0] + s * (hi[0] - lo[0]), lo[1] + t * (hi[1] - lo[1])];
                if self.board.outline.contains(p) && is(p) {
                    return Some(p);
                }
            }
        }
        None
    }

    /// The copper at a place, for messages.
    fn conductor_at(&self, at: Point) -> String {
        let found = self.board.conductors.iter().find(|c| c.region.contains(at));
        found.map_or_else(|| "the current path".to_owned(), |c| format!("'{}'", c.name))
    }

    /// The mesh tells at most 128 regions apart.
    fn region_count(&mut self) {
        let b = &self.board;
        let areas = b.supports.iter().filter(|s| Self::area_of(&s.place).is_some()).count();
        let loads = b.loads.iter().filter(|l| match l {
            Load::Force { place, .. } | Load::Pressure { place, .. } | Load::Moment { place, .. } => {
                Self::area_of(place).is_some()
            }
        });
        let smears: usize = b.layers.iter().map(|l| l.smears.len()).sum();
        let count = b.layers.len()
            + b.conductors.len()
            + smears
            + areas
            + b.bodies.len()
            + b.stiffeners.len()
            + b.arms.len()
            + usize::from(b.flap.is_some())
            + loads.count();
        if count > MOST_REGIONS {
            let span = self.outline_span.clone();
            let rule = format!(
                "{count} layers, conductors, supports and other regions; at most {MOST_REGIONS} are told apart"
            );
            self.faults.add(
                &span,
                rule,
                "merge shapes of one layer into one with `union`, or leave out tracks far from the arms",
            );
        }
    }
}

/// Whether a support lies on a piece of the board.
fn touches(place: &Place, piece: &Region) -> bool {
    let near = |p: &Point| piece.contains(*p) || piece.distance_to_edge_m(*p) <= 1.5e-6;
    match place {
        Place::Area(region) => region.intersection(piece).area_m2() > 1e-12,
        Place::Line(ends) => ends.iter().any(near),
        Place::Point(p) => near(p),
    }
}

/// Whether supports leave no rigid motion: a clamp, a simple area, or two lines that are not in line.
fn is_held(supports: &[&Support]) -> bool {
    let clamped = supports.iter().any(|s| matches!(s.kind, SupportKind::Clamp { .. }));
    let simple_area =
        supports.iter().any(|s| s.kind == SupportKind::Simple && matches!(s.place, Place::Area(_)));
    if clamped || simple_area {
        return true;
    }
    let lines: Vec<(&SupportKind, [Point; 2])> = supports
        .iter()
        .filter_map(|s| if let Place::Line(l) = s.place { Some((&s.kind, l)) } else { None })
        .collect();
    let simple = lines.iter().any(|(kind, _)| **kind == SupportKind::Simple);
    let Some(first) = lines.iter().find(|(kind, _)| **kind == SupportKind::Simple) else { return false };
    // A simple line holds all but the rotation about itself; a second line off it, or a symmetry line across it, holds that.
    simple && lines.iter().any(|(_, l)| l.iter().any(|p| off_line(*p, first.1) > 1e-6))
}

/// Distance of a point from the endless line through two points, m.
fn off_line(p: Point, [a, b]: [Point; 2]) -> f64 {
    let d = [b[0] - a[0], b[1] - a[1]];
    ((p[0] - a[0]) * d[1] - (p[1] - a[1]) * d[0]).abs() / d[0].hypot(d[1]).max(1e-12)
}
