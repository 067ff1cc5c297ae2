//! What a person or a script reads: standard output and standard error, by convention. A closed
//! pipe ends quietly.

use std::io::{ErrorKind, IsTerminal, Write};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use indicatif::{ProgressBar, ProgressStyle};
use serde::Serialize;

use super::Outcome;
use super::failure::Failure;
use crate::ticket::Colour;

/// What standard output carries.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Form {
    /// Words for a person.
    Words,
    /// One JSON document.
    Json,
}

/// Where messages go, and in which form.
#[derive(Debug)]
pub(super) struct Console {
    form: Form,
    /// Whether standard output has refused something that a reader still waits for.
    lost: AtomicBool,
}

impl Console {
    pub(super) fn new(form: Form) -> Console {
        Console { form, lost: AtomicBool::new(false) }
    }

    /// Tells what became of something: its words to a person, or the document to a script.
    pub(super) fn tell(&self, document: &impl Serialize, words: impl FnOnce() -> String) {
        match self.form {
            Form::Words => self.raw(format!("{}\n", words()).as_bytes()),
            Form::Json => self.document(document),
        }
    }

    /// Tells what became of every ticket: words and messages for each; under `--json` one
    /// document, which is the ending itself for one ticket and a list for any other number.
    pub(super) fn tell_all<T: Serialize>(
        &self,
        endings: &[Result<T, Failure>],
        words: impl Fn(&T) -> String,
        outcome: impl Fn(&T) -> Outcome,
    ) -> Outcome {
        for ending in endings {
            match ending {
                Ok(done) if self.form == Form::Words => self.raw(format!("{}\n", words(done)).as_bytes()),
                Ok(_) => {}
                Err(failure) => self.message(failure),
            }
        }
        let documents: Vec<Document<T>> = endings.iter().map(Document::of).collect();
        match documents.as_slice() {
            _ if self.form == Form::Words => {}
            [one] => self.document(one),
            many => self.document(&many),
        }
        endings.iter().map(|e| e.as_ref().map_or(Outcome::CouldNot, &outcome)).max().unwrap_or(Outcome::CouldNot)
    }

    /// A failure of the whole run: the message on standard error, and the document under `--json`.
    pub(super) fn fail(&self, failure: &Failure) -> Outcome {
        self.message(failure);
        if self.form == Form::Json {
            self.document(failure);
        }
        Outcome::CouldNot
    }

    /// How the run ends, when what it had to say has or has not reached its reader.
    pub(super) fn close(&self, outcome: Outcome) -> Outcome {
        if self.lost.load(Ordering::Relaxed) { Outcome::CouldNot } else { outcome }
    }

    /// A progress bar on a terminal; hidden elsewhere and under `--json`.
    pub(super) fn progress(&self, tickets: usize) -> ProgressBar {
        if self.form == Form::Json || !std::io::stderr().is_terminal() {
            return ProgressBar::hidden();
        }
        let bar = ProgressBar::new(tickets as u64);
        if let Ok(style) = ProgressStyle::with_template("{spinner} {pos} of {len} done, {elapsed}") {
            bar.set_style(style);
        }
        bar.enable_steady_tick(Duration::from_millis(200));
        bar
    }

    /// Tells a person something beside the work, on standard error.
    pub(super) fn aside(&self, words: &str) {
        // Nobody is left to tell when standard error is closed.
        let _ = writeln!(std::io::stderr().lock(), "{words}");
    }

    fn document(&self, document: &impl Serialize) {
        // Structs of numbers and text, keyed by text: this cannot fail.
        let text = serde_json::to_string_pretty(document).unwrap_or_default();
        self.raw(format!("{text}\n").as_bytes());
    }

    fn raw(&self, bytes: &[u8]) {
        let mut out = std::io::stdout().lock();
        match out.write_all(bytes).and_then(|()| out.flush()) {
            // A reader that has gone has read all it wanted.
            Err(error) if error.kind() != ErrorKind::BrokenPipe => {
                self.lost.store(true, Ordering::Relaxed);
                self.message(&Failure::new(format!("standard output: {error}")));
            }
            _ => {}
        }
    }

    fn message(&self, failure: &Failure) {
        // Nobody is left to tell when standard error is closed.
        let _ = writeln!(std::io::stderr().lock(), "{}", failure.words(colour()));
    }
}

/// One ticket's ending as a document.
#[derive(Serialize)]
#[serde(untagged)]
enum Document<'a, T> {
    Done(&'a T),
    Failed(&'a Failure),
}

impl<'a, T> Document<'a, T> {
    fn of(ending: &'a Result<T, Failure>) -> Document<'a, T> {
        match ending {
            Ok(done) => Document::Done(done),
            Err(failure) => Document::Failed(failure),
        }
    }
}

/// Colours on a terminal, unless NO_COLOR is set and not empty (no-color.org).
fn colour() -> Colour {
    let unwanted = std::env::var_os("NO_COLOR").is_some_and(|v| !v.is_empty());
    if unwanted || !std::io::stderr().is_terminal() { Colour::Plain } else { Colour::Ansi }
}
