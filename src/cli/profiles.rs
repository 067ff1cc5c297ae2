//! `sustent profiles`: what is on the shelf, and the shop's own files that add to it.

use std::fs;
use std::io::ErrorKind;
use std::path::Path;

use serde::Serialize;
use strsim::damerau_levenshtein;

use super::Outcome;
use super::failure::Failure;
use super::output::Console;
use super::tickets::{read_text, toml_files};
use super::words::{listed, wrapped};
use crate::profile::{Card, CardLine, Kind, Shelf};
use crate::written::{Draft, Stands};

/// What `--help` adds.
pub(super) const HELP: &str = "\
The built-in profiles are part of the program. --profiles DIR adds the shop's
own: DIR/materials/NAME.toml and so on; one of the same name takes the place of
the built-in one.

Examples:
  sustent profiles                       what there is
  sustent profiles machines
  sustent profiles materials eva-firm    every number, and where it is from
  sustent profiles machines small-mill --toml > our-shop/machines/bench-two.toml
  sustent profiles --profiles our-shop cutters

Exit status: 0 shown, 2 could not be done.";

/// Longest profile that is read, bytes.
const LONGEST_PROFILE: usize = 1 << 20;

/// Arguments of `profiles`.
#[derive(Debug, clap::Args)]
pub(super) struct Profiles {
    /// Only this kind
    #[arg(value_parser = clap::builder::PossibleValuesParser::new(Kind::ALL.map(Kind::folder)))]
    kind: Option<String>,
    /// One profile's name: shows all of it
    name: Option<String>,
    /// Print the profile's own file, to be copied and changed
    #[arg(long, requires = "name")]
    toml: bool,
}

/// A profile's file in JSON.
#[derive(Serialize)]
struct Text<'a> {
    toml: &'a str,
}

/// A profile in JSON.
#[derive(Serialize)]
struct CardReport<'a> {
    kind: &'static str,
    name: &'a str,
    title: &'a str,
    values: Vec<LineReport<'a>>,
}

/// One key of a profile in JSON.
#[derive(Serialize)]
struct LineReport<'a> {
    key: &'a str,
    value: &'a str,
    unit: &'static str,
    why: &'a str,
}

/// The built-in shelf with the files of `folder` (`folder/materials/*.toml` and so on) added.
pub(super) fn shelf(folder: Option<&Path>) -> Result<Shelf, Failure> {
    let shelf = Shelf::built_in();
    let Some(folder) = folder else { return Ok(shelf) };
    if !folder.is_dir() {
        return Err(Failure::of(folder, "this folder of profiles is not there"));
    }
    let mut files = vec![];
    for kind in Kind::ALL {
        let paths = match toml_files(&folder.join(kind.folder())) {
            Err(error) if error.kind() == ErrorKind::NotFound => continue,
            paths => paths.map_err(|error| Failure::of_io(&folder.join(kind.folder()), &error))?,
        };
        for path in paths {
            let text = read_text(&path, LONGEST_PROFILE)?;
            files.push((kind, path.display().to_string(), text));
        }
    }
    if files.is_empty() {
        let told = format!("there is no profile here; profiles are .toml files in folders named {}", kinds("and"));
        return Err(Failure::of(folder, told));
    }
    refuse_slip(folder)?;
    refuse_stray(folder)?;
    shelf.with_files(files).map_err(|problems| Failure::of_problems(folder, problems))
}

/// Refuses profiles in a folder that one slip of the pen keeps from being looked at: the built-in ones that they are to
/// replace would be taken without a word.
fn refuse_slip(folder: &Path) -> Result<(), Failure> {
    for entry in fs::read_dir(folder).map_err(|error| Failure::of_io(folder, &error))? {
        let path = entry.map_err(|error| Failure::of_io(folder, &error))?.path();
        let name = path.file_name().unwrap_or_default().to_string_lossy().to_lowercase();
        let meant = Kind::ALL.map(Kind::folder).into_iter().find(|kind| damerau_levenshtein(&name, kind) <= 1);
        // Under any case where the system makes no difference between them.
        let is_it = |kind: &&str| path.canonicalize().ok() == folder.join(kind).canonicalize().ok();
        let Some(kind) = meant.filter(|kind| !is_it(kind)) else { continue };
        if toml_files(&path).is_ok_and(|files| files.iter().any(|file| is_profile(file))) {
            let told = format!("profiles are looked for in folders named as the built-in ones are; name this {kind}");
            return Err(Failure::of(&path, told));
        }
    }
    Ok(())
}

/// Refuses profiles that lie beside their folders, where they would not be looked at. Tickets may lie there.
fn refuse_stray(folder: &Path) -> Result<(), Failure> {
    let files = toml_files(folder).map_err(|error| Failure::of_io(folder, &error))?;
    match files.iter().find(|path| is_profile(path)) {
        None => Ok(()),
        Some(stray) => {
            let told = format!("a profile lies in the folder of its kind, {}: move this one there", kinds("or"));
            Err(Failure::of(stray, told))
        }
    }
}

/// Whether a file looks like a profile: it begins with a title, which no ticket and no page of measures has.
fn is_profile(path: &Path) -> bool {
    let draft = read_text(path, LONGEST_PROFILE).ok().and_then(|text| Draft::of(&text));
    draft.is_some_and(|draft| matches!(draft.at(&["title"]), Stands::Text(_)))
}

/// The folders in which profiles lie.
fn kinds(last: &str) -> String {
    listed(&Kind::ALL.map(|kind| kind.folder().to_owned()), last)
}

impl Profiles {
    pub(super) fn run(&self, shelf: &Shelf, console: &Console) -> Outcome {
        let kind = self.kind.as_deref().and_then(Kind::of_folder);
        match (kind, &self.name) {
            (Some(kind), Some(name)) => match shelf.card(kind, name) {
                Err(unknown) => return console.fail(&Failure::new(unknown.to_string())),
                Ok(card) if self.toml => console.tell(&Text { toml: &card.text }, || card.text.trim_end().to_owned()),
                Ok(card) => console.tell(&report(card), || whole(card)),
            },
            (Some(kind), None) => list(shelf.cards(kind), console),
            (None, _) => list(Kind::ALL.into_iter().flat_map(|kind| shelf.cards(kind)), console),
        }
        Outcome::Good
    }
}

fn list<'a>(cards: impl Iterator<Item = &'a Card>, console: &Console) {
    let cards: Vec<&Card> = cards.collect();
    let reports: Vec<CardReport> = cards.iter().map(|card| report(card)).collect();
    console.tell(&reports, || cards.iter().map(|card| head(card)).collect::<Vec<_>>().join("\n"));
}

fn report(card: &Card) -> CardReport<'_> {
    let values = card.lines.iter().map(|l| LineReport { key: &l.key, value: &l.value, unit: l.unit, why: &l.why });
    CardReport { kind: card.kind.folder(), name: &card.name, title: &card.title, values: values.collect() }
}

fn head(card: &Card) -> String {
    wrapped(&format!("{:<11} {:<16} ", card.kind.folder(), card.name), &card.title)
}

fn whole(card: &Card) -> String {
    let lines = card.lines.iter().flat_map(|line| {
        let value = wrapped("  ", &format!("{} = {} {}", line.key, line.value, line.unit));
        let why = (!line.why.is_empty()).then(|| wrapped("      ", &line.why));
        std::iter::once(value).chain(why)
    });
    std::iter::once(head(card)).chain(names(card)).chain(lines).collect::<Vec<_>>().join("\n")
}

/// The entries of a page that have words of their own, such as complaints: a line each, before everything that is
/// known of them.
fn names(card: &Card) -> Vec<String> {
    let entry = |line: &CardLine| {
        let (_, name) = line.key.strip_suffix(": words")?.split_once(' ')?;
        Some(wrapped(&format!("  {name:<22} "), &line.value))
    };
    card.lines.iter().filter_map(entry).collect()
}
