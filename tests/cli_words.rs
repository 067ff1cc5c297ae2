//! What the program prints at the bench: no line wider than a terminal, nothing twice, nothing that is not so.

mod shop;

use std::fs;
use std::path::Path;

use shop::{SAMPLE, Shop, changed, one_foot, ran, sustent};
use sustent::intake::TEMPLATE;

/// Columns that every terminal has.
const COLUMNS: usize = 80;

/// What is printed, once every line of it is seen to fit; a word of a line of its own, such as a path, may be longer.
fn printed(shop: &Shop, arguments: &[&str]) -> String {
    let told = ran(sustent(arguments).current_dir(shop.path("")));
    assert!(told.code < 2, "{arguments:?}: {}", told.err);
    for line in told.out.lines().filter(|line| line.split_whitespace().count() > 1) {
        assert!(line.chars().count() <= COLUMNS, "{arguments:?}, {} columns:\n{line}", line.chars().count());
    }
    assert!(!told.out.contains("-0.00 ") && !told.out.contains("NaN"), "{arguments:?}:\n{}", told.out);
    told.out
}

/// The demo with its left arch above the foot's own seated, which a typed reason accepts.
fn accepted() -> String {
    let next = changed(SAMPLE, "revision = 2   ", "revision = 3   ");
    let low = changed(&next, "medial_arch = { seated = 21,", "medial_arch = { seated = 17,");
    changed(&low, "medial_arch = 18  ", "reason = \"trial piece\"\nmedial_arch = 18  ")
}

fn demo() -> Shop {
    let shop = Shop::new();
    shop.write("ticket.toml", SAMPLE);
    shop.write("accepted.toml", accepted());
    shop.write("one.toml", one_foot());
    shop.write("measures.toml", TEMPLATE);
    shop
}

const READINGS: &str = "value,reading,unit,arm,station,medial,resolution,note\nheel_thickness,4.62,mm,,,,0.05,\n\
                        medial_arch,19.40,mm,,,,0.05,\npost_height_medial,4.90,mm,10,,,0.05,\npost_height_lateral,4.55,mm,10,,,0.05,\n\
                        forefoot_thickness_medial,3.60,mm,,,,0.05,\nforefoot_thickness_lateral,3.55,mm,,,,0.05,\nlength,268.0,mm,,,,0.1,\n\
                        thickness,6.55,mm,,42,-8,0.05,\n";

#[test]
fn no_line_is_wider_than_a_terminal() {
    let shop = demo();
    shop.write("left.csv", READINGS);
    for arguments in [
        &["check", "ticket.toml"][..],
        &["check", "accepted.toml"],
        &["mill", "one.toml", "--out", "jobs"],
        &["preview", "accepted.toml", "--out", "look.html", "--no-paths"],
        &["inspect", "ticket.toml", "--side", "left", "--readings", "left.csv", "--log", "log.jsonl"],
        &["intake", "measures.toml"],
        &["intake", "measures.toml", "--explain", "medial_arch"],
        &["compare", "ticket.toml", "accepted.toml"],
        &["adjust", "ticket.toml", "--complaint", "arch_pressure", "--side", "right"],
        &["drift", "log.jsonl"],
        &["profiles", "rules", "complaints"],
        &["profiles", "tolerances", "workshop"],
    ] {
        printed(&shop, arguments);
    }
    let programs = Path::new(env!("CARGO_MANIFEST_DIR")).join("output-samples/PATROL-07/PATROL-07-r2");
    let scan = programs.join("PATROL-07-r2-L-carved.stl").display().to_string();
    printed(&shop, &["inspect", "ticket.toml", "--side", "left", "--scan", &scan]);
    let foot = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/cc0-base-raw-left.stl");
    fs::copy(foot, shop.path("foot.stl")).unwrap();
    let followed = ["--loading", "seated", "--arch", "60", "--heel-cup", "50", "--code", "P-1", "--out", "foot.toml"];
    printed(&shop, &[&["impression", "foot.stl", "--side", "left"], &followed[..]].concat());
    let top = ["1-rough", "2-finish", "3-perimeter"].map(|step| format!("PATROL-07-r2-L-top-{step}.ngc"));
    let [rough, finish, perimeter] = &top.map(|name| programs.join(name).display().to_string());
    let prove = |finish: &str| {
        printed(&shop, &["prove", rough, finish, perimeter, "--ticket", "ticket.toml", "--side", "left"])
    };
    assert!(prove(finish).contains("inspected like a scan of it    accept"));
    // A millimetre too deep at one place: told once, with nothing that could be taken for comfort.
    let text = fs::read_to_string(finish).unwrap();
    let line = text.lines().find(|line| line.starts_with("X50.74 Y21.644 Z16.909")).unwrap();
    let deeper = |z: &str| {
        let edited = text.replace(line, &line.replace("Z16.909", z));
        prove(&shop.write("PATROL-07-r2-L-top-2-finish.ngc", edited).display().to_string())
    };
    let told = deeper("Z15.909");
    assert_eq!(told.matches("refused: PATROL-07").count(), 1, "{told}");
    assert!(told.contains("was this line edited?") && !told.contains("inspected like a scan"), "{told}");
    assert!(told.ends_with("refused: do not run these programs\n"), "{told}");
    // Right through the piece, so that what is left is no solid.
    let through = deeper("Z-5");
    assert!(through.contains("finish.ngc:") && through.ends_with("refused: do not run these programs\n"), "{through}");
}

#[test]
fn an_accepted_stop_is_told_with_its_reason_and_asks_for_no_other() {
    let shop = demo();
    let told = printed(&shop, &["check", "accepted.toml"]);
    assert!(told.contains("[accepted: trial piece]") && told.contains("set medial_arch to 17 mm or less"), "{told}");
    assert!(!told.contains("type a reason") && !told.contains("together:"), "{told}");
    assert!(told.contains("in place of the reason: medial arch 18 -> "), "{told}");
    let compared = printed(&shop, &["compare", "ticket.toml", "accepted.toml"]);
    assert!(compared.contains("new stop") && compared.contains("[accepted: trial piece]"), "{compared}");
    let json = ran(sustent(["compare", "--json", "ticket.toml", "accepted.toml"]).current_dir(shop.path(""))).json();
    assert_eq!(json["feet"][0]["accepted_reason"], "trial piece");
}

#[test]
fn past_a_sign_that_stops_only_the_sign_is_told() {
    let shop = demo();
    let marked = TEMPLATE.lines().find(|line| line.starts_with("flags = ")).unwrap();
    shop.write("referred.toml", TEMPLATE.replace(marked, "flags = [\"night_pain\"]"));
    for arguments in [&["intake", "referred.toml"][..], &["intake", "referred.toml", "--explain", "medial_arch"]] {
        let told = printed(&shop, arguments);
        let ends = [told.starts_with("REFER: night pain"), told.contains("\nno ticket: once a clinician has said")];
        assert!(ends == [true; 2] && told.lines().count() <= 5 && told.matches("night pain").count() == 1, "{told}");
    }
}

/// The comment behind a starting value told its own arithmetic, "17.2 -> 17", behind another number.
#[test]
fn a_start_says_of_which_number_it_is_the_reason() {
    let shop = demo();
    printed(&shop, &["intake", "measures.toml", "--out", "start.toml"]);
    let text = fs::read_to_string(shop.path("start.toml")).unwrap();
    let (_, right) = text.split_once("[right.support]").unwrap();
    assert!(right.contains("\nmedial_arch = 17  # start 17: "), "{right}");
    let adjust = ["adjust", "start.toml", "--complaint", "arch_pressure", "--side", "right", "--out", "start.toml"];
    printed(&shop, &adjust);
    let text = fs::read_to_string(shop.path("start.toml")).unwrap();
    let (_, right) = text.split_once("[right.support]").unwrap();
    assert!(right.contains("\nmedial_arch = 16  # start 17: "), "{right}");
}

#[test]
fn names_of_complaints_come_first_and_nothing_is_cut() {
    let shop = demo();
    let told = printed(&shop, &["profiles", "rules", "complaints"]);
    assert!(!told.contains("..."), "{told}");
    let line = told.lines().find(|line| line.starts_with("  fifth_met_pressure ")).unwrap();
    assert!(line.ends_with("pressure under the lateral edge of the foot"), "{line}");
}
