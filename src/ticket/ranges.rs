//! What may be written in a ticket at all. These ranges tell a slip of the pen from a number: they
//! are far wider than what is wise, which the limits judge later. All are own choices unless said.

use crate::value::Value;
use crate::written::Allowed;

/// The range in which a value may be ordered.
pub fn writable(value: Value) -> Allowed {
    match value {
        Value::HeelThickness | Value::ForefootThickness | Value::FlexZoneThickness => Allowed::mm(1.0, 15.0),
        Value::HeelCupDepth => Allowed::mm(4.0, 24.0),
        Value::HeelCupWidth => Allowed::mm(30.0, 100.0),
        // Posts of up to 10 degrees have been tried on people (Telfer 2013).
        Value::RearfootPost => Allowed::new(-10.0, 10.0, "deg"),
        Value::MedialArch => Allowed::mm(0.0, 40.0),
        Value::LateralArch => Allowed::mm(0.0, 20.0),
        Value::TransverseArch => Allowed::mm(0.0, 8.0),
        Value::Length => Allowed::mm(140.0, 360.0),
        Value::BallWidth => Allowed::mm(50.0, 150.0),
        Value::HeelWidth => Allowed::mm(35.0, 120.0),
    }
}

/// Foot length: from a small child's foot to the longest ever sold boots; ANSUR II has 198 to 323.
pub(super) const FOOT_LENGTH: Allowed = Allowed::mm(150.0, 340.0);
pub(super) const FOOT_BALL_WIDTH: Allowed = Allowed::mm(50.0, 150.0);
pub(super) const FOOT_HEEL_WIDTH: Allowed = Allowed::mm(30.0, 110.0);
pub(super) const FOOT_ARCH: Allowed = Allowed::mm(0.0, 60.0);
pub(super) const FOOT_FIRST_MET: Allowed = Allowed::mm(90.0, 290.0);
pub(super) const FOOT_FIFTH_MET: Allowed = Allowed::mm(80.0, 270.0);

pub(super) const WEIGHT: Allowed = Allowed::new(10.0, 250.0, "kg");
pub(super) const MONDOPOINT: Allowed = Allowed::mm(150.0, 350.0);
pub(super) const RAMP: Allowed = Allowed::new(-5.0, 15.0, "deg");
pub(super) const INSOLE_THICKNESS: Allowed = Allowed::mm(0.5, 20.0);
pub(super) const CLEARANCE: Allowed = Allowed::mm(0.0, 10.0);

pub(super) const SCALLOP: Allowed = Allowed::mm(0.005, 0.5);
pub(super) const COVER: Allowed = Allowed::mm(0.0, 8.0);
pub(super) const BLANK_LENGTH: Allowed = Allowed::mm(150.0, 1000.0);
pub(super) const BLANK_WIDTH: Allowed = Allowed::mm(60.0, 1000.0);
pub(super) const BLANK_HEIGHT: Allowed = Allowed::mm(5.0, 150.0);
pub(super) const TAB_COUNT: Allowed = Allowed::plain(0.0, 20.0);
pub(super) const TAB_LENGTH: Allowed = Allowed::mm(2.0, 30.0);
pub(super) const TAB_THICKNESS: Allowed = Allowed::mm(0.2, 10.0);

pub(super) const PIN_DIAMETER: Allowed = Allowed::mm(2.0, 30.0);
pub(super) const PIN_HEIGHT: Allowed = Allowed::mm(super::LEAST_PIN_HEIGHT_MM, 20.0);
/// A skin of 0.3 to 1 mm holds a footbed and is cut with a knife (common practice, no source).
pub(super) const SKIN: Allowed = Allowed::mm(0.2, 2.0);
/// Clamps stand on the bed within a metre of the blank.
pub(super) const CLAMP_PLACE: Allowed = Allowed::mm(-1000.0, 2000.0);
pub(super) const CLAMP_HEIGHT: Allowed = Allowed::mm(0.5, 200.0);
/// Beds take tens of clamps and pins, not hundreds.
pub(super) const MOST_CLAMPS: usize = 64;

pub(super) const STATION: Allowed = Allowed::plain(0.05, 0.95);
pub(super) const SHARE: Allowed = Allowed::plain(0.0, 1.0);
/// More than the foot's own drop is no support at all.
pub(super) const ALLOWED_DROP: Allowed = Allowed::plain(0.0, 1.5);
pub(super) const REVISION: Allowed = Allowed::plain(1.0, 9999.0);
/// Formats of tickets that there are, or may be one day.
pub(super) const FORMAT: Allowed = Allowed::plain(1.0, 9999.0);

/// Longest code, characters.
pub(super) const LONGEST_CODE: usize = 32;
/// Longest note or reason, characters: a few lines on a job sheet.
pub(super) const LONGEST_NOTE: usize = 600;

/// Two tapes on one foot differ by this much, mm; a larger difference the wrong way round means
/// that two loadings were swapped. Common practice, no source.
pub(super) const LENGTH_SLACK_MM: f64 = 3.0;
/// The same for arch heights: their smallest real change is 5 to 7 mm.
pub(super) const ARCH_SLACK_MM: f64 = 5.0;
