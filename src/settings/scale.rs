//! What the values of a channel stand for.

use crate::units::{Linear, Parse, Quantity, Volume};

use super::calibration::Reports;
use super::current_loop;
use super::key_path::KeyPath;
use super::plant::{Scale, SwitchWords};
use super::problem::Problem;
use super::raw::RawChannel;
use super::review::Review;
use super::written::Written;

/// Words for on and off where none are written. Choice: what common
/// controllers and gateways send.
const ON: [&str; 3] = ["on", "true", "1"];
const OFF: [&str; 3] = ["off", "false", "0"];

/// The scale of a channel: a number in the unit that its instrument reports in,
/// the channel's own without a calibration, unless settled otherwise.
pub(super) fn scale(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawChannel,
    quantity: Option<Quantity>,
) -> Option<Scale> {
    let quantity = quantity?;
    if quantity == Quantity::State {
        return words(review, at, raw).map(Scale::Words);
    }
    for (key, given) in [("on", raw.on.is_some()), ("off", raw.off.is_some())] {
        if given {
            review.tell(&at.key(key), Problem::OnlyFor("quantity = \"state\""));
        }
    }
    if current_loop::is_on(raw) {
        return current_loop::scale(review, at, raw).map(Scale::Line);
    }
    line(review, at, raw, quantity).map(Scale::Line)
}

fn line(review: &mut Review, at: &KeyPath, raw: &RawChannel, quantity: Quantity) -> Option<Linear> {
    match (raw.unit.as_deref(), raw.per_pulse.as_ref()) {
        (_, Some(_)) if quantity != Quantity::Metered => {
            review.tell(
                &at.key("per_pulse"),
                Problem::OnlyFor("quantity = \"metered\""),
            );
            None
        }
        (Some(_), Some(_)) => {
            let without = "channels without per_pulse; with it the number counts pulses";
            review.tell(&at.key("unit"), Problem::OnlyFor(without));
            None
        }
        (None, Some(written)) => {
            let path = at.key("per_pulse");
            let litres = review.good(&path, Volume::parse(written.text()))?.litres();
            let litres =
                review.within(&path, litres, (1e-6, 1e6), |litres| format!("{litres} L"))?;
            Some(Linear {
                scale: litres,
                offset: 0.0,
            })
        }
        (Some(unit), None) => {
            let reports = Reports::of(raw, quantity);
            review.good(&at.key("unit"), reports.unit_conversion(quantity, unit))
        }
        (None, None) => Some(Linear::IDENTITY),
    }
}

fn words(review: &mut Review, at: &KeyPath, raw: &RawChannel) -> Option<SwitchWords> {
    let read = |written: Option<&Vec<Written>>, standard: [&str; 3]| match written {
        None => standard.map(str::to_owned).to_vec(),
        Some(words) => words
            .iter()
            .map(|word| word.text().to_lowercase())
            .collect(),
    };
    let on = read(raw.on.as_ref(), ON);
    let off = read(raw.off.as_ref(), OFF);
    if let Some(both) = on.iter().find(|word| off.contains(word)) {
        let found = both.clone();
        review.tell(&at.key("off"), Problem::OnAndOff(found));
        return None;
    }
    Some(SwitchWords { on, off })
}
