//! The guides of the book and the README are kept true: what they say to type is typed in a fresh folder, what
//! they show is what comes out, and their pictures are what the program draws, byte for byte.
//!
//! In a block tagged `text` a line that begins with `$ ` is typed; the lines under it are compared, with `...` for
//! any that are left out. A command with nothing under it has to end well. When a change is wanted:
//! `SUSTENT_ACCEPT=1 cargo test --test guides` draws the pictures anew and fills in the blocks that leave
//! nothing out; the others are for a person.

mod book;

use std::collections::BTreeSet;
use std::fs;

use book::{keep_true, root, shown_only, unlike};

/// What the guides show and no test can type: they install, or wait for a person.
const SHOWN: [&str; 3] = ["cargo install --path .", "sustent desk ticket.toml", "cp "];

/// Pictures are kept by the version control, every change of them anew: not more than this, bytes.
const MOST_BYTES: u64 = 1_500_000;

#[test]
fn the_readme_is_true() {
    let seen = keep_true("README.md");
    assert!(seen.commands >= 8 && seen.pictures >= 1, "{} commands, {} pictures", seen.commands, seen.pictures);
}

#[test]
fn the_fitters_guide_is_true() {
    let seen = keep_true("docs/guide-fitter.md");
    assert!(seen.commands >= 10 && seen.pictures >= 2, "{} commands, {} pictures", seen.commands, seen.pictures);
}

#[test]
fn the_technicians_guide_is_true() {
    let seen = keep_true("docs/guide-technician.md");
    assert!(seen.commands >= 8 && seen.pictures >= 3, "{} commands, {} pictures", seen.commands, seen.pictures);
}

#[test]
fn the_qa_guide_is_true() {
    let seen = keep_true("docs/guide-qa.md");
    assert!(seen.commands >= 5 && seen.pictures >= 3, "{} commands, {} pictures", seen.commands, seen.pictures);
}

#[test]
fn the_page_of_records_is_true() {
    let seen = keep_true("docs/records.md");
    assert!(seen.commands >= 5, "{} commands", seen.commands);
}

/// A page can only be kept true by a comparison that sees what is not.
#[test]
fn a_line_left_out_without_a_word_is_seen() {
    let lines = |text: &str| text.lines().map(str::to_string).collect::<Vec<_>>();
    let printed = lines("a 1\nb 2\nc 3\nd 4");
    for told in ["a 1\nb 2\nc 3\nd 4", "...", "a 1\n...", "...\nd 4", "a 1\n  ...\nc 3\n...", "...\nb 2\nc 3\n..."] {
        assert_eq!(unlike(&lines(told), &printed), None, "{told}");
    }
    for told in ["a 1\nb 2", "b 2\n...", "...\nc 3", "a 1\nc 3\n...", "a 1\n...\nb 3\n...", "...\nc 3\n...\nb 2\n..."] {
        assert!(unlike(&lines(told), &printed).is_some(), "{told}");
    }
}

#[test]
fn what_no_test_can_type_is_little() {
    for guide in ["docs/guide-fitter.md", "docs/guide-technician.md", "docs/guide-qa.md"] {
        for command in shown_only(guide) {
            assert!(SHOWN.iter().any(|shown| command.starts_with(shown)), "{guide}: {command:?} is not kept true");
        }
    }
}

/// The index names every page of the book once, and nothing else; every picture is in some page.
#[test]
fn the_index_names_every_page_and_no_picture_is_left_over() {
    let pages: BTreeSet<String> = names("docs", ".md").into_iter().filter(|name| name != "README.md").collect();
    let index = fs::read_to_string(root().join("docs/README.md")).unwrap();
    let linked = index.split("](").skip(1).filter_map(|rest| rest.split(')').next());
    let linked: Vec<String> = linked.filter(|link| !link.contains('/')).map(str::to_string).collect();
    assert_eq!(linked.iter().cloned().collect::<BTreeSet<_>>(), pages);
    assert_eq!(linked.len(), pages.len(), "a page is listed twice");

    let mut texts: Vec<String> =
        pages.iter().map(|page| fs::read_to_string(root().join("docs").join(page)).unwrap()).collect();
    texts.push(fs::read_to_string(root().join("README.md")).unwrap());
    let mut bytes = 0;
    for picture in names("docs/pictures", "") {
        bytes += fs::metadata(root().join("docs/pictures").join(&picture)).unwrap().len();
        let there = texts.iter().any(|text| text.contains(&format!("pictures/{picture}")));
        assert!(there, "docs/pictures/{picture} is in no page");
    }
    assert!(bytes < MOST_BYTES, "docs/pictures holds {bytes} bytes, at most {MOST_BYTES}");
}

fn names(folder: &str, ending: &str) -> BTreeSet<String> {
    let entries = fs::read_dir(root().join(folder)).unwrap();
    let names = entries.map(|entry| entry.unwrap().file_name().into_string().unwrap());
    names.filter(|name| name.ends_with(ending)).collect()
}
