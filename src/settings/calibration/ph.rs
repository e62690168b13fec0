//! A pH electrode that reports its potential.

use crate::chemistry::{
    BufferTable, CalibrationPoint, Electrode, ElectrodeBands, PhCalibration, StandardBuffer,
};
use crate::engine::Calibration;
use crate::settings::key_path::KeyPath;
use crate::settings::measure;
use crate::settings::problem::{CalibrationProblem, Problem};
use crate::settings::remark::Remarked;
use crate::settings::review::Review;
use crate::settings::written::Written;
use crate::units::{Parse, Ph, Potential, Quantity, Temperature};

use super::Desk;

/// Where a mix in use has its pH: buffers are to lie on both sides. Memory: 8.5
/// to 9.3; 9.0, so that the usual borax buffer of 9.18 is enough.
const MIX_PH: (f64, f64) = (8.5, 9.0);

impl Desk<'_> {
    pub(super) fn electrode(&self, review: &mut Review) -> Option<Calibration> {
        let told = self.raw.offset.is_some() || self.raw.slope.is_some();
        match (&self.raw.points, told) {
            (Some(_), true) => {
                let problem = Problem::NotBoth("points", "offset and slope");
                review.tell(&self.path("points"), problem);
                None
            }
            (None, true) => self.as_told(review),
            (rows, false) => {
                let path = self.path("points");
                let example = "points = [[\"phosphate\", \"2 mV\"], [\"borax\", \"-134 mV\"]]";
                let rows = review.required(&path, rows.as_deref(), example)?;
                self.in_buffers(review, &path, rows)
            }
        }
    }

    /// An electrode whose offset and slope a meter or a certificate told.
    fn as_told(&self, review: &mut Review) -> Option<Calibration> {
        let raw = self.raw;
        self.refuse(review, "buffers", raw.buffers.is_some(), "points")?;
        let path = self.path("offset");
        let example = "offset = \"-3 mV\", the potential at pH 7";
        let offset = review.needed(&path, raw.offset.as_ref(), Potential::parse, example);
        let path = self.path("slope");
        let example = "slope = \"97 %\" of Nernst's";
        let slope = review.needed(&path, raw.slope.as_ref(), measure::share, example)?;
        let calibrated_at = match &raw.temperature {
            // What offsets and slopes are told for where nothing is said
            // (common practice, no source).
            None => Temperature::from_celsius(25.0),
            Some(_) => self.temperature(review, "temperature = \"25 °C\"")?,
        };
        let electrode = Electrode::new(offset?, slope).map_err(CalibrationProblem::from);
        let electrode = review.good(&path, electrode)?;
        for remark in electrode.judge(&ElectrodeBands::default()) {
            review.remark(self.at, self.date, Remarked::Electrode(remark));
        }
        Some(Calibration::Electrode {
            electrode,
            calibrated_at,
        })
    }

    fn in_buffers(
        &self,
        review: &mut Review,
        path: &KeyPath,
        rows: &[Vec<Written>],
    ) -> Option<Calibration> {
        let temperature = self.temperature(review, "temperature = \"22 °C\" of the buffers");
        let tables = BufferTable::ALL.map(|table| (table.name(), table));
        let word = self.raw.buffers.as_deref();
        let word = word.unwrap_or(BufferTable::default().name());
        let table = review.one_of(&self.path("buffers"), word, &tables);
        let (temperature, table) = (temperature?, table?);
        let points: Vec<_> = rows
            .iter()
            .enumerate()
            .map(|(place, row)| point(review, &path.item(place), row, table, temperature))
            .collect();
        let points: Option<Vec<_>> = points.into_iter().collect();
        let found = PhCalibration::new(&points?, temperature).map_err(CalibrationProblem::from);
        let found = review.good(path, found)?;
        for remark in found.judge(&ElectrodeBands::default()) {
            review.remark(self.at, self.date, Remarked::Electrode(remark));
        }
        let (lowest, highest) = MIX_PH;
        if !found.brackets(Ph::from_units(lowest)) || !found.brackets(Ph::from_units(highest)) {
            review.remark(self.at, self.date, Remarked::BuffersAside);
        }
        Some(Calibration::Electrode {
            electrode: found.electrode(),
            calibrated_at: temperature,
        })
    }
}

fn point(
    review: &mut Review,
    path: &KeyPath,
    row: &[Written],
    table: BufferTable,
    temperature: Temperature,
) -> Option<CalibrationPoint> {
    let [buffer, potential] = row else {
        let wanted = "a buffer and the reading in it, as [\"borax\", \"-134 mV\"]";
        let found = row.len();
        review.tell(path, Problem::Length { wanted, found });
        return None;
    };
    let ph = buffer_ph(review, &path.item(0), buffer.text(), table, temperature);
    let potential = review.good(&path.item(1), Potential::parse(potential.text()));
    Some(CalibrationPoint {
        ph: ph?,
        potential: potential?,
    })
}

/// pH of a buffer: a number that its bottle states, or that of its salt.
fn buffer_ph(
    review: &mut Review,
    path: &KeyPath,
    text: &str,
    table: BufferTable,
    temperature: Temperature,
) -> Option<Ph> {
    if let Ok(ph) = measure::value(Quantity::Ph, text) {
        let ph = review.within(path, ph, (0.0, 14.0), |ph| ph.to_string())?;
        return Some(Ph::from_units(ph));
    }
    let salts = StandardBuffer::ALL.map(|salt| (salt.name(), salt));
    let salt = review.one_of(path, text, &salts)?;
    let ph = table
        .ph(salt, temperature)
        .map_err(CalibrationProblem::from);
    review.good(path, ph)
}
