//! `sustent profiles`: what is on the shelf, and the shop's own files that add to it.

use std::path::Path;

use serde::Serialize;

use super::Outcome;
use super::output::Console;
use super::tickets::read_text;
use crate::profile::{Card, Kind, Shelf};
use crate::ticket::Colour;

/// Longest profile that is read, bytes.
const LONGEST_PROFILE: u64 = 1 << 20;

/// Arguments of `profiles`.
#[derive(Debug, clap::Args)]
pub(super) struct Profiles {
    /// materials, blanks, cutters, machines, supports or tolerances
    kind: Option<String>,
    /// One profile's name
    name: Option<String>,
}

#[derive(Serialize)]
struct CardReport<'a> {
    kind: &'static str,
    name: &'a str,
    title: &'a str,
    values: Vec<LineReport<'a>>,
}

#[derive(Serialize)]
struct LineReport<'a> {
    key: &'a str,
    value: &'a str,
    unit: &'static str,
    why: &'a str,
}

/// The built-in shelf with the files of `folder` (`folder/materials/*.toml` and so on) added.
pub(super) fn shelf(folder: Option<&Path>) -> Result<Shelf, String> {
    let shelf = Shelf::built_in();
    let Some(folder) = folder else { return Ok(shelf) };
    if !folder.is_dir() {
        return Err(format!("{}: this folder of profiles is not there", folder.display()));
    }
    let mut files = vec![];
    for kind in Kind::ALL {
        let Ok(entries) = std::fs::read_dir(folder.join(kind.folder())) else { continue };
        let mut paths: Vec<_> = entries
            .filter_map(|entry| entry.ok().map(|e| e.path()))
            .filter(|path| path.extension().is_some_and(|e| e == "toml"))
            .collect();
        paths.sort();
        for path in paths {
            let text = read_text(&path, LONGEST_PROFILE).map_err(|e| format!("{}: {e}", path.display()))?;
            files.push((kind, path.display().to_string(), text));
        }
    }
    shelf.with_files(files).map_err(|problems| problems.render(Colour::Plain))
}

impl Profiles {
    pub(super) fn run(&self, shelf: &Shelf, console: &Console) -> Outcome {
        match self.cards(shelf) {
            Ok(cards) => {
                console.document(&cards.iter().map(|card| report(card)).collect::<Vec<_>>());
                let whole = self.name.is_some();
                cards.iter().for_each(|card| console.say(&words(card, whole)));
                Outcome::Good
            }
            Err(message) => {
                console.error(&message);
                Outcome::CouldNot
            }
        }
    }

    fn cards<'a>(&self, shelf: &'a Shelf) -> Result<Vec<&'a Card>, String> {
        let Some(word) = &self.kind else {
            return Ok(Kind::ALL.into_iter().flat_map(|kind| shelf.cards(kind)).collect());
        };
        let kinds: Vec<&str> = Kind::ALL.map(Kind::folder).to_vec();
        let kind =
            Kind::of_folder(word).ok_or(format!("there is no kind \"{word}\"; there are {}", kinds.join(", ")))?;
        match &self.name {
            Some(name) => shelf.card(kind, name).map(|card| vec![card]).map_err(|e| e.to_string()),
            None => Ok(shelf.cards(kind).collect()),
        }
    }
}

fn report(card: &Card) -> CardReport<'_> {
    CardReport {
        kind: card.kind.folder(),
        name: &card.name,
        title: &card.title,
        values: card
            .lines
            .iter()
            .map(|l| LineReport { key: &l.key, value: &l.value, unit: l.unit, why: &l.why })
            .collect(),
    }
}

fn words(card: &Card, whole: bool) -> String {
    let head = format!("{:<11} {:<16} {}", card.kind.folder(), card.name, card.title);
    if !whole {
        return head;
    }
    let lines = card.lines.iter().map(|line| {
        let why = if line.why.is_empty() { String::new() } else { format!("\n      {}", line.why) };
        format!("  {} = {} {}{why}", line.key, line.value, line.unit)
    });
    std::iter::once(head).chain(lines).collect::<Vec<_>>().join("\n")
}
