//! A ticket's next revision as text: values set, comments, order and line ends kept, and what was changed
//! and why under `[[history]]`. Text in, text out; whoever keeps the new text reads it first. Knows no limits.

use super::{FootOrder, Ticket, ranges};
use crate::frame::Side;
use crate::value::Value;
use crate::written::{Copied, Draft, Given, Stands};

/// A value to be asked of one foot.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setting {
    /// Which foot.
    pub side: Side,
    /// Which value.
    pub value: Value,
    /// What is asked, in the value's own unit.
    pub to: f64,
}

/// What a person says of a change.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Because {
    /// Why; may be empty.
    pub reason: String,
    /// When, as typed by a person; may be empty. The program adds no clock.
    pub date: String,
}

/// Why there is no next revision.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ReviseError {
    /// Not the text that the ticket was read from.
    #[error("the text is not that of a ticket: {0}")]
    Text(&'static str),
    /// Every value is asked already.
    #[error("nothing changes: every value is asked like that already")]
    Nothing,
    /// No such foot.
    #[error("the ticket has no {} foot", .0.name())]
    NoFoot(Side),
    /// A number that no ticket can hold.
    #[error("{} {side} {to} is outside {least} to {most} {unit}", .value.words(), side = .side.name())]
    Range {
        /// Which foot.
        side: Side,
        /// Which value.
        value: Value,
        /// What was to be asked.
        to: f64,
        /// Least that a ticket may ask.
        least: f64,
        /// Most.
        most: f64,
        /// Of all three.
        unit: &'static str,
    },
    /// A size that the traced outline brings.
    #[error("{} {side} comes with the traced outline; change the tracing's clearance instead", .value.words(), side = .side.name())]
    Traced {
        /// Which foot.
        side: Side,
        /// Which value.
        value: Value,
    },
    /// A reason too long for a job sheet.
    #[error("the reason has {0} characters; at most {most} fit", most = ranges::LONGEST_NOTE)]
    Long(usize),
    /// No higher revision can be written.
    #[error("revision {0} is the last that a ticket can have; begin a new ticket")]
    Last(u32),
}

/// The next revision of the ticket that was read from `text`, with these values asked. A foot that is
/// written "as" the other gets values of its own where they now differ.
///
/// # Errors
/// When nothing changes, or what was asked cannot be written in a ticket.
pub fn revise(text: &str, ticket: &Ticket, settings: &[Setting], because: &Because) -> Result<String, ReviseError> {
    let changes = changes(ticket, settings)?;
    let mut draft = draft(text)?;
    let parted = write_values(&mut draft, ticket, &changes)?;
    let words: Vec<String> = changes.iter().map(|change| in_words(ticket, change)).collect();
    let end = parted.map_or(String::new(), |side| format!("; {} no longer as {}", side.name(), side.other().name()));
    close(draft, ticket.revision, &told(&words, &end), because)
}

/// The next revision from a text in which everything is changed already: the revision after `revision`, with these
/// changes, in words, under its history.
///
/// # Errors
/// When the text cannot take a revision, or the reason is too long.
pub fn revised(text: &str, revision: u32, changes: &[String], because: &Because) -> Result<String, ReviseError> {
    close(draft(text)?, revision, &told(changes, ""), because)
}

fn draft(text: &str) -> Result<Draft, ReviseError> {
    Draft::of(text).ok_or(ReviseError::Text("it is no TOML"))
}

/// Raises the revision and keeps what was; an empty date or reason is not written.
fn close(mut draft: Draft, revision: u32, change: &str, because: &Because) -> Result<String, ReviseError> {
    let (reason, date) = (because.reason.trim(), because.date.trim());
    if reason.chars().count() > ranges::LONGEST_NOTE {
        return Err(ReviseError::Long(reason.chars().count()));
    }
    if f64::from(revision) >= ranges::REVISION.most {
        return Err(ReviseError::Last(revision));
    }
    if !draft.set(&["ticket"], "revision", &Given::Number(f64::from(revision) + 1.0)) {
        return Err(ReviseError::Text("it has no [ticket]"));
    }
    let rows = [
        ("revision", Given::Number(f64::from(revision))),
        ("date", Given::Date(date.to_owned())),
        ("change", Given::Text(change.to_owned())),
        ("reason", Given::Text(reason.to_owned())),
    ];
    let written =
        |(_, given): &(&str, Given)| !matches!(given, Given::Date(text) | Given::Text(text) if text.is_empty());
    let rows: Vec<(&str, Given)> = rows.into_iter().filter(written).collect();
    if draft.append("history", &rows) { Ok(draft.text()) } else { Err(ReviseError::Text("`history` is no list")) }
}

/// The settings that change something, each value of a foot once, in the order of tables.
fn changes(ticket: &Ticket, settings: &[Setting]) -> Result<Vec<Setting>, ReviseError> {
    let mut changes: Vec<Setting> = vec![];
    for &setting in settings {
        let Setting { side, value, to } = setting;
        let order = foot(ticket, side)?;
        let allowed = super::writable(value);
        if !allowed.admits(to) {
            let (least, most, unit) = (allowed.least, allowed.most, value.unit());
            return Err(ReviseError::Range { side, value, to, least, most, unit });
        }
        if order.traced.is_some() && matches!(value, Value::Length | Value::BallWidth | Value::HeelWidth) {
            return Err(ReviseError::Traced { side, value });
        }
        changes.retain(|known| (known.side, known.value) != (side, value));
        if order.asked(value) != Some(to) {
            changes.push(setting);
        }
    }
    changes.sort_by_key(|change| (change.side, change.value));
    if changes.is_empty() { Err(ReviseError::Nothing) } else { Ok(changes) }
}

fn foot(ticket: &Ticket, side: Side) -> Result<&FootOrder, ReviseError> {
    ticket.feet.iter().find(|order| order.side == side).ok_or(ReviseError::NoFoot(side))
}

/// What of a foot is written "as" the other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Leans {
    /// All of it.
    Whole,
    /// Its support.
    Support,
    /// Nothing that holds values.
    Not,
}

fn leans(draft: &Draft, side: Side) -> Leans {
    match (draft.at(&[side.name()]), draft.at(&[side.name(), "support"])) {
        (Stands::Text(_), _) => Leans::Whole,
        (_, Stands::Text(_)) => Leans::Support,
        _ => Leans::Not,
    }
}

/// Writes the values; tells which foot is no longer "as" the other for it.
fn write_values(draft: &mut Draft, ticket: &Ticket, changes: &[Setting]) -> Result<Option<Side>, ReviseError> {
    let of = |side: Side| changes.iter().filter(move |change| change.side == side);
    let leaning = Side::BOTH.into_iter().find(|&side| leans(draft, side) != Leans::Not);
    let shared = of(Side::Left).map(|c| (c.value, c.to)).eq(of(Side::Right).map(|c| (c.value, c.to)));
    let parted = leaning.filter(|_| !shared);
    if let Some(side) = parted {
        part(draft, ticket, side)?;
    }
    for change in changes.iter().filter(|change| !shared || leaning != Some(change.side)) {
        if !draft.set(&[change.side.name(), "support"], change.value.name(), &Given::Number(change.to)) {
            return Err(ReviseError::Text("a foot of it has no support"));
        }
    }
    Ok(parted)
}

/// Gives a foot that is "as" the other its own copy of the support, on the line on which it leaned.
fn part(draft: &mut Draft, ticket: &Ticket, side: Side) -> Result<(), ReviseError> {
    let (own, other) = (side.name(), side.other().name());
    let how = leans(draft, side);
    let order = foot(ticket, side)?;
    let own_foot = how == Leans::Support && foot(ticket, side.other())?.foot != order.foot;
    let mut copy = draft.copied(&[other, "support"]).ok_or(ReviseError::Text("a foot of it has no support"))?;
    spell_out(&mut copy, order, own_foot);
    let written = if how == Leans::Whole {
        let mut whole = Copied::default();
        whole.give("foot", &Given::Text(format!("as {other}")));
        whole.give("support", &Given::Section(copy));
        draft.set(&[], own, &Given::Section(whole))
    } else {
        draft.set(&[own], "support", &Given::Section(copy))
    };
    if written { Ok(()) } else { Err(ReviseError::Text("a foot is no section")) }
}

/// What a copied support would lose: a reason that stood beside it, and for a foot with measures of
/// its own whatever a rule had filled in by the other's.
fn spell_out(copy: &mut Copied, order: &FootOrder, own_foot: bool) {
    if let Some(reason) = order.reason.as_ref().filter(|_| !copy.has("reason")) {
        copy.give("reason", &Given::Text(reason.clone()));
    }
    if !own_foot {
        return;
    }
    for value in Value::ALL {
        if let Some(asked) = order.support.asked(value).filter(|_| !copy.has(value.name())) {
            copy.give(value.name(), &Given::Number(asked));
        }
    }
    let mut stations = Copied::default();
    for (name, share) in order.support.stations.named() {
        stations.give(name, &Given::Number(share));
    }
    copy.give("stations", &Given::Section(stations));
}

/// "left medial arch 18 -> 16.5".
fn in_words(ticket: &Ticket, change: &Setting) -> String {
    let asked = foot(ticket, change.side).ok().and_then(|order| order.asked(change.value));
    let from = asked.map_or(String::new(), |from| format!(" {}", shown(from)));
    format!("{} {}{from} -> {}", change.side.name(), change.value.words(), shown(change.to))
}

/// The changes one after another; of more than the history holds the rest by its number.
fn told(changes: &[String], end: &str) -> String {
    /// Room for the number of those that are left out.
    const ROOM: usize = 20;
    let mut told = String::new();
    for (at, change) in changes.iter().enumerate() {
        let next = format!("{}{change}", if at == 0 { "" } else { ", " });
        if told.chars().count() + next.chars().count() + end.chars().count() + ROOM > ranges::LONGEST_NOTE {
            return format!("{told} and {} more{end}", changes.len() - at);
        }
        told.push_str(&next);
    }
    told + end
}

/// Without the last digits that a rule's arithmetic leaves.
fn shown(x: f64) -> f64 {
    (x * 1e3).round() / 1e3 + 0.0
}
