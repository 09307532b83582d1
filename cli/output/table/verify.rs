//! The published problems: target, result, ratio, tolerance, pass.

use super::Sheet;
use super::grid::{Grid, Lean};
use copperbend_solver::published::{Problem, Row};

/// The text of `verify`.
pub(crate) fn verify(rows: &[Row]) -> String {
    let mut sheet = Sheet::default();
    sheet.line("Problems with known answers, solved on this machine");
    sheet.line("");
    let mut grid = Grid::new(&[
        ("problem", Lean::Left),
        ("figure", Lean::Left),
        ("target", Lean::Right),
        ("result", Lean::Right),
        ("unit", Lean::Left),
        ("ratio", Lean::Right),
        ("tolerance", Lean::Right),
        ("", Lean::Left),
        ("source", Lean::Right),
    ]);
    let problems = distinct(rows);
    for row in rows {
        let number = problems.iter().position(|p| std::ptr::eq(*p, row.problem)).map_or(0, |i| i + 1);
        let t = &row.target;
        grid.row([
            row.problem.id.to_owned(),
            t.quantity.to_owned(),
            figure(t.value),
            figure(row.result),
            if t.unit == "1" { String::new() } else { t.unit.to_owned() },
            if row.ratio.is_finite() { format!("{:.5}", row.ratio) } else { "-".to_owned() },
            tolerance(t.tolerance, t.value),
            verdict(row).to_owned(),
            format!("[{number}]"),
        ]);
    }
    sheet.0.push_str(&grid.text());
    sources(&mut sheet, &problems);
    for row in rows.iter().filter(|r| r.failure.is_some()) {
        let why = row.failure.as_deref().unwrap_or_default();
        sheet.item("!", &format!("{}: {why}", row.problem.id));
    }
    let gated: Vec<&Row> = rows.iter().filter(|r| r.target.gated).collect();
    let missed = gated.iter().filter(|r| r.fails()).count();
    sheet.line("");
    sheet.line(format!(
        "{} of {} figures within their tolerance; {} shown for information only.",
        gated.len() - missed,
        gated.len(),
        rows.len() - gated.len()
    ));
    sheet.0
}

fn sources(sheet: &mut Sheet, problems: &[&'static Problem]) {
    sheet.heading("Sources");
    for (i, p) in problems.iter().enumerate() {
        let note = if p.note.is_empty() { String::new() } else { format!(" {}", p.note) };
        let text = format!("{}. {} (target {}).{note}", p.title, p.source, p.provenance.words());
        sheet.item(&format!("[{}]", i + 1), &text);
    }
}

fn distinct(rows: &[Row]) -> Vec<&'static Problem> {
    let mut list: Vec<&'static Problem> = Vec::new();
    for row in rows {
        if !list.iter().any(|p| std::ptr::eq(*p, row.problem)) {
            list.push(row.problem);
        }
    }
    list
}

/// Seven digits, in plain decimals where these are short.
fn figure(v: f64) -> String {
    if v == 0.0 {
        "0".to_owned()
    } else if (1e-3..1e6).contains(&v.abs()) {
        crate::output::numbers::plain(v, 6)
    } else {
        format!("{v:.5e}")
    }
}

fn tolerance(share: f64, target: f64) -> String {
    if target == 0.0 {
        format!("{share:.0e}")
    } else if share >= 1e-4 {
        format!("{} %", crate::output::numbers::plain(share * 100.0, 2))
    } else {
        format!("{share:.0e}")
    }
}

fn verdict(row: &Row) -> &'static str {
    match (row.pass, row.target.gated) {
        (true, _) => "pass",
        (false, true) => "MISSED",
        (false, false) => "shown only",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use copperbend_solver::published;

    #[test]
    fn rows_name_problem_target_result_and_source() {
        let problem = published::problems().next().expect("a problem");
        let mut rows = published::run(problem);
        let text = verify(&rows);
        assert!(text.contains(problem.id) && text.contains("pass") && text.contains("[1]"), "{text}");
        let n = rows.iter().filter(|r| r.target.gated).count();
        assert!(text.contains(&format!("{n} of {n} figures within their tolerance")), "{text}");
        rows[0].pass = false;
        rows[0].target.gated = true;
        assert!(verify(&rows).contains("MISSED"), "a miss is not shown");
    }
}
