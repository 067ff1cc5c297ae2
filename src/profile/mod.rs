//! The shop's own data as read from `profiles/`: materials, blanks, cutters, machines, starting
//! supports, tolerances, loads. Plain numbers with where they come from; knows no geometry of footbeds.
//!
//! The files are compiled in; a [`Shelf`] holds them all, and files of the shop's own add to it or
//! take the place of what has the same name.

mod reading;
pub mod rules;
mod shelf;

use std::collections::BTreeMap;

use crate::foot::Stations;
use crate::kernel::Shape;
use crate::value::{Value, Values};

pub use shelf::{Card, CardLine, Kind, Shelf, Unknown};

/// What a footbed is cut from.
#[derive(Clone, Debug, PartialEq)]
pub struct Material {
    /// Name of the profile.
    pub name: String,
    /// What it is, in words.
    pub title: String,
    /// Least thickness that may be left, mm, by zone.
    pub least: LeastThickness,
    /// Taken off by hand sanding after the mill, mm.
    pub sanding_mm: f64,
    /// Steepest wall that stands, degrees from level.
    pub steepest_wall_deg: f64,
    /// Spindle speed to start from.
    pub spindle_rpm: f64,
    /// Feed to start from.
    pub feed_mm_min: f64,
    /// Feed straight down to start from.
    pub plunge_mm_min: f64,
    /// Depth of one roughing pass, mm.
    pub step_down_mm: f64,
    /// Side step of roughing as a share of the cutter's diameter, 0..1.
    pub rough_step_share: f64,
    /// Left by roughing for the finishing cutter, mm.
    pub allowance_mm: f64,
    /// Scallop height when the ticket names none, mm.
    pub scallop_mm: f64,
    /// Tolerance of programmed points against the exact tip heights, mm.
    pub point_tolerance_mm: f64,
    /// Chip load window, mm a tooth: below it rubs and heats, above it tears.
    pub chip_load_mm: [f64; 2],
    /// How it gives under load, as far as it is known.
    pub giving: Giving,
}

/// How a material gives under load; what is unknown stays unknown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Giving {
    /// How stiff, and by what right.
    pub modulus: Option<Modulus>,
    /// Poisson's ratio.
    pub poisson: f64,
    /// Strain that it stands again and again, as a share.
    pub strain_limit: Option<f64>,
    /// Its law of compression, where it is a closed-cell foam.
    pub foam: Option<Foam>,
    /// A softer layer that the blank carries on top.
    pub top_layer: Option<TopLayer>,
}

/// Where a material's modulus comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Modulus {
    /// Measured, or published for the solid material, MPa.
    Known(f64),
    /// From the least and greatest Shore A hardness that it is sold as.
    Hardness([f64; 2]),
}

/// The numbers of `sigma0 + p0 e / (1 - e - R)`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Foam {
    /// Pressure at which its walls give way, kPa.
    pub plateau_kpa: f64,
    /// Its density over that of the solid, R.
    pub relative_density: f64,
}

/// The layer of a blank in two hardnesses that lies above a height.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TopLayer {
    /// Where it begins, mm above the boot board.
    pub above_mm: f64,
    /// Its hardness.
    pub shore_a: f64,
}

/// How a foot loads a footbed.
#[derive(Clone, Debug, PartialEq)]
pub struct Load {
    /// Name of the profile.
    pub name: String,
    /// What it is, in words.
    pub title: String,
    /// What both feet carry, in weights of the body.
    pub body_weights: f64,
    /// This foot's share of it.
    pub foot_share: f64,
    /// Under the heel.
    pub heel: Patch,
    /// Under the first met head.
    pub first_met: Patch,
    /// Under the fifth met head.
    pub fifth_met: Patch,
    /// Under the medial arch.
    pub arch: Patch,
}

/// A part of a load: an ellipse under one landmark.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Patch {
    /// Share of the foot's load; those of a load's patches sum to 1.
    pub share: f64,
    /// Width and length, as shares of the foot's length.
    pub size: [f64; 2],
}

/// Least thicknesses, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct LeastThickness {
    pub heel: f64,
    pub flex_zone: f64,
    pub forefoot: f64,
    /// Thickness of the cup's wall, measured level, half way up the rim's height.
    pub rim_wall: f64,
}

/// A blank as bought, with the size that was measured when there is one.
#[derive(Clone, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct Blank {
    pub name: String,
    pub length_mm: f64,
    pub width_mm: f64,
    pub height_mm: f64,
    /// Whether the size was measured on this blank (then its scatter counts as zero).
    pub measured: bool,
    /// How far a bought blank's height may be off, mm.
    pub scatter_mm: f64,
    /// Kept free along every side, mm.
    pub side_margin_mm: f64,
    /// Kept free above the highest point, mm.
    pub height_margin_mm: f64,
}

/// A cutter on the shelf.
#[derive(Clone, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct Cutter {
    pub name: String,
    pub shape: Shape,
    pub flutes: u32,
    /// Length that cuts, mm.
    pub flute_length_mm: f64,
    pub shank_diameter_mm: f64,
    /// Tip to holder, mm.
    pub stickout_mm: f64,
    pub holder_diameter_mm: f64,
}

/// How a controller counts the time of `G4`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum DwellWord {
    PSeconds,
    SSeconds,
    PMilliseconds,
}

/// How a program ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum EndWord {
    M2,
    M30,
}

/// The stored zero that a program counts from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum WorkOffset {
    G54,
    G55,
}

impl WorkOffset {
    /// Its number after the G.
    pub fn number(self) -> u32 {
        match self {
            WorkOffset::G54 => 54,
            WorkOffset::G55 => 55,
        }
    }
}

/// A mill and its controller.
#[derive(Clone, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct Machine {
    pub name: String,
    pub title: String,
    pub travel_mm: [f64; 3],
    /// Greatest rate of each axis.
    pub rate_mm_min: [f64; 3],
    pub acceleration_mm_s2: [f64; 3],
    pub junction_deviation_mm: f64,
    /// Moves that the controller plans ahead.
    pub look_ahead: usize,
    /// Least time a line takes, s.
    pub line_time_s: f64,
    /// Safe height above the blank's top, mm.
    pub safe_above_blank_mm: f64,
    pub spindle_rpm: [f64; 2],
    pub spin_up_s: f64,
    pub dwell: DwellWord,
    pub end: EndWord,
    /// Whether G2/G3 may be used.
    pub arcs: bool,
    /// Whether every line must carry its motion word.
    pub motion_word_each_line: bool,
    pub line_limit: usize,
    /// Most decimals of a number that the controller reads.
    pub decimals: usize,
    /// G words of the common part that it refuses, by number; the state they set, it does not have.
    pub refuses: Vec<u32>,
    /// How deep a cutter may go into the sacrificial board, mm (0: never below the bed).
    pub bed_cut_mm: f64,
    /// The stored zero of programs that cut the underside; those of the top count from G54.
    pub under_offset: WorkOffset,
}

/// What a kind of use starts from, where the ticket and the boot say nothing.
#[derive(Clone, Debug, PartialEq)]
pub struct StartingSupport {
    /// Name of the profile.
    pub name: String,
    /// What it is for, in words.
    pub title: String,
    /// Heel cup depth for a foot of [`StartingSupport::REFERENCE_LENGTH_MM`], mm; in proportion for others.
    pub heel_cup_depth_mm: f64,
    /// Least and greatest heel cup depth that is filled in, mm.
    pub heel_cup_depth_bounds_mm: [f64; 2],
    /// How far the medial arch goes from the standing towards the seated arch height, 0..=1.
    pub arch_share: f64,
    /// Rearfoot post, degrees, + = medial side higher.
    pub rearfoot_post_deg: f64,
    /// Lateral arch height, mm.
    pub lateral_arch_mm: f64,
    /// Height of the dome, mm.
    pub transverse_arch_mm: f64,
    /// Heel thickness where the stock insole's is unknown, mm.
    pub heel_thickness_mm: f64,
    /// Forefoot thickness where the stock insole's is unknown, mm.
    pub forefoot_thickness_mm: f64,
    /// Footbed's length beyond the standing foot's, mm.
    pub length_allowance_mm: f64,
    /// Room and wall beside the standing heel, on each side, mm.
    pub heel_wall_mm: f64,
    /// Landmarks where none were measured.
    pub stations: Stations,
    /// What a change of one mm or degree of a value counts, when the least change is looked for that
    /// settles what was found; for every value that shapes the top.
    pub change_weights: Values,
}

impl StartingSupport {
    /// Foot length that depths are stated for: a Mondopoint 265, the middle of a fitter's day.
    pub const REFERENCE_LENGTH_MM: f64 = 265.0;
}

/// What the shop accepts of a made piece: no standard, its own.
#[derive(Clone, Debug, PartialEq)]
pub struct Tolerances {
    /// Name of the profile.
    pub name: String,
    /// What it is for, in words.
    pub title: String,
    /// One band for each value.
    pub bands: BTreeMap<Value, Band>,
    /// Flatness of the underside, mm.
    pub base_flatness: Band,
    /// Forefoot thickness, medial less lateral, mm.
    pub forefoot_tilt: Band,
    /// Difference of the same value between left and right, mm.
    pub left_right: Band,
    /// Deviation of the surface along its normal, mm.
    pub surface: Band,
    /// Standard deviation that the shop expects of one reading of a length, mm.
    pub reading_sd_mm: f64,
    /// The same of an angle, degrees.
    pub reading_sd_deg: f64,
    /// Share of the surface's points that must be within the accepted deviation, 0..=1.
    pub surface_share: f64,
}

/// Bounds on the difference made minus asked. Between `accept` and the reject bounds a piece is
/// reworked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    /// Accepted up to this either way.
    pub accept: f64,
    /// Rejected below this; `None`: never for being low.
    pub reject_below: Option<f64>,
    /// Rejected above this; `None`: never for being high.
    pub reject_above: Option<f64>,
}
