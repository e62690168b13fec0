//! Whether tramp oil lifts what the refractometer shows: a hand refractometer reads
//! it too, a titration does not, and people see it on the surface (common practice, no
//! source).

use crate::alarm::AlarmLife;
use crate::rules::{Condition, LimitLevel};
use crate::units::{Quantity, Span, Timestamp};

use super::alarm_list::AlarmIx;
use super::watch::SumpWatch;

/// A titration, or a laboratory's answer, holds for so long. Choice: a film of oil is
/// seen on the weekly look, and need not mean that there is more of it in the mix.
const HOLDS: Span = Span::from_hours(7 * 24);
/// What contradicts the refractometer for so long is no chance. Choice: a top-up has
/// mixed by then.
const LASTS: Span = Span::from_hours(2);
/// A rich reading waits for so long for somebody to titrate. Choice: a long weekend.
const LONGEST_WAIT: Span = Span::from_hours(3 * 24);

impl SumpWatch {
    /// Whether oil is to be thought of until somebody titrates: a film was seen and the
    /// refractometer reads rich, or a hand refractometer agrees with what the
    /// conductivity contradicts.
    pub(super) fn suspects_oil(&self, is_told: bool) -> bool {
        let contradicted = self.conductivity_contradicts();
        let lasts = |since: &Timestamp| self.now - *since >= LASTS;
        let contradicted = contradicted.filter(|since| lasts(since) && self.agreed_since(*since));
        let seen = self
            .chemistry
            .now
            .oil_film
            .filter(|_| self.reads_rich(is_told));
        let seen = seen.map(|since| since.min(self.now - HOLDS));
        let signs = contradicted.into_iter().chain(seen);
        signs.into_iter().any(|since| !self.titrated_since(since))
    }

    /// Whether the concentration lies nearer to the upper end of its window than to
    /// its target; once that was told, above its target.
    fn reads_rich(&self, is_told: bool) -> bool {
        let (target, highest) = (self.setup.target, self.setup.window.1);
        let room = highest.percent() - target.percent();
        let least = match is_told {
            true => target.percent(),
            false => target.percent() + room / 2.0,
        };
        self.signal(Quantity::Concentration)
            .is_some_and(|percent| percent > least)
    }

    /// Whether a film was seen, nobody has titrated since, and nothing shows whether
    /// the refractometer reads rich.
    pub(super) fn cannot_tell_of_oil(&self) -> bool {
        let seen = self.chemistry.now.oil_film;
        let untitrated = seen.is_some_and(|since| {
            let since = since.min(self.now - HOLDS);
            !self.titrated_since(since)
        });
        untitrated && self.signal(Quantity::Concentration).is_none()
    }

    /// Whether titration or a laboratory has spoken since then.
    fn titrated_since(&self, time: Timestamp) -> bool {
        let newest = self.chemistry.now.other;
        newest.is_some_and(|(at, ..)| at >= time)
    }

    /// Whether people are told of oil, as far as that is an alarm here.
    pub(super) fn is_told_of_oil(&self) -> bool {
        self.oil_alarm().is_some_and(AlarmLife::is_known)
    }

    fn oil_alarm(&self) -> Option<&AlarmLife> {
        let mut each = self.alarms.each();
        let oil = each.find(|(_, spec, _)| spec.condition == Condition::TrampOil);
        oil.map(|(_, _, life)| life)
    }

    /// Whether the limit is passed by what oil may lift the reading, and people know
    /// of the oil, or are about to be told: what it comes to without is told once
    /// somebody has titrated.
    pub(super) fn is_by_oil(&self, alarm: AlarmIx) -> bool {
        let Some(oil) = self.oil_alarm() else {
            return false;
        };
        let is_told = oil.is_known();
        let waits = oil
            .since()
            .is_none_or(|since| self.now - since < LONGEST_WAIT);
        let suspected = waits && self.suspects_oil(is_told);
        suspected && (self.is_beyond_conductivity(alarm) || self.is_inner(alarm))
    }

    fn is_inner(&self, alarm: AlarmIx) -> bool {
        let limit = self.limit_of(alarm);
        limit.is_some_and(|limit| limit.level == LimitLevel::High)
    }
}
