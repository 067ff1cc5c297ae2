//! One section of a text: its keys are asked for one by one, and every answer is checked.
//!
//! An answer of `None` means "not there" or "there and wrong"; what is wrong has been noted, so a
//! reader may go on and find the rest.

use std::cell::RefCell;
use std::ops::Range;

use toml::de::{DeTable, DeValue};

use super::{Allowed, Note, Notes, suggest};

/// Whether a key must be there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Need {
    /// Its absence is a problem.
    Required,
    /// It may be left out.
    Optional,
}

/// A key that was read, as a table of values would show it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Field {
    /// The key.
    pub key: String,
    /// The value as written.
    pub shown: String,
    /// Unit of the value; empty for none.
    pub unit: &'static str,
    /// Whether the value holds numbers.
    pub numeric: bool,
}

/// One table of a text.
#[derive(Debug)]
pub struct Section<'a> {
    notes: &'a Notes<'a>,
    /// Dotted path from the top, empty for the outermost.
    path: String,
    place: Range<usize>,
    table: &'a DeTable<'a>,
    asked: RefCell<Vec<String>>,
    fields: RefCell<Vec<Field>>,
}

impl<'a> Section<'a> {
    pub(super) fn new(notes: &'a Notes<'a>, path: String, place: Range<usize>, table: &'a DeTable<'a>) -> Section<'a> {
        Section { notes, path, place, table, asked: RefCell::default(), fields: RefCell::default() }
    }

    /// The dotted path of this section, such as `left.support`.
    pub fn path(&self) -> &str {
        &self.path
    }

    /// The dotted name of `key` in this section, such as `left.foot.length`.
    pub fn full_name(&self, key: &str) -> String {
        if self.path.is_empty() { key.to_owned() } else { format!("{}.{key}", self.path) }
    }

    /// The keys read so far, in the order they were asked for.
    pub fn fields(&self) -> Vec<Field> {
        self.fields.borrow().clone()
    }

    /// Whether `key` is written here, whatever it holds.
    pub fn has(&self, key: &str) -> bool {
        self.table.contains_key(key)
    }

    /// Declares `key` as known without reading it.
    pub fn allow(&self, key: &str) {
        let mut asked = self.asked.borrow_mut();
        if !asked.iter().any(|known| known == key) {
            asked.push(key.to_owned());
        }
    }

    /// A number in `allowed`.
    pub fn number(&self, key: &str, need: Need, allowed: Allowed) -> Option<f64> {
        let (value, place) = self.value(key, need)?;
        let number = self.checked_number(key, value, place.clone(), allowed)?;
        self.record(key, place, allowed.unit, true);
        Some(number)
    }

    /// A number in `allowed`, or `usual` when the key is left out. `None` only when it is wrong.
    pub fn number_or(&self, key: &str, allowed: Allowed, usual: f64) -> Option<f64> {
        if self.has(key) {
            return self.number(key, Need::Required, allowed);
        }
        self.allow(key);
        Some(usual)
    }

    /// A whole number in `allowed`.
    pub fn whole(&self, key: &str, need: Need, allowed: Allowed) -> Option<u32> {
        let (_, place) = self.peek(key).unzip();
        let number = self.number(key, need, allowed)?;
        if number.fract() == 0.0 && number >= 0.0 && number <= f64::from(u32::MAX) {
            return Some(number as u32);
        }
        self.note(
            place?,
            format!("`{}` must be a whole number, not {number}", self.full_name(key)),
            "",
            "write it without a fraction",
        );
        None
    }

    /// As many numbers as asked for, each in `allowed`.
    pub fn numbers<const N: usize>(&self, key: &str, need: Need, allowed: Allowed) -> Option<[f64; N]> {
        let (value, place) = self.value(key, need)?;
        let Some(list) = value.as_array().filter(|list| list.len() == N) else {
            let message = format!("`{}` must be a list of {N} numbers", self.full_name(key));
            self.note(place, message, "", format!("write it such as {}", example(N)));
            return None;
        };
        let read: Vec<f64> =
            list.iter().filter_map(|item| self.checked_number(key, item.get_ref(), item.span(), allowed)).collect();
        self.record(key, place, allowed.unit, true);
        read.try_into().ok()
    }

    /// Text of one line or several, of at most `longest` characters, without control characters.
    pub fn text(&self, key: &str, need: Need, longest: usize) -> Option<String> {
        let (value, place) = self.value(key, need)?;
        let Some(text) = value.as_str() else {
            self.wrong_type(key, place, A_TEXT, value);
            return None;
        };
        let count = text.chars().count();
        if count > longest {
            let message = format!("`{}` has {count} characters; at most {longest} are allowed", self.full_name(key));
            self.note(place, message, "", "shorten it");
            return None;
        }
        if let Some(odd) = text.chars().find(|c| c.is_control() && !matches!(c, '\n' | '\t' | '\r')) {
            let message = format!("`{}` holds a control character (U+{:04X})", self.full_name(key), u32::from(odd));
            self.note(place, message, "", "take it out; it may have come in by copying");
            return None;
        }
        self.record(key, place, "", false);
        Some(text.to_owned())
    }

    /// Optional text by which somebody answers for something, as [`Section::text`] reads it. Without a letter or a digit
    /// nothing is said, and it counts as not written.
    pub fn said(&self, key: &str, longest: usize) -> Option<String> {
        self.text(key, Need::Optional, longest).filter(|text| text.chars().any(char::is_alphanumeric))
    }

    /// A list of at most `most` texts of at most `longest` characters each.
    pub fn texts(&self, key: &str, need: Need, most: usize, longest: usize) -> Option<Vec<String>> {
        let (value, place) = self.value(key, need)?;
        let wrong = |place: Range<usize>, message: String, help: String| self.note(place, message, "", help);
        let Some(list) = value.as_array().filter(|list| list.len() <= most) else {
            let message = format!("`{}` must be a list of at most {most} texts", self.full_name(key));
            wrong(place, message, format!("write it such as {key} = [\"...\", \"...\"]"));
            return None;
        };
        let read = list.iter().map(|item| match item.get_ref().as_str() {
            Some(text) if text.chars().count() <= longest && !text.chars().any(char::is_control) => {
                Some(text.to_owned())
            }
            Some(_) => {
                let message = format!("a text in `{}` is too long, or holds a control character", self.full_name(key));
                wrong(item.span(), message, format!("at most {longest} characters on one line"));
                None
            }
            None => {
                self.wrong_type(key, item.span(), A_TEXT, item.get_ref());
                None
            }
        });
        // Read to the end before failing, so that every mistake is told.
        let read: Vec<Option<String>> = read.collect();
        self.record(key, place, "", false);
        read.into_iter().collect()
    }

    /// Where `key` is written, as a range of bytes of the text, its byte order mark not counted.
    pub fn place(&self, key: &str) -> Option<Range<usize>> {
        self.peek(key).map(|(_, place)| place)
    }

    /// One of the named choices.
    pub fn choice<T: Copy>(&self, key: &str, need: Need, choices: &[(&str, T)]) -> Option<T> {
        let text = self.text(key, need, usize::MAX)?;
        let found = choices.iter().find(|(name, _)| *name == text).map(|(_, choice)| *choice);
        if found.is_none() {
            let names: Vec<&str> = choices.iter().map(|(name, _)| *name).collect();
            let help = match suggest(&text, names.iter().copied()) {
                Some(name) => format!("did you mean \"{name}\"?"),
                None => format!("allowed: {}", quoted(&names)),
            };
            self.at(
                key,
                format!("`{}` is \"{}\"; allowed are {}", self.full_name(key), shortened(&text), quoted(&names)),
                help,
            );
        }
        found
    }

    /// `true` or `false`.
    pub fn flag(&self, key: &str, need: Need) -> Option<bool> {
        let (value, place) = self.value(key, need)?;
        match value.as_bool() {
            Some(flag) => {
                self.record(key, place, "", false);
                Some(flag)
            }
            None => {
                self.wrong_type(key, place, A_FLAG, value);
                None
            }
        }
    }

    /// A date, as a TOML date or as text.
    pub fn date(&self, key: &str, need: Need) -> Option<String> {
        match self.peek(key) {
            Some((DeValue::Datetime(date), _)) => {
                self.allow(key);
                Some(date.to_string())
            }
            _ => self.text(key, need, 40),
        }
    }

    /// A section inside this one, handed to `read`. Unknown keys in it are refused afterwards.
    pub fn within<T>(&self, key: &str, need: Need, read: impl FnOnce(&Section) -> T) -> Option<T> {
        let name = self.full_name(key);
        let Some((value, place)) = self.value(key, Need::Optional) else {
            if need == Need::Required {
                self.missing(format!("the section [{name}] is missing"), format!("add [{name}] and its keys"));
            }
            return None;
        };
        let Some(table) = value.as_table() else {
            let message = format!("`{name}` must be a section, not {}", kind(value));
            self.note(place, message, "", format!("write [{name}] on its own line and the keys below it"));
            return None;
        };
        let section = Section::new(self.notes, self.full_name(key), place, table);
        let result = read(&section);
        section.refuse_unknown();
        Some(result)
    }

    /// Every section of a list of sections (`[[key]]`), in order. An absent list is empty.
    pub fn each<T>(&self, key: &str, read: impl Fn(&Section) -> Option<T>) -> Vec<T> {
        let Some((value, place)) = self.value(key, Need::Optional) else { return Vec::new() };
        let Some(list) = value.as_array() else {
            self.wrong_type(key, place, A_LIST, value);
            return Vec::new();
        };
        let mut read_all = Vec::new();
        for item in list.iter() {
            let Some(table) = item.get_ref().as_table() else {
                self.wrong_type(key, item.span(), A_LIST, item.get_ref());
                continue;
            };
            let section = Section::new(self.notes, self.full_name(key), item.span(), table);
            read_all.extend(read(&section));
            section.refuse_unknown();
        }
        read_all
    }

    /// Text that stands where a section could stand, such as `right = "as left"`.
    pub fn text_instead(&self, key: &str) -> Option<String> {
        let (value, _) = self.peek(key)?;
        let text = value.as_str()?;
        self.allow(key);
        Some(text.to_owned())
    }

    /// A number that stands where a section is asked for, such as `length = 265`.
    pub fn number_instead(&self, key: &str) -> Option<f64> {
        let (value, _) = self.peek(key)?;
        let number = number_of(value)?;
        self.allow(key);
        Some(number)
    }

    /// Text at `key` inside the section `section`, without marking either as known.
    pub fn text_inside(&self, section: &str, key: &str) -> Option<&'a str> {
        self.table.get(section)?.get_ref().as_table()?.get(key)?.get_ref().as_str()
    }

    /// Notes a problem with `key`, or with this section when the key is not written.
    pub fn at(&self, key: &str, message: impl Into<String>, help: impl Into<String>) {
        let place = self.peek(key).map_or_else(|| self.place.clone(), |(_, place)| place);
        self.note(place, message, "", help);
    }

    /// Notes a problem with this section as a whole.
    pub fn here(&self, message: impl Into<String>, help: impl Into<String>) {
        self.note(self.place.clone(), message, "", help);
    }

    /// Notes that something required is absent. Not noted when the grammar is broken somewhere, as
    /// the missing part may stand in what could not be read.
    pub fn missing(&self, message: impl Into<String>, help: impl Into<String>) {
        if !self.notes.grammar_broken {
            self.here(message, help);
        }
    }

    pub(super) fn refuse_unknown(&self) {
        let asked = self.asked.borrow();
        for (key, _) in self.table.iter().filter(|(key, _)| !asked.iter().any(|known| known == key.get_ref())) {
            let known = || asked.iter().map(String::as_str);
            let help = match suggest(key.get_ref(), known()) {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!("known here: {}", known().collect::<Vec<_>>().join(", ")),
            };
            let place = if self.path.is_empty() { "at the top".to_owned() } else { format!("in [{}]", self.path) };
            let message = format!("unknown key `{}` {place}", shortened(key.get_ref()));
            self.note(key.span(), message, "", help);
        }
    }

    fn peek(&self, key: &str) -> Option<(&'a DeValue<'a>, Range<usize>)> {
        self.table.get(key).map(|value| (value.get_ref(), value.span()))
    }

    fn value(&self, key: &str, need: Need) -> Option<(&'a DeValue<'a>, Range<usize>)> {
        self.allow(key);
        let value = self.peek(key);
        if value.is_none() && need == Need::Required {
            self.missing(format!("`{}` is missing", self.full_name(key)), format!("add `{key}`"));
        }
        value
    }

    fn checked_number(&self, key: &str, value: &DeValue, place: Range<usize>, allowed: Allowed) -> Option<f64> {
        let Some(number) = number_of(value) else {
            self.wrong_type(key, place, A_NUMBER, value);
            return None;
        };
        if allowed.admits(number) {
            return Some(number);
        }
        let name = self.full_name(key);
        let message = format!("`{name}` is {}; allowed is {}", self.as_written(&place), allowed.words());
        let help = match allowed.guess(number) {
            Some(guess) => format!("{guess}; lengths are written in mm"),
            None if number.is_finite() => format!("give a number from {}", allowed.words()),
            None => "give a finite number".to_owned(),
        };
        self.note(place, message, format!("allowed: {}", allowed.words()), help);
        None
    }

    fn wrong_type(&self, key: &str, place: Range<usize>, (wanted, help): (&str, &str), value: &DeValue) {
        let message = format!("`{}` must be {wanted}, not {}", self.full_name(key), kind(value));
        self.note(place, message, "", help);
    }

    fn as_written(&self, place: &Range<usize>) -> String {
        shortened(self.notes.text.get(place.clone()).unwrap_or("unreadable"))
    }

    fn record(&self, key: &str, place: Range<usize>, unit: &'static str, numeric: bool) {
        let written = self.notes.text.get(place).unwrap_or("unreadable");
        let shown = visible(written).trim_matches('"').to_owned();
        self.fields.borrow_mut().push(Field { key: key.to_owned(), shown, unit, numeric });
    }

    fn note(&self, place: Range<usize>, message: impl Into<String>, label: impl Into<String>, help: impl Into<String>) {
        let note = Note { place, message: message.into(), label: label.into(), help: help.into() };
        self.notes.list.borrow_mut().push(note);
    }
}

/// What a value had to be, and what to do when it is not.
const A_NUMBER: (&str, &str) = ("a number", "write a plain number, without quotes or unit");
const A_TEXT: (&str, &str) = ("text", "put it in double quotes");
const A_FLAG: (&str, &str) = ("true or false", "write true or false, without quotes");
const A_LIST: (&str, &str) = ("a list of sections", "head each of them with the name in double brackets");

/// The number that a value holds, whole or not; `nan` and `inf` come through, to be refused by the
/// range.
fn number_of(value: &DeValue) -> Option<f64> {
    match value {
        // A whole number too large for i128 is still a number, and out of every range.
        DeValue::Integer(whole) => {
            Some(i128::from_str_radix(whole.as_str(), whole.radix()).map_or(f64::INFINITY, |whole| whole as f64))
        }
        DeValue::Float(float) => float.as_str().parse().ok(),
        _ => None,
    }
}

fn kind(value: &DeValue) -> &'static str {
    match value {
        DeValue::String(_) => "text",
        DeValue::Integer(_) | DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a section",
    }
}

fn example(count: usize) -> String {
    format!("[{}]", (1..=count).map(|i| i.to_string()).collect::<Vec<_>>().join(", "))
}

fn quoted(names: &[&str]) -> String {
    names.iter().map(|name| format!("\"{name}\"")).collect::<Vec<_>>().join(", ")
}

/// Without signs that would steer a terminal; lines are drawn into one.
fn visible(text: &str) -> String {
    let sign = |c: char| match c {
        '\n' | '\r' | '\t' => ' ',
        c if c.is_control() => char::REPLACEMENT_CHARACTER,
        c => c,
    };
    text.chars().map(sign).collect()
}

/// What was written, short enough for a message and without signs that would steer a terminal.
pub(crate) fn shortened(text: &str) -> String {
    const LONGEST: usize = 60;
    let visible = text.chars().map(|c| if c.is_control() { char::REPLACEMENT_CHARACTER } else { c });
    let mut short: String = visible.take(LONGEST).collect();
    if text.chars().nth(LONGEST).is_some() {
        short.push_str("...");
    }
    short
}
