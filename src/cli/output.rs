//! What a person or a script reads: standard output and standard error, by convention. A closed
//! pipe ends quietly.

use std::io::{IsTerminal, Write};
use std::time::Duration;

use indicatif::{ProgressBar, ProgressStyle};
use serde::Serialize;

use crate::ticket::Colour;

/// Where messages go, and in which form.
#[derive(Clone, Copy, Debug)]
pub(super) struct Console {
    json: bool,
}

impl Console {
    pub(super) fn new(json: bool) -> Console {
        Console { json }
    }

    /// Words on standard output; nothing under `--json`.
    pub(super) fn say(&self, words: &str) {
        if !self.json {
            self.raw(format!("{words}\n").as_bytes());
        }
    }

    /// The JSON document, under `--json`.
    pub(super) fn document(&self, document: &impl Serialize) {
        if self.json {
            let text = serde_json::to_string_pretty(document).unwrap_or_default();
            self.raw(format!("{text}\n").as_bytes());
        }
    }

    /// Bytes on standard output.
    pub(super) fn raw(&self, bytes: &[u8]) {
        // Nobody is left to tell when the reader has gone.
        let _ = std::io::stdout().lock().write_all(bytes);
    }

    /// A message on standard error.
    pub(super) fn error(&self, message: &str) {
        let _ = writeln!(std::io::stderr().lock(), "{message}");
    }

    /// How problems are coloured on standard error (NO_COLOR, see no-color.org).
    pub(super) fn colour(&self) -> Colour {
        let wanted = std::io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none_or(|v| v.is_empty());
        if wanted { Colour::Ansi } else { Colour::Plain }
    }

    /// A progress bar on a terminal; hidden elsewhere and under `--json`.
    pub(super) fn progress(&self, jobs: usize) -> ProgressBar {
        if self.json || !std::io::stderr().is_terminal() {
            return ProgressBar::hidden();
        }
        let bar = ProgressBar::new(jobs as u64);
        if let Ok(style) = ProgressStyle::with_template("{bar:30} {pos} of {len} tickets, {elapsed}") {
            bar.set_style(style);
        }
        bar.enable_steady_tick(Duration::from_millis(200));
        bar
    }
}
