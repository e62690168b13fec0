//! From where on a charge is to be treated, exchanged or changed.

use crate::engine::ChoiceLimits;
use crate::units::{Parse, Quantity, Span};

use super::key_path::KeyPath;
use super::measure;
use super::raw::RawChoice;
use super::review::Review;
use super::signs::{Reader, Rises};

/// Reads the table `choice`.
pub(super) fn choice(review: &mut Review, raw: &RawChoice) -> Option<ChoiceLimits> {
    let usual = ChoiceLimits::default();
    let at = KeyPath::root().key("choice");
    let life = life(review, &at, raw, usual.usual_life);
    let most_swaps = raw.most_swaps.unwrap_or(usual.most_swaps);
    let most_swaps = review.within(&at.key("most_swaps"), most_swaps, (1, 20), |swaps| {
        swaps.to_string()
    });
    let mut reader = Reader { review, at };
    let ph_drop = reader.of(
        "ph_drop",
        Quantity::Ph,
        raw.ph_drop.as_deref(),
        (usual.ph_drop_ask, usual.ph_drop_change),
        Rises::Up,
    );
    let bacteria = reader.of(
        "bacteria",
        Quantity::Bacteria,
        raw.bacteria.as_deref(),
        (usual.bacteria_review, usual.bacteria_clean),
        Rises::Up,
    );
    let of = |quantity| move |text: &str| measure::value(quantity, text);
    let nitrite = reader.one(
        "nitrite",
        raw.nitrite.as_ref(),
        of(Quantity::Nitrite),
        usual.nitrite_mg_l,
        (1.0, 1000.0),
    );
    let fungi = reader.one(
        "fungi",
        raw.fungi.as_ref(),
        of(Quantity::Fungi),
        usual.fungi_clean,
        (1.0, 1e9),
    );
    let tramp_oil = reader.one(
        "tramp_oil",
        raw.tramp_oil.as_ref(),
        of(Quantity::TrampOil),
        usual.tramp_oil,
        (0.1, 50.0),
    );
    let goal = reader.one(
        "goal",
        raw.goal.as_ref(),
        measure::share,
        usual.goal,
        (0.1, 1.0),
    );
    let largest_swap = reader.one(
        "largest_swap",
        raw.largest_swap.as_ref(),
        measure::share,
        usual.largest_swap,
        (0.05, 0.9),
    );
    let ((ph_drop_ask, ph_drop_change), (bacteria_review, bacteria_clean)) = (ph_drop?, bacteria?);
    Some(ChoiceLimits {
        nitrite_mg_l: nitrite?,
        ph_drop_ask,
        ph_drop_change,
        bacteria_review,
        bacteria_clean,
        fungi_clean: fungi?,
        tramp_oil: tramp_oil?,
        usual_life: life?,
        goal: goal?,
        largest_swap: largest_swap?,
        most_swaps: most_swaps?,
    })
}

fn life(review: &mut Review, at: &KeyPath, raw: &RawChoice, usual: Span) -> Option<Span> {
    let path = at.key("usual_life");
    let life = review.or_default(&path, raw.usual_life.as_ref(), Span::parse, usual)?;
    let range = (Span::from_hours(24), Span::from_hours(24 * 365 * 10));
    review.within(&path, life, range, |life| life.to_string())
}
