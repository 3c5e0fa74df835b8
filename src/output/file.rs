//! Writing a file whole or not at all.

use super::OutputError;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};
use tempfile::{Builder, NamedTempFile};

/// A file that is whole on the disk, but not under its name yet; dropped, it is gone again.
///
/// Several files appear together or not at all when all are staged before the first is kept.
#[derive(Debug)]
pub struct StagedFile {
    file: NamedTempFile,
    path: PathBuf,
    target: PathBuf,
    overwrite: bool,
}

impl StagedFile {
    /// Writes `bytes` to a temporary file in the folder of `path`.
    ///
    /// # Errors
    /// [`OutputError`] when the file is there and `overwrite` is false, when `path` is no file to write over (a
    /// folder, a device), or when the system refuses.
    pub fn new(path: &Path, bytes: &[u8], overwrite: bool) -> Result<Self, OutputError> {
        // Early refusals save the work; `keep` checks again, so a file that appears meanwhile is safe too.
        match std::fs::metadata(path) {
            Ok(found) if !found.is_file() => return Err(OutputError::NotAFile(path.into())),
            Ok(_) if !overwrite => return Err(OutputError::Exists(path.into())),
            _ => {}
        }
        if path.file_name().is_none() {
            return Err(OutputError::NotAFile(path.into()));
        }
        // Writing through a link changes what it points to, as any other program would.
        let target =
            if overwrite { path.canonicalize().unwrap_or_else(|_| path.into()) } else { path.into() };
        refuse_over_size_limit(path, bytes)?;
        let folder = folder_of(&target);
        let failed = |source: std::io::Error| explain(path, folder, source);

        let mut builder = Builder::new();
        builder.prefix(".merestone-").suffix(".part");
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            // As any new file: the system takes away what the user's mask forbids.
            builder.permissions(std::fs::Permissions::from_mode(0o666));
        }
        let mut file = builder.tempfile_in(folder).map_err(failed)?;
        file.write_all(bytes).map_err(failed)?;
        file.as_file().sync_all().map_err(failed)?;
        Ok(Self { file, path: path.into(), target, overwrite })
    }

    /// Gives the file its name.
    ///
    /// # Errors
    /// [`OutputError`] when a file of that name has appeared meanwhile and may not be overwritten, or when the
    /// system refuses.
    pub fn keep(self) -> Result<(), OutputError> {
        let Self { file, path, target, overwrite } = self;
        let kept = if overwrite { file.persist(&target) } else { file.persist_noclobber(&target) };
        kept.map(|_| ()).map_err(|refused| explain(&path, folder_of(&target), refused.error))
    }
}

/// Writes `bytes` to `path` by way of a temporary file in the same folder, so that the file appears whole or not
/// at all, and a failed write leaves nothing behind.
///
/// # Errors
/// As [`StagedFile::new`] and [`StagedFile::keep`].
pub fn write_file(path: &Path, bytes: &[u8], overwrite: bool) -> Result<(), OutputError> {
    StagedFile::new(path, bytes, overwrite)?.keep()
}

/// The folder in which a file lies.
fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    }
}

/// Refuses what the limit on file sizes would not let through: on Unix, exceeding it ends the program at once
/// and would leave the temporary file behind.
#[cfg(unix)]
fn refuse_over_size_limit(path: &Path, bytes: &[u8]) -> Result<(), OutputError> {
    let limit = rustix::process::getrlimit(rustix::process::Resource::Fsize).current;
    match limit {
        Some(limit) if bytes.len() as u64 > limit => Err(OutputError::FileTooLarge(path.into())),
        _ => Ok(()),
    }
}

#[cfg(not(unix))]
fn refuse_over_size_limit(_path: &Path, _bytes: &[u8]) -> Result<(), OutputError> {
    Ok(())
}

/// The first part of a folder's path that is there but is no folder.
#[must_use]
pub fn file_among(folder: &Path) -> Option<&Path> {
    let there = folder.ancestors().find(|part| part.exists())?;
    (!there.is_dir()).then_some(there)
}

/// The sentence for what the system refused.
fn explain(path: &Path, folder: &Path, source: std::io::Error) -> OutputError {
    let path: PathBuf = path.into();
    match source.kind() {
        ErrorKind::AlreadyExists => OutputError::Exists(path),
        // Some folders take no files and say that the file is not found, /proc for one.
        ErrorKind::NotFound if folder.is_dir() => OutputError::NotPermitted(path),
        ErrorKind::NotFound | ErrorKind::NotADirectory => match file_among(folder) {
            Some(file) => OutputError::FileForFolder(file.into()),
            None => OutputError::NoFolder(folder.into()),
        },
        ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem => OutputError::NotPermitted(path),
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded => OutputError::DiskFull(path),
        ErrorKind::FileTooLarge => OutputError::FileTooLarge(path),
        ErrorKind::IsADirectory => OutputError::NotAFile(path),
        _ => OutputError::Write { path, source },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    fn folder() -> tempfile::TempDir {
        tempfile::tempdir().unwrap_or_else(|e| panic!("{e}"))
    }

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(folder)
            .unwrap_or_else(|e| panic!("{e}"))
            .map(|entry| entry.map_or_else(|e| e.to_string(), |e| e.file_name().to_string_lossy().into()))
            .collect();
        names.sort();
        names
    }

    #[test]
    fn a_file_is_written_whole_and_only_once() {
        let dir = folder();
        let path = dir.path().join("a.svg");
        write_file(&path, b"one", false).unwrap_or_else(|e| panic!("{e}"));
        assert!(matches!(write_file(&path, b"two", false), Err(OutputError::Exists(_))), "not over a file");
        assert_eq!(fs::read(&path).ok().as_deref(), Some(&b"one"[..]), "the first one stays");
        write_file(&path, b"three", true).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(fs::read(&path).ok().as_deref(), Some(&b"three"[..]), "overwritten when allowed");
        assert_eq!(names(dir.path()), ["a.svg"], "nothing else is left in the folder");
    }

    #[test]
    fn what_is_no_file_is_refused() {
        let dir = folder();
        for path in [dir.path().to_path_buf(), dir.path().join(".."), PathBuf::from("/")] {
            assert!(
                matches!(write_file(&path, b"x", true), Err(OutputError::NotAFile(_))),
                "{}",
                path.display()
            );
        }
        let missing = dir.path().join("no/such/a.svg");
        assert!(matches!(write_file(&missing, b"x", false), Err(OutputError::NoFolder(_))), "missing folder");
        let file = dir.path().join("file");
        fs::write(&file, b"x").unwrap_or_else(|e| panic!("{e}"));
        let below = file.join("a.svg");
        assert!(
            matches!(write_file(&below, b"x", false), Err(OutputError::FileForFolder(found)) if found == file),
            "a file is no folder"
        );
        let deeper = file.join("in/it/a.svg");
        assert!(
            matches!(write_file(&deeper, b"x", false), Err(OutputError::FileForFolder(found)) if found == file),
            "nor has it folders"
        );
        assert_eq!(names(dir.path()), ["file"], "nothing is left behind");
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn devices_and_sealed_folders_are_refused() {
        assert!(
            matches!(write_file(Path::new("/dev/null"), b"x", true), Err(OutputError::NotAFile(_))),
            "device"
        );
        // Nobody may make files in /proc, not even root.
        let error = write_file(Path::new("/proc/a.svg"), b"x", false).expect_err("a file in /proc");
        assert!(matches!(error, OutputError::NotPermitted(_) | OutputError::NoFolder(_)), "{error}");
    }

    #[cfg(unix)]
    #[test]
    fn a_new_file_can_be_read_by_others_and_a_link_is_written_through() {
        use std::os::unix::fs::PermissionsExt;
        let dir = folder();
        let (plain, ours, link) =
            (dir.path().join("plain"), dir.path().join("ours"), dir.path().join("link"));
        fs::write(&plain, b"x").unwrap_or_else(|e| panic!("{e}"));
        write_file(&ours, b"x", false).unwrap_or_else(|e| panic!("{e}"));
        let mode =
            |p: &Path| fs::metadata(p).map(|m| m.permissions().mode()).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(mode(&ours), mode(&plain), "the mode of any other new file");
        std::os::unix::fs::symlink(&ours, &link).unwrap_or_else(|e| panic!("{e}"));
        assert!(
            matches!(write_file(&link, b"y", false), Err(OutputError::Exists(_))),
            "not over a link's file"
        );
        write_file(&link, b"y", true).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(fs::read(&ours).ok().as_deref(), Some(&b"y"[..]), "the linked file has changed");
        assert!(fs::symlink_metadata(&link).is_ok_and(|m| m.is_symlink()), "the link is still one");
    }

    #[test]
    fn system_refusals_have_their_own_sentence() {
        let explained = |kind| explain(Path::new("a.svg"), Path::new("."), kind);
        assert!(explained(ErrorKind::StorageFull.into()).to_string().contains("disk is full"), "full disk");
        assert!(
            explained(ErrorKind::PermissionDenied.into()).to_string().contains("not permitted"),
            "sealed"
        );
        assert!(
            explained(ErrorKind::FileTooLarge.into()).to_string().contains("limit on file sizes"),
            "limit"
        );
    }
}
