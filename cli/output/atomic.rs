//! A folder that receives a run's files all together or not at all.
//!
//! Input: names and bytes. Output: files under their final names. Every file is first written in full to a side
//! folder inside the target and only then renamed into place; an error or a stop in between leaves the target's
//! own files as they were.

use crate::failure::Failure;
use crate::interrupt;
use rayon::prelude::*;
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::mpsc::Receiver;

/// Name of the side folder.
const SIDE: &str = ".unfinished";

/// A folder being filled.
#[derive(Debug)]
pub(crate) struct OutFolder {
    target: PathBuf,
    side: PathBuf,
    /// Folders made by this run, innermost last.
    made: Vec<PathBuf>,
    names: Vec<String>,
    done: bool,
}

impl OutFolder {
    /// Makes the folder if need be and checks that files can be written, before any long work.
    ///
    /// # Errors
    /// The folder cannot be made or written to.
    pub(crate) fn open(target: &Path) -> Result<Self, Failure> {
        let (side, made) = interrupt::begin(|| make(target))?;
        Ok(Self { target: target.to_path_buf(), side, made, names: Vec::new(), done: false })
    }

    /// Writes one file to the side folder.
    ///
    /// # Errors
    /// The file cannot be written in full (disk full, no permission).
    pub(crate) fn put(&mut self, name: &str, bytes: &[u8]) -> Result<(), Failure> {
        self.write(name, bytes)?;
        self.names.push(name.to_owned());
        Ok(())
    }

    /// Writes several files to the side folder at the same time.
    ///
    /// # Errors
    /// A file cannot be written in full; of several the first in the list is named.
    pub(crate) fn put_all(&mut self, files: &[(String, Vec<u8>)]) -> Result<(), Failure> {
        let written: Vec<Result<(), Failure>> =
            files.par_iter().map(|(name, bytes)| self.write(name, bytes)).collect();
        written.into_iter().collect::<Result<Vec<()>, Failure>>()?;
        self.names.extend(files.iter().map(|(name, _)| name.clone()));
        Ok(())
    }

    /// Writes files to the side folder as they come, until the other end of the channel is dropped.
    ///
    /// # Errors
    /// As [`Self::put`]; what comes after the first error is not written.
    pub(crate) fn put_as_they_come(&mut self, files: &Receiver<(String, Vec<u8>)>) -> Result<(), Failure> {
        files.iter().try_for_each(|(name, bytes)| self.put(&name, &bytes))
    }

    /// Names of the files written.
    pub(crate) fn names(&self) -> &[String] {
        &self.names
    }

    /// Orders the files by name, with this one at the end.
    pub(crate) fn sort(&mut self, last: &str) {
        self.names.sort_by(|a, b| (a == last, a).cmp(&(b == last, b)));
    }

    fn write(&self, name: &str, bytes: &[u8]) -> Result<(), Failure> {
        let written = fs::File::create(self.side.join(name)).and_then(|mut file| {
            file.write_all(bytes)?;
            file.sync_all()
        });
        written.map_err(|e| cannot("write", &self.target.join(name), &e))
    }

    /// Renames every file into place and returns their paths.
    ///
    /// # Errors
    /// A file cannot be renamed.
    pub(crate) fn finish(mut self) -> Result<Vec<PathBuf>, Failure> {
        let moved = interrupt::end(&self.side, || {
            let mut paths = Vec::new();
            for name in &self.names {
                let to = self.target.join(name);
                fs::rename(self.side.join(name), &to).map_err(|e| cannot("write", &to, &e))?;
                paths.push(to);
            }
            interrupt::written();
            Ok(paths)
        });
        self.done = moved.is_ok();
        moved
    }
}

/// Makes the target if need be and the side folder in it: the side folder and the folders made, innermost last.
fn make(target: &Path) -> Result<(PathBuf, Vec<PathBuf>), Failure> {
    let mut made = Vec::new();
    let mut missing: Vec<&Path> =
        target.ancestors().take_while(|p| !p.as_os_str().is_empty() && !p.exists()).collect();
    missing.reverse();
    for folder in missing {
        fs::create_dir(folder).map_err(|e| cannot("make the folder", folder, &e))?;
        made.push(folder.to_path_buf());
    }
    if !target.is_dir() {
        return Err(Failure::new(
            format!("{}: this is not a folder", target.display()),
            "name a folder with --out",
        ));
    }
    let side = target.join(SIDE);
    if side.exists() {
        fs::remove_dir_all(&side).map_err(|e| cannot("clear", &side, &e))?;
    }
    fs::create_dir(&side).map_err(|e| cannot("write to the folder", target, &e))?;
    Ok((side, made))
}

impl Drop for OutFolder {
    fn drop(&mut self) {
        // Best effort: what is left behind is only the side folder, which the next run clears.
        interrupt::end(&self.side, || {
            let _ = fs::remove_dir_all(&self.side);
            if !self.done {
                for folder in self.made.iter().rev() {
                    let _ = fs::remove_dir(folder);
                }
            }
        });
    }
}

/// An error of the file system in words, with what to do.
pub(crate) fn cannot(what: &str, path: &Path, e: &io::Error) -> Failure {
    let remedy = match e.kind() {
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
            "choose another folder with --out, or change the permissions"
        }
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
            "free some space or choose another disk with --out; nothing was left half-written"
        }
        io::ErrorKind::NotFound => "check the path",
        io::ErrorKind::NotADirectory | io::ErrorKind::AlreadyExists => {
            "a file of that name is in the way; choose another folder with --out"
        }
        _ => "check the disk and the path",
    };
    Failure::new(format!("{}: cannot {what}: {e}", path.display()), remedy)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scratch(name: &str) -> PathBuf {
        let folder = std::env::temp_dir().join(format!("copperbend-{}-{name}", std::process::id()));
        let _ = fs::remove_dir_all(&folder);
        folder
    }

    #[test]
    fn files_appear_together_at_the_end() {
        let folder = scratch("together");
        let mut out = OutFolder::open(&folder.join("deep/er")).expect("opens");
        out.put("a.txt", b"one").expect("writes");
        out.put("b.txt", b"two").expect("writes");
        assert!(!folder.join("deep/er/a.txt").exists(), "a file appeared early");
        let paths = out.finish().expect("finishes");
        assert_eq!(paths.len(), 2, "both files are reported");
        assert_eq!(fs::read(folder.join("deep/er/b.txt")).expect("there"), b"two", "content");
        let left = fs::read_dir(folder.join("deep/er")).expect("there").count();
        assert_eq!(left, 2, "the side folder stayed behind");
        fs::remove_dir_all(&folder).expect("clears");
    }

    #[test]
    fn given_up_run_leaves_earlier_files_and_no_new_folder() {
        let folder = scratch("given-up");
        fs::create_dir(&folder).expect("makes");
        fs::write(folder.join("a.txt"), b"earlier").expect("writes");
        let mut out = OutFolder::open(&folder).expect("opens");
        out.put("a.txt", b"later").expect("writes");
        drop(out);
        assert_eq!(fs::read(folder.join("a.txt")).expect("there"), b"earlier", "an old result was touched");
        drop(OutFolder::open(&folder.join("new")).expect("opens"));
        assert!(!folder.join("new").exists(), "an empty folder stayed behind");
        fs::remove_dir_all(&folder).expect("clears");
    }

    #[test]
    fn file_in_the_way_is_named() {
        let folder = scratch("in-the-way");
        fs::write(&folder, b"a file").expect("writes");
        let text = OutFolder::open(&folder).expect_err("a file is no folder").to_string();
        assert!(text.contains("not a folder") && text.contains("--out"), "{text}");
        let text = OutFolder::open(&folder.join("x")).expect_err("below a file").to_string();
        assert!(text.contains("--out") || text.contains("path"), "{text}");
        fs::remove_file(&folder).expect("clears");
    }
}
