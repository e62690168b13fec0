//! How the instrument of a channel is watched.

use crate::engine::{InstrumentSetup, Probe};
use crate::units::{Parse, Quantity, Span};

use super::defaults;
use super::key_path::KeyPath;
use super::measure;
use super::raw::RawChannel;
use super::review::Review;
use super::written::Written;

/// Reads how the instrument of a channel is watched, one smoothed reading of
/// which has this standard `uncertainty`.
pub(super) fn instrument(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawChannel,
    quantity: Quantity,
    uncertainty: Option<f64>,
) -> Option<InstrumentSetup> {
    let frozen_after = frozen_after(review, at, raw.frozen_after.as_ref());
    let noise_limit = noise_limit(review, at, raw.noise_limit.as_ref(), quantity);
    let spike_share = spike_share(review, at, raw.spike_share.as_ref());
    let function_check = function_check(review, at, raw.function_check.as_ref());
    Some(InstrumentSetup {
        frozen_after: frozen_after?,
        noise_limit: noise_limit?,
        uncertainty: uncertainty?,
        spike_share: spike_share?,
        function_check: function_check?,
        probe: match quantity {
            Quantity::Level | Quantity::Volume => Probe::Surface,
            _ => Probe::Other,
        },
    })
}

fn frozen_after(
    review: &mut Review,
    at: &KeyPath,
    written: Option<&Written>,
) -> Option<Option<Span>> {
    if written.is_some_and(Written::is_off) {
        return Some(None);
    }
    let path = at.key("frozen_after");
    let span = review.or_default(&path, written, Span::parse, defaults::FROZEN_AFTER)?;
    let range = (Span::from_mins(10), Span::from_hours(31 * 24));
    review
        .within(&path, span, range, |span| span.to_string())
        .map(Some)
}

fn noise_limit(
    review: &mut Review,
    at: &KeyPath,
    written: Option<&Written>,
    quantity: Quantity,
) -> Option<Option<f64>> {
    let Some(written) = written else {
        return Some(None);
    };
    let path = at.key("noise_limit");
    let limit = review.good(&path, measure::difference(quantity, written.text()))?;
    let (_, most) = defaults::conceivable(quantity);
    let shown = |limit| format!("{limit} {}", quantity.unit());
    review.within(&path, limit, (1e-6, most), shown).map(Some)
}

fn spike_share(review: &mut Review, at: &KeyPath, written: Option<&Written>) -> Option<f64> {
    let path = at.key("spike_share");
    let share = review.or_default(&path, written, measure::share, defaults::SPIKE_SHARE)?;
    // A median is lost once half of its window is wrong.
    let shown = |share| format!("{} %", 100.0 * share);
    review.within(&path, share, (0.01, 0.5), shown)
}

fn function_check(review: &mut Review, at: &KeyPath, written: Option<&Written>) -> Option<Span> {
    let path = at.key("function_check");
    let span = review.or_default(&path, written, Span::parse, defaults::FUNCTION_CHECK)?;
    let range = (Span::ZERO, Span::from_hours(24));
    review.within(&path, span, range, |span| span.to_string())
}
