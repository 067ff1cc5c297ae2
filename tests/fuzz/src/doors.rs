//! Every way by which foreign bytes come into the program. A door either says what is wrong with them or gives something that
//! the next step takes; it never panics.

use std::io::Cursor;
use std::sync::{LazyLock, Mutex, PoisonError};

use sustent::desk::{Ask, Desk, Disk};
use sustent::profile::{Kind, Shelf};
use sustent::ticket::{self, Because, Setting};
use sustent::value::Value;

/// A name, and what takes the bytes.
pub type Door = (&'static str, fn(&[u8]));

/// All doors, by name.
pub const DOORS: [Door; 9] = [
    ("ticket", ticket_door),
    ("measures", measures_door),
    ("profile", profile_door),
    ("outline", outline_door),
    ("scan", scan_door),
    ("readings", readings_door),
    ("program", program_door),
    ("desk", desk_door),
    ("log", log_door),
];

static SHELF: LazyLock<Shelf> = LazyLock::new(Shelf::built_in);

/// A traced insole for whoever names one.
const TRACED: &str = include_str!("../../data/outlines/stock-insole-right.svg");

fn text(bytes: &[u8]) -> std::borrow::Cow<'_, str> {
    String::from_utf8_lossy(bytes)
}

fn traced(_: &str) -> Result<String, String> {
    Ok(TRACED.to_owned())
}

/// A ticket that is read can be revised, and its next revision is read again.
fn ticket_door(bytes: &[u8]) {
    let text = text(bytes);
    let Ok(read) = ticket::read(&text, "t.toml", &SHELF, &traced) else { return };
    let Some(order) = read.feet.first() else { return };
    let to = order.asked(Value::MedialArch).map_or(15.0, |now| if now > 15.0 { now - 1.0 } else { now + 1.0 });
    let setting = Setting { side: order.side, value: Value::MedialArch, to };
    let because = Because { reason: "a try".into(), date: String::new() };
    if let Ok(next) = ticket::revise(&text, &read, &[setting], &because) {
        let again = ticket::read(&next, "t.toml", &SHELF, &traced);
        let again = again.unwrap_or_else(|problems| panic!("what was written is not read: {problems}\n{next}"));
        assert_eq!(again.revision, read.revision + 1);
    }
}

/// Measures that are taken make a ticket that is read.
fn measures_door(bytes: &[u8]) {
    if let Ok(taken) = sustent::intake::intake(&text(bytes), "m.toml", &SHELF, &traced)
        && let Some(written) = &taken.ticket
    {
        let read = ticket::read(written, "t.toml", &SHELF, &traced);
        assert!(read.is_ok(), "{}\n{written}", read.unwrap_err());
    }
}

/// The first byte says which kind of profile the rest is to be.
fn profile_door(bytes: &[u8]) {
    let Some((kind, rest)) = bytes.split_first() else { return };
    let kind = Kind::ALL[*kind as usize % Kind::ALL.len()];
    let name = if kind == Kind::Rules { "starting.toml" } else { "own.toml" };
    if let Ok(shelf) = SHELF.clone().with_files([(kind, name, text(rest))]) {
        let lines = shelf.cards(kind).map(|card| card.lines.len()).sum::<usize>();
        assert!(lines > 0);
    }
}

fn outline_door(bytes: &[u8]) {
    if let Ok(traced) = sustent::curve::outline_from_svg(&text(bytes), 0.5) {
        assert!(traced.outline.length_mm().is_finite() && traced.outline.length_mm() > 0.0);
    }
}

/// The first byte says by which ending the file goes.
fn scan_door(bytes: &[u8]) {
    let Some((kind, rest)) = bytes.split_first() else { return };
    let name = ["s.stl", "s.ply", "s.obj", "s.xyz", "s.csv"][*kind as usize % 5];
    if let Ok(scan) = sustent::mesh::read_scan(Cursor::new(rest), Some(rest.len() as u64), name) {
        let bounds = scan.bounds();
        assert!(bounds.iter().all(|p| p.x.is_finite() && p.y.is_finite() && p.z.is_finite()));
        let extent = (bounds[1] - bounds[0]).norm();
        let _ = scan.samples((extent / 50.0).max(0.01));
    }
}

fn readings_door(bytes: &[u8]) {
    if let Ok(readings) = sustent::inspect::read_table("r.csv", &text(bytes)) {
        assert!(!readings.is_empty());
    }
}

/// The first byte says which machine is to take the program.
fn program_door(bytes: &[u8]) {
    let Some((machine, rest)) = bytes.split_first() else { return };
    let names = SHELF.names(Kind::Machine);
    let machine = SHELF.machine(names[*machine as usize % names.len()]).expect("it is on the shelf");
    if let Ok(program) = sustent::nc::read(rest, &sustent::nc::acceptance(machine)) {
        let all = program.travels.iter().flat_map(|t| [t.from, t.to]);
        all.for_each(|p| assert!(p.x.is_finite() && p.y.is_finite() && p.z.is_finite()));
    }
}

static DESK: LazyLock<Mutex<Desk>> = LazyLock::new(|| {
    let demo = include_str!("../../../output-samples/PATROL-07/ticket.toml");
    let disk = Disk {
        read: Box::new(move || Ok(demo.to_owned())),
        replace: Box::new(|_, _| Ok(None)),
        beside: Box::new(traced),
    };
    let desk = Desk::open(demo.to_owned(), "t.toml".into(), Shelf::built_in(), disk);
    Mutex::new(desk.unwrap_or_else(|no| panic!("the demo opens: {no}")))
});

/// What a page may ask of the desk, one thing after the other on lines of their own.
fn desk_door(bytes: &[u8]) {
    let mut desk = DESK.lock().unwrap_or_else(PoisonError::into_inner);
    for line in text(bytes).lines().take(4) {
        if let Ok(ask) = serde_json::from_str::<Ask>(line) {
            let _ = desk.ask(ask);
        }
    }
    let state = desk.state(&Default::default());
    assert!(state.is_ok(), "what is on the desk can be told");
}

/// A line of an inspection log.
fn log_door(bytes: &[u8]) {
    if let Ok(entry) = serde_json::from_slice::<sustent::inspect::Entry>(bytes) {
        let again: sustent::inspect::Entry =
            serde_json::from_str(entry.line().trim_end()).expect("a line is read again");
        assert_eq!(again.ticket, entry.ticket);
        let _ = sustent::drift::drift(&[entry.clone(), entry]);
    }
}
