//! Pours, `[[track]]` and `[[coil]]` → conductors, copper layers' regions, smears, links of the circuit.

use super::{Builder, mm, um};
use crate::board::{Conductor, ConductorKind, LayerId, LayerKind, MaterialId, Smear, TurnAxes};
use crate::coil::path::{Leg, Run};
use crate::coil::{CHORDS_PER_TURN, Sense, SpiralForm, SpiralSpec, spirals, turns_region};
use crate::design::{self, CoilForm, Design, Given, Number, Placed, TurnsModel};
use crate::quantity::Length;
use crate::region::{Ends, Point, Region, rounded_polygon};

/// Most turns of one layer of a coil.
const MOST_TURNS: f64 = 400.0;

impl Builder<'_> {
    /// All copper of the file.
    pub(super) fn all_copper(&mut self, design: &Design) {
        self.pours(design);
        let mut names: Vec<String> = Vec::new();
        for placed in &design.track {
            let Some(name) = self.fresh_name(&placed.item.name, "track", &names) else { continue };
            names.push(name.clone());
            let link = self.track(placed, &name);
            self.links.insert(name, link);
        }
        for placed in &design.coil {
            let Some(name) = self.fresh_name(&placed.item.name, "coil or track", &names) else { continue };
            names.push(name.clone());
            let link = self.coil(placed, &name);
            self.links.insert(name, link);
        }
        self.cut_smears();
    }

    /// Copper shapes without a centre line.
    fn pours(&mut self, design: &Design) {
        for placed in &design.layer {
            let Some(id) = self.layer_of(&placed.item.name) else { continue };
            if self.board.layers[id.0 as usize].kind != LayerKind::Copper {
                continue;
            }
            let except = match &placed.item.except {
                Some(names) => self.shapes_together(names).unwrap_or_default(),
                None => Region::default(),
            };
            for name in placed.item.r#where.iter().flatten() {
                let Some(shape) = self.shape(name) else { continue };
                let region = shape.region.difference(&except);
                let pour = name.value.clone().unwrap_or_default();
                self.stay_inside(&region, &name.span, &format!("copper `{pour}`"));
                self.board.conductors.push(Conductor {
                    name: pour,
                    layer: id,
                    region,
                    kind: ConductorKind::Pour,
                    ranked: true,
                });
            }
        }
    }

    /// The id of a layer by the name in its own table, if it was understood.
    fn layer_of(&self, name: &Given<String>) -> Option<LayerId> {
        self.layer_names.get(name.value.as_ref().ok()?).copied().flatten()
    }

    /// A named copper layer.
    fn copper_layer(&mut self, name: &Given<String>) -> Option<LayerId> {
        let wanted = self.take(name)?;
        match self.layer_names.get(&wanted) {
            Some(known) => {
                let id = (*known)?;
                if self.board.layers[id.0 as usize].kind == LayerKind::Copper {
                    return Some(id);
                }
                self.faults.add(
                    &name.span,
                    format!("layer `{wanted}` is not copper"),
                    "tracks and coils lie on layers of kind \"copper\"",
                );
            }
            None => {
                let layers = self.board.layers.iter().filter(|l| l.kind == LayerKind::Copper);
                let known: Vec<String> = layers.map(|l| l.name.clone()).collect();
                let known: Vec<&str> = known.iter().map(String::as_str).collect();
                self.unknown(&name.span, "copper layer", &wanted, &known);
            }
        }
        None
    }

    /// Reports copper outside the outline.
    fn stay_inside(&mut self, region: &Region, span: &std::ops::Range<usize>, what: &str) {
        if self.board.outline.contours.is_empty() {
            return;
        }
        if let Some((at, by_m)) = self.overhang(region) {
            let rule = format!("{what} leaves the outline by {} at {}", um(by_m), mm(at));
            self.faults.add(span, rule, "move it inside, or widen the outline");
        }
    }

    fn track(&mut self, placed: &Placed<design::Track>, name: &str) -> Option<Leg> {
        let t = &placed.item;
        let layer = self.copper_layer(&t.layer);
        let line = self.centre_line(&t.points, t.corner_radius.as_ref(), name);
        let width = self.positive(&t.width, "a width", |l: Length| l.0);
        let (layer, line, width_m) = (layer?, line?, width?);
        let region = Region::stroke(&line, width_m, Ends::Butt);
        let span = t.points.first().map_or(placed.span.clone(), |p| p.span.clone());
        self.stay_inside(&region, &span, &format!("track `{name}`"));
        let kind = ConductorKind::Track { centre_line_m: line.clone(), width_m };
        self.add_conductor(Conductor { name: name.to_owned(), layer, region, kind, ranked: true });
        Some(Leg { name: name.to_owned(), runs: vec![self.run(line, layer, width_m)] })
    }

    /// A run of copper; its height is filled in when the layers are seated.
    fn run(&self, points_m: Vec<Point>, layer: LayerId, width_m: f64) -> Run {
        let section_m2 = width_m * self.board.layers[layer.0 as usize].thickness_m;
        Run { points_m, layer, z_m: 0.0, section_m2 }
    }

    fn add_conductor(&mut self, conductor: Conductor) {
        let layer = &mut self.board.layers[conductor.layer.0 as usize];
        layer.region = Region::union(&[&layer.region, &conductor.region]);
        self.board.conductors.push(conductor);
    }

    fn coil(&mut self, placed: &Placed<design::Coil>, name: &str) -> Option<Leg> {
        let c = &placed.item;
        let spec = self.spiral_spec(c);
        let layers: Vec<Option<LayerId>> = c.layers.iter().map(|l| self.copper_layer(l)).collect();
        let layers: Option<Vec<LayerId>> = layers.into_iter().collect();
        let model = self.take_opt(c.turns_model.as_ref());
        let filler = match &c.filler {
            Some(f) => self.material(f).map(Some),
            None => Some(None),
        };
        let (spec, layers, model, filler) = (spec?, layers?, model?, filler?);
        if layers.is_empty() {
            self.faults.add(
                &placed.span,
                format!("coil `{name}` is on no layer"),
                "name at least one copper layer in `layers`",
            );
            return None;
        }
        let lines = match spirals(&spec, layers.len()) {
            Ok(lines) => lines,
            Err(error) => {
                self.faults.add(
                    &c.turns.span,
                    format!("coil `{name}`: {error}"),
                    "change turns, pitch, track_width or outer",
                );
                return None;
            }
        };
        if model.is_none() {
            let place = self.faults.place(placed.span.start);
            let text = format!("default used: the turns of coil '{name}' enter the stiffness smeared");
            self.warn(place, text, "write turns_model = \"each\" to resolve every turn");
        }
        for (i, &layer) in layers.iter().enumerate() {
            match model {
                Some(TurnsModel::Each) => self.resolved_turns(&spec, i, layer, name, &c.outer.span)?,
                Some(TurnsModel::Smeared) | None => self.smeared_turns(&spec, layer, name, filler, c)?,
            }
        }
        let runs = lines
            .into_iter()
            .zip(&layers)
            .map(|(line, &layer)| self.run(line, layer, spec.track_width_m))
            .collect();
        Some(Leg { name: name.to_owned(), runs })
    }

    fn spiral_spec(&mut self, c: &design::Coil) -> Option<SpiralSpec> {
        let form = self.take(&c.form);
        let centre = self.point(&c.centre);
        let outer = self.positive(&c.outer, "the outer size", |l: Length| l.0);
        let turns = self.positive(&c.turns, "the number of turns", |n: Number| n.0);
        let width = self.positive(&c.track_width, "a width", |l: Length| l.0);
        let pitch = self.positive(&c.pitch, "a pitch", |l: Length| l.0);
        let sense = self.take_opt(c.sense.as_ref());
        let start = self.take_opt(c.start_angle.as_ref());
        let corner = match &c.corner_radius {
            Some(r) => Some(self.positive(r, "a corner radius", |l: Length| l.0)?),
            None => None,
        };
        let (form, centre_m, outer, turns, width, pitch) = (form?, centre?, outer?, turns?, width?, pitch?);
        if turns > MOST_TURNS {
            self.faults.add(
                &c.turns.span,
                format!("more than {MOST_TURNS} turns on one layer"),
                "check the number of turns",
            );
            return None;
        }
        let form = match (form, corner) {
            (CoilForm::Round, None) => SpiralForm::Round,
            (CoilForm::Square, None) => SpiralForm::Square,
            (CoilForm::Rounded, Some(corner_radius_m)) => SpiralForm::Rounded { corner_radius_m },
            (CoilForm::Rounded, None) => {
                self.faults.add(&c.form.span, "form \"rounded\" needs a corner radius", "add corner_radius");
                return None;
            }
            (_, Some(_)) => {
                let span = c.corner_radius.as_ref().map_or(0..0, |r| r.span.clone());
                self.faults.add(
                    &span,
                    "`corner_radius` belongs to form \"rounded\"",
                    "remove it, or write form = \"rounded\"",
                );
                return None;
            }
        };
        Some(SpiralSpec {
            form,
            centre_m,
            outer_m: [outer, outer],
            turns,
            track_width_m: width,
            pitch_m: pitch,
            sense: match sense? {
                Some(design::Sense::Clockwise) => Sense::Clockwise,
                Some(design::Sense::CounterClockwise) | None => Sense::CounterClockwise,
            },
            start_angle_rad: start?.map_or(std::f64::consts::PI, |a| a.0),
            chords_per_turn: CHORDS_PER_TURN,
        })
    }

    fn resolved_turns(
        &mut self,
        spec: &SpiralSpec,
        i: usize,
        layer: LayerId,
        name: &str,
        span: &std::ops::Range<usize>,
    ) -> Option<()> {
        // The spec was checked when the centre lines were drawn.
        let region = turns_region(spec, i).ok()?.normal();
        self.stay_inside(&region, span, &format!("coil `{name}`"));
        self.add_conductor(Conductor {
            name: name.to_owned(),
            layer,
            region,
            kind: ConductorKind::CoilTurns,
            ranked: false,
        });
        Some(())
    }

    fn smeared_turns(
        &mut self,
        spec: &SpiralSpec,
        layer: LayerId,
        name: &str,
        filler: Option<MaterialId>,
        c: &design::Coil,
    ) -> Option<()> {
        let region = band(spec);
        self.stay_inside(&region, &c.outer.span, &format!("coil `{name}`"));
        let filler = filler.or_else(|| self.usual_filler(layer, name, c))?;
        let turns = if spec.form == SpiralForm::Round { TurnAxes::Round } else { TurnAxes::Square };
        let smear = Smear {
            region: region.clone(),
            copper_share: spec.track_width_m / spec.pitch_m,
            filler,
            centre_m: spec.centre_m,
            turns,
        };
        self.board.layers[layer.0 as usize].smears.push(smear);
        self.add_conductor(Conductor {
            name: name.to_owned(),
            layer,
            region,
            kind: ConductorKind::CoilTurns,
            ranked: false,
        });
        Some(())
    }

    /// The adhesive that flows between the turns: the nearest one outward of the copper, else any, else the base film.
    fn usual_filler(&mut self, layer: LayerId, name: &str, c: &design::Coil) -> Option<MaterialId> {
        let layers = &self.board.layers;
        let at = layer.0 as usize;
        let adhesive = |l: &&crate::board::Layer| l.kind == LayerKind::Adhesive;
        let upward = layers[at..].iter().find(adhesive);
        let downward = layers[..at].iter().rev().find(adhesive);
        let found = if layer < self.board.base_layer { downward.or(upward) } else { upward.or(downward) };
        let (material, what) = match found {
            Some(l) => (l.material, l.name.clone()),
            None => {
                let base = layers.get(self.board.base_layer.0 as usize)?;
                (base.material, base.name.clone())
            }
        };
        if found.is_none() {
            let place = self.faults.place(c.name.span.start);
            let text = format!(
                "default used: no adhesive near coil '{name}'; the gaps between its turns count as '{what}'"
            );
            self.warn(place, text, "write `filler` with the material between the turns");
        }
        Some(material)
    }

    /// Tracks and pours win over smeared turns where both lie.
    fn cut_smears(&mut self) {
        for (i, layer) in self.board.layers.iter_mut().enumerate() {
            let solid: Vec<&Region> = self
                .board
                .conductors
                .iter()
                .filter(|c| c.layer.0 as usize == i && c.kind != ConductorKind::CoilTurns)
                .map(|c| &c.region)
                .collect();
            if solid.is_empty() {
                continue;
            }
            let solid = Region::union(&solid);
            for smear in &mut layer.smears {
                smear.region = smear.region.difference(&solid);
            }
        }
    }
}

/// The band of a smeared coil: as wide as turns times pitch, so that its area times the copper's share is the
/// area of the turns (for a round coil exactly: 2 pi n (r - n p / 2) w either way).
fn band(spec: &SpiralSpec) -> Region {
    let half = 0.5 * (spec.outer_m[0] - spec.track_width_m);
    let inner = (half - spec.turns * spec.pitch_m).max(0.0);
    let c = spec.centre_m;
    let square = |h: f64, radius: f64| {
        let corners =
            [[c[0] - h, c[1] - h], [c[0] + h, c[1] - h], [c[0] + h, c[1] + h], [c[0] - h, c[1] + h]];
        let points =
            rounded_polygon(&corners, &[radius], "coil").map_or(corners.to_vec(), |(points, _)| points);
        Region::from_polygon(&points)
    };
    match spec.form {
        SpiralForm::Round => {
            Region::circle(c, half, half / 8.0).difference(&Region::circle(c, inner, inner / 8.0))
        }
        SpiralForm::Square => square(half, 0.0).difference(&square(inner, 0.0)),
        SpiralForm::Rounded { corner_radius_m } => {
            let outer_radius = (corner_radius_m - 0.5 * spec.track_width_m).min(half * 0.999);
            let inner_radius = (outer_radius - (half - inner)).max(0.0);
            square(half, outer_radius).difference(&square(inner, inner_radius))
        }
    }
}
