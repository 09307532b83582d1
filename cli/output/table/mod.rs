//! What the screen shows: plain aligned text, every number with its unit and place.
//!
//! Input: reports of the solver. Output: text. Absent: colours, drawing characters, anything but text.

mod beam;
mod bend;
mod check;
mod damping;
mod drive;
mod grid;
mod hand;
mod life;
mod modes;
mod reliability;
mod rig;
mod swing;
mod vary;
mod verify;

pub(crate) use beam::{beam, beside};
pub(crate) use bend::{bend, shape_words, state_words};
pub(crate) use check::{check, matrices, mesh};
pub(crate) use damping::damping;
pub(crate) use drive::drive;
pub(crate) use hand::{claims, hand};
pub(crate) use life::{LifeShown, life};
pub(crate) use modes::{mode_words, modes, versus};
pub(crate) use reliability::{plan, reliability};
pub(crate) use rig::rig;
pub(crate) use swing::swing_words;
pub(crate) use vary::variants;
pub(crate) use verify::verify;

use copperbend_solver::result::{Caution, Remark};
use grid::wrap;
use std::fmt::Write;
use std::path::{Path, PathBuf};

/// Widest line of running text.
const WIDTH: usize = 110;

/// Foot of every report.
const FOOT: &str = "Estimates from a model and the test data named above. Not a certificate. Check on \
     samples before relying on any figure. Follow local rules and the makers' safety sheets.";

/// Text being put together; writing to it cannot fail.
#[derive(Debug, Default)]
struct Sheet(String);

impl Sheet {
    fn line(&mut self, text: impl AsRef<str>) {
        self.0.push_str(text.as_ref());
        self.0.push('\n');
    }

    fn heading(&mut self, text: &str) {
        self.0.push('\n');
        self.line(text);
    }

    /// A named value, names in one column.
    fn value(&mut self, name: &str, text: impl AsRef<str>) {
        const NAMES: usize = 26;
        let blanks = " ".repeat(NAMES.saturating_sub(name.chars().count()).max(1));
        self.line(format!("  {name}{blanks}{}", wrap(text.as_ref(), NAMES + 2, WIDTH)));
    }

    /// A remark in running text behind a mark.
    fn item(&mut self, mark: &str, text: &str) {
        let indent = mark.chars().count() + 3;
        self.line(format!("  {mark} {}", wrap(text, indent, WIDTH)));
    }

    /// What the model leaves out, warnings, cautions.
    fn remarks(&mut self, left_out: &[String], warnings: &[Remark], cautions: &[Caution]) {
        if !left_out.is_empty() {
            self.heading("What the model leaves out");
            left_out.iter().for_each(|line| self.item("-", line));
        }
        if !warnings.is_empty() {
            self.heading("Warnings");
            for w in warnings {
                self.item("!", &format!("{}: {}; {}", w.place, w.text, w.remedy));
            }
        }
        // The caution about estimates is the foot itself.
        let cautions: Vec<&Caution> = cautions.iter().filter(|c| c.about != "estimate").collect();
        if !cautions.is_empty() {
            self.heading("Cautions");
            for c in cautions {
                self.item("-", &format!("{}: {}", c.about, c.text));
            }
        }
    }

    fn foot(&mut self) {
        self.line("");
        self.line(wrap(FOOT, 0, WIDTH));
    }

    /// Says which files were written where.
    fn files(&mut self, written: &[PathBuf]) {
        let Some(folder) = written.first().and_then(|p| p.parent()) else { return };
        let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
        let names: Vec<String> =
            written.iter().filter_map(|p| Some(p.file_name()?.to_string_lossy().into_owned())).collect();
        self.line("");
        let _ = writeln!(self.0, "Written to {}:", folder.display());
        self.line(format!("  {}", wrap(&names.join(", "), 2, WIDTH)));
    }
}
