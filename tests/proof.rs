//! Programs as text, read and proved: one good job, and for every kind of violation a job that has
//! just that one.

use std::f64::consts::TAU;

use approx::assert_abs_diff_eq;
use sustent::carve::{Cut, Floor, Proof, Rules, Stock, Tabs, ViolationKind as Kind, prove};
use sustent::frame::{Point2, Rect};
use sustent::grid::{Grid, Lattice};
use sustent::kernel::{Shape, Sweep};
use sustent::nc::{self, Acceptance, Program, Timing, read};
use sustent::path::{Step, Target};
use sustent::profile::{Cutter, Shelf};

const SAFE: f64 = 25.0;
const TOP: f64 = 20.0;
const CENTRE: (f64, f64) = (30.0, 24.0);
/// Radius of the piece's outline.
const RIM: f64 = 12.0;
/// The target is a hollow sphere of this radius, lowest at `LOWEST` in the middle.
const HOLLOW: f64 = 40.0;
const LOWEST: f64 = 6.0;
const BALL: f64 = 3.0;

const HEAD: &str = "G21\nG17 G90 G94\nG40 G49 G80\nG54\nG0 Z25\nM3 S15000\nG4 P2\n";
const TAIL: &str = "G0 Z25\nM5\nM2\n";

fn cutter(shape: Shape) -> Cutter {
    Cutter {
        name: "test cutter".into(),
        shape,
        flutes: 2,
        flute_length_mm: 22.0,
        shank_diameter_mm: 6.0,
        stickout_mm: 32.0,
        holder_diameter_mm: 30.0,
    }
}

fn hollow(p: Point2, radius: f64) -> f64 {
    let r2 = (p.x - CENTRE.0).powi(2) + (p.y - CENTRE.1).powi(2);
    LOWEST + HOLLOW - (radius * radius - r2).sqrt()
}

fn around(radius: f64, n: usize) -> Vec<Point2> {
    let turn = |k: usize| TAU * k as f64 / n as f64;
    (0..n).map(|k| Point2::new(CENTRE.0 + radius * turn(k).cos(), CENTRE.1 + radius * turn(k).sin())).collect()
}

fn target() -> Target {
    let blank = Rect { x0: 0.0, y0: 0.0, x1: 60.0, y1: 48.0 };
    let lattice = Lattice::covering(blank, 0.2);
    // Outside the outline it goes on level, a shelf at the height of the edge.
    let shelf = hollow(Point2::new(CENTRE.0 + RIM, CENTRE.1), HOLLOW);
    let surface = Grid::from_fn(lattice, |p| {
        let inside = (p - Point2::new(CENTRE.0, CENTRE.1)).norm() <= RIM;
        if inside { hollow(p, HOLLOW) } else { shelf }
    });
    Target { surface, outline: around(RIM, 360), blank, blank_top_mm: TOP, safe_z_mm: SAFE }
}

fn rules() -> Rules {
    Rules {
        step_mm: 0.2,
        gouge_mm: 0.02,
        left_mm: Some(0.15),
        bed_cut_mm: 0.2,
        travel_mm: [300.0, 200.0, 80.0],
        overrun_mm: 2.0,
        least_chip_mm: 0.02,
        floor: None,
        tabs: Some(Tabs { count: 4, length_mm: 5.0, height_mm: 2.0, allowance_mm: 0.5, left_mm: 0.05 }),
    }
}

/// Level passes of a flat cutter, each at most 6 mm deep, a little above the target's edge.
fn rough() -> String {
    let mut text = String::from(HEAD);
    for z in [14.0, 9.0] {
        text += &format!("G0 Z25\nG0 X14 Y8\nG1 Z{z} F600\n");
        for k in 0..9 {
            let y = 8.0 + 4.0 * k as f64;
            let (a, b) = if k % 2 == 0 { (14.0, 46.0) } else { (46.0, 14.0) };
            text += &format!("G1 X{a} Y{y} F2000\nG1 X{b} Y{y}\n");
        }
    }
    text + TAIL
}

/// Ball passes along x, 0.8 apart, on the sphere in which the ball's centre rolls.
fn finish() -> String {
    let mut text = String::from(HEAD) + "G0 X30 Y8\nG1 Z12 F600\n";
    let tip = |x: f64, y: f64| {
        let r = (x - CENTRE.0).hypot(y - CENTRE.1).min(RIM + 2.0);
        hollow(Point2::new(CENTRE.0 + r, CENTRE.1), HOLLOW - BALL) - BALL
    };
    for k in 0..=40 {
        let y = 8.0 + 0.8 * k as f64;
        for n in 0..=80 {
            let x = 14.0 + 0.4 * if k % 2 == 0 { n as f64 } else { 80.0 - n as f64 };
            text += &format!("G1 X{x:.3} Y{y:.3} Z{:.3} F1500\n", tip(x, y) + 0.001);
        }
    }
    text + TAIL
}

/// Levels of a flat cutter around the piece, lifted over `tabs` tabs 2 mm high.
fn perimeter(tabs: usize, depth: f64, out: f64) -> String {
    let (n, radius) = (720, RIM + 3.0 + out);
    let path = around(radius, n);
    let half_tab = 0.5 * (5.0 + 6.0) / radius;
    let over_tab = |k: usize| {
        (0..tabs).any(|t| {
            let off = (TAU * k as f64 / n as f64 - TAU * (t as f64 + 0.5) / 4.0).abs();
            off <= half_tab + 1e-9
        })
    };
    let mut text = format!("{HEAD}G0 X{:.3} Y{:.3}\n", path[0].x, path[0].y);
    for z in [6.0, 2.0, -depth] {
        text += &format!("G1 Z{z:.3} F400\n");
        for k in 1..=n {
            let (a, b) = (over_tab(k - 1), over_tab(k % n));
            let z = |over: bool| if over { z.max(2.0) } else { z };
            let q = path[k % n];
            if !a && b {
                text += &format!("G1 X{:.3} Y{:.3} Z{:.3} F1200\nG1 Z{:.3}\n", q.x, q.y, z(false), z(true));
            } else if a && !b {
                text += &format!("G1 Z{:.3} F1200\nG1 X{:.3} Y{:.3}\n", z(false), q.x, q.y);
            } else {
                text += &format!("G1 X{:.3} Y{:.3} Z{:.3} F1200\n", q.x, q.y, z(b));
            }
        }
    }
    text + TAIL
}

fn parse(text: &str) -> Program {
    let limits = Acceptance {
        line_limit: 70,
        dwell_letter: 'P',
        dwell_unit_s: 1.0,
        end_m: 2,
        motion_word_each_line: false,
        decimals: 3,
        refuses: vec![],
    };
    read(text.as_bytes(), &limits).unwrap()
}

/// A job of programs with their cutters.
struct Job {
    cuts: Vec<(Step, Program, Cutter)>,
}

impl Job {
    fn good() -> Job {
        let flat = || cutter(Shape::Flat { radius: 3.0 });
        Job {
            cuts: vec![
                (Step::Rough, parse(&rough()), flat()),
                (Step::Finish, parse(&finish()), cutter(Shape::Ball { radius: BALL })),
                (Step::Perimeter, parse(&perimeter(4, 0.0, 0.5)), flat()),
            ],
        }
    }

    /// A single program of these lines, by a flat cutter, with no piece to be judged but its gouges.
    fn lines(lines: &str) -> Job {
        let text = format!("{HEAD}{lines}{TAIL}");
        Job { cuts: vec![(Step::Rough, parse(&text), cutter(Shape::Flat { radius: 3.0 }))] }
    }

    fn prove(&self, rules: &Rules) -> Proof {
        let names = ["1-rough.ngc", "2-finish.ngc", "3-perimeter.ngc"];
        let timings: Vec<Timing> = self.cuts.iter().map(|(_, program, _)| timing(program)).collect();
        let cuts: Vec<Cut> = self
            .cuts
            .iter()
            .zip(names)
            .zip(&timings)
            .map(|(((step, program, cutter), name), timing)| Cut { name, step: *step, program, cutter, timing })
            .collect();
        prove(&cuts, &target(), rules).unwrap()
    }
}

/// As a machine runs it that reaches 2000 mm/min within 0.4 mm.
fn timing(program: &Program) -> Timing {
    let shelf = Shelf::built_in();
    let machine = shelf.machine("fast-router").unwrap();
    Timing { total_s: 60.0, busiest_second: 5, ..nc::time(program, machine) }
}

/// The kinds that occur, once each.
fn kinds(proof: &Proof) -> Vec<Kind> {
    assert_eq!(proof.pass, proof.totals.is_empty());
    proof.totals.iter().map(|total| total.kind).collect()
}

#[test]
fn a_good_job_passes_with_the_figures_it_was_made_for() {
    let proof = Job::good().prove(&rules());
    assert!(proof.pass, "{:#?}", proof.violations);
    assert!(proof.max_gouge_mm < 0.003, "{}", proof.max_gouge_mm);
    assert_eq!(proof.rapid_contacts, 0);
    assert_eq!(proof.tabs_found, Some(4));
    // Two balls s apart leave R - sqrt(R^2 - s^2/4) on a plane; in a hollow of radius 40 the ridge
    // is lower by the share of the curvatures, s^2/8 (1/R - 1/40).
    let ridge = 0.8_f64.powi(2) / 8.0 * (1.0 / BALL - 1.0 / HOLLOW);
    let (p50, p99) = (proof.scallop_p50_mm.unwrap(), proof.scallop_p99_mm.unwrap());
    assert!(p99 > 0.8 * ridge && p99 < 1.3 * ridge, "{p99} against {ridge}");
    assert!(p50 < 0.6 * ridge, "{p50} against {ridge}");
    assert_eq!(proof.unreached_max_mm, Some(0.0));
    assert_eq!(proof.time_s, 180.0);
    assert_eq!(proof.blocks_per_second, 5);
    // 400 and 2000 mm/min at 15000 rpm and two flutes.
    assert_eq!(proof.chip_load_mm, Some([400.0 / 30000.0, 2000.0 / 30000.0]));
    // No move runs faster than ordered; and the perimeter's plunges, at 400, rub all the way.
    let [least, most] = proof.planned_chip_load_mm.unwrap();
    assert!(least > 0.0 && least < 400.0 / 30000.0 && most <= 2000.0 / 30000.0, "{least} {most}");
    let shares: Vec<f64> = proof.programs.iter().map(|p| p.rubbing_share.unwrap()).collect();
    assert!(shares.iter().all(|share| *share > 0.0 && *share < 0.5), "{shares:?}");
    let all = proof.rubbing_share.unwrap();
    assert!(shares.iter().any(|s| *s < all) && shares.iter().any(|s| *s > all), "{all} of {shares:?}");
    let removed = proof.carved.z.iter().map(|z| TOP - z.max(0.0)).sum::<f64>() * 0.2 * 0.2;
    assert_abs_diff_eq!(proof.removed_mm3, removed, epsilon = 1e-6 * removed);
}

#[test]
fn the_same_job_gives_the_same_proof_on_one_thread() {
    let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
    let (job, rules) = (Job::good(), rules());
    let (a, b) = (job.prove(&rules), one.install(|| job.prove(&rules)));
    assert_eq!(serde_json::to_string(&a).unwrap(), serde_json::to_string(&b).unwrap());
    assert_eq!(a.carved, b.carved);
}

/// Where two moves meet, the proof lets the first one carve for both, from its end instead of the
/// other's start: the same place but for rounding.
#[test]
fn strips_carve_what_the_whole_stock_would() {
    let job = Job::good();
    let target = target();
    let mut stock = Stock::new(target.blank, target.blank_top_mm, 0.2).unwrap();
    for (_, program, cutter) in &job.cuts {
        for travel in program.travels.iter().filter(|travel| !travel.rapid) {
            stock.carve(&Sweep::new(&cutter.shape, travel.from, travel.to));
        }
    }
    let carved = job.prove(&rules()).carved;
    assert_eq!(stock.grid().lattice, carved.lattice);
    for (whole, strips) in stock.grid().z.iter().zip(&carved.z) {
        assert_abs_diff_eq!(whole, strips, epsilon = 1e-12);
    }
}

#[test]
fn the_proof_speaks_the_contract() {
    let json = serde_json::to_value(Job::lines("G0 X10 Y10\nG1 Z18 F600\nG0 X20\n").prove(&rules())).unwrap();
    for name in [
        "max_gouge_mm",
        "scallop_p50_mm",
        "scallop_p99_mm",
        "scallop_max_mm",
        "unreached_max_mm",
        "rapid_contacts",
        "time_s",
        "cut_length_mm",
        "lines",
        "violations",
        "pass",
    ] {
        assert!(json.get(name).is_some(), "{name} is missing");
    }
    assert_eq!(json["violations"][0]["kind"], "rapid_low");
    assert_eq!(json["violations"][0]["line"], 10);
    assert_eq!(json["violations"][0]["file"], "1-rough.ngc");
    assert_eq!(json["pass"], false);
}

#[test]
fn a_rapid_below_the_safe_height_is_refused() {
    let proof = Job::lines("G0 X10 Y10\nG0 Z21\nG0 X20\n").prove(&rules());
    assert_eq!(kinds(&proof), [Kind::RapidLow]);
    assert_eq!((proof.violations[0].line, proof.violations[0].measured), (10, 21.0));
}

/// Found by an outsider: a program whose last lift was shortened was proved.
#[test]
fn a_program_that_ends_below_the_safe_height_is_refused() {
    let text = format!("{HEAD}G0 X10 Y10\n{}", TAIL.replace("Z25", "Z21"));
    let job = Job { cuts: vec![(Step::Rough, parse(&text), cutter(Shape::Flat { radius: 3.0 }))] };
    assert_eq!(kinds(&Job::lines("G0 X10 Y10\n").prove(&rules())), []);
    assert_eq!(kinds(&job.prove(&rules())), [Kind::EndsLow]);
}

#[test]
fn a_rapid_down_into_stock_is_refused_and_into_air_is_not() {
    let proof = Job::lines("G0 X10 Y10\nG0 Z15\n").prove(&rules());
    assert_eq!(kinds(&proof), [Kind::RapidContact]);
    assert_eq!(proof.rapid_contacts, 1);
    assert_abs_diff_eq!(proof.violations[0].measured, 5.0, epsilon = 1e-9);
    // A ball meets stock over several strips of rows, least at its edge.
    let mut ball = Job::lines("G0 X10 Y6\nG0 Z15\n");
    ball.cuts[0].2.shape = Shape::Ball { radius: 3.0 };
    let deepest = &ball.prove(&rules()).violations[0];
    assert_abs_diff_eq!(deepest.measured, 5.0, epsilon = 1e-9);
    assert_eq!(deepest.at_mm, [10.0, 6.0, 15.0]);
    let air = Job::lines("G0 X10 Y10\nG1 Z15 F600\nG0 Z25\nG0 Z15\n").prove(&rules());
    assert_eq!(kinds(&air), []);
}

#[test]
fn cutting_with_the_spindle_off_is_refused_and_a_dry_run_is_not() {
    let still = |lines: &str| {
        let mut job = Job::lines(lines);
        job.cuts[0].1.travels.iter_mut().for_each(|travel| travel.spindle_rpm = 0.0);
        job.prove(&rules())
    };
    assert_eq!(kinds(&still("G0 X10 Y10\nG1 Z15 F600\n")), [Kind::SpindleOff]);
    assert_eq!(kinds(&still("G0 X10 Y10\nG1 Z21 F600\nG1 X50\nG1 Y40\n")), []);
}

#[test]
fn a_feed_move_without_a_feed_is_refused() {
    let mut job = Job::lines("G0 X10 Y10\nG1 Z15 F600\n");
    job.cuts[0].1.travels.iter_mut().for_each(|travel| travel.feed_mm_min = 0.0);
    assert_eq!(kinds(&job.prove(&rules())), [Kind::NoFeed]);
}

#[test]
fn the_bed_may_be_cut_as_far_as_the_rules_say() {
    let plunge = |z: f64| kinds(&Job::lines(&format!("G0 X6 Y6\nG1 Z{z} F600\n")).prove(&rules()));
    assert_eq!(plunge(-0.2), []);
    assert_eq!(plunge(-0.3), [Kind::BelowBed]);
}

#[test]
fn cutting_away_from_the_blank_is_refused_and_leading_in_is_not() {
    let beside = |x: f64| kinds(&Job::lines(&format!("G0 X{x} Y10\nG1 Z15 F600\n")).prove(&rules()));
    assert_eq!(beside(-4.9), []);
    assert_eq!(beside(-5.1), [Kind::OutsideBlank]);
}

#[test]
fn a_program_longer_than_the_machine_is_refused() {
    let rules = Rules { travel_mm: [40.0, 200.0, 80.0], ..rules() };
    let proof = Job::lines("G0 X5 Y5\nG0 X46\n").prove(&rules);
    assert_eq!(kinds(&proof), [Kind::OutsideMachine]);
    assert_eq!((proof.violations[0].line, proof.violations[0].measured), (9, 41.0));
}

#[test]
fn cutting_deeper_than_the_flutes_is_refused() {
    let mut job = Job::lines("G0 X6 Y6\nG1 Z4 F600\nG1 X50\n");
    assert_eq!(kinds(&job.prove(&rules())), []);
    job.cuts[0].2.flute_length_mm = 15.0;
    let proof = job.prove(&rules());
    assert_eq!(kinds(&proof), [Kind::AboveFlutes]);
    assert_abs_diff_eq!(proof.violations[0].measured, 16.0, epsilon = 1e-9);
}

#[test]
fn a_shank_or_holder_in_stock_is_refused() {
    let with = |change: &dyn Fn(&mut Cutter)| {
        let mut job = Job::lines("G0 X6 Y6\nG1 Z2 F600\n");
        change(&mut job.cuts[0].2);
        job.prove(&rules())
    };
    let shank = with(&|c| (c.flute_length_mm, c.shank_diameter_mm) = (18.0, 8.0));
    // The tip at 2, the shank from 20 upward: it clears the blank's top by nothing at all.
    assert_eq!(kinds(&shank), []);
    let shank = with(&|c| (c.flute_length_mm, c.shank_diameter_mm, c.stickout_mm) = (18.0, 8.0, 17.9));
    assert_eq!(kinds(&shank), [Kind::Holder]);
    assert_abs_diff_eq!(shank.violations[0].measured, 0.1, epsilon = 1e-9);
}

#[test]
fn a_thick_shank_meets_the_wall_beside_a_deep_slot() {
    // In two levels no cut is deeper than the flutes, but the shank is wider than the slot.
    let mut job = Job::lines("G0 X6 Y6\nG1 Z10 F600\nG1 X50\nG1 Z2\nG1 X6\n");
    let cutter = &mut job.cuts[0].2;
    (cutter.flute_length_mm, cutter.shank_diameter_mm) = (12.0, 8.0);
    let proof = job.prove(&rules());
    assert_eq!(kinds(&proof), [Kind::Shank]);
    assert_abs_diff_eq!(proof.violations[0].measured, 6.0, epsilon = 1e-9);
}

#[test]
fn a_gouge_is_found_where_it_is_with_the_line_that_made_it() {
    let mut job = Job::good();
    let ball = &mut job.cuts[1].1;
    let middle = ball
        .travels
        .iter_mut()
        .min_by(|a, b| {
            let off = |p: sustent::frame::Point3| (p.x - CENTRE.0).hypot(p.y - CENTRE.1);
            off(a.to).total_cmp(&off(b.to))
        })
        .unwrap();
    middle.to.z -= 0.5;
    let line = middle.line;
    let proof = job.prove(&rules());
    assert_eq!(kinds(&proof), [Kind::Gouge]);
    assert_abs_diff_eq!(proof.max_gouge_mm, 0.5, epsilon = 0.02);
    assert_eq!((proof.violations[0].line, proof.violations[0].file.as_str()), (line, "2-finish.ngc"));
}

#[test]
fn a_cutter_larger_than_was_planned_gouges() {
    let mut job = Job::good();
    job.cuts[1].2.shape = Shape::Flat { radius: 3.0 };
    let proof = job.prove(&rules());
    assert!(kinds(&proof).contains(&Kind::Gouge));
}

#[test]
fn a_perimeter_too_near_is_a_gouge_as_deep_as_it_is_near() {
    let mut job = Job::good();
    job.cuts[2].1 = parse(&perimeter(4, 0.0, -0.3));
    let mut rules = rules();
    rules.tabs = rules.tabs.map(|tabs| Tabs { allowance_mm: -0.3, ..tabs });
    let proof = job.prove(&rules);
    assert_eq!(kinds(&proof), [Kind::Gouge]);
    assert!(proof.max_gouge_mm > 0.1 && proof.max_gouge_mm <= 0.301, "{}", proof.max_gouge_mm);
}

#[test]
fn a_forgotten_part_of_the_surface_is_found() {
    let mut job = Job::good();
    let travels = &mut job.cuts[1].1.travels;
    let mut lift = *travels.last().unwrap();
    travels.truncate(travels.len() / 2);
    lift.from = travels.last().unwrap().to;
    (lift.to.x, lift.to.y) = (lift.from.x, lift.from.y);
    travels.push(lift);
    let proof = job.prove(&rules());
    assert_eq!(kinds(&proof), [Kind::LeftStanding]);
    assert!(proof.scallop_max_mm.unwrap() > 1.0);
}

#[test]
fn a_piece_thinner_than_its_least_thickness_is_refused() {
    let lattice = target().surface.lattice;
    let floor =
        |least: f64| Some(Floor { underside: Grid::filled(lattice, 0.5), least_mm: Grid::filled(lattice, least) });
    let good = Job::good().prove(&Rules { floor: floor(LOWEST - 0.5), ..rules() });
    assert!(good.pass, "{:#?}", good.violations);
    assert_abs_diff_eq!(good.thinnest.unwrap().thickness_mm, LOWEST - 0.5, epsilon = 0.01);
    let thin = Job::good().prove(&Rules { floor: floor(LOWEST), ..rules() });
    assert_eq!(kinds(&thin), [Kind::Thin]);
    assert_abs_diff_eq!(thin.violations[0].measured, 0.5, epsilon = 0.01);
}

#[test]
fn missing_tabs_and_uncut_places_are_told_apart() {
    let with = |text: String| {
        let mut job = Job::good();
        job.cuts[2].1 = parse(&text);
        job.prove(&rules())
    };
    assert_eq!(kinds(&with(perimeter(3, 0.0, 0.5))), [Kind::Tabs]);
    let shallow = with(perimeter(4, -0.5, 0.5));
    assert_eq!(kinds(&shallow), [Kind::NotCutFree]);
    let many = Job::good().prove(&Rules { tabs: rules().tabs.map(|tabs| Tabs { count: 3, ..tabs }), ..rules() });
    assert_eq!(kinds(&many), [Kind::NotCutFree]);
    let slight =
        Job::good().prove(&Rules { tabs: rules().tabs.map(|tabs| Tabs { length_mm: 7.0, ..tabs }), ..rules() });
    assert_eq!(kinds(&slight), [Kind::Tabs]);
    let low = Job::good().prove(&Rules { tabs: rules().tabs.map(|tabs| Tabs { height_mm: 1.0, ..tabs }), ..rules() });
    assert_eq!(kinds(&low), [Kind::NotCutFree]);
}

#[test]
fn a_narrow_valley_is_reported_as_unreached_and_not_as_scallop() {
    let mut target = target();
    // A groove 1 mm wide and deep along the middle: a ball of 3 mm cannot enter it.
    let lattice = target.surface.lattice;
    let groove = |p: Point2| if (p.y - CENTRE.1).abs() < 0.5 { 1.0 } else { 0.0 };
    target.surface = Grid::from_fn(lattice, |p| target.surface.sample(p).unwrap() - groove(p));
    let job = Job::good();
    let (step, program, cutter) = &job.cuts[1];
    let timing = timing(program);
    let cut = Cut { name: "f", step: *step, program, cutter, timing: &timing };
    let proof = prove(&[cut], &target, &Rules { left_mm: Some(0.2), tabs: None, ..rules() }).unwrap();
    assert_eq!(kinds(&proof), []);
    assert_abs_diff_eq!(proof.unreached_max_mm.unwrap(), 1.0 - 0.05, epsilon = 0.06);
    assert!((proof.unreached_at_mm.unwrap()[1] - CENTRE.1).abs() < 0.5);
    assert!(proof.scallop_max_mm.unwrap() < 0.1, "{:?}", proof.scallop_max_mm);
}

#[test]
fn numbers_that_are_none_are_errors_with_their_place() {
    let mut job = Job::good();
    job.cuts[0].1.travels[5].to.x = f64::NAN;
    let (step, program, cutter) = &job.cuts[0];
    let timing = timing(program);
    let cut = Cut { name: "a.ngc", step: *step, program, cutter, timing: &timing };
    let words = prove(&[cut], &target(), &rules()).unwrap_err().to_string();
    assert!(words.starts_with("a.ngc line"), "{words}");
    let nothing = Target { outline: vec![], ..target() };
    assert!(prove(&[], &nothing, &rules()).unwrap_err().to_string().contains("outline"));
    assert!(prove(&[], &target(), &Rules { gouge_mm: f64::NAN, ..rules() }).is_err());
}
