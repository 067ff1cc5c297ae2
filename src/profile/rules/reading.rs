//! One file of rules -> checked rules, with the lines that show it.

use std::cell::RefCell;

use super::{
    Bound, Class, Complaint, Condition, Effect, Flag, LOADED, Line, Making, Measure, PLAIN, Question, Rule, Rules,
    Source, Strength, Target, Try, condition::CLASSED,
};
use crate::profile::CardLine;
use crate::value::Value;
use crate::written::{Allowed, Need, Section};

/// Longest sentence of a rule, characters.
const LONGEST: usize = 400;
/// Any number that a rule may hold; whether it is wise is for the shop.
const NUMBER: Allowed = Allowed::plain(-1000.0, 1000.0);

/// All entries of one file.
pub(in crate::profile) fn rules(s: &Section) -> (Rules, Vec<CardLine>) {
    let lines = RefCell::new(vec![]);
    let rules = Rules {
        measures: entries(s, "measure", &lines, measure),
        questions: entries(s, "question", &lines, question),
        classes: entries(s, "class", &lines, class),
        rules: entries(s, "rule", &lines, rule),
        bounds: entries(s, "bound", &lines, bound),
        lines: entries(s, "line", &lines, line),
        flags: entries(s, "flag", &lines, flag),
        complaints: entries(s, "complaint", &lines, complaint),
        making: entries(s, "making", &lines, making),
    };
    (rules, lines.into_inner())
}

/// The entries of one list, each with its source, and a line for each of their keys.
fn entries<T>(
    s: &Section,
    list: &str,
    lines: &RefCell<Vec<CardLine>>,
    read: impl Fn(&Section, String, Source) -> Option<T>,
) -> Vec<T> {
    s.each(list, |s| {
        let name = s.text("name", Need::Required, 40);
        let strength = s.choice("strength", Need::Required, &Strength::NAMED);
        let words = s.text("source", Need::Optional, LONGEST).unwrap_or_default();
        let unsaid = words.is_empty() && matches!(strength, Some(Strength::Published | Strength::Abstract));
        if unsaid {
            s.missing("a published entry lacks `source`", "name author and year, or another strength");
        }
        let name = plain_name(s, name?)?;
        let source = Source { strength: strength?, words };
        let told = source.told();
        let entry = read(s, name.clone(), source);
        let shown =
            s.fields().into_iter().filter(|field| !["name", "strength", "source"].contains(&field.key.as_str()));
        lines.borrow_mut().extend(shown.map(|field| CardLine {
            key: format!("{list} {name}: {}", field.key),
            value: field.shown,
            unit: field.unit,
            numeric: field.numeric,
            why: told.clone(),
        }));
        entry
    })
}

fn plain_name(s: &Section, name: String) -> Option<String> {
    let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_';
    if !name.is_empty() && name.chars().all(plain) {
        return Some(name);
    }
    s.at("name", format!("\"{}\" cannot name an entry", crate::written::shortened(&name)), "use a-z, 0-9 and _");
    None
}

fn sentence(s: &Section, key: &str) -> Option<String> {
    s.text(key, Need::Required, LONGEST)
}

fn number(s: &Section, key: &str) -> Option<f64> {
    s.number(key, Need::Required, NUMBER)
}

fn window(s: &Section, key: &str) -> Option<[f64; 2]> {
    let [low, high] = s.numbers(key, Need::Required, NUMBER)?;
    if low < high {
        return Some([low, high]);
    }
    s.at(key, format!("`{key}` runs from {low} to {high}"), "write the smaller number first");
    None
}

fn conditions(s: &Section, key: &str) -> Option<Vec<Condition>> {
    let texts = if s.has(key) { s.texts(key, Need::Required, 12, 80)? } else { vec![] };
    s.allow(key);
    let read = |text: &String| Condition::parse(text).map_err(|why| s.at(key, why, CONDITION_HELP)).ok();
    let all: Vec<Option<Condition>> = texts.iter().map(read).collect();
    all.into_iter().collect()
}

const CONDITION_HELP: &str =
    "`fact < number` (or <=, >, >=), `use is word`, `complaints has word`; docs/intake.md lists the facts";

/// A name out of `known`.
fn known(s: &Section, key: &str, name: String, known: &[&str]) -> Option<String> {
    if known.contains(&name.as_str()) {
        return Some(name);
    }
    let message = format!("there is no \"{}\" here", crate::written::shortened(&name));
    s.at(key, message, format!("known: {}", known.join(", ")));
    None
}

fn measured() -> Vec<&'static str> {
    LOADED.iter().chain(&PLAIN).copied().collect()
}

fn measure(s: &Section, name: String, source: Source) -> Option<Measure> {
    let name = known(s, "name", name, &measured());
    let possible = window(s, "possible");
    let real_change = s.number("real_change", Need::Required, Allowed::plain(0.0, 100.0));
    let change_told = if s.has("change_told") { s.flag("change_told", Need::Required) } else { Some(false) };
    s.allow("change_told");
    let (name, possible, real_change, change_told) = (name?, possible?, real_change?, change_told?);
    Some(Measure { name, possible, real_change, change_told, source })
}

fn question(s: &Section, name: String, source: Source) -> Option<Question> {
    let at = sentence(s, "at");
    let when = conditions(s, "when");
    let ask = sentence(s, "ask");
    let impossible = if s.has("impossible") { s.flag("impossible", Need::Required) } else { Some(false) };
    s.allow("impossible");
    let when = when?;
    if when.is_empty() {
        s.missing("a question without `when` would always be asked", "give it conditions");
        return None;
    }
    Some(Question { name, at: at?, when, ask: ask?, impossible: impossible?, source })
}

fn class(s: &Section, name: String, source: Source) -> Option<Class> {
    let name = known(s, "name", name, &CLASSED);
    let definition = sentence(s, "definition");
    let is_not = sentence(s, "is_not");
    let otherwise = s.text("otherwise", Need::Optional, 40).unwrap_or_default();
    let texts = if s.has("bands") { s.texts("bands", Need::Required, 12, 80)? } else { vec![] };
    s.allow("bands");
    let name = name?;
    let bands: Vec<Option<(String, Condition)>> = texts
        .iter()
        .map(|text| {
            let (word, rest) = text.split_once(' ').unwrap_or((text, ""));
            let read = Condition::parse(&format!("{name} {rest}"));
            read.map_err(|why| s.at("bands", why, "write a band such as \"high <= 0.21\""))
                .ok()
                .map(|c| (word.to_owned(), c))
        })
        .collect();
    let bands: Vec<(String, Condition)> = bands.into_iter().collect::<Option<_>>()?;
    if !bands.is_empty() && otherwise.is_empty() {
        s.missing("bands without `otherwise`", "say the class of what is in none of them");
        return None;
    }
    Some(Class { name, definition: definition?, bands, otherwise, is_not: is_not?, source })
}

fn target(s: &Section, key: &str) -> Option<Target> {
    let all: Vec<(&str, Target)> = Target::all().into_iter().map(|target| (target.name(), target)).collect();
    s.choice(key, Need::Required, &all)
}

fn value(s: &Section, key: &str) -> Option<Value> {
    s.choice(key, Need::Required, &Value::ALL.map(|value| (value.name(), value)))
}

fn rule(s: &Section, name: String, source: Source) -> Option<Rule> {
    let target = target(s, "value");
    let when = conditions(s, "when");
    let because = sentence(s, "because");
    let effects = ["add", "set", "at_least", "at_most", "below"].map(|key| (key, s.has(key)));
    let written: Vec<&str> = effects.iter().filter(|(_, is)| *is).map(|(key, _)| *key).collect();
    effects.iter().for_each(|(key, _)| s.allow(key));
    s.allow("by");
    let effect = match written[..] {
        ["add"] => number(s, "add").map(Effect::Add),
        ["set"] => number(s, "set").map(Effect::Set),
        ["at_least"] => number(s, "at_least").map(Effect::AtLeast),
        ["at_most"] => number(s, "at_most").map(Effect::AtMost),
        ["below"] => value(s, "below").zip(number(s, "by")).map(|(value, by)| Effect::Below(value, by)),
        _ => {
            s.here("a rule does one thing", "write one of add, set, at_least, at_most, or below with by");
            None
        }
    };
    Some(Rule { name, target: target?, when: when?, effect: effect?, because: because?, source })
}

fn bound(s: &Section, name: String, source: Source) -> Option<Bound> {
    let target = target(s, "value");
    let range = window(s, "range");
    let step = s.number("step", Need::Required, Allowed::plain(0.01, 10.0));
    let target = target?;
    if name != target.name() {
        s.at("name", format!("the bound of {} is named \"{name}\"", target.name()), "name it as its value");
        return None;
    }
    let [least, most] = range?;
    Some(Bound { target, least, most, step: step?, source })
}

fn line(s: &Section, name: String, source: Source) -> Option<Line> {
    let measure = sentence(s, "measure").and_then(|name| known(s, "measure", name, &["ball_width", "heel_width"]));
    let people = sentence(s, "people").and_then(|name| known(s, "people", name, &["men", "women"]));
    let (slope, offset) = (number(s, "slope"), number(s, "offset"));
    Some(Line { name, measure: measure?, people: people?, slope: slope?, offset: offset?, source })
}

fn flag(s: &Section, name: String, source: Source) -> Option<Flag> {
    let words = sentence(s, "words");
    let stops = s.choice("does", Need::Required, &[("stop", true), ("refer", false)]);
    let when = conditions(s, "when");
    Some(Flag { name, words: words?, stops: stops?, when: when?, source })
}

fn complaint(s: &Section, name: String, source: Source) -> Option<Complaint> {
    let words = sentence(s, "words");
    let check_first = s.texts("check_first", Need::Required, 8, LONGEST);
    let refer_when = sentence(s, "refer_when");
    let tries = s.each("try", |s| {
        let (value, add, because) = (value(s, "value"), number(s, "add"), sentence(s, "because"));
        let until = if s.has("until") { Some(number(s, "until")?) } else { None };
        s.allow("until");
        let (value, add) = (value?, add?);
        if add.abs() != 1.0 {
            s.at("add", format!("`add` is {add}"), "one change at a time: 1 or -1, mm or degrees");
            return None;
        }
        Some(Try { value, add, until, because: because? })
    });
    Some(Complaint { name, words: words?, check_first: check_first?, tries, refer_when: refer_when?, source })
}

fn making(s: &Section, name: String, source: Source) -> Option<Making> {
    let (material, machine) = (sentence(s, "material"), sentence(s, "machine"));
    let blanks = s.texts("blanks", Need::Required, 20, 40);
    Some(Making { name, material: material?, machine: machine?, blanks: blanks?, source })
}
