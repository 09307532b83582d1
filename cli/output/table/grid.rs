//! Columns that line up: text to the left, numbers to the right, nothing drawn in between.

/// Which way a column leans.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Lean {
    /// Text.
    Left,
    /// Numbers.
    Right,
}

/// Rows of cells under headings.
#[derive(Debug, Clone)]
pub(super) struct Grid {
    leans: Vec<Lean>,
    rows: Vec<Vec<String>>,
}

impl Grid {
    /// A grid with its headings.
    pub(super) fn new(headings: &[(&str, Lean)]) -> Self {
        let leans = headings.iter().map(|h| h.1).collect();
        Self { leans, rows: vec![headings.iter().map(|h| h.0.to_owned()).collect()] }
    }

    /// Adds a row; missing cells stay empty.
    pub(super) fn row(&mut self, cells: impl Into<Vec<String>>) {
        self.rows.push(cells.into());
    }

    /// Whether there are rows besides the headings.
    pub(super) fn is_empty(&self) -> bool {
        self.rows.len() < 2
    }

    /// The lines, indented by two blanks.
    pub(super) fn text(&self) -> String {
        let width = |k: usize| self.rows.iter().filter_map(|r| r.get(k)).map(|c| c.chars().count()).max();
        let widths: Vec<usize> = (0..self.leans.len()).map(|k| width(k).unwrap_or(0)).collect();
        let mut out = String::new();
        for row in &self.rows {
            let mut line = " ".to_owned();
            for ((cell, &lean), &wide) in row.iter().zip(&self.leans).zip(&widths) {
                let blanks = " ".repeat(wide - cell.chars().count());
                line.push(' ');
                match lean {
                    Lean::Left => line.extend([cell.as_str(), &blanks]),
                    Lean::Right => line.extend([&blanks, cell.as_str()]),
                }
                line.push(' ');
            }
            out.push_str(line.trim_end());
            out.push('\n');
        }
        out
    }
}

/// Breaks a text into lines of at most `width` letters, each led by `indent` blanks (the first as it stands).
pub(super) fn wrap(text: &str, indent: usize, width: usize) -> String {
    let mut out = String::new();
    let mut line = 0;
    for word in text.split_whitespace() {
        let long = word.chars().count();
        if line > 0 && indent + line + 1 + long > width {
            out.push('\n');
            out.push_str(&" ".repeat(indent));
            line = 0;
        } else if line > 0 {
            out.push(' ');
            line += 1;
        }
        out.push_str(word);
        line += long;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_line_up_by_letters_not_bytes() {
        let mut g = Grid::new(&[("name", Lean::Left), ("\u{b5}m", Lean::Right)]);
        g.row(["a\u{e4}".to_owned(), "18".to_owned()]);
        g.row(["bc".to_owned(), "5".to_owned()]);
        assert_eq!(g.text(), "  name  \u{b5}m\n  a\u{e4}    18\n  bc     5\n", "alignment");
    }

    #[test]
    fn long_texts_are_broken_between_words() {
        let text = wrap("one two three four", 2, 10);
        assert_eq!(text, "one two\n  three\n  four", "breaks");
    }
}
