//! What pure water reads on a refractometer that does not compensate.

use std::ops::RangeInclusive;

use crate::units::{Brix, Temperature};

use super::table::between;

/// The first rise of the Brix scale, refractive index for each °Bx: from 0 to
/// 1 °Bx in the ICUMSA 1974 table.
const INDEX_PER_BRIX: f64 = 0.001_43;

/// What the Brix scale is made for.
const REFERENCE: Temperature = Temperature::from_celsius(20.0);

/// Temperatures of the rows, in °C.
pub(super) const ROWS_C: RangeInclusive<f64> = WATER[0].0..=WATER[WATER.len() - 1].0;

/// A temperature that no row stands for.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error(
    "{found} is outside the table of water's refractive index, {} to {} °C",
    ROWS_C.start(),
    ROWS_C.end()
)]
pub struct OutsideWater {
    /// What was given.
    pub found: Temperature,
}

/// What pure water shows on a scale made for 20 °C that is not compensated:
/// the change of its refractive index since 20 °C over the first rise of the
/// Brix scale. At 10 °Bx the same change of index is 8 % fewer °Bx.
///
/// # Errors
/// When the temperature is outside 0.01 to 60 °C.
pub fn water_shift(temperature: Temperature) -> Result<Brix, OutsideWater> {
    let index = water_index(temperature)?;
    let reference = water_index(REFERENCE)?;
    Ok(Brix::from_degrees((index - reference) / INDEX_PER_BRIX))
}

fn water_index(temperature: Temperature) -> Result<f64, OutsideWater> {
    between(&WATER, temperature.celsius()).ok_or(OutsideWater { found: temperature })
}

/// The temperature, when there are rows for it.
pub(super) fn within_rows(temperature: Temperature) -> Result<Temperature, OutsideWater> {
    water_index(temperature).map(|_| temperature)
}

/// (°C, n_D): refractive index of pure water at 101 325 Pa and 589.3 nm against
/// air. Source: IAPWS R9-97 with the density of IAPWS-95, by the open library
/// iapws 1.5.5; against air by 1.000272 (memory).
#[rustfmt::skip]
const WATER: [(f64, f64); 52] = [
    (0.01, 1.333972), (1.0, 1.333969), (2.0, 1.333960), (3.0, 1.333945), (4.0, 1.333925), (5.0, 1.333899),
    (6.0, 1.333869), (8.0, 1.333794), (9.0, 1.333749), (10.0, 1.333700), (11.0, 1.333647), (12.0, 1.333589),
    (14.0, 1.333461), (15.0, 1.333391), (16.0, 1.333318), (17.0, 1.333240), (18.0, 1.333159), (20.0, 1.332987),
    (21.0, 1.332895), (22.0, 1.332800), (24.0, 1.332600), (25.0, 1.332496), (26.0, 1.332388), (28.0, 1.332164),
    (29.0, 1.332047), (30.0, 1.331928), (31.0, 1.331805), (32.0, 1.331680), (34.0, 1.331422), (35.0, 1.331288),
    (36.0, 1.331153), (37.0, 1.331014), (39.0, 1.330730), (40.0, 1.330584), (41.0, 1.330436), (42.0, 1.330285),
    (43.0, 1.330132), (44.0, 1.329977), (45.0, 1.329819), (46.0, 1.329660), (48.0, 1.329333), (49.0, 1.329167),
    (50.0, 1.328998), (51.0, 1.328827), (52.0, 1.328655), (54.0, 1.328303), (55.0, 1.328124), (56.0, 1.327943),
    (57.0, 1.327760), (58.0, 1.327575), (59.0, 1.327388), (60.0, 1.327199),
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chemistry::table::tests::{numbers, rows};

    #[test]
    fn water_agrees_with_iapws() {
        let table = rows(include_str!("../../tests/reference/water_ri_iapws.csv"));
        assert_eq!(table.len(), WATER.len());
        for row in table {
            let [celsius, _, _, index, apparent] = numbers(&row);
            let temperature = Temperature::from_celsius(celsius);
            assert!((water_index(temperature).unwrap() - index).abs() < 1e-12);
            // The file's own shift is from 1.33299, not from water at 20 °C.
            let got = water_shift(temperature).unwrap().degrees();
            assert!((got - apparent).abs() < 0.0035, "{row:?} gave {got}");
        }
    }
}
