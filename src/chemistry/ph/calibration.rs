//! An electrode from its readings in two or three buffers.

use crate::chemistry::liquid::NotLiquid;
use crate::units::{Ph, Potential, Temperature};

use super::electrode::{Electrode, ElectrodeError, ISOPOTENTIAL_PH, nernst_slope};

/// How far apart two buffers must be, in pH. Choice: an error of 1 mV in each
/// is then at most 7 % of the slope; 9.18 and 10.01 are 0.83 apart.
const LEAST_GAP_PH: f64 = 0.5;

/// What an electrode read in one buffer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CalibrationPoint {
    /// pH of the buffer at the temperature of the calibration.
    pub ph: Ph,
    /// The reading in it.
    pub potential: Potential,
}

/// A calibration with two or three buffers at one temperature. Two give a line,
/// three the line of least squares of the potential.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PhCalibration {
    electrode: Electrode,
    temperature: Temperature,
    lowest: Ph,
    highest: Ph,
    bend: Option<f64>,
}

/// Why readings are no calibration.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum PhCalibrationError {
    /// One buffer makes no line, and a fourth is not foreseen.
    #[error("a calibration takes 2 or 3 buffers; {found} are given")]
    Count {
        /// How many were given.
        found: usize,
    },
    /// Two readings are of the same buffer, or nearly.
    #[error(
        "two of the buffers are {lower:.3} and {upper:.3}; they must be 0.5 pH apart, \
         so leave one out or take another buffer"
    )]
    SameBuffer {
        /// The lower pH.
        lower: Ph,
        /// The higher pH.
        upper: Ph,
    },
    /// The potential does not fall from one buffer to the next.
    #[error(
        "the electrode reads {at_lower} at {lower} and {at_upper} at {upper}, but its potential \
         falls as pH rises: the buffers are exchanged, the sign is turned or the electrode is broken"
    )]
    WrongWay {
        /// The lower pH.
        lower: Ph,
        /// The reading there.
        at_lower: Potential,
        /// The higher pH.
        upper: Ph,
        /// The reading there.
        at_upper: Potential,
    },
    /// The line is none of an electrode.
    #[error(transparent)]
    Slope(#[from] ElectrodeError),
    /// There is no buffer to measure at this temperature.
    #[error(transparent)]
    Temperature(#[from] NotLiquid),
}

impl PhCalibration {
    /// From readings in two or three buffers at `temperature`, in any order.
    ///
    /// # Errors
    /// When there are not two or three, when two are less than 0.5 pH apart,
    /// when the potential does not fall from each to the next, or when the
    /// slope is none of an electrode.
    pub fn new(
        points: &[CalibrationPoint],
        temperature: Temperature,
    ) -> Result<Self, PhCalibrationError> {
        if !(2..=3).contains(&points.len()) {
            return Err(PhCalibrationError::Count {
                found: points.len(),
            });
        }
        let mut points = points.to_vec();
        points.sort_by(|a, b| a.ph.units().total_cmp(&b.ph.units()));
        for pair in points.windows(2) {
            falls(pair[0], pair[1])?;
        }
        let (slope, offset) = least_squares(&points);
        let share = slope / nernst_slope(temperature)?;
        Ok(PhCalibration {
            electrode: Electrode::new(Potential::from_millivolts(offset), share)?,
            temperature,
            lowest: points[0].ph,
            highest: points[points.len() - 1].ph,
            bend: bend(&points),
        })
    }

    /// The electrode as it was found.
    pub const fn electrode(&self) -> Electrode {
        self.electrode
    }

    /// The temperature of the buffers.
    pub const fn temperature(&self) -> Temperature {
        self.temperature
    }

    /// Whether the buffers lie on both sides of a pH, or at it.
    pub fn brackets(&self, ph: Ph) -> bool {
        (self.lowest..=self.highest).contains(&ph)
    }

    /// How far the middle one of three buffers reads from the line through the
    /// outer two, in pH; none of two buffers.
    pub const fn bend(&self) -> Option<f64> {
        self.bend
    }
}

/// Whether the potential falls between two different buffers.
fn falls(lower: CalibrationPoint, upper: CalibrationPoint) -> Result<(), PhCalibrationError> {
    if upper.ph.units() - lower.ph.units() < LEAST_GAP_PH {
        return Err(PhCalibrationError::SameBuffer {
            lower: lower.ph,
            upper: upper.ph,
        });
    }
    if upper.potential >= lower.potential {
        return Err(PhCalibrationError::WrongWay {
            lower: lower.ph,
            at_lower: lower.potential,
            upper: upper.ph,
            at_upper: upper.potential,
        });
    }
    Ok(())
}

/// The fall in mV for each pH, and the potential at pH 7, of the line with the
/// least squares of potential.
fn least_squares(points: &[CalibrationPoint]) -> (f64, f64) {
    let count = points.len() as f64;
    let mean = |of: fn(&CalibrationPoint) -> f64| points.iter().map(of).sum::<f64>() / count;
    let (ph, mv) = (mean(|p| p.ph.units()), mean(|p| p.potential.millivolts()));
    let (mut together, mut spread) = (0.0, 0.0);
    for point in points {
        let off = point.ph.units() - ph;
        together += off * (point.potential.millivolts() - mv);
        spread += off * off;
    }
    let slope = -together / spread;
    (slope, mv - slope * (ISOPOTENTIAL_PH - ph))
}

/// How far the middle of three points lies from the line through the others, in
/// pH.
fn bend(points: &[CalibrationPoint]) -> Option<f64> {
    let [low, middle, high] = points else {
        return None;
    };
    let (slope, offset) = least_squares(&[*low, *high]);
    let read = ISOPOTENTIAL_PH + (offset - middle.potential.millivolts()) / slope;
    Some((read - middle.ph.units()).abs())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::chemistry::ElectrodeBands;
    use crate::chemistry::table::tests::{numbers, rows};

    fn point(ph: f64, millivolts: f64) -> CalibrationPoint {
        CalibrationPoint {
            ph: Ph::from_units(ph),
            potential: Potential::from_millivolts(millivolts),
        }
    }

    fn at(points: &[CalibrationPoint], celsius: f64) -> Result<PhCalibration, PhCalibrationError> {
        PhCalibration::new(points, Temperature::from_celsius(celsius))
    }

    #[test]
    fn agrees_with_worked_calibrations() {
        let table = rows(include_str!(
            "../../../tests/reference/ph_calibration_cases.csv"
        ));
        assert_eq!(table.len(), 4);
        for row in table {
            let [
                celsius,
                ph1,
                e1,
                ph2,
                e2,
                slope,
                percent,
                offset,
                _,
                reading,
                ph,
            ] = numbers(&row);
            // The other way round, as order does not matter.
            let found = at(&[point(ph2, e2), point(ph1, e1)], celsius).unwrap();
            let electrode = found.electrode();
            let near = |got: f64, want: f64, tolerance: f64| {
                assert!((got - want).abs() <= tolerance, "{row:?} gave {got}");
            };
            let nernst = nernst_slope(found.temperature()).unwrap();
            near(electrode.slope_share() * nernst, slope, 0.00005);
            near(electrode.slope_share() * 100.0, percent, 0.005);
            near(electrode.offset().millivolts(), offset, 0.0005);
            let reading = Potential::from_millivolts(reading);
            let got = electrode.ph(reading, found.temperature()).unwrap();
            near(got.units(), ph, 0.00005);
            let good = found.judge(&ElectrodeBands::default()).is_empty();
            assert_eq!(good, &row[11] == "accept", "{row:?}");
        }
    }

    #[test]
    fn a_third_buffer_is_averaged_in_and_shows_the_bend() {
        // On the line of 59 mV per pH but for the middle one, 3 mV too high.
        // By hand: least squares of (4, 177), (7, 3), (10, −177).
        let found = at(
            &[point(4.0, 177.0), point(7.0, 3.0), point(10.0, -177.0)],
            25.0,
        )
        .unwrap();
        let electrode = found.electrode();
        assert!((electrode.offset().millivolts() - 1.0).abs() < 1e-9);
        assert!((electrode.slope_share() - 59.0 / 59.1593).abs() < 1e-6);
        assert!((found.bend().unwrap() - 3.0 / 59.0).abs() < 1e-9);
        assert!(found.brackets(Ph::from_units(10.0)) && !found.brackets(Ph::from_units(10.1)));
        let two = at(&[point(4.0, 177.0), point(10.0, -177.0)], 25.0).unwrap();
        assert_eq!(two.bend(), None);
    }

    #[test]
    fn tells_what_is_no_calibration() {
        let told = |points: &[CalibrationPoint]| at(points, 25.0).unwrap_err().to_string();
        assert_eq!(
            told(&[point(7.0, 0.0)]),
            "a calibration takes 2 or 3 buffers; 1 are given"
        );
        let many = [4.0, 6.0, 8.0, 10.0].map(|ph| point(ph, -59.0 * ph));
        assert!(told(&many).contains("4 are given"));
        let twice = told(&[point(6.865, 0.0), point(9.18, -135.0), point(6.864, 0.2)]);
        assert!(twice.contains("6.864 pH and 6.865 pH"), "{twice}");
        let turned = told(&[point(6.865, -135.0), point(9.18, 0.0)]);
        assert!(turned.contains("-135.0 mV at 6.87 pH"), "{turned}");
        let still = told(&[point(6.865, 0.0), point(9.18, 0.0)]);
        assert!(still.contains("falls as pH rises"), "{still}");
        let steep = told(&[point(6.865, 0.0), point(9.18, -270.0)]);
        assert!(steep.contains("197.1 % of Nernst's"), "{steep}");
        let frozen = at(&[point(6.865, 0.0), point(9.18, -135.0)], -1.0);
        assert!(matches!(frozen, Err(PhCalibrationError::Temperature(_))));
    }

    proptest! {
        #[test]
        fn finds_the_electrode_that_read_the_buffers(
            offset in -60.0f64..60.0, share in 0.6f64..1.1, celsius in 5.0f64..50.0, third in any::<bool>(),
        ) {
            let electrode = Electrode::new(Potential::from_millivolts(offset), share).unwrap();
            let temperature = Temperature::from_celsius(celsius);
            let buffers = [4.005, 9.18, 6.865].map(|ph| CalibrationPoint {
                ph: Ph::from_units(ph),
                potential: electrode.potential(Ph::from_units(ph), temperature).unwrap(),
            });
            let found = at(&buffers[..if third { 3 } else { 2 }], celsius).unwrap();
            prop_assert!((found.electrode().slope_share() - share).abs() < 1e-9);
            prop_assert!((found.electrode().offset().millivolts() - offset).abs() < 1e-6);
            prop_assert!(found.bend().unwrap_or(0.0) < 1e-9);
        }

        #[test]
        fn no_readings_are_fatal(
            points in prop::collection::vec((-1e15f64..1e15, -1e15f64..1e15), 0..5), celsius in -300.0f64..300.0,
        ) {
            let points: Vec<_> = points.into_iter().map(|(ph, mv)| point(ph, mv)).collect();
            let _ = at(&points, celsius);
        }
    }
}
