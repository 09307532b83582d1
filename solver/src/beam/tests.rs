//! The published problems of the beam model, alone: seconds instead of the whole table.

use crate::published;

#[test]
fn published_frames_are_met() {
    let mut far = Vec::new();
    for problem in published::problems().filter(|p| p.id.starts_with("beam-")) {
        for row in published::run(problem) {
            if row.fails() {
                far.push(format!(
                    "{}: {}: {} against {} {:?}",
                    problem.id, row.target.quantity, row.result, row.target.value, row.failure
                ));
            }
        }
    }
    assert!(far.is_empty(), "{}", far.join("\n"));
}
