//! How far every value may go: on random tickets an interval's ends pass and a step beyond meets the
//! limit that is named, and whatever a finding advises settles that finding.

mod random;

use rayon::prelude::*;
use sustent::footbed::SHAPING;
use sustent::job::{self, Design, FootReport};
use sustent::limits::{Bound, Finding, Severity};
use sustent::profile::Shelf;
use sustent::ticket::{self, Ticket, writable};
use sustent::value::Value;

use random::{any_ticket, cases, random_ticket, seeds, subject, traced, wild_text, with};

/// Limits that stop; `None` when there is no design at all.
fn stops(ticket: &Ticket) -> Option<Vec<Bound>> {
    let (design, _) = job::laid(ticket, Some(subject(ticket))).ok()?.pop()?;
    Some(stops_of(&design))
}

fn stops_of(design: &Design) -> Vec<Bound> {
    let stops = design.findings.iter().filter(|f| f.severity == Severity::Stop);
    stops.map(|f| Bound::of(f.limit)).collect()
}

fn report(ticket: &Ticket) -> Option<FootReport> {
    job::check(ticket).ok().and_then(|mut report| report.feet.pop())
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
    if by == Bound::TRACED {
        // Nothing beyond can be asked.
        return (lo != hi).then(|| format!("{words}: a tracing has one size"));
    }
    let beyond = with(ticket, value, end + 0.01 * out);
    if by.limit == "flex_zone_thickness" {
        let (design, _) = job::laid(&beyond, Some(subject(&beyond))).ok()?.pop()?;
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
    let tried: Vec<(usize, Vec<String>)> = seeds()
        .into_par_iter()
        .filter_map(|seed| {
            let ticket = any_ticket(seed)?;
            let (base, report) = (stops(&ticket)?, report(&ticket)?);
            let ends: Vec<(Value, bool)> = Value::ALL.iter().flat_map(|&v| [(v, false), (v, true)]).collect();
            let ends: Vec<_> = ends.into_iter().filter(|(v, _)| report.values[v].feasible.is_some()).collect();
            let wrong = ends.iter().filter_map(|&(value, upper)| {
                let told = &report.values[&value];
                let by = told.bound_by[usize::from(upper)];
                wrong_end(&ticket, value, told.feasible?, by, upper, &base)
            });
            let told = wrong.map(|words| {
                let words = format!("ticket {seed}: {words}");
                println!("{words}");
                words
            });
            Some((ends.len(), told.collect()))
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

/// `set heel_thickness to 6.5 mm` -> the value and its number, where a finding advises one.
fn advised(advice: &str) -> Option<(Value, f64)> {
    let (name, rest) = advice.split_once("set ")?.1.split_once(" to ")?;
    let value = Value::ALL.into_iter().find(|value| value.name() == name)?;
    rest.split(' ').next()?.trim_end_matches(',').parse().ok().map(|to| (value, to))
}

/// Every "nearest value that passes" passes, and it can be written in a ticket.
#[test]
fn what_a_finding_advises_settles_it() {
    let tried: Vec<(usize, Vec<String>)> = (0..4 * cases())
        .into_par_iter()
        .map(|seed| {
            let Some(ticket) = any_ticket(seed) else { return (0, vec![]) };
            let Ok(design) = job::design(&ticket, ticket.feet.last().unwrap()) else { return (0, vec![]) };
            let mut count = 0;
            let mut wrong = vec![];
            for finding in &design.findings {
                let Some((value, to)) = advised(&finding.advice) else { continue };
                count += 1;
                let changed = with(&ticket, value, to);
                let same = |f: &&Finding| {
                    let place = finding.at_mm.zip(f.at_mm).is_none_or(|(a, b)| (a[1] - b[1]).abs() < 30.0);
                    f.limit == finding.limit && f.severity == finding.severity && place
                };
                let after = job::design(&changed, changed.feet.last().unwrap()).ok();
                let stays =
                    after.as_ref().is_none_or(|d| d.findings.iter().any(|f| same(&f) && f.unit == finding.unit));
                if stays && !other_part(finding, after.as_ref()) || !writable(value).admits(to) {
                    wrong.push(format!("ticket {seed}: {}: {} -> {}", finding.limit, finding.message, finding.advice));
                }
            }
            (count, wrong)
        })
        .collect();
    let advised: usize = tried.iter().map(|(count, _)| count).sum();
    let wrong: Vec<&String> = tried.iter().flat_map(|(_, wrong)| wrong).collect();
    println!("{advised} pieces of advice, {} wrong", wrong.len());
    assert!(wrong.is_empty(), "{wrong:#?}");
    assert!(advised as u64 > 2 * cases(), "{advised}");
}

/// Whether what is still found speaks of another part or size: two widths share one limit, and so do
/// the parts of the footbed.
fn other_part(finding: &Finding, after: Option<&Design>) -> bool {
    let subject = |f: &Finding| f.message.split(' ').take(3).collect::<Vec<_>>().join(" ");
    let still = |f: &&Finding| f.limit == finding.limit && f.severity == finding.severity;
    after.is_some_and(|d| d.findings.iter().filter(still).all(|f| subject(f) != subject(finding)))
}

/// Ends as they are printed, in hundredths by `check` and in tenths on sheets, rounded inward, pass when they are typed
/// into the ticket's text; a tenth beyond is refused there, meets a new stop, or is told not to be made.
#[test]
fn printed_ends_can_be_typed() {
    let tried: Vec<(usize, Vec<String>)> = seeds()
        .into_par_iter()
        .filter_map(|seed| {
            let text = wild_text(seed);
            let ticket = read(&text)?;
            let (base, report) = (stops(&ticket)?, report(&ticket)?);
            let side = subject(&ticket);
            let mut wrong = vec![];
            let mut count = 0;
            for value in Value::ALL {
                let told = &report.values[&value];
                let Some([lo, hi]) = told.feasible.filter(|_| told.bound_by[0] != Bound::TRACED) else { continue };
                for step in [0.01, 0.1] {
                    let ends = [((lo - 1e-6) / step).ceil() * step, ((hi + 1e-6) / step).floor() * step];
                    for (k, out) in [(0, -1.0), (1, 1.0)] {
                        let printed = (ends[k] * 1000.0).round() / 1000.0;
                        if ends[0] > ends[1] {
                            continue;
                        }
                        count += 1;
                        let typed = |to: f64| read(&ticket::with_value(&text, side, value, Some(to))?);
                        let words = format!("ticket {seed}: {} {printed} ({})", value.name(), told.bound_by[k].limit);
                        match typed(printed).and_then(|ticket| stops(&ticket)) {
                            None => wrong.push(format!("{words}: no design")),
                            Some(stops) if stops.iter().any(|stop| !base.contains(stop)) => {
                                wrong.push(format!("{words}: {stops:?}"));
                            }
                            Some(_) => {}
                        }
                        let beyond = ((printed + 0.1 * out) * 1000.0).round() / 1000.0;
                        if !typed(beyond).is_none_or(|ticket| objected(&ticket, told.bound_by[k])) {
                            wrong.push(format!("{words}: {beyond} is not refused"));
                        }
                    }
                }
            }
            wrong.iter().for_each(|words| println!("{words}"));
            Some((count, wrong))
        })
        .collect();
    let ends: usize = tried.iter().map(|(ends, _)| ends).sum();
    let wrong: Vec<&String> = tried.iter().flat_map(|(_, wrong)| wrong).collect();
    println!("{} tickets, {ends} printed ends, {} wrong", tried.len(), wrong.len());
    assert!(wrong.is_empty(), "{wrong:#?}");
    assert!(ends as u64 > 8 * cases(), "{ends}");
}

fn read(text: &str) -> Option<Ticket> {
    ticket::read(text, "typed.toml", &Shelf::built_in(), &traced).ok()
}

/// Whether something is found by this name, or there is no design.
fn objected(ticket: &Ticket, by: Bound) -> bool {
    let laid = job::laid(ticket, Some(subject(ticket))).ok();
    laid.is_none_or(|laid| laid.iter().any(|(design, _)| design.findings.iter().any(|f| f.limit == by.limit)))
}
