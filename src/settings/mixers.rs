//! The mixers that make-up comes from.

use std::sync::Arc;

use crate::engine::{MixerSetup, SumpSetup};
use crate::units::{Concentration, Parse};

use super::contacts::places;
use super::key_path::KeyPath;
use super::raw::{Named, RawMixer};
use super::review::Review;

/// A mixer and the places of the sumps that it serves.
#[derive(Debug)]
pub(super) struct Mixer {
    setup: MixerSetup,
    sumps: Vec<usize>,
}

/// Reads every mixer; nothing stands in place of one that is wrong.
pub(super) fn mixers(review: &mut Review, tables: Named, sumps: &[String]) -> Vec<Option<Mixer>> {
    let at = KeyPath::root().key("mixer");
    let mut mixers = Vec::new();
    for (name, part) in tables.unwrap_or_default() {
        let at = at.key(&name);
        review.name(&at, &name);
        let raw: RawMixer = review.take(&at, part);
        mixers.push(mixer(review, &at, &name, &raw, sumps));
    }
    mixers
}

fn mixer(
    review: &mut Review,
    at: &KeyPath,
    name: &str,
    raw: &RawMixer,
    sumps: &[String],
) -> Option<Mixer> {
    let path = at.key("setting");
    let example = "setting = \"6 %\", the strength that it is set to";
    let setting = review
        .needed(&path, raw.setting.as_ref(), Concentration::parse, example)
        .and_then(|setting| {
            let range = (0.1, 100.0);
            review.within(&path, setting.percent(), range, |share| {
                format!("{share} %")
            })
        });
    let served = match &raw.sumps {
        None => Some((0..sumps.len()).collect()),
        Some(names) => places(review, &at.key("sumps"), names, sumps),
    };
    Some(Mixer {
        setup: MixerSetup {
            name: Arc::from(name),
            setting: Concentration::from_percent(setting?),
        },
        sumps: served?,
    })
}

/// Gives each sump the mixers that serve it.
pub(super) fn connect(mixers: &[Mixer], sumps: &mut [SumpSetup]) {
    for mixer in mixers {
        for place in &mixer.sumps {
            if let Some(sump) = sumps.get_mut(*place) {
                sump.mixers.push(mixer.setup.clone());
            }
        }
    }
}
