//! `[shapes]` → regions with the arcs they follow; the outline.

use super::{Builder, LARGEST_BOARD_M, mm};
use crate::board::Fillet;
use crate::design::{Circle, Design, Given, Named, Polygon, Shape, TrackShape};
use crate::quantity::Length;
use crate::region::{Ends, Point, Region, rounded_path, rounded_polygon, self_crossing};
use std::collections::{BTreeMap, BTreeSet};
use std::f64::consts::TAU;
use std::ops::Range;

/// A shape as understood.
#[derive(Debug, Clone, Default)]
pub(super) struct Shaped {
    pub(super) region: Region,
    /// True arcs of its edges.
    pub(super) fillets: Vec<Fillet>,
}

/// The set operations.
#[derive(Clone, Copy)]
enum Operation {
    Union,
    Difference,
    Intersection,
}

impl Builder<'_> {
    /// Every shape of the file, each once, whatever the order.
    pub(super) fn all_shapes(&mut self, shapes: &[Named<Shape>]) {
        let by_name: BTreeMap<&str, &Named<Shape>> = shapes.iter().map(|s| (s.name.as_str(), s)).collect();
        for shape in shapes {
            let mut open = BTreeSet::new();
            self.resolve(shape, &by_name, &mut open);
        }
    }

    /// Works out one shape and those it names; `open` holds the shapes being worked out.
    fn resolve(
        &mut self,
        shape: &Named<Shape>,
        all: &BTreeMap<&str, &Named<Shape>>,
        open: &mut BTreeSet<String>,
    ) {
        if self.shapes.contains_key(&shape.name) {
            return;
        }
        if !open.insert(shape.name.clone()) || open.len() > 64 {
            self.faults.add(
                &shape.span,
                format!("shape `{}` is made of itself", shape.name),
                "a set operation may name only shapes that do not lead back to it",
            );
            self.shapes.insert(shape.name.clone(), None);
            return;
        }
        if let Some((_, names)) = operation(&shape.item) {
            for name in names.iter().filter_map(|n| n.value.as_ref().ok()) {
                if let Some(part) = all.get(name.as_str()) {
                    self.resolve(part, all, open);
                }
            }
        }
        open.remove(&shape.name);
        if self.shapes.contains_key(&shape.name) {
            return;
        }
        let shaped = self.one_kind(shape).and_then(|()| self.shaped(shape, all));
        let shaped = shaped.filter(|s| self.has_area(shape, &s.region));
        self.shapes.insert(shape.name.clone(), shaped);
    }

    /// Exactly one kind per shape.
    fn one_kind(&mut self, shape: &Named<Shape>) -> Option<()> {
        let s = &shape.item;
        let kinds = [
            ("rectangle", s.rectangle.is_some()),
            ("rounded_rectangle", s.rounded_rectangle.is_some()),
            ("circle", s.circle.is_some()),
            ("polygon", s.polygon.is_some()),
            ("track", s.track.is_some()),
            ("union", s.union.is_some()),
            ("difference", s.difference.is_some()),
            ("intersection", s.intersection.is_some()),
        ];
        let given: Vec<&str> = kinds.iter().filter(|k| k.1).map(|k| k.0).collect();
        let all: Vec<&str> = kinds.iter().map(|k| k.0).collect();
        if given.len() == 1 {
            return Some(());
        }
        let rule = if given.is_empty() {
            format!("shape `{}` has no kind", shape.name)
        } else {
            format!("shape `{}` has several kinds: {}", shape.name, given.join(", "))
        };
        self.faults.add(&shape.span, rule, format!("give exactly one of: {}", all.join(", ")));
        None
    }

    fn has_area(&mut self, shape: &Named<Shape>, region: &Region) -> bool {
        if region.area_m2() > 1e-12 {
            return true;
        }
        let rule = format!("shape `{}` has no area on the 1 um grid", shape.name);
        self.faults.add(&shape.span, rule, "check its sizes, or which shapes are taken away");
        false
    }

    fn shaped(&mut self, shape: &Named<Shape>, all: &BTreeMap<&str, &Named<Shape>>) -> Option<Shaped> {
        let s = &shape.item;
        if let Some(fillet) = s.fillet.as_ref().filter(|_| operation(s).is_none()) {
            self.faults.add(
                &fillet.span,
                "`fillet` rounds the re-entrant corners of a set operation".to_owned(),
                "use rounded_rectangle or `radius` of a polygon here",
            );
            return None;
        }
        if let Some(r) = &s.rectangle {
            let (from, to) = (self.point(&r.from), self.point(&r.to));
            return Some(Shaped { region: Region::rectangle(from?, to?), fillets: Vec::new() });
        }
        if let Some(r) = &s.rounded_rectangle {
            let (from, to) = (self.point(&r.from), self.point(&r.to));
            let radius = self.positive(&r.radius, "a corner radius", |l: Length| l.0);
            let ([x0, y0], [x1, y1], radius) = (from?, to?, radius?);
            let corners = [
                [x0.min(x1), y0.min(y1)],
                [x0.max(x1), y0.min(y1)],
                [x0.max(x1), y0.max(y1)],
                [x0.min(x1), y0.max(y1)],
            ];
            return self.rounded_shape(&r.radius.span, &corners, &[radius; 4], &shape.name);
        }
        if let Some(c) = &s.circle {
            return self.circle(c, &shape.name);
        }
        if let Some(p) = &s.polygon {
            return self.polygon(p, &shape.name);
        }
        if let Some(t) = &s.track {
            return self.track_shape(t, &shape.name);
        }
        let (kind, names) = operation(s)?;
        self.set_operation(shape, kind, names, all)
    }

    /// A point whose coordinates are those of a board.
    pub(super) fn point(&mut self, given: &Given<[Length; 2]>) -> Option<Point> {
        let p = self.take(given)?.map(|l| l.0);
        if p.iter().all(|x| x.abs() <= LARGEST_BOARD_M) {
            return Some(p);
        }
        self.faults.add(
            &given.span,
            format!("coordinate beyond {LARGEST_BOARD_M} m: not a flexible-circuit board"),
            "check the unit; drawings of boards use mm",
        );
        None
    }

    /// All points, or None if one of them is faulty.
    pub(super) fn points(&mut self, given: &[Given<[Length; 2]>]) -> Option<Vec<Point>> {
        let read: Vec<Option<Point>> = given.iter().map(|p| self.point(p)).collect();
        read.into_iter().collect()
    }

    fn rounded_shape(
        &mut self,
        span: &Range<usize>,
        corners: &[Point],
        radii: &[f64],
        name: &str,
    ) -> Option<Shaped> {
        match rounded_polygon(corners, radii, &format!("corner of '{name}'")) {
            Ok((points, fillets)) => Some(Shaped { region: Region::from_polygon(&points), fillets }),
            Err(fault) => {
                self.faults.add(span, fault.to_string(), "take a smaller radius");
                None
            }
        }
    }

    fn circle(&mut self, circle: &Circle, name: &str) -> Option<Shaped> {
        let centre = self.point(&circle.centre);
        let diameter = self.positive(&circle.diameter, "a diameter", |l: Length| l.0);
        let (centre_m, diameter) = (centre?, diameter?);
        if diameter > LARGEST_BOARD_M {
            self.faults.add(&circle.diameter.span, "a diameter above 1 m".to_owned(), "check the unit");
            return None;
        }
        let radius_m = diameter / 2.0;
        let rim = Fillet { centre_m, radius_m, angles_rad: [0.0, TAU], name: format!("edge of '{name}'") };
        Some(Shaped { region: Region::circle(centre_m, radius_m, radius_m / 8.0), fillets: vec![rim] })
    }

    fn polygon(&mut self, polygon: &Polygon, name: &str) -> Option<Shaped> {
        let points = self.points(&polygon.points);
        let radius = self.take_opt(polygon.radius.as_ref());
        let radii: Option<Vec<Length>> = match &polygon.radii {
            None => Some(Vec::new()),
            Some(list) => list.iter().map(|r| self.take(r)).collect(),
        };
        let (points, radius, radii) = (points?, radius?, radii?);
        let span = polygon.points.first().map_or(0..0, |p| p.span.clone());
        if points.len() < 3 {
            self.faults.add(
                &span,
                format!("polygon `{name}` has fewer than 3 corners"),
                "give at least three points",
            );
            return None;
        }
        if let Some(at) = self_crossing(&points) {
            let rule = format!("the edges of polygon `{name}` cross at {}", mm(at));
            self.faults.add(&span, rule, "list the corners in the order in which one walks around the shape");
            return None;
        }
        if polygon.radii.is_some() && (radii.len() != points.len() || radius.is_some()) {
            let rule = format!("polygon `{name}` has {} corners and {} radii", points.len(), radii.len());
            self.faults.add(&span, rule, "give one `radius` for all corners, or `radii` with one for each");
            return None;
        }
        let all: Vec<f64> = match radius {
            Some(r) => vec![r.0; points.len()],
            None => radii.iter().map(|r| r.0).collect(),
        };
        if all.iter().any(|r| *r < 0.0) {
            self.faults.add(
                &span,
                format!("polygon `{name}` has a negative corner radius"),
                "use \"0 mm\" for a sharp corner",
            );
            return None;
        }
        self.rounded_shape(&span, &points, &all, name)
    }

    fn track_shape(&mut self, track: &TrackShape, name: &str) -> Option<Shaped> {
        let path = self.centre_line(&track.points, track.corner_radius.as_ref(), name);
        let width = self.positive(&track.width, "a width", |l: Length| l.0);
        Some(Shaped { region: Region::stroke(&path?, width?, Ends::Butt), fillets: Vec::new() })
    }

    /// Centre line with its corners rounded.
    pub(super) fn centre_line(
        &mut self,
        points: &[Given<[Length; 2]>],
        corner_radius: Option<&Given<Length>>,
        name: &str,
    ) -> Option<Vec<Point>> {
        let line = self.points(points);
        let radius = self.take_opt(corner_radius);
        let (line, radius) = (line?, radius?.map_or(0.0, |r| r.0));
        let long = line.windows(2).any(|w| (w[1][0] - w[0][0]).hypot(w[1][1] - w[0][1]) > 1e-6);
        if !long {
            let span = points.first().map_or(0..0, |p| p.span.clone());
            self.faults.add(
                &span,
                format!("track `{name}` has no length"),
                "give at least two different points",
            );
            return None;
        }
        match rounded_path(&line, &[radius], name) {
            Ok((path, _)) => Some(path),
            Err(fault) => {
                let span = corner_radius.map_or(0..0, |r| r.span.clone());
                self.faults.add(&span, fault.to_string(), "take a smaller corner_radius");
                None
            }
        }
    }

    fn set_operation(
        &mut self,
        shape: &Named<Shape>,
        kind: Operation,
        names: &[Given<String>],
        all: &BTreeMap<&str, &Named<Shape>>,
    ) -> Option<Shaped> {
        let fillet = match &shape.item.fillet {
            Some(f) => Some(self.positive(f, "a fillet", |l: Length| l.0)?),
            None => None,
        };
        let parts: Vec<Option<Shaped>> = names.iter().map(|n| self.part(n, all)).collect();
        let parts: Vec<Shaped> = parts.into_iter().collect::<Option<_>>()?;
        let regions: Vec<&Region> = parts.iter().map(|p| &p.region).collect();
        let Some((first, rest)) = regions.split_first() else {
            self.faults.add(
                &shape.span,
                format!("shape `{}` names no other shape", shape.name),
                "name at least one",
            );
            return None;
        };
        let mut region = match kind {
            Operation::Union => Region::union(&regions),
            Operation::Difference => first.difference(&Region::union(rest)),
            Operation::Intersection => rest.iter().fold((*first).clone(), |acc, r| acc.intersection(r)),
        };
        let mut fillets: Vec<Fillet> = parts.iter().flat_map(|p| p.fillets.iter().cloned()).collect();
        if let (Some(radius), Some(given)) = (fillet, &shape.item.fillet) {
            match region.fillet_reentrant(radius, &format!("fillet of '{}'", shape.name)) {
                Ok((rounded, arcs)) => {
                    region = rounded;
                    fillets.extend(arcs);
                }
                Err(fault) => {
                    self.faults.add(
                        &given.span,
                        fault.to_string(),
                        "take a smaller fillet, or move the shapes apart",
                    );
                    return None;
                }
            }
        }
        fillets.retain(|f| on_edge(f, &region));
        Some(Shaped { region, fillets })
    }

    /// A part of a set operation; its own faults were reported where it is written.
    fn part(&mut self, name: &Given<String>, all: &BTreeMap<&str, &Named<Shape>>) -> Option<Shaped> {
        let wanted = self.take(name)?;
        if let Some(known) = self.shapes.get(&wanted) {
            return known.clone();
        }
        if !all.contains_key(wanted.as_str()) {
            let known: Vec<&str> = all.keys().copied().collect();
            self.unknown(&name.span, "shape", &wanted, &known);
        }
        None
    }

    /// A shape named outside of `[shapes]`.
    pub(super) fn shape(&mut self, name: &Given<String>) -> Option<Shaped> {
        let wanted = self.take(name)?;
        if let Some(known) = self.shapes.get(&wanted) {
            return known.clone();
        }
        let names: Vec<String> = self.shapes.keys().cloned().collect();
        let known: Vec<&str> = names.iter().map(String::as_str).collect();
        self.unknown(&name.span, "shape", &wanted, &known);
        None
    }

    /// All named shapes together.
    pub(super) fn shapes_together(&mut self, names: &[Given<String>]) -> Option<Region> {
        let parts: Vec<Option<Shaped>> = names.iter().map(|n| self.shape(n)).collect();
        let parts: Vec<Shaped> = parts.into_iter().collect::<Option<_>>()?;
        let regions: Vec<&Region> = parts.iter().map(|p| &p.region).collect();
        self.board.fillets.extend(parts.iter().flat_map(|p| p.fillets.iter().cloned()));
        Some(Region::union(&regions))
    }

    /// `[outline]` → outline with its openings.
    pub(super) fn outline(&mut self, design: &Design) {
        let Some(outline) = &design.outline else {
            self.faults.add(
                &(0..0),
                "the file has no [outline]",
                "add [outline] with shape = \"name of a shape\"",
            );
            return;
        };
        self.outline_span = outline.item.shape.span.clone();
        let shape = self.shape(&outline.item.shape);
        let openings = match &outline.item.openings {
            Some(names) => self.shapes_together(names),
            None => Some(Region::default()),
        };
        let (Some(shape), Some(openings)) = (shape, openings) else { return };
        self.board.fillets.extend(shape.fillets);
        self.board.outline = shape.region.difference(&openings);
        if self.board.outline.area_m2() <= 1e-12 {
            self.faults.add(
                &outline.item.shape.span,
                "nothing of the outline is left",
                "make the openings smaller",
            );
        }
    }
}

fn operation(shape: &Shape) -> Option<(Operation, &[Given<String>])> {
    let kinds = [
        (Operation::Union, &shape.union),
        (Operation::Difference, &shape.difference),
        (Operation::Intersection, &shape.intersection),
    ];
    kinds.into_iter().find_map(|(kind, names)| names.as_deref().map(|n| (kind, n)))
}

/// Whether an arc is still part of a region's edge after a set operation.
pub(super) fn on_edge(fillet: &Fillet, region: &Region) -> bool {
    // Flattened arcs stay within 5 um of the true one, and the grid adds 1 um.
    let [start, sweep] = fillet.angles_rad;
    [0.25, 0.5, 0.75].into_iter().any(|part| {
        let angle = start + sweep * part;
        let p = [
            fillet.centre_m[0] + fillet.radius_m * angle.cos(),
            fillet.centre_m[1] + fillet.radius_m * angle.sin(),
        ];
        region.distance_to_edge_m(p) < 6.5e-6
    })
}
