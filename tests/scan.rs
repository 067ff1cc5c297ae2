//! Scanned pieces against their ticket: synthetic scans with known changes come back as what they are,
//! in any pose, of either side, with noise, holes, a bed and clamps; what is no such piece is refused.

mod scanned;

use std::collections::BTreeMap;

use scanned::{Chance, demo, inspected, of_side, read};
use sustent::footbed::Footbed;
use sustent::frame::{Point2, Point3, Side, Vector2, Vector3, bench_from_foot};
use sustent::inspect::{BaseFrom, ScanFault, Verdict, cloud};
use sustent::mesh::{self, Unit};
use sustent::register::{Cloud, Facing, Pose};
use sustent::value::Value;

/// Any turn, a shift of some decimetres.
fn pose(chance: &mut Chance) -> Pose {
    let axis = Vector3::new(chance.normal(), chance.normal(), chance.normal());
    let turn =
        nalgebra::UnitQuaternion::from_scaled_axis(axis.normalize() * (std::f64::consts::TAU * chance.uniform()));
    let shift = Vector3::new(chance.normal(), chance.normal(), chance.normal()) * 200.0;
    nalgebra::Translation3::from(shift) * turn
}

/// A piece to be scanned, foot frame.
struct Piece<'a> {
    footbed: &'a Footbed,
    side: Side,
    /// Added to the top.
    more: &'a dyn Fn(Point2) -> f64,
}

/// What a scanner sees of it.
#[derive(Clone, Copy, PartialEq)]
enum Seen {
    AllRound,
    /// The top and the walls, on a bed that reaches 60 mm further.
    OnBed,
    /// The top alone.
    Top,
}

impl Piece<'_> {
    /// Points about 1 mm apart with normals, bench frame.
    fn scanned(&self, seen: Seen) -> Cloud {
        const STEP: f64 = 1.0;
        let bench = bench_from_foot(self.side);
        let mut cloud = Cloud::default();
        let mut add = |p: Point3, n: Vector3| {
            cloud.points.push(bench.place3(p));
            cloud.normals.push(bench.place3(Point3::from(n.normalize())).coords);
        };
        let top = |p: Point2| self.footbed.top_at(p) + (self.more)(p);
        let outline = &self.footbed.outline;
        let around = outline.bounds().grown(60.0);
        let nodes =
            |from: f64, to: f64| (0..((to - from) / STEP) as usize).map(move |k| from + STEP * (k as f64 + 0.3));
        for y in nodes(around.y0, around.y1) {
            for x in nodes(around.x0, around.x1) {
                let p = Point2::new(x, y);
                let inside = outline.contains(p);
                if inside {
                    let slope = |d: Vector2| (top(p + 0.01 * d) - top(p - 0.01 * d)) / 0.02;
                    add(Point3::new(x, y, top(p)), Vector3::new(-slope(Vector2::x()), -slope(Vector2::y()), 1.0));
                }
                if inside && seen == Seen::AllRound {
                    add(Point3::new(x, y, self.footbed.underside_at(p)), -Vector3::z());
                }
                if !inside && seen == Seen::OnBed {
                    add(Point3::new(x, y, 0.0), Vector3::z());
                }
            }
        }
        if seen != Seen::Top {
            let points = outline.points();
            for (i, &a) in points.iter().enumerate() {
                let b = points[(i + 1) % points.len()];
                let n = Vector3::new(b.y - a.y, a.x - b.x, 0.0);
                for z in nodes(0.0, top(a)) {
                    add(Point3::new(a.x, a.y, z), n);
                }
            }
        }
        cloud
    }
}

/// The cloud with noise of this standard deviation along the normals, in a pose of its own.
fn disturbed(cloud: &Cloud, sd: f64, chance: &mut Chance) -> Cloud {
    let pose = pose(chance);
    let points = cloud.points.iter().zip(&cloud.normals).map(|(p, n)| p + n * (sd * chance.normal())).collect();
    Cloud { points, ..cloud.clone() }.moved(&pose)
}

fn no_more(_: Point2) -> f64 {
    0.0
}

/// The demo ticket with one line changed.
fn changed(from: &str, to: &str) -> String {
    let text = demo();
    assert!(text.contains(from), "the demo has no `{from}`");
    text.replacen(from, to, 1)
}

/// A medial arch 0.8 mm higher and a post 0.6 deg less come back as that, within 0.1 mm and 0.1 deg,
/// and nothing else is off; whatever the pose, from all round or from above on a bed.
#[test]
fn known_changes_come_back() {
    let asked = read(&demo());
    let made = read(&changed("medial_arch = 18 ", "medial_arch = 18.8 ").replacen(
        "rearfoot_post = 1 ",
        "rearfoot_post = 0.4 ",
        1,
    ));
    let (design, piece) = (of_side(&asked, Side::Left), of_side(&made, Side::Left));
    let piece = Piece { footbed: &piece.footbed, side: Side::Left, more: &no_more };
    let mut chance = Chance(1);
    for seen in [Seen::AllRound, Seen::OnBed] {
        let found = inspected(&asked, &design, &disturbed(&piece.scanned(seen), 0.08, &mut chance)).unwrap();
        for (value, judged) in &found.values {
            let true_change = match value {
                Value::MedialArch => 0.8,
                Value::RearfootPost => -0.6,
                // The flat underside's flex zone is whatever the top leaves.
                Value::FlexZoneThickness | Value::HeelCupWidth => continue,
                _ => 0.0,
            };
            let off = judged.difference - true_change;
            assert!(off.abs() < 0.1, "{}: {off}", value.words());
            assert!(
                off.abs() < 2.0 * judged.uncertainty.max(0.01),
                "{}: {off} of {}",
                value.words(),
                judged.uncertainty
            );
            if let Some(fitted) = judged.fitted {
                assert!((fitted.made - judged.asked - true_change).abs() < 0.1, "{}: {fitted:?}", value.words());
            }
        }
        assert!(found.values.len() >= 11, "{:?}", found.not_judged);
        assert_eq!(
            found.alignment.unwrap().base,
            if seen == Seen::AllRound { BaseFrom::Underside } else { BaseFrom::Bed }
        );
    }
}

/// A top that is tilted as a whole by 1 deg about the long axis through the heel, on a base that is not:
/// the post is 1 deg more, and a best fit would have hidden part of it. Rise over 20 mm is 20 tan 1 deg.
#[test]
fn a_tilt_is_reported_and_not_absorbed() {
    let asked = read(&demo());
    for side in Side::BOTH {
        let design = of_side(&asked, side);
        let tilt = |p: Point2| p.x * 1.0_f64.to_radians().tan();
        let piece = Piece { footbed: &design.footbed, side, more: &tilt };
        let found =
            inspected(&asked, &design, &disturbed(&piece.scanned(Seen::AllRound), 0.05, &mut Chance(2))).unwrap();
        let post = found.values.get(&Value::RearfootPost).unwrap_or_else(|| panic!("{found:#?}"));
        let asked_tan = post.asked.to_radians().tan();
        let true_post = (asked_tan + 1.0_f64.to_radians().tan()).atan().to_degrees();
        assert!((post.made - true_post).abs() < 0.1, "{post:?}");
        assert_eq!(post.verdict, Verdict::Rework, "{post:?}");
        let hidden = found.alignment.unwrap().hidden_by_best_fit[0];
        assert!((0.2..1.0).contains(&hidden), "{hidden}");
    }
}

/// Sizes are told from the edge, not scaled away.
#[test]
fn a_piece_too_long_is_too_long() {
    let asked = read(&demo());
    let design = of_side(&asked, Side::Right);
    let longer =
        design.footbed.outline.mapped(|p| Point2::new(p.x, if p.y > 100.0 { p.y + (p.y - 100.0) * 0.02 } else { p.y }));
    let by = 0.02 * (design.footbed.outline.bounds().y1 - 100.0);
    let footbed = Footbed { outline: longer.unwrap(), ..design.footbed.clone() };
    let piece = Piece { footbed: &footbed, side: Side::Right, more: &no_more };
    let found = inspected(&asked, &design, &disturbed(&piece.scanned(Seen::AllRound), 0.05, &mut Chance(3))).unwrap();
    let length = found.values.get(&Value::Length).unwrap_or_else(|| panic!("{found:#?}"));
    assert!((length.difference - by).abs() < 0.15, "{length:?}, not {by}");
    assert_eq!(found.verdict, Verdict::Reject);
}

#[test]
fn the_other_foot_is_named() {
    let asked = read(&demo());
    for side in Side::BOTH {
        let (design, other) = (of_side(&asked, side), of_side(&asked, side.other()));
        let piece = Piece { footbed: &other.footbed, side: side.other(), more: &no_more };
        for seen in [Seen::AllRound, Seen::OnBed, Seen::Top] {
            let found = inspected(&asked, &design, &disturbed(&piece.scanned(seen), 0.1, &mut Chance(4))).unwrap();
            assert!(found.probable_other_side && found.verdict == Verdict::Reject, "{side:?} {found:#?}");
            assert!(found.advice[0].contains(side.other().name()), "{:?}", found.advice);
        }
    }
}

/// Without a base nothing is said of thicknesses and the post; what is above the support plane is.
#[test]
fn the_top_alone_says_what_it_can() {
    let asked = read(&demo());
    let design = of_side(&asked, Side::Left);
    let piece = Piece { footbed: &design.footbed, side: Side::Left, more: &no_more };
    let found = inspected(&asked, &design, &disturbed(&piece.scanned(Seen::Top), 0.05, &mut Chance(5))).unwrap();
    assert_eq!(found.alignment.unwrap().base, BaseFrom::Nothing);
    for value in [Value::HeelThickness, Value::ForefootThickness, Value::RearfootPost, Value::FlexZoneThickness] {
        assert!(found.not_judged.contains(&value), "{}", value.words());
    }
    let arch = &found.values[&Value::MedialArch];
    assert!(arch.difference.abs() < 0.2 && arch.uncertainty < 0.5, "{arch:?}");
    assert!(found.notes.iter().any(|note| note.contains("neither the underside nor the bed")));
}

/// Clamps that touch the piece, a hole in it, points in the air, points without normals, triangles
/// inside out: the values stand.
#[test]
fn clutter_is_left_out() {
    let asked = read(&demo());
    let design = of_side(&asked, Side::Left);
    let piece = Piece { footbed: &design.footbed, side: Side::Left, more: &no_more };
    let mut chance = Chance(6);
    let clean = piece.scanned(Seen::OnBed);
    let hole = |p: &Point3| {
        (p.xy() - Point2::new(10.0, 140.0)).norm() < 14.0 || (p.xy() - Point2::new(-25.0, 60.0)).norm() < 9.0
    };
    let mut cluttered = Cloud::default();
    for (p, n) in clean.points.iter().zip(&clean.normals).filter(|(p, _)| !hole(p)) {
        cluttered.points.push(*p);
        cluttered.normals.push(*n);
    }
    // Two blocks, 20 x 30 x 25 mm, one of them over the edge at the ball.
    for corner in [Point3::new(40.0, 170.0, 0.0), Point3::new(-70.0, 30.0, 0.0)] {
        for k in 0..3000 {
            let (u, v) = (f64::from(k % 55) / 54.0, f64::from(k / 55) / 54.0);
            cluttered.points.push(corner + Vector3::new(20.0 * u, 30.0 * v, 25.0));
            cluttered.normals.push(Vector3::z());
        }
    }
    for _ in 0..1500 {
        cluttered.points.push(Point3::new(
            150.0 * chance.uniform() - 75.0,
            300.0 * chance.uniform(),
            60.0 * chance.uniform(),
        ));
        cluttered.normals.push(Vector3::z());
    }
    let noisy = disturbed(&cluttered, 0.05, &mut chance);
    let without =
        Cloud { normals: sustent::register::normals(&noisy.points), facing: Facing::Unknown, ..noisy.clone() };
    for (what, cloud) in [("normals", &noisy), ("inside out", &noisy.turned_inside_out()), ("no normals", &without)] {
        let found = inspected(&asked, &design, cloud).unwrap_or_else(|fault| panic!("{what}: {fault}"));
        assert!(found.values.len() >= 9, "{what}: {:?}", found.not_judged);
        for (value, judged) in &found.values {
            let allowed = if matches!(value, Value::HeelCupWidth) { 0.3 } else { 0.15 };
            assert!(judged.difference.abs() < allowed, "{what}, {}: {judged:?}", value.words());
        }
    }
}

/// What is no such piece is refused with what to do; nothing is guessed of the unit.
#[test]
fn what_is_no_such_piece_is_refused() {
    let asked = read(&demo());
    let design = of_side(&asked, Side::Left);
    let piece = Piece { footbed: &design.footbed, side: Side::Left, more: &no_more };
    let whole = piece.scanned(Seen::AllRound);
    let scaled = |by: f64| Cloud { points: whole.points.iter().map(|p| p * by).collect(), ..whole.clone() };
    let fault = |cloud: &Cloud| inspected(&asked, &design, cloud).unwrap_err();
    for (by, guess) in [(1.0 / 25.4, "in"), (0.1, "cm"), (0.001, "m")] {
        let found = fault(&scaled(by));
        assert!(matches!(&found, ScanFault::Unit { option, .. } if *option == guess), "{found}");
    }
    assert!(matches!(fault(&scaled(40.0)), ScanFault::Size { .. }));
    assert!(matches!(fault(&whole.thinned(10)), ScanFault::TooFew { .. }));
    let face = |k: usize| {
        let (u, v) = ((k % 60) as f64 * 3.0, (k / 60) as f64 * 3.0);
        [(Point3::new(u, v, 0.0), -Vector3::z()), (Point3::new(u, v, 180.0), Vector3::z())]
    };
    let sides = |k: usize| {
        face(k).map(|(p, n)| {
            [
                (Point3::new(p.z, p.x, p.y), Vector3::new(n.z, n.x, n.y)),
                (Point3::new(p.y, p.z, p.x), Vector3::new(n.y, n.z, n.x)),
            ]
        })
    };
    let cube: Vec<(Point3, Vector3)> =
        (0..3600).flat_map(|k| face(k).into_iter().chain(sides(k).into_iter().flatten())).collect();
    let (points, normals) = cube.into_iter().unzip();
    assert!(matches!(fault(&Cloud { points, normals, ..Cloud::default() }), ScanFault::NotThisPiece { .. }));
}

/// Flat things of the piece's own outline have nothing of its shape; a piece one and a half times as large
/// looks more like the other foot's, and is neither.
#[test]
fn a_slab_and_a_larger_piece_are_refused() {
    let asked = read(&demo());
    let design = of_side(&asked, Side::Left);
    for thickness in [4.0, 8.0] {
        let level = |p: Point2| thickness - design.footbed.top_at(p);
        let slab = Piece { footbed: &design.footbed, side: Side::Left, more: &level };
        let fault = inspected(&asked, &design, &slab.scanned(Seen::AllRound)).unwrap_err();
        assert!(matches!(fault, ScanFault::NotThisPiece { .. }), "{fault}");
    }
    let piece = Piece { footbed: &design.footbed, side: Side::Left, more: &no_more };
    for (by, seen) in [(1.5, Seen::AllRound), (1.5, Seen::OnBed), (1.25, Seen::AllRound)] {
        let whole = piece.scanned(seen);
        let larger = Cloud { points: whole.points.iter().map(|p| p * by).collect(), ..whole };
        let fault = inspected(&asked, &design, &larger).unwrap_err();
        assert!(matches!(fault, ScanFault::Larger | ScanFault::NotThisPiece { .. }), "{by}: {fault}");
    }
}

/// Half of the triangles wound the other way round is how some programs write; the points still tell.
#[test]
fn normals_that_disagree_are_left_aside() {
    let asked = read(&demo());
    let design = of_side(&asked, Side::Left);
    let piece = Piece { footbed: &design.footbed, side: Side::Left, more: &no_more };
    let mut chance = Chance(8);
    let mut cloud = piece.scanned(Seen::AllRound);
    cloud.normals.iter_mut().filter(|_| chance.uniform() < 0.5).for_each(|n| *n = -*n);
    let found = inspected(&asked, &design, &disturbed(&cloud, 0.05, &mut chance)).unwrap();
    assert_eq!(found.verdict, Verdict::Accept, "{found:#?}");
}

/// Where only the top shows, sizes end where its points end, however densely they lie: the mean of several
/// scans is off by no more than is said to be shared by all of them.
#[test]
fn sizes_of_a_piece_on_a_bed_have_no_bias_to_speak_of() {
    let asked = read(&demo());
    let design = of_side(&asked, Side::Left);
    let (footbed, bench) = (&design.footbed, bench_from_foot(Side::Left));
    let bounds = footbed.outline.bounds();
    for apart_mm in [0.5, 0.8] {
        let mut chance = Chance(9);
        // What sizes are off by on the mean, and what all such scans are said to share of it.
        let mut off: BTreeMap<Value, (f64, f64)> = BTreeMap::new();
        const ROUNDS: u32 = 6;
        for _ in 0..ROUNDS {
            let mut cloud = Cloud::default();
            for _ in 0..(bounds.width() * bounds.height() / (apart_mm * apart_mm)) as usize {
                let (u, v) = (chance.uniform(), chance.uniform());
                let p = Point2::new(bounds.x0 + u * bounds.width(), bounds.y0 + v * bounds.height());
                if footbed.outline.contains(p) {
                    let slope = footbed.top.slope(p);
                    cloud.points.push(bench.place3(Point3::new(p.x, p.y, footbed.top_at(p))));
                    let n = Vector3::new(-slope.x, -slope.y, 1.0).normalize();
                    cloud.normals.push(bench.place3(Point3::from(n)).coords);
                }
            }
            let cloud = disturbed(&cloud, 0.05, &mut chance);
            let found = inspected(&asked, &design, &cloud).unwrap();
            for value in [Value::Length, Value::BallWidth, Value::HeelWidth] {
                let judged = &found.values[&value];
                let (mean, shared) = off.entry(value).or_default();
                *mean += judged.difference / f64::from(ROUNDS);
                *shared += judged.shared_uncertainty / f64::from(ROUNDS);
            }
        }
        for (value, (mean, shared)) in off {
            println!("{} of points {apart_mm} mm apart: {mean:.3} of {shared:.3}", value.words());
            assert!(mean.abs() < shared && shared < 0.6 * apart_mm, "{}: {mean:.3} of {shared:.3}", value.words());
        }
    }
}

/// A scan in metres or thinly written is not thinned away before its unit is looked at.
#[test]
fn the_unit_of_a_file_in_metres_is_told() {
    let asked = read(&demo());
    let design = of_side(&asked, Side::Left);
    let piece = Piece { footbed: &design.footbed, side: Side::Left, more: &no_more };
    let whole = piece.scanned(Seen::AllRound);
    let fault = |by: f64| {
        let lines = whole.points.iter().map(|p| format!("{:.6} {:.6} {:.6}\n", p.x * by, p.y * by, p.z * by));
        let text: String = lines.collect();
        let scan = mesh::read_scan(text.as_bytes(), Some(text.len() as u64), "piece.xyz").unwrap();
        inspected(&asked, &design, &cloud(&scan, Unit::Millimetres).unwrap()).unwrap_err().to_string()
    };
    assert!(fault(0.001).contains("--unit m"), "{}", fault(0.001));
    assert!(fault(25.4).contains("taken for inches"), "{}", fault(25.4));
    assert!(fault(10.0).contains("taken for cm"), "{}", fault(10.0));
    // A mesh in the wrong unit has more area than can be sampled so finely, and a stray makes a scan huge.
    let file = concat!(env!("CARGO_MANIFEST_DIR"), "/output-samples/PATROL-07/PATROL-07-r2/PATROL-07-r2-L-carved.stl");
    let bytes = std::fs::read(file).unwrap();
    let mesh = mesh::read_scan(bytes.as_slice(), Some(bytes.len() as u64), "piece.stl").unwrap();
    for unit in [Unit::Centimetres, Unit::Inches, Unit::Metres] {
        let told = inspected(&asked, &design, &cloud(&mesh, unit).unwrap()).unwrap_err().to_string();
        assert!(told.contains("in which unit?"), "{told}");
    }
    let mut strayed = mesh.clone();
    strayed.points.extend([[9e6, 0.0, 0.0], [-9e6, 1.0, 0.0], [0.0, 0.0, 9e6]].map(Point3::from));
    let at = mesh.points.len() as u32;
    strayed.triangles.push([at, at + 1, at + 2]);
    let told = inspected(&asked, &design, &cloud(&strayed, Unit::Millimetres).unwrap()).unwrap_err().to_string();
    assert!(told.contains("in which unit?"), "{told}");
}

/// A foot is no footbed: the CC0 base mesh in tests/data, of about the piece's length.
#[test]
fn a_foot_is_no_footbed() {
    let asked = read(&demo());
    let design = of_side(&asked, Side::Left);
    let bytes = include_bytes!("data/cc0-base-raw-left.stl");
    let scan = mesh::read_scan(&bytes[..], Some(bytes.len() as u64), "foot.stl").unwrap();
    for scale in [1.0, 1.1] {
        let foot = cloud(&scan, Unit::Millimetres).unwrap();
        let foot = Cloud { points: foot.points.iter().map(|p| p * scale).collect(), ..foot };
        let fault = inspected(&asked, &design, &foot).unwrap_err();
        assert!(matches!(fault, ScanFault::NotThisPiece { .. }), "{fault}");
    }
}
