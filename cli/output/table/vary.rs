//! The spread of a study of variants.

use super::Sheet;
use super::grid::{Grid, Lean};
use crate::commands::Variant;
use crate::output::csv::{VARIANT_COLUMNS, variant_values};
use crate::output::numbers::plain;
use copperbend_mesh::design::vary::Change;

/// Least, middle and largest value of every column, and where they are.
pub(crate) fn variants(title: &str, changes: &[Change], all: &[Variant], seconds: &str) -> String {
    let mut sheet = Sheet::default();
    sheet.line(title);
    let good = all.iter().filter(|v| v.answer.is_ok()).count();
    sheet.line(format!(
        "{} variants by the beam model in {seconds} s; {} refused",
        all.len(),
        all.len() - good
    ));
    let mut grid = Grid::new(&[
        ("quantity", Lean::Left),
        ("least", Lean::Right),
        ("at", Lean::Left),
        ("largest", Lean::Right),
        ("at", Lean::Left),
    ]);
    for (n, name) in VARIANT_COLUMNS.iter().enumerate() {
        let mut seen: Vec<(f64, &Variant)> =
            all.iter().filter_map(|v| Some((variant_values(v.answer.as_ref().ok()?)[n]?, v))).collect();
        seen.sort_by(|a, b| a.0.total_cmp(&b.0));
        let (Some(low), Some(high)) = (seen.first(), seen.last()) else { continue };
        let place = |v: &Variant| {
            let one = |(c, x): (&Change, &f64)| format!("{} {}", plain(*x, 4), c.unit);
            changes.iter().zip(&v.values).map(one).collect::<Vec<_>>().join(", ")
        };
        grid.row([(*name).to_owned(), plain(low.0, 4), place(low.1), plain(high.0, 4), place(high.1)]);
    }
    sheet.line(grid.text().trim_end());
    if let Some(why) = all.iter().find_map(|v| v.answer.as_ref().err()) {
        sheet.item("!", &format!("first refusal: {why}"));
    }
    sheet.foot();
    sheet.0
}
