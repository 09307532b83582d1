//! Quantities as written on drawings: `"18 um"`, `"0.5 oz"`, `"120 mA"`.
//!
//! Input: text with a unit. Output: newtypes over `f64` in SI (temperatures in degC), or an error that shows the
//! text and the known units. Absent: arithmetic on units; rooms behind this door use plain `f64` with the unit in
//! the name.

mod parse;
mod units;

pub use parse::{QuantityError, parse};
pub use units::{Dimension, METRES_PER_COPPER_OUNCE};

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Deserialize, Deserializer, Visitor};
use std::borrow::Cow;
use std::fmt;

/// Declares one newtype with its parser, its reader and its schema.
macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $dimension:expr) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
        pub struct $name(pub f64);

        impl $name {
            /// Units, example and name of this quantity.
            pub const DIMENSION: &'static Dimension = &$dimension;
        }

        impl std::str::FromStr for $name {
            type Err = QuantityError;

            fn from_str(text: &str) -> Result<Self, QuantityError> {
                parse(text, Self::DIMENSION).map(Self)
            }
        }

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                deserializer.deserialize_any(TextWithUnit(Self::DIMENSION)).map(Self)
            }
        }

        impl JsonSchema for $name {
            fn schema_name() -> Cow<'static, str> {
                stringify!($name).into()
            }

            fn json_schema(_: &mut SchemaGenerator) -> Schema {
                schema_of(Self::DIMENSION)
            }
        }
    };
}

quantity!(
    /// A length, m.
    Length, units::LENGTH);
quantity!(
    /// A sheet thickness, m; copper weights ("0.5 oz") are taken at 35 um per ounce.
    Thickness, units::THICKNESS);
quantity!(
    /// A current, A.
    Current, units::CURRENT);
quantity!(
    /// A flux density or remanence, T.
    FluxDensity, units::FLUX_DENSITY);
quantity!(
    /// A temperature, degC.
    Temperature, units::TEMPERATURE);
quantity!(
    /// A temperature difference, K.
    TemperatureRise, units::TEMPERATURE_RISE);
quantity!(
    /// A stress, modulus or pressure, Pa.
    Stress, units::STRESS);
quantity!(
    /// A mass, kg.
    Mass, units::MASS);
quantity!(
    /// A density, kg/m3.
    Density, units::DENSITY);
quantity!(
    /// A force, N.
    Force, units::FORCE);
quantity!(
    /// A moment, N m.
    Moment, units::MOMENT);
quantity!(
    /// An angle, rad.
    Angle, units::ANGLE);
quantity!(
    /// A plain number or a share: `0.3`, `"30 %"`, `"0.3 %"`, `"3000 microstrain"`.
    Share, units::SHARE);
quantity!(
    /// A thermal expansion coefficient, 1/K.
    Expansion, units::EXPANSION);
quantity!(
    /// An acceleration, m/s2.
    Acceleration, units::ACCELERATION);
quantity!(
    /// A resistivity, ohm m.
    Resistivity, units::RESISTIVITY);
quantity!(
    /// A moment of inertia, kg m2.
    Inertia, units::INERTIA);
quantity!(
    /// A frequency, Hz.
    Frequency, units::FREQUENCY);
quantity!(
    /// A voltage, V.
    Voltage, units::VOLTAGE);
quantity!(
    /// A power, W.
    Power, units::POWER);

impl Thickness {
    /// Copper weight in ounces if the text is one ("0.5 oz"), so that the conversion can be printed.
    #[must_use]
    pub fn copper_weight(text: &str) -> Option<f64> {
        parse(text, &units::COPPER_WEIGHT).ok()
    }
}

/// Reads one quantity of a dimension from a string with its unit.
struct TextWithUnit(&'static Dimension);

impl Visitor<'_> for TextWithUnit {
    type Value = f64;

    fn expecting(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.0.bare {
            write!(out, "{}, such as {} or {:?}", self.0.noun, self.0.example_bare, self.0.example)
        } else {
            write!(out, "{} with its unit as a string, such as {:?}", self.0.noun, self.0.example)
        }
    }

    fn visit_str<E: de::Error>(self, text: &str) -> Result<f64, E> {
        parse(text, self.0).map_err(E::custom)
    }

    fn visit_f64<E: de::Error>(self, value: f64) -> Result<f64, E> {
        match (self.0.bare, value.is_finite()) {
            (true, true) => Ok(value),
            (true, false) => Err(E::custom(QuantityError::not_finite(&value.to_string(), self.0))),
            (false, _) => Err(E::invalid_type(de::Unexpected::Float(value), &self)),
        }
    }

    fn visit_i64<E: de::Error>(self, value: i64) -> Result<f64, E> {
        // Whole numbers beyond 2^32 mean nothing for a share and would lose digits as f64.
        match i32::try_from(value) {
            Ok(small) if self.0.bare => Ok(f64::from(small)),
            _ => Err(E::invalid_type(de::Unexpected::Signed(value), &self)),
        }
    }
}

/// Schema of a quantity: a string with a unit, or a number too where a bare number is allowed.
fn schema_of(dimension: &'static Dimension) -> Schema {
    let description = format!("{} with its unit; known units: {}", dimension.noun, dimension.known_units());
    if dimension.bare {
        json_schema!({ "type": ["number", "string"], "description": description, "examples": [dimension.example] })
    } else {
        json_schema!({ "type": "string", "description": description, "examples": [dimension.example] })
    }
}

#[cfg(test)]
mod tests;
