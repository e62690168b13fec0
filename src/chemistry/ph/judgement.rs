//! Whether an electrode is still good.

use std::ops::RangeInclusive;

use crate::chemistry::Judgement;
use crate::units::Potential;

use super::{Electrode, PhCalibration};

/// Where an electrode is good, and where it is to be replaced. What lies
/// between is to be watched.
#[derive(Debug, Clone, PartialEq)]
pub struct ElectrodeBands {
    /// Shares of the Nernst slope that are good.
    pub good_slope: RangeInclusive<f64>,
    /// Share of the Nernst slope below which it is to be replaced.
    pub replace_slope: f64,
    /// Distance of its potential at pH 7 from 0 mV up to which it is good.
    pub good_offset: Potential,
    /// Distance above which it is to be replaced.
    pub replace_offset: Potential,
    /// How far the middle of three buffers may read from the line of the other
    /// two, in pH.
    pub good_bend: f64,
}

/// Slope and offset: common practice, no source; between good and replace lies
/// where practice differs (85 to 90 %, 30 to 45 mV). A third buffer within
/// 0.1 pH: a state's training text for operators.
impl Default for ElectrodeBands {
    fn default() -> Self {
        ElectrodeBands {
            good_slope: 0.95..=1.05,
            replace_slope: 0.85,
            good_offset: Potential::from_millivolts(30.0),
            replace_offset: Potential::from_millivolts(45.0),
            good_bend: 0.1,
        }
    }
}

/// What is not good about a calibration, and what to do.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ElectrodeRemark {
    /// The electrode has become dull, and is to be watched.
    #[error(
        "the slope is {:.1} % of Nernst's, below what is good: clean the electrode and \
         calibrate it again in fresh buffers",
        share * 100.0
    )]
    SlopeLow {
        /// Share of the Nernst slope.
        share: f64,
    },
    /// The electrode is worn out.
    #[error(
        "the slope is {:.1} % of Nernst's: if cleaning does not help, replace the electrode",
        share * 100.0
    )]
    SlopeWorn {
        /// Share of the Nernst slope.
        share: f64,
    },
    /// No electrode is so steep.
    #[error(
        "the slope is {:.1} % of Nernst's, and no electrode is steeper than 100: check the \
         buffers and their temperature, and calibrate again",
        share * 100.0
    )]
    SlopeHigh {
        /// Share of the Nernst slope.
        share: f64,
    },
    /// The zero has wandered.
    #[error(
        "the offset is {offset} at pH 7, beyond what is good: clean the electrode, look to its \
         reference and calibrate again in fresh buffers"
    )]
    OffsetLarge {
        /// The potential at pH 7.
        offset: Potential,
    },
    /// The zero has wandered too far.
    #[error(
        "the offset is {offset} at pH 7: if cleaning does not help, replace the electrode or \
         its reference"
    )]
    OffsetWorn {
        /// The potential at pH 7.
        offset: Potential,
    },
    /// Three buffers do not lie on a line.
    #[error(
        "the middle buffer reads {bend:.2} pH off the line of the other two: one of the \
         buffers is spoilt or not the one it is said to be; calibrate again in fresh ones"
    )]
    Bent {
        /// How far off, in pH.
        bend: f64,
    },
}

impl ElectrodeRemark {
    /// How bad it is.
    pub const fn judgement(&self) -> Judgement {
        match self {
            ElectrodeRemark::SlopeWorn { .. } | ElectrodeRemark::OffsetWorn { .. } => {
                Judgement::Replace
            }
            ElectrodeRemark::SlopeLow { .. }
            | ElectrodeRemark::SlopeHigh { .. }
            | ElectrodeRemark::OffsetLarge { .. }
            | ElectrodeRemark::Bent { .. } => Judgement::Watch,
        }
    }
}

impl Electrode {
    /// What is not good about it; nothing when all is.
    pub fn judge(self, bands: &ElectrodeBands) -> Vec<ElectrodeRemark> {
        [self.judge_slope(bands), self.judge_offset(bands)]
            .into_iter()
            .flatten()
            .collect()
    }

    fn judge_slope(self, bands: &ElectrodeBands) -> Option<ElectrodeRemark> {
        let share = self.slope_share();
        if share < bands.replace_slope {
            Some(ElectrodeRemark::SlopeWorn { share })
        } else if share < *bands.good_slope.start() {
            Some(ElectrodeRemark::SlopeLow { share })
        } else if share > *bands.good_slope.end() {
            Some(ElectrodeRemark::SlopeHigh { share })
        } else {
            None
        }
    }

    fn judge_offset(self, bands: &ElectrodeBands) -> Option<ElectrodeRemark> {
        let offset = self.offset();
        let away = Potential::from_millivolts(offset.millivolts().abs());
        if away > bands.replace_offset {
            Some(ElectrodeRemark::OffsetWorn { offset })
        } else if away > bands.good_offset {
            Some(ElectrodeRemark::OffsetLarge { offset })
        } else {
            None
        }
    }
}

impl PhCalibration {
    /// What is not good about it and its electrode; nothing when all is.
    pub fn judge(&self, bands: &ElectrodeBands) -> Vec<ElectrodeRemark> {
        let bent = self
            .bend()
            .filter(|bend| *bend > bands.good_bend)
            .map(|bend| ElectrodeRemark::Bent { bend });
        let mut remarks = self.electrode().judge(bands);
        remarks.extend(bent);
        remarks
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chemistry::CalibrationPoint;
    use crate::units::{Ph, Temperature};

    /// A calibration in which the middle of three buffers reads `off` mV too
    /// high.
    fn judged(share: f64, offset: f64, off: f64) -> Vec<ElectrodeRemark> {
        let temperature = Temperature::from_celsius(25.0);
        let electrode = Electrode::new(Potential::from_millivolts(offset), share).unwrap();
        let points = [(4.0, 0.0), (7.0, off), (10.0, 0.0)].map(|(ph, off)| {
            let potential = electrode
                .potential(Ph::from_units(ph), temperature)
                .unwrap();
            CalibrationPoint {
                ph: Ph::from_units(ph),
                potential: Potential::from_millivolts(potential.millivolts() + off),
            }
        });
        let calibration = PhCalibration::new(&points, temperature).unwrap();
        calibration.judge(&ElectrodeBands::default())
    }

    #[test]
    fn each_band_has_its_word() {
        use ElectrodeRemark as R;
        assert_eq!(judged(0.96, -29.9, 0.0), []);
        assert!(matches!(judged(0.94, 0.0, 0.0)[..], [R::SlopeLow { .. }]));
        assert!(matches!(judged(0.84, 0.0, 0.0)[..], [R::SlopeWorn { .. }]));
        assert!(matches!(judged(1.06, 0.0, 0.0)[..], [R::SlopeHigh { .. }]));
        assert!(matches!(
            judged(1.0, -31.0, 0.0)[..],
            [R::OffsetLarge { .. }]
        ));
        assert!(matches!(judged(1.0, 46.0, 0.0)[..], [R::OffsetWorn { .. }]));
        assert!(matches!(judged(1.0, 0.0, -6.5)[..], [R::Bent { .. }]));
        assert_eq!(judged(1.0, 0.0, 5.5), []);
    }

    #[test]
    fn the_worst_decides_and_every_remark_says_what_to_do() {
        let told = judged(0.94, 46.0, 0.0);
        let worst = told.iter().map(ElectrodeRemark::judgement).max();
        assert_eq!(worst, Some(Judgement::Replace));
        assert_eq!(
            told[0].to_string(),
            "the slope is 94.0 % of Nernst's, below what is good: clean the electrode and \
             calibrate it again in fresh buffers"
        );
        assert!(
            told[1].to_string().contains("46.0 mV at pH 7"),
            "{}",
            told[1]
        );
    }
}
