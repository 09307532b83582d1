//! `[[magnet]]` → shape, polarisation, place and mirror plane.

use super::{Builder, round};
use crate::board::{Magnet, MagnetShape};
use crate::design::{self, Magnetisation, Placed, Polarity};
use crate::material::{grades, remanence_t};
use crate::quantity::{FluxDensity, Length};

impl Builder<'_> {
    /// All magnets.
    pub(super) fn magnets(&mut self, list: &[Placed<design::Magnet>]) {
        let mut names = Vec::new();
        for placed in list {
            let Some(name) = self.fresh_name(&placed.item.name, "magnet", &names) else { continue };
            names.push(name.clone());
            if let Some(magnet) = self.magnet(placed, name) {
                self.board.magnets.push(magnet);
            }
        }
    }

    fn magnet(&mut self, placed: &Placed<design::Magnet>, name: String) -> Option<Magnet> {
        let m = &placed.item;
        if let Some(carried) = &m.carried_by {
            self.faults.add(
                &carried.span,
                "a magnet carried by the board is not computed yet",
                "fix the magnet in space and let the board carry the coil; a magnet as dead weight is a [[body]]",
            );
            return None;
        }
        let shape = self.magnet_shape(placed, &name);
        let strength = self.remanence(m);
        let magnetisation = self.take_opt(m.magnetisation.as_ref());
        let polarity = self.take_opt(m.polarity.as_ref());
        let centre = self.take(&m.centre);
        let rotation = self.tilt(m.tilt.as_ref());
        let plate = match &m.back_plate {
            Some(p) => self.take(&p.height).map(|h| Some((h.0, p.height.span.clone()))),
            None => Some(None),
        };
        let (shape, (br, remanence_note), rotation, plate) = (shape?, strength?, rotation?, plate?);
        let polarisation_t = match (magnetisation?, polarity?) {
            (Some(Magnetisation::Diametral), Some(_)) => {
                let span = m.polarity.as_ref().map_or(0..0, |p| p.span.clone());
                self.faults.add(
                    &span,
                    "`polarity` belongs to an axial magnet",
                    "turn a diametral one with tilt = { about_z = \"180 deg\" }",
                );
                return None;
            }
            (Some(Magnetisation::Diametral), None) => [br, 0.0, 0.0],
            (_, Some(Polarity::Down)) => [0.0, 0.0, -br],
            _ => [0.0, 0.0, br],
        };
        let mut magnet = Magnet {
            name,
            shape,
            polarisation_t,
            centre_m: centre?.map(|l| l.0),
            rotation,
            back_plate: None,
            remanence_note,
        };
        if let Some((height_m, span)) = plate {
            magnet.back_plate = Some(self.back_plate(&magnet, height_m, &span)?);
        }
        Some(magnet)
    }

    fn magnet_shape(&mut self, placed: &Placed<design::Magnet>, name: &str) -> Option<MagnetShape> {
        let m = &placed.item;
        let si = |l: Length| l.0;
        match (&m.disc, &m.ring, &m.block) {
            (Some(d), None, None) => {
                let diameter = self.positive(&d.diameter, "a diameter", si);
                let height = self.positive(&d.height, "a height", si);
                Some(MagnetShape::Disc { diameter_m: diameter?, height_m: height? })
            }
            (None, Some(r), None) => {
                let outer = self.positive(&r.outer, "a diameter", si);
                let inner = self.positive(&r.inner, "a diameter", si);
                let height = self.positive(&r.height, "a height", si);
                let (outer_m, inner_m) = (outer?, inner?);
                if inner_m >= outer_m {
                    self.faults.add(
                        &r.inner.span,
                        "the inner diameter of a ring must be below the outer one",
                        "swap them, or use a disc",
                    );
                    return None;
                }
                Some(MagnetShape::Ring { outer_m, inner_m, height_m: height? })
            }
            (None, None, Some(b)) => Some(MagnetShape::Block { sides_m: self.block_sides(b)? }),
            _ => {
                self.faults.add(
                    &placed.span,
                    format!("magnet `{name}` needs exactly one shape"),
                    "give one of: disc, ring, block",
                );
                None
            }
        }
    }

    /// Three sides above 0, m.
    pub(super) fn block_sides(&mut self, b: &design::Block) -> Option<[f64; 3]> {
        let sides_m = self.take(&b.sides)?.map(|l| l.0);
        if sides_m.iter().any(|s| *s <= 0.0) {
            self.faults.add(&b.sides.span, "the sides of a block must be above 0", "write three lengths");
            return None;
        }
        Some(sides_m)
    }

    fn remanence(&mut self, m: &design::Magnet) -> Option<(f64, String)> {
        match (&m.remanence, &m.grade) {
            (Some(br), None) => {
                Some((self.positive(br, "the remanence", |b: FluxDensity| b.0)?, "given".to_owned()))
            }
            (None, Some(grade)) => {
                let name = self.take(grade)?;
                let Some([lo, hi]) = remanence_t(&name) else {
                    let known: Vec<&str> = grades().collect();
                    self.unknown(&grade.span, "magnet grade", &name, &known);
                    return None;
                };
                let middle = 0.5 * (lo + hi);
                let note =
                    format!("{}, middle of {} to {} T", name.trim().to_uppercase(), round(lo), round(hi));
                let place = self.faults.place(grade.span.start);
                self.warn(
                    place,
                    format!("remanence {} T taken for {note}", round(middle)),
                    "give `remanence` if the maker's sheet has a value",
                );
                Some((middle, note))
            }
            _ => {
                self.faults.add(
                    &m.name.span,
                    "a magnet needs either `remanence` or `grade`",
                    "add remanence = \"1.30 T\" or grade = \"N42\"",
                );
                None
            }
        }
    }

    /// Rotation matrix of the tilts: about x, then y, then z.
    pub(super) fn tilt(&mut self, tilt: Option<&design::Tilt>) -> Option<[[f64; 3]; 3]> {
        let Some(t) = tilt else { return Some([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]) };
        let about_x = self.take_opt(t.about_x.as_ref());
        let about_y = self.take_opt(t.about_y.as_ref());
        let about_z = self.take_opt(t.about_z.as_ref());
        let angle = |a: Option<crate::quantity::Angle>| a.map_or(0.0, |a| a.0);
        let (sx, cx) = angle(about_x?).sin_cos();
        let (sy, cy) = angle(about_y?).sin_cos();
        let (sz, cz) = angle(about_z?).sin_cos();
        Some([
            [cz * cy, cz * sy * sx - sz * cx, cz * sy * cx + sz * sx],
            [sz * cy, sz * sy * sx + cz * cx, sz * sy * cx - cz * sx],
            [-sy, cy * sx, cy * cx],
        ])
    }

    /// Plane of an iron plate; the magnet must stand on the board's side of it.
    fn back_plate(
        &mut self,
        magnet: &Magnet,
        height_m: f64,
        span: &std::ops::Range<usize>,
    ) -> Option<[[f64; 3]; 2]> {
        let half = half_height(magnet);
        let [low, high] = [magnet.centre_m[2] - half, magnet.centre_m[2] + half];
        let slack = 1e-9;
        let behind_below = height_m <= low + slack && height_m <= 0.0 + slack;
        let behind_above = height_m >= high - slack && height_m >= -slack;
        let normal_z = match (behind_below, behind_above) {
            (true, _) => 1.0,
            (_, true) => -1.0,
            _ => {
                let rule = format!(
                    "the back plate at {} mm is not behind magnet '{}' as seen from the board",
                    round(height_m * 1e3),
                    magnet.name
                );
                let remedy = format!(
                    "the magnet reaches from {} to {} mm: put the plate at or beyond the end away from the board",
                    round(low * 1e3),
                    round(high * 1e3)
                );
                self.faults.add(span, rule, remedy);
                return None;
            }
        };
        Some([[magnet.centre_m[0], magnet.centre_m[1], height_m], [0.0, 0.0, normal_z]])
    }
}

/// Half the extent of a magnet along z, m.
pub(super) fn half_height(magnet: &Magnet) -> f64 {
    let r = magnet.rotation[2];
    let round_body = |radius: f64, height: f64| radius * r[0].hypot(r[1]) + 0.5 * height * r[2].abs();
    match magnet.shape {
        MagnetShape::Disc { diameter_m, height_m } => round_body(0.5 * diameter_m, height_m),
        MagnetShape::Ring { outer_m, height_m, .. } => round_body(0.5 * outer_m, height_m),
        MagnetShape::Block { sides_m } => 0.5 * (0..3).map(|k| sides_m[k] * r[k].abs()).sum::<f64>(),
    }
}
