//! The text of a ticket -> a ticket: who, which boot, how it is made, what came before.

use crate::frame::Side;
use crate::profile::rules::Rules;
use crate::profile::{Shelf, Unknown};
use crate::written::{self, Need, Problems, Section};

use super::order::{Context, Tracings};
use super::{
    Boot, FootOrder, Laying, Make, PastRevision, RaisedFlag, StockInsole, Ticket, Traced, Wearer, making, order, ranges,
};

/// Reads a ticket.
///
/// `beside` gives the text of a file that the ticket names, such as a traced insole; its error is
/// one sentence in plain words.
///
/// # Errors
/// Everything that is wrong, each with its line and column, what is allowed and what to do.
pub fn read(
    text: &str,
    file_name: &str,
    shelf: &Shelf,
    beside: &dyn Fn(&str) -> Result<String, String>,
) -> Result<Ticket, Problems> {
    written::read(file_name, text, |top| ticket(top, shelf, beside))
}

/// Where nothing else is said.
const USUAL_USE: &str = "everyday";
const USUAL_LOAD: &str = "standing";

fn ticket(top: &Section, shelf: &Shelf, beside: &dyn Fn(&str) -> Result<String, String>) -> Option<Ticket> {
    let head = top.within("ticket", Need::Required, head);
    let wearer = top.within("wearer", Need::Optional, |s| wearer(s, shelf));
    let wearer = wearer.unwrap_or_else(|| {
        let load = shelf.load(USUAL_LOAD).map_err(|unknown| top.here(unknown.to_string(), "")).ok()?;
        let (usage, flags) = (USUAL_USE.to_owned(), vec![]);
        Some(Wearer { weight_kg: None, usage, load: load.clone(), flags, cleared: None })
    });
    let boot = top.within("boot", Need::Optional, |s| boot(s, beside));
    let (boot, tracings) = boot.unwrap_or_default();
    let make = top.within("make", Need::Required, |s| making::make(s, shelf)).flatten();

    top.allow("left");
    top.allow("right");
    // With an unknown use, the feet are still read, so that their problems show too.
    let usage = wearer.as_ref().map_or(USUAL_USE, |wearer| wearer.usage.as_str());
    let start = shelf.support(usage).map_err(|unknown| top.here(unknown.to_string(), "")).ok();
    let feet = start.and_then(|start| order::feet(top, &Context { boot: &boot, tracings: &tracings, start }));
    let history = top.each("history", past_revision);
    check_pair(top, make.as_ref(), feet.as_deref());
    let head = head?;
    check_history(top, head.revision, &history);
    Some(Ticket {
        code: head.code?,
        revision: head.revision?,
        note: head.note,
        wearer: wearer?,
        boot,
        make: make?,
        feet: feet?,
        history,
    })
}

/// A pair in one blank is two feet.
fn check_pair(top: &Section, make: Option<&Make>, feet: Option<&[FootOrder]>) {
    if make.is_some_and(|make| make.laying == Laying::Pair) && feet.is_some_and(|feet| feet.len() < 2) {
        let message = "`make.lay` is \"pair\", and only one foot is ordered";
        top.at("make", message, "order both feet, or write lay = \"each\"");
    }
}

struct Head {
    code: Option<String>,
    revision: Option<u32>,
    note: String,
}

fn head(s: &Section) -> Head {
    let code = s.text("code", Need::Required, usize::MAX).and_then(|code| checked_code(s, code));
    let revision = if s.has("revision") { whole_revision(s) } else { Some(1) };
    s.allow("revision");
    let note = s.text("note", Need::Optional, ranges::LONGEST_NOTE).unwrap_or_default();
    check_format(s);
    refuse_names(s);
    Head { code, revision, note }
}

/// The format that this program reads and writes. There was no other yet: a ticket that does not say is of this one.
const FORMAT: u32 = 1;

/// A ticket of a later format may mean other things by the same words.
fn check_format(s: &Section) {
    let Some(format) = s.whole("format", Need::Optional, ranges::FORMAT) else { return };
    if format > FORMAT {
        let message = format!("this ticket is of format {format}; this program reads up to {FORMAT}");
        s.at("format", message, "open it with the newer program that wrote it");
    }
}

fn whole_revision(s: &Section) -> Option<u32> {
    s.whole("revision", Need::Required, ranges::REVISION)
}

/// Codes stand in file names and program comments, so that only plain signs are safe.
pub(crate) fn checked_code(s: &Section, code: String) -> Option<String> {
    let plain = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
    let starts_well = code.starts_with(|c: char| c.is_ascii_alphanumeric());
    let count = code.chars().count();
    if starts_well && code.chars().all(plain) && count <= ranges::LONGEST_CODE {
        return Some(code);
    }
    let message = match code.chars().find(|c| !plain(*c)) {
        _ if code.is_empty() => "`code` is empty".to_owned(),
        Some(odd) => format!("`code` holds {odd:?}"),
        None if count > ranges::LONGEST_CODE => format!("`code` has {count} characters"),
        None => "`code` starts with a sign".to_owned(),
    };
    let help =
        format!("use at most {} letters, digits, '-' and '_', starting with a letter or digit", ranges::LONGEST_CODE);
    s.at("code", message, help);
    None
}

/// Names have no place in a ticket: whoever writes one gets told, not just "unknown key".
pub(crate) fn refuse_names(s: &Section) {
    for key in ["name", "first_name", "last_name", "surname", "email", "phone", "address", "birthday"] {
        if s.has(key) {
            s.allow(key);
            s.at(
                key,
                format!("`{key}` has no place in a ticket"),
                "take it out: people go by code here, never by name",
            );
        }
    }
}

fn wearer(s: &Section, shelf: &Shelf) -> Option<Wearer> {
    let weight_kg = s.number("weight", Need::Optional, ranges::WEIGHT);
    let usage = s.text("use", Need::Optional, usize::MAX).unwrap_or_else(|| USUAL_USE.to_owned());
    let load = s.text("load", Need::Optional, usize::MAX).unwrap_or_else(|| USUAL_LOAD.to_owned());
    let flags = flags(s, &shelf.rules());
    let cleared = s.said("cleared", ranges::LONGEST_NOTE);
    refuse_names(s);
    let load = look_up(s, "load", &load, |name| shelf.load(name));
    look_up(s, "use", &usage, |name| shelf.support(name))?;
    Some(Wearer { weight_kg, usage, load: load?.clone(), flags: flags?, cleared })
}

/// Most flags that are read: there are a dozen, and the shop may have its own.
const MOST_FLAGS: usize = 30;

/// Referral flags by name; what is no flag is noted at the key.
pub(crate) fn flags(s: &Section, rules: &Rules) -> Option<Vec<RaisedFlag>> {
    let names = if s.has("flags") { s.texts("flags", Need::Required, MOST_FLAGS, 40)? } else { vec![] };
    s.allow("flags");
    let raised: Vec<Option<RaisedFlag>> = names
        .iter()
        .map(|name| {
            let found = rules.flags.iter().find(|flag| flag.name == *name);
            if found.is_none() {
                let known: Vec<&str> = rules.flags.iter().map(|flag| flag.name.as_str()).collect();
                let help = match written::suggest(name, known.iter().copied()) {
                    Some(near) => format!("did you mean \"{near}\"?"),
                    None => format!("known: {}", known.join(", ")),
                };
                s.at("flags", format!("there is no flag \"{}\"", written::shortened(name)), help);
            }
            found.map(RaisedFlag::of)
        })
        .collect();
    raised.into_iter().collect()
}

/// What `find` finds under `name`; what it does not find is noted at `key`.
pub(crate) fn look_up<T>(
    s: &Section,
    key: &str,
    name: &str,
    find: impl FnOnce(&str) -> Result<T, Unknown>,
) -> Option<T> {
    find(name)
        .map_err(|unknown| {
            s.at(
                key,
                format!("there is no {} \"{}\"", unknown.kind.word(), written::shortened(&unknown.name)),
                unknown.help,
            )
        })
        .ok()
}

pub(crate) fn boot(s: &Section, beside: &dyn Fn(&str) -> Result<String, String>) -> (Boot, Tracings) {
    let mondopoint_mm = s.number("mondopoint", Need::Optional, ranges::MONDOPOINT);
    let ramp_deg = s.number("ramp", Need::Optional, ranges::RAMP);
    let insole = s.within("stock_insole", Need::Optional, |s| stock_insole(s, beside));
    let (stock_insole, tracings) = insole.unwrap_or_default();
    (Boot { mondopoint_mm, ramp_deg, stock_insole }, tracings)
}

fn stock_insole(s: &Section, beside: &dyn Fn(&str) -> Result<String, String>) -> (StockInsole, Tracings) {
    use crate::value::Value;
    let size = |value: Value| s.number(value.name(), Need::Optional, ranges::writable(value));
    let insole = StockInsole {
        heel_thickness: s.number("heel_thickness", Need::Optional, ranges::INSOLE_THICKNESS),
        ball_thickness: s.number("ball_thickness", Need::Optional, ranges::INSOLE_THICKNESS),
        length: size(Value::Length),
        ball_width: size(Value::BallWidth),
        heel_width: size(Value::HeelWidth),
    };
    let clearance_mm = s.number("clearance", Need::Optional, ranges::CLEARANCE).unwrap_or(0.0);
    if s.text_instead("outline").is_some() {
        s.at("outline", "`outline` does not say which foot's insole was traced", OUTLINE_HELP);
        return (insole, Tracings::default());
    }
    let traced = |s: &Section, side: Side| traced(s, side, clearance_mm, beside);
    let tracings = s
        .within("outline", Need::Optional, |s| Tracings { left: traced(s, Side::Left), right: traced(s, Side::Right) });
    (insole, tracings.unwrap_or_default())
}

const OUTLINE_HELP: &str = "write outline = { left = \"insole-left.svg\" }; one tracing serves both feet, mirrored";

fn traced(
    s: &Section,
    side: Side,
    clearance_mm: f64,
    beside: &dyn Fn(&str) -> Result<String, String>,
) -> Option<Traced> {
    let name = s.text(side.name(), Need::Optional, 200)?;
    if name.is_empty() || name.starts_with('.') || name.contains(['/', '\\', ':', '\n']) {
        let message = format!("\"{name}\" is not the plain name of a file beside the ticket");
        s.at(side.name(), message, "put the tracing into the ticket's folder and write its name alone");
        return None;
    }
    match beside(&name) {
        Ok(svg) if svg.len() <= written::LONGEST_TEXT => Some(Traced { name, svg, side, clearance_mm }),
        Ok(svg) => {
            let message = format!("\"{name}\" is {} bytes long; at most {} are read", svg.len(), written::LONGEST_TEXT);
            s.at(side.name(), message, "save the tracing as one plain path");
            None
        }
        Err(why) => {
            s.at(side.name(), format!("\"{name}\" cannot be read: {why}"), "a tracing lies in the ticket's folder");
            None
        }
    }
}

fn past_revision(s: &Section) -> Option<PastRevision> {
    let revision = whole_revision(s);
    let date = s.date("date", Need::Optional).unwrap_or_default();
    let change = s.text("change", Need::Required, ranges::LONGEST_NOTE);
    let reason = s.text("reason", Need::Optional, ranges::LONGEST_NOTE).unwrap_or_default();
    Some(PastRevision { revision: revision?, date, change: change?, reason })
}

fn check_history(top: &Section, revision: Option<u32>, history: &[PastRevision]) {
    for pair in history.windows(2) {
        if let [before, after] = pair
            && after.revision <= before.revision
        {
            let message = format!("[[history]] goes from revision {} to {}", before.revision, after.revision);
            top.at("history", message, "list earlier revisions once each, oldest first");
        }
    }
    let Some(revision) = revision else { return };
    if let Some(late) = history.iter().find(|past| past.revision >= revision) {
        let message = format!("[[history]] holds revision {}, but the ticket is revision {revision}", late.revision);
        top.at("history", message, "[[history]] keeps earlier revisions; raise `revision` under [ticket]");
    }
}
