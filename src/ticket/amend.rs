//! A ticket's text with one thing changed and everything else as a person left it, step by step as on the desk, where a
//! value may also be left to its rule again and what is shared stays shared. [`revise`](super::revise) makes a whole next
//! revision in one go. Whether the outcome is a good ticket is for [`read`](super::read) to say.

use crate::frame::Side;
use crate::value::Value;
use crate::written::{Draft, Given, Stands};

/// The text with `to` asked for a value of one foot, or the value left out where `to` is `None`. What one foot shares
/// with the other ("as left") is changed where it is written, for both. `None` when the text has no such foot.
pub fn with_value(text: &str, side: Side, value: Value, to: Option<f64>) -> Option<String> {
    let mut draft = Draft::of(text)?;
    let path = support_of(&draft, side)?;
    let path: Vec<&str> = path.iter().map(String::as_str).collect();
    match to {
        Some(to) => draft.set(&path, value.name(), &Given::Number(to)).then(|| draft.text()),
        None => {
            draft.remove(&path, value.name());
            Some(draft.text())
        }
    }
}

/// The text with a reason for accepted stops of one foot; an empty one is taken out.
pub fn with_reason(text: &str, side: Side, reason: &str) -> Option<String> {
    let mut draft = Draft::of(text)?;
    let support = support_of(&draft, side)?;
    let owner = support.first()?.clone();
    let beside = draft.at(&[&owner, "reason"]) != Stands::Nothing;
    let path: Vec<&str> = if beside { vec![&owner] } else { support.iter().map(String::as_str).collect() };
    if reason.is_empty() {
        draft.remove(&path, "reason");
        return Some(draft.text());
    }
    draft.set(&path, "reason", &Given::Text(reason.to_owned())).then(|| draft.text())
}

/// Where the support of a foot is written: `[left.support]`, or the other foot's where it is shared.
fn support_of(draft: &Draft, side: Side) -> Option<Vec<String>> {
    let (own, other) = (side.name(), side.other().name());
    let path = |name: &str| vec![name.to_owned(), "support".to_owned()];
    match (draft.at(&[own]), draft.at(&[own, "support"])) {
        (Stands::Section, Stands::Section) => Some(path(own)),
        (Stands::Text(_), _) | (Stands::Section, Stands::Text(_)) => {
            (draft.at(&[other, "support"]) == Stands::Section).then(|| path(other))
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::profile::Shelf;
    use crate::ticket::{Ticket, read};

    const DEMO: &str = include_str!("../../output-samples/PATROL-07/ticket.toml");

    fn ticket(text: &str) -> Ticket {
        read(text, "t.toml", &Shelf::built_in(), &|_| Err(String::new())).unwrap()
    }

    /// Lines of `new` that are not in `old` at their place.
    fn other_lines<'a>(old: &str, new: &'a str) -> Vec<&'a str> {
        let old: Vec<&str> = old.lines().collect();
        new.lines().filter(|line| !old.contains(line)).collect()
    }

    #[test]
    fn one_line_changes_and_keeps_its_comment() {
        let new = with_value(DEMO, Side::Left, Value::MedialArch, Some(18.5)).unwrap();
        let [line] = other_lines(DEMO, &new)[..] else { panic!("{new}") };
        assert!(
            line.starts_with("medial_arch = 18.5 ")
                && line.ends_with("# above the heel seat and the met heads, between standing and seated")
        );
        assert_eq!(ticket(&new).feet[0].support.medial_arch_mm, 18.5);
        assert_eq!(new.lines().count(), DEMO.lines().count());
    }

    #[test]
    fn a_value_that_was_filled_in_is_added_and_taken_out_again() {
        let new = with_value(DEMO, Side::Right, Value::HeelThickness, Some(5.0)).unwrap();
        assert_eq!(other_lines(DEMO, &new), ["heel_thickness = 5"]);
        assert_eq!(ticket(&new).feet[1].support.heel_thickness_mm, 5.0);
        assert_eq!(ticket(&new).feet[1].rule(Value::HeelThickness), None);
        assert_eq!(with_value(&new, Side::Right, Value::HeelThickness, None).unwrap(), DEMO);
    }

    #[test]
    fn what_is_shared_changes_where_it_is_written() {
        let (own, _) = DEMO.split_once("[right.foot]").unwrap();
        let shared = format!("right = \"as left\"\n{own}");
        let new = with_value(&shared, Side::Right, Value::LateralArch, Some(4.0)).unwrap();
        assert!(ticket(&new).feet.iter().all(|foot| foot.support.lateral_arch_mm == 4.0));
        assert_eq!(with_value("[left]\nfoot = 1\n", Side::Right, Value::LateralArch, Some(4.0)), None);
    }

    #[test]
    fn a_reason_is_written_where_one_stands_and_taken_out_again() {
        let new = with_reason(DEMO, Side::Left, "trial \"piece\"").unwrap();
        assert_eq!(ticket(&new).feet[0].reason.as_deref(), Some("trial \"piece\""));
        assert_eq!(ticket(&new).feet[1].reason, None);
        assert_eq!(with_reason(&new, Side::Left, "").unwrap(), DEMO);
        let above = DEMO.replace("[left.foot]", "[left]\nreason = \"old\" # why\n\n[left.foot]");
        let new = with_reason(&above, Side::Left, "new").unwrap();
        assert_eq!(new, above.replace("\"old\"", "\"new\""));
    }
}
