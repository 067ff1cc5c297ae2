//! A foot's values as they are changed while a way past its stops is looked for, and the values that no linear program
//! moves: sizes, cup width and flex zone. Those are held, save where a limit of their own leaves no other way. Knows how far
//! they must go; not what the surface makes of it.

use super::field::{Zone, least_mm};
use super::interval::{Bound, Interval, Intervals};
use super::order::writable;
use super::repair::{Relaid, ValueChange, stops};
use super::search::Rebuild;
use super::{Case, ROUNDING, shop};
use crate::footbed::Footbed;
use crate::gauge;
use crate::ticket::{FootOrder, Underside};
use crate::value::{Value, Values};

/// The values that are held, in the order in which their own limits are met: each may narrow the next.
const HELD: [Value; 5] =
    [Value::FlexZoneThickness, Value::Length, Value::BallWidth, Value::HeelWidth, Value::HeelCupWidth];

/// Sizes that the liner has to take as well.
const OF_LINER: [Value; 3] = [Value::Length, Value::BallWidth, Value::HeelWidth];
/// What a millimetre of those counts against one of a medial arch: twice, as it may no longer lie in its liner. Shop's
/// own choice.
const SIZE_WEIGHT: f64 = 2.0;

/// An order with some values changed, and its design.
#[derive(Clone)]
pub(super) struct Changed {
    pub(super) order: FootOrder,
    footbed: Footbed,
    read_back: Values,
    /// What of [`HELD`] was changed, with what bounds it.
    pub(super) held: Vec<(ValueChange, Bound)>,
}

impl Changed {
    pub(super) fn nothing(case: &Case) -> Changed {
        Changed {
            order: case.order.clone(),
            footbed: case.footbed.clone(),
            read_back: case.read_back.clone(),
            held: vec![],
        }
    }

    /// What stops it, as it would lie in its blank.
    pub(super) fn stops(&self, case: &Case, relaid: Relaid) -> Vec<&'static str> {
        let case = self.case(case);
        [stops(&super::check(&case).0), stops(&relaid(case.footbed).0)].concat()
    }

    /// The case of the changed order.
    pub(super) fn case<'a>(&'a self, case: &Case<'a>) -> Case<'a> {
        Case { order: &self.order, footbed: &self.footbed, read_back: &self.read_back, ..*case }
    }

    /// With other values asked; `None` where that makes no design.
    pub(super) fn asking(&self, values: &[(Value, f64)], rebuild: Rebuild) -> Option<Changed> {
        let mut order = self.order.clone();
        values.iter().for_each(|&(value, to)| order.support.ask(value, to));
        let footbed = rebuild(&order)?;
        Some(Changed { read_back: gauge::read_design(&footbed), footbed, order, held: self.held.clone() })
    }

    /// With a held value moved into what is allowed, and no farther; `None` where it lies there already or cannot.
    fn moved(&self, value: Value, allowed: Interval, rebuild: Rebuild) -> Option<Changed> {
        let now = self.order.asked(value).or(self.read_back.get(&value).copied())?;
        let [lo, hi] = allowed.ends()?;
        if lo - ROUNDING <= now && now <= hi + ROUNDING {
            return None;
        }
        let (to, by) = (allowed.nearest(now)?, allowed.by[usize::from(now > hi)]);
        let mut changed = self.asking(&[(value, to)], rebuild)?;
        let before = changed.held.iter().position(|(change, _)| change.value == value);
        let from = before.map_or(now, |at| changed.held.remove(at).0.from);
        changed.held.push((ValueChange { value, from, to, least: now.clamp(lo, hi) }, by));
        Some(changed)
    }

    /// The same changes of held values, the shaping values as `case` has them.
    pub(super) fn with_shape_of(&self, case: &Case, rebuild: Rebuild) -> Option<Changed> {
        let held: Vec<(Value, f64)> = self.held.iter().map(|(change, _)| (change.value, change.to)).collect();
        let plain = Changed::nothing(case).asking(&held, rebuild)?;
        Some(Changed { held: self.held.clone(), ..plain })
    }

    /// What the changes of held values cost as written, and at their least.
    pub(super) fn cost(&self) -> (f64, f64) {
        self.held.iter().fold((0.0, 0.0), |(cost, least), (change, _)| {
            let one = weight(&self.order, change.value);
            (cost + one * (change.to - change.from).abs(), least + one * (change.least - change.from).abs())
        })
    }
}

/// What one mm or degree of a value's change counts.
pub(super) fn weight(order: &FootOrder, value: Value) -> f64 {
    let own = order.support.change_weights.get(&value).copied();
    own.unwrap_or(if OF_LINER.contains(&value) { SIZE_WEIGHT } else { 1.0 })
}

/// The order with every held value as far as its own limits ask, whatever the surface does.
pub(super) fn settled(case: &Case, rebuild: Rebuild) -> Changed {
    HELD.into_iter().fold(Changed::nothing(case), |changed, value| {
        let own = own_limit(&changed.case(case), value);
        own.and_then(|allowed| changed.moved(value, allowed, rebuild)).unwrap_or(changed)
    })
}

/// Of changes of one held value into its interval the one that costs least, where any of them is outside.
pub(super) fn nearest_move(changed: &Changed, intervals: &Intervals, rebuild: Rebuild) -> Option<Changed> {
    let sizes = HELD.into_iter().filter(|&value| value != Value::FlexZoneThickness);
    let moves = sizes.filter_map(|value| changed.moved(value, *intervals.get(&value)?, rebuild));
    moves.min_by(|a, b| a.cost().0.total_cmp(&b.cost().0))
}

/// What a held value may be for the limits that speak of it alone.
fn own_limit(case: &Case, value: Value) -> Option<Interval> {
    if value == Value::FlexZoneThickness {
        case.order.support.flex_zone_thickness_mm.filter(|_| case.make.underside == Underside::Relieved)?;
        let least = Bound::in_part("least_thickness", Zone::Flex.words());
        return Some(Interval::at_least(least_mm(case, Zone::Flex), least).and(writable(value)));
    }
    if value != Value::HeelCupWidth && case.order.traced.is_some() {
        return None;
    }
    let (_, own) = shop::size_intervals(case).into_iter().find(|(size, _)| *size == value)?;
    Some(own.and(writable(value)))
}
