//! Taking the watches up again after a stop, clean or not.

use std::sync::Arc;

use crate::engine::{Effect, Event, Reading, SumpSnapshot, SumpWatch};
use crate::settings::Settings;
use crate::store::{Reader, SeriesMap, StoreError};
use crate::units::Timestamp;

/// The watches of all sumps as they stood, ready to go on at `start`, with
/// what they want done.
///
/// Each goes on from its snapshot and the readings that were stored after it.
/// They drive the watch as they did before; since the snapshot is kept with
/// every journal line, nothing that they cause has been told yet. Readings
/// that the snapshot knows already change nothing.
pub(super) fn take_up(
    settings: &Settings,
    reader: &Reader,
    series: &SeriesMap,
    start: Timestamp,
) -> Result<(Vec<SumpWatch>, Vec<Effect>), StoreError> {
    let mut since = start;
    let mut watches = Vec::with_capacity(settings.sumps.len());
    for place in 0..settings.sumps.len() {
        let (watch, kept_at) = from_snapshot(settings, place, reader, start)?;
        since = since.min(kept_at - settings.admission.late_after);
        watches.push(watch);
    }
    let places = channel_places(settings);
    let mut effects = Vec::new();
    reader.readings_since(since, |stored| {
        let Some(place) = series.series(stored.series).map(|ix| ix.0 as usize) else {
            return;
        };
        let Some(Some((sump, channel))) = places.get(place).copied() else {
            return;
        };
        let reading = Reading {
            channel,
            claimed: Some(stored.time),
            arrival: stored.time + stored.delay,
            value: stored.value,
            quality: stored.quality,
        };
        watches[sump].step(&Event::Reading(reading), &mut effects);
        effects.retain(|effect| !matches!(effect, Effect::Record(_) | Effect::Show(_)));
    })?;
    for watch in &mut watches {
        watch.listen_from(start);
    }
    Ok((watches, effects))
}

/// The watch of one sump and when its snapshot was taken.
fn from_snapshot(
    settings: &Settings,
    place: usize,
    reader: &Reader,
    start: Timestamp,
) -> Result<(SumpWatch, Timestamp), StoreError> {
    let setup = Arc::new(settings.sumps[place].clone());
    let admission = settings.admission;
    let Some(kept) = reader.snapshot(&setup.name)? else {
        return Ok((SumpWatch::new(setup, admission, start), start));
    };
    match serde_json::from_slice::<SumpSnapshot>(&kept.body) {
        Ok(snapshot) => {
            let kept_at = snapshot.now();
            Ok((SumpWatch::restore(setup, admission, snapshot), kept_at))
        }
        Err(error) => {
            tracing::error!(
                sump = %setup.name,
                "its kept state cannot be read ({error}); the watch starts anew"
            );
            Ok((SumpWatch::new(setup, admission, start), start))
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
