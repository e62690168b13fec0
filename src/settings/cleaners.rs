//! The data sheets of the system cleaners.

use std::collections::BTreeMap;

use crate::advice::recharge::{Cleaner, CleanerContent};
use crate::units::{Concentration, Parse, Span};

use super::defaults;
use super::key_path::KeyPath;
use super::problem::Problem;
use super::raw::{Named, RawCleaner};
use super::review::Review;

/// Every cleaner by name; nothing in place of one whose sheet is wrong.
pub(super) type Cleaners = BTreeMap<String, Option<CleanerSheet>>;

/// A cleaner as its sheet describes it.
#[derive(Debug, Clone)]
pub(super) struct CleanerSheet {
    /// The cleaner.
    pub(super) cleaner: Cleaner,
    /// How long it circulates in the old fluid.
    pub(super) circulate: Span,
}

/// Reads every cleaner.
pub(super) fn cleaners(review: &mut Review, tables: Named) -> Cleaners {
    let at = KeyPath::root().key("cleaner");
    let mut cleaners = Cleaners::new();
    for (name, part) in tables.unwrap_or_default() {
        let at = at.key(&name);
        review.name(&at, &name);
        let raw: RawCleaner = review.take(&at, part);
        let sheet = sheet(review, &at, &name, raw);
        cleaners.insert(name, sheet);
    }
    cleaners
}

fn sheet(review: &mut Review, at: &KeyPath, name: &str, raw: RawCleaner) -> Option<CleanerSheet> {
    let content = content(review, at, &raw);
    let path = at.key("circulate");
    let written = raw.circulate.as_ref();
    let circulate = review
        .or_default(&path, written, Span::parse, defaults::CLEANER_TIME)
        .and_then(|span| {
            let range = (Span::from_mins(10), Span::from_hours(7 * 24));
            review.within(&path, span, range, |span| span.to_string())
        });
    Some(CleanerSheet {
        cleaner: Cleaner {
            title: raw.title.unwrap_or_else(|| name.to_owned()),
            content: content?,
        },
        circulate: circulate?,
    })
}

/// What it holds. There is no default: whoever writes an amount has looked.
fn content(review: &mut Review, at: &KeyPath, raw: &RawCleaner) -> Option<CleanerContent> {
    let path = at.key("contains_biocide");
    let example = "contains_biocide = true, or false where its data sheet says so";
    let biocide = review.required(&path, raw.contains_biocide, example)?;
    let path = at.key("share");
    match (biocide, &raw.share) {
        (true, None) => Some(CleanerContent::Biocide),
        (true, Some(_)) => {
            review.tell(&path, Problem::AmountOfBiocide);
            None
        }
        (false, None) => Some(CleanerContent::NoBiocide { share: None }),
        (false, Some(written)) => {
            let share = review.good(&path, Concentration::parse(written.text()))?;
            review.within(&path, share.percent(), (0.01, 20.0), |share| {
                format!("{share} %")
            })?;
            Some(CleanerContent::NoBiocide { share: Some(share) })
        }
    }
}
