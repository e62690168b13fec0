//! What a plant pays: its currency, and prices in it.

use crate::model::money::{Currency, Prices, UnitPrice};
use crate::units::{Parse, Volume};

use super::key_path::KeyPath;
use super::problem::Problem;
use super::raw::RawPrices;
use super::review::Review;
use super::written::Written;

/// The largest amount of money for a litre or a change-out. Choice: it only
/// catches slips.
const LARGEST: f64 = 1e9;

/// A text that is no price.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PriceError {
    /// It is not made of amount, currency and, where needed, volume.
    #[error("\"{found}\" is not a price; write it as \"{example}\"")]
    NotAPrice {
        /// What was found.
        found: String,
        /// One way to write it.
        example: String,
    },
    /// It is in another currency than the plant's.
    #[error(
        "\"{found}\" is not in {currency}, the currency under [prices]; write all prices in it"
    )]
    OtherCurrency {
        /// What was found.
        found: String,
        /// The plant's currency.
        currency: Currency,
    },
}

/// The prices that are the whole plant's. Without a concentrate: that is the
/// fluid's.
#[derive(Debug, Clone, Copy)]
pub(super) struct PlantPrices(Option<Prices>);

impl PlantPrices {
    /// The prices at a sump whose fluid has this price; nothing where the plant
    /// has written down none.
    pub(super) fn with(&self, concentrate: Option<UnitPrice>) -> Option<Prices> {
        self.0.map(|prices| Prices {
            concentrate,
            ..prices
        })
    }

    /// The currency, which must be settled where there is a price.
    pub(super) fn currency(&self, review: &mut Review) -> Option<Currency> {
        if self.0.is_none() {
            let path = KeyPath::root().key("prices").key("currency");
            let example = "currency = \"EUR\" under [prices], as fluids have prices";
            review.missing(&path, example);
        }
        self.0.map(|prices| prices.currency)
    }
}

/// Reads the table `prices`.
pub(super) fn prices(review: &mut Review, raw: Option<RawPrices>) -> Option<PlantPrices> {
    let Some(raw) = raw else {
        return Some(PlantPrices(None));
    };
    let at = KeyPath::root().key("prices");
    let path = at.key("currency");
    let code = review.required(&path, raw.currency.as_deref(), "currency = \"EUR\"")?;
    let currency = review.good(&path, Currency::new(code))?;
    let water = unit_price(review, &at.key("water"), raw.water.as_ref(), currency);
    let disposal = unit_price(review, &at.key("disposal"), raw.disposal.as_ref(), currency);
    let path = at.key("labour_per_change_out");
    let labour = match &raw.labour_per_change_out {
        None => Some(None),
        Some(written) => review
            .good(&path, amount(written.text(), currency))
            .map(Some),
    };
    Some(PlantPrices(Some(Prices {
        currency,
        concentrate: None,
        water: water?,
        disposal: disposal?,
        labour_per_change_out: labour?,
    })))
}

/// A price for a volume, where one is written.
pub(super) fn unit_price(
    review: &mut Review,
    path: &KeyPath,
    written: Option<&Written>,
    currency: Currency,
) -> Option<Option<UnitPrice>> {
    let Some(written) = written else {
        return Some(None);
    };
    review
        .good(path, per_volume(written.text(), currency))
        .map(Some)
}

/// `5.20 EUR/L`, with any unit of volumes.
fn per_volume(text: &str, currency: Currency) -> Result<UnitPrice, Problem> {
    let wrong = || not_a_price(text, format!("5.20 {currency}/L"));
    let (money, unit) = text.rsplit_once('/').ok_or_else(wrong)?;
    let litres = Volume::unit_conversion(unit).map_err(|_| wrong())?.scale;
    let price = money_of(money, currency).ok_or_else(wrong)??;
    let price = price / litres;
    Ok(UnitPrice::from_per_litre(price))
}

/// `180 EUR`.
fn amount(text: &str, currency: Currency) -> Result<f64, Problem> {
    let wrong = || not_a_price(text, format!("180 {currency}"));
    Ok(money_of(text, currency).ok_or_else(wrong)??)
}

/// An amount of money; nothing where it is none at all.
fn money_of(text: &str, currency: Currency) -> Option<Result<f64, PriceError>> {
    let (number, code) = text.trim().split_once(char::is_whitespace)?;
    let number: f64 = number.parse().ok()?;
    let written = Currency::new(code.trim()).ok()?;
    if !(0.0..=LARGEST).contains(&number) {
        return None;
    }
    if written != currency {
        let found = shortened(text);
        return Some(Err(PriceError::OtherCurrency { found, currency }));
    }
    Some(Ok(number))
}

fn not_a_price(text: &str, example: String) -> Problem {
    let found = shortened(text);
    PriceError::NotAPrice { found, example }.into()
}

fn shortened(text: &str) -> String {
    text.chars().take(40).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_amount_currency_and_volume() {
        let euro = Currency::new("EUR").unwrap();
        let price = |text| per_volume(text, euro).map(UnitPrice::per_litre);
        assert_eq!(price("5.20 EUR/L").unwrap(), 5.2);
        assert_eq!(price("4 EUR/m3").unwrap(), 0.004);
        assert_eq!(price(" 4  EUR / m³ ").unwrap(), 0.004);
        assert_eq!(amount("180 EUR", euro).unwrap(), 180.0);
        for wrong in [
            "5.20",
            "5.20 EUR",
            "EUR/L",
            "5,20 EUR/L",
            "-1 EUR/L",
            "NaN EUR/L",
            "5 EUR/kg",
        ] {
            let told = price(wrong).unwrap_err().to_string();
            assert!(told.contains("5.20 EUR/L"), "{told}");
        }
        let told = price("5.20 USD/L").unwrap_err().to_string();
        assert!(told.contains("not in EUR"), "{told}");
    }
}
