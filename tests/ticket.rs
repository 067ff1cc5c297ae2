//! Tickets as people write them: the demo, what is filled in and by which rule, sharing, refusals.

use approx::assert_relative_eq;
use sustent::frame::Side;
use sustent::profile::{Kind, Shelf};
use sustent::ticket::{self, Problems, Ticket};
use sustent::value::Value;

const DEMO: &str = include_str!("../output-samples/PATROL-07/ticket.toml");

fn read(text: &str) -> Result<Ticket, Problems> {
    let beside = |name: &str| match name {
        "insole-left.svg" => Ok("<svg/>".to_owned()),
        _ => Err("no such file".to_owned()),
    };
    ticket::read(text, "ticket.toml", &Shelf::built_in(), &beside)
}

fn good(text: &str) -> Ticket {
    read(text).unwrap_or_else(|problems| panic!("{problems}"))
}

/// The least ticket, with places to put more.
fn least(boot: &str, foot: &str, support: &str) -> String {
    format!(
        "[ticket]\ncode = \"T-1\"\n{boot}\n[make]\nmaterial = \"eva-firm\"\nblank = \"foam-330\"\n\
         machine = \"fast-router\"\n[left.foot]\n{foot}\n[left.support]\n{support}\n"
    )
}

const FOOT: &str = "length = { standing = 265 }";
const ARCH: &str = "medial_arch = 17";

fn rule(ticket: &Ticket, value: Value) -> &str {
    let filled = &ticket.feet[0].support.filled_in;
    filled.iter().find(|(filled, _)| *filled == value).map_or("", |(_, words)| words)
}

#[test]
fn the_demo_is_a_pair_with_every_value() {
    let ticket = good(DEMO);
    assert_eq!((ticket.code.as_str(), ticket.revision), ("PATROL-07", 2));
    assert_eq!(ticket.feet.iter().map(|order| order.side).collect::<Vec<_>>(), Side::BOTH);
    let (left, right) = (&ticket.feet[0].support, &ticket.feet[1].support);
    assert_eq!((left.medial_arch_mm, right.medial_arch_mm), (18.0, 16.5));
    assert_eq!((left.heel_thickness_mm, left.forefoot_thickness_mm), (4.5, 3.5));
    assert_eq!((left.length_mm, left.ball_width_mm, left.heel_width_mm), (268.0, 95.0, 76.0));
    assert!(ticket.make.blank.measured);
    assert_eq!(ticket.make.blank.height_mm, 29.7);
    assert_eq!(ticket.make.finishing.name, "ball-6");
    assert_eq!(ticket.history[0].date, "2026-11-20");
}

#[test]
fn windows_line_ends_and_a_byte_order_mark_change_nothing() {
    let windows = format!("\u{feff}{}", DEMO.replace('\n', "\r\n"));
    assert_eq!(good(&windows), good(DEMO));
}

#[test]
fn what_is_left_out_is_filled_by_stated_rules() {
    let foot = "length = { standing = 280 }\nmedial_arch = { seated = 22, standing = 14 }\n\
                ball_width = { standing = 101 }\nheel_width = { standing = 70 }";
    let ticket = good(&least("", foot, ""));
    let support = &ticket.feet[0].support;
    // 12 x 280 / 265 = 12.679, to 0.1 mm.
    assert_relative_eq!(support.heel_cup_depth_mm, 12.7);
    // 14 + 0.5 x (22 - 14).
    assert_relative_eq!(support.medial_arch_mm, 18.0);
    assert_relative_eq!(support.length_mm, 283.0);
    assert_relative_eq!(support.ball_width_mm, 101.0);
    assert_relative_eq!(support.heel_width_mm, 76.0);
    assert_eq!(support.filled_in.len(), 10, "{:?}", support.filled_in);
    assert_eq!(rule(&ticket, Value::MedialArch), "standing 14 + 0.5 x (seated 22 - standing 14) mm");
}

#[test]
fn missing_widths_come_from_the_survey_and_say_so() {
    let ticket = good(&least("", FOOT, ARCH));
    let support = &ticket.feet[0].support;
    // Gordon 2014: mean of 0.2352 L + 38.09 and 0.2134 L + 40.16 at 265 is 98.56; of 0.2019 L + 17.74
    // and 0.2137 L + 14.53 it is 71.20, and 2 x 3 mm of wall.
    assert_relative_eq!(support.ball_width_mm, 98.6);
    assert_relative_eq!(support.heel_width_mm, 77.2);
    assert!(rule(&ticket, Value::HeelWidth).contains("not measured"));
    assert!(rule(&ticket, Value::HeelWidth).contains("ANSUR II"));
}

#[test]
fn the_stock_insole_goes_before_the_foot() {
    let boot =
        "[boot.stock_insole]\nheel_thickness = 6\nball_thickness = 4\nlength = 270\nball_width = 97\nheel_width = 70";
    let support = &good(&least(boot, FOOT, ARCH)).feet[0].support;
    assert_eq!((support.heel_thickness_mm, support.forefoot_thickness_mm), (6.0, 4.0));
    assert_eq!((support.length_mm, support.ball_width_mm, support.heel_width_mm), (270.0, 97.0, 70.0));
}

#[test]
fn measured_met_heads_go_before_stations() {
    let foot = "length = { standing = 260 }\nfirst_met = { standing = 195 }";
    let stations = "medial_arch = 17\n[left.support.stations]\nfirst_met = 0.70\nmedial_arch = 0.38";
    let support = &good(&least("", foot, stations)).feet[0].support;
    assert_relative_eq!(support.stations.first_met, 0.75);
    assert_relative_eq!(support.stations.medial_arch, 0.38);
    assert_relative_eq!(support.stations.fifth_met, 0.64);
    let words = |name: &str| support.station_rules.iter().find(|(station, _)| *station == name).map(|(_, words)| words);
    assert!(words("first_met").is_some_and(|words| words.contains("measured at 195 mm")));
}

#[test]
fn an_arch_is_never_derived_from_size() {
    let problems = read(&least("", FOOT, "")).expect_err("no arch was given or measured");
    assert!(problems.to_string().contains("lacks `medial_arch`"), "{problems}");
    assert!(problems.iter().any(|problem| problem.help.contains("Hill 2017")));
}

#[test]
fn one_side_may_be_as_the_other() {
    let whole = format!("right = \"as left\"\n{}", least("", FOOT, ARCH));
    let ticket = good(&whole);
    assert_eq!(ticket.feet[1].side, Side::Right);
    assert_eq!(ticket.feet[0].support, ticket.feet[1].support);

    let part = format!(
        "{}\n[right]\nsupport = \"as left\"\n[right.foot]\nlength = {{ standing = 267 }}",
        least("", FOOT, ARCH)
    );
    let ticket = good(&part);
    assert_eq!(ticket.feet[1].foot.length_mm(), 267.0);
    assert_eq!(ticket.feet[0].support, ticket.feet[1].support);

    let other_way = least("", FOOT, ARCH).replace("left", "right");
    let ticket = good(&format!("left = \"as right\"\n{other_way}"));
    assert_eq!(ticket.feet[0].side, Side::Left);
}

#[test]
fn one_tracing_serves_both_feet_and_says_whose_it_is() {
    let boot = "[boot.stock_insole]\noutline = { left = \"insole-left.svg\" }\nclearance = 1";
    let ticket = good(&format!("right = \"as left\"\n{}", least(boot, FOOT, ARCH)));
    for order in &ticket.feet {
        let traced = order.traced.as_ref().expect("the tracing serves both");
        assert_eq!((traced.side, traced.clearance_mm, traced.svg.as_str()), (Side::Left, 1.0, "<svg/>"));
    }
    for escape in ["../insole.svg", "/etc/passwd", "C:\\\\insole.svg", ".hidden"] {
        let boot = format!("[boot.stock_insole]\noutline = {{ left = \"{escape}\" }}");
        let problems = read(&least(&boot, FOOT, ARCH)).expect_err("only files beside the ticket");
        assert!(problems.to_string().contains("plain name of a file"), "{problems}");
    }
}

#[test]
fn surveyed_feet_all_make_tickets() {
    let rows = include_str!("data/ansur2-sample.csv");
    let mut count = 0;
    for row in rows.lines().skip(1) {
        let cells: Vec<&str> = row.split(',').collect();
        let [_, length, ball, breadth, heel, ..] = cells[..] else { panic!("{row}") };
        let foot = format!(
            "length = {{ standing = {length} }}\nball_width = {{ standing = {breadth} }}\n\
             heel_width = {{ standing = {heel} }}\nfirst_met = {{ standing = {ball} }}"
        );
        let ticket = good(&least("", &foot, ARCH));
        let order = &ticket.feet[0];
        assert_relative_eq!(order.foot.length_mm(), length.parse().expect("a number"));
        assert!(order.support.heel_width_mm > heel.parse().expect("a number"), "{row}");
        count += 1;
    }
    assert_eq!(count, 250);
}

#[test]
fn every_number_on_the_shelf_has_a_reason() {
    let shelf = Shelf::built_in();
    let mut numbers = 0;
    for kind in Kind::ALL {
        assert!(shelf.cards(kind).next().is_some(), "no {}", kind.folder());
        for card in shelf.cards(kind) {
            for line in card.lines.iter().filter(|line| line.numeric) {
                assert!(!line.why.trim().is_empty(), "{} {}: {}", kind.folder(), card.name, line.key);
                numbers += 1;
            }
        }
    }
    assert!(numbers > 300, "only {numbers} numbers were seen");
}

#[test]
fn every_file_of_the_folder_is_on_the_shelf() {
    let shelf = Shelf::built_in();
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("profiles");
    for kind in Kind::ALL {
        let mut names: Vec<String> = std::fs::read_dir(root.join(kind.folder()))
            .expect("the folder is there")
            .filter_map(|entry| entry.ok()?.path().file_stem()?.to_str().map(str::to_owned))
            .collect();
        names.sort();
        assert_eq!(shelf.names(kind), names);
    }
}

#[test]
fn files_of_the_shop_add_and_take_a_place() {
    let card = include_str!("../profiles/blanks/foam-300.toml");
    let mine = card.replace("height_mm = 30.0", "height_mm = 32.0");
    let shelf = Shelf::built_in();
    let count = shelf.names(Kind::Blank).len();
    let shelf = shelf
        .with_files([(Kind::Blank, "mine/foam-300.toml", mine.as_str()), (Kind::Blank, "mine/odd.toml", card)])
        .unwrap_or_else(|problems| panic!("{problems}"));
    assert_eq!(shelf.names(Kind::Blank).len(), count + 1);
    assert_eq!(shelf.blank("foam-300").map(|blank| blank.height_mm), Ok(32.0));

    let bad = card.replace("height_mm = \"shop's", "# \"shop's");
    let problems = Shelf::built_in().with_files([(Kind::Blank, "x.toml", bad)]).expect_err("a reason is missing");
    assert!(problems.to_string().contains("[why] lacks `height_mm`"), "{problems}");
}

#[test]
fn the_format_page_names_every_key() {
    let page = include_str!("../docs/formats-ticket.md");
    let named = |key: &str| page.contains(&format!("`{key}`"));
    for value in Value::ALL {
        assert!(named(value.name()), "{}", value.name());
    }
    let support = &good(DEMO).feet[0].support;
    for (station, _) in support.stations.named() {
        assert!(named(station), "{station}");
    }
    for key in DEMO
        .lines()
        .filter(|line| line.starts_with(|c: char| c.is_ascii_lowercase()))
        .filter_map(|line| line.split_once(" = "))
    {
        assert!(page.contains(key.0), "{}", key.0);
    }
    for kind in [Kind::Material, Kind::Blank, Kind::Cutter, Kind::Machine] {
        for line in Shelf::built_in().cards(kind).flat_map(|card| &card.lines) {
            assert!(named(&line.key), "{} {}", kind.folder(), line.key);
        }
    }
}
