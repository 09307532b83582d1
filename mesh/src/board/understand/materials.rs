//! Library and `[materials]` → the board's materials.

use super::Builder;
use crate::board::{Elastic, Material, MaterialId, Value};
use crate::design::{Given, MaterialEntry, Named, Wanted};
use crate::material::library;
use crate::quantity::{Density, Expansion, Share, Stress, Temperature};
use std::ops::Range;

impl Builder<'_> {
    /// Materials of the file, in the order of the file; later ones may be like earlier ones.
    pub(super) fn own_materials(&mut self, entries: &[Named<MaterialEntry>]) {
        for entry in entries {
            match self.own_material(entry) {
                Some(material) => {
                    let id = self.add_material(material);
                    if let Some(Some(t)) = self.take_opt(entry.item.stress_free.as_ref()) {
                        self.board.locked_in.stress_free_of.push((id, t.0));
                    }
                }
                None => self.faulty_materials.push(entry.name.clone()),
            }
        }
    }

    fn add_material(&mut self, material: Material) -> MaterialId {
        let id = MaterialId(u32::try_from(self.board.materials.len()).unwrap_or(u32::MAX));
        self.board.materials.push(material);
        id
    }

    fn known(&self, name: &str) -> Option<Material> {
        let own = self.board.materials.iter().find(|m| m.name == name).cloned();
        own.or_else(|| library().material(name))
    }

    fn own_material(&mut self, entry: &Named<MaterialEntry>) -> Option<Material> {
        let e = &entry.item;
        let base = match &e.like {
            None => None,
            Some(like) => {
                let name = self.take(like)?;
                let found = self.known(&name);
                if found.is_none() && !self.faulty_materials.contains(&name) {
                    self.unknown_material(&like.span, &name);
                }
                Some(found?)
            }
        };
        let mut from = Source { source: self.take_opt(e.source.as_ref())?, name: entry.name.clone() };
        let elastic = self.elastic(entry, base.as_ref(), &mut from);
        let density = self.property(
            e.density.as_ref(),
            "density",
            base.as_ref().map(|b| &b.density_kg_m3),
            &from,
            |d: Density| d.0,
        );
        let expansion = self.expansion(e, base.as_ref(), &from);
        let b = base.as_ref();
        let elongation = self.property(
            e.elongation.as_ref(),
            "elongation",
            b.and_then(|b| b.elongation.as_ref()),
            &from,
            |s: Share| s.0,
        );
        let resistivity = self.property(
            e.resistivity.as_ref(),
            "resistivity",
            b.and_then(|b| b.resistivity_ohm_m.as_ref()),
            &from,
            |r: crate::quantity::Resistivity| r.0,
        );
        let shear = self.property(
            e.shear_modulus.as_ref(),
            "shear_modulus",
            b.and_then(|b| b.shear_pa.as_ref()),
            &from,
            |s: Stress| s.0,
        );
        let glass = self.property(
            e.glass_point.as_ref(),
            "glass_point",
            b.and_then(|b| b.glass_point_degc.as_ref()),
            &from,
            |t: Temperature| t.0,
        );
        let description = self.take_opt(e.description.as_ref())?;
        let (elastic, density, expansion) = (elastic?, density?, expansion?);
        let density_kg_m3 = self.needed(entry, "density", density)?;
        Some(Material {
            name: entry.name.clone(),
            description: description.or_else(|| b.map(|b| b.description.clone())).unwrap_or_default(),
            elastic,
            density_kg_m3,
            expansion_per_k: expansion,
            elongation: elongation?,
            resistivity_ohm_m: resistivity?,
            shear_pa: shear?,
            glass_point_degc: glass?,
        })
    }

    /// A property of the file, else of the material it is like; None if faulty.
    fn property<T: Wanted + Clone>(
        &mut self,
        given: Option<&Given<T>>,
        name: &str,
        like: Option<&Value>,
        from: &Source,
        si: fn(T) -> f64,
    ) -> Option<Option<Value>> {
        let Some(given) = given else { return Some(like.cloned()) };
        let v = si(self.take(given)?);
        let signed = name.starts_with("poisson_ratio")
            || matches!(name, "expansion" | "expansion_1" | "expansion_2" | "glass_point");
        if !signed && v <= 0.0 {
            self.faults.add(&given.span, format!("{name} must be above 0"), T::wanted());
            return None;
        }
        Some(Some(self.value(v, name, like, from, &given.span)))
    }

    /// A value with the span of the material it is like, widened to include it; outside of it is worth a remark.
    fn value(
        &mut self,
        v: f64,
        name: &str,
        like: Option<&Value>,
        from: &Source,
        span: &Range<usize>,
    ) -> Value {
        let source = from.source.clone().unwrap_or_else(|| "given in the design file".to_owned());
        let Some(like) = like else { return Value { v, lo: v, hi: v, source } };
        let slack = 1e-9 * like.hi.abs();
        if v < like.lo - slack || v > like.hi + slack {
            let place = self.faults.place(span.start);
            let text = format!(
                "{name} {} of '{}' lies outside the plausible span {} to {} ({})",
                engineering(name, v),
                from.name,
                engineering(name, like.lo),
                engineering(name, like.hi),
                like.source
            );
            self.warn(place, text, "check the unit and the material's sheet");
        }
        Value { v, lo: like.lo.min(v), hi: like.hi.max(v), source }
    }

    fn needed(&mut self, entry: &Named<MaterialEntry>, what: &str, value: Option<Value>) -> Option<Value> {
        if value.is_none() {
            let rule = format!("material `{}` has no {what}", entry.name);
            self.faults.add(
                &entry.span,
                rule,
                format!("add {what}, or `like` with a material of the library"),
            );
        }
        value
    }

    fn elastic(
        &mut self,
        entry: &Named<MaterialEntry>,
        base: Option<&Material>,
        from: &mut Source,
    ) -> Option<Elastic> {
        let e = &entry.item;
        let directional = e.youngs_modulus_1.is_some()
            || e.youngs_modulus_2.is_some()
            || e.poisson_ratio_12.is_some()
            || e.shear_modulus_12.is_some();
        let plain = e.youngs_modulus.is_some() || e.poisson_ratio.is_some();
        if directional && plain {
            self.faults.add(
                &entry.span,
                format!("material `{}` has elastic values with and without direction numbers", entry.name),
                "give youngs_modulus and poisson_ratio, or the four values _1, _2, _12",
            );
            return None;
        }
        let base_is_directional = matches!(base.map(|b| &b.elastic), Some(Elastic::Orthotropic { .. }));
        if directional || (base_is_directional && !plain) {
            self.orthotropic(entry, base, from)
        } else {
            self.isotropic(entry, base, from)
        }
    }

    fn isotropic(
        &mut self,
        entry: &Named<MaterialEntry>,
        base: Option<&Material>,
        from: &Source,
    ) -> Option<Elastic> {
        let e = &entry.item;
        let (like_e, like_nu) = match base.map(|b| &b.elastic) {
            Some(Elastic::Isotropic { e_pa, nu }) => (Some(e_pa), Some(nu)),
            _ => (None, None),
        };
        let e_pa = self.property(e.youngs_modulus.as_ref(), "youngs_modulus", like_e, from, |s: Stress| s.0);
        let nu = self.property(e.poisson_ratio.as_ref(), "poisson_ratio", like_nu, from, |s: Share| s.0);
        let (e_pa, nu) = (e_pa?, nu?);
        let (e_pa, nu) =
            (self.needed(entry, "youngs_modulus", e_pa), self.needed(entry, "poisson_ratio", nu));
        let (mut e_pa, nu) = (e_pa?, nu?);
        if let Some(span) = &e.youngs_modulus_span {
            let [lo, hi] = self.take(span)?.map(|s| s.0);
            if !(0.0 < lo && lo <= e_pa.v && e_pa.v <= hi) {
                self.faults.add(
                    &span.span,
                    "the span must hold the modulus itself, lowest first",
                    "write youngs_modulus_span = [\"lowest\", \"highest\"]",
                );
                return None;
            }
            (e_pa.lo, e_pa.hi) = (lo, hi);
        }
        if !(nu.v > -1.0 && nu.v < 0.5) {
            let at = e.poisson_ratio.as_ref().map_or(entry.span.clone(), |g| g.span.clone());
            self.faults.add(
                &at,
                "poisson_ratio must be above -1 and below 0.5",
                "films and foils have 0.3 to 0.4, rubbery materials 0.45 to 0.499, hand formulas 0",
            );
            return None;
        }
        Some(Elastic::Isotropic { e_pa, nu })
    }

    fn orthotropic(
        &mut self,
        entry: &Named<MaterialEntry>,
        base: Option<&Material>,
        from: &Source,
    ) -> Option<Elastic> {
        let e = &entry.item;
        let like = match base.map(|b| &b.elastic) {
            Some(Elastic::Orthotropic { e1_pa, e2_pa, nu12, g12_pa }) => {
                [Some(e1_pa), Some(e2_pa), Some(nu12), Some(g12_pa)]
            }
            _ => [None; 4],
        };
        let e1 =
            self.property(e.youngs_modulus_1.as_ref(), "youngs_modulus_1", like[0], from, |s: Stress| s.0);
        let e2 =
            self.property(e.youngs_modulus_2.as_ref(), "youngs_modulus_2", like[1], from, |s: Stress| s.0);
        let nu12 =
            self.property(e.poisson_ratio_12.as_ref(), "poisson_ratio_12", like[2], from, |s: Share| s.0);
        let g12 =
            self.property(e.shear_modulus_12.as_ref(), "shear_modulus_12", like[3], from, |s: Stress| s.0);
        let (e1, e2, nu12, g12) = (e1?, e2?, nu12?, g12?);
        let e1 = self.needed(entry, "youngs_modulus_1", e1);
        let e2 = self.needed(entry, "youngs_modulus_2", e2);
        let nu12 = self.needed(entry, "poisson_ratio_12", nu12);
        let g12 = self.needed(entry, "shear_modulus_12", g12);
        let (e1_pa, e2_pa, nu12, g12_pa) = (e1?, e2?, nu12?, g12?);
        // Plane stress needs 1 - nu12 nu21 > 0, nu21 = nu12 E2/E1.
        if nu12.v * nu12.v * e2_pa.v >= e1_pa.v {
            self.faults.add(
                &entry.span,
                format!("poisson_ratio_12 {} of `{}` is too large for its moduli: it must be below the root of E1/E2", nu12.v, entry.name),
                "check which direction is 1",
            );
            return None;
        }
        Some(Elastic::Orthotropic { e1_pa, e2_pa, nu12, g12_pa })
    }

    fn expansion(&mut self, e: &MaterialEntry, base: Option<&Material>, from: &Source) -> Option<[Value; 2]> {
        let like = base.map(|b| &b.expansion_per_k);
        let si = |x: Expansion| x.0;
        let both = self.property(e.expansion.as_ref(), "expansion", like.map(|l| &l[0]), from, si);
        let first = self.property(e.expansion_1.as_ref(), "expansion_1", like.map(|l| &l[0]), from, si);
        let second = self.property(e.expansion_2.as_ref(), "expansion_2", like.map(|l| &l[1]), from, si);
        let none =
            || Value { v: 0.0, lo: 0.0, hi: 0.0, source: "not given: no thermal expansion".to_owned() };
        let (both, first, second) = (both?, first?, second?);
        if e.expansion.is_some() {
            let value = both.unwrap_or_else(none);
            return Some([value.clone(), value]);
        }
        Some([first.unwrap_or_else(none), second.unwrap_or_else(none)])
    }

    /// The id of a named material; taken from the library when first used.
    pub(super) fn material(&mut self, name: &Given<String>) -> Option<MaterialId> {
        let wanted = self.take(name)?;
        if let Some(i) = self.board.materials.iter().position(|m| m.name == wanted) {
            return Some(MaterialId(u32::try_from(i).unwrap_or(u32::MAX)));
        }
        if let Some(material) = library().material(&wanted) {
            return Some(self.add_material(material));
        }
        if !self.faulty_materials.contains(&wanted) {
            self.unknown_material(&name.span, &wanted);
        }
        None
    }

    fn unknown_material(&mut self, span: &Range<usize>, name: &str) {
        if let Some(guide) = library().guide.get(name) {
            self.faults.add(span, format!("`{name}` is not one material"), guide.advice.clone());
            return;
        }
        let own: Vec<String> = self.board.materials.iter().map(|m| m.name.clone()).collect();
        let known: Vec<&str> = own.iter().map(String::as_str).chain(library().names()).collect();
        self.unknown(span, "material", name, &known);
    }
}

/// Where values of a material come from.
struct Source {
    source: Option<String>,
    name: String,
}

/// A number with three significant digits in SI, for remarks.
/// A property in the unit that data sheets use.
fn engineering(name: &str, v: f64) -> String {
    let (factor, unit) = match name {
        _ if name.contains("modulus") && v.abs() >= 1e9 => (1e9, " GPa"),
        _ if name.contains("modulus") && v.abs() >= 1e6 => (1e6, " MPa"),
        _ if name.contains("modulus") => (1e3, " kPa"),
        _ if name.starts_with("expansion") => (1e-6, " ppm/K"),
        "density" => (1.0, " kg/m3"),
        "elongation" => (1e-2, " %"),
        "resistivity" => (1.0, " ohm m"),
        "glass_point" => (1.0, " degC"),
        _ => (1.0, ""),
    };
    let v = v / factor;
    let figures =
        if v == 0.0 || (1e-3..1e5).contains(&v.abs()) { super::round(v) } else { format!("{v:.3e}") };
    format!("{figures}{unit}")
}
