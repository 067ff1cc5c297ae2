//! How far every value may go: on random tickets an interval's ends pass and a step beyond meets the
//! limit that is named, and whatever a finding advises settles that finding.

use rayon::prelude::*;
use sustent::footbed::SHAPING;
use sustent::job::{self, Design, FootReport};
use sustent::limits::{Bound, Severity};
use sustent::profile::Shelf;
use sustent::ticket::{self, Hold, Ticket, Underside, writable};
use sustent::value::Value;

const DEMO: &str = include_str!("../output-samples/PATROL-07/ticket.toml");

/// As many random tickets are tried; `SUSTENT_CASES` asks for more.
fn cases() -> u64 {
    std::env::var("SUSTENT_CASES").ok().and_then(|n| n.parse().ok()).unwrap_or(20)
}

/// Marsaglia's xorshift64 (2003).
struct Random(u64);

impl Random {
    fn between(&mut self, lo: f64, hi: f64) -> f64 {
        for shift in [13, -7, 17] {
            self.0 ^= if shift > 0 { self.0 << shift } else { self.0 >> -shift };
        }
        let share = (self.0 >> 11) as f64 / (1_u64 << 53) as f64;
        // Tenths, as people write them.
        ((lo + (hi - lo) * share) * 10.0).round() / 10.0
    }

    fn one_of<'a, T>(&mut self, all: &'a [T]) -> &'a T {
        &all[(self.between(0.0, 1e6) * 10.0) as usize % all.len()]
    }

    fn chance(&mut self, share: f64) -> bool {
        self.between(0.0, 1000.0) < 1000.0 * share
    }
}

/// A ticket for one foot whose values lie anywhere a fitter might put them, wise or not.
fn random_ticket(seed: u64) -> Ticket {
    let shelf = Shelf::built_in();
    let none = |_: &str| Err(String::new());
    let mut ticket = ticket::read(DEMO, "ticket.toml", &shelf, &none).unwrap();
    let mut r = Random(0x9e37_79b9_7f4a_7c15 ^ (seed + 1).wrapping_mul(0xbf58_476d_1ce4_e5b9));
    (0..8).for_each(|_| {
        r.between(0.0, 1.0);
    });
    // Most tickets are near what a fitter would ask, so that most ends are ends of something.
    let tame = r.chance(0.7);
    ticket.feet.truncate(1);
    let make = &mut ticket.make;
    let materials: &[&str] = if tame {
        &["eva-firm", "cork-eva", "eva-firm"]
    } else {
        &["eva-firm", "eva-soft", "cork-eva", "polypropylene", "pu-foam"]
    };
    let material = *r.one_of(materials);
    make.material = shelf.material(material).unwrap().clone();
    make.blank.height_mm = r.between(if tame { 28.0 } else { 20.0 }, 40.0);
    make.blank.measured = r.chance(0.5);
    make.blank.width_mm = r.between(if tame { 126.0 } else { 115.0 }, 135.0);
    make.cover_mm = r.between(0.0, 2.0);
    if r.chance(0.3) {
        make.underside = Underside::Relieved;
    }
    if r.chance(0.2) {
        make.hold = Hold::Skin { thickness_mm: r.between(0.3, 1.5) };
    }
    if r.chance(0.3) {
        make.finishing.stickout_mm = r.between(if tame { 36.0 } else { 24.0 }, 42.0);
    }
    if r.chance(0.2) {
        make.perimeter.flute_length_mm = r.between(if tame { 26.0 } else { 15.0 }, 32.0);
    }
    let insole = &mut ticket.boot.stock_insole;
    insole.heel_thickness = r.chance(0.8).then(|| r.between(if tame { 4.5 } else { 3.0 }, 6.0));
    insole.ball_thickness = r.chance(0.8).then(|| r.between(if tame { 3.5 } else { 2.0 }, 5.0));
    let order = &mut ticket.feet[0];
    order.foot.medial_arch.seated = r.chance(0.9).then(|| r.between(16.0, 26.0));
    for (value, lo, hi) in [
        (Value::HeelThickness, 2.5, 7.0),
        (Value::HeelCupDepth, 6.0, 19.0),
        (Value::RearfootPost, -6.5, 6.5),
        (Value::MedialArch, 6.0, 24.0),
        (Value::LateralArch, 0.0, 9.0),
        (Value::TransverseArch, 0.0, 4.0),
        (Value::ForefootThickness, 2.0, 6.0),
        (Value::Length, 262.0, 276.0),
        (Value::BallWidth, 88.0, 104.0),
        (Value::HeelWidth, 66.0, 84.0),
    ] {
        let middle = 0.5 * (lo + hi);
        let share = if tame { 0.4 } else { 1.0 };
        order.support.ask(value, r.between(middle + share * (lo - middle), middle + share * (hi - middle)));
    }
    if r.chance(0.4) {
        let width = order.support.heel_width_mm - r.between(5.0, 16.0);
        order.support.ask(Value::HeelCupWidth, width);
    }
    if r.chance(0.4) {
        order.support.ask(Value::FlexZoneThickness, r.between(1.5, 5.0));
    }
    ticket
}

fn with(ticket: &Ticket, value: Value, to: f64) -> Ticket {
    let mut changed = ticket.clone();
    changed.feet[0].support.ask(value, to);
    changed
}

/// Limits that stop; `None` when there is no design at all.
fn stops(ticket: &Ticket) -> Option<Vec<Bound>> {
    let (design, _) = job::laid(ticket, None).ok()?.pop()?;
    Some(stops_of(&design))
}

fn stops_of(design: &Design) -> Vec<Bound> {
    let stops = design.findings.iter().filter(|f| f.severity == Severity::Stop);
    stops.map(|f| Bound::of(f.limit)).collect()
}

fn report(ticket: &Ticket) -> Option<FootReport> {
    job::check(ticket).ok().map(|mut report| report.feet.remove(0))
}

/// What is wrong with one end of one value's interval.
fn wrong_end(ticket: &Ticket, value: Value, ends: [f64; 2], by: Bound, upper: bool, base: &[Bound]) -> Option<String> {
    let [lo, hi] = ends;
    let (end, out) = if upper { (hi, 1.0) } else { (lo, -1.0) };
    let inside = (end - out * 1e-6 * end.abs().max(1.0)).clamp(lo, hi);
    let words = format!("{} {end} ({})", value.name(), by.limit);
    let Some(at_end) = stops(&with(ticket, value, inside)) else { return Some(format!("{words}: no design")) };
    if let Some(new) = at_end.iter().find(|stop| !base.contains(stop)) {
        return Some(format!("{words}: meets {}", new.limit));
    }
    if at_end.contains(&by) && value_moves(by) {
        return Some(format!("{words}: its own limit is met at the end"));
    }
    if by == Bound::RANGE {
        let allowed = writable(value);
        let at = if upper { allowed.most } else { allowed.least };
        return (end != at).then(|| format!("{words}: the ticket's range goes on to {at}"));
    }
    // A piece lies at whole millimetres between its pins, and the end is safe wherever that puts it.
    let step = if by.limit == "pin_room" { 4.5 } else { 0.02 };
    let beyond = with(ticket, value, end + step * out);
    if by.limit == "flex_zone_thickness" {
        let (design, _) = job::laid(&beyond, None).ok()?.pop()?;
        let found = design.findings.iter().any(|f| f.limit == by.limit && f.severity == Severity::Caution);
        return (!found).then(|| format!("{words}: no caution beyond"));
    }
    match stops(&beyond) {
        None if by == Bound::OUTLINE => None,
        None => Some(format!("{words}: no design beyond")),
        Some(beyond) if beyond.iter().any(|stop| stop.limit == by.limit) => None,
        Some(beyond) => Some(format!("{words}: beyond it {beyond:?}")),
    }
}

/// Limits of which only one finding can stand at a time, so that one that stands at an end is the
/// end's own.
fn value_moves(by: Bound) -> bool {
    ["blank_height", "steepest_wall", "rim_wall", "rearfoot_post", "medial_arch", "ramp_change"].contains(&by.limit)
}

#[test]
fn every_end_passes_and_a_step_beyond_meets_the_limit_that_is_named() {
    let tried: Vec<(usize, Vec<String>)> = (0..cases())
        .into_par_iter()
        .filter_map(|seed| {
            let ticket = random_ticket(seed);
            let (base, report) = (stops(&ticket)?, report(&ticket)?);
            let ends: Vec<(Value, bool)> = Value::ALL.iter().flat_map(|&v| [(v, false), (v, true)]).collect();
            let ends: Vec<_> = ends.into_iter().filter(|(v, _)| report.values[v].feasible.is_some()).collect();
            let wrong = ends.iter().filter_map(|&(value, upper)| {
                let told = &report.values[&value];
                let by = told.bound_by[usize::from(upper)];
                wrong_end(&ticket, value, told.feasible?, by, upper, &base)
            });
            Some((ends.len(), wrong.map(|words| format!("ticket {seed}: {words}")).collect()))
        })
        .collect();
    let ends: usize = tried.iter().map(|(ends, _)| ends).sum();
    let wrong: Vec<&String> = tried.iter().flat_map(|(_, wrong)| wrong).collect();
    println!("{} tickets, {ends} ends, {} wrong", tried.len(), wrong.len());
    assert!(wrong.is_empty(), "{wrong:#?}");
    assert!(
        tried.len() as u64 >= cases() * 9 / 10 && ends as u64 > cases() * 8,
        "{} tickets, {ends} ends",
        tried.len()
    );
}

/// The three arch, two thickness, cup and post values are linear: their ends are exact to rounding,
/// not only to a step.
#[test]
fn shaping_values_end_to_the_hair() {
    let mut exact = 0;
    for seed in 0..cases() {
        let ticket = random_ticket(seed);
        let Some(report) = report(&ticket) else { continue };
        for value in SHAPING {
            let told = &report.values[&value];
            let Some([lo, hi]) = told.feasible else { continue };
            for (end, out, by) in [(lo, -1.0, told.bound_by[0]), (hi, 1.0, told.bound_by[1])] {
                if by == Bound::RANGE {
                    continue;
                }
                // A micrometre moves most places by more than the rounding that findings allow; some
                // hardly move.
                let beyond = stops(&with(&ticket, value, end + out * 1e-3)).unwrap();
                exact += usize::from(beyond.iter().any(|stop| stop.limit == by.limit));
                assert!(!stops(&with(&ticket, value, end)).unwrap().iter().any(|s| *s == by && value_moves(by)));
            }
        }
    }
    println!("{exact} ends are exact to a micrometre");
    assert!(exact as u64 > 3 * cases(), "{exact}");
}
