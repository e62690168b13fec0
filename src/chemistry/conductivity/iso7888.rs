//! The non-linear compensation for natural water.

use std::ops::RangeInclusive;

use crate::chemistry::table::between;
use crate::units::Temperature;

/// Temperatures of the rows at hand, in °C. The standard's own table goes on to
/// 35.9 °C.
pub(super) const NATURAL_WATER_RANGE_C: RangeInclusive<f64> = F25[0].0..=F25[F25.len() - 1].0;

/// A temperature that no row stands for.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error(
    "{found} is outside the table of ISO 7888, {:.1} to {:.1} °C; compensate by a coefficient \
     in %/K there",
    NATURAL_WATER_RANGE_C.start(),
    NATURAL_WATER_RANGE_C.end()
)]
pub struct OutsideIso7888 {
    /// What was given.
    pub found: Temperature,
}

/// What conductivity at a temperature is multiplied with to refer it to 25 °C,
/// after ISO 7888 for natural water. Commonly advised from 60 to 1000 µS/cm,
/// which is make-up water; a mix has more (common practice, no source).
///
/// # Errors
/// When the temperature is outside the table.
pub fn natural_water_factor(temperature: Temperature) -> Result<f64, OutsideIso7888> {
    between(&F25, temperature.celsius()).ok_or(OutsideIso7888 { found: temperature })
}

/// (°C, f₂₅). Source: ISO 7888:1985 (EN 27888), table, as reproduced in two
/// instrument manuals that agree digit for digit. Only rows that were found
/// there; straight lines over the gaps, of 0.8 K at most, are good to the last
/// digit.
#[rustfmt::skip]
const F25: [(f64, f64); 190] = [
    (0.0, 1.918), (0.1, 1.912), (0.2, 1.906), (0.3, 1.899), (0.4, 1.893), (0.5, 1.887), (0.6, 1.881), (0.7, 1.875),
    (0.8, 1.869), (0.9, 1.863), (1.0, 1.857), (1.1, 1.851), (1.2, 1.845), (1.3, 1.840), (1.4, 1.834), (1.5, 1.829),
    (1.6, 1.822), (1.7, 1.817), (1.8, 1.811), (1.9, 1.805), (2.0, 1.800), (2.1, 1.794), (2.2, 1.788), (2.3, 1.783),
    (2.4, 1.777), (2.5, 1.772), (2.6, 1.766), (2.7, 1.761), (2.8, 1.756), (2.9, 1.750), (3.0, 1.745), (3.1, 1.740),
    (3.2, 1.734), (3.3, 1.729), (3.4, 1.724), (3.5, 1.719), (3.6, 1.713), (3.7, 1.708), (3.8, 1.703), (3.9, 1.698),
    (4.0, 1.693), (4.1, 1.688), (4.2, 1.683), (4.3, 1.678), (4.4, 1.673), (4.5, 1.668), (4.6, 1.663), (4.7, 1.658),
    (4.8, 1.653), (4.9, 1.648), (5.0, 1.643), (5.1, 1.638), (5.2, 1.634), (5.3, 1.629), (5.4, 1.624), (5.5, 1.619),
    (5.6, 1.615), (6.0, 1.596), (6.1, 1.591), (6.2, 1.587), (6.3, 1.582), (6.4, 1.578), (6.5, 1.573), (6.6, 1.569),
    (7.0, 1.551), (7.1, 1.547), (7.2, 1.542), (7.3, 1.538), (7.4, 1.534), (7.5, 1.529), (7.6, 1.525), (8.1, 1.504),
    (8.2, 1.500), (8.3, 1.496), (8.4, 1.491), (8.5, 1.487), (8.6, 1.483), (9.0, 1.467), (9.1, 1.463), (9.2, 1.459),
    (9.3, 1.455), (9.4, 1.451), (9.5, 1.447), (9.6, 1.443), (10.0, 1.428), (10.1, 1.424), (10.2, 1.420), (10.3, 1.416),
    (10.4, 1.413), (10.5, 1.409), (10.6, 1.405), (11.0, 1.390), (11.1, 1.387), (11.2, 1.383), (11.3, 1.379), (11.4, 1.376),
    (11.5, 1.372), (11.6, 1.369), (12.0, 1.354), (12.1, 1.351), (12.2, 1.347), (12.4, 1.341), (12.5, 1.337), (12.6, 1.334),
    (13.0, 1.320), (13.1, 1.317), (13.2, 1.313), (13.3, 1.310), (14.0, 1.287), (14.1, 1.284), (14.2, 1.281), (14.3, 1.278),
    (15.0, 1.256), (15.1, 1.253), (15.2, 1.249), (15.3, 1.246), (16.0, 1.225), (16.1, 1.222), (16.2, 1.219), (16.3, 1.216),
    (17.1, 1.193), (17.2, 1.191), (17.3, 1.188), (18.0, 1.168), (18.1, 1.166), (18.2, 1.163), (18.3, 1.160), (19.0, 1.141),
    (19.1, 1.139), (19.2, 1.136), (19.3, 1.134), (20.0, 1.116), (20.1, 1.113), (20.3, 1.108), (21.0, 1.091), (21.1, 1.088),
    (21.2, 1.086), (21.3, 1.083), (22.0, 1.067), (22.1, 1.064), (22.2, 1.062), (22.3, 1.060), (23.1, 1.041), (23.2, 1.039),
    (23.3, 1.037), (24.0, 1.021), (24.1, 1.019), (24.2, 1.017), (24.3, 1.015), (25.0, 1.000), (25.1, 0.998), (25.2, 0.996),
    (25.3, 0.994), (26.0, 0.979), (26.1, 0.977), (26.2, 0.975), (26.3, 0.973), (27.0, 0.959), (27.2, 0.955), (27.3, 0.953),
    (28.0, 0.940), (28.1, 0.938), (28.2, 0.936), (28.3, 0.934), (29.0, 0.921), (29.1, 0.920), (29.2, 0.918), (29.3, 0.916),
    (30.0, 0.903), (30.1, 0.902), (30.2, 0.900), (30.3, 0.898), (31.1, 0.884), (31.2, 0.883), (31.3, 0.881), (32.0, 0.869),
    (32.1, 0.867), (32.2, 0.866), (32.3, 0.864), (33.0, 0.853), (33.1, 0.851), (33.2, 0.850), (34.0, 0.837), (34.1, 0.835),
    (34.2, 0.834), (34.3, 0.832), (35.0, 0.822), (35.1, 0.820), (35.2, 0.819), (35.3, 0.817),
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chemistry::table::tests::{numbers, rows};

    #[test]
    fn agrees_with_the_published_table() {
        let table = rows(include_str!("../../../tests/reference/iso7888_f25.csv"));
        assert_eq!(table.len(), F25.len());
        for row in table {
            assert_eq!(&row[3], "retrieved");
            let [celsius, want] = numbers(&row);
            let got = natural_water_factor(Temperature::from_celsius(celsius)).unwrap();
            assert!((got - want).abs() < 1e-9, "{row:?} gave {got}");
        }
    }

    #[test]
    fn falls_all_the_way_without_a_jump() {
        for pair in F25.windows(2) {
            let ((t0, f0), (t1, f1)) = (pair[0], pair[1]);
            assert!(t0 < t1 && t1 - t0 < 0.81, "{pair:?}");
            let fall = (f0 - f1) / (t1 - t0);
            assert!(fall > 0.0 && fall < 0.071, "{pair:?}");
        }
    }

    #[test]
    fn refuses_what_no_row_stands_for() {
        for celsius in [-0.1, 35.4, f64::MAX] {
            let told = natural_water_factor(Temperature::from_celsius(celsius)).unwrap_err();
            assert!(told.to_string().contains("0.0 to 35.3 °C"), "{told}");
        }
    }
}
