//! What a ticket is refused for, and how the refusal reads. Nothing a person or a disk may put into
//! the text makes the reader stop short or panic.

use proptest::prelude::*;
use sustent::profile::Shelf;
use sustent::ticket::{self, Colour, Problems, Ticket};

const DEMO: &str = include_str!("../output-samples/PATROL-07/ticket.toml");

fn read(text: &str) -> Result<Ticket, Problems> {
    ticket::read(text, "ticket.toml", &Shelf::built_in(), &|_| Err("no such file".to_owned()))
}

fn refused(text: &str) -> Problems {
    read(text).expect_err("this text should be refused")
}

/// The demo with one of its lines replaced.
fn demo_with(line: &str, by: &str) -> String {
    assert_eq!(DEMO.matches(line).count(), 1, "{line}");
    DEMO.replace(line, by)
}

/// The demo with `line` replaced is refused once, with `words` in message or help.
fn refused_once(line: &str, by: &str, words: &str) {
    let problems = refused(&demo_with(line, by));
    assert_eq!(problems.len(), 1, "{problems}");
    let text = problems.render(Colour::Plain);
    assert!(text.contains(words), "no {words:?} in\n{text}");
}

const LENGTH: &str = "length = { seated = 261, standing = 265 }";

#[test]
fn feet_in_other_units_are_recognised() {
    refused_once(LENGTH, "length = { standing = 10.4 }", "looks like inches: 10.4 inches are 264.2 mm");
    refused_once(LENGTH, "length = { standing = 13.5 }", "looks like inches");
    refused_once(LENGTH, "length = { standing = 9 }", "looks like inches");
    refused_once(LENGTH, "length = { standing = 26.5 }", "looks like centimetres: 26.5 centimetres are 265 mm");
    refused_once(LENGTH, "length = { standing = 19 }", "looks like centimetres");
    refused_once(LENGTH, "length = { standing = 34 }", "looks like centimetres");
    refused_once("mondopoint = 265 ", "mondopoint = 26.5 ", "looks like centimetres");
    refused_once("length = 300.5", "length = 11.8", "looks like inches");
}

#[test]
fn a_decimal_comma_is_told_as_one() {
    refused_once("heel_cup_depth = 12\n", "heel_cup_depth = 12,5\n", "write it with a point");
    refused_once(LENGTH, "length = { seated = 261, standing = 265,5 }", "this number has a comma");
    refused_once(LENGTH, "length = { seated = 261, standing 265 }", "this is not TOML");
}

#[test]
fn a_rest_cutter_that_is_no_finer_is_refused_with_those_that_are() {
    let rest = |name: &str| format!("[make.cutters]\nrest = \"{name}\"\n[make.blank_measured]");
    refused_once("[make.blank_measured]", &rest("ball-6"), "must be finer than the finishing cutter");
    refused_once("[make.blank_measured]", &rest("ball-8"), "finer ones on the shelf: ball-3");
    refused_once("[make.blank_measured]", &rest("flat-6"), "must be a ball or tapered cutter");
    refused_once("[make.blank_measured]", &rest("ball-99"), "ball-99");
    assert!(read(&demo_with("[make.blank_measured]", &rest("ball-3"))).unwrap().make.rest.is_some());
}

#[test]
fn rings_need_a_rounded_cutter() {
    let flat = "cover = 1.0 \npasses = \"rings\"\ncutters = { finishing = \"flat-6\" } #";
    refused_once("cover = 1.0 ", flat, "`passes` must not be \"rings\" with a flat finishing cutter");
    assert!(read(&demo_with("cover = 1.0 ", "cover = 1.0 \npasses = \"rings\" #")).is_ok());
}

#[test]
fn numbers_out_of_range_are_refused_with_the_range() {
    for number in
        ["nan", "-nan", "inf", "-inf", "1e400", "-1", "0", "40", "1e30", "99999999999999999999999999999999999999999999"]
    {
        let line = format!("length = {{ standing = {number} }}");
        refused_once(LENGTH, &line, "allowed is 150 to 340 mm");
    }
    refused_once(
        "rearfoot_post = 1 ",
        "rearfoot_post = 45 ",
        "`left.support.rearfoot_post` is 45; allowed is -10 to 10 deg",
    );
    refused_once("heel_cup_depth = 12\n", "heel_cup_depth = 25\n", "allowed is 4 to 24 mm");
    refused_once("medial_arch = 18 ", "medial_arch = 41 ", "allowed is 0 to 40 mm");
    refused_once("weight = 78 ", "weight = -78 ", "allowed is 10 to 250 kg");
    refused_once("cover = 1.0 ", "scallop = 0.6 ", "allowed is 0.005 to 0.5 mm");
    refused_once("revision = 2 ", "revision = 2.5 ", "must be a whole number");
    refused_once("height = 29.7", "height = 0x10000", "allowed is 5 to 150 mm");
}

#[test]
fn a_measure_needs_its_loading() {
    refused_once(LENGTH, "length = 265", "say how loaded the foot was when measured: length = { standing = 265 }");
    refused_once(LENGTH, "length = 26.5", "looks like centimetres");
    refused_once(LENGTH, "length = {}", "`left.foot.length` has no measure");
    refused_once(LENGTH, "length = { standig = 265, seated = 261 }", "did you mean `standing`?");
}

#[test]
fn impossible_feet_are_refused() {
    refused_once(LENGTH, "length = { seated = 265, standing = 261 }", "load lengthens a foot");
    refused_once(
        "medial_arch = { seated = 21, standing = 15 }",
        "medial_arch = { seated = 15, standing = 21 }",
        "load lowers an arch",
    );
    refused_once(
        "heel_width = { seated = 65, standing = 68 }     #",
        "heel_width = { standing = 99 } #",
        "were the two widths swapped?",
    );
    refused_once(
        "first_met = { standing = 196 }",
        "first_met = { standing = 250 }",
        "met heads lie between 0.5 and 0.9",
    );
    // Within the error of the tape this is no contradiction.
    assert!(read(&demo_with(LENGTH, "length = { seated = 266, standing = 264 }")).is_ok());
}

#[test]
fn unknown_names_come_with_a_suggestion() {
    refused_once("material = \"eva-firm\"", "material = \"eva-frim\"", "did you mean \"eva-firm\"?");
    refused_once(
        "machine = \"fast-router\"",
        "machine = \"lathe\"",
        "on the shelf: drip-fed, fast-router, kit-router, panel-router, small-mill, strict-old",
    );
    refused_once("use = \"everyday\"", "use = \"every-day\"", "did you mean \"everyday\"?");
    refused_once("rearfoot_post = 1 ", "post = 1 ", "did you mean `rearfoot_post`?");
    refused_once("ramp = 4 ", "rampe = 4 ", "did you mean `ramp`?");
    refused_once("underside = \"flat\"", "underside = \"flt\"", "did you mean \"flat\"?");
    refused_once("weight = 78 ", "name = \"x\" ", "people go by code here");
}

#[test]
fn codes_are_safe_in_file_names() {
    for (code, words) in [
        ("", "`code` is empty"),
        ("a/b", "`code` holds '/'"),
        ("..", "`code` holds '.'"),
        ("-rf", "`code` starts with a sign"),
        ("M\u{fc}ller", "`code` holds 'ü'"),
        ("abcdefghijklmnopqrstuvwxyz0123456", "`code` has 33 characters"),
    ] {
        refused_once("code = \"PATROL-07\" ", &format!("code = \"{code}\" "), words);
    }
}

#[test]
fn wrong_types_and_contradictions_are_refused() {
    refused_once("weight = 78 ", "weight = \"78 kg\" ", "`wearer.weight` must be a number, not text");
    refused_once("weight = 78 ", "weight = [78] ", "must be a number, not a list");
    refused_once("code = \"PATROL-07\" ", "code = 7 ", "`ticket.code` must be text, not a number");
    refused_once(
        "transverse_arch = 1\n\n[right.foot]",
        "transverse_arch = 1\n[left.support.stations]\nmedial_arch = 0.61\n[right.foot]",
        "is not behind",
    );
    refused_once(
        "revision = 1\ndate",
        "revision = 2\ndate",
        "[[history]] holds revision 2, but the ticket is revision 2",
    );
    refused_once("use = \"everyday\"", "use = \"everyday\"\nuse = \"touring\"", "stands twice");
    refused_once("[right.foot]", "[left.foot]", "stands twice");
    let both =
        format!("left = \"as right\"\nright = \"as left\"\n{}", DEMO.split("# A measure").next().unwrap_or_default());
    assert!(refused(&both).to_string().contains("there is no"), "{}", refused(&both));
    let himself = format!("left = \"as left\"\n{}", DEMO.split("# A measure").next().unwrap_or_default());
    assert!(refused(&himself).render(Colour::Plain).contains("write \"as right\" to share"));
}

#[test]
fn a_file_named_in_the_ticket_must_be_there() {
    let boot = "heel_width = 76             # what the liner's heel pocket takes";
    refused_once(boot, "outline = { left = \"in.svg\" }", "\"in.svg\" cannot be read: no such file");
    refused_once(boot, "outline = \"in.svg\"", "does not say which foot's insole was traced");
}

#[test]
fn texts_that_are_no_tickets_are_refused() {
    assert!(refused("").to_string().contains("the text is empty"));
    assert!(refused("\u{feff}\r\n\r\n").to_string().contains("the text is empty"));
    let problems = refused(&"a".repeat(10_000_000));
    assert_eq!(problems.len(), 1);
    assert!(problems.to_string().contains("10000000 bytes long; at most 1000000 are read"));
    for text in
        ["G21\nG90\nG0 X0 Y0\n", "solid foot\n facet normal 0 0 1\n", "\u{0}\u{0}\u{0}", "{\"ticket\": 1}", "[[[[[[["]
    {
        assert!(refused(text).iter().all(|problem| problem.file == "ticket.toml"));
    }
    let deep = format!("x = {}", "[".repeat(20_000));
    assert!(refused(&deep).to_string().contains("recurse"));
    let deep = format!("[{}]", vec!["a"; 20_000].join("."));
    assert!(!refused(&deep).to_string().is_empty());
    // A million bytes of mistakes are summed up, not listed.
    let many = refused(&"=\n".repeat(400_000));
    assert!(many.len() <= 61 && many.to_string().contains("more problems"), "{}", many.len());
}

#[test]
fn all_problems_are_told_at_once_in_order_of_place() {
    let text = "[ticket]\ncode = \"A B\"\n[wearer]\nweight = 700\n[boot]\nmondopoint = 26.5\n[make]\nmaterial = \"steel\"\n\
                blank = \"foam-300\"\nmachine = \"fast-router\"\n[left.foot]\nlength = 265\nheel_width = { standing = 7 }\n\
                [left.support]\npost = 3\nrearfoot_post = 45\n[right]\nfoot = \"as left\"\nsupport = \"like left\"\n";
    insta::assert_snapshot!(refused(text).render(Colour::Plain));
}

#[test]
fn a_broken_line_is_told_once_and_hides_nothing_else() {
    let text = demo_with("weight = 78 ", "weight = 78 kg ").replace("rearfoot_post = 2", "rearfoot_post = 20");
    insta::assert_snapshot!(refused(&text).render(Colour::Plain));
}

#[test]
fn what_is_missing_is_told_with_what_to_add() {
    insta::assert_snapshot!(
        refused("[ticket]\nnote = \"new\"\n[make]\nblank = \"foam-300\"\n[left.foot]\n").render(Colour::Plain)
    );
}

#[test]
fn colours_only_when_asked_for() {
    let problems = refused("x = 1");
    assert!(!problems.render(Colour::Plain).contains('\u{1b}'));
    assert!(problems.render(Colour::Ansi).contains('\u{1b}'));
    // Escapes in a key do not reach the terminal.
    assert!(!refused("\"\\u001b[31m\" = 1").render(Colour::Plain).contains('\u{1b}'));
    assert!(!refused("[make]\nmaterial = \"\\u001b[31m\"").to_string().contains('\u{1b}'));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    /// A slip anywhere in a good ticket gives a ticket or problems that lie inside the text.
    #[test]
    fn slips_of_the_pen_never_stop_the_reader(
        at in 0usize..DEMO.len(), gone in 0usize..40, put in "\\PC{0,12}|[\\[\\]{}=\"'.,#0-9\\-\n]{0,12}|nan|-inf|1e999",
    ) {
        let start = (0..=at).rev().find(|i| DEMO.is_char_boundary(*i)).unwrap_or(0);
        let end = (at + gone).min(DEMO.len());
        let end = (end..=DEMO.len()).find(|i| DEMO.is_char_boundary(*i)).unwrap_or(DEMO.len());
        let text = format!("{}{put}{}", &DEMO[..start], &DEMO[end..]);
        if let Err(problems) = read(&text) {
            let lines = text.split('\n').count();
            for problem in problems.iter() {
                prop_assert!(problem.line <= lines && !problem.message.is_empty());
                prop_assert!(problem.render(Colour::Plain).contains("ticket.toml"));
            }
        }
    }

    /// Whatever number stands for a value, the ticket holds one in range or is refused.
    #[test]
    fn any_number_is_in_range_or_refused(number in any::<f64>()) {
        let text = demo_with("heel_cup_depth = 12\n", &format!("heel_cup_depth = {number:e}\n"));
        match read(&text) {
            Ok(ticket) => prop_assert!((4.0..=24.0).contains(&ticket.feet[0].support.heel_cup_depth_mm)),
            Err(problems) => prop_assert!(!(4.0..=24.0).contains(&number) && problems.len() == 1, "{}", problems),
        }
    }
}
