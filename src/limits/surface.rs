//! Findings about the top surface: thickness, height, slope, hollow radius.

use super::field::{Field, Zone, least_mm, past};
use super::interval::{Interval, Intervals};
use super::order::up;
use super::{Case, Finding, Severity, advice, reach, shop};
use crate::value::{Value, signed};

/// A cup's wall leans out from upright by at least this, deg. Shop's own choice.
const CUP_DRAFT_DEG: f64 = 15.0;
/// Medial less lateral thickness of the forefoot: 1 mm over 90 mm is a hidden cant of 0.6 deg
/// (derived). Shop's own choice.
const FOREFOOT_TILT_MM: f64 = 0.3;
/// The same of the cup's rim, which cradles the heel evenly. Shop's own choice.
const RIM_TILT_MM: f64 = 0.5;

/// Thinner than this is a hole once the grinder has passed, mm. Shop's own choice.
const HOLE_MM: f64 = 0.5;
/// Less is printed as nothing, mm.
const HALF_HUNDREDTH: f64 = 0.005;

pub(super) fn findings(case: &Case, field: &Field, intervals: &Intervals) -> Vec<Finding> {
    let mut found: Vec<Finding> = Zone::ALL.into_iter().filter_map(|zone| thin(case, field, intervals, zone)).collect();
    found.extend(too_high(case, field, intervals));
    found.extend(too_steep(case, field, intervals));
    found.extend(reach::too_hollow(case, field));
    found.extend(cup_draft(case, field));
    found.extend(uneven(case));
    found
}

/// A wall of the cup that leans out too little: a heel comes down along it, and the cutter's flank
/// cuts what its tip should. Past the material's steepest wall it stops.
fn cup_draft(case: &Case, field: &Field) -> Option<Finding> {
    let allowed_slope = (90.0 - CUP_DRAFT_DEG).to_radians().tan();
    let steepest = field
        .seen
        .iter()
        .filter(|s| s.zone == Zone::Heel)
        .max_by(|a, b| a.slope().total_cmp(&b.slope()))
        .filter(|s| past(s.slope(), allowed_slope) && !past(s.slope(), field.allowed.steepest))?;
    let draft = 90.0 - steepest.slope().atan().to_degrees();
    let message = format!("the cup's wall leans out by only {draft:.1} deg; {CUP_DRAFT_DEG} deg let a heel in freely");
    let advice = "ask a narrower heel_cup_width, a wider heel_width or a shallower heel_cup_depth".to_string();
    Some(
        Finding::new("cup_draft", Severity::Caution, case.order.side, message, advice)
            .numbers(draft, CUP_DRAFT_DEG, "deg")
            .place(steepest.at, case.footbed.places.foot_length_mm),
    )
}

/// Medial less lateral, of the forefoot and of the rim. The sheet holds both level, so this tells of a
/// sheet that does not do what it should.
fn uneven(case: &Case) -> Vec<Finding> {
    let places = &case.footbed.places;
    let on_top = |reading: crate::footbed::Reading| reading.on(|p| Some(case.footbed.top_at(p)));
    let rows = [
        ("forefoot_tilt", "forefoot", places.forefoot_balance(), FOREFOOT_TILT_MM, places.dome),
        ("rim_tilt", "cup's rim", places.rim_balance(), RIM_TILT_MM, places.heel_centre),
    ];
    let found = rows.into_iter().filter_map(|(limit, words, reading, allowed, at)| {
        let tilt = on_top(reading).filter(|tilt| past(tilt.abs(), allowed))?;
        let message = format!("the {words} is {} mm higher on the medial side: a hidden cant", signed(tilt, 2));
        let advice = "no value does this: report it, and do not cut the piece".to_string();
        let finding = Finding::new(limit, Severity::Caution, case.order.side, message, advice);
        Some(finding.numbers(tilt, allowed, "mm").place(at, places.foot_length_mm))
    });
    found.collect()
}

fn thin(case: &Case, field: &Field, intervals: &Intervals, zone: Zone) -> Option<Finding> {
    let least = least_mm(case, zone);
    let thinnest =
        field.seen.iter().filter(|s| s.zone == zone).min_by(|a, b| a.z.total_cmp(&b.z)).filter(|s| past(least, s.z))?;
    let material = &case.make.material;
    let thick = match thinnest.z {
        z if z > HALF_HUNDREDTH => format!("would be {z:.2} mm thick"),
        z if z > -HALF_HUNDREDTH => "would have a hole".to_string(),
        z => format!("would have a hole, its top {:.2} mm below the boot board", -z),
    };
    let message = format!(
        "the {} {thick}; {} needs {:.2} mm there ({:.2} mm and {:.2} mm for sanding)",
        zone.words(),
        material.name,
        least,
        least - material.sanding_mm,
        material.sanding_mm
    );
    let advice = advise(case, intervals, thickened_by(zone));
    let finding = Finding::new("least_thickness", Severity::Stop, case.order.side, message, advice)
        .numbers(thinnest.z, least, "mm")
        .place(thinnest.at, case.footbed.places.foot_length_mm);
    Some(if thinnest.z < HOLE_MM { finding.never_overruled() } else { finding })
}

fn too_high(case: &Case, field: &Field, intervals: &Intervals) -> Option<Finding> {
    let blank = &case.make.blank;
    let available = shop::available_height_mm(blank);
    let highest = field.seen.iter().max_by(|a, b| a.z.total_cmp(&b.z)).filter(|s| past(s.z, available))?;
    let message = format!(
        "the top stands {:.2} mm high; blank {} gives {:.2} mm ({:.1} mm less {:.1} mm margin and {:.1} mm scatter)",
        highest.z,
        blank.name,
        available,
        blank.height_mm,
        blank.height_margin_mm,
        shop::scatter_mm(blank)
    );
    let cup = highest.at.y < case.footbed.places.heel_post_front_y();
    let values: &[Value] =
        if cup { &[Value::HeelCupDepth, Value::HeelThickness] } else { &[Value::MedialArch, Value::HeelThickness] };
    let least = highest.z + blank.height_margin_mm + shop::scatter_mm(blank);
    let advice = format!("{}, or take a blank at least {} mm high", advise(case, intervals, values), up(least));
    Some(
        Finding::new("blank_height", Severity::Stop, case.order.side, message, advice)
            .numbers(highest.z, available, "mm")
            .place(highest.at, case.footbed.places.foot_length_mm)
            .never_overruled(),
    )
}

pub(super) fn too_steep(case: &Case, field: &Field, intervals: &Intervals) -> Option<Finding> {
    let steepest = field
        .seen
        .iter()
        .max_by(|a, b| a.slope().total_cmp(&b.slope()))
        .filter(|s| past(s.slope(), field.allowed.steepest))?;
    let (deg, allowed) = (steepest.slope().atan().to_degrees(), case.make.material.steepest_wall_deg);
    let message = format!("the wall stands at {deg:.1} deg; {} holds {allowed:.0} deg", case.make.material.name);
    let cup = steepest.at.y < case.footbed.places.heel_post_front_y();
    let values: &[Value] = if cup { &[Value::HeelCupDepth] } else { &[Value::MedialArch] };
    let narrower = || advice::nearest(case, intervals, Value::HeelCupWidth, Interval::ALL);
    let wider =
        match case.order.support.heel_cup_width_mm.filter(|_| cup).and_then(|now| narrower().filter(|to| *to < now)) {
            Some(to) => format!(", or ask a heel_cup_width of {to} mm or less, or a wider heel_width"),
            None => String::new(),
        };
    Some(
        Finding::new(
            "steepest_wall",
            Severity::Stop,
            case.order.side,
            message,
            format!("{}{wider}", advise(case, intervals, values)),
        )
        .numbers(deg, allowed, "deg")
        .place(steepest.at, case.footbed.places.foot_length_mm),
    )
}

/// Values that thicken the zone, the most natural first.
fn thickened_by(zone: Zone) -> &'static [Value] {
    match zone {
        Zone::Heel => &[Value::HeelThickness, Value::RearfootPost],
        Zone::Flex => &[Value::HeelThickness, Value::ForefootThickness, Value::LateralArch],
        Zone::Forefoot => &[Value::ForefootThickness],
    }
}

/// "set heel_thickness to 3.2 mm" for the first of `values` that can do it alone.
fn advise(case: &Case, intervals: &Intervals, values: &[Value]) -> String {
    let one = values.iter().find_map(|&value| {
        let (interval, now) = (intervals.get(&value)?, case.order.asked(value)?);
        let to = interval.nearest(now).filter(|_| !interval.holds(now))?;
        Some(format!("set {} to {to} {}", value.name(), value.unit()))
    });
    one.unwrap_or_else(|| advice::no_value(values))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::profile::Shelf;
    use crate::{gauge, ticket};

    /// A sheet that is tilted by 1 mm over 90 mm, as no ticket can make it: 0.55 mm between the places
    /// that read the forefoot, 0.8 mm at the rim.
    #[test]
    fn a_hidden_cant_is_told() {
        let text = include_str!("../../output-samples/PATROL-07/ticket.toml");
        let ticket = ticket::read(text, "t", &Shelf::built_in(), &|_: &str| Err(String::new())).unwrap();
        let order = &ticket.feet[0];
        let outline = crate::curve::outline_from_measures(&order.trim_measures()).unwrap();
        let (length, flat) = (order.foot.length_mm(), crate::footbed::Underside::Flat);
        let mut footbed = crate::footbed::Footbed::build(outline, length, &order.support, flat).unwrap();
        let limits = |footbed: &crate::footbed::Footbed| -> Vec<&'static str> {
            let read_back = gauge::read_design(footbed);
            let case = Case { make: &ticket.make, boot: &ticket.boot, order, footbed, read_back: &read_back };
            uneven(&case).iter().map(|f| f.limit).collect()
        };
        assert!(limits(&footbed).is_empty());
        let basis = footbed.top.basis;
        for (k, c) in footbed.top.coefficients.iter_mut().enumerate() {
            // Coefficients of a plane are its heights at the humps' middles (Greville).
            *c += (basis.x0 + ((k % basis.nx) as f64 - 1.0) * basis.knot) / 90.0;
        }
        assert_eq!(limits(&footbed), ["forefoot_tilt", "rim_tilt"]);
    }
}
