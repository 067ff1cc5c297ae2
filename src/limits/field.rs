//! What the top surface is at every place looked at, and what it may be there: heights and slopes,
//! and how each moves with each value. The top is linear in the shaping values, so for one value
//! with the others held each place allows an interval in closed form, and the intersection is exact
//! on the places looked at.

use super::interval::{Bound, Interval, Intervals};
use super::line::{Amounts, own_unit};
use super::{Case, ROUNDING, order, shop};
use crate::footbed::{Footbed, SHAPING, shaping_amounts};
use crate::frame::{Point2, Vector2};
use crate::grid::Lattice;

/// Distance between the places looked at, mm. The sheet's knots are 4 mm apart, so between places
/// 2 mm apart the surface strays from them by under 0.05 mm at a bend of radius 10 mm
/// (s^2 / 8 r, derived).
const STEP_MM: f64 = 2.0;

/// Ends lie this far inside of where findings begin, so that an end itself passes however its last
/// digits are rounded.
const HAIR: f64 = 1e-9;

/// A part of the footbed with a thickness limit of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Zone {
    Heel,
    Flex,
    Forefoot,
}

impl Zone {
    pub(super) const ALL: [Zone; 3] = [Zone::Heel, Zone::Flex, Zone::Forefoot];

    pub(super) fn words(self) -> &'static str {
        match self {
            Zone::Heel => "heel",
            Zone::Flex => "flex zone",
            Zone::Forefoot => "forefoot",
        }
    }

    fn of(footbed: &Footbed, at: Point2) -> Zone {
        let places = &footbed.places;
        if at.y < places.heel_post_front_y() {
            Zone::Heel
        } else if at.y < places.met_line_y(at.x) {
            Zone::Flex
        } else {
            Zone::Forefoot
        }
    }
}

/// The design at one place.
pub(super) struct Seen {
    pub(super) at: Point2,
    pub(super) zone: Zone,
    /// Height of the top, mm.
    pub(super) z: f64,
    pub(super) grad: Vector2,
}

impl Seen {
    pub(super) fn slope(&self) -> f64 {
        self.grad.norm()
    }
}

/// What one unit of each shaping value makes at one place.
pub(super) struct Moves {
    pub(super) height: Amounts,
    pub(super) slope: [Vector2; SHAPING.len()],
    /// Height and slope that no shaping value moves: what a relief adds.
    pub(super) held: (f64, Vector2),
}

/// The heights and slopes that are allowed, each with what bounds it.
pub(super) struct Allowed {
    /// In the order of [`Zone::ALL`].
    floors: [(f64, Bound); 3],
    pub(super) ceiling: (f64, Bound),
    /// Greatest slope, mm per mm.
    pub(super) steepest: f64,
}

impl Allowed {
    pub(super) fn new(case: &Case) -> Allowed {
        let by_shop = shop::lowest_allowed_mm(case.make);
        let floors = Zone::ALL.map(|zone| {
            let own = (least_mm(case, zone), Bound::in_part("least_thickness", zone.words()));
            by_shop.iter().fold(own, |most, &next| if next.0 > most.0 { next } else { most })
        });
        Allowed {
            floors,
            ceiling: shop::highest_allowed_mm(case.make),
            steepest: case.make.material.steepest_wall_deg.to_radians().tan(),
        }
    }

    pub(super) fn floor(&self, zone: Zone) -> (f64, Bound) {
        self.floors[zone as usize]
    }
}

/// What bounds the slope of the top.
pub(super) const STEEP: Bound = Bound::of("steepest_wall");

/// The places looked at, with the limits that hold there.
pub(super) struct Field {
    pub(super) seen: Vec<Seen>,
    pub(super) allowed: Allowed,
}

impl Field {
    pub(super) fn new(case: &Case) -> Field {
        let footbed = case.footbed;
        let seen = places(footbed)
            .into_iter()
            .map(|at| {
                let (z, grad) = footbed.top.height_and_slope(at);
                Seen { at, zone: Zone::of(footbed, at), z, grad }
            })
            .collect();
        Field { seen, allowed: Allowed::new(case) }
    }

    pub(super) fn lowest_mm(&self) -> f64 {
        self.seen.iter().map(|s| s.z).fold(f64::INFINITY, f64::min)
    }

    pub(super) fn highest_mm(&self) -> f64 {
        self.seen.iter().map(|s| s.z).fold(f64::NEG_INFINITY, f64::max)
    }

    /// The least slack of each limit that holds at every place; negative where it is broken. Slopes
    /// count as mm per mm.
    pub(super) fn slacks(&self) -> Vec<(Bound, f64)> {
        let least =
            |slack: &dyn Fn(&Seen) -> Option<f64>| self.seen.iter().filter_map(slack).fold(f64::INFINITY, f64::min);
        let mut slacks: Vec<(Bound, f64)> = Zone::ALL
            .into_iter()
            .map(|zone| {
                let (floor, by) = self.allowed.floor(zone);
                (by, least(&|s: &Seen| (s.zone == zone).then_some(s.z - floor)))
            })
            .collect();
        let (ceiling, by) = self.allowed.ceiling;
        slacks.push((by, least(&|s: &Seen| Some(ceiling - s.z))));
        slacks.push((STEEP, least(&|s: &Seen| Some(self.allowed.steepest - s.slope()))));
        slacks
    }
}

/// A field that also knows how its places move with the shaping values.
pub(super) struct Moving {
    pub(super) field: Field,
    pub(super) moves: Vec<Moves>,
    pub(super) amounts: Amounts,
}

impl Moving {
    pub(super) fn new(case: &Case) -> Moving {
        let field = Field::new(case);
        let moves = field.seen.iter().map(|seen| moves(case.footbed, seen.at)).collect();
        Moving { field, moves, amounts: shaping_amounts(&case.order.support) }
    }

    /// The interval of every shaping value with the others held, in its own unit.
    pub(super) fn intervals(&self, case: &Case) -> [Interval; SHAPING.len()] {
        let lines = order::lines(case);
        std::array::from_fn(|k| {
            let all = Interval::ALL;
            let own = lines.iter().fold(all, |allowed, line| allowed.and(line.interval(&self.amounts, k)));
            let places = self.field.seen.iter().zip(&self.moves);
            let everywhere = places.fold(all, |allowed, (s, m)| allowed.and(self.at(s, m, k)));
            let both = own.and(everywhere.shrunk(HAIR));
            both.by_rising(|amount| own_unit(SHAPING[k], amount)).and(order::writable(SHAPING[k]))
        })
    }

    /// What one place allows value `k`: as far as the findings allow it, rounding included, so that
    /// an end is where a finding begins also at a place that hardly moves with the value.
    fn at(&self, s: &Seen, m: &Moves, k: usize) -> Interval {
        let Allowed { ceiling: (ceiling, high), steepest, .. } = self.field.allowed;
        let (floor, low) = self.field.allowed.floor(s.zone);
        let (r, g, amount) = (m.height[k], m.slope[k], self.amounts[k]);
        let held = s.grad - g * amount;
        Interval::of_floor(s.z - amount * r, r, floor - ROUNDING, low)
            .and(Interval::of_ceiling(s.z - amount * r, r, ceiling + ROUNDING, high))
            .and(Interval::of_disc(held.into(), g.into(), steepest + ROUNDING, STEEP))
    }
}

/// A place at which something needs the top to stand at least so high, whatever the zone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Floor {
    /// Where, foot frame; it may lie outside the outline, where the sheet goes on.
    pub at: Point2,
    /// Least height over the base plane, mm.
    pub least_mm: f64,
    /// The limit that needs it.
    pub by: Bound,
}

/// Narrows the shaping values' intervals to what these places allow as well.
pub fn narrow(case: &Case, intervals: &mut Intervals, floors: &[Floor]) {
    let amounts = shaping_amounts(&case.order.support);
    for (k, value) in SHAPING.into_iter().enumerate() {
        let places = floors.iter().fold(Interval::ALL, |allowed, floor| {
            let r = case.footbed.responses.get(k).map_or(0.0, |response| response.height(floor.at));
            let held = case.footbed.top_at(floor.at) - amounts[k] * r;
            allowed.and(Interval::of_floor(held, r, floor.least_mm - ROUNDING, floor.by))
        });
        if let Some(interval) = intervals.get_mut(&value) {
            *interval = interval.and(places.shrunk(HAIR).by_rising(|amount| own_unit(value, amount)));
        }
    }
}

fn moves(footbed: &Footbed, at: Point2) -> Moves {
    let mut moves = Moves { height: Amounts::default(), slope: Default::default(), held: footbed.relief_at(at) };
    for (k, response) in footbed.responses.iter().enumerate() {
        (moves.height[k], moves.slope[k]) = response.height_and_slope(at);
    }
    moves
}

/// A lattice inside the outline, and the outline itself.
fn places(footbed: &Footbed) -> Vec<Point2> {
    let lattice = Lattice::covering(footbed.outline.bounds(), STEP_MM);
    let inside = (0..lattice.len())
        .map(|k| lattice.node(k % lattice.nx, k / lattice.nx))
        .filter(|&p| footbed.outline.contains(p));
    let mut last: Option<Point2> = None;
    let edge = footbed.outline.points().iter().copied().filter(|&p| {
        let keep = last.is_none_or(|l| (p - l).norm() >= STEP_MM);
        if keep {
            last = Some(p);
        }
        keep
    });
    inside.chain(edge).collect()
}

/// Least height of the top over the base plane in a zone, sanding included. The blank's scatter does
/// not thin it: heights are counted from the bed that the underside lies on.
pub(super) fn least_mm(case: &Case, zone: Zone) -> f64 {
    let least = &case.make.material.least;
    let own = match zone {
        Zone::Heel => least.heel,
        Zone::Flex => least.flex_zone,
        Zone::Forefoot => least.forefoot,
    };
    own + case.make.material.sanding_mm
}

/// Whether `measured` is past `most` by more than rounding.
pub(super) fn past(measured: f64, most: f64) -> bool {
    measured > most + ROUNDING
}
