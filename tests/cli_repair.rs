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

/// Values that shape no top are moved too, where a limit of their own leaves no other way: the flex zone to the
/// material's least, the cup to where its wall stands, the outline into its blank.
#[test]
fn a_value_that_is_held_moves_where_nothing_else_would_do() {
    let shop = Shop::new();
    let thin = include_str!("data/relieved.toml").replacen("flex_zone_thickness = 3", "flex_zone_thickness = 1.2", 1);
    let wide = changed(&one_foot(), "heel_cup_depth = 12.5\n", "heel_cup_depth = 12.5\nheel_cup_width = 80\n");
    let narrow = changed(&one_foot(), "heel_cup_depth = 12.5\n", "heel_cup_depth = 12.5\nheel_cup_width = 74\n");
    let short = changed(&one_foot(), "length = 300.5", "length = 285");
    let cases = [
        ("thin", thin, "flex_zone_thickness", "thickness 1.2 -> 2.1"),
        ("narrow", narrow, "heel_cup_width", " 74 -> "),
        ("wide", wide, "heel_cup_width", " 80 -> "),
        ("short", short, "length", "length "),
    ];
    for (name, text, value, told) in cases {
        let (ticket, next) = (shop.write(&format!("{name}.toml"), text), shop.path(&format!("{name}-next.toml")));
        let found = ran(sustent(["check", "--json", "--repair-out"]).arg(&next).arg(&ticket));
        let foot = &found.json()["feet"][0];
        assert_eq!(found.code, 1, "{name}: {}", found.err);
        let changes: Vec<&str> =
            foot["repair"]["changes"].as_array().unwrap().iter().filter_map(|c| c["value"].as_str()).collect();
        assert!(changes.contains(&value), "{name}: {}", foot["repair"]);
        let written = fs::read_to_string(&next).unwrap_or_else(|_| panic!("{name}: {}", foot["repair"]));
        assert!(written.contains(told), "{name}: {written}");
        assert_eq!(ran(sustent(["check"]).arg(&next)).code, 0, "{name}");
    }
}

/// No value answers for a clinician.
#[test]
fn what_would_still_be_stopped_is_not_written() {
    let shop = Shop::new();
    let text = changed(&one_foot(), "[wearer]\n", "[wearer]\nflags = [\"open_skin\"]\n");
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

/// A cup asked 70 mm wide passes at 68.9: "heel thickness 3.5 -> 5.5, and no smaller change" was printed. With a heel of
/// 75 mm and a cup 15 mm deep it passes at 68: a far shallower cup was proposed.
#[test]
fn one_value_that_passes_alone_is_told_before_several() {
    let shop = Shop::new();
    let start = include_str!("../output-samples/PATROL-11/ticket.toml")
        .replace("heel_cup_depth = 13 ", "heel_cup_depth = 13 \nheel_cup_width = 70 ");
    let deep = start
        .replace("heel_cup_depth = 13 ", "heel_cup_depth = 15 ")
        .replace("\nheel_width = 76 ", "\nheel_width = 75 ");
    for (name, text, told) in
        [("wide", start, "heel cup width 70 -> 68.9 mm alone"), ("deep", deep, "heel cup width 70 -> 68 mm alone")]
    {
        let ticket = shop.write(&format!("{name}.toml"), text);
        let found = ran(sustent(["check"]).arg(&ticket));
        let words = found.out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(found.code, 1);
        assert!(words.contains(&format!("together: {told}")), "{words}");
        assert!(!words.contains("no one value passes") && !words.contains("no smaller"), "{words}");
        let next = shop.path(&format!("{name}-next.toml"));
        let json = ran(sustent(["check", "--json", "--repair-out"]).arg(&next).arg(&ticket)).json();
        assert_eq!(json["feet"][0]["repair"]["found"], "searched");
        assert_eq!(ran(sustent(["check"]).arg(&next)).code, 0, "{name}");
    }
}

/// "forefoot thickness 2.5 -> 3.1 mm would pass, and no smaller change" was printed where 3.0 passes: the solver keeps a
/// hair to spare.
#[test]
fn what_lies_a_hair_beyond_a_tenth_is_that_tenth() {
    let shop = Shop::new();
    let text = include_str!("../output-samples/PATROL-11/ticket.toml")
        .replace("underside = \"flat\"", "underside = \"relieved\"\npins = { height = 2.5 }");
    let found = ran(sustent(["check"]).arg(shop.write("ticket.toml", text)));
    let words = found.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("forefoot thickness 2.5 -> 3 mm alone would pass, the least weighted change"), "{words}");
    assert!(words.contains("ask pins.height = 2.0, or a thicker edge") && !words.contains("longer blank"), "{words}");
}
