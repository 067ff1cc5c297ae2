//! `sustent manual`: the pages that `man` shows, one for the program and one for each verb.

use std::fs;
use std::path::PathBuf;

use clap::{Command, CommandFactory};
use serde::Serialize;

use super::failure::Failure;
use super::output::Console;
use super::over::{self, Made};
use super::{Arguments, Outcome, folder};

/// What `--help` adds.
pub(super) const HELP: &str = "\
Example:
  sustent manual --out ~/.local/share/man/man1 && man sustent-mill";

/// Arguments of `manual`.
#[derive(Debug, clap::Args)]
pub(super) struct Manual {
    /// The folder to write the pages into; made when it is not there
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
}

#[derive(Serialize)]
struct Written {
    folder: String,
    pages: Vec<String>,
}

impl Manual {
    pub(super) fn run(&self, console: &Console) -> Outcome {
        match self.written() {
            Err(failure) => console.fail(&failure),
            Ok(written) => {
                console
                    .found(Outcome::Good, &written, || format!("{} pages in {}", written.pages.len(), written.folder));
                Outcome::Good
            }
        }
    }

    fn written(&self) -> Result<Written, Failure> {
        folder::can_fill(&self.out)?;
        fs::create_dir_all(&self.out).map_err(|e| Failure::of_io(&self.out, &e))?;
        let all = pages_of_all()?;
        all.iter().try_for_each(|(name, _)| over::made(&self.out.join(name), Made::Manual))?;
        let mut pages = vec![];
        for (name, page) in all {
            folder::write_file(&self.out.join(&name), &page)?;
            pages.push(name);
        }
        Ok(Written { folder: self.out.display().to_string(), pages })
    }
}

/// Name and text of every page.
fn pages_of_all() -> Result<Vec<(String, Vec<u8>)>, Failure> {
    let mut program = Arguments::command().disable_help_subcommand(true);
    program.build();
    let verbs: Vec<Command> = program.get_subcommands().cloned().collect();
    std::iter::once(program).chain(verbs).map(page).collect()
}

fn page(command: Command) -> Result<(String, Vec<u8>), Failure> {
    // A page is looked up by this name: the program's and the verb's with a hyphen between them.
    let name = format!("{}.1", command.get_display_name().unwrap_or(command.get_name()));
    let mut text = vec![];
    clap_mangen::Man::new(command).date("").render(&mut text).map_err(|e| Failure::new(e.to_string()))?;
    Ok((name, as_typed(&String::from_utf8_lossy(&text)).into_bytes()))
}

/// The page with what the help adds in lines as they are typed: filled lines would tear its tables and examples apart.
fn as_typed(page: &str) -> String {
    const ADDED: &str = "\n.SH EXTRA\n";
    let Some((before, added)) = page.split_once(ADDED) else { return page.to_owned() };
    let (added, after) = added.find("\n.SH ").map_or((added.trim_end(), "\n"), |end| added.split_at(end));
    format!("{before}\n.SH NOTES\n.nf\n{added}\n.fi{after}")
}
