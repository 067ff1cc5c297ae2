//! A load as forces on a plate: ellipses of pressure under the landmarks, clipped by the trim outline.
//! Knows no plate but its basis.

use super::FlexError;
use super::region::GAUSS_4;
use crate::footbed::{EDGE_INSET_MM, Footbed};
use crate::frame::{Point2, Vector2};
use crate::profile::{Load, Patch};
use crate::sheet::Basis;

/// Standard gravity, m/s2 (ISO 80000-3).
const GRAVITY: f64 = 9.80665;
/// Directions in which an ellipse is integrated: with four places along each, a moment of second
/// order is off by less than 1e-3.
const DIRECTIONS: usize = 32;

/// One patch on the plate.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Pressed {
    /// Under what, in words.
    pub words: &'static str,
    /// Middle of the ellipse.
    pub centre: Point2,
    /// What it carries, N.
    pub newton: f64,
    /// Pressure in its middle, kPa.
    pub peak_kpa: f64,
    /// 1 N on the patch as forces on the functions: also what reads the mean deflection under it,
    /// weighed as the foot weighs it.
    pub unit: Vec<f64>,
}

/// The four patches of a load under a wearer of `weight_kg`: heel, first met, fifth met, arch.
pub(super) fn patches(
    load: &Load,
    weight_kg: f64,
    footbed: &Footbed,
    basis: &Basis,
) -> Result<[Pressed; 4], FlexError> {
    let places = &footbed.places;
    let newton = weight_kg * GRAVITY * load.body_weights * load.foot_share;
    let length = places.foot_length_mm;
    // The arch's ellipse ends at the outline, so that all of it lies on the footbed.
    let arch = places.medial_arch + Vector2::new(EDGE_INSET_MM - 0.5 * load.arch.size[0] * length, 0.0);
    let press = |words, centre, patch: Patch| pressed(words, centre, patch, newton, footbed, basis);
    Ok([
        press("heel", places.heel_centre, load.heel)?,
        press("first met head", places.first_met, load.first_met)?,
        press("fifth met head", places.fifth_met, load.fifth_met)?,
        press("medial arch", arch, load.arch)?,
    ])
}

/// Pressure falls from the middle to the edge as `sqrt(1 - r^2)`, as under a ball on a bed (Hertz
/// 1882): half as much again in the middle as the mean.
fn pressed(
    words: &'static str,
    centre: Point2,
    patch: Patch,
    newton: f64,
    footbed: &Footbed,
    basis: &Basis,
) -> Result<Pressed, FlexError> {
    let half = patch.size.map(|share| 0.5 * share * footbed.places.foot_length_mm);
    let mut unit = vec![0.0; basis.len()];
    let mut whole = 0.0;
    for k in 0..DIRECTIONS {
        let (sin, cos) = (std::f64::consts::TAU * (k as f64 + 0.5) / DIRECTIONS as f64).sin_cos();
        for (r, w) in GAUSS_4 {
            let p = centre + Vector2::new(half[0] * r * cos, half[1] * r * sin);
            if !footbed.outline.contains(p) {
                continue;
            }
            let area = half[0] * half[1] * r * w * std::f64::consts::TAU / DIRECTIONS as f64;
            let share = (1.0 - r * r).sqrt() * area;
            whole += share;
            let local = basis.local(p);
            for (i, t) in local.indices().into_iter().zip(local.terms(0, 0)) {
                unit[i] += share * t;
            }
        }
    }
    if whole <= 0.0 {
        return Err(FlexError::BesideThePlate { patch: words });
    }
    unit.iter_mut().for_each(|f| *f /= whole);
    let newton = patch.share * newton;
    Ok(Pressed { words, centre, newton, peak_kpa: 1000.0 * newton / whole, unit })
}
