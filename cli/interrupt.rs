//! Ctrl-C: the run stops at once, nothing is left half-written, exit code 130 (128 plus the signal's number, as
//! shells report it).
//!
//! Folders being filled register here; a signal clears them and ends the program. While finished files are moved
//! into place the signal waits: all of them appear, or none.

use std::io::{self, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// Exit code after a signal.
const STOPPED: i32 = 130;

/// Attempts to clear a side folder into which a thread may still be writing.
const ATTEMPTS: u32 = 100;

/// A folder being filled.
#[derive(Debug, Clone)]
struct Open {
    side: PathBuf,
    /// Folders made by this run, innermost last.
    made: Vec<PathBuf>,
}

static OPEN: Mutex<Vec<Open>> = Mutex::new(Vec::new());

/// Whether a run's files have already been moved into place.
static WRITTEN: AtomicBool = AtomicBool::new(false);

fn open() -> MutexGuard<'static, Vec<Open>> {
    OPEN.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Answers Ctrl-C and requests to end from now on. Where the system refuses, signals end the program in its own way.
pub(crate) fn watch() {
    let _ = ctrlc::set_handler(stop);
}

fn stop() {
    // Held until the end: no new folder is opened, no file moved.
    let all = open();
    for folder in all.iter() {
        clear(&folder.side, &folder.made);
    }
    let line = if io::stderr().is_terminal() { "\r\x1b[K" } else { "" };
    let what = if WRITTEN.load(Ordering::Relaxed) {
        "the files were already written"
    } else {
        "nothing was written"
    };
    let _ = writeln!(io::stderr().lock(), "{line}stopped; {what}");
    std::process::exit(STOPPED);
}

/// Clears a side folder and the empty folders made for it. Best effort: the next run clears what is left.
fn clear(side: &Path, made: &[PathBuf]) {
    for _ in 0..ATTEMPTS {
        if std::fs::remove_dir_all(side).is_ok() || !side.exists() {
            break;
        }
        std::thread::sleep(Duration::from_millis(2));
    }
    for folder in made.iter().rev() {
        let _ = std::fs::remove_dir(folder);
    }
}

/// Runs `make`, which makes a side folder, and remembers what it made, out of reach of signals.
///
/// # Errors
/// Those of `make`.
pub(crate) fn begin<E>(
    make: impl FnOnce() -> Result<(PathBuf, Vec<PathBuf>), E>,
) -> Result<(PathBuf, Vec<PathBuf>), E> {
    let mut all = open();
    let (side, made) = make()?;
    all.push(Open { side: side.clone(), made: made.clone() });
    Ok((side, made))
}

/// Says that files are in their final place; called inside [`end`].
pub(crate) fn written() {
    WRITTEN.store(true, Ordering::Relaxed);
}

/// Runs `last` out of reach of signals; afterwards the side folder is no longer watched.
pub(crate) fn end<T>(side: &Path, last: impl FnOnce() -> T) -> T {
    let mut all = open();
    let done = last();
    all.retain(|folder| folder.side != side);
    done
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clearing_takes_the_side_folder_and_spares_what_was_there() {
        let base = std::env::temp_dir().join(format!("copperbend-{}-clear", std::process::id()));
        let _ = std::fs::remove_dir_all(&base);
        let side = base.join("new/.side");
        std::fs::create_dir_all(&side).expect("makes");
        std::fs::write(base.join("earlier.txt"), b"1").expect("writes");
        std::fs::write(side.join("half"), b"2").expect("writes");
        clear(&side, &[base.clone(), base.join("new")]);
        assert!(!base.join("new").exists(), "the new folder stayed behind");
        assert!(base.join("earlier.txt").exists(), "an older file is gone");
        std::fs::remove_dir_all(&base).expect("clears");
    }
}
