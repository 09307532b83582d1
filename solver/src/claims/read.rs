//! Claims from TOML or CSV text, every fault at once.

use super::quantity::{Kind, QUANTITIES, Quantity};
use copperbend_mesh::board::{Board, LayerKind};
use copperbend_mesh::design::nearest;
use copperbend_mesh::region::Point;

/// Tolerance where none is given.
const TOLERANCE: f64 = 0.05;

/// One claim of the user.
#[derive(Debug, Clone, PartialEq)]
pub struct Claim {
    /// Line in its file, from 1.
    pub line: usize,
    /// What.
    pub quantity: &'static Quantity,
    /// Value, SI.
    pub value: f64,
    /// Allowed difference, share of the program's value.
    pub tolerance: f64,
    /// Place on the board, m.
    pub place_m: Option<Point>,
    /// Copper layer, for a strain.
    pub layer: Option<String>,
}

/// What is wrong with a claim.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ClaimFault {
    /// Line, from 1.
    pub line: usize,
    /// Rule and value.
    pub rule: String,
    /// What to do.
    pub remedy: String,
}

impl std::fmt::Display for ClaimFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {}; {}", self.line, self.rule, self.remedy)
    }
}

/// One claim as written.
#[derive(Debug, Clone, Default)]
struct Raw {
    line: usize,
    quantity: String,
    value: String,
    unit: String,
    tolerance: String,
    place: Option<[String; 2]>,
    layer: String,
}

/// Claims of a CSV table with the heading `quantity,value,unit,tolerance,x_mm,y_mm,layer` (the last four may be left
/// out; separators may be semicolons).
///
/// # Errors
/// Every fault.
pub fn from_csv(text: &str) -> Result<Vec<Claim>, Vec<ClaimFault>> {
    let mut rows =
        text.lines().zip(1..).filter(|(l, _)| !l.trim().is_empty() && !l.trim_start().starts_with('#'));
    let Some((heading, line)) = rows.next() else { return Err(vec![empty()]) };
    let separator = if heading.contains(';') { ';' } else { ',' };
    let names: Vec<String> = cells(heading, separator).iter().map(|c| c.trim().to_lowercase()).collect();
    let known = ["quantity", "value", "unit", "tolerance", "x_mm", "y_mm", "layer"];
    let mut faults: Vec<ClaimFault> = names
        .iter()
        .filter(|n| !known.contains(&n.as_str()))
        .map(|n| ClaimFault {
            line,
            rule: format!("unknown column '{n}'"),
            remedy: hint(n, &known, "columns are quantity, value, unit, tolerance, x_mm, y_mm, layer"),
        })
        .collect();
    for needed in ["quantity", "value", "unit"] {
        if !names.iter().any(|n| n == needed) {
            let rule = format!("no column '{needed}'");
            faults.push(ClaimFault {
                line,
                rule,
                remedy: "begin with the heading quantity,value,unit".into(),
            });
        }
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    let mut raw = Vec::new();
    for (row, line) in rows {
        let cells = cells(row, separator);
        let cell = |name: &str| {
            let at = names.iter().position(|n| n == name);
            at.and_then(|k| cells.get(k)).map_or(String::new(), |c| c.trim().to_owned())
        };
        let (x, y) = (cell("x_mm"), cell("y_mm"));
        raw.push(Raw {
            line,
            quantity: cell("quantity"),
            value: cell("value"),
            unit: cell("unit"),
            tolerance: cell("tolerance"),
            place: (!x.is_empty() || !y.is_empty()).then_some([x, y]),
            layer: cell("layer"),
        });
    }
    all(&raw)
}

/// Claims of a TOML text: `[[claim]]` tables with `quantity`, `value` (number, or text with its unit), `unit`,
/// `tolerance` (share, or text with per cent), `place` (two numbers in mm) and `layer`.
///
/// # Errors
/// Every fault.
pub fn from_toml(text: &str) -> Result<Vec<Claim>, Vec<ClaimFault>> {
    let root: toml::Table = text.parse().map_err(|e: toml::de::Error| {
        let at = e.span().map_or(0, |s| s.start.min(text.len()));
        let line = 1 + text.as_bytes()[..at].iter().filter(|&&b| b == b'\n').count();
        vec![ClaimFault {
            line,
            rule: format!("this is not TOML: {}", e.message()),
            remedy: "mend it there".into(),
        }]
    })?;
    let lines: Vec<usize> =
        text.lines().zip(1..).filter(|(l, _)| l.trim() == "[[claim]]").map(|(_, n)| n).collect();
    let Some(list) = root.get("claim").and_then(toml::Value::as_array) else { return Err(vec![empty()]) };
    let mut raw = Vec::new();
    let mut faults = Vec::new();
    for name in root.keys().filter(|k| *k != "claim") {
        let named = |l: &str| l.trim().trim_start_matches('[').starts_with(name.as_str());
        faults.push(ClaimFault {
            line: text.lines().position(named).map_or(1, |n| n + 1),
            rule: format!("unknown table or field '{name}'"),
            remedy: hint(name, &["claim"], "a claims file has [[claim]] tables only"),
        });
    }
    for (n, item) in list.iter().enumerate() {
        let line = lines.get(n).copied().unwrap_or(1);
        let Some(table) = item.as_table() else { continue };
        let known = ["quantity", "value", "unit", "tolerance", "place", "layer"];
        for name in table.keys().filter(|k| !known.contains(&k.as_str())) {
            faults.push(ClaimFault {
                line,
                rule: format!("unknown field '{name}'"),
                remedy: hint(name, &known, "fields are quantity, value, unit, tolerance, place, layer"),
            });
        }
        let words = |name: &str| table.get(name).map_or(String::new(), plain);
        let (mut value, mut unit) = (words("value"), words("unit"));
        if unit.is_empty() {
            let end =
                value.find(|c: char| !(c.is_ascii_digit() || "+-.eE".contains(c))).unwrap_or(value.len());
            unit = value[end..].trim().to_owned();
            value.truncate(end);
        }
        let place = table.get("place").map(|p| match p.as_array().map(Vec::as_slice) {
            Some([x, y]) => [plain(x), plain(y)],
            _ => [plain(p), String::new()],
        });
        raw.push(Raw {
            line,
            quantity: words("quantity"),
            value,
            unit,
            tolerance: words("tolerance"),
            place,
            layer: words("layer"),
        });
    }
    match (all(&raw), faults.is_empty()) {
        (Ok(claims), true) => Ok(claims),
        (Ok(_), false) => Err(faults),
        (Err(more), _) => {
            faults.extend(more);
            faults.sort_by_key(|f| f.line);
            Err(faults)
        }
    }
}

/// Claims about a layer that the board does not have, or that is no copper.
///
/// # Errors
/// Every one of them.
pub fn check_layers(claims: &[Claim], board: &Board) -> Result<(), Vec<ClaimFault>> {
    let copper: Vec<&str> =
        board.layers.iter().filter(|l| l.kind == LayerKind::Copper).map(|l| l.name.as_str()).collect();
    let fault = |claim: &Claim| {
        let layer = claim.layer.as_deref().filter(|l| !copper.contains(l))?;
        Some(ClaimFault {
            line: claim.line,
            rule: format!("the board has no copper layer '{layer}'"),
            remedy: hint(layer, &copper, &format!("its copper layers: {}", copper.join(", "))),
        })
    };
    let faults: Vec<ClaimFault> = claims.iter().filter_map(fault).collect();
    if faults.is_empty() { Ok(()) } else { Err(faults) }
}

fn plain(v: &toml::Value) -> String {
    v.as_str().map_or_else(|| v.to_string(), str::to_owned)
}

fn empty() -> ClaimFault {
    ClaimFault {
        line: 1,
        rule: "no claims".into(),
        remedy: "write [[claim]] tables with quantity, value and unit, or a CSV table with these columns"
            .into(),
    }
}

fn all(raw: &[Raw]) -> Result<Vec<Claim>, Vec<ClaimFault>> {
    if raw.is_empty() {
        return Err(vec![empty()]);
    }
    let (mut claims, mut faults) = (Vec::new(), Vec::new());
    for r in raw {
        match one(r) {
            Ok(claim) => claims.push(claim),
            Err(own) => faults.extend(own),
        }
    }
    if faults.is_empty() { Ok(claims) } else { Err(faults) }
}

fn one(r: &Raw) -> Result<Claim, Vec<ClaimFault>> {
    let mut faults = Vec::new();
    let mut fault = |rule: String, remedy: String| faults.push(ClaimFault { line: r.line, rule, remedy });
    let names: Vec<&str> = QUANTITIES.iter().map(|q| q.name).collect();
    let wanted = r.quantity.trim().to_lowercase().replace('_', " ");
    let quantity = QUANTITIES.iter().find(|q| q.name == wanted);
    if quantity.is_none() {
        let known = format!("known: {}", names.join(", "));
        fault(format!("unknown quantity '{}'", r.quantity), hint(&wanted, &names, &known));
    }
    let value: Option<f64> = r.value.trim().parse().ok().filter(|v: &f64| v.is_finite());
    if value.is_none() {
        fault(format!("'{}' is no number", r.value), "write a value such as 0.35".into());
    }
    let scale = quantity.and_then(|q| {
        let size = unit(q.kind, &r.unit);
        if size.is_none() {
            let known: Vec<&str> = q.kind.units().iter().map(|u| u.0).collect();
            let other = Kind::ALL.into_iter().find(|k| unit(*k, &r.unit).is_some());
            let rule = match other {
                _ if r.unit.trim().is_empty() => format!("'{}' has no unit", q.name),
                Some(k) => {
                    format!("'{}' is the unit of {}, but '{}' is {}", r.unit, k.noun(), q.name, q.kind.noun())
                }
                None => format!("unknown unit '{}' for {}", r.unit, q.kind.noun()),
            };
            fault(rule, format!("units that fit: {}", known.join(", ")));
        }
        size
    });
    let tolerance = match r.tolerance.trim() {
        "" => Some(TOLERANCE),
        text => {
            let (number, size) = text.strip_suffix('%').map_or((text, 1.0), |t| (t, 0.01));
            number.trim().parse::<f64>().ok().map(|t| t * size).filter(|t| (0.0..=10.0).contains(t))
        }
    };
    if tolerance.is_none() {
        fault(
            format!("'{}' is no tolerance", r.tolerance),
            "write a share such as 0.05 or a text such as 5 %".into(),
        );
    }
    let place_m = match &r.place {
        None => None,
        Some(xy) => {
            let read =
                |t: &String| t.trim().trim_end_matches("mm").trim().parse::<f64>().ok().map(|v| v / 1e3);
            let both = read(&xy[0]).zip(read(&xy[1]));
            if both.is_none() {
                fault(format!("'{}, {}' is no place", xy[0], xy[1]), "give x and y in mm".into());
            }
            both.map(|(x, y)| [x, y])
        }
    };
    match (quantity, value, scale, tolerance) {
        (Some(quantity), Some(value), Some(scale), Some(tolerance)) if faults.is_empty() => Ok(Claim {
            line: r.line,
            quantity,
            value: value * scale,
            tolerance,
            place_m,
            layer: (!r.layer.is_empty()).then(|| r.layer.clone()),
        }),
        _ => Err(faults),
    }
}

/// Size of a unit of a kind; dots, stars and spaces between factors do not matter.
fn unit(kind: Kind, text: &str) -> Option<f64> {
    let bare = |t: &str| -> String {
        let t = t
            .replace(['\u{b5}', '\u{3bc}'], "u")
            .replace('\u{b2}', "2")
            .replace('\u{3a9}', "ohm")
            .replace('\u{b0}', "deg");
        t.chars().filter(|c| !matches!(c, ' ' | '*' | '.' | '\u{b7}' | '^')).collect()
    };
    let wanted = bare(text);
    kind.units().iter().find(|(name, _)| bare(name) == wanted && !wanted.is_empty()).map(|u| u.1)
}

fn hint(name: &str, known: &[&str], otherwise: &str) -> String {
    nearest(name, known.iter().copied())
        .map_or_else(|| otherwise.to_owned(), |n| format!("did you mean '{n}'?"))
}

/// Cells of a row; quotes may hold separators.
fn cells(row: &str, separator: char) -> Vec<String> {
    let mut out = vec![String::new()];
    let mut quoted = false;
    for c in row.chars() {
        if c == '"' {
            quoted = !quoted;
        } else if c == separator && !quoted {
            out.push(String::new());
        } else if let Some(last) = out.last_mut() {
            last.push(c);
        }
    }
    out
}
