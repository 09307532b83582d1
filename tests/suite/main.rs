//! One test binary, one module per theme: checks against the outside world and over the whole path.

mod magnet;
mod published;
mod recovery;
mod refused;
