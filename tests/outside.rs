//! Against programs that other people wrote for other ends: an interpreter of RS274/NGC, a
//! drop-cutter library, a morphology library, and a beam on springs in scipy.
//!
//! Their answers for the inputs below are committed in `tests/data/`, so that `cargo test` alone
//! checks them. When `SUSTENT_OUTSIDE` names a folder, larger inputs and our answers are written
//! there, and `.ci/outside.sh` asks the outside programs themselves; `SUSTENT_SAMPLES` names a
//! folder whose programs go along.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use sustent::flex::{BEYOND, Grip, Region, Spring, settle, stiffness};
use sustent::footbed::{Footbed, Underside};
use sustent::frame::{Point2, Point3, Rect, Side};
use sustent::grid::{Grid, Lattice, envelope};
use sustent::job;
use sustent::kernel::{Shape, Surface};
use sustent::nc::{Acceptance, Header, Program, acceptance, read, write};
use sustent::path::{Motion, Move, Step, Toolpath};
use sustent::profile::{Cutter, DwellWord, EndWord, Machine, Shelf, WorkOffset};
use sustent::ticket;

/// Four decimals are printed by the interpreter, three by the writer: half of the last place and a
/// little for the comparison itself.
const PLACE_MM: f64 = 0.00006;

/// Tip heights of two exact methods on one mesh may differ by the other's own tolerance.
const HEIGHT_MM: f64 = 0.001;

// ---------------------------------------------------------------- programs

#[test]
fn the_interpreter_reads_a_foreign_program_as_we_do() {
    let program = read(&bytes("free-form.ngc"), &loose('P', 2)).unwrap();
    let ours = events(&program);
    let theirs = table("interpreter-free-form.csv");
    assert_eq!(ours.len(), theirs.len());
    for (our, their) in ours.iter().zip(&theirs) {
        assert_eq!(our.kind, their[0], "line {}", our.line);
        for (number, text) in our.numbers.iter().zip(&their[1..]) {
            let Some(number) = number else { continue };
            let theirs: f64 = text.parse().unwrap();
            assert!((number - theirs).abs() < PLACE_MM, "line {}: {number} {theirs}", our.line);
        }
    }
}

/// Every program of the samples is accepted; with `SUSTENT_OUTSIDE` all of them, programs from our
/// writer, programs in free form and damaged programs that we still accept are handed on.
#[test]
fn programs_are_handed_to_the_interpreter() {
    let mut programs = vec![("free-form".to_string(), bytes("free-form.ngc"))];
    programs.extend(samples().into_iter().map(|path| (flat_name(&path), fs::read(path).unwrap())));
    let mut random = Random(0x5eed);
    programs.extend((0..20).map(|n| (format!("written-{n}"), written(&mut random).into_bytes())));
    programs.extend((0..100).map(|n| (format!("free-{n}"), free_form(&mut random).into_bytes())));
    let sound = programs.len();
    programs.extend((0..600).map(|n| (format!("damaged-{n}"), damaged(&mut random))));
    let mut accepted = 0;
    for (n, (name, text)) in programs.iter().enumerate() {
        match read_any(text) {
            Ok(program) => {
                accepted += 1;
                hand_on(&format!("programs/{name}.ngc"), text);
                hand_on(&format!("programs/{name}.csv"), csv(&program).as_bytes());
            }
            Err(why) => assert!(n >= sound, "{name}: {why}"),
        }
    }
    assert!(accepted > sound && accepted < programs.len(), "some damage is harmless, most is not: {accepted}");
}

/// What a program orders, one row each, in a form that does not depend on how it is written.
struct Event {
    line: usize,
    kind: &'static str,
    /// x, y, z, feed, spindle; for a dwell its seconds. `None` where the text does not say.
    numbers: [Option<f64>; 5],
}

fn events(program: &Program) -> Vec<Event> {
    let travels = program.travels.iter().enumerate().map(|(i, t)| {
        let known = i + 1 >= program.opening;
        let feed = (!t.rapid).then_some(t.feed_mm_min);
        Event {
            line: t.line,
            kind: if t.rapid { "rapid" } else { "feed" },
            numbers: [known.then_some(t.to.x), known.then_some(t.to.y), Some(t.to.z), feed, Some(t.spindle_rpm)],
        }
    });
    let dwells = program.dwells.iter().map(|d| Event {
        line: d.line,
        kind: "dwell",
        numbers: [Some(d.seconds), None, None, None, None],
    });
    let mut events: Vec<Event> = travels.chain(dwells).collect();
    events.sort_by_key(|event| event.line);
    events
}

fn csv(program: &Program) -> String {
    let mut text = String::from("line,kind,x,y,z,feed,spindle\n");
    for event in events(program) {
        let numbers = event.numbers.map(|n| n.map_or(String::new(), |n| n.to_string())).join(",");
        writeln!(text, "{},{},{numbers}", event.line, event.kind).unwrap();
    }
    text
}

fn loose(dwell_letter: char, end_m: u32) -> Acceptance {
    Acceptance {
        line_limit: 250,
        dwell_letter,
        dwell_unit_s: 1.0,
        end_m,
        motion_word_each_line: false,
        decimals: 9,
        refuses: vec![],
    }
}

/// Reads a program of a controller that is not known here.
fn read_any(text: &[u8]) -> Result<Program, String> {
    let ends = [2, 30].map(|end| read(text, &loose('P', end)));
    let [two, thirty] = ends;
    two.or(thirty).map_err(|why| why.to_string())
}

fn machine(end: EndWord, motion_word_each_line: bool) -> Machine {
    Machine {
        name: "bench".into(),
        title: "for tests".into(),
        travel_mm: [600.0, 400.0, 100.0],
        rate_mm_min: [5000.0, 5000.0, 2000.0],
        acceleration_mm_s2: [400.0, 400.0, 200.0],
        junction_deviation_mm: 0.02,
        look_ahead: 16,
        line_time_s: 0.002,
        safe_above_blank_mm: 10.0,
        spindle_rpm: [8000.0, 24000.0],
        spin_up_s: 2.5,
        dwell: DwellWord::PSeconds,
        end,
        arcs: false,
        motion_word_each_line,
        line_limit: 70,
        decimals: 3,
        refuses: vec![],
        bed_cut_mm: 0.0,
        under_offset: WorkOffset::G54,
    }
}

/// A program from our own writer, over random places.
fn written(random: &mut Random) -> String {
    let mut at = Point3::new(random.between(-50.0, 350.0), random.between(-50.0, 150.0), 45.0);
    let mut moves = vec![Move { motion: Motion::Rapid, to: at }];
    for _ in 0..random.below(60) {
        let next = Point3::new(random.between(-50.0, 350.0), random.between(-50.0, 150.0), random.between(0.0, 40.0));
        if random.below(4) == 0 {
            let over = Point3::new(next.x, next.y, 45.0);
            let lift = Point3::new(at.x, at.y, 45.0);
            moves.extend([lift, over, next].map(|to| Move { motion: Motion::Rapid, to }));
        } else {
            moves.push(Move { motion: Motion::Feed(random.between(1.0, 6000.0)), to: next });
        }
        at = next;
    }
    let cutter = Cutter {
        name: "ball-6".into(),
        shape: Shape::Ball { radius: 3.0 },
        flutes: 2,
        flute_length_mm: 22.0,
        shank_diameter_mm: 6.0,
        stickout_mm: 35.0,
        holder_diameter_mm: 25.0,
    };
    let path = Toolpath { step: Step::Finish, cutter, spindle_rpm: random.between(8000.0, 24000.0).round(), moves };
    let offset = if random.below(2) == 0 { WorkOffset::G54 } else { WorkOffset::G55 };
    let header = Header {
        code: "demo".into(),
        revision: 1,
        side: Side::Left,
        face: "top",
        offset,
        zero: "the board".into(),
        blank: "(MSG, a hostile note) M6 ; # %".into(),
        ticket_sha256: "0".repeat(64),
        cautions: vec!["LOG, none".into()],
    };
    let end = if random.below(2) == 0 { EndWord::M2 } else { EndWord::M30 };
    let machine = machine(end, random.below(2) == 0);
    let text = write(&path, &machine, &header).unwrap();
    read(text.as_bytes(), &acceptance(&machine)).unwrap();
    text
}

/// A program in every freedom of form that the standard gives.
fn free_form(random: &mut Random) -> String {
    let mut text = String::from("g21g17 G90 (mm) g94\nG40 G049 G80\nG54\ng0 Z50\nG00 X0 Y0\n");
    let mut feed_is_set = false;
    for _ in 0..30 {
        let mut words = Vec::new();
        match random.below(8) {
            0 => words.push(format!("m3 s{}", random.below(20000))),
            1 => words.push("M05".to_string()),
            2 => words.push(format!("f{}", random.number(10.0, 5000.0))),
            3 => {
                text.push_str(&format!("g4 p{}\n", random.number(0.0, 3.0)));
                continue;
            }
            _ => {}
        }
        feed_is_set |= words.iter().any(|w| w.starts_with('f'));
        let feeds = feed_is_set && random.below(3) > 0;
        let axes: Vec<char> = "xYz".chars().filter(|_| random.below(2) == 0).collect();
        if !axes.is_empty() {
            words.push(if feeds { "g01".to_string() } else { "G0".to_string() });
        }
        words.extend(axes.iter().map(|axis| format!("{axis}{}", random.number(-200.0, 200.0))));
        random.shuffle(&mut words);
        let gap = ["", " ", "\t", " (between) "][random.below(4)];
        text.push_str(&words.join(gap));
        text.push_str(["\n", "\r\n", " \n\n", " (end of line)\n"][random.below(4)]);
    }
    text + "m2\n"
}

/// A program from our writer with a few characters changed, lost or doubled.
fn damaged(random: &mut Random) -> Vec<u8> {
    let mut bytes = written(random).into_bytes();
    for _ in 0..=random.below(3) {
        let at = random.below(bytes.len());
        let spare = b"0123456789.-+ XYZFGMSPN()\n"[random.below(26)];
        match random.below(3) {
            0 => bytes[at] = spare,
            1 => bytes.insert(at, spare),
            _ => drop(bytes.remove(at)),
        }
    }
    bytes
}

// ---------------------------------------------------------------- tip heights

/// Cutters as the drop-cutter library names them: kind, diameter, radius of corner or tip, half of
/// the cone's angle in degrees.
const CUTTERS: [(&str, f64, f64, f64); 4] =
    [("ball", 6.0, 3.0, 0.0), ("flat", 6.0, 0.0, 0.0), ("bull", 8.0, 1.5, 0.0), ("taper", 8.0, 1.0, 15.0)];

fn shape((kind, diameter, corner, half_angle_deg): (&str, f64, f64, f64)) -> Shape {
    let radius = diameter / 2.0;
    match kind {
        "ball" => Shape::ball(radius).unwrap(),
        "flat" => Shape::flat(radius).unwrap(),
        "bull" => Shape::bull(radius, corner).unwrap(),
        _ => Shape::taper(corner, half_angle_deg, radius).unwrap(),
    }
}

/// A hollow with a steep rim and waves, as a footbed has them, and sharper.
fn hollow(p: Point2) -> f64 {
    let rim = 12.0 / (1.0 + (-(p.x * p.x / 400.0 + p.y * p.y / 150.0 - 1.0) * 3.0).exp());
    6.0 + rim + 1.5 * (p.x / 4.0).sin() * (p.y / 3.0).cos() + if p.x > 15.0 { 2.0 } else { 0.0 }
}

fn hollow_grid() -> Grid {
    Grid::from_fn(Lattice::covering(Rect { x0: -30.0, y0: -20.0, x1: 30.0, y1: 20.0 }, 0.5), hollow)
}

#[test]
fn tip_heights_are_those_of_a_drop_cutter_library() {
    let grid = hollow_grid();
    let surface = Surface::new(&grid).unwrap();
    hand_on_heights(&grid, &surface);
    for named in CUTTERS {
        let (kind, cutter) = (named.0, shape(named));
        let rows = table(&format!("opencamlib-{kind}.csv"));
        assert!(rows.len() >= 300);
        for row in rows {
            let [x, y, theirs] = [0, 1, 2].map(|i: usize| row[i].parse::<f64>().unwrap());
            let ours = surface.reach(&cutter, Point2::new(x, y));
            assert!((ours - theirs).abs() < HEIGHT_MM, "{kind} at {x} {y}: ours {ours}, theirs {theirs}");
        }
    }
}

fn hand_on_heights(grid: &Grid, surface: &Surface) {
    hand_on("hollow.csv", heights_csv(grid).as_bytes());
    let mut random = Random(0xd10b);
    for named in CUTTERS {
        let (cutter, (kind, diameter, corner, half_angle_deg)) = (shape(named), named);
        let mut text = format!("# {kind},{diameter},{corner},{half_angle_deg}\nx,y,z\n");
        for _ in 0..5000 {
            // Whole hundredths survive a text unchanged; the cutter stays over the mesh.
            let [x, y] = [25.0, 15.0].map(|half| (random.between(-half, half) * 100.0).round() / 100.0);
            writeln!(text, "{x},{y},{}", surface.reach(&cutter, Point2::new(x, y))).unwrap();
        }
        hand_on(&format!("tips-{kind}.csv"), text.as_bytes());
    }
}

// ---------------------------------------------------------------- envelopes

/// Radius of the ball whose envelope is compared; no node lies exactly on it.
const BALL_MM: f64 = 3.1;

fn drop_of_ball(q: f64) -> f64 {
    BALL_MM - (BALL_MM * BALL_MM - q * q).max(0.0).sqrt()
}

#[test]
fn envelopes_are_those_of_a_morphology_library() {
    let rect = Rect { x0: -12.0, y0: -9.0, x1: 12.0, y1: 9.0 };
    let small = Grid::from_fn(Lattice::covering(rect, 1.0), hollow);
    for (name, grid) in [("small", &small), ("fine", &hollow_grid())] {
        let after = envelope(grid, BALL_MM, drop_of_ball);
        hand_on(&format!("envelope-{name}-before.csv"), heights_csv(grid).as_bytes());
        hand_on(&format!("envelope-{name}-after.csv"), heights_csv(&after).as_bytes());
    }
    let raised = envelope(&small, BALL_MM, drop_of_ball);
    let rows = table("scipy-envelope.csv");
    assert_eq!(rows.len(), small.lattice.ny);
    for (j, row) in rows.iter().enumerate() {
        assert_eq!(row.len(), small.lattice.nx);
        for (i, theirs) in row.iter().enumerate() {
            let (ours, theirs) = (raised.at(i, j), theirs.parse::<f64>().unwrap());
            assert!((ours - theirs).abs() < 1e-9, "node {i} {j}: ours {ours}, theirs {theirs}");
        }
    }
}

/// The lattice in a comment line, then a line of heights for each row.
fn heights_csv(grid: &Grid) -> String {
    let lat = grid.lattice;
    let mut text = format!("# {},{},{}\n", lat.x0, lat.y0, lat.step);
    for row in grid.z.chunks(lat.nx) {
        let row: Vec<String> = row.iter().map(f64::to_string).collect();
        writeln!(text, "{}", row.join(",")).unwrap();
    }
    text
}

// ---------------------------------------------------------------- files

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn bytes(name: &str) -> Vec<u8> {
    let path = root().join("tests/data").join(name);
    fs::read(&path).unwrap_or_else(|why| panic!("{}: {why}", path.display()))
}

/// Rows of a committed table, without comment lines.
fn table(name: &str) -> Vec<Vec<String>> {
    let text = String::from_utf8(bytes(name)).unwrap();
    let rows = text.lines().filter(|line| !line.starts_with('#'));
    rows.map(|line| line.split(',').map(str::to_string).collect()).collect()
}

fn samples() -> Vec<PathBuf> {
    let folder = std::env::var_os("SUSTENT_SAMPLES").map_or_else(|| root().join("output-samples"), PathBuf::from);
    let mut found = Vec::new();
    collect(&folder, &mut found);
    found.sort();
    found
}

fn collect(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let path = entry.path();
        if path.is_dir() {
            collect(&path, found);
        } else if path.extension().is_some_and(|e| e == "ngc") {
            found.push(path);
        }
    }
}

/// Folder and name, because two jobs may hold programs of one name.
fn flat_name(path: &Path) -> String {
    let last_two: Vec<_> =
        path.with_extension("").iter().rev().take(2).map(|p| p.to_string_lossy().to_string()).collect();
    format!("sample-{}", last_two.into_iter().rev().collect::<Vec<_>>().join("--"))
}

/// Writes for the outside programs, when they are to be asked.
fn hand_on(name: &str, contents: &[u8]) {
    let Some(folder) = std::env::var_os("SUSTENT_OUTSIDE") else { return };
    let path = PathBuf::from(folder).join(name);
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    fs::write(path, contents).unwrap();
}

// ---------------------------------------------------------------- strip

/// Modulus of the strip, MPa: firm foam.
const STRIP_MPA: f64 = 3.0;
/// Distance of the strip's rows, mm.
const STRIP_STEP_MM: f64 = 1.0;

/// A strip along the middle of the demo's left foot, hollowed: y, thickness, gap, load, and where our plate comes to rest
/// when it is as wide as a few knots and has no Poisson's ratio.
#[test]
fn a_strip_of_the_demo_sinks_as_the_beam_of_scipy() {
    let theirs: Vec<[f64; 5]> = numbers(&table("scipy-strip.csv"));
    let asked: Vec<[f64; 4]> = theirs.iter().map(|[y, thick, gap, load, _]| [*y, *thick, *gap, *load]).collect();
    let most = theirs.iter().fold(0.0, |most: f64, row| most.max(row[4]));
    for (ours, row) in rested(&asked).iter().zip(&theirs) {
        assert!((ours - row[4]).abs() < 0.01 * most, "at y {} ours {ours}, theirs {}", row[0], row[4]);
    }
}

#[test]
fn the_strip_is_handed_on() {
    let strip = demo_strip();
    let sinks = rested(&strip);
    assert!(sinks.iter().all(|w| w.is_finite()));
    let mut text = format!("# {STRIP_MPA}\ny,thickness,gap,load,deflection\n");
    for ([y, thick, gap, load], w) in strip.iter().zip(sinks) {
        writeln!(text, "{y},{thick},{gap},{load},{w}").unwrap();
    }
    hand_on("strip.csv", text.as_bytes());
}

fn numbers<const N: usize>(rows: &[Vec<String>]) -> Vec<[f64; N]> {
    rows.iter().map(|row| std::array::from_fn(|k| row[k].trim().parse().unwrap())).collect()
}

/// Sections of the demo from heel to met line, with three humps of pressure.
fn demo_strip() -> Vec<[f64; 4]> {
    let text = include_str!("../output-samples/PATROL-07/ticket.toml");
    let ticket = ticket::read(text, "ticket.toml", &Shelf::built_in(), &|_| Err(String::new())).unwrap();
    let design = job::design(&ticket, &ticket.feet[0]).unwrap();
    let underside = Underside::Relieved { left_mm: 5.0, stabiliser_share: 0.0 };
    let footbed = Footbed { underside, ..design.footbed };
    let (from, to) = (10.0, footbed.places.first_met.y + 20.0);
    let count = ((to - from) / STRIP_STEP_MM) as usize;
    let hump = |y: f64, middle: f64, half: f64, mpa: f64| mpa * (1.0 - ((y - middle) / half).powi(2)).max(0.0);
    (0..=count)
        .map(|k| {
            let y = from + k as f64 * STRIP_STEP_MM;
            let p = Point2::new(4.0, y);
            let (top, under) = (footbed.top_at(p), footbed.underside_at(p));
            let load = hump(y, 38.0, 28.0, 0.12) + hump(y, 106.0, 25.0, 0.004) + hump(y, 190.0, 18.0, 0.09);
            [y, top - under, under, load].map(|x| (x * 1e6).round() / 1e6)
        })
        .collect()
}

fn rested(strip: &[[f64; 4]]) -> Vec<f64> {
    let at = |y: f64, column: usize| {
        let u = (y - strip[0][0]) / STRIP_STEP_MM;
        let k = (u.max(0.0) as usize).min(strip.len() - 2);
        strip[k][column] + (u - k as f64) * (strip[k + 1][column] - strip[k][column])
    };
    let (y0, y1) = (strip[0][0], strip[strip.len() - 1][0]);
    let corners = [(0.0, y0), (4.0, y0), (4.0, y1), (0.0, y1)].map(|(x, y)| Point2::new(x, y));
    let region = Region::inside(&corners, 1.0).unwrap();
    let rigidity: Vec<f64> = region.places.iter().map(|p| STRIP_MPA * at(p.at.y, 1).powi(3) / 12.0).collect();
    let plate = stiffness(&region, &rigidity, 0.0, BEYOND);
    let mut load = vec![0.0; region.basis.len()];
    for place in &region.places {
        for (i, t) in place.local.indices().into_iter().zip(place.local.terms(0, 0)) {
            load[i] += at(place.at.y, 3) * place.area_mm2 * t;
        }
    }
    let springs: Vec<Spring> = region
        .touches
        .iter()
        .map(|p| Spring::under(&p.local, at(p.at.y, 2), STRIP_MPA / at(p.at.y, 1) * p.area_mm2, Grip::Pushes))
        .collect();
    let rest = settle(&plate, region.basis, &load, &springs, &[]).unwrap();
    strip.iter().map(|row| rest.sheet.height(Point2::new(2.0, row[0]))).collect()
}

// ---------------------------------------------------------------- chance

/// Xorshift (Marsaglia 2003, J Stat Softw 8(14)): the same numbers on every machine and in every
/// year, so that the committed answers stay theirs.
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    fn below(&mut self, n: usize) -> usize {
        (self.next() >> 11) as usize % n.max(1)
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * ((self.next() >> 11) as f64 / (1u64 << 53) as f64)
    }

    /// A number in one of the forms that mean the same.
    fn number(&mut self, low: f64, high: f64) -> String {
        let value = self.between(low, high);
        match self.below(5) {
            0 => format!("{value:.0}."),
            1 => format!("{value:.3}"),
            2 => format!("{value:08.3}"),
            3 => format!("{value:+.2}"),
            _ => format!("{value:.1}").replace('.', " . "),
        }
    }

    fn shuffle(&mut self, words: &mut [String]) {
        for i in (1..words.len()).rev() {
            words.swap(i, self.below(i + 1));
        }
    }
}
