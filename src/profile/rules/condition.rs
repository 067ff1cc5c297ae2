//! When a rule applies: conditions such as `medial_arch_change <= -5` over the facts of one foot.
//! Knows which facts there are, not how they come about.

use std::collections::BTreeMap;
use std::fmt;

/// What is known of one foot, by name: see [`is_fact`].
pub type Facts = BTreeMap<String, Fact>;

/// One thing known of a foot.
#[derive(Clone, Debug, PartialEq)]
pub enum Fact {
    /// A measure or what follows from measures, mm, degrees, kg, years or a plain number.
    Number(f64),
    /// One word, such as the class of an arch index.
    Word(String),
    /// Words of which any number may be there, such as complaints.
    List(Vec<String>),
}

/// One condition on a fact.
#[derive(Clone, Debug, PartialEq)]
pub struct Condition {
    /// The fact's name.
    pub fact: String,
    /// How it is compared.
    pub test: Test,
}

/// How a fact is compared.
#[derive(Clone, Debug, PartialEq)]
#[allow(missing_docs)] // as they are written: < <= > >= is has
pub enum Test {
    Below(f64),
    AtMost(f64),
    Above(f64),
    AtLeast(f64),
    Is(String),
    Has(String),
}

/// Whether a condition is met.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Met {
    /// It is.
    Yes,
    /// It is not.
    No,
    /// The fact is not known.
    Unknown,
}

/// Measures of a foot that are taken seated, standing or unloaded, mm.
pub const LOADED: [&str; 9] = [
    "length",
    "ball_width",
    "heel_width",
    "medial_arch",
    "dorsal_arch",
    "navicular",
    "first_met",
    "fifth_met",
    "instep",
];

/// Measures of a foot that are one number: degrees, and the points of the posture index.
pub const PLAIN: [&str; 3] = ["ankle_bend", "eversion", "posture_index"];

/// What a loaded measure's fact may end in: nothing (the most loaded state), one state, standing less
/// seated, and the difference to the other foot whichever is larger.
const SUFFIXES: [&str; 6] = ["", "_unloaded", "_seated", "_standing", "_change", "_difference"];

/// Other facts that are numbers.
const NUMBERS: [&str; 22] = [
    "weight",
    "age",
    "ramp",
    "mondopoint",
    "boot_room",
    "stock_heel",
    "stock_ball",
    "ball_share",
    "heel_share",
    "heel_of_ball",
    "first_met_share",
    "fifth_met_share",
    "navicular_drop",
    "navicular_height",
    "arch_index",
    "arch_height_index",
    "arch_height_index_seated",
    "arch_stiffness",
    "chippaux_smirak",
    "staheli",
    "leg_difference",
    "print_share",
];

/// Facts that are one word.
const WORDS: [&str; 3] = ["use", "flexibility", "people"];

/// Facts that are a list of words.
const LISTS: [&str; 2] = ["complaints", "flags"];

/// Derived measures that have classes; `_class` after the name is the class's word.
pub const CLASSED: [&str; 8] = [
    "arch_index",
    "arch_height_index",
    "arch_stiffness",
    "navicular_drop",
    "navicular_height",
    "chippaux_smirak",
    "staheli",
    "posture_index",
];

/// Every name that a fact may have, in no order that matters.
pub fn fact_names() -> Vec<String> {
    let loaded = LOADED.iter().flat_map(|measure| SUFFIXES.iter().map(move |suffix| format!("{measure}{suffix}")));
    let plain = PLAIN.iter().flat_map(|measure| [measure.to_string(), format!("{measure}_difference")]);
    let classes = CLASSED.iter().map(|name| format!("{name}_class"));
    let others = NUMBERS.iter().chain(&WORDS).chain(&LISTS).map(|name| name.to_string());
    loaded.chain(plain).chain(classes).chain(others).collect()
}

/// Whether there is a fact of this name.
pub fn is_fact(name: &str) -> bool {
    fact_names().iter().any(|known| known == name)
}

impl Condition {
    /// Reads `fact < number`, `fact is word` and their kin.
    ///
    /// # Errors
    /// A sentence on what is wrong.
    pub fn parse(text: &str) -> Result<Condition, String> {
        let parts: Vec<&str> = text.split_whitespace().collect();
        let [fact, operator, value] = parts[..] else {
            return Err(format!("\"{text}\" is not `fact < number`, `fact is word` or `list has word`"));
        };
        if !is_fact(fact) {
            let names = fact_names();
            let near = crate::written::suggest(fact, names.iter().map(String::as_str));
            let help = near.map_or_else(String::new, |near| format!("; did you mean `{near}`?"));
            return Err(format!("there is no fact `{fact}`{help}"));
        }
        let number = || {
            let number = value.parse::<f64>().ok().filter(|number| number.is_finite());
            number.ok_or_else(|| format!("`{value}` in \"{text}\" is not a number"))
        };
        let is_list = LISTS.contains(&fact);
        let is_word = WORDS.contains(&fact) || fact.ends_with("_class");
        let test = match operator {
            "is" if is_word => Test::Is(value.to_owned()),
            "has" if is_list => Test::Has(value.to_owned()),
            "<" | "<=" | ">" | ">=" if !is_word && !is_list => match operator {
                "<" => Test::Below(number()?),
                "<=" => Test::AtMost(number()?),
                ">" => Test::Above(number()?),
                _ => Test::AtLeast(number()?),
            },
            _ => return Err(format!("`{operator}` does not go with `{fact}` in \"{text}\"")),
        };
        Ok(Condition { fact: fact.to_owned(), test })
    }

    /// Whether it is met.
    pub fn met(&self, facts: &Facts) -> Met {
        let Some(fact) = facts.get(&self.fact) else { return Met::Unknown };
        let yes = match (&self.test, fact) {
            (Test::Below(limit), Fact::Number(x)) => x < limit,
            (Test::AtMost(limit), Fact::Number(x)) => x <= limit,
            (Test::Above(limit), Fact::Number(x)) => x > limit,
            (Test::AtLeast(limit), Fact::Number(x)) => x >= limit,
            (Test::Is(word), Fact::Word(is)) => word == is,
            (Test::Has(word), Fact::List(list)) => list.contains(word),
            _ => false,
        };
        if yes { Met::Yes } else { Met::No }
    }
}

/// Whether all of them are met: one that is not decides, whatever is unknown.
pub fn all_met(conditions: &[Condition], facts: &Facts) -> Met {
    let met: Vec<Met> = conditions.iter().map(|condition| condition.met(facts)).collect();
    match () {
        _ if met.contains(&Met::No) => Met::No,
        _ if met.contains(&Met::Unknown) => Met::Unknown,
        _ => Met::Yes,
    }
}

/// The comparison in words, the fact not named: `below 0.21`.
impl fmt::Display for Test {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Test::Below(x) => write!(f, "below {x}"),
            Test::AtMost(x) => write!(f, "{x} or less"),
            Test::Above(x) => write!(f, "above {x}"),
            Test::AtLeast(x) => write!(f, "{x} or more"),
            Test::Is(word) | Test::Has(word) => write!(f, "{}", word.replace('_', " ")),
        }
    }
}

impl fmt::Display for Condition {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let between = match self.test {
            Test::Is(_) => " is",
            Test::Has(_) => ":",
            _ => "",
        };
        write!(f, "{}{between} {}", self.fact.replace('_', " "), self.test)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn facts() -> Facts {
        Facts::from([
            ("arch_index".to_owned(), Fact::Number(0.21)),
            ("use".to_owned(), Fact::Word("junior".to_owned())),
            ("complaints".to_owned(), Fact::List(vec!["arch_pressure".to_owned()])),
        ])
    }

    fn met(text: &str) -> Met {
        Condition::parse(text).unwrap_or_else(|e| panic!("{e}")).met(&facts())
    }

    #[test]
    fn a_limit_belongs_to_the_side_that_says_so() {
        assert_eq!([met("arch_index <= 0.21"), met("arch_index < 0.21")], [Met::Yes, Met::No]);
        assert_eq!([met("arch_index >= 0.21"), met("arch_index > 0.21")], [Met::Yes, Met::No]);
    }

    #[test]
    fn words_and_lists() {
        assert_eq!([met("use is junior"), met("use is heavy")], [Met::Yes, Met::No]);
        assert_eq!([met("complaints has arch_pressure"), met("complaints has cold_toes")], [Met::Yes, Met::No]);
        assert_eq!(met("weight > 90"), Met::Unknown);
        let both = ["weight > 90", "use is heavy"].map(|c| Condition::parse(c).unwrap());
        assert_eq!(all_met(&both, &facts()), Met::No, "what is not met decides, whatever is unknown");
    }

    #[test]
    fn what_is_no_condition_is_told() {
        let wrong = |text: &str| Condition::parse(text).unwrap_err();
        assert!(wrong("arch_indx < 0.2").contains("did you mean `arch_index`"), "{}", wrong("arch_indx < 0.2"));
        assert!(wrong("arch_index < nan").contains("not a number"));
        assert!(wrong("use < 3").contains("does not go with"));
        assert!(wrong("arch_index is high").contains("does not go with"));
        assert!(wrong("arch_index").contains("is not `fact"));
    }
}
