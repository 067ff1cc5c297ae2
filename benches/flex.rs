//! How long it takes to work out how one foot gives, and what finer knots change. Nothing here is a
//! test: the printed tables are what counts.
//!
//! usage: cargo bench --bench flex
//!
//! On one thread, the left foot of the demo: flat as it stands, hollowed, and hollowed from a stiff sheet.

use std::sync::LazyLock;

use divan::Bencher;
use rayon::ThreadPoolBuilder;
use sustent::flex::{Flex, KNOT_MM, Question, answer_at};
use sustent::footbed::{Footbed, Underside};
use sustent::job;
use sustent::profile::{Material, Shelf};
use sustent::ticket::{self, Ticket};

const TEXT: &str = include_str!("../output-samples/PATROL-07/ticket.toml");
const KNOTS_MM: [f64; 4] = [12.0, KNOT_MM, 6.0, 4.0];

static SHELF: LazyLock<Shelf> = LazyLock::new(Shelf::built_in);
static TICKET: LazyLock<Ticket> = LazyLock::new(|| {
    let alone = |_: &str| Err("the demo names no other file".to_owned());
    ticket::read(TEXT, "ticket.toml", &SHELF, &alone).expect("the demo is a good ticket")
});

/// One footbed of the table.
#[derive(Clone, Copy, Debug)]
enum Case {
    Flat,
    Hollowed,
    Shell,
}

impl Case {
    const ALL: [Case; 3] = [Case::Flat, Case::Hollowed, Case::Shell];

    fn material(self) -> &'static Material {
        let name = if matches!(self, Case::Shell) { "polypropylene" } else { "eva-firm" };
        SHELF.material(name).expect("it is on the shelf")
    }

    fn footbed(self) -> Footbed {
        let footbed = job::design(&TICKET, &TICKET.feet[0]).expect("the demo can be designed").footbed;
        let underside = match self {
            Case::Flat => Underside::Flat,
            Case::Hollowed | Case::Shell => Underside::Relieved { left_mm: 3.0, stabiliser_share: 0.0 },
        };
        Footbed { underside, ..footbed }
    }

    fn answer(self, footbed: &Footbed, knot_mm: f64) -> Flex {
        let order = &TICKET.feet[0];
        let question = Question {
            footbed,
            foot: &order.foot,
            material: self.material(),
            cover_mm: TICKET.make.cover_mm,
            weight_kg: TICKET.wearer.weight_kg,
            load: SHELF.load("two-feet-alpine").expect("it is on the shelf"),
            wanted_share: None,
            room_mm: None,
            stabiliser_share: 0.0,
        };
        answer_at(&question, knot_mm).expect("the demo comes to rest")
    }
}

fn main() {
    println!("two-feet-alpine, 78 kg; mm, N/mm");
    println!("| footbed | knots | arch drop | arch gives | deepest | apex N/mm | strain % | contact |");
    println!("|---|---|---|---|---|---|---|---|");
    for case in Case::ALL {
        let footbed = case.footbed();
        for knot in KNOTS_MM {
            let Some(f) = case.answer(&footbed, knot).figures else { continue };
            println!(
                "| {case:?} | {knot} | {:.3} | {:.3} | {:.3} | {:.1} | {:.3} | {:.2} |",
                f.arch_drop_mm,
                f.arch_give_mm,
                f.deepest_mm,
                f.apex_stiffness_n_mm,
                f.bending.map_or(0.0, |bending| 100.0 * bending.strain),
                f.contact_share
            );
        }
    }
    divan::main();
}

#[divan::bench(args = Case::ALL, sample_count = 10)]
fn one_foot(bencher: Bencher, case: &Case) {
    let (footbed, pool) = (case.footbed(), ThreadPoolBuilder::new().num_threads(1).build().expect("a thread"));
    bencher.bench_local(|| pool.install(|| case.answer(&footbed, KNOT_MM)));
}
