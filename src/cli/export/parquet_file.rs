//! Parquet: one flat table, dictionaries for names, zstd, row groups of bounded
//! size.

use std::collections::HashMap;
use std::io::Write;
use std::sync::Arc;

use parquet::basic::{Compression, Encoding, ZstdLevel};
use parquet::column::writer::ColumnWriter;
use parquet::data_type::ByteArray;
use parquet::errors::ParquetError;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::parser::parse_message_type;
use parquet::schema::types::ColumnPath;

use super::sink::{JournalSink, ReadingSink, RollupSink, WriteError};
use crate::engine::Quality;
use crate::ingest::decode::encode_quality;
use crate::store::{RollupStep, StoredJournal, StoredReading, StoredRollup, StoredSeries};

/// Rows of a group at most.
const MOST_ROWS: usize = 1 << 17;
/// Bytes of text in a group at most, so that a journal of long lines takes no
/// more memory than one of short ones.
const MOST_TEXT: usize = 32 << 20;

const OF_READINGS: &str = "message readings {
    required int64 time (TIMESTAMP(MILLIS,true));
    required binary plant (STRING);
    required binary sump (STRING);
    required binary channel (STRING);
    required binary quantity (STRING);
    required binary unit (STRING);
    required binary kind (STRING);
    required double value;
    required binary quality (STRING);
    required int64 delay_ms;
}";

const OF_ROLLUPS: &str = "message rollups {
    required int64 start (TIMESTAMP(MILLIS,true));
    required binary plant (STRING);
    required binary sump (STRING);
    required binary channel (STRING);
    required binary quantity (STRING);
    required binary unit (STRING);
    required binary kind (STRING);
    required binary step (STRING);
    optional double lowest;
    optional double mean;
    optional double highest;
    required int64 good;
    required int64 count;
}";

const OF_JOURNAL: &str = "message journal {
    required int64 time (TIMESTAMP(MILLIS,true));
    required binary sump (STRING);
    required int64 seq;
    required binary kind (STRING);
    required binary body (JSON);
}";

/// The values of one column of a group.
enum Column {
    Whole(Vec<i64>),
    Number(Vec<f64>),
    /// Those that are there, and for each row whether it has one, as 1 or 0.
    Perhaps(Vec<f64>, Vec<i16>),
    Text(Vec<ByteArray>),
}

/// A table under way.
struct Table<W: Write + Send> {
    file: SerializedFileWriter<W>,
    columns: Vec<Column>,
    rows: usize,
    text: usize,
}

impl<W: Write + Send> Table<W> {
    fn new(file: W, schema: &str, columns: Vec<Column>) -> Result<Self, ParquetError> {
        let plain = |name: &str| ColumnPath::from(name.to_owned());
        let properties = WriterProperties::builder()
            .set_created_by(concat!("sumpward ", env!("CARGO_PKG_VERSION")).to_owned())
            .set_compression(Compression::ZSTD(ZstdLevel::try_new(3)?))
            .set_max_row_group_row_count(Some(MOST_ROWS))
            .set_column_dictionary_enabled(plain("start"), false)
            .set_column_encoding(plain("start"), Encoding::DELTA_BINARY_PACKED)
            // No time and no body comes twice in a series or a journal.
            .set_column_dictionary_enabled(plain("time"), false)
            .set_column_encoding(plain("time"), Encoding::DELTA_BINARY_PACKED)
            .set_column_dictionary_enabled(plain("body"), false)
            .build();
        let schema = Arc::new(parse_message_type(schema)?);
        Ok(Table {
            file: SerializedFileWriter::new(file, schema, Arc::new(properties))?,
            columns,
            rows: 0,
            text: 0,
        })
    }

    /// The row whose values were pushed is whole.
    fn row(&mut self, text: usize) -> Result<(), ParquetError> {
        self.rows += 1;
        self.text += text;
        if self.rows >= MOST_ROWS || self.text >= MOST_TEXT {
            self.flush()?;
        }
        Ok(())
    }

    fn flush(&mut self) -> Result<(), ParquetError> {
        let mut group = self.file.next_row_group()?;
        for column in &mut self.columns {
            let mut writer = group
                .next_column()?
                .ok_or_else(|| ParquetError::General("the schema has too few columns".into()))?;
            match (writer.untyped(), column) {
                (ColumnWriter::Int64ColumnWriter(writer), Column::Whole(values)) => {
                    writer.write_batch(values, None, None)?;
                    values.clear();
                }
                (ColumnWriter::DoubleColumnWriter(writer), Column::Number(values)) => {
                    writer.write_batch(values, None, None)?;
                    values.clear();
                }
                (ColumnWriter::DoubleColumnWriter(writer), Column::Perhaps(values, there)) => {
                    writer.write_batch(values, Some(there.as_slice()), None)?;
                    values.clear();
                    there.clear();
                }
                (ColumnWriter::ByteArrayColumnWriter(writer), Column::Text(values)) => {
                    writer.write_batch(values, None, None)?;
                    values.clear();
                }
                _ => {
                    return Err(ParquetError::General(
                        "a column is of another type than its values".into(),
                    ));
                }
            }
            writer.close()?;
        }
        group.close()?;
        (self.rows, self.text) = (0, 0);
        Ok(())
    }

    fn end(mut self) -> Result<(), ParquetError> {
        if self.rows > 0 {
            self.flush()?;
        }
        self.file.close()?;
        Ok(())
    }
}

fn text(words: &str) -> ByteArray {
    words.as_bytes().to_vec().into()
}

/// A file of values under way.
pub(super) struct ReadingsParquet<W: Write + Send> {
    table: Table<W>,
    plant: ByteArray,
    series: [ByteArray; 5],
    qualities: HashMap<u8, ByteArray>,
}

impl<W: Write + Send> ReadingsParquet<W> {
    pub(super) fn new(file: W, plant: &str) -> Result<Self, ParquetError> {
        let names = || Column::Text(Vec::new());
        let columns = vec![
            Column::Whole(Vec::new()),
            names(),
            names(),
            names(),
            names(),
            names(),
            names(),
            Column::Number(Vec::new()),
            names(),
            Column::Whole(Vec::new()),
        ];
        Ok(ReadingsParquet {
            table: Table::new(file, OF_READINGS, columns)?,
            plant: text(plant),
            series: Default::default(),
            qualities: HashMap::new(),
        })
    }

    fn quality(&mut self, quality: Quality) -> ByteArray {
        let known = self.qualities.entry(quality.bits());
        known
            .or_insert_with(|| text(&encode_quality(quality)))
            .clone()
    }
}

impl<W: Write + Send> ReadingSink for ReadingsParquet<W> {
    fn begin(&mut self, series: &StoredSeries) {
        let names = [
            &*series.sump,
            &series.channel,
            &series.quantity,
            &series.unit,
            series.kind.name(),
        ];
        self.series = names.map(text);
    }

    fn reading(&mut self, reading: &StoredReading) -> Result<(), WriteError> {
        let quality = self.quality(reading.quality);
        let names = [&self.plant]
            .into_iter()
            .chain(&self.series)
            .chain([&quality]);
        let mut names = names.cloned();
        let wholes = [reading.time.millis(), reading.delay.millis()];
        let mut wholes = wholes.into_iter();
        for column in &mut self.table.columns {
            match column {
                Column::Whole(values) => values.extend(wholes.next()),
                Column::Number(values) => values.push(reading.value),
                Column::Text(values) => values.extend(names.next()),
                Column::Perhaps(..) => {}
            }
        }
        Ok(self.table.row(0)?)
    }

    fn end(self: Box<Self>) -> Result<(), WriteError> {
        Ok(self.table.end()?)
    }
}

/// A file of rollups under way.
pub(super) struct RollupsParquet<W: Write + Send> {
    table: Table<W>,
    names: [ByteArray; 7],
}

impl<W: Write + Send> RollupsParquet<W> {
    pub(super) fn new(file: W, plant: &str) -> Result<Self, ParquetError> {
        let whole = || Column::Whole(Vec::new());
        let perhaps = || Column::Perhaps(Vec::new(), Vec::new());
        let mut columns = vec![whole()];
        columns.extend((0..7).map(|_| Column::Text(Vec::new())));
        columns.extend([perhaps(), perhaps(), perhaps(), whole(), whole()]);
        let mut names: [ByteArray; 7] = Default::default();
        names[0] = text(plant);
        Ok(RollupsParquet {
            table: Table::new(file, OF_ROLLUPS, columns)?,
            names,
        })
    }
}

impl<W: Write + Send> RollupSink for RollupsParquet<W> {
    fn begin(&mut self, series: &StoredSeries, step: RollupStep) {
        let names = [
            &*series.sump,
            &series.channel,
            &series.quantity,
            &series.unit,
            series.kind.name(),
            step.name(),
        ];
        for (place, name) in self.names[1..].iter_mut().zip(names) {
            *place = text(name);
        }
    }

    fn rollup(&mut self, rollup: &StoredRollup) -> Result<(), WriteError> {
        let mut names = self.names.iter().cloned();
        let wholes = [rollup.start.millis(), rollup.good, rollup.count];
        let mut wholes = wholes.into_iter();
        let mut numbers = [rollup.lowest, rollup.mean, rollup.highest].into_iter();
        for column in &mut self.table.columns {
            match column {
                Column::Whole(values) => values.extend(wholes.next()),
                Column::Text(values) => values.extend(names.next()),
                Column::Perhaps(values, there) => {
                    let number = numbers.next().flatten();
                    there.push(i16::from(number.is_some()));
                    values.extend(number);
                }
                Column::Number(_) => {}
            }
        }
        Ok(self.table.row(0)?)
    }

    fn end(self: Box<Self>) -> Result<(), WriteError> {
        Ok(self.table.end()?)
    }
}

/// A file of lines of the journal under way.
pub(super) struct JournalParquet<W: Write + Send> {
    table: Table<W>,
}

impl<W: Write + Send> JournalParquet<W> {
    pub(super) fn new(file: W) -> Result<Self, ParquetError> {
        let columns = vec![
            Column::Whole(Vec::new()),
            Column::Text(Vec::new()),
            Column::Whole(Vec::new()),
            Column::Text(Vec::new()),
            Column::Text(Vec::new()),
        ];
        Ok(JournalParquet {
            table: Table::new(file, OF_JOURNAL, columns)?,
        })
    }
}

impl<W: Write + Send> JournalSink for JournalParquet<W> {
    fn line(&mut self, line: &StoredJournal) -> Result<(), WriteError> {
        // Lines are counted from 1, and no sump ever writes 2⁶³ of them.
        let wholes = [line.time.millis(), line.seq.cast_signed()];
        let mut wholes = wholes.into_iter();
        let mut texts = [&line.sump, &line.kind, &line.body].into_iter();
        for column in &mut self.table.columns {
            match column {
                Column::Whole(values) => values.extend(wholes.next()),
                Column::Text(values) => values.extend(texts.next().map(|words| text(words))),
                Column::Number(_) | Column::Perhaps(..) => {}
            }
        }
        Ok(self.table.row(line.body.len())?)
    }

    fn end(self: Box<Self>) -> Result<(), WriteError> {
        Ok(self.table.end()?)
    }
}
