//! The concentrate in stock, as somebody counted it.

use jiff::civil::Date;

use crate::units::{Parse, Span, Volume};

use super::fluids::Fluids;
use super::key_path::KeyPath;
use super::measure;
use super::plant::StockSettings;
use super::raw::{Named, RawStock};
use super::review::Review;

/// Ordered then, it is there in time. (choice: a delivery takes a week or two
/// [memory])
const LEAST: Span = Span::from_hours(14 * 24);

/// Reads every stock; nothing stands in place of one that is wrong.
pub(super) fn stocks(
    review: &mut Review,
    tables: Named,
    fluids: &Fluids,
) -> Vec<Option<StockSettings>> {
    let at = KeyPath::root().key("stock");
    let mut stocks = Vec::new();
    for (name, part) in tables.unwrap_or_default() {
        let at = at.key(&name);
        if !fluids.contains_key(&name) {
            review.unknown_name(&at, "fluid", &name, fluids.keys().map(String::as_str));
        }
        let raw: RawStock = review.take(&at, part);
        stocks.push(stock(review, &at, &name, &raw));
    }
    stocks
}

fn stock(review: &mut Review, at: &KeyPath, fluid: &str, raw: &RawStock) -> Option<StockSettings> {
    let path = at.key("litres");
    let litres = review.needed(
        &path,
        raw.litres.as_ref(),
        Volume::parse,
        "litres = \"400 L\"",
    );
    let litres = litres.and_then(|volume| {
        review.within(&path, volume.litres(), (0.0, 10_000_000.0), |litres| {
            format!("{litres} L")
        })
    });
    let path = at.key("counted");
    let counted: Option<Date> = review
        .required(&path, raw.counted.as_deref(), "counted = \"2026-11-20\"")
        .and_then(|text| review.good(&path, measure::date(text)));
    let path = at.key("least");
    let least = review.or_default(&path, raw.least.as_ref(), Span::parse, LEAST);
    let least = least.and_then(|span| {
        let range = (Span::from_hours(24), Span::from_hours(366 * 24));
        review.within(&path, span, range, |span| span.to_string())
    });
    Some(StockSettings {
        least: least?,
        fluid: fluid.into(),
        litres: Volume::from_litres(litres?),
        counted: counted?,
    })
}
