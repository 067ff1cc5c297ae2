//! The `[left]` and `[right]` sections: one foot as measured and the support ordered for it, or the
//! word that one side is as the other.

use crate::foot::{Foot, Loaded};
use crate::frame::Side;
use crate::profile::StartingSupport;
use crate::written::{Allowed, Need, Section};

use super::{Boot, FootOrder, Support, Traced, fill, ranges};

/// Tracings of stock insoles, by the foot they were taken from.
#[derive(Clone, Debug, Default)]
pub(crate) struct Tracings {
    pub(crate) left: Option<Traced>,
    pub(crate) right: Option<Traced>,
}

impl Tracings {
    /// The tracing of this foot's insole, or else the other's.
    fn for_side(&self, side: Side) -> Option<Traced> {
        match side {
            Side::Left => self.left.as_ref().or(self.right.as_ref()),
            Side::Right => self.right.as_ref().or(self.left.as_ref()),
        }
        .cloned()
    }
}

/// What both feet share.
pub(super) struct Context<'a> {
    pub(super) boot: &'a Boot,
    pub(super) tracings: &'a Tracings,
    pub(super) start: &'a StartingSupport,
}

/// The other foot, as far as it has been read.
enum Other<'a> {
    /// Not in the ticket, or itself "as" this one.
    Absent,
    /// In the ticket, but wrong; that has been noted.
    Broken,
    Read(&'a FootOrder),
}

/// One or two orders, left first.
pub(super) fn feet(top: &Section, context: &Context) -> Option<Vec<FootOrder>> {
    let written: Vec<Side> = Side::BOTH.into_iter().filter(|side| top.has(side.name())).collect();
    if written.is_empty() {
        top.missing("the ticket orders no footbed", "add [left], [right] or both, each with foot and support");
        return None;
    }
    // The side that is "as" the other is read second.
    let first = if leans(top, Side::Left) { Side::Right } else { Side::Left };
    let second = other(first);
    let one = written.contains(&first).then(|| read_side(top, first, &Other::Absent, context));
    let beside = match &one {
        None => Other::Absent,
        Some(None) => Other::Broken,
        Some(Some(order)) => Other::Read(order),
    };
    let two = written.contains(&second).then(|| read_side(top, second, &beside, context));
    let mut orders: Vec<FootOrder> = [one, two].into_iter().flatten().collect::<Option<_>>()?;
    orders.sort_by_key(|order| order.side);
    Some(orders)
}

fn other(side: Side) -> Side {
    match side {
        Side::Left => Side::Right,
        Side::Right => Side::Left,
    }
}

/// Whether this side, or a part of it, is given as the other side's.
fn leans(top: &Section, side: Side) -> bool {
    let whole = top.text_instead(side.name()).is_some();
    whole || ["foot", "support"].into_iter().any(|part| top.text_inside(side.name(), part).is_some())
}

fn read_side(top: &Section, side: Side, beside: &Other, context: &Context) -> Option<FootOrder> {
    if let Some(text) = top.text_instead(side.name()) {
        let order = as_other(top, side.name(), &text, side, beside)?;
        return Some(FootOrder { side, traced: context.tracings.for_side(side), ..order.clone() });
    }
    top.within(side.name(), Need::Required, |s| {
        let foot = part(s, "foot", side, beside, |order| order.foot, foot);
        let ordered = part(
            s,
            "support",
            side,
            beside,
            |order| (order.support.clone(), order.reason.clone()),
            |s| support(s, foot.as_ref(), context),
        );
        let reason = s.said("reason", ranges::LONGEST_NOTE);
        let relief = s.within("relief", Need::Optional, super::relief::relief);
        let (mut support, reason_inside) = ordered?;
        if let Some(relief) = relief {
            support.relief = Some(relief?);
        }
        if reason.is_some() && reason_inside.is_some() {
            s.at("reason", "`reason` stands here and under support", "keep one of the two");
        }
        Some(FootOrder {
            side,
            foot: foot?,
            support,
            traced: context.tracings.for_side(side),
            reason: reason.or(reason_inside),
        })
    })
    .flatten()
}

/// A part of one foot's order: written as a section, or "as" the other foot's.
fn part<T>(
    s: &Section,
    key: &str,
    side: Side,
    beside: &Other,
    of_other: impl FnOnce(&FootOrder) -> T,
    read: impl FnOnce(&Section) -> Option<T>,
) -> Option<T> {
    match s.text_instead(key) {
        Some(text) => as_other(s, key, &text, side, beside).map(of_other),
        None => s.within(key, Need::Required, read).flatten(),
    }
}

/// The other foot's order, when `text` says so and there is one.
fn as_other<'a>(s: &Section, key: &str, text: &str, side: Side, beside: &Other<'a>) -> Option<&'a FootOrder> {
    let other = other(side).name();
    if text != format!("as {other}") {
        let message = format!("`{}` is \"{}\"", s.full_name(key), crate::written::shortened(text));
        s.at(key, message, format!("write \"as {other}\" to share, or a section of its own"));
        return None;
    }
    match beside {
        Other::Read(order) => Some(order),
        Other::Broken => None,
        Other::Absent => {
            let message = format!("`{}` is \"as {other}\", but there is no {other} foot written out", s.full_name(key));
            s.at(key, message, format!("write [{other}] with its foot and support"));
            None
        }
    }
}

fn foot(s: &Section) -> Option<Foot> {
    let length = measure(s, "length", ranges::FOOT_LENGTH);
    if !s.has("length") {
        s.missing(format!("`{}` is missing", s.full_name("length")), "add length = { standing = ... }");
    }
    let optional = |key: &str, allowed: Allowed| match s.has(key) {
        true => measure(s, key, allowed),
        false => {
            s.allow(key);
            Some(Loaded::default())
        }
    };
    let ball_width = optional("ball_width", ranges::FOOT_BALL_WIDTH);
    let heel_width = optional("heel_width", ranges::FOOT_HEEL_WIDTH);
    let medial_arch = optional("medial_arch", ranges::FOOT_ARCH);
    let first_met = optional("first_met", ranges::FOOT_FIRST_MET);
    let fifth_met = optional("fifth_met", ranges::FOOT_FIFTH_MET);
    // What could be read is compared even when another measure is wrong, so that all of it shows.
    let or_none = Option::unwrap_or_default;
    let foot = Foot {
        length: or_none(length),
        ball_width: or_none(ball_width),
        heel_width: or_none(heel_width),
        medial_arch: or_none(medial_arch),
        first_met: or_none(first_met),
        fifth_met: or_none(fifth_met),
    };
    let all = [length, ball_width, heel_width, medial_arch, first_met, fifth_met].iter().all(Option::is_some);
    (possible(s, &foot) && all).then_some(foot)
}

/// One measure in each loading it was taken in.
pub(crate) fn measure(s: &Section, key: &str, allowed: Allowed) -> Option<Loaded> {
    if let Some(number) = s.number_instead(key) {
        let message = format!("`{}` is {number} without its loading", s.full_name(key));
        let help = match allowed.guess(number) {
            Some(guess) => format!("{guess}; and say how loaded the foot was: {key} = {{ standing = ... }}"),
            None => format!(
                "say how loaded the foot was when measured: {key} = {{ standing = {number} }}, or seated, or unloaded"
            ),
        };
        s.at(key, message, help);
        return None;
    }
    s.within(key, Need::Optional, |s| {
        let before = s.fields().len();
        let loaded = Loaded {
            unloaded: s.number("unloaded", Need::Optional, allowed),
            seated: s.number("seated", Need::Optional, allowed),
            standing: s.number("standing", Need::Optional, allowed),
        };
        let states = ["unloaded", "seated", "standing"].into_iter().filter(|state| s.has(state)).count();
        if states == 0 {
            s.missing(format!("`{}` has no measure", s.path()), "give it standing, seated or unloaded");
        }
        // A state that is written but wrong has been noted; the measure as a whole is not usable.
        (states > 0 && s.fields().len() - before == states).then_some(loaded)
    })
    .flatten()
}

/// Whether the measures can be of one foot. What is merely unusual is for the limits to say.
fn possible(s: &Section, foot: &Foot) -> bool {
    let mut fine = true;
    let mut refuse = |key: &str, message: String, help: &str| {
        s.at(key, message, help);
        fine = false;
    };
    let swapped = "were the two loadings swapped?";
    if let (Some(seated), Some(standing)) = (foot.length.seated, foot.length.standing)
        && standing < seated - ranges::LENGTH_SLACK_MM
    {
        let message = format!("the foot is {standing} mm long standing but {seated} mm seated; load lengthens a foot");
        refuse("length", message, swapped);
    }
    if let (Some(seated), Some(standing)) = (foot.medial_arch.seated, foot.medial_arch.standing)
        && standing > seated + ranges::ARCH_SLACK_MM
    {
        let message = format!("the arch is {standing} mm high standing but {seated} mm seated; load lowers an arch");
        refuse("medial_arch", message, swapped);
    }
    if let Some(share) = foot.heel_width.share_of(&foot.ball_width).filter(|share| *share >= 1.0) {
        let message = format!("the heel is {share:.2} times as wide as the ball of the foot");
        refuse("heel_width", message, "were the two widths swapped?");
    }
    for (key, met) in [("first_met", foot.first_met), ("fifth_met", foot.fifth_met)] {
        if let Some(share) = met.share_of(&foot.length).filter(|share| !(0.5..=0.9).contains(share)) {
            let message = format!("`{key}` lies at {share:.2} of the foot's length; met heads lie between 0.5 and 0.9");
            refuse(key, message, "measure from the rear of the heel along the foot to the middle of the met head");
        }
    }
    fine
}

fn support(s: &Section, foot: Option<&Foot>, context: &Context) -> Option<(Support, Option<String>)> {
    let reason = s.said("reason", ranges::LONGEST_NOTE);
    let support = fill::support(s, foot, context.boot, context.start);
    Some((support?, reason))
}
