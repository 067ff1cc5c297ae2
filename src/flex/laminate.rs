//! Layers glued on each other: what they resist together. Knows no places.
//!
//! Classical lamination of isotropic layers that share one Poisson's ratio: the neutral surface lies at
//! the centroid of the layers weighed by their moduli, and the rigidity is the sum of the layers'
//! own about it (Timoshenko & Woinowsky-Krieger 1959, art. 1; for layers Jones 1999 ch. 4 [from memory]).

use serde::Serialize;

/// One layer.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Layer {
    /// mm; none when 0.
    pub thickness_mm: f64,
    /// Young's modulus, MPa.
    pub modulus_mpa: f64,
}

/// Layers as one plate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Laminate {
    /// Bending rigidity D, N mm.
    pub rigidity_n_mm: f64,
    /// Height of the neutral surface above the lowest face, mm.
    pub neutral_mm: f64,
    /// All layers together, mm.
    pub thickness_mm: f64,
    /// Pressure that the column's faces need to come nearer by one mm, MPa/mm: the layers'
    /// springs E/t one on the other, free to bulge sideways.
    pub column_n_mm3: f64,
}

impl Laminate {
    /// These layers, the lowest first. No layer with a thickness is a plate without stiffness.
    pub fn of(layers: &[Layer], poisson: f64) -> Laminate {
        let (mut area, mut moment, mut height, mut soft) = (0.0, 0.0, 0.0, 0.0);
        for Layer { thickness_mm: t, modulus_mpa: e } in layers {
            area += e * t;
            moment += e * t * (height + 0.5 * t);
            height += t;
            soft += t / e;
        }
        let neutral = if area > 0.0 { moment / area } else { 0.0 };
        let mut low = -neutral;
        let mut bending = 0.0;
        for Layer { thickness_mm: t, modulus_mpa: e } in layers {
            let high = low + t;
            bending += e * (high.powi(3) - low.powi(3)) / 3.0;
            low = high;
        }
        Laminate {
            rigidity_n_mm: bending / (1.0 - poisson * poisson),
            neutral_mm: neutral,
            thickness_mm: height,
            column_n_mm3: if soft > 0.0 { 1.0 / soft } else { 0.0 },
        }
    }

    /// Greatest distance of a face from the neutral surface, mm: strain there is this times the
    /// curvature.
    pub fn outer_mm(&self) -> f64 {
        self.neutral_mm.max(self.thickness_mm - self.neutral_mm)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn layer(thickness_mm: f64, modulus_mpa: f64) -> Layer {
        Layer { thickness_mm, modulus_mpa }
    }

    /// E t^3 / 12 (1 - nu^2), however the one layer is sliced (closed form).
    #[test]
    fn slices_of_one_material_are_one_layer() {
        let whole = Laminate::of(&[layer(4.0, 1400.0)], 0.3);
        let sliced = Laminate::of(&[layer(1.0, 1400.0), layer(2.5, 1400.0), layer(0.0, 9.0), layer(0.5, 1400.0)], 0.3);
        assert_relative_eq!(whole.rigidity_n_mm, 1400.0 * 64.0 / 12.0 / 0.91, max_relative = 1e-12);
        assert_relative_eq!(sliced.rigidity_n_mm, whole.rigidity_n_mm, max_relative = 1e-12);
        assert_relative_eq!(sliced.outer_mm(), 2.0, max_relative = 1e-12);
        assert_relative_eq!(sliced.column_n_mm3, 350.0, max_relative = 1e-12);
    }

    /// Two equal layers of moduli 1 and m: D / D1 = (1 + 14 m + m^2) / (1 + m), from the parallel axis
    /// theorem (derived; 16/2 = 8 for m = 1, as a layer twice as thick must have).
    #[test]
    fn two_layers_bend_as_the_bimetal_strip() {
        for m in [1.0, 0.25, 3.0] {
            let one = Laminate::of(&[layer(2.0, 1.0)], 0.0).rigidity_n_mm;
            let both = Laminate::of(&[layer(2.0, 1.0), layer(2.0, m)], 0.0);
            assert_relative_eq!(both.rigidity_n_mm / one, (1.0 + 14.0 * m + m * m) / (1.0 + m), max_relative = 1e-12);
            assert_relative_eq!(both.neutral_mm, (1.0 + 3.0 * m) / (1.0 + m), max_relative = 1e-12);
        }
    }

    /// A sandwich with faces far from a soft core: D = E t d^2 / 2 and a little (Gibson & Ashby 1997,
    /// ch. 9 [from memory]): 3 % is the faces' own bending and the core's.
    #[test]
    fn a_sandwich_is_its_faces() {
        let sandwich = Laminate::of(&[layer(0.5, 1000.0), layer(10.0, 1.0), layer(0.5, 1000.0)], 0.0);
        assert_relative_eq!(sandwich.rigidity_n_mm, 1000.0 * 0.5 * 10.5 * 10.5 / 2.0, max_relative = 0.03);
    }
}
