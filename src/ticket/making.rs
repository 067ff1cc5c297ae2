//! The `[make]` section: what it is cut from, on what, with what.

use crate::kernel::Shape;
use crate::profile::{Blank, Cutter, Kind, Material, Shelf};
use crate::written::{Need, Section};

use super::reading::look_up;
use super::{Make, Passes, Pins, Sense, Turning, USUAL_PIN_HEIGHT_MM, Underside, hold, ranges};

/// Cutters where the ticket names none: (key, profile, why). Shop's own choices.
const USUAL_CUTTERS: [(&str, &str, &str); 3] = [
    ("roughing", "flat-10", "flat-10, as it clears foam quickly"),
    ("finishing", "ball-6", "ball-6, as it reaches the heel cup's hollow"),
    ("perimeter", "flat-6", "flat-6, as its flutes reach through the blank"),
];

/// The pins differ by at least this much, so that the blank goes on one way only, mm. Shop's own choice.
const LEAST_PIN_DIFFERENCE_MM: f64 = 1.0;
/// The pin behind the heel is this much thicker than the other, mm: the next common dowel.
const USUAL_PIN_DIFFERENCE_MM: f64 = 2.0;

pub(super) fn make(s: &Section, shelf: &Shelf) -> Option<Make> {
    let named = |key: &str| s.text(key, Need::Required, usize::MAX);
    let material = named("material").and_then(|name| look_up(s, "material", &name, |name| shelf.material(name)));
    let blank = named("blank").and_then(|name| look_up(s, "blank", &name, |name| shelf.blank(name)));
    let blank = measured(s, blank);
    let machine = named("machine").and_then(|name| look_up(s, "machine", &name, |name| shelf.machine(name)));

    let mut filled_in = Vec::new();
    let cutters = s.within("cutters", Need::Optional, |s| cutters(s, shelf, &mut filled_in));
    let (cutters, rest) = cutters.unwrap_or_else(|| (usual_cutters(s, shelf, &mut filled_in), Some(None)));

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
    let hold = hold::hold(s, &mut filled_in);
    let laying = hold::laying(s, underside);
    let marks = hold::marks(s, laying);
    let clamps = hold::clamps(s);
    let [roughing, finishing, perimeter] = cutters;
    let turning = turning(s, underside, perimeter.as_ref(), &mut filled_in);
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
        rest: rest?,
        underside: underside?,
        turning: turning?,
        scallop_mm: scallop_mm?,
        cover_mm: cover_mm?,
        passes: passes?,
        sense: sense?,
        hold: hold?,
        laying: laying?,
        clamps: clamps?,
        marks: marks?,
        blanks: shelf.blanks().cloned().collect(),
        filled_in,
    })
}

pub(super) type Filled = Vec<(&'static str, String)>;

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

/// The three cutters of every job, and the rest cutter, which few jobs have.
type Cutters = ([Option<Cutter>; 3], Option<Option<Cutter>>);

fn cutters(s: &Section, shelf: &Shelf, filled_in: &mut Filled) -> Cutters {
    let cutters = USUAL_CUTTERS.map(|(key, usual, why)| match s.text(key, Need::Optional, usize::MAX) {
        Some(name) => {
            let cutter = look_up(s, key, &name, |name| shelf.cutter(name))?;
            if key == "perimeter" { square(s, shelf, cutter) } else { Some(cutter.clone()) }
        }
        None if s.has(key) => None,
        None => usual_cutter(s, shelf, (key, usual, why), filled_in),
    });
    let [_, finishing, _] = &cutters;
    let rest = match s.text("rest", Need::Optional, usize::MAX) {
        None => (!s.has("rest")).then_some(None),
        Some(name) => look_up(s, "rest", &name, |name| shelf.cutter(name))
            .and_then(|rest| finer(s, shelf, rest, finishing.as_ref()?))
            .map(Some),
    };
    (cutters, rest)
}

/// The rest cutter must be round, and finer than the finishing cutter, or it reaches nothing more.
fn finer(s: &Section, shelf: &Shelf, rest: &Cutter, finishing: &Cutter) -> Option<Cutter> {
    let most = finishing.shape.hollow_radius();
    let round = |c: &Cutter| matches!(c.shape, Shape::Ball { .. } | Shape::Taper { .. });
    let is_finer = |c: &Cutter| round(c) && c.shape.hollow_radius() < most;
    if is_finer(rest) {
        return Some(rest.clone());
    }
    let names = shelf.names(Kind::Cutter).into_iter();
    let finer: Vec<&str> = names.filter(|name| shelf.cutter(name).is_ok_and(is_finer)).collect();
    let message = if round(rest) {
        format!(
            "`rest` must be finer than the finishing cutter: `{}` has a tip radius of {} mm, `{}` fits hollows of {most} mm",
            rest.name,
            rest.shape.hollow_radius(),
            finishing.name
        )
    } else {
        format!("`rest` must be a ball or tapered cutter, and `{}` is neither", rest.name)
    };
    let advice = if finer.is_empty() {
        "leave `rest` out: no finer one is on the shelf".to_owned()
    } else {
        format!("finer ones on the shelf: {}; or leave `rest` out", finer.join(", "))
    };
    s.at("rest", message, advice);
    None
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

/// The name of the cutter that cuts a footbed out where the ticket names none.
pub const USUAL_PERIMETER: &str = USUAL_CUTTERS[2].1;

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

#[derive(Clone, Copy)]
enum By {
    Pins,
    Edges,
}

fn turning(
    s: &Section,
    underside: Option<Underside>,
    perimeter: Option<&Cutter>,
    filled_in: &mut Filled,
) -> Option<Turning> {
    let by = if s.has("turning") {
        s.choice("turning", Need::Required, &[("pins", By::Pins), ("edges", By::Edges)])
    } else {
        s.allow("turning");
        Some(By::Pins)
    };
    let least_mm = 2.0 * perimeter?.shape.radius();
    let usual = Pins { diameters_mm: [least_mm + USUAL_PIN_DIFFERENCE_MM, least_mm], height_mm: None };
    if !s.has("pins") {
        s.allow("pins");
        let [heel, toe] = usual.diameters_mm;
        if let (Some(Underside::Relieved), Some(By::Pins)) = (underside, by) {
            let words = format!(
                "pins of {heel} mm behind the heel and {toe} mm ahead of the toes, {USUAL_PIN_HEIGHT_MM} mm high or \
                 as much lower as the edges need: the perimeter cutter's diameter and the next dowel"
            );
            filled_in.push(("pins", words));
        }
        return Some(match by? {
            By::Pins => Turning::Pins(usual),
            By::Edges => Turning::Edges,
        });
    }
    let pins = s.within("pins", Need::Required, |s| pins(s, usual, least_mm)).flatten();
    match by? {
        By::Pins => pins.map(Turning::Pins),
        By::Edges => {
            s.at("pins", "`pins` beside turning = \"edges\"", "leave one of the two out");
            None
        }
    }
}

fn pins(s: &Section, usual: Pins, least_mm: f64) -> Option<Pins> {
    let height_mm = s.number("height", Need::Optional, ranges::PIN_HEIGHT);
    let diameters = if s.has("diameters") {
        s.numbers("diameters", Need::Required, ranges::PIN_DIAMETER)
    } else {
        s.allow("diameters");
        Some(usual.diameters_mm)
    };
    let diameters_mm @ [heel, toe] = diameters?;
    if heel.min(toe) < least_mm {
        let message = format!("a pin of {} mm is thinner than the perimeter cutter, {least_mm} mm", heel.min(toe));
        s.at("diameters", message, "its hole is bored with that cutter: take thicker pins or a thinner cutter");
        return None;
    }
    if (heel - toe).abs() < LEAST_PIN_DIFFERENCE_MM {
        let message = format!("the pins are {heel} and {toe} mm thick: the blank would go on either way round");
        s.at("diameters", message, format!("let them differ by {LEAST_PIN_DIFFERENCE_MM} mm or more"));
        return None;
    }
    Some(Pins { diameters_mm, height_mm })
}
