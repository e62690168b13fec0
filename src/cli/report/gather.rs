//! What the store keeps of a period, a page at a time.

use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::sync::Arc;

use super::ReportFault;
use crate::alarm::performance::{Course, Period};
use crate::cli::alarms::lines::AlarmLines;
use crate::cli::long_work::LongWork;
use crate::daemon::kept;
use crate::engine::{PLANT, SumpSetup};
use crate::model::Losses;
use crate::report::facts::book::Book;
use crate::report::facts::sump::{Collect, SumpFacts};
use crate::settings::Settings;
use crate::store::{Reader, SeriesKind, StoredJournal, StoredSeries};
use crate::units::Timestamp;

/// Lines read at once.
const LINES_AT_ONCE: usize = 1000;
/// The journal's part of the work.
const JOURNAL: f64 = 0.1;

/// The store, and what is wanted of it.
pub(super) struct Gathered<'a> {
    settings: &'a Settings,
    reader: &'a Reader,
    sumps: &'a [&'a Arc<SumpSetup>],
    period: Period,
    books: BTreeMap<&'a str, Book>,
    work: LongWork,
}

impl<'a> Gathered<'a> {
    pub(super) fn new(
        settings: &'a Settings,
        reader: &'a Reader,
        sumps: &'a [&'a Arc<SumpSetup>],
        period: Period,
        work: LongWork,
    ) -> Self {
        let books = sumps.iter().map(|sump| (&*sump.name, Book::new(period)));
        Gathered {
            settings,
            reader,
            sumps,
            period,
            books: books.collect(),
            work,
        }
    }

    /// All is written.
    pub(super) fn done(&mut self) {
        self.work.done();
    }

    /// Reads the journal: alarms from its beginning on, since what stands at the
    /// beginning of the period was raised before; the rest from the period's
    /// beginning to the journal's end, since corrections come later.
    pub(super) fn journal(&mut self) -> Result<Course, ReportFault> {
        let mut course = Course::default();
        let mut alarms = AlarmLines::default();
        let times = self.reader.journal_times()?;
        let mut after = None;
        loop {
            let page = self.reader.journal(after.as_ref(), LINES_AT_ONCE)?;
            let Some(last) = page.last() else { break };
            after = Some(last.key());
            let share = times.map_or(1.0, |(from, to)| {
                let whole = (to - from).secs_f64().max(1e-3);
                (last.time - from).secs_f64() / whole
            });
            self.work.at(JOURNAL * share)?;
            for line in &page {
                self.line(line, &mut course, &mut alarms);
            }
        }
        self.books.values_mut().for_each(Book::end);
        let left_out = alarms.unknown + course.dropped();
        if left_out > 0 {
            eprintln!(
                "{left_out} alarm lines of the journal are left out: this version cannot read them, or there are too many"
            );
        }
        Ok(course)
    }

    fn line(&mut self, line: &StoredJournal, course: &mut Course, alarms: &mut AlarmLines) {
        let book = self.books.get_mut(line.sump.as_str());
        let of_alarms = line.kind == crate::cli::alarms::lines::KIND;
        let concerns = book.is_some() || line.sump == PLANT;
        let tells = of_alarms && concerns && line.time < self.period.to;
        if let Some(event) = tells.then(|| alarms.read(&line.body)).flatten() {
            course.note(&event);
        }
        if let Some(book) = book.filter(|_| line.time >= self.period.from) {
            book.line(line.time, &line.kind, &line.body);
        }
    }

    /// Reads what is kept of one of the sumps.
    pub(super) fn sump(
        &mut self,
        place: usize,
        course: &Course,
    ) -> Result<SumpFacts<'a>, ReportFault> {
        let setup = self.sumps[place];
        let zone = &self.settings.plant.time_zone;
        let mut collect = Collect::new(setup, self.period, zone, course);
        let catalogue = self.reader.all_series()?;
        let wanted = collect.wanted();
        let sumps = self.sumps.len() as f64;
        for (n, (channel, is_estimate, from)) in wanted.iter().enumerate() {
            let kind = match is_estimate {
                true => SeriesKind::Estimate,
                false => SeriesKind::Reading,
            };
            let series = catalogue.iter().find(|one| {
                *one.sump == *setup.name && one.channel == *channel && one.kind == kind
            });
            if let Some(series) = series {
                self.series(series, *from, &mut collect)?;
            }
            let of_sump = (n + 1) as f64 / wanted.len() as f64;
            self.work
                .at(JOURNAL + (1.0 - JOURNAL) * (place as f64 + of_sump) / sumps)?;
        }
        let book = self.books.remove(&*setup.name);
        let book = book.unwrap_or_else(|| Book::new(self.period));
        let losses = self.newest_losses(setup)?;
        Ok(collect.end(book, losses))
    }

    fn series(
        &self,
        series: &StoredSeries,
        from: Timestamp,
        collect: &mut Collect<'_>,
    ) -> Result<(), ReportFault> {
        let is_estimate = series.kind == SeriesKind::Estimate;
        let to = self.period.to;
        self.reader.series_range(series.id, from, to, |one| {
            collect.value(
                &series.channel,
                is_estimate,
                one.time,
                one.value,
                one.quality,
            );
            match self.work.goes_on() {
                Ok(()) => ControlFlow::Continue(()),
                Err(_) => ControlFlow::Break(()),
            }
        })?;
        Ok(self.work.goes_on()?)
    }

    /// The losses as the daemon last knew them, where that was in the period.
    fn newest_losses(
        &self,
        setup: &Arc<SumpSetup>,
    ) -> Result<Option<(Timestamp, Losses)>, ReportFault> {
        let Some(watch) = kept::watch(self.settings, self.reader, setup)? else {
            return Ok(None);
        };
        let time = watch.now();
        let in_period = self.period.from <= time && time <= self.period.to;
        let losses = watch.status().balance.and_then(|balance| balance.losses);
        Ok(losses.filter(|_| in_period).map(|losses| (time, losses)))
    }
}
