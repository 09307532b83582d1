//! Everything that can stop a computation, in words a user can act on.

use std::fmt;

/// Why a computation stopped.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum SolveError {
    /// A piece of the board is not held: place named.
    NotHeld {
        /// What moves freely and where.
        what: String,
    },
    /// The model cannot be built as asked.
    Model {
        /// Place, value and rule.
        what: String,
        /// What to do.
        remedy: String,
    },
    /// The stiffness matrix has no usable factor.
    Singular {
        /// Node, its position and the freedom.
        place: String,
    },
    /// The factor would not fit into the free memory.
    Memory {
        /// Bytes the factor takes.
        needed: u64,
        /// Bytes the machine has free.
        free: u64,
    },
    /// Refinement of the linear solve did not gain.
    Inaccurate {
        /// Relative correction reached.
        correction: f64,
        /// Longest part over smallest triangle.
        length_over_size: f64,
    },
    /// The mesh could not be made.
    Mesh {
        /// Place, value and rule.
        what: String,
        /// What to do.
        remedy: String,
    },
    /// A large motion found no further equilibrium; what was reached is kept.
    Stopped {
        /// Share of the asked way that was reached, 0 to 1.
        share: f64,
        /// What failed.
        why: String,
    },
    /// Stopped by the user.
    Cancelled,
}

impl SolveError {
    /// A mesh that could not be made.
    pub(crate) fn of_mesh(error: copperbend_mesh::quality::MeshError) -> Self {
        let what = format!("{}: {}: {}", error.place, error.value, error.rule);
        Self::Mesh { what, remedy: error.remedy }
    }
}

impl fmt::Display for SolveError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotHeld { what } => {
                write!(f, "{what} is not held; clamp it or connect it to a clamped part")
            }
            Self::Model { what, remedy } | Self::Mesh { what, remedy } => write!(f, "{what}; {remedy}"),
            Self::Singular { place } => write!(
                f,
                "the stiffness vanishes at {place}; hold the part with a support or connect it to a held part"
            ),
            Self::Memory { needed, free } => {
                let gb = |bytes: &u64| *bytes as f64 / 1e9;
                write!(
                    f,
                    "the factor of the stiffness matrix takes {:.2} GB and the machine has {:.2} GB free; use a coarser \
                     mesh or a machine with more memory",
                    gb(needed),
                    gb(free)
                )
            }
            Self::Inaccurate { correction, length_over_size } => write!(
                f,
                "the linear solve does not settle (correction {correction:.1e}, length over triangle size \
                 {length_over_size:.0}); use triangles no smaller than half the thickness"
            ),
            Self::Stopped { share, why } => write!(
                f,
                "no equilibrium found beyond {:.1} % of the step: {why}; the last good state is kept",
                1e2 * share
            ),
            Self::Cancelled => write!(f, "stopped on request"),
        }
    }
}

impl std::error::Error for SolveError {}
