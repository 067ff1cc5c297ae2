//! `sustent new`: a ticket from answers, asked one by one on a terminal or given all at once.

use std::io::{BufRead, IsTerminal, Read, stdin};
use std::path::{Path, PathBuf};

use serde::Serialize;

use super::apart::keep_apart;
use super::failure::Failure;
use super::intake::{IntakeVerb, OpenQuestions};
use super::output::Console;
use super::words::wrapped;
use super::{Outcome, folder, over};
use crate::intake::guided::{Answers, Doubt, Question, questions};
use crate::profile::Shelf;
use crate::written::suggest;

/// What `--help` adds.
pub(super) const HELP: &str = "\
On a terminal it asks one question after the other: Enter leaves out what was
not measured, ? tells what the answer moves, < goes back to the question before,
- takes an answer away, Ctrl-C leaves with nothing written. What cannot be is
refused at once, and what is unusual is asked about. The measures are kept
beside the ticket, and `sustent intake` goes on from there.

Without a terminal, lines of `key = answer` are read from standard input;
--questions prints the keys. What is unusual is then left open.

Examples:
  sustent new --out patrol-11.toml
  sustent new --questions
  sustent new --out patrol-11.toml < answers.txt

Exit status: 0 a ticket that passes, 1 no ticket (a flag, or a question that
must be answered first), one that a limit stops, or one with a question left
open without a terminal, 2 could not be done.";

/// Arguments of `new`.
#[derive(Debug, clap::Args)]
pub(super) struct New {
    /// The ticket to write
    #[arg(long, value_name = "TICKET.toml", required_unless_present = "questions")]
    out: Option<PathBuf>,
    /// Where the measures are kept; TICKET-measures.toml when not said
    #[arg(long, value_name = "FILE.toml")]
    measures_out: Option<PathBuf>,
    /// Print every question with its key, and ask nothing
    #[arg(long)]
    questions: bool,
}

/// A question as it is listed.
#[derive(Serialize)]
struct Listed {
    key: String,
    asks: String,
    moves: &'static str,
    needed: bool,
}

/// Longest line and longest text of answers that is read, bytes.
const LONGEST_LINE: u64 = 2000;
const LONGEST_ANSWERS: u64 = 1 << 20;

impl New {
    pub(super) fn run(&self, shelf: &Shelf, console: &Console) -> Outcome {
        match &self.out {
            Some(out) if !self.questions => {
                self.asked(out, shelf, console).unwrap_or_else(|failure| console.fail(&failure))
            }
            _ => list(console),
        }
    }

    fn asked(&self, out: &Path, shelf: &Shelf, console: &Console) -> Result<Outcome, Failure> {
        let measures = self.measures_out.clone().unwrap_or_else(|| beside(out));
        keep_apart(&[], &[("the ticket", Some(out)), ("the measures", Some(&measures))])?;
        // Told before thirty questions and not after.
        for path in [out, measures.as_path()] {
            over::nothing(path)?;
            folder::can_write(path).map_err(|failure| failure.and("nothing was asked"))?;
        }
        let (answers, open) = match stdin().is_terminal() {
            true => (one_by_one(&mut stdin().lock(), shelf, console)?, OpenQuestions::Told),
            false => (all_at_once(shelf)?, OpenQuestions::NotGood),
        };
        if !answers.has_a_foot() {
            return Err(Failure::new("no foot was measured (left.length.standing, right.length.standing)".into()));
        }
        // Somebody may have written there meanwhile; thirty answers are not lost for that.
        let measures = untaken(measures)?;
        folder::write_file(&measures, answers.text().as_bytes())?;
        if console.shows(Outcome::Good) {
            console.aside(&format!("measures: {}", measures.display()));
        }
        let next = format!(
            "the measures are kept: correct them in {}, then `sustent intake {} --out {}`",
            measures.display(),
            measures.display(),
            out.display()
        );
        let outcome = IntakeVerb::of(measures, out.to_owned(), open).run(shelf, console);
        if outcome != Outcome::Good {
            console.aside(&wrapped("", &next));
        }
        Ok(outcome)
    }
}

/// This file, or the next by number where one lies there.
fn untaken(path: PathBuf) -> Result<PathBuf, Failure> {
    let named = |k: u32| {
        let stem = path.file_stem().unwrap_or_default().to_string_lossy();
        path.with_file_name(format!("{stem}-{k}.toml"))
    };
    let taken = over::nothing(&path).err();
    match taken {
        None => Ok(path),
        Some(why) => (2..100).map(named).find(|path| over::nothing(path).is_ok()).ok_or(why),
    }
}

/// The measures' file beside a ticket.
fn beside(ticket: &Path) -> PathBuf {
    let stem = ticket.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    ticket.with_file_name(format!("{stem}-measures.toml"))
}

fn list(console: &Console) -> Outcome {
    let listed: Vec<Listed> = questions()
        .into_iter()
        .map(|q| Listed { key: q.key, asks: q.asks, moves: q.moves, needed: q.needed })
        .collect();
    console.tell(&listed, || {
        let of = |words: &str| wrapped("    ", words);
        let lines = listed.iter().map(|q| [q.key.clone(), of(&q.asks), of(&format!("moves: {}", q.moves))].join("\n"));
        lines.collect::<Vec<_>>().join("\n")
    });
    Outcome::Good
}

/// What a line at the terminal came to.
enum Step {
    /// An answer that will do, or none; what became doubtful by it.
    On(Vec<Doubt>),
    /// To the question before.
    Back,
}

/// Asks on a terminal, again where an answer will not do.
fn one_by_one(lines: &mut impl BufRead, shelf: &Shelf, console: &Console) -> Result<Answers, Failure> {
    let keys = "Enter: not measured, or as before. ?: what it moves. <: one question back. -: take the answer away. \
                Ctrl-C: leave; nothing is written before the end.";
    console.aside(&wrapped("", keys));
    let all = questions();
    let mut answers = Answers::default();
    let mut next = 0;
    while let Some(question) = all.get(next) {
        let is_asked = |answers: &Answers, k: usize| !answers.skips(&all[k]);
        next = match answered(lines, &mut answers, question, shelf, console)? {
            Step::Back => (0..next).rfind(|&k| is_asked(&answers, k)).unwrap_or(0),
            Step::On(doubts) => match settled(lines, &mut answers, doubts, shelf, console)? {
                true => (next + 1..all.len()).find(|&k| is_asked(&answers, k)).unwrap_or(all.len()),
                false => next,
            },
        };
    }
    Ok(answers)
}

/// An answer may make an earlier one doubtful, which is then asked for once more. False where one would rather go back to
/// the answer that raised it.
fn settled(
    lines: &mut impl BufRead,
    answers: &mut Answers,
    mut doubts: Vec<Doubt>,
    shelf: &Shelf,
    console: &Console,
) -> Result<bool, Failure> {
    while !doubts.is_empty() {
        let Doubt { words, about } = doubts.remove(0);
        console.aside(&wrapped("  ", &words));
        let before = answers.text();
        let Step::On(more) = answered(lines, answers, &about, shelf, console)? else { return Ok(false) };
        if answers.text() != before {
            // What was doubted of the other answer is told anew where it still holds.
            doubts.retain(|doubt| doubt.about != about);
        }
        doubts.extend(more);
    }
    Ok(true)
}

/// Asks one question until there is an answer that will do, or none.
fn answered(
    lines: &mut impl BufRead,
    answers: &mut Answers,
    question: &Question,
    shelf: &Shelf,
    console: &Console,
) -> Result<Step, Failure> {
    loop {
        let kept = answers.answer(question).map_or(String::new(), |answer| format!(" (Enter: {answer})"));
        console.ask(&format!("{} ", wrapped("", &format!("{}{kept}:", question.asks))));
        let Some(answer) = line(lines)? else {
            console.aside(&format!("  one line of plain text, at most {LONGEST_LINE} characters"));
            continue;
        };
        match answer.trim() {
            "?" => console.aside(&format!("  it moves: {}", question.moves)),
            "<" => return Ok(Step::Back),
            "-" => answers.withdraw(question),
            "" if question.needed && kept.is_empty() => console.aside("  this one is needed"),
            "" => return Ok(Step::On(vec![])),
            given => match answers.give(question, given, shelf) {
                Ok(doubts) => return Ok(Step::On(doubts)),
                Err(why) => console.aside(&wrapped("  ", &why)),
            },
        }
    }
}

/// One line from the terminal; `None` for one that is too long or no plain text, as arrow keys send.
fn line(lines: &mut impl BufRead) -> Result<Option<String>, Failure> {
    let fault = |error| Failure::new(format!("standard input: {error}; nothing was written"));
    let mut line = vec![];
    let read = lines.by_ref().take(LONGEST_LINE).read_until(b'\n', &mut line).map_err(fault)?;
    if read == 0 {
        return Err(Failure::new("the answers ended before the questions; nothing was written".into()));
    }
    if read as u64 == LONGEST_LINE && !line.ends_with(b"\n") {
        lines.skip_until(b'\n').map_err(fault)?;
        return Ok(None);
    }
    Ok(String::from_utf8(line).ok().filter(|line| !line.trim_end().contains(|c: char| c.is_control() && c != '\t')))
}

/// Lines of `key = answer`, in any order.
fn all_at_once(shelf: &Shelf) -> Result<Answers, Failure> {
    let mut text = String::new();
    let read = stdin().lock().take(LONGEST_ANSWERS).read_to_string(&mut text);
    read.map_err(|error| Failure::new(format!("standard input: {error}")))?;
    let all = questions();
    let mut given: Vec<(usize, &Question, &str)> = vec![];
    for (k, line) in text.trim_start_matches('\u{feff}').lines().enumerate() {
        let line = line.trim();
        if line.is_empty() || line.starts_with('#') {
            continue;
        }
        let (key, answer) = line.split_once('=').ok_or_else(|| at(k, "a line is `key = answer`"))?;
        let key = key.trim();
        let question = all.iter().find(|q| q.key == key).ok_or_else(|| {
            let near = suggest(key, all.iter().map(|q| q.key.as_str()));
            let near =
                near.map_or("`sustent new --questions` lists the keys".into(), |near| format!("is {near} meant?"));
            at(k, &format!("there is no question {key}; {near}"))
        })?;
        if given.iter().any(|(_, q, _)| q.key == key) {
            return Err(at(k, &format!("{key} is answered twice")));
        }
        given.push((k, question, answer.trim().trim_matches('"')));
    }
    let is_answered = |q: &Question| given.iter().any(|(_, own, answer)| own.key == q.key && !answer.is_empty());
    if let Some(missing) = all.iter().find(|q| q.needed && !is_answered(q)) {
        return Err(Failure::new(format!("standard input: {} is needed; add {} = ...", missing.key, missing.key)));
    }
    // A foot's length comes first, wherever it stands.
    given.sort_by_key(|(_, own, _)| all.iter().position(|q| q.key == own.key));
    let mut answers = Answers::default();
    for (k, question, answer) in given.into_iter().filter(|(_, _, answer)| !answer.is_empty()) {
        answers.give(question, answer, shelf).map_err(|why| at(k, &format!("{}: {why}", question.key)))?;
    }
    Ok(answers)
}

fn at(line: usize, what: &str) -> Failure {
    Failure::new(format!("standard input:{}: {what}; nothing was written", line + 1))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::output::{Detail, Form};

    /// The page that comes of these lines at the terminal; what is not asked for in them is left empty.
    fn page(typed: &str) -> String {
        let rest = "\n".repeat(questions().len());
        let console = Console::new(Form::Words, Detail::Little);
        let answers = one_by_one(&mut format!("{typed}\n{rest}").as_bytes(), &Shelf::built_in(), &console).unwrap();
        answers.text()
    }

    /// Code and weight, then everything to the left foot's length is left empty.
    fn to_the_left_foot() -> String {
        let before = questions().iter().position(|q| q.key == "left.length.standing").unwrap();
        format!("A\n70\n{}", "\n".repeat(before - 2))
    }

    #[test]
    fn one_goes_back_keeps_changes_and_takes_away() {
        assert!(page("<\nA\n70").contains("code = \"A\"\nweight = 70\n"), "before the first there is nothing");
        assert!(page("A\n70\n<\n75").contains("weight = 75\n"), "changed");
        assert!(page("A\n70\n<\n\n").contains("weight = 70\n"), "kept");
        assert!(!page("A\n70\n<\n-\n").contains("weight"), "taken away");
        assert!(page("A\n<\n-\n\nB").contains("code = \"B\""), "what is needed is asked for again");
        let there = to_the_left_foot();
        assert!(page(&format!("{there}265\n261")).contains("length = { seated = 261, standing = 265 }"));
        let away = page(&format!("{there}265\n261\n<\n<\n-"));
        assert!(!away.contains("[left]"), "{away}");
    }

    #[test]
    fn answers_go_beside_what_somebody_wrote_meanwhile() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a-measures.toml");
        assert_eq!(untaken(path.clone()).unwrap(), path);
        std::fs::write(&path, "x").unwrap();
        assert_eq!(untaken(path).unwrap(), folder.path().join("a-measures-2.toml"));
    }

    #[test]
    fn what_is_no_line_of_text_is_asked_for_again() {
        let long = "x".repeat(3 * LONGEST_LINE as usize);
        let typed = [long.as_bytes(), b"\n\xff\nA\n"].concat();
        let mut lines = typed.as_slice();
        let told: Vec<Option<String>> = (0..3).map(|_| line(&mut lines).unwrap()).collect();
        assert_eq!(told, [None, None, Some("A\n".to_owned())]);
        assert!(line(&mut lines).is_err());
    }

    #[test]
    fn in_a_doubt_one_goes_back_to_the_question_that_raised_it() {
        // 165 kg is asked about once a foot is there; back, the length is answered otherwise and the weight stays doubted.
        let there = to_the_left_foot().replace("70", "165");
        let text = page(&format!("{there}265\n<\n270\n75"));
        assert!(text.contains("standing = 270") && text.contains("weight = 75\n"), "{text}");
    }
}
