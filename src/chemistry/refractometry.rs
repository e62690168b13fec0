//! Refractometer reading to concentration, by a fluid's chart.

use std::ops::RangeInclusive;

use crate::units::{Brix, Concentration};

/// Slopes that a chart can have, in % by volume per °Bx. Fluids have about 0.9
/// to 3.5 (memory); outside this range 1 °Bx would be neat concentrate, or 1 %
/// beyond the end of the scale.
const SLOPES: RangeInclusive<f64> = 0.01..=100.0;

/// How a fluid's concentration follows from what a refractometer reads.
///
/// Every chart is read at the net reading B − B₀, the reading less that of the
/// make-up water alone (common practice, no source). A chart of one factor is
/// the line c = f·(B − B₀); a chart of points is straight between them and
/// goes on beyond the outer ones as it does next to them.
#[derive(Debug, Clone, PartialEq)]
pub struct Chart(Shape);

#[derive(Debug, Clone, PartialEq)]
enum Shape {
    /// % per °Bx, one of [`SLOPES`].
    Factor(f64),
    /// At least two, strictly rising in both with one of [`SLOPES`].
    Points(Vec<(Brix, Concentration)>),
}

/// Why numbers do not make a chart.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ChartError {
    /// A factor that no fluid has.
    #[error(
        "the refractive factor is {found}; give the % of concentrate for 1 °Bx \
         from the fluid's data sheet, between 0.01 and 100"
    )]
    Factor {
        /// What was given.
        found: f64,
    },
    /// One point makes no line.
    #[error("the chart has {found} points; give at least 2, or a refractive factor")]
    TooFewPoints {
        /// How many were given.
        found: usize,
    },
    /// A point is not a number, or its concentration is not between 0 and 100 %.
    #[error("point {place} of the chart is {brix} at {concentration}; give 0 to 100 %")]
    OutOfRange {
        /// Which point, counted from 1.
        place: usize,
        /// Its reading.
        brix: Brix,
        /// Its concentration.
        concentration: Concentration,
    },
    /// A point does not lie above the one before it.
    #[error(
        "point {place} of the chart, {brix} at {concentration}, does not lie above the point \
         before it; list the points by rising reading, each with a higher concentration"
    )]
    NotRising {
        /// Which point, counted from 1.
        place: usize,
        /// Its reading.
        brix: Brix,
        /// Its concentration.
        concentration: Concentration,
    },
    /// The line to a point is steeper or flatter than that of any fluid.
    #[error(
        "the chart rises by {slope} % per °Bx up to its point {place}; \
         between 0.01 and 100 is possible, so correct that point or the one before it"
    )]
    Slope {
        /// Which point, counted from 1.
        place: usize,
        /// The slope up to it, % by volume per °Bx.
        slope: f64,
    },
}

impl Chart {
    /// A chart of one refractive factor, in % by volume per °Bx.
    ///
    /// # Errors
    /// When the factor is not between 0.01 and 100.
    pub fn factor(percent_per_degree: f64) -> Result<Self, ChartError> {
        if SLOPES.contains(&percent_per_degree) {
            Ok(Chart(Shape::Factor(percent_per_degree)))
        } else {
            Err(ChartError::Factor {
                found: percent_per_degree,
            })
        }
    }

    /// A chart of points (net reading, concentration).
    ///
    /// # Errors
    /// When there are fewer than two, when one is out of range, or when they
    /// do not strictly rise in both reading and concentration, by 0.01 to 100 %
    /// per °Bx.
    pub fn points(points: Vec<(Brix, Concentration)>) -> Result<Self, ChartError> {
        if points.len() < 2 {
            return Err(ChartError::TooFewPoints {
                found: points.len(),
            });
        }
        for (at, &(brix, concentration)) in points.iter().enumerate() {
            let place = at + 1;
            let percent = concentration.percent();
            if !brix.degrees().is_finite() || !(0.0..=100.0).contains(&percent) {
                return Err(ChartError::OutOfRange {
                    place,
                    brix,
                    concentration,
                });
            }
            let rises = |&(b, c): &(Brix, Concentration)| b < brix && c < concentration;
            if at > 0 && !rises(&points[at - 1]) {
                return Err(ChartError::NotRising {
                    place,
                    brix,
                    concentration,
                });
            }
        }
        for end in 1..points.len() {
            let slope = Segment::above(&points, end).slope;
            if !SLOPES.contains(&slope) {
                return Err(ChartError::Slope {
                    place: end + 1,
                    slope,
                });
            }
        }
        Ok(Chart(Shape::Points(points)))
    }

    /// Concentration at a reading, given what the make-up water alone reads;
    /// never below 0.
    pub fn concentration(&self, reading: Brix, water_zero: Brix) -> Concentration {
        let net = reading.degrees() - water_zero.degrees();
        let percent = match &self.0 {
            Shape::Factor(factor) => factor * net,
            Shape::Points(points) => Segment::at_reading(points, net).percent(net),
        };
        Concentration::from_percent(percent.max(0.0))
    }

    /// Steepness of the chart at a net reading, in % by volume per °Bx. At a
    /// point of the chart it is that of the segment above.
    pub fn slope_at(&self, net_reading: Brix) -> f64 {
        match &self.0 {
            Shape::Factor(factor) => *factor,
            Shape::Points(points) => Segment::at_reading(points, net_reading.degrees()).slope,
        }
    }

    /// The reading that stands for a concentration, given what the make-up
    /// water alone reads.
    pub fn brix_for(&self, concentration: Concentration, water_zero: Brix) -> Brix {
        let percent = concentration.percent();
        let net = match &self.0 {
            Shape::Factor(factor) => percent / factor,
            Shape::Points(points) => Segment::at_percent(points, percent).reading(percent),
        };
        Brix::from_degrees(net + water_zero.degrees())
    }
}

/// A straight piece of a chart of points.
struct Segment {
    brix: f64,
    percent: f64,
    slope: f64,
}

impl Segment {
    fn at_reading(points: &[(Brix, Concentration)], net: f64) -> Segment {
        Segment::above(
            points,
            points.partition_point(|(brix, _)| brix.degrees() <= net),
        )
    }

    fn at_percent(points: &[(Brix, Concentration)], percent: f64) -> Segment {
        Segment::above(
            points,
            points.partition_point(|(_, concentration)| concentration.percent() <= percent),
        )
    }

    /// The segment that ends at point `end`, or the outermost one there is.
    fn above(points: &[(Brix, Concentration)], end: usize) -> Segment {
        let end = end.clamp(1, points.len() - 1);
        let ((b0, c0), (b1, c1)) = (points[end - 1], points[end]);
        Segment {
            brix: b0.degrees(),
            percent: c0.percent(),
            slope: (c1.percent() - c0.percent()) / (b1.degrees() - b0.degrees()),
        }
    }

    fn percent(&self, net: f64) -> f64 {
        self.percent + self.slope * (net - self.brix)
    }

    fn reading(&self, percent: f64) -> f64 {
        self.brix + (percent - self.percent) / self.slope
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn bx(degrees: f64) -> Brix {
        Brix::from_degrees(degrees)
    }

    fn pct(percent: f64) -> Concentration {
        Concentration::from_percent(percent)
    }

    fn bent() -> Chart {
        Chart::points(vec![
            (bx(0.0), pct(0.0)),
            (bx(2.0), pct(3.0)),
            (bx(5.0), pct(9.0)),
        ])
        .unwrap()
    }

    /// The value of a worked case of the table.
    fn worked(kind: &str, inputs: &str) -> f64 {
        let table = include_str!("../../tests/reference/mass_balance_misc.csv");
        csv::ReaderBuilder::new()
            .comment(Some(b'#'))
            .from_reader(table.as_bytes())
            .records()
            .map(Result::unwrap)
            .find(|row| &row[0] == kind && &row[1] == inputs)
            .unwrap()[3]
            .parse()
            .unwrap()
    }

    #[test]
    fn agrees_with_worked_cases() {
        let chart = Chart::factor(1.4).unwrap();
        let at = |reading, zero| chart.concentration(bx(reading), bx(zero)).percent();
        let plain = worked("brix_to_conc", "4.3 Brix factor 1.4");
        assert!((at(4.3, 0.0) - plain).abs() < 1e-6);
        let zeroed = worked("brix_to_conc", "4.3 Brix, water zero 0.2, factor 1.4");
        assert!((at(4.3, 0.2) - zeroed).abs() < 1e-6);
        let factor = worked(
            "factor_calibration",
            "mixed 5.00 % reads 3.4 Brix, water zero 0.1",
        );
        let mixed = Chart::factor(factor).unwrap();
        let read = mixed.concentration(bx(3.4), bx(0.1)).percent();
        assert!((read - 5.0).abs() < 1e-5, "{read}");
    }

    /// Common practice, no source: a factor of 1.0 reads 8 °Bx at 8 %, and a
    /// fluid that reads 3.5 °Bx at 8 % has a factor of about 2.3.
    #[test]
    fn agrees_with_common_practice() {
        let unity = Chart::factor(1.0).unwrap();
        assert_eq!(unity.brix_for(pct(8.0), bx(0.0)), bx(8.0));
        let clear = Chart::factor(2.3).unwrap();
        let read = clear.concentration(bx(3.5), bx(0.0)).percent();
        assert!((read - 8.0).abs() < 0.1, "{read}");
    }

    #[test]
    fn points_are_joined_and_go_on_straight() {
        let chart = bent();
        let at = |net| chart.concentration(bx(net), bx(0.0)).percent();
        assert_eq!(at(1.0), 1.5);
        assert_eq!(at(2.0), 3.0);
        assert_eq!(at(3.5), 6.0);
        assert_eq!(at(6.0), 11.0);
        assert_eq!(at(-1.0), 0.0);
        assert_eq!(chart.slope_at(bx(0.5)), 1.5);
        assert_eq!(chart.slope_at(bx(2.0)), 2.0);
        assert_eq!(chart.slope_at(bx(9.0)), 2.0);
    }

    #[test]
    fn refuses_what_is_no_chart() {
        assert!(Chart::factor(0.0).is_err());
        assert!(Chart::factor(f64::NAN).is_err());
        let refused = |points: &[(f64, f64)]| {
            Chart::points(points.iter().map(|&(b, c)| (bx(b), pct(c))).collect()).unwrap_err()
        };
        assert_eq!(
            refused(&[(1.0, 2.0)]),
            ChartError::TooFewPoints { found: 1 }
        );
        assert!(matches!(
            refused(&[(0.0, 0.0), (2.0, 120.0)]),
            ChartError::OutOfRange { place: 2, .. }
        ));
        let told = refused(&[(0.0, 0.0), (2.0, 3.0), (2.0, 4.0)]).to_string();
        assert!(told.contains("point 3 of the chart, 2.00 °Bx"), "{told}");
        assert!(matches!(
            refused(&[(0.0, 1.0), (2.0, 1.0)]),
            ChartError::NotRising { place: 2, .. }
        ));
        let told = refused(&[(0.0, 0.0), (1.0, 1.0), (1.0078125, 2.0)]).to_string();
        assert!(
            told.contains("by 128 % per °Bx up to its point 3"),
            "{told}"
        );
    }

    proptest! {
        #[test]
        fn brix_for_is_the_inverse(percent in 0.0f64..30.0, zero in -0.5f64..1.0, factor in 0.5f64..4.0) {
            for chart in [Chart::factor(factor).unwrap(), bent()] {
                let reading = chart.brix_for(pct(percent), bx(zero));
                let back = chart.concentration(reading, bx(zero)).percent();
                prop_assert!((back - percent).abs() < 1e-9);
            }
        }

        #[test]
        fn a_higher_reading_is_never_a_lower_concentration(a in -2.0f64..20.0, b in -2.0f64..20.0) {
            let chart = bent();
            let at = |net: f64| chart.concentration(bx(net), bx(0.0));
            prop_assert!(at(a.min(b)) <= at(a.max(b)));
        }
    }
}
