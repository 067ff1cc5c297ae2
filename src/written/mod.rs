//! Text written by people, in TOML: read key by key, with every mistake gathered and placed by line
//! and column instead of only the first. Knows TOML and ranges; does not know what a foot, a
//! material or a file system is.
//!
//! [`read`] parses a text and hands its outermost [`Section`] to a closure. Each key is declared by
//! asking for it, once; what is left over is unknown and refused with the nearest known key.

mod allowed;
mod edit;
mod problem;
mod section;

use std::cell::RefCell;
use std::collections::BTreeSet;
use std::ops::Range;

use toml::de::DeTable;

pub use allowed::Allowed;
pub use edit::{Copied, Draft, Given, Stands};
pub use problem::{Colour, Problem, Problems, suggest};
pub(crate) use section::shortened;
pub use section::{Field, Need, Section};

/// Longest text that is read, bytes. A ticket is about 3 kB; a thousand earlier revisions still fit,
/// and a scan or a program dropped here by mistake is refused before any work is done on it.
pub const LONGEST_TEXT: usize = 1_000_000;

/// Problems listed of one text. More than that says the file is something else altogether.
const MOST_PROBLEMS: usize = 60;

/// Reads `text` as TOML and hands the outermost section to `reader`.
///
/// A byte order mark and CRLF line ends are accepted.
///
/// # Errors
/// All that is wrong: grammar, unknown keys, and whatever `reader` noted. Sorted by place.
pub fn read<T>(file: &str, text: &str, reader: impl FnOnce(&Section) -> Option<T>) -> Result<T, Problems> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    if text.len() > LONGEST_TEXT {
        return Err(too_long(file, text.len()).into());
    }
    if text.trim().is_empty() {
        return Err(Problem::of_file(file, "the text is empty", "is this the right file?").into());
    }
    let (table, grammar) = DeTable::parse_recoverable(text);
    let notes = Notes { text, grammar_broken: !grammar.is_empty(), list: RefCell::default() };
    let root = Section::new(&notes, String::new(), 0..0, table.get_ref());
    let result = reader(&root);
    root.refuse_unknown();

    // What follows from a broken line is not a second mistake, so only its first one counts.
    let mut broken_lines = BTreeSet::new();
    let lines = Lines::of(text);
    let mut list: Vec<Note> = grammar.iter().map(|error| Note::from_grammar(error, text)).collect();
    list.sort_by_key(|note| note.place.start);
    list.retain(|note| broken_lines.insert(lines.number(note.place.start)));
    drop_keys_of_repeated_sections(text, &mut list);
    let others = notes.list.into_inner().into_iter();
    list.extend(others.filter(|note| !broken_lines.contains(&lines.number(note.place.start))));
    match (list.is_empty(), result) {
        (true, Some(value)) => Ok(value),
        (true, None) => Err(Problem::of_file(file, "cannot be read", "").into()),
        (false, _) => Err(placed(file, text, list)),
    }
}

/// The refusal of an over-long text.
fn too_long(file: &str, bytes: usize) -> Problem {
    Problem::of_file(
        file,
        format!("the text is {bytes} bytes long; at most {LONGEST_TEXT} are read"),
        "is this the right file? a ticket or profile is a few thousand bytes",
    )
}

/// Mistakes noted while reading, with their places as byte ranges of the text.
#[derive(Debug)]
struct Notes<'a> {
    text: &'a str,
    /// Whether the grammar failed somewhere: then what seems missing may only be unreadable.
    grammar_broken: bool,
    list: RefCell<Vec<Note>>,
}

#[derive(Debug)]
struct Note {
    place: Range<usize>,
    message: String,
    label: String,
    help: String,
}

impl Note {
    fn from_grammar(error: &toml::de::Error, text: &str) -> Note {
        let place = error.span().unwrap_or(text.len()..text.len());
        let (message, help) = match error.message() {
            "duplicate key" => (STANDS_TWICE.to_owned(), "keep one of the two"),
            unquoted if unquoted.starts_with("string values must be quoted") => (
                "this is neither a number nor text in quotes".to_owned(),
                "write numbers without their unit, and text in double quotes",
            ),
            _ if comma_in_number(text, place.start) => (
                "this number has a comma".to_owned(),
                "write it with a point, such as 18.5, and each value on a line of its own",
            ),
            other => (
                format!("this is not TOML: {other}"),
                "a line is `key = value`, `[section]` or `# comment`; text stands in double quotes",
            ),
        };
        Note { place, message, label: String::new(), help: help.to_owned() }
    }
}

/// Whether the line of this place, up to it, has a comma between two digits that is none of a list.
fn comma_in_number(text: &str, at: usize) -> bool {
    let start = text.get(..at).and_then(|before| before.rfind('\n')).map_or(0, |end| end + 1);
    let line = text.get(start..).and_then(|rest| rest.lines().next()).unwrap_or_default();
    let digit = |c: Option<char>| c.is_some_and(|c| c.is_ascii_digit());
    let between = |(k, _): (usize, &str)| {
        digit(line[..k].chars().next_back()) && digit(line[k + 1..].chars().next()) && start + k <= at
    };
    !line.contains(['[', '"']) && line.match_indices(',').any(between)
}

/// Turns byte ranges into lines and columns, in order of place.
fn placed(file: &str, text: &str, mut list: Vec<Note>) -> Problems {
    list.sort_by_key(|note| note.place.start);
    let count = list.len();
    let mut problems: Vec<Problem> =
        list.into_iter().take(MOST_PROBLEMS).map(|note| Problem::of_note(file, text, note)).collect();
    if count > MOST_PROBLEMS {
        let more = format!("and {} more problems", count - MOST_PROBLEMS);
        problems.push(Problem::of_file(file, more, "mend these first, then run it again"));
    }
    Problems::of_list(problems)
}

const STANDS_TWICE: &str = "this key or section stands twice";

/// A section that stands twice makes each of its keys stand twice; the section says it all.
fn drop_keys_of_repeated_sections(text: &str, list: &mut Vec<Note>) {
    let mut section_from = None;
    list.retain(|note| {
        if note.message != STANDS_TWICE {
            return true;
        }
        let start = note.place.start;
        let line_start = text.get(..start).and_then(|before| before.rfind('\n')).map_or(0, |at| at + 1);
        let is_section = text.get(line_start..).is_some_and(|line| line.trim_start().starts_with('['));
        let inside = section_from.and_then(|from| text.get(from..start)).is_some_and(|part| !part.contains("\n["));
        if is_section {
            section_from = Some(start);
        }
        is_section || !inside
    });
}

/// Where the lines of a text start.
struct Lines {
    starts: Vec<usize>,
}

impl Lines {
    fn of(text: &str) -> Lines {
        Lines { starts: text.match_indices('\n').map(|(at, _)| at + 1).collect() }
    }

    /// The line, from 0, that the byte at `at` belongs to.
    fn number(&self, at: usize) -> usize {
        self.starts.partition_point(|start| *start <= at)
    }
}
