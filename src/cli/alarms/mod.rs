//! `alarms`: the figures of ISA-18.2 over a time, and what stands and is hidden
//! at its end, from the store's journal, whether a daemon runs or not.

mod asked;
pub(super) mod lines;
pub(super) mod text;

use serde::Serialize;

use super::entry::when::WhenError;
use super::kept_store::{NoStore, kept_store};
use super::{NO, WRONG};
use crate::alarm::performance::{Course, Measures, Performance, Period, Present};
use crate::settings::Settings;
use crate::store::{Reader, StoreError};
use crate::units::{Span, Timestamp, to_wire};
use asked::period;
pub(super) use asked::{Asked, day_or_moment, sumps};
use lines::{AlarmLines, KIND};

/// Lines of the journal read at once.
const AT_ONCE: usize = 1000;

/// Why there is no answer.
#[derive(Debug, thiserror::Error)]
pub(super) enum AlarmsFault {
    #[error(transparent)]
    NoStore(#[from] NoStore),
    #[error(transparent)]
    When(#[from] WhenError),
    #[error("--from {from} is not before --to {to}; give an earlier --from")]
    Backwards { from: Timestamp, to: Timestamp },
    #[error("the store keeps nothing from {from} to {to}; give another --from and --to")]
    Nothing { from: Timestamp, to: Timestamp },
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error("the answer cannot be written as JSON: {0}")]
    Json(#[from] serde_json::Error),
}

impl AlarmsFault {
    /// The exit status that tells a calling program.
    pub(super) fn status(&self) -> u8 {
        match self {
            AlarmsFault::NoStore(why) => why.status(),
            AlarmsFault::When(_) | AlarmsFault::Backwards { .. } => WRONG,
            AlarmsFault::Nothing { .. } | AlarmsFault::Store(_) | AlarmsFault::Json(_) => NO,
        }
    }
}

/// What holds where nothing else is asked for.
pub(super) fn usual() -> Measures {
    Measures::default()
}

/// The whole answer.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct Told {
    /// How many sumps the plant has.
    sumps: usize,
    /// For how many one person is responsible, where that was given.
    sumps_per_person: Option<f64>,
    #[serde(flatten)]
    performance: Performance,
    /// What is not normal at the end of the time.
    present: Vec<Present>,
    /// Alarm lines that cannot be read.
    unknown: u64,
}

/// The figures, as text that ends in a line break.
pub(super) fn told(settings: &Settings, asked: &Asked) -> Result<String, AlarmsFault> {
    let reader = kept_store(settings)?;
    let wanted = period(asked, jiff::Timestamp::now())?;
    let mut lines = AlarmLines::default();
    let (course, seen) = course(&reader, wanted.to, &mut lines)?;
    let period = known(&reader, wanted, seen)?;
    let sumps = settings.sumps.len();
    let measures = Measures {
        scale: asked
            .sumps_per_person
            .map_or(1.0, |person| person / sumps as f64),
        repeats_within: asked.repeats_within,
        fleeting_within: asked.fleeting_within,
    };
    let told = Told {
        sumps,
        sumps_per_person: asked.sumps_per_person,
        performance: Performance::of_course(&course, period, &measures),
        present: course.standing().cloned().collect(),
        unknown: lines.unknown,
    };
    if asked.json {
        return Ok(format!("{}\n", to_wire(&told)?));
    }
    Ok(told.to_string())
}

/// The times of the first and the last alarm line.
type Seen = Option<(Timestamp, Timestamp)>;

/// What the journal tells of alarms from its beginning to before `to`.
fn course(
    reader: &Reader,
    to: Timestamp,
    lines: &mut AlarmLines,
) -> Result<(Course, Seen), StoreError> {
    let mut course = Course::default();
    let mut seen = None;
    let mut after = None;
    loop {
        let page = reader.journal_of_kind(KIND, after.as_ref(), AT_ONCE)?;
        let Some(last) = page.last() else {
            return Ok((course, seen));
        };
        after = Some(last.key());
        for line in &page {
            if line.time >= to {
                return Ok((course, seen));
            }
            let first = seen.map_or(line.time, |(first, _)| first);
            seen = Some((first, line.time));
            if let Some(event) = lines.read(&line.body) {
                course.note(&event);
            }
        }
    }
}

/// The part of the wanted time of which the store knows: from its first live
/// reading or alarm to the newest state of a sump or alarm.
fn known(reader: &Reader, wanted: Period, seen: Seen) -> Result<Period, AlarmsFault> {
    let first = [reader.first_live_reading()?, seen.map(|(first, _)| first)];
    let newest = [reader.newest_snapshot()?, seen.map(|(_, last)| last)];
    let first = first.into_iter().flatten().min();
    let newest = newest.into_iter().flatten().max();
    let period = first.zip(newest).map(|(first, newest)| {
        // So that what came last belongs to it.
        let end = newest + Span::from_millis(1);
        Period::new(wanted.from.max(first), wanted.to.min(end))
    });
    let some = period.filter(|period| period.from < period.to);
    some.ok_or(AlarmsFault::Nothing {
        from: wanted.from,
        to: wanted.to,
    })
}
