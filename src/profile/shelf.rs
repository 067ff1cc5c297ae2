//! The shelf: every profile by kind and name, those compiled in and the shop's own.

use std::collections::BTreeMap;

use crate::written::{self, Need, Problem, Problems, Section, suggest};

use super::rules::{self, Rules};
use super::{Blank, Cutter, Load, Machine, Material, StartingSupport, Tolerances, reading};

/// What a profile describes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[allow(missing_docs)] // the words of the trade say it
pub enum Kind {
    Material,
    Blank,
    Cutter,
    Machine,
    Support,
    Tolerances,
    Load,
    Rules,
}

impl Kind {
    /// Every kind, in the order of listings.
    pub const ALL: [Kind; 8] = [
        Kind::Material,
        Kind::Blank,
        Kind::Cutter,
        Kind::Machine,
        Kind::Support,
        Kind::Tolerances,
        Kind::Load,
        Kind::Rules,
    ];

    /// The folder of such profiles, which is also the word for them on the command line.
    pub fn folder(self) -> &'static str {
        match self {
            Kind::Material => "materials",
            Kind::Blank => "blanks",
            Kind::Cutter => "cutters",
            Kind::Machine => "machines",
            Kind::Support => "supports",
            Kind::Tolerances => "tolerances",
            Kind::Load => "loads",
            Kind::Rules => "rules",
        }
    }

    /// One of them, in words.
    pub fn word(self) -> &'static str {
        match self {
            Kind::Material => "material",
            Kind::Blank => "blank",
            Kind::Cutter => "cutter",
            Kind::Machine => "machine",
            Kind::Support => "starting support",
            Kind::Tolerances => "set of tolerances",
            Kind::Load => "load",
            Kind::Rules => "set of rules",
        }
    }

    /// The kind whose folder has this name.
    pub fn of_folder(folder: &str) -> Option<Kind> {
        Kind::ALL.into_iter().find(|kind| kind.folder() == folder)
    }
}

/// A profile as it is shown: every key with its value and why it has that value.
#[derive(Clone, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct Card {
    pub kind: Kind,
    pub name: String,
    pub title: String,
    pub lines: Vec<CardLine>,
    /// The whole file.
    pub text: String,
}

/// One key of a profile.
#[derive(Clone, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct CardLine {
    pub key: String,
    /// The value as written.
    pub value: String,
    /// Empty for none.
    pub unit: &'static str,
    /// Whether the value holds numbers; then `why` is never empty.
    pub numeric: bool,
    /// Where the value comes from.
    pub why: String,
}

/// Every profile, by kind and name.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Shelf {
    materials: BTreeMap<String, Material>,
    blanks: BTreeMap<String, Blank>,
    cutters: BTreeMap<String, Cutter>,
    machines: BTreeMap<String, Machine>,
    supports: BTreeMap<String, StartingSupport>,
    tolerances: BTreeMap<String, Tolerances>,
    loads: BTreeMap<String, Load>,
    /// By file, in the order in which they came: a later file goes over an earlier one.
    rules: Vec<(String, Rules)>,
    cards: BTreeMap<(Kind, String), Card>,
}

/// A name that is not on the shelf.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("there is no {} \"{name}\"; {help}", kind.word())]
pub struct Unknown {
    /// What was looked for.
    pub kind: Kind,
    /// The name that was not found.
    pub name: String,
    /// The nearest name, or all there are.
    pub help: String,
}

impl Shelf {
    /// The profiles compiled in.
    ///
    /// # Panics
    /// Never: a test reads every one of these fixed texts.
    pub fn built_in() -> Shelf {
        Shelf::default()
            .with_files(BUILT_IN.iter().copied())
            .expect("the fixed texts compiled in are all read by a test")
    }

    /// This shelf with the profiles of `files` (kind, file name, text) added; one of the same kind
    /// and name takes the other's place. The name of a profile is its file's name without `.toml`.
    ///
    /// # Errors
    /// Everything that is wrong in any of the files.
    pub fn with_files<F, T>(mut self, files: impl IntoIterator<Item = (Kind, F, T)>) -> Result<Shelf, Problems>
    where
        F: AsRef<str>,
        T: AsRef<str>,
    {
        let mut problems: Vec<Problem> = Vec::new();
        for (kind, file, text) in files {
            if let Err(found) = self.add(kind, file.as_ref(), text.as_ref()) {
                problems.extend(found);
            }
        }
        if problems.is_empty() { Ok(self) } else { Err(Problems::of_list(problems)) }
    }

    /// The names of one kind, sorted.
    pub fn names(&self, kind: Kind) -> Vec<&str> {
        self.cards(kind).map(|card| card.name.as_str()).collect()
    }

    /// The cards of one kind, sorted by name.
    pub fn cards(&self, kind: Kind) -> impl Iterator<Item = &Card> {
        self.cards.values().filter(move |card| card.kind == kind)
    }

    /// One profile as it is shown.
    ///
    /// # Errors
    /// When there is none of that name.
    pub fn card(&self, kind: Kind, name: &str) -> Result<&Card, Unknown> {
        self.cards.get(&(kind, name.to_owned())).ok_or_else(|| self.unknown(kind, name))
    }

    /// A material. Errors when there is none of that name, as do the other look-ups.
    pub fn material(&self, name: &str) -> Result<&Material, Unknown> {
        self.materials.get(name).ok_or_else(|| self.unknown(Kind::Material, name))
    }

    /// Every blank, in the order of names.
    pub fn blanks(&self) -> impl Iterator<Item = &Blank> {
        self.blanks.values()
    }

    /// A blank.
    pub fn blank(&self, name: &str) -> Result<&Blank, Unknown> {
        self.blanks.get(name).ok_or_else(|| self.unknown(Kind::Blank, name))
    }

    /// A cutter.
    pub fn cutter(&self, name: &str) -> Result<&Cutter, Unknown> {
        self.cutters.get(name).ok_or_else(|| self.unknown(Kind::Cutter, name))
    }

    /// A machine.
    pub fn machine(&self, name: &str) -> Result<&Machine, Unknown> {
        self.machines.get(name).ok_or_else(|| self.unknown(Kind::Machine, name))
    }

    /// A starting support.
    pub fn support(&self, name: &str) -> Result<&StartingSupport, Unknown> {
        self.supports.get(name).ok_or_else(|| self.unknown(Kind::Support, name))
    }

    /// A set of tolerances.
    pub fn tolerances(&self, name: &str) -> Result<&Tolerances, Unknown> {
        self.tolerances.get(name).ok_or_else(|| self.unknown(Kind::Tolerances, name))
    }

    /// A load.
    pub fn load(&self, name: &str) -> Result<&Load, Unknown> {
        self.loads.get(name).ok_or_else(|| self.unknown(Kind::Load, name))
    }

    /// The rules of every file together, the shop's own over those compiled in.
    pub fn rules(&self) -> Rules {
        self.rules.iter().fold(Rules::default(), |all, (_, rules)| all.over(rules.clone()))
    }

    fn unknown(&self, kind: Kind, name: &str) -> Unknown {
        let names = self.names(kind);
        let help = match suggest(name, names.iter().copied()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("on the shelf: {}", names.join(", ")),
        };
        Unknown { kind, name: name.to_owned(), help }
    }

    fn add(&mut self, kind: Kind, file: &str, text: &str) -> Result<(), Problems> {
        let name = profile_name(file)?;
        let card = match kind {
            Kind::Material => put(&mut self.materials, kind, name, file, text, reading::material),
            Kind::Blank => put(&mut self.blanks, kind, name, file, text, reading::blank),
            Kind::Cutter => put(&mut self.cutters, kind, name, file, text, reading::cutter),
            Kind::Machine => put(&mut self.machines, kind, name, file, text, reading::machine),
            Kind::Support => put(&mut self.supports, kind, name, file, text, reading::support),
            Kind::Tolerances => put(&mut self.tolerances, kind, name, file, text, reading::tolerances),
            Kind::Load => put(&mut self.loads, kind, name, file, text, reading::load),
            Kind::Rules => put_rules(&mut self.rules, name, file, text),
        }?;
        self.cards.insert((kind, name.to_owned()), card);
        Ok(())
    }
}

/// Reads one profile, puts it in its place and returns its card.
fn put<T>(
    place: &mut BTreeMap<String, T>,
    kind: Kind,
    name: &str,
    file: &str,
    text: &str,
    reader: impl FnOnce(&Section, &str, &str) -> Option<T>,
) -> Result<Card, Problems> {
    let (profile, card) = written::read(file, text, |s| {
        let title = s.text("title", Need::Required, LONGEST_TITLE);
        let profile = reader(s, name, title.as_deref().unwrap_or_default());
        let lines = lines(s);
        Some((profile?, Card { kind, name: name.to_owned(), title: title?, lines, text: text.to_owned() }))
    })?;
    place.insert(name.to_owned(), profile);
    Ok(card)
}

/// Reads one file of rules and puts it in its place, or last.
fn put_rules(place: &mut Vec<(String, Rules)>, name: &str, file: &str, text: &str) -> Result<Card, Problems> {
    let (read, card) = written::read(file, text, |s| {
        let title = s.text("title", Need::Required, LONGEST_TITLE);
        let (read, lines) = rules::rules(s);
        Some((read, Card { kind: Kind::Rules, name: name.to_owned(), title: title?, lines, text: text.to_owned() }))
    })?;
    match place.iter_mut().find(|(earlier, _)| earlier == name) {
        Some((_, earlier)) => *earlier = read,
        None => place.push((name.to_owned(), read)),
    }
    Ok(card)
}

/// Every key read so far with its reason; each number must have one.
fn lines(s: &Section) -> Vec<CardLine> {
    let fields = s.fields();
    let with_reasons = s.within("why", Need::Required, |why| {
        let reason = |key: &str, numeric: bool| match (numeric, why.has(key)) {
            (true, false) => {
                why.missing(
                    format!("[why] lacks `{key}`"),
                    "say where the number comes from, if only: shop's own choice",
                );
                why.allow(key);
                None
            }
            _ => why.text(key, Need::Optional, LONGEST_WHY),
        };
        let shown = fields.into_iter().filter(|field| field.key != "title");
        shown
            .map(|field| {
                let why = reason(&field.key, field.numeric).unwrap_or_default();
                CardLine { key: field.key, value: field.shown, unit: field.unit, numeric: field.numeric, why }
            })
            .collect()
    });
    with_reasons.unwrap_or_default()
}

const LONGEST_TITLE: usize = 80;
const LONGEST_WHY: usize = 300;

/// The file's name without folders and `.toml`: letters, digits, `-` and `_`.
fn profile_name(file: &str) -> Result<&str, Problems> {
    let last = file.rsplit(['/', '\\']).next().unwrap_or(file);
    let name = last.strip_suffix(".toml").unwrap_or(last);
    let plain = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
    if !name.is_empty() && name.len() <= 32 && name.chars().all(plain) {
        return Ok(name);
    }
    let message = format!("\"{name}\" cannot name a profile");
    Err(Problem::of_file(file, message, "name the file with at most 32 letters, digits, '-' or '_', and .toml").into())
}

macro_rules! built_in {
    ($kind:expr, $folder:literal, $name:literal) => {
        (
            $kind,
            concat!("profiles/", $folder, "/", $name, ".toml"),
            include_str!(concat!("../../profiles/", $folder, "/", $name, ".toml")),
        )
    };
}

/// The files of `profiles/`, so that the program works from any folder.
const BUILT_IN: &[(Kind, &str, &str)] = &[
    built_in!(Kind::Material, "materials", "cork-eva"),
    built_in!(Kind::Material, "materials", "eva-firm"),
    built_in!(Kind::Material, "materials", "eva-soft"),
    built_in!(Kind::Material, "materials", "polypropylene"),
    built_in!(Kind::Material, "materials", "pu-foam"),
    built_in!(Kind::Blank, "blanks", "cork-300"),
    built_in!(Kind::Blank, "blanks", "foam-300"),
    built_in!(Kind::Blank, "blanks", "foam-330"),
    built_in!(Kind::Blank, "blanks", "foam-360"),
    built_in!(Kind::Blank, "blanks", "foam-pair-310"),
    built_in!(Kind::Blank, "blanks", "foam-pair-350"),
    built_in!(Kind::Blank, "blanks", "plastic-310"),
    built_in!(Kind::Cutter, "cutters", "ball-10"),
    built_in!(Kind::Cutter, "cutters", "ball-3"),
    built_in!(Kind::Cutter, "cutters", "ball-6"),
    built_in!(Kind::Cutter, "cutters", "ball-8"),
    built_in!(Kind::Cutter, "cutters", "bull-10"),
    built_in!(Kind::Cutter, "cutters", "bull-12"),
    built_in!(Kind::Cutter, "cutters", "flat-10"),
    built_in!(Kind::Cutter, "cutters", "flat-12"),
    built_in!(Kind::Cutter, "cutters", "flat-6"),
    built_in!(Kind::Cutter, "cutters", "flat-8"),
    built_in!(Kind::Cutter, "cutters", "taper-6"),
    built_in!(Kind::Machine, "machines", "drip-fed"),
    built_in!(Kind::Machine, "machines", "fast-router"),
    built_in!(Kind::Machine, "machines", "kit-router"),
    built_in!(Kind::Machine, "machines", "panel-router"),
    built_in!(Kind::Machine, "machines", "small-mill"),
    built_in!(Kind::Machine, "machines", "strict-old"),
    built_in!(Kind::Support, "supports", "everyday"),
    built_in!(Kind::Support, "supports", "heavy"),
    built_in!(Kind::Support, "supports", "high-impact"),
    built_in!(Kind::Support, "supports", "junior"),
    built_in!(Kind::Support, "supports", "low-bulk"),
    built_in!(Kind::Support, "supports", "touring"),
    built_in!(Kind::Tolerances, "tolerances", "workshop"),
    built_in!(Kind::Load, "loads", "one-foot-turn"),
    built_in!(Kind::Load, "loads", "standing"),
    built_in!(Kind::Load, "loads", "two-feet-alpine"),
    built_in!(Kind::Rules, "rules", "classes"),
    built_in!(Kind::Rules, "rules", "complaints"),
    built_in!(Kind::Rules, "rules", "measures"),
    built_in!(Kind::Rules, "rules", "referral"),
    built_in!(Kind::Rules, "rules", "starting"),
];
