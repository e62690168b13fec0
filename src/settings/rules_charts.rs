//! Control charts: of what, and from where on they tell.

use crate::engine::{ChannelSetup, ChartRule, Charted, Rule};
use crate::units::Quantity;

use super::key_path::KeyPath;
use super::problem::Problem;
use super::raw_rules::{RawChart, RawRule, RawRules};
use super::review::Review;
use super::written::Switch;

/// Values that a chart can learn from: daily ones for three months at most.
const RUN_IN: (u16, u16) = (2, 90);

/// A chart as it stands where nothing is written.
pub(super) struct Chart<'a> {
    /// Its key.
    pub(super) key: &'static str,
    /// What is written.
    pub(super) raw: Option<&'a Switch<RawChart>>,
    /// Whether it is kept at all unless something is written.
    by_itself: bool,
    standard: ChartRule,
}

/// All of them. For values that do not depend on each other 0.5 and 5 standard
/// deviations are published (NIST/SEMATECH e-Handbook, 6.3.2.3). Pairs of methods do
/// not depend on each other and know their own uncertainty, so that three are enough
/// to begin with; but the mean of three is itself unsure by 0.6, which the slack of 1
/// has to cover (choice).
/// Values of successive days depend on each other; 1.5 and 5 told little that was
/// false of pH in a simulated plant, and too much of concentration, which is steered:
/// so that is off (choice). The run-in of 20 is that of usual practice (memory).
pub(super) fn all(raw: &RawRules) -> [Chart<'_>; 3] {
    let chart = |key, raw, by_itself, of, run_in, slack_sigmas| Chart {
        key,
        raw,
        by_itself,
        standard: ChartRule {
            of,
            run_in,
            slack_sigmas,
            limit_sigmas: 5.0,
        },
    };
    [
        chart(
            "concentration_shifted",
            raw.concentration_shifted.as_ref(),
            false,
            Charted::Concentration,
            20,
            1.5,
        ),
        chart(
            "ph_shifted",
            raw.ph_shifted.as_ref(),
            true,
            Charted::Ph,
            20,
            1.5,
        ),
        chart(
            "refractive_factor_shifted",
            raw.refractive_factor_shifted.as_ref(),
            true,
            Charted::RefractiveFactor,
            3,
            1.0,
        ),
    ]
}

impl Chart<'_> {
    /// The rule of a sump with these channels, and how its alarm is written to
    /// behave; no rule where it is off.
    pub(super) fn rule(
        &self,
        review: &mut Review,
        at: &KeyPath,
        channels: &[ChannelSetup],
    ) -> Option<(Option<Rule>, Option<Switch<RawRule>>)> {
        let measured = self.is_measured(channels);
        let raw = match self.raw {
            Some(Switch::Off) => return Some((None, Some(Switch::Off))),
            None => {
                let kept = self.by_itself && measured;
                return Some((kept.then_some(Rule::Shifted(self.standard)), None));
            }
            Some(Switch::On(raw)) => raw,
        };
        if let (false, Some(signal)) = (measured, self.standard.of.signal()) {
            review.tell(at, Problem::NotMeasured(signal));
            return None;
        }
        let run_in = raw.run_in.unwrap_or(self.standard.run_in);
        let run_in = review.within(&at.key("run_in"), run_in, RUN_IN, |n| n.to_string());
        let mut sigmas = |key: &str, written: Option<f64>, standard: f64, range| {
            let sigmas = written.unwrap_or(standard);
            review.within(&at.key(key), sigmas, range, |sigmas| sigmas.to_string())
        };
        let slack = sigmas("slack", raw.slack, self.standard.slack_sigmas, (0.0, 10.0));
        let limit = sigmas("limit", raw.limit, self.standard.limit_sigmas, (1.0, 100.0));
        let rule = Rule::Shifted(ChartRule {
            of: self.standard.of,
            run_in: run_in?,
            slack_sigmas: slack?,
            limit_sigmas: limit?,
        });
        Some((Some(rule), Some(Switch::On(RawRule::from(raw)))))
    }

    fn is_measured(&self, channels: &[ChannelSetup]) -> bool {
        let by: &[Quantity] = match self.standard.of {
            Charted::Concentration => &[Quantity::Brix, Quantity::Concentration],
            Charted::Ph => &[Quantity::Ph],
            // People enter what it is kept of.
            Charted::RefractiveFactor => return true,
        };
        channels
            .iter()
            .any(|channel| by.contains(&channel.quantity))
    }
}
