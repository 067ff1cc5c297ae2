//! A footbed as a plate on the boot board: thickness, layers and gap at the plate's places, and the
//! plate at rest under a load. Knows no load patterns.

use super::contact::{Grip, Rest, Spring, settle};
use super::laminate::{Laminate, Layer};
use super::plate::{BEYOND, stiffness};
use super::region::{Place, Region};
use super::{FlexError, gent_mpa};
use crate::footbed::{Footbed, Underside};
use crate::frame::Point2;
use crate::grid::{Grid, Lattice};
use crate::profile::TopLayer;

/// Thinner is a hole and no plate, mm: the limits stop it; here it only keeps numbers in range.
const LEAST_MM: f64 = 0.3;
/// Step of the lattice on which the distance from the outline is kept, mm: between its nodes it is off by
/// under 0.02 mm where the outline bends with a radius of 30 mm (s^2 / 8 r, derived).
const EDGE_STEP_MM: f64 = 2.0;
/// Distances beyond this need not be told apart, mm: a hollow's wall and fillet end well before.
const EDGE_BAND_MM: f64 = 40.0;
/// Where the underside stands off the board by less, it is not over the hollow, mm.
const HOLLOW_MM: f64 = 0.2;
/// Hardness of a glued cover, Shore A: soft foam under cloth. Shop's own choice; at 1 to 2 mm it
/// hardly counts.
const COVER_SHORE_A: f64 = 25.0;

/// What the plate is made of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stuff {
    /// Young's modulus of the base, MPa.
    pub modulus_mpa: f64,
    /// Poisson's ratio, taken for all layers.
    pub poisson: f64,
    /// A softer layer on top.
    pub top_layer: Option<TopLayer>,
    /// Thickness of a glued cover, mm.
    pub cover_mm: f64,
}

impl Stuff {
    /// The layers between these heights, the cover on top of them.
    fn between(&self, under_mm: f64, top_mm: f64) -> Laminate {
        let top_mm = top_mm.max(under_mm + LEAST_MM);
        let seam = self.top_layer.map_or(top_mm, |layer| layer.above_mm.clamp(under_mm, top_mm));
        let soft = self.top_layer.map_or(1.0, |layer| gent_mpa(layer.shore_a));
        let layers = [
            Layer { thickness_mm: seam - under_mm, modulus_mpa: self.modulus_mpa },
            Layer { thickness_mm: top_mm - seam, modulus_mpa: soft },
            Layer { thickness_mm: self.cover_mm, modulus_mpa: gent_mpa(COVER_SHORE_A) },
        ];
        Laminate::of(&layers, self.poisson)
    }
}

/// Top of the footbed at a place, and how far inside the outline that is.
#[derive(Clone, Copy)]
struct Spot {
    at: Point2,
    top_mm: f64,
    inside_mm: f64,
}

impl Spot {
    fn of(footbed: &Footbed, edge: &Grid, at: Point2) -> Spot {
        Spot { at, top_mm: footbed.top_at(at), inside_mm: -edge.sample(at).unwrap_or(0.0) }
    }

    fn layers(&self, footbed: &Footbed, underside: Underside, stuff: &Stuff) -> (f64, Laminate) {
        let under = footbed.underside_as(underside, self.at, self.top_mm, self.inside_mm);
        (under, stuff.between(under, self.top_mm))
    }
}

/// A footbed cut into a plate's places.
pub(super) struct Piece<'a> {
    pub footbed: &'a Footbed,
    pub region: Region,
    /// Signed distance from the outline, mm.
    edge: Grid,
    bending: Vec<Spot>,
    touching: Vec<Spot>,
}

/// A plate at rest with what it was made of.
pub(super) struct Rested {
    pub rest: Rest,
    underside: Underside,
    stuff: Stuff,
    /// Height of the underside and the layers at the places of bending.
    laminates: Vec<(f64, Laminate)>,
}

/// Greatest strain somewhere.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Strained {
    pub strain: f64,
    pub at: Point2,
    /// Of the footbed there, mm.
    pub thickness_mm: f64,
}

impl<'a> Piece<'a> {
    pub(super) fn new(footbed: &'a Footbed, knot_mm: f64) -> Result<Piece<'a>, FlexError> {
        let region = Region::inside(footbed.outline.points(), knot_mm)?;
        let lattice = Lattice::covering(footbed.outline.bounds().grown(2.0 * EDGE_STEP_MM), EDGE_STEP_MM);
        let edge = footbed.outline.distance_field(&lattice, EDGE_BAND_MM);
        let spots =
            |places: &[Place]| places.iter().map(|place| Spot::of(footbed, &edge, place.at)).collect::<Vec<_>>();
        let (bending, touching) = (spots(&region.places), spots(&region.touches));
        Ok(Piece { footbed, region, edge, bending, touching })
    }

    /// The plate at rest; `near` is one that rests much alike, to start from, on these knots or on others.
    pub(super) fn rest(
        &self,
        underside: Underside,
        stuff: Stuff,
        load: &[f64],
        near: Option<&Rested>,
    ) -> Result<Rested, FlexError> {
        let laminates: Vec<(f64, Laminate)> =
            self.bending.iter().map(|spot| spot.layers(self.footbed, underside, &stuff)).collect();
        let rigidity: Vec<f64> = laminates.iter().map(|(_, laminate)| laminate.rigidity_n_mm).collect();
        let plate = stiffness(&self.region, &rigidity, stuff.poisson, BEYOND);
        let springs: Vec<Spring> = self
            .touching
            .iter()
            .zip(&self.region.touches)
            .map(|(spot, place)| {
                let (gap, laminate) = spot.layers(self.footbed, underside, &stuff);
                Spring::under(&place.local, gap, laminate.column_n_mm3 * place.area_mm2, Grip::Pushes)
            })
            .collect();
        let start: Vec<bool> = match near {
            None => vec![],
            Some(near) if near.rest.working.len() == springs.len() => near.rest.working.clone(),
            Some(near) => {
                let sunk = self.touching.iter().map(|spot| near.rest.sheet.height(spot.at));
                sunk.zip(&springs).map(|(mm, spring)| mm > spring.gap_mm).collect()
            }
        };
        let rest = settle(&plate, self.region.basis, load, &springs, &start)?;
        Ok(Rested { rest, underside, stuff, laminates })
    }

    /// Whether a place lies between the heel post's front and the met line.
    pub(super) fn in_flex_zone(&self, p: Point2) -> bool {
        let places = &self.footbed.places;
        p.y > places.heel_post_front_y() && p.y < places.met_line_y(p.x)
    }

    /// Places of the flex zone.
    fn flex_zone(&self) -> impl Iterator<Item = (usize, &Place)> {
        self.region.places.iter().enumerate().filter(|(_, place)| self.in_flex_zone(place.at))
    }

    /// Where the flex zone sinks most, and by how much, mm.
    pub(super) fn deepest(&self, rested: &Rested) -> Option<(f64, Point2)> {
        let w = &rested.rest.sheet.coefficients;
        self.flex_zone().map(|(_, place)| (place.local.of(w, 0, 0), place.at)).max_by(|a, b| a.0.total_cmp(&b.0))
    }

    /// Where bending strains a face of the flex zone most: distance from the neutral surface times the
    /// greater of the principal curvatures. Only over the hollow: what lies on the board is squeezed
    /// and not bent. `None` without a hollow.
    pub(super) fn strained(&self, rested: &Rested) -> Option<Strained> {
        let w = &rested.rest.sheet.coefficients;
        let strain = |(k, place): (usize, &Place)| {
            let (xx, xy, yy) = (place.local.of(w, 2, 0), place.local.of(w, 1, 1), place.local.of(w, 0, 2));
            let (mean, spread) = (0.5 * (xx + yy), (0.25 * (xx - yy).powi(2) + xy * xy).sqrt());
            let (gap, laminate) = rested.laminates.get(k)?;
            let strain = laminate.outer_mm() * (mean.abs() + spread);
            (*gap > HOLLOW_MM).then_some(Strained { strain, at: place.at, thickness_mm: laminate.thickness_mm })
        };
        self.flex_zone().filter_map(strain).max_by(|a, b| a.strain.total_cmp(&b.strain))
    }

    /// Share of the area under which the board pushes.
    pub(super) fn contact_share(&self, rested: &Rested) -> f64 {
        let areas = self.region.touches.iter().zip(&rested.rest.forces_n);
        let (touching, all) = areas.fold((0.0, 0.0), |(touching, all), (place, force)| {
            (touching + if *force > 0.0 { place.area_mm2 } else { 0.0 }, all + place.area_mm2)
        });
        touching / all
    }

    /// Deflection, mm, and the board's pressure, kPa, at a place.
    pub(super) fn at(&self, rested: &Rested, p: Point2) -> [f64; 2] {
        let (gap, laminate) =
            Spot::of(self.footbed, &self.edge, p).layers(self.footbed, rested.underside, &rested.stuff);
        let w = rested.rest.sheet.height(p);
        [w, 1000.0 * laminate.column_n_mm3 * (w - gap).max(0.0)]
    }

    /// Thickness of the footbed at a place, without a cover, mm.
    pub(super) fn thickness_mm(&self, underside: Underside, p: Point2) -> f64 {
        let spot = Spot::of(self.footbed, &self.edge, p);
        spot.top_mm - self.footbed.underside_as(underside, p, spot.top_mm, spot.inside_mm)
    }
}
