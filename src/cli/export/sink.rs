//! What rows are written into.

use std::fs::File;
use std::io;

use super::Format;
use super::csv_file::CsvFile;
use super::parquet_file::{JournalParquet, ReadingsParquet, RollupsParquet};
use crate::store::{RollupStep, StoredJournal, StoredReading, StoredRollup, StoredSeries};

/// Why a row cannot be written.
#[derive(Debug, thiserror::Error)]
pub(in crate::cli) enum WriteError {
    #[error(transparent)]
    Io(#[from] io::Error),
    #[error(transparent)]
    Csv(#[from] csv::Error),
    #[error(transparent)]
    Parquet(#[from] parquet::errors::ParquetError),
}

/// Takes values.
pub(super) trait ReadingSink {
    /// Those of this series follow.
    fn begin(&mut self, series: &StoredSeries);
    /// One of them.
    fn reading(&mut self, reading: &StoredReading) -> Result<(), WriteError>;
    /// There are no more.
    fn end(self: Box<Self>) -> Result<(), WriteError>;
}

/// Takes rollups.
pub(super) trait RollupSink {
    /// Those of this series follow, of steps of this length.
    fn begin(&mut self, series: &StoredSeries, step: RollupStep);
    /// One of them.
    fn rollup(&mut self, rollup: &StoredRollup) -> Result<(), WriteError>;
    /// There are no more.
    fn end(self: Box<Self>) -> Result<(), WriteError>;
}

/// Takes lines of the journal.
pub(super) trait JournalSink {
    /// One line.
    fn line(&mut self, line: &StoredJournal) -> Result<(), WriteError>;
    /// There are no more.
    fn end(self: Box<Self>) -> Result<(), WriteError>;
}

/// A file of values.
pub(super) fn readings<'a>(
    format: Format,
    file: &'a File,
    plant: &str,
) -> Result<Box<dyn ReadingSink + 'a>, WriteError> {
    Ok(match format {
        Format::Csv => Box::new(CsvFile::of_readings(file, plant)?),
        Format::Parquet => Box::new(ReadingsParquet::new(file, plant)?),
    })
}

/// A file of rollups.
pub(super) fn rollups<'a>(
    format: Format,
    file: &'a File,
    plant: &str,
) -> Result<Box<dyn RollupSink + 'a>, WriteError> {
    Ok(match format {
        Format::Csv => Box::new(CsvFile::of_rollups(file, plant)?),
        Format::Parquet => Box::new(RollupsParquet::new(file, plant)?),
    })
}

/// A file of lines of the journal.
pub(super) fn journal<'a>(
    format: Format,
    file: &'a File,
) -> Result<Box<dyn JournalSink + 'a>, WriteError> {
    Ok(match format {
        Format::Csv => Box::new(CsvFile::of_journal(file)?),
        Format::Parquet => Box::new(JournalParquet::new(file)?),
    })
}
