//! Standard buffers: their pH by temperature.

use std::fmt;

use crate::chemistry::table::between;
use crate::units::{Ph, Temperature};

/// A buffer solution that is made up to a standard, by its salt.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StandardBuffer {
    /// 0.05 mol/kg potassium hydrogen phthalate, about pH 4.0.
    Phthalate,
    /// 0.025 mol/kg each of potassium dihydrogen and disodium hydrogen
    /// phosphate, about pH 6.9.
    Phosphate,
    /// 0.01 mol/kg borax, about pH 9.2.
    Borax,
    /// 0.025 mol/kg each of sodium hydrogen carbonate and carbonate, about
    /// pH 10.0.
    Carbonate,
}

impl StandardBuffer {
    /// Every buffer, by rising pH.
    pub const ALL: [StandardBuffer; 4] = [
        StandardBuffer::Phthalate,
        StandardBuffer::Phosphate,
        StandardBuffer::Borax,
        StandardBuffer::Carbonate,
    ];

    /// The name in settings and on the command line.
    pub const fn name(self) -> &'static str {
        match self {
            StandardBuffer::Phthalate => "phthalate",
            StandardBuffer::Phosphate => "phosphate",
            StandardBuffer::Borax => "borax",
            StandardBuffer::Carbonate => "carbonate",
        }
    }
}

impl fmt::Display for StandardBuffer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A published table of standard buffers. Tables differ by up to 0.006 pH.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum BufferTable {
    /// The primary standards of NIST, as in DIN 19266 and IUPAC 2002, 0 to
    /// 60 °C (carbonate to 50 °C).
    #[default]
    Nist,
    /// HJ 1147-2020, 0 to 50 °C, without carbonate.
    Hj1147,
}

impl BufferTable {
    /// Every table.
    pub const ALL: [BufferTable; 2] = [BufferTable::Nist, BufferTable::Hj1147];

    /// The name in settings and on the command line.
    pub const fn name(self) -> &'static str {
        match self {
            BufferTable::Nist => "nist",
            BufferTable::Hj1147 => "hj1147",
        }
    }

    /// pH of a buffer at a temperature, on straight lines between the rows at
    /// hand. Beside the widest gap between them, 10 K, a line is off by less
    /// than 0.003 pH (worked out from the rows' second differences).
    ///
    /// # Errors
    /// When the table has no such buffer, or not at this temperature.
    pub fn ph(self, buffer: StandardBuffer, temperature: Temperature) -> Result<Ph, BufferError> {
        let Some(rows) = self.rows(buffer) else {
            let table = self;
            return Err(BufferError::NotInTable { buffer, table });
        };
        between(rows, temperature.celsius())
            .map(Ph::from_units)
            .ok_or(BufferError::Temperature {
                buffer,
                table: self,
                found: temperature,
                lowest: Temperature::from_celsius(rows[0].0),
                highest: Temperature::from_celsius(rows[rows.len() - 1].0),
            })
    }

    /// (°C, pH) of a buffer, by rising temperature.
    const fn rows(self, buffer: StandardBuffer) -> Option<&'static [(f64, f64)]> {
        match (self, buffer) {
            (BufferTable::Nist, StandardBuffer::Phthalate) => Some(&NIST_PHTHALATE),
            (BufferTable::Nist, StandardBuffer::Phosphate) => Some(&NIST_PHOSPHATE),
            (BufferTable::Nist, StandardBuffer::Borax) => Some(&NIST_BORAX),
            (BufferTable::Nist, StandardBuffer::Carbonate) => Some(&NIST_CARBONATE),
            (BufferTable::Hj1147, StandardBuffer::Phthalate) => Some(&HJ1147_PHTHALATE),
            (BufferTable::Hj1147, StandardBuffer::Phosphate) => Some(&HJ1147_PHOSPHATE),
            (BufferTable::Hj1147, StandardBuffer::Borax) => Some(&HJ1147_BORAX),
            (BufferTable::Hj1147, StandardBuffer::Carbonate) => None,
        }
    }
}

impl fmt::Display for BufferTable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            BufferTable::Nist => "NIST",
            BufferTable::Hj1147 => "HJ 1147-2020",
        })
    }
}

/// Why a table has no pH for a buffer.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum BufferError {
    /// The table does not hold this buffer.
    #[error(
        "the {table} table has no {buffer} buffer; take the NIST table, or state the pH that the \
         bottle gives for the temperature"
    )]
    NotInTable {
        /// Which buffer.
        buffer: StandardBuffer,
        /// Which table.
        table: BufferTable,
    },
    /// The table ends before this temperature.
    #[error(
        "the {table} table gives {buffer} from {lowest} to {highest}, not at {found}; \
         calibrate within that range"
    )]
    Temperature {
        /// Which buffer.
        buffer: StandardBuffer,
        /// Which table.
        table: BufferTable,
        /// What was given.
        found: Temperature,
        /// The lowest temperature of its rows.
        lowest: Temperature,
        /// The highest temperature of its rows.
        highest: Temperature,
    },
}

// (°C, pH). Source of NIST_…: values of the NIST / DIN 19266 / IUPAC 2002 type,
// as carried by two public source files; of HJ1147_…: HJ 1147-2020, as carried
// by a public source file. Only rows that were found there; see the heads of
// tests/reference/ph_buffers_*.csv.
#[rustfmt::skip]
const NIST_PHTHALATE: [(f64, f64); 23] = [
    (0.0, 4.000), (5.0, 3.998), (10.0, 3.997), (15.0, 3.998), (18.0, 3.999), (19.0, 4.000), (20.0, 4.001), (21.0, 4.001),
    (22.0, 4.002), (23.0, 4.003), (24.0, 4.004), (25.0, 4.005), (26.0, 4.006), (27.0, 4.007), (28.0, 4.008), (29.0, 4.009),
    (35.0, 4.018), (37.0, 4.022), (40.0, 4.027), (45.0, 4.038), (50.0, 4.050), (55.0, 4.064), (60.0, 4.080),
];
#[rustfmt::skip]
const NIST_PHOSPHATE: [(f64, f64); 22] = [
    (0.0, 6.984), (5.0, 6.951), (15.0, 6.900), (18.0, 6.888), (19.0, 6.884), (20.0, 6.881), (21.0, 6.877), (22.0, 6.874),
    (23.0, 6.871), (24.0, 6.868), (25.0, 6.865), (26.0, 6.862), (27.0, 6.860), (28.0, 6.857), (29.0, 6.855), (35.0, 6.844),
    (37.0, 6.841), (40.0, 6.838), (45.0, 6.834), (50.0, 6.833), (55.0, 6.833), (60.0, 6.836),
];
#[rustfmt::skip]
const NIST_BORAX: [(f64, f64); 22] = [
    (0.0, 9.464), (5.0, 9.395), (10.0, 9.332), (18.0, 9.245), (19.0, 9.235), (20.0, 9.225), (21.0, 9.216), (22.0, 9.207),
    (23.0, 9.197), (24.0, 9.189), (25.0, 9.180), (26.0, 9.171), (27.0, 9.163), (28.0, 9.155), (29.0, 9.147), (30.0, 9.139),
    (37.0, 9.088), (40.0, 9.068), (45.0, 9.038), (50.0, 9.010), (55.0, 8.985), (60.0, 8.962),
];
#[rustfmt::skip]
const NIST_CARBONATE: [(f64, f64); 20] = [
    (0.0, 10.317), (5.0, 10.245), (10.0, 10.179), (15.0, 10.118), (18.0, 10.084), (19.0, 10.073), (21.0, 10.052), (22.0, 10.042),
    (23.0, 10.032), (24.0, 10.022), (25.0, 10.012), (26.0, 10.002), (27.0, 9.993), (28.0, 9.984), (29.0, 9.975), (30.0, 9.966),
    (37.0, 9.910), (40.0, 9.889), (45.0, 9.857), (50.0, 9.828),
];
#[rustfmt::skip]
const HJ1147_PHTHALATE: [(f64, f64); 11] = [
    (0.0, 4.006), (5.0, 3.999), (10.0, 3.996), (15.0, 3.996), (20.0, 3.998), (25.0, 4.003), (30.0, 4.010), (35.0, 4.019),
    (40.0, 4.029), (45.0, 4.042), (50.0, 4.055),
];
#[rustfmt::skip]
const HJ1147_PHOSPHATE: [(f64, f64); 10] = [
    (0.0, 6.981), (5.0, 6.949), (10.0, 6.921), (15.0, 6.898), (20.0, 6.879), (25.0, 6.864), (30.0, 6.852), (35.0, 6.844),
    (45.0, 6.834), (50.0, 6.833),
];
#[rustfmt::skip]
const HJ1147_BORAX: [(f64, f64); 10] = [
    (0.0, 9.458), (5.0, 9.391), (10.0, 9.330), (15.0, 9.276), (25.0, 9.182), (30.0, 9.142), (35.0, 9.105), (40.0, 9.072),
    (45.0, 9.042), (50.0, 9.015),
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chemistry::table::tests::rows;

    fn agrees(table: BufferTable, text: &str) {
        let published = rows(text);
        let entries: usize = StandardBuffer::ALL
            .iter()
            .filter_map(|buffer| table.rows(*buffer))
            .map(<[_]>::len)
            .sum();
        assert_eq!(published.len(), entries);
        for row in published {
            assert_eq!(&row[3], "retrieved");
            let name = row[0].split('_').next().unwrap();
            let buffer = StandardBuffer::ALL.into_iter().find(|b| b.name() == name);
            let celsius = Temperature::from_celsius(row[1].parse().unwrap());
            let got = table.ph(buffer.unwrap(), celsius).unwrap().units();
            let want: f64 = row[2].parse().unwrap();
            assert!((got - want).abs() < 1e-9, "{row:?} gave {got}");
        }
    }

    #[test]
    fn agrees_with_the_published_tables() {
        agrees(
            BufferTable::Nist,
            include_str!("../../../tests/reference/ph_buffers_nist.csv"),
        );
        agrees(
            BufferTable::Hj1147,
            include_str!("../../../tests/reference/ph_buffers_hj1147.csv"),
        );
    }

    /// A gap in one table is held against the row of the other, from which it
    /// may differ by 0.006 at most.
    #[test]
    fn straight_lines_over_gaps_meet_the_other_table() {
        for buffer in StandardBuffer::ALL {
            for (celsius, ph) in BufferTable::Hj1147.rows(buffer).unwrap_or_default() {
                let celsius = Temperature::from_celsius(*celsius);
                let got = BufferTable::Nist.ph(buffer, celsius).unwrap().units();
                assert!((got - ph).abs() <= 0.0065, "{buffer} at {celsius}: {got}");
            }
        }
    }

    #[test]
    fn refuses_what_no_row_stands_for() {
        let warm = Temperature::from_celsius(55.0);
        let told = BufferTable::Nist.ph(StandardBuffer::Carbonate, warm);
        assert_eq!(
            told.unwrap_err().to_string(),
            "the NIST table gives carbonate from 0.0 °C to 50.0 °C, not at 55.0 °C; \
             calibrate within that range"
        );
        let told = BufferTable::Hj1147.ph(StandardBuffer::Carbonate, warm);
        assert!(
            told.unwrap_err()
                .to_string()
                .contains("take the NIST table")
        );
    }
}
