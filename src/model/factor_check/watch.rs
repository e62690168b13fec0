//! The pairs of one sump, and what they say together.

use serde::{Deserialize, Serialize};

use super::causes::{FactorContext, GapCause, GapSuspect, decide, suspects};
use super::pair::FactorPair;
use crate::model::robust::{median, spread};
use crate::units::{Concentration, Measured, Timestamp};

/// So many pairs are kept. Choice: four months of weekly titration.
const KEPT: usize = 16;
/// So many pairs are needed before a factor is proposed. Choice: one that is
/// wrong is then outvoted.
const FOR_A_PROPOSAL: usize = 3;
/// So many of the first pairs are never pushed out.
const FIRST: usize = 3;
/// Differences of numbers with two decimals are exact to this, points.
const ROUNDING: f64 = 1e-9;
/// The standard deviation of a median is that of the mean times this, for
/// normally distributed numbers.
const MEDIAN_OVER_MEAN: f64 = 1.253_314_137_315_500_3;

/// From where on two methods part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FactorSetup {
    /// More than so many points apart.
    pub gap_points: f64,
    /// More than this share of the target apart.
    pub gap_share: f64,
    /// Tramp oil from which on it falsifies the refractometer, % by volume.
    pub tramp_oil_pct: f64,
}

/// 1.0 point, or 20 % of the target; 2 % tramp oil: memory.
impl Default for FactorSetup {
    fn default() -> Self {
        FactorSetup {
            gap_points: 1.0,
            gap_share: 0.2,
            tramp_oil_pct: 2.0,
        }
    }
}

/// The pairs of one sump: fixed memory, to be written and read again.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct FactorWatch {
    /// In the order of their times.
    pairs: Vec<FactorPair>,
    /// When the charge was filled.
    charge: Option<Timestamp>,
}

/// What one pair says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FactorRatio {
    /// When.
    pub time: Timestamp,
    /// The other method as a share of the refractometer, by its readings alone.
    pub ratio: Measured,
}

/// What the pairs say.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FactorStatus {
    /// How many pairs of this charge there are.
    pub pairs: usize,
    /// How far the two methods were apart in the newest pair.
    pub gap: MethodGap,
    /// What the other method says as a share of what the refractometer says, over
    /// the pairs.
    pub ratio: Measured,
    /// The factor that the pairs speak for, % by volume per °Bx above the
    /// water's own reading.
    pub factor: Measured,
    /// The most likely cause of a gap, where one stands out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cause: Option<GapCause>,
    /// What speaks for and against each cause, the most likely first; empty
    /// without a gap.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub suspects: Vec<GapSuspect>,
    /// A factor that people may take up.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub proposal: Option<FactorProposal>,
}

/// How far two methods are apart.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct MethodGap {
    /// When they were read.
    pub time: Timestamp,
    /// How much more the refractometer said, points.
    pub points: f64,
    /// Whether that is too much.
    pub too_much: bool,
}

/// A factor that people may take up.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct FactorProposal {
    /// The factor, % by volume per °Bx above the water's own reading.
    pub factor: Measured,
    /// It would hold from here on, and for nothing before.
    pub holds_from: Timestamp,
}

impl FactorWatch {
    /// The sump was filled anew: pairs of the old charge say nothing of this one.
    pub fn begin(&mut self, time: Timestamp) {
        self.charge = Some(time);
        self.pairs.retain(|pair| pair.time >= time);
    }

    /// Another factor holds from here on: what was paired under the old one does
    /// not speak of it.
    pub fn begin_factor(&mut self, time: Timestamp) {
        self.pairs.retain(|pair| pair.time >= time);
    }

    /// Takes in a pair of this charge; one of the same time and method replaces
    /// that before it. Of more than are kept, the oldest after the first three
    /// falls out: those tell whether the factor was wrong from the start.
    pub fn step(&mut self, pair: FactorPair) {
        let of_this_charge = self.charge.is_none_or(|since| pair.time >= since);
        if !pair.is_telling() || !of_this_charge {
            return;
        }
        self.pairs
            .retain(|one| one.time != pair.time || one.method != pair.method);
        let place = self.pairs.partition_point(|one| one.time <= pair.time);
        self.pairs.insert(place, pair);
        if self.pairs.len() > KEPT {
            self.pairs.remove(FIRST);
        }
    }

    /// What the other method said as a share of what the refractometer said, pair
    /// by pair of this charge and factor, in the order of their times.
    pub fn ratios(&self) -> impl Iterator<Item = FactorRatio> {
        self.pairs.iter().map(|pair| FactorRatio {
            time: pair.time,
            ratio: Measured::new(pair.ratio(), pair.ratio_uncertainty()),
        })
    }

    /// What the pairs say at `now`, of a sump that is kept at `target`; nothing
    /// as long as there is none.
    pub fn status(
        &self,
        setup: &FactorSetup,
        target: Concentration,
        around: &FactorContext,
        now: Timestamp,
    ) -> Option<FactorStatus> {
        let newest = self.pairs.last()?;
        let ratio = self.over_pairs(FactorPair::ratio)?;
        let factor = self.over_pairs(|pair| pair.other_pct / pair.net_brix)?;
        let allowed = setup.gap_points.min(setup.gap_share * target.percent());
        let gap = MethodGap {
            time: newest.time,
            points: newest.gap(),
            too_much: newest.gap().abs() > allowed + ROUNDING,
        };
        let suspects = if gap.too_much {
            suspects(&self.pairs, setup, around, ratio)
        } else {
            Vec::new()
        };
        let cause = decide(&suspects);
        let (low, high) = ratio.interval_90();
        let off = !(low..=high).contains(&1.0);
        let proposed = cause == Some(GapCause::Factor) && off && self.pairs.len() >= FOR_A_PROPOSAL;
        Some(FactorStatus {
            pairs: self.pairs.len(),
            gap,
            ratio,
            factor,
            cause,
            suspects,
            proposal: proposed.then_some(FactorProposal {
                factor,
                holds_from: now,
            }),
        })
    }

    /// The median of a share over the pairs. Its uncertainty is the larger of
    /// what the pairs scatter and of what two readings leave in doubt.
    fn over_pairs(&self, of: impl Fn(&FactorPair) -> f64) -> Option<Measured> {
        let value = median(self.pairs.iter().map(&of))?;
        let scatter = spread(self.pairs.iter().map(&of), value)?;
        let doubt = |pair: &FactorPair| of(pair) * pair.ratio_uncertainty() / pair.ratio();
        let of_one = median(self.pairs.iter().map(doubt))?;
        let count = self.pairs.len() as f64;
        let widen = if count > 1.0 { MEDIAN_OVER_MEAN } else { 1.0 };
        Some(Measured {
            value,
            uncertainty: widen * scatter.max(of_one) / count.sqrt(),
        })
    }
}
