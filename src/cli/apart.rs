//! What a verb writes is none of what it reads: a slip on the command line must not cost a scan.

use std::ffi::OsString;
use std::path::{Path, PathBuf};

use super::failure::Failure;
use super::folder::folder_of;

/// A file that is read or written, and what it is to the user.
type Named<'a> = (&'a str, Option<&'a Path>);

/// Refuses when a file to write is one of those that are read, or when two files to write are the
/// same, however they are spelt.
pub(super) fn keep_apart(read: &[Named], written: &[Named]) -> Result<(), Failure> {
    let known = |named: &[Named]| -> Vec<(String, PathBuf, Identity)> {
        let file = |(what, path): &Named| Some((what.to_string(), (*path)?.to_path_buf(), identity((*path)?)));
        named.iter().filter_map(file).collect()
    };
    let mut taken = known(read);
    for (what, path, own) in known(written) {
        if let Some((other, ..)) = taken.iter().find(|(_, _, there)| *there == own) {
            return Err(Failure::of(
                &path,
                format!("this is {other}, so {what} cannot be written there; name another file"),
            ));
        }
        taken.push((what, path, own));
    }
    Ok(())
}

/// Whether two paths are one file, however they are spelt.
pub(super) fn same(a: &Path, b: &Path) -> bool {
    identity(a) == identity(b)
}

/// What makes two paths the same file: its real folder and its name there.
#[derive(PartialEq)]
enum Identity {
    /// All links followed.
    There(PathBuf),
    /// Nothing stands there yet.
    NotYet(PathBuf, OsString),
}

fn identity(path: &Path) -> Identity {
    if let Ok(real) = path.canonicalize() {
        return Identity::There(real);
    }
    let folder = folder_of(path);
    let folder = folder.canonicalize().unwrap_or_else(|_| folder.to_path_buf());
    Identity::NotYet(folder, path.file_name().unwrap_or_default().to_os_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ticket::Colour;

    #[test]
    fn the_same_file_is_known_however_it_is_spelt() {
        let folder = tempfile::tempdir().unwrap();
        let ticket = folder.path().join("ticket.toml");
        std::fs::write(&ticket, "x").unwrap();
        let same = folder.path().join(".").join("ticket.toml");
        let failure = keep_apart(&[("the ticket", Some(&ticket))], &[("the record", Some(&same))]).unwrap_err();
        assert!(failure.words(Colour::Plain).contains("this is the ticket, so the record cannot be written there"));
        let [new, same_new] = ["new.html", "./new.html"].map(|name| folder.path().join(name));
        assert!(keep_apart(&[], &[("the record", Some(&new)), ("the log", Some(&same_new))]).is_err());
        let other = folder.path().join("log.jsonl");
        let written = [("the record", Some(new.as_path())), ("the log", Some(other.as_path())), ("the map", None)];
        assert!(keep_apart(&[("the ticket", Some(&ticket))], &written).is_ok());
    }

    #[cfg(unix)]
    #[test]
    fn a_link_is_what_it_leads_to() {
        let folder = tempfile::tempdir().unwrap();
        let (scan, link) = (folder.path().join("scan.ply"), folder.path().join("link.html"));
        std::fs::write(&scan, "x").unwrap();
        std::os::unix::fs::symlink(&scan, &link).unwrap();
        assert!(keep_apart(&[("the scan", Some(&scan))], &[("the record", Some(&link))]).is_err());
    }
}
