//! What was known does not hold on: an instrument was touched, nobody listened for
//! a while, or the sump was filled anew.

use super::{DRIFT, DRIFT_RATE, M, State, V, WANDER, drift_rate};
use crate::model::setup::BalanceSetup;
use crate::units::Timestamp;

/// What is not seen after a pause is doubted by this share (choice: about what
/// a top-up is).
const UNSEEN: f64 = 0.1;

impl State {
    /// Somebody touched the concentration's instrument: how far it is off now
    /// has nothing to do with how far it was off before.
    pub(in crate::model) fn instrument_touched(&mut self, setup: &BalanceSetup) {
        let wander = self.wander_pct(setup).powi(2);
        let mean = self.known.mean(WANDER) + self.known.mean(DRIFT);
        self.known.begin_anew(WANDER, 0.0, wander);
        let doubt = setup.errors.drift_pct.powi(2) + wander;
        self.known.begin_anew(DRIFT, 0.0, doubt + mean * mean);
        self.known.begin_anew(DRIFT_RATE, 0.0, 0.0);
        self.known.bear(DRIFT_RATE, drift_rate(setup).powi(2));
    }

    /// Nobody listened for a while: volume (L) and concentration (%) are taken
    /// as they are found now, each with its variance, and what happened in
    /// between is not known. Where one is not seen it is merely doubted.
    pub(in crate::model) fn found_again(
        &mut self,
        setup: &BalanceSetup,
        time: Timestamp,
        volume: Option<(f64, f64)>,
        concentration: Option<(f64, f64)>,
    ) {
        self.close_step();
        let hours = (time - self.time).secs_f64() / 3600.0;
        self.time = self.time.max(time);
        self.change(setup, hours.max(0.0));
        self.err(setup, hours.max(0.0));
        let share = self.share().0;
        let off = self.known.mean(WANDER) + self.known.mean(DRIFT);
        let doubt = (UNSEEN * setup.working_volume_l).powi(2);
        let (litres, variance) = volume.unwrap_or((self.known.mean(V), doubt));
        let (percent, percent_variance) = concentration.map_or(
            (100.0 * share, (UNSEEN * 100.0 * share).powi(2)),
            |(percent, variance)| (percent - off, variance),
        );
        let share = percent / 100.0;
        self.known.begin_anew(V, litres, variance);
        let of_share = percent_variance * (litres / 100.0).powi(2);
        self.known.begin_anew(M, share * litres, of_share);
        self.known.mix_in(M, &[(V, share)], 0.0);
    }

    /// The sump was filled anew: what was in it says nothing any more.
    pub(in crate::model) fn filled_anew(&mut self, volume: (f64, f64), concentration: (f64, f64)) {
        let share = concentration.0 / 100.0;
        self.close_step();
        self.known.begin_anew(V, volume.0, volume.1);
        let variance = concentration.1 * (volume.0 / 100.0).powi(2);
        self.known.begin_anew(M, share * volume.0, variance);
        self.known.mix_in(M, &[(V, share)], 0.0);
    }
}
