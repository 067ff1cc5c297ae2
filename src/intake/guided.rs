//! A page of measures, asked for one by one. Every answer is judged by the reader of measures itself, as soon as it is given.
//! Knows what to ask and how a page is written; does not know where answers come from.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::facts::facts;
use super::measures::{self, Measures};
use super::questions::{self, Asked};
use crate::profile::Shelf;
use crate::ticket::{Problem, Problems};

/// How an answer is written down.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Form {
    Text,
    Number,
    /// Words with commas between them.
    Words,
}

/// One question.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Question {
    /// Where the answer belongs, with dots: `left.length.standing`.
    pub key: String,
    /// What is asked, with its unit.
    pub asks: String,
    /// What the answer moves.
    pub moves: &'static str,
    /// Whether there is no page without it.
    pub needed: bool,
    form: Form,
}

/// Of the person, the boot and the making: key, what is asked, what it moves, whether it is needed.
const OF_THE_PERSON: [(&str, Form, bool, &str, &str); 13] = [
    (
        "person.code",
        Form::Text,
        true,
        "code of the person: letters, digits, - and _",
        "the name of every file; never a person's name",
    ),
    (
        "person.weight",
        Form::Number,
        false,
        "weight, kg, dressed without boots",
        "how far the arch gives, and the flex zone",
    ),
    (
        "person.use",
        Form::Text,
        false,
        "use: everyday, low-bulk, high-impact, touring, junior, heavy",
        "where the values start; everyday when left empty",
    ),
    (
        "person.complaints",
        Form::Words,
        false,
        "complaints, with commas: heel_lift, arch_pressure, ...",
        "cup, post and arches; `sustent profiles rules complaints` lists them",
    ),
    (
        "person.flags",
        Form::Words,
        false,
        "signs that a clinician is to see first: diabetes_numb, open_skin, night_pain, ...",
        "past one that stops no shape is suggested; `sustent profiles rules referral` lists them",
    ),
    (
        "boot.mondopoint",
        Form::Number,
        false,
        "mondopoint size of the boot, mm",
        "whether length and width fit the shell",
    ),
    ("boot.ramp", Form::Number, false, "ramp of the boot board, degrees", "how the heel may be raised"),
    (
        "boot.stock_insole.heel_thickness",
        Form::Number,
        false,
        "stock insole: thickness under the heel, mm",
        "the footbed's own, so that the heel stands as high as before",
    ),
    (
        "boot.stock_insole.ball_thickness",
        Form::Number,
        false,
        "stock insole: thickness under the ball, mm",
        "the footbed's own under the ball",
    ),
    (
        "boot.stock_insole.length",
        Form::Number,
        false,
        "stock insole: length, mm",
        "the footbed's own, so that it fits the shell",
    ),
    (
        "boot.stock_insole.ball_width",
        Form::Number,
        false,
        "stock insole: width at the ball, mm",
        "the footbed's own at the ball",
    ),
    (
        "boot.stock_insole.heel_width",
        Form::Number,
        false,
        "stock insole: width at the heel, mm",
        "the footbed's own at the heel",
    ),
    ("make.cover", Form::Number, false, "cover that is glued on, mm", "how high the milled top may be"),
];

/// Of a foot, each at a loading.
const OF_A_FOOT: [(&str, Form, bool, &str, &str); 11] = [
    (
        "length.standing",
        Form::Number,
        false,
        "length standing, mm, heel to longest toe",
        "the size of everything; empty leaves this foot out",
    ),
    ("length.seated", Form::Number, false, "length seated, mm", "how far the foot lengthens under load"),
    ("ball_width.standing", Form::Number, false, "width across the met heads standing, mm", "the width of the footbed"),
    (
        "heel_width.standing",
        Form::Number,
        false,
        "width of the heel standing, mm, at its widest",
        "the width of the cup",
    ),
    (
        "medial_arch.seated",
        Form::Number,
        false,
        "arch seated, mm, floor to the arch at its highest",
        "the medial arch: without it there is no ticket",
    ),
    ("medial_arch.standing", Form::Number, false, "arch standing, mm", "the medial arch, and how soft the foot is"),
    ("first_met.standing", Form::Number, false, "heel to the first met head standing, mm", "where the support ends"),
    ("fifth_met.standing", Form::Number, false, "heel to the fifth met head standing, mm", "where the support ends"),
    ("eversion", Form::Number, false, "lean of the heel, degrees, + to the medial side", "the rearfoot post"),
    ("posture_index", Form::Number, false, "six points of looking, each -2 to +2, added", "the rearfoot post"),
    ("flexibility", Form::Text, false, "by hand: stiff, usual or flexible", "post, arch and flex zone"),
];

/// Everything that is asked, in order.
pub fn questions() -> Vec<Question> {
    let question = |key: String, (_, form, needed, asks, moves): (&str, Form, bool, &str, &'static str), of: &str| {
        Question { key, asks: format!("{of}{asks}"), moves, needed, form }
    };
    let person = OF_THE_PERSON.map(|row| question(row.0.into(), row, ""));
    let feet = ["left", "right"]
        .into_iter()
        .flat_map(|side| OF_A_FOOT.map(|row| question(format!("{side}.{}", row.0), row, &format!("{side} foot: "))));
    person.into_iter().chain(feet).collect()
}

/// Something unusual about the answers so far.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Doubt {
    /// What is asked.
    pub words: String,
    /// The answer that is to be looked at again.
    pub about: Question,
}

/// What has been answered so far.
#[derive(Clone, Debug, Default)]
pub struct Answers {
    /// By key, as written in TOML.
    given: BTreeMap<String, String>,
}

impl Answers {
    /// Takes an answer. What is unusual since is told as a doubt; the answer is kept all the same.
    ///
    /// # Errors
    /// What the reader of measures says against it, or why no foot can be so, in one sentence; the answer is not kept then.
    pub fn give(&mut self, question: &Question, answer: &str, shelf: &Shelf) -> Result<Vec<Doubt>, String> {
        if self.skips(question) {
            return Err("the foot's length standing comes first; without it the foot is left out".into());
        }
        let mut without = self.clone();
        without.given.remove(&question.key);
        let mut with = without.clone();
        with.given.insert(question.key.clone(), written(question.form, answer)?);
        let asked = match with.measures(shelf) {
            Ok(measures) => with.asked(&measures, shelf)?,
            Err(problems) => {
                // What has not been asked yet is missing, and no fault of this answer.
                let line = with.page().1.get(stem(&question.key)).copied();
                let own = problems.iter().find(|problem| Some(problem.line) == line);
                own.map_or(Ok(vec![]), |problem| Err(in_one_sentence(problem)))?
            }
        };
        let before = without.measures(shelf).ok().and_then(|measures| without.asked(&measures, shelf).ok());
        let before = before.unwrap_or_default();
        let is_new = |asked: &&Asked| !before.iter().any(|b| (&b.name, b.side) == (&asked.name, asked.side));
        let doubts = asked.iter().filter(is_new).map(|asked| with.doubt(asked, question)).collect();
        *self = with;
        Ok(doubts)
    }

    /// The page so far as measures.
    fn measures(&self, shelf: &Shelf) -> Result<Measures, Problems> {
        measures::read(&self.text(), "the answers", shelf, &|_: &str| Err(String::new()))
    }

    /// What the measures deserve to be asked; why they cannot be of one foot.
    fn asked(&self, measures: &Measures, shelf: &Shelf) -> Result<Vec<Asked>, String> {
        let rules = shelf.rules();
        let feet: Vec<_> = measures.feet.iter().map(|foot| facts(measures, foot, &rules.classes)).collect();
        match questions::ask(measures, &feet, &rules, "the answers", &self.text()) {
            Ok((asked, _)) => Ok(asked),
            Err(problems) => Err(problems.iter().map(in_one_sentence).collect::<Vec<_>>().join("; ")),
        }
    }

    /// A doubt, and the answer that stands where it arises; else the one that was given last.
    fn doubt(&self, asked: &Asked, last: &Question) -> Doubt {
        let lines = self.page().1;
        let stem_there = lines.iter().find(|(_, line)| **line == asked.line).map(|(stem, _)| stem.as_str());
        let is_there = |q: &Question| Some(stem(&q.key)) == stem_there && self.given.contains_key(&q.key);
        let is_last = |q: &Question| Some(stem(&q.key)) == stem_there && q.key == last.key;
        let all = questions();
        let about =
            all.iter().find(|q| is_last(q)).or_else(|| all.iter().rfind(|q| is_there(q))).unwrap_or(last).clone();
        let side = asked.side.map_or(String::new(), |side| format!("{} foot: ", side.name()));
        Doubt { words: format!("{side}{}", asked.words), about }
    }

    /// The answer so far, as the page holds it.
    pub fn answer(&self, question: &Question) -> Option<&str> {
        self.given.get(&question.key).map(String::as_str)
    }

    /// Takes an answer away; with a foot's length all that was said of the foot.
    pub fn withdraw(&mut self, question: &Question) {
        self.given.remove(&question.key);
        let left_out: Vec<Question> = questions().into_iter().filter(|q| self.skips(q)).collect();
        self.given.retain(|key, _| !left_out.iter().any(|q| q.key == *key));
    }

    /// Whether a foot is left out: its length was asked for and not given.
    pub fn skips(&self, question: &Question) -> bool {
        let Some((side, rest)) = question.key.split_once('.') else { return false };
        let foot = matches!(side, "left" | "right") && rest != "length.standing";
        foot && !self.given.contains_key(&format!("{side}.length.standing"))
    }

    /// Whether a foot was measured.
    pub fn has_a_foot(&self) -> bool {
        self.given.keys().any(|key| key.ends_with(".length.standing"))
    }

    /// The page of measures.
    pub fn text(&self) -> String {
        self.page().0
    }

    /// The page, and the line on which each key stands.
    fn page(&self) -> (String, BTreeMap<String, usize>) {
        let mut text = String::from("# Measures of one pair of feet: mm, degrees, kg.\n");
        let mut lines = BTreeMap::new();
        let mut section = String::new();
        let mut last = String::new();
        for question in questions() {
            let (own, name) = place(&question.key);
            let stem = stem(&question.key);
            // The loadings of a measure stand on one line.
            if stem == last || !self.given.keys().any(|key| self::stem(key) == stem) {
                continue;
            }
            if own != section {
                let _ = write!(text, "\n[{own}]\n");
                section = own.to_owned();
            }
            let _ = writeln!(text, "{name} = {}", self.value(stem));
            lines.insert(stem.to_owned(), text.matches('\n').count());
            last = stem.to_owned();
        }
        (text, lines)
    }

    /// What stands behind a key: its answer, or its answers by loading.
    fn value(&self, stem: &str) -> String {
        if let Some(plain) = self.given.get(stem) {
            return plain.clone();
        }
        let loadings = ["seated", "standing"]
            .into_iter()
            .filter_map(|loading| Some(format!("{loading} = {}", self.given.get(&format!("{stem}.{loading}"))?)));
        format!("{{ {} }}", loadings.collect::<Vec<_>>().join(", "))
    }
}

/// A key without its loading.
fn stem(key: &str) -> &str {
    key.strip_suffix(".standing").or_else(|| key.strip_suffix(".seated")).unwrap_or(key)
}

/// Section and name of a key.
fn place(key: &str) -> (&str, &str) {
    stem(key).rsplit_once('.').unwrap_or(("", key))
}

fn in_one_sentence(problem: &Problem) -> String {
    match problem.help.as_str() {
        "" => problem.message.clone(),
        help => format!("{}; {help}", problem.message),
    }
}

/// An answer as TOML writes it.
fn written(form: Form, answer: &str) -> Result<String, String> {
    let quoted = |word: &str| format!("\"{}\"", word.replace('\\', "\\\\").replace('"', "\\\""));
    match form {
        Form::Text => Ok(quoted(answer)),
        Form::Words => {
            let words = answer.split(',').map(str::trim).filter(|word| !word.is_empty() && *word != "none");
            Ok(format!("[{}]", words.map(quoted).collect::<Vec<_>>().join(", ")))
        }
        // Half of the world writes 26,5.
        Form::Number => match answer.replacen(',', ".", 1).parse::<f64>() {
            Ok(number) if number.is_finite() => Ok(format!("{number}")),
            _ => Err(format!("\"{answer}\" is no number; write it alone, without its unit, such as 265 or 4.5")),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::intake;

    fn answer(answers: &mut Answers, key: &str, answer: &str) -> Result<Vec<Doubt>, String> {
        let question = questions().into_iter().find(|q| q.key == key).unwrap();
        answers.give(&question, answer, &Shelf::built_in())
    }

    #[test]
    fn answers_become_a_page_that_intake_takes() {
        let mut answers = Answers::default();
        for (key, given) in [
            ("person.code", "PATROL-11"),
            ("person.weight", "74,5"),
            ("person.complaints", "heel_lift, arch_pressure"),
            ("boot.stock_insole.heel_thickness", "4.5"),
            ("left.length.standing", "265"),
            ("left.length.seated", "261"),
            ("left.medial_arch.seated", "21"),
            ("left.medial_arch.standing", "15"),
        ] {
            answer(&mut answers, key, given).unwrap();
        }
        let text = answers.text();
        assert!(text.contains("weight = 74.5\ncomplaints = [\"heel_lift\", \"arch_pressure\"]"), "{text}");
        assert!(text.contains("[left]\nlength = { seated = 261, standing = 265 }"), "{text}");
        let taken = intake::intake(&text, "page", &Shelf::built_in(), &|_| Err(String::new())).unwrap();
        assert!(taken.ticket.is_some(), "{:?}", taken.no_ticket);
        let right = |rest: &str| questions().into_iter().find(|q| q.key == format!("right.{rest}")).unwrap();
        assert!(answers.skips(&right("ball_width.standing")) && !answers.skips(&right("length.standing")));
    }

    #[test]
    fn an_answer_is_judged_at_once_and_a_wrong_one_is_not_kept() {
        let mut answers = Answers::default();
        for (key, wrong, said) in [
            ("person.code", "Anna B.", "`code` holds ' '"),
            ("person.use", "evryday", "everyday"),
            ("person.complaints", "heel_lif", "heel_lift"),
            ("left.length.standing", "10.4", "length"),
            ("left.length.standing", "26 cm", "is no number"),
            ("left.length.standing", "inf", "is no number"),
            ("left.flexibility", "stiff", "comes first"),
        ] {
            let told = answer(&mut answers, key, wrong).unwrap_err();
            assert!(told.contains(said), "{key}: {told}");
        }
        assert!(answers.given.is_empty());
        answer(&mut answers, "left.length.standing", "265").unwrap();
        assert!(answer(&mut answers, "left.flexibility", "so so").unwrap_err().contains("stiff"));
    }

    /// All of it was accepted at first and told after the last question.
    #[test]
    fn what_no_foot_can_be_is_refused_at_once_and_what_is_unusual_is_doubted() {
        let mut answers = Answers::default();
        let mut told = |key: &str, given: &str| answer(&mut answers, key, given);
        assert_eq!(told("person.code", "A").unwrap(), []);
        assert_eq!(told("person.weight", "165").unwrap(), [], "there is no foot to judge yet");
        assert_eq!(told("boot.mondopoint", "235").unwrap(), []);
        let doubts = told("left.length.standing", "265").unwrap();
        let about: Vec<&str> = doubts.iter().map(|doubt| doubt.about.key.as_str()).collect();
        assert_eq!(about, ["person.weight", "boot.mondopoint"], "{doubts:?}");
        assert!(doubts[0].words.contains("pounds"), "{doubts:?}");
        assert_eq!(told("person.weight", "75").unwrap(), []);
        told("left.medial_arch.seated", "21").unwrap();
        let refused = told("left.medial_arch.standing", "27").unwrap_err();
        assert!(refused.contains("were the two swapped?") && refused.contains("measure again"), "{refused}");
        let doubts = told("left.medial_arch.standing", "24").unwrap();
        assert!(doubts.iter().all(|doubt| doubt.about.key == "left.medial_arch.standing"), "{doubts:?}");
        assert!(answers.text().contains("medial_arch = { seated = 21, standing = 24 }"), "{}", answers.text());
    }

    #[test]
    fn every_question_has_a_line_that_its_answer_is_judged_by() {
        for question in questions() {
            let mut answers = Answers::default();
            if answers.skips(&question) {
                let side = question.key.split('.').next().unwrap();
                answer(&mut answers, &format!("{side}.length.standing"), "265").unwrap();
            }
            let wrong = if question.form == Form::Number { "99999" } else { "?" };
            assert!(answers.give(&question, wrong, &Shelf::built_in()).is_err(), "{}", question.key);
        }
    }
}
