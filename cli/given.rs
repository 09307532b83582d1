//! Tables that the user gives: comma-separated values with a heading, every fault with its line.
//!
//! Input: a file. Output: rows of named cells with their line numbers. Quoted cells after RFC 4180; a line that starts
//! with '#' is a remark. Absent: what the cells mean (see the verbs).

use crate::failure::Failure;
use crate::output::atomic::cannot;
use std::path::Path;

/// Largest table read whole, bytes.
const MAX_TABLE: u64 = 64 << 20;

/// A table as read.
#[derive(Debug)]
pub(crate) struct Given {
    name: String,
    headings: Vec<String>,
    rows: Vec<(usize, Vec<String>)>,
    faults: Vec<String>,
}

/// One row of a table.
pub(crate) struct Row<'t> {
    table: &'t str,
    line: usize,
    headings: &'t [String],
    cells: &'t [String],
}

/// Cells of one line; None for a quote that is never closed.
pub(crate) fn cells(line: &str) -> Option<Vec<String>> {
    let mut out = vec![String::new()];
    let mut quoted = false;
    let mut letters = line.chars().peekable();
    while let Some(letter) = letters.next() {
        let cell = out.last_mut()?;
        match letter {
            '"' if quoted && letters.peek() == Some(&'"') => {
                letters.next();
                cell.push('"');
            }
            '"' => quoted = !quoted,
            ',' if !quoted => out.push(String::new()),
            other => cell.push(other),
        }
    }
    (!quoted).then(|| out.into_iter().map(|c| c.trim().to_owned()).collect())
}

impl Given {
    /// Reads a table whose headings are among the known ones.
    ///
    /// # Errors
    /// The file cannot be read, holds no heading, or a heading nobody knows.
    pub(crate) fn read(path: &Path, known: &[&str]) -> Result<Self, Failure> {
        let facts = std::fs::metadata(path).map_err(|e| cannot("read the table", path, &e))?;
        let name = path.display().to_string();
        if facts.len() > MAX_TABLE {
            return Err(Failure::new(
                format!("{name}: {} MB are too much for this table", facts.len() >> 20),
                "check that this is the right file",
            ));
        }
        let bytes = std::fs::read(path).map_err(|e| cannot("read the table", path, &e))?;
        let text = String::from_utf8_lossy(&bytes);
        Self::parse(&name, &text, known)
    }

    /// The same from text.
    pub(crate) fn parse(name: &str, text: &str, known: &[&str]) -> Result<Self, Failure> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let mut lines =
            text.lines().zip(1_usize..).filter(|(l, _)| !l.trim().is_empty() && !l.starts_with('#'));
        let Some((first, at)) = lines.next() else {
            return Err(Failure::new(
                format!("{name}: the table is empty"),
                format!("start with a heading of {}", known.join(", ")),
            ));
        };
        let headings = cells(first).unwrap_or_default();
        let mut faults = Vec::new();
        for (i, heading) in headings.iter().enumerate() {
            if !known.contains(&heading.as_str()) {
                faults.push(format!(
                    "{name}:{at}: nobody knows the column '{heading}'; known are {}",
                    known.join(", ")
                ));
            } else if headings[..i].contains(heading) {
                faults.push(format!("{name}:{at}: the column '{heading}' comes twice; keep one"));
            }
        }
        if !faults.is_empty() {
            return Err(Failure::new(faults.join("\n"), ""));
        }
        let mut rows = Vec::new();
        for (line, at) in lines {
            match cells(line) {
                Some(own) if own.len() == headings.len() => rows.push((at, own)),
                Some(own) => faults.push(format!(
                    "{name}:{at}: {} cells under {} headings; add or remove commas",
                    own.len(),
                    headings.len()
                )),
                None => faults.push(format!("{name}:{at}: a quote is never closed; close it")),
            }
        }
        Ok(Self { name: name.to_owned(), headings, rows, faults })
    }

    /// Whether a column is there.
    pub(crate) fn has(&self, heading: &str) -> bool {
        self.headings.iter().any(|h| h == heading)
    }

    /// Every row turned into something; all faults at once.
    ///
    /// # Errors
    /// The faults of all lines.
    pub(crate) fn all<T>(
        &self,
        mut of: impl FnMut(&Row<'_>) -> Result<T, String>,
    ) -> Result<Vec<T>, Failure> {
        let mut faults = self.faults.clone();
        let mut found = Vec::new();
        for (line, cells) in &self.rows {
            let row = Row { table: &self.name, line: *line, headings: &self.headings, cells };
            match of(&row) {
                Ok(one) => found.push(one),
                Err(why) => faults.push(why),
            }
        }
        if faults.is_empty() {
            return Ok(found);
        }
        let more = faults.len().saturating_sub(20);
        faults.truncate(20);
        if more > 0 {
            faults.push(format!("and {more} more faults"));
        }
        Err(Failure::new(faults.join("\n"), ""))
    }
}

impl Row<'_> {
    /// The cell of a column; empty where it is missing.
    pub(crate) fn text(&self, heading: &str) -> &str {
        let at = self.headings.iter().position(|h| h == heading);
        at.and_then(|i| self.cells.get(i)).map_or("", String::as_str)
    }

    /// A fault of this row.
    pub(crate) fn fault(&self, heading: &str, rule: &str) -> String {
        format!("{}:{}: {heading} '{}': {rule}", self.table, self.line, self.text(heading))
    }

    /// A number; None where the cell is empty.
    pub(crate) fn number(&self, heading: &str) -> Result<Option<f64>, String> {
        match self.text(heading) {
            "" => Ok(None),
            text => match text.parse::<f64>() {
                Ok(v) if v.is_finite() => Ok(Some(v)),
                _ => Err(self.fault(heading, "write a plain number; its unit stands in the heading")),
            },
        }
    }

    /// A number above zero that must be there.
    pub(crate) fn positive(&self, heading: &str) -> Result<f64, String> {
        match self.number(heading)? {
            Some(v) if v > 0.0 => Ok(v),
            Some(_) => Err(self.fault(heading, "must be above zero")),
            None => Err(self.fault(heading, "is missing; write a number")),
        }
    }

    /// Cycles from a column `cycles`, or half of a column `flexes`.
    pub(crate) fn cycles(&self) -> Result<f64, String> {
        match (self.text("cycles"), self.text("flexes")) {
            ("", "") => Err(self.fault("flexes", "give flexes (2 a cycle) or cycles")),
            ("", _) => Ok(0.5 * self.positive("flexes")?),
            (_, "") => self.positive("cycles"),
            _ => Err(self.fault("cycles", "give cycles or flexes, not both")),
        }
    }

    /// `failed` or `survived`.
    pub(crate) fn failed(&self) -> Result<bool, String> {
        match self.text("outcome").to_ascii_lowercase().as_str() {
            "failed" => Ok(true),
            "survived" => Ok(false),
            _ => Err(self.fault("outcome", "write failed or survived")),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_may_be_quoted() {
        assert_eq!(cells("a, \"b,\"\"c\"\"\",").expect("cells"), ["a", "b,\"c\"", ""], "RFC 4180");
        assert!(cells("a,\"b").is_none(), "an open quote");
    }

    #[test]
    fn all_faults_come_with_their_lines() {
        let text = "sample,flexes,outcome\na,1e6,failed\n# a remark\nb,-3,failed\nc,2e6\nd,5,broken\n";
        let table = Given::parse("t.csv", text, &["sample", "flexes", "outcome"]).expect("a table");
        let told = table.all(|row| Ok((row.cycles()?, row.failed()?))).expect_err("faults").to_string();
        for part in [
            "t.csv:4: flexes '-3': must be above zero",
            "t.csv:5: 2 cells under 3",
            "t.csv:6: outcome 'broken'",
        ] {
            assert!(told.contains(part), "'{part}' is missing in {told}");
        }
        assert!(Given::parse("t.csv", "", &["a"]).is_err(), "an empty file");
        let odd =
            Given::parse("t.csv", "sample,flxes\n", &["sample", "flexes"]).expect_err("odd").to_string();
        assert!(odd.contains("'flxes'") && odd.contains("flexes"), "{odd}");
        let twice = Given::parse("t.csv", "a,a\n", &["a"]).expect_err("twice").to_string();
        assert!(twice.contains("comes twice"), "{twice}");
    }
}
