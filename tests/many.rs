//! Random tickets through the whole job, as a season would bring them: what is written is proven, and the proof's figures are
//! those that were promised; what is not written says why.
//!
//! `SUSTENT_CASES=10000 cargo test --release --test many -- --nocapture` is the long run; `docs/measured.md` tells what it gave.
//! `SUSTENT_FROM` begins at another seed; into `SUSTENT_KEEP`, a folder, go the programs of every fiftieth job, for whoever
//! wants to have them read by another interpreter.

mod random;

use std::collections::BTreeMap;
use std::path::PathBuf;

use random::{any_ticket, seeds};
use sustent::carve::Violation;
use sustent::job::{self, JobReport, Made, Precision};
use sustent::limits::Severity;
use sustent::ticket::Ticket;
use sustent::value::Value;

/// What the proof allows below the design, mm, and a hair for its own lattice.
const DEEPEST: f64 = 0.02 + 1e-9;

/// How far a designed value may be from what was asked, mm or degrees.
const READ_BACK: f64 = 0.01;

/// What became of one ticket.
enum Ending {
    /// No ticket can be read from this draw.
    NoTicket,
    /// Stopped, by these limits.
    Stopped(Vec<String>),
    /// Its programs do not prove, for these reasons.
    Refused(Vec<String>),
    /// Planning gave up, and said why.
    CouldNot(String),
    Proven {
        programs: usize,
        lines: usize,
        deepest: f64,
    },
}

#[test]
fn what_is_written_is_proven_and_what_is_not_says_why() {
    let seeds: Vec<u64> = seeds().collect();
    let mut tally: BTreeMap<String, usize> = BTreeMap::new();
    let (mut proven, mut programs, mut lines, mut deepest) = (0_usize, 0, 0, 0.0_f64);
    let mut wrong = vec![];
    let mut told = seeds.iter();
    job::in_lanes(
        &seeds,
        |&seed| (seed, carried_through(seed)),
        |ending| {
            let asked = told.next().copied();
            let (seed, ending) = match ending {
                Ok((seed, ending)) => (seed, ending),
                Err(broke_off) => return wrong.push(format!("seed {asked:?}: {broke_off}")),
            };
            let mut count = |what: String| *tally.entry(what).or_default() += 1;
            match ending {
                Ending::NoTicket => count("no ticket can be read from the draw".into()),
                Ending::Stopped(limits) => limits.into_iter().for_each(|limit| count(format!("stopped by {limit}"))),
                Ending::Refused(why) => why.into_iter().for_each(|why| {
                    println!("seed {seed}: {why}");
                    count(format!("not proven: {why}"));
                }),
                Ending::CouldNot(why) => {
                    println!("seed {seed}: {why}");
                    count(format!("could not: {why}"));
                }
                Ending::Proven { programs: p, lines: l, deepest: d } => {
                    (proven, programs, lines, deepest) = (proven + 1, programs + p, lines + l, deepest.max(d));
                    if proven % 100 == 0 {
                        println!("{proven} proven by seed {seed}");
                    }
                }
            }
        },
    );
    tally.iter().for_each(|(what, count)| println!("{count:>6}  {what}"));
    println!(
        "{} draws: {proven} jobs proven, {programs} programs, {lines} lines, deepest {deepest:.4} mm",
        seeds.len()
    );
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    // About a quarter of the draws can be read and pass; a run that proves next to nothing shows nothing.
    assert!(proven * 10 > seeds.len(), "only {proven} of {} draws came to a job", seeds.len());
}

/// Takes the ticket of a seed through the job and checks what comes out.
fn carried_through(seed: u64) -> Ending {
    let Some(ticket) = any_ticket(seed) else { return Ending::NoTicket };
    let text = format!("# seed {seed}");
    let made = match job::make(&ticket, &text, None, Precision::SHOP) {
        Ok(made) => made,
        Err(error) => return Ending::CouldNot(error.to_string()),
    };
    let report = &made.report;
    let Some(proof) = &report.proof else {
        return Ending::Stopped(stops(report));
    };
    if !report.pass {
        return Ending::Refused(proof.violations.iter().map(|v: &Violation| v.message.clone()).collect());
    }
    assert!(proof.max_gouge_mm <= DEEPEST, "seed {seed}: {} mm below the design", proof.max_gouge_mm);
    assert_eq!((proof.rapid_contacts, proof.violations.len()), (0, 0), "seed {seed}");
    assert_read_back(seed, report);
    let lines = assert_programs_read(seed, &ticket, &made);
    keep(seed, &made);
    Ending::Proven { programs: report.programs.len(), lines, deepest: proof.max_gouge_mm }
}

fn stops(report: &JobReport) -> Vec<String> {
    let mut limits: Vec<String> = report
        .findings
        .iter()
        .filter(|finding| finding.severity == Severity::Stop)
        .map(|finding| finding.limit.to_string())
        .collect();
    limits.sort();
    limits.dedup();
    assert!(!limits.is_empty(), "a ticket without a job has a stop that says why");
    limits
}

/// What was asked of the surface is what a gauge reads on the design. Only the flex zone is shaped by the hollow below: where
/// there is nothing to hollow it is as thick as the top makes it, and a finding says so.
fn assert_read_back(seed: u64, report: &JobReport) {
    for foot in &report.feet {
        for (value, read) in &foot.values {
            if let (Some(asked), Some(read)) = (read.asked, read.read_back) {
                let told = foot.findings.iter().any(|finding| finding.limit == "flex_zone_thickness");
                let excused = *value == Value::FlexZoneThickness && told;
                let off = (read - asked).abs();
                assert!(excused || off <= READ_BACK, "seed {seed}: {} asked {asked}, reads {read}", value.words());
            }
        }
    }
}

/// Every program is taken by our own reader, from its text alone; gives the number of lines.
fn assert_programs_read(seed: u64, ticket: &Ticket, made: &Made) -> usize {
    let programs = made.files.iter().filter(|file| file.name.ends_with(".ngc"));
    programs
        .map(|file| {
            let read = sustent::nc::read(&file.bytes, &sustent::nc::acceptance(&ticket.make.machine));
            assert!(read.is_ok(), "seed {seed}: {}: {:?}", file.name, read.err());
            file.bytes.iter().filter(|byte| **byte == b'\n').count()
        })
        .sum()
}

/// Puts the programs of every fiftieth job aside.
fn keep(seed: u64, made: &Made) {
    let Some(folder) = std::env::var_os("SUSTENT_KEEP").map(PathBuf::from).filter(|_| seed.is_multiple_of(50)) else {
        return;
    };
    let folder = folder.join(format!("seed-{seed}"));
    std::fs::create_dir_all(&folder).expect("the folder can be made");
    for file in made.files.iter().filter(|file| file.name.ends_with(".ngc") || file.name == "job.json") {
        std::fs::write(folder.join(&file.name), &file.bytes).expect("programs can be put aside");
    }
}
