//! Limits that will be reached before long.

use crate::model::{Mineral, Outlook};
use crate::rules::{Ahead, Finding, LimitLevel, Reach, Step, judge_ahead};
use crate::units::{Quantity, Span};

use crate::engine::own_inputs::InputsOnce;
use crate::engine::watch::SumpWatch;

/// A trend that tells a limit ahead goes over so long. Choice: a shift.
const OVER: Span = Span::from_hours(8);
/// Nothing is said of what lies further ahead, d.
const HORIZON_D: f64 = 30.0;

impl SumpWatch {
    pub(super) fn of_ahead(
        &self,
        (signal, level): (Quantity, LimitLevel),
        within: Span,
        inputs: &InputsOnce,
    ) -> Finding {
        if let Some(mineral) = Mineral::read_as(signal) {
            return self.of_mineral_ahead(mineral, within);
        }
        let forecast = || inputs.forecast(self);
        let reach = match (signal, level.is_low()) {
            (Quantity::Volume, true) => forecast()
                .and_then(|forecast| forecast.low_volume)
                .map(|outlook| self.reach(outlook)),
            (Quantity::Concentration, false) => forecast()
                .and_then(|forecast| forecast.high_concentration)
                .map(|outlook| self.reach(outlook)),
            (Quantity::Ph, true) => self.ph_outlook().map(|ph| self.reach(ph.reaches)),
            _ => self.reach_by_trend(signal, level),
        };
        let value = self.signal(signal);
        let limit = self.threshold(signal, level);
        let beyond = |value: f64| {
            limit.is_some_and(|limit| {
                if level.is_low() {
                    value < limit
                } else {
                    value > limit
                }
            })
        };
        let ahead = match (value, reach) {
            (None, _) => Ahead::Unknown,
            (Some(value), _) if beyond(value) => Ahead::Beyond,
            (_, None) => Ahead::Away,
            (_, Some(reach)) => Ahead::Going(reach),
        };
        Finding {
            value,
            unit: Some(signal.unit()),
            limit,
            ..Finding::plain(judge_ahead(within, ahead))
        }
    }

    fn of_mineral_ahead(&self, mineral: Mineral, within: Span) -> Finding {
        let bound = Step::Watch.of(self.setup.minerals.bounds(mineral));
        let content = self.mineral_now(mineral);
        let lost = self.chemistry.now.minerals.is_lost(mineral);
        let ahead = match content {
            _ if lost => Ahead::Unknown,
            Some(content) if content.value >= bound => Ahead::Beyond,
            _ => self
                .mineral_reach(mineral, within)
                .map_or(Ahead::Away, Ahead::Going),
        };
        Finding {
            value: content.map(|content| content.value),
            unit: Some(mineral.quantity().unit()),
            limit: Some(bound),
            ..Finding::plain(judge_ahead(within, ahead))
        }
    }

    /// What lies beyond `within` is as good as never: it is looked for to a day
    /// beyond it only.
    fn mineral_reach(&self, mineral: Mineral, within: Span) -> Option<Reach> {
        let most_d = within.secs_f64() / 86_400.0 + 1.0;
        let (likely, latest) = self.next_limit_in(mineral, most_d)?;
        Some(Reach {
            likely: days(likely),
            latest: latest.map(days),
        })
    }

    fn reach(&self, outlook: Outlook) -> Reach {
        Reach {
            likely: outlook.time - self.now,
            latest: outlook.latest.map(|latest| latest - self.now),
        }
    }

    /// By how the signal went over a shift, where it surely goes there.
    fn reach_by_trend(&self, signal: Quantity, level: LimitLevel) -> Option<Reach> {
        let trend = self.trend_of(signal, OVER)?;
        let (low, high) = trend.a_day.interval_90();
        let (nearest, value) = if level.is_low() {
            (high, trend.a_day.value)
        } else {
            (low, trend.a_day.value)
        };
        let left = self.threshold(signal, level)? - self.signal(signal)?;
        let towards = |a_day: f64| left / a_day;
        let sure = left != 0.0 && nearest.signum() == left.signum() && nearest != 0.0;
        let likely = towards(value);
        (sure && (0.0..=HORIZON_D).contains(&likely)).then(|| Reach {
            likely: days(likely),
            latest: Some(towards(nearest))
                .filter(|latest| *latest <= HORIZON_D)
                .map(days),
        })
    }

    /// The limit that is set.
    fn threshold(&self, signal: Quantity, level: LimitLevel) -> Option<f64> {
        let mut limits = self.setup.limits.iter();
        let limit = limits.find(|one| one.signal == signal && one.level == level);
        limit.map(|limit| limit.threshold)
    }
}

fn days(days: f64) -> Span {
    Span::from_millis((days.max(0.0) * 86_400_000.0) as i64)
}
