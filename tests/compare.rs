//! Two tickets side by side: nothing is told of equal ones, and of others everything that differs,
//! to the millimetre that was asked.

mod shop;

use std::fs;

use serde_json::Value as Json;
use shop::{SAMPLE, Shop, changed, one_foot, ran, sustent};
use sustent::footbed::SHAPING;
use sustent::frame::Side;
use sustent::job::{self, Compared};
use sustent::profile::Shelf;
use sustent::ticket::{self, Ticket};
use sustent::value::Value;

fn read(text: &str) -> Ticket {
    let none = |_: &str| Err("these tickets name no file".to_string());
    ticket::read(text, "ticket.toml", &Shelf::built_in(), &none).unwrap_or_else(|e| panic!("{e}"))
}

fn with_arch(text: &str) -> String {
    changed(text, "medial_arch = 18 ", "medial_arch = 19 ")
}

fn left<'a>(old: &'a Ticket, new: &'a Ticket) -> Compared<'a> {
    job::compare(old, new, Some(Side::Left)).unwrap_or_else(|e| panic!("{e}"))
}

#[test]
fn equal_tickets_have_no_difference_anywhere() {
    let ticket = read(SAMPLE);
    let compared = job::compare(&ticket, &ticket, None).unwrap();
    assert!(compared.report.same && compared.report.feet.iter().all(|foot| foot.same));
    assert!(compared.feet.iter().all(|foot| foot.top.z.iter().all(|z| *z == 0.0)));
    // Words for people are no difference.
    let other = read(&changed(SAMPLE, "# kg, dressed without boots", "# dressed"));
    assert!(job::compare(&ticket, &other, None).unwrap().report.same);
}

/// The top is linear in its values: 1 mm of arch is the arch's response, which is 1 where the arch is
/// gauged, and nothing else moves.
#[test]
fn a_millimetre_of_arch_is_the_response_of_the_arch() {
    let (old, new) = (read(SAMPLE), read(&with_arch(SAMPLE)));
    let compared = left(&old, &new);
    let (foot, report) = (&compared.feet[0], &compared.report.feet[0]);
    let (a, b) = (&foot.old.footbed, &foot.new.footbed);
    let gauge = b.places.medial_arch;
    assert!((b.top_at(gauge) - a.top_at(gauge) - 1.0).abs() < 1e-6);
    assert!((foot.top.sample(gauge).unwrap() - 1.0).abs() < 0.01);

    let k = SHAPING.iter().position(|value| *value == Value::MedialArch).unwrap();
    let lattice = foot.top.lattice;
    let most = (0..lattice.len())
        .map(|k| lattice.node(k % lattice.nx, k / lattice.nx))
        .filter(|p| b.outline.contains(*p))
        .map(|p| b.responses[k].height(p))
        .fold(f64::NEG_INFINITY, f64::max);
    assert!((report.top.greatest.mm - most).abs() < 1e-9, "{} {most}", report.top.greatest.mm);

    let moved: Vec<Value> = report.values.iter().filter(|(_, v)| v.changed).map(|(value, _)| *value).collect();
    assert_eq!(moved, [Value::MedialArch]);
    let arch = &report.values[&Value::MedialArch];
    assert!((arch.asked.change.unwrap() - 1.0).abs() < 1e-12 && (arch.read_back.change.unwrap() - 1.0).abs() < 1e-6);
    assert_eq!(report.areas.only_old_mm2 + report.areas.only_new_mm2, 0.0);
    assert!(report.areas.common_mm2 > 15_000.0 && compared.report.changes.is_empty());
}

/// Forward and back are the same numbers with the other sign.
#[test]
fn old_and_new_changed_places_is_the_same_with_the_other_sign() {
    let (old, new) = (read(SAMPLE), read(&with_arch(SAMPLE)));
    let (there, back) = (left(&old, &new), left(&new, &old));
    assert!(there.feet[0].top.z.iter().zip(&back.feet[0].top.z).all(|(a, b)| *a == -*b));
    assert_eq!(there.report.feet[0].top.greatest.mm, -back.report.feet[0].top.least.mm);
}

/// The right foot as the left: one map in the foot frame, mirrored on paper.
#[test]
fn a_right_foot_as_the_left_is_the_mirrored_map() {
    let (before, rest) = SAMPLE.split_once("[right.foot]").unwrap();
    let (_, history) = rest.split_once("[[history]]").unwrap();
    let pair = format!("right = \"as left\"\n{before}[[history]]{history}");
    let (old, new) = (read(&pair), read(&with_arch(&pair)));
    let compared = job::compare(&old, &new, None).unwrap();
    let [l, r] = compared.feet.as_slice() else { panic!("two feet") };
    assert_eq!(l.top, r.top);
    let html = job::comparison_page(&compared, ["a", "b"]).unwrap();
    let marks: Vec<f64> = html
        .split("class=\"mark\" points=\"")
        .skip(1)
        .filter_map(|rest| rest.split([',', ' ']).next()?.parse().ok())
        .collect();
    let widths: Vec<f64> =
        html.split("viewBox=\"0 0 ").skip(1).filter_map(|rest| rest.split(' ').next()?.parse().ok()).collect();
    assert_eq!(widths[0], widths[1]);
    // The greatest of the left, then that of the right.
    let count = (marks.len() - 2) / 2;
    assert!((marks[0] + marks[count] - widths[0]).abs() < 0.011, "{marks:?} {widths:?}");
}

#[test]
fn a_longer_outline_is_told_by_its_area() {
    let longer = changed(SAMPLE, "length = 268\n", "length = 271\n");
    let (old, new) = (read(SAMPLE), read(&longer));
    let report = left(&old, &new).report;
    let foot = &report.feet[0];
    assert!(foot.areas.only_new_mm2 > 50.0, "{:?}", foot.areas);
    assert!((foot.values[&Value::Length].read_back.change.unwrap() - 3.0).abs() < 0.01);
    assert_eq!(report.changes.len(), 1);
    assert_eq!(report.changes[0].key, "boot.stock_insole.length");
}

#[test]
fn findings_come_and_go() {
    let high = changed(SAMPLE, "medial_arch = 16.5", "medial_arch = 20.2");
    let (old, new) = (read(SAMPLE), read(&high));
    let there = job::compare(&old, &new, Some(Side::Right)).unwrap().report;
    let names: Vec<&str> = there.feet[0].findings_appeared.iter().map(|f| f.limit).collect();
    assert!(names.contains(&"medial_arch"), "{names:?}");
    let back = job::compare(&new, &old, Some(Side::Right)).unwrap().report;
    let gone: Vec<&str> = back.feet[0].findings_gone.iter().map(|f| f.limit).collect();
    assert_eq!(names, gone);
}

fn compare(shop: &Shop, old: &str, new: &str, more: &[&str]) -> shop::Ran {
    let (old, new) = (shop.write("old.toml", old), shop.write("new.toml", new));
    ran(sustent(["compare"]).arg(old).arg(new).args(more))
}

#[test]
fn the_command_speaks_the_agreed_json() {
    let shop = Shop::new();
    let new = changed(&with_arch(SAMPLE), "blank = \"foam-300\"", "blank = \"foam-300\"\nscallop = 0.05");
    let ran = compare(&shop, SAMPLE, &changed(&new, "revision = 2 ", "revision = 3 "), &["--json"]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    let json = ran.json();
    assert_eq!(
        (&json["same"], &json["old"]["revision"], &json["new"]["revision"]),
        (&Json::from(false), &2.into(), &3.into())
    );
    let keys: Vec<&str> = json["changes"].as_array().unwrap().iter().map(|c| c["key"].as_str().unwrap()).collect();
    assert_eq!(keys, ["ticket.revision", "make.scallop"]);
    assert_eq!(json["changes"][1]["new"], 0.05);
    let left = &json["feet"][0];
    for key in ["side", "values", "top", "thickness", "areas", "boot_effect", "findings_appeared", "findings_gone"] {
        assert!(!left[key].is_null(), "{key}");
    }
    assert_eq!((&left["values"]["medial_arch"]["changed"], &left["side"]), (&Json::from(true), &"left".into()));
    assert_eq!(json["feet"][1]["same"], true);
}

#[test]
fn a_person_reads_80_columns() {
    let shop = Shop::new();
    let ran = compare(&shop, SAMPLE, &with_arch(SAMPLE), &[]);
    assert!(ran.out.lines().all(|line| line.chars().count() <= 80), "{}", ran.out);
    assert!(
        ran.out.contains("medial arch            18.00   19.00   +1.00     18.00   19.00   +1.00 mm"),
        "{}",
        ran.out
    );
    assert!(ran.out.contains("right foot: the same piece"), "{}", ran.out);
    let same = compare(&shop, SAMPLE, SAMPLE, &[]);
    assert_eq!((same.code, same.out.lines().last()), (0, Some("nothing changed")));
}

#[test]
fn other_codes_and_one_foot_are_compared_and_noted() {
    let shop = Shop::new();
    let other = changed(&one_foot(), "code = \"PATROL-07\"", "code = \"PATROL-08\"");
    let json = compare(&shop, SAMPLE, &other, &["--json"]).json();
    let notes = json["notes"].to_string();
    assert!(notes.contains("other codes: PATROL-07 and PATROL-08"), "{notes}");
    assert!(notes.contains("only the old ticket has a left foot"), "{notes}");
    assert_eq!((json["feet"].as_array().unwrap().len(), &json["feet"][0]["side"]), (1, &Json::from("right")));
    let longer = changed(SAMPLE, "standing = 265 }", "standing = 266 }");
    let json = compare(&shop, SAMPLE, &longer, &["--json", "--side", "left"]).json();
    assert!(json["notes"].to_string().contains("265 mm long in the old ticket and 266"), "{json:#}");
}

#[test]
fn what_cannot_be_compared_says_why() {
    let shop = Shop::new();
    let ran_left = compare(&shop, SAMPLE, &one_foot(), &["--side", "left"]);
    assert_eq!(ran_left.code, 2);
    assert!(
        ran_left.err.contains("the old one has the left and the right foot, the new one the right foot"),
        "{}",
        ran_left.err
    );

    let file = shop.write("ticket.toml", SAMPLE);
    let at = |revision: &str| format!("{}@{revision}", file.display());
    let held = ran(&mut sustent(["compare", &at("2"), &at("r2")]));
    assert_eq!(held.code, 0, "{}", held.err);
    for (revision, words) in [("1", "not the values"), ("7", "does not know that revision")] {
        let refused = ran(&mut sustent(["compare", &at(revision), &at("2")]));
        assert_eq!(refused.code, 2);
        assert!(refused.err.contains(words) && refused.err.contains("holds revision 2"), "{}", refused.err);
    }
    let missing = ran(sustent(["compare", "--json", "nowhere.toml"]).arg(&file));
    assert_eq!((missing.code, missing.json()["file"].as_str()), (2, Some("nowhere.toml")));
}

/// One self-contained page; what people typed stays words; the folder holds it whole and nothing else.
#[test]
fn the_page_stands_alone_and_markup_in_notes_is_text() {
    let shop = Shop::new();
    let note = "note = \"</style><script>alert(1)</script><img src=x>\"";
    let hostile = changed(
        &with_arch(SAMPLE),
        "note = \"Volunteer patrol, long days standing; boots shell-fitted before measuring.\"",
        note,
    );
    let hostile = changed(&hostile, "right medial arch 18 -> 16.5", "<b>right</b> medial arch & more");
    let page = shop.path("change.html");
    let ran = compare(&shop, SAMPLE, &hostile, &["--out", &page.display().to_string()]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let html = fs::read_to_string(&page).unwrap();
    assert!(!html.contains("<script") && !html.contains("<img") && !html.contains("<b>right"));
    assert!(html.contains("&lt;b&gt;right"));
    assert_eq!((html.matches("<main").count(), html.matches("@page").count()), (1, 1));
    assert_eq!(html.replace("http://www.w3.org/2000/svg", "").matches("http").count(), 0);
    assert!(html.len() < 250_000, "{} bytes", html.len());
    assert!(!html.contains("NaN") && !html.contains("inf\""));
    assert_eq!(shop::seen_names(page.parent().unwrap()), ["change.html", "new.toml", "old.toml"]);

    let unwritten = compare(&shop, SAMPLE, SAMPLE, &["--out", "/nowhere/at/all.html"]);
    assert_eq!(unwritten.code, 2, "{}", unwritten.out);
}

#[test]
fn same_tickets_same_bytes() {
    let (old, new) = (read(SAMPLE), read(&with_arch(SAMPLE)));
    let page = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| job::comparison_page(&job::compare(&old, &new, None).unwrap(), ["a", "b"]).unwrap())
    };
    assert!(page(1) == page(2));
}

/// The map's own picture, looked at and accepted: the left foot's plan with section A-A.
#[test]
fn picture() {
    let (old, new) = (read(SAMPLE), read(&with_arch(SAMPLE)));
    let html = job::comparison_page(&left(&old, &new), ["a", "b"]).unwrap();
    let plan = html.split("<svg class=\"drawing plan\"").nth(1).and_then(|t| t.split("</svg>").next()).unwrap();
    let short: String = plan.lines().map(|line| format!("{}\n", line.chars().take(160).collect::<String>())).collect();
    insta::assert_snapshot!("map", short);
}
