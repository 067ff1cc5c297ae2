//! The house keeps its floors: a room uses only rooms that stand above it in `src/lib.rs`, foreign
//! libraries come in by one door, and files, clock and printing stay with the command.

use std::fs;
use std::path::{Path, PathBuf};

/// Words that only these rooms may write in what ships. `main` is `src/main.rs`.
const DOORS: [(&str, &[&str]); 29] = [
    ("geo::", &["curve"]),
    ("lyon_geom::", &["curve"]),
    ("usvg::", &["curve"]),
    // Offsets of closed lines: of the trim outline, and of the cutter's way around it.
    ("cavalier_contours::", &["curve", "path"]),
    ("spade::", &["mesh"]),
    // A solid's package, and the archive of a code.
    ("zip::", &["mesh", "cli"]),
    ("svg::", &["draw"]),
    ("minijinja::", &["draw"]),
    ("csv::", &["inspect"]),
    ("rstar::", &["register"]),
    ("microlp::", &["limits"]),
    ("toml::", &["written"]),
    // Small changes that leave the rest of a text, and the whole next revision of a ticket.
    ("toml_edit::", &["written"]),
    ("annotate_snippets::", &["written"]),
    // The page that is served.
    ("axum::", &["desk"]),
    ("tokio::", &["desk"]),
    ("getrandom::", &["desk"]),
    ("clap::", &["cli"]),
    ("indicatif::", &["cli"]),
    ("rustix::", &["cli"]),
    ("std::fs", &["cli"]),
    ("std::net", &["desk"]),
    ("std::env", &["cli", "main"]),
    ("std::process", &["cli", "main"]),
    ("println!", &["cli"]),
    ("eprintln!", &["cli"]),
    ("dbg!", &[]),
    // The same ticket gives the same bytes, today and tomorrow.
    ("SystemTime", &["cli"]),
    ("Instant", &["cli"]),
];

#[test]
fn a_room_uses_only_rooms_above_it() {
    let rooms = rooms(&source("src/lib.rs"));
    assert!(rooms.len() > 15, "src/lib.rs lists {} rooms: {rooms:?}", rooms.len());
    let mut wrong = vec![];
    for file in rust_files("src") {
        let room = room_of(&file);
        for used in rooms_used(&without_comments(&source(&file))) {
            wrong.extend(complaint(&rooms, &room, &used).map(|why| format!("{}: {why}", file.display())));
        }
    }
    assert!(wrong.is_empty(), "\n{}\nmove the room in src/lib.rs, or what it needs downstairs", wrong.join("\n"));
}

#[test]
fn every_folder_is_a_room_in_the_list() {
    let rooms = rooms(&source("src/lib.rs"));
    for entry in fs::read_dir(root().join("src")).unwrap() {
        let name = entry.unwrap().path().file_stem().unwrap().to_string_lossy().into_owned();
        assert!(rooms.contains(&name) || ["lib", "main"].contains(&name.as_str()), "src/{name} is not in src/lib.rs");
    }
}

#[test]
fn what_is_foreign_comes_in_by_one_door() {
    let mut wrong = vec![];
    for file in rust_files("src").into_iter().filter(|file| ships(file)) {
        let (room, text) = (room_of(&file), shipped(&without_comments(&source(&file))));
        for (word, _) in DOORS.iter().filter(|(word, doors)| mentions(&text, word) && !doors.contains(&room.as_str())) {
            wrong.push(format!("{}: `{word}` has no business in {room}/", file.display()));
        }
    }
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

#[test]
fn breaches_are_seen() {
    let rooms: Vec<String> = ["frame", "curve", "foot", "cli"].map(String::from).to_vec();
    let text =
        "use crate::{\n    frame::{Point2, Rect},\n    foot,\n};\nfn f() { crate::cli::run(); }\n// crate::curve\n";
    let used = rooms_used(&without_comments(text));
    assert_eq!(used, ["frame", "foot", "cli"]);
    assert_eq!(complaint(&rooms, "foot", "frame"), None);
    assert_eq!(complaint(&rooms, "foot", "foot"), None);
    assert!(complaint(&rooms, "curve", "foot").unwrap().contains("curve"));
    assert!(complaint(&rooms, "foot", "attic").unwrap().contains("attic"));
    assert!(mentions("use geo::Coord;", "geo::") && !mentions("use lyon_geo::Coord;", "geo::"));
    assert!(!mentions(&shipped("fn f() {}\n#[cfg(test)]\nmod tests {\n    use geo::Coord;\n}\n"), "geo::"));
}

/// What is wrong when `room` uses `used`.
fn complaint(rooms: &[String], room: &str, used: &str) -> Option<String> {
    let place = |name: &str| rooms.iter().position(|listed| listed == name);
    match (place(room), place(used)) {
        _ if room == used => None,
        // `lib.rs` and `main.rs` stand outside the rooms.
        (None, _) => None,
        (_, None) => Some(format!("{room}/ uses crate::{used}, which is no room")),
        (Some(own), Some(other)) => (other >= own).then(|| format!("{room}/ uses {used}/, which stands below it")),
    }
}

/// The rooms in the order of `lib.rs`.
fn rooms(lib: &str) -> Vec<String> {
    lib.lines().filter_map(|line| Some(line.strip_prefix("pub mod ")?.strip_suffix(';')?.to_string())).collect()
}

/// The first name of each path that begins at the crate.
fn rooms_used(text: &str) -> Vec<String> {
    let mut used = vec![];
    for (at, mark) in text.match_indices("crate::") {
        let rest = &text[at + mark.len()..];
        match rest.strip_prefix('{') {
            Some(list) => used.extend(first_names(list)),
            None => used.push(name_at(rest)),
        }
    }
    used.retain(|name| name.starts_with(|c: char| c.is_ascii_lowercase()));
    used
}

/// The names of a use list, up to its closing brace, without those of the lists inside it.
fn first_names(list: &str) -> Vec<String> {
    let mut depth = 0;
    let mut names = vec![];
    let mut fresh = true;
    for (at, c) in list.char_indices() {
        match c {
            '{' => depth += 1,
            '}' if depth == 0 => break,
            '}' => depth -= 1,
            ',' if depth == 0 => fresh = true,
            c if fresh && !c.is_whitespace() => {
                names.push(name_at(&list[at..]));
                fresh = false;
            }
            _ => {}
        }
    }
    names
}

fn name_at(text: &str) -> String {
    text.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect()
}

/// Whether `word` stands in `text` as a word or path of its own.
fn mentions(text: &str, word: &str) -> bool {
    text.match_indices(word).any(|(at, _)| {
        let before = text[..at].chars().next_back();
        !before.is_some_and(|c| c.is_alphanumeric() || c == '_' || c == ':')
    })
}

/// Whether a file is more than a helper of its room's unit tests.
fn ships(file: &Path) -> bool {
    let name = file.file_stem().unwrap().to_string_lossy();
    let room = fs::read_to_string(file.with_file_name("mod.rs")).unwrap_or_default();
    !room.contains(&format!("#[cfg(test)]\nmod {name};"))
}

/// Unit tests may look at their subject with whatever tool they like.
fn shipped(text: &str) -> String {
    text.split("#[cfg(test)]\nmod tests").next().unwrap_or_default().to_string()
}

fn without_comments(text: &str) -> String {
    text.lines().filter(|line| !line.trim_start().starts_with("//")).map(|line| format!("{line}\n")).collect()
}

/// `curve` for `src/curve/trim.rs`, `main` for `src/main.rs`.
fn room_of(file: &Path) -> String {
    let inside = file.strip_prefix(root().join("src")).unwrap();
    let first = inside.components().next().unwrap();
    Path::new(&first).file_stem().unwrap().to_string_lossy().into_owned()
}

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn source(path: impl AsRef<Path>) -> String {
    fs::read_to_string(root().join(path)).unwrap()
}

fn rust_files(folder: &str) -> Vec<PathBuf> {
    let mut files = vec![];
    let mut folders = vec![root().join(folder)];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            match path.is_dir() {
                true => folders.push(path),
                false if path.extension().is_some_and(|e| e == "rs") => files.push(path),
                false => {}
            }
        }
    }
    files.sort();
    files
}
