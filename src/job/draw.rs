//! What the drawings of a job are made from.

use super::design::Design;
use super::lay::Face;
use super::programs::{Written, offset, toes_to};
use super::{CutFoot, MadeFoot, OutFile, lay_report, pins, sha256_hex, stem};
use crate::carve::Proof;
use crate::draw::{self, Bevel, BootRow, DrawError, DrawnFoot, Landmarks, NoteRow, ProgramRow, SheetData, ValueRow};
use crate::flex::SHORTLY_ASSUMED;
use crate::footbed::Footbed;
use crate::frame::{Point2, Side};
use crate::gauge::{self, Piece};
use crate::grid::{Grid, Lattice};
use crate::limits::{Finding, Severity, Unreached};
use crate::path::TOUCH_ABOVE_MM;
use crate::profile::Blank;
use crate::ticket::{Make, Ticket};
use crate::value::{Value, Values};

/// The lower edge is bevelled over this width at this angle, so that the footbed seats in the
/// liner's round. [from memory]: 2-4 mm, 30-45 deg.
const BEVEL_MM: f64 = 3.0;
const BEVEL_WORDS: &str = "40 deg, 3 mm, lower edge, by hand";

/// The trim outline at 1:1.
pub(super) fn trim(ticket: &Ticket, design: &Design) -> Result<OutFile, DrawError> {
    let model = Model::new(design);
    let svg = draw::trim_svg(&model.drawn(design, None), &ticket.code, ticket.revision)?;
    Ok(OutFile { name: format!("{}-trim.svg", stem(ticket, design.order.side)), bytes: svg.into_bytes() })
}

/// The job sheet.
pub(super) fn sheet(ticket: &Ticket, feet: &[MadeFoot], sha256: &str) -> Result<OutFile, DrawError> {
    let models: Vec<Model> = feet.iter().map(|foot| Model::new(&foot.design)).collect();
    let order: Vec<&str> = lay_report::in_order(ticket, feet).iter().map(|(_, w)| w.file.as_str()).collect();
    let drawn = feet.iter().zip(&models).map(|(foot, model)| {
        let mut drawn = model.drawn(&foot.design, foot.cut.as_ref());
        for program in &mut drawn.programs {
            program.turn = order.iter().position(|file| *file == program.file).unwrap_or(order.len());
        }
        drawn
    });
    let drawn = drawn.collect();
    let make = &ticket.make;
    let programs = feet.iter().filter_map(|foot| foot.cut.as_ref()).flat_map(|cut| &cut.written);
    let data = SheetData {
        code: &ticket.code,
        revision: ticket.revision,
        note: &ticket.note,
        material: format!("{} ({})", make.material.title, make.material.name),
        blank: blank_words(&make.blank),
        machine: format!("{} ({})", make.machine.title, make.machine.name),
        setup: setup_words(make, programs.clone().any(|w| w.face == Face::Under), feet),
        load: Some(flex_words(feet)),
        cutters: [("rough", &make.roughing), ("finish", &make.finishing), ("perimeter", &make.perimeter)]
            .into_iter()
            .chain(make.rest.iter().map(|cutter| ("rest", cutter)))
            .map(|(step, cutter)| format!("{step}: {}", cutter.name))
            .collect(),
        ticket_sha256: sha256.to_string(),
        lay: lay_report::picture(ticket, feet),
        feet: drawn,
    };
    Ok(OutFile { name: "sheet.html".into(), bytes: draw::sheet_html(&data)?.into_bytes() })
}

/// What keeps the hollow from giving while the top is cut over it.
const PACKED: &str = "Fill the hollow with packing level with the underside; hold the blank beside it, not over it.";

/// How the blank is clamped and where zero is, clamping by clamping.
fn setup_words(make: &Make, turned: bool, feet: &[MadeFoot]) -> Vec<(String, String)> {
    let part = |label: &str, words: String| (label.to_string(), words);
    if !turned {
        return vec![
            part("Z zero", "Z0 on the machine bed under the blank: touch the bed, not the blank".into()),
            part(
                "X, Y zero",
                format!(
                    "X0 Y0 at the blank's marked corner, lower left seen from above, {}; underside down",
                    toes_words(feet)
                ),
            ),
        ];
    }
    let height = make.blank.height_mm;
    let (under, top) = (offset(Face::Under, make).number(), offset(Face::Top, make).number());
    let first = format!(
        "G{under}. Underside up, pins out of the bed. X0 Y0 at the marked corner, lower left seen from above, toes to +Y. \
         Touch the blank's upper face, set Z = {height}. Run under-..."
    );
    // One height for all feet.
    let pins = feet.first().map_or(vec![], |foot| pins(make, foot.lay.pin_height_mm));
    let places: Vec<String> =
        pins.iter().map(|pin| format!("{} mm at X{:.1} Y{:.1}", pin.diameter_mm, pin.at.x, pin.at.y)).collect();
    let back = match pins.first() {
        Some(pin) => format!(
            "G{top}. X, Y zero stays, Z0 on the bed. Pins {} mm high: {}. With the blank off run top-0-pins: it stops \
             {TOUCH_ABOVE_MM} mm over each. {PACKED} Turn the blank about its long axis (Y) onto the pins. Run the rest",
            pin.height_mm,
            places.join("; ")
        ),
        None => format!(
            "G{top}. {PACKED} Turn the blank over about its long axis (Y), its other long edge against the same stop. X, Y \
             zero stays. Z0 on the bed. Run the rest"
        ),
    };
    vec![part("1 Underside", first), part("2 Top", back)]
}

/// How each foot gives under load, and what that takes for granted; told once where both give alike.
fn flex_words(feet: &[MadeFoot]) -> (String, String) {
    let mut told: Vec<(String, String)> = vec![];
    for foot in feet {
        let (letter, words) = (foot.lay.side.letter(), foot.flex.brief());
        match told.iter_mut().find(|(_, known)| *known == words) {
            Some((letters, _)) => letters.extend([',', ' ', letter]),
            None => told.push((letter.to_string(), words)),
        }
    }
    let each: Vec<String> = told.into_iter().map(|(letters, words)| format!("{letters}: {words}")).collect();
    let load = feet.first().map_or("", |foot| foot.flex.load.as_str());
    (format!("Load {load}"), format!("{}. {SHORTLY_ASSUMED}", each.join(". ")))
}

/// Which way the toes point: said of each foot only where they differ.
fn toes_words(feet: &[MadeFoot]) -> String {
    let to = |foot: &MadeFoot| toes_to(&foot.lay);
    match feet {
        [first, rest @ ..] if rest.iter().all(|foot| to(foot) == to(first)) => format!("toes to {}", to(first)),
        _ => {
            let each: Vec<String> = feet.iter().map(|f| format!("{} toes to {}", f.lay.side.name(), to(f))).collect();
            each.join(", ")
        }
    }
}

/// The wearer's page.
pub(super) fn wearer(ticket: &Ticket, feet: &[MadeFoot]) -> Result<OutFile, DrawError> {
    let sides: Vec<Side> = feet.iter().map(|f| f.design.order.side).collect();
    let html = draw::wearer_html(&ticket.code, ticket.revision, &sides)?;
    Ok(OutFile { name: "wearer.html".into(), bytes: html.into_bytes() })
}

pub(super) fn blank_words(blank: &Blank) -> String {
    let size = if blank.measured { "measured" } else { "as bought" };
    format!("{}, {} x {} x {} mm, {size}", blank.name, blank.length_mm, blank.width_mm, blank.height_mm)
}

/// What drawings of one foot borrow: its heights and its bevel line.
pub(super) struct Model<'a> {
    top: Box<dyn Fn(Point2) -> f64 + Sync + 'a>,
    underside: Box<dyn Fn(Point2) -> f64 + Sync + 'a>,
    bevel: Vec<Point2>,
}

impl<'a> Model<'a> {
    pub(super) fn new(design: &'a Design) -> Model<'a> {
        Model { bevel: bevel_line(&design.footbed), ..Model::plain(design) }
    }

    /// The same without a bevel line, for whoever looks at heights and words alone.
    pub(super) fn plain(design: &'a Design) -> Model<'a> {
        let footbed = &design.footbed;
        Model { top: Box::new(|p| footbed.top_at(p)), underside: Box::new(|p| footbed.underside_at(p)), bevel: vec![] }
    }

    pub(super) fn drawn(&'a self, design: &'a Design, cut: Option<&CutFoot>) -> DrawnFoot<'a> {
        let footbed = &design.footbed;
        DrawnFoot {
            side: design.order.side,
            outline: footbed.outline.points(),
            top: &*self.top,
            underside: &*self.underside,
            landmarks: landmarks(footbed),
            bevel: (!self.bevel.is_empty()).then(|| Bevel { line: &self.bevel, words: BEVEL_WORDS.into() }),
            tabs: &[],
            values: value_rows(design, cut.map(|c| &c.proved.values)),
            boot: boot_rows(design),
            notes: design.findings.iter().map(|f| note_row(f, design.order.reason.as_deref())).collect(),
            programs: cut.map_or(vec![], |c| c.written.iter().map(program_row).collect()),
            proof: cut.map_or(String::new(), |c| proof_words(&c.proved.proof)),
        }
    }
}

pub(super) fn landmarks(footbed: &Footbed) -> Landmarks {
    let places = &footbed.places;
    let (top, underside) = (|p| Some(footbed.top_at(p)), |p| Some(footbed.underside_at(p)));
    let piece = Piece { top: &top, underside: &underside, outline: &footbed.outline };
    Landmarks {
        foot_length_mm: places.foot_length_mm,
        heel_centre: places.heel_centre,
        widest_cup_y: places.rim[0].y,
        first_met: places.first_met,
        fifth_met: places.fifth_met,
        medial_arch: places.medial_arch,
        lateral_arch: places.lateral_arch,
        dome: places.dome,
        flex_zone: gauge::flex_zone(places, piece).map(|least| least.at),
    }
}

/// What stays where the cutters are too round, on a lattice over the whole footbed, mm; `None` where they reach all.
pub(super) fn stays(design: &Design) -> Option<Grid> {
    let unreached = design.findings.iter().find_map(|finding| finding.unreached.as_deref())?;
    let Unreached { first_mm: [x, y], step_mm: step, size: [columns, rows], .. } = *unreached;
    // The map covers no more than where something stays; one row of nothing around it closes the lines.
    let lattice = Lattice { x0: x - step, y0: y - step, step, nx: columns + 2, ny: rows + 2 };
    let left = |i: usize, j: usize| {
        let inside = (1..=columns).contains(&i) && (1..=rows).contains(&j);
        if inside { unreached.left_mm.get((j - 1) * columns + i - 1).copied() } else { None }
    };
    let mut grid = Grid::filled(lattice, 0.0);
    grid.z.iter_mut().enumerate().for_each(|(k, z)| *z = left(k % lattice.nx, k / lattice.nx).unwrap_or(0.0));
    Some(grid)
}

fn value_rows(design: &Design, carved: Option<&Values>) -> Vec<ValueRow> {
    Value::ALL
        .into_iter()
        .filter_map(|value| {
            Some(ValueRow {
                value,
                asked: design.order.asked(value),
                read_back: *design.read_back.get(&value)?,
                carved: carved.and_then(|c| c.get(&value).copied()),
                range: design.intervals.get(&value).and_then(|i| i.ends()).map(Into::into),
                rule: design.order.rule(value).map(str::to_string),
            })
        })
        .collect()
}

fn boot_rows(design: &Design) -> Vec<BootRow> {
    let effect = &design.boot_effect;
    let row = |words: &str, unit, value| BootRow { words: words.into(), unit, value };
    vec![
        row("heel rise", "mm", effect.heel_rise_mm),
        row("ball rise", "mm", effect.ball_rise_mm),
        row("ramp change", "deg", effect.ramp_change_deg),
        row("instep lift", "mm", effect.instep_lift_mm),
    ]
}

fn note_row(finding: &Finding, reason: Option<&str>) -> NoteRow {
    let number = |x: Option<f64>| x.map_or(String::new(), |x| format!("{x:.2} {}", finding.unit));
    let accepted = finding.severity == Severity::Stop && !finding.blocks(reason);
    NoteRow {
        severity: finding.severity,
        limit: finding.limit.into(),
        at: finding.at_mm.map(Point2::from),
        measured: number(finding.measured),
        allowed: number(finding.allowed),
        message: sentence(&finding.message),
        advice: sentence(&finding.advice),
        accepted: reason.filter(|_| accepted).map(str::to_string),
    }
}

/// Words as a sentence of its own.
fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or(String::new(), |first| format!("{}{}.", first.to_uppercase(), letters.as_str()))
}

fn program_row(written: &Written) -> ProgramRow {
    ProgramRow {
        file: written.file.clone(),
        cutter: written.cutter.name.clone(),
        in_air: written.step.is_dry(),
        time_s: written.timing.total_s,
        bounded_by: written.timing.bounded_by,
        lines: written.program.lines,
        sha256: sha256_hex(written.text.as_bytes()),
        turn: 0,
    }
}

fn proof_words(proof: &Proof) -> String {
    let mm = |x: Option<f64>| x.map_or("unknown".to_string(), |x| format!("{x:.3} mm"));
    format!(
        "proved from its text: at most {:.3} mm below the design, scallop {} (99 %), unreached {}, rapids in stock {}",
        proof.max_gouge_mm,
        mm(proof.scallop_p99_mm),
        mm(proof.unreached_max_mm),
        proof.rapid_contacts
    )
}

fn bevel_line(footbed: &Footbed) -> Vec<Point2> {
    let inset = footbed.outline.offset(-BEVEL_MM).unwrap_or_default();
    inset.into_iter().max_by_key(Vec::len).unwrap_or_default()
}
