//! What material, blank, cutter, boot and foot will not stand. Every check returns all it finds,
//! each finding a measurement: where, measured, allowed, what to change. Knows no paths.
//!
//! To add a limit: write a function that pushes [`Finding`]s in the file of its kind (`surface` for
//! what holds at every place of the surface, `order` for what the values say, `shop` for blank,
//! cutters and machine, `bench` for how the pieces lie), call it from [`check`], and describe it in `docs/limits.md`.
//! What a shaping value can settle is a line (`order::lines`) or a bound at every place (`field::Allowed`):
//! intervals and repair follow from those.

mod advice;
mod alone;
mod bench;
mod boot;
mod cup;
mod feet;
mod field;
mod flex;
mod held;
mod interval;
mod line;
mod lp;
mod order;
mod reach;
mod referral;
mod repair;
mod search;
mod shop;
mod surface;
mod turning;

use serde::Serialize;

use crate::footbed::{Footbed, SHAPING};
use crate::frame::{Point2, Side};
use crate::ticket::{Boot, FootOrder, Make, Ticket};
use crate::value::{Value, Values};

pub use bench::{clamp_met, no_room_for_mark, pair_room};
pub use boot::{BootEffect, boot_effect};
pub use field::{Floor, narrow};
pub use flex::under_load;
pub use interval::{Bound, Found, Interval, Intervals};
pub use reach::Unreached;
pub use referral::referral;
pub use repair::{Change, Contradiction, Relaid, Repair, ValueChange, repair};
pub use search::{Laid, Rebuild, SEARCHED_MM, search};
pub use shop::{holds, line_load, rest_cutter, scallop};
pub use turning::{PinRoom, no_hollow, pin_room, turned_by_edges, unreached_under, unsupported};

/// Differences below this are rounding and not a finding, so that the end of an interval passes
/// when it is asked, mm, deg and mm per mm.
const ROUNDING: f64 = 1e-6;

/// How much a finding weighs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// No program is written unless the ticket carries a typed reason (and not even then when it
    /// is physically impossible).
    Stop,
    /// Look again before cutting.
    Caution,
    /// Good to know.
    Note,
}

impl Severity {
    /// `stop`, `caution` or `note`.
    pub fn name(self) -> &'static str {
        match self {
            Severity::Stop => "stop",
            Severity::Caution => "caution",
            Severity::Note => "note",
        }
    }
}

/// Whether a typed reason can outweigh a stop.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Overrule {
    /// A reason on the ticket lets the job go on; it is printed on the sheet.
    ByReason,
    /// Physically impossible, or for a clinician first: no reason helps.
    Never,
}

/// One thing that a limit found.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Finding {
    /// Stable short name of the limit, such as `least_thickness`.
    pub limit: &'static str,
    /// Its weight.
    pub severity: Severity,
    /// Whether a reason can outweigh it.
    pub overrule: Overrule,
    /// Which foot.
    pub side: Side,
    /// Where, foot frame, mm.
    pub at_mm: Option<[f64; 2]>,
    /// The same place as a fraction of the foot length.
    pub station: Option<f64>,
    /// What was found.
    pub measured: Option<f64>,
    /// What is allowed.
    pub allowed: Option<f64>,
    /// Unit of both.
    pub unit: &'static str,
    /// What is wrong, in words with the numbers.
    pub message: String,
    /// Which value to change to what.
    pub advice: String,
    /// What the cutters cannot reach, and a map of it; of `hollow_radius` only.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unreached: Option<Box<Unreached>>,
}

impl Finding {
    /// A finding without a place; severity and words must be given, the rest is filled in by the
    /// methods below.
    fn new(limit: &'static str, severity: Severity, side: Side, message: String, advice: String) -> Finding {
        Finding {
            limit,
            severity,
            overrule: Overrule::ByReason,
            side,
            at_mm: None,
            station: None,
            measured: None,
            allowed: None,
            unit: "mm",
            message,
            advice,
            unreached: None,
        }
    }

    fn numbers(mut self, measured: f64, allowed: f64, unit: &'static str) -> Finding {
        (self.measured, self.allowed, self.unit) = (Some(measured), Some(allowed), unit);
        self
    }

    fn place(mut self, at: Point2, foot_length_mm: f64) -> Finding {
        self.at_mm = Some([at.x, at.y]);
        self.station = Some(at.y / foot_length_mm);
        self
    }

    fn never_overruled(mut self) -> Finding {
        self.overrule = Overrule::Never;
        self
    }

    /// Sorts what is for a clinician first, then the gravest.
    pub fn rank(&self) -> (bool, Severity) {
        (self.limit != "referral_flag", self.severity)
    }

    /// Whether this finding keeps programs from being written, given the reason typed on the
    /// ticket.
    pub fn blocks(&self, reason: Option<&str>) -> bool {
        self.severity == Severity::Stop && (self.overrule == Overrule::Never || reason.is_none())
    }

    /// The reason, where this is a stop that it accepts.
    pub fn accepted_by<'a>(&self, reason: Option<&'a str>) -> Option<&'a str> {
        reason.filter(|_| self.severity == Severity::Stop && !self.blocks(reason))
    }
}

/// What all checks look at: one ordered foot, its design and how it is made.
#[derive(Clone, Copy)]
pub struct Case<'a> {
    /// The whole ticket.
    pub make: &'a Make,
    /// The boot it goes into.
    pub boot: &'a Boot,
    /// The foot and its asked values.
    pub order: &'a FootOrder,
    /// The design.
    pub footbed: &'a Footbed,
    /// Its values as read from the design.
    pub read_back: &'a Values,
}

/// All findings of one foot, gravest first, and the interval in which each value passes every stop
/// that it can move, the others held. Of the outline's sizes and the cup's width only what shows
/// without another design is told; [`search`] goes further.
pub fn check(case: &Case) -> (Vec<Finding>, Intervals) {
    let moving = field::Moving::new(case);
    let intervals = intervals(case, &moving);
    let field = &moving.field;
    let mut findings = surface::findings(case, field, &intervals);
    findings.extend(order::findings(case, &intervals));
    findings.extend(shop::findings(case, &intervals, field.lowest_mm(), field.highest_mm()));
    findings.sort_by_key(Finding::rank);
    (findings, intervals)
}

/// The advice of these findings told again once more is known of how far the values may go, so that none advises what
/// lies beyond.
pub fn advise_again(case: &Case, findings: &mut [Finding], intervals: &Intervals) {
    let field = field::Field::new(case);
    let mut again = order::findings(case, intervals);
    again.extend(surface::too_steep(case, &field, intervals));
    again.extend(shop::rim_wall(case, intervals));
    for finding in findings {
        let same = |other: &&Finding| other.limit == finding.limit && other.message == finding.message;
        if let Some(other) = again.iter().find(same) {
            finding.advice.clone_from(&other.advice);
        }
    }
}

fn intervals(case: &Case, moving: &field::Moving) -> Intervals {
    let shaping = SHAPING.into_iter().zip(moving.intervals(case));
    let sizes = shop::size_intervals(case).into_iter().map(|(value, size)| (value, size.and(order::writable(value))));
    shaping.chain(sizes).chain([(Value::FlexZoneThickness, search::flex_zone_interval(case))]).collect()
}

/// Differences between the two feet that deserve a note on the ticket.
pub fn check_pair(ticket: &Ticket) -> Vec<Finding> {
    feet::pair_findings(ticket)
}
