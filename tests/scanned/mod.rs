//! What tests of scans share: the demo ticket, numbers drawn by chance, a piece judged by a cloud.

use std::path::Path;

use sustent::frame::Side;
use sustent::inspect::{Case, Cover, Inspection, ScanFault, Taken, inspect_scan};
use sustent::job::{self, Design};
use sustent::profile::Shelf;
use sustent::register::Cloud;
use sustent::ticket::{self, Ticket};

pub fn demo() -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("output-samples/PATROL-07/ticket.toml");
    std::fs::read_to_string(path).unwrap()
}

pub fn read(text: &str) -> Ticket {
    ticket::read(text, "ticket.toml", &Shelf::built_in(), &|_: &str| Err(String::new())).unwrap()
}

pub fn of_side<'a>(ticket: &'a Ticket, side: Side) -> Design<'a> {
    job::design(ticket, ticket.feet.iter().find(|order| order.side == side).unwrap()).unwrap()
}

/// Numbers that look random and are always the same (splitmix64).
pub struct Chance(pub u64);

impl Chance {
    pub fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }
}

const TAKEN: Taken = Taken { cover: Cover::Off, scanner_mm: 0.0 };

pub fn inspected(ticket: &Ticket, design: &Design, cloud: &Cloud) -> Result<Inspection, ScanFault> {
    let shelf = Shelf::built_in();
    let case = Case {
        make: &ticket.make,
        order: design.order,
        footbed: &design.footbed,
        read_back: &design.read_back,
        tolerances: shelf.tolerances("workshop").unwrap(),
    };
    inspect_scan(&case, cloud, TAKEN).map(|scanned| scanned.inspection)
}
