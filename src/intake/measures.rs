//! A file of measures -> what was measured, each with its place in the text. Knows ranges, no rules.

use std::collections::BTreeMap;
use std::ops::Range;

use super::footprint::{Footprint, footprint, print_length};
use crate::curve::islands_from_svg;
use crate::foot::Loaded;
use crate::frame::Side;
use crate::profile::rules::{LOADED, Measure, PLAIN, Rules};
use crate::profile::{Kind, Shelf};
use crate::ticket::{self, Boot, Problems, RaisedFlag, Tracings, Underside};
use crate::written::{self, Allowed, Need, Section};

/// One person's feet as measured; codes only, never a name.
#[derive(Clone, Debug)]
#[allow(missing_docs)]
pub struct Measures {
    pub code: String,
    pub note: String,
    pub weight_kg: Option<f64>,
    pub age: Option<f64>,
    /// Name of the starting support.
    pub usage: String,
    /// Whose survey lines fill in a width: `men` or `women`; `None`: the mean of both.
    pub people: Option<&'static str>,
    pub complaints: Vec<String>,
    pub flags: Vec<RaisedFlag>,
    pub cleared: Option<String>,
    pub leg_difference_mm: Option<f64>,
    pub boot: Boot,
    pub(super) tracings: Tracings,
    pub making: Wanted,
    /// One or two, left first.
    pub feet: Vec<MeasuredFoot>,
    /// Where each key stands, by side (`None`: of the person, boot or making) and name.
    pub(super) places: BTreeMap<(Option<Side>, String), Range<usize>>,
}

/// How it is to be made, as far as the measures say.
#[derive(Clone, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct Wanted {
    pub material: Option<String>,
    pub machine: Option<String>,
    pub blank: Option<String>,
    pub cover_mm: f64,
    pub underside: Underside,
}

/// One foot as measured.
#[derive(Clone, Debug)]
pub struct MeasuredFoot {
    /// Which.
    pub side: Side,
    /// Measures with their loading, mm, by name.
    pub loaded: BTreeMap<&'static str, Loaded>,
    /// Measures that are one number, by name.
    pub plain: BTreeMap<&'static str, f64>,
    /// As judged by hand: `stiff`, `usual` or `flexible`.
    pub flexibility: Option<&'static str>,
    /// Its footprint, when a drawing of it was named, and how long it is, mm.
    pub print: Option<(Footprint, f64)>,
}

impl MeasuredFoot {
    /// A measure with its loading; all empty when it was not taken.
    pub fn loaded(&self, name: &str) -> Loaded {
        self.loaded.get(name).copied().unwrap_or_default()
    }
}

/// Reads a file of measures. `beside` gives the text of a drawing that it names.
///
/// # Errors
/// Everything that is wrong, each with its line and column, what is allowed and what to do.
pub fn read(
    text: &str,
    file_name: &str,
    shelf: &Shelf,
    beside: &dyn Fn(&str) -> Result<String, String>,
) -> Result<Measures, Problems> {
    let rules = shelf.rules();
    written::read(file_name, text, |top| measures(top, shelf, &rules, beside))
}

/// What a person weighs, kg, as in a ticket.
const WEIGHT: Allowed = Allowed::new(10.0, 250.0, "kg");
/// Years; from the smallest boots there are.
const AGE: Allowed = Allowed::new(2.0, 110.0, "years");
/// Measured standing against blocks, mm.
const LEG_DIFFERENCE: Allowed = Allowed::mm(0.0, 60.0);
const COVER: Allowed = Allowed::mm(0.0, 8.0);
/// As a ticket's note.
const LONGEST_NOTE: usize = 600;
/// More complaints than these are a talk, not a list.
const MOST_COMPLAINTS: usize = 12;

type Beside<'a> = &'a dyn Fn(&str) -> Result<String, String>;

fn measures(top: &Section, shelf: &Shelf, rules: &Rules, beside: Beside) -> Option<Measures> {
    let mut places = BTreeMap::new();
    let person = top.within("person", Need::Required, |s| {
        keep_places(s, None, &["weight", "age", "use", "complaints", "flags", "leg_difference"], &mut places);
        person(s, shelf, rules)
    });
    let boot = top.within("boot", Need::Optional, |s| {
        keep_places(s, None, &["mondopoint", "ramp"], &mut places);
        ticket::boot(s, beside)
    });
    let making = top.within("make", Need::Optional, |s| wanted(s, shelf));
    let none = Wanted { material: None, machine: None, blank: None, cover_mm: 0.0, underside: Underside::Flat };
    let making = making.unwrap_or(Some(none));
    let mut feet = vec![];
    for side in Side::BOTH {
        if !top.has(side.name()) {
            top.allow(side.name());
            continue;
        }
        let read = top.within(side.name(), Need::Required, |s| {
            keep_places(s, Some(side), &LOADED, &mut places);
            keep_places(s, Some(side), &PLAIN, &mut places);
            keep_places(s, Some(side), &["flexibility", "footprint"], &mut places);
            foot(s, side, rules, beside)
        });
        feet.push(read.flatten());
    }
    if feet.is_empty() {
        top.missing("no foot was measured", "add [left], [right] or both: `sustent intake --template`");
        return None;
    }
    let person = person.flatten()?;
    let (boot, tracings) = boot.unwrap_or_default();
    let feet = feet.into_iter().collect::<Option<_>>()?;
    Some(Measures { boot, tracings, making: making?, feet, places, ..person })
}

fn keep_places(
    s: &Section,
    side: Option<Side>,
    keys: &[&str],
    places: &mut BTreeMap<(Option<Side>, String), Range<usize>>,
) {
    places.extend(keys.iter().filter_map(|key| Some(((side, (*key).to_owned()), s.place(key)?))));
}

/// The person, with the rest left empty.
fn person(s: &Section, shelf: &Shelf, rules: &Rules) -> Option<Measures> {
    ticket::refuse_names(s);
    let code = s.text("code", Need::Required, usize::MAX).and_then(|code| ticket::checked_code(s, code));
    let note = s.text("note", Need::Optional, LONGEST_NOTE).unwrap_or_default();
    let weight_kg = s.number("weight", Need::Optional, WEIGHT);
    let age = s.number("age", Need::Optional, AGE);
    let usage = s.text("use", Need::Optional, usize::MAX).unwrap_or_else(|| "everyday".to_owned());
    let usage = ticket::look_up(s, "use", &usage, |name| shelf.support(name)).map(|support| support.name.clone());
    let people = s.choice("people", Need::Optional, &[("men", "men"), ("women", "women")]);
    let complaints = complaints(s, rules);
    let flags = ticket::flags(s, rules);
    let cleared = s.said("cleared", LONGEST_NOTE);
    let leg_difference_mm = s.number("leg_difference", Need::Optional, LEG_DIFFERENCE);
    Some(Measures {
        code: code?,
        note,
        weight_kg,
        age,
        usage: usage?,
        people,
        complaints: complaints?,
        flags: flags?,
        cleared,
        leg_difference_mm,
        boot: Boot::default(),
        tracings: Tracings::default(),
        making: Wanted { material: None, machine: None, blank: None, cover_mm: 0.0, underside: Underside::Flat },
        feet: vec![],
        places: BTreeMap::new(),
    })
}

fn complaints(s: &Section, rules: &Rules) -> Option<Vec<String>> {
    let given = if s.has("complaints") { s.texts("complaints", Need::Required, MOST_COMPLAINTS, 40)? } else { vec![] };
    s.allow("complaints");
    let known: Vec<&str> = rules.complaints.iter().map(|complaint| complaint.name.as_str()).collect();
    for word in given.iter().filter(|word| !known.contains(&word.as_str())) {
        let help = match written::suggest(word, known.iter().copied()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("known: {}", known.join(", ")),
        };
        s.at("complaints", format!("there is no complaint \"{}\"", written::shortened(word)), help);
    }
    given.iter().all(|word| known.contains(&word.as_str())).then_some(given)
}

fn wanted(s: &Section, shelf: &Shelf) -> Option<Wanted> {
    let named = |key: &str, kind: Kind| -> Option<Option<String>> {
        let Some(name) = s.text(key, Need::Optional, usize::MAX) else { return Some(None) };
        ticket::look_up(s, key, &name, |name| shelf.card(kind, name)).map(|card| Some(card.name.clone()))
    };
    let material = named("material", Kind::Material);
    let machine = named("machine", Kind::Machine);
    let blank = named("blank", Kind::Blank);
    let cover_mm = s.number_or("cover", COVER, 0.0);
    let undersides = [("flat", Underside::Flat), ("relieved", Underside::Relieved)];
    let underside = match s.has("underside") {
        true => s.choice("underside", Need::Required, &undersides),
        false => Some(Underside::Flat),
    };
    s.allow("underside");
    Some(Wanted { material: material?, machine: machine?, blank: blank?, cover_mm: cover_mm?, underside: underside? })
}

fn foot(s: &Section, side: Side, rules: &Rules, beside: Beside) -> Option<MeasuredFoot> {
    let mut fine = true;
    let mut loaded = BTreeMap::new();
    for name in LOADED {
        let range = allowed(rules.measure(name), "mm");
        s.allow(name);
        if s.has(name) {
            let read = ticket::measure(s, name, range);
            fine &= read.is_some();
            loaded.extend(read.map(|measure| (name, measure)));
        }
    }
    if !s.has("length") {
        s.missing(format!("`{}` is missing", s.full_name("length")), "add length = { standing = ... }");
        return None;
    }
    let mut plain = BTreeMap::new();
    for name in PLAIN {
        let unit = if name == "posture_index" { "" } else { "deg" };
        let read = s.number(name, Need::Optional, allowed(rules.measure(name), unit));
        fine &= read.is_some() == s.has(name);
        plain.extend(read.map(|number| (name, number)));
    }
    let words = [("stiff", "stiff"), ("usual", "usual"), ("flexible", "flexible")];
    let flexibility = s.choice("flexibility", Need::Optional, &words);
    let print = print(s, beside);
    fine.then_some(MeasuredFoot { side, loaded, plain, flexibility, print })
}

/// The range of a measure; without a rule for it, whatever a foot may measure.
fn allowed(rule: Option<&Measure>, unit: &'static str) -> Allowed {
    let [least, most] = rule.map_or([0.0, 400.0], |measure| measure.possible);
    Allowed::new(least, most, unit)
}

fn print(s: &Section, beside: Beside) -> Option<(Footprint, f64)> {
    let name = s.text("footprint", Need::Optional, 200)?;
    let refuse = |message: String, help: &str| {
        s.at("footprint", message, help);
        None
    };
    if name.is_empty() || name.starts_with('.') || name.contains(['/', '\\', ':', '\n']) {
        let shown = written::shortened(&name);
        return refuse(
            format!("\"{shown}\" is not the plain name of a file beside the measures"),
            "write its name alone",
        );
    }
    let svg = match beside(&name) {
        Ok(svg) => svg,
        Err(why) => {
            return refuse(format!("\"{name}\" cannot be read: {why}"), "it lies in the folder of the measures");
        }
    };
    match islands_from_svg(&svg) {
        Err(why) => refuse(
            format!("\"{name}\" is no footprint: {why}"),
            "draw the print without its toes as closed paths in mm, toes up, with a check bar of 100 mm",
        ),
        Ok(islands) => match footprint(&islands) {
            Some(print) if print.staheli > print.chippaux_smirak || print.staheli == 0.0 => {
                Some((print, print_length(&islands)))
            }
            Some(_) => {
                refuse(format!("\"{name}\" is as wide at the heel as at the ball"), "turn it so that the toes are up")
            }
            None => refuse(format!("\"{name}\" has no width to read"), "draw heel and ball as closed paths"),
        },
    }
}
