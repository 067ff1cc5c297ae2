//! What measures deserve to be asked, at the line where they stand; what is impossible is refused.

use serde::Serialize;

use super::measures::{MeasuredFoot, Measures};
use super::suggest::hundredths;
use crate::frame::Side;
use crate::profile::rules::{Fact, Facts, Met, Question, Rules, all_met};
use crate::ticket::{Problem, Problems};

/// A question, or a word of caution, about one measure.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Asked {
    /// Name of the rule.
    pub name: String,
    /// Which foot; `null` for what is of the person or boot.
    pub side: Option<Side>,
    /// Where the measure stands, from 1; 0 when it is not written.
    pub line: usize,
    /// In characters, from 1; 0 when it is not written.
    pub column: usize,
    /// In words.
    pub words: String,
    /// Where its limits come from.
    pub source: String,
}

/// Questions, and differences that are within their own error.
pub(super) fn ask(
    measures: &Measures,
    feet: &[Facts],
    rules: &Rules,
    file: &str,
    text: &str,
) -> Result<(Vec<Asked>, Vec<Asked>), Problems> {
    let place = Places { measures, file, text };
    let mut impossible = vec![];
    let mut asked: Vec<Asked> = vec![];
    for (foot, facts) in measures.feet.iter().zip(feet) {
        for question in rules.questions.iter().filter(|question| all_met(&question.when, facts) == Met::Yes) {
            let words = filled(&question.ask, facts);
            if question.impossible {
                impossible.push(place.problem(foot.side, question, words));
                continue;
            }
            let told = place.asked(Some(foot.side), &question.at, &question.name, words, question.source.told());
            let told = Asked { side: told.side.filter(|_| !is_of_both(question)), ..told };
            // What is of the person, or of both feet, is asked once.
            let again = |earlier: &Asked| earlier.name == told.name && (told.side.is_none() || is_of_both(question));
            if !asked.iter().any(again) {
                asked.push(told);
            }
        }
    }
    if !impossible.is_empty() {
        return Err(Problems::of_list(impossible));
    }
    asked.sort_by_key(|asked| (asked.line, asked.column));
    let within = measures.feet.iter().flat_map(|foot| within_error(foot, rules, &place)).collect();
    Ok((asked, within))
}

fn is_of_both(question: &Question) -> bool {
    question.when.iter().any(|condition| condition.fact.ends_with("_difference"))
}

struct Places<'a> {
    measures: &'a Measures,
    file: &'a str,
    text: &'a str,
}

impl Places<'_> {
    fn problem(&self, side: Side, question: &Question, words: String) -> Problem {
        let message = format!("{} foot: {words}", side.name());
        let help = format!("measure again; {}", question.source.told());
        match self.range(Some(side), &question.at) {
            Some((_, range)) => Problem::of_place(self.file, self.read_text(), range, message, help),
            None => Problem::of_file(self.file, message, help),
        }
    }

    fn asked(&self, side: Option<Side>, at: &str, name: &str, words: String, source: String) -> Asked {
        let range = self.range(side, at);
        let side = range.as_ref().map_or(side, |(side, _)| *side);
        let (line, column) = range.map_or((0, 0), |(_, range)| {
            let spot = Problem::of_place(self.file, self.read_text(), range, "", "");
            (spot.line, spot.column)
        });
        Asked { name: name.to_owned(), side, line, column, words, source }
    }

    /// The text as it was read: a byte order mark does not count.
    fn read_text(&self) -> &str {
        self.text.strip_prefix('\u{feff}').unwrap_or(self.text)
    }

    /// Where a key stands: of this foot, or else of the person or boot.
    fn range(&self, side: Option<Side>, key: &str) -> Option<(Option<Side>, std::ops::Range<usize>)> {
        [side, None].into_iter().find_map(|side| {
            let range = self.measures.places.get(&(side, key.to_owned()))?;
            Some((side, range.clone()))
        })
    }
}

/// A sentence with `{fact}` filled in.
fn filled(words: &str, facts: &Facts) -> String {
    let mut out = String::new();
    let mut rest = words;
    while let Some((before, after)) = rest.split_once('{') {
        out.push_str(before);
        let Some((name, later)) = after.split_once('}') else {
            out.push('{');
            rest = after;
            continue;
        };
        match facts.get(name) {
            Some(Fact::Number(number)) => out.push_str(&number_words(*number)),
            Some(Fact::Word(word)) => out.push_str(&word.replace('_', " ")),
            _ => out.push_str("unknown"),
        }
        rest = later;
    }
    out.push_str(rest);
    out
}

/// Lengths to the tenth that a tape can show, shares to three digits.
fn number_words(number: f64) -> String {
    let digits = if number.abs() < 2.0 { 1000.0 } else { 10.0 };
    format!("{}", (digits * number).round() / digits + 0.0)
}

/// Measured differences that are smaller than the measuring itself.
fn within_error(foot: &MeasuredFoot, rules: &Rules, place: &Places) -> Vec<Asked> {
    let mut found = vec![];
    for measure in rules.measures.iter().filter(|measure| measure.change_told) {
        let (name, real) = (measure.name.as_str(), measure.real_change);
        let what = name.replace('_', " ");
        let loaded = foot.loaded(name);
        let words = match (loaded.seated.zip(loaded.standing), foot.plain.get(name)) {
            (Some((seated, standing)), _) if (seated - standing).abs() < real => format!(
                "{what}: seated {seated} and standing {standing} differ by {} mm, less than the {real} mm that measuring it \
                 is good for: read it as no change that can be told",
                hundredths((seated - standing).abs())
            ),
            (_, Some(degrees)) if name == "eversion" && degrees.abs() < real => format!(
                "{what}: {degrees} degrees is less than the {real} degrees that measuring it is good for: read it as none"
            ),
            _ => continue,
        };
        found.push(place.asked(Some(foot.side), name, "within_error", words, measure.source.told()));
    }
    found
}
