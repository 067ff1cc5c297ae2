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

/// How much a person is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Detail {
    /// What is not good, and nothing else.
    Little,
    /// What most want to know.
    Usual,
    /// Everything, of each of many tickets too.
    Much,
}

/// Where messages go, and in which form.
#[derive(Debug)]
pub(super) struct Console {
    form: Form,
    detail: Detail,
    /// Whether standard output has refused something that a reader still waits for.
    lost: AtomicBool,
}

impl Console {
    pub(super) fn new(form: Form, detail: Detail) -> Console {
        Console { form, detail, lost: AtomicBool::new(false) }
    }

    /// How much a person wants to be told.
    pub(super) fn detail(&self) -> Detail {
        self.detail
    }

    /// Tells what was found: its words to a person, or the document to a script. What is good is told only to those who
    /// want to hear of it.
    pub(super) fn found(&self, outcome: Outcome, document: &impl Serialize, words: impl FnOnce() -> String) {
        match self.form {
            Form::Words => self.remark(outcome, &words()),
            Form::Json => self.document(document),
        }
    }

    /// Tells a person something that is no document; what is good only to those who want to hear of it.
    pub(super) fn remark(&self, outcome: Outcome, words: &str) {
        if self.form == Form::Words && self.shows(outcome) && !words.is_empty() {
            self.raw(format!("{words}\n").as_bytes());
        }
    }

    /// Whether a person wants to hear of what came out so.
    pub(super) fn shows(&self, outcome: Outcome) -> bool {
        outcome != Outcome::Good || self.detail > Detail::Little
    }

    /// Tells what was asked for: its words to a person, or the document to a script.
    pub(super) fn tell(&self, document: &impl Serialize, words: impl FnOnce() -> String) {
        match self.form {
            Form::Words => self.raw(format!("{}\n", words()).as_bytes()),
            Form::Json => self.document(document),
        }
    }

    /// Tells what was done, as what was found is told, or, where nothing was to be done, what was asked for.
    pub(super) fn done(
        &self,
        is_done: bool,
        outcome: Outcome,
        document: &impl Serialize,
        words: impl FnOnce() -> String,
    ) {
        if is_done { self.found(outcome, document, words) } else { self.tell(document, words) }
    }

    /// Begins to tell what became of so many tickets, one by one.
    pub(super) fn telling(&self, tickets: usize) -> Telling<'_> {
        let bar = self.progress(tickets);
        Telling { console: self, bar, tickets, told: 0, gravest: None }
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
        if self.form == Form::Json || self.detail == Detail::Little || !std::io::stderr().is_terminal() {
            return ProgressBar::hidden();
        }
        let bar = ProgressBar::new(tickets as u64);
        if let Ok(style) = ProgressStyle::with_template("{spinner} {pos} of {len} done, {elapsed}, about {eta} to go") {
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

    /// Asks a person something, on standard error; the answer is typed behind it.
    pub(super) fn ask(&self, words: &str) {
        let mut error = std::io::stderr().lock();
        let _ = write!(error, "{words}").and_then(|()| error.flush());
    }

    fn document(&self, document: &impl Serialize) {
        self.raw(format!("{}\n", pretty(document)).as_bytes());
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

/// What becomes of each of several tickets, told as soon as it is known: words and messages for each; under `--json` one
/// document, which is the ending itself for one ticket and a list for any other number.
pub(super) struct Telling<'a> {
    console: &'a Console,
    bar: ProgressBar,
    tickets: usize,
    told: usize,
    gravest: Option<Outcome>,
}

impl Telling<'_> {
    /// Tells of the next ticket: how it ended, and in which words. Empty words are not printed.
    pub(super) fn one<T: Serialize>(&mut self, ending: &Result<T, Failure>, outcome: Outcome, words: &str) {
        self.bar.inc(1);
        let console = self.console;
        self.bar.suspend(|| {
            if let Err(failure) = ending {
                console.message(failure);
            }
            match console.form {
                Form::Words => console.remark(outcome, words),
                Form::Json => console.raw(self.document(ending).as_bytes()),
            }
        });
        self.told += 1;
        self.gravest = self.gravest.max(Some(outcome));
    }

    /// Ends the telling: the gravest of the endings, or that nothing could be done.
    pub(super) fn end(self) -> Outcome {
        self.bar.finish_and_clear();
        if self.console.form == Form::Json && self.tickets != 1 {
            self.console.raw(if self.told == 0 { b"[]\n" } else { b"\n]\n" });
        }
        self.gravest.unwrap_or(Outcome::CouldNot)
    }

    /// The ending as a document of its own, or as the next in the list.
    fn document<T: Serialize>(&self, ending: &Result<T, Failure>) -> String {
        let text = match ending {
            Ok(done) => pretty(done),
            Err(failure) => pretty(failure),
        };
        if self.tickets == 1 {
            return format!("{text}\n");
        }
        let before = if self.told == 0 { "[" } else { "," };
        format!("{before}\n  {}", text.replace('\n', "\n  "))
    }
}

fn pretty(document: &impl Serialize) -> String {
    // Structs of numbers and text, keyed by text: this cannot fail.
    serde_json::to_string_pretty(document).unwrap_or_default()
}

/// Colours on a terminal that has them, unless NO_COLOR is set and not empty (no-color.org).
fn colour() -> Colour {
    let unwanted = std::env::var_os("NO_COLOR").is_some_and(|v| !v.is_empty());
    let is_dumb = std::env::var_os("TERM").is_some_and(|term| term == "dumb");
    if unwanted || is_dumb || !std::io::stderr().is_terminal() { Colour::Plain } else { Colour::Ansi }
}
