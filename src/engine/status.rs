//! The sump's present state as others are shown it.

use std::sync::Arc;

use serde::Serialize;

use crate::alarm::{AlarmState, Priority};
use crate::model::{FactorStatus, MineralStatus, SouringStatus};
use crate::rules::Condition;
use crate::units::{Measured, Quantity, Timestamp};

use super::balance_status::BalanceStatus;
use super::check_plan::CheckStatus;
use super::event::QualityClass;
use super::instrument::InstrumentStatus;
use super::remedy::RemedyStatus;
use super::setup::ChannelKind;
use super::watch::SumpWatch;

/// The present state of a sump.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SumpStatus {
    /// The sump's time.
    pub time: Timestamp,
    /// The sump.
    pub sump: Arc<str>,
    /// Its name as people say it.
    pub title: String,
    /// Concentration, %, if it is known.
    pub concentration_pct: Option<Measured>,
    /// Concentration wanted, lowest and highest, %.
    pub window_pct: (f64, f64),
    /// Volume, L, if it is measured.
    pub volume_l: Option<f64>,
    /// Volume that the sump is to be kept at, L.
    pub working_volume_l: f64,
    /// Until then an addition is being mixed in.
    pub mixing_until: Option<Timestamp>,
    /// Where the fluid goes, once something is known of it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub balance: Option<BalanceStatus>,
    /// Its minerals, where something is known of them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub minerals: Option<MineralStatus>,
    /// Whether it goes sour, where something is known of that.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub souring: Option<SouringStatus>,
    /// The refractometer against titration and laboratory, where there are such
    /// readings.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub factor: Option<FactorStatus>,
    /// What has most to say for it, once a limit is breached beyond which the
    /// charge is to be treated, exchanged or changed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub remedy: Option<RemedyStatus>,
    /// The checks of the plan that count, each with when it is due.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub checks: Vec<CheckStatus>,
    /// The channels.
    pub channels: Vec<ChannelStatus>,
    /// Alarms that are not normal.
    pub alarms: Vec<ActiveAlarm>,
}

/// The present state of a channel.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ChannelStatus {
    /// Its name.
    pub channel: Arc<str>,
    /// What it measures.
    pub quantity: Quantity,
    /// Smoothed value, however old; of a meter where it stands, of a switch 1
    /// (on) or 0 (off).
    pub value: Option<f64>,
    /// What stands in while the channel has not reported: true at some unknown
    /// time before.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub baseline: Option<f64>,
    /// Unit of the value.
    pub unit: &'static str,
    /// Time of the newest reading that counted.
    pub time: Option<Timestamp>,
    /// Of a switch: since when it says so.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub since: Option<Timestamp>,
    /// Of a meter: everything that ran since its first count, L.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub metered_l: Option<f64>,
    /// Class of the newest reading, once there was one.
    pub quality: Option<QualityClass>,
    /// Messages since the last reading that could not be read.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unreadable: Option<UnreadableStatus>,
    /// No usable reading for too long.
    pub silent: bool,
    /// It and a hand reading contradict each other.
    pub doubted: bool,
    /// Readings replaced as spikes, ever.
    pub spikes: u64,
    /// How its instrument is.
    pub instrument: InstrumentStatus,
}

/// Messages of a channel that could not be read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct UnreadableStatus {
    /// How many.
    pub count: u64,
    /// Time of the first.
    pub since: Timestamp,
    /// Why not the newest.
    pub why: String,
}

/// An alarm that is not normal.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ActiveAlarm {
    /// Its id.
    pub id: String,
    /// What is wrong.
    pub condition: Condition,
    /// How much hurry.
    pub priority: Priority,
    /// Where it stands.
    pub state: AlarmState,
    /// When the condition began.
    pub since: Timestamp,
    /// Until when it is shelved.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub until: Option<Timestamp>,
}

impl SumpWatch {
    /// The present state.
    pub fn status(&self) -> SumpStatus {
        let (lowest, highest) = self.setup.window;
        let souring = self.souring_status();
        let remedy = self.remedy(souring.as_ref().map(|status| status.level));
        SumpStatus {
            time: self.now,
            sump: Arc::clone(&self.setup.name),
            title: self.setup.title.clone(),
            concentration_pct: self.concentration(),
            window_pct: (lowest.percent(), highest.percent()),
            volume_l: self.volume_value(),
            working_volume_l: self.setup.working_volume.litres(),
            mixing_until: self.dosing.mixing_until,
            balance: self.balance_status(),
            minerals: self.mineral_status(),
            souring,
            factor: self.factor_status(),
            remedy,
            checks: self.check_status(),
            channels: (0..self.channels.len())
                .map(|ix| self.channel_status(ix))
                .collect(),
            alarms: self.alarms_shown(),
        }
    }

    fn channel_status(&self, ix: usize) -> ChannelStatus {
        let (setup, watch) = (&self.setup.channels[ix], &self.channels[ix]);
        let reported = watch.last_time > Timestamp::MIN;
        ChannelStatus {
            channel: Arc::clone(&setup.name),
            quantity: setup.quantity,
            value: watch.value(&setup.kind),
            baseline: watch.baseline,
            unit: setup.quantity.unit(),
            time: reported.then_some(watch.last_time),
            since: watch.switched().map(|switch| switch.since),
            metered_l: matches!(setup.kind, ChannelKind::Meter { .. }).then(|| watch.metered()),
            quality: reported.then(|| watch.last_quality.class()),
            unreadable: watch
                .unreadable
                .as_ref()
                .map(|unreadable| UnreadableStatus {
                    count: unreadable.count,
                    since: unreadable.since,
                    why: unreadable.why.clone(),
                }),
            silent: watch.is_silent(setup, self.now),
            doubted: self.alarms.is_doubted(ix),
            spikes: watch.spikes,
            instrument: self.instrument_status(ix),
        }
    }

    pub(super) fn alarms_shown(&self) -> Vec<ActiveAlarm> {
        self.alarms
            .each()
            .filter(|(_, _, life)| life.state() != AlarmState::Normal)
            .map(|(alarm, spec, life)| ActiveAlarm {
                id: self.alarm_id(alarm).unwrap_or_default(),
                condition: spec.condition.clone(),
                priority: spec.priority,
                state: life.state(),
                since: life.since().unwrap_or(self.now),
                until: life.shelved_until(),
            })
            .collect()
    }
}
