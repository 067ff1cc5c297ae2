//! A ticket's text with some values changed: its next revision, comments, order and line ends kept,
//! and what was changed and why under `[[history]]`. Text in, text out; whoever keeps the new text
//! reads it first. Knows no limits. The only door to `toml_edit`.

use toml_edit::{ArrayOfTables, Datetime, DocumentMut, InlineTable, Item, Table, TableLike, Value as Written};

use super::{FootOrder, Ticket, ranges};
use crate::foot::Foot;
use crate::frame::Side;
use crate::value::Value;

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
    Text(String),
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
    let reason = because.reason.trim();
    if reason.chars().count() > ranges::LONGEST_NOTE {
        return Err(ReviseError::Long(reason.chars().count()));
    }
    if f64::from(ticket.revision) >= ranges::REVISION.most {
        return Err(ReviseError::Last(ticket.revision));
    }
    let (mark, bare) = text.strip_prefix('\u{feff}').map_or(("", text), |bare| ("\u{feff}", bare));
    let mut doc: DocumentMut = bare.parse().map_err(|e: toml_edit::TomlError| not_a_ticket(e.message()))?;
    let parted = write_values(&mut doc, ticket, &changes)?;
    number(&mut doc, ticket.revision + 1)?;
    let change = in_words(ticket, &changes, parted);
    Entry { revision: ticket.revision, change, reason, date: &because.date }.append(&mut doc)?;
    let written = doc.to_string();
    // `toml_edit` writes plain line ends.
    let written = if bare.contains("\r\n") { written.replace('\n', "\r\n") } else { written };
    Ok(format!("{mark}{written}"))
}

fn not_a_ticket(why: &str) -> ReviseError {
    ReviseError::Text(why.to_owned())
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

fn leans(doc: &DocumentMut, side: Side) -> Leans {
    match doc.get(side.name()) {
        Some(item) if item.is_str() => Leans::Whole,
        Some(item) if item.get("support").is_some_and(Item::is_str) => Leans::Support,
        _ => Leans::Not,
    }
}

/// Writes the values; tells which foot is no longer "as" the other for it.
fn write_values(doc: &mut DocumentMut, ticket: &Ticket, changes: &[Setting]) -> Result<Option<Side>, ReviseError> {
    let of = |side: Side| changes.iter().filter(move |change| change.side == side);
    let leaning = Side::BOTH.into_iter().find(|&side| leans(doc, side) != Leans::Not);
    let shared = of(Side::Left).map(|c| (c.value, c.to)).eq(of(Side::Right).map(|c| (c.value, c.to)));
    let parted = leaning.filter(|_| !shared);
    if let Some(side) = parted {
        part(doc, ticket, side)?;
    }
    for change in changes.iter().filter(|change| !shared || leaning != Some(change.side)) {
        let support = support(doc, change.side)?;
        set(support, change.value.name(), numeral(change.to));
    }
    Ok(parted)
}

fn other(side: Side) -> Side {
    if side == Side::Left { Side::Right } else { Side::Left }
}

fn support(doc: &mut DocumentMut, side: Side) -> Result<&mut dyn TableLike, ReviseError> {
    let table = doc.get_mut(side.name()).and_then(|foot| foot.get_mut("support")).and_then(Item::as_table_like_mut);
    table.ok_or_else(|| not_a_ticket(&format!("it has no [{}.support]", side.name())))
}

/// Gives a foot that is "as" the other its own copy of the support, on the line on which it leaned.
fn part(doc: &mut DocumentMut, ticket: &Ticket, side: Side) -> Result<(), ReviseError> {
    let other = other(side);
    let how = leans(doc, side);
    let order = foot(ticket, side)?;
    let own_foot = how == Leans::Support && foot(ticket, other)?.foot != order.foot;
    let mut copy = InlineTable::new();
    for (key, item) in support(doc, other)?.iter() {
        copy.insert(key, bare(item));
    }
    spell_out(&mut copy, order, own_foot.then_some(&order.foot));
    let foot = doc.get_mut(side.name()).ok_or(ReviseError::NoFoot(side))?;
    match how {
        Leans::Whole => {
            let mut whole = InlineTable::new();
            whole.insert("foot", format!("as {}", other.name()).into());
            whole.insert("support", copy.into());
            replace(foot, whole.into());
        }
        _ => set(foot.as_table_like_mut().ok_or_else(|| not_a_ticket("a foot is no section"))?, "support", copy.into()),
    }
    Ok(())
}

/// What a copied support would lose: a reason that stood beside it, and for a foot with measures of
/// its own whatever a rule had filled in by the other's.
fn spell_out(copy: &mut InlineTable, order: &FootOrder, own_foot: Option<&Foot>) {
    if let Some(reason) = order.reason.as_ref().filter(|_| !copy.contains_key("reason")) {
        copy.insert("reason", reason.as_str().into());
    }
    if own_foot.is_none() {
        return;
    }
    for value in Value::ALL {
        if let Some(asked) = order.support.asked(value).filter(|_| !copy.contains_key(value.name())) {
            copy.insert(value.name(), numeral(asked));
        }
    }
    let stations = order.support.stations.named().into_iter().map(|(name, share)| (name, Written::from(share)));
    copy.insert("stations", Written::InlineTable(stations.collect()));
}

/// A value without the comments and spaces around it.
fn bare(item: &Item) -> Written {
    match item {
        Item::Table(table) => table.iter().map(|(key, item)| (key, bare(item))).collect::<InlineTable>().into(),
        Item::Value(Written::InlineTable(table)) => {
            let each = table.iter().map(|(key, value)| (key, bare(&Item::Value(value.clone()))));
            each.collect::<InlineTable>().into()
        }
        Item::Value(value) => {
            let mut value = value.clone();
            value.decor_mut().clear();
            value
        }
        _ => Written::from(""),
    }
}

/// A whole number without a point, as people write it; never a minus before nothing.
fn numeral(x: f64) -> Written {
    let x = x + 0.0;
    if x == x.round() && x.abs() < 1e9 { Written::from(x as i64) } else { Written::from(x) }
}

/// Sets a key, keeping the comment that stands beside it.
fn set(table: &mut dyn TableLike, key: &str, to: Written) {
    match table.get_mut(key) {
        Some(item) => replace(item, to),
        None => {
            table.insert(key, Item::Value(to));
        }
    }
}

fn replace(item: &mut Item, mut to: Written) {
    if let Some(value) = item.as_value() {
        *to.decor_mut() = value.decor().clone();
    }
    *item = Item::Value(to);
}

fn number(doc: &mut DocumentMut, revision: u32) -> Result<(), ReviseError> {
    let head = doc.get_mut("ticket").and_then(Item::as_table_like_mut);
    set(head.ok_or_else(|| not_a_ticket("it has no [ticket]"))?, "revision", i64::from(revision).into());
    Ok(())
}

/// An earlier revision, and what was changed after it.
struct Entry<'a> {
    revision: u32,
    change: String,
    reason: &'a str,
    date: &'a str,
}

impl Entry<'_> {
    fn append(self, doc: &mut DocumentMut) -> Result<(), ReviseError> {
        let date = self.date.trim();
        let dated = date.parse::<Datetime>().map_or_else(|_| Written::from(date), Written::from);
        let rows = [
            ("revision", Written::from(i64::from(self.revision))),
            ("date", dated),
            ("change", self.change.into()),
            ("reason", self.reason.into()),
        ];
        let rows = rows.into_iter().filter(|(_, value)| value.as_str() != Some(""));
        if let Some(list) = doc.get_mut("history").and_then(Item::as_array_mut) {
            list.push(Written::InlineTable(rows.collect()));
            return Ok(());
        }
        let entries = doc.entry("history").or_insert(Item::ArrayOfTables(ArrayOfTables::new()));
        let entries = entries.as_array_of_tables_mut().ok_or_else(|| not_a_ticket("`history` is no list"))?;
        let mut table: Table = rows.collect();
        table.decor_mut().set_prefix("\n");
        entries.push(table);
        Ok(())
    }
}

/// "left medial arch 18 -> 16.5, right rearfoot post 2 -> 1"; of more than the history holds the
/// rest by its number.
fn in_words(ticket: &Ticket, changes: &[Setting], parted: Option<Side>) -> String {
    let from = |change: &Setting| {
        let asked = foot(ticket, change.side).ok().and_then(|order| order.asked(change.value));
        asked.map_or(String::new(), |from| format!(" {}", shown(from)))
    };
    let words = |change: &Setting| {
        format!("{} {}{} -> {}", change.side.name(), change.value.words(), from(change), shown(change.to))
    };
    let end = parted.map_or(String::new(), |side| format!("; {} no longer as {}", side.name(), other(side).name()));
    let mut told = String::new();
    for (at, change) in changes.iter().enumerate() {
        let next = format!("{}{}", if at == 0 { "" } else { ", " }, words(change));
        // Room for the number of those that are left out.
        if told.len() + next.len() + end.len() + 20 > ranges::LONGEST_NOTE {
            return format!("{told} and {} more{end}", changes.len() - at);
        }
        told.push_str(&next);
    }
    told + &end
}

/// Without the last digits that a rule's arithmetic leaves.
fn shown(x: f64) -> f64 {
    (x * 1e3).round() / 1e3 + 0.0
}
