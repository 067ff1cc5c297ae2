//! Limits on what the values say: post, arches against the foot and each other, the effect in the
//! boot, plausibility of the measured foot, left against right.

use std::ops::RangeInclusive;

use serde::Serialize;

use super::field::{Zone, least_mm, past};
use super::interval::{Bound, Interval};
use super::line::{Amounts, Line, only};
use super::{Case, Finding, Severity};
use crate::foot::Foot;
use crate::footbed::{RIM_INSET_MM, SHAPING};
use crate::frame::Side;
use crate::ticket::{self, FootOrder, Ticket, Underside};
use crate::value::Value;

/// Heel to ball as a share of the foot length, for the ramp. Common practice, no source.
const HEEL_TO_BALL: f64 = 0.58;
/// Past this a post asks for a second look, past the next for a written reason, deg. Shop's own choice.
const POST_CAUTION_DEG: f64 = 4.0;
const POST_STOP_DEG: f64 = 6.0;
/// The lateral arch stays this far below the medial one, mm. Shop's own choice.
const LATERAL_BELOW_MEDIAL_MM: f64 = 6.0;
/// Share of the seated-to-standing drop past which an arch is questioned. Shop's own choice.
const ARCH_CAUTION_SHARE: f64 = 0.75;
/// A seated-to-standing drop below this is within its own error, mm (smallest real change of
/// navicular drop 5-7 mm; abstract only).
const DROP_ERROR_MM: f64 = 5.0;
/// Rise and ramp changes that ask for a look and that stop. Shop's own choice.
const RISE_CAUTION_MM: f64 = 1.5;
const RISE_STOP_MM: f64 = 3.0;
const RAMP_CAUTION_DEG: f64 = 0.5;
const RAMP_STOP_DEG: f64 = 1.0;
/// A cup wider than the standing heel by more than this lets it float, mm. [from memory]
const CUP_SPARE_MM: f64 = 4.0;
/// A footbed this much shorter or longer than the foot is questioned, mm: toes lie beyond its edge,
/// or it does not go into a boot of that size. Shop's own choice.
const SHORTER_MM: f64 = 4.0;
const LONGER_MM: f64 = 15.0;
/// Room between the standing heel and the cup's rim, both sides together, mm. Shop's own choice.
const CUP_ROOM_MM: f64 = 1.0;
/// Feet outside these deserve a question (ANSUR II, Gordon et al. 2014: least and greatest length of
/// 6,068 people; for breadth over length a span that 22 of them lie outside).
const LENGTH_MM: RangeInclusive<f64> = 198.0..=323.0;
const BREADTH_SHARE: RangeInclusive<f64> = 0.32..=0.43;
/// The flex zone is as thick as asked when it reads back this close, mm: what the tables print.
pub(super) const FLEX_AGREE_MM: f64 = 0.01;
/// Differences between the feet that deserve a note. Shop's own choice.
const PAIR_MM: f64 = 3.0;
const PAIR_DEG: f64 = 2.0;

/// What changes in the boot against the stock insole; what is unknown stays `None`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct BootEffect {
    /// Higher under the heel, cover included, mm.
    pub heel_rise_mm: Option<f64>,
    /// Higher under the ball, mm.
    pub ball_rise_mm: Option<f64>,
    /// Steeper from heel to ball, deg.
    pub ramp_change_deg: Option<f64>,
    /// Higher under the instep: midway between heel and ball, which midfoot lift reaches nearly one
    /// to one (common practice, no source), mm.
    pub instep_lift_mm: Option<f64>,
}

/// The effect in the boot: ramp change = atan((heel rise - ball rise) / (0.58 L)).
pub fn boot_effect(case: &Case) -> BootEffect {
    let (insole, cover) = (&case.boot.stock_insole, case.make.cover_mm);
    let support = &case.order.support;
    let heel = insole.heel_thickness.map(|stock| support.heel_thickness_mm + cover - stock);
    let ball = insole.ball_thickness.map(|stock| support.forefoot_thickness_mm + cover - stock);
    let both = heel.zip(ball);
    BootEffect {
        heel_rise_mm: heel,
        ball_rise_mm: ball,
        ramp_change_deg: both.map(|(h, b)| ((h - b) / heel_to_ball_mm(case)).atan().to_degrees()),
        instep_lift_mm: both.map(|(h, b)| 0.5 * (h + b)),
    }
}

fn heel_to_ball_mm(case: &Case) -> f64 {
    HEEL_TO_BALL * case.footbed.places.foot_length_mm
}

/// The range in which a ticket may write a value at all.
pub(super) fn writable(value: Value) -> Interval {
    let allowed = ticket::writable(value);
    Interval::between(allowed.least, allowed.most, Bound::RANGE)
}

/// The stops of this file, as far as shaping values can settle them.
pub(super) fn lines(case: &Case) -> Vec<Line> {
    let mut lines = vec![];
    let (insole, cover) = (&case.boot.stock_insole, case.make.cover_mm);
    let mut within = |weights: Amounts, centre: f64, spread: f64, limit: &'static str| {
        lines.push(Line::at_least(weights, centre - spread, Bound::of(limit)));
        lines.push(Line::at_most(weights, centre + spread, Bound::of(limit)));
    };
    within(only(Value::RearfootPost), 0.0, POST_STOP_DEG.to_radians().tan(), "rearfoot_post");
    let (heel, ball) = (only(Value::HeelThickness), only(Value::ForefootThickness));
    if let Some(stock) = insole.heel_thickness {
        within(heel, stock - cover, RISE_STOP_MM, "heel_rise");
    }
    if let Some(stock) = insole.ball_thickness {
        within(ball, stock - cover, RISE_STOP_MM, "ball_rise");
    }
    if let (Some(stock_heel), Some(stock_ball)) = (insole.heel_thickness, insole.ball_thickness) {
        let spread = RAMP_STOP_DEG.to_radians().tan() * heel_to_ball_mm(case);
        let steeper = std::array::from_fn(|k| heel[k] - ball[k]);
        within(steeper, stock_heel - stock_ball, spread, "ramp_change");
    }
    if let Some(seated) = seated_arch(&case.order.foot) {
        lines.push(Line::at_most(only(Value::MedialArch), seated, Bound::of("medial_arch")));
    }
    lines
}

fn seated_arch(foot: &Foot) -> Option<f64> {
    foot.medial_arch.seated.or(foot.medial_arch.unloaded)
}

pub(super) fn findings(case: &Case) -> Vec<Finding> {
    let mut found = vec![];
    found.extend(post(case));
    found.extend(medial_arch(case));
    found.extend(lateral_arch(case));
    found.extend(dome(case));
    found.extend(outline_length(case));
    found.extend(cup_width(case));
    found.extend(flex_zone(case));
    found.extend(boot(case));
    found.extend(foot(case.order));
    found
}

fn post(case: &Case) -> Option<Finding> {
    let deg = case.order.support.rearfoot_post_deg;
    let (severity, allowed) = match deg.abs() {
        d if past(d, POST_STOP_DEG) => (Severity::Stop, POST_STOP_DEG),
        d if past(d, POST_CAUTION_DEG) => (Severity::Caution, POST_CAUTION_DEG),
        _ => return None,
    };
    let message = format!(
        "rearfoot post {deg} deg is past {allowed} deg; a post moves the heel little: 2-2.5 deg over a 16 deg span \
         (Telfer et al. 2013)"
    );
    let advice = match severity {
        Severity::Stop => format!("set rearfoot_post to {} deg or type a reason", allowed.copysign(deg)),
        _ => "start with 0-2 deg and add 1 deg after a try".to_string(),
    };
    Some(Finding::new("rearfoot_post", severity, case.order.side, message, advice).numbers(deg, allowed, "deg"))
}

fn medial_arch(case: &Case) -> Vec<Finding> {
    let (side, asked, arch) = (case.order.side, case.order.support.medial_arch_mm, &case.order.foot.medial_arch);
    let Some(seated) = seated_arch(&case.order.foot) else {
        let message = "the medial arch of the foot was not measured: over-support cannot be seen".to_string();
        let advice = "measure the medial arch height seated and standing".to_string();
        return vec![Finding::new("arch_unknown", Severity::Note, side, message, advice)];
    };
    let mut found = vec![];
    if past(asked, seated) {
        let message = format!("medial arch {asked} mm is higher than the foot's own arch with less load, {seated} mm");
        let advice = format!("set medial_arch to {seated} mm or less, or type a reason");
        found.push(Finding::new("medial_arch", Severity::Stop, side, message, advice).numbers(asked, seated, "mm"));
    }
    if let Some(standing) = arch.standing {
        let drop = seated - standing;
        let question = standing + ARCH_CAUTION_SHARE * drop;
        if !past(asked, seated) && past(asked, question) {
            let message = format!(
                "medial arch {asked} mm lets the foot drop by less than a quarter of its own {drop:.0} mm (seated to standing)"
            );
            let advice = format!("set medial_arch to {question:.0} mm or less unless that is meant");
            found.push(
                Finding::new("medial_arch", Severity::Caution, side, message, advice).numbers(asked, question, "mm"),
            );
        }
        if drop < DROP_ERROR_MM {
            let message = format!(
                "the arch drops {drop:.0} mm from seated to standing, less than the error of measuring it (about 5 mm)"
            );
            let advice = "do not read flexibility from this difference; measure again or judge by hand".to_string();
            found.push(Finding::new("arch_drop", Severity::Note, side, message, advice).numbers(
                drop,
                DROP_ERROR_MM,
                "mm",
            ));
        }
    }
    found
}

fn lateral_arch(case: &Case) -> Option<Finding> {
    let support = &case.order.support;
    let allowed = support.medial_arch_mm - LATERAL_BELOW_MEDIAL_MM;
    (past(support.lateral_arch_mm, allowed) && support.lateral_arch_mm > 0.0).then(|| {
        let message = format!(
            "lateral arch {} mm is less than {LATERAL_BELOW_MEDIAL_MM} mm below the medial arch ({} mm)",
            support.lateral_arch_mm, support.medial_arch_mm
        );
        let advice = format!("set lateral_arch to {:.1} mm or less", allowed.max(0.0));
        Finding::new("lateral_arch", Severity::Caution, case.order.side, message, advice)
            .numbers(support.lateral_arch_mm, allowed, "mm")
            .place(case.footbed.places.lateral_arch, case.footbed.places.foot_length_mm)
    })
}

fn dome(case: &Case) -> Option<Finding> {
    const BEHIND_MM: f64 = 5.0;
    let places = &case.footbed.places;
    let behind = places.met_line_y(places.dome.x) - places.dome.y;
    (case.order.support.transverse_arch_mm > 0.0 && past(BEHIND_MM, behind)).then(|| {
        let message = format!("the dome's top lies {behind:.1} mm behind the met line; closer than {BEHIND_MM} mm it presses on the met heads");
        let station = places.station(places.met_line_y(places.dome.x) - BEHIND_MM);
        let advice = format!("set the transverse_arch station to {:.3} or less", (station * 1000.0).floor() / 1000.0);
        Finding::new("dome_place", Severity::Caution, case.order.side, message, advice)
            .numbers(behind, BEHIND_MM, "mm")
            .place(places.dome, places.foot_length_mm)
    })
}

/// The footbed's length against the foot's.
fn outline_length(case: &Case) -> Option<Finding> {
    let foot = case.order.foot.length_mm();
    let made = *case.read_back.get(&Value::Length)?;
    let (least, most) = (foot - SHORTER_MM, foot + LONGER_MM);
    (past(least, made) || past(made, most)).then(|| {
        let message = format!("the footbed is {made:.1} mm long for a foot of {foot} mm");
        let advice = match &case.order.traced {
            Some(_) => "take less clearance, or trace the stock insole of this boot again".to_string(),
            None => format!("set length between {least:.0} and {most:.0} mm, or measure the foot again"),
        };
        Finding::new("outline_length", Severity::Caution, case.order.side, message, advice).numbers(
            made,
            made.clamp(least, most),
            "mm",
        )
    })
}

/// The cup against the standing heel. A heel is widest above the rim and narrows toward its sole,
/// so what must clear the measured width is the cup at its rim; at half depth a narrower cup is
/// usual, and is only said.
fn cup_width(case: &Case) -> Option<Finding> {
    let standing = case.order.foot.heel_width.standing?;
    let at_half = *case.read_back.get(&Value::HeelCupWidth)?;
    let at_rim = case.read_back.get(&Value::HeelWidth)? - 2.0 * RIM_INSET_MM;
    let wide_enough = standing + CUP_ROOM_MM + 2.0 * RIM_INSET_MM;
    let (severity, measured, allowed, message, advice) = if at_rim < standing + CUP_ROOM_MM {
        (
            Severity::Caution,
            at_rim,
            standing + CUP_ROOM_MM,
            format!(
                "the cup is {at_rim:.1} mm wide inside its rim; the standing heel of {standing} mm needs {CUP_ROOM_MM} mm \
                 of room: too narrow cannot be ground away"
            ),
            match &case.order.traced {
                Some(_) => "take less clearance, or trace a wider heel, if the liner takes it".to_string(),
                None => format!("set heel_width to {wide_enough:.1} mm or more, if the liner takes it"),
            },
        )
    } else if at_half > standing + CUP_SPARE_MM {
        (
            Severity::Caution,
            at_half,
            standing + CUP_SPARE_MM,
            format!("the cup is {at_half:.1} mm wide at half depth; the standing heel of {standing} mm floats in it"),
            format!("ask heel_cup_width = {:.1}, or a narrower heel_width", standing + 1.5),
        )
    } else if at_half < standing {
        (
            Severity::Note,
            at_half,
            standing,
            format!(
                "the cup is {at_half:.1} mm wide at half depth, the standing heel {standing} mm at its widest: usual for a \
                 heel that rounds in toward its sole"
            ),
            format!(
                "for a square heel ask heel_cup_width = {:.1} with a heel_width of {:.0} mm",
                standing + 1.5,
                standing + 14.0
            ),
        )
    } else {
        return None;
    };
    Some(
        Finding::new("heel_cup_width", severity, case.order.side, message, advice)
            .numbers(measured, allowed, "mm")
            .place(case.footbed.places.heel_centre, case.footbed.places.foot_length_mm),
    )
}

/// What is asked of the flex zone against what the top leaves.
fn flex_zone(case: &Case) -> Option<Finding> {
    let asked = case.order.support.flex_zone_thickness_mm?;
    let made = *case.read_back.get(&Value::FlexZoneThickness)?;
    let least = least_mm(case, Zone::Flex);
    let side = case.order.side;
    if case.make.underside == Underside::Relieved && past(least, asked) {
        let message = format!(
            "flex-zone thickness {asked} mm; {} needs {least:.2} mm there, sanding included",
            case.make.material.name
        );
        let advice =
            format!("set flex_zone_thickness to {:.1} mm or more, or type a reason", (least * 10.0).ceil() / 10.0);
        return Some(
            Finding::new("least_thickness", Severity::Stop, side, message, advice).numbers(asked, least, "mm"),
        );
    }
    if !past((asked - made).abs(), FLEX_AGREE_MM) {
        return None;
    }
    let advice = match case.make.underside {
        Underside::Flat => format!(
            "with a flat underside it is a result: leave flex_zone_thickness out, or ask underside = \"relieved\" for {asked} mm where the top is higher"
        ),
        Underside::Relieved if made < asked => format!(
            "the top itself is only {made:.2} mm high there: set flex_zone_thickness to {made:.1} mm or raise heel_thickness and forefoot_thickness"
        ),
        Underside::Relieved => {
            "lower the stabiliser share, or raise the arch heights so that there is something to hollow".to_string()
        }
    };
    let message = format!("flex-zone thickness asked {asked} mm, the design leaves {made:.2} mm");
    Some(Finding::new("flex_zone_thickness", Severity::Caution, side, message, advice).numbers(made, asked, "mm"))
}

fn boot(case: &Case) -> Vec<Finding> {
    let effect = boot_effect(case);
    let rows = [
        (
            "heel_rise",
            "rise under the heel",
            effect.heel_rise_mm,
            RISE_CAUTION_MM,
            RISE_STOP_MM,
            "mm",
            "heel_thickness",
        ),
        (
            "ball_rise",
            "rise under the ball",
            effect.ball_rise_mm,
            RISE_CAUTION_MM,
            RISE_STOP_MM,
            "mm",
            "forefoot_thickness",
        ),
        (
            "ramp_change",
            "change of ramp",
            effect.ramp_change_deg,
            RAMP_CAUTION_DEG,
            RAMP_STOP_DEG,
            "deg",
            "heel_thickness",
        ),
    ];
    let mut found: Vec<Finding> = rows
        .into_iter()
        .filter_map(|(limit, words, measured, caution, stop, unit, value)| {
            let measured = measured?;
            let (severity, allowed) = match measured.abs() {
                m if past(m, stop) => (Severity::Stop, stop),
                m if past(m, caution) => (Severity::Caution, caution),
                _ => return None,
            };
            let message = format!("{words} {measured:+.2} {unit} against the stock insole, past {allowed} {unit}");
            let advice = format!("change {value} toward the stock insole's thickness less the cover, or type a reason");
            Some(Finding::new(limit, severity, case.order.side, message, advice).numbers(measured, allowed, unit))
        })
        .collect();
    if effect.ramp_change_deg.is_none() {
        let message =
            "the stock insole's thickness under heel and ball is unknown, so the change of ramp and volume is too"
                .to_string();
        let advice = "measure it and write heel_thickness and ball_thickness under [boot.stock_insole]".to_string();
        found.push(Finding::new("boot_unknown", Severity::Note, case.order.side, message, advice));
    }
    found
}

/// Measures of the foot that deserve a question.
fn foot(order: &FootOrder) -> Vec<Finding> {
    let (foot, side) = (&order.foot, order.side);
    let mut found = vec![];
    let length = foot.length_mm();
    if !LENGTH_MM.contains(&length) {
        let (least, most) = (LENGTH_MM.start(), LENGTH_MM.end());
        let message = format!(
            "a foot {length} mm long lies outside {least}-{most} mm, the span of a survey of 6,068 adults (ANSUR II)"
        );
        found.push(question("foot_length", side, message, length, length.clamp(*least, *most)));
    }
    if let Some((_, breadth)) = foot.ball_width.most_loaded() {
        let share = breadth / length;
        if !BREADTH_SHARE.contains(&share) {
            let (least, most) = (BREADTH_SHARE.start(), BREADTH_SHARE.end());
            let message =
                format!("ball width is {share:.3} of the length; {least:.2}-{most:.2} is the usual span (ANSUR II)");
            found.push(question("foot_breadth", side, message, share, share.clamp(*least, *most)));
        }
    }
    let grows = [("length", foot.length), ("ball width", foot.ball_width), ("heel width", foot.heel_width)];
    for (words, measure) in grows {
        if let (Some(seated), Some(standing)) = (measure.seated, measure.standing)
            && standing < seated
        {
            let message = format!(
                "{words} is smaller standing ({standing} mm) than seated ({seated} mm): a loaded foot spreads, were they swapped?"
            );
            found.push(question("loading_swapped", side, message, standing, seated));
        }
    }
    if let (Some(seated), Some(standing)) = (foot.medial_arch.seated, foot.medial_arch.standing)
        && standing > seated
    {
        let message = format!(
            "the medial arch is higher standing ({standing} mm) than seated ({seated} mm): a loaded arch drops, were they swapped?"
        );
        found.push(question("loading_swapped", side, message, standing, seated));
    }
    if foot.heel_width.standing.is_none() {
        let message =
            "the heel's width standing was not measured: it is the one mistake that cannot be ground away".to_string();
        let advice = "measure the heel's width standing".to_string();
        found.push(Finding::new("heel_width_unknown", Severity::Caution, side, message, advice));
    }
    found
}

fn question(limit: &'static str, side: Side, message: String, measured: f64, allowed: f64) -> Finding {
    let unit = if limit == "foot_breadth" { "" } else { "mm" };
    Finding::new(limit, Severity::Caution, side, message, "measure again".to_string()).numbers(measured, allowed, unit)
}

/// Left against right: large differences without a note on the ticket.
pub(super) fn pair_findings(ticket: &Ticket) -> Vec<Finding> {
    let [left, right] = ticket.feet.as_slice() else { return vec![] };
    if !ticket.note.trim().is_empty() {
        return vec![];
    }
    SHAPING
        .into_iter()
        .filter_map(|value| {
            let (l, r) = (left.support.asked(value)?, right.support.asked(value)?);
            let allowed = if value == Value::RearfootPost { PAIR_DEG } else { PAIR_MM };
            ((l - r).abs() > allowed).then(|| {
                let message = format!(
                    "{} differs by {:.1} {} between left ({l}) and right ({r}), and no note says why",
                    value.words(),
                    (l - r).abs(),
                    value.unit()
                );
                let advice = "write a note on the ticket if that is meant".to_string();
                Finding::new("left_against_right", Severity::Caution, Side::Right, message, advice).numbers(
                    (l - r).abs(),
                    allowed,
                    value.unit(),
                )
            })
        })
        .collect()
}
