//! Limits of the shop's things: blank, cutters, machine.

use super::field::past;
use super::interval::{Bound, Found, Interval, Intervals};
use super::{Case, Finding, Severity, advice};
use crate::curve::trim_ranges;
use crate::footbed::RIM_INSET_MM;
use crate::kernel::Shape;
use crate::profile::{Blank, Cutter};
use crate::ticket::{FootOrder, Hold, Make, Tabs};
use crate::value::Value;

/// So much of the edge stands over the skin, mm, that a blade finds its way (shop's own choice).
const EDGE_OVER_SKIN_MM: f64 = 0.5;

/// How far the blank's height may be off: nothing once it has been measured.
pub(super) fn scatter_mm(blank: &Blank) -> f64 {
    if blank.measured { 0.0 } else { blank.scatter_mm }
}

/// Greatest height of the top that this blank surely holds.
pub(super) fn available_height_mm(blank: &Blank) -> f64 {
    blank.height_mm - blank.height_margin_mm - scatter_mm(blank)
}

/// The cutter that goes into the tightest hollows: the rest cutter, when there is one.
pub(super) fn finest(make: &Make) -> &Cutter {
    make.rest.as_ref().unwrap_or(&make.finishing)
}

/// Room the blank gives the outline in one direction: the perimeter cutter passes on both sides.
fn room_mm(case: &Case, blank_mm: f64) -> f64 {
    blank_mm - edges_mm(&case.make.blank, &case.make.perimeter)
}

fn edges_mm(blank: &Blank, perimeter: &Cutter) -> f64 {
    2.0 * (blank.side_margin_mm + 2.0 * perimeter.shape.radius())
}

/// Whether this blank holds a footbed of this length, width and height, mm, cut out by this cutter: as [`super::check`]
/// judges it.
pub fn holds(blank: &Blank, perimeter: &Cutter, [length, width, height]: [f64; 3]) -> bool {
    let edges = edges_mm(blank, perimeter);
    let rows =
        [(length, blank.length_mm - edges), (width, blank.width_mm - edges), (height, available_height_mm(blank))];
    rows.into_iter().all(|(size, room)| !past(size, room))
}

/// What holds the lowest place of the top up, whatever the material: the cutters' holders stay above
/// the blank, and a skin is thinner than the piece's edge.
pub(super) fn lowest_allowed_mm(make: &Make) -> Vec<(f64, Bound)> {
    let top = make.blank.height_mm + scatter_mm(&make.blank);
    let cutters = [Some(&make.roughing), Some(&make.finishing), make.rest.as_ref()].into_iter().flatten();
    let mut floors: Vec<(f64, Bound)> = cutters.map(|c| (top - c.stickout_mm, Bound::of("cutter_reach"))).collect();
    if let Hold::Skin { thickness_mm } = make.hold {
        floors.push((thickness_mm + EDGE_OVER_SKIN_MM, Bound::of("skin_hold")));
    }
    floors
}

/// What holds the highest place of the top down: the blank, and the perimeter cutter's flutes beside
/// the piece.
pub(super) fn highest_allowed_mm(make: &Make) -> (f64, Bound) {
    let blank = (available_height_mm(&make.blank), Bound::of("blank_height"));
    let flutes = (make.perimeter.flute_length_mm - make.machine.bed_cut_mm, Bound::of("cutter_reach"));
    if is_slim(&make.perimeter) && flutes.0 < blank.0 { flutes } else { blank }
}

/// Whether the cutter's shank goes down where its flutes have cut.
fn is_slim(cutter: &Cutter) -> bool {
    cutter.shank_diameter_mm <= 2.0 * cutter.shape.radius()
}

/// How far the outline's sizes and the cup's width may go as far as that shows without another
/// design: by what the blank holds, what an outline can be drawn from, and the cup's wall.
pub(super) fn size_intervals(case: &Case) -> Vec<(Value, Interval)> {
    let (make, order) = (case.make, case.order);
    let room = |size: f64| Interval { found: Found::OutlineOnly, ..Interval::at_most(room_mm(case, size), BLANK) };
    let (length, width) = (room(make.blank.length_mm), room(make.blank.width_mm));
    let heel = case.read_back.get(&Value::HeelWidth).copied().unwrap_or(f64::INFINITY);
    let wall = make.material.least.rim_wall.max(RIM_INSET_MM);
    let cup = Interval { found: Found::OutlineOnly, ..Interval::at_most(heel - 2.0 * wall, RIM) };
    let mut sizes = [(Value::Length, length), (Value::BallWidth, width), (Value::HeelWidth, width)];
    match order.traced {
        None => {
            for ((_, interval), (lo, hi)) in sizes.iter_mut().zip(trim_ranges(&order.trim_measures())) {
                *interval = interval.and(Interval::between(lo, hi, Bound::OUTLINE));
            }
        }
        // What a tracing brings is no value that a ticket asks.
        Some(_) => {
            for (value, interval) in &mut sizes {
                let made = case.read_back.get(value).copied().unwrap_or(f64::NAN);
                *interval = Interval::between(made, made, Bound::TRACED).and(*interval);
            }
        }
    }
    sizes.into_iter().chain([(Value::HeelCupWidth, cup)]).collect()
}

/// How much room is left in the blank and how much wall more than the least; negative where a stop
/// is found.
pub(super) fn size_slacks(case: &Case) -> Vec<(Bound, f64)> {
    let bounds = case.footbed.outline.bounds();
    let mut slacks = vec![
        (BLANK, room_mm(case, case.make.blank.length_mm) - bounds.height()),
        (BLANK, room_mm(case, case.make.blank.width_mm) - bounds.width()),
    ];
    slacks.extend(wall_mm(case).map(|wall| (RIM, wall - case.make.material.least.rim_wall)));
    slacks
}

const BLANK: Bound = Bound::of("blank_size");
const RIM: Bound = Bound::of("rim_wall");

/// Thickness of the cup's wall at half depth, mm. An asked width that leaves no wall cannot be read
/// back from the design, so it is judged as asked.
fn wall_mm(case: &Case) -> Option<f64> {
    let cup = case.order.support.heel_cup_width_mm.or(case.read_back.get(&Value::HeelCupWidth).copied())?;
    Some(0.5 * (case.read_back.get(&Value::HeelWidth)? - cup))
}

pub(super) fn findings(case: &Case, intervals: &Intervals, lowest_mm: f64, highest_mm: f64) -> Vec<Finding> {
    let mut found = vec![];
    found.extend(blank_size(case));
    found.extend(rim_wall(case, intervals));
    found.extend(reach(case, lowest_mm, highest_mm));
    found.extend(finishing_form(case));
    found.extend(machine(case, highest_mm));
    found.extend(chip_load(case));
    found.extend(skin(case, lowest_mm));
    found.extend(tabs(case));
    found
}

/// A skin is no thicker than the piece's own edge, and somebody must cut it.
fn skin(case: &Case, lowest_mm: f64) -> Option<Finding> {
    let Hold::Skin { thickness_mm } = case.make.hold else { return None };
    let most = lowest_mm - EDGE_OVER_SKIN_MM;
    if past(thickness_mm, most) {
        let message = format!(
            "the skin is {thickness_mm} mm thick, and the piece is {lowest_mm:.2} mm at its thinnest: no groove is left"
        );
        let advice =
            format!("ask a skin of {:.1} mm or less, or hold = \"tabs\"", (most.max(0.0) * 10.0).floor() / 10.0);
        let finding = Finding::new("skin_hold", Severity::Stop, case.order.side, message, advice);
        return Some(finding.numbers(thickness_mm, most, "mm").never_overruled());
    }
    let message = format!(
        "a skin of {thickness_mm} mm of {} holds the piece all round: it is not cut free by the mill",
        case.make.material.name
    );
    let advice = "try the skin on scrap; cut it with a knife along the groove, then sand the lower edge".to_string();
    Some(Finding::new("skin_hold", Severity::Note, case.order.side, message, advice))
}

/// Beside the piece no more stands for a tab than the height of its edge and what roughing leaves on it. Where along the
/// edge tabs come to stand is for the path to say, so this stops nothing.
fn tabs(case: &Case) -> Option<Finding> {
    let Hold::Tabs(Tabs { count: 1.., thickness_mm, .. }) = case.make.hold else { return None };
    let outline = &case.footbed.outline;
    let (rear, length) = (outline.bounds().y0, outline.length_mm());
    let ends = Tabs::END_SHARE..=1.0 - Tabs::END_SHARE;
    let sides = outline.points().iter().filter(|p| ends.contains(&((p.y - rear) / length)));
    let edge_mm = sides.map(|&p| case.footbed.top_at(p)).fold(f64::INFINITY, f64::min);
    let most = edge_mm + case.make.material.allowance_mm;
    past(thickness_mm, most).then(|| {
        let message = format!(
            "tabs are to be {thickness_mm} mm high, and where the piece's edge is lowest, {edge_mm:.2} mm, no more than \
             {most:.2} mm stands beside it: a tab there would be too slight, and `mill` would refuse the job"
        );
        // To a tenth, and what is one within rounding stays it.
        let advice = format!("ask tabs of {:.1} mm or less", (most * 10.0 + 1e-6).floor() / 10.0);
        Finding::new("tab_hold", Severity::Caution, case.order.side, message, advice).numbers(thickness_mm, most, "mm")
    })
}

fn blank_size(case: &Case) -> Vec<Finding> {
    let (bounds, blank) = (case.footbed.outline.bounds(), &case.make.blank);
    let rows = [("length", bounds.height(), blank.length_mm), ("width", bounds.width(), blank.width_mm)];
    rows.into_iter()
        .filter(|&(_, outline, size)| past(outline, room_mm(case, size)))
        .map(|(words, outline, size)| {
            let allowed = room_mm(case, size);
            let message = format!(
                "the outline's {words} is {outline:.1} mm; blank {} ({size} mm) has room for {allowed:.1} mm with its margins and the perimeter cutter",
                blank.name
            );
            let advice = format!("take a blank at least {:.0} mm in {words}, or a thinner perimeter cutter", (size + outline - allowed).ceil());
            Finding::new("blank_size", Severity::Stop, case.order.side, message, advice).numbers(outline, allowed, "mm").never_overruled()
        })
        .collect()
}

/// The cup's wall, level at half depth, between its inner face and the outline.
pub(super) fn rim_wall(case: &Case, intervals: &Intervals) -> Option<Finding> {
    let heel = case.read_back.get(&Value::HeelWidth)?;
    let (wall, least) = (wall_mm(case)?, case.make.material.least.rim_wall);
    past(least, wall).then(|| {
        let material = &case.make.material.name;
        let message = match wall > 0.005 {
            true => format!("the cup's wall is {wall:.2} mm at half depth; {material} needs {least:.1} mm"),
            false => format!("the cup leaves no wall at half depth; {material} needs {least:.1} mm"),
        };
        let own = Interval::at_most(heel - 2.0 * least, RIM);
        let advice = match advice::nearest(case, intervals, Value::HeelCupWidth, own) {
            Some(to) => format!("ask a heel_cup_width of {to} mm or less, or a wider heel_width"),
            None => "ask a wider heel_width".to_string(),
        };
        let finding =
            Finding::new("rim_wall", Severity::Stop, case.order.side, message, advice).numbers(wall, least, "mm");
        if wall <= RIM_INSET_MM { finding.never_overruled() } else { finding }
    })
}

/// How deep each cutter must go, against what it can. Its holder must stay above the blank's top;
/// its flutes must be as long as what stands beside them: for the perimeter cutter that is the
/// piece's own edge, since roughing has cleared the groove, or the whole blank when its shank is
/// wider than its cut.
fn reach(case: &Case, lowest_mm: f64, highest_mm: f64) -> Vec<Finding> {
    let make = case.make;
    let top = make.blank.height_mm + scatter_mm(&make.blank);
    let perimeter = &make.perimeter;
    let below_bed = make.machine.bed_cut_mm;
    let slim = is_slim(perimeter);
    let beside = below_bed + if slim { highest_mm.min(top) } else { top };
    let rest = make.rest.iter().map(|c| ("rest", c, "from tip to holder", top - lowest_mm, c.stickout_mm));
    let rows: [(&str, &Cutter, &str, f64, f64); 4] = [
        ("roughing", &make.roughing, "from tip to holder", top - lowest_mm, make.roughing.stickout_mm),
        ("finishing", &make.finishing, "from tip to holder", top - lowest_mm, make.finishing.stickout_mm),
        ("perimeter", perimeter, "from tip to holder", top + below_bed, perimeter.stickout_mm),
        ("perimeter", perimeter, "of flutes", beside, perimeter.flute_length_mm),
    ];
    rows.into_iter()
        .chain(rest)
        .filter(|&(_, _, _, needed, has)| past(needed, has))
        .map(|(step, cutter, what, needed, has)| {
            let message = format!("the {step} cutter {} needs {needed:.1} mm {what} and has {has:.1} mm", cutter.name);
            let advice = format!("name a {step} cutter with {:.0} mm {what}, or take a lower blank", needed.ceil());
            Finding::new("cutter_reach", Severity::Stop, case.order.side, message, advice)
                .numbers(needed, has, "mm")
                .never_overruled()
        })
        .collect()
}

/// A flat end leaves steps on every slope, whatever scallop is asked.
fn finishing_form(case: &Case) -> Option<Finding> {
    let cutter = &case.make.finishing;
    matches!(cutter.shape, Shape::Flat { .. }).then(|| {
        let message = format!(
            "the finishing cutter {} is flat: it leaves steps on slopes, more than the asked scallop",
            cutter.name
        );
        let advice = "finish with a ball, bull-nose or tapered cutter".to_string();
        Finding::new("finishing_cutter", Severity::Caution, case.order.side, message, advice)
    })
}

/// The scallop that a proof found on the carved piece against the one that was asked.
pub fn scallop(order: &FootOrder, asked_mm: f64, left_mm: f64) -> Option<Finding> {
    const MEASURING_SHARE: f64 = 1.05;
    (left_mm > asked_mm * MEASURING_SHARE).then(|| {
        let message =
            format!("the programs leave a scallop of {left_mm:.3} mm on 1 % of the surface; {asked_mm} mm was asked");
        let advice = "ask a smaller scallop, or finish with a ball cutter that reaches the hollows".to_string();
        Finding::new("scallop_left", Severity::Caution, order.side, message, advice).numbers(left_mm, asked_mm, "mm")
    })
}

/// A rest cutter that finds nothing to do.
pub fn rest_cutter(order: &FootOrder, make: &Make) -> Option<Finding> {
    let rest = make.rest.as_ref()?;
    let message = format!(
        "the rest cutter {} has nothing to do: {} reaches the whole surface within the asked scallop",
        rest.name, make.finishing.name
    );
    let advice = "no rest program was written; leave `cutters.rest` out".to_string();
    Some(Finding::new("rest_cutter", Severity::Note, order.side, message, advice))
}

fn machine(case: &Case, highest_mm: f64) -> Vec<Finding> {
    let (blank, machine) = (&case.make.blank, &case.make.machine);
    let up = blank.height_mm.max(highest_mm) + scatter_mm(blank) + machine.safe_above_blank_mm;
    let up = up.max(case.make.above_clamps_mm());
    let rows = [
        ("X", blank.width_mm, machine.travel_mm[0]),
        ("Y", blank.length_mm, machine.travel_mm[1]),
        ("Z", up, machine.travel_mm[2]),
    ];
    let mut found: Vec<Finding> = rows
        .into_iter()
        .filter(|&(_, needed, travel)| past(needed, travel))
        .map(|(axis, needed, travel)| {
            let message =
                format!("the job needs {needed:.1} mm of {axis} travel; machine {} has {travel:.1} mm", machine.name);
            let advice = "take a smaller blank or another machine".to_string();
            Finding::new("machine_travel", Severity::Stop, case.order.side, message, advice)
                .numbers(needed, travel, "mm")
                .never_overruled()
        })
        .collect();
    let rpm = case.make.material.spindle_rpm;
    let [lo, hi] = machine.spindle_rpm;
    if rpm < lo || rpm > hi {
        let allowed = rpm.clamp(lo, hi);
        let message = format!(
            "{} asks for {rpm:.0} rpm; machine {} turns {lo:.0}-{hi:.0}: {allowed:.0} is used",
            case.make.material.name, machine.name
        );
        let advice = "prove the cut on scrap at that speed".to_string();
        found.push(
            Finding::new("spindle_speed", Severity::Caution, case.order.side, message, advice)
                .numbers(rpm, allowed, "rpm"),
        );
    }
    found
}

/// Chip load f_z = F / (n z): below the window foam rubs and heats, above it the edge tears.
fn chip_load(case: &Case) -> Vec<Finding> {
    let make = case.make;
    let [lo, hi] = make.machine.spindle_rpm;
    let rpm = make.material.spindle_rpm.clamp(lo, hi);
    let [least, most] = make.material.chip_load_mm;
    [("roughing", &make.roughing), ("finishing", &make.finishing), ("perimeter", &make.perimeter)]
        .into_iter()
        .chain(make.rest.iter().map(|rest| ("rest", rest)))
        .filter_map(|(words, cutter)| {
            let teeth = f64::from(cutter.flutes.max(1));
            let load = make.material.feed_mm_min / (rpm * teeth);
            let allowed = load.clamp(least, most);
            (load != allowed).then(|| {
                let what = if load < least { "rubs and heats" } else { "tears" };
                let message = format!(
                    "the {words} cutter {} would take {load:.3} mm a tooth; outside {least}-{most} mm {} {what}",
                    cutter.name, make.material.name
                );
                Finding::new("chip_load", Severity::Caution, case.order.side, message, chip_advice(case, load, teeth))
                    .numbers(load, allowed, "mm")
            })
        })
        .collect()
}

/// The feed, and the spindle speed where this machine turns it, that bring a chip load to the near
/// end of its window, rounded into it.
fn chip_advice(case: &Case, load_mm: f64, teeth: f64) -> String {
    let (material, machine) = (&case.make.material, &case.make.machine);
    let [least, most] = material.chip_load_mm;
    let [lo, hi] = machine.spindle_rpm;
    let rpm = material.spindle_rpm.clamp(lo, hi);
    let tens = |x: f64, up: bool| if up { (x / 10.0).ceil() * 10.0 } else { (x / 10.0).floor() * 10.0 };
    let rubs = load_mm < least;
    let allowed = load_mm.clamp(least, most);
    let feed = tens(allowed * rpm * teeth, rubs);
    let turns = tens(material.feed_mm_min / (allowed * teeth), !rubs);
    let or_turns = if (lo..=hi).contains(&turns) { format!(", or spindle_rpm = {turns:.0}") } else { String::new() };
    let flutes = if rubs { "fewer" } else { "more" };
    format!(
        "feed_mm_min = {feed:.0} in the material's profile brings it in{or_turns}, or a cutter with {flutes} flutes"
    )
}

/// Share of the lines that a controller can read that a program may ask of it: what is left covers
/// hiccups of whoever sends the lines. Shop's own choice.
const READ_SHARE: f64 = 0.8;

/// Movements of one program that begin within one second against what the controller reads.
pub fn line_load(order: &FootOrder, make: &Make, file: &str, most_a_second: usize) -> Option<Finding> {
    let reads = 1.0 / make.machine.line_time_s;
    let (asked, allowed) = (most_a_second as f64, READ_SHARE * reads);
    (asked > allowed).then(|| {
        let message = format!(
            "{file} asks up to {asked:.0} lines in one second; machine {} reads {reads:.0}, and {:.0} % of them are safe",
            make.machine.name,
            100.0 * READ_SHARE
        );
        let advice = format!(
            "a larger point_tolerance_mm or scallop gives fewer lines; feed_mm_min = {:.0} gives them time",
            (make.material.feed_mm_min * allowed / asked / 10.0).floor() * 10.0
        );
        Finding::new("line_load", Severity::Caution, order.side, message, advice).numbers(asked, allowed, "lines/s")
    })
}
