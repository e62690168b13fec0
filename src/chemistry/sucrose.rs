//! The refractometer's scale: sucrose in water.
//!
//! Both tables hold published rows only; gaps in them are rows that were not
//! at hand, and are bridged by straight lines between their neighbours.

use super::table::interpolate;
use crate::units::{Brix, Temperature};

/// (°Bx, n_D): refractive index of sucrose in water at 20 °C and 589 nm,
/// against air. Source: ICUMSA 1974 table, as carried by the open library
/// chemicals 1.5.2. Straight lines between the rows are good to 0.00001 below
/// 40 °Bx.
#[rustfmt::skip]
const INDEX: [(f64, f64); 76] = [
    (0.0, 1.33299),
    (1.0, 1.33442),
    (2.0, 1.33586),
    (4.0, 1.33879),
    (5.0, 1.34026),
    (6.0, 1.34175),
    (8.0, 1.34477),
    (10.0, 1.34782),
    (11.0, 1.34937),
    (12.0, 1.35093),
    (14.0, 1.35408),
    (15.0, 1.35568),
    (16.0, 1.35729),
    (18.0, 1.36054),
    (19.0, 1.36218),
    (20.0, 1.36384),
    (21.0, 1.36551),
    (23.0, 1.36889),
    (24.0, 1.37060),
    (25.0, 1.37233),
    (26.0, 1.37406),
    (28.0, 1.37758),
    (29.0, 1.37936),
    (30.0, 1.38115),
    (31.0, 1.38296),
    (32.0, 1.38478),
    (33.0, 1.38661),
    (35.0, 1.39032),
    (36.0, 1.39220),
    (37.0, 1.39409),
    (38.0, 1.39600),
    (39.0, 1.39792),
    (40.0, 1.39986),
    (41.0, 1.40181),
    (42.0, 1.40378),
    (43.0, 1.40576),
    (45.0, 1.40978),
    (46.0, 1.41181),
    (47.0, 1.41385),
    (48.0, 1.41592),
    (49.0, 1.41799),
    (50.0, 1.42009),
    (51.0, 1.42220),
    (52.0, 1.42432),
    (53.0, 1.42647),
    (54.0, 1.42863),
    (55.0, 1.43080),
    (56.0, 1.43299),
    (58.0, 1.43743),
    (59.0, 1.43967),
    (60.0, 1.44193),
    (61.0, 1.44420),
    (62.0, 1.44650),
    (63.0, 1.44881),
    (64.0, 1.45113),
    (65.0, 1.45348),
    (66.0, 1.45584),
    (67.0, 1.45822),
    (68.0, 1.46061),
    (69.0, 1.46303),
    (70.0, 1.46546),
    (71.0, 1.46790),
    (72.0, 1.47037),
    (73.0, 1.47285),
    (74.0, 1.47535),
    (75.0, 1.47787),
    (76.0, 1.48040),
    (77.0, 1.48295),
    (78.0, 1.48552),
    (79.0, 1.48811),
    (80.0, 1.49071),
    (81.0, 1.49333),
    (82.0, 1.49597),
    (83.0, 1.49862),
    (84.0, 1.50129),
    (85.0, 1.50398),
];

/// (°C, [(°Bx, correction in °Bx)]): what to add to a reading taken at a
/// temperature to refer it to 20 °C. Source: OIV-MA-AS2-02, Table I, rows of
/// 5 to 17 °C; at 20 °C the correction is nought by definition.
#[rustfmt::skip]
const CORRECTION: [(f64, &[(f64, f64)]); 14] = [
    (5.0, &[(10.0, -0.82), (15.0, -0.87), (20.0, -0.92), (25.0, -0.95), (30.0, -0.99)]),
    (6.0, &[(10.0, -0.80), (20.0, -0.87), (25.0, -0.90), (30.0, -0.94)]),
    (7.0, &[(10.0, -0.74), (15.0, -0.78), (20.0, -0.82), (25.0, -0.84), (30.0, -0.88)]),
    (8.0, &[(10.0, -0.69), (15.0, -0.73), (25.0, -0.79), (30.0, -0.82)]),
    (9.0, &[(10.0, -0.64), (15.0, -0.67), (20.0, -0.71), (25.0, -0.73), (30.0, -0.75)]),
    (10.0, &[(10.0, -0.59), (15.0, -0.62), (20.0, -0.65), (25.0, -0.67), (35.0, -0.71), (40.0, -0.72), (45.0, -0.73), (50.0, -0.74), (55.0, -0.75), (60.0, -0.75), (65.0, -0.75), (70.0, -0.75), (75.0, -0.75)]),
    (11.0, &[(15.0, -0.57), (20.0, -0.59), (25.0, -0.61), (30.0, -0.63), (35.0, -0.64), (40.0, -0.65), (45.0, -0.66), (50.0, -0.67), (55.0, -0.68), (60.0, -0.68), (65.0, -0.68), (70.0, -0.68), (75.0, -0.67)]),
    (12.0, &[(10.0, -0.49), (15.0, -0.51), (20.0, -0.53), (30.0, -0.56), (35.0, -0.57), (40.0, -0.58), (45.0, -0.59), (50.0, -0.60), (55.0, -0.60), (60.0, -0.61), (65.0, -0.61), (70.0, -0.60), (75.0, -0.60)]),
    (13.0, &[(10.0, -0.43), (15.0, -0.45), (20.0, -0.47), (25.0, -0.48), (30.0, -0.50), (35.0, -0.51), (40.0, -0.52), (45.0, -0.52), (50.0, -0.53), (55.0, -0.53), (60.0, -0.53), (65.0, -0.53), (70.0, -0.53), (75.0, -0.53)]),
    (14.0, &[(10.0, -0.38), (20.0, -0.40), (25.0, -0.42), (30.0, -0.43), (35.0, -0.44), (40.0, -0.44), (45.0, -0.45), (50.0, -0.45), (55.0, -0.46), (60.0, -0.46), (65.0, -0.46), (70.0, -0.46), (75.0, -0.45)]),
    (15.0, &[(10.0, -0.32), (15.0, -0.33), (25.0, -0.35), (30.0, -0.36), (35.0, -0.37), (40.0, -0.37), (45.0, -0.38), (50.0, -0.38), (55.0, -0.38), (60.0, -0.38), (65.0, -0.38), (70.0, -0.38), (75.0, -0.38)]),
    (16.0, &[(15.0, -0.27), (20.0, -0.28), (25.0, -0.28), (30.0, -0.29), (35.0, -0.30), (40.0, -0.30), (45.0, -0.30), (50.0, -0.31), (55.0, -0.31), (60.0, -0.31), (65.0, -0.31), (70.0, -0.31), (75.0, -0.30)]),
    (17.0, &[(10.0, -0.20), (15.0, -0.20), (20.0, -0.21), (25.0, -0.21), (30.0, -0.22), (35.0, -0.22), (40.0, -0.23), (45.0, -0.23), (50.0, -0.23), (55.0, -0.23), (60.0, -0.23), (65.0, -0.23), (70.0, -0.23)]),
    (20.0, &[(10.0, 0.0), (75.0, 0.0)]),
];

/// Why a value is not in a table.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SucroseError {
    /// A refractive index that no row stands for.
    #[error("refractive index {found} is outside the ICUMSA 1974 table, {lowest} to {highest}")]
    Index {
        /// What was given.
        found: f64,
        /// The lowest index of the table.
        lowest: f64,
        /// The highest index of the table.
        highest: f64,
    },
    /// A reading that no row stands for.
    #[error("{found} is outside the ICUMSA 1974 table, {lowest} to {highest}")]
    Brix {
        /// What was given.
        found: Brix,
        /// The lowest reading of the table.
        lowest: Brix,
        /// The highest reading of the table.
        highest: Brix,
    },
    /// A temperature that no row of corrections stands for.
    #[error(
        "{found} is outside the rows of OIV-MA-AS2-02 Table I used here, {lowest} to {highest}; \
         let the sample come to 20 °C and read again"
    )]
    Temperature {
        /// What was given.
        found: Temperature,
        /// The lowest temperature of the table.
        lowest: Temperature,
        /// The highest temperature of the table.
        highest: Temperature,
    },
    /// A reading that the rows of its temperature do not hold.
    #[error(
        "{found} at {temperature} is outside the rows of OIV-MA-AS2-02 Table I used here, \
         {lowest} to {highest} at that temperature; let the sample come to 20 °C and read again"
    )]
    Correction {
        /// What was given.
        found: Brix,
        /// At which temperature.
        temperature: Temperature,
        /// The lowest reading there.
        lowest: Brix,
        /// The highest reading there.
        highest: Brix,
    },
}

/// Refractive index at 20 °C, 589 nm, against air, of a reading.
///
/// # Errors
/// When the reading is outside 0 to 85 °Bx.
pub fn index_from_brix(brix: Brix) -> Result<f64, SucroseError> {
    interpolate(INDEX.len(), |i| INDEX[i], brix.degrees()).ok_or(SucroseError::Brix {
        found: brix,
        lowest: Brix::from_degrees(INDEX[0].0),
        highest: Brix::from_degrees(INDEX[INDEX.len() - 1].0),
    })
}

/// Reading of a refractive index at 20 °C, 589 nm, against air.
///
/// # Errors
/// When the index is outside 1.33299 to 1.50398.
pub fn brix_from_index(index: f64) -> Result<Brix, SucroseError> {
    let turned = |i: usize| (INDEX[i].1, INDEX[i].0);
    interpolate(INDEX.len(), turned, index)
        .map(Brix::from_degrees)
        .ok_or(SucroseError::Index {
            found: index,
            lowest: INDEX[0].1,
            highest: INDEX[INDEX.len() - 1].1,
        })
}

/// A reading of a sucrose solution taken at `temperature`, referred to 20 °C.
///
/// For sucrose in water only: a metalworking emulsion has a coefficient of its
/// own, and many instruments correct for temperature themselves.
///
/// # Errors
/// When the temperature is outside 5 to 20 °C, or the reading outside the rows
/// on either side of it.
pub fn at_20_celsius(reading: Brix, temperature: Temperature) -> Result<Brix, SucroseError> {
    let celsius = temperature.celsius();
    let (first, last) = (CORRECTION[0].0, CORRECTION[CORRECTION.len() - 1].0);
    if !(first..=last).contains(&celsius) {
        return Err(SucroseError::Temperature {
            found: temperature,
            lowest: Temperature::from_celsius(first),
            highest: Temperature::from_celsius(last),
        });
    }
    let at = CORRECTION.partition_point(|(row, _)| *row < celsius);
    let upper = CORRECTION[at];
    let lower = if upper.0 == celsius {
        upper
    } else {
        CORRECTION[at - 1]
    };
    let outside = || SucroseError::Correction {
        found: reading,
        temperature,
        lowest: Brix::from_degrees(lower.1[0].0.max(upper.1[0].0)),
        highest: Brix::from_degrees(end(lower.1).min(end(upper.1))),
    };
    let along = |columns: &[(f64, f64)]| {
        interpolate(columns.len(), |i| columns[i], reading.degrees()).ok_or_else(outside)
    };
    let (below, above) = (along(lower.1)?, along(upper.1)?);
    let share = if upper.0 == lower.0 {
        0.0
    } else {
        (celsius - lower.0) / (upper.0 - lower.0)
    };
    Ok(Brix::from_degrees(
        reading.degrees() + below + share * (above - below),
    ))
}

/// The last reading of a row of corrections.
fn end(columns: &[(f64, f64)]) -> f64 {
    columns[columns.len() - 1].0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chemistry::table::tests::rows;

    #[test]
    fn agrees_with_the_published_index_table() {
        let rows = rows(include_str!("../../tests/reference/brix_ri_icumsa1974.csv"));
        assert_eq!(rows.len(), INDEX.len());
        for row in rows {
            let (brix, index): (f64, f64) = (row[0].parse().unwrap(), row[1].parse().unwrap());
            let got = index_from_brix(Brix::from_degrees(brix)).unwrap();
            assert!((got - index).abs() < 1e-12, "{row:?} gave {got}");
            let got = brix_from_index(index).unwrap().degrees();
            assert!((got - brix).abs() < 1e-9, "{row:?} gave {got}");
        }
    }

    #[test]
    fn agrees_with_the_published_corrections() {
        let published = rows(include_str!(
            "../../tests/reference/brix_temp_correction_oiv.csv"
        ))
        .into_iter()
        .filter(|row| &row[3] == "retrieved");
        let mut held = 0;
        for row in published {
            let [celsius, brix, want] = [0, 1, 2].map(|i| row[i].parse::<f64>().unwrap());
            let reading = Brix::from_degrees(brix);
            let got = at_20_celsius(reading, Temperature::from_celsius(celsius)).unwrap();
            let correction = got.degrees() - brix;
            assert!(
                (correction - want).abs() < 1e-9,
                "{row:?} gave {correction}"
            );
            held += 1;
        }
        let entries: usize = CORRECTION.iter().map(|(_, columns)| columns.len()).sum();
        assert_eq!(
            held,
            entries - 2,
            "every entry but the two of the definition"
        );
    }

    #[test]
    fn between_rows_lines_are_straight_both_ways() {
        let at = |brix, celsius| {
            let reading = Brix::from_degrees(brix);
            let got = at_20_celsius(reading, Temperature::from_celsius(celsius)).unwrap();
            got.degrees() - brix
        };
        // Mean of -0.43 and -0.45 at 13 °C, of -0.49 and -0.51 at 12 °C.
        assert!((at(12.5, 12.5) - -0.47).abs() < 1e-9);
        assert!((at(12.5, 20.0)).abs() < 1e-12);
    }

    #[test]
    fn refuses_what_no_row_stands_for() {
        let told = brix_from_index(1.30).unwrap_err().to_string();
        assert!(told.contains("1.33299 to 1.50398"), "{told}");
        let told = index_from_brix(Brix::from_degrees(-0.2)).unwrap_err();
        assert!(told.to_string().contains("0.00 °Bx to 85.00 °Bx"), "{told}");
        assert!(brix_from_index(f64::NAN).is_err());
        let warm = at_20_celsius(Brix::from_degrees(12.0), Temperature::from_celsius(25.0));
        assert!(matches!(warm, Err(SucroseError::Temperature { .. })));
        let thin = at_20_celsius(Brix::from_degrees(4.0), Temperature::from_celsius(12.0));
        let told = thin.unwrap_err().to_string();
        assert!(
            told.contains("10.00 °Bx to 75.00 °Bx at that temperature"),
            "{told}"
        );
    }
}
