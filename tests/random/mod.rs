//! Tickets as a tired fitter might write them: values anywhere, most of them near what is usual.

#![allow(dead_code)] // each test takes what it needs

mod wild;

use sustent::frame::Side;
use sustent::profile::Shelf;
use sustent::ticket::{self, Hold, Ticket, Underside};
use sustent::value::Value;

#[allow(unused_imports)] // each test takes what it needs
pub use wild::{traced, wild_text, wild_ticket};

const DEMO: &str = include_str!("../../output-samples/PATROL-07/ticket.toml");

/// As many random tickets are tried; `SUSTENT_CASES` asks for more.
pub fn cases() -> u64 {
    std::env::var("SUSTENT_CASES").ok().and_then(|n| n.parse().ok()).unwrap_or(20)
}

/// The seeds that are tried; `SUSTENT_FROM` begins elsewhere than at 0, so that one ticket can be looked at.
pub fn seeds() -> std::ops::Range<u64> {
    let from = std::env::var("SUSTENT_FROM").ok().and_then(|n| n.parse().ok()).unwrap_or(0);
    from..from + cases()
}

/// Marsaglia's xorshift64 (2003).
pub struct Random(pub u64);

impl Random {
    pub fn between(&mut self, lo: f64, hi: f64) -> f64 {
        for shift in [13, -7, 17] {
            self.0 ^= if shift > 0 { self.0 << shift } else { self.0 >> -shift };
        }
        let share = (self.0 >> 11) as f64 / (1_u64 << 53) as f64;
        // Tenths, as people write them.
        ((lo + (hi - lo) * share) * 10.0).round() / 10.0
    }

    pub fn one_of<'a, T>(&mut self, all: &'a [T]) -> &'a T {
        &all[(self.between(0.0, 1e6) * 10.0) as usize % all.len()]
    }

    pub fn chance(&mut self, share: f64) -> bool {
        self.between(0.0, 1000.0) < 1000.0 * share
    }
}

/// A ticket for one foot whose values lie anywhere a fitter might put them, wise or not.
pub fn random_ticket(seed: u64) -> Ticket {
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

/// Tame and wild ones by turns; `None` where none can be read.
pub fn any_ticket(seed: u64) -> Option<Ticket> {
    if seed.is_multiple_of(2) { Some(random_ticket(seed / 2)) } else { wild_ticket(seed / 2) }
}

/// The foot of a ticket that a test is about: the last.
pub fn subject(ticket: &Ticket) -> Side {
    ticket.feet.last().unwrap().side
}

/// The ticket with another number for one value of that foot.
pub fn with(ticket: &Ticket, value: Value, to: f64) -> Ticket {
    let mut changed = ticket.clone();
    changed.feet.last_mut().unwrap().support.ask(value, to);
    changed
}
