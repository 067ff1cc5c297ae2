//! From asked values to a footbed: outline, top sheet, underside, solid. Foot frame throughout;
//! knows nothing of sides, materials or cutters.

mod places;
mod rails;
mod underside;

use rayon::prelude::*;

use crate::curve::{CurveError, Outline};
use crate::frame::Point2;
use crate::grid::{Grid, Lattice};
use crate::sheet::{Basis, FairError, Sheet};
use crate::ticket::Support;
use crate::value::Value;

pub use places::{EDGE_INSET_MM, POST_ARM_MM, Places, RIM_INSET_MM, Reading};
pub use rails::SHAPING;
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
        let fair = rails.problem(basis).factor()?;
        let responses: Vec<Sheet> = (0..SHAPING.len())
            .map(|k| {
                let (pulls, conditions) = rails.unit_targets(k);
                fair.solve(&pulls, &conditions)
            })
            .collect();
        let top = summed(basis, &responses, support);
        Ok(Footbed { outline, places, top, responses, underside })
    }

    /// This footbed with other shaping values and underside: the sum of its responses, without a solve. Sizes, stations
    /// and cup width of `support` must be those that it was built with; a footbed of [`Footbed::build_top`] has no
    /// responses and gives a flat top.
    pub fn reshaped(&self, support: &Support, underside: Underside) -> Footbed {
        Footbed { top: summed(self.top.basis, &self.responses, support), underside, ..self.clone() }
    }

    /// The same footbed without its responses, for whoever only looks at it: one solve in place of
    /// seven.
    pub fn build_top(
        outline: Outline,
        foot_length_mm: f64,
        support: &Support,
        underside: Underside,
    ) -> Result<Footbed, BuildError> {
        let places = Places::new(&outline, foot_length_mm, support.stations)?;
        let (basis, rails) = rails::Rails::new(&outline, &places, support.heel_cup_width_mm);
        let (pulls, conditions) = rails.targets(&shaping_amounts(support));
        let top = rails.problem(basis).factor()?.solve(&pulls, &conditions);
        Ok(Footbed { outline, places, top, responses: vec![], underside })
    }

    /// Height of the top above the base plane, mm. Outside the outline the sheet goes on.
    pub fn top_at(&self, p: Point2) -> f64 {
        self.top.height(p)
    }

    /// The underside at the nodes of a lattice; the base plane outside the outline.
    pub fn underside_sampled(&self, lattice: Lattice) -> Grid {
        if self.underside == Underside::Flat {
            return Grid::filled(lattice, 0.0);
        }
        let distance = self.outline.distance_field(&lattice, underside::INSIDE_MM);
        let mut grid = self.top.sample(lattice);
        grid.z.par_chunks_mut(lattice.nx).enumerate().for_each(|(j, row)| {
            for (i, z) in row.iter_mut().enumerate() {
                let (p, inside_mm) = (lattice.node(i, j), || -distance.at(i, j));
                *z = self.underside.height_inside(&self.outline, &self.places, p, *z, inside_mm);
            }
        });
        grid
    }

    /// Height of the underside at `p` if it were shaped as `underside`, for a top of height `top_mm`
    /// there and a place `inside_mm` inside the outline.
    pub fn underside_as(&self, underside: Underside, p: Point2, top_mm: f64, inside_mm: f64) -> f64 {
        underside.height_inside(&self.outline, &self.places, p, top_mm, || inside_mm)
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

fn summed(basis: Basis, responses: &[Sheet], support: &Support) -> Sheet {
    let mut top = Sheet::zero(basis);
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

    /// The map takes distances from a field, the place by place answer from the outline itself.
    #[test]
    fn the_sampled_underside_is_the_underside() {
        let text = include_str!("../../tests/data/relieved.toml");
        let none = |_: &str| Err(String::new());
        let ticket = ticket::read(text, "ticket.toml", &Shelf::built_in(), &none).unwrap();
        let (support, foot) = (&ticket.feet[1].support, &ticket.feet[1].foot);
        let outline = crate::curve::outline_from_measures(&crate::curve::TrimMeasures {
            length_mm: support.length_mm,
            ball_width_mm: support.ball_width_mm,
            heel_width_mm: support.heel_width_mm,
            heel_station_y_mm: support.stations.widest_cup * foot.length_mm(),
            first_met_y_mm: support.stations.first_met * foot.length_mm(),
            fifth_met_y_mm: support.stations.fifth_met * foot.length_mm(),
        })
        .unwrap();
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
