//! Tickets from files and folders: the door through which they come in.

use std::path::{Component, Path, PathBuf};

use crate::profile::Shelf;
use crate::ticket::{self, Ticket};

use super::output::Console;

/// Longest ticket that is read into memory, bytes. The ticket room's own limit is lower and has the
/// better message; this one only keeps a huge file from being read at all.
const LONGEST_FILE: u64 = 64 << 20;
/// Longest file that a ticket may name, bytes: a traced outline is some kB.
const LONGEST_COMPANION: u64 = 16 << 20;

/// A ticket as read.
#[derive(Debug)]
pub(super) struct Loaded {
    pub(super) text: String,
    pub(super) ticket: Ticket,
}

/// The ticket files that arguments name: files as they are, folders by their `.toml` files, sorted.
pub(super) fn files(arguments: &[PathBuf]) -> Result<Vec<PathBuf>, String> {
    let mut files = vec![];
    for argument in arguments {
        if !argument.is_dir() {
            files.push(argument.clone());
            continue;
        }
        let entries = std::fs::read_dir(argument).map_err(|e| format!("{}: {e}", argument.display()))?;
        let mut found: Vec<PathBuf> = entries
            .filter_map(|entry| entry.ok().map(|e| e.path()))
            .filter(|path| path.extension().is_some_and(|e| e == "toml"))
            .collect();
        found.sort();
        if found.is_empty() {
            return Err(format!("{}: no .toml file in this folder; name a ticket", argument.display()));
        }
        files.extend(found);
    }
    Ok(files)
}

/// Reads one ticket; the message is ready to be shown.
pub(super) fn load(path: &Path, shelf: &Shelf, console: &Console) -> Result<Loaded, String> {
    let name = path.display().to_string();
    let text = read_text(path, LONGEST_FILE).map_err(|problem| format!("{name}: {problem}"))?;
    let folder = path.parent().unwrap_or(Path::new("."));
    let ticket = ticket::read(&text, &name, shelf, &|companion| beside(folder, companion))
        .map_err(|problems| problems.render(console.colour()))?;
    Ok(Loaded { text, ticket })
}

/// A file that a ticket names: beside the ticket or below, nowhere else.
fn beside(folder: &Path, companion: &str) -> Result<String, String> {
    let path = Path::new(companion);
    if !path.components().all(|part| matches!(part, Component::Normal(_) | Component::CurDir)) {
        return Err("it must lie beside the ticket or in a folder there".into());
    }
    read_text(&folder.join(path), LONGEST_COMPANION)
}

/// Text of a file, or what is wrong in plain words.
pub(super) fn read_text(path: &Path, longest: u64) -> Result<String, String> {
    let size = std::fs::metadata(path).map_err(|e| e.to_string())?.len();
    if size > longest {
        return Err(format!("the file has {size} bytes, at most {longest} are read: is it the right file?"));
    }
    let bytes = std::fs::read(path).map_err(|e| e.to_string())?;
    String::from_utf8(bytes).map_err(|e| {
        let line = 1 + e.as_bytes()[..e.utf8_error().valid_up_to()].iter().filter(|&&b| b == b'\n').count();
        format!("line {line} is not UTF-8 text: save the file as UTF-8")
    })
}
