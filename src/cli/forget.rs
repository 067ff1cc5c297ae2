//! `sustent forget`: takes away what is kept of a code.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::failure::Failure;
use super::kept::{self, Kept, Kind};
use super::output::Console;
use super::words::wrapped;
use super::{Outcome, folder, log, records};

/// What `--help` adds.
pub(super) const HELP: &str = "\
Without --yes nothing is changed: it shows what would go. With --yes tickets,
measures, the drawings that they alone name, the folders of jobs with all that
people put into them, and the code's records in inspection logs go for good.
Archives and other files that name the code, or lie in a folder that does, stay
and are shown, for a person to look at: a page made with --out, a scan, a note,
a list of many codes; so does a job's folder under another name, or one in which
records of another code lie. Copies elsewhere (backups, sticks, the bin,
versions that a synchronised disk keeps) are out of this program's reach.

Examples:
  sustent forget PATROL-07 --in shop           what would go, what would stay
  sustent archive PATROL-07 --in shop --out PATROL-07.zip
  sustent forget PATROL-07 --in shop --yes

Exit status: 0 shown, or all gone; 1 gone, but other files still name the code;
2 could not be done.";

/// Arguments of `forget`.
#[derive(Debug, clap::Args)]
pub(super) struct Forget {
    /// The code
    #[arg(value_name = "CODE")]
    code: String,
    /// The folder to look through
    #[arg(long = "in", value_name = "DIR", default_value = ".")]
    folder: PathBuf,
    /// Take it away; without this it is only shown
    #[arg(long)]
    yes: bool,
}

/// What goes and what stays.
#[derive(Serialize)]
struct Forgotten {
    code: String,
    /// Whether anything was taken away.
    done: bool,
    goes: Vec<Kept>,
    stays: Vec<Kept>,
}

impl Forget {
    pub(super) fn run(&self, console: &Console) -> Outcome {
        match self.forgotten() {
            Err(failure) => console.fail(&failure),
            Ok(forgotten) => {
                let some_stay = forgotten.done && !forgotten.stays.is_empty();
                let outcome = if some_stay { Outcome::NotGood } else { Outcome::Good };
                console.done(forgotten.done, outcome, &forgotten, || in_words(&forgotten));
                outcome
            }
        }
    }

    fn forgotten(&self) -> Result<Forgotten, Failure> {
        let mut found = records::of_code(&self.folder, &self.code)?;
        if self.yes && !found.littered.is_empty() {
            // What a run left that broke off may be this code's.
            found.littered.iter().try_for_each(|folder| folder::tidy(folder))?;
            found = records::of_code(&self.folder, &self.code)?;
        }
        let archives = found.kept.iter().filter(|kept| kept.kind == Kind::Archive).cloned();
        let lasting: Vec<Kept> = found.of_others.into_iter().chain(archives).collect();
        let (goes, stays): (Vec<Kept>, Vec<Kept>) = found.kept.into_iter().partition(|kept| goes(kept, &lasting));
        if self.yes {
            // What names the rest goes last: a run that breaks off can be done again from what it says.
            let (pages, others): (Vec<&Kept>, Vec<&Kept>) =
                goes.iter().partition(|kept| matches!(kept.kind, Kind::Ticket | Kind::Measures));
            for (k, kept) in others.into_iter().chain(pages).enumerate() {
                take_away(&self.folder, kept, &self.code).map_err(|failure| {
                    failure.and(&format!("{k} of {} went before it; mend that and run it again", goes.len()))
                })?;
            }
        }
        Ok(Forgotten { code: self.code.clone(), done: self.yes, goes, stays })
    }
}

/// Whether something is this code's alone, so that it can go unseen.
fn goes(kept: &Kept, lasting: &[Kept]) -> bool {
    match kept.kind {
        Kind::Archive | Kind::Other => false,
        Kind::Drawing => lasting.iter().all(|other| !kept.file.starts_with(&other.file)),
        // A folder of another name is not as it was milled: it may hold what came from elsewhere.
        Kind::Job => {
            kept::is_as_milled(&kept.file, &kept.code, kept.revision)
                && lasting.iter().all(|other| !other.file.starts_with(&kept.file))
        }
        Kind::Measures | Kind::Ticket | Kind::Log => true,
    }
}

fn take_away(root: &Path, kept: &Kept, code: &str) -> Result<(), Failure> {
    let path = root.join(&kept.file);
    match kept.kind {
        Kind::Job => folder::remove_folder(&path),
        Kind::Log => log::forget(&path, code).map(drop),
        _ => folder::remove_file(&path),
    }
}

fn in_words(forgotten: &Forgotten) -> String {
    let mut lines = vec![];
    let head = if forgotten.done { "gone" } else { "would go" };
    lines.push(format!("{}: {head}", forgotten.code));
    lines.extend(forgotten.goes.iter().map(records::line));
    if forgotten.goes.is_empty() {
        lines.push("  nothing".into());
    }
    if !forgotten.stays.is_empty() {
        lines.push("stays, and names the code: look at it, and delete it by hand where it should go".into());
        lines.extend(forgotten.stays.iter().map(records::line));
    }
    if !forgotten.done {
        lines.push(wrapped(
            "",
            "nothing was changed; with --yes it goes for good. `sustent archive` keeps a copy first",
        ));
    }
    lines.join("\n")
}
