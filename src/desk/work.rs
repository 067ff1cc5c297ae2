//! One ticket on the desk: what it was on disk, what it is now, and the designs of both. Every change goes through the
//! ticket's text and its reader, so that nothing can be asked here that a ticket could not say.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::edits::Edits;
use super::told::{Ask, FootState, State};
use crate::draw::{DeskDrawing, DeskPage, DrawError};
use crate::frame::Side;
use crate::job::{JobError, Live};
use crate::profile::Shelf;
use crate::ticket::{self, Because, FootOrder, Problems, Ticket};
use crate::value::Value;

/// A failure or another text, in words.
type Words = Result<String, String>;

/// Puts the second text in the first one's place, or gives back what else stands there.
pub type Replace = dyn Fn(&str, &str) -> Result<Option<String>, String> + Send + Sync;

/// Where the ticket is kept; each function tells in plain words what it could not do.
pub struct Disk {
    /// The ticket's text as it stands now.
    pub read: Box<dyn Fn() -> Words + Send + Sync>,
    /// Puts the second text where the first one stands, whole or not at all. When another stands there, that one is given
    /// back and nothing is done.
    pub replace: Box<Replace>,
    /// Text of a file that the ticket names.
    pub beside: Box<dyn Fn(&str) -> Words + Send + Sync>,
}

/// Why something asked was not done: nothing has changed then.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{words}")]
pub struct Refusal {
    /// Status of HTTP (RFC 9110): 422 what no ticket may say, 409 what the file on disk forbids, 500 what failed.
    pub status: u16,
    /// Why, and what can be done.
    pub words: String,
}

/// What was seen on disk.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Seen {
    /// What the desk has read or written last.
    Same,
    /// Another text.
    Other,
    /// Nothing that could be read, and why.
    Unreadable(String),
}

/// The desk.
pub struct Desk {
    shelf: Shelf,
    name: String,
    disk: Disk,
    seen: Seen,
    edits: Edits,
    saved: Arc<Live>,
    now: Arc<Live>,
    shapes: BTreeMap<Side, u64>,
    news: u64,
    /// Rises with every design.
    designs: u64,
    /// Rises when another file is taken.
    page: u64,
}

impl Desk {
    /// Lays a ticket that was read from `name` on the desk.
    pub fn open(text: String, name: String, shelf: Shelf, disk: Disk) -> Result<Desk, Refusal> {
        let ticket = ticket::read(&text, &name, &shelf, &*disk.beside).map_err(|problems| no_ticket(&problems))?;
        let live = Arc::new(Live::open(ticket, &text).map_err(no_design)?);
        let shapes = live.ticket().feet.iter().map(|order| (order.side, 1)).collect();
        let edits = Edits::open(text);
        let (saved, now) = (live.clone(), live);
        Ok(Desk { shelf, name, disk, seen: Seen::Same, edits, saved, now, shapes, news: 1, designs: 1, page: 1 })
    }

    /// The ticket as it is now.
    pub fn ticket(&self) -> &Ticket {
        self.now.ticket()
    }

    /// Rises whenever there is something new to tell.
    pub fn news(&self) -> u64 {
        self.news
    }

    /// Does what was asked, or nothing.
    pub fn ask(&mut self, ask: Ask) -> Result<(), Refusal> {
        match ask {
            Ask::Change { side, value, to, more } => {
                let text = valued(self.edits.now(), side, value, to)?;
                self.go(text, if more { Edits::go_on } else { Edits::change })
            }
            Ask::Changes { side, to } => {
                let start = self.edits.now().to_owned();
                let text = to.into_iter().try_fold(start, |text, (value, to)| valued(&text, side, value, Some(to)))?;
                self.step(text)
            }
            Ask::Reason { side, reason } => {
                let text = ticket::with_reason(self.edits.now(), side, reason.trim());
                self.step(text.ok_or_else(|| no_foot(side))?)
            }
            Ask::Undo {} => self.walk(Edits::before, Edits::undo),
            Ask::Redo {} => self.walk(Edits::after, Edits::redo),
            Ask::Drop {} => self.step(self.edits.saved().to_owned()),
            Ask::Save { why, date } => self.save(why.trim(), date.trim()),
            Ask::Keep {} => self.take_disk(true),
            Ask::Take {} => self.take_disk(false),
        }
    }

    /// Looks whether the file is still the one that was read or written last; tells whether that is news.
    pub fn look(&mut self) -> bool {
        let seen = match (self.disk.read)() {
            Ok(text) if text == self.edits.saved() => Seen::Same,
            Ok(_) => Seen::Other,
            Err(words) => Seen::Unreadable(words),
        };
        let is_news = seen != self.seen;
        self.seen = seen;
        self.news += u64::from(is_news);
        is_news
    }

    /// All but the pictures; the shapes only of feet whose shape is not the one that the page has.
    pub fn state(&self, have: &BTreeMap<char, u64>) -> Result<State, DrawError> {
        let saved = self.saved.feet();
        let traced = |side| self.ticket().feet.iter().any(|order| order.side == side && order.traced.is_some());
        let shape = |side: Side| self.shapes.get(&side).copied().unwrap_or(0);
        let feet = self.now.feet().into_iter().map(|foot| {
            let (side, was) = (foot.side, saved.iter().find(|was| was.side == foot.side));
            FootState::of(foot, was, traced(side), shape(side))
        });
        let other = |side: &Side| have.get(&side.letter()) != Some(&shape(*side));
        let sides: Vec<Side> = self.shapes.keys().copied().filter(other).collect();
        let (disk, disk_words) = match &self.seen {
            Seen::Same => ("same", String::new()),
            Seen::Other => ("changed", String::new()),
            Seen::Unreadable(words) => ("unreadable", words.clone()),
        };
        Ok(State {
            news: self.news,
            page: self.page,
            revision: self.saved.ticket().revision,
            changes: self.changes(),
            undo: self.edits.before().is_some(),
            redo: self.edits.after().is_some(),
            disk,
            disk_words,
            settled: self.now.is_settled(),
            feet: feet.collect(),
            words: self.now.words()?,
            shapes: self.now.shapes(&sides),
        })
    }

    /// The designs as they are and as they are saved, to be drawn without holding up the desk.
    pub fn designs(&self) -> (Arc<Live>, Arc<Live>) {
        (self.now.clone(), self.saved.clone())
    }

    /// The whole page.
    pub fn page(&self) -> Result<DeskPage, DrawError> {
        // Structs of numbers and text, keyed by text: this cannot fail.
        let state = serde_json::to_value(self.state(&self.have())?).unwrap_or_default();
        self.now.page(&self.saved, state)
    }

    /// The pictures of two designs.
    pub fn drawing(now: &Live, saved: &Live) -> Result<DeskDrawing, DrawError> {
        now.drawing(saved)
    }

    /// The design whose slower part is still to be worked out, with its number.
    pub fn unsettled(&self) -> Option<(u64, Arc<Live>)> {
        (!self.now.is_settled()).then(|| (self.designs, self.now.clone()))
    }

    /// Takes a design that was settled, unless another has taken its place meanwhile.
    pub fn settled(&mut self, number: u64, live: Live) {
        if number == self.designs {
            self.now = Arc::new(live);
            self.news += 1;
        }
    }

    /// What saving would change, in words: `left medial arch 18 -> 19`.
    pub fn changes(&self) -> Vec<String> {
        let (then, now) = (self.saved.ticket(), self.now.ticket());
        let pairs = then.feet.iter().zip(&now.feet);
        pairs.flat_map(|(then, now)| value_changes(then, now).into_iter().chain(reason_change(then, now))).collect()
    }

    fn have(&self) -> BTreeMap<char, u64> {
        self.shapes.iter().map(|(side, shape)| (side.letter(), *shape)).collect()
    }

    /// The design of a text.
    fn designed(&self, text: &str) -> Result<Live, Refusal> {
        let ticket = ticket::read(text, &self.name, &self.shelf, &*self.disk.beside);
        self.now.changed(ticket.map_err(|problems| no_ticket(&problems))?, text).map_err(no_design)
    }

    fn step(&mut self, text: String) -> Result<(), Refusal> {
        self.go(text, Edits::change)
    }

    fn go(&mut self, text: String, step: fn(&mut Edits, String)) -> Result<(), Refusal> {
        if text == self.edits.now() {
            return Ok(());
        }
        let live = self.designed(&text)?;
        step(&mut self.edits, text);
        self.put(live);
        Ok(())
    }

    /// One step back or forward, where there is one.
    fn walk(&mut self, to: fn(&Edits) -> Option<&str>, go: fn(&mut Edits)) -> Result<(), Refusal> {
        let Some(text) = to(&self.edits).map(str::to_owned) else { return Ok(()) };
        let live = self.designed(&text)?;
        go(&mut self.edits);
        self.put(live);
        Ok(())
    }

    fn put(&mut self, live: Live) {
        let shapes = live.ticket().feet.iter().map(|order| {
            let before = self.shapes.get(&order.side).copied();
            let shape = before.filter(|_| live.has_shape_of(&self.now, order.side));
            (order.side, shape.unwrap_or(self.designs + 1))
        });
        self.shapes = shapes.collect();
        self.designs += 1;
        self.news += 1;
        self.now = Arc::new(live);
    }

    fn save(&mut self, why: &str, date: &str) -> Result<(), Refusal> {
        let changes = self.changes();
        if !self.edits.is_changed() || changes.is_empty() {
            return Err(refused(409, "nothing has been changed since this revision was saved"));
        }
        if why.is_empty() {
            return Err(refused(422, "say in a few words why: the ticket's history keeps it"));
        }
        let because = Because { reason: why.to_owned(), date: date.to_owned() };
        let text = ticket::revised(self.edits.now(), self.saved.ticket().revision, &changes, &because)
            .map_err(|error| refused(422, error.to_string()))?;
        let live = self.designed(&text)?;
        match (self.disk.replace)(self.edits.saved(), &text) {
            Err(words) => Err(refused(500, format!("not saved: {words}. Your changes are still here"))),
            Ok(Some(_)) => {
                self.look();
                Err(refused(409, STALE))
            }
            Ok(None) => {
                self.edits.saved_as(text);
                self.seen = Seen::Same;
                self.put(live);
                self.saved = self.now.clone();
                Ok(())
            }
        }
    }

    /// Takes what stands on disk as what is saved, with or without the changes made here. Either way one step back
    /// leads to what was here before.
    fn take_disk(&mut self, keep: bool) -> Result<(), Refusal> {
        let text = (self.disk.read)().map_err(|words| refused(409, words))?;
        let saved = self.designed(&text)?;
        let kept = if keep { self.changes_on(&text)? } else { text.clone() };
        let live = self.designed(&kept)?;
        self.edits.found(text, kept);
        self.put(live);
        self.saved = Arc::new(saved);
        self.page += 1;
        self.seen = Seen::Same;
        Ok(())
    }

    /// Another text with the changes that were made here.
    fn changes_on(&self, text: &str) -> Result<String, Refusal> {
        let mut text = text.to_owned();
        for (then, now) in self.saved.ticket().feet.iter().zip(&self.now.ticket().feet) {
            for value in Value::ALL.into_iter().filter(|value| then.asked(*value) != now.asked(*value)) {
                let to = now.asked(value).filter(|_| now.rule(value).is_none());
                text = valued(&text, now.side, value, to)?;
            }
            if then.reason != now.reason {
                let reason = now.reason.as_deref().unwrap_or_default();
                text = ticket::with_reason(&text, now.side, reason).ok_or_else(|| no_foot(now.side))?;
            }
        }
        Ok(text)
    }
}

/// Why a stale save was refused.
const STALE: &str = "not saved: the file was changed since it was opened here. Nothing of it was touched, and your changes \
                     are still here";

/// Numbers are asked in hundredths: finer than anyone can measure on a foot or set on a mill.
const STEPS_IN_ONE: f64 = 100.0;

fn valued(text: &str, side: Side, value: Value, to: Option<f64>) -> Result<String, Refusal> {
    let allowed = ticket::writable(value);
    if let Some(to) = to.filter(|to| !allowed.admits(*to)) {
        let words = format!("{} {} is {to}; allowed is {}", side.name(), value.words(), allowed.words());
        return Err(refused(422, words));
    }
    let to = to.map(|to| (to * STEPS_IN_ONE).round() / STEPS_IN_ONE);
    ticket::with_value(text, side, value, to).ok_or_else(|| no_foot(side))
}

fn value_changes(then: &FootOrder, now: &FootOrder) -> Vec<String> {
    let words = |to: Option<f64>| to.map_or("not asked".to_owned(), |to| to.to_string());
    let changed = Value::ALL.into_iter().filter(|value| then.asked(*value) != now.asked(*value));
    changed
        .map(|value| {
            let (from, to) = (words(then.asked(value)), words(now.asked(value)));
            format!("{} {} {from} -> {to}", now.side.name(), value.words())
        })
        .collect()
}

fn reason_change(then: &FootOrder, now: &FootOrder) -> Option<String> {
    let words = if now.reason.is_some() { "reason for a stop typed" } else { "reason for a stop taken out" };
    (then.reason != now.reason).then(|| format!("{} {words}", now.side.name()))
}

fn refused(status: u16, words: impl Into<String>) -> Refusal {
    Refusal { status, words: words.into() }
}

fn no_foot(side: Side) -> Refusal {
    refused(422, format!("the ticket has no {} foot whose support is written out", side.name()))
}

fn no_ticket(problems: &Problems) -> Refusal {
    let words: Vec<String> = problems.iter().map(|problem| format!("{problem}; {}", problem.help)).collect();
    refused(422, words.join("\n"))
}

fn no_design(error: JobError) -> Refusal {
    refused(422, error.to_string())
}
