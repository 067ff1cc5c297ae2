//! What could not be done, for a person and for a script.

use std::fmt::Display;
use std::io::{self, ErrorKind};
use std::path::Path;

use serde::Serialize;

use super::words::shown;
use crate::nc::Refusals;
use crate::ticket::{Colour, Problem, Problems};

/// Why a ticket, a program or a whole run came to nothing (exit status 2).
#[derive(Clone, Debug, Serialize)]
pub(super) struct Failure {
    /// The file that is to blame, as it was given.
    #[serde(skip_serializing_if = "Option::is_none")]
    file: Option<String>,
    /// All of it in plain text, a line for each problem, with `file:line:column` where there is one.
    error: String,
    /// The same, place by place.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    problems: Vec<Spot>,
    /// Whether a scan is probably of the other foot; left out where nothing was scanned.
    #[serde(skip_serializing_if = "Option::is_none")]
    probable_other_side: Option<bool>,
    /// What quotes the lines in question for a person.
    #[serde(skip)]
    quoted: Option<Problems>,
}

/// One problem and its place in the file.
#[derive(Clone, Debug, Serialize)]
struct Spot {
    /// From 1; `null` when the whole file is meant.
    line: Option<usize>,
    /// In characters, from 1; `null` when the whole line is meant.
    column: Option<usize>,
    message: String,
    help: String,
}

impl Failure {
    /// A failure without a file.
    pub(super) fn new(error: String) -> Failure {
        Failure { file: None, error, problems: vec![], probable_other_side: None, quoted: None }
    }

    /// A failure with a file or folder as a whole.
    pub(super) fn of(path: &Path, error: impl Display) -> Failure {
        let file = path.display().to_string();
        Failure {
            error: format!("{}: {error}", shown(path)),
            file: Some(file),
            problems: vec![],
            probable_other_side: None,
            quoted: None,
        }
    }

    /// What the system said about a file or folder, in plain words where it is common.
    pub(super) fn of_io(path: &Path, error: &io::Error) -> Failure {
        match error.kind() {
            ErrorKind::NotFound => Failure::of(path, "there is no such file or folder"),
            ErrorKind::PermissionDenied => Failure::of(path, "this user has no right to it"),
            ErrorKind::StorageFull => Failure::of(path, "the disk is full"),
            ErrorKind::ReadOnlyFilesystem => Failure::of(path, "this disk is read-only"),
            _ => Failure::of(path, error),
        }
    }

    /// The same failure with a word on whether the scan is probably of the other foot.
    pub(super) fn with_other_side(mut self, probable: bool) -> Failure {
        self.probable_other_side = Some(probable);
        self
    }

    /// The file that is to blame, as it was given.
    pub(super) fn file(&self) -> Option<&str> {
        self.file.as_deref()
    }

    /// What is wrong, without the file before it.
    pub(super) fn of_what(&self) -> &str {
        let file = self.file.as_deref().map(|file| shown(Path::new(file)));
        let cut = file.and_then(|file| self.error.strip_prefix(&file)?.strip_prefix(": "));
        cut.unwrap_or(&self.error)
    }

    /// The same failure with what it means for the work.
    pub(super) fn and(mut self, consequence: &str) -> Failure {
        self.error = format!("{}; {consequence}", self.error);
        self
    }

    /// A failure at one place of a file.
    pub(super) fn at(path: &Path, line: usize, column: usize, message: &str, help: &str) -> Failure {
        let file = path.display().to_string();
        let spot = Spot { line: Some(line), column: Some(column), message: message.into(), help: help.into() };
        let error = format!("{}:{line}:{column}: {message}: {help}", shown(path));
        Failure { file: Some(file), error, problems: vec![spot], probable_other_side: None, quoted: None }
    }

    /// Everything that is wrong with a text in TOML.
    pub(super) fn of_problems(path: &Path, problems: Problems) -> Failure {
        Failure {
            file: Some(path.display().to_string()),
            error: problems.iter().map(in_one_line).collect::<Vec<_>>().join("\n"),
            problems: problems.iter().map(Spot::of_problem).collect(),
            probable_other_side: None,
            quoted: Some(problems),
        }
    }

    /// Everything that keeps a program's text from being read.
    pub(super) fn of_refusals(path: &Path, refusals: &Refusals) -> Failure {
        let file = path.display().to_string();
        let problems: Vec<Spot> = refusals
            .list
            .iter()
            .map(|refusal| Spot {
                line: (refusal.line > 0).then_some(refusal.line),
                column: None,
                message: match refusal.found.as_str() {
                    "" => refusal.reason.to_string(),
                    found => format!("{}: {found}", refusal.reason),
                },
                help: String::new(),
            })
            .collect();
        let lines: Vec<String> = problems.iter().map(|spot| spot.in_words(&shown(path))).collect();
        Failure { file: Some(file), error: lines.join("\n"), problems, probable_other_side: None, quoted: None }
    }

    /// The message for a person.
    pub(super) fn words(&self, colour: Colour) -> String {
        match &self.quoted {
            Some(problems) => problems.render(colour),
            None => format!("error: {}", self.error),
        }
    }
}

impl Display for Failure {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.error)
    }
}

impl Spot {
    fn of_problem(problem: &Problem) -> Spot {
        let place = |number: usize| (number > 0).then_some(number);
        Spot {
            line: place(problem.line),
            column: place(problem.column),
            message: problem.message.clone(),
            help: problem.help.clone(),
        }
    }

    fn in_words(&self, file: &str) -> String {
        let line = self.line.map_or(String::new(), |line| format!(":{line}"));
        format!("{file}{line}: {}", self.message)
    }
}

fn in_one_line(problem: &Problem) -> String {
    if problem.help.is_empty() { problem.to_string() } else { format!("{problem}; {}", problem.help) }
}
