//! From asked values to a footbed: outline, top sheet, underside, solid. Foot frame throughout;
//! knows nothing of sides, materials or cutters.

mod places;
mod rails;
mod relief;
mod underside;

use std::cell::LazyCell;

use rayon::prelude::*;

use crate::curve::{CurveError, Outline};
use crate::frame::{Point2, Vector2};
use crate::grid::{Grid, Lattice};
use crate::sheet::{Basis, Fair, FairError, Sheet};
use crate::ticket::Support;
use crate::value::Value;

pub use places::{EDGE_INSET_MM, POST_ARM_MM, Places, RIM_INSET_MM, Reading};
pub use rails::SHAPING;
pub use relief::{CUP_UP_TO_MM, FollowedZone, followed};
pub use underside::Underside;

/// Why a footbed cannot be built.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum BuildError {
    /// The outline does not reach a station.
    #[error(
        "the outline ({length_mm:.1} mm long) has no width at the {what} station {station:.3} of the foot length: \
         check the outline's length and the station"
    )]
    NoSection {
        /// Which landmark.
        what: &'static str,
        /// Its station, fraction of the foot length.
        station: f64,
        /// Length of the outline, mm.
        length_mm: f64,
    },
    /// The outline itself.
    #[error("the trim outline: {0}")]
    Outline(#[from] CurveError),
    /// The cup's wall has no room between its width at half depth and the edge.
    #[error(
        "the heel cup cannot be {asked_mm} mm wide at half its depth: its wall has no room beside that; \
         ask heel_cup_width = {most_mm} or less, or a wider heel"
    )]
    CupWidth {
        /// Width asked at half the cup's depth, mm.
        asked_mm: f64,
        /// A width near it that has room, mm.
        most_mm: f64,
    },
    /// The sheet through the gauge places.
    #[error("the top surface: {0}")]
    Sheet(#[from] FairError),
}

/// A footbed as designed, foot frame.
#[derive(Clone, Debug)]
pub struct Footbed {
    /// Trim outline.
    pub outline: Outline,
    /// Where its values are gauged.
    pub places: Places,
    /// The top surface: the sum of the responses, each times its value.
    pub top: Sheet,
    /// What the top gains from one mm (for the post: from a tangent of one) of each value in
    /// [`SHAPING`]; none in a footbed of [`Footbed::build_top`].
    pub responses: Vec<Sheet>,
    /// What a sole's relief adds to the sum of the responses, whatever the values; `None` without one.
    pub relief: Option<Sheet>,
    /// The side on the boot board.
    pub underside: Underside,
}

impl Footbed {
    /// The footbed of this outline and support. `foot_length_mm` is what stations are fractions of.
    pub fn build(
        outline: Outline,
        foot_length_mm: f64,
        support: &Support,
        underside: Underside,
    ) -> Result<Footbed, BuildError> {
        let places = Places::new(&outline, foot_length_mm, support.stations)?;
        let (basis, rails) = rails::Rails::new(&outline, &places, support.heel_cup_width_mm);
        let fair = factored(&outline, &places, support, basis, &rails)?;
        let responses: Vec<Sheet> = (0..SHAPING.len())
            .map(|k| {
                let (pulls, conditions) = rails.unit_targets(k);
                fair.solve(&pulls, &conditions)
            })
            .collect();
        let (responses, relief) = following(&outline, &places, support, basis, &rails, responses)?;
        let top = summed(basis, &responses, relief.as_ref(), support);
        Ok(Footbed { outline, places, top, responses, relief, underside })
    }

    /// This footbed with other shaping values and underside: the sum of its responses, without a solve. Sizes, stations
    /// and cup width of `support` must be those that it was built with; a footbed of [`Footbed::build_top`] has no
    /// responses and gives a flat top.
    pub fn reshaped(&self, support: &Support, underside: Underside) -> Footbed {
        let top = summed(self.top.basis, &self.responses, self.relief.as_ref(), support);
        Footbed { top, underside, ..self.clone() }
    }

    /// The same footbed without its responses, for whoever only looks at it: one solve in place of
    /// seven.
    pub fn build_top(
        outline: Outline,
        foot_length_mm: f64,
        support: &Support,
        underside: Underside,
    ) -> Result<Footbed, BuildError> {
        if support.relief.is_some() {
            let whole = Footbed::build(outline, foot_length_mm, support, underside)?;
            return Ok(Footbed { responses: vec![], relief: None, ..whole });
        }
        let places = Places::new(&outline, foot_length_mm, support.stations)?;
        let (basis, rails) = rails::Rails::new(&outline, &places, support.heel_cup_width_mm);
        let (pulls, conditions) = rails.targets(&shaping_amounts(support));
        let top = factored(&outline, &places, support, basis, &rails)?.solve(&pulls, &conditions);
        Ok(Footbed { outline, places, top, responses: vec![], relief: None, underside })
    }

    /// Height of the top above the base plane, mm. Outside the outline the sheet goes on.
    pub fn top_at(&self, p: Point2) -> f64 {
        self.top.height(p)
    }

    /// What a relief adds to the top at a place, whatever the values, and its slope there.
    pub fn relief_at(&self, p: Point2) -> (f64, Vector2) {
        self.relief.as_ref().map_or((0.0, Vector2::zeros()), |relief| relief.height_and_slope(p))
    }

    /// The underside at the nodes of a lattice; the base plane outside the outline.
    pub fn underside_sampled(&self, lattice: Lattice) -> Grid {
        if self.underside == Underside::Flat {
            return Grid::filled(lattice, 0.0);
        }
        let distance = self.outline.distance_field(&lattice, underside::INSIDE_MM);
        let mut grid = self.top.sample(lattice);
        grid.z.par_chunks_mut(lattice.nx).enumerate().for_each(|(j, row)| {
            // A row has one section.
            let section = LazyCell::new(|| self.outline.section(lattice.node(0, j).y));
            for (i, z) in row.iter_mut().enumerate() {
                let (p, inside_mm) = (lattice.node(i, j), || -distance.at(i, j));
                *z = self.underside.height_inside(&self.places, p, *z, || *section, inside_mm);
            }
        });
        grid
    }

    /// Height of the underside at `p` if it were shaped as `underside`, for a top of height `top_mm`
    /// there and a place `inside_mm` inside the outline.
    pub fn underside_as(&self, underside: Underside, p: Point2, top_mm: f64, inside_mm: f64) -> f64 {
        underside.height_inside(&self.places, p, top_mm, || self.outline.section(p.y), || inside_mm)
    }

    /// Height of the underside above the base plane, mm.
    pub fn underside_at(&self, p: Point2) -> f64 {
        self.underside_if(self.underside, p)
    }

    /// What that height would be with another underside under the same top, mm.
    pub fn underside_if(&self, underside: Underside, p: Point2) -> f64 {
        underside.height(&self.outline, &self.places, p, self.top_at(p))
    }
}

/// The sheet's problem, factored; where the cup's width leaves its wall no room, that and a width that has.
fn factored(
    outline: &Outline,
    places: &Places,
    support: &Support,
    basis: Basis,
    rails: &rails::Rails,
) -> Result<Fair, BuildError> {
    rails.problem(basis).factor().map_err(|error| {
        let has_room = |width_mm: Option<f64>| {
            let (basis, rails) = rails::Rails::new(outline, places, width_mm);
            rails.problem(basis).factor().is_ok()
        };
        let narrower = |asked_mm: f64| {
            let most_mm = (0..NARROWER).map(|k| asked_mm.floor() - f64::from(k)).find(|mm| has_room(Some(*mm)))?;
            Some(BuildError::CupWidth { asked_mm, most_mm })
        };
        support.heel_cup_width_mm.and_then(narrower).unwrap_or(BuildError::Sheet(error))
    })
}

/// So many millimetres narrower a cup's width is looked for that has room.
const NARROWER: u8 = 12;

/// Responses, and what the relief adds, of a sheet that follows the support's relief: at each place that
/// follows, the sheet is pulled to where it would be without a relief, moved by its share towards the relief over
/// the support plane. Without a relief, or where all shares are 0, the responses stay what they are.
fn following(
    outline: &Outline,
    places: &Places,
    support: &Support,
    basis: Basis,
    rails: &rails::Rails,
    without: Vec<Sheet>,
) -> Result<(Vec<Sheet>, Option<Sheet>), FairError> {
    let Some(relief) = &support.relief else { return Ok((without, None)) };
    let followed: Vec<(Point2, f64, f64)> = relief
        .places()
        .filter_map(|(p, mm)| relief::followed(outline, places, relief, p, mm).map(|(_, share)| (p, mm, share)))
        .collect();
    if followed.is_empty() {
        return Ok((without, None));
    }
    let mut problem = rails.problem(basis);
    problem.pulls.extend(followed.iter().map(|(p, ..)| (basis.height(*p), relief::RELIEF_WEIGHT)));
    let fair = problem.factor()?;
    let responses = without.iter().enumerate().map(|(k, before)| {
        let (mut pulls, conditions) = rails.unit_targets(k);
        let target = |p: Point2, share: f64| (1.0 - share) * before.height(p) + share * rails::plane(places, p)[k];
        pulls.extend(followed.iter().map(|&(p, _, share)| target(p, share)));
        fair.solve(&pulls, &conditions)
    });
    let responses = responses.collect();
    let (pulls, conditions) = rails.targets(&Default::default());
    let pulls: Vec<f64> = pulls.into_iter().chain(followed.iter().map(|(_, mm, share)| share * mm)).collect();
    Ok((responses, Some(fair.solve(&pulls, &conditions))))
}

fn summed(basis: Basis, responses: &[Sheet], relief: Option<&Sheet>, support: &Support) -> Sheet {
    let mut top = relief.cloned().unwrap_or_else(|| Sheet::zero(basis));
    for (response, amount) in responses.iter().zip(shaping_amounts(support)) {
        top.add_scaled(amount, response);
    }
    top
}

/// The asked values that the top is linear in, in the order of [`SHAPING`]: mm, and the tangent of
/// the post's angle.
pub fn shaping_amounts(support: &Support) -> [f64; SHAPING.len()] {
    SHAPING.map(|value| match value {
        Value::HeelThickness => support.heel_thickness_mm,
        Value::HeelCupDepth => support.heel_cup_depth_mm,
        Value::RearfootPost => support.rearfoot_post_deg.to_radians().tan(),
        Value::MedialArch => support.medial_arch_mm,
        Value::LateralArch => support.lateral_arch_mm,
        Value::TransverseArch => support.transverse_arch_mm,
        _ => support.forefoot_thickness_mm,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::profile::Shelf;
    use crate::ticket;

    /// "the 14 exact conditions depend on each other" was printed.
    #[test]
    fn a_cup_without_room_for_its_wall_says_how_wide_it_may_be() {
        let text = include_str!("../../tests/data/relieved.toml");
        let none = |_: &str| Err(String::new());
        let ticket = ticket::read(text, "ticket.toml", &Shelf::built_in(), &none).unwrap();
        let (support, foot) = (&ticket.feet[1].support, &ticket.feet[1].foot);
        let outline = outline(support, foot.length_mm());
        let asking = |width_mm: f64| {
            let support = Support { heel_cup_width_mm: Some(width_mm), ..support.clone() };
            Footbed::build_top(outline.clone(), foot.length_mm(), &support, Underside::Flat)
        };
        let asked = support.heel_width_mm - 2.0 * places::RIM_INSET_MM;
        let Err(BuildError::CupWidth { asked_mm, most_mm }) = asking(asked) else { panic!("there is no room") };
        assert!(asked_mm == asked && (asked - 3.0..asked).contains(&most_mm), "{most_mm}");
        assert!(asking(most_mm).is_ok());
    }

    /// The outline of a support's sizes.
    fn outline(support: &Support, foot_length_mm: f64) -> Outline {
        crate::curve::outline_from_measures(&crate::curve::TrimMeasures {
            length_mm: support.length_mm,
            ball_width_mm: support.ball_width_mm,
            heel_width_mm: support.heel_width_mm,
            heel_station_y_mm: support.stations.widest_cup * foot_length_mm,
            first_met_y_mm: support.stations.first_met * foot_length_mm,
            fifth_met_y_mm: support.stations.fifth_met * foot_length_mm,
        })
        .unwrap()
    }

    /// The map takes distances from a field, the place by place answer from the outline itself.
    #[test]
    fn the_sampled_underside_is_the_underside() {
        let text = include_str!("../../tests/data/relieved.toml");
        let none = |_: &str| Err(String::new());
        let ticket = ticket::read(text, "ticket.toml", &Shelf::built_in(), &none).unwrap();
        let (support, foot) = (&ticket.feet[1].support, &ticket.feet[1].foot);
        let outline = outline(support, foot.length_mm());
        let relieved = Underside::Relieved { left_mm: 3.0, stabiliser_share: support.stabiliser_share };
        let footbed = Footbed::build(outline, foot.length_mm(), support, relieved).unwrap();
        let grid = footbed.underside_sampled(Lattice::covering(footbed.outline.bounds().grown(5.0), 1.5));
        let lattice = grid.lattice;
        assert!(grid.range().1 > 4.0);
        for (k, z) in grid.z.iter().enumerate() {
            let there = footbed.underside_at(lattice.node(k % lattice.nx, k / lattice.nx));
            assert!((z - there).abs() < 1e-9, "{z} {there}");
        }
    }
}
