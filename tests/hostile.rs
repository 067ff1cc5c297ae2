//! Bytes that nobody would write, into every door by which foreign bytes come in: whatever `.ci/fuzz.sh` has found worth keeping,
//! and good files with bytes changed, cut, doubled and mixed. Nothing panics, and what is accepted is whole.
//!
//! `SUSTENT_CASES` asks for more changed files a door than 150.

#[path = "fuzz/src/doors.rs"]
mod doors;

use std::fs;
use std::path::Path;

use doors::{DOORS, Door};

/// Good files of each door, from which the changed ones come; the first byte of some is the door's own choice of a kind.
fn good(door: &str) -> Vec<Vec<u8>> {
    let read = |path: &str| fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join(path)).unwrap();
    let with = |first: u8, path: &str| [vec![first], read(path)].concat();
    match door {
        "ticket" => vec![read("output-samples/PATROL-07/ticket.toml"), read("tests/data/relieved.toml")],
        "measures" => vec![read("src/intake/template.toml")],
        "profile" => [
            "materials/eva-firm", "blanks/foam-300", "cutters/taper-6", "machines/fast-router", "supports/everyday",
            "tolerances/workshop", "loads/standing", "rules/starting",
        ]
        .iter()
        .enumerate()
        .map(|(kind, name)| with(kind as u8, &format!("profiles/{name}.toml")))
        .collect(),
        "outline" => {
            ["stock-insole-right", "lines-arcs-and-transforms"].map(|n| read(&format!("tests/data/outlines/{n}.svg"))).into()
        }
        "scan" => [
            (0, "trimesh.stl"), (0, "trimesh-ascii.stl"), (1, "plyfile-big.ply"), (1, "plyfile-text.ply"),
            (1, "trimesh.ply"), (2, "meshio-quads.obj"), (2, "trimesh.obj"), (3, "numpy.xyz"), (4, "numpy.csv"),
        ]
        .iter()
        .map(|(kind, name)| with(*kind, &format!("tests/data/scans/{name}")))
        .collect(),
        "readings" => vec![
            b"value,reading,unit,station,resolution,note\nheel_thickness,4.5,mm,,0.05,a\nmedial_arch,18.2,mm,0.4,,\n".to_vec(),
            b"value;reading\nheel_cup_depth;12,5\nrearfoot_post;1,0\n".to_vec(),
        ],
        "program" => {
            let job = "output-samples/PATROL-07/PATROL-07-r2/PATROL-07-r2";
            (0..4)
                .flat_map(|machine| {
                    let short = with(machine, &format!("{job}-L-frame.ngc"));
                    let long = with(machine, &format!("{job}-L-top-3-perimeter.ngc"));
                    [short, long[..long.len().min(4000)].to_vec(), with(machine, "tests/data/free-form.ngc")]
                })
                .collect()
        }
        "desk" => vec![
            br#"{"ask":"change","side":"left","value":"medial_arch","to":19.0,"more":false}"#.to_vec(),
            b"{\"ask\":\"undo\"}\n{\"ask\":\"redo\"}\n{\"ask\":\"drop\"}".to_vec(),
            br#"{"ask":"reason","side":"left","reason":"so"}"#.to_vec(),
            br#"{"ask":"save","why":"w","date":"2026-11-26"}"#.to_vec(),
        ],
        "log" => vec![
            br#"{"ticket":"P-1","revision":1,"side":"left","material":"eva-firm","machine":"fast-router","blank":"foam-300","finishing":"ball-6","perimeter":"flat-6","verdict":"accept","values":{"medial_arch":{"asked":18.0,"made":18.4,"uncertainty":0.2,"tolerance":1.0,"verdict":"accept"}}}"#.to_vec(),
        ],
        other => panic!("there are no good files for the door {other}"),
    }
}

/// Marsaglia's xorshift64 (2003).
struct Dice(u64);

impl Dice {
    fn below(&mut self, sides: usize) -> usize {
        for shift in [13, -7, 17] {
            self.0 ^= if shift > 0 { self.0 << shift } else { self.0 >> -shift };
        }
        (self.0 >> 16) as usize % sides.max(1)
    }
}

/// What people and broken programs write where a number or a word should be.
const ODD: [&[u8]; 16] = [
    b"nan",
    b"-inf",
    b"1e999",
    b"-0",
    b"0x10",
    b"\xff\xfe",
    b"\0",
    b"\r\n",
    b"\xef\xbb\xbf",
    b"=",
    b"[[",
    b"\"",
    b"-1e-320",
    b"99999999999999999999",
    b"26,5",
    b"\xf0\x9f\xa6\xb6",
];

/// A good file with up to six changes.
fn changed(good: &[Vec<u8>], dice: &mut Dice) -> Vec<u8> {
    let mut bytes = good[dice.below(good.len())].clone();
    for _ in 0..1 + dice.below(6) {
        let at = dice.below(bytes.len() + 1);
        let end = (at + dice.below(40)).min(bytes.len());
        match dice.below(7) {
            0 if at < bytes.len() => bytes[at] ^= 1 << dice.below(8),
            1 => drop(bytes.drain(at..end)),
            2 => {
                let copy = bytes[at..end].to_vec();
                bytes.splice(at..at, copy);
            }
            3 => drop(bytes.splice(at..at, ODD[dice.below(ODD.len())].iter().copied())),
            4 => bytes.truncate(at),
            5 => {
                let other = &good[dice.below(good.len())];
                let from = dice.below(other.len());
                drop(bytes.splice(at..end, other[from..(from + 60).min(other.len())].iter().copied()));
            }
            // A number becomes an odd one.
            _ => {
                let digits = bytes.iter().skip(at).position(u8::is_ascii_digit).map(|k| at + k);
                if let Some(from) = digits {
                    let length = bytes[from..].iter().take_while(|b| b.is_ascii_digit() || **b == b'.').count();
                    drop(bytes.splice(from..from + length, ODD[dice.below(ODD.len())].iter().copied()));
                }
            }
        }
    }
    bytes
}

/// Tries bytes on a door; should it panic, the message says which bytes.
fn try_on(door: Door, what: &str, bytes: &[u8]) {
    let ended = std::panic::catch_unwind(|| door.1(bytes));
    assert!(ended.is_ok(), "the door {} panics on {what}: {:?}", door.0, String::from_utf8_lossy(bytes));
}

#[test]
fn what_was_found_once_is_never_found_again() {
    let corpus = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/corpus");
    let mut tried = 0;
    for door in DOORS {
        let mut files: Vec<_> = fs::read_dir(corpus.join(door.0)).unwrap().map(|entry| entry.unwrap().path()).collect();
        files.sort();
        for file in files {
            try_on(door, &file.display().to_string(), &fs::read(&file).unwrap());
            tried += 1;
        }
    }
    assert!(tried > 100, "only {tried} files are kept");
}

#[test]
fn no_change_to_a_good_file_makes_a_door_panic() {
    let cases = std::env::var("SUSTENT_CASES").ok().and_then(|n| n.parse().ok()).unwrap_or(150);
    let mut dice = Dice(0x9e37_79b9_7f4a_7c15);
    for door in DOORS {
        let good = good(door.0);
        good.iter().for_each(|bytes| try_on(door, "a good file", bytes));
        (0..cases).for_each(|k| try_on(door, &format!("change {k}"), &changed(&good, &mut dice)));
    }
}
