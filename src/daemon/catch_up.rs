//! Taking the watches up again after a stop, clean or not.

use std::sync::Arc;

use crate::engine::{
    Effect, Event, Form, GRID, KeptAlarm, Quality, Reading, SETTLING, SumpSnapshot, SumpWatch,
};
use crate::settings::Settings;
use crate::store::{Reader, SeriesMap, StoreError};
use crate::units::Timestamp;

use super::removed::priority;

/// A watch taken up again, and what it wants done.
pub(super) struct TakenUp {
    pub(super) watch: SumpWatch,
    pub(super) effects: Vec<Effect>,
}

/// The watches of all sumps as they stood, ready to go on at `start`.
///
/// Each goes on from its snapshot and the readings that were stored after it.
/// They drive the watch as they did before, the clock before each included;
/// since the snapshot is kept with every journal line, nothing that they cause
/// has been told yet. Readings that the snapshot knows change nothing. Alarms that
/// stood and that the settings know no more are closed at `start`.
pub(super) fn take_up(
    settings: &Settings,
    reader: &Reader,
    series: &SeriesMap,
    start: Timestamp,
) -> Result<Vec<TakenUp>, StoreError> {
    let mut since = start;
    let mut taken = Vec::with_capacity(settings.sumps.len());
    let mut stood = Vec::with_capacity(settings.sumps.len());
    for place in 0..settings.sumps.len() {
        let (watch, kept_at, alarms) = from_snapshot(settings, place, reader, start)?;
        since = since.min(kept_at - settings.admission.late_after - SETTLING - GRID);
        stood.push(alarms);
        taken.push(TakenUp {
            watch,
            effects: Vec::new(),
        });
    }
    let places = channel_places(settings);
    reader.readings_since(since, |stored| {
        let Some(place) = series.series(stored.series).map(|ix| ix.0 as usize) else {
            return;
        };
        let Some(Some((sump, channel))) = places.get(place).copied() else {
            return;
        };
        let arrival = stored.time + stored.delay;
        let reading = Reading {
            channel,
            claimed: Some(stored.time),
            arrival,
            value: stored.value,
            form: Form::Settled,
            quality: stored.quality,
        };
        let TakenUp { watch, effects } = &mut taken[sump];
        watch.step(&Event::Tick((arrival - SETTLING).floor(GRID)), effects);
        // What was late changed nothing then, nor does it now: among it is
        // history that was imported.
        if !stored.quality.has(Quality::LATE) {
            watch.step(&Event::Reading(reading), effects);
        }
        effects.retain(|effect| matches!(effect, Effect::Journal(_)));
    })?;
    for (TakenUp { watch, effects }, stood) in taken.iter_mut().zip(&stood) {
        watch.listen_from(start);
        let sump = Arc::clone(&watch.setup().name);
        let of = |kept: &_| priority(reader, &sump, kept);
        watch.close_removed(stood, start, of, effects);
    }
    Ok(taken)
}

/// The watch of one sump, when its snapshot was taken, and what stood then.
fn from_snapshot(
    settings: &Settings,
    place: usize,
    reader: &Reader,
    start: Timestamp,
) -> Result<(SumpWatch, Timestamp, Vec<KeptAlarm>), StoreError> {
    let setup = Arc::clone(&settings.sumps[place]);
    let admission = settings.admission;
    let Some(kept) = reader.snapshot(&setup.name)? else {
        return Ok((SumpWatch::new(setup, admission, start), start, Vec::new()));
    };
    match serde_json::from_slice::<SumpSnapshot>(&kept.body) {
        Ok(snapshot) => {
            let name = Arc::clone(&setup.name);
            let stood = snapshot.standing();
            let mut watch = SumpWatch::restore(setup, admission, snapshot);
            if watch.now() > start + admission.future_skew {
                tracing::error!(
                    sump = %name,
                    "its watch stood at {}, which is yet to come: the clock was wrong; pulled back",
                    watch.now()
                );
                watch.pull_back(start);
            }
            Ok((watch, kept.time.min(start), stood))
        }
        Err(error) => {
            tracing::error!(
                sump = %setup.name,
                "its kept state cannot be read ({error}); the watch starts anew"
            );
            Ok((SumpWatch::new(setup, admission, start), start, Vec::new()))
        }
    }
}

/// For each series of the settings the sump and channel it comes from.
fn channel_places(settings: &Settings) -> Vec<Option<(usize, u16)>> {
    let mut places = vec![None; settings.series.len()];
    for (sump, setup) in settings.sumps.iter().enumerate() {
        for (channel, setup) in (0u16..).zip(&setup.channels) {
            places[setup.series.0 as usize] = Some((sump, channel));
        }
    }
    places
}
