//! The `[make]` section: what it is cut from, on what, with what.

use crate::kernel::Shape;
use crate::profile::{Blank, Cutter, Kind, Material, Shelf};
use crate::written::{Need, Section};

use super::reading::look_up;
use super::{Make, Passes, Sense, Tabs, Underside, ranges};

/// Cutters where the ticket names none: (key, profile, why). Shop's own choices.
const USUAL_CUTTERS: [(&str, &str, &str); 3] = [
    ("roughing", "flat-10", "flat-10, as it clears foam quickly"),
    ("finishing", "ball-6", "ball-6, as it reaches the heel cup's hollow"),
    ("perimeter", "flat-6", "flat-6, as its flutes reach through the blank"),
];

/// Tabs where the ticket says nothing: six to eight hold a footbed; common practice, no source.
const USUAL_TABS: Tabs = Tabs { count: 6, length_mm: 8.0, thickness_mm: 1.5 };

pub(super) fn make(s: &Section, shelf: &Shelf) -> Option<Make> {
    let named = |key: &str| s.text(key, Need::Required, usize::MAX);
    let material = named("material").and_then(|name| look_up(s, "material", &name, |name| shelf.material(name)));
    let blank = named("blank").and_then(|name| look_up(s, "blank", &name, |name| shelf.blank(name)));
    let blank = measured(s, blank);
    let machine = named("machine").and_then(|name| look_up(s, "machine", &name, |name| shelf.machine(name)));

    let mut filled_in = Vec::new();
    let cutters = s.within("cutters", Need::Optional, |s| cutters(s, shelf, &mut filled_in));
    let cutters = cutters.unwrap_or_else(|| usual_cutters(s, shelf, &mut filled_in));

    let undersides = [("flat", Underside::Flat), ("relieved", Underside::Relieved)];
    let underside = or_usual(s, "underside", &undersides, Underside::Flat, "flat, the usual job", &mut filled_in);
    let every_passes = [
        ("quickest", Passes::Quickest),
        ("along", Passes::Along),
        ("across", Passes::Across),
        ("rings", Passes::Rings),
    ];
    let quickest = "whichever takes less time on this machine";
    let passes = or_usual(s, "passes", &every_passes, Passes::Quickest, quickest, &mut filled_in);
    let senses = [("climb", Sense::Climb), ("conventional", Sense::Conventional)];
    let sense =
        or_usual(s, "sense", &senses, Sense::Climb, "climb, which leaves foam and plastic cleaner", &mut filled_in);
    let scallop_mm = scallop(s, material, &mut filled_in);
    let cover_mm = s.number_or("cover", ranges::COVER, 0.0);
    let tabs = tabs(s, &mut filled_in);
    let [roughing, finishing, perimeter] = cutters;
    let is_flat = finishing.as_ref().is_some_and(|cutter| matches!(cutter.shape, Shape::Flat { .. }));
    if is_flat && passes == Some(Passes::Rings) {
        let message = "`passes` must not be \"rings\" with a flat finishing cutter: it leaves stairs, not ridges";
        s.at("passes", message, "take \"quickest\", or a ball, bull-nose or tapered ball");
    }
    Some(Make {
        material: material?.clone(),
        blank: blank?,
        machine: machine?.clone(),
        roughing: roughing?,
        finishing: finishing?,
        perimeter: perimeter?,
        underside: underside?,
        scallop_mm: scallop_mm?,
        cover_mm: cover_mm?,
        passes: passes?,
        sense: sense?,
        tabs: tabs?,
        filled_in,
    })
}

type Filled = Vec<(&'static str, String)>;

/// The blank with the size that was measured on it.
fn measured(s: &Section, blank: Option<&Blank>) -> Option<Blank> {
    let size = s.within("blank_measured", Need::Optional, |s| {
        let length = s.number("length", Need::Optional, ranges::BLANK_LENGTH);
        let width = s.number("width", Need::Optional, ranges::BLANK_WIDTH);
        (length, width, s.number("height", Need::Required, ranges::BLANK_HEIGHT))
    });
    let blank = blank?.clone();
    match size {
        None => Some(blank),
        Some((length, width, height)) => Some(Blank {
            length_mm: length.unwrap_or(blank.length_mm),
            width_mm: width.unwrap_or(blank.width_mm),
            height_mm: height?,
            measured: true,
            ..blank
        }),
    }
}

fn cutters(s: &Section, shelf: &Shelf, filled_in: &mut Filled) -> [Option<Cutter>; 3] {
    USUAL_CUTTERS.map(|(key, usual, why)| match s.text(key, Need::Optional, usize::MAX) {
        Some(name) => {
            let cutter = look_up(s, key, &name, |name| shelf.cutter(name))?;
            if key == "perimeter" { square(s, shelf, cutter) } else { Some(cutter.clone()) }
        }
        None if s.has(key) => None,
        None => usual_cutter(s, shelf, (key, usual, why), filled_in),
    })
}

/// The perimeter is cut square, so its cutter must be flat.
fn square(s: &Section, shelf: &Shelf, cutter: &Cutter) -> Option<Cutter> {
    let is_flat = |c: &Cutter| matches!(c.shape, Shape::Flat { .. });
    if is_flat(cutter) {
        return Some(cutter.clone());
    }
    let names = shelf.names(Kind::Cutter).into_iter();
    let flat: Vec<&str> = names.filter(|name| shelf.cutter(name).is_ok_and(is_flat)).collect();
    let message = format!("`perimeter` must be a flat cutter, and `{}` is not flat", cutter.name);
    s.at("perimeter", message, format!("flat cutters on the shelf: {}", flat.join(", ")));
    None
}

fn usual_cutters(s: &Section, shelf: &Shelf, filled_in: &mut Filled) -> [Option<Cutter>; 3] {
    USUAL_CUTTERS.map(|usual| usual_cutter(s, shelf, usual, filled_in))
}

fn usual_cutter(
    s: &Section,
    shelf: &Shelf,
    (key, usual, why): (&'static str, &str, &str),
    filled_in: &mut Filled,
) -> Option<Cutter> {
    filled_in.push((key, why.to_owned()));
    look_up(s, key, usual, |name| shelf.cutter(name)).cloned()
}

fn or_usual<T: Copy>(
    s: &Section,
    key: &'static str,
    choices: &[(&str, T)],
    usual: T,
    why: &str,
    filled_in: &mut Filled,
) -> Option<T> {
    if s.has(key) {
        return s.choice(key, Need::Required, choices);
    }
    s.allow(key);
    filled_in.push((key, why.to_owned()));
    Some(usual)
}

fn scallop(s: &Section, material: Option<&Material>, filled_in: &mut Filled) -> Option<f64> {
    if s.has("scallop") {
        return s.number("scallop", Need::Required, ranges::SCALLOP);
    }
    s.allow("scallop");
    let material = material?;
    filled_in.push(("scallop", format!("{} mm, usual for {}", material.scallop_mm, material.name)));
    Some(material.scallop_mm)
}

fn tabs(s: &Section, filled_in: &mut Filled) -> Option<Tabs> {
    if !s.has("tabs") {
        s.allow("tabs");
        let Tabs { count, length_mm, thickness_mm } = USUAL_TABS;
        filled_in
            .push(("tabs", format!("{count} tabs, {length_mm} mm long, {thickness_mm} mm thick, the usual number")));
        return Some(USUAL_TABS);
    }
    s.within("tabs", Need::Required, |s| {
        let count = s.whole("count", Need::Required, ranges::TAB_COUNT);
        let length_mm = s.number_or("length", ranges::TAB_LENGTH, USUAL_TABS.length_mm);
        let thickness_mm = s.number_or("thickness", ranges::TAB_THICKNESS, USUAL_TABS.thickness_mm);
        Some(Tabs { count: count? as usize, length_mm: length_mm?, thickness_mm: thickness_mm? })
    })
    .flatten()
}
