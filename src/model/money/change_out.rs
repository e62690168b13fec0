//! What litres cost, and what a change-out costs.

use serde::Serialize;

use crate::units::{Span, Volume};

use super::consumption::Litres;
use super::price::{Currency, Prices, UnitPrice};

/// A part of a cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum CostPart {
    /// Concentrate used.
    Concentrate,
    /// Water used.
    Water,
    /// Disposal of what was let out.
    Disposal,
    /// Labour of a change-out.
    Labour,
}

impl CostPart {
    /// As people say it.
    pub const fn words(self) -> &'static str {
        match self {
            CostPart::Concentrate => "concentrate",
            CostPart::Water => "water",
            CostPart::Disposal => "disposal",
            CostPart::Labour => "labour",
        }
    }
}

/// A cost by its parts, in money.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Cost {
    /// The currency of all amounts.
    pub currency: Currency,
    /// The parts that a price is known for.
    pub parts: Vec<(CostPart, f64)>,
    /// The parts that no price is known for; the total lacks them.
    pub unpriced: Vec<CostPart>,
    /// All known parts together.
    pub total: f64,
}

impl Cost {
    /// What these litres cost: concentrate and water to buy, and what was let
    /// out to dispose of.
    pub fn of_litres(litres: &Litres, prices: &Prices) -> Self {
        Cost::of_parts(prices.currency, by_litres(litres, prices))
    }

    /// What a change-out costs that moves these litres: they and its labour.
    pub fn of_change_out(litres: &Litres, prices: &Prices) -> Self {
        let labour = (CostPart::Labour, prices.labour_per_change_out);
        let parts = by_litres(litres, prices).into_iter().chain([labour]);
        Cost::of_parts(prices.currency, parts)
    }

    fn of_parts(
        currency: Currency,
        parts: impl IntoIterator<Item = (CostPart, Option<f64>)>,
    ) -> Self {
        let mut cost = Cost {
            currency,
            parts: Vec::new(),
            unpriced: Vec::new(),
            total: 0.0,
        };
        for (part, amount) in parts {
            match amount {
                Some(amount) => {
                    cost.parts.push((part, amount));
                    cost.total += amount;
                }
                None => cost.unpriced.push(part),
            }
        }
        cost
    }
}

fn by_litres(litres: &Litres, prices: &Prices) -> [(CostPart, Option<f64>); 3] {
    let amount = |price: Option<UnitPrice>, litres| price.map(|price| price.of(litres));
    [
        (
            CostPart::Concentrate,
            amount(prices.concentrate, litres.concentrate_l),
        ),
        (CostPart::Water, amount(prices.water, litres.water_l)),
        (
            CostPart::Disposal,
            amount(prices.disposal, litres.drained_l),
        ),
    ]
}

/// What change-outs cost a week, for charges that live so long: disposal of
/// the whole volume and labour, (V·p_d + labour)/weeks. Nothing for a life of
/// no time.
///
/// Worked out here. The new charge is not in it: concentrate and water are
/// counted where they are used, see [`super::Consumption`].
pub fn change_out_per_week(
    volume: Volume,
    disposal: UnitPrice,
    labour: f64,
    life: Span,
) -> Option<f64> {
    let weeks = life.secs_f64() / (7.0 * 86_400.0);
    (weeks > 0.0).then(|| (disposal.of(volume.litres()) + labour) / weeks)
}

#[cfg(test)]
mod tests {
    use super::*;

    const PRICES: Prices = Prices {
        currency: Currency::EURO,
        concentrate: Some(UnitPrice::from_per_litre(5.0)),
        water: None,
        disposal: Some(UnitPrice::from_per_litre(0.5)),
        labour_per_change_out: Some(180.0),
    };

    #[test]
    fn a_change_out_costs_each_week_what_the_table_says() {
        let price = change_out_per_week(
            Volume::from_litres(1000.0),
            UnitPrice::from_per_litre(0.35),
            180.0,
            Span::from_hours(26 * 7 * 24),
        );
        let table = super::super::price::tests::row(
            "disposal_factor",
            "life 26 weeks, V=1000, disposal 0.35/L, labour 180",
        );
        assert!((price.unwrap() - table).abs() < 1e-6);
        let never = change_out_per_week(
            Volume::from_litres(1000.0),
            UnitPrice::from_per_litre(0.35),
            180.0,
            Span::ZERO,
        );
        assert_eq!(never, None);
    }

    #[test]
    fn what_has_no_price_is_named_and_not_free() {
        let litres = Litres {
            concentrate_l: 65.0,
            water_l: 935.0,
            drained_l: 1000.0,
        };
        let cost = Cost::of_change_out(&litres, &PRICES);
        assert_eq!(cost.unpriced, [CostPart::Water]);
        assert!((cost.total - (325.0 + 500.0 + 180.0)).abs() < 1e-9);
        let cost = Cost::of_litres(&litres, &PRICES);
        assert!((cost.total - 825.0).abs() < 1e-9);
    }
}
