//! What a material's few published numbers say about how it gives: modulus from hardness, and a closed
//! cell foam's law of compression. Knows no shapes.

/// Pressure of the air in the cells, kPa: one atmosphere.
const AIR_KPA: f64 = 101.3;

/// Young's modulus of rubber from its Shore A hardness S, MPa: Gent 1958, Rubber Chem. Technol. 31:896,
/// `E = 0.0981 (56 + 7.62336 S) / (0.137505 (254 - 2.54 S))`. For solid rubber; a foam of the same
/// hardness may be a third of it off either way.
pub fn gent_mpa(shore_a: f64) -> f64 {
    0.0981 * (56.0 + 7.62336 * shore_a) / (0.137505 * (254.0 - 2.54 * shore_a))
}

/// The other formula in use, `log10 E = 0.0235 S - 0.6403`, MPa: 63 % above Gent's at 60 Shore A. Only
/// to show how far formulas differ.
pub fn log_hardness_mpa(shore_a: f64) -> f64 {
    10f64.powf(0.0235 * shore_a - 0.6403)
}

/// Pressure that squeezes a closed-cell foam by the share `strain` of its thickness, kPa:
/// `sigma0 + p0 e / (1 - e - R)`, cell walls that have given way and air that is squeezed at constant
/// temperature (Gibson & Ashby 1997, eq. 5.17 [from memory]). `None` where the cells are shut.
pub fn squeeze_kpa(plateau_kpa: f64, relative_density: f64, strain: f64) -> Option<f64> {
    let room = 1.0 - strain - relative_density;
    (room > 0.0 && strain >= 0.0).then(|| plateau_kpa + AIR_KPA * strain / room)
}

/// The share of its thickness by which `pressure_kpa` squeezes the foam: the law above turned round,
/// or what its modulus gives where that is more (before the walls give way). A pressure of zero or
/// less, or one that is no number, squeezes nothing.
pub fn squeezed(plateau_kpa: f64, relative_density: f64, modulus_mpa: f64, pressure_kpa: f64) -> f64 {
    if pressure_kpa.is_nan() || pressure_kpa <= 0.0 {
        return 0.0;
    }
    let beyond = (pressure_kpa - plateau_kpa).max(0.0);
    let by_air = beyond * (1.0 - relative_density) / (AIR_KPA + beyond);
    let by_walls = (pressure_kpa.min(plateau_kpa) / (1000.0 * modulus_mpa)).min(1.0 - relative_density);
    by_air.max(by_walls)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Gent 1958 and the log formula, tables worked out by hand from both.
    #[test]
    fn hardness_tables() {
        let table = [(30.0, 1.142, 1.161), (40.0, 1.690, 1.994), (50.0, 2.456, 3.425), (60.0, 3.605, 5.884)];
        for (shore, gent, log) in table {
            assert_relative_eq!(gent_mpa(shore), gent, max_relative = 5e-4);
            assert_relative_eq!(log_hardness_mpa(shore), log, max_relative = 5e-4);
        }
        assert_relative_eq!(log_hardness_mpa(60.0) / gent_mpa(60.0), 1.63, epsilon = 0.005);
    }

    /// The law without a plateau for a polyethylene foam of 33 kg/m3 (920 solid): 35.5, 71.8, 109.2,
    /// 167.0 kPa at 25, 40, 50, 60 %; measured were 40, 75, 115, 175, so the air alone is 4 to 12 %
    /// short of it.
    #[test]
    fn foam_table() {
        let dense = 33.0 / 920.0;
        for (percent, law, measured) in
            [(25.0, 35.5, 40.0), (40.0, 71.8, 75.0), (50.0, 109.2, 115.0), (60.0, 167.0, 175.0)]
        {
            let kpa = squeeze_kpa(0.0, dense, percent / 100.0).unwrap();
            assert_relative_eq!(kpa, law, max_relative = 2e-3);
            assert!((0.03..0.13).contains(&(1.0 - kpa / measured)), "{kpa} {measured}");
            assert_relative_eq!(squeezed(0.0, dense, 1e9, kpa), percent / 100.0, max_relative = 1e-12);
        }
        assert_eq!(squeeze_kpa(10.0, 0.2, 0.8), None);
    }

    #[test]
    fn more_pressure_squeezes_more_and_never_through() {
        let at = |kpa: f64| squeezed(120.0, 0.25, 2.5, kpa);
        assert_relative_eq!(at(50.0), 0.02, max_relative = 1e-12);
        let steps: Vec<f64> = (0..400).map(|k| at(25.0 * f64::from(k))).collect();
        assert!(steps.windows(2).all(|pair| pair[0] <= pair[1]));
        assert!(steps.iter().all(|e| (0.0..0.75).contains(e)));
        assert_eq!(at(f64::NAN), 0.0);
    }
}
