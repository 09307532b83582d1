//! A value with its place in the file, right or wrong: faults are collected later, all together.

use super::nearest::nearest;
use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::de::{DeserializeOwned, Deserializer};
use serde::{Deserialize, de};
use std::borrow::Cow;
use std::fmt;
use std::ops::Range;

/// A value as written, or why it could not be read; with its byte range in the file.
#[derive(Debug, Clone)]
pub struct Given<T> {
    /// The value, or the rule it breaks.
    pub value: Result<T, String>,
    /// Byte range in the file; empty when the value is missing and that was reported already.
    pub span: Range<usize>,
}

/// What a user should write for a value of this type.
pub trait Wanted {
    /// Remedy shown with a value that cannot be read.
    fn wanted() -> String;
}

/// Holds a reading error instead of passing it on.
struct Held<T>(Result<T, String>);

impl<'de, T: DeserializeOwned> Deserialize<'de> for Held<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let value = toml::Value::deserialize(deserializer)?;
        Ok(Self(T::deserialize(value).map_err(|e| with_nearest(e.message()))))
    }
}

impl<'de, T: DeserializeOwned> Deserialize<'de> for Given<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let spanned = toml::Spanned::<Held<T>>::deserialize(deserializer)?;
        let span = spanned.span();
        Ok(Self { value: spanned.into_inner().0, span })
    }
}

impl<T: JsonSchema> JsonSchema for Given<T> {
    fn inline_schema() -> bool {
        T::inline_schema()
    }

    fn schema_name() -> Cow<'static, str> {
        T::schema_name()
    }

    fn schema_id() -> Cow<'static, str> {
        T::schema_id()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        T::json_schema(generator)
    }
}

/// Adds the nearest known name to a message about an unknown one.
pub(super) fn with_nearest(message: &str) -> String {
    let message = message.trim();
    match (message.starts_with("unknown variant"), quoted(message)) {
        (true, names) => {
            let found = names.split_first().and_then(|(wrong, known)| nearest(wrong, known.iter().copied()));
            found.map_or_else(|| message.to_owned(), |name| format!("{message}; did you mean `{name}`?"))
        }
        (false, _) => message.to_owned(),
    }
}

/// The names between back ticks in a message.
pub(super) fn quoted(message: &str) -> Vec<&str> {
    message.split('`').skip(1).step_by(2).collect()
}

impl Wanted for String {
    fn wanted() -> String {
        "write text in quotes".to_owned()
    }
}

impl Wanted for bool {
    fn wanted() -> String {
        "write true or false".to_owned()
    }
}

/// A plain number that must be finite; whole numbers are accepted too.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Number(pub f64);

impl<'de> Deserialize<'de> for Number {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Reader;
        impl de::Visitor<'_> for Reader {
            type Value = Number;

            fn expecting(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
                out.write_str("a number without quotes")
            }

            fn visit_f64<E: de::Error>(self, value: f64) -> Result<Number, E> {
                if value.is_finite() {
                    Ok(Number(value))
                } else {
                    Err(E::custom(format!("`{value}` is not a finite number")))
                }
            }

            fn visit_i64<E: de::Error>(self, value: i64) -> Result<Number, E> {
                i32::try_from(value)
                    .map(|small| Number(f64::from(small)))
                    .map_err(|_| E::invalid_value(de::Unexpected::Signed(value), &self))
            }
        }
        deserializer.deserialize_any(Reader)
    }
}

impl JsonSchema for Number {
    fn schema_name() -> Cow<'static, str> {
        "Number".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        schemars::json_schema!({ "type": "number" })
    }
}

impl Wanted for Number {
    fn wanted() -> String {
        "write a finite number without quotes".to_owned()
    }
}

impl Wanted for u32 {
    fn wanted() -> String {
        "write a whole number, 0 or more, without quotes".to_owned()
    }
}

impl<T: Wanted, const N: usize> Wanted for [T; N] {
    fn wanted() -> String {
        format!("write a list of {N} values; each: {}", T::wanted())
    }
}

/// A word out of a fixed list: declares the enum and what to write for it.
macro_rules! word {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident = $text:literal),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Deserialize, schemars::JsonSchema)]
        pub enum $name {
            $($(#[$vdoc])* #[serde(rename = $text)] $variant),+
        }

        impl crate::design::Wanted for $name {
            fn wanted() -> String {
                let words: &[&str] = &[$($text),+];
                format!("write one of {words:?}")
            }
        }
    };
}
pub(super) use word;

/// What to write for a quantity.
macro_rules! wanted_quantity {
    ($($name:ident),+) => {
        $(impl Wanted for crate::quantity::$name {
            fn wanted() -> String {
                let d = Self::DIMENSION;
                format!("write {} such as {:?}; units: {}", d.noun, d.example, d.known_units())
            }
        })+
    };
}
wanted_quantity!(
    Length,
    Thickness,
    Current,
    FluxDensity,
    Temperature,
    TemperatureRise,
    Stress,
    Mass,
    Density,
    Force,
    Moment,
    Angle,
    Share,
    Expansion,
    Acceleration,
    Resistivity,
    Inertia,
    Frequency,
    Voltage,
    Power
);
