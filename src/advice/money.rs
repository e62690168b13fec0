//! What a dose costs.

use serde::Serialize;

use crate::model::money::Prices;

use super::amounts::Amounts;

/// What fluids cost, for a litre each.
#[derive(Debug, Clone, PartialEq)]
pub struct Costs {
    /// Concentrate.
    pub concentrate_per_l: f64,
    /// Water.
    pub water_per_l: f64,
    /// Getting rid of spent mix.
    pub disposal_per_l: f64,
    /// The currency, as the plant writes it.
    pub currency: String,
}

/// An amount of money.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Cost {
    /// How much.
    pub amount: f64,
    /// In which currency.
    pub currency: String,
}

impl Costs {
    /// From what a plant has written down of its prices; none unless all three
    /// are there, for a sum with parts missing would look cheap.
    pub fn of_prices(prices: &Prices) -> Option<Self> {
        Some(Costs {
            concentrate_per_l: prices.concentrate?.per_litre(),
            water_per_l: prices.water?.per_litre(),
            disposal_per_l: prices.disposal?.per_litre(),
            currency: prices.currency.to_string(),
        })
    }

    /// What these amounts cost so many times over: what is poured in, and what
    /// must be disposed of.
    pub(super) fn of(&self, amounts: &Amounts, times: f64) -> Cost {
        let once = amounts.concentrate_l * self.concentrate_per_l
            + amounts.water_l * self.water_per_l
            + amounts.drain_l * self.disposal_per_l;
        Cost {
            amount: times * once,
            currency: self.currency.clone(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The worked row `cost_per_litre` of mass_balance_misc.csv, for a litre of
    /// 6 %, and disposal beside it.
    #[test]
    fn a_litre_of_mix_costs_its_parts() {
        let costs = Costs {
            concentrate_per_l: 5.2,
            water_per_l: 0.004,
            disposal_per_l: 0.35,
            currency: "EUR".into(),
        };
        let litre = Amounts {
            drain_l: 0.0,
            concentrate_l: 0.06,
            water_l: 0.94,
            premix_l: 1.0,
            premix_strength_pct: 6.0,
        };
        let table = include_str!("../../tests/reference/mass_balance_misc.csv");
        let row = table.lines().find(|row| row.starts_with("cost_per_litre"));
        let want = row.and_then(|row| row.split(',').rev().nth(3)?.parse::<f64>().ok());
        let got = costs.of(&litre, 1.0);
        assert!((got.amount - want.unwrap()).abs() < 1e-6, "{got:?}");
        let swapped = Amounts {
            drain_l: 2.0,
            ..litre
        };
        assert!((costs.of(&swapped, 3.0).amount - 3.0 * (got.amount + 0.7)).abs() < 1e-9);
    }
}
