//! A page of measures, asked for one by one. Every answer is judged by the reader of measures itself, as soon as it is given.
//! Knows what to ask and how a page is written; does not know where answers come from.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::measures;
use crate::profile::Shelf;

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
const OF_THE_PERSON: [(&str, Form, bool, &str, &str); 10] = [
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

/// What has been answered so far.
#[derive(Clone, Debug, Default)]
pub struct Answers {
    /// By key, as written in TOML.
    given: BTreeMap<String, String>,
}

impl Answers {
    /// Takes an answer.
    ///
    /// # Errors
    /// What the reader of measures says against it, in one sentence; the answer is not kept then.
    pub fn give(&mut self, question: &Question, answer: &str, shelf: &Shelf) -> Result<(), String> {
        if self.skips(question) {
            return Err("the foot's length standing comes first; without it the foot is left out".into());
        }
        let mut with = self.clone();
        with.given.insert(question.key.clone(), written(question.form, answer)?);
        let (text, lines) = with.page();
        let line = lines.get(stem(&question.key)).copied();
        let none = |_: &str| Err(String::new());
        if let Err(problems) = measures::read(&text, "the answers", shelf, &none) {
            // What has not been asked yet is missing, and no fault of this answer.
            if let Some(problem) = problems.iter().find(|problem| Some(problem.line) == line) {
                return Err(match problem.help.as_str() {
                    "" => problem.message.clone(),
                    help => format!("{}; {help}", problem.message),
                });
            }
        }
        *self = with;
        Ok(())
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

    fn answer(answers: &mut Answers, key: &str, answer: &str) -> Result<(), String> {
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
