//! Writing a new study file.

use std::path::{Component, Path, PathBuf};

use super::entries::ENTRIES;
use super::keys::{TABLES, Usual};
use super::{FORMAT, StudyFile, StudyFileError};

/// What stands at the top, below a line with the file's name.
const HEAD: &str = "\
#
# A length has its unit: \"20mm\", \"2cm\" or \"0.75in\". An area: \"6mm2\". A share: \"15%\". Paths lead from this folder.
# Where a setting stands behind a #, what it says follows from the picture or from other settings, and the line is an
# example: take the # away to choose for yourself. But for the picture, each setting is an option of the command line
# by the same name, and what is given there wins over this file. What lies below the settings, in double brackets, has no
# option: edits, groups, pairs alike, guide lines and lines left out, each as often as you like.
";

/// A new study file at `path`, for a reference at `reference`: every setting as it usually is.
///
/// Both paths lead from the working folder. Without a SHA-256 the file shows one as an example.
///
/// # Errors
/// [`StudyFileError::Unwritable`] when the reference's path cannot be written as text.
pub fn new_study(path: &Path, reference: &Path, sha256: Option<&str>) -> Result<StudyFile, StudyFileError> {
    let unwritable = || StudyFileError::Unwritable { path: reference.into() };
    let named = path_from(reference, path.parent().unwrap_or(Path::new(""))).ok_or_else(unwritable)?;
    let name: String = path.file_name().unwrap_or_default().to_string_lossy().replace(char::is_control, "?");
    let mut text = format!("# A study, drawn by: merestone draw {name}\n{HEAD}\nformat = {FORMAT}\n");
    for table in TABLES {
        text.push_str(&format!("\n\n# {}.\n[{}]\n", table.remark, table.name));
        for key in table.keys {
            let (mark, value) = match (key.name, key.usual) {
                ("file", _) => ("", named.as_str()),
                ("sha256", usual) => sha256.map_or(("#", usual.text()), |sha256| ("", sha256)),
                (_, Usual::Value(value)) => ("", value),
                (_, Usual::Follows(example)) => ("#", example),
            };
            let literal = key.form.literal(&[value]);
            text.push_str(&format!("\n# {}\n{mark}{} = {literal}\n", key.remark, key.name));
        }
    }
    ENTRIES.iter().for_each(|entries| text.push_str(&entries.shown()));
    StudyFile::from_text(path, text)
}

/// The path that leads from a folder to a file, with slashes as every system reads them; none when it is no text.
///
/// Both lead from the working folder now, or from the root.
#[must_use]
pub fn path_from(file: &Path, folder: &Path) -> Option<String> {
    let path = relative(file, folder);
    let text = path.to_str()?;
    Some(if cfg!(windows) { text.replace('\\', "/") } else { text.into() })
}

/// The path that leads from a folder to a file; as it is where the folders cannot be found out.
fn relative(file: &Path, folder: &Path) -> PathBuf {
    let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    let name = file.file_name().unwrap_or_default();
    let holds = match file.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    let (Ok(holds), Ok(folder)) = (holds.canonicalize(), folder.canonicalize()) else { return file.into() };
    let shared = holds.components().zip(folder.components()).take_while(|(a, b)| a == b).count();
    // On another drive nothing is shared, not even the root.
    if shared == 0 {
        return holds.join(name);
    }
    let up = folder.components().skip(shared).map(|_| Component::ParentDir);
    up.chain(holds.components().skip(shared)).collect::<PathBuf>().join(name)
}
