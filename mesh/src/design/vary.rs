//! Values of a design file changed by name: the way to thousands of variants of one board.
//!
//! In: the text of a design and changes such as `layer[copper top].thickness = 9 um .. 35 um : 100`. Out: the text of
//! each variant. Names must exist in the file; nothing is understood here, so every rule of a design still applies to
//! every variant. Absent: the boards themselves.

use super::nearest::nearest;
use toml::{Table, Value};

/// One value that runs over a range.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// Path as written, such as `layer[copper top].thickness`.
    pub path: String,
    steps: Vec<Step>,
    from: f64,
    to: f64,
    /// Unit behind the number; empty for a plain number.
    pub unit: String,
    /// Values, ends included.
    pub count: usize,
}

/// One step of a path.
#[derive(Debug, Clone, PartialEq)]
enum Step {
    /// Into a table.
    Key(String),
    /// Into a list, by number from 0 or by the `name` of its table.
    Item(String),
}

impl Change {
    /// Reads `PATH = FROM .. TO : COUNT`.
    ///
    /// # Errors
    /// What is wrong and what would be right.
    pub fn parse(text: &str) -> Result<Self, String> {
        let wish = "write it as layer[copper top].thickness = 9 um .. 35 um : 100";
        let (path, range) = text.split_once('=').ok_or_else(|| format!("'{text}' has no '='; {wish}"))?;
        let (ends, count) = range.rsplit_once(':').ok_or_else(|| format!("'{text}' has no ':'; {wish}"))?;
        let (from, to) = ends.split_once("..").ok_or_else(|| format!("'{text}' has no '..'; {wish}"))?;
        let count: usize =
            count.trim().parse().map_err(|_| format!("'{}' is no number of values; {wish}", count.trim()))?;
        if !(1..=1_000_000).contains(&count) {
            return Err(format!("{count} values; 1 to 1000000 are possible"));
        }
        let (from, unit) = number(from).ok_or_else(|| format!("'{}' is no number; {wish}", from.trim()))?;
        let (to, unit_to) = number(to).ok_or_else(|| format!("'{}' is no number; {wish}", to.trim()))?;
        if unit != unit_to {
            return Err(format!("the ends have different units, '{unit}' and '{unit_to}'; use one unit"));
        }
        let path = path.trim().to_owned();
        let steps = steps(&path).ok_or_else(|| format!("'{path}' is no path; {wish}"))?;
        Ok(Self { path, steps, from, to, unit, count })
    }

    /// The value of one variant, from 0.
    #[must_use]
    pub fn number(&self, index: usize) -> f64 {
        if self.count < 2 {
            return self.from;
        }
        let last = self.count - 1;
        let share = index.min(last) as f64 / last as f64;
        self.from + (self.to - self.from) * share
    }

    fn value(&self, index: usize) -> Value {
        let v = self.number(index);
        if self.unit.is_empty() { Value::Float(v) } else { Value::String(format!("{v} {}", self.unit)) }
    }

    /// Puts one value into a design.
    ///
    /// # Errors
    /// The path does not exist, with the nearest name.
    pub fn put(&self, design: &mut Table, index: usize) -> Result<(), String> {
        let fail = |what: String| Err(format!("{}: {what}", self.path));
        let Some((first, rest)) = self.steps.split_first() else { return fail("empty path".into()) };
        let Step::Key(key) = first else { return fail("a path begins with a table".into()) };
        let mut at = match find(design, key) {
            Ok(value) => value,
            Err(what) => return fail(what),
        };
        for step in rest {
            let next = match (step, at) {
                (Step::Key(key), Value::Table(table)) => find(table, key),
                (Step::Item(name), Value::Array(list)) => item(list, name),
                (Step::Key(key), _) => Err(format!("'{key}' is asked of something that is no table")),
                (Step::Item(name), _) => Err(format!("[{name}] is asked of something that is no list")),
            };
            at = match next {
                Ok(value) => value,
                Err(what) => return fail(what),
            };
        }
        if matches!(at, Value::Table(_) | Value::Array(_)) {
            return fail("this is no single value; lead the path to one".into());
        }
        if matches!(at, Value::Integer(_)) && self.unit.is_empty() && self.number(index).fract() == 0.0 {
            #[expect(clippy::cast_possible_truncation, reason = "whole, and far below the limit")]
            let whole = self.number(index) as i64;
            *at = Value::Integer(whole);
        } else {
            *at = self.value(index);
        }
        Ok(())
    }
}

/// Number of variants: every value of each change with every value of the others.
#[must_use]
pub fn variants(changes: &[Change]) -> usize {
    changes.iter().fold(1, |n, c| n.saturating_mul(c.count))
}

/// Place of a variant in the range of every change; the last change runs fastest.
#[must_use]
pub fn places(changes: &[Change], variant: usize) -> Vec<usize> {
    let mut left = variant;
    let mut out: Vec<usize> = changes
        .iter()
        .rev()
        .map(|c| {
            let own = left % c.count;
            left /= c.count;
            own
        })
        .collect();
    out.reverse();
    out
}

/// The text of one variant.
///
/// # Errors
/// A path does not exist, or the changed design cannot be written as TOML.
pub fn variant(design: &Table, changes: &[Change], places: &[usize]) -> Result<String, String> {
    let mut own = design.clone();
    for (change, &place) in changes.iter().zip(places) {
        change.put(&mut own, place)?;
    }
    toml::to_string(&own).map_err(|e| format!("the variant cannot be written: {e}"))
}

/// Reads a design as a plain table.
///
/// # Errors
/// It is not TOML.
pub fn table(text: &str) -> Result<Table, String> {
    text.parse::<Table>().map_err(|e| e.message().to_owned())
}

fn find<'t>(table: &'t mut Table, key: &str) -> Result<&'t mut Value, String> {
    if !table.contains_key(key) {
        let hint = nearest(key, table.keys().map(String::as_str)).map(|n| format!("; did you mean '{n}'?"));
        return Err(format!("there is no '{key}' there{}", hint.unwrap_or_default()));
    }
    table.get_mut(key).ok_or_else(String::new)
}

fn item<'t>(list: &'t mut [Value], name: &str) -> Result<&'t mut Value, String> {
    if let Ok(n) = name.parse::<usize>() {
        let long = list.len();
        return list.get_mut(n).ok_or_else(|| format!("the list has {long} entries, counted from 0"));
    }
    let own = |v: &Value| v.get("name").and_then(Value::as_str).map(str::to_owned);
    let names: Vec<String> = list.iter().filter_map(own).collect();
    let hint = nearest(name, names.iter().map(String::as_str)).map(|n| format!("; did you mean '{n}'?"));
    let found = list.iter_mut().find(|v| own(v).as_deref() == Some(name));
    found.ok_or_else(|| format!("nothing there is named '{name}'{}", hint.unwrap_or_default()))
}

/// Number and unit of a text.
fn number(text: &str) -> Option<(f64, String)> {
    let text = text.trim().trim_matches('"');
    let end = text.find(|c: char| !(c.is_ascii_digit() || "+-.eE".contains(c))).unwrap_or(text.len());
    let value: f64 = text[..end].parse().ok()?;
    value.is_finite().then(|| (value, text[end..].trim().to_owned()))
}

/// `a.b[c d].e` in steps.
fn steps(path: &str) -> Option<Vec<Step>> {
    let mut out = Vec::new();
    let mut rest = path;
    while !rest.is_empty() {
        if let Some(inner) = rest.strip_prefix('[') {
            let (name, after) = inner.split_once(']')?;
            out.push(Step::Item(name.trim().to_owned()));
            rest = after;
        } else {
            rest = rest.strip_prefix('.').unwrap_or(rest);
            let end = rest.find(['.', '[']).unwrap_or(rest.len());
            let key = rest[..end].trim();
            if key.is_empty() {
                return None;
            }
            out.push(Step::Key(key.to_owned()));
            rest = &rest[end..];
        }
    }
    (!out.is_empty()).then_some(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "[shapes]\narm = { rectangle = { from = [\"0 mm\", \"0 mm\"], to = [\"9 mm\", \"2 mm\"] } }\n\
        [[layer]]\nname = \"film\"\nthickness = \"25 um\"\n[[layer]]\nname = \"copper top\"\nthickness = \"18 um\"\n\
        [[coil]]\nname = \"c\"\nturns = 12\n";

    fn made(changes: &[&str], variant_number: usize) -> Result<String, String> {
        let changes: Vec<Change> = changes.iter().map(|c| Change::parse(c)).collect::<Result<_, _>>()?;
        variant(&table(TEXT)?, &changes, &places(&changes, variant_number))
    }

    #[test]
    fn values_are_found_by_name_and_number_and_run_over_their_range() {
        let changes =
            ["layer[copper top].thickness = 9 um .. 35 um : 3", "shapes.arm.rectangle.to[0] = 8 mm..10 mm:2"];
        let parsed: Vec<Change> = changes.iter().map(|c| Change::parse(c).expect("reads")).collect();
        assert_eq!(variants(&parsed), 6, "every value with every other");
        let text = made(&changes, 3).expect("exists");
        assert!(
            text.contains("\"22 um\"") && text.contains("\"10 mm\"") && text.contains("\"25 um\""),
            "{text}"
        );
        let turns = made(&["coil[c].turns = 10 .. 14 : 3"], 1).expect("exists");
        assert!(turns.contains("turns = 12"), "a whole number stays one: {turns}");
    }

    #[test]
    fn wrong_paths_and_ranges_say_what_would_be_right() {
        let fault = |c: &str| made(&[c], 0).expect_err("must be refused");
        assert!(
            fault("layer[copper topp].thickness = 1 um .. 2 um : 2").contains("did you mean 'copper top'"),
            "name"
        );
        assert!(fault("layr[film].thickness = 1 um .. 2 um : 2").contains("did you mean 'layer'"), "table");
        assert!(fault("layer[film].thickness = 1 um .. 2 mil : 2").contains("different units"), "units");
        assert!(fault("layer[film] = 1 um .. 2 um : 2").contains("no single value"), "table asked");
        assert!(fault("layer[film].thickness = 1 um : 2").contains(".."), "range");
        assert!(fault("layer[film].thickness = 1 um .. 2 um : 0").contains("1 to 1000000"), "count");
    }
}
