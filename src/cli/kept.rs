//! What a folder keeps of a code: tickets, measures, jobs, lines of inspection logs, archives, and other files that name it.

use std::fs;
use std::path::{Path, PathBuf};

use serde::Serialize;

use super::failure::Failure;
use super::folder::{HIDDEN, LONGEST_REPORT, REPORT};
use super::tickets::read_bytes;
use super::{archive, log};
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
    /// Files and folders that could not be read.
    pub(super) unread: Vec<Failure>,
}

/// How deep folders in folders are looked through: a shop's shelves, not a whole disk.
const DEEPEST: usize = 12;

/// Most files and folders that are looked at.
const MOST: usize = 1_000_000;

/// Longest file whose text is searched for a code, bytes.
const LONGEST_SEARCHED: usize = 64 << 20;

/// Looks through a folder and those in it for what is kept: of every code, or of one; only of that one are other files
/// found, by the code in their text or name. Links are not followed.
pub(super) fn look(folder: &Path, code: Option<&str>) -> Result<Found, Failure> {
    if !folder.is_dir() {
        return Err(Failure::of(folder, "this is no folder; --in names the folder to look through"));
    }
    let mut search = Search { root: folder, code, others: vec![], found: Found::default(), looked_at: 0 };
    if let Some(code) = code {
        search.others = others(&look(folder, None)?.kept, code);
    }
    search.folder(folder, 0);
    let mut found = search.found;
    found.kept.retain(|kept| code.is_none_or(|code| kept.code == code));
    found.kept.sort();
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
    code: Option<&'a str>,
    /// Codes that name this one and are somebody else's.
    others: Vec<String>,
    found: Found,
    looked_at: usize,
}

impl Search<'_> {
    fn folder(&mut self, folder: &Path, depth: usize) {
        if depth > DEEPEST {
            self.unread(Failure::of(folder, format!("more than {DEEPEST} folders deep, not looked into")));
            return;
        }
        if let Some((code, revision)) = job(folder) {
            return self.keep(code, Kind::Job, revision, folder, None);
        }
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
            let hidden = path.file_name().is_some_and(|name| name.to_string_lossy().starts_with(HIDDEN));
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
        if ending == "zip"
            && let Some(code) = archive::code_of(path)
        {
            return self.keep(code, Kind::Archive, None, path, None);
        }
        // Without a code only the program's own records count, which have these endings.
        let own = matches!(ending.as_str(), "toml" | "jsonl");
        let longest = if ending == "jsonl" { log::LONGEST_LOG } else { LONGEST_SEARCHED };
        if self.code.is_none() && !own {
            return;
        }
        if bytes > longest as u64 {
            return self.other(path, None);
        }
        match read_bytes(path, longest) {
            Ok(bytes) => self.text(path, &ending, &bytes),
            Err(failure) => self.unread(failure),
        }
    }

    fn text(&mut self, path: &Path, ending: &str, bytes: &[u8]) {
        let text = String::from_utf8_lossy(bytes);
        if bytes.starts_with(log::BEGINNING) {
            return self.log(path, &text);
        }
        if ending == "toml"
            && let Some((code, kind, revision)) = head(&text)
            && self.code.is_none_or(|wanted| wanted == code)
        {
            return self.keep(code, kind, revision, path, None);
        }
        self.other(path, Some(&text));
    }

    fn log(&mut self, path: &Path, text: &str) {
        let mut codes: Vec<&str> = text.lines().filter_map(log::code_of).collect();
        codes.sort_unstable();
        for lines in codes.chunk_by(|a, b| a == b) {
            self.keep(lines[0].to_owned(), Kind::Log, None, path, Some(lines.len()));
        }
    }

    /// A file that is none of ours, where its name or text names the code.
    fn other(&mut self, path: &Path, text: Option<&str>) {
        let Some(code) = self.code else { return };
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        // Where only a longer code stands, this one is not named.
        let own = |text: &str| self.others.iter().fold(text.to_owned(), |text, other| text.replace(other, ""));
        let is_named = |text: &str| names(text, code) && (self.others.is_empty() || names(&own(text), code));
        if is_named(&name) || text.is_some_and(is_named) {
            self.keep(code.to_owned(), Kind::Other, None, path, None);
        }
    }

    fn keep(&mut self, code: String, kind: Kind, revision: Option<i64>, path: &Path, lines: Option<usize>) {
        let file = path.strip_prefix(self.root).unwrap_or(path).to_path_buf();
        self.found.kept.push(Kept { code, kind, revision, file, lines });
    }

    fn unread(&mut self, failure: Failure) {
        self.found.unread.push(failure);
    }
}

/// Code and revision of the job whose folder this is.
fn job(folder: &Path) -> Option<(String, Option<i64>)> {
    let bytes = read_bytes(&folder.join(REPORT), LONGEST_REPORT).ok()?;
    let report: serde_json::Value = serde_json::from_slice(&bytes).ok()?;
    let ours = report["program"] == env!("CARGO_PKG_NAME");
    ours.then_some((report["ticket"].as_str()?.to_owned(), report["revision"].as_i64()))
}

/// Whose ticket or measures a text is, and of which revision, however wrong the rest of it may be.
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
