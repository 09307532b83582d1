//! Buffers kept alive between factorisations, since fresh memory costs more than the arithmetic of a small front.

use super::LinearError;
use std::sync::{Mutex, PoisonError};

/// Free buffers.
#[derive(Debug, Default)]
pub(super) struct Pool {
    free: Mutex<Vec<Vec<f64>>>,
}

impl Pool {
    /// A buffer of at least `len` entries with any content: the smallest free one that fits, else a new one.
    pub(super) fn take(&self, len: usize) -> Result<Vec<f64>, LinearError> {
        if len == 0 {
            return Ok(Vec::new());
        }
        let mut free = self.free.lock().unwrap_or_else(PoisonError::into_inner);
        let fitting = best_fit(free.iter().map(Vec::len), len);
        let taken = fitting.map(|i| free.swap_remove(i));
        drop(free);
        taken.map_or_else(|| zeros(len), Ok)
    }

    /// Gives a buffer back.
    pub(super) fn give(&self, buffer: Vec<f64>) {
        if !buffer.is_empty() {
            self.free.lock().unwrap_or_else(PoisonError::into_inner).push(buffer);
        }
    }

    /// Entries of all free buffers.
    pub(super) fn entries(&self) -> usize {
        self.free.lock().unwrap_or_else(PoisonError::into_inner).iter().map(Vec::len).sum()
    }
}

/// Place of the smallest size that is at least `wanted`.
pub(super) fn best_fit(sizes: impl Iterator<Item = usize>, wanted: usize) -> Option<usize> {
    sizes.enumerate().filter(|(_, size)| *size >= wanted).min_by_key(|(_, size)| *size).map(|(i, _)| i)
}

/// Zeros, asked for politely. The pages are touched by whoever writes them first.
pub(super) fn zeros(len: usize) -> Result<Vec<f64>, LinearError> {
    let mut asked = Vec::<f64>::new();
    asked.try_reserve_exact(len).map_err(|_| LinearError::OutOfMemory)?;
    drop(asked);
    Ok(vec![0.0; len])
}
