//! What a folder keeps of a code: tickets, measures, jobs, lines of inspection logs, archives, and other files that name it.

use std::borrow::Cow;
use std::collections::BTreeSet;
use std::fs;
use std::io::Read;
use std::path::{Component, Path, PathBuf};

use serde::Serialize;

use super::failure::Failure;
use super::folder::{HIDDEN, LONGEST_REPORT, REPORT, folder_of};
use super::tickets::{open_file, read_bytes};
use super::{archive, folder, log};
use crate::ticket;
use crate::written::{Draft, Stands};

/// What something that is kept is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum Kind {
    /// A page of measured feet.
    Measures,
    /// A ticket.
    Ticket,
    /// The folder of a milled job.
    Job,
    /// Lines of an inspection log.
    Log,
    /// A drawing that its ticket or measures name, such as a footprint.
    Drawing,
    /// An archive that this program made.
    Archive,
    /// Another file that names the code: a page, a drawing, a note.
    Other,
}

impl Kind {
    pub(super) fn words(self) -> &'static str {
        match self {
            Kind::Measures => "measures",
            Kind::Ticket => "ticket",
            Kind::Job => "job",
            Kind::Log => "inspection",
            Kind::Drawing => "drawing",
            Kind::Archive => "archive",
            Kind::Other => "names it",
        }
    }
}

/// Something that is kept of one code.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub(super) struct Kept {
    pub(super) code: String,
    pub(super) kind: Kind,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) revision: Option<i64>,
    /// Within the folder that was looked through.
    pub(super) file: PathBuf,
    /// How many records of a log are this code's.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) lines: Option<usize>,
}

/// What was found in a folder, and what could not be looked into.
#[derive(Debug, Default)]
pub(super) struct Found {
    /// Sorted by code, kind, revision and place.
    pub(super) kept: Vec<Kept>,
    /// Where one code was asked for: what is kept of all others.
    pub(super) of_others: Vec<Kept>,
    /// Files and folders that could not be read.
    pub(super) unread: Vec<Failure>,
    /// Folders in which a run that broke off has left something.
    pub(super) littered: Vec<PathBuf>,
}

/// How deep folders in folders are looked through: a shop's shelves, not a whole disk.
const DEEPEST: usize = 12;

/// Most files and folders that are looked at.
const MOST: usize = 1_000_000;

/// Longest file whose text is searched for a code in one piece, bytes.
const LONGEST_SEARCHED: usize = 64 << 20;

/// What pieces of a longer one have in common, bytes, so that no code falls between them.
const SHARED: usize = 1 << 10;

/// Looks through a folder and those in it for what is kept: of every code, or of one; only of that one are other files
/// found, by the code in their text, their name or the folder they lie in. Links are not followed.
pub(super) fn look(folder: &Path, code: Option<&str>) -> Result<Found, Failure> {
    if !folder.is_dir() {
        return Err(Failure::of(folder, "this is no folder; --in names the folder to look through"));
    }
    if job(folder).is_some() {
        return Err(Failure::of(folder, "this is the folder of one job; name the folder in which it lies"));
    }
    let place = folder.canonicalize().ok().and_then(|folder| folder.file_name().map(PathBuf::from));
    let mut search =
        Search { root: folder, place, code, others: vec![], within: None, found: Found::default(), looked_at: 0 };
    if let Some(code) = code {
        let all = look(folder, None)?.kept;
        search.others = others(&all, code);
        search.found.of_others = all.into_iter().filter(|kept| kept.code != code).collect();
    }
    search.folder(folder, 0);
    let mut found = search.found;
    found.kept.retain(|kept| code.is_none_or(|code| kept.code == code));
    found.kept.sort();
    // One drawing of both feet, or one that names the code too, is there once.
    found.kept.dedup();
    let of_kinds = |found: &Found, kinds: &[Kind]| -> Vec<Kept> {
        found.kept.iter().filter(|kept| kinds.contains(&kept.kind)).cloned().collect()
    };
    // What lies in a job's folder goes with the job, and a record stays one, whoever calls it a drawing.
    let known = of_kinds(&found, &[Kind::Job, Kind::Measures, Kind::Ticket, Kind::Log, Kind::Archive]);
    let is_known = |kept: &Kept| known.iter().any(|own| own.code == kept.code && kept.file.starts_with(&own.file));
    found.kept.retain(|kept| kept.kind != Kind::Drawing || !is_known(kept));
    let drawings = of_kinds(&found, &[Kind::Drawing]);
    let is_drawing = |kept: &Kept| drawings.iter().any(|own| (&own.code, &own.file) == (&kept.code, &kept.file));
    found.kept.retain(|kept| kept.kind != Kind::Other || !is_drawing(kept));
    Ok(found)
}

/// The codes that are kept and have this one in them as a word, the longest first: PATROL-1-B for PATROL-1.
pub(super) fn others(kept: &[Kept], code: &str) -> Vec<String> {
    let mut others: Vec<String> = kept.iter().map(|kept| kept.code.clone()).collect();
    others.retain(|other| other != code && names(other, code));
    others.sort_by(|a, b| b.len().cmp(&a.len()).then(a.cmp(b)));
    others.dedup();
    others
}

struct Search<'a> {
    root: &'a Path,
    /// The name of the root, which `.` does not say.
    place: Option<PathBuf>,
    code: Option<&'a str>,
    /// Codes that name this one and are somebody else's.
    others: Vec<String>,
    /// Whose job's folder is being looked through: what is in it of the same code is part of the job.
    within: Option<String>,
    found: Found,
    looked_at: usize,
}

impl Search<'_> {
    fn folder(&mut self, folder: &Path, depth: usize) {
        if depth > DEEPEST {
            self.unread(Failure::of(folder, format!("more than {DEEPEST} folders deep, not looked into")));
            return;
        }
        let Some((code, revision)) = job(folder) else { return self.entries(folder, depth, &BTreeSet::new()) };
        self.keep(code.clone(), Kind::Job, revision, folder, None);
        let outer = self.within.replace(code);
        self.entries(folder, depth, &folder::own_names(folder));
        self.within = outer;
    }

    /// Looks at what is in a folder, but for files that are known.
    fn entries(&mut self, folder: &Path, depth: usize, known: &BTreeSet<String>) {
        let entries = match fs::read_dir(folder) {
            Ok(entries) => entries,
            Err(error) => return self.unread(Failure::of_io(folder, &error)),
        };
        let mut paths: Vec<PathBuf> = entries.filter_map(|entry| Some(entry.ok()?.path())).collect();
        paths.sort();
        for path in paths {
            self.looked_at += 1;
            if self.looked_at > MOST {
                return self.unread(Failure::of(folder, format!("more than {MOST} files, the rest was not looked at")));
            }
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            if known.contains(&*name) {
                continue;
            }
            let hidden = name.starts_with(HIDDEN);
            if hidden && self.found.littered.last().is_none_or(|last| last != folder) {
                self.found.littered.push(folder.to_path_buf());
            }
            match fs::symlink_metadata(&path) {
                Ok(there) if there.is_dir() && !hidden => self.folder(&path, depth + 1),
                Ok(there) if there.is_file() && !hidden => self.file(&path, there.len()),
                Ok(_) => {}
                Err(error) => self.unread(Failure::of_io(&path, &error)),
            }
        }
    }

    fn file(&mut self, path: &Path, bytes: u64) {
        let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or_default().to_ascii_lowercase();
        if archive::is_zip(path)
            && let Some(code) = archive::code_of(path)
        {
            return self.keep(code, Kind::Archive, None, path, None);
        }
        let is_log = match log::is_log(path) {
            Ok(is_log) => is_log,
            Err(failure) => return self.unread(failure),
        };
        // Without a code only the program's own records count.
        if self.code.is_none() && !is_log && ending != "toml" {
            return;
        }
        let longest = if is_log { log::LONGEST_LOG } else { LONGEST_SEARCHED };
        if bytes > longest as u64 && !is_log {
            return self.long(path);
        }
        match read_bytes(path, longest) {
            Ok(bytes) if is_log => self.log(path, &decoded(&bytes)),
            Ok(bytes) => self.text(path, &ending, &bytes),
            Err(failure) => self.unread(failure),
        }
    }

    /// A file that is too long to be ours or to be read at once.
    fn long(&mut self, path: &Path) {
        match self.is_named_within(path) {
            Ok(true) => self.other(path, self.code),
            Ok(false) => self.other(path, None),
            Err(failure) => self.unread(failure),
        }
    }

    /// Whether a file names the code, piece by piece.
    fn is_named_within(&self, path: &Path) -> Result<bool, Failure> {
        let (mut file, _) = open_file(path)?;
        let mut piece = vec![];
        loop {
            let read = file.by_ref().take(LONGEST_SEARCHED as u64).read_to_end(&mut piece);
            if read.map_err(|e| Failure::of_io(path, &e))? == 0 {
                return Ok(false);
            }
            if self.is_named(&String::from_utf8_lossy(&piece)) {
                return Ok(true);
            }
            piece.drain(..piece.len().saturating_sub(SHARED));
        }
    }

    fn text(&mut self, path: &Path, ending: &str, bytes: &[u8]) {
        let text = decoded(bytes);
        let own = (ending == "toml").then(|| head(&text)).flatten();
        let is_record = own.is_some();
        if let Some((code, kind, revision)) = own.filter(|(code, ..)| self.code.is_none_or(|wanted| wanted == code)) {
            for drawing in drawings(&text) {
                if let Some(path) = below(folder_of(path), &drawing) {
                    self.keep(code.clone(), Kind::Drawing, None, &path, None);
                }
            }
            return self.keep(code, kind, revision, path, None);
        }
        // Another's record says itself whose it is, wherever it lies.
        if !is_record || self.is_named_by(path, Some(&text)) {
            self.other(path, Some(&text));
        }
    }

    fn log(&mut self, path: &Path, text: &str) {
        let mut codes: Vec<Cow<'_, str>> = text.lines().filter_map(log::code_of).collect();
        codes.sort_unstable();
        for lines in codes.chunk_by(|a, b| a == b) {
            self.keep(lines[0].clone().into_owned(), Kind::Log, None, path, Some(lines.len()));
        }
        // The records of others may name the code in their notes, and what is no record anywhere.
        let is_own = |line: &str| log::code_of(line).is_some_and(|own| Some(&*own) == self.code);
        let names = |line: &str| self.is_named(&log::note_of(line).unwrap_or(line.into()));
        if let Some(code) = self.code
            && text.lines().filter(|line| !is_own(line)).any(names)
        {
            self.keep(code.to_owned(), Kind::Other, None, path, None);
        }
    }

    /// A file that is none of ours, where its name, its text or a folder in which it lies names the code.
    fn other(&mut self, path: &Path, text: Option<&str>) {
        let Some(code) = self.code else { return };
        if self.is_named_by(path, text) || self.is_in_named_folder(path) {
            self.keep(code.to_owned(), Kind::Other, None, path, None);
        }
    }

    /// Whether a file lies in a folder that names the code, and is not another's all the same: by its name, as a drawing
    /// of another's ticket, or with another's job.
    fn is_in_named_folder(&self, path: &Path) -> bool {
        let file = path.strip_prefix(self.root).unwrap_or(path);
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        let is_anothers = self.within.as_deref().is_some_and(|within| Some(within) != self.code)
            || self.found.of_others.iter().any(|kept| file.starts_with(&kept.file) || names(&name, &kept.code));
        let mut folders =
            self.place.as_deref().into_iter().chain(file.parent()).flat_map(|folders| folders.components());
        !is_anothers && folders.any(|folder| self.is_named(&folder.as_os_str().to_string_lossy()))
    }

    /// Whether a file's name or its text names the code.
    fn is_named_by(&self, path: &Path, text: Option<&str>) -> bool {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        self.is_named(&name) || text.is_some_and(|text| self.is_named(text))
    }

    /// Whether a text names the code; where only a longer one stands, it does not.
    fn is_named(&self, text: &str) -> bool {
        let Some(code) = self.code else { return false };
        let own = || self.others.iter().fold(text.to_owned(), |text, other| text.replace(other, ""));
        names(text, code) && (self.others.is_empty() || names(&own(), code))
    }

    fn keep(&mut self, code: String, kind: Kind, revision: Option<i64>, path: &Path, lines: Option<usize>) {
        // What is of the job's own code goes with it, but for an archive, which is to last.
        if self.within.as_ref() == Some(&code) && kind != Kind::Archive {
            return;
        }
        let file = path.strip_prefix(self.root).unwrap_or(path).to_path_buf();
        self.found.kept.push(Kept { code, kind, revision, file, lines });
    }

    fn unread(&mut self, failure: Failure) {
        self.found.unread.push(failure);
    }
}

/// Code and revision of the job whose folder this is: it has the job's name, or files of it lie beside the report.
fn job(folder: &Path) -> Option<(String, Option<i64>)> {
    let bytes = read_bytes(&folder.join(REPORT), LONGEST_REPORT).ok()?;
    let report: serde_json::Value = serde_json::from_slice(&bytes).ok()?;
    let (code, revision) = (report["ticket"].as_str()?.to_owned(), report["revision"].as_i64());
    let beside = || folder::own_names(folder).iter().any(|name| name != REPORT && folder.join(name).is_file());
    let ours = report["program"] == env!("CARGO_PKG_NAME");
    (ours && (is_as_milled(folder, &code, revision) || beside())).then_some((code, revision))
}

/// Whether a folder has the name that `mill` gave it.
pub(super) fn is_as_milled(folder: &Path, code: &str, revision: Option<i64>) -> bool {
    let name = revision.map(|revision| ticket::job_name(code, revision));
    name.is_some_and(|name| folder.file_name().is_some_and(|own| *own == *name))
}

/// A text as UTF-8 or, where it begins so, as UTF-16; what cannot be read of it does not matter here.
fn decoded(bytes: &[u8]) -> Cow<'_, str> {
    let units = |one: fn([u8; 2]) -> u16| bytes[2..].chunks_exact(2).map(|c| one([c[0], c[1]])).collect::<Vec<u16>>();
    match bytes {
        [0xff, 0xfe, ..] => String::from_utf16_lossy(&units(u16::from_le_bytes)).into(),
        [0xfe, 0xff, ..] => String::from_utf16_lossy(&units(u16::from_be_bytes)).into(),
        _ => String::from_utf8_lossy(bytes),
    }
}

/// The file of this name in a folder or below; `None` where there is none, or where a link leads to it from elsewhere.
fn below(folder: &Path, name: &Path) -> Option<PathBuf> {
    let name: PathBuf = name.components().filter(|part| matches!(part, Component::Normal(_))).collect();
    let path = folder.join(&name);
    let is_there = path.canonicalize().ok()? == folder.canonicalize().ok()?.join(name);
    (is_there && path.is_file()).then_some(path)
}

/// The drawings that a ticket or measures name, beside them or below.
fn drawings(text: &str) -> Vec<PathBuf> {
    let Some(draft) = Draft::of(text) else { return vec![] };
    let named = ["left", "right"]
        .into_iter()
        .flat_map(|side| [draft.at(&[side, "footprint"]), draft.at(&["boot", "stock_insole", "outline", side])]);
    let names = named.filter_map(|stands| match stands {
        Stands::Text(name) => Some(PathBuf::from(name)),
        _ => None,
    });
    let below = |path: &PathBuf| path.components().all(|part| matches!(part, Component::Normal(_) | Component::CurDir));
    names.filter(below).collect()
}

/// Whose ticket or measures a text is, and of which revision, however wrong its values may be.
pub(super) fn head(text: &str) -> Option<(String, Kind, Option<i64>)> {
    let draft = Draft::of(text)?;
    let code = |section: &str| match draft.at(&[section, "code"]) {
        Stands::Text(code) => Some(code),
        _ => None,
    };
    if let Some(code) = code("ticket") {
        let revision = match draft.at(&["ticket", "revision"]) {
            Stands::Whole(revision) => Some(revision),
            _ => Some(1),
        };
        return Some((code, Kind::Ticket, revision));
    }
    code("person").map(|code| (code, Kind::Measures, None))
}

/// Whether a text names a code as a word of its own: PATROL-1 is not named by PATROL-12, but it is by PATROL-1-r2.
fn names(text: &str, code: &str) -> bool {
    let within = |c: Option<char>| c.is_some_and(|c| c.is_ascii_alphanumeric());
    text.match_indices(code).any(|(at, _)| {
        let (before, after) = (text[..at].chars().next_back(), text[at + code.len()..].chars().next());
        !within(before) && !within(after)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_is_a_word_of_its_own() {
        for text in ["PATROL-1", "jobs/PATROL-1-r2", "see PATROL-1.", "\u{e9}PATROL-1"] {
            assert!(names(text, "PATROL-1"), "{text}");
        }
        for text in ["PATROL-12", "XPATROL-1", "PATROL-", ""] {
            assert!(!names(text, "PATROL-1"), "{text}");
        }
    }

    #[test]
    fn a_ticket_is_known_by_its_head_however_wrong_the_rest_is() {
        let ticket = |text: &str| head(text);
        let known = |code: &str, kind, revision| Some((code.to_owned(), kind, revision));
        assert_eq!(ticket("[ticket]\ncode = \"A\"\nrevision = 3\nodd = 1\n"), known("A", Kind::Ticket, Some(3)));
        assert_eq!(ticket("[ticket]\ncode = \"A\"\n"), known("A", Kind::Ticket, Some(1)));
        assert_eq!(ticket("[person]\ncode = \"B\"\n"), known("B", Kind::Measures, None));
        assert_eq!(ticket("[ticket]\ncode = 7\n"), None);
        assert_eq!(ticket("no = toml = at all"), None);
    }
}
