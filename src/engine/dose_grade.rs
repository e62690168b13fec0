//! Whether a channel's value is good enough to work out a dose with.

use crate::signal::{InstrumentClass, InstrumentReason};
use crate::units::Timestamp;

use super::event::{Quality, QualityClass};
use super::watch::SumpWatch;

/// Why a channel's value may not drive a dose, and what to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub(super) enum DoseBlock {
    /// It has not reported, or not since its probe was touched.
    #[error("the channel has no value yet; wait for its next reading, or read by hand")]
    NoValue,
    /// No usable reading came for too long.
    #[error("the channel is silent since {since}; read by hand, and look at its supply and cable")]
    Silent {
        /// Since when.
        since: Timestamp,
    },
    /// A hand reading contradicts it.
    #[error(
        "a hand reading contradicts the channel; clean or calibrate the probe and compare again"
    )]
    Doubted,
    /// Its newest reading is not good.
    #[error("the newest reading is {}; wait for a good one, or read by hand", class_name(*class))]
    Reading {
        /// What it is instead.
        class: QualityClass,
    },
    /// Its instrument is not well enough.
    #[error("the instrument is {} since {since}; put it right or read by hand", reason_name(*reason))]
    Instrument {
        /// Its status signal.
        class: InstrumentClass,
        /// Why.
        reason: InstrumentReason,
        /// Since when.
        since: Timestamp,
    },
}

const fn class_name(class: QualityClass) -> &'static str {
    match class {
        QualityClass::Good => "good",
        QualityClass::Uncertain => "uncertain",
        QualityClass::Bad => "bad",
    }
}

const fn reason_name(reason: InstrumentReason) -> &'static str {
    match reason {
        InstrumentReason::Silent => "silent",
        InstrumentReason::Fault => "at fault",
        InstrumentReason::Frozen => "frozen",
        InstrumentReason::JustTouched => "settling after it was touched",
        InstrumentReason::OutOfRange => "out of range",
        InstrumentReason::Foam => "over foam",
        InstrumentReason::Noisy => "noisy",
        InstrumentReason::Fouled => "fouled",
        InstrumentReason::Drifting => "drifting",
        InstrumentReason::Spiking => "spiking",
    }
}

impl SumpWatch {
    /// The smoothed value of the channel at this place, in its unit, if a dose
    /// may be worked out with it: it is heard and not doubted, its newest
    /// reading is good or a spike that was replaced, and its instrument asks for
    /// maintenance at most.
    ///
    /// # Errors
    /// The first reason why not.
    pub(super) fn dose_grade(&self, ix: usize) -> Result<f64, DoseBlock> {
        let (setup, watch) = (&self.setup.channels[ix], &self.channels[ix]);
        let value = watch.value(&setup.kind).ok_or(DoseBlock::NoValue)?;
        if watch.is_stale(setup, self.now) {
            let since = watch.usable_at;
            return Err(DoseBlock::Silent { since });
        }
        if self.alarms.is_doubted(ix) {
            return Err(DoseBlock::Doubted);
        }
        if ![Quality::GOOD, Quality::SPIKE].contains(&watch.last_quality) {
            let class = watch.last_quality.class();
            return Err(DoseBlock::Reading { class });
        }
        let judged = self.instrument_judgement(ix);
        match (judged.reason, judged.since) {
            (Some(reason), Some(since)) if judged.class > InstrumentClass::MaintenanceRequired => {
                let class = judged.class;
                Err(DoseBlock::Instrument {
                    class,
                    reason,
                    since,
                })
            }
            _ => Ok(value),
        }
    }
}
