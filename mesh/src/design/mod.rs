//! The design file as written: plain structs, one file per table. (being written)

mod nearest;
pub use nearest::nearest;

/// JSON Schema of the design file, for editors.
#[must_use]
pub fn schema() -> String {
    String::new()
}
