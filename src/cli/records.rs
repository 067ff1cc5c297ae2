//! `sustent records`: what a folder keeps, by code.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::Outcome;
use super::failure::Failure;
use super::kept::{self, Found, Kept, Kind};
use super::output::Console;
use super::words::{listed, shown};
use crate::written::suggest;

/// What `--help` adds.
pub(super) const HELP: &str = "\
Looks through a folder and those in it: tickets and measures (.toml), folders of
milled jobs, inspection logs (.jsonl), archives. With a CODE, also every other
file that names it in its text or name, or lies in a folder that does. A part of
a code finds all that have it.

Examples:
  sustent records                       all codes kept here
  sustent records PATROL-07 --in shop   all that is kept of one
  sustent records PATROL --in shop      all codes with PATROL in them

Exit status: 0 something is kept, 1 nothing is, 2 could not be looked at.";

/// Arguments of `records`.
#[derive(Debug, clap::Args)]
pub(super) struct Records {
    /// A code, or a part of one
    #[arg(value_name = "CODE")]
    code: Option<String>,
    /// The folder to look through
    #[arg(long = "in", value_name = "DIR", default_value = ".")]
    folder: PathBuf,
}

/// All that is kept of one code.
#[derive(Serialize)]
struct OfCode<'a> {
    code: &'a str,
    kept: &'a [Kept],
}

impl Records {
    pub(super) fn run(&self, console: &Console) -> Outcome {
        match self.kept() {
            Err(failure) => console.fail(&failure),
            Ok(Found { kept, unread, .. }) => {
                unread.iter().for_each(|failure| console.aside(&format!("not looked at: {failure}")));
                let codes: Vec<OfCode> =
                    kept.chunk_by(|a, b| a.code == b.code).map(|kept| OfCode { code: &kept[0].code, kept }).collect();
                let outcome = match (codes.is_empty(), unread.is_empty()) {
                    (false, _) => Outcome::Good,
                    (true, true) => Outcome::NotGood,
                    (true, false) => Outcome::CouldNot,
                };
                console.tell(&codes, || in_words(&codes, self.code.is_some()));
                outcome
            }
        }
    }

    fn kept(&self) -> Result<Found, Failure> {
        let all = kept::look(&self.folder, None)?;
        match &self.code {
            None => Ok(all),
            Some(code) if all.kept.iter().any(|kept| kept.code == *code) => kept::look(&self.folder, Some(code)),
            Some(part) => {
                let part = part.to_lowercase();
                let kept = all.kept.into_iter().filter(|kept| kept.code.to_lowercase().contains(&part)).collect();
                Ok(Found { kept, ..all })
            }
        }
    }
}

fn in_words(codes: &[OfCode], one_was_asked: bool) -> String {
    if codes.is_empty() {
        let of = if one_was_asked { " of such a code" } else { "; --in names another folder" };
        return format!("nothing is kept here{of}");
    }
    let mut lines = vec![];
    for of_code in codes {
        lines.push(of_code.code.to_owned());
        lines.extend(of_code.kept.iter().map(line));
    }
    lines.join("\n")
}

/// What one thing is, its revision or its records, and where it lies.
pub(super) fn line(kept: &Kept) -> String {
    let which = match (kept.kind, kept.revision, kept.lines) {
        (Kind::Log, _, Some(1)) => "1 piece".into(),
        (Kind::Log, _, Some(lines)) => format!("{lines} pieces"),
        (_, Some(revision), _) => format!("r{revision}"),
        _ => String::new(),
    };
    format!("  {:<12}{which:<10}{}", kept.kind.words(), shown(&kept.file))
}

/// All that is kept of just this code, at least one thing; everything was read.
pub(super) fn of_code(folder: &Path, code: &str) -> Result<Found, Failure> {
    if code.is_empty() {
        return Err(Failure::new("an empty code is nobody's; name a code".into()));
    }
    let mut found = kept::look(folder, Some(code))?;
    // What could not be read may be what is asked for.
    if let Some(unread) = found.unread.pop() {
        return Err(unread.and("nothing was done; mend that and ask again"));
    }
    // A word that only stands in notes is no code.
    if found.kept.iter().all(|kept| kept.kind == Kind::Other) {
        return Err(Failure::of(folder, unknown(code, &found.kept, &found.of_others)));
    }
    Ok(found)
}

/// What is said of a code that nothing is kept of: which is meant, and which files name it all the same.
fn unknown(code: &str, named_in: &[Kept], all: &[Kept]) -> String {
    let longer = kept::others(all, code);
    let meant = match longer.as_slice() {
        [] => suggest(code, all.iter().map(|kept| kept.code.as_str())).map(str::to_owned),
        longer => Some(listed(longer, "or")),
    };
    let meant = meant.map_or(String::new(), |meant| format!("; is {meant} meant?"));
    let files: Vec<String> = named_in.iter().map(|kept| kept.file.display().to_string()).collect();
    let also = if files.is_empty() { String::new() } else { format!("; it is named in {}", listed(&files, "and")) };
    format!("nothing is kept here of the code {code}{also}{meant}")
}
