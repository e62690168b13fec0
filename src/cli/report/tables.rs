//! A folder with the tables of a report, one CSV file each (RFC 4180).

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::path::{Path, PathBuf};

use super::ReportFault;
use crate::cli::beside::Beside;
use crate::report::csv::{header, row};
use crate::report::table::Table;

/// The files under way.
pub(super) struct TableFolder {
    folder: PathBuf,
    made: bool,
    over: bool,
    files: BTreeMap<&'static str, (Beside, csv::Writer<File>)>,
}

impl TableFolder {
    pub(super) fn begin(folder: &Path, over: bool) -> Result<Self, ReportFault> {
        if folder.is_file() {
            return Err(ReportFault::NoFolder {
                file: folder.to_owned(),
            });
        }
        let made = !folder.exists();
        fs::create_dir_all(folder).map_err(|error| ReportFault::Write {
            file: folder.to_owned(),
            error,
        })?;
        Ok(TableFolder {
            folder: folder.to_owned(),
            made,
            over,
            files: BTreeMap::new(),
        })
    }

    /// Adds the rows of these tables, each with the sump in front.
    pub(super) fn take<'t>(
        &mut self,
        sump: &str,
        tables: impl Iterator<Item = &'t Table>,
    ) -> Result<(), ReportFault> {
        for table in tables {
            let place = self.place(table.name);
            let failed = |error| ReportFault::Csv {
                file: place.clone(),
                error,
            };
            if !self.files.contains_key(table.name) {
                let (beside, file) = Beside::begin(&place, self.over)?;
                let mut writer = csv::WriterBuilder::new()
                    .terminator(csv::Terminator::CRLF)
                    .from_writer(file);
                writer.write_record(header(table)).map_err(failed)?;
                self.files.insert(table.name, (beside, writer));
            }
            if let Some((_, writer)) = self.files.get_mut(table.name) {
                for cells in &table.rows {
                    writer.write_record(row(sump, cells)).map_err(failed)?;
                }
            }
        }
        Ok(())
    }

    fn place(&self, name: &str) -> PathBuf {
        self.folder.join(format!("{name}.csv"))
    }

    /// Puts all of them in their places.
    pub(super) fn finish(mut self) -> Result<Vec<PathBuf>, ReportFault> {
        let mut written = Vec::new();
        for (name, (beside, writer)) in std::mem::take(&mut self.files) {
            let place = self.place(name);
            let file = writer.into_inner().map_err(|error| ReportFault::Write {
                file: place.clone(),
                error: error.into_error(),
            })?;
            beside.finish(&file)?;
            written.push(place);
        }
        self.made = false;
        Ok(written)
    }
}

impl Drop for TableFolder {
    fn drop(&mut self) {
        // Those that are under way first; then the folder, if it was ours.
        self.files.clear();
        if self.made {
            let _ = fs::remove_dir(&self.folder);
        }
    }
}
