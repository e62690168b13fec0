//! Samples of every message, invented: what a plant's layouts are tried on.

use crate::advice::{Measure, VolumeUnit};
use crate::notify::digest::Digest;
use crate::units::{Timestamp, Volume};

use super::data::{About, Told};
use super::sample_advice::{all_advice, mixers, outcomes};
use super::sample_alarms::alarms;
use super::sample_balance::{departures, movements};
use super::sample_summaries;

/// 2026-03-02T13:25:00Z.
pub(super) const NOW: Timestamp = Timestamp::from_millis(1_772_457_900_000);

/// What the samples are about, in litres or in gallons.
pub(super) fn about(unit: VolumeUnit) -> About<'static> {
    let litres = |units: f64| Volume::from_litres(units * unit.litres());
    About {
        sump: "mill-4",
        title: "Mill 4",
        time: NOW,
        measure: Measure {
            unit,
            step: litres(1.0),
            vessel: Some(litres(10.0)),
        },
    }
}

/// Shows every sample.
pub(super) fn each(mut see: impl FnMut(&About<'_>, &Told<'_>)) {
    let about = about(VolumeUnit::Litre);
    for line in alarms() {
        see(&about, &Told::Alarm(&line));
    }
    for advice in all_advice() {
        see(&about, &Told::Advice(&advice));
    }
    for outcome in outcomes() {
        see(&about, &Told::Outcome(&outcome));
    }
    for check in mixers() {
        see(&about, &Told::Mixer(&check));
    }
    for movement in movements() {
        see(&about, &Told::Movement(&movement));
    }
    see(&about, &Told::Departure(None));
    for departure in departures() {
        see(&about, &Told::Departure(Some(&departure)));
    }
    see(&about, &Told::Digest(&Digest::default()));
    see(&about, &Told::Digest(&sample_summaries::digest()));
    for summary in sample_summaries::floods() {
        see(&about, &Told::Flood(&summary));
    }
    for summary in sample_summaries::aways() {
        see(&about, &Told::Away(&summary));
    }
}
