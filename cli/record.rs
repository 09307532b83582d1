//! Measured records: comma-separated values with a heading that names quantity and unit.
//!
//! Input: a file, read line by line. Output: pairs of numbers in SI, or every fault with its line. Absent: fitting.

use crate::failure::Failure;
use crate::output::atomic::cannot;
use std::fs::File;
use std::io::{BufRead, BufReader, Read};
use std::path::Path;

/// Longest line that is read, bytes.
const LONGEST: u64 = 4096;

/// Most rows.
const MOST_ROWS: usize = 5_000_000;

/// Faults shown at most.
const MOST_FAULTS: usize = 20;

/// What a record holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// Flap angle over time: s, rad.
    Decay,
    /// Swing over drive frequency: Hz, rad.
    Resonance,
}

/// A record, read.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Record {
    /// What it holds.
    pub(crate) kind: Kind,
    /// Pairs, SI.
    pub(crate) rows: Vec<[f64; 2]>,
}

/// Heading names of both columns with what they hold and the factor to SI.
const FIRST: [(&str, Kind, f64); 3] =
    [("time_s", Kind::Decay, 1.0), ("time_ms", Kind::Decay, 1e-3), ("frequency_hz", Kind::Resonance, 1.0)];
const SECOND: [(&str, Kind, f64); 4] = [
    ("angle_deg", Kind::Decay, std::f64::consts::PI / 180.0),
    ("angle_rad", Kind::Decay, 1.0),
    ("swing_deg", Kind::Resonance, std::f64::consts::PI / 180.0),
    ("swing_rad", Kind::Resonance, 1.0),
];

const WISH: &str = "begin with a heading of two columns: time_s,angle_deg (a free decay) or frequency_hz,swing_deg (a \
                    resonance; swing is the amplitude); time_ms, angle_rad and swing_rad are known too";

/// Reads a record.
///
/// # Errors
/// The file cannot be read, or every fault in it with its line.
pub(crate) fn read(path: &Path) -> Result<Record, Failure> {
    let file = File::open(path).map_err(|e| cannot("read the record", path, &e))?;
    let facts = file.metadata().map_err(|e| cannot("read the record", path, &e))?;
    let name = path.display().to_string();
    if facts.is_dir() {
        return Err(Failure::new(format!("{name}: this is a folder"), "name the file in it"));
    }
    let mut reader = Reader { name, kind: None, rows: Vec::new(), faults: Vec::new() };
    let mut input = BufReader::new(file);
    let mut line = Vec::new();
    for number in 1_usize.. {
        line.clear();
        let got = input.by_ref().take(LONGEST).read_until(b'\n', &mut line);
        if got.map_err(|e| cannot("read the record", path, &e))? == 0 {
            break;
        }
        let whole = line.ends_with(b"\n") || (line.len() as u64) < LONGEST;
        if !whole {
            reader.fault(number, "the line is longer than 4096 bytes", "this is no table of two columns");
        }
        if !whole || !reader.line(number, &line) {
            break;
        }
    }
    reader.finish()
}

struct Reader {
    name: String,
    /// Kind, and factors of both columns with their place in the row.
    kind: Option<(Kind, [(usize, f64); 2])>,
    rows: Vec<[f64; 2]>,
    faults: Vec<(String, String)>,
}

impl Reader {
    fn fault(&mut self, line: usize, what: impl AsRef<str>, remedy: &str) {
        self.faults.push((format!("{}:{line}: {}", self.name, what.as_ref()), remedy.to_owned()));
    }

    /// Takes one line; false when reading on makes no sense.
    fn line(&mut self, number: usize, bytes: &[u8]) -> bool {
        let Ok(text) = std::str::from_utf8(bytes) else {
            self.fault(number, "this is not text in UTF-8", "save the record as UTF-8 text");
            return false;
        };
        let text = text.trim_start_matches('\u{feff}').trim();
        if text.is_empty() || text.starts_with('#') {
            return true;
        }
        let cells: Vec<&str> = text.split([',', ';', '\t']).map(|c| c.trim().trim_matches('"')).collect();
        let Some((_, columns)) = self.kind else { return self.heading(number, &cells) };
        let mut pair = [0.0; 2];
        for (value, (place, factor)) in pair.iter_mut().zip(columns) {
            let Some(cell) = cells.get(place) else {
                self.fault(number, format!("column {} is missing", place + 1), "give every row all columns");
                return self.faults.len() < MOST_FAULTS;
            };
            match cell.parse::<f64>() {
                Ok(v) if v.is_finite() => *value = v * factor,
                _ => {
                    let what =
                        format!("`{}` is not a finite number", cell.chars().take(40).collect::<String>());
                    self.fault(
                        number,
                        what,
                        "write numbers with a decimal point; leave out rows without a value",
                    );
                    return self.faults.len() < MOST_FAULTS;
                }
            }
        }
        self.checked(number, pair)
    }

    fn checked(&mut self, number: usize, pair: [f64; 2]) -> bool {
        let decay = self.kind.is_some_and(|k| k.0 == Kind::Decay);
        let before = self.rows.last().map(|r| r[0]);
        if decay && before.is_some_and(|t| pair[0] <= t) {
            self.fault(
                number,
                "the time does not rise from row to row",
                "sort the rows by time and drop repeated ones",
            );
        } else if !decay && (pair[0] <= 0.0 || pair[1] <= 0.0) {
            self.fault(number, "frequency and swing must be above 0", "leave such rows out");
        } else if self.rows.len() >= MOST_ROWS {
            self.fault(
                number,
                format!("more than {MOST_ROWS} rows"),
                "keep a stretch of the record, or every tenth row",
            );
            return false;
        } else {
            self.rows.push(pair);
        }
        self.faults.len() < MOST_FAULTS
    }

    fn heading(&mut self, number: usize, cells: &[&str]) -> bool {
        let find = |table: &[(&str, Kind, f64)]| {
            cells.iter().enumerate().find_map(|(place, cell)| {
                let known = table.iter().find(|t| t.0.eq_ignore_ascii_case(cell))?;
                Some((known.1, (place, known.2)))
            })
        };
        match (find(&FIRST), find(&SECOND)) {
            (Some((kind, x)), Some((same, y))) if kind == same => {
                self.kind = Some((kind, [x, y]));
                true
            }
            _ => {
                let shown: String = cells.join(",").chars().take(60).collect();
                self.fault(number, format!("the heading `{shown}` does not say what the columns are"), WISH);
                false
            }
        }
    }

    fn finish(mut self) -> Result<Record, Failure> {
        if self.faults.is_empty() {
            match self.kind {
                None => self.fault(1, "the file holds no table", WISH),
                Some(_) if self.rows.is_empty() => {
                    self.fault(1, "the table has a heading but no rows", "record something below it");
                }
                Some((kind, _)) => return Ok(Record { kind, rows: self.rows }),
            }
        }
        let more = if self.faults.len() >= MOST_FAULTS { "\n(reading stopped there)" } else { "" };
        let lines: Vec<String> =
            self.faults.iter().map(|(what, remedy)| format!("{what}; {remedy}")).collect();
        Err(Failure::new(format!("{}{more}", lines.join("\n")), ""))
    }
}
