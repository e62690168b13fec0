//! `export`: series and journal as CSV or Parquet, from the store, whether a
//! daemon runs or not.
//!
//! Promises: the memory that it takes does not grow with what it writes; no read
//! of the store is longer than a page, so that the store's log stays small; the
//! file is there whole or not at all.

mod csv_file;
mod journal;
mod parquet_file;
mod series;
mod sink;

use std::path::{Path, PathBuf};

use clap::{Args, Subcommand, ValueEnum};
use serde::Serialize;

use super::beside::{Beside, BesideError};
use super::between::{BetweenFault, between};
use super::kept_store::{NoStore, kept_store};
use super::long_work::{LongWork, StoppedEarly};
use super::{NO, WRONG};
use crate::settings::{Settings, nearest};
use crate::store::{Reader, RollupStep, StoreError};
use crate::units::{Timestamp, to_wire};
use sink::WriteError;

/// What is asked of `export`.
#[derive(Debug, Args)]
pub(super) struct ExportArgs {
    /// Folder of the plant's settings.
    #[arg(long, value_name = "DIR", default_value = "config", global = true)]
    pub(super) config: PathBuf,
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Readings and estimates, one value a row, by sump, channel and time.
    Series {
        #[command(flatten)]
        common: Common,
        /// These channels or estimates only.
        #[arg(long, value_name = "NAME", value_delimiter = ',')]
        channel: Vec<String>,
        /// What the values are; all kinds if not given.
        #[arg(long, value_name = "KIND", value_delimiter = ',')]
        kind: Vec<SeriesKind>,
    },
    /// Rollups, as far as the store has them: lowest, mean and highest good value
    /// of each minute, hour or day (UTC).
    Rollups {
        #[command(flatten)]
        common: Common,
        /// These channels or estimates only.
        #[arg(long, value_name = "NAME", value_delimiter = ',')]
        channel: Vec<String>,
        /// What the values are; all kinds if not given.
        #[arg(long, value_name = "KIND", value_delimiter = ',')]
        kind: Vec<SeriesKind>,
        /// How long the steps are.
        #[arg(
            long,
            value_name = "STEP",
            value_delimiter = ',',
            default_value = "hour"
        )]
        step: Vec<Step>,
    },
    /// The journal, one line a row, in its order.
    Journal {
        #[command(flatten)]
        common: Common,
        /// Lines of these kinds only: entry, alarm, advice, …
        #[arg(long, value_name = "KIND", value_delimiter = ',')]
        kind: Vec<String>,
    },
}

#[derive(Debug, Args)]
struct Common {
    /// The file; its name ends in .csv or .parquet.
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Its format, where its name does not say so.
    #[arg(long)]
    format: Option<Format>,
    /// These sumps only.
    #[arg(long, value_name = "NAME", value_delimiter = ',')]
    sump: Vec<String>,
    /// From this day or time on: 2026-03-02, "2026-03-02 06:10", or with an
    /// offset; from the beginning if not given.
    #[arg(long, value_name = "TIME")]
    from: Option<String>,
    /// To before this day or time; to the end if not given.
    #[arg(long, value_name = "TIME")]
    to: Option<String>,
    /// Write over a file that is there.
    #[arg(long)]
    force: bool,
    /// Tell how far it has come, even where standard error is no terminal.
    #[arg(long)]
    progress: bool,
    /// Print what was written as one JSON object.
    #[arg(long)]
    json: bool,
}

/// The format of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum, Serialize)]
#[serde(rename_all = "snake_case")]
enum Format {
    /// Comma-separated values (RFC 4180).
    Csv,
    /// Apache Parquet, compressed with zstd.
    Parquet,
}

/// What the values of a series are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum SeriesKind {
    /// What instruments reported.
    Reading,
    /// What was worked out from it.
    Estimate,
}

/// How long the steps of rollups are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Step {
    Minute,
    Hour,
    Day,
}

impl Step {
    const fn of_store(self) -> RollupStep {
        match self {
            Step::Minute => RollupStep::Minute,
            Step::Hour => RollupStep::Hour,
            Step::Day => RollupStep::Day,
        }
    }
}

impl SeriesKind {
    const fn name(self) -> &'static str {
        match self {
            SeriesKind::Reading => "reading",
            SeriesKind::Estimate => "estimate",
        }
    }
}

/// Why nothing was exported.
#[derive(Debug, thiserror::Error)]
pub(super) enum ExportFault {
    #[error(transparent)]
    NoStore(#[from] NoStore),
    #[error(transparent)]
    Between(#[from] BetweenFault),
    #[error(
        "{} ends in neither .csv nor .parquet; name it so, or say --format csv or --format parquet",
        file.display()
    )]
    Format { file: PathBuf },
    #[error("the store has no {what} \"{found}\"; {offer}")]
    Unknown {
        what: &'static str,
        found: String,
        offer: String,
    },
    #[error("the store keeps nothing of what was asked for; no file was written")]
    Nothing,
    #[error(transparent)]
    Stopped(#[from] StoppedEarly),
    #[error(transparent)]
    Place(#[from] BesideError),
    #[error("{} cannot be written: {error}; no file was left", file.display())]
    Write { file: PathBuf, error: WriteError },
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error("the answer cannot be written as JSON: {0}")]
    Json(#[from] serde_json::Error),
    #[error(transparent)]
    Other(#[from] anyhow::Error),
}

impl ExportFault {
    /// The exit status that tells a calling program.
    pub(super) fn status(&self) -> u8 {
        match self {
            ExportFault::NoStore(why) => why.status(),
            ExportFault::Place(why) => why.status(),
            ExportFault::Between(_) | ExportFault::Format { .. } | ExportFault::Unknown { .. } => {
                WRONG
            }
            _ => NO,
        }
    }
}

/// What was written.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct Written {
    /// `series`, `rollups` or `journal`.
    what: &'static str,
    file: PathBuf,
    format: Format,
    rows: u64,
    bytes: u64,
    /// The times of the first and the last row, whatever the order.
    first: Timestamp,
    last: Timestamp,
}

/// Counts rows and remembers their times.
#[derive(Debug, Clone, Copy)]
struct Count {
    rows: u64,
    first: Timestamp,
    last: Timestamp,
}

impl Count {
    const NONE: Count = Count {
        rows: 0,
        first: Timestamp::MAX,
        last: Timestamp::MIN,
    };

    fn note(&mut self, time: Timestamp) {
        self.rows += 1;
        self.first = self.first.min(time);
        self.last = self.last.max(time);
    }
}

/// What both kinds of export go by.
struct Job<'a> {
    reader: &'a Reader,
    plant: &'a str,
    from: Timestamp,
    to: Timestamp,
    sumps: &'a [String],
    work: LongWork,
}

impl Job<'_> {
    fn wants(&self, sump: &str) -> bool {
        self.sumps.is_empty() || self.sumps.iter().any(|one| one == sump)
    }

    /// How far `time` is in what the store keeps of the time asked for, 0 to 1.
    fn share(&self, time: Timestamp, kept: Option<(Timestamp, Timestamp)>) -> f64 {
        let (first, last) = kept.unwrap_or((self.from, self.to));
        let (first, last) = (self.from.max(first), self.to.min(last));
        let whole = (last - first).secs_f64();
        ((time - first).secs_f64() / whole.max(1e-3)).clamp(0.0, 1.0)
    }
}

/// Exports; gives what was written, as text that ends in a line break.
pub(super) fn export(settings: &Settings, args: &ExportArgs) -> Result<String, ExportFault> {
    let (What::Series { common, .. } | What::Rollups { common, .. } | What::Journal { common, .. }) =
        &args.what;
    let format = format(common)?;
    let (from, to) = between(common.from.as_deref(), common.to.as_deref())?;
    let reader = kept_store(settings)?;
    let (what, title) = match &args.what {
        What::Series { .. } => ("series", "Exporting series"),
        What::Rollups { .. } => ("rollups", "Exporting rollups"),
        What::Journal { .. } => ("journal", "Exporting the journal"),
    };
    let mut job = Job {
        reader: &reader,
        plant: &settings.plant.name,
        from: from.unwrap_or(Timestamp::MIN),
        to: to.unwrap_or(Timestamp::MAX),
        sumps: &common.sump,
        work: LongWork::begin(title, common.progress)?,
    };
    let (beside, file) = Beside::begin(&common.file, common.force)?;
    let failed = |error: WriteError| ExportFault::Write {
        file: common.file.clone(),
        error,
    };
    let count = match &args.what {
        What::Series { channel, kind, .. } => {
            let kinds: Vec<&str> = kind.iter().map(|kind| kind.name()).collect();
            let series = series::asked(&job, channel, &kinds)?;
            let sink = sink::readings(format, &file, job.plant).map_err(failed)?;
            series::export(&mut job, &series, sink, &failed)?
        }
        What::Rollups {
            channel,
            kind,
            step,
            ..
        } => {
            let kinds: Vec<&str> = kind.iter().map(|kind| kind.name()).collect();
            let series = series::asked(&job, channel, &kinds)?;
            let steps: Vec<RollupStep> = step.iter().map(|step| step.of_store()).collect();
            let sink = sink::rollups(format, &file, job.plant).map_err(failed)?;
            series::export_rollups(&mut job, &series, &steps, sink, &failed)?
        }
        What::Journal { kind, .. } => journal::export(
            &mut job,
            kind,
            sink::journal(format, &file).map_err(failed)?,
            &failed,
        )?,
    };
    if count.rows == 0 {
        return Err(ExportFault::Nothing);
    }
    let bytes = file.metadata().map_err(|error| failed(error.into()))?.len();
    beside.finish(&file)?;
    job.work.done();
    let written = Written {
        what,
        file: common.file.clone(),
        format,
        rows: count.rows,
        bytes,
        first: count.first,
        last: count.last,
    };
    if common.json {
        return Ok(format!("{}\n", to_wire(&written)?));
    }
    Ok(written.to_string())
}

impl std::fmt::Display for Written {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Written {
            rows,
            bytes,
            first,
            last,
            ..
        } = self;
        let file = self.file.display();
        writeln!(
            f,
            "{file}: {rows} rows, {bytes} bytes, from {first} to {last}"
        )
    }
}

fn format(common: &Common) -> Result<Format, ExportFault> {
    let ending = |file: &Path| match file.extension()?.to_str()? {
        "csv" => Some(Format::Csv),
        "parquet" => Some(Format::Parquet),
        _ => None,
    };
    let format = common.format.or_else(|| ending(&common.file));
    format.ok_or_else(|| ExportFault::Format {
        file: common.file.clone(),
    })
}

/// Every name that was asked for is one of the known ones.
fn all_known<'a>(
    what: &'static str,
    asked: &[String],
    known: impl Iterator<Item = &'a str> + Clone,
) -> Result<(), ExportFault> {
    for found in asked {
        if known.clone().any(|name| name == found) {
            continue;
        }
        let mut names: Vec<&str> = known.clone().collect();
        names.sort_unstable();
        names.dedup();
        let offer = match nearest(found, names.iter().copied()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("it has: {}", names.join(", ")),
        };
        return Err(ExportFault::Unknown {
            what,
            found: found.chars().take(70).collect(),
            offer,
        });
    }
    Ok(())
}
