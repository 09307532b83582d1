//! Why the program stops with exit code 2: what is wrong, where, and what to do about it.

use copperbend_mesh::board::Faults;
use copperbend_solver::error::SolveError;
use std::fmt;

/// An error ready to be shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Failure {
    what: String,
    remedy: String,
}

impl Failure {
    /// `what`: place, value and rule. `remedy`: what to do, empty if it is in `what`.
    pub(crate) fn new(what: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { what: what.into(), remedy: remedy.into() }
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.remedy.is_empty() {
            f.write_str(&self.what)
        } else {
            write!(f, "{}; {}", self.what, self.remedy)
        }
    }
}

impl std::error::Error for Failure {}

impl From<Faults> for Failure {
    fn from(faults: Faults) -> Self {
        Self::new(faults.to_string(), "")
    }
}

impl From<SolveError> for Failure {
    fn from(e: SolveError) -> Self {
        Self::new(e.to_string(), "")
    }
}

impl From<crate::output::canvas::PictureError> for Failure {
    fn from(e: crate::output::canvas::PictureError) -> Self {
        Self::new(format!("a picture could not be drawn: {}", e.0), "run with --no-pictures")
    }
}

impl From<copperbend_mesh::quality::MeshError> for Failure {
    fn from(e: copperbend_mesh::quality::MeshError) -> Self {
        Self::new(e.to_string(), "")
    }
}
