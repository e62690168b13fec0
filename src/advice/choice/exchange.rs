//! How much to exchange.

use serde::Serialize;

use crate::model::money::{Cost, Litres};
use crate::units::Quantity;

use super::{ChoiceLimits, Content, Evidence};

/// Swaps of a part of the fluid for fresh mix.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Exchange {
    /// How many, one after the other, each mixed in before the next.
    pub swaps: u16,
    /// Share of the volume in each, %.
    pub share_pct: f64,
    /// Fluid out and fresh mix in, in each, L.
    pub litres_l: f64,
    /// Of what was there at first so much is left, %.
    pub left_pct: f64,
    /// Concentrate altogether, L.
    pub concentrate_l: f64,
    /// Water altogether, L.
    pub water_l: f64,
    /// Waste altogether, L.
    pub waste_l: f64,
    /// What it costs, where there are prices.
    pub cost: Option<Cost>,
}

/// Why an exchange does not help.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum NoExchange {
    /// Nothing that a swap thins is above its limit.
    NothingToThin,
    /// Fresh mix brings so much of this that the goal is out of reach.
    FreshMixBringsIt(Quantity),
    /// Even the most swaps of the largest share leave too much of this.
    TooMuch(Quantity),
}

/// The fewest swaps that bring everything above its limit to the goal.
pub(super) fn exchange(limits: &ChoiceLimits, evidence: &Evidence) -> Result<Exchange, NoExchange> {
    let mut most: Option<(f64, Quantity)> = None;
    for content in evidence.contents.iter().filter(|one| one.is_above()) {
        let share =
            one_swap(content, limits.goal).ok_or(NoExchange::FreshMixBringsIt(content.quantity))?;
        if most.is_none_or(|(largest, _)| share > largest) {
            most = Some((share, content.quantity));
        }
    }
    let (share, quantity) = most.ok_or(NoExchange::NothingToThin)?;
    let each = |swaps: u16| 1.0 - (1.0 - share).powf(1.0 / f64::from(swaps));
    let swaps = (1..=limits.most_swaps)
        .find(|swaps| each(*swaps) <= limits.largest_swap)
        .ok_or(NoExchange::TooMuch(quantity))?;
    Ok(sized(evidence, swaps, each(swaps)))
}

/// The share of one swap that brings a content to the goal; nothing where the
/// fresh mix is no better than that.
fn one_swap(content: &Content, goal: f64) -> Option<f64> {
    let (value, goal) = (content.value.value, goal * content.limit);
    (goal > content.fresh).then(|| (value - goal) / (value - content.fresh))
}

fn sized(evidence: &Evidence, swaps: u16, share: f64) -> Exchange {
    let each = share * evidence.volume.litres();
    let waste = f64::from(swaps) * each;
    let concentrate = evidence.target.fraction() * waste;
    let litres = Litres {
        concentrate_l: concentrate,
        water_l: waste - concentrate,
        drained_l: waste,
    };
    Exchange {
        swaps,
        share_pct: 100.0 * share,
        litres_l: each,
        left_pct: 100.0 * (1.0 - share).powi(i32::from(swaps)),
        concentrate_l: litres.concentrate_l,
        water_l: litres.water_l,
        waste_l: waste,
        cost: evidence
            .prices
            .map(|prices| Cost::of_litres(&litres, &prices)),
    }
}

impl Content {
    /// Whether there is more of it than there may be.
    pub(super) fn is_above(&self) -> bool {
        self.value.value > self.limit
    }
}
