//! What kind of instrument a channel is: a gauge, a meter or a switch.

use crate::engine::{ChannelKind, MeterOf, MeterSetup, SeriesIx, SwitchOf};
use crate::units::{Concentration, Flow, Parse, Quantity, Volume};

use super::key_path::KeyPath;
use super::plant::Scale;
use super::problem::Problem;
use super::raw::RawChannel;
use super::review::Review;
use super::written::Written;

/// What can run through a meter.
#[derive(Debug, Clone, Copy)]
enum Stuff {
    Water,
    Concentrate,
    Premix,
}

const STUFF: [(&str, Stuff); 3] = [
    ("water", Stuff::Water),
    ("concentrate", Stuff::Concentrate),
    ("premix", Stuff::Premix),
];

/// What a switch can tell of.
const SWITCHED: [(&str, SwitchOf); 2] = [("pumps", SwitchOf::Pumps), ("other", SwitchOf::Other)];

/// The kind of a channel. `total_series` is where a meter's total goes.
pub(super) fn kind(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawChannel,
    (quantity, scale): (Quantity, Option<&Scale>),
    total_series: Option<SeriesIx>,
) -> Option<ChannelKind> {
    match (quantity, total_series) {
        (Quantity::Metered, Some(total_series)) => {
            let of = of(review, at, raw);
            let counts = counts(review, at, raw, scale);
            Some(ChannelKind::Meter {
                counts: counts?,
                of: of?,
                total_series,
            })
        }
        (Quantity::State, _) => {
            let no_meter = no_meter(review, at, raw);
            let word = raw.of.as_deref().unwrap_or("other");
            let of = review.one_of(&at.key("of"), word, &SWITCHED)?;
            no_meter.map(|()| ChannelKind::Switch { of })
        }
        _ => {
            let no_of = no_of(review, at, raw);
            no_meter(review, at, raw)
                .and(no_of)
                .map(|()| ChannelKind::Gauge)
        }
    }
}

fn no_meter(review: &mut Review, at: &KeyPath, raw: &RawChannel) -> Option<()> {
    let given = [
        ("strength", raw.strength.is_some()),
        ("rolls_over_at", raw.rolls_over_at.is_some()),
        ("max_flow", raw.max_flow.is_some()),
    ];
    let wrong = given.iter().filter(|(_, given)| *given);
    let told = wrong
        .map(|(key, _)| {
            let problem = Problem::OnlyFor("quantity = \"metered\"");
            review.tell(&at.key(key), problem);
        })
        .count();
    (told == 0).then_some(())
}

fn no_of(review: &mut Review, at: &KeyPath, raw: &RawChannel) -> Option<()> {
    if raw.of.is_none() {
        return Some(());
    }
    let problem = Problem::OnlyFor("quantity = \"metered\" or quantity = \"state\"");
    review.tell(&at.key("of"), problem);
    None
}

fn of(review: &mut Review, at: &KeyPath, raw: &RawChannel) -> Option<MeterOf> {
    let word = raw.of.as_deref().unwrap_or("water");
    let stuff = review.one_of(&at.key("of"), word, &STUFF)?;
    let path = at.key("strength");
    match (stuff, raw.strength.as_ref()) {
        (Stuff::Premix, written) => {
            let example = "strength = \"6 %\", the concentration of the premix";
            let strength = review.needed(&path, written, Concentration::parse, example)?;
            let range = (0.0, 100.0);
            review.within(&path, strength.percent(), range, |x| format!("{x} %"))?;
            Some(MeterOf::Premix(strength))
        }
        (_, Some(_)) => {
            review.tell(&path, Problem::OnlyFor("of = \"premix\""));
            None
        }
        (Stuff::Water, None) => Some(MeterOf::Water),
        (Stuff::Concentrate, None) => Some(MeterOf::Concentrate),
    }
}

fn counts(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawChannel,
    scale: Option<&Scale>,
) -> Option<MeterSetup> {
    let rolls_over_at = match raw.rolls_over_at.as_ref() {
        None => Some(None),
        Some(written) => rolls_over_at(review, at, written, scale).map(Some),
    };
    let max_flow = match raw.max_flow.as_ref() {
        None => Some(None),
        Some(written) => {
            let path = at.key("max_flow");
            let flow = review.good(&path, Flow::parse(written.text()))?;
            let litres = flow.litres_per_minute();
            let shown = |litres| format!("{litres} L/min");
            review.within(&path, litres, (1e-3, 1e6), shown)?;
            Some(Some(flow))
        }
    };
    Some(MeterSetup {
        rolls_over_at: rolls_over_at?,
        max_flow: max_flow?,
    })
}

/// A volume, or a bare number of what the instrument counts.
fn rolls_over_at(
    review: &mut Review,
    at: &KeyPath,
    written: &Written,
    scale: Option<&Scale>,
) -> Option<f64> {
    let path = at.key("rolls_over_at");
    let litres = match (written.text().trim().parse::<f64>(), scale?) {
        (Ok(counts), Scale::Line(line)) => line.apply(counts),
        _ => review.good(&path, Volume::parse(written.text()))?.litres(),
    };
    review.within(&path, litres, (1e-3, 1e12), |litres| format!("{litres} L"))
}
