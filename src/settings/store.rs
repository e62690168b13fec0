//! Where data is kept, and for how long.

use std::path::PathBuf;

use crate::units::{Parse, QuantityError, Span};

use super::defaults;
use super::key_path::KeyPath;
use super::plant::{KeepSettings, StoreSettings};
use super::problem::Problem;
use super::raw::RawStore;
use super::review::Review;
use super::written::Written;

/// The word for what is never deleted.
const FOREVER: &str = "forever";

/// Shortest and longest time that anything is kept.
const KEPT: (Span, Span) = (Span::from_hours(24), Span::from_hours(24 * 36_500));

/// Bytes of a megabyte.
const MEGABYTE: u64 = 1_000_000;

pub(super) fn store(review: &mut Review, raw: RawStore) -> Option<StoreSettings> {
    let at = KeyPath::root().key("store");
    let path = at.key("folder");
    let folder = review.required(&path, raw.folder, "folder = \"./data\" under [store]");
    let folder = folder.filter(|folder| {
        if folder.is_empty() {
            let found = "an empty text".to_owned();
            let allowed = "the path of a folder".to_owned();
            review.tell(&path, Problem::OutOfRange { found, allowed });
        }
        !folder.is_empty()
    });
    let rows = raw.outbox_max_rows.unwrap_or(defaults::OUTBOX_MAX_ROWS);
    let path = at.key("outbox_max_rows");
    let rows = review.within(&path, rows, (100, 100_000_000), |rows| rows.to_string());
    let mut span = |key: &str, written: Option<&Written>, usual: Span, range: (Span, Span)| {
        let path = at.key(key);
        let span = review.or_default(&path, written, Span::parse, usual)?;
        review.within(&path, span, range, |span| span.to_string())
    };
    let commit_after = span(
        "commit_after",
        raw.commit_after.as_ref(),
        defaults::COMMIT_AFTER,
        (Span::from_millis(1), Span::from_secs(1)),
    );
    let pack_after = span(
        "pack_after",
        raw.pack_after.as_ref(),
        defaults::PACK_AFTER,
        (Span::from_mins(10), Span::from_hours(7 * 24)),
    );
    let mut keep = |key: &str, written: Option<&Written>, usual: Option<Span>| {
        let path = at.key(key);
        match review.or_default(&path, written, span_or_forever, usual)? {
            None => Some(None),
            Some(span) => review
                .within(&path, span, KEPT, |span| span.to_string())
                .map(Some),
        }
    };
    let readings = keep(
        "keep_readings",
        raw.keep_readings.as_ref(),
        defaults::KEEP_READINGS,
    );
    let estimates = keep(
        "keep_estimates",
        raw.keep_estimates.as_ref(),
        defaults::KEEP_READINGS,
    );
    let minutes = keep(
        "keep_minutes",
        raw.keep_minutes.as_ref(),
        defaults::KEEP_MINUTES,
    );
    let hours = keep("keep_hours", raw.keep_hours.as_ref(), defaults::KEEP_HOURS);
    let days = keep("keep_days", raw.keep_days.as_ref(), None);
    let journal = keep("keep_journal", raw.keep_journal.as_ref(), None);
    let mut megabytes = |key: &str, given: Option<u32>, usual: u32, least: u32| {
        let path = at.key(key);
        let range = (least, 100_000_000);
        review
            .within(&path, given.unwrap_or(usual), range, |mb| mb.to_string())
            .map(|mb| u64::from(mb) * MEGABYTE)
    };
    let most_bytes = megabytes("max_mb", raw.max_mb, defaults::MAX_MB, 50);
    let least_free_bytes = megabytes("min_free_mb", raw.min_free_mb, defaults::MIN_FREE_MB, 0);
    Some(StoreSettings {
        folder: PathBuf::from(folder?),
        commit_after: commit_after?,
        outbox_max_rows: rows?,
        pack_after: pack_after?,
        keep: KeepSettings {
            readings: readings?,
            estimates: estimates?,
            minutes: minutes?,
            hours: hours?,
            days: days?,
            journal: journal?,
        },
        most_bytes: most_bytes?,
        least_free_bytes: least_free_bytes?,
    })
}

fn span_or_forever(text: &str) -> Result<Option<Span>, QuantityError> {
    if text == FOREVER {
        return Ok(None);
    }
    Span::parse(text).map(Some)
}
