//! A refractive factor from mixes of known strength.

use crate::units::{Brix, Concentration, Measured};

/// Standard uncertainty of one reading of a hand refractometer, °Bx. Memory:
/// hand instruments resolve 0.1 to 0.2.
const READING: f64 = 0.1;

/// Why mixes give no factor.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum FactorCalibrationError {
    /// There are none.
    #[error("no mix is given; mix at least one of known strength in your own water and read it")]
    NoMix,
    /// One was read no higher than the water alone.
    #[error(
        "mix {place} reads {read}, not above the {zero} of the water alone: a mix of {strength} \
         reads higher; look whether water and mix were confused"
    )]
    NotAboveWater {
        /// Which mix, counted from 1.
        place: usize,
        /// What it read.
        read: Brix,
        /// What the water read.
        zero: Brix,
        /// How strong it was mixed.
        strength: Concentration,
    },
    /// One is not between 0 and 100 %.
    #[error("mix {place} is said to be {strength}; give its strength above 0, up to 100 %")]
    Strength {
        /// Which mix, counted from 1.
        place: usize,
        /// How strong it is said to be.
        strength: Concentration,
    },
}

/// The factor f of c = f (B − B₀), % by volume per °Bx, from mixes (reading,
/// strength) in water that reads `zero` alone: the least squares through the
/// water, f = Σ c (B − B₀) / Σ (B − B₀)² (memory; of one mix c / (B − B₀)).
///
/// Its uncertainty is the larger of that of the readings and of what the mixes
/// scatter around the line.
///
/// # Errors
/// When there is no mix, or one that cannot be.
pub fn calibrate_factor(
    mixes: &[(Brix, Concentration)],
    zero: Brix,
) -> Result<Measured, FactorCalibrationError> {
    let mut products = 0.0;
    let mut squares = 0.0;
    for (at, &(read, strength)) in mixes.iter().enumerate() {
        let place = at + 1;
        let net = read.degrees() - zero.degrees();
        let percent = strength.percent();
        if !(percent > 0.0 && percent <= 100.0) {
            return Err(FactorCalibrationError::Strength { place, strength });
        }
        if net <= 0.0 {
            return Err(FactorCalibrationError::NotAboveWater {
                place,
                read,
                zero,
                strength,
            });
        }
        products += percent * net;
        squares += net * net;
    }
    if mixes.is_empty() {
        return Err(FactorCalibrationError::NoMix);
    }
    let factor = products / squares;
    let residual = |&(read, strength): &(Brix, Concentration)| {
        strength.percent() - factor * (read.degrees() - zero.degrees())
    };
    let scatter: f64 = mixes.iter().map(residual).map(|off| off * off).sum();
    let free = mixes.len().saturating_sub(1).max(1) as f64;
    let by_scatter = scatter / free / squares;
    let by_readings = (factor * READING).powi(2) / squares;
    Ok(Measured {
        value: factor,
        uncertainty: by_scatter.max(by_readings).sqrt(),
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn mix(read: f64, percent: f64) -> (Brix, Concentration) {
        (
            Brix::from_degrees(read),
            Concentration::from_percent(percent),
        )
    }

    fn rows() -> Vec<csv::StringRecord> {
        let table = include_str!("../../../tests/reference/mass_balance_misc.csv");
        csv::ReaderBuilder::new()
            .comment(Some(b'#'))
            .from_reader(table.as_bytes())
            .records()
            .map(Result::unwrap)
            .collect()
    }

    #[test]
    fn agrees_with_the_worked_cases() {
        let worked = |kind: &str, inputs: &str| -> f64 {
            let rows = rows();
            let row = rows.iter().find(|row| &row[0] == kind && &row[1] == inputs);
            row.unwrap()[3].parse().unwrap()
        };
        let want = worked(
            "factor_calibration",
            "mixed 5.00 % reads 3.4 Brix, water zero 0.1",
        );
        let zero = Brix::from_degrees(0.1);
        let factor = calibrate_factor(&[mix(3.4, 5.0)], zero).unwrap();
        assert!((factor.value - want).abs() < 1e-6, "{factor:?}");
        // The same line the other way: mixes of these strengths have this factor.
        for (inputs, zero) in [
            ("4.3 Brix factor 1.4", 0.0),
            ("4.3 Brix, water zero 0.2, factor 1.4", 0.2),
        ] {
            let percent = worked("brix_to_conc", inputs);
            let zero = Brix::from_degrees(zero);
            let factor = calibrate_factor(&[mix(4.3, percent)], zero).unwrap();
            assert!((factor.value - 1.4).abs() < 1e-6, "{inputs}: {factor:?}");
        }
    }

    #[test]
    fn scatter_makes_it_doubtful_beyond_the_readings() {
        let zero = Brix::from_degrees(0.2);
        let straight = [2.5, 5.0, 7.5, 10.0].map(|pct| mix(0.2 + pct / 1.25, pct));
        let factor = calibrate_factor(&straight, zero).unwrap();
        assert!((factor.value - 1.25).abs() < 1e-12);
        let by_readings = 1.25 * 0.1 / (4.0f64 + 16.0 + 36.0 + 64.0).sqrt();
        assert!((factor.uncertainty - by_readings).abs() < 1e-12);
        let mut bent = straight;
        bent[3] = mix(9.4, 10.0);
        assert!(calibrate_factor(&bent, zero).unwrap().uncertainty > 2.0 * by_readings);
    }

    #[test]
    fn refuses_what_is_no_mix() {
        let zero = Brix::from_degrees(0.2);
        let refused = |mixes: &[(Brix, Concentration)]| calibrate_factor(mixes, zero).unwrap_err();
        assert_eq!(refused(&[]), FactorCalibrationError::NoMix);
        let told = refused(&[mix(3.0, 4.0), mix(0.2, 5.0)]).to_string();
        assert!(
            told.starts_with("mix 2 reads 0.20 °Bx, not above"),
            "{told}"
        );
        assert!(matches!(
            refused(&[mix(3.0, f64::NAN)]),
            FactorCalibrationError::Strength { place: 1, .. }
        ));
    }

    proptest! {
        #[test]
        fn mixes_of_one_factor_give_it(
            factor in 0.5f64..4.0, zero in -0.5f64..1.0,
            strengths in prop::collection::vec(1.0f64..20.0, 1..8),
        ) {
            let mixes: Vec<_> = strengths.iter().map(|pct| mix(zero + pct / factor, *pct)).collect();
            let found = calibrate_factor(&mixes, Brix::from_degrees(zero)).unwrap();
            prop_assert!((found.value / factor - 1.0).abs() < 1e-9);
        }
    }
}
