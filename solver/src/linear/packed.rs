//! Strips of a front's columns, and their rows packed for the tiles.
//!
//! Packed rows lie in groups of [`GROUP`]: for every column of the strip the group's values side by side, so that one
//! layout serves both factors of a product.

/// Rows packed together: a whole number of vectors, and of a tile's columns, on every processor.
pub(super) const GROUP: usize = 24;

/// Where a strip lies in its front.
#[derive(Debug, Clone, Copy)]
pub(super) struct Strip {
    /// Rows of the whole front: entries of each column.
    pub(super) height: usize,
    /// First column, and so the first row that counts.
    pub(super) start: usize,
    /// Columns.
    pub(super) width: usize,
}

impl Strip {
    /// Rows below the strip's own.
    pub(super) fn below(&self) -> usize {
        self.height - self.start - self.width
    }

    /// Entries of a packed group.
    pub(super) fn slot(&self) -> usize {
        self.width * GROUP
    }

    /// Entries of its own rows packed, and of those below.
    pub(super) fn packed(&self) -> [usize; 2] {
        [self.width, self.below()].map(|rows| rows.div_ceil(GROUP) * self.slot())
    }
}

/// Copies packed groups of rows, the first of them `row` rows below the strip's first, into some of its columns, on and
/// below the diagonal.
pub(super) fn put_back(strip: Strip, (row, groups): (usize, &[f64]), (column, values): (usize, &mut [f64])) {
    crate::vectors::widest(
        #[inline(always)]
        || {
            for (group, rows) in groups.chunks_exact(strip.slot()).enumerate() {
                let row = row + group * GROUP;
                let end = if row < strip.width { strip.width } else { strip.height - strip.start };
                let columns = values.chunks_exact_mut(strip.height).zip(column..);
                for ((to, column), rows) in columns.zip(rows[column * GROUP..].chunks_exact(GROUP)) {
                    let to = &mut to[strip.start + row..][..GROUP.min(end - row)];
                    match (to.first_chunk_mut::<GROUP>(), rows.first_chunk::<GROUP>()) {
                        (Some(to), Some(rows)) if column <= row => *to = *rows,
                        _ => {
                            let (skip, rows) = (column.saturating_sub(row).min(to.len()), &rows[..to.len()]);
                            to[skip..].copy_from_slice(&rows[skip..]);
                        }
                    }
                }
            }
        },
    );
}
