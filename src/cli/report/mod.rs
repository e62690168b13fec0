//! `report`: the logbook of sumps for a period, as one HTML file and as CSV, from
//! the store, whether a daemon runs or not.

mod gather;
mod tables;
pub(super) mod words;

use std::fs::File;
use std::io::{self, BufReader, BufWriter, Seek, Write};
use std::path::PathBuf;

use clap::Args;
use serde::Serialize;

use super::beside::{Beside, BesideError, with_what_to_do};
use super::between::{BetweenFault, between};
use super::kept_store::{NoStore, kept_store};
use super::long_work::{LongWork, StoppedEarly};
use super::sump_named::{NoSump, sumps_named};
use super::{NO, WRONG};
use crate::alarm::performance::{Annunciation, Measures, Occurrence, Performance, Period};
use crate::daemon::kept::KeptError;
use crate::engine::PLANT;
use crate::notify::{Reader as Told, Texts};
use crate::phrases::TextsError;
use crate::report::page::{self, Head};
use crate::report::tables as of_facts;
use crate::report::tables::{Overview, hidden, most_frequent, of_plant, overview, performance};
use crate::report::words::{Voice, WordsError};
use crate::settings::Settings;
use crate::store::{Reader, StoreError};
use crate::units::{Span, TimeError, Timestamp, to_wire};
use gather::Gathered;
use tables::TableFolder;

/// What is asked of `report`.
#[derive(Debug, Args)]
pub(super) struct ReportArgs {
    /// Folder of the plant's settings.
    #[arg(long, value_name = "DIR", default_value = "config")]
    pub(super) config: PathBuf,
    /// The page, one HTML file without a script and without anything from
    /// elsewhere.
    #[arg(long, value_name = "FILE.html", required_unless_present = "csv")]
    out: Option<PathBuf>,
    /// A folder for the tables, one CSV file each.
    #[arg(long, value_name = "FOLDER")]
    csv: Option<PathBuf>,
    /// From this day or time on: 2026-03-02, "2026-03-02 06:10", or with an
    /// offset; 30 days before the end if not given.
    #[arg(long, value_name = "TIME")]
    from: Option<String>,
    /// To before this day or time; to the newest that is kept if not given.
    #[arg(long, value_name = "TIME")]
    to: Option<String>,
    /// The language of the page: en or de; that of the plant's messages if not
    /// given.
    #[arg(long, value_name = "NAME")]
    language: Option<String>,
    /// Write this as the time at which it was made, so that the same store gives
    /// the same bytes.
    #[arg(long, value_name = "TIME", hide_short_help = true)]
    made_at: Option<String>,
    /// Write over files that are there.
    #[arg(long)]
    force: bool,
    /// Tell how far it has come, even where standard error is no terminal.
    #[arg(long)]
    progress: bool,
    /// Print what was written as one JSON object.
    #[arg(long)]
    json: bool,
    /// The sumps; all if none is given.
    #[arg(value_name = "SUMP")]
    sumps: Vec<String>,
}

/// Why there is no report.
#[derive(Debug, thiserror::Error)]
pub(super) enum ReportFault {
    #[error(transparent)]
    NoStore(#[from] NoStore),
    #[error(transparent)]
    NoSump(#[from] NoSump),
    #[error(transparent)]
    Between(#[from] BetweenFault),
    #[error("--made-at: {0}")]
    MadeAt(TimeError),
    #[error(transparent)]
    Words(#[from] WordsError),
    #[error("{0}")]
    Texts(#[from] TextsError),
    #[error("the store keeps nothing of that time; give another --from and --to")]
    Nothing,
    #[error(transparent)]
    Stopped(#[from] StoppedEarly),
    #[error(transparent)]
    Place(#[from] BesideError),
    #[error("{} is a file; --csv takes a folder for the tables", file.display())]
    NoFolder { file: PathBuf },
    #[error("{} cannot be written: {}; no report was left", file.display(), with_what_to_do(error))]
    Write { file: PathBuf, error: io::Error },
    #[error("{} cannot be written: {error}; no report was left", file.display())]
    Csv { file: PathBuf, error: csv::Error },
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error(transparent)]
    Kept(#[from] KeptError),
    #[error("the answer cannot be written as JSON: {0}")]
    Json(#[from] serde_json::Error),
    #[error(transparent)]
    Other(#[from] anyhow::Error),
}

impl ReportFault {
    /// The exit status that tells a calling program.
    pub(super) fn status(&self) -> u8 {
        match self {
            ReportFault::NoStore(why) => why.status(),
            ReportFault::Place(why) => why.status(),
            ReportFault::NoSump(_)
            | ReportFault::NoFolder { .. }
            | ReportFault::Between(_)
            | ReportFault::MadeAt(_)
            | ReportFault::Words(_)
            | ReportFault::Texts(_) => WRONG,
            _ => NO,
        }
    }
}

/// What was written.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct Written {
    from: Timestamp,
    to: Timestamp,
    sumps: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    page: Option<PathBuf>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    tables: Vec<PathBuf>,
}

/// The page under way: the sections of the sumps stand in a file of their own
/// until the chapters before them are known.
struct PageFiles {
    place: PathBuf,
    whole: Beside,
    file: File,
    sections: BufWriter<File>,
    _sections_place: Beside,
}

/// Makes the report; gives what was written, as text that ends in a line break.
pub(super) fn report(settings: &Settings, args: &ReportArgs) -> Result<String, ReportFault> {
    let reader = kept_store(settings)?;
    let sumps = sumps_named(settings, &args.sumps)?;
    let period = period(&reader, args)?;
    let made = match &args.made_at {
        Some(text) => Timestamp::parse(text).map_err(ReportFault::MadeAt)?,
        None => Timestamp::from_millis(jiff::Timestamp::now().as_millisecond()),
    };
    let words = words::asked(&settings.texts, args.language.as_deref())?;
    let texts = Texts::new(&settings.texts)?;
    let zone = &settings.plant.time_zone;
    let to = Told {
        language: words.language(),
        zone,
    };
    let condition = |condition: &str| {
        let own = condition.strip_prefix("own.");
        let own = own.and_then(|name| settings.own_rules.iter().find(|rule| &*rule.name == name));
        own.map_or_else(
            || texts.condition(&to, period.to, condition),
            |rule| rule.title.clone(),
        )
    };
    let voice = Voice {
        words: &words,
        condition: &condition,
        zone,
    };
    let titles: Vec<(String, String)> = sumps
        .iter()
        .map(|sump| (sump.name.to_string(), sump.title.clone()))
        .collect();
    let head = Head {
        plant: &settings.plant.name,
        period,
        made,
        version: env!("CARGO_PKG_VERSION"),
        sumps: &titles,
    };

    let work = LongWork::begin("Making the report", args.progress)?;
    let mut page = args
        .out
        .as_ref()
        .map(|out| PageFiles::begin(out, args.force))
        .transpose()?;
    let mut folder = args
        .csv
        .as_ref()
        .map(|csv| TableFolder::begin(csv, args.force))
        .transpose()?;
    let mut gathered = Gathered::new(settings, &reader, &sumps, period, work);
    let course = gathered.journal()?;
    let mut rows = Vec::new();
    for place in 0..sumps.len() {
        let facts = gathered.sump(place, &course)?;
        rows.push(Overview::new(&facts));
        let tables = of_facts::of_sump(&facts);
        if let Some(page) = &mut page {
            page.section(&page::sump(&facts, &tables, &voice))?;
        }
        if let Some(folder) = &mut folder {
            let each = tables.iter().flat_map(|(_, tables)| tables);
            folder.take(&facts.setup.name, each)?;
        }
    }

    let figures = Performance::of_course(&course, period, &Measures::default());
    let of_itself: Vec<&Occurrence> = course
        .occurrences()
        .iter()
        .filter(|one| &*one.alarm.sump == PLANT && one.raised < period.to)
        .filter(|one| one.ended.is_none_or(|ended| ended > period.from))
        .collect();
    let overview = [overview(&rows)];
    let alarms = [
        performance(&figures),
        most_frequent(&figures),
        hidden(&figures),
        of_plant(&of_itself, period),
    ];
    let told: Vec<&Annunciation> = course
        .annunciations()
        .iter()
        .filter(|one| period.has(one.time))
        .collect();
    if let Some(folder) = &mut folder {
        folder.take(PLANT, overview.iter().chain(&alarms))?;
    }
    let mut written = Written {
        from: period.from,
        to: period.to,
        sumps: sumps.len(),
        page: None,
        tables: Vec::new(),
    };
    if let Some(page) = page {
        let by_day = page::alarms_by_day(&told, period, &voice);
        let mut front = page::begin(&head, &voice);
        front += &page::chapter("overview", &overview, &[], &voice);
        front += &page::chapter("plant_alarms", &alarms, &[by_day], &voice);
        written.page = Some(page.finish(&front, page::end())?);
    }
    if let Some(folder) = folder {
        written.tables = folder.finish()?;
    }
    gathered.done();
    if args.json {
        return Ok(format!("{}\n", to_wire(&written)?));
    }
    Ok(written.to_string())
}

impl std::fmt::Display for Written {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if let Some(page) = &self.page {
            writeln!(
                f,
                "{}: {}, from {} to {}",
                page.display(),
                match self.sumps {
                    1 => "1 sump".to_owned(),
                    sumps => format!("{sumps} sumps"),
                },
                self.from,
                self.to
            )?;
        }
        if let Some(folder) = self.tables.first().and_then(|table| table.parent()) {
            writeln!(f, "{}: {} tables", folder.display(), self.tables.len())?;
        }
        Ok(())
    }
}

/// The period: what is asked for; else the last thirty days of what is kept.
fn period(reader: &Reader, args: &ReportArgs) -> Result<Period, ReportFault> {
    let (from, to) = between(args.from.as_deref(), args.to.as_deref())?;
    let kept = [reader.value_times()?, reader.journal_times()?];
    let kept = kept.into_iter().flatten();
    let kept = kept.reduce(|(first, last), (other, newest)| (first.min(other), last.max(newest)));
    let (first, last) = kept.ok_or(ReportFault::Nothing)?;
    // So that what came last belongs to it.
    let to = to.unwrap_or(last + Span::from_millis(1));
    let from = from.unwrap_or((to - Span::from_hours(30 * 24)).max(first));
    let period = Period::new(from, to);
    let holds_something = from < to && from <= last && to > first;
    holds_something
        .then_some(period)
        .ok_or(ReportFault::Nothing)
}

impl PageFiles {
    fn begin(place: &std::path::Path, over: bool) -> Result<Self, ReportFault> {
        let (whole, file) = Beside::begin(place, over)?;
        let mut name = place.file_name().unwrap_or_default().to_owned();
        name.push(".sections");
        let (sections_place, sections) = Beside::begin(&place.with_file_name(name), true)?;
        Ok(PageFiles {
            place: place.to_owned(),
            whole,
            file,
            sections: BufWriter::new(sections),
            _sections_place: sections_place,
        })
    }

    fn failed(&self) -> impl Fn(io::Error) -> ReportFault + use<> {
        let file = self.place.clone();
        move |error| ReportFault::Write {
            file: file.clone(),
            error,
        }
    }

    fn section(&mut self, text: &str) -> Result<(), ReportFault> {
        let failed = self.failed();
        self.sections.write_all(text.as_bytes()).map_err(failed)
    }

    fn finish(self, front: &str, end: &str) -> Result<PathBuf, ReportFault> {
        let failed = self.failed();
        let sections = self
            .sections
            .into_inner()
            .map_err(|error| failed(error.into_error()))?;
        let put = |mut file: &File| {
            file.write_all(front.as_bytes())?;
            (&sections).rewind()?;
            let mut text = BufReader::new(&sections);
            io::copy(&mut text, &mut file)?;
            file.write_all(end.as_bytes())
        };
        put(&self.file).map_err(failed)?;
        self.whole.finish(&self.file)?;
        Ok(self.place)
    }
}
