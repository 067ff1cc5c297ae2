//! `check --repair-out`: only what passes is written, as the ticket's next revision.

mod shop;

use std::fs;

use shop::{SAMPLE, Shop, all_names, changed, one_foot, ran, sustent};

/// Both feet too high for the blank, and one posted past what stops.
fn stopped() -> String {
    changed(&changed(SAMPLE, "height = 29.7", "height = 20.0"), "rearfoot_post = 1 ", "rearfoot_post = 7 ")
}

#[test]
fn a_stopped_ticket_is_written_repaired_and_passes() {
    let shop = Shop::new();
    let (ticket, next) = (shop.write("ticket.toml", stopped()), shop.path("next.toml"));
    let told = ran(sustent(["check", "--json", "--date", "2026-11-25", "--repair-out"]).arg(&next).arg(&ticket));
    assert_eq!(told.code, 1, "the ticket itself stays stopped: {}", told.err);
    assert_eq!(told.json()["repaired"]["revision"], 3);
    assert_eq!(fs::read_to_string(&ticket).unwrap(), stopped());
    let text = fs::read_to_string(&next).unwrap();
    assert!(text.contains("revision = 3                # raise it") && text.contains("date = 2026-11-25"), "{text}");
    assert!(text.contains("left rearfoot post 7 -> 6") && text.contains("settles blank height"), "{text}");
    let again = ran(sustent(["check", "--json", "--repair-out"]).arg(shop.path("no.toml")).arg(&next));
    assert_eq!((again.code, &again.json()["pass"]), (0, &serde_json::Value::Bool(true)), "{}", again.err);
    assert!(again.json()["repaired"]["file"].is_null());
    assert_eq!(all_names(&shop.path("")), ["next.toml", "ticket.toml"]);
}

/// No shaping value widens a blank.
#[test]
fn what_would_still_be_stopped_is_not_written() {
    let shop = Shop::new();
    let text = changed(&one_foot(), "width = 120.2", "width = 105");
    let ticket = shop.write("ticket.toml", text);
    let told = ran(sustent(["check", "--repair-out"]).arg(shop.path("next.toml")).arg(&ticket));
    assert_eq!(told.code, 1);
    assert!(told.out.contains("no file is written"), "{}", told.out);
    assert_eq!(all_names(&shop.path("")), ["ticket.toml"]);
}

#[test]
fn one_ticket_at_a_time_and_never_over_itself() {
    let shop = Shop::new();
    let ticket = shop.write("ticket.toml", stopped());
    let over = ran(sustent(["check", "--repair-out"]).arg(&ticket).arg(&ticket));
    assert_eq!((over.code, fs::read_to_string(&ticket).unwrap()), (2, stopped()));
    let two = ran(sustent(["check", "--repair-out"]).arg(shop.path("next.toml")).arg(&ticket).arg(&ticket));
    assert!(two.code == 2 && two.err.contains("one"), "{}", two.err);
    let alone = ran(sustent(["check", "--date", "today"]).arg(&ticket));
    assert_eq!(alone.code, 2, "a date without a file means nothing");
    assert_eq!(all_names(&shop.path("")), ["ticket.toml"]);
}
