//! Signals that move too fast or have shifted, and pumps that stand.

use crate::alarm::Verdict;
use crate::rules::{ChartRule, Charted, Finding, RateRule, judge_rate};
use crate::units::{Span, Timestamp};

use crate::engine::channel::ChannelWatch;
use crate::engine::setup::{ChannelKind, ChannelSetup};
use crate::engine::watch::SumpWatch;

/// Pumps that stand are counted back so far: the longest stretch of work without
/// a pause that anybody tells apart. Choice.
const BACK: Span = Span::from_hours(48);

impl SumpWatch {
    /// How fast it moves; the limit with the sign of its direction.
    pub(super) fn of_rate(&self, rule: &RateRule) -> Finding {
        let speed = self.rates.speed(rule.signal);
        Finding {
            value: speed.map(|speed| speed.likely),
            unit: Some(rule.unit()),
            limit: Some(rule.direction.of(rule.limit_per_hour)),
            ..Finding::plain(judge_rate(rule.direction, rule.limit_per_hour, speed))
        }
    }

    /// By how much it has shifted, against what is let pass. A chart that still
    /// learns what is usual tells nothing; without values it stands as it was.
    pub(super) fn of_shift(&self, rule: &ChartRule) -> Finding {
        let shift = self.shift_of(rule);
        let unit = match rule.of {
            Charted::RefractiveFactor => "%",
            Charted::Concentration | Charted::Ph => {
                rule.of.signal().map_or("", |signal| signal.unit())
            }
        };
        Finding {
            value: shift.map(|shift| shift.by),
            unit: Some(unit),
            limit: shift.map(|shift| shift.slack.copysign(shift.by)),
            since: shift.map(|shift| shift.since),
            ..Finding::plain(Verdict::of(shift.is_some()))
        }
    }

    /// For how long the pumps have stood in this stretch of work, min. For a
    /// clean-out they stand by design, and after it until the new charge had time to
    /// be mixed. A switch that is heard when it changes says nothing while nothing of
    /// the sump is heard.
    pub(super) fn of_pumps(&self, after: Span) -> Finding {
        let (Some(shifts), Some((since, run))) = (&self.setup.shifts, self.pumps_since()) else {
            return Finding::plain(Verdict::Unknown);
        };
        let by_design = self.recharge_under_way() || self.dosing.mixing_until.is_some();
        if by_design || !self.hears_anything() {
            return Finding::plain(Verdict::Unknown);
        }
        let stood = (!run && shifts.is_working(self.now)).then(|| self.worked_since(since));
        let held = stood.filter(|from| self.now - *from >= after);
        Finding {
            value: stood.map(|from| minutes(self.now - from)),
            unit: Some("min"),
            limit: Some(minutes(after)),
            since: held,
            ..Finding::plain(Verdict::of(held.is_some()))
        }
    }

    /// Whether any instrument of the sump reports; true where it has none. That
    /// its source is there again is no report yet.
    fn hears_anything(&self) -> bool {
        let channels = self.channels.iter().zip(&self.setup.channels);
        let mut gauges = channels
            .filter(|(_, setup)| matches!(setup.kind, ChannelKind::Gauge))
            .peekable();
        let reports = |watch: &ChannelWatch, setup: &ChannelSetup| {
            !watch.is_silent(setup, self.now) && self.now - watch.last_time < setup.silent_after
        };
        gauges.peek().is_none() || gauges.any(|(watch, setup)| reports(watch, setup))
    }

    /// Since when people have worked without a pause, and not before `since`.
    fn worked_since(&self, since: Timestamp) -> Timestamp {
        let from = since.max(self.now - BACK);
        let Some(shifts) = &self.setup.shifts else {
            return self.now;
        };
        // A shift that begins now counts.
        let worked = shifts.worked_between(from, self.now + Span::from_millis(1));
        let last = worked.fold(
            None,
            |last: Option<(Timestamp, Timestamp)>, (begin, end)| match last {
                Some((first, until)) if until == begin => Some((first, end)),
                _ => Some((begin, end)),
            },
        );
        last.map_or(self.now, |(begin, _)| begin)
    }
}

fn minutes(span: Span) -> f64 {
    span.secs_f64() / 60.0
}
