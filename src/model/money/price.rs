//! Prices, and what a mix costs by them.

use std::fmt;

use serde::{Serialize, Serializer};

use crate::units::{Concentration, Measured};

/// The currency of a plant's prices, by its code of three letters (ISO 4217).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Currency([u8; 3]);

/// A text that is no code of a currency.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("\"{found}\" is not the code of a currency; write three capital letters, as EUR")]
pub struct CurrencyError {
    /// The text, shortened when it is long.
    pub found: String,
}

impl Currency {
    /// The currency of this code. Whether it is in use anywhere is not asked.
    ///
    /// # Errors
    /// Unless the code is three letters of A to Z.
    pub fn new(code: &str) -> Result<Self, CurrencyError> {
        match <[u8; 3]>::try_from(code.as_bytes()) {
            Ok(letters) if letters.iter().all(u8::is_ascii_uppercase) => Ok(Currency(letters)),
            _ => Err(CurrencyError {
                found: code.chars().take(20).collect(),
            }),
        }
    }
}

impl fmt::Display for Currency {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let letters: String = self.0.into_iter().map(char::from).collect();
        f.write_str(&letters)
    }
}

impl Serialize for Currency {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

/// What one litre costs, in the plant's currency.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize)]
#[serde(transparent)]
pub struct UnitPrice(f64);

impl UnitPrice {
    /// From a finite amount of money for a litre, 0 or more.
    pub const fn from_per_litre(amount: f64) -> Self {
        debug_assert!(amount.is_finite() && amount >= 0.0);
        UnitPrice(amount)
    }

    /// The amount of money for a litre.
    pub const fn per_litre(self) -> f64 {
        self.0
    }

    /// What so many litres cost.
    pub const fn of(self, litres: f64) -> f64 {
        self.0 * litres
    }
}

/// What a plant has written down of its prices. What is not there is not
/// known, which is not the same as free.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prices {
    /// The currency of all of them.
    pub currency: Currency,
    /// Concentrate as delivered.
    pub concentrate: Option<UnitPrice>,
    /// Make-up water.
    pub water: Option<UnitPrice>,
    /// Disposal of spent mix.
    pub disposal: Option<UnitPrice>,
    /// Labour of one change-out, an amount of money.
    pub labour_per_change_out: Option<f64>,
}

/// What a litre of mix costs: c·p_c + (1 − c)·p_w.
///
/// Worked out here; volumes are taken to add up.
pub fn mix_price(
    concentration: Concentration,
    concentrate: UnitPrice,
    water: UnitPrice,
) -> UnitPrice {
    let c = concentration.fraction();
    UnitPrice(c * concentrate.0 + (1.0 - c) * water.0)
}

/// What too strong a mix costs.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct OverStrength {
    /// Concentrate on board beyond the target, in money: (c − cₜ)·V·p_c.
    pub on_board: Measured,
    /// What carry-off takes of it each day, in money: (c − cₜ)·D·p_c.
    pub per_day: Measured,
}

/// The cost of a mix of `concentration` (%) above `target`, in `volume` (L)
/// with a carry-off of `carry_off` litres a day; nothing at or below the
/// target, since concentrate that is missing is no saving.
///
/// Worked out here; the three are taken to be independent, so that for
/// z = (c − cₜ)·V the variance is (V·u(c))² + ((c − cₜ)·u(V))².
pub fn over_strength(
    concentration: Measured,
    target: Concentration,
    volume: Measured,
    carry_off: Measured,
    concentrate: UnitPrice,
) -> Option<OverStrength> {
    let excess = Measured::new(
        (concentration.value - target.percent()) / 100.0,
        concentration.uncertainty / 100.0,
    );
    let cost = |litres: Measured| Measured {
        value: concentrate.of(excess.value * litres.value),
        uncertainty: concentrate
            .of((litres.value * excess.uncertainty).hypot(excess.value * litres.uncertainty)),
    };
    (excess.value > 0.0).then(|| OverStrength {
        on_board: cost(volume),
        per_day: cost(carry_off),
    })
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    impl Currency {
        pub(crate) const EURO: Currency = Currency(*b"EUR");
    }

    /// The value of the row of this kind in the check table.
    pub(crate) fn row(kind: &str, inputs: &str) -> f64 {
        let table = include_str!("../../../tests/reference/mass_balance_misc.csv");
        let mut reader = csv::ReaderBuilder::new()
            .comment(Some(b'#'))
            .from_reader(table.as_bytes());
        let rows = reader.records().map(Result::unwrap);
        let mut found = rows.filter(|row| &row[0] == kind && &row[1] == inputs);
        let row = found.next().expect("the row is in the table");
        row[3].parse().unwrap()
    }

    #[test]
    fn a_litre_of_mix_costs_what_the_table_says() {
        let price = mix_price(
            Concentration::from_percent(6.0),
            UnitPrice::from_per_litre(5.20),
            UnitPrice::from_per_litre(0.004),
        );
        let table = row("cost_per_litre", "6 %, concentrate 5.20, water 0.004 per L");
        assert!((price.per_litre() - table).abs() < 1e-6);
    }

    #[test]
    fn too_strong_a_mix_costs_on_board_and_each_day() {
        let cost = over_strength(
            Measured::new(8.0, 0.2),
            Concentration::from_percent(6.0),
            Measured::new(1000.0, 10.0),
            Measured::new(20.0, 5.0),
            UnitPrice::from_per_litre(5.0),
        )
        .unwrap();
        assert!((cost.on_board.value - 100.0).abs() < 1e-12);
        assert!((cost.per_day.value - 2.0).abs() < 1e-12);
        // Nudge each input by its uncertainty: 10 by the concentration, 1 by
        // the volume; 0.2 and 0.5 a day.
        assert!((cost.on_board.uncertainty - 101f64.sqrt()).abs() < 1e-9);
        assert!((cost.per_day.uncertainty - 0.29f64.sqrt()).abs() < 1e-9);
    }

    #[test]
    fn a_lean_mix_saves_nothing() {
        let at = |percent| {
            over_strength(
                Measured::new(percent, 0.2),
                Concentration::from_percent(6.0),
                Measured::new(1000.0, 10.0),
                Measured::new(20.0, 5.0),
                UnitPrice::from_per_litre(5.0),
            )
        };
        assert_eq!((at(6.0), at(5.0)), (None, None));
    }

    #[test]
    fn a_currency_is_three_capital_letters() {
        assert_eq!(Currency::new("EUR").unwrap().to_string(), "EUR");
        for wrong in ["", "eur", "EU", "EURO", "€"] {
            let told = Currency::new(wrong).unwrap_err().to_string();
            assert!(told.contains(wrong) && told.contains("EUR"), "{told}");
        }
    }
}
