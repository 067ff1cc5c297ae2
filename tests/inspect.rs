//! The command judges made pieces: readings against the demo ticket, and what many of them say.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value as Json;
use sustent::frame::Point2;
use sustent::grid::{Grid, Lattice};
use sustent::inspect::{Case, Cover, Map, inspect, read_table};
use sustent::job;
use sustent::profile::Shelf;

fn ticket() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("output-samples/PATROL-07/ticket.toml")
}

fn sustent(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sustent")).args(arguments).output().unwrap()
}

/// Inspects the demo's left piece by these readings.
fn inspected(folder: &Path, readings: &str, more: &[&str]) -> (Option<i32>, Json) {
    let table = folder.join("readings.csv");
    fs::write(&table, readings).unwrap();
    let (ticket, table) = (ticket(), table.display().to_string());
    let ticket = ticket.display().to_string();
    let mut arguments = vec!["inspect", &ticket, "--side", "left", "--readings", &table, "--json"];
    arguments.extend(more);
    let output = sustent(&arguments);
    (output.status.code(), serde_json::from_slice(&output.stdout).unwrap())
}

const AS_ASKED: &str = "value,reading\nheel_thickness,4.5\nheel_cup_depth,12.1\nmedial_arch,18.2\nlateral_arch,3.1\n\
                        transverse_arch,0.9\nlength,268.2\nball_width,95.1\nheel_width,75.8\n";

#[test]
fn a_piece_as_asked_is_accepted() {
    let folder = tempfile::tempdir().unwrap();
    let (status, found) = inspected(folder.path(), AS_ASKED, &[]);
    assert_eq!((status, &found["verdict"]), (Some(0), &Json::from("accept")), "{found:#}");
    assert_eq!(found["side"], "left");
    assert!(found["advice"].as_array().unwrap().is_empty() && found["surface"].is_null());
    let arch = &found["values"]["medial_arch"];
    assert_eq!((arch["asked"].as_f64(), arch["verdict"].as_str()), (Some(18.0), Some("accept")));
    assert!((arch["difference"].as_f64().unwrap() - 0.2).abs() < 1e-9);
    // One reading, SD 0.1 by the profile, twice that.
    assert!((arch["uncertainty"].as_f64().unwrap() - 0.2).abs() < 1e-9);
}

#[test]
fn each_fault_has_its_verdict_and_its_advice() {
    let folder = tempfile::tempdir().unwrap();
    for (line, verdict, words) in [
        ("medial_arch,19.3", "rework", "sand it down"),
        ("medial_arch,15.7", "reject", "mill again"),
        ("medial_arch,19.05", "borderline", "measure again"),
        ("heel_cup_width,59.0", "reject", "cannot be widened"),
        ("length,269.6", "rework", "trim the edge"),
        ("rearfoot_post,-1.0", "reject", "right foot's piece"),
        ("base_flatness,0.8", "reject", "rocks"),
        ("thickness,3.5", "", ""),
    ] {
        let head = if line.starts_with("thickness") { "value,reading,station,medial" } else { "value,reading" };
        let place = if line.starts_with("thickness") { ",42,-8" } else { "" };
        let (status, found) = inspected(folder.path(), &format!("{head}\n{line}{place}\n"), &[]);
        assert_eq!(status, Some(1), "{line}: {found:#}");
        if !verdict.is_empty() {
            assert_eq!(found["verdict"], verdict, "{line}: {found:#}");
        }
        assert!(found["advice"][0].as_str().unwrap().contains(words), "{line}: {found:#}");
    }
}

/// Two heights 60 mm apart, each known to 0.1 mm (k = 2): +- 0.1 sqrt 2 / 60 rad = 0.135 deg.
#[test]
fn two_heights_make_a_post_with_the_uncertainty_of_both() {
    let folder = tempfile::tempdir().unwrap();
    let shelf = folder.path().join("shelf/tolerances");
    fs::create_dir_all(&shelf).unwrap();
    let workshop = include_str!("../profiles/tolerances/workshop.toml");
    fs::write(shelf.join("fine.toml"), workshop.replace("reading_sd_mm = 0.1", "reading_sd_mm = 0.05")).unwrap();
    let readings = "value,reading,arm\npost_height_medial,6.0472,30\npost_height_lateral,5.0,30\n";
    let shelf = folder.path().join("shelf").display().to_string();
    let (_, found) = inspected(folder.path(), readings, &["--profiles", &shelf, "--tolerances", "fine"]);
    let post = &found["values"]["rearfoot_post"];
    assert!((post["made"].as_f64().unwrap() - 1.0).abs() < 1e-3, "{post:#}");
    assert!((post["uncertainty"].as_f64().unwrap() - 0.135).abs() < 1e-3, "{post:#}");
}

#[test]
fn a_cover_is_taken_off() {
    let folder = tempfile::tempdir().unwrap();
    // The demo's cover is 1 mm.
    let readings = "value,reading\nheel_thickness,5.5\nmedial_arch,18\nheel_cup_width,58\n";
    let (status, found) = inspected(folder.path(), readings, &["--covered"]);
    assert_eq!((status, found["values"]["heel_thickness"]["made"].as_f64()), (Some(0), Some(4.5)), "{found:#}");
    assert!(found["values"]["heel_cup_width"].is_null());
    assert!(found["notes"][0].as_str().unwrap().contains("cover"));
}

#[test]
fn what_cannot_be_of_this_piece_is_refused_with_its_line() {
    let folder = tempfile::tempdir().unwrap();
    for (readings, words) in [
        ("value,reading\nlength,10.55\n", "looks like inches"),
        (
            "value,reading\n\nlength,26.8\n",
            "line 3: length is 26.8 mm where 268.0 is asked for; that looks like centimetres",
        ),
        ("value,reading\nheel_thickness,0.177\n", "looks like inches"),
        ("value,reading,unit\nmedial_arch,1.8,\n", "looks like centimetres"),
        ("value,reading\nheel_thickness,-4.5\n", "-4.5 is not between 0 and 500"),
        ("value,reading\npost_height_medial,5\n", "read the lateral side"),
        ("value,reading,arm\npost_height_medial,5,10\npost_height_lateral,5,12\n", "use one arm"),
        ("value,reading,station,medial\nthickness,5,42,79\n", "outside the outline"),
        ("value,reading\nmedial_ach,5\n", "did you mean `medial_arch`"),
        ("", "no readings"),
    ] {
        let (status, found) = inspected(folder.path(), readings, &[]);
        assert_eq!(status, Some(2), "{readings}: {found:#}");
        assert!(found["error"].as_str().unwrap().contains(words), "{readings}: {found:#}");
    }
    // What somebody has said is judged, where a fault of the piece may be as large.
    let (status, found) = inspected(folder.path(), "value,reading,unit\nmedial_arch,1.8,mm\n", &[]);
    assert_eq!((status, &found["verdict"]), (Some(1), &"reject".into()), "{found:#}");
}

/// Thirty pieces whose heights above the bed all come out 0.4 mm high: the log says so and names the
/// cause; the record and the chart are written whole.
#[test]
fn a_log_of_thirty_pieces_names_what_they_share() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).display().to_string();
    let (log, record, chart) = (path("workshop.jsonl"), path("left.html"), path("drift.svg"));
    for k in 0..30 {
        let scatter = 0.05 * f64::from((k * 7) % 5 - 2);
        let mut readings = String::from("value,reading\n");
        for (value, asked) in [("heel_thickness", 4.9), ("forefoot_thickness", 3.9), ("medial_arch", 18.0)] {
            writeln!(readings, "{value},{:.3}", asked + scatter).unwrap();
        }
        inspected(folder.path(), &readings, &["--log", &log, "--record", &record, "--note", "<b>2026</b>"]);
    }
    let html = fs::read_to_string(&record).unwrap();
    assert!(html.contains("&lt;b&gt;2026") && html.contains("forefoot thickness"), "{html}");
    let output = sustent(&["drift", &log, "--chart", &chart, "--json"]);
    assert_eq!(output.status.code(), Some(0));
    let drift: Json = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(drift["pieces"], 30);
    assert_eq!(drift["causes"].as_array().unwrap().len(), 1, "{drift:#}");
    assert_eq!(drift["causes"][0]["cause"], "z_zero");
    assert!((drift["causes"][0]["size"].as_f64().unwrap() - 0.4).abs() < 0.02);
    assert!(drift["values"]["medial_arch"]["mean"].as_f64().unwrap().abs() < 0.02);
    assert!(fs::read_to_string(&chart).unwrap().contains("heel thickness"));
}

/// A record with what a scan saw: the tallest place that was put there is told, the hole is hatched,
/// and a page of gauge readings has neither.
#[test]
fn a_record_shows_what_a_scan_saw() {
    let text = fs::read_to_string(ticket()).unwrap();
    let none = |_: &str| Err("this ticket names no file".to_string());
    let ticket = sustent::ticket::read(&text, "ticket.toml", &Shelf::built_in(), &none).unwrap();
    let design = job::design(&ticket, &ticket.feet[0]).unwrap();
    let (footbed, shelf) = (&design.footbed, Shelf::built_in());
    let tolerances = shelf.tolerances("workshop").unwrap();
    let case = Case { make: &ticket.make, order: &ticket.feet[0], footbed, read_back: &design.read_back, tolerances };
    let readings = read_table("r.csv", &AS_ASKED.replace("18.2", "19.9")).unwrap();
    let inspection = inspect(&case, &readings, Cover::Off).unwrap();
    let lattice = Lattice::covering(footbed.outline.bounds().grown(2.0), 1.0);
    let top = footbed.places.medial_arch;
    let deviation = Grid::from_fn(lattice, |p| {
        let bump = 1.9 * (-(p - top).norm_squared() / 600.0).exp();
        let hole = (p - Point2::new(-12.0, 205.0)).norm() < 11.0;
        if hole { f64::NAN } else { bump - 0.25 }
    });
    let made = Grid::from_fn(lattice, |p| footbed.top_at(p) + deviation.sample(p).unwrap_or(f64::NAN));
    let seen = Map { deviation, made_top: made, made_underside: None };
    let page = |seen| job::record(&ticket, &design, tolerances, &inspection, "5f2c", "", seen).unwrap();
    let (with, without) = (page(Some(&seen)), page(None));
    // Kept to be looked at.
    fs::write(Path::new(env!("CARGO_TARGET_TMPDIR")).join("record-scan.html"), &with).unwrap();
    fs::write(Path::new(env!("CARGO_TARGET_TMPDIR")).join("record-gauge.html"), &without).unwrap();
    assert!(with.contains("+1.65 at 40 % of the foot, 31 mm medial") && with.contains("gap-hatch"), "{with}");
    assert!(!without.contains("gap-hatch\"") && !without.contains("of the foot"));
    assert!(with.len() < 250_000 && !with.contains("NaN"));
}

/// A slip on the command line costs no ticket, no scan and no readings.
#[test]
fn what_is_read_is_never_written_over() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    fs::copy(ticket(), at("ticket.toml")).unwrap();
    fs::write(at("readings.csv"), AS_ASKED).unwrap();
    fs::write(at("log.jsonl"), "").unwrap();
    let before = |name: &str| fs::read(at(name)).unwrap();
    let (text, readings) = (before("ticket.toml"), before("readings.csv"));
    let [tk, csv, log, html] = ["ticket.toml", "readings.csv", "log.jsonl", "out.html"].map(at);
    let inspect = ["inspect", &tk, "--side", "left", "--readings", &csv];
    let tries: [(&[&str], &[&str]); 7] = [
        (&inspect, &["--record", &tk]),
        (&inspect, &["--record", &csv]),
        (&inspect, &["--log", &tk]),
        (&inspect, &["--log", &csv]),
        (&inspect, &["--log", &html, "--record", &html]),
        (&["compare", &tk, &tk], &["--out", &tk]),
        (&["preview", &tk], &["--out", &tk]),
    ];
    for (verb, outputs) in tries {
        let output = sustent(&[verb, outputs].concat());
        let told = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{verb:?} {outputs:?}: {told}");
        assert!(told.contains("name another file"), "{verb:?} {outputs:?}: {told}");
        assert_eq!((before("ticket.toml"), before("readings.csv")), (text.clone(), readings.clone()));
        assert!(!Path::new(&html).exists());
    }
    assert_eq!(sustent(&[&inspect[..], &["--log", &log]].concat()).status.code(), Some(0));
    let logged = before("log.jsonl");
    let told = sustent(&["drift", &log, "--chart", &log]);
    assert!(String::from_utf8_lossy(&told.stderr).contains("this is the log"));
    assert_eq!(before("log.jsonl"), logged);
}
