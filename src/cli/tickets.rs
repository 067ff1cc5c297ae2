//! Texts from files and folders: the door through which tickets and programs come in.

use std::fs::{self, File};
use std::io::Read;
use std::path::{Component, Path, PathBuf};

use super::failure::Failure;
use super::kept::{self, Kind};
use super::output::Console;
use super::words::shown;
use crate::frame::Side;
use crate::job::BrokeOff;
use crate::profile::Shelf;
use crate::ticket::{self, FootOrder, Ticket};

/// Longest ticket that is read into memory, bytes. The ticket room's own limit is lower and has the
/// better message; this one only keeps a huge file from being read at all.
const LONGEST_FILE: usize = 64 << 20;
/// Longest file that a ticket may name, bytes: a traced outline is some kB.
const LONGEST_COMPANION: usize = 16 << 20;

/// A ticket as read.
#[derive(Debug)]
pub(super) struct Loaded {
    pub(super) path: PathBuf,
    pub(super) text: String,
    pub(super) ticket: Ticket,
}

impl Loaded {
    /// The order of one foot.
    pub(super) fn foot(&self, side: Side) -> Result<&FootOrder, Failure> {
        let found = self.ticket.feet.iter().find(|order| order.side == side);
        found.ok_or_else(|| Failure::of(&self.path, format!("the ticket has no {} foot", side.name())))
    }
}

/// The tickets that arguments name, read: files as they are, folders by their `.toml` files in the
/// order of their names, without pages of measures that lie beside their tickets. What cannot be read stops only itself.
pub(super) fn load_all(arguments: &[PathBuf], shelf: &Shelf, console: &Console) -> Vec<Result<Loaded, Failure>> {
    arguments.iter().flat_map(|path| files(path, console)).map(|path| load(&path?, shelf)).collect()
}

/// What is said of a ticket at whose work the program broke off.
pub(super) fn broke_off(ticket: Option<&Result<Loaded, Failure>>, why: &BrokeOff) -> Failure {
    match ticket {
        Some(Ok(loaded)) => Failure::of(&loaded.path, why),
        _ => Failure::new(why.to_string()),
    }
}

/// Reads one ticket.
pub(super) fn load(path: &Path, shelf: &Shelf) -> Result<Loaded, Failure> {
    let text = read_ticket(path)?;
    let ticket = read(path, &text, shelf)?;
    Ok(Loaded { path: path.to_owned(), text, ticket })
}

/// The ticket that a text is when it stands at `path`, with what it names beside it.
pub(super) fn read(path: &Path, text: &str, shelf: &Shelf) -> Result<Ticket, Failure> {
    let folder = path.parent().unwrap_or(Path::new("."));
    let name = shown(path);
    ticket::read(text, &name, shelf, &|companion| beside(folder, companion)).map_err(|problems| match measured(text) {
        Some(code) => {
            Failure::of(path, format!("these are the measures of {code}: `sustent intake` makes a ticket of them"))
        }
        None => Failure::of_problems(path, problems),
    })
}

/// Whose measures a text is; `None` where it is none.
fn measured(text: &str) -> Option<String> {
    kept::head(text).and_then(|(code, kind, _)| (kind == Kind::Measures).then_some(code))
}

/// Whether a text says that it is a ticket.
pub(super) fn is_ticket(text: &str) -> bool {
    kept::head(text).is_some_and(|(_, kind, _)| kind == Kind::Ticket)
}

/// Text of a ticket.
pub(super) fn read_ticket(path: &Path) -> Result<String, Failure> {
    read_text(path, LONGEST_FILE)
}

/// Text of a file.
pub(super) fn read_text(path: &Path, longest: usize) -> Result<String, Failure> {
    let bytes = read_bytes(path, longest)?;
    String::from_utf8(bytes).map_err(|error| {
        let good = &error.as_bytes()[..error.utf8_error().valid_up_to()];
        let line_start = good.iter().rposition(|&b| b == b'\n').map_or(0, |at| at + 1);
        let line = 1 + good.iter().filter(|&&b| b == b'\n').count();
        let column = 1 + String::from_utf8_lossy(&good[line_start..]).chars().count();
        Failure::at(path, line, column, "this is not UTF-8 text", "is it the right file? save it as UTF-8")
    })
}

/// Bytes of a file, at most `longest`: whatever the path leads to, no more is read.
pub(super) fn read_bytes(path: &Path, longest: usize) -> Result<Vec<u8>, Failure> {
    if path.is_dir() {
        return Err(Failure::of(path, "this is a folder; name a file"));
    }
    let mut bytes = vec![];
    let file = File::open(path).map_err(|e| Failure::of_io(path, &e))?;
    file.take(longest as u64 + 1).read_to_end(&mut bytes).map_err(|e| Failure::of_io(path, &e))?;
    if bytes.len() > longest {
        return Err(Failure::of(path, format!("more than {longest} bytes, which is the most that is read")));
    }
    Ok(bytes)
}

/// A file to be read bit by bit, and its length, bytes.
pub(super) fn open_file(path: &Path) -> Result<(File, u64), Failure> {
    if path.is_dir() {
        return Err(Failure::of(path, "this is a folder; name a file"));
    }
    let file = File::open(path).map_err(|e| Failure::of_io(path, &e))?;
    let size = file.metadata().map_err(|e| Failure::of_io(path, &e))?.len();
    Ok((file, size))
}

/// The files with this ending in a folder, by name.
pub(super) fn toml_files(folder: &Path) -> std::io::Result<Vec<PathBuf>> {
    let mut found = vec![];
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        // What is hidden is not meant: a copy that some system keeps, or what a run that broke off has left.
        if path.file_name().is_some_and(|name| name.to_string_lossy().starts_with('.')) {
            continue;
        }
        if path.extension().is_some_and(|e| e.eq_ignore_ascii_case("toml")) {
            found.push(path);
        }
    }
    found.sort();
    Ok(found)
}

fn files(argument: &Path, console: &Console) -> Vec<Result<PathBuf, Failure>> {
    if !argument.is_dir() {
        return vec![Ok(argument.to_owned())];
    }
    let found = match toml_files(argument) {
        Err(error) => return vec![Err(Failure::of_io(argument, &error))],
        Ok(none) if none.is_empty() => {
            return vec![Err(Failure::of(argument, "there is no .toml file in this folder; name a ticket"))];
        }
        Ok(found) => found,
    };
    let is_plain = |path: &PathBuf| !fs::metadata(path).is_ok_and(|there| !there.is_file() && !there.is_dir());
    let (found, odd): (Vec<PathBuf>, Vec<PathBuf>) = found.into_iter().partition(is_plain);
    let is_measured = |path: &PathBuf| read_ticket(path).is_ok_and(|text| measured(&text).is_some());
    let (measures, tickets): (Vec<PathBuf>, Vec<PathBuf>) = found.into_iter().partition(is_measured);
    if tickets.is_empty() && odd.is_empty() {
        let only = "there are only measures in this folder, and no ticket; `sustent intake` makes one of them";
        return vec![Err(Failure::of(argument, only))];
    }
    for path in measures {
        console.aside(&format!("passed over: {}: these are measures", path.display()));
    }
    let odd = odd.into_iter().map(|path| Err(Failure::of(&path, "this is no plain file")));
    tickets.into_iter().map(Ok).chain(odd).collect()
}

/// A file that a ticket names: beside the ticket or below, nowhere else.
pub(super) fn beside(folder: &Path, companion: &str) -> Result<String, String> {
    let path = Path::new(companion);
    if !path.components().all(|part| matches!(part, Component::Normal(_) | Component::CurDir)) {
        return Err("it must lie beside the ticket or in a folder there".into());
    }
    read_text(&folder.join(path), LONGEST_COMPANION).map_err(|failure| failure.of_what().to_owned())
}
