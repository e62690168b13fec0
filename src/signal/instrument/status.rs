//! What all signs together amount to.

use serde::{Deserialize, Serialize};

use crate::units::Timestamp;

use super::moment::Moment;
use super::{BAD, Bad, Drift, InstrumentSetup, InstrumentWatch};

/// The status signals of NAMUR NE 107 and good, in rising precedence.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum InstrumentClass {
    /// Nothing to say against it.
    Good,
    /// The value holds; something will be needed soon.
    MaintenanceRequired,
    /// The value is worse than the instrument's usual.
    OutOfSpecification,
    /// Somebody works on it; the value is none for now.
    FunctionCheck,
    /// The value is none.
    Failure,
}

/// Why an instrument is not good, most serious first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum InstrumentReason {
    /// No usable reading came for too long.
    Silent,
    /// The instrument, its loop or its gateway says that it failed.
    Fault,
    /// The last digit does not change while the fluid moves.
    Frozen,
    /// It was just cleaned or calibrated.
    JustTouched,
    /// It shows what cannot be true.
    OutOfRange,
    /// There is foam under a level probe.
    Foam,
    /// Single readings scatter far more than usual.
    Noisy,
    /// It drifts as the mass balance forbids.
    Fouled,
    /// It moves away from hand readings.
    Drifting,
    /// Too many of its readings are spikes.
    Spiking,
}

/// How an instrument is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct InstrumentJudgement {
    /// The status signal.
    pub class: InstrumentClass,
    /// Why, unless it is good.
    pub reason: Option<InstrumentReason>,
    /// Since when.
    pub since: Option<Timestamp>,
}

impl InstrumentWatch {
    /// How the instrument is at `now`, by the most serious sign; `silent_since`
    /// where no usable reading came for too long.
    pub fn status(
        &self,
        setup: &InstrumentSetup,
        now: Timestamp,
        silent_since: Option<Timestamp>,
    ) -> InstrumentJudgement {
        use InstrumentClass as Class;
        use InstrumentReason as Reason;
        let bad = |why: Bad| {
            let (in_a_row, seconds) = BAD;
            let lasts = Moment::of(now).seconds_since(self.bad_since) >= seconds
                && self.bad_in_a_row >= in_a_row;
            let since = self.bad_since.time();
            since.filter(|_| lasts && self.bad == Some(why))
        };
        let drift = |beyond: bool| {
            let drift = self.drift.filter(|drift| drift.beyond == beyond);
            drift.map(|drift| drift.since)
        };
        let noisy = self.scatter.vote().since();
        let touched = self.touched_at.time();
        let settles = touched.filter(|&from| now < from + setup.function_check);
        let still = self.stillness.since(setup.frozen_after);
        let still = still.filter(|_| settles.is_none());
        let signs = [
            (Class::Failure, Reason::Silent, silent_since),
            (Class::Failure, Reason::Fault, bad(Bad::Fault)),
            (Class::Failure, Reason::Frozen, still.and_then(Moment::time)),
            (Class::FunctionCheck, Reason::JustTouched, settles),
            (
                Class::OutOfSpecification,
                Reason::OutOfRange,
                bad(Bad::OutOfRange),
            ),
            (
                Class::OutOfSpecification,
                Reason::Foam,
                self.foam.since().and_then(Moment::time),
            ),
            (
                Class::OutOfSpecification,
                Reason::Noisy,
                noisy.and_then(Moment::time),
            ),
            (
                Class::OutOfSpecification,
                Reason::Fouled,
                self.forbidden_since.time(),
            ),
            (Class::OutOfSpecification, Reason::Drifting, drift(true)),
            (Class::MaintenanceRequired, Reason::Drifting, drift(false)),
            (
                Class::MaintenanceRequired,
                Reason::Spiking,
                self.spikes.since().and_then(Moment::time),
            ),
        ];
        let worst = signs
            .into_iter()
            .find_map(|(class, reason, since)| since.map(|since| (class, reason, since)));
        match worst {
            Some((class, reason, since)) => InstrumentJudgement {
                class,
                reason: Some(reason),
                since: Some(since),
            },
            None => InstrumentJudgement {
                class: Class::Good,
                reason: None,
                since: None,
            },
        }
    }

    /// Standard deviation of single readings of late, and the usual one where
    /// there is a past; in the quantity's unit.
    pub fn scatter(&self) -> (f64, Option<f64>) {
        self.scatter.sigmas()
    }

    /// Share of spikes among the last hour's readings, 0 to 1.
    pub fn spike_share(&self) -> Option<f64> {
        self.spikes.share()
    }

    /// Of a level probe over foam: the value before it.
    pub fn held(&self) -> Option<f64> {
        self.foam.held()
    }

    /// What hand readings say.
    pub fn drift(&self) -> Option<Drift> {
        self.drift
    }

    /// The drift that the mass balance forbids, in the quantity's unit a day.
    pub fn drift_forbidden(&self) -> Option<f64> {
        self.forbidden_since
            .time()
            .map(|_| f64::from(self.forbidden))
    }
}
