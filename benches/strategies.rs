//! Finishing strategies beside each other: length, time and what is left on the carved piece, for
//! several tickets on two machines. Nothing here is a test: the printed table is what counts.
//!
//! usage: cargo bench --bench strategies [-- TICKET.toml ...]

use std::sync::LazyLock;

use rayon::prelude::*;
use sustent::carve::{self, Cut, Rules};
use sustent::job::{self, Design, Precision};
use sustent::nc::{self, Header};
use sustent::path::{self, Cutting, Motion, Target, Toolpath};
use sustent::profile::{Machine, Shelf, WorkOffset};
use sustent::ticket::{self, Passes, Ticket};

const DEMO: &str = include_str!("../output-samples/PATROL-07/ticket.toml");
const MACHINES: [&str; 2] = ["fast-router", "small-mill"];

static SHELF: LazyLock<Shelf> = LazyLock::new(Shelf::built_in);

/// The demo with lines put in the place of others.
const VARIANTS: [(&str, &[(&str, &str)]); 6] = [
    ("demo", &[]),
    ("scallop 0.04", &[("cover = 1.0", "cover = 1.0\nscallop = 0.04")]),
    ("ball-10", &[("cover = 1.0", "cover = 1.0\ncutters = { finishing = \"ball-10\" }")]),
    ("bull-10", &[("cover = 1.0", "cover = 1.0\ncutters = { finishing = \"bull-10\" }")]),
    ("taper-6", &[("cover = 1.0", "cover = 1.0\ncutters = { finishing = \"taper-6\" }")]),
    (
        "cup 20",
        &[
            ("blank = \"foam-300\"", "blank = \"foam-330\""),
            ("length = 300.5", "length = 330.2"),
            ("width = 120.2", "width = 130.1"),
            ("height = 29.7", "height = 34.8"),
            ("heel_cup_depth = 12\n", "heel_cup_depth = 20\n"),
        ],
    ),
];

fn main() {
    let files: Vec<String> = std::env::args().skip(1).filter(|a| a.ends_with(".toml")).collect();
    println!(
        "lengths in m, times in s, heights in mm; `ratio` to the constant raster along, `bound` to the least length"
    );
    for (name, changes) in VARIANTS.iter().filter(|_| files.is_empty()) {
        let text = changes.iter().fold(DEMO.to_owned(), |text, (from, to)| {
            assert!(text.contains(from), "the demo has no line {from}");
            text.replace(from, to)
        });
        measure(name, &text);
    }
    for file in files {
        measure(&file, &std::fs::read_to_string(&file).expect("the ticket can be read"));
    }
}

fn measure(name: &str, text: &str) {
    let alone = |_: &str| Err("no other file is read".to_owned());
    let ticket = match ticket::read(text, name, &SHELF, &alone) {
        Ok(ticket) => ticket,
        Err(problems) => return println!("{name}: {problems:?}"),
    };
    let design = job::design(&ticket, &ticket.feet[0]).expect("the ticket can be designed");
    let target = target(&ticket, &design, Precision::SHOP.plan_mm);
    let cutting = Cutting::of(&ticket.make);
    let yardstick = path::yardstick(&target, &cutting).expect("the target can be measured");
    let least = yardstick.least_mm;
    println!(
        "\n{name}: {} at {} mm, least length {:.2} m, raster step {:.2} mm",
        cutting.finishing.name,
        cutting.scallop_mm,
        least / 1e3,
        yardstick.raster_step_mm
    );
    println!(
        "{:10} {:>7} {:>6} {:>6} {:>7} {:>7} | {}",
        "passes",
        "length",
        "bound",
        "lines",
        "p99",
        "max",
        MACHINES.map(|m| format!("{m:>11} {:>6}", "ratio")).join(" ")
    );
    let machines = MACHINES.map(|m| SHELF.machine(m).expect("it is on the shelf"));
    let seconds = |path: &Toolpath| machines.map(|m| nc::estimate_s(path, m).expect("it can be timed"));
    let raster = seconds(&yardstick.raster);
    let strategies = [Passes::Along, Passes::Across, Passes::Rings].map(|passes| (format!("{passes:?}"), passes));
    let plan = |passes| {
        let cutting = Cutting { passes, ..cutting.clone() };
        path::finish(&target, &cutting, &|_| 0.0).expect("it can be planned")
    };
    let planned: Vec<(String, Toolpath)> =
        strategies.into_par_iter().map(|(name, passes)| (name, plan(passes))).collect();
    for (name, path) in [("constant".to_owned(), yardstick.raster.clone())].iter().chain(&planned) {
        let (p99, max) = standing(&ticket, &target, path);
        let times = seconds(path);
        let ratios: Vec<String> = times.iter().zip(raster).map(|(t, r)| format!("{t:>11.1} {:>6.3}", t / r)).collect();
        let length = cut_length(path);
        println!(
            "{name:10} {:>7.2} {:>6.3} {:>6} {p99:>7.4} {max:>7.4} | {}",
            length / 1e3,
            length / least,
            path.moves.len(),
            ratios.join(" ")
        );
    }
    for (k, machine) in machines.iter().enumerate() {
        let cutting = Cutting { passes: Passes::Quickest, ..cutting.clone() };
        let chosen = path::finish(&target, &cutting, &|path| nc::estimate_s(path, machine).unwrap_or(f64::INFINITY))
            .expect("it can be planned");
        let which =
            planned.iter().find(|(_, path)| path.moves == chosen.moves).map_or("none of these", |(name, _)| name);
        println!(
            "quickest on {}: {which}, ratio {:.3}, bound {:.3}",
            MACHINES[k],
            seconds(&chosen)[k] / raster[k],
            cut_length(&chosen) / least
        );
    }
}

fn target(ticket: &Ticket, design: &Design, step_mm: f64) -> Target {
    let lay = &job::lay(&ticket.make, &[design]).lays[0];
    job::target(&design.footbed, lay.top, &ticket.make, step_mm)
}

fn cut_length(path: &Toolpath) -> f64 {
    let cuts = path.moves.windows(2).filter(|w| matches!(w[1].motion, Motion::Feed(_)));
    cuts.map(|w| (w[1].to - w[0].to).norm()).sum()
}

/// Scallop heights on the piece that the written path alone leaves of a blank.
fn standing(ticket: &Ticket, target: &Target, path: &Toolpath) -> (f64, f64) {
    let machine: &Machine = &ticket.make.machine;
    let header = Header {
        code: "BENCH".into(),
        revision: 1,
        side: sustent::frame::Side::Left,
        face: "top",
        offset: WorkOffset::G54,
        zero: String::new(),
        blank: String::new(),
        ticket_sha256: String::new(),
        cautions: vec![],
    };
    let text = nc::write(path, machine, &header).expect("it can be written");
    let program = nc::read(text.as_bytes(), &nc::acceptance(machine)).expect("it can be read");
    let cut = Cut {
        name: "finish",
        step: path.step,
        program: &program,
        cutter: &path.cutter,
        timing: &nc::time(&program, machine),
    };
    let rules = Rules {
        step_mm: Precision::SHOP.carve_mm,
        gouge_mm: 0.02,
        left_mm: None,
        bed_cut_mm: 0.0,
        travel_mm: [2000.0; 3],
        overrun_mm: 50.0,
        floor: None,
        hold: None,
        keep_out: vec![],
        deepest_cut_mm: 100.0,
        least_chip_mm: 0.0,
    };
    let proof = carve::prove(&[cut], target, &rules).expect("it can be carved");
    (proof.scallop_p99_mm.unwrap_or(f64::NAN), proof.scallop_max_mm.unwrap_or(f64::NAN))
}
