//! Whole tickets as text, from any shelf and any foot: every machine, material, blank, cutter and boot,
//! one foot or two, flat or relieved, pins or edges, alone or as a pair.

use sustent::profile::{Kind, Shelf};
use sustent::ticket::{self, Ticket};

use super::Random;

/// Tracings that a stock insole may come with.
const TRACED: &str = include_str!("../data/outlines/stock-insole-right.svg");

/// A ticket that could be written; `None` where the reader refuses the draw.
pub fn wild_ticket(seed: u64) -> Option<Ticket> {
    ticket::read(&wild_text(seed), "wild.toml", &Shelf::built_in(), &traced).ok()
}

/// The drawing that a wild ticket may name.
pub fn traced(_: &str) -> Result<String, String> {
    Ok(TRACED.to_string())
}

/// Its text.
pub fn wild_text(seed: u64) -> String {
    let mut r = Random(0xd1b5_4a32_d192_ed03 ^ (seed + 1).wrapping_mul(0x94d0_49bb_1331_11eb));
    (0..8).for_each(|_| {
        r.between(0.0, 1.0);
    });
    let length = r.between(215.0, 310.0);
    let all: [&[&str]; 3] = [&["left"], &["right"], &["left", "right"]];
    let sides = *r.one_of(&all);
    let head = format!(
        "[ticket]\ncode = \"WILD-{seed}\"\n[wearer]\nweight = {}\nuse = \"{}\"\nload = \"{}\"\n",
        r.between(40.0, 120.0),
        name(&mut r, Kind::Support),
        name(&mut r, Kind::Load)
    );
    let feet: Vec<String> = sides.iter().map(|side| foot(&mut r, side, length)).collect();
    head + &boot(&mut r, length) + &make(&mut r, length, sides.len()) + &feet.concat()
}

fn name(r: &mut Random, kind: Kind) -> String {
    let names: Vec<String> = Shelf::built_in().names(kind).into_iter().map(str::to_string).collect();
    r.one_of(&names).clone()
}

/// `key = number` in a share of the tickets.
fn maybe(r: &mut Random, share: f64, key: &str, lo: f64, hi: f64) -> String {
    let x = r.between(lo, hi);
    if r.chance(share) { format!("{key} = {x}\n") } else { String::new() }
}

fn boot(r: &mut Random, length: f64) -> String {
    let rows = [
        maybe(r, 0.7, "heel_thickness", 3.0, 6.0),
        maybe(r, 0.7, "ball_thickness", 2.5, 5.0),
        maybe(r, 0.3, "length", length - 3.0, length + 8.0),
        maybe(r, 0.3, "ball_width", 0.34 * length, 0.39 * length),
        maybe(r, 0.3, "heel_width", 0.26 * length, 0.31 * length),
    ];
    let traced = (length - 265.0).abs() < 15.0 && r.chance(0.5);
    let outline = if traced { "outline = { right = \"insole.svg\" }\nclearance = 0.5\n" } else { "" };
    format!("[boot]\nmondopoint = {}\n[boot.stock_insole]\n{}", length.round(), rows.concat() + outline)
}

fn make(r: &mut Random, length: f64, feet: usize) -> String {
    let pair = feet == 2 && r.chance(0.3);
    let relieved = !pair && r.chance(0.4);
    let mut text = format!(
        "[make]\nmaterial = \"{}\"\nmachine = \"{}\"\nunderside = \"{}\"\nlay = \"{}\"\n",
        name(r, Kind::Material),
        name(r, Kind::Machine),
        if relieved { "relieved" } else { "flat" },
        if pair { "pair" } else { "each" }
    );
    // Mostly a blank that could do; now and then any.
    let fitting = if pair { "foam-pair-350" } else { "foam-360" };
    let blank = if r.chance(0.7) { fitting.to_string() } else { name(r, Kind::Blank) };
    text += &format!("blank = \"{blank}\"\n{}", maybe(r, 0.7, "cover", 0.0, 2.5));
    if relieved && r.chance(0.3) {
        text += "turning = \"edges\"\n";
    }
    if r.chance(0.2) {
        text += &format!("hold = \"skin\"\nskin = {}\n", r.between(0.3, 1.6));
    }
    if r.chance(0.5) {
        let rest = if r.chance(0.3) { "rest = \"ball-3\", " } else { "" };
        let finishing = *r.one_of(&["ball-3", "ball-6", "ball-8", "ball-10", "bull-10", "taper-6", "flat-6"]);
        let roughing = *r.one_of(&["flat-6", "flat-8", "flat-10", "flat-12", "bull-12"]);
        let perimeter = *r.one_of(&["flat-6", "flat-8"]);
        text += &format!(
            "cutters = {{ {rest}finishing = \"{finishing}\", roughing = \"{roughing}\", perimeter = \"{perimeter}\" }}\n"
        );
    }
    if r.chance(0.5) {
        let sized = if r.chance(0.5) {
            format!(
                "length = {}\nwidth = {}\n",
                r.between(length + 20.0, length + 60.0),
                r.between(112.0, 150.0) * feet as f64
            )
        } else {
            String::new()
        };
        text += &format!("[make.blank_measured]\nheight = {}\n{sized}", r.between(22.0, 41.0));
    }
    if r.chance(0.2) {
        let x = r.between(-10.0, 8.0);
        text += &format!("[[make.clamps]]\nx = [{}, {x}]\ny = [20, 60]\nheight = {}\n", x - 20.0, r.between(5.0, 45.0));
    }
    text
}

fn foot(r: &mut Random, side: &str, length: f64) -> String {
    let length = length + r.between(-3.0, 3.0);
    let seated = r.between(15.0, 27.0);
    let state = |r: &mut Random| *r.one_of(&["standing", "standing", "seated", "unloaded"]);
    let mut text = format!("[{side}.foot]\nlength = {{ {} = {length} }}\n", state(r));
    for (key, lo, hi, share) in [
        ("ball_width", 0.34, 0.41, 0.8),
        ("heel_width", 0.24, 0.295, 0.8),
        ("first_met", 0.71, 0.77, 0.5),
        ("fifth_met", 0.61, 0.67, 0.5),
    ] {
        let x = r.between(lo * length, hi * length);
        let state = state(r);
        if r.chance(share) {
            text += &format!("{key} = {{ {state} = {x} }}\n");
        }
    }
    if r.chance(0.8) {
        text += &format!("medial_arch = {{ seated = {seated}, standing = {} }}\n", seated - r.between(0.0, 9.0));
    }
    // Most are near what is usual, so that most ends are ends of something.
    let tame = if r.chance(0.6) { 0.4 } else { 1.0 };
    let mut rows = String::new();
    for (key, lo, hi, share) in [
        ("heel_thickness", 2.0, 7.0, 0.5),
        ("heel_cup_depth", 6.0, 19.0, 0.6),
        ("rearfoot_post", -6.5, 6.5, 0.6),
        ("medial_arch", 6.0, 26.0, 1.0),
        ("lateral_arch", 0.0, 9.0, 0.5),
        ("transverse_arch", 0.0, 4.0, 0.5),
        ("forefoot_thickness", 2.0, 6.0, 0.5),
        ("flex_zone_thickness", 1.0, 6.0, 0.4),
        ("stabiliser_share", 0.0, 1.0, 0.3),
        ("length", length - 4.0, length + 9.0, 0.3),
        ("ball_width", 0.33 * length, 0.40 * length, 0.3),
        ("heel_width", 0.25 * length, 0.31 * length, 0.3),
        ("heel_cup_width", 0.21 * length, 0.27 * length, 0.3),
    ] {
        let middle = 0.5 * (lo + hi);
        rows += &maybe(r, share, key, middle + tame * (lo - middle), middle + tame * (hi - middle));
    }
    text + &format!("[{side}.support]\n{rows}")
}
