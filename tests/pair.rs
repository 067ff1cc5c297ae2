//! Two feet in one blank: they never lie on one another, one may lie the other way round, neither is
//! touched by what cuts the other, clamps are kept away from, and a skin may hold them.

mod shop;

use sustent::carve::ViolationKind;
use sustent::curve::Outline;
use sustent::frame::{Side, bench_from_foot};
use sustent::job::{self, Design, Face, Lay, Precision, Written};
use sustent::profile::Shelf;
use sustent::ticket::{self, Ticket};

use shop::{SAMPLE, changed};

const CHECKSUM: &str = "0000000000000000000000000000000000000000000000000000000000000000";

/// The sample as a pair in one blank, with these lines added to `[make]`.
fn pair(blank: &str, lines: &str) -> String {
    let (before, rest) = SAMPLE.split_once("[make.blank_measured]").expect("the sample's blank was measured");
    let (_, feet) = rest.split_once("[left.foot]").expect("the sample has a left foot");
    let text = format!("{before}[left.foot]{feet}");
    changed(&text, "blank = \"foam-300\"", &format!("blank = \"{blank}\"\nlay = \"pair\"\n{lines}"))
}

fn read(text: &str) -> Ticket {
    let none = |_: &str| Err("these tickets name no file".to_string());
    ticket::read(text, "ticket.toml", &Shelf::built_in(), &none).unwrap_or_else(|e| panic!("{e}"))
}

fn laid(ticket: &Ticket) -> Vec<(Design<'_>, Lay)> {
    job::laid(ticket, None).unwrap_or_else(|e| panic!("{e}"))
}

fn outlines(feet: &[(Design, Lay)]) -> Vec<Outline> {
    feet.iter().map(|(design, lay)| design.footbed.outline.placed(lay.top)).collect()
}

fn written(ticket: &Ticket, (design, lay): &(Design, Lay)) -> Vec<Written> {
    job::write(ticket, design, lay, CHECKSUM, Precision::SHOP).unwrap_or_else(|e| panic!("{e}"))
}

/// Every corner of each against every side of the other, with no short cut.
fn apart(a: &Outline, b: &Outline) -> f64 {
    let sides = |o: &Outline| {
        let points = o.points().to_vec();
        (0..points.len()).map(|k| (points[k], points[(k + 1) % points.len()])).collect::<Vec<_>>()
    };
    let mut least = f64::INFINITY;
    for (from, to) in [(a, b), (b, a)] {
        let sides = sides(to);
        for p in from.points() {
            for (a, b) in &sides {
                let t = ((p - a).dot(&(b - a)) / (b - a).norm_squared()).clamp(0.0, 1.0);
                least = least.min((p - (a + (b - a) * t)).norm());
            }
        }
    }
    least
}

#[test]
fn pairs_of_many_sizes_lie_apart_and_inside_their_blank() {
    let sizes = [(200.0, 205.0), (230.0, 262.0), (262.0, 240.0), (265.0, 266.0), (285.0, 285.0), (303.0, 296.0)];
    let mut turned = 0;
    for (left, right) in sizes {
        let share = |text: &str, from: f64, to: f64| {
            let mut lines: Vec<String> = text.lines().map(str::to_string).collect();
            for line in &mut lines {
                let widths = ["length", "ball_width", "heel_width", "first_met", "fifth_met"];
                if line.contains("{ ") && widths.iter().any(|w| line.starts_with(w)) {
                    let scaled = |word: &str| {
                        let bare = word.trim_end_matches(',');
                        bare.parse::<f64>()
                            .map_or(word.to_string(), |v| word.replace(bare, &format!("{:.1}", v * to / from)))
                    };
                    *line = line.split(' ').map(scaled).collect::<Vec<_>>().join(" ");
                }
            }
            lines.join("\n")
        };
        let text = pair("foam-pair-350", "blank_measured = { length = 380, width = 300, height = 45 }");
        let (head, feet) = text.split_once("[left.foot]").unwrap();
        let (l, r) = feet.split_once("[right.foot]").unwrap();
        // Each foot's own size, and not the stock insole's.
        let head =
            head.split("[boot.stock_insole]").next().unwrap().to_string() + &head[head.find("[make]").unwrap()..];
        let text = format!("{head}[left.foot]{}\n[right.foot]{}", share(l, 265.0, left), share(r, 266.0, right));
        let ticket = read(&text);
        let feet = laid(&ticket);
        let [a, b] = outlines(&feet).try_into().unwrap();
        let gap = job::gap_mm(&ticket.make);
        let apart = apart(&a, &b);
        assert!((gap..gap + 1.5).contains(&apart), "{left} and {right}: {apart} mm apart, {gap} kept");
        assert!(!a.contains(b.points()[0]) && !b.contains(a.points()[0]));
        let blank = &ticket.make.blank;
        for outline in [&a, &b] {
            let r = outline.bounds();
            let margin = blank.side_margin_mm + 6.0;
            assert!(
                r.x0 >= margin && r.y0 >= margin && r.x1 <= blank.width_mm - margin && r.y1 <= blank.length_mm - margin
            );
        }
        for (_, lay) in &feet {
            let origin = lay.top.place(sustent::frame::Point2::origin());
            assert_eq!((origin.x.fract(), origin.y.fract()), (0.0, 0.0), "whole millimetres");
            // A turn, never a reflection.
            let back = bench_from_foot(lay.side).matrix() * lay.mill_from_foot(Face::Top).inverse_matrix();
            assert_eq!(back.determinant(), 1.0);
        }
        turned += feet.iter().filter(|(_, lay)| lay.half_turned()).count();
    }
    assert!(turned > 0, "heel beside toes is narrower for some");
}

#[test]
fn a_pair_without_room_says_what_is_missing_and_what_would_take_it() {
    let ticket = read(&pair("foam-300", ""));
    for (design, _) in laid(&ticket) {
        assert!(design.is_stopped());
        let told = design.findings.iter().find(|f| f.limit == "pair_in_blank").expect("a finding");
        assert!(told.message.contains("in X (width) missing"), "{}", told.message);
        assert!(told.advice.contains("foam-pair-310"), "{}", told.advice);
        assert_eq!(told.allowed, Some(120.0));
        // With the blank it asks for there is room.
        assert!(told.measured.unwrap() < 240.0);
    }
}

/// The numbers of a turned foot are those of the unturned one: its carved heights are the same,
/// place for place, where both lattices are.
#[test]
fn a_turned_foot_is_cut_as_the_unturned_one() {
    let text = pair("foam-pair-350", "passes = \"along\"\nmarks = false");
    let ticket = read(&text);
    let feet = laid(&ticket);
    let (design, lay) = feet.iter().find(|(_, lay)| lay.half_turned()).expect("one lies the other way round");
    let around = |lay: &Lay| Lay { keep_out: vec![], ..lay.clone() };
    let blank = &ticket.make.blank;
    let half = lay.top.then_half_turned();
    let plain =
        Lay { top: half.then_moved(sustent::frame::Vector3::new(blank.width_mm, blank.length_mm, 0.0)), ..around(lay) };
    assert!(!plain.half_turned());
    let heights = [&plain, &around(lay)].map(|lay| {
        let target = job::target(&design.footbed, lay.top, &ticket.make, Precision::SHOP.plan_mm);
        let bounds = design.footbed.outline.bounds();
        let places = (0..60).flat_map(|i| (0..120).map(move |j| (f64::from(i) * 1.5, f64::from(j) * 2.25)));
        let places = places.map(|(x, y)| sustent::frame::Point2::new(bounds.x0.floor() + x, bounds.y0.floor() + y));
        let inside = places.filter(|p| design.footbed.outline.contains(*p));
        inside.map(|p| target.surface.sample(lay.top.place(p)).unwrap()).collect::<Vec<_>>()
    });
    assert!(heights[0].len() > 3000);
    assert_eq!(heights[0], heights[1], "the same heights to be cut");
    let values = [&plain, &around(lay)].map(|lay| {
        let programs = job::write(&ticket, design, lay, CHECKSUM, Precision::SHOP).unwrap();
        let proved = job::prove(&ticket, design, lay, &programs, Precision::SHOP).unwrap();
        assert!(proved.proof.pass, "{:#?}", proved.proof.violations);
        proved.values
    });
    for (value, plain) in &values[0] {
        // Passes begin at the other side, so ridges lie elsewhere: within the scallop.
        assert!((values[1][value] - plain).abs() < 0.08, "{value:?}: {plain} and {}", values[1][value]);
    }
}

/// One move of a good program is bent into the neighbour, another into a clamp.
#[test]
fn programs_that_cross_into_the_neighbour_or_a_clamp_are_refused_with_their_line() {
    let clamp = "\n[[make.clamps]]\nx = [-20, 8]\ny = [150, 200]\nheight = 45\n\n";
    let text = changed(&pair("foam-pair-350", ""), "[left.foot]", &format!("{clamp}[left.foot]"));
    let ticket = read(&text);
    let feet = laid(&ticket);
    let foot = &feet[0];
    let good = written(&ticket, foot);
    let prove = |programs: &[Written]| job::prove(&ticket, &foot.0, &foot.1, programs, Precision::SHOP).unwrap().proof;
    let proof = prove(&good);
    assert!(proof.pass, "{:#?}", proof.violations);

    let finish = good.iter().position(|w| w.file.ends_with("finish.ngc")).unwrap();
    let neighbour = outlines(&feet)[1].bounds();
    let middle = (0.5 * (neighbour.x0 + neighbour.x1), 0.5 * (neighbour.y0 + neighbour.y1));
    for (place, name) in [(middle, "the right footbed"), ((4.0, 175.0), "clamp 1")] {
        let lines: Vec<&str> = good[finish].text.lines().collect();
        let first = lines.iter().position(|line| line.starts_with("G1 ")).unwrap();
        let bad = format!("G1 X{:.3} Y{:.3}", place.0, place.1);
        let text = [&lines[..=first], &[bad.as_str()], &lines[first + 1..]].concat().join("\n");
        let mut programs = good.clone();
        programs[finish] = Written::from_text(&good[finish].file, text.as_bytes(), &ticket.make).unwrap();
        let proof = prove(&programs);
        let met = proof.violations.iter().filter(|v| v.kind == ViolationKind::KeepOut && v.message.contains(name));
        let lines: Vec<usize> = met.map(|v| v.line).collect();
        assert!(lines.contains(&(first + 2)), "{name}: {lines:?}");
        assert!(!proof.pass);
    }
}

#[test]
fn clamps_are_kept_away_from_or_told() {
    let with = |blank: &str, clamp: &str| {
        let clamp = format!("\n[[make.clamps]]\n{clamp}\n\n[left.foot]");
        changed(&changed(&pair(blank, ""), "[left.foot]", &clamp), "lay = \"pair\"", "lay = \"each\"")
    };
    // In a wide blank the piece moves aside.
    let wide = read(&with("foam-pair-350", "x = [60, 100]\ny = [150, 200]\nheight = 50"));
    for (design, lay) in laid(&wide) {
        assert!(!design.is_stopped(), "{:?}", design.findings);
        let outline = design.footbed.outline.placed(lay.top);
        let box_ = outline.bounds();
        assert!(box_.x0 > 100.0 + 6.0 + 5.0, "{box_:?}");
        let safe = job::target(&design.footbed, lay.top, &wide.make, 1.0).safe_z_mm;
        assert!(safe >= 55.0, "{safe} clears the clamp");
    }
    // In a narrow one it cannot.
    let narrow = read(&with("foam-330", "x = [60, 100]\ny = [150, 200]\nheight = 50"));
    for (design, _) in laid(&narrow) {
        let told = design.findings.iter().find(|f| f.limit == "clamp_met").expect("a finding");
        assert!(told.message.contains("clamp 1 stands on the piece"), "{}", told.message);
        assert!(design.is_stopped());
    }
}

#[test]
fn one_foot_of_a_pair_lies_where_both_would() {
    let ticket = read(&pair("foam-pair-310", ""));
    let both = laid(&ticket);
    for side in Side::BOTH {
        let one = job::laid(&ticket, Some(side)).unwrap();
        let [(_, lay)] = one.as_slice() else { panic!("one foot") };
        assert_eq!(both.iter().find(|(_, other)| other.side == side).map(|(_, l)| l), Some(lay));
    }
}

#[test]
fn a_skinned_pair_proves_and_is_run_cutter_by_cutter() {
    let text = pair("foam-pair-350", "hold = \"skin\"\nskin = 0.6");
    let made = job::make(&read(&text), &text, None, Precision::SHOP).unwrap_or_else(|e| panic!("{e}"));
    assert!(made.report.pass, "{:#?}", made.report.findings);
    let proof = made.report.proof.as_ref().unwrap();
    for foot in proof.feet.values() {
        let thinnest = foot.proof.thinnest_skin_mm.unwrap();
        assert!((0.6..0.602).contains(&thinnest), "{thinnest}");
    }
    let lay = made.report.lay.as_ref().unwrap();
    assert_eq!(lay.order, made.report.programs.iter().map(|p| p.file.clone()).collect::<Vec<_>>());
    let cutters: Vec<&str> = made.report.programs.iter().map(|p| p.cutter.name.as_str()).collect();
    let changes = cutters.windows(2).filter(|w| w[0] != w[1]).count();
    assert_eq!(changes, 2, "{cutters:?}");
    assert!(lay.feet.values().all(|foot| foot.mark.is_some()));
    let blanks: Vec<_> = made.report.programs.iter().map(|p| p.blank_box_mm).collect();
    assert!(blanks.iter().all(|b| *b == [0.0, 0.0, 0.0, 270.0, 350.0, 40.0]));
}

#[test]
fn what_makes_no_sense_together_is_refused_in_the_ticket() {
    let none = |_: &str| Err("no files".to_string());
    let refusal =
        |text: &str| ticket::read(text, "t.toml", &Shelf::built_in(), &none).expect_err("refused").to_string();
    let both = refusal(&pair("foam-pair-310", "hold = \"skin\"\ntabs = { count = 4 }"));
    assert!(both.contains("make.tabs") && both.contains("skin"), "{both}");
    let relieved = changed(&pair("foam-pair-310", ""), "underside = \"flat\"", "underside = \"relieved\"");
    assert!(refusal(&relieved).contains("turns the blank over"), "{}", refusal(&relieved));
    let text = pair("foam-pair-310", "");
    let (before, right) = text.split_once("[right.foot]").unwrap();
    let (_, history) = right.split_once("[[history]]").unwrap();
    let alone = refusal(&format!("{before}[[history]]{history}"));
    assert!(alone.contains("only one foot"), "{alone}");
    let empty = changed(&text, "[left.foot]", "[[make.clamps]]\nx = [20, 10]\ny = [0, 5]\nheight = 40\n[left.foot]");
    assert!(refusal(&empty).contains("goes from 20 to 10"), "{}", refusal(&empty));
}
