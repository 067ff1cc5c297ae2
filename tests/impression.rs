//! Feet in scans: found in any pose, measured as other tools measured them, refused when they are none; and tickets
//! whose top follows them.

use std::process::{Command, Output};

use sustent::foot::Loading;
use sustent::frame::{Point2, Point3, Side};
use sustent::impression::{Asked, Fault, Impression, Kind, Shares, Wanted, follow, measures_file, take};
use sustent::mesh::{Scan, Unit, read_scan};
use sustent::profile::Shelf;
use sustent::{gauge, intake, job, ticket};

mod feet;
use feet::{Build, Mesh, Part, chance, pose, right, sole, stl};

/// A human foot, left; its source stands in `tests/data/README.md`.
const FOOT: &[u8] = include_bytes!("data/cc0-base-raw-left.stl");

fn scan(bytes: &[u8]) -> Scan {
    read_scan(bytes, Some(bytes.len() as u64), "scan.stl").unwrap()
}

fn mesh() -> Mesh {
    let Scan { points, triangles, .. } = scan(FOOT);
    (points, triangles)
}

fn taken(bytes: &[u8], side: Side) -> Result<Impression, Fault> {
    take(&scan(bytes), Asked { side, unit: None })
}

fn measure(found: &Impression, name: &str) -> f64 {
    found.measures.iter().find(|m| m.name == name).map_or(f64::NAN, |m| m.value)
}

/// The open foot in pose `seed`, as a right foot when the seed is odd.
fn posed(mesh: &Mesh, seed: u64) -> (Vec<u8>, Side) {
    let (mirrored, pose) = (seed % 2 == 1, pose(seed));
    let bytes = stl(mesh, mirrored, |p| pose * Point3::new(p.x, if mirrored { -p.y } else { p.y }, p.z));
    (bytes, if mirrored { Side::Right } else { Side::Left })
}

/// Within 1 mm or 2 %, whichever is more, of what other tools measured on the open foot: length 243.58, ball 95.59, heel
/// 71.15, arch 15.4 at 0.43.
fn is_the_open_foot(found: &Impression, slack: f64, what: &str) {
    for (name, expected) in [("length", 243.58), ("ball_width", 95.59), ("heel_width", 71.15), ("medial_arch", 15.4)] {
        let value = measure(found, name);
        let allowed = slack * f64::max(1.0, 0.02 * expected);
        assert!((value - expected).abs() <= allowed, "{what}: {name} {value:.2}, not {expected}");
    }
    let station = measure(found, "arch_station");
    assert!((station - 0.43).abs() <= 0.02, "{what}: arch at {station:.3}");
}

#[test]
fn the_open_foot_in_fifty_poses_and_both_sides() {
    let mesh = mesh();
    let (mut first, mut last): (Option<Impression>, Option<Impression>) = (None, None);
    for seed in 0..50 {
        let (bytes, side) = posed(&mesh, seed);
        let found = taken(&bytes, side).unwrap_or_else(|fault| panic!("pose {seed}: {fault}"));
        is_the_open_foot(&found, 1.0, &format!("pose {seed}"));
        assert_eq!((found.kind, found.unit), (Kind::Foot, Unit::Millimetres));
        // The other side is refused as such, in every pose.
        let other = taken(&bytes, side.other()).unwrap_err();
        assert!(other.probable_other_side() && other.to_string().contains("say --side"), "pose {seed}: {other}");
        let found = Some(found);
        if first.is_none() { first = found } else { last = found }
    }
    // Landmarks stay where they are: within 1.5 mm of one another, the heel's low point, which is flat, within 4.
    for (a, b) in first.unwrap().landmarks.iter().zip(&last.unwrap().landmarks) {
        let off = (0..3).map(|k| (a.at_mm[k] - b.at_mm[k]).powi(2)).sum::<f64>().sqrt();
        let allowed = if a.name.ends_with("contact") || a.name == "rear_of_heel" { 4.0 } else { 1.5 };
        assert!(off <= allowed, "{}: {off:.2} mm", a.name);
    }
}

#[test]
fn noise_decimation_and_a_lower_cut_change_little() {
    let (points, triangles) = mesh();
    let noise = |k: usize| 0.5 * (chance(3 * k as u64) + chance(3 * k as u64 + 1) + chance(3 * k as u64 + 2) - 1.5);
    let noisy: Vec<Point3> = points
        .iter()
        .enumerate()
        .map(|(k, p)| Point3::new(p.x + noise(3 * k), p.y + noise(3 * k + 1), p.z + noise(3 * k + 2)))
        .collect();
    is_the_open_foot(&taken(&posed(&(noisy, triangles.clone()), 4).0, Side::Left).unwrap(), 1.0, "noise");
    // Corners on a lattice of 4 mm: a third of the triangles left.
    let snapped = points.iter().map(|p| Point3::from(p.coords.map(|c| (c / 4.0).round() * 4.0))).collect();
    is_the_open_foot(&taken(&posed(&(snapped, triangles.clone()), 6).0, Side::Left).unwrap(), 2.0, "decimated");
    let low = triangles.iter().copied().filter(|t| t.iter().all(|k| points[*k as usize].z < 50.0)).collect();
    is_the_open_foot(&taken(&posed(&(points, low), 8).0, Side::Left).unwrap(), 1.0, "cut at 50 mm");
}

#[test]
fn units_are_told() {
    let mesh = mesh();
    for unit in Unit::ALL {
        let bytes = stl(&mesh, false, |p| pose(3) * Point3::from(p.coords / unit.in_mm()));
        let found = taken(&bytes, Side::Left).unwrap();
        assert_eq!(found.unit, unit);
        is_the_open_foot(&found, 1.0, unit.words());
        assert_eq!(found.notes.iter().any(|note| note.contains("names no unit")), unit != Unit::Millimetres);
        let wrong = if unit == Unit::Metres { Unit::Millimetres } else { Unit::Metres };
        let fault = take(&scan(&bytes), Asked { side: Side::Left, unit: Some(wrong) }).unwrap_err().to_string();
        assert!(fault.contains(unit.words()), "{fault}");
    }
}

const BUILDS: [(&str, Build); 7] = [
    ("usual", Build { length: 260.0, ball: 98.0, heel: 66.0, arch: 16.0 }),
    ("flat", Build { length: 265.0, ball: 106.0, heel: 72.0, arch: 3.0 }),
    ("high", Build { length: 250.0, ball: 90.0, heel: 62.0, arch: 28.0 }),
    ("narrow", Build { length: 280.0, ball: 92.0, heel: 62.0, arch: 15.0 }),
    ("broad", Build { length: 255.0, ball: 108.0, heel: 74.0, arch: 12.0 }),
    ("small", Build { length: 170.0, ball: 66.0, heel: 46.0, arch: 9.0 }),
    ("large", Build { length: 320.0, ball: 118.0, heel: 80.0, arch: 20.0 }),
];

/// Feet whose measures follow from their formulas; the arch a fifth of the width inside the edge is the sole's
/// height at t = -0.6, and the plane under heel and met heads is the floor they were made on to some tenths.
#[test]
fn made_feet_of_seven_builds() {
    for (k, (name, build)) in BUILDS.into_iter().enumerate() {
        let low = Part::Sole(25.0 * build.length / 260.0);
        for (n, part) in [Part::Foot, Part::Leg, low].into_iter().enumerate() {
            let left = (k + n) % 2 == 0;
            let side = if left { Side::Left } else { Side::Right };
            let pose = pose(100 + 10 * k as u64 + n as u64);
            let mesh = right(&build, part, 120, 40);
            let bytes = stl(&mesh, left, |p| pose * Point3::new(if left { -p.x } else { p.x }, p.y, p.z));
            let found = taken(&bytes, side).unwrap_or_else(|fault| panic!("{name} {part:?}: {fault}"));
            for (what, expected) in [("length", build.length), ("ball_width", build.ball), ("heel_width", build.heel)] {
                let value = measure(&found, what);
                let allowed = f64::max(1.0, 0.025 * expected);
                assert!((value - expected).abs() <= allowed, "{name} {part:?}: {what} {value:.2}, not {expected}");
            }
            assert_eq!(found.kind == Kind::Foot, part != low, "{name} {part:?}: {:?}", found.kind);
            // An edge that is itself higher than what counts as low, 0.17 of the length, is no edge.
            if part != low && sole(&build, 0.42, -1.0) < 0.16 * build.length {
                let arch = sole(&build, 0.42, -0.6);
                let value = measure(&found, "medial_arch");
                assert!((value - arch).abs() <= 1.0, "{name} {part:?}: arch {value:.2}, not {arch:.2}");
            }
            assert!(taken(&bytes, side.other()).is_err_and(|fault| fault.probable_other_side()), "{name} {part:?}");
        }
    }
}

#[test]
fn a_mould_is_told_from_a_cast_and_turned_facets_from_a_mould() {
    let build = BUILDS[0].1;
    let kind = |part: Part, turned: bool| {
        let mesh = right(&build, part, 120, 40);
        let found = taken(&stl(&mesh, turned, |p| pose(55) * p), Side::Right).unwrap();
        (found.kind, found.notes.iter().any(|note| note.contains("facets face inward")))
    };
    assert_eq!(kind(Part::Sole(26.0), false), (Kind::Sole, false));
    assert_eq!(kind(Part::Sole(26.0), true), (Kind::Mould, false));
    assert_eq!(kind(Part::Foot, false), (Kind::Foot, false));
    assert_eq!(kind(Part::Foot, true), (Kind::Foot, true));
}

/// A foam box: a level top with the print of a sole in it.
#[test]
fn a_print_in_a_box_is_found() {
    let build = BUILDS[0].1;
    let (points, triangles) = right(&build, Part::Sole(24.0), 120, 40);
    let mut seen = vec![vec![24.0_f64; 90]; 160];
    for t in &triangles {
        let corners = t.map(|k| points[k as usize]);
        for (u, v) in (0..=6).flat_map(|u| (0..=6 - u).map(move |v| (f64::from(u) / 6.0, f64::from(v) / 6.0))) {
            let p = corners[0].coords * (1.0 - u - v) + corners[1].coords * u + corners[2].coords * v;
            let cell = &mut seen[((p.y + 30.0) / 2.0) as usize][((p.x + 90.0) / 2.0) as usize];
            *cell = cell.min(p.z);
        }
    }
    let corner = |i: usize, j: usize| Point3::new(2.0 * i as f64 - 89.0, 2.0 * j as f64 - 29.0, seen[j][i]);
    let points = (0..160).flat_map(|j| (0..90).map(move |i| (i, j))).map(|(i, j)| corner(i, j)).collect();
    let cell = |i: u32, j: u32| {
        let a = j * 90 + i;
        [[a, a + 1, a + 91], [a, a + 91, a + 90]]
    };
    let triangles = (0..159).flat_map(|j| (0..89).flat_map(move |i| cell(i, j))).collect();
    let found = taken(&stl(&(points, triangles), false, |p| pose(77) * p), Side::Right).unwrap();
    assert_eq!(found.kind, Kind::Mould);
    // A lattice of 2 mm lays a slope of as much around the print on either side.
    assert!((measure(&found, "length") - build.length).abs() < 4.0, "{}", measure(&found, "length"));
    assert!((measure(&found, "ball_width") - build.ball).abs() < 4.0, "{}", measure(&found, "ball_width"));
}

fn block(x: f64, y: f64, z: f64) -> Mesh {
    let corner = |k: usize| Point3::new((k & 1) as f64 * x, (k >> 1 & 1) as f64 * y, (k >> 2) as f64 * z);
    let quads = [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]];
    ((0..8).map(corner).collect(), quads.iter().flat_map(|q| [[q[0], q[1], q[2]], [q[0], q[2], q[3]]]).collect())
}

fn egg(x: f64, y: f64, z: f64) -> Mesh {
    let (rings, around) = (60_u32, 80_u32);
    let at = |j: u32, i: u32| {
        let (a, b) = (std::f64::consts::PI * f64::from(j) / 60.0, std::f64::consts::TAU * f64::from(i) / 80.0);
        Point3::new(x * a.sin() * b.cos(), y * a.sin() * b.sin(), z * a.cos())
    };
    let points = (0..=rings).flat_map(|j| (0..around).map(move |i| at(j, i))).collect();
    let cell = |j: u32, i: u32| {
        let [a, b] = [j * around + i, j * around + (i + 1) % around];
        [[a, a + around, b], [b, a + around, b + around]]
    };
    (points, (0..rings).flat_map(|j| (0..around).flat_map(move |i| cell(j, i))).collect())
}

#[test]
fn what_is_no_foot_is_refused_with_what_to_do() {
    let footbed = std::fs::read(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/output-samples/PATROL-07/PATROL-07-r2/PATROL-07-r2-L-design.stl"
    ));
    let (points, triangles) = mesh();
    let part = |keep: &dyn Fn(&Point3) -> bool| {
        let kept = triangles.iter().copied().filter(|t| t.iter().all(|k| keep(&points[*k as usize]))).collect();
        stl(&(points.clone(), kept), false, |p| pose(9) * p)
    };
    let mut two = points.clone();
    two.extend(points.iter().map(|p| Point3::new(p.x, p.y + 140.0, p.z)));
    let n = points.len() as u32;
    let both = triangles.iter().copied().chain(triangles.iter().map(|t| t.map(|k| k + n))).collect();
    let whole = |mesh: Mesh| stl(&mesh, false, |p| pose(9) * p);
    for (what, bytes, words) in [
        ("a block", whole(block(260.0, 100.0, 60.0)), "no foot"),
        ("a ball", whole(egg(130.0, 130.0, 130.0)), "no foot"),
        ("an egg", whole(egg(130.0, 50.0, 40.0)), "no foot"),
        ("a footbed", footbed.unwrap(), "no foot"),
        ("two feet", stl(&(two, both), false, |p| pose(9) * p), "two things"),
        ("toes cut off", part(&|p| p.x < 185.0), "cut off"),
        ("heel cut off", part(&|p| p.x > 60.0), "cut off"),
        ("a coin", whole(egg(9.0, 9.0, 1.0)), "no foot"),
    ] {
        for side in Side::BOTH {
            let fault = taken(&bytes, side).map(|found| found.unlike).unwrap_err().to_string();
            assert!(fault.contains(words), "{what}: {fault}");
        }
    }
}

fn followed(shares: Shares) -> (Impression, sustent::impression::Followed, ticket::Ticket) {
    let found = taken(FOOT, Side::Left).unwrap();
    let wanted = Wanted { code: "PATROL-12", loading: Loading::Seated, shares };
    let made = follow(&found, &wanted, &Shelf::built_in()).unwrap();
    let read = ticket::read(&made.ticket, "t.toml", &Shelf::built_in(), &|_: &str| Err(String::new())).unwrap();
    (found, made, read)
}

#[test]
fn the_top_follows_the_sole_by_its_share() {
    let all = Shares { heel_cup: 1.0, arch: 1.0 };
    let ([none, half, full], found) = {
        let half = Shares { heel_cup: 0.5, arch: 0.5 };
        let (found, full, _) = followed(all);
        ([followed(Shares { heel_cup: 0.0, arch: 0.0 }).1, followed(half).1, full], found)
    };
    assert!(none.fits.is_empty() && !none.ticket.contains("relief"));
    for zone in ["heel_cup", "arch"] {
        let of = |made: &sustent::impression::Followed| *made.fits.iter().find(|fit| fit.zone == zone).unwrap();
        let (half, full) = (of(&half), of(&full));
        assert!(full.places > 40, "{full:?}");
        // Docs: within 1.5 mm at 95 of a hundred places.
        assert!(full.p95 <= 1.5 && full.p50 <= 0.5, "{full:?}");
        assert!(full.p95 < half.p95 && half.p95 < half.p95_without, "{half:?} {full:?}");
    }
    // Never above the seated arch where it is gauged.
    let (_, _, read) = followed(all);
    assert!(read.feet[0].support.medial_arch_mm <= measure(&found, "medial_arch"));
}

#[test]
fn a_followed_top_is_gauged_as_asked_and_flat_ahead_of_the_met_heads() {
    let (found, _, read) = followed(Shares { heel_cup: 1.0, arch: 1.0 });
    let order = &read.feet[0];
    let relief = order.support.relief.clone().expect("the ticket has one");
    let with = job::design(&read, order).unwrap().footbed;
    for (value, mm) in gauge::read_design(&with) {
        if let Some(asked) = order.asked(value).filter(|_| !value.name().ends_with("width")) {
            assert!((mm - asked).abs() < 0.01, "{value:?}: {mm} asked {asked}");
        }
    }
    let without = |shares: [f64; 2]| {
        let mut order = order.clone();
        let [heel_cup_share, arch_share] = shares;
        order.support.relief = Some(ticket::Relief { heel_cup_share, arch_share, ..relief.clone() });
        job::design(&read, &order).unwrap().footbed
    };
    let mut plain = order.clone();
    plain.support.relief = None;
    let plain = job::design(&read, &plain).unwrap().footbed;
    // No share, no change: to the last bit.
    assert_eq!(without([0.0, 0.0]).top, plain.top);
    assert!(without([0.0, 0.001]).top != plain.top);
    let places = (0..40).flat_map(|j| (0..20).map(move |i| Point2::new(4.0 * f64::from(i) - 40.0, 6.0 * f64::from(j))));
    let mut moved: f64 = 0.0;
    for p in places.filter(|&p| with.outline.contains(p)) {
        let off = (with.top_at(p) - plain.top_at(p)).abs();
        if p.y > with.places.met_line_y(p.x) {
            assert!(off < 0.2, "{off:.2} mm ahead of the met heads at {p}");
        }
        moved = moved.max(off);
        let plane = with.places.support_plane(p).on(|q| Some(with.top_at(q))).unwrap();
        let ahead_of_cup = (0.32..0.6).contains(&with.places.station(p.y)) && with.outline.signed_distance(p) < -6.0;
        if ahead_of_cup {
            let ceiling = measure(&found, "medial_arch") + 0.5;
            assert!(with.top_at(p) - plane <= ceiling, "{} at {p}", with.top_at(p) - plane);
        }
    }
    assert!(moved > 0.5, "the relief does something: {moved}");
    // Other values on the same relief need no solve and give the same top.
    let mut higher = order.clone();
    higher.support.medial_arch_mm += 1.0;
    let (fast, solved) = (with.reshaped(&higher.support, with.underside), job::design(&read, &higher).unwrap().footbed);
    for p in [Point2::new(20.0, 100.0), Point2::new(-10.0, 60.0), Point2::new(0.0, 150.0)] {
        assert!((fast.top_at(p) - solved.top_at(p)).abs() < 1e-9);
    }
}

#[test]
fn measures_go_on_to_intake() {
    let found = taken(FOOT, Side::Left).unwrap();
    let text = measures_file(&found, "PATROL-12", Loading::Standing);
    let none = |_: &str| Err(String::new());
    let taken =
        intake::intake(&text, "m.toml", &Shelf::built_in(), &none).unwrap_or_else(|error| panic!("{error}\n{text}"));
    let arch = taken.feet[0].values.iter().find(|value| value.name == "medial_arch").unwrap();
    assert!(arch.suggested.is_some_and(|mm| mm <= measure(&found, "medial_arch") + 0.05), "{arch:?}");
    assert!(taken.ticket.is_some());
}

#[test]
fn a_relief_that_cannot_be_read_is_told_with_its_line() {
    let (_, made, _) = followed(Shares { heel_cup: 0.5, arch: 0.5 });
    for (from, to, words) in [
        ("arch = 50", "arch = 150", "0 to 100"),
        ("rows = [", "rows = [\n  \"1 2 x\",", "holds \"x\""),
        ("rows = [", "rows = [\n  \"1 nan\",", "nan"),
        ("step = 6", "stepp = 6", "step"),
    ] {
        let text = made.ticket.replacen(from, to, 1);
        let problems = ticket::read(&text, "t.toml", &Shelf::built_in(), &|_: &str| Err(String::new())).unwrap_err();
        assert!(problems.to_string().contains(words), "{problems}");
    }
}

fn run(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sustent")).args(arguments).output().unwrap()
}

#[test]
fn at_the_command() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    std::fs::write(at("left.stl"), FOOT).unwrap();
    let (scan, out, measures) = (at("left.stl"), at("t.toml"), at("m.toml"));
    let asked = ["impression", &scan, "--side", "left", "--loading", "seated", "--arch", "60", "--heel-cup", "40"];
    let done = run(&[&asked[..], &["--code", "PATROL-12", "--out", &out, "--measures-out", &measures]].concat());
    assert_eq!(done.status.code(), Some(0), "{}", String::from_utf8_lossy(&done.stdout));
    assert_eq!(run(&["check", &out]).status.code(), Some(0));
    assert!(std::fs::read_to_string(&measures).unwrap().contains("medial_arch = { seated = "));
    let other = run(&["impression", &scan, "--side", "right", "--json"]);
    let document: serde_json::Value = serde_json::from_slice(&other.stdout).unwrap();
    assert_eq!((other.status.code(), &document["probable_other_side"]), (Some(2), &true.into()));
    let json = run(&["impression", &scan, "--side", "left", "--json"]);
    let document: serde_json::Value = serde_json::from_slice(&json.stdout).unwrap();
    assert_eq!((&document["kind"], &document["unit"]), (&"foot".into(), &"mm".into()));
    assert!(document["measures"].as_array().unwrap().iter().all(|m| m["error"].as_f64().is_some()));
    // Nor is anything written over: of another code, or filled in since.
    let rerun = |code: &str, more: &[&str]| {
        let refused = run(&[&asked[..], &["--code", code, "--out", &out], more].concat());
        (refused.status.code(), String::from_utf8_lossy(&refused.stderr).into_owned())
    };
    let before = std::fs::read(&out).unwrap();
    let (code, told) = rerun("PATROL-13", &[]);
    assert!(code == Some(2) && told.contains("this is the ticket of PATROL-12"), "{told}");
    let (code, told) = rerun("PATROL-12", &["--measures-out", &measures]);
    assert!(code == Some(2) && told.contains("m.toml: this file is there already"), "{told}");
    assert_eq!(std::fs::read(&out).unwrap(), before);
    assert_eq!(rerun("PATROL-12", &[]).0, Some(0));
    // A slip must not cost the scan, and a value without its loading is none.
    assert_eq!(
        run(&["impression", &scan, "--side", "left", "--loading", "seated", "--out", &scan]).status.code(),
        Some(2)
    );
    assert_eq!(run(&["impression", &scan, "--side", "left", "--out", &out]).status.code(), Some(2));
    assert_eq!(std::fs::read(&scan).unwrap(), FOOT);
}
