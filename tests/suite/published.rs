//! Every published problem: the gated figures must lie within their tolerance.
//!
//! Sources stand beside each target in `copperbend_solver::published`; the `verify` command shows the same table.

use copperbend_solver::published;

#[allow(clippy::print_stdout, reason = "the figures are shown when the test fails")]
/// Prints all rows and fails on the gated ones outside their tolerance.
fn judge(rows: &[published::Row]) {
    let mut failed = Vec::new();
    for row in rows {
        let (id, target) = (row.problem.id, row.target);
        println!(
            "{} {id}: {} {:.9e} against {:.9e} {} (ratio {:.5}, tolerance {:.1e}){}",
            if row.pass { "ok  " } else { "FAR " },
            target.quantity,
            row.result,
            target.value,
            target.unit,
            row.ratio,
            target.tolerance,
            row.failure.as_deref().map_or(String::new(), |f| format!(": {f}")),
        );
        if row.fails() {
            failed.push(format!("{id}: {} is {} against {}", target.quantity, row.result, target.value));
        }
    }
    assert!(failed.is_empty(), "{} of {} figures fail:\n{}", failed.len(), rows.len(), failed.join("\n"));
}

#[test]
fn published_problems_are_met() {
    let mut seen = 0;
    let rows = published::run_all(|rows| seen += rows.len());
    assert_eq!(seen, rows.len(), "progress missed rows");
    assert!(rows.iter().filter(|r| r.target.gated).count() >= 100, "gated rows: {}", rows.len());
    judge(&rows);
}
