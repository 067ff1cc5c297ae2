//! What several values together can do about a stopped ticket: on random tickets the changes pass,
//! no smaller ones do, and where nothing passes the contradiction is real.

mod random;

use rayon::prelude::*;
use sustent::job::{self, Design};
use sustent::limits::{Change, Found, Repair, Severity};
use sustent::ticket::Ticket;

use random::{any_ticket, cases, random_ticket, subject, with};

/// Limits that values of the surface's shape can always move.
const MOVABLE: [&str; 8] = [
    "blank_height",
    "steepest_wall",
    "rearfoot_post",
    "medial_arch",
    "heel_rise",
    "ball_rise",
    "ramp_change",
    "skin_hold",
];

fn design(ticket: &Ticket) -> Design<'_> {
    job::laid(ticket, Some(subject(ticket))).unwrap().remove(0).0
}

fn stops(ticket: &Ticket) -> Vec<&'static str> {
    design(ticket).findings.iter().filter(|f| f.severity == Severity::Stop).map(|f| f.limit).collect()
}

fn repair(ticket: &Ticket) -> Option<Repair> {
    design(ticket).repair(ticket)
}

/// The ticket with a share of the exact change made.
fn changed(ticket: &Ticket, change: &Change, to: impl Fn(f64, f64, f64) -> f64) -> Ticket {
    change.changes.iter().fold(ticket.clone(), |ticket, c| with(&ticket, c.value, to(c.from, c.to, c.least)))
}

/// Random tickets that can be designed and are stopped.
fn stopped() -> Vec<(u64, Ticket)> {
    let tickets = (0..4 * cases()).filter_map(|seed| Some((seed, any_ticket(seed)?)));
    tickets.filter(|(_, t)| job::laid(t, Some(subject(t))).is_ok_and(|laid| laid[0].0.is_stopped())).collect()
}

#[test]
fn a_repaired_ticket_passes_and_a_smaller_change_does_not() {
    let tried: Vec<(usize, Vec<String>)> = stopped()
        .into_par_iter()
        .map(|(seed, ticket)| {
            let mut wrong = vec![];
            let Some(Repair::Change(change)) = repair(&ticket) else { return (0, wrong) };
            if change.changes.is_empty() {
                return (0, wrong);
            }
            let after = stops(&changed(&ticket, &change, |_, to, _| to));
            if let Some(stop) = after.iter().find(|stop| MOVABLE.contains(stop) || !change.left.contains(stop)) {
                wrong.push(format!("ticket {seed}: after {:?} {stop} is met", change.changes));
            }
            let less = stops(&changed(&ticket, &change, |from, _, least| from + 0.98 * (least - from)));
            if change.found == Found::Exact && less.len() <= after.len() {
                wrong.push(format!("ticket {seed}: less than {:?} passes too", change.changes));
            }
            if change.least_cost > change.cost + 1e-6 || change.cost > change.least_cost + 1.0 {
                wrong.push(format!("ticket {seed}: {} is written for {}", change.cost, change.least_cost));
            }
            if change.bound_by.is_empty() {
                wrong.push(format!("ticket {seed}: nothing bounds {:?}", change.changes));
            }
            (1, wrong)
        })
        .collect();
    let repaired: usize = tried.iter().map(|(one, _)| one).sum();
    let wrong: Vec<&String> = tried.iter().flat_map(|(_, wrong)| wrong).collect();
    println!("{} stopped tickets, {repaired} repaired, {} wrong", tried.len(), wrong.len());
    assert!(wrong.is_empty(), "{wrong:#?}");
    assert!(repaired as u64 > cases() / 2, "{repaired}");
}

#[test]
fn what_passes_needs_no_repair() {
    let passing = (0..4 * cases()).map(random_ticket).filter(|t| job::laid(t, None).is_ok() && stops(t).is_empty());
    let passing: Vec<Ticket> = passing.take(10).collect();
    assert!(passing.len() > 3);
    assert!(passing.iter().all(|ticket| repair(ticket).is_none()));
}

/// A blank of 20 mm holds 18 mm; a reach of 16 mm under a blank's top at 20 mm allows no place below
/// 4 mm, and the boot no heel above 3.5 mm.
#[test]
fn what_cannot_go_together_is_named_with_what_would_help() {
    let mut ticket = random_ticket(1);
    ticket.make.blank.height_mm = 20.0;
    ticket.make.blank.measured = true;
    ticket.make.finishing.stickout_mm = 15.0;
    ticket.make.cover_mm = 0.0;
    ticket.boot.stock_insole.heel_thickness = Some(1.0);
    let Some(Repair::Never(never)) = repair(&ticket) else { panic!("{:?}", repair(&ticket)) };
    let limits: Vec<&str> = never.contradiction.iter().map(|b| b.limit).collect();
    assert!(limits.contains(&"cutter_reach") && limits.contains(&"heel_rise"), "{never:?}");
    assert!(never.help.contains(&"a longer cutter"), "{never:?}");
}
