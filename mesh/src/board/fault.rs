//! Faults of a design file: where, what, which rule, what to do.

use std::fmt;
use std::ops::Range;

/// One fault of the design file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Line in the file, from 1.
    pub line: usize,
    /// Column in the line, from 1, counted in characters.
    pub column: usize,
    /// The text of the file at that place, on one line and shortened.
    pub text: String,
    /// The rule that is broken, with the values.
    pub rule: String,
    /// What to do about it.
    pub remedy: String,
}

/// Every fault of a design file, in the order of the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Faults {
    /// Name of the file as given.
    pub file_name: String,
    /// The faults; never empty in an error.
    pub list: Vec<Fault>,
}

impl fmt::Display for Faults {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, fault) in self.list.iter().enumerate() {
            if i > 0 {
                out.write_str("\n")?;
            }
            write!(out, "{}:{}:{}: {}", self.file_name, fault.line, fault.column, fault.rule)?;
            if !fault.text.is_empty() {
                write!(out, "\n    in: {}", fault.text)?;
            }
            if !fault.remedy.is_empty() {
                write!(out, "\n    remedy: {}", fault.remedy)?;
            }
        }
        Ok(())
    }
}

impl std::error::Error for Faults {}

/// Longest piece of the file shown with a fault, characters.
const LONGEST_SHOWN: usize = 72;

/// Collects faults and knows where bytes are in the file.
#[derive(Debug)]
pub(crate) struct FaultList<'t> {
    file_name: String,
    text: &'t str,
    found: Vec<(usize, Fault)>,
}

impl<'t> FaultList<'t> {
    pub(crate) fn new(file_name: &str, text: &'t str) -> Self {
        Self { file_name: file_name.to_owned(), text, found: Vec::new() }
    }

    /// Records a fault at a byte range of the file.
    pub(crate) fn add(&mut self, span: &Range<usize>, rule: impl Into<String>, remedy: impl Into<String>) {
        let (line, column) = self.line_and_column(span.start);
        let fault = Fault { line, column, text: self.shown(span), rule: rule.into(), remedy: remedy.into() };
        if !self.found.iter().any(|(_, f)| *f == fault) {
            self.found.push((span.start, fault));
        }
    }

    pub(crate) fn count(&self) -> usize {
        self.found.len()
    }

    /// Line and column, from 1, of a byte of the file.
    pub(crate) fn line_and_column(&self, byte: usize) -> (usize, usize) {
        let before = self.text.get(..byte).unwrap_or(self.text);
        let line_start = before.rfind('\n').map_or(0, |i| i + 1);
        (before.matches('\n').count() + 1, before[line_start..].chars().count() + 1)
    }

    /// The place of a byte in words, for warnings.
    pub(crate) fn place(&self, byte: usize) -> String {
        format!("line {}", self.line_and_column(byte).0)
    }

    /// First line of a piece of the file, shortened.
    fn shown(&self, span: &Range<usize>) -> String {
        let piece = self.text.get(span.clone()).unwrap_or_default();
        let line = piece.lines().next().unwrap_or_default().trim();
        let cut = line.chars().count() > LONGEST_SHOWN || piece.trim().lines().count() > 1;
        let mut shown: String = line.chars().take(LONGEST_SHOWN).filter(|c| !c.is_control()).collect();
        if cut {
            shown.push_str(" ...");
        }
        shown
    }

    /// The board if there are no faults, else all of them in the order of the file.
    pub(crate) fn finish<T>(mut self, board: T) -> Result<T, Faults> {
        if self.found.is_empty() {
            return Ok(board);
        }
        self.found.sort_by_key(|(start, _)| *start);
        let list = self.found.into_iter().map(|(_, fault)| fault).collect();
        Err(Faults { file_name: self.file_name, list })
    }
}
