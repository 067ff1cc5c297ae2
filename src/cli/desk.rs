//! `sustent desk`: one ticket on a live page of this computer.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::failure::Failure;
use super::output::Console;
use super::{Outcome, folder, tickets};
use crate::desk::{self, Desk, Disk};
use crate::profile::Shelf;

/// What `--help` adds.
pub(super) const HELP: &str = "\
Prints an address of this computer; open it in a browser here. Every value
stands on the drawing as a dimension: take one and turn it by arrow keys or
wheel, or type it. Surface, thickness, findings and the effect in the boot
follow at once, and the saved revision stays on the drawing as a dashed line.
Saving raises the revision and writes what changed and why under [[history]];
comments and order of the ticket stay. A file that was changed elsewhere
meanwhile is never overwritten.

The address holds a key that is new each time; nothing outside this computer can
reach it. Ctrl-C ends the desk.

Examples:
  sustent desk ticket.toml
  sustent desk ticket.toml --port 8123

Exit status: 0 ended, 2 could not be done.";

/// Arguments of `desk`.
#[derive(Debug, clap::Args)]
pub(super) struct DeskVerb {
    /// The ticket
    #[arg(value_name = "TICKET")]
    ticket: PathBuf,
    /// Port on 127.0.0.1; left out, any that is free
    #[arg(long, value_name = "N", default_value_t = 0)]
    port: u16,
}

/// Told when the desk answers.
#[derive(Serialize)]
struct Open<'a> {
    ticket: &'a str,
    revision: u32,
    url: &'a str,
}

impl DeskVerb {
    pub(super) fn run(&self, shelf: Shelf, console: &Console) -> Outcome {
        match self.attempt(shelf, console) {
            Ok(outcome) => outcome,
            Err(failure) => console.fail(&failure),
        }
    }

    fn attempt(&self, shelf: Shelf, console: &Console) -> Result<Outcome, Failure> {
        let loaded = tickets::load(&self.ticket, &shelf)?;
        let (code, revision) = (loaded.ticket.code, loaded.ticket.revision);
        let name = self.ticket.display().to_string();
        let desk =
            Desk::open(loaded.text, name, shelf, disk(&self.ticket)).map_err(|no| Failure::of(&self.ticket, no))?;
        let told = |address: &desk::Address| {
            let open = Open { ticket: &code, revision, url: &address.url };
            console.tell(&open, || format!("{code} r{revision}  {}\nCtrl-C ends the desk", address.url));
        };
        let desk = desk::serve(desk, self.port, told).map_err(|error| Failure::new(error.to_string()))?;
        let unsaved = desk.changes();
        if !unsaved.is_empty() {
            console.aside(&format!("not saved: {}", unsaved.join(", ")));
        }
        Ok(Outcome::Good)
    }
}

/// The ticket's file and what lies beside it.
fn disk(ticket: &Path) -> Disk {
    let (read, replace) = (ticket.to_owned(), ticket.to_owned());
    let folder = ticket.parent().unwrap_or(Path::new(".")).to_owned();
    let words = |failure: Failure| failure.to_string();
    Disk {
        read: Box::new(move || tickets::read_ticket(&read).map_err(words)),
        replace: Box::new(move |from, to| folder::replace_file(&replace, from, to).map_err(words)),
        beside: Box::new(move |name| tickets::beside(&folder, name)),
    }
}
