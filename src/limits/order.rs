//! Limits on what the values say: post, arches against the foot and each other, cup, length and flex
//! zone against what is asked of them.

use super::field::{Zone, least_mm, past};
use super::interval::{Bound, Interval, Intervals};
use super::line::{Line, only};
use super::search::flex_zone_interval;
use super::{Case, Finding, Severity, advice, boot, cup, feet};
use crate::foot::Foot;
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
/// A footbed this much shorter or longer than the foot is questioned, mm: toes lie beyond its edge,
/// or it does not go into a boot of that size. Shop's own choice.
const SHORTER_MM: f64 = 4.0;
const LONGER_MM: f64 = 15.0;
/// The flex zone is as thick as asked when it reads back this close, mm: half of what the tables print.
pub(super) const FLEX_AGREE_MM: f64 = 0.005;
const ARCH: Bound = Bound::of("medial_arch");
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

pub(super) fn findings(case: &Case, intervals: &Intervals) -> Vec<Finding> {
    let mut found = vec![];
    found.extend(post(case, intervals));
    found.extend(medial_arch(case, intervals));
    found.extend(lateral_arch(case, intervals));
    found.extend(dome(case));
    found.extend(outline_length(case, intervals));
    found.extend(cup::width(case, intervals));
    found.extend(flex_zone(case));
    found.extend(boot::findings(case, intervals));
    found.extend(feet::findings(case.order));
    found
}

fn post(case: &Case, intervals: &Intervals) -> Option<Finding> {
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
        Severity::Stop => {
            let own = Interval::between(-POST_STOP_DEG, POST_STOP_DEG, Bound::of("rearfoot_post"));
            format!("{} or type a reason", advice::set(case, intervals, Value::RearfootPost, own))
        }
        _ => "start with 0-2 deg and add 1 deg after a try".to_string(),
    };
    Some(Finding::new("rearfoot_post", severity, case.order.side, message, advice).numbers(deg, allowed, "deg"))
}

fn medial_arch(case: &Case, intervals: &Intervals) -> Vec<Finding> {
    let (side, asked, arch) = (case.order.side, case.order.support.medial_arch_mm, &case.order.foot.medial_arch);
    let Some(seated) = seated_arch(&case.order.foot) else {
        let message = "the medial arch of the foot was not measured: over-support cannot be seen".to_string();
        let advice = "measure the medial arch height seated and standing".to_string();
        return vec![Finding::new("arch_unknown", Severity::Note, side, message, advice)];
    };
    let to = |most: f64| match advice::nearest(case, intervals, Value::MedialArch, Interval::at_most(most, ARCH)) {
        Some(to) => format!("set medial_arch to {to} mm or less"),
        None => advice::no_value(&[Value::MedialArch]),
    };
    let mut found = vec![];
    if past(asked, seated) {
        let message = format!("medial arch {asked} mm is higher than the foot's own arch with less load, {seated} mm");
        let advice = format!("{}, or type a reason", to(seated));
        found.push(Finding::new("medial_arch", Severity::Stop, side, message, advice).numbers(asked, seated, "mm"));
    }
    // An arch that rises under load is asked about with the foot's other measures.
    if let Some(standing) = arch.standing.filter(|standing| *standing <= seated) {
        let drop = seated - standing;
        let question = standing + ARCH_CAUTION_SHARE * drop;
        if !past(asked, seated) && past(asked, question) {
            let message = format!(
                "medial arch {asked} mm lets the foot drop by less than a quarter of its own {drop:.0} mm (seated to standing)"
            );
            let advice = format!("{} unless that is meant", to(question));
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

fn lateral_arch(case: &Case, intervals: &Intervals) -> Option<Finding> {
    let support = &case.order.support;
    let allowed = support.medial_arch_mm - LATERAL_BELOW_MEDIAL_MM;
    (past(support.lateral_arch_mm, allowed) && support.lateral_arch_mm > 0.0).then(|| {
        let message = format!(
            "lateral arch {} mm is less than {LATERAL_BELOW_MEDIAL_MM} mm below the medial arch ({} mm)",
            support.lateral_arch_mm, support.medial_arch_mm
        );
        let own = Interval::at_most(allowed.max(0.0), Bound::of("lateral_arch"));
        let advice = match advice::nearest(case, intervals, Value::LateralArch, own) {
            Some(to) => format!("set lateral_arch to {to} mm or less"),
            None => "lower lateral_arch, with what `check` tells of the others".to_string(),
        };
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

/// Lengths of the footbed that nobody questions beside this foot's, mm.
pub(super) fn for_foot(case: &Case) -> Interval {
    let foot = case.order.foot.length_mm();
    Interval::between(foot - SHORTER_MM, foot + LONGER_MM, Bound::of("outline_length"))
}

/// The footbed's length against the foot's.
fn outline_length(case: &Case, intervals: &Intervals) -> Option<Finding> {
    let foot = case.order.foot.length_mm();
    let made = *case.read_back.get(&Value::Length)?;
    let Interval { lo: least, hi: most, .. } = for_foot(case);
    (past(least, made) || past(made, most)).then(|| {
        let message = format!("the footbed is {made:.1} mm long for a foot of {foot:.1} mm");
        let advice = match &case.order.traced {
            Some(_) => "take less clearance, or trace the stock insole of this boot again".to_string(),
            None => {
                let (own, stock) = (for_foot(case), boot::for_insole(case, Value::Length));
                match advice::nearest_of_all(case, intervals, Value::Length, own, stock.as_slice()) {
                    Some(to) => {
                        format!("set length to {to} mm ({} to {} mm), or measure the foot again", up(least), down(most))
                    }
                    None => "measure the foot again".to_string(),
                }
            }
        };
        Finding::new("outline_length", Severity::Caution, case.order.side, message, advice).numbers(
            made,
            made.clamp(least, most),
            "mm",
        )
    })
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
