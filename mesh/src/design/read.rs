//! TOML text → [`Design`], every fault of reading collected.

use super::given::quoted;
use super::nearest::nearest;
use super::{Design, Given, Named, Placed, Wanted};
use crate::board::fault::FaultList;
use serde::de::DeserializeOwned;
use std::borrow::Cow;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue, ValueDeserializer};

/// Tables of the file, for the nearest known name.
const TABLES: [&str; 23] = [
    "title",
    "shapes",
    "outline",
    "materials",
    "layer",
    "stiffener",
    "track",
    "coil",
    "circuit",
    "drive",
    "support",
    "arm",
    "flap",
    "body",
    "magnet",
    "obstacle",
    "swing",
    "force",
    "pressure",
    "moment",
    "gravity",
    "temperature",
    "mesh",
];

/// Most faults repaired inside one table before the reader gives up on it.
const MOST_REPAIRS: usize = 64;

/// Reads a design file as far as it can be read.
///
/// Faults of syntax stop it (nothing after them can be trusted); all others are collected and reading goes on.
pub(crate) fn read(text: &str, faults: &mut FaultList<'_>) -> Option<Design> {
    let (root, errors) = DeTable::parse_recoverable(text);
    for error in &errors {
        let span = error.span().unwrap_or_default();
        faults.add(
            &span,
            format!("this is not TOML: {}", error.message().trim()),
            syntax_remedy(error.message()),
        );
    }
    if !errors.is_empty() {
        return None;
    }
    let mut design = Design::default();
    // In the order of the file, so that faults come in that order whatever the table.
    let mut entries: Vec<_> = root.into_inner().into_iter().collect();
    entries.sort_by_key(|(key, _)| key.span().start);
    for (key, value) in entries {
        table(&mut design, &key, value, faults);
    }
    Some(design)
}

fn syntax_remedy(message: &str) -> &'static str {
    if message.contains("duplicate") {
        "give each key once; a list of tables has double brackets, such as [[layer]]"
    } else if message.contains("quoted") {
        "put the text in quotes, for example thickness = \"18 um\""
    } else {
        "one `key = value` a line, texts in quotes, lists in [ ]"
    }
}

/// Reads one entry of the root into its place.
fn table(
    design: &mut Design,
    key: &Spanned<Cow<'_, str>>,
    value: Spanned<DeValue<'_>>,
    faults: &mut FaultList<'_>,
) {
    let d = design;
    match key.get_ref().as_ref() {
        "title" => d.title = one(value, faults).map(|p| p.item),
        "shapes" => d.shapes = named(key, value, faults),
        "outline" => d.outline = one(value, faults),
        "materials" => d.materials = named(key, value, faults),
        "layer" => d.layer = many(key, value, faults),
        "stiffener" => d.stiffener = many(key, value, faults),
        "track" => d.track = many(key, value, faults),
        "coil" => d.coil = many(key, value, faults),
        "circuit" => d.circuit = one(value, faults),
        "drive" => d.drive = one(value, faults),
        "support" => d.support = many(key, value, faults),
        "arm" => d.arm = many(key, value, faults),
        "flap" => d.flap = one(value, faults),
        "body" => d.body = many(key, value, faults),
        "magnet" => d.magnet = many(key, value, faults),
        "obstacle" => d.obstacle = many(key, value, faults),
        "swing" => d.swing = one(value, faults),
        "force" => d.force = many(key, value, faults),
        "pressure" => d.pressure = many(key, value, faults),
        "moment" => d.moment = many(key, value, faults),
        "gravity" => d.gravity = one(value, faults),
        "temperature" => d.temperature = one(value, faults),
        "mesh" => d.mesh = one(value, faults),
        "limits" => d.limits = one(value, faults),
        unknown => {
            unknown_name(&key.span(), "table", unknown, &[&TABLES[..], &["limits"]].concat(), faults);
        }
    }
}

/// Records a name that is not known; the known one that was meant, if one is near.
fn unknown_name<'a>(
    span: &Range<usize>,
    what: &str,
    name: &str,
    known: &[&'a str],
    faults: &mut FaultList<'_>,
) -> Option<&'a str> {
    let close = nearest(name, known.iter().copied());
    let remedy = close.map_or_else(
        || format!("use one of: {}", known.join(", ")),
        |close| format!("did you mean `{close}`?"),
    );
    faults.add(span, format!("unknown {what} `{name}`"), remedy);
    close
}

/// A single table or value.
fn one<T: DeserializeOwned>(value: Spanned<DeValue<'_>>, faults: &mut FaultList<'_>) -> Option<Placed<T>> {
    let span = value.span();
    let item = repaired(value, faults)?;
    Some(Placed { item, span })
}

/// A list of tables such as `[[layer]]`.
fn many<T: DeserializeOwned>(
    key: &Spanned<Cow<'_, str>>,
    value: Spanned<DeValue<'_>>,
    faults: &mut FaultList<'_>,
) -> Vec<Placed<T>> {
    let span = value.span();
    let DeValue::Array(array) = value.into_inner() else {
        let name = key.get_ref();
        faults.add(
            &span,
            format!("`{name}` is a list of tables"),
            format!("write [[{name}]] with double brackets"),
        );
        return Vec::new();
    };
    array.into_iter().filter_map(|element| one(element, faults)).collect()
}

/// A table of named entries such as `[shapes]`, in the order of the file.
fn named<T: DeserializeOwned>(
    key: &Spanned<Cow<'_, str>>,
    value: Spanned<DeValue<'_>>,
    faults: &mut FaultList<'_>,
) -> Vec<Named<T>> {
    let span = value.span();
    let DeValue::Table(table) = value.into_inner() else {
        let name = key.get_ref();
        faults.add(
            &span,
            format!("`{name}` is a table of named entries"),
            format!("write [{name}], then one `name = {{ ... }}` a line"),
        );
        return Vec::new();
    };
    let mut entries: Vec<_> = table.into_iter().collect();
    entries.sort_by_key(|(key, _)| key.span().start);
    entries
        .into_iter()
        .filter_map(|(key, value)| {
            let item = repaired(value, faults)?;
            Some(Named { name: key.get_ref().to_string(), item, span: key.span() })
        })
        .collect()
}

/// Reads a value; faults of single fields are recorded and repaired so that the rest is still read.
fn repaired<T: DeserializeOwned>(mut value: Spanned<DeValue<'_>>, faults: &mut FaultList<'_>) -> Option<T> {
    for _ in 0..MOST_REPAIRS {
        let error = match T::deserialize(ValueDeserializer::from(value.clone())) {
            Ok(item) => return Some(item),
            Err(error) => error,
        };
        let message = error.message().trim().to_owned();
        let span = error.span().unwrap_or_else(|| value.span());
        let names = quoted(&message);
        if let (true, [field, known @ ..]) = (message.starts_with("unknown field"), names.as_slice()) {
            let meant = unknown_name(&span, "field", field, known, faults);
            if rename_key(&mut value, &span, meant) {
                continue;
            }
        } else if let (true, [field]) = (message.starts_with("missing field"), names.as_slice()) {
            faults.add(&span, message.clone(), format!("add `{field} = ...` to this table"));
            if insert_blank(&mut value, &span, field) {
                continue;
            }
        } else if !span.is_empty() {
            faults.add(&span, message, "see the schema of the design file for what belongs here");
        }
        return None;
    }
    None
}

/// Takes the key at this place, wherever it is nested, for the one that was meant, or out if that is there already.
fn rename_key(value: &mut Spanned<DeValue<'_>>, span: &Range<usize>, meant: Option<&str>) -> bool {
    match value.get_mut() {
        DeValue::Table(table) => {
            let Some(key) = table.keys().find(|k| k.span() == *span).cloned() else {
                return table.iter_mut().any(|(_, v)| rename_key(v, span, meant));
            };
            let content = table.remove(&key);
            if let (Some(content), Some(meant)) = (content, meant)
                && !table.contains_key(meant)
            {
                table.insert(Spanned::new(span.clone(), Cow::Owned(meant.to_owned())), content);
            }
            true
        }
        DeValue::Array(array) => array.iter_mut().any(|v| rename_key(v, span, meant)),
        _ => false,
    }
}

/// Puts a blank of empty span under a missing key of the table at this place.
fn insert_blank(value: &mut Spanned<DeValue<'_>>, span: &Range<usize>, field: &str) -> bool {
    let here = value.span() == *span;
    match value.get_mut() {
        DeValue::Table(table) if here => {
            let blank = Spanned::new(0..0, DeValue::Boolean(false));
            table.insert(Spanned::new(0..0, Cow::Owned(field.to_owned())), blank).is_none()
        }
        DeValue::Table(table) => table.iter_mut().any(|(_, v)| insert_blank(v, span, field)),
        DeValue::Array(array) => array.iter_mut().any(|v| insert_blank(v, span, field)),
        _ => false,
    }
}

impl FaultList<'_> {
    /// The value, or its fault recorded (unless it was reported already).
    pub(crate) fn take<T: Wanted + Clone>(&mut self, given: &Given<T>) -> Option<T> {
        match &given.value {
            Ok(value) if !given.span.is_empty() => Some(value.clone()),
            Ok(_) => None,
            Err(rule) => {
                if !given.span.is_empty() {
                    self.add(&given.span, rule.clone(), T::wanted());
                }
                None
            }
        }
    }

    /// As [`FaultList::take`] for a value that may be absent: `Some(None)` when absent, `None` when faulty.
    pub(crate) fn take_opt<T: Wanted + Clone>(&mut self, given: Option<&Given<T>>) -> Option<Option<T>> {
        match given {
            None => Some(None),
            Some(given) => self.take(given).map(Some),
        }
    }
}
