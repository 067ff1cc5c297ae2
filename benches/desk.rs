//! What one turn of a value costs on the desk, piece by piece, on the demo pair. Nothing here is a test: the printed
//! table is what counts.
//!
//! usage: cargo bench --bench desk

use std::collections::BTreeMap;
use std::sync::LazyLock;

use divan::Bencher;
use sustent::desk::{Ask, Desk, Disk};
use sustent::frame::Side;
use sustent::job::Live;
use sustent::profile::Shelf;
use sustent::ticket;
use sustent::value::Value;

fn main() {
    divan::main();
}

const TEXT: &str = include_str!("../output-samples/PATROL-07/ticket.toml");

fn nothing(_: &str) -> Result<String, String> {
    Err("the demo names no other file".to_owned())
}

fn turned(value: Value, to: f64) -> String {
    ticket::with_value(TEXT, Side::Left, value, Some(to)).expect("the demo has a left foot")
}

fn live(text: &str) -> Live {
    let ticket = ticket::read(text, "ticket.toml", &Shelf::built_in(), &nothing).expect("the demo is a good ticket");
    Live::open(ticket, text).expect("the demo can be designed")
}

static DEMO: LazyLock<Live> = LazyLock::new(|| live(TEXT));

/// Text changed, read, surface, values, findings and exact intervals of the pair; thickness of the turned foot on 1 mm.
fn turn(bencher: Bencher, value: Value, to: f64) {
    let shelf = Shelf::built_in();
    bencher.bench(|| {
        let text = turned(value, to);
        let ticket = ticket::read(&text, "ticket.toml", &shelf, &nothing).expect("a good ticket");
        let live = DEMO.changed(ticket, &text).expect("a design");
        live.shapes(&[Side::Left]).len()
    });
}

/// A value that the surface is linear in.
#[divan::bench]
fn turn_medial_arch(bencher: Bencher) {
    turn(bencher, Value::MedialArch, 18.5);
}

/// A value that needs another outline and another solve.
#[divan::bench]
fn turn_length(bencher: Bencher) {
    turn(bencher, Value::Length, 270.0);
}

/// The text changed and read alone.
#[divan::bench]
fn text(bencher: Bencher) {
    let shelf = Shelf::built_in();
    bencher.bench(|| ticket::read(&turned(Value::MedialArch, 18.5), "ticket.toml", &shelf, &nothing).is_ok());
}

/// The shape of one foot on 1 mm, packed for the page.
#[divan::bench]
fn shape(bencher: Bencher) {
    bencher.bench(|| DEMO.shapes(&[Side::Left]).len());
}

/// All pictures of the pair.
#[divan::bench]
fn drawing(bencher: Bencher) {
    bencher.bench(|| DEMO.drawing(&DEMO).map(|drawing| drawing.rules.len()));
}

/// The slower part: searched intervals, load, ways out.
#[divan::bench(sample_count = 5)]
fn settle(bencher: Bencher) {
    bencher.bench(|| DEMO.settle().is_settled());
}

/// A turn as the page asks it, and the whole answer.
#[divan::bench]
fn asked_and_told(bencher: Bencher) {
    let disk = Disk {
        read: Box::new(|| Ok(TEXT.to_owned())),
        replace: Box::new(|_, _| Err("nothing is saved here".to_owned())),
        beside: Box::new(nothing),
    };
    let mut desk = Desk::open(TEXT.to_owned(), "ticket.toml".to_owned(), Shelf::built_in(), disk).expect("a desk");
    let mut to = 18.0;
    bencher.bench_local(|| {
        to = if to < 19.0 { to + 0.1 } else { 18.0 };
        let ask = Ask::Change { side: Side::Left, value: Value::MedialArch, to: Some(to), more: true };
        desk.ask(ask).expect("a turn");
        let state = desk.state(&BTreeMap::new()).expect("a state");
        serde_json::to_string(&state).map_or(0, |text| text.len())
    });
}
