//! How clean-outs are made at a sump.

use crate::advice::recharge::RechargeSetup;
use crate::units::{Concentration, Flow, Parse, Quantity, Span};

use super::cleaners::{CleanerSheet, Cleaners};
use super::defaults;
use super::key_path::KeyPath;
use super::measure;
use super::problem::Problem;
use super::raw::RawRecharge;
use super::review::Review;
use super::written::Written;

/// Reads the table `recharge` of a sump that is kept at `target` per cent, with
/// premixes of at most `strongest`.
pub(super) fn recharge(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawRecharge,
    cleaners: &Cleaners,
    (target, strongest): (Option<f64>, Option<Concentration>),
) -> Option<RechargeSetup> {
    let at = at.key("recharge");
    let cleaner = cleaner(review, &at, raw, cleaners);
    let drain_rate = drain_rate(review, &at, raw);
    let rinses = raw.rinses.unwrap_or(defaults::RINSES);
    let rinses = review.within(&at.key("rinses"), rinses, (1, 20), |rinses| {
        rinses.to_string()
    });
    let rinse_share = {
        let written = raw.rinse_share.as_ref();
        let usual = defaults::RINSE_SHARE;
        share(review, &at.key("rinse_share"), written, usual, (0.05, 1.0))
    };
    let rinse_strength = rinse_strength(review, &at, raw);
    let rinse_time = {
        let written = raw.rinse_time.as_ref();
        span(review, &at.key("rinse_time"), written, defaults::RINSE_TIME)
    };
    let carry_over = {
        let written = raw.carry_over.as_ref();
        let usual = defaults::CARRY_OVER;
        share(review, &at.key("carry_over"), written, usual, (0.001, 0.5))
    };
    let surplus = surplus(review, &at, raw, target, strongest);
    let settle = span(
        review,
        &at.key("settle"),
        raw.settle.as_ref(),
        defaults::SETTLE,
    );
    let sheet = cleaner?;
    Some(RechargeSetup {
        cleaner_time: sheet
            .as_ref()
            .map_or(defaults::CLEANER_TIME, |sheet| sheet.circulate),
        cleaner: sheet.map(|sheet| sheet.cleaner),
        drain_rate: drain_rate?,
        rinses: rinses?,
        rinse_share: rinse_share?,
        rinse_strength: rinse_strength?,
        rinse_time: rinse_time?,
        carry_over_limit: carry_over?,
        first_fill_surplus: surplus?,
        settle: settle?,
    })
}

/// The cleaner named, or the only one there is.
fn cleaner(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawRecharge,
    cleaners: &Cleaners,
) -> Option<Option<CleanerSheet>> {
    let path = at.key("cleaner");
    let mut known = cleaners.iter();
    match (&raw.cleaner, known.next(), known.next()) {
        (Some(written), ..) if written.is_off() => Some(None),
        (Some(written), ..) => match cleaners.get(written.text()) {
            Some(sheet) => sheet.clone().map(Some),
            None => {
                let known = cleaners.keys().map(String::as_str);
                review.unknown_name(&path, "cleaner", written.text(), known);
                None
            }
        },
        (None, None, _) => Some(None),
        (None, Some((_, sheet)), None) => sheet.clone().map(Some),
        (None, Some(_), Some(_)) => {
            let example = "cleaner = \"alkaline\", or false, as there are several cleaners";
            review.missing(&path, example);
            None
        }
    }
}

fn drain_rate(review: &mut Review, at: &KeyPath, raw: &RawRecharge) -> Option<Option<Flow>> {
    let Some(written) = &raw.drain_rate else {
        return Some(None);
    };
    let path = at.key("drain_rate");
    let flow = review.good(&path, Flow::parse(written.text()))?;
    let litres = flow.litres_per_minute();
    review.within(&path, litres, (0.1, 1_000_000.0), |flow| {
        format!("{flow} L/min")
    })?;
    Some(Some(flow))
}

fn rinse_strength(review: &mut Review, at: &KeyPath, raw: &RawRecharge) -> Option<Concentration> {
    let path = at.key("rinse_strength");
    let usual = Concentration::from_percent(defaults::RINSE_STRENGTH);
    let written = raw.rinse_strength.as_ref();
    let strength = review.or_default(&path, written, Concentration::parse, usual)?;
    review
        .within(&path, strength.percent(), (0.0, 10.0), percent)
        .map(Concentration::from_percent)
}

/// Points above the target for the first fill, which must be a premix that is
/// allowed. The default gives way to that.
fn surplus(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawRecharge,
    target: Option<f64>,
    strongest: Option<Concentration>,
) -> Option<Concentration> {
    let most = strongest?.percent() - target?;
    let Some(written) = &raw.first_fill_surplus else {
        let usual = defaults::FIRST_FILL_SURPLUS.min(most);
        return Some(Concentration::from_percent(usual));
    };
    let path = at.key("first_fill_surplus");
    let points = measure::difference(Quantity::Concentration, written.text());
    let points = review.good(&path, points)?;
    if !(0.0..=most.min(10.0)).contains(&points) {
        let found = percent(points);
        let allowed = format!(
            "0 to 10 %, and with the target at most dose.strongest_premix, here {}",
            percent(most)
        );
        review.tell(&path, Problem::OutOfRange { found, allowed });
        return None;
    }
    Some(Concentration::from_percent(points))
}

fn share(
    review: &mut Review,
    path: &KeyPath,
    written: Option<&Written>,
    usual: f64,
    range: (f64, f64),
) -> Option<f64> {
    let share = review.or_default(path, written, measure::share, usual)?;
    review.within(path, share, range, |share| percent(100.0 * share))
}

fn span(
    review: &mut Review,
    path: &KeyPath,
    written: Option<&Written>,
    usual: Span,
) -> Option<Span> {
    let span = review.or_default(path, written, Span::parse, usual)?;
    let range = (Span::from_mins(1), Span::from_hours(7 * 24));
    review.within(path, span, range, |span| span.to_string())
}

fn percent(value: f64) -> String {
    format!("{value} %")
}
