//! A support as written -> a support with every value: what is left out is filled in by a rule, and
//! the rule is kept in words beside the value.

use std::cell::RefCell;

use crate::foot::{Foot, Growing, Loaded, Loading, Stations, usual_ball_width_mm, usual_heel_width_mm};
use crate::profile::StartingSupport;
use crate::value::Value;
use crate::written::{Need, Section};

use super::{Boot, Support, ranges, writable};

pub(super) fn support(s: &Section, foot: Option<&Foot>, boot: &Boot, start: &StartingSupport) -> Option<Support> {
    let rules = Rules { foot, boot, start };
    let filler = Filler { s, filled_in: RefCell::default() };
    let heel_thickness = filler.value(Value::HeelThickness, || rules.heel_thickness());
    let heel_cup_depth = filler.value(Value::HeelCupDepth, || rules.heel_cup_depth());
    let heel_cup_width = s.number(Value::HeelCupWidth.name(), Need::Optional, writable(Value::HeelCupWidth));
    let rearfoot_post = filler.value(Value::RearfootPost, || rules.profile("rearfoot post", start.rearfoot_post_deg));
    let medial_arch = match s.has(Value::MedialArch.name()) || foot.is_none_or(arch_is_known) {
        true => filler.value(Value::MedialArch, || rules.medial_arch()),
        false => refuse_to_guess_the_arch(s),
    };
    let lateral_arch = filler.value(Value::LateralArch, || rules.profile("lateral arch", start.lateral_arch_mm));
    let transverse_arch =
        filler.value(Value::TransverseArch, || rules.profile("transverse arch", start.transverse_arch_mm));
    let forefoot_thickness = filler.value(Value::ForefootThickness, || rules.forefoot_thickness());
    let flex_zone = Value::FlexZoneThickness;
    let flex_zone_thickness = s.number(flex_zone.name(), Need::Optional, writable(flex_zone));
    let length = filler.value(Value::Length, || rules.length());
    let ball_width = filler.value(Value::BallWidth, || rules.ball_width());
    let heel_width = filler.value(Value::HeelWidth, || rules.heel_width());
    let stations = stations(s, foot, start);
    let allowed_drop = s.number("allowed_drop", Need::Optional, ranges::ALLOWED_DROP);
    let stabiliser_share = s.number_or("stabiliser_share", ranges::SHARE, 0.0);
    let (stations, station_rules) = stations?;
    Some(Support {
        heel_thickness_mm: heel_thickness?,
        heel_cup_depth_mm: heel_cup_depth?,
        heel_cup_width_mm: heel_cup_width,
        rearfoot_post_deg: rearfoot_post?,
        medial_arch_mm: medial_arch?,
        lateral_arch_mm: lateral_arch?,
        transverse_arch_mm: transverse_arch?,
        forefoot_thickness_mm: forefoot_thickness?,
        flex_zone_thickness_mm: flex_zone_thickness,
        length_mm: length?,
        ball_width_mm: ball_width?,
        heel_width_mm: heel_width?,
        stations,
        station_rules,
        relief: None,
        stabiliser_share: stabiliser_share?,
        allowed_drop,
        filled_in: filler.filled_in.into_inner(),
        change_weights: start.change_weights.clone(),
    })
}

fn arch_is_known(foot: &Foot) -> bool {
    foot.medial_arch.seated.is_some() && foot.medial_arch.standing.is_some()
}

fn refuse_to_guess_the_arch(s: &Section) -> Option<f64> {
    s.allow(Value::MedialArch.name());
    s.missing(
        format!("[{}] lacks `medial_arch`, and the foot's arch was not measured seated and standing", s.path()),
        "give `medial_arch`, or under foot: medial_arch = { seated = ..., standing = ... }; arch height does not \
         follow foot length (Hill 2017), so it is never filled in from size",
    );
    None
}

/// Keeps the rule of every value that the ticket leaves out.
struct Filler<'s, 'a> {
    s: &'s Section<'a>,
    filled_in: RefCell<Vec<(Value, String)>>,
}

impl Filler<'_, '_> {
    /// The value as written, or by `rule`, which gives a number and the rule in words.
    fn value(&self, value: Value, rule: impl FnOnce() -> Option<(f64, String)>) -> Option<f64> {
        let allowed = writable(value);
        if self.s.has(value.name()) {
            return self.s.number(value.name(), Need::Required, allowed);
        }
        self.s.allow(value.name());
        let (number, words) = rule()?;
        let number = (number * ROUNDING).round() / ROUNDING;
        if !allowed.admits(number) {
            let message = format!("`{}` would be {number} {} ({words})", value.name(), value.unit());
            self.s.here(message, format!("give `{}` yourself, in the range {}", value.name(), allowed.words()));
            return None;
        }
        self.filled_in.borrow_mut().push((value, words));
        Some(number)
    }
}

/// Filled-in values are rounded to 0.1 mm: no finer than any tape or rule behind them.
const ROUNDING: f64 = 10.0;

/// The rules. Each gives a number and says in words how it came about; `None` when the foot it needs
/// has problems of its own, which have been noted.
struct Rules<'a> {
    foot: Option<&'a Foot>,
    boot: &'a Boot,
    start: &'a StartingSupport,
}

impl Rules<'_> {
    fn profile(&self, what: &str, number: f64) -> Option<(f64, String)> {
        Some((number, format!("{what} of the starting support {}", self.start.name)))
    }

    fn heel_thickness(&self) -> Option<(f64, String)> {
        match self.boot.stock_insole.heel_thickness {
            Some(mm) => Some((mm, "as the stock insole it replaces".to_owned())),
            None => self.profile("heel thickness", self.start.heel_thickness_mm),
        }
    }

    fn forefoot_thickness(&self) -> Option<(f64, String)> {
        match self.boot.stock_insole.ball_thickness {
            Some(mm) => Some((mm, "as the stock insole it replaces, at the ball".to_owned())),
            None => self.profile("forefoot thickness", self.start.forefoot_thickness_mm),
        }
    }

    fn heel_cup_depth(&self) -> Option<(f64, String)> {
        let StartingSupport { name, heel_cup_depth_mm: depth, heel_cup_depth_bounds_mm: [least, most], .. } =
            self.start;
        let length = self.foot?.length_mm();
        let reference = StartingSupport::REFERENCE_LENGTH_MM;
        let in_proportion = depth * length / reference;
        // `max` then `min`, as `clamp` panics on bounds that a profile might give the wrong way round.
        let kept = in_proportion.max(*least).min(*most);
        let words = format!("{depth} mm x {length} / {reference}, kept within {least} to {most} mm ({name})");
        Some((kept, words))
    }

    fn medial_arch(&self) -> Option<(f64, String)> {
        let arch = self.foot?.medial_arch;
        let (seated, standing) = (arch.seated?, arch.standing?);
        let share = self.start.arch_share;
        let drop = seated - standing;
        let mut words = format!("standing {standing} + {share} x (seated {seated} - standing {standing}) mm");
        if drop < ranges::ARCH_SLACK_MM {
            words.push_str("; the drop is smaller than the error of measuring it, about 5 mm");
        }
        Some((standing + share * drop.max(0.0), words))
    }

    fn length(&self) -> Option<(f64, String)> {
        if let Some(mm) = self.boot.stock_insole.length {
            return Some((mm, "as the stock insole it replaces".to_owned()));
        }
        let (length, words) = self.standing(self.foot?.length, Growing::Length, "length")?;
        let StartingSupport { name, length_allowance_mm: allowance, .. } = self.start;
        Some((length + allowance, format!("{words} + {allowance} mm ({name})")))
    }

    fn ball_width(&self) -> Option<(f64, String)> {
        if let Some(mm) = self.boot.stock_insole.ball_width {
            return Some((mm, "as the stock insole it replaces".to_owned()));
        }
        let foot = self.foot?;
        self.standing(foot.ball_width, Growing::BallWidth, "ball width").or_else(|| {
            let length = foot.length_mm();
            Some((usual_ball_width_mm(length), usual_words("ball width", "0.2243 L + 39.1", length)))
        })
    }

    fn heel_width(&self) -> Option<(f64, String)> {
        if let Some(mm) = self.boot.stock_insole.heel_width {
            return Some((mm, "as the stock insole it replaces".to_owned()));
        }
        let foot = self.foot?;
        let StartingSupport { name, heel_wall_mm: wall, .. } = self.start;
        let (heel, words) = self.standing(foot.heel_width, Growing::HeelWidth, "heel width").unwrap_or_else(|| {
            let length = foot.length_mm();
            (usual_heel_width_mm(length), usual_words("heel width", "0.2078 L + 16.1", length))
        });
        Some((heel + 2.0 * wall, format!("{words} + 2 x {wall} mm ({name})")))
    }

    /// The measure as it is standing, or as it would be.
    fn standing(&self, measure: Loaded, growing: Growing, what: &str) -> Option<(f64, String)> {
        let (loading, mm) = measure.standing_mm(growing)?;
        let words = match loading {
            Loading::Standing => format!("standing {what} {mm} mm"),
            Loading::Seated => {
                format!("seated {what} grown to {mm:.1} mm, half of the growth under load in Tsung 2003")
            }
            Loading::Unloaded => format!("unloaded {what} grown to {mm:.1} mm, as under half load in Tsung 2003"),
        };
        Some((mm, words))
    }
}

fn usual_words(what: &str, line: &str, length: f64) -> String {
    format!(
        "the foot's {what} is not measured: {line} at L = {length} mm, mean of both lines of ANSUR II (Gordon 2014)"
    )
}

type StationRules = Vec<(&'static str, String)>;

/// Stations: measured met heads win, then the ticket, then the profile.
fn stations(s: &Section, foot: Option<&Foot>, start: &StartingSupport) -> Option<(Stations, StationRules)> {
    let written = s.within("stations", Need::Optional, |s| {
        start.stations.named().map(|(name, usual)| (s.has(name), s.number_or(name, ranges::STATION, usual)))
    });
    let written = written.unwrap_or_else(|| start.stations.named().map(|(_, usual)| (false, Some(usual))));
    let mut rules = StationRules::new();
    let mut places = [0.0; 7];
    for ((place, (name, _)), (is_written, share)) in places.iter_mut().zip(start.stations.named()).zip(written) {
        let (share, words) = match measured_station(name, foot) {
            Some((measured, mm)) if is_written => {
                (Some(measured), format!("measured at {mm} mm, which goes before the station written in the ticket"))
            }
            Some((measured, mm)) => (Some(measured), format!("measured at {mm} mm")),
            None if is_written => (share, "as written in the ticket".to_owned()),
            None => (share, format!("starting support {}", start.name)),
        };
        *place = share?;
        rules.push((name, words));
    }
    let [heel_centre, widest_cup, medial_arch, lateral_arch, transverse_arch, first_met, fifth_met] = places;
    let stations =
        Stations { heel_centre, widest_cup, medial_arch, lateral_arch, transverse_arch, first_met, fifth_met };
    in_order(s, &stations).then_some((stations, rules))
}

fn measured_station(name: &str, foot: Option<&Foot>) -> Option<(f64, f64)> {
    let foot = foot?;
    let met = match name {
        "first_met" => foot.first_met,
        "fifth_met" => foot.fifth_met,
        _ => return None,
    };
    Some((met.share_of(&foot.length)?, met.most_loaded()?.1))
}

/// Landmarks follow each other from the heel to the toes; otherwise there is no surface through them.
fn in_order(s: &Section, stations: &Stations) -> bool {
    let Stations { heel_centre, widest_cup, medial_arch, lateral_arch, transverse_arch, first_met, fifth_met } =
        *stations;
    let pairs = [
        ("heel_centre", heel_centre, "medial_arch", medial_arch),
        ("widest_cup", widest_cup, "medial_arch", medial_arch),
        ("widest_cup", widest_cup, "lateral_arch", lateral_arch),
        ("medial_arch", medial_arch, "transverse_arch", transverse_arch),
        ("medial_arch", medial_arch, "first_met", first_met),
        ("lateral_arch", lateral_arch, "fifth_met", fifth_met),
        ("transverse_arch", transverse_arch, "first_met", first_met),
    ];
    let mut fine = true;
    for (rear, at, front, before) in pairs.into_iter().filter(|(_, at, _, before)| before - at < LEAST_APART) {
        let message = format!("station `{rear}` at {at:.3} is not behind `{front}` at {before:.3}");
        s.at("stations", message, format!("keep them at least {LEAST_APART} of the foot's length apart, heel first"));
        fine = false;
    }
    fine
}

/// Least distance of landmarks that must follow each other, as a share of the length: about 5 mm,
/// below which the surface between them would be a step. Own choice.
const LEAST_APART: f64 = 0.02;
