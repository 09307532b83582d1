//! `[[layer]]` and `[[stiffener]]` → layers from the bottom, stiffener layers outermost.

use super::shapes::on_edge;
use super::{Builder, mm, round, um};
use crate::board::{Bond, Layer, LayerId, LayerKind, Seat, Stiffener};
use crate::design::{self, BondWord, Design, Given, LayerKindWord, Placed, SeatWord, SideWord, Tape};
use crate::quantity::{METRES_PER_COPPER_OUNCE, Stress, Thickness};
use crate::region::Region;
use std::ops::Range;

/// A layer read, before it gets its number.
struct Read {
    layer: Layer,
    level: bool,
    span: Range<usize>,
}

impl Builder<'_> {
    /// Flex layers and stiffeners, from the bottom.
    pub(super) fn all_layers(&mut self, design: &Design) {
        let mut flex = Vec::new();
        let mut names: Vec<String> = Vec::new();
        let mut base = None;
        for placed in &design.layer {
            let Some(name) = self.fresh_name(&placed.item.name, "layer", &names) else { continue };
            names.push(name.clone());
            let read = self.layer(placed, &name);
            if read.is_none() {
                self.layer_names.insert(name, None);
            }
            if let Some(read) = read {
                if base.is_none() && read.layer.kind == LayerKind::Film {
                    base = Some(flex.len());
                }
                flex.push(read);
            }
        }
        if design.layer.is_empty() {
            self.faults.add(
                &(0..0),
                "the file has no [[layer]]",
                "add the layers from the bottom to the top, first the base film",
            );
        }
        let (below, above) = self.stiffeners(&design.stiffener, &names);
        let n_below = below.len();
        for read in below.into_iter().rev().chain(flex).chain(above) {
            self.add_layer(read);
        }
        self.board.base_layer = id_of(n_below + base.unwrap_or(0));
    }

    fn add_layer(&mut self, read: Read) {
        let index = self.board.layers.len();
        if read.level {
            self.level.push(index);
        }
        self.layer_names.insert(read.layer.name.clone(), Some(id_of(index)));
        self.layer_spans.push(read.span);
        self.board.layers.push(read.layer);
    }

    fn layer(&mut self, placed: &Placed<design::Layer>, name: &str) -> Option<Read> {
        let l = &placed.item;
        let material = self.material(&l.material);
        let kind = self.take(&l.kind);
        let thickness = self.thickness(&l.thickness);
        let seat = self.take_opt(l.seat.as_ref());
        let bottom = self.take_opt(l.bottom.as_ref());
        let direction = self.take_opt(l.direction.as_ref());
        let copper = kind == Some(LayerKindWord::Copper);
        let region = self.layer_region(l, copper);
        let (seat, bottom) = (seat?, bottom?);
        if let (Some(_), Some(_), Some(given)) = (seat, bottom, &l.bottom) {
            self.faults.add(
                &given.span,
                format!("layer `{name}` has both `seat` and `bottom`"),
                "give only one of them",
            );
            return None;
        }
        let layer = Layer {
            name: name.to_owned(),
            material: material?,
            kind: kind_of(kind?),
            thickness_m: thickness?,
            seat: bottom.map_or(Seat::Drape, |z| Seat::At(z.0)),
            region: region?,
            direction_rad: direction?.map_or(0.0, |a| a.0),
            smears: Vec::new(),
            stiffener: None,
        };
        Some(Read { layer, level: seat == Some(SeatWord::Level), span: placed.span.clone() })
    }

    /// A sheet thickness above zero; copper weights are reported.
    fn thickness(&mut self, given: &Given<Thickness>) -> Option<f64> {
        let thickness_m = self.positive(given, "a thickness", |t| t.0)?;
        let written = self.text.get(given.span.clone()).unwrap_or_default().trim_matches(['"', '\'']);
        if let Some(ounces) = Thickness::copper_weight(written) {
            let place = self.faults.place(given.span.start);
            let text = format!(
                "copper weight {} oz taken as {} ({} um per ounce per square foot)",
                round(ounces),
                um(thickness_m),
                round(METRES_PER_COPPER_OUNCE * 1e6)
            );
            self.warn(place, text, "give the thickness in um if the foil is plated or etched thinner");
        }
        Some(thickness_m)
    }

    /// Where a layer is present, before copper is added.
    fn layer_region(&mut self, l: &design::Layer, copper: bool) -> Option<Region> {
        let wanted = match &l.r#where {
            Some(names) => self.shapes_together(names),
            None if copper => Some(Region::default()),
            None => Some(self.board.outline.clone()),
        };
        let except = match &l.except {
            Some(names) => self.shapes_together(names),
            None => Some(Region::default()),
        };
        let (wanted, except) = (wanted?, except?);
        let region = wanted.difference(&except);
        // Copper is clipped later, once it is known whether it leaves the outline.
        Some(if copper { region } else { region.intersection(&self.board.outline) })
    }

    /// Farthest corner of a region outside the outline, and how far; None if it stays inside within 2 um.
    pub(super) fn overhang(&self, region: &Region) -> Option<([f64; 2], f64)> {
        let outside = region.difference(&self.board.outline);
        let corners = outside.contours.iter().flatten();
        let far = corners
            .filter(|p| !self.board.outline.contains(**p))
            .map(|&p| (p, self.board.outline.distance_to_edge_m(p)))
            .fold(
                None,
                |best: Option<([f64; 2], f64)>, c| {
                    if best.is_none_or(|b| c.1 > b.1) { Some(c) } else { best }
                },
            );
        far.filter(|(_, by_m)| *by_m > 2e-6)
    }

    /// Stiffener layers below (from the board downwards) and above (from the board upwards).
    fn stiffeners(
        &mut self,
        list: &[Placed<design::Stiffener>],
        layer_names: &[String],
    ) -> (Vec<Read>, Vec<Read>) {
        let (mut below, mut above) = (Vec::new(), Vec::new());
        let mut names = layer_names.to_vec();
        let mut inner: Vec<(SideWord, usize)> = Vec::new();
        for placed in list {
            let Some(name) = self.fresh_name(&placed.item.name, "stiffener or layer", &names) else {
                continue;
            };
            names.push(name.clone());
            let first = self.board.stiffeners.len();
            if let Some((side, layers)) = self.stiffener(placed, &name) {
                self.stacked(placed, &mut inner, (side, first));
                match side {
                    SideWord::Below => below.extend(layers),
                    SideWord::Above => above.extend(layers),
                }
            }
        }
        (below, above)
    }

    /// Refuses a stiffener on top of one that slides: two pieces that slide on each other are not modelled.
    fn stacked(
        &mut self,
        placed: &Placed<design::Stiffener>,
        inner: &mut Vec<(SideWord, usize)>,
        (side, own): (SideWord, usize),
    ) {
        let all = &self.board.stiffeners;
        let Some(outer) = all.get(own) else { return };
        let below =
            inner.iter().filter(|(other, _)| *other == side).filter_map(|&(_, i)| all.get(i)).find(|s| {
                !matches!(s.bond, Bond::Bonded) && s.region.intersection(&outer.region).area_m2() > 1e-12
            });
        if let Some(below) = below {
            let text = format!(
                "stiffener `{}` lies on stiffener `{}`, which slides on the board or is held by a soft tape",
                outer.name, below.name
            );
            self.faults.add(
                &placed.item.shape.span,
                text,
                "bond the inner one, keep the two apart, or write them as one stiffener of their whole thickness",
            );
        }
        inner.push((side, own));
    }

    fn stiffener(&mut self, placed: &Placed<design::Stiffener>, name: &str) -> Option<(SideWord, Vec<Read>)> {
        let s = &placed.item;
        let shape = self.shape(&s.shape);
        let side = self.take(&s.side);
        let material = self.material(&s.material);
        let thickness = self.thickness(&s.thickness);
        let direction = self.take_opt(s.direction.as_ref());
        let tape = s.tape.as_ref().map(|t| self.tape(t));
        let bond = self.bond(s, tape.flatten());
        let (shape, side) = (shape?, side?);
        if let Some((at, by_m)) = self.overhang(&shape.region) {
            let place = self.faults.place(s.shape.span.start);
            let text =
                format!("stiffener '{name}' overhangs the outline by {} at {}: clipped", um(by_m), mm(at));
            self.warn(
                place,
                text,
                "the part beyond the outline carries no load and is left out, its mass too",
            );
        }
        let region = shape.region.intersection(&self.board.outline);
        let arcs = shape.fillets.into_iter().filter(|f| on_edge(f, &region));
        self.board.fillets.extend(arcs);
        if self.board.outline.contours.is_empty() {
            return None;
        }
        if region.area_m2() <= 1e-12 {
            self.faults.add(
                &s.shape.span,
                format!("stiffener `{name}` does not touch the board"),
                "move its shape onto the outline",
            );
            return None;
        }
        let index = u32::try_from(self.board.stiffeners.len()).unwrap_or(u32::MAX);
        let read = |layer_name: String, material, kind, thickness_m, level, direction_rad| Read {
            layer: Layer {
                name: layer_name,
                material,
                kind,
                thickness_m,
                seat: Seat::Drape,
                region: region.clone(),
                direction_rad,
                smears: Vec::new(),
                stiffener: Some(index),
            },
            level,
            span: placed.span.clone(),
        };
        let mut layers = Vec::new();
        if let Some(tape) = tape {
            let (tape_material, tape_thickness) = tape?;
            layers.push(read(
                format!("{name} tape"),
                tape_material,
                LayerKind::Tape,
                tape_thickness,
                true,
                0.0,
            ));
        }
        let direction_rad = direction?.map_or(0.0, |a| a.0);
        layers.push(read(name.to_owned(), material?, LayerKind::Stiffener, thickness?, false, direction_rad));
        self.board.stiffeners.push(Stiffener { name: name.to_owned(), region, bond: bond? });
        Some((side, layers))
    }

    fn tape(&mut self, tape: &Tape) -> Option<(crate::board::MaterialId, f64)> {
        let material = self.material(&tape.material);
        let thickness = self.thickness(&tape.thickness);
        Some((material?, thickness?))
    }

    /// How a stiffener is held: as written, else by its tape.
    fn bond(&mut self, s: &design::Stiffener, tape: Option<(crate::board::MaterialId, f64)>) -> Option<Bond> {
        let bond = self.take_opt(s.bond.as_ref())?;
        let own_shear = match s.tape.as_ref().and_then(|t| t.shear_modulus.as_ref()) {
            Some(given) => Some(self.positive(given, "a shear modulus", |g: Stress| g.0)?),
            None => None,
        };
        let tape_material = tape.map(|(id, _)| self.board.materials[id.0 as usize].clone());
        match bond {
            Some(BondWord::Bonded) => Some(Bond::Bonded),
            Some(BondWord::Sliding) => Some(Bond::Sliding),
            Some(BondWord::Tape) => {
                let shear = own_shear.or_else(|| tape_material.and_then(|m| m.shear_pa).map(|g| g.v));
                if shear.is_none() {
                    let span = s.bond.as_ref().map_or(0..0, |b| b.span.clone());
                    self.faults.add(
                        &span,
                        "bond \"tape\" needs a shear modulus",
                        "add tape = { material, thickness, shear_modulus }",
                    );
                }
                shear.map(Bond::Tape)
            }
            None => Some(self.usual_bond(s, own_shear, tape_material.as_ref())),
        }
    }

    /// The bond where none is written: by the tape's shear modulus, its glass point, or bonded.
    fn usual_bond(
        &mut self,
        s: &design::Stiffener,
        shear: Option<f64>,
        tape: Option<&crate::board::Material>,
    ) -> Bond {
        let place = self.faults.place(s.name.span.start);
        let working = self.board.temperature_degc;
        let (bond, why) = match (shear, tape.and_then(|t| t.glass_point_degc.as_ref())) {
            (Some(shear), _) => {
                (Bond::Tape(shear), "a tape with a shear modulus: both limits are computed".to_owned())
            }
            (None, Some(glass)) if tape.is_some_and(|t| t.shear_pa.is_some()) && glass.v < working => (
                Bond::Sliding,
                format!("the tape is above its glass point ({} degC): it carries no shear", round(glass.v)),
            ),
            _ => (Bond::Bonded, "a shear-stiff bond".to_owned()),
        };
        let word = match bond {
            Bond::Bonded => "bonded",
            Bond::Sliding => "sliding",
            Bond::Tape(_) => "tape",
        };
        self.warn(
            place,
            format!("default used: bond = \"{word}\", {why}"),
            "write `bond` to choose; it changes the stiffness several times over",
        );
        bond
    }

    /// Keeps all layers inside the outline (copper that leaves it was reported).
    pub(super) fn clip_layers(&mut self) {
        for layer in &mut self.board.layers {
            if layer.kind == LayerKind::Copper {
                layer.region = layer.region.intersection(&self.board.outline);
            }
        }
        for conductor in &mut self.board.conductors {
            conductor.region = conductor.region.intersection(&self.board.outline);
        }
    }
}

pub(super) fn id_of(index: usize) -> LayerId {
    LayerId(u32::try_from(index).unwrap_or(u32::MAX))
}

fn kind_of(word: LayerKindWord) -> LayerKind {
    match word {
        LayerKindWord::Film => LayerKind::Film,
        LayerKindWord::Copper => LayerKind::Copper,
        LayerKindWord::Adhesive => LayerKind::Adhesive,
        LayerKindWord::Cover => LayerKind::Cover,
        LayerKindWord::Mask => LayerKind::Mask,
        LayerKindWord::Finish => LayerKind::Finish,
    }
}
