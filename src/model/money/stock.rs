//! How long the concentrate in stock lasts.

use serde::Serialize;

use crate::units::{Measured, Volume};

/// How many days a stock covers.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Cover {
    /// The likeliest number of days.
    pub days: f64,
    /// The lower end of its 90 % interval.
    pub soonest_days: f64,
    /// The upper end; nothing where the use may be none at all.
    pub latest_days: Option<f64>,
}

/// How many days a stock covers at a daily use (L a day): stock/use. Nothing
/// where nothing is used or nothing is known of the use's error.
///
/// The stock has been counted, the use is estimated, so that the interval is
/// that of the use alone turned round: a use of at most u lasts at least
/// stock/u. Worked out here.
pub fn days_of_cover(stock: Volume, daily_use: Measured) -> Option<Cover> {
    let litres = stock.litres();
    let (least, most) = daily_use.interval_90();
    let usable = litres >= 0.0 && daily_use.value > 0.0 && most.is_finite();
    usable.then(|| Cover {
        days: litres / daily_use.value,
        soonest_days: litres / most,
        latest_days: (least > 0.0).then(|| litres / least),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stock_lasts_as_long_as_its_use_lets_it() {
        let stock = Volume::from_litres(400.0);
        let cover = days_of_cover(stock, Measured::new(10.0, 2.0)).unwrap();
        assert!((cover.days - 40.0).abs() < 1e-12);
        // 10 ± 1.645 · 2 L a day.
        assert!((cover.soonest_days - 30.10).abs() < 0.01);
        assert!((cover.latest_days.unwrap() - 59.61).abs() < 0.01);
    }

    #[test]
    fn a_use_that_may_be_none_has_no_latest_day() {
        let stock = Volume::from_litres(400.0);
        let cover = days_of_cover(stock, Measured::new(2.0, 2.0)).unwrap();
        assert_eq!(cover.latest_days, None);
        assert_eq!(days_of_cover(stock, Measured::new(0.0, 0.1)), None);
        assert_eq!(
            days_of_cover(stock, Measured::new(2.0, f64::INFINITY)),
            None
        );
    }
}
