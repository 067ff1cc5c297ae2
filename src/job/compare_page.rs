//! The page of a comparison: its surfaces for the drawings, its report in rows and lines.

use super::changes::{Change, Told};
use super::compare::{Compared, ComparedFoot, Comparison, FootComparison, HistoryEntry, Pair};
use super::draw::landmarks;
use crate::draw::{
    Against, ComparedCell, ComparedLine, ComparedRow, ComparedTicket, ComparisonData, Differences, DrawError,
    Landmarks, Mapped, Surface, comparison_html, place_words, signed,
};
use crate::footbed::Footbed;
use crate::frame::{Point2, Side};
use crate::limits::Finding;
use crate::value::Value;

/// Less than this, mm, is what a mill leaves between its passes (scallops of 0.08 to 0.1 mm are usual
/// in foam, common practice, no source): no difference to be felt.
const NEUTRAL_MM: f64 = 0.1;

/// The comparison as one HTML page. The checksums are those of the two tickets' texts, hexadecimal.
pub fn comparison_page(compared: &Compared, sha256: [&str; 2]) -> Result<String, DrawError> {
    let models: Vec<Model> = compared.feet.iter().map(Model::new).collect();
    let sides: Vec<Sides> = models.iter().map(Model::sides).collect();
    let report = &compared.report;
    let ticket = |named: &'_ super::Named, sha256| (named.ticket.clone(), named.revision, sha256);
    let ((old, old_revision, old_sum), (new, new_revision, new_sum)) =
        (ticket(&report.old, sha256[0]), ticket(&report.new, sha256[1]));
    comparison_html(&ComparisonData {
        old: ComparedTicket { code: &old, revision: old_revision, sha256: old_sum },
        new: ComparedTicket { code: &new, revision: new_revision, sha256: new_sum },
        feet: models.iter().zip(&sides).map(|(model, sides)| model.mapped(sides)).collect(),
        neutral_mm: NEUTRAL_MM,
        rows: rows(report),
        lines: lines(report),
        heading: heading(report),
    })
}

/// A height where there is one.
type Height<'a> = Box<dyn Fn(Point2) -> Option<f64> + Sync + 'a>;

/// What drawings of one foot borrow.
struct Model<'a> {
    foot: &'a ComparedFoot<'a>,
    landmarks: Landmarks,
}

/// The four faces of two footbeds, each known within its own outline.
struct Sides<'a> {
    old: [Height<'a>; 2],
    new: [Height<'a>; 2],
}

impl<'a> Model<'a> {
    fn new(foot: &'a ComparedFoot<'a>) -> Model<'a> {
        Model { foot, landmarks: landmarks(&foot.new.footbed) }
    }

    fn sides(&self) -> Sides<'a> {
        let faces = |footbed: &'a Footbed| -> [Height<'a>; 2] {
            let within = |p: Point2| footbed.outline.contains(p);
            [
                Box::new(move |p| within(p).then(|| footbed.top_at(p))),
                Box::new(move |p| within(p).then(|| footbed.underside_at(p))),
            ]
        };
        Sides { old: faces(&self.foot.old.footbed), new: faces(&self.foot.new.footbed) }
    }

    fn mapped<'b>(&'b self, sides: &'b Sides<'a>) -> Mapped<'b> {
        let (old, new) = (&self.foot.old.footbed.outline, &self.foot.new.footbed.outline);
        let other = (old.points() != new.points()).then(|| old.points());
        let surface = |faces: &'b [Height<'a>; 2]| Surface { top: &*faces[0], underside: &*faces[1] };
        let side = self.foot.new.order.side;
        Mapped {
            map: Differences { side, outline: new.points(), other, grid: &self.foot.top, landmarks: &self.landmarks },
            against: Some(Against {
                side,
                outline: new.points(),
                other,
                landmarks: &self.landmarks,
                thin: surface(&sides.old),
                thick: surface(&sides.new),
            }),
        }
    }
}

fn heading(report: &Comparison) -> String {
    if report.same { "Nothing changed" } else { "What else changed" }.to_string()
}

/// Values, boot and surface that changed in any foot.
fn rows(report: &Comparison) -> Vec<ComparedRow> {
    let feet = &report.feet;
    let mut rows = vec![];
    for value in Value::ALL {
        let of = |foot: &FootComparison| foot.values.get(&value).copied();
        let found: Vec<_> = feet.iter().filter_map(of).collect();
        if found.iter().all(|v| !v.changed) {
            continue;
        }
        let asked = found.iter().all(|v| v.asked.old.is_some() && v.asked.new.is_some());
        let words = if asked { value.words() } else { format!("{} (read back)", value.words()) };
        let cells = found.iter().map(|v| cell(if asked { v.asked } else { v.read_back }, v.changed));
        rows.push(ComparedRow { words, unit: value.unit(), first: false, feet: cells.collect() });
    }
    let boot = [
        ("heel_rise_mm", "heel rise", "mm"),
        ("ball_rise_mm", "ball rise", "mm"),
        ("ramp_change_deg", "ramp change", "deg"),
        ("instep_lift_mm", "instep lift", "mm"),
    ];
    let mut first = true;
    for (name, words, unit) in boot {
        let found: Vec<Pair> = feet.iter().filter_map(|foot| foot.boot_effect.get(name).copied()).collect();
        if found.iter().any(|pair| pair.old != pair.new) {
            let cells = found.iter().map(|pair| cell(*pair, pair.old != pair.new)).collect();
            rows.push(ComparedRow { words: format!("boot: {words}"), unit, first, feet: cells });
            first = false;
        }
    }
    rows.extend(surface_rows(feet));
    rows
}

fn surface_rows(feet: &[FootComparison]) -> Vec<ComparedRow> {
    let row = |words: &str, first: bool, of: &dyn Fn(&FootComparison) -> f64| {
        let one = |foot: &FootComparison| {
            let change = of(foot);
            ComparedCell { change: signed(change), changed: change.abs() >= 0.005, ..ComparedCell::default() }
        };
        ComparedRow { words: words.into(), unit: "mm", first, feet: feet.iter().map(one).collect() }
    };
    let mut rows = vec![
        row("top: greatest", true, &|foot| foot.top.greatest.mm),
        row("top: least", false, &|foot| foot.top.least.mm),
        row("top: mean", false, &|foot| foot.top.mean_mm),
    ];
    if feet.iter().any(|foot| foot.thickness != foot.top) {
        rows.push(row("thickness: greatest", false, &|foot| foot.thickness.greatest.mm));
        rows.push(row("thickness: least", false, &|foot| foot.thickness.least.mm));
    }
    rows
}

fn cell(pair: Pair, changed: bool) -> ComparedCell {
    let words = |x: Option<f64>| x.map_or("\u{2013}".to_string(), |x| format!("{x:.2}").replace('-', "\u{2212}"));
    let change = pair.change.map_or("\u{2013}".to_string(), signed);
    ComparedCell { old: words(pair.old), new: words(pair.new), change, changed }
}

/// Keys, places, findings, history and notes, gravest for the piece first.
fn lines(report: &Comparison) -> Vec<ComparedLine> {
    let line = |label: String, words: String| ComparedLine { label, words };
    let mut lines = vec![];
    lines.extend(report.notes.iter().map(|note| line("note".into(), note.clone())));
    for foot in &report.feet {
        let letter = foot.side.letter();
        let reason = foot.accepted_reason.as_deref();
        let appeared = foot.findings_appeared.iter().map(|f| {
            let accepted = f.accepted_by(reason).map_or(String::new(), |reason| format!(" [accepted: {reason}]"));
            line(format!("new {}", weighed(f, letter)), f.message.clone() + &accepted)
        });
        let gone = foot.findings_gone.iter().map(|f| line(format!("gone: {}", weighed(f, letter)), f.message.clone()));
        lines.extend(appeared.chain(gone));
    }
    for foot in report.feet.iter().filter(|foot| !foot.same) {
        lines.extend(place_line(foot));
    }
    lines.extend(report.changes.iter().map(|change| line(change.key.clone(), arrow(change))));
    for foot in &report.feet {
        let named = |change: &Change| line(format!("{}.{}", foot.side.name(), change.key), arrow(change));
        lines.extend(foot.changes.iter().map(named));
    }
    let entry = |how: &str, e: &HistoryEntry| line(format!("{how} r{} {}", e.revision, e.date), told(e));
    lines.extend(report.history.added.iter().map(|e| entry("history", e)));
    lines.extend(report.history.gone.iter().map(|e| entry("no longer in the history:", e)));
    lines
}

fn weighed(finding: &Finding, letter: char) -> String {
    format!("{} {letter}", finding.severity.name())
}

/// Where the greatest and the least change lie, and what outlines do not share.
fn place_line(foot: &FootComparison) -> Option<ComparedLine> {
    let place = |e: &super::Extreme| place_words(e.station, e.at_mm[0]);
    let (greatest, least) = (&foot.top.greatest, &foot.top.least);
    let mut parts = vec![];
    if greatest.mm >= 0.005 {
        parts.push(format!("{} at {}", signed(greatest.mm), place(greatest)));
    }
    if least.mm <= -0.005 {
        parts.push(format!("{} at {}", signed(least.mm), place(least)));
    }
    let cm2 = |mm2: f64| format!("{:.1} cm\u{b2}", mm2 / 100.0);
    let areas = &foot.areas;
    if areas.only_old_mm2 + areas.only_new_mm2 > 0.0 {
        parts.push(format!(
            "only in the old outline {}, only in the new {}",
            cm2(areas.only_old_mm2),
            cm2(areas.only_new_mm2)
        ));
    }
    let words = parts.join("; ");
    (!parts.is_empty()).then(|| ComparedLine { label: format!("top {}", letter(foot.side)), words })
}

fn letter(side: Side) -> char {
    side.letter()
}

/// What stood and what stands.
fn arrow(change: &Change) -> String {
    let unit = change.unit.map_or(String::new(), |unit| format!(" {unit}"));
    let words = |told: &Option<Told>| told.as_ref().map_or("\u{2013}".to_string(), Told::words);
    format!("{} \u{2192} {}{unit}", words(&change.old), words(&change.new))
}

/// An entry's words.
fn told(entry: &HistoryEntry) -> String {
    if entry.reason.is_empty() { entry.change.clone() } else { format!("{}: {}", entry.change, entry.reason) }
}
