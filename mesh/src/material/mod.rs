//! The built-in material library as data: value, span, source.
//!
//! Input: `library.toml` beside this file. Output: [`Material`]s with SI values.
//! Absent: overrides of a design file (see [`crate::board`]).

use crate::board::{Elastic, Material, Value};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::sync::OnceLock;

/// One property of a library entry.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Property {
    /// Value used, SI (temperatures in degC).
    pub value: f64,
    /// Lowest and highest plausible value.
    pub span: [f64; 2],
    /// Unit of value and span.
    pub unit: String,
    /// Key of the source.
    pub source: String,
    /// Whether the value was read in the source, recalled, or derived.
    pub provenance: String,
    /// Remark.
    #[serde(default)]
    pub note: String,
}

/// One material of the library.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Entry {
    /// What it is.
    pub description: String,
    /// Usual sheet thicknesses, um.
    #[serde(default)]
    pub sheets_um: Vec<f64>,
    /// Advice of the trade.
    #[serde(default)]
    pub advice: String,
    /// Properties by name.
    pub property: BTreeMap<String, Property>,
}

/// Something that is sold as one thing but is entered as several layers.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Guide {
    /// How to enter it.
    pub advice: String,
    /// Usual values.
    pub property: BTreeMap<String, Property>,
}

/// A source of values.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Source {
    /// Whether it was read, recalled or computed.
    pub seen: String,
    /// Citation.
    pub cite: String,
}

/// The whole library.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Library {
    /// Sources by key.
    pub source: BTreeMap<String, Source>,
    /// Materials by name.
    pub material: BTreeMap<String, Entry>,
    /// Things entered as several layers.
    pub guide: BTreeMap<String, Guide>,
}

/// The built-in library.
pub fn library() -> &'static Library {
    static LIBRARY: OnceLock<Library> = OnceLock::new();
    // A test holds that the file reads; a program built with a broken one would find no materials.
    LIBRARY.get_or_init(|| toml::from_str(include_str!("library.toml")).unwrap_or_default())
}

impl Library {
    /// A material by its name, or None if there is none or its elastic constants are unknown.
    #[must_use]
    pub fn material(&self, name: &str) -> Option<Material> {
        let entry = self.material.get(name)?;
        let get = |key: &str| entry.property.get(key).map(|p| self.value(p));
        let elastic = match (get("youngs_modulus"), get("poisson_ratio")) {
            (Some(e_pa), Some(nu)) => Elastic::Isotropic { e_pa, nu },
            _ => match get("shear_modulus") {
                // A soft tape is known by its shear modulus; E = 2 G (1 + nu) for an isotropic material.
                Some(g) => of_shear(&g, &get("poisson_ratio")?),
                None => Elastic::Orthotropic {
                    e1_pa: get("youngs_modulus_1")?,
                    e2_pa: get("youngs_modulus_2")?,
                    nu12: get("poisson_ratio_12")?,
                    g12_pa: get("shear_modulus_12")?,
                },
            },
        };
        let expansion = get("expansion")?;
        Some(Material {
            name: name.to_owned(),
            description: entry.description.clone(),
            elastic,
            density_kg_m3: get("density")?,
            expansion_per_k: [expansion.clone(), expansion],
            elongation: get("elongation"),
            resistivity_ohm_m: get("resistivity"),
            shear_pa: get("shear_modulus"),
            glass_point_degc: get("glass_point"),
        })
    }

    /// Names of all materials, sorted.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.material.keys().map(String::as_str)
    }

    fn value(&self, property: &Property) -> Value {
        let cite = self.source.get(&property.source).map_or(property.source.as_str(), |s| s.cite.as_str());
        let note = if property.note.is_empty() { String::new() } else { format!("; {}", property.note) };
        let source = format!("{cite} ({}{note})", property.provenance);
        Value { v: property.value, lo: property.span[0], hi: property.span[1], source }
    }
}

/// Elastic constants of a soft isotropic material from its shear modulus.
fn of_shear(g: &Value, nu: &Value) -> Elastic {
    let factor = 2.0 * (1.0 + nu.v);
    let source = format!("from the shear modulus: {}", g.source);
    let e_pa = Value { v: g.v * factor, lo: g.lo * factor, hi: g.hi * factor, source };
    Elastic::Isotropic { e_pa, nu: nu.clone() }
}

/// Remanence of sintered neodymium grades, T: lowest and highest over three suppliers' published tables (read);
/// plain grades, 20 degC.
const REMANENCE_T: [(&str, [f64; 2]); 8] = [
    ("N35", [1.17, 1.23]),
    ("N38", [1.22, 1.26]),
    ("N40", [1.25, 1.29]),
    ("N42", [1.28, 1.33]),
    ("N45", [1.32, 1.37]),
    ("N48", [1.37, 1.42]),
    ("N50", [1.39, 1.45]),
    ("N52", [1.42, 1.48]),
];

/// Lowest and highest remanence of a grade such as "N42", T, over three suppliers' tables.
#[must_use]
pub fn remanence_t(grade: &str) -> Option<[f64; 2]> {
    REMANENCE_T.iter().find(|(name, _)| name.eq_ignore_ascii_case(grade.trim())).map(|(_, span)| *span)
}

/// Names of the known magnet grades.
pub fn grades() -> impl Iterator<Item = &'static str> {
    REMANENCE_T.iter().map(|(name, _)| *name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn library_reads_and_every_entry_is_usable() {
        let read: Result<Library, _> = toml::from_str(include_str!("library.toml"));
        let library = read.unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(library.material.len(), 18, "materials");
        for name in library.names() {
            assert!(library.material(name).is_some(), "{name} lacks a value");
        }
    }

    #[test]
    fn values_lie_in_their_spans_and_name_a_source() {
        let library = library();
        for (name, entry) in &library.material {
            for (key, p) in &entry.property {
                assert!(p.span[0] <= p.value && p.value <= p.span[1], "{name}.{key}: {p:?}");
                assert!(library.source.contains_key(&p.source), "{name}.{key}: source {}", p.source);
                assert!(
                    ["read", "memory", "derived"].contains(&p.provenance.as_str()),
                    "{name}.{key}: {p:?}"
                );
            }
        }
    }

    /// IEC 60028: 100 % IACS is 1/58 ohm mm2/m at 20 degC (from memory); Smithells, Table 22.7: E 117 `GPa`.
    #[test]
    fn annealed_copper_has_the_handbook_values() {
        let copper = library().material("copper_rolled_annealed").expect("copper");
        let rho = copper.resistivity_ohm_m.expect("resistivity").v;
        assert!((rho - 1e-6 / 58.0).abs() < 1e-11, "resistivity {rho:e}");
        let Elastic::Isotropic { e_pa, .. } = copper.elastic else { panic!("copper is isotropic here") };
        assert!((e_pa.v - 117e9).abs() < 1.0 && e_pa.lo < 60e9, "modulus {e_pa:?}");
    }

    #[test]
    fn grades_have_rising_remanence() {
        let spans: Vec<[f64; 2]> = grades().filter_map(remanence_t).collect();
        assert_eq!(spans.len(), 8);
        assert!(spans.windows(2).all(|w| w[0][0] < w[1][0] && w[0][1] < w[1][1]), "{spans:?}");
        assert!(remanence_t("n42").is_some() && remanence_t("N43").is_none());
    }
}
