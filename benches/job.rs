//! Where the time of the main job goes, stage by stage, on the demo pair. Nothing here is a test:
//! the printed table is what counts.
//!
//! usage: cargo bench [-- FILTER]
//!
//! Everything but `job` runs on one thread, so that figures do not depend on the machine's cores.
//!
//! `.ci/outside/bench.py` runs these beside other people's libraries. It names a folder in
//! `SUSTENT_BENCH`, and what both work on is written there first.

use std::fmt::Write as _;
use std::hint::black_box;
use std::path::Path;
use std::sync::LazyLock;

use divan::Bencher;
use divan::counter::ItemsCount;
use rayon::{ThreadPool, ThreadPoolBuilder};
use sustent::carve::Stock;
use sustent::frame::Point2;
use sustent::grid::{Grid, Lattice, envelope};
use sustent::job::{self, Design, Lay, Precision, Written};
use sustent::kernel::{Shape, Surface, Sweep};
use sustent::limits::Case;
use sustent::nc;
use sustent::path::{self, Cutting, Step, Target};
use sustent::profile::Shelf;
use sustent::sheet::{Basis, Problem};
use sustent::ticket::{self, Ticket};
use sustent::value::Value;

fn main() {
    if let Some(folder) = std::env::var_os("SUSTENT_BENCH") {
        hand_over(Path::new(&folder)).expect("what is measured can be written");
    }
    divan::main();
}

/// The demo's heights to cut, its finishing moves and the size of its sheet, as tables.
fn hand_over(folder: &Path) -> Result<(), Box<dyn std::error::Error>> {
    let Grid { lattice, z } = target(Precision::SHOP.plan_mm).surface;
    let mut heights = format!("# {},{},{}\n", lattice.x0, lattice.y0, lattice.step);
    for row in z.chunks(lattice.nx) {
        let row: Vec<String> = row.iter().map(|z| format!("{z:.6}")).collect();
        writeln!(heights, "{}", row.join(","))?;
    }
    let finish = finishing();
    let mut moves = String::new();
    for t in &finish.program.travels {
        let numbers = [t.from.x, t.from.y, t.from.z, t.to.x, t.to.y, t.to.z].map(|c| c.to_string());
        writeln!(moves, "{}", numbers.join(","))?;
    }
    let Basis { knot, nx, ny, .. } = DESIGN.footbed.top.basis;
    let blank = &TICKET.make.blank;
    let sizes = format!(
        "{nx},{ny},{knot},{PULL_EVERY_MM},{TENSION_PER_MM2},{},{},{},{}\n",
        finish.cutter.shape.radius(),
        blank.width_mm,
        blank.length_mm,
        blank.height_mm
    );
    std::fs::create_dir_all(folder)?;
    std::fs::write(folder.join("heights.csv"), heights)?;
    std::fs::write(folder.join("moves.csv"), moves)?;
    Ok(std::fs::write(folder.join("sizes.csv"), sizes)?)
}

fn finishing() -> &'static Written {
    WRITTEN.iter().find(|w| w.step == Step::Finish).expect("the demo has a finish")
}

const TEXT: &str = include_str!("../output-samples/PATROL-07/ticket.toml");
const CHECKSUM: &str = "0000000000000000000000000000000000000000000000000000000000000000";

static TICKET: LazyLock<Ticket> = LazyLock::new(|| {
    let alone = |_: &str| Err("the demo names no other file".to_owned());
    ticket::read(TEXT, "ticket.toml", &Shelf::built_in(), &alone).expect("the demo is a good ticket")
});
static DESIGN: LazyLock<Design<'static>> =
    LazyLock::new(|| job::design(&TICKET, &TICKET.feet[0]).expect("the demo can be designed"));
static LAY: LazyLock<Lay> = LazyLock::new(|| job::lay(&TICKET.make, &[&*DESIGN]).lays[0].clone());
static WRITTEN: LazyLock<Vec<Written>> = LazyLock::new(|| {
    job::write(&TICKET, &DESIGN, &LAY, CHECKSUM, Precision::SHOP).expect("programs of the demo can be written")
});

fn target(step_mm: f64) -> Target {
    let make = &TICKET.make;
    job::target(&DESIGN.footbed, LAY.top, make, step_mm)
}

fn cutting() -> Cutting {
    Cutting::of(&TICKET.make)
}

/// Columns and rows of places spread over all of a target that the whole cutter stays on.
fn spread(target: &Target, shape: &Shape, columns: usize, rows: usize) -> Vec<Point2> {
    let rect = target.surface.lattice.rect().grown(-shape.radius());
    let at = |k: usize, n: usize| (k as f64 + 0.5) / n as f64;
    let place = |k: usize| {
        Point2::new(rect.x0 + at(k % columns, columns) * rect.width(), rect.y0 + at(k / columns, rows) * rect.height())
    };
    (0..columns * rows).map(place).collect()
}

fn threads(count: usize) -> ThreadPool {
    ThreadPoolBuilder::new().num_threads(count).build().expect("threads can be started")
}

fn alone<T: Send>(work: impl FnOnce() -> T + Send) -> T {
    static ONE: LazyLock<ThreadPool> = LazyLock::new(|| threads(1));
    ONE.install(work)
}

/// Outline, sheet solve, read-back and limits of one foot.
#[divan::bench]
fn design(bencher: Bencher) {
    bencher.bench(|| alone(|| job::design(&TICKET, &TICKET.feet[0]).map(|design| design.findings.len())));
}

/// All limits of one foot and the interval of every value that needs no other design, on its own.
#[divan::bench]
fn limits(bencher: Bencher) {
    let case = Case {
        make: &TICKET.make,
        boot: &TICKET.boot,
        order: DESIGN.order,
        footbed: &DESIGN.footbed,
        read_back: &DESIGN.read_back,
    };
    bencher.bench(|| alone(|| sustent::limits::check(&case).1.len()));
}

/// The ends of sizes and cup width, which are found by designing again.
#[divan::bench(args = [1, 2], sample_count = 10)]
fn searched_ends(bencher: Bencher, count: usize) {
    let pool = threads(count);
    bencher.with_inputs(|| DESIGN.clone()).bench_values(|mut design| pool.install(|| design.search(&TICKET)));
}

/// Pulls of the sheet that is solved alone, mm apart.
const PULL_EVERY_MM: f64 = 5.0;
/// Its tension; any small one will do.
const TENSION_PER_MM2: f64 = 1e-4;

/// A thin plate with as many unknowns as the demo's sheet, pulled toward a wave at every few
/// millimetres: assembled, factored and solved once.
#[divan::bench]
fn sheet_solve(bencher: Bencher) {
    let basis = DESIGN.footbed.top.basis;
    let spots = |n: usize| ((n - 3) as f64 * basis.knot / PULL_EVERY_MM) as usize + 1;
    let (columns, rows) = (spots(basis.nx), spots(basis.ny));
    let place = |k: usize| {
        Point2::new(basis.x0 + (k % columns) as f64 * PULL_EVERY_MM, basis.y0 + (k / columns) as f64 * PULL_EVERY_MM)
    };
    let places: Vec<Point2> = (0..columns * rows).map(place).collect();
    let targets: Vec<f64> = places.iter().map(|p| (p.x / 17.0).sin() + (p.y / 31.0).cos()).collect();
    let solve = || {
        let pulls = places.iter().map(|&p| (basis.height(p), 1.0)).collect();
        let problem = Problem { basis, tension_per_mm2: TENSION_PER_MM2, pulls, conditions: vec![] };
        problem.factor().map(|fair| fair.solve(&targets, &[]))
    };
    bencher.counter(ItemsCount::new(basis.len())).bench(|| alone(solve));
}

/// The design as heights to cut, on the planning lattice.
#[divan::bench]
fn target_heights(bencher: Bencher) {
    LazyLock::force(&DESIGN);
    bencher.bench(|| alone(|| target(Precision::SHOP.plan_mm)));
}

/// Steps of lattices, mm, over which the cost of a cell should stay the same.
const STEPS_MM: [f64; 5] = [0.5, 0.25, 0.2, 0.125, 0.1];

/// Exact tip heights of the finishing ball at a million places spread over the footbed.
#[divan::bench(sample_count = 5)]
fn reach_of_a_million_points(bencher: Bencher) {
    let target = target(Precision::SHOP.plan_mm);
    let surface = Surface::new(&target.surface).expect("the target is a surface");
    let shape = TICKET.make.finishing.shape;
    let places = spread(&target, &shape, 1000, 1000);
    bencher.counter(ItemsCount::new(places.len())).bench(|| alone(|| surface.reach_many(&shape, &places)));
}

/// The cost of one tip height whatever the lattice: the same 100,000 places over lattices of ever finer
/// step. The facets under a cutter are 25 times as many at 0.1 mm as at 0.5; the time must not be.
/// The two coarse ones are for the drop-cutter library, which is at its best on few facets.
#[divan::bench(args = [4.0, 2.0, 0.5, 0.25, 0.2, 0.125, 0.1], sample_count = 3)]
fn reach_by_step(bencher: Bencher, step_mm: f64) {
    let target = target(step_mm);
    let surface = Surface::new(&target.surface).expect("the target is a surface");
    let shape = TICKET.make.finishing.shape;
    let places = spread(&target, &shape, 250, 400);
    bencher.counter(ItemsCount::new(places.len())).bench(|| alone(|| surface.reach_many(&shape, &places)));
}

/// Heights to cut and the lids over them, for every cell of the lattice.
#[divan::bench(args = STEPS_MM, sample_count = 3)]
fn surface_by_step(bencher: Bencher, step_mm: f64) {
    let cells = target(step_mm).surface.lattice.len();
    let made = || {
        let target = target(step_mm);
        Surface::new(&target.surface).map(|surface| surface.grid().z.len())
    };
    bencher.counter(ItemsCount::new(cells)).bench(|| alone(made));
}

/// Tip heights of each form of cutter, 6 mm wide.
#[divan::bench(args = ["flat", "ball", "bull-nose", "tapered ball"], sample_count = 3)]
fn reach_by_form(bencher: Bencher, form: &str) {
    let shape = match form {
        "flat" => Shape::flat(3.0),
        "ball" => Shape::ball(3.0),
        "bull-nose" => Shape::bull(3.0, 1.0),
        _ => Shape::taper(1.0, 15.0, 3.0),
    };
    let shape = shape.expect("these are cutters");
    let target = target(Precision::SHOP.plan_mm);
    let surface = Surface::new(&target.surface).expect("the target is a surface");
    let places = spread(&target, &shape, 500, 500);
    bencher.counter(ItemsCount::new(places.len())).bench(|| alone(|| surface.reach_many(&shape, &places)));
}

/// A lattice of the size of a footbed under a ball of 5 mm: 1257 cells at every node.
#[divan::bench]
fn node_envelope_1201_x_441(bencher: Bencher) {
    let lattice = Lattice { x0: 0.0, y0: 0.0, step: 0.25, nx: 441, ny: 1201 };
    let grid = Grid::from_fn(lattice, |p| 8.0 + 4.0 * (p.x / 17.0).sin() + 3.0 * (p.y / 31.0).cos());
    let shape = Shape::Ball { radius: 5.0 };
    let height = |q: f64| shape.height_at(q.min(shape.radius()));
    bencher.counter(ItemsCount::new(lattice.len())).bench(|| alone(|| envelope(&grid, shape.radius(), height)));
}

#[divan::bench(sample_count = 20)]
fn rough(bencher: Bencher) {
    let (target, cutting) = (target(Precision::SHOP.plan_mm), cutting());
    bencher.bench(|| alone(|| path::rough(&target, &cutting)));
}

/// All strategies are sketched and the quickest is planned, or those that come close.
#[divan::bench(sample_count = 20)]
fn finish(bencher: Bencher) {
    let (target, cutting) = (target(Precision::SHOP.plan_mm), cutting());
    let seconds = |path: &path::Toolpath| nc::estimate_s(path, &TICKET.make.machine).unwrap_or(f64::INFINITY);
    bencher.bench(|| alone(|| path::finish(&target, &cutting, &seconds)));
}

#[divan::bench(sample_count = 20)]
fn perimeter(bencher: Bencher) {
    let (target, cutting) = (target(Precision::SHOP.plan_mm), cutting());
    bencher.bench(|| alone(|| path::perimeter(&target, &cutting)));
}

/// The finishing program alone, carved move by move from a whole blank on lattices of ever finer
/// step. The count is the nodes under all moves.
#[divan::bench(args = STEPS_MM, sample_count = 10)]
fn carve(bencher: Bencher, step_mm: f64) {
    let target = target(Precision::SHOP.plan_mm);
    let finish = finishing();
    let mut sweeps: Vec<Sweep> = Vec::new();
    let mut cut_to = None;
    for t in &finish.program.travels {
        let sweep = Sweep::new(&finish.cutter.shape, t.from, t.to);
        sweeps.push(if cut_to == Some(t.from) { sweep.going_on() } else { sweep });
        cut_to = (!t.rapid).then_some(t.to);
    }
    let blank = Stock::new(target.blank, target.blank_top_mm, step_mm).expect("the demo's blank can be carved");
    let lattice = blank.grid().lattice;
    let under = |s: &Sweep| s.rows(&lattice).map(|j| s.columns(&lattice, j).len()).sum::<usize>();
    let low = sweeps.iter().filter(|s| s.low_mm() < target.blank_top_mm);
    bencher.counter(ItemsCount::new(low.map(under).sum::<usize>())).with_inputs(|| blank.clone()).bench_refs(|stock| {
        sweeps.iter().for_each(|sweep| {
            black_box(stock.carve(sweep));
        });
    });
}

/// Every program of one foot, carved and judged.
#[divan::bench(sample_count = 10)]
fn prove(bencher: Bencher) {
    LazyLock::force(&WRITTEN);
    bencher.bench(|| {
        alone(|| job::prove(&TICKET, &DESIGN, &LAY, &WRITTEN, Precision::SHOP).map(|proved| proved.proof.pass))
    });
}

/// The whole job of the demo pair, on one thread and on two.
#[divan::bench(args = [1, 2], sample_count = 5)]
fn job(bencher: Bencher, count: usize) {
    let pool = threads(count);
    bencher.bench(|| pool.install(|| job::make(&TICKET, TEXT, None, Precision::SHOP).map(|made| made.files.len())));
}

/// Many jobs side by side, as `mill` of a folder does them: eight pairs, each with another arch.
#[divan::bench(args = [1, 2], sample_count = 5)]
fn batch(bencher: Bencher, count: usize) {
    let tickets: Vec<Ticket> = (0..8).map(arched).collect();
    let pool = threads(count);
    bencher.counter(ItemsCount::new(tickets.len())).bench(|| {
        pool.install(|| {
            let mut proven = 0;
            let work = |ticket: &Ticket| job::make(ticket, TEXT, None, Precision::SHOP).map(|made| made.report.pass);
            job::in_lanes(&tickets, work, |ending| proven += usize::from(matches!(ending, Ok(Ok(true)))));
            assert_eq!(proven, tickets.len(), "a bench measures jobs and not refusals");
        });
    });
}

/// The demo with its arches a little lower.
fn arched(k: usize) -> Ticket {
    let mut ticket = TICKET.clone();
    for foot in &mut ticket.feet {
        let asked = foot.asked(Value::MedialArch).expect("the demo asks for its arches");
        foot.support.ask(Value::MedialArch, asked - 0.1 * k as f64);
    }
    ticket
}
