//! Limits on what the values say: post, arches against the foot and each other, cup, length and flex
//! zone against what is asked of them.

use super::field::{Zone, least_mm, past};
use super::interval::{Bound, Interval};
use super::line::{Line, only};
use super::search::flex_zone_interval;
use super::{Case, Finding, Severity, boot, feet};
use crate::foot::Foot;
use crate::footbed::RIM_INSET_MM;
use crate::ticket::{self, Underside};
use crate::value::Value;

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
/// A cup wider than the standing heel by more than this lets it float, mm. [from memory]
const CUP_SPARE_MM: f64 = 4.0;
/// A footbed this much shorter or longer than the foot is questioned, mm: toes lie beyond its edge,
/// or it does not go into a boot of that size. Shop's own choice.
const SHORTER_MM: f64 = 4.0;
const LONGER_MM: f64 = 15.0;
/// Room between the standing heel and the cup's rim, both sides together, mm. Shop's own choice.
const CUP_ROOM_MM: f64 = 1.0;
/// The flex zone is as thick as asked when it reads back this close, mm: half of what the tables print.
pub(super) const FLEX_AGREE_MM: f64 = 0.005;
/// The range in which a ticket may write a value at all.
pub(super) fn writable(value: Value) -> Interval {
    let allowed = ticket::writable(value);
    Interval::between(allowed.least, allowed.most, Bound::RANGE)
}

/// The stops of this file, as far as shaping values can settle them.
pub(super) fn lines(case: &Case) -> Vec<Line> {
    let mut lines = vec![];
    let post = POST_STOP_DEG.to_radians().tan();
    lines.extend(Line::within(only(Value::RearfootPost), 0.0, post, Bound::of("rearfoot_post")));
    lines.extend(boot::lines(case));
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
    found.extend(boot::findings(case));
    found.extend(feet::findings(case.order));
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
            let advice = format!("set medial_arch to {} mm or less unless that is meant", down(question));
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
        let advice = format!("set lateral_arch to {} mm or less", down(allowed.max(0.0)));
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
        let message = format!("the footbed is {made:.1} mm long for a foot of {foot:.1} mm");
        let advice = match &case.order.traced {
            Some(_) => "take less clearance, or trace the stock insole of this boot again".to_string(),
            None => {
                let nearest = if made < least { up(least) } else { down(most) };
                format!("set length to {nearest} mm ({} to {} mm), or measure the foot again", up(least), down(most))
            }
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
    let (severity, measured, allowed, message, advice) = if past(standing + CUP_ROOM_MM, at_rim) {
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
                None => format!("set heel_width to {} mm or more, if the liner takes it", up(wide_enough)),
            },
        )
    } else if past(at_half, standing + CUP_SPARE_MM) {
        (
            Severity::Caution,
            at_half,
            standing + CUP_SPARE_MM,
            format!("the cup is {at_half:.1} mm wide at half depth; the standing heel of {standing} mm floats in it"),
            format!("set heel_cup_width to {} mm, or ask a narrower heel_width", down(standing + 1.5)),
        )
    } else if past(standing, at_half) {
        (
            Severity::Note,
            at_half,
            standing,
            format!(
                "the cup is {at_half:.1} mm wide at half depth, the standing heel {standing} mm at its widest: usual for a \
                 heel that rounds in toward its sole"
            ),
            format!(
                "for a square heel ask heel_cup_width = {} with a heel_width of {} mm",
                up(standing + 1.5),
                up(standing + 14.0)
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
        let advice = format!("set flex_zone_thickness to {} mm or more, or type a reason", up(least));
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
        Underside::Relieved if made < asked => {
            let raise = "raise heel_thickness and forefoot_thickness";
            let to = match flex_zone_interval(case).nearest(asked) {
                Some(most) => format!("set flex_zone_thickness to {most} mm or {raise}"),
                None => raise.to_string(),
            };
            format!("the top itself is only {made:.2} mm high there: {to}")
        }
        Underside::Relieved => {
            "lower the stabiliser share, or raise the arch heights so that there is something to hollow".to_string()
        }
    };
    let message = format!("flex-zone thickness asked {asked} mm, the design leaves {made:.2} mm");
    Some(Finding::new("flex_zone_thickness", Severity::Caution, side, message, advice).numbers(made, asked, "mm"))
}

/// To the tenth below, so that what is advised passes; whole tenths stay.
pub(super) fn down(x: f64) -> f64 {
    ((x + 1e-9) * 10.0).floor() / 10.0
}

/// To the tenth above.
pub(super) fn up(x: f64) -> f64 {
    ((x - 1e-9) * 10.0).ceil() / 10.0
}
