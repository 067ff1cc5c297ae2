//! The relieved underside as a workshop meets it: cut first, turned on pins, judged from both sides;
//! and never a left made of a right.

mod shop;

use std::collections::BTreeSet;
use std::sync::LazyLock;

use sustent::carve::ViolationKind;
use sustent::frame::{Point2, Side};
use sustent::job::{self, Face, Lay, Precision, Thickness, Written};
use sustent::kernel::Shape;
use sustent::limits::Severity;
use sustent::path::Step;
use sustent::profile::{Kind, Shelf};
use sustent::ticket::{self, Ticket};
use sustent::value::Value;

use shop::{Shop, assert_whole, mill, ran, seen_names, sustent};

const RELIEVED: &str = include_str!("data/relieved.toml");
const PINLESS: &str = "underside = \"relieved\"\nturning = \"edges\"";
/// Cutting coarser than the shop does, to be quick; what is proved does not hang on it.
const COARSE: Precision = Precision { plan_mm: 0.5, carve_mm: 0.25, mesh_mm: 0.05, carved_mesh_mm: 0.2 };

fn read_with(text: &str, shelf: &Shelf) -> Result<Ticket, String> {
    let none = |_: &str| Err("no file lies beside this ticket".to_string());
    ticket::read(text, "ticket.toml", shelf, &none).map_err(|problems| problems.to_string())
}

fn read(text: &str) -> Ticket {
    read_with(text, &Shelf::built_in()).unwrap_or_else(|problems| panic!("{problems}"))
}

fn changed(from: &str, to: &str) -> String {
    assert!(RELIEVED.contains(from), "the ticket has no {from}");
    RELIEVED.replace(from, to)
}

/// One foot of a ticket, designed, laid and written.
struct Foot<'t> {
    ticket: &'t Ticket,
    design: job::Design<'t>,
    lay: Lay,
    written: Vec<Written>,
}

fn written(ticket: &Ticket) -> Vec<Foot<'_>> {
    let designs: Vec<_> = ticket.feet.iter().map(|order| job::design(ticket, order).unwrap()).collect();
    let lays = job::lay(&ticket.make, &designs.iter().collect::<Vec<_>>()).lays;
    designs
        .into_iter()
        .zip(lays)
        .map(|(design, lay)| {
            let written = job::write(ticket, &design, &lay, "0", COARSE).unwrap();
            Foot { ticket, design, lay, written }
        })
        .collect()
}

impl Foot<'_> {
    fn prove(&self, programs: &[Written]) -> job::Proved {
        job::prove(self.ticket, &self.design, &self.lay, programs, COARSE).unwrap()
    }

    fn of(&self, face: Face) -> Vec<Written> {
        self.written.iter().filter(|w| w.face == face).cloned().collect()
    }

    fn steps(&self) -> Vec<(Face, Step)> {
        self.written.iter().map(|w| (w.face, w.step)).collect()
    }
}

static TICKET: LazyLock<Ticket> = LazyLock::new(|| read(RELIEVED));
static PAIR: LazyLock<Vec<Foot<'static>>> = LazyLock::new(|| written(&TICKET));

#[test]
fn the_underside_is_cut_first_and_the_piece_is_judged_from_both_sides() {
    for foot in &*PAIR {
        let names: Vec<&str> = foot.written.iter().map(|w| w.file.split_once("r1-").unwrap().1).collect();
        let expected = [
            "under-frame",
            "under-1-pins",
            "under-2-rough",
            "under-3-finish",
            "top-0-pins",
            "frame",
            "top-1-rough",
            "top-2-finish",
            "top-3-perimeter",
        ];
        let expected: Vec<String> =
            expected.iter().map(|name| format!("{}-{name}.ngc", foot.design.order.side.letter())).collect();
        assert_eq!(names, expected);

        let proved = foot.prove(&foot.written);
        assert!(proved.proof.pass, "{:#?}", proved.proof.violations);
        assert_eq!(proved.thickness, Thickness::BothSides);
        assert_eq!(proved.faces.keys().copied().collect::<Vec<_>>(), ["top", "under"]);
        assert_eq!(proved.proof.programs.len(), 9);
        let flex = Value::FlexZoneThickness;
        let (made, asked) = (proved.values[&flex], foot.design.read_back[&flex]);
        // A scallop of 0.08 mm may stand on either side.
        assert!((-0.04..=0.2).contains(&(made - asked)), "{made} made, {asked} designed");
        let thinnest = proved.proof.thinnest.unwrap();
        assert!((2.9..3.3).contains(&thinnest.thickness_mm), "{thinnest:?}");
        // What the top's programs alone would have left there.
        let at = foot.lay.top.unplace(Point2::new(thinnest.at_mm[0], thinnest.at_mm[1]));
        assert!(foot.design.footbed.top_at(at) > thinnest.thickness_mm + 0.5);
    }
}

/// The ball's tip must never stand above the underside that it cuts from below, and must come near
/// it: on the foot that it is for. Against the other foot's underside the same places fail.
#[test]
fn programs_follow_the_underside_of_their_own_foot() {
    let [left, right] = PAIR.as_slice() else { panic!("a pair") };
    for (foot, other) in [(left, right), (right, left)] {
        let finish = foot.written.iter().find(|w| (w.face, w.step) == (Face::Under, Step::Finish)).unwrap();
        assert!(matches!(finish.cutter.shape, Shape::Ball { .. }));
        let (mut highest, mut too_high, mut wrong) = (0.0_f64, 0.0_f64, 0.0_f64);
        for travel in finish.program.travels.iter().filter(|t| !t.rapid) {
            let placement = foot.lay.mill_from_foot(Face::Under);
            let (at, z) = (placement.unplace(travel.to.xy()), placement.unplace_height(travel.to.z));
            highest = highest.max(z);
            too_high = too_high.max(z - foot.design.footbed.underside_at(at));
            // The same place on the bench, taken for one of the other foot.
            let mirrored = Point2::new(-at.x, at.y);
            wrong = wrong.max(z - other.design.footbed.underside_at(mirrored));
        }
        assert!(highest > 4.0, "{highest}");
        assert!(too_high < 0.01, "{too_high}");
        assert!(wrong > 2.0, "a mirrored foot would not be noticed: {wrong}");
        let crossed = foot.prove(&other.of(Face::Under));
        assert!(crossed.proof.violations.iter().any(|v| v.kind == ViolationKind::Gouge));
    }
}

#[test]
fn turning_is_a_rotation_that_undoes_itself() {
    for foot in &*PAIR {
        let under = foot.lay.under.unwrap();
        let turn = under.matrix() * foot.lay.top.inverse_matrix();
        assert_eq!(turn.determinant(), 1.0);
        assert!((turn * turn - nalgebra::Matrix4::identity()).norm() < 1e-12);
        assert_eq!(under.mirrors(), foot.lay.top.mirrors());
        // The base plane is up and the blank keeps its place.
        assert_eq!(under.place_height(0.0), TICKET.make.blank.height_mm);
        let corner = turn * nalgebra::Vector4::new(0.0, 0.0, 0.0, 1.0);
        assert_eq!([corner.x, corner.y, corner.z], [119.6, 0.0, 29.5]);
    }
}

#[test]
fn one_face_alone_says_what_it_does_not_know() {
    let foot = &PAIR[0];
    let top = foot.prove(&foot.of(Face::Top));
    assert!(top.proof.pass);
    assert_eq!(top.thickness, Thickness::TopAlone);
    assert!(!top.values.contains_key(&Value::FlexZoneThickness));
    let under = foot.prove(&foot.of(Face::Under));
    assert!(under.proof.pass);
    assert_eq!(under.thickness, Thickness::NotJudged);
    assert!(under.values.is_empty() && under.proof.thinnest.is_none());
}

#[test]
fn pins_stand_in_the_waste_on_the_turning_line_and_are_not_alike() {
    let pins = job::pins(&TICKET.make, PAIR[0].lay.pin_height_mm);
    let [heel, toe] = pins.as_slice() else { panic!("two pins") };
    assert!(heel.diameter_mm - toe.diameter_mm >= 1.0);
    for foot in &*PAIR {
        let outline = &foot.design.footbed.outline;
        let holes = foot.written.iter().find(|w| w.step == Step::PinHoles).unwrap();
        let down =
            |w: &Written| -> Vec<Point2> { w.program.travels.iter().filter(|t| !t.rapid).map(|t| t.to.xy()).collect() };
        let under = foot.lay.mill_from_foot(Face::Under);
        for at in down(holes) {
            // The groove of the perimeter's 6 mm cutter passes between the hole and the piece.
            let to_outline = outline.signed_distance(under.unplace(at)) - 3.0;
            assert!(to_outline > 6.5, "{to_outline} at {at}");
        }
        let touch = foot.written.iter().find(|w| w.step == Step::Pins).unwrap();
        let places: BTreeSet<String> = down(touch).iter().map(|at| format!("{:.1} {:.1}", at.x, at.y)).collect();
        let expected = pins.iter().map(|pin| format!("59.8 {:.1}", pin.at.y)).collect();
        assert_eq!(places, expected);
        assert!(touch.program.travels.iter().all(|t| t.spindle_rpm == 0.0 && t.to.z > heel.height_mm));
        assert_eq!(touch.program.dwells.len(), 2);
    }
}

#[test]
fn a_blank_turned_by_its_edges_needs_no_pins() {
    let ticket = read(&changed("underside = \"relieved\"", PINLESS));
    let foot = &written(&ticket)[1];
    assert!(!foot.steps().iter().any(|(_, step)| matches!(step, Step::PinHoles | Step::Pins)));
    assert!(foot.prove(&foot.written).proof.pass);
    let limits: Vec<_> = job::check(&ticket).unwrap().feet[0].findings.iter().map(|f| f.limit).collect();
    assert!(limits.contains(&"turned_by_edges"));
}

/// Where the stabiliser fills the whole hollow there is nothing to turn for.
#[test]
fn without_a_hollow_there_is_one_clamping() {
    let ticket = read(&changed("flex_zone_thickness = 3\nlength", "stabiliser_share = 1\nlength"));
    let report = job::check(&ticket).unwrap();
    assert!(report.feet[0].findings.iter().any(|f| f.limit == "no_hollow"));
    let foot = &written(&ticket)[0];
    assert!(foot.written.iter().all(|w| w.face == Face::Top) && foot.written.len() == 4);
    assert!(foot.written.iter().all(|w| !w.text.contains("TURNED")));
    let proved = foot.prove(&foot.written);
    assert!(proved.proof.pass);
    assert_eq!(proved.thickness, Thickness::BothSides);
    assert!(proved.values.contains_key(&Value::FlexZoneThickness));
}

#[test]
fn what_leaves_no_room_for_pins_is_told_before_anything_is_cut() {
    let found = |from: &str, to: &str| -> Vec<(&str, Severity)> {
        let report = job::check(&read(&changed(from, to))).unwrap();
        report.feet[0].findings.iter().map(|f| (f.limit, f.severity)).collect()
    };
    assert!(found("length = 300.0", "length = 290.0").contains(&("pin_room", Severity::Stop)));
    let high = "underside = \"relieved\"\npins = { height = 9 }";
    assert!(found("underside = \"relieved\"", high).contains(&("pin_height", Severity::Stop)));
    // The longest that is told still has room, and the next millimetres do not.
    let report = job::check(&read(RELIEVED)).unwrap();
    let longest = report.feet[0].values[&Value::Length].feasible.unwrap()[1];
    let asked = |mm: f64| changed("length = 264", &format!("length = {mm:.1}"));
    let passes =
        |mm: f64| job::check(&read(&asked(mm))).unwrap().feet[0].findings.iter().all(|f| f.limit != "pin_room");
    assert!(longest > 264.0 && passes((longest * 10.0).floor() / 10.0) && !passes(longest + 4.0), "{longest}");
    let as_is = found("length = 300.0", "length = 300.0");
    assert!(as_is.contains(&("hollow_support", Severity::Caution)));
    assert!(as_is.iter().all(|(_, severity)| *severity != Severity::Stop));
}

#[test]
fn pins_that_cannot_be_are_refused_where_they_are_written() {
    let refused = |pins: &str| read_with(&changed("underside = \"relieved\"", pins), &Shelf::built_in()).unwrap_err();
    let with = |pins: &str| format!("underside = \"relieved\"\npins = {pins}");
    assert!(refused(&with("{ diameters = [8, 8] }")).contains("either way round"));
    assert!(refused(&with("{ diameters = [8, 5] }")).contains("thinner than the perimeter cutter"));
    assert!(refused(&format!("{PINLESS}\npins = {{ height = 3 }}")).contains("edges"));
    assert!(refused("underside = \"relieved\"\nturning = \"luck\"").contains("turning"));
}

/// With a stored zero of its own the underside's programs count from G55, and only those.
#[test]
fn each_face_counts_from_its_own_zero() {
    let machine = include_str!("../profiles/machines/small-mill.toml");
    let machine = machine.replacen("end = ", "under_offset = \"g55\"\nend = ", 1);
    let shelf = Shelf::built_in().with_files([(Kind::Machine, "small-mill.toml", machine)]).unwrap();
    let ticket = read_with(RELIEVED, &shelf).unwrap();
    for written in written(&ticket).iter().flat_map(|foot| &foot.written) {
        let (wanted, other) = if written.face == Face::Under { (55, 54) } else { (54, 55) };
        assert_eq!(written.program.offset, wanted);
        let back = Written::from_text(&written.file, written.text.as_bytes(), &ticket.make).unwrap();
        assert_eq!((back.face, back.step, back.cutter), (written.face, written.step, written.cutter.clone()));
        // Under another name its comments still say what it is.
        let renamed = Written::from_text("a.ngc", written.text.as_bytes(), &ticket.make).unwrap();
        assert_eq!((renamed.face, renamed.step), (written.face, written.step));
        let swapped = written.text.replace(&format!("G{wanted}\n"), &format!("G{other}\n"));
        let refused = Written::from_text(&written.file, swapped.as_bytes(), &ticket.make).unwrap_err();
        assert!(refused.to_string().contains(&format!("it counts from G{other}")), "{refused}");
    }
}

/// A program for the underside of a flat piece cuts where nothing may be cut.
#[test]
fn a_flat_piece_has_no_underside_to_cut() {
    let flat = read(&changed("underside = \"relieved\"", "underside = \"flat\""));
    let foot = &written(&flat)[0];
    let proved = foot.prove(&PAIR[0].of(Face::Under));
    assert!(proved.proof.violations.iter().any(|v| v.kind == ViolationKind::Gouge));
    assert_eq!(foot.design.order.side, Side::Left);
    let over_pins: Vec<Written> = PAIR[0].written.iter().filter(|w| w.step == Step::Pins).cloned().collect();
    let crashed = foot.prove(&over_pins);
    assert!(crashed.proof.violations.iter().any(|v| v.kind == ViolationKind::SpindleOff));
}

/// From the ticket to a folder, and from the folder's texts back to a proof.
#[test]
fn the_command_mills_and_proves_both_faces() {
    let shop = Shop::new();
    let ticket = shop.write("ticket.toml", RELIEVED);
    let out = shop.path("jobs");
    let milled = ran(mill(&ticket, &out).args(["--side", "right"]));
    assert_eq!(milled.code, 0, "{}{}", milled.out, milled.err);
    let job = out.join("HOLLOW-1-r1");
    let report = assert_whole(&job);
    assert_eq!(report["milling"]["pins"].as_array().unwrap().len(), 2);
    assert_eq!(report["proof"]["feet"]["right"]["thickness"], "both_sides");
    for program in report["programs"].as_array().unwrap() {
        let m: Vec<f64> = program["bench_from_mill"].as_array().unwrap().iter().map(|x| x.as_f64().unwrap()).collect();
        let linear = nalgebra::Matrix3::new(m[0], m[1], m[2], m[4], m[5], m[6], m[8], m[9], m[10]);
        assert_eq!(linear.determinant(), 1.0, "{}", program["file"]);
    }
    let prove = |pick: &str| {
        let names = seen_names(&job).into_iter().filter(|name| name.ends_with(".ngc") && name.contains(pick));
        let texts = names.map(|name| job.join(name));
        let mut command = sustent(["prove"]);
        ran(command.args(texts).arg("--ticket").arg(&ticket).args(["--side", "right"]))
    };
    let both = prove("-R-");
    assert_eq!(both.code, 0, "{}{}", both.out, both.err);
    assert!(both.out.contains("flex zone thickness") && !both.out.contains("from the top alone"), "{}", both.out);
    let top = prove("-top-");
    assert_eq!(top.code, 0, "{}{}", top.out, top.err);
    assert!(top.out.contains("from the top alone") && !top.out.contains("flex zone thickness"), "{}", top.out);
}
