//! Control charts of what changes over days: the concentration against its
//! target, pH, and the refractive factor.

use serde::{Deserialize, Serialize};

use crate::rules::{ChartRule, Charted, Rule};
use crate::signal::{Shift, ShiftChart, ShiftSetup};
use crate::units::{Quantity, Span, Timestamp};

use super::watch::SumpWatch;

/// One value stands for so long.
const DAY: Span = Span::from_hours(24);
/// A day with fewer points of five minutes has no value: an hour.
const LEAST: u32 = 12;
/// So many pairs after a shift of the factor was told confirm it. Choice: the
/// repetition that is asked for, and one of another day.
const CONFIRMED: u32 = 2;

/// The chart of one signal: fixed memory.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
struct DailyChart {
    /// The day that goes on.
    day: Option<Timestamp>,
    sum: f64,
    count: u32,
    chart: ShiftChart,
}

impl DailyChart {
    fn step(&mut self, setup: &ShiftSetup, now: Timestamp, value: Option<f64>) {
        let day = now.floor(DAY);
        if let Some(before) = self.day.filter(|before| *before != day) {
            if self.count >= LEAST {
                let mean = self.sum / f64::from(self.count);
                self.chart.step(setup, before, mean);
            }
            (self.sum, self.count) = (0.0, 0);
        }
        self.day = Some(day);
        if let Some(value) = value {
            self.sum += value;
            self.count += 1;
        }
    }
}

/// The charts of a sump.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub(super) struct ControlCharts {
    concentration: DailyChart,
    ph: DailyChart,
}

impl ControlCharts {
    /// The fluid is another, or its chart is.
    pub(super) fn begin_anew(&mut self) {
        *self = ControlCharts::default();
    }

    /// The day that went on says nothing: the clock was set back.
    pub(super) fn forget_today(&mut self) {
        for chart in [&mut self.concentration, &mut self.ph] {
            (chart.day, chart.sum, chart.count) = (None, 0.0, 0);
        }
    }
}

impl SumpWatch {
    /// Takes the signals in as they are now.
    pub(super) fn follow_charts(&mut self) {
        let setup = std::sync::Arc::clone(&self.setup);
        let rules = setup.rules.iter().filter_map(|setup| match &setup.rule {
            Rule::Shifted(chart) => Some(chart),
            _ => None,
        });
        let shows = self.shows_the_mix();
        for rule in rules {
            let Some(signal) = rule.of.signal() else {
                continue;
            };
            let value = self.signal(signal);
            let value = value.filter(|_| shows && self.well(signal));
            let (setup, now) = (self.daily_setup(rule, signal), self.now);
            let chart = match rule.of {
                Charted::Concentration => &mut self.charts.concentration,
                Charted::Ph | Charted::RefractiveFactor => &mut self.charts.ph,
            };
            chart.step(&setup, now, value);
        }
    }

    fn daily_setup(&self, rule: &ChartRule, signal: Quantity) -> ShiftSetup {
        let channel = self.channel_of(signal);
        let channel = channel.map(|ix| &self.setup.channels[ix]);
        // What the mean of a day is surer of, the instrument drifts by between two
        // calibrations. Of a refractometer it is in °Bx, near enough to points.
        let uncertainty = channel.map_or(0.0, |channel| channel.uncertainty);
        ShiftSetup {
            run_in: rule.run_in,
            slack_sigmas: rule.slack_sigmas,
            limit_sigmas: rule.limit_sigmas,
            least_sigma: uncertainty.max(f64::EPSILON),
            target: (rule.of == Charted::Concentration).then(|| self.setup.target.percent()),
            let_go_after: Some(rule.run_in),
        }
    }

    /// How far what the chart is kept of has shifted, in its unit.
    pub(super) fn shift_of(&self, rule: &ChartRule) -> Option<Shift> {
        match rule.of {
            Charted::Concentration => self.charts.concentration.chart.shift(),
            Charted::Ph => self.charts.ph.chart.shift(),
            Charted::RefractiveFactor => self.shift_of_factor(rule),
        }
    }

    /// How far the refractive factor has moved from that of the first pairs, %
    /// of it. Pairs do not depend on each other, and what each is sure to is
    /// known: only the mean of the first is learned. What pairs confirm after it
    /// was told is the usual from then on: those who read both methods again know.
    fn shift_of_factor(&self, rule: &ChartRule) -> Option<Shift> {
        let first = usize::from(rule.run_in);
        let pairs = || self.chemistry.now.factor.ratios();
        let usual: f64 = pairs().take(first).map(|pair| pair.ratio.value).sum();
        let mut usual = usual / f64::from(rule.run_in);
        let setup = ShiftSetup {
            run_in: rule.run_in,
            slack_sigmas: rule.slack_sigmas,
            limit_sigmas: rule.limit_sigmas,
            least_sigma: f64::EPSILON,
            target: None,
            let_go_after: None,
        };
        let mut chart = ShiftChart::known(&setup, 0.0, 1.0);
        // The mean of the first is itself only so sure.
        let widen = (1.0 + 1.0 / f64::from(rule.run_in)).sqrt();
        let (mut last, mut confirmed) = (1.0, (0.0, 0));
        for pair in pairs().skip(first) {
            if chart.shift().is_some() {
                confirmed = (confirmed.0 + pair.ratio.value, confirmed.1 + 1);
            }
            last = widen * pair.ratio.uncertainty;
            chart.step(&setup, pair.time, (pair.ratio.value - usual) / last);
            if chart.shift().is_none() {
                confirmed = (0.0, 0);
            } else if confirmed.1 == CONFIRMED {
                usual = confirmed.0 / f64::from(CONFIRMED);
                chart = ShiftChart::known(&setup, 0.0, 1.0);
                confirmed = (0.0, 0);
            }
        }
        let percent = |sigmas: f64| 100.0 * sigmas * last / usual;
        chart.shift().map(|shift| Shift {
            by: percent(shift.by),
            slack: percent(shift.slack),
            since: shift.since,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SETUP: ShiftSetup = ShiftSetup {
        run_in: 3,
        slack_sigmas: 1.5,
        limit_sigmas: 5.0,
        least_sigma: 0.05,
        target: None,
        let_go_after: None,
    };

    fn at(minutes: i64) -> Timestamp {
        Timestamp::from_millis(1_772_409_600_000).floor(DAY) + Span::from_mins(minutes)
    }

    #[test]
    fn a_day_counts_once_it_is_over_and_if_there_is_enough_of_it() {
        let mut daily = DailyChart::default();
        for five in 0..(3 * 288) {
            daily.step(&SETUP, at(5 * five), Some(9.2));
        }
        // The third day goes on.
        let learning = daily.chart;
        daily.step(&SETUP, at(3 * 1440), Some(6.0));
        assert_ne!(daily.chart, learning, "the third day is learned");
        let usual = daily.chart;
        for five in 1..12 {
            daily.step(&SETUP, at(3 * 1440 + 5 * five), None);
        }
        daily.step(&SETUP, at(4 * 1440), Some(9.2));
        assert_eq!(daily.chart, usual, "a day with one point has no value");
    }
}
