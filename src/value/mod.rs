//! The named values of a footbed: what a fitter asks for, a gauge reads and QA compares. Names,
//! units and words only; what each means on a surface is defined in `gauge/`.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

/// One of the values by which a footbed is ordered, read back and judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)] // the names are the definition's names; `gauge/` defines each
pub enum Value {
    HeelThickness,
    HeelCupDepth,
    HeelCupWidth,
    RearfootPost,
    MedialArch,
    LateralArch,
    TransverseArch,
    ForefootThickness,
    FlexZoneThickness,
    Length,
    BallWidth,
    HeelWidth,
}

/// Values by name, in the order of the enum.
pub type Values = BTreeMap<Value, f64>;

impl Value {
    /// Every value, in the order of tables.
    pub const ALL: [Value; 12] = [
        Value::HeelThickness,
        Value::HeelCupDepth,
        Value::HeelCupWidth,
        Value::RearfootPost,
        Value::MedialArch,
        Value::LateralArch,
        Value::TransverseArch,
        Value::ForefootThickness,
        Value::FlexZoneThickness,
        Value::Length,
        Value::BallWidth,
        Value::HeelWidth,
    ];

    /// The name used in tickets and JSON, such as `heel_cup_depth`.
    pub fn name(self) -> &'static str {
        match self {
            Value::HeelThickness => "heel_thickness",
            Value::HeelCupDepth => "heel_cup_depth",
            Value::HeelCupWidth => "heel_cup_width",
            Value::RearfootPost => "rearfoot_post",
            Value::MedialArch => "medial_arch",
            Value::LateralArch => "lateral_arch",
            Value::TransverseArch => "transverse_arch",
            Value::ForefootThickness => "forefoot_thickness",
            Value::FlexZoneThickness => "flex_zone_thickness",
            Value::Length => "length",
            Value::BallWidth => "ball_width",
            Value::HeelWidth => "heel_width",
        }
    }

    /// The name in words, such as `heel cup depth`.
    pub fn words(self) -> String {
        self.name().replace('_', " ")
    }

    /// `deg` for the post, `mm` for all others.
    pub fn unit(self) -> &'static str {
        if self == Value::RearfootPost { "deg" } else { "mm" }
    }
}
