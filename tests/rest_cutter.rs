//! A rest cutter on a deep, narrow cup: what a large finishing cutter cannot reach is reached, in a
//! fraction of the time that the small cutter would take for everything.

use sustent::carve::Proof;
use sustent::job::{self, Precision, Written};
use sustent::limits::Severity;
use sustent::path::Step;
use sustent::profile::Shelf;
use sustent::ticket::{self, Ticket};

const DEMO: &str = include_str!("../output-samples/PATROL-07/ticket.toml");
const CHECKSUM: &str = "0000000000000000000000000000000000000000000000000000000000000000";

/// The demo cut with these cutters.
fn ticket(cutters: &str, changes: &[(&str, &str)]) -> Ticket {
    let cutters = format!("[make.cutters]\n{cutters}\n\n[make.blank_measured]");
    let named = [("[make.blank_measured]", cutters.as_str())];
    let text = changes.iter().chain(&named).fold(DEMO.to_string(), |text, (from, to)| {
        assert!(text.contains(from), "the demo has no {from}");
        text.replace(from, to)
    });
    let none = |_: &str| Err("no file lies beside this ticket".to_string());
    ticket::read(&text, "ticket.toml", &Shelf::built_in(), &none).unwrap_or_else(|problems| panic!("{problems}"))
}

/// A cup 36 mm wide and 20 mm deep, hollow to a radius of about 3 mm.
const NARROW: [(&str, &str); 2] =
    [("heel_cup_depth = 12\n", "heel_cup_depth = 20\nheel_cup_width = 36\n"), ("height = 29.7", "height = 34")];

fn made(ticket: &Ticket) -> (Vec<Written>, Proof) {
    let design = job::design(ticket, &ticket.feet[0]).unwrap();
    let lay = &job::lay(&ticket.make, &[&design]).lays[0];
    let written = job::write(ticket, &design, lay, CHECKSUM, Precision::SHOP).unwrap();
    let proof = job::prove(ticket, &design, lay, &written, Precision::SHOP).unwrap().proof;
    (written, proof)
}

fn seconds(written: &[Written], step: Step) -> f64 {
    written.iter().filter(|w| w.step == step).map(|w| w.timing.total_s).sum()
}

#[test]
fn what_a_large_cutter_leaves_in_a_narrow_cup_is_fetched_quickly() {
    let (_, large) = made(&ticket("finishing = \"ball-10\"", &NARROW));
    let (both, proof) = made(&ticket("finishing = \"ball-10\"\nrest = \"ball-3\"", &NARROW));
    let (small, _) = made(&ticket("finishing = \"ball-3\"", &NARROW));

    let steps: Vec<Step> = both.iter().map(|w| w.step).collect();
    assert_eq!(steps, [Step::Frame, Step::Rough, Step::Finish, Step::Rest, Step::Perimeter]);
    assert!(both[3].file.ends_with("-top-2-rest.ngc") && both[3].text.contains("(STEP: REST)"));
    assert!(proof.pass, "{:?}", proof.violations);
    assert!(proof.max_gouge_mm <= 0.004, "{}", proof.max_gouge_mm);
    // Places count as reached now that the small cutter went there, so their ridges count too.
    let scallop = proof.scallop_max_mm.unwrap();
    assert!(scallop <= 1.5 * 0.08, "{scallop}");

    let (before, after) = (large.unreached_max_mm.unwrap(), proof.unreached_max_mm.unwrap());
    assert!(before > 0.15 && after <= 0.1 * before, "{before} and then {after}");
    let (finish, rest, everything) =
        (seconds(&both, Step::Finish), seconds(&both, Step::Rest), seconds(&small, Step::Finish));
    println!("finish {finish:.0} s, rest {rest:.0} s; everything with the small cutter {everything:.0} s");
    println!("unreached {before:.3} mm, with the rest cutter {after:.3} mm");
    assert!(rest < 0.1 * everything && finish + rest < 0.75 * everything);
}

#[test]
fn a_rest_cutter_without_work_writes_no_program_and_says_so() {
    let ticket = ticket("finishing = \"ball-6\"\nrest = \"ball-3\"", &[]);
    let made = job::make(&ticket, DEMO, Some(ticket.feet[0].side), Precision::SHOP).unwrap();
    assert!(made.report.pass);
    assert!(made.report.programs.iter().all(|p| p.step != "rest"));
    let note = made.report.findings.iter().find(|f| f.limit == "rest_cutter").unwrap();
    assert_eq!(note.severity, Severity::Note);
}

#[test]
fn a_rest_program_needs_a_rest_cutter_in_the_ticket() {
    let text = b"(STEP: REST)\nG21\nG17 G90 G94\nG40 G49 G80\nG54\nG0 Z50\nG0 X5 Y5\nM2\n";
    let without = ticket("finishing = \"ball-6\"", &[]);
    let refused = Written::from_text("a.ngc", text, &without.make).unwrap_err().to_string();
    assert!(refused.contains("names no rest cutter"), "{refused}");
    let with = ticket("finishing = \"ball-6\"\nrest = \"ball-3\"", &[]);
    let read = Written::from_text("a.ngc", text, &with.make).unwrap();
    assert_eq!((read.step, read.cutter.name.as_str()), (Step::Rest, "ball-3"));
}
