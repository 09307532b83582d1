//! `[[support]]`, `[[arm]]`, `[flap]`, `[[body]]`.

use super::{Builder, mm, um};
use crate::board::{Arm, Body, Flap, Place, Support, SupportKind};
use crate::design::{self, Design, Given, MountingRotation, Placed, SupportWord};
use crate::quantity::{Length, Mass};
use crate::region::{Point, Region};

impl Builder<'_> {
    /// Supports, arms, flap and bodies.
    pub(super) fn fixtures(&mut self, design: &Design) {
        let mut names = Vec::new();
        for placed in &design.support {
            let Some(name) = self.fresh_name(&placed.item.name, "support", &names) else { continue };
            names.push(name.clone());
            if let Some(support) = self.support(placed, name) {
                self.board.supports.push(support);
            }
        }
        let mut names = Vec::new();
        for placed in &design.arm {
            let Some(name) = self.fresh_name(&placed.item.name, "arm", &names) else { continue };
            names.push(name.clone());
            if let Some(arm) = self.arm(placed, name) {
                self.board.arms.push(arm);
            }
        }
        if let Some(placed) = &design.flap {
            self.board.flap = self.flap(placed);
        }
        let mut names = Vec::new();
        for placed in &design.body {
            let Some(name) = self.fresh_name(&placed.item.name, "body", &names) else { continue };
            names.push(name.clone());
            if let Some(body) = self.body(placed, name) {
                self.board.bodies.push(body);
            }
        }
    }

    /// The part of a shape on the board; a fault if there is none.
    fn on_board(&mut self, name: &Given<String>, what: &str) -> Option<(Region, Region)> {
        let shape = self.shape(name)?;
        if self.board.outline.contours.is_empty() {
            return None;
        }
        let inside = shape.region.intersection(&self.board.outline);
        if inside.area_m2() <= 1e-12 {
            self.faults.add(
                &name.span,
                format!("{what} lies outside the outline"),
                "move its shape onto the board",
            );
            return None;
        }
        Some((inside, shape.region))
    }

    /// The part of a support on the board; what overhangs is worth a remark.
    fn gripped(&mut self, name: &Given<String>, what: &str) -> Option<Region> {
        let (inside, whole) = self.on_board(name, what)?;
        if let Some((at, by_m)) = self.overhang(&whole) {
            let place = self.faults.place(name.span.start);
            let text = format!("{what} overhangs the outline by {} at {}: clipped", um(by_m), mm(at));
            self.warn(place, text, "harmless if the board is cut there");
        }
        Some(inside)
    }

    /// A shape that must lie on the board.
    pub(super) fn wholly_on_board(&mut self, name: &Given<String>, what: &str) -> Option<Region> {
        let (inside, whole) = self.on_board(name, what)?;
        if let Some((at, by_m)) = self.overhang(&whole) {
            let rule = format!("{what} reaches {} beyond the outline at {}", um(by_m), mm(at));
            self.faults.add(
                &name.span,
                rule,
                "keep its shape inside the outline, for example by an intersection with it",
            );
            return None;
        }
        Some(inside)
    }

    /// Exactly one of a shape, a line and a point.
    pub(super) fn place(
        &mut self,
        owner: &Given<String>,
        shape: Option<&Given<String>>,
        line: Option<&Given<[[Length; 2]; 2]>>,
        point: Option<&Given<[Length; 2]>>,
    ) -> Option<Place> {
        let name = owner.value.clone().unwrap_or_default();
        match (shape, line, point) {
            (Some(shape), None, None) => self.gripped(shape, &format!("'{name}'")).map(Place::Area),
            (None, Some(line), None) => self.line(line, &name).map(Place::Line),
            (None, None, Some(point)) => {
                let at = self.point(point)?;
                self.on_outline(&point.span, at, &name).then_some(Place::Point(at))
            }
            _ => {
                self.faults.add(
                    &owner.span,
                    format!("`{name}` needs exactly one place"),
                    "give one of: shape, line, point (as its table allows)",
                );
                None
            }
        }
    }

    fn on_outline(&mut self, span: &std::ops::Range<usize>, at: Point, name: &str) -> bool {
        let outline = &self.board.outline;
        // The grid moves outlines by up to 1 um.
        let on = outline.contains(at) || outline.distance_to_edge_m(at) <= 1.5e-6;
        if !on && !outline.contours.is_empty() {
            let far = um(outline.distance_to_edge_m(at));
            self.faults.add(
                span,
                format!("`{name}` acts at {}, {far} outside the outline", mm(at)),
                "move the point onto the board",
            );
        }
        on
    }

    fn line(&mut self, given: &Given<[[Length; 2]; 2]>, name: &str) -> Option<[Point; 2]> {
        let ends = self.take(given)?.map(|p| p.map(|l| l.0));
        let length_m = (ends[1][0] - ends[0][0]).hypot(ends[1][1] - ends[0][1]);
        if length_m < 1e-6 {
            self.faults.add(
                &given.span,
                format!("the line of `{name}` has no length"),
                "give two different points",
            );
            return None;
        }
        // Points along the line, so that a line across a notch or an opening is seen.
        let inside = (0..=64u8).all(|i| {
            let t = f64::from(i) / 64.0;
            self.on_outline(&given.span, [0, 1].map(|k| ends[0][k] + t * (ends[1][k] - ends[0][k])), name)
        });
        inside.then_some(ends)
    }

    fn support(&mut self, placed: &Placed<design::Support>, name: String) -> Option<Support> {
        let s = &placed.item;
        let kind = self.take(&s.kind);
        let place = self.place(&s.name, s.shape.as_ref(), s.line.as_ref(), None);
        let rotation = match &s.rotation {
            Some(r) => self.rotation(r).map(Some),
            None => Some(None),
        };
        let (kind, place, rotation) = (kind?, place?, rotation?);
        if kind != SupportWord::Clamp && rotation.is_some() {
            self.faults.add(
                &s.kind.span,
                "only a clamp can be rotated",
                "remove `rotation`, or write kind = \"clamp\"",
            );
            return None;
        }
        if kind == SupportWord::Symmetry && matches!(place, Place::Area(_)) {
            self.faults.add(&s.kind.span, "symmetry is about a line", "give `line` instead of `shape`");
            return None;
        }
        let kind = match kind {
            SupportWord::Simple => SupportKind::Simple,
            SupportWord::Symmetry => SupportKind::Symmetry,
            SupportWord::Clamp => {
                let (rotation_rad, axis_point_m, axis) = rotation.unwrap_or((0.0, [0.0; 3], [0.0, 1.0, 0.0]));
                SupportKind::Clamp { rotation_rad, axis_point_m, axis }
            }
        };
        Some(Support { name, kind, place })
    }

    fn rotation(&mut self, r: &MountingRotation) -> Option<(f64, [f64; 3], [f64; 3])> {
        let angle = self.take(&r.angle);
        let through = self.take_opt(r.through.as_ref());
        let axis = self.direction(&r.axis);
        let through_m = through?.map_or([0.0; 3], |p| p.map(|l| l.0));
        Some((angle?.0, through_m, axis?))
    }

    /// A unit vector from three numbers.
    pub(super) fn direction(&mut self, given: &Given<[design::Number; 3]>) -> Option<[f64; 3]> {
        let v = self.take(given)?.map(|n| n.0);
        let length = v.iter().map(|x| x * x).sum::<f64>().sqrt();
        if length > 1e-12 && length.is_finite() {
            return Some(v.map(|x| x / length));
        }
        self.faults.add(&given.span, "a direction of no length", "write for example [0, 0, -1]");
        None
    }

    fn arm(&mut self, placed: &Placed<design::Arm>, name: String) -> Option<Arm> {
        let a = &placed.item;
        let region = self.on_board(&a.shape, &format!("arm '{name}'")).map(|(inside, _)| inside);
        let root = self.point(&a.root);
        let tip = self.point(&a.tip);
        let (region, root_m, tip_m) = (region?, root?, tip?);
        let length_m = (tip_m[0] - root_m[0]).hypot(tip_m[1] - root_m[1]);
        if length_m < 1e-5 {
            self.faults.add(
                &a.tip.span,
                format!("arm `{name}` has no length"),
                "root and tip are the middles of its two ends",
            );
            return None;
        }
        let centre_line_m = match &a.centre_line {
            Some(given) => self.arm_line(given, root_m, tip_m, &name)?,
            None => Vec::new(),
        };
        let all: Vec<Point> =
            std::iter::once(root_m).chain(centre_line_m.iter().copied()).chain([tip_m]).collect();
        let (middle, along) = middle_of(&all);
        if !region.contains(middle) {
            self.faults.add(
                &a.root.span,
                format!("the middle between root and tip of arm `{name}`, {}, is not on the arm", mm(middle)),
                "root and tip are the middles of the arm's two ends; give a bent arm its `centre_line`",
            );
            return None;
        }
        let width_m = width_across(&region, middle, along);
        Some(Arm { name, region, root_m, tip_m, width_m, centre_line_m })
    }

    /// Points of an arm's centre line; a fault where it leaves the board.
    fn arm_line(
        &mut self,
        given: &[Given<[Length; 2]>],
        root: Point,
        tip: Point,
        name: &str,
    ) -> Option<Vec<Point>> {
        let taken: Vec<Option<Point>> = given.iter().map(|p| self.point(p)).collect();
        let points: Vec<Point> = taken.into_iter().collect::<Option<_>>()?;
        let span = given.first().map_or(0..0, |g| g.span.clone());
        let all: Vec<Point> = std::iter::once(root).chain(points.iter().copied()).chain([tip]).collect();
        for ends in all.windows(2) {
            if (ends[1][0] - ends[0][0]).hypot(ends[1][1] - ends[0][1]) < 1e-5 {
                let rule = format!("the centre line of arm `{name}` does not move on at {}", mm(ends[0]));
                self.faults.add(&span, rule, "list only the points between root and tip, each once");
                return None;
            }
            for i in 0..=64_u8 {
                let t = f64::from(i) / 64.0;
                let at = [0, 1].map(|k| ends[0][k] + t * (ends[1][k] - ends[0][k]));
                let outline = &self.board.outline;
                if !outline.contains(at) && outline.distance_to_edge_m(at) > 1.5e-6 {
                    let rule = format!("the centre line of arm `{name}` leaves the board at {}", mm(at));
                    self.faults.add(&span, rule, "lead it along the middle of the arm");
                    return None;
                }
            }
        }
        Some(points)
    }

    fn flap(&mut self, placed: &Placed<design::Flap>) -> Option<Flap> {
        let region = self.on_board(&placed.item.shape, "the flap").map(|(inside, _)| inside);
        let rigid = self.take_opt(placed.item.rigid.as_ref());
        Some(Flap { region: region?, rigid: rigid?.unwrap_or(false) })
    }

    fn body(&mut self, placed: &Placed<design::Body>, name: String) -> Option<Body> {
        let b = &placed.item;
        let region = self.wholly_on_board(&b.shape, &format!("body '{name}'"));
        let mass = self.positive(&b.mass, "a mass", |m: Mass| m.0);
        let height = self.take(&b.centre_height);
        let inertia = self.take_opt(b.inertia.as_ref());
        let stiff = self.take_opt(b.stiff.as_ref());
        let inertia_kg_m2 = inertia?.map_or([0.0; 3], |i| i.map(|x| x.0));
        if inertia_kg_m2.iter().any(|i| *i < 0.0) {
            let span = b.inertia.as_ref().map_or(0..0, |i| i.span.clone());
            self.faults.add(&span, "a moment of inertia below 0", "give three values, 0 or more");
            return None;
        }
        Some(Body {
            name,
            region: region?,
            mass_kg: mass?,
            centre_z_m: height?.0,
            inertia_kg_m2,
            stiff: stiff?.unwrap_or(true),
        })
    }
}

/// Width of a region across a direction, through a point inside it, m.
fn width_across(region: &Region, at: Point, along: [f64; 2]) -> f64 {
    let (mut left, mut right) = (f64::INFINITY, f64::INFINITY);
    for [a, b] in region.edges() {
        let side = |p: Point| (p[0] - at[0]) * along[0] + (p[1] - at[1]) * along[1];
        let (sa, sb) = (side(a), side(b));
        if (sa > 0.0) == (sb > 0.0) {
            continue;
        }
        let t = sa / (sa - sb);
        let cross = [a[0] + t * (b[0] - a[0]) - at[0], a[1] + t * (b[1] - a[1]) - at[1]];
        let aside = -cross[0] * along[1] + cross[1] * along[0];
        if aside >= 0.0 {
            left = left.min(aside);
        } else {
            right = right.min(-aside);
        }
    }
    if left.is_finite() && right.is_finite() { left + right } else { 0.0 }
}

/// Middle of a line of points by length, and its direction there.
fn middle_of(points: &[Point]) -> (Point, [f64; 2]) {
    let piece = |ends: &[Point]| [ends[1][0] - ends[0][0], ends[1][1] - ends[0][1]];
    let whole: f64 = points.windows(2).map(|e| piece(e)[0].hypot(piece(e)[1])).sum();
    let mut left = 0.5 * whole;
    for ends in points.windows(2) {
        let run = piece(ends);
        let length = run[0].hypot(run[1]);
        if left <= length {
            let along = run.map(|x| x / length);
            return ([ends[0][0] + along[0] * left, ends[0][1] + along[1] * left], along);
        }
        left -= length;
    }
    (points.first().copied().unwrap_or_default(), [1.0, 0.0])
}
