//! CSV after RFC 4180: lines end in CRLF, a header stands first, a cell is quoted
//! where it must be.
//!
//! A spreadsheet takes a cell that begins with `=`, `+`, `-`, `@`, a tab or the
//! end of a line for a formula, and where it splits at semicolons the rest of a
//! text may become such a cell. What people wrote stands in the JSON of `body`
//! only, which begins with `{` and in which tabs and ends of lines are written as
//! `\t` and `\n`; `;` is written as `\u003b` there, which is the same JSON.
//! Sumps, channels, kinds and units are names of the settings or of ours.

use std::borrow::Cow;
use std::io::Write;

use jiff::Timestamp as Instant;

use super::sink::{JournalSink, ReadingSink, RollupSink, WriteError};
use crate::ingest::decode::encode_quality;
use crate::store::{RollupStep, StoredJournal, StoredReading, StoredRollup, StoredSeries};
use crate::units::{Timestamp, exact};

/// The columns of a file of values.
const OF_READINGS: [&str; 10] = [
    "time", "plant", "sump", "channel", "quantity", "unit", "kind", "value", "quality", "delay_ms",
];
/// The columns of a file of rollups.
const OF_ROLLUPS: [&str; 13] = [
    "start", "plant", "sump", "channel", "quantity", "unit", "kind", "step", "lowest", "mean",
    "highest", "good", "count",
];
/// The columns of a file of lines of the journal.
const OF_JOURNAL: [&str; 5] = ["time", "sump", "seq", "kind", "body"];

/// A file of CSV under way.
pub(super) struct CsvFile<W: Write> {
    csv: csv::Writer<W>,
    plant: String,
    series: [String; 5],
    step: &'static str,
}

impl<W: Write> CsvFile<W> {
    pub(super) fn of_readings(file: W, plant: &str) -> Result<Self, WriteError> {
        CsvFile::begin(file, plant, &OF_READINGS)
    }

    pub(super) fn of_rollups(file: W, plant: &str) -> Result<Self, WriteError> {
        CsvFile::begin(file, plant, &OF_ROLLUPS)
    }

    pub(super) fn of_journal(file: W) -> Result<Self, WriteError> {
        CsvFile::begin(file, "", &OF_JOURNAL)
    }

    fn begin(file: W, plant: &str, header: &[&str]) -> Result<Self, WriteError> {
        let mut csv = csv::WriterBuilder::new()
            .terminator(csv::Terminator::CRLF)
            .buffer_capacity(1 << 16)
            .from_writer(file);
        csv.write_record(header)?;
        Ok(CsvFile {
            csv,
            plant: plant.to_owned(),
            series: Default::default(),
            step: "",
        })
    }
}

impl<W: Write> ReadingSink for CsvFile<W> {
    fn begin(&mut self, series: &StoredSeries) {
        let names = [
            &*series.sump,
            &series.channel,
            &series.quantity,
            &series.unit,
            series.kind.name(),
        ];
        self.series = names.map(str::to_owned);
    }

    fn reading(&mut self, reading: &StoredReading) -> Result<(), WriteError> {
        let [sump, channel, quantity, unit, kind] = &self.series;
        self.csv.write_record([
            utc(reading.time).as_str(),
            &self.plant,
            sump,
            channel,
            quantity,
            unit,
            kind,
            &exact(reading.value),
            &encode_quality(reading.quality),
            &reading.delay.millis().to_string(),
        ])?;
        Ok(())
    }

    fn end(mut self: Box<Self>) -> Result<(), WriteError> {
        Ok(self.csv.flush()?)
    }
}

impl<W: Write> RollupSink for CsvFile<W> {
    fn begin(&mut self, series: &StoredSeries, step: RollupStep) {
        ReadingSink::begin(self, series);
        self.step = step.name();
    }

    fn rollup(&mut self, rollup: &StoredRollup) -> Result<(), WriteError> {
        let [sump, channel, quantity, unit, kind] = &self.series;
        let number = |value: Option<f64>| value.map(exact).unwrap_or_default();
        self.csv.write_record([
            utc(rollup.start).as_str(),
            &self.plant,
            sump,
            channel,
            quantity,
            unit,
            kind,
            self.step,
            &number(rollup.lowest),
            &number(rollup.mean),
            &number(rollup.highest),
            &rollup.good.to_string(),
            &rollup.count.to_string(),
        ])?;
        Ok(())
    }

    fn end(self: Box<Self>) -> Result<(), WriteError> {
        ReadingSink::end(self)
    }
}

impl<W: Write> JournalSink for CsvFile<W> {
    fn line(&mut self, line: &StoredJournal) -> Result<(), WriteError> {
        self.csv.write_record([
            utc(line.time).as_str(),
            &line.sump,
            &line.seq.to_string(),
            &line.kind,
            &without_semicolons(&line.body),
        ])?;
        Ok(())
    }

    fn end(mut self: Box<Self>) -> Result<(), WriteError> {
        Ok(self.csv.flush()?)
    }
}

/// The same JSON without a semicolon, which stands in its texts only.
fn without_semicolons(json: &str) -> Cow<'_, str> {
    match json.contains(';') {
        true => json.replace(';', "\\u003b").into(),
        false => json.into(),
    }
}

/// RFC 3339, UTC, to the millisecond.
pub(in crate::cli) fn utc(time: Timestamp) -> String {
    match Instant::from_millisecond(time.millis()) {
        Ok(at) => format!("{at:.3}"),
        Err(_) => time.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn times_have_milliseconds() {
        let time = Timestamp::parse("2026-03-02T07:10:00+01:00").unwrap();
        assert_eq!(utc(time), "2026-03-02T06:10:00.000Z");
    }

    /// How a program would split the file that takes only this for a separator
    /// and knows quotes at the beginning of a cell only.
    fn cells(text: &str, separator: char) -> Vec<String> {
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(separator as u8)
            .has_headers(false)
            .flexible(true)
            .from_reader(text.as_bytes());
        let records = reader.records().map(Result::unwrap);
        records
            .flat_map(|record| record.iter().map(str::to_owned).collect::<Vec<_>>())
            .collect()
    }

    proptest! {
        #[test]
        fn no_text_of_people_becomes_a_formula(text in "[=;+@,\"\\t\r\n a-]{0,12}|.{0,40}") {
            let body = serde_json::json!({ "kind": "entry", "text": text }).to_string();
            let line = StoredJournal {
                time: Timestamp::from_millis(0),
                sump: "s0".to_owned(),
                seq: 1,
                kind: "entry".to_owned(),
                body: body.clone(),
            };
            let mut bytes = Vec::new();
            let mut file = Box::new(CsvFile::of_journal(&mut bytes).unwrap());
            file.line(&line).unwrap();
            JournalSink::end(file).unwrap();
            let written = String::from_utf8(bytes).unwrap();
            for separator in [',', ';', '\t'] {
                for cell in cells(&written, separator) {
                    let first = cell.chars().next();
                    prop_assert!(!matches!(first, Some('=' | '+' | '-' | '@' | '\t' | '\r' | '\n')), "{}", cell);
                }
            }
            let kept: serde_json::Value = serde_json::from_str(&cells(&written, ',')[9]).unwrap();
            let expected: serde_json::Value = serde_json::from_str(&body).unwrap();
            prop_assert_eq!(kept, expected);
        }
    }
}
