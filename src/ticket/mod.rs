//! The job ticket: as written in TOML, then resolved, with every number in range. Nothing
//! downstream validates again. Knows no file system: text comes in, a ticket or problems come out.

mod amend;
mod fill;
mod hold;
mod making;
mod order;
mod ranges;
mod reading;
mod relief;
mod revise;

use crate::curve::TrimMeasures;
use crate::foot::{Foot, Stations};
use crate::frame::{Rect, Side};
use crate::profile::rules::Flag;
use crate::profile::{Blank, Cutter, Load, Machine, Material};
use crate::value::{Value, Values};

pub use crate::written::{Colour, Problem, Problems};
pub use amend::{with_reason, with_value};
pub use making::USUAL_PERIMETER;
pub(crate) use order::{Tracings, measure};
pub use ranges::writable;
pub use reading::read;
pub(crate) use reading::{boot, checked_code, flags, look_up, refuse_names};
pub use relief::Relief;
pub use revise::{Because, ReviseError, Setting, revise, revised};

/// `<code>-r<revision>`: what a job's folder is called, and what the names of its files begin with.
pub fn job_name(code: &str, revision: i64) -> String {
    format!("{code}-r{revision}")
}

/// A resolved job: one or two footbeds for one wearer and one boot.
#[derive(Clone, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct Ticket {
    /// Letters, digits, `-` and `_`; at most 32. Safe in file names and program comments.
    pub code: String,
    /// From 1.
    pub revision: u32,
    pub note: String,
    pub wearer: Wearer,
    pub boot: Boot,
    pub make: Make,
    /// One or two, left first.
    pub feet: Vec<FootOrder>,
    pub history: Vec<PastRevision>,
}

/// Who stands on it; codes only, never a name.
#[derive(Clone, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct Wearer {
    pub weight_kg: Option<f64>,
    /// Name of the starting support profile, such as `everyday`.
    pub usage: String,
    /// How the footbed is loaded when it is asked whether its arch gives.
    pub load: Load,
    /// Signs that a clinician is to see first.
    pub flags: Vec<RaisedFlag>,
    /// Who has said that a footbed may be made in spite of them, as typed by a person.
    pub cleared: Option<String>,
}

/// A referral flag that is raised.
#[derive(Clone, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct RaisedFlag {
    pub name: String,
    pub words: String,
    /// Whether nothing is made until it is cleared.
    pub stops: bool,
}

impl RaisedFlag {
    pub(crate) fn of(flag: &Flag) -> RaisedFlag {
        RaisedFlag { name: flag.name.clone(), words: flag.words.clone(), stops: flag.stops }
    }
}

/// The boot it goes into; what is unknown stays unknown.
#[derive(Clone, Debug, Default, PartialEq)]
#[allow(missing_docs)]
pub struct Boot {
    pub mondopoint_mm: Option<f64>,
    pub ramp_deg: Option<f64>,
    pub stock_insole: StockInsole,
}

/// The insole that the footbed replaces, mm.
#[derive(Clone, Debug, Default, PartialEq)]
#[allow(missing_docs)]
pub struct StockInsole {
    pub heel_thickness: Option<f64>,
    pub ball_thickness: Option<f64>,
    pub length: Option<f64>,
    pub ball_width: Option<f64>,
    pub heel_width: Option<f64>,
}

/// How it is made.
#[derive(Clone, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct Make {
    pub material: Material,
    pub blank: Blank,
    pub machine: Machine,
    pub roughing: Cutter,
    pub finishing: Cutter,
    pub perimeter: Cutter,
    /// A smaller round cutter for what the finishing one cannot reach.
    pub rest: Option<Cutter>,
    pub underside: Underside,
    pub turning: Turning,
    pub scallop_mm: f64,
    /// Thickness of a cover glued on later, mm.
    pub cover_mm: f64,
    pub passes: Passes,
    /// Which way round rings are cut.
    pub sense: Sense,
    /// What keeps the piece in its blank after the perimeter.
    pub hold: Hold,
    pub laying: Laying,
    /// What stands on the bed beside or on the blank, in the order of the ticket.
    pub clamps: Vec<Clamp>,
    /// Whether side, toe arrow and code are engraved in the waste.
    pub marks: Marks,
    /// Every blank on the shelf, for advice.
    pub blanks: Vec<Blank>,
    /// Keys the ticket left out, each with the rule that filled it, in words.
    pub filled_in: Vec<(&'static str, String)>,
}

impl Make {
    /// Lowest that the safe height may be for the clamps' sake, mm: 0 without clamps.
    pub fn above_clamps_mm(&self) -> f64 {
        /// A clamp's screw may stand a turn or two higher than it was measured (shop's own choice).
        const AIR_MM: f64 = 5.0;
        self.clamps.iter().map(|clamp| clamp.height_mm + AIR_MM).fold(0.0, f64::max)
    }
}

/// How many footbeds lie in a blank.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Laying {
    /// A blank for each foot.
    Each,
    /// Both feet side by side in one.
    Pair,
}

/// Whether marks are engraved in the waste.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Marks {
    Engraved,
    Off,
}

/// A clamp, a pin or a screw: no part of a cutter or its holder may come into this box.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Clamp {
    /// Seen from above, program coordinates, mm.
    pub rect: Rect,
    /// Above the bed, mm.
    pub height_mm: f64,
}

/// What keeps the piece in its blank after the perimeter.
#[derive(Clone, Copy, Debug, PartialEq)]
#[allow(missing_docs)]
pub enum Hold {
    Tabs(Tabs),
    /// A skin left everywhere under the groove, cut through by hand.
    Skin {
        thickness_mm: f64,
    },
}

impl Hold {
    /// Lowest that anything but the perimeter's own groove between tabs may be cut, mm above the bed.
    pub fn floor_mm(self) -> f64 {
        match self {
            Hold::Tabs(_) => 0.0,
            Hold::Skin { thickness_mm } => thickness_mm,
        }
    }
}

/// Holding tabs of the perimeter cut: their number, length along the outline and thickness, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct Tabs {
    pub count: usize,
    pub length_mm: f64,
    pub thickness_mm: f64,
}

impl Tabs {
    /// No tab stands within this share of the piece's length from either end: toe tip and heel end are curved and seen
    /// (our own choice).
    pub const END_SHARE: f64 = 0.12;
}

/// What brings the blank back to its place after it was turned over; matters to a relieved
/// underside only.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Turning {
    /// Two pins of unequal thickness on the bed, in holes of the waste.
    Pins(Pins),
    /// The blank's edges against the same stops: as exact as its width was measured.
    Edges,
}

/// Pins stand no higher than this where the ticket says nothing, mm: they only place the blank, the hold-down
/// holds it, and no cutter may come down to them. Shop's own choice.
pub const USUAL_PIN_HEIGHT_MM: f64 = 2.5;
/// Lower pins hold no blank in its place, mm: the least that a ticket may ask. Shop's own choice.
pub const LEAST_PIN_HEIGHT_MM: f64 = 1.0;

/// The pins on the bed.
#[derive(Clone, Copy, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct Pins {
    /// Behind the heel, ahead of the toes.
    pub diameters_mm: [f64; 2],
    /// Of their tops above the bed; `None`: what the edges leave, no more than usual.
    pub height_mm: Option<f64>,
}

/// Direction of the finishing passes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Passes {
    /// Whichever takes less time on the machine.
    Quickest,
    Along,
    Across,
    /// From the edge inward, each as far from the last as the scallop allows.
    Rings,
}

/// How a finishing ring meets the material, with a spindle that turns clockwise seen from above.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sense {
    /// The tooth goes with the feed: chips begin thick and end in nothing.
    Climb,
    /// The tooth goes against the feed.
    Conventional,
}

/// The side that lies on the boot board.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Underside {
    Flat,
    Relieved,
}

/// One footbed as ordered.
#[derive(Clone, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct FootOrder {
    pub side: Side,
    pub foot: Foot,
    pub support: Support,
    /// Trim outline traced from a stock insole, as SVG text with its name, and the clearance to
    /// take off all round, mm. `None`: the outline is drawn from measures.
    pub traced: Option<Traced>,
    /// Why a stop is accepted, as typed by a person.
    pub reason: Option<String>,
}

/// A traced outline as read from beside the ticket.
#[derive(Clone, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct Traced {
    pub name: String,
    pub svg: String,
    /// The foot whose insole was traced: the tracing is seen from above in that foot's bench frame,
    /// even when it serves the other foot.
    pub side: Side,
    pub clearance_mm: f64,
}

/// The asked values of one footbed. Definitions: `gauge/`.
#[derive(Clone, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct Support {
    pub heel_thickness_mm: f64,
    pub heel_cup_depth_mm: f64,
    /// Asked only when given; otherwise what the outline and the cup make of it.
    pub heel_cup_width_mm: Option<f64>,
    pub rearfoot_post_deg: f64,
    pub medial_arch_mm: f64,
    pub lateral_arch_mm: f64,
    pub transverse_arch_mm: f64,
    pub forefoot_thickness_mm: f64,
    /// Asked only when given.
    pub flex_zone_thickness_mm: Option<f64>,
    pub length_mm: f64,
    pub ball_width_mm: f64,
    pub heel_width_mm: f64,
    pub stations: Stations,
    /// How each station was got, in words, by its name in [`Stations::named`].
    pub station_rules: Vec<(&'static str, String)>,
    /// A sole's heights that the top follows by zone and share.
    pub relief: Option<Relief>,
    /// Share of the hollow under a relieved arch that is filled back, from the medial wall, 0..=1.
    pub stabiliser_share: f64,
    /// Share of the foot's own seated-to-standing drop that the footbed is wanted to allow.
    pub allowed_drop: Option<f64>,
    /// Values the ticket left out, each with the rule that filled it, in words.
    pub filled_in: Vec<(Value, String)>,
    /// What a change of one mm or degree counts, by the starting support.
    pub change_weights: Values,
}

/// An earlier revision, kept for the record.
#[derive(Clone, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct PastRevision {
    pub revision: u32,
    /// As typed by a person; the program adds no clock.
    pub date: String,
    pub change: String,
    pub reason: String,
}

impl FootOrder {
    /// What is asked for `value` of this foot: as [`Support::asked`], but a traced outline brings
    /// its own sizes, whatever the support says.
    pub fn asked(&self, value: Value) -> Option<f64> {
        let size = matches!(value, Value::Length | Value::BallWidth | Value::HeelWidth);
        if size && self.traced.is_some() { None } else { self.support.asked(value) }
    }

    /// The measures from which the trim outline is drawn when none is traced.
    pub fn trim_measures(&self) -> TrimMeasures {
        let support = &self.support;
        let at = |station: f64| station * self.foot.length_mm();
        TrimMeasures {
            length_mm: support.length_mm,
            ball_width_mm: support.ball_width_mm,
            heel_width_mm: support.heel_width_mm,
            heel_station_y_mm: at(support.stations.widest_cup),
            first_met_y_mm: at(support.stations.first_met),
            fifth_met_y_mm: at(support.stations.fifth_met),
        }
    }

    /// The rule that filled in a value that the ticket left out.
    pub fn rule(&self, value: Value) -> Option<&str> {
        self.asked(value)?;
        self.support.filled_in.iter().find(|(filled, _)| *filled == value).map(|(_, rule)| rule.as_str())
    }
}

impl Support {
    /// Asks `to` for `value`, in its own unit, also where it was left to follow from the others.
    pub fn ask(&mut self, value: Value, to: f64) {
        match value {
            Value::HeelThickness => self.heel_thickness_mm = to,
            Value::HeelCupDepth => self.heel_cup_depth_mm = to,
            Value::HeelCupWidth => self.heel_cup_width_mm = Some(to),
            Value::RearfootPost => self.rearfoot_post_deg = to,
            Value::MedialArch => self.medial_arch_mm = to,
            Value::LateralArch => self.lateral_arch_mm = to,
            Value::TransverseArch => self.transverse_arch_mm = to,
            Value::ForefootThickness => self.forefoot_thickness_mm = to,
            Value::FlexZoneThickness => self.flex_zone_thickness_mm = Some(to),
            Value::Length => self.length_mm = to,
            Value::BallWidth => self.ball_width_mm = to,
            Value::HeelWidth => self.heel_width_mm = to,
        }
    }

    /// What is asked for `value`; `None` for a value that is left to follow from the others.
    pub fn asked(&self, value: Value) -> Option<f64> {
        match value {
            Value::HeelThickness => Some(self.heel_thickness_mm),
            Value::HeelCupDepth => Some(self.heel_cup_depth_mm),
            Value::HeelCupWidth => self.heel_cup_width_mm,
            Value::RearfootPost => Some(self.rearfoot_post_deg),
            Value::MedialArch => Some(self.medial_arch_mm),
            Value::LateralArch => Some(self.lateral_arch_mm),
            Value::TransverseArch => Some(self.transverse_arch_mm),
            Value::ForefootThickness => Some(self.forefoot_thickness_mm),
            Value::FlexZoneThickness => self.flex_zone_thickness_mm,
            Value::Length => Some(self.length_mm),
            Value::BallWidth => Some(self.ball_width_mm),
            Value::HeelWidth => Some(self.heel_width_mm),
        }
    }
}
