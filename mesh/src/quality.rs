//! What makes a mesh unfit: the error that refuses one, and a report of angles, sizes and orientation.

use std::fmt;

/// Why no mesh could be made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum MeshFault {
    /// The plan has no area, or a coordinate or size is unusable.
    Input,
    /// More regions than one mesh can tell apart.
    TooManyRegions,
    /// More triangles than allowed.
    TooManyTriangles,
    /// A triangle is inverted or has no area.
    BadTriangle,
}

/// A mesh that is refused: place, value, rule and remedy.
#[derive(Debug, Clone, PartialEq)]
pub struct MeshError {
    /// Kind of fault.
    pub fault: MeshFault,
    /// Where.
    pub place: String,
    /// The value found.
    pub value: String,
    /// The rule it breaks.
    pub rule: String,
    /// What to do about it.
    pub remedy: String,
}

impl MeshError {
    pub(crate) fn new(fault: MeshFault, place: &str, value: &str, rule: &str, remedy: &str) -> Self {
        Self {
            fault,
            place: place.to_owned(),
            value: value.to_owned(),
            rule: rule.to_owned(),
            remedy: remedy.to_owned(),
        }
    }
}

impl fmt::Display for MeshError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}: {}; {}", self.place, self.value, self.rule, self.remedy)
    }
}

impl std::error::Error for MeshError {}
