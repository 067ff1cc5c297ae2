//! A ticket's next revision as text: read again it asks what was set and nothing else, and what people
//! wrote around the values stays where it was.

use proptest::prelude::*;
use sustent::frame::Side;
use sustent::profile::Shelf;
use sustent::ticket::{self, Because, ReviseError, Setting, Ticket, revise, revised, writable};
use sustent::value::Value;

const DEMO: &str = include_str!("../output-samples/PATROL-07/ticket.toml");

const HEAD: &str = "[ticket] # of the patrol\ncode = \"A\"\n\n[make]\nmaterial = \"eva-firm\"\nblank = \"foam-330\"\n\
                    machine = \"fast-router\"\n\n[boot.stock_insole]\nheel_thickness = 4.5\n";
const FOOT: &str = "length = { standing = 265 }\nmedial_arch = { seated = 21, standing = 15 }\n";
const SUPPORT: &str = "medial_arch = 17 # by hand\nstations = { lateral_arch = 0.43 }\n";

fn read(text: &str) -> Ticket {
    let none = |_: &str| Err("no file lies beside this ticket".to_string());
    ticket::read(text, "t.toml", &Shelf::built_in(), &none).unwrap_or_else(|problems| panic!("{problems}\n{text}"))
}

fn because() -> Because {
    Because { reason: "pressed on the ledge".into(), date: "2026-11-25".into() }
}

fn set(side: Side, value: Value, to: f64) -> Setting {
    Setting { side, value, to }
}

/// The same order written in the ways that a ticket allows.
fn forms() -> Vec<String> {
    let one = format!("{HEAD}[left.foot]\n{FOOT}[left.support]\n{SUPPORT}");
    let inline = format!(
        "{HEAD}[left]\nreason = \"asked\"\nfoot = {{ length = {{ standing = 265 }} }}\nsupport = {{ medial_arch = 17, lateral_arch = 3 }} # one line\n"
    );
    let dotted = format!("{HEAD}[left]\nfoot.length.standing = 265\nsupport.medial_arch = 17 # dotted\n");
    let whole = format!("# shared\nright = \"as left\" # two equal feet\n{one}");
    let reasoned = format!("right = \"as left\"\n{inline}");
    let support =
        format!("{one}\n[right]\nsupport = \"as left\" # the same\n[right.foot]\nlength = {{ standing = 270 }}\n");
    let turned = format!("left = \"as right\"\n{}", one.replace("[left.", "[right."));
    let inline_history =
        format!("history = [{{ revision = 1, change = \"x\" }}]\n{}", DEMO.split("\n[[history]]").next().unwrap());
    vec![DEMO.into(), one, inline, dotted, whole, reasoned, support, turned, inline_history]
}

/// What the next revision asks: as before, with the settings made.
fn asked(ticket: &Ticket, settings: &[Setting]) -> Ticket {
    let mut next = ticket.clone();
    for setting in settings {
        let order = next.feet.iter_mut().find(|order| order.side == setting.side).unwrap();
        order.support.ask(setting.value, setting.to);
    }
    next
}

/// The parts that a footbed is made from, without the words on where they came from.
fn compared(ticket: &Ticket) -> Ticket {
    let mut plain = ticket.clone();
    (plain.revision, plain.history) = (0, vec![]);
    for order in &mut plain.feet {
        order.support.filled_in.clear();
        order.support.station_rules.clear();
    }
    plain
}

fn comments(text: &str) -> Vec<&str> {
    text.lines().filter_map(|line| line.split_once('#').map(|(_, comment)| comment)).collect()
}

#[test]
fn the_demo_changes_on_the_lines_that_change() {
    let settings = [set(Side::Left, Value::MedialArch, 16.5), set(Side::Left, Value::HeelThickness, 5.0)];
    let next = revise(DEMO, &read(DEMO), &settings, &because()).unwrap();
    let was: Vec<&str> = DEMO.lines().collect();
    let fresh: Vec<&str> = next.lines().filter(|line| !was.contains(line)).collect();
    assert_eq!(
        fresh,
        [
            "revision = 3                # raise it with every change, and say why under [[history]]",
            "medial_arch = 16.5            # above the heel seat and the met heads, between standing and seated",
            "heel_thickness = 5",
            "revision = 2",
            "date = 2026-11-25",
            "change = \"left heel thickness 4.5 -> 5, left medial arch 18 -> 16.5\"",
            "reason = \"pressed on the ledge\"",
        ]
    );
    let kept = next.lines().filter(|line| was.contains(line));
    let gone: Vec<&&str> = was.iter().filter(|line| !next.lines().any(|new| new == **line)).collect();
    assert_eq!(gone.len(), 2, "{gone:?}");
    assert!(kept.count() >= was.len() - 2);
    assert!(next.ends_with("reason = \"pressed on the ledge\"\n"));
}

#[test]
fn a_foot_that_was_as_the_other_stands_alone_where_it_differs() {
    let leaning: Vec<String> =
        forms().into_iter().filter(|text| !text.contains("PATROL") && text.contains("= \"as ")).collect();
    assert_eq!(leaning.len(), 4);
    for text in &leaning {
        let ticket = read(text);
        for side in Side::BOTH {
            let one = [set(side, Value::RearfootPost, 2.0)];
            let next = revise(text, &ticket, &one, &because()).unwrap();
            assert_eq!(compared(&read(&next)), compared(&asked(&ticket, &one)), "{next}");
            assert_eq!(comments(&next), comments(text), "{next}");
            assert!(next.contains(" no longer as "), "{next}");
        }
        let both = Side::BOTH.map(|side| set(side, Value::RearfootPost, 2.0));
        let next = revise(text, &ticket, &both, &because()).unwrap();
        assert_eq!(compared(&read(&next)), compared(&asked(&ticket, &both)), "{next}");
        assert!(next.contains("= \"as ") && !next.contains(" no longer as "), "{next}");
    }
}

#[test]
fn line_ends_and_byte_order_mark_stay() {
    let text = format!("\u{feff}{}", DEMO.replace('\n', "\r\n"));
    let next = revise(&text, &read(DEMO), &[set(Side::Left, Value::MedialArch, 17.0)], &because()).unwrap();
    assert!(next.starts_with("\u{feff}# A job"));
    assert_eq!(next.matches('\n').count(), next.matches("\r\n").count());
    assert_eq!(read(&next).revision, 3);
}

#[test]
fn what_no_ticket_can_hold_is_refused() {
    let ticket = read(DEMO);
    let try_one = |setting| revise(DEMO, &ticket, &[setting], &because());
    let nothing = try_one(set(Side::Left, Value::MedialArch, 18.0));
    assert_eq!(nothing, Err(ReviseError::Nothing));
    for to in [f64::NAN, f64::INFINITY, -1.0, 41.0] {
        let refused = try_one(set(Side::Left, Value::MedialArch, to));
        assert!(matches!(refused, Err(ReviseError::Range { .. })), "{refused:?}");
    }
    let one = format!("{HEAD}[left.foot]\n{FOOT}[left.support]\n");
    let right = revise(&one, &read(&one), &[set(Side::Right, Value::MedialArch, 18.0)], &because());
    assert_eq!(right, Err(ReviseError::NoFoot(Side::Right)));
    let long = Because { reason: "x".repeat(601), ..because() };
    assert_eq!(revise(DEMO, &ticket, &[set(Side::Left, Value::MedialArch, 17.0)], &long), Err(ReviseError::Long(601)));
    let last = DEMO.replace("revision = 2  ", "revision = 9999  ");
    let refused = revise(&last, &read(&last), &[set(Side::Left, Value::MedialArch, 17.0)], &because());
    assert_eq!(refused, Err(ReviseError::Last(9999)));
    assert!(matches!(
        revise("no toml", &ticket, &[set(Side::Left, Value::MedialArch, 17.0)], &because()),
        Err(ReviseError::Text(_))
    ));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    /// Any values of any foot, however the ticket is written.
    #[test]
    fn read_again_it_asks_what_was_set(
        form in 0..forms().len(),
        asks in prop::collection::vec((any::<bool>(), 0..Value::ALL.len(), 0.0..=1.0f64), 1..30),
        reason in "[ !\"$-~äß\n]{0,40}",
        date in "(2026-11-2[0-9]|last \"week\"|)",
    ) {
        let text = &forms()[form];
        let ticket = read(text);
        let settings: Vec<Setting> = asks.into_iter().map(|(left, at, share)| {
            let value = Value::ALL[at];
            let allowed = writable(value);
            let side = if left || ticket.feet.len() < 2 { ticket.feet[0].side } else { ticket.feet[1].side };
            set(side, value, ((allowed.least + share * (allowed.most - allowed.least)) * 10.0).round() / 10.0)
        }).collect();
        let because = Because { reason, date: date.clone() };
        let next = revise(text, &ticket, &settings, &because).unwrap();
        let again = read(&next);
        prop_assert_eq!(compared(&again), compared(&asked(&ticket, &settings)));
        prop_assert_eq!(again.revision, ticket.revision + 1);
        let last = again.history.last().unwrap();
        prop_assert_eq!((last.revision, &last.date), (ticket.revision, &date));
        prop_assert_eq!(again.history.len(), ticket.history.len() + 1);
        prop_assert_eq!(comments(&next), comments(text));
    }
}

/// What a desk changed step by step is closed by the same hand.
#[test]
fn a_text_that_is_changed_already_becomes_the_next_revision() {
    let changed = DEMO.replacen("medial_arch = 18 ", "medial_arch = 19 ", 1);
    let words = vec!["left medial arch 18 -> 19".to_string()];
    let next = revised(&changed, 2, &words, &because()).unwrap();
    let by_setting = revise(DEMO, &read(DEMO), &[set(Side::Left, Value::MedialArch, 19.0)], &because()).unwrap();
    assert_eq!(next, by_setting);
    let many = vec![words[0].clone(); 60];
    let long = read(&revised(&changed, 2, &many, &because()).unwrap());
    assert!(long.history[1].change.ends_with(" more"), "{:?}", long.history);
}
