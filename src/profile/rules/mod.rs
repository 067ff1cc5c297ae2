//! What the shop goes by when it starts from measured feet: how good measures are, what deserves a
//! question, classes, starting rules, referral flags, complaints. Read from `profiles/rules/`; every
//! entry with its source and how strong that is. Knows no particular foot.

mod condition;
mod reading;

use crate::value::Value;

pub use condition::{CLASSED, Condition, Fact, Facts, LOADED, Met, PLAIN, Test, all_met, fact_names, is_fact};
pub(super) use reading::rules;

/// How far a rule is to be trusted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Strength {
    /// The source, or its open data, was read.
    Published,
    /// Only an abstract or a citing text was read.
    Abstract,
    /// Follows from a formula.
    Derived,
    /// Common practice, no source.
    Practice,
    /// From memory, not looked up.
    Memory,
    /// The shop's own choice.
    Own,
}

impl Strength {
    /// The word in files of rules, and the words in print.
    pub(super) const NAMED: [(&'static str, Strength); 6] = [
        ("published", Strength::Published),
        ("abstract", Strength::Abstract),
        ("derived", Strength::Derived),
        ("practice", Strength::Practice),
        ("memory", Strength::Memory),
        ("own", Strength::Own),
    ];

    /// How it is told to a reader.
    pub fn words(self) -> &'static str {
        match self {
            Strength::Published => "published",
            Strength::Abstract => "published, abstract only seen",
            Strength::Derived => "derived",
            Strength::Practice => "common practice, no source",
            Strength::Memory => "from memory",
            Strength::Own => "shop's own choice",
        }
    }
}

/// Where an entry comes from.
#[derive(Clone, Debug, PartialEq)]
pub struct Source {
    /// How strong it is.
    pub strength: Strength,
    /// The reference, or the argument in words.
    pub words: String,
}

impl Source {
    /// Strength and reference in one line.
    pub fn told(&self) -> String {
        let strength = self.strength.words();
        if self.words.is_empty() { strength.to_owned() } else { format!("{}; {strength}", self.words) }
    }
}

/// How good one measure is.
#[derive(Clone, Debug, PartialEq)]
pub struct Measure {
    /// As in a file of measures.
    pub name: String,
    /// Least and greatest number that is read at all.
    pub possible: [f64; 2],
    /// Smallest real change: a smaller difference may be the measuring.
    pub real_change: f64,
    /// Whether a change that is too small to be told is said to be so: of measures whose change with
    /// load is made something of.
    pub change_told: bool,
    /// Where the real change comes from.
    pub source: Source,
}

/// Something about the measures that deserves a question, or is impossible.
#[derive(Clone, Debug, PartialEq)]
pub struct Question {
    /// Its name; an entry of the same name in a later file takes its place.
    pub name: String,
    /// The measure whose line is pointed at.
    pub at: String,
    /// When it is asked.
    pub when: Vec<Condition>,
    /// The question; `{fact}` stands for the fact's number.
    pub ask: String,
    /// Whether the measures cannot be of one foot, so that nothing follows from them.
    pub impossible: bool,
    /// Where the limits come from.
    pub source: Source,
}

/// The classes of one derived measure.
#[derive(Clone, Debug, PartialEq)]
pub struct Class {
    /// The derived measure's name.
    pub name: String,
    /// Its definition in words.
    pub definition: String,
    /// Conditions in order, each with its class's word: the first that is met counts.
    pub bands: Vec<(String, Condition)>,
    /// The class where none is met; empty when no cut-offs are used.
    pub otherwise: String,
    /// What the number is not.
    pub is_not: String,
    /// Where the cut-offs come from.
    pub source: Source,
}

/// What a rule does to its target.
#[derive(Clone, Copy, Debug, PartialEq)]
#[allow(missing_docs)]
pub enum Effect {
    Add(f64),
    Set(f64),
    AtLeast(f64),
    AtMost(f64),
    /// This much below another value, at most.
    Below(Value, f64),
}

/// What a rule or a bound speaks of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Target {
    /// A value of the support.
    Value(Value),
    /// How far the medial arch goes from the standing towards the seated arch, 0..=1.
    ArchShare,
    /// Share of the foot's own drop that the flex zone is to allow beyond what the shape allows.
    AllowedGive,
}

impl Target {
    /// All of them, in the order in which they are worked out.
    pub fn all() -> Vec<Target> {
        [Target::ArchShare, Target::AllowedGive].into_iter().chain(Value::ALL.map(Target::Value)).collect()
    }

    /// The name in files of rules.
    pub fn name(self) -> &'static str {
        match self {
            Target::Value(value) => value.name(),
            Target::ArchShare => "arch_share",
            Target::AllowedGive => "allowed_give",
        }
    }
}

/// A starting rule.
#[derive(Clone, Debug, PartialEq)]
pub struct Rule {
    /// Its name; an entry of the same name in a later file takes its place.
    pub name: String,
    /// What it changes.
    pub target: Target,
    /// When it applies; empty: always.
    pub when: Vec<Condition>,
    /// What it does.
    pub effect: Effect,
    /// Why, in words.
    pub because: String,
    /// Where it comes from.
    pub source: Source,
}

/// The range in which a value is suggested, and to what it is rounded.
#[derive(Clone, Debug, PartialEq)]
pub struct Bound {
    /// What is kept in it.
    pub target: Target,
    /// Least that is suggested.
    pub least: f64,
    /// Greatest that is suggested.
    pub most: f64,
    /// Suggestions are whole multiples of this.
    pub step: f64,
    /// Where the range comes from.
    pub source: Source,
}

/// A straight line through surveyed people: what a width is likely to be when it was not measured.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Its name: `ball_width_men` and the like.
    pub name: String,
    /// The measure: `ball_width` or `heel_width`.
    pub measure: String,
    /// Of whom: `men` or `women`.
    pub people: String,
    /// mm a mm of foot length.
    pub slope: f64,
    /// mm.
    pub offset: f64,
    /// Where it comes from.
    pub source: Source,
}

/// A sign that a clinician is to see first.
#[derive(Clone, Debug, PartialEq)]
pub struct Flag {
    /// As written under `flags`.
    pub name: String,
    /// The sign in words.
    pub words: String,
    /// Whether no shape is suggested past it.
    pub stops: bool,
    /// Facts that raise it without being written; empty: only as written.
    pub when: Vec<Condition>,
    /// Where it comes from.
    pub source: Source,
}

/// One change that may be tried for a complaint.
#[derive(Clone, Debug, PartialEq)]
pub struct Try {
    /// The value to change.
    pub value: Value,
    /// By how much, mm or degrees.
    pub add: f64,
    /// Not past this; `None`: only the ticket's own range.
    pub until: Option<f64>,
    /// Why, in words.
    pub because: String,
}

/// What a wearer says after a try, and the one change to make.
#[derive(Clone, Debug, PartialEq)]
pub struct Complaint {
    /// As written under `complaints` and after `--complaint`.
    pub name: String,
    /// In words.
    pub words: String,
    /// What to look at before anything is changed.
    pub check_first: Vec<String>,
    /// Changes in the order in which they are tried; the first that still has room is suggested.
    pub tries: Vec<Try>,
    /// Signs on which nothing is changed, in words.
    pub refer_when: String,
    /// Where it comes from.
    pub source: Source,
}

/// Material and machine of a ticket where the measures name none.
#[derive(Clone, Debug, PartialEq)]
pub struct Making {
    /// Its name.
    pub name: String,
    /// A material profile.
    pub material: String,
    /// A machine profile.
    pub machine: String,
    /// Blank profiles: the first that is long enough is taken.
    pub blanks: Vec<String>,
    /// Where the choice comes from.
    pub source: Source,
}

/// All rules, merged from every file.
#[derive(Clone, Debug, Default, PartialEq)]
#[allow(missing_docs)]
pub struct Rules {
    pub measures: Vec<Measure>,
    pub questions: Vec<Question>,
    pub classes: Vec<Class>,
    pub rules: Vec<Rule>,
    pub bounds: Vec<Bound>,
    pub lines: Vec<Line>,
    pub flags: Vec<Flag>,
    pub complaints: Vec<Complaint>,
    pub making: Vec<Making>,
}

impl Rules {
    /// These with `later` over them: an entry of the same name takes the place of the earlier one,
    /// another is added.
    pub(super) fn over(mut self, later: Rules) -> Rules {
        merge(&mut self.measures, later.measures, |entry| entry.name.as_str());
        merge(&mut self.questions, later.questions, |entry| entry.name.as_str());
        merge(&mut self.classes, later.classes, |entry| entry.name.as_str());
        merge(&mut self.rules, later.rules, |entry| entry.name.as_str());
        merge(&mut self.bounds, later.bounds, |entry| entry.target.name());
        merge(&mut self.lines, later.lines, |entry| entry.name.as_str());
        merge(&mut self.flags, later.flags, |entry| entry.name.as_str());
        merge(&mut self.complaints, later.complaints, |entry| entry.name.as_str());
        merge(&mut self.making, later.making, |entry| entry.name.as_str());
        self
    }

    /// How good a measure is.
    pub fn measure(&self, name: &str) -> Option<&Measure> {
        self.measures.iter().find(|measure| measure.name == name)
    }

    /// The range of a target.
    pub fn bound(&self, target: Target) -> Option<&Bound> {
        self.bounds.iter().find(|bound| bound.target == target)
    }
}

fn merge<T>(into: &mut Vec<T>, later: Vec<T>, name: impl Fn(&T) -> &str) {
    for entry in later {
        match into.iter_mut().find(|earlier| name(earlier) == name(&entry)) {
            Some(earlier) => *earlier = entry,
            None => into.push(entry),
        }
    }
}
