//! The demo's programs for every machine on the shelf: each controller takes its own, and refuses
//! those of another where they differ in what it takes, with a line and a remedy.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use sustent::job::{self, Precision};
use sustent::nc::{Acceptance, acceptance, read};
use sustent::profile::{Kind, Shelf};
use sustent::ticket;

/// What a controller takes, and the texts of one foot's programs that were written for it.
struct Family {
    takes: Acceptance,
    texts: Vec<String>,
}

fn families() -> BTreeMap<String, Family> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("output-samples/PATROL-07/ticket.toml");
    let demo = fs::read_to_string(path).unwrap();
    let shelf = Shelf::built_in();
    let names: Vec<String> = shelf.names(Kind::Machine).into_iter().map(String::from).collect();
    // Where the tips go does not matter here.
    let coarse = Precision { plan_mm: 1.0, ..Precision::SHOP };
    let family = |name: &String| {
        let text = demo.replace("machine = \"fast-router\"", &format!("machine = \"{name}\""));
        let none = |_: &str| Err("the demo names no file".to_string());
        let ticket = ticket::read(&text, "ticket.toml", &shelf, &none).unwrap();
        assert_eq!(&ticket.make.machine.name, name);
        let design = job::design(&ticket, &ticket.feet[0]).unwrap();
        let lay = job::lay(&ticket.make, &[&design])[0];
        let written = job::write(&ticket, &design, &lay, "", coarse).unwrap();
        let texts = written.into_iter().map(|w| w.text).collect();
        (name.clone(), Family { takes: acceptance(&ticket.make.machine), texts })
    };
    names.iter().map(family).collect()
}

/// Whether `reader` must refuse `text`, which was written for a controller that takes `own`.
fn differs(own: &Acceptance, reader: &Acceptance, text: &str) -> bool {
    let turns = text.contains("\nM3 ");
    let dwell = own.dwell_letter != reader.dwell_letter || own.dwell_unit_s != reader.dwell_unit_s;
    let longest = text.lines().map(str::len).max().unwrap_or(0);
    (turns && dwell)
        || own.end_m != reader.end_m
        || own.refuses != reader.refuses
        || (reader.motion_word_each_line && !own.motion_word_each_line)
        || longest > reader.line_limit
}

#[test]
fn each_controller_takes_its_own_and_refuses_what_differs() {
    let families = families();
    assert!(families.len() >= 6);
    let (mut taken, mut refused) = (0, 0);
    for (own, Family { takes, texts }) in &families {
        for (other, Family { takes: reader, .. }) in &families {
            for text in texts {
                let found = read(text.as_bytes(), reader);
                if !differs(takes, reader, text) {
                    taken += 1;
                    assert!(found.is_ok(), "{own} to {other}: {}", found.unwrap_err());
                    continue;
                }
                refused += 1;
                let refusals = found.expect_err(&format!("a program for {own} was taken by {other}")).list;
                let lines = text.lines().count();
                for refusal in refusals {
                    assert!((1..=lines).contains(&refusal.line), "{own} to {other}: {refusal}");
                    let reason = refusal.reason.to_string();
                    let advises =
                        ["this controller", "needs", "before", "end", "G0"].iter().any(|w| reason.contains(w));
                    assert!(advises || reason.contains("without"), "{own} to {other}: {refusal}");
                }
            }
        }
        assert!(texts.iter().all(|text| read(text.as_bytes(), takes).is_ok()), "{own} refuses its own");
    }
    assert!(taken >= 24 && refused >= 60, "{taken} taken, {refused} refused");
}

/// The words that a person gets who brings a program to the wrong machine.
#[test]
fn the_wrong_machine_says_what_to_change() {
    let families = families();
    let said = |own: &str, other: &str| {
        let finish = &families[own].texts[2];
        read(finish.as_bytes(), &families[other].takes).unwrap_err().to_string()
    };
    for (own, other, words) in [
        ("fast-router", "panel-router", "G4 needs its time S"),
        ("fast-router", "panel-router", "M2 ends the program; this controller's end is M30"),
        ("fast-router", "kit-router", "this controller does not know G40; leave it out"),
        ("kit-router", "fast-router", "before G40 G49 has been said"),
        ("fast-router", "strict-old", "P5 is a wait of 0.005 s to this controller, which counts milliseconds"),
        ("fast-router", "strict-old", "this controller needs G0 or G1 on every line"),
        ("strict-old", "fast-router", "P8000 is a wait of 8000 s to this controller, which counts seconds"),
        ("fast-router", "drip-fed", "this controller takes 48"),
    ] {
        let found = said(own, other);
        let line = found.lines().find(|line| line.contains(words));
        assert!(line.is_some_and(|line| line.trim_start().starts_with("line ")), "{own} to {other}: {words}\n{found}");
    }
}
