//! Whether what the refractometer shows can be true: without an addition no
//! concentration rises by more than evaporation explains, and a film on the
//! prism does just that.

use serde::{Deserialize, Serialize};

use crate::model::MovementKind;
use crate::units::{Brix, Measured, Quantity, Span, Timestamp};

use super::balance_watch::Tells;
use super::watch::SumpWatch;

/// So many deviations above what the balance expects cannot be true. Choice: the
/// same as of a step that is one.
const SURE: f64 = 4.0;
/// A level that rose by less than this share of the neat concentrate that it
/// would have taken, or of the working volume, says that none went in. Choice:
/// half of it, and what a level's noise hides.
const SHARE_OF_IT: f64 = 0.5;
/// See [`SHARE_OF_IT`].
const HIDDEN: f64 = 0.005;
/// So many deviations of what the volume is known to are none either.
const NOT_SURE: f64 = 2.0;
/// It stays so for so long before a film is told of it. Choice: longer than
/// bubbles of a start take to leave the cell.
const LASTS: Span = Span::from_mins(20);
/// What was doubted and cannot be judged any more is doubted for so long.
/// Choice: a step of the level is settled and named by then.
const LONGEST_DOUBT: Span = Span::from_mins(90);
/// The cell has fresh fluid after the pumps have run for so long. Choice.
const RINSED: Span = Span::from_mins(10);
/// What grew on the prisms of many sumps over a week-end is found as their pumps start:
/// it is told up to so much later, at each sump at its own time. (choice)
const SPREAD: Span = Span::from_mins(60);
/// A hand reading that agrees says more than the balance, for so long. Choice:
/// until the balance has followed.
const AGREED_HOLDS: Span = Span::from_hours(24);
/// After something went in or out, and has mixed, the balance is unsure for so
/// long of what was there before. Choice: about what it takes to tell a step.
const UNSURE: Span = Span::from_hours(4);
/// A film that is told of by a jump is taken to have grown for so long at
/// least, h. Choice: a shift.
const FOULS_WITHIN_HOURS: f64 = 6.0;
/// A jump is told of from so many standard uncertainties of a reading on.
/// Choice: what moved by less did not move.
const WORTH_TELLING: f64 = 2.0;
/// What the conductivity shows is good to this part of what it is told from.
/// Choice: so that it counts for sure.
const UNSURE_BY: f64 = 4.0;
/// A hand reading of so long ago still is one of now. Choice: few films grow within it.
const JUST_BEFORE: Span = Span::from_hours(2);

/// What is known of the prism.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub(super) struct Prism {
    /// Since when it shows what cannot be true.
    contradicted: Option<Timestamp>,
    /// When a hand reading last agreed with it.
    agreed: Option<Timestamp>,
}

impl SumpWatch {
    /// A hand reading agrees with the refractometer, or somebody touched it.
    pub(super) fn prism_agrees(&mut self, channel: usize) {
        if self.tells[channel] == Tells::Concentration {
            self.balance.prism = Prism {
                contradicted: None,
                agreed: Some(self.now),
            };
        }
    }

    /// Whether what the concentration shows is more than can be true.
    pub(super) fn is_more_than_can_be(&self) -> bool {
        self.balance.prism.contradicted.is_some()
    }

    /// Looks at the refractometer, and tells of a film what stays impossible.
    pub(super) fn watch_prism(&mut self) {
        let channel = self.tells.iter().position(|t| *t == Tells::Concentration);
        let Some(beyond) = self.beyond_truth() else {
            // Nobody knows for now; it is not doubted for ever.
            let old = |since: &mut Timestamp| self.now - *since >= LONGEST_DOUBT;
            self.balance.prism.contradicted.take_if(old);
            return;
        };
        let Some(excess) = beyond else {
            self.balance.prism.contradicted = None;
            return;
        };
        let since = *self.balance.prism.contradicted.get_or_insert(self.now);
        let own_time = self.own_share("prism", SPREAD);
        let rinsed = self
            .pumps_since()
            .is_none_or(|(since, run)| run && self.now - (since + own_time) >= RINSED);
        if self.now - since >= LASTS
            && rinsed
            && let Some(ix) = channel
        {
            self.tell_of_film(ix, excess, FOULS_WITHIN_HOURS);
        }
    }

    /// By how much the concentration lies above what can be true, %, if it does;
    /// none where nobody knows what can be. Where a hand refractometer agrees, it
    /// is not the prism.
    fn beyond_truth(&self) -> Option<Option<Measured>> {
        let contradicted = self.conductivity_contradicts();
        let is_prism = contradicted.is_some_and(|since| !self.agreed_since(since));
        let least = self.least_beyond_conductivity();
        let beyond = self.beyond_conductivity().filter(|_| is_prism);
        match beyond.filter(|beyond| *beyond >= least) {
            Some(beyond) => Some(Some(Measured::new(beyond, least / UNSURE_BY))),
            None => self.beyond_balance(),
        }
    }

    /// Whether a hand reading has agreed with the refractometer since then, or just
    /// before, as after the prism was wiped.
    pub(super) fn agreed_since(&self, time: Timestamp) -> bool {
        let agreed = self.balance.prism.agreed;
        agreed.is_some_and(|at| at >= time - JUST_BEFORE)
    }

    /// By how much it lies above what the balance explains.
    fn beyond_balance(&self) -> Option<Option<Measured>> {
        let agreed = self.balance.prism.agreed;
        let believed = agreed.is_some_and(|at| self.now - at < AGREED_HOLDS);
        if believed || self.pumps_run() == Some(false) {
            return Some(None);
        }
        if self.dosing.mixing_until.is_some() {
            return None;
        }
        let (channel, value) = self.concentration_channel()?;
        if self.is_unsettled(channel) {
            return None;
        }
        let working = self.is_working(self.now);
        let (percent, volume) =
            self.balance
                .balance
                .expected(&self.balance_setup, self.now, working)?;
        let excess = self.concentration_at(channel, value) - percent.value;
        let uncertainty = self.setup.channels[channel].uncertainty;
        let least = self.points_of(channel, WORTH_TELLING * uncertainty);
        // What drains back hides for a while whether anything went in.
        let risen = match self.runs_back(Quantity::Volume) {
            true => 0.0,
            false => self.volume_value()? - volume.value,
        };
        let needed = excess / 100.0 * volume.value;
        let hidden = HIDDEN * self.setup.working_volume.litres();
        let hidden = hidden.max(NOT_SURE * volume.uncertainty);
        let sure = excess > least.max(SURE * percent.uncertainty)
            && risen < hidden.max(SHARE_OF_IT * needed);
        Some(sure.then(|| Measured::new(excess, percent.uncertainty)))
    }

    /// The balance has named a jump of the concentration, %, that only the
    /// instrument explains: a reading that rises while nothing goes in. While
    /// what went in or out is not surely known, it says nothing.
    pub(super) fn suspect_fouling(&mut self, jump: Measured, began: Timestamp, hours: f64) {
        let Some(ix) = self.tells.iter().position(|t| *t == Tells::Concentration) else {
            return;
        };
        let mixing = self.mixing_span(self.setup.working_volume);
        let disturbs =
            |kind: MovementKind| !matches!(kind, MovementKind::Instrument | MovementKind::Thinned);
        let disturbed = self.balance.balance.movements().any(|one| {
            disturbs(one.kind) && one.until <= began && began < one.until + mixing + UNSURE
        });
        let least = self.points_of(ix, WORTH_TELLING * self.setup.channels[ix].uncertainty);
        if !disturbed && jump.interval_90().0 > least {
            self.tell_of_film(ix, jump, hours.max(FOULS_WITHIN_HOURS));
        }
    }

    fn tell_of_film(&mut self, channel: usize, points: Measured, hours: f64) {
        let scale = 24.0 / hours / self.points_of(channel, 1.0);
        let drift = Measured::new(scale * points.value, scale * points.uncertainty);
        if let Ok(channel) = u16::try_from(channel) {
            self.forbidden_drift(channel, Some(drift));
        }
    }

    /// What so much of the channel's unit comes to in points of concentration.
    pub(super) fn points_of(&self, channel: usize, of_unit: f64) -> f64 {
        if self.setup.channels[channel].quantity != Quantity::Brix {
            return of_unit;
        }
        let chart = &self.setup.fluid.chart;
        let net = chart.brix_for(self.setup.target, Brix::default());
        of_unit * chart.slope_at(net)
    }
}
