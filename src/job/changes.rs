//! What two tickets say differently, key by key as tickets write them. Knows no surfaces.

use serde::Serialize;

use crate::foot::{Foot, Loaded};
use crate::profile::{Blank, Cutter};
use crate::ticket::{Clamp, FootOrder, Hold, Laying, Make, Marks, Passes, Sense, Ticket, Turning, Underside};

/// What a ticket says under one key.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Told {
    /// A number, in the unit of its change.
    Number(f64),
    /// Words, a name or a code.
    Text(String),
}

/// One key under which two tickets differ.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct Change {
    /// The key as tickets write it, such as `make.cutters.rest`.
    pub key: String,
    /// `null`: unknown or none.
    pub old: Option<Told>,
    pub new: Option<Told>,
    /// `null` for words.
    pub unit: Option<&'static str>,
}

impl Told {
    /// As printed: numbers as they were written, to four decimals.
    pub fn words(&self) -> String {
        match self {
            Told::Number(number) => {
                let text = format!("{number:.4}");
                text.trim_end_matches('0').trim_end_matches('.').to_string()
            }
            Told::Text(text) => text.clone(),
        }
    }
}

/// What is told under one key, before it is known whether it changed.
struct Entry {
    key: String,
    told: Option<Told>,
    unit: Option<&'static str>,
}

fn number(key: &str, told: Option<f64>, unit: &'static str) -> Entry {
    Entry { key: key.into(), told: told.map(Told::Number), unit: Some(unit) }
}

fn text(key: &str, told: impl Into<Option<String>>) -> Entry {
    let told: Option<String> = told.into();
    Entry { key: key.into(), told: told.filter(|text| !text.is_empty()).map(Told::Text), unit: None }
}

/// The entries that differ. Both lists have the same keys in the same order.
fn differing(old: Vec<Entry>, new: Vec<Entry>) -> Vec<Change> {
    old.into_iter()
        .zip(new)
        .filter(|(old, new)| old.told != new.told)
        .map(|(old, new)| Change { key: new.key, old: old.told, new: new.told, unit: new.unit })
        .collect()
}

/// What the tickets say differently of the whole job.
pub(super) fn of_tickets(old: &Ticket, new: &Ticket) -> Vec<Change> {
    let mut changes = differing(heading(old), heading(new));
    changes.extend(differing(make(&old.make), make(&new.make)));
    changes
}

fn heading(t: &Ticket) -> Vec<Entry> {
    let insole = &t.boot.stock_insole;
    vec![
        text("ticket.code", t.code.clone()),
        Entry { key: "ticket.revision".into(), told: Some(Told::Number(f64::from(t.revision))), unit: None },
        text("ticket.note", t.note.clone()),
        number("wearer.weight", t.wearer.weight_kg, "kg"),
        text("wearer.use", t.wearer.usage.clone()),
        number("boot.mondopoint", t.boot.mondopoint_mm, "mm"),
        number("boot.ramp", t.boot.ramp_deg, "deg"),
        number("boot.stock_insole.heel_thickness", insole.heel_thickness, "mm"),
        number("boot.stock_insole.ball_thickness", insole.ball_thickness, "mm"),
        number("boot.stock_insole.length", insole.length, "mm"),
        number("boot.stock_insole.ball_width", insole.ball_width, "mm"),
        number("boot.stock_insole.heel_width", insole.heel_width, "mm"),
    ]
}

fn make(m: &Make) -> Vec<Entry> {
    let name = |cutter: &Cutter| cutter.name.clone();
    let underside = match m.underside {
        Underside::Flat => "flat",
        Underside::Relieved => "relieved",
    };
    let turning = match m.turning {
        // How a blank is turned says nothing where none is.
        _ if m.underside == Underside::Flat => String::new(),
        Turning::Edges => "edges".into(),
        Turning::Pins(p) => {
            let [heel, toe] = p.diameters_mm;
            let high = p.height_mm.map_or("as high as the edges leave".into(), |mm| format!("{mm} high"));
            format!("pins {heel} and {toe} mm, {high}")
        }
    };
    let passes = match m.passes {
        Passes::Quickest => "quickest",
        Passes::Along => "along",
        Passes::Across => "across",
        Passes::Rings => "rings",
    };
    let hold = match m.hold {
        Hold::Tabs(t) => format!("{} tabs {} x {} mm", t.count, t.length_mm, t.thickness_mm),
        Hold::Skin { thickness_mm } => format!("skin {thickness_mm} mm"),
    };
    let word = |first: bool, words: [&str; 2]| words[usize::from(!first)].to_string();
    vec![
        text("make.material", m.material.name.clone()),
        text("make.blank", m.blank.name.clone()),
        text("make.blank_measured", blank_size(&m.blank)),
        text("make.machine", m.machine.name.clone()),
        text("make.cutters.roughing", name(&m.roughing)),
        text("make.cutters.finishing", name(&m.finishing)),
        text("make.cutters.rest", m.rest.as_ref().map(name)),
        text("make.cutters.perimeter", name(&m.perimeter)),
        text("make.underside", underside.to_string()),
        text("make.turning", turning),
        text("make.passes", passes.to_string()),
        text("make.sense", word(m.sense == Sense::Climb, ["climb", "conventional"])),
        number("make.scallop", Some(m.scallop_mm), "mm"),
        number("make.cover", Some(m.cover_mm), "mm"),
        text("make.lay", word(m.laying == Laying::Each, ["each", "pair"])),
        text("make.marks", word(m.marks == Marks::Engraved, ["true", "false"])),
        text("make.hold", hold),
        text("make.clamps", m.clamps.iter().map(clamp).collect::<Vec<_>>().join("; ")),
    ]
}

fn blank_size(blank: &Blank) -> String {
    let how = if blank.measured { "measured" } else { "as bought" };
    format!("{} x {} x {} mm, {how}", blank.length_mm, blank.width_mm, blank.height_mm)
}

fn clamp(clamp: &Clamp) -> String {
    let r = clamp.rect;
    format!("x {} to {}, y {} to {}, {} high", r.x0, r.x1, r.y0, r.y1, clamp.height_mm)
}

/// What the tickets say differently of one foot, the values of its support left aside.
pub(super) fn of_feet(old: &FootOrder, new: &FootOrder) -> Vec<Change> {
    let mut changes = differing(foot(old), foot(new));
    // A tracing of the same name with other lines in it is another tracing.
    if let (Some(a), Some(b)) = (&old.traced, &new.traced)
        && a.name == b.name
        && a.svg != b.svg
    {
        let sum = |svg: &str| Some(Told::Text(super::sha256_hex(svg.as_bytes()).chars().take(10).collect()));
        let key = format!("outline {}, SHA-256", b.name);
        changes.push(Change { key, old: sum(&a.svg), new: sum(&b.svg), unit: None });
    }
    changes
}

fn foot(order: &FootOrder) -> Vec<Entry> {
    let support = &order.support;
    let mut entries = measures(&order.foot);
    entries.extend(
        support
            .stations
            .named()
            .into_iter()
            .map(|(name, at)| number(&format!("support.stations.{name}"), Some(at), "of L")),
    );
    let traced = order.traced.as_ref();
    entries.push(number("support.stabiliser_share", Some(support.stabiliser_share), "of 1"));
    entries.push(text("outline", traced.map(|t| format!("{} ({} foot)", t.name, t.side.name()))));
    entries.push(number("clearance", traced.map(|t| t.clearance_mm), "mm"));
    entries.push(text("reason", order.reason.clone()));
    entries
}

fn measures(foot: &Foot) -> Vec<Entry> {
    let all: [(&str, &Loaded); 6] = [
        ("length", &foot.length),
        ("ball_width", &foot.ball_width),
        ("heel_width", &foot.heel_width),
        ("medial_arch", &foot.medial_arch),
        ("first_met", &foot.first_met),
        ("fifth_met", &foot.fifth_met),
    ];
    let one = |(name, loaded): (&str, &Loaded)| {
        let states = [("unloaded", loaded.unloaded), ("seated", loaded.seated), ("standing", loaded.standing)];
        let name = name.to_string();
        states.map(|(state, mm)| number(&format!("foot.{name}.{state}"), mm, "mm"))
    };
    all.into_iter().flat_map(one).collect()
}
