//! The sample job in `output-samples/` is what the program makes today, byte for byte; and a job
//! depends neither on the number of threads nor on the side of the foot.
//!
//! When a change to the output is wanted, look at it and accept it:
//! `SUSTENT_ACCEPT=1 cargo test --test samples` writes the files anew, and the version control
//! shows what has changed.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use sustent::foot::Loading;
use sustent::frame::Side;
use sustent::impression::{self, Asked, Shares, Wanted};
use sustent::intake;
use sustent::job::{self, Made, OutFile, Precision};
use sustent::mesh::{Mesh, read_scan};
use sustent::profile::Shelf;
use sustent::ticket;

/// The variable that accepts.
const ACCEPT: &str = "SUSTENT_ACCEPT";
/// Samples are read by people and kept by the version control: not more than this, bytes.
const MOST_BYTES: u64 = 4_000_000;

fn samples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("output-samples")
}

fn made(text: &str) -> Made {
    let none = |_: &str| Err("these tickets name no file".to_string());
    let ticket = ticket::read(text, "ticket.toml", &Shelf::built_in(), &none).unwrap_or_else(|e| panic!("{e}"));
    job::make(&ticket, text, None, Precision::SHOP).unwrap_or_else(|e| panic!("{e}"))
}

fn made_with(threads: usize, text: &str) -> Made {
    rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap().install(|| made(text))
}

#[test]
fn the_sample_job_is_what_the_program_makes() {
    let folder = samples().join("PATROL-07");
    let text = fs::read_to_string(folder.join("ticket.toml")).unwrap();
    let made = made(&text);
    assert!(made.report.pass, "{:#?}", made.report.findings);
    let kept = folder.join(format!("{}-r{}", made.report.ticket, made.report.revision));
    if std::env::var_os(ACCEPT).is_some() {
        accept(&kept, &made.files);
    }
    let bytes = size(&samples());
    assert!(bytes < MOST_BYTES, "output-samples holds {bytes} bytes, at most {MOST_BYTES}");
    let differences = differences(&kept, &made.files);
    assert!(
        differences.is_empty(),
        "\n{}\nwhen this is wanted: {ACCEPT}=1 cargo test --test samples",
        differences.join("\n")
    );
}

/// Two small ones: a page of measures with the ticket of it, and the ticket of a scanned foot (the open one of
/// `tests/data/`).
#[test]
fn tickets_of_measures_and_of_a_scan_are_what_the_program_makes() {
    let (shelf, none) = (Shelf::built_in(), |_: &str| Err("these measures name no file".to_string()));
    let of_measures = samples().join("PATROL-11");
    let measures = fs::read_to_string(of_measures.join("measures.toml")).unwrap();
    let ticket = intake::intake(&measures, "measures.toml", &shelf, &none).unwrap().ticket.unwrap();

    let foot = include_bytes!("data/cc0-base-raw-left.stl");
    let scan = read_scan(&foot[..], Some(foot.len() as u64), "left.stl").unwrap();
    let found = impression::take(&scan, Asked { side: Side::Left, unit: None }).unwrap();
    let shares = Shares { heel_cup: 0.5, arch: 0.6 };
    let wanted = Wanted { code: "PATROL-12", loading: Loading::Seated, shares };
    let followed = impression::follow(&found, &wanted, &shelf).unwrap();
    let read = impression::measures_file(&found, "PATROL-12", Loading::Seated);

    for (folder, name, text) in [
        ("PATROL-11", "ticket.toml", ticket),
        ("PATROL-12", "ticket.toml", followed.ticket),
        ("PATROL-12", "measures.toml", read),
    ] {
        let path = samples().join(folder).join(name);
        if std::env::var_os(ACCEPT).is_some() {
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(&path, &text).unwrap();
        }
        let kept = fs::read(&path).unwrap_or_default();
        assert_eq!(difference(&kept, text.as_bytes()), None, "{folder}/{name}; {ACCEPT}=1 cargo test --test samples");
    }
}

#[test]
fn one_thread_and_two_make_the_same_bytes() {
    let text = fs::read_to_string(samples().join("PATROL-07/ticket.toml")).unwrap();
    let (one, two) = (made_with(1, &text), made_with(2, &text));
    assert!(one.files.len() > 10);
    let names = |made: &Made| made.files.iter().map(|f| f.name.clone()).collect::<Vec<_>>();
    assert_eq!(names(&one), names(&two));
    for (a, b) in one.files.iter().zip(&two.files) {
        assert_eq!(difference(&a.bytes, &b.bytes), None, "{}", a.name);
    }
}

/// A disguise: the right foot ordered as the left is the left one mirrored, and nothing else.
#[test]
fn a_right_foot_as_the_left_is_its_mirror_image() {
    let text = fs::read_to_string(samples().join("PATROL-07/ticket.toml")).unwrap();
    let (before, rest) = text.split_once("[right.foot]").expect("the sample has a right foot");
    let (_, history) = rest.split_once("[[history]]").expect("the sample has a history");
    let made = made(&format!("right = \"as left\"\n{before}[[history]]{history}"));
    let [left, right] = made.report.feet.as_slice() else { panic!("two feet") };
    for (value, of_left) in &left.values {
        let of_right = &right.values[value];
        assert_eq!(of_left.asked, of_right.asked, "{value:?}");
        assert_eq!(of_left.read_back, of_right.read_back, "{value:?}");
        assert_eq!(of_left.feasible, of_right.feasible, "{value:?}");
    }
    let mesh = |side: char| {
        let name = format!("PATROL-07-r2-{side}-design.stl");
        let file = made.files.iter().find(|f| f.name == name).unwrap();
        Mesh::from(read_scan(file.bytes.as_slice(), None, &name).unwrap())
    };
    let (left, right) = (mesh('L'), mesh('R'));
    assert_eq!(left.triangles.len(), right.triangles.len());
    assert!(left.volume_mm3() > 0.0 && right.volume_mm3() > 0.0, "both are right side out");
    assert_eq!(corners(&left, 1.0), corners(&right, -1.0));
}

/// Every corner with its x times `sign`, in one order for all meshes.
fn corners(mesh: &Mesh, sign: f64) -> Vec<[f64; 3]> {
    // Adding zero makes a minus zero plain.
    let mut corners: Vec<[f64; 3]> = mesh.vertices.iter().map(|p| [sign * p.x + 0.0, p.y, p.z]).collect();
    corners.sort_by(|a, b| a.partial_cmp(b).unwrap());
    corners
}

/// Writes the files anew and takes away what is no longer made.
fn accept(kept: &Path, files: &[OutFile]) {
    if kept.exists() {
        fs::remove_dir_all(kept).unwrap();
    }
    fs::create_dir_all(kept).unwrap();
    for file in files {
        fs::write(kept.join(&file.name), &file.bytes).unwrap();
    }
    println!("accepted {} files in {}", files.len(), kept.display());
}

/// How each file differs from the kept one; files on one side only.
fn differences(kept: &Path, files: &[OutFile]) -> Vec<String> {
    let there: BTreeSet<String> = fs::read_dir(kept)
        .into_iter()
        .flatten()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    let made: BTreeSet<String> = files.iter().map(|file| file.name.clone()).collect();
    let gone = there.difference(&made).map(|name| format!("{name}: is kept and no longer made"));
    let changed = files.iter().filter_map(|file| match fs::read(kept.join(&file.name)) {
        Err(_) => Some(format!("{}: is made and not kept", file.name)),
        Ok(bytes) => difference(&bytes, &file.bytes).map(|where_| format!("{}: {where_}", file.name)),
    });
    gone.chain(changed).collect()
}

/// The first place in which two files differ: the line of a text, the byte of anything else.
fn difference(kept: &[u8], made: &[u8]) -> Option<String> {
    if kept == made {
        return None;
    }
    let common = kept.iter().zip(made).take_while(|(a, b)| a == b).count();
    let (Ok(kept_text), Ok(made_text)) = (std::str::from_utf8(kept), std::str::from_utf8(made)) else {
        return Some(format!("byte {common} differs; {} bytes kept, {} made", kept.len(), made.len()));
    };
    let line = kept[..common].iter().filter(|&&b| b == b'\n').count();
    let shown = |text: &str| text.lines().nth(line).unwrap_or("(end)").chars().take(100).collect::<String>();
    Some(format!("line {}\n  kept: {}\n  made: {}", line + 1, shown(kept_text), shown(made_text)))
}

fn size(path: &Path) -> u64 {
    if path.is_dir() {
        return fs::read_dir(path).unwrap().map(|entry| size(&entry.unwrap().path())).sum();
    }
    fs::metadata(path).unwrap().len()
}
