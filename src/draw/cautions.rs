//! The cautions that every paper of a job carries. Words only; common practice, no source, unless a
//! local rule says more.

/// Before and while cutting.
pub const CUTTING: &str = "Eye protection, dust extraction and a mask. Hold-down checked, hands clear, first run in air, \
never unattended. Follow the machine's manual and local rules. Foam must not rub and heat: keep a real chip load and a \
sharp cutter.";

/// Short enough for the trim outline.
pub const TRIMMING: [&str; 3] =
    ["Eye protection, dust extraction, a mask.", "Cut away from the hand.", "Check the bars before you cut."];

/// When a wearer is to be seen by a clinician before or instead of a footbed.
pub const REFER: [&str; 10] = [
    "diabetes with numbness or poor circulation",
    "open skin",
    "recent surgery or fracture",
    "night pain or swelling",
    "lasting numbness",
    "white or black toes",
    "one-sided collapse in an adult",
    "painful rigid flat foot in a child",
    "leg difference over 10 mm",
    "pain worse after two adjustments",
];
