//! A made-up footbed for this room's tests: closed formulas that look like one, no design.

use super::data::*;
use crate::frame::{Point2, Side};
use crate::limits::Severity;
use crate::nc::BoundedBy;
use crate::value::Value;

/// Shapes that a [`DrawnFoot`] borrows.
pub struct Sample {
    pub outline: Vec<Point2>,
    pub bevel: Vec<Point2>,
    pub tabs: Vec<Point2>,
    pub length: f64,
}

/// Half-widths by share of the length, (share, lateral, medial), at a length of 270 mm.
const HALVES: [(f64, f64, f64); 12] = [
    (0.0, 0.0, 0.0),
    (0.02, 15.0, 15.0),
    (0.06, 25.5, 25.5),
    (0.16, 32.5, 32.5),
    (0.28, 35.0, 32.0),
    (0.42, 40.0, 30.5),
    (0.55, 45.5, 34.5),
    (0.64, 49.0, 40.5),
    (0.74, 48.5, 44.5),
    (0.86, 39.0, 44.5),
    (0.96, 19.0, 34.0),
    (1.0, -12.0, 12.0),
];

impl Sample {
    pub fn of_length(length: f64) -> Sample {
        let outline = outline(length);
        let middle = Point2::new(0.0, length / 2.0);
        let inward = |p: &Point2| {
            let v = middle - p;
            p + v / v.norm() * 3.0
        };
        let bevel = outline.iter().map(inward).collect();
        let tabs = [0.11, 0.2, 0.33, 0.45, 0.62, 0.7, 0.82, 0.92];
        let tabs = tabs.iter().map(|t| outline[(t * outline.len() as f64) as usize]).collect();
        Sample { outline, bevel, tabs, length }
    }

    /// Landmarks by the usual stations.
    pub fn landmarks(&self) -> Landmarks {
        let p = |x: f64, share: f64| Point2::new(x, share * self.length);
        Landmarks {
            foot_length_mm: self.length,
            heel_centre: p(0.0, 0.15),
            widest_cup_y: 0.16 * self.length,
            first_met: p(27.0, 0.741),
            fifth_met: p(-33.0, 0.64),
            medial_arch: p(24.7, 0.40),
            lateral_arch: p(-33.5, 0.42),
            dome: p(-2.0, 0.62),
            flex_zone: Some(p(0.0, 0.47)),
        }
    }

    /// A top surface: bowl at the heel, arches on both edges, a small dome, a flat forefoot.
    pub fn top(&self, p: Point2) -> f64 {
        let s = p.y / self.length;
        let bell = |at: f64, wide: f64| (-((s - at) / wide).powi(2)).exp();
        let (lateral, medial) = halves_at(s, self.length);
        let edge = if p.x > 0.0 { p.x / medial.max(1.0) } else { -p.x / lateral.max(1.0) };
        let rear = ((0.13 - s) / 0.13).max(0.0);
        let cup = 12.0 * (edge.powi(4)).max(rear.powi(3)).min(1.25) / (1.0 + ((s - 0.24) / 0.06).exp());
        let along = (p.x / medial.max(1.0)).max(0.0).powf(1.6) * 17.0 * bell(0.40, 0.16);
        let lateral_arch = (-p.x / lateral.max(1.0)).max(0.0).powi(3) * 4.0 * bell(0.42, 0.14);
        let dome = 2.0 * (-((p.x + 2.0) / 15.0).powi(2)).exp() * bell(0.62, 0.05);
        let thick = 3.0 + 3.5 / (1.0 + ((s - 0.55) / 0.08).exp());
        thick + cup + along + lateral_arch + dome + 0.03 * p.x * bell(0.15, 0.1)
    }

    /// One foot of the sample, with values and findings that try the sheet's room.
    pub fn foot<'a>(&'a self, side: Side, top: Height<'a>, underside: Height<'a>) -> DrawnFoot<'a> {
        DrawnFoot {
            side,
            outline: &self.outline,
            top,
            underside,
            landmarks: self.landmarks(),
            bevel: Some(Bevel { line: &self.bevel, words: "40 deg, 3 mm at the lower edge".into() }),
            tabs: &self.tabs,
            values: values(side),
            boot: boot(side),
            notes: notes(side),
            programs: programs(side),
            proof: "passed: gouge 0.004 mm, scallop 0.079 mm at most, 0 rapids in stock, unreached 0.12 mm".into(),
        }
    }
}

/// A job of these feet.
pub fn job<'a>(feet: Vec<DrawnFoot<'a>>) -> SheetData<'a> {
    SheetData {
        code: "PATROL-0417",
        revision: 3,
        note: "medial arch 1 mm lower after the first try",
        material: "EVA foam 55 Shore A".into(),
        blank: "block 300 x 120 x 30, measured 29.6 high".into(),
        machine: "bench router, 3 axes, 600 x 400 x 90".into(),
        setup: vec![
            ("Z zero".into(), "machine bed: touch off on the bed beside the blank, not on the blank".into()),
            ("X, Y zero".into(), "marked front left corner of the blank".into()),
        ],
        lay: None,
        load: None,
        cutters: vec!["flat 12, 2 flutes".into(), "ball 8, 2 flutes".into(), "flat 6, 1 flute".into()],
        ticket_sha256: "5f2c0a9d7e31b46488aa10cc5d9e7b6f00112233445566778899aabbccddeeff".into(),
        feet,
    }
}

fn values(side: Side) -> Vec<ValueRow> {
    let nudge = if side == Side::Left { 0.0 } else { 0.5 };
    let rows = [
        (Value::HeelThickness, Some(6.5), 6.5, Some((4.0, 9.2))),
        (Value::HeelCupDepth, Some(12.0), 12.0, Some((8.0, 13.4))),
        (Value::HeelCupWidth, None, 55.3, None),
        (Value::RearfootPost, Some(2.0), 2.0, Some((-2.0, 4.0))),
        (Value::MedialArch, Some(16.0 + nudge), 16.0 + nudge, Some((11.5, 17.2))),
        (Value::LateralArch, Some(3.0), 3.0, Some((2.0, 9.0))),
        (Value::TransverseArch, Some(2.0), 2.0, Some((0.0, 4.0))),
        (Value::ForefootThickness, Some(3.0), 3.0, Some((2.0, 4.5))),
        (Value::FlexZoneThickness, None, 5.31, None),
        (Value::Length, Some(270.0), 270.0, Some((255.0, 290.0))),
        (Value::BallWidth, Some(93.0), 93.0, Some((88.0, 99.0))),
        (Value::HeelWidth, Some(65.0), 65.0, Some((60.0, 70.0))),
    ];
    let rule = |value: Value| match value {
        Value::HeelCupDepth => Some("12 mm x length / 265".to_string()),
        Value::LateralArch => Some("3 mm".to_string()),
        _ => None,
    };
    rows.into_iter()
        .map(|(value, asked, read_back, range)| ValueRow {
            value,
            asked,
            read_back,
            carved: Some(read_back - 0.03),
            range,
            rule: rule(value),
        })
        .collect()
}

fn boot(side: Side) -> Vec<BootRow> {
    let row = |words: &str, unit: &'static str, value: Option<f64>| BootRow { words: words.into(), unit, value };
    let nudge = if side == Side::Left { 0.0 } else { 0.2 };
    vec![
        row("heel rise", "mm", Some(1.5)),
        row("ball rise", "mm", Some(0.0)),
        row("ramp change", "deg", Some(0.55)),
        row("instep lift", "mm", if side == Side::Left { None } else { Some(1.1 + nudge) }),
    ]
}

fn notes(side: Side) -> Vec<NoteRow> {
    let note =
        |severity, limit: &str, at: Option<(f64, f64)>, measured: &str, allowed: &str, message: &str, advice: &str| {
            let at = at.map(|(x, y)| Point2::new(x, y));
            let text = |s: &str| s.to_string();
            NoteRow {
                severity,
                limit: text(limit),
                at,
                measured: text(measured),
                allowed: text(allowed),
                message: text(message),
                advice: text(advice),
                accepted: None,
            }
        };
    let mut list = vec![
        note(
            Severity::Caution,
            "ramp_change",
            Some((0.0, 40.0)),
            "0.55 deg",
            "0.5 deg",
            "The heel rises more than the ball.",
            "Lower heel thickness to 6.2 mm.",
        ),
        note(
            Severity::Note,
            "unreached",
            Some((-30.0, 60.0)),
            "0.12 mm",
            "0.2 mm",
            "The finishing cutter leaves material in the corner of the cup.",
            "Sand it by hand.",
        ),
    ];
    if side == Side::Right {
        let stop = note(
            Severity::Stop,
            "flex_zone_thickness",
            Some((8.0, 118.0)),
            "1.7 mm",
            "2.5 mm",
            "The flex zone is too thin at 44 %.",
            "Raise heel thickness to 7.1 mm.",
        );
        list.push(NoteRow { accepted: Some("trial piece, not to be worn".into()), ..stop });
        let late = note(
            Severity::Caution,
            "arch",
            Some((24.0, 105.0)),
            "16.5 mm",
            "16.2 mm",
            "The medial arch is near the seated arch.",
            "Ask for 16.0 mm.",
        );
        list.push(late);
    }
    list
}

fn programs(side: Side) -> Vec<ProgramRow> {
    let row = |step: &str, cutter: &str, time_s: f64, lines: usize| ProgramRow {
        file: format!("PATROL-0417-r3-{}-{step}.ngc", side.letter()),
        cutter: cutter.into(),
        in_air: step == "frame",
        time_s,
        bounded_by: BoundedBy {
            feed_s: 0.62 * time_s,
            acceleration_s: 0.31 * time_s,
            z_rate_s: 0.07 * time_s,
            ..BoundedBy::default()
        },
        lines,
        sha256: format!("{:016x}", 0x9e37_79b9_7f4a_7c15_u64.wrapping_mul(lines as u64 + side as u64)).repeat(4),
        turn: 0,
    };
    vec![
        row("frame", "flat 12", 14.0, 31),
        row("top-1-rough", "flat 12", 402.0, 3120),
        row("top-2-finish", "ball 8", 1263.0, 21480),
        row("top-3-perimeter", "flat 6", 95.0, 640),
    ]
}

fn halves_at(share: f64, length: f64) -> (f64, f64) {
    let k = HALVES.iter().rposition(|h| h.0 <= share).unwrap_or(0).min(HALVES.len() - 2);
    let (a, b) = (HALVES[k], HALVES[k + 1]);
    let t = ((share - a.0) / (b.0 - a.0)).clamp(0.0, 1.0);
    let grow = length / 270.0;
    (grow * (a.1 + (b.1 - a.1) * t), grow * (a.2 + (b.2 - a.2) * t))
}

/// A closed Catmull-Rom loop through the half-widths, counter-clockwise in the foot frame.
fn outline(length: f64) -> Vec<Point2> {
    let grow = length / 270.0;
    let medial = HALVES.iter().map(|h| Point2::new(grow * h.2, length * h.0));
    let lateral = HALVES.iter().skip(1).rev().skip(1).map(|h| Point2::new(-grow * h.1, length * h.0));
    let knots: Vec<Point2> = medial.chain(lateral).collect();
    let n = knots.len();
    let mut points = Vec::new();
    for k in 0..n {
        let p = |d: usize| knots[(k + n + d - 1) % n].coords;
        let (a, b, c, d) = (p(0), p(1), p(2), p(3));
        for t in (0..24).map(|i| f64::from(i) / 24.0) {
            let v = b * 2.0
                + (c - a) * t
                + (a * 2.0 - b * 5.0 + c * 4.0 - d) * t * t
                + (b * 3.0 - a - c * 3.0 + d) * t * t * t;
            points.push(Point2::from(v * 0.5));
        }
    }
    points
}
