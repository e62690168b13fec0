//! The alarms of one history under the present and under changed settings.

mod text;

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::Serialize;

use super::{History, Played, play};
use crate::alarm::Priority;
use crate::alarm::compare::{Counts, Row, by_condition, by_priority, compare};
use crate::alarm::performance::{Course, Measures, Performance, Period};
use crate::cli::alarms::lines::AlarmLines;
use crate::settings::Settings;
use crate::units::Span;

/// What a change of settings does to the alarms.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(in crate::cli) struct Compared {
    /// Rows of the history that were refused under either settings.
    pub(in crate::cli) refused: u64,
    /// Alarm steps that are left out, as there were too many.
    left_out: u64,
    counts: Counts,
    by_condition: BTreeMap<Arc<str>, Counts>,
    by_priority: BTreeMap<Priority, Counts>,
    rows: Vec<Row>,
    present: Performance,
    changed: Performance,
}

/// Replays the history under both; each part is read again for each of them,
/// and nothing but the alarms is kept.
pub(in crate::cli) fn compared(
    present: &Settings,
    changed: &Settings,
    history: &History,
) -> anyhow::Result<Compared> {
    eprintln!("under the present settings:");
    let (present, present_course) = alarms(present, history)?;
    eprintln!("under the changed settings:");
    let (changed, changed_course) = alarms(changed, history)?;
    let times = [present.time, changed.time].into_iter().flatten();
    let whole = times.reduce(|one, other| (one.0.min(other.0), one.1.max(other.1)));
    let (from, last) = whole.ok_or_else(|| anyhow::anyhow!("the history has no readings"))?;
    // What came last belongs to it.
    let period = Period::new(from, last + Span::from_millis(1));
    let rows = compare(present_course.occurrences(), changed_course.occurrences());
    let figures = |course: &Course| Performance::of_course(course, period, &Measures::default());
    Ok(Compared {
        refused: present.counts.refused + changed.counts.refused,
        left_out: present_course.dropped() + changed_course.dropped(),
        counts: Counts::of(&rows),
        by_condition: by_condition(&rows),
        by_priority: by_priority(&rows),
        present: figures(&present_course),
        changed: figures(&changed_course),
        rows,
    })
}

fn alarms(settings: &Settings, history: &History) -> anyhow::Result<(Played, Course)> {
    let mut lines = AlarmLines::default();
    let mut course = Course::default();
    let played = play(settings, history, &mut |line| {
        if let Some(event) = lines.read_if_alarm(line) {
            course.note(&event);
        }
        Ok(())
    })?;
    played.tell();
    if lines.unknown > 0 {
        anyhow::bail!("{} alarm lines cannot be read", lines.unknown);
    }
    Ok((played, course))
}
