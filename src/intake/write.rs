//! The ticket's text of an intake: every value with its last reason behind it. Knows no files.

use std::fmt::Write;

use super::measures::Measures;
use super::suggest::hundredths;
use super::{FootIntake, Intake, Suggestion};
use crate::foot::Loaded;
use crate::frame::Side;
use crate::limits;
use crate::profile::rules::Rules;
use crate::profile::{Shelf, Unknown};
use crate::ticket::{RaisedFlag, USUAL_PERIMETER, Underside};

/// What the ticket says under `[make]`, and why.
pub(super) struct Making {
    pub(super) material: String,
    machine: String,
    /// As the measures name it; else chosen once the values are known.
    blank: Option<String>,
    pub(super) words: Vec<String>,
}

/// Material, machine and blank: as the measures say, else as the shop's rule.
pub(super) fn making(measures: &Measures, rules: &Rules, shelf: &Shelf) -> Result<Making, Unknown> {
    let wanted = &measures.making;
    let usual = rules.making.first();
    let mut words = vec![];
    let mut pick = |what: &str, written: &Option<String>, usual: Option<&String>, fallback: &str| {
        let name = written.clone().or_else(|| usual.cloned()).unwrap_or_else(|| fallback.to_owned());
        if written.is_none() {
            words.push(format!("{what} {name}: the measures name none"));
        }
        name
    };
    let material = pick("material", &wanted.material, usual.map(|usual| &usual.material), "eva-firm");
    let machine = pick("machine", &wanted.machine, usual.map(|usual| &usual.machine), "fast-router");
    if let Some(usual) = usual.filter(|_| !words.is_empty()) {
        words.push(usual.source.told());
    }
    // A name that is not on the shelf was refused when the measures were read.
    for name in wanted.blank.iter().chain(usual.iter().flat_map(|usual| &usual.blanks)) {
        shelf.blank(name)?;
    }
    Ok(Making { material, machine, blank: wanted.blank.clone(), words })
}

impl Making {
    /// The first of the shop's blanks that holds the larger footbed with its margins: by length, width, and the height of
    /// heel and cup, or of forefoot and arch. Where none does, the last, and so it is said.
    pub(super) fn with_blank(mut self, rules: &Rules, shelf: &Shelf, feet: &[FootIntake]) -> Result<Making, Unknown> {
        if self.blank.is_some() {
            return Ok(self);
        }
        let most = |names: &[&str]| {
            let of = |foot: &FootIntake| {
                let value =
                    |name: &&str| foot.values.iter().find(|v| v.name == *name).and_then(|v| v.suggested).unwrap_or(0.0);
                names.iter().map(value).sum::<f64>()
            };
            feet.iter().map(of).fold(0.0, f64::max)
        };
        let (length, width) = (most(&["length"]), most(&["ball_width"]).max(most(&["heel_width"])));
        let height = most(&["heel_thickness", "heel_cup_depth"]).max(most(&["forefoot_thickness", "medial_arch"]));
        let perimeter = shelf.cutter(USUAL_PERIMETER)?;
        let names = rules.making.first().map(|usual| usual.blanks.as_slice()).unwrap_or_default();
        for name in names {
            let blank = shelf.blank(name)?;
            if limits::holds(blank, perimeter, [length, width, height]) {
                self.words.push(format!(
                    "blank {name}: the first of the shop's that holds {length:.0} x {width:.0} x {height:.1} mm with its margins"
                ));
                self.blank = Some(name.clone());
                return Ok(self);
            }
        }
        let last = names.last().cloned().unwrap_or_else(|| "foam-300".to_owned());
        self.words.push(format!(
            "blank {last}: none of the shop's holds {length:.0} x {width:.0} x {height:.1} mm with its margins; `sustent profiles \
             blanks` shows others"
        ));
        self.blank = Some(last);
        Ok(self)
    }
}

/// The whole ticket.
pub(super) fn ticket(measures: &Measures, making: &Making, intake: &Intake, flags: &[RaisedFlag]) -> String {
    let mut text = String::from(HEAD);
    // Writing to a String cannot fail.
    let _ = head(&mut text, measures, flags);
    let _ = boot(&mut text, measures);
    let _ = make(&mut text, measures, making);
    for foot in &intake.feet {
        let _ = foot_sections(&mut text, measures, foot.side, &foot.values);
    }
    text
}

const HEAD: &str = "\
# Starting values from measured feet. Each is a start to be tried, and changed by 1 mm or 1 degree at a time;
# `sustent intake MEASURES --explain VALUE` tells the whole chain behind it, `sustent check` what will not stand.

";

/// Text in double quotes, with what TOML asks to be escaped.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            '\n' => out.push_str("\\n"),
            '\t' => out.push_str("\\t"),
            '\r' => out.push_str("\\r"),
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

fn head(text: &mut String, measures: &Measures, flags: &[RaisedFlag]) -> std::fmt::Result {
    writeln!(text, "[ticket]\ncode = {}\nrevision = 1", quoted(&measures.code))?;
    if !measures.note.is_empty() {
        writeln!(text, "note = {}", quoted(&measures.note))?;
    }
    writeln!(text, "\n[wearer]")?;
    if let Some(kg) = measures.weight_kg {
        writeln!(text, "weight = {kg}")?;
    }
    writeln!(text, "use = {}", quoted(&measures.usage))?;
    if !flags.is_empty() {
        let names: Vec<String> = flags.iter().map(|flag| quoted(&flag.name)).collect();
        writeln!(text, "flags = [{}]", names.join(", "))?;
    }
    if let Some(cleared) = measures.cleared.as_ref().filter(|_| !flags.is_empty()) {
        writeln!(text, "cleared = {}", quoted(cleared))?;
    }
    Ok(())
}

fn boot(text: &mut String, measures: &Measures) -> std::fmt::Result {
    let boot = &measures.boot;
    let line = |text: &mut String, key: &str, number: Option<f64>| match number {
        Some(number) => writeln!(text, "{key} = {number}"),
        None => Ok(()),
    };
    writeln!(text, "\n[boot]")?;
    line(text, "mondopoint", boot.mondopoint_mm)?;
    line(text, "ramp", boot.ramp_deg)?;
    let insole = &boot.stock_insole;
    writeln!(text, "\n[boot.stock_insole]")?;
    line(text, "heel_thickness", insole.heel_thickness)?;
    line(text, "ball_thickness", insole.ball_thickness)?;
    line(text, "length", insole.length)?;
    line(text, "ball_width", insole.ball_width)?;
    line(text, "heel_width", insole.heel_width)?;
    let tracings = [("left", &measures.tracings.left), ("right", &measures.tracings.right)];
    let named = tracings.iter().filter_map(|(side, traced)| {
        traced.as_ref().map(|traced| (format!("{side} = {}", quoted(&traced.name)), traced.clearance_mm))
    });
    let named: Vec<(String, f64)> = named.collect();
    if let Some((_, clearance)) = named.first() {
        let names: Vec<&str> = named.iter().map(|(name, _)| name.as_str()).collect();
        writeln!(text, "outline = {{ {} }}\nclearance = {clearance}", names.join(", "))?;
    }
    Ok(())
}

fn make(text: &mut String, measures: &Measures, making: &Making) -> std::fmt::Result {
    writeln!(text, "\n[make]")?;
    let blank = making.blank.as_deref().unwrap_or_default();
    for (key, name) in [("material", making.material.as_str()), ("blank", blank), ("machine", making.machine.as_str())]
    {
        writeln!(text, "{key} = {}", quoted(name))?;
    }
    let underside = match measures.making.underside {
        Underside::Flat => "flat",
        Underside::Relieved => "relieved",
    };
    writeln!(text, "underside = \"{underside}\"\ncover = {}", measures.making.cover_mm)
}

/// Measures that a ticket knows; the others only helped to choose values.
const IN_TICKET: [&str; 6] = ["length", "ball_width", "heel_width", "medial_arch", "first_met", "fifth_met"];

fn foot_sections(text: &mut String, measures: &Measures, side: Side, values: &[Suggestion]) -> std::fmt::Result {
    writeln!(text, "\n[{}.foot]", side.name())?;
    let foot = measures.feet.iter().find(|foot| foot.side == side);
    for name in IN_TICKET {
        let measure = foot.map(|foot| foot.loaded(name)).unwrap_or_default();
        if measure != Loaded::default() {
            writeln!(text, "{name} = {{ {} }}", states(&measure))?;
        }
    }
    writeln!(text, "\n{}", support_head(side))?;
    for value in values {
        if let Some(number) = value.suggested {
            writeln!(text, "{} = {number}{}", value.name, comment(number, value))?;
        }
    }
    Ok(())
}

fn support_head(side: Side) -> String {
    format!("[{}.support]", side.name())
}

fn states(measure: &Loaded) -> String {
    let states = [("unloaded", measure.unloaded), ("seated", measure.seated), ("standing", measure.standing)];
    let written = states.iter().filter_map(|(state, mm)| mm.map(|mm| format!("{state} = {mm}")));
    written.collect::<Vec<_>>().join(", ")
}

/// The steps in one line behind the value. They name the number that they lead to, and so stay true behind another
/// that a later revision, or a hand, puts in its place.
fn comment(number: f64, value: &Suggestion) -> String {
    let words: Vec<&str> = value.steps.iter().map(|step| step.words.as_str()).collect();
    if words.is_empty() {
        String::new()
    } else {
        format!("  # start {number}: {}; {}", words.join("; then "), value.confidence.words())
    }
}

/// The text with a flex-zone thickness for each foot, as the first line of its support.
pub(super) fn with_flex_zones(text: &str, found: &[(Side, f64)]) -> String {
    let mut text = text.to_owned();
    for (side, mm) in found {
        let head = support_head(*side);
        let mm = hundredths(*mm);
        let line = format!(
            "{head}\nflex_zone_thickness = {mm}  # start {mm}: weight, material and the drop to allow, by the plate under load"
        );
        text = text.replacen(&head, &line, 1);
    }
    text
}
