//! How the values of a line are found.

use super::checksum::{Checksum, ChecksumError};
use super::columns::Columns;
use super::number;
use super::pattern::Pattern;

/// How a port's lines look.
#[derive(Debug, Clone, PartialEq)]
pub struct LineFormat {
    /// The check that they carry.
    pub checksum: Option<Checksum>,
    /// Where their values stand.
    pub shape: Shape,
}

/// Where the values of a line stand.
#[derive(Debug, Clone, PartialEq)]
pub enum Shape {
    /// In the fields of a pattern.
    Pattern(Pattern),
    /// In columns.
    Columns(Columns),
}

/// Where one value stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// In the field of the pattern with this place among its fields.
    Field(usize),
    /// In this column; the first is 1.
    Column(usize),
}

/// Why there is no value in a line.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum LineError {
    /// The check does not hold.
    #[error(transparent)]
    Checksum(#[from] ChecksumError),
    /// Something else stands where the pattern has text.
    #[error("the pattern wants \"{wanted}\" where the line has \"{found}\"")]
    Text {
        /// What the pattern has there.
        wanted: String,
        /// What the line has there.
        found: String,
    },
    /// Something else stands where a number must.
    #[error("the pattern wants the number {{{field}}} where the line has \"{found}\"")]
    Number {
        /// The field.
        field: String,
        /// What the line has there.
        found: String,
    },
    /// The line goes on where the pattern ends.
    #[error(
        "the line goes on with \"{0}\" where the pattern ends; end the pattern in \" *\" if that is well"
    )]
    GoesOn(String),
    /// It has fewer columns.
    #[error("the line has no column {0}")]
    NoColumn(usize),
    /// No number stands in the column.
    #[error("in column {column} stands \"{found}\", not a number with a decimal point")]
    Column {
        /// The column.
        column: usize,
        /// What stands there.
        found: String,
    },
}

/// The values of a line.
#[derive(Debug, Clone, PartialEq)]
pub enum Values<'a> {
    /// Those of a pattern's fields, in the order of the pattern.
    Fields(Vec<f64>),
    /// Those of columns.
    Columns(Columns, &'a str),
}

impl LineFormat {
    /// The part of a line that holds values, as text: what the check covers,
    /// without the characters that are not ASCII, since instruments write the
    /// degree sign in many ways.
    ///
    /// # Errors
    /// When the check does not hold.
    pub fn text(&self, line: &[u8]) -> Result<String, ChecksumError> {
        let covered = match &self.checksum {
            None => line,
            Some(checksum) => checksum.verified(line)?,
        };
        let ascii = covered.iter().filter(|byte| byte.is_ascii());
        Ok(ascii.map(|byte| char::from(*byte)).collect())
    }

    /// The values in such a text.
    ///
    /// # Errors
    /// When it does not look as the pattern says.
    pub fn values<'a>(&self, text: &'a str) -> Result<Values<'a>, LineError> {
        match &self.shape {
            Shape::Pattern(pattern) => pattern.read(text).map(Values::Fields),
            Shape::Columns(columns) => Ok(Values::Columns(*columns, text)),
        }
    }
}

impl Values<'_> {
    /// The value at a place.
    ///
    /// # Errors
    /// When no number stands there.
    pub fn get(&self, place: Place) -> Result<f64, LineError> {
        match (self, place) {
            (Values::Fields(fields), Place::Field(at)) => {
                let field = fields.get(at).copied();
                field.ok_or(LineError::NoColumn(at))
            }
            (Values::Columns(columns, text), Place::Column(column)) => {
                let cell = columns.cell(text, column);
                let cell = cell.ok_or(LineError::NoColumn(column))?;
                number::whole(cell).ok_or_else(|| LineError::Column {
                    column,
                    found: shown(cell),
                })
            }
            (Values::Fields(_), Place::Column(at)) | (Values::Columns(..), Place::Field(at)) => {
                Err(LineError::NoColumn(at))
            }
        }
    }
}

/// The beginning of a text, as messages show it.
pub(super) fn shown(text: &str) -> String {
    text.chars().take(24).collect()
}

#[cfg(test)]
mod tests {
    use super::super::CheckKind;
    use super::*;

    #[test]
    fn the_degree_sign_is_passed_over_however_it_is_written() {
        let format = LineFormat {
            checksum: None,
            shape: Shape::Pattern(Pattern::parse("T={t} °C").unwrap()),
        };
        for line in [
            &b"T=21.5 \xB0C"[..],
            b"T=21.5 \xF8C",
            "T=21.5 °C".as_bytes(),
            b"T=21.5 C",
        ] {
            let text = format.text(line).unwrap();
            let values = format.values(&text).unwrap();
            assert_eq!(values.get(Place::Field(0)), Ok(21.5));
        }
    }

    #[test]
    fn a_check_covers_the_bytes_as_they_came() {
        let checksum = Checksum {
            kind: CheckKind::Sum,
            start: None,
            mark: b'*',
        };
        let format = LineFormat {
            checksum: Some(checksum),
            shape: Shape::Columns(Columns {
                delimiter: ';',
                header: 0,
            }),
        };
        let covered = b"4.2\xB0;7";
        let line = [
            covered,
            format!("*{:02X}", CheckKind::Sum.of(covered)).as_bytes(),
        ]
        .concat();
        let text = format.text(&line).unwrap();
        let values = format.values(&text).unwrap();
        assert_eq!(values.get(Place::Column(1)), Ok(4.2));
        assert_eq!(values.get(Place::Column(2)), Ok(7.0));
        assert_eq!(values.get(Place::Column(3)), Err(LineError::NoColumn(3)));
        assert!(format.text(b"4.2;7*00").is_err());
    }

    #[test]
    fn a_column_holds_a_number_and_nothing_else() {
        let columns = Columns {
            delimiter: ';',
            header: 0,
        };
        let values = Values::Columns(columns, "4,2;OK;");
        for column in 1..=3 {
            assert!(matches!(
                values.get(Place::Column(column)),
                Err(LineError::Column { .. })
            ));
        }
    }
}
