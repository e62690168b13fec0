//! A table before it is drawn: the same rows make the page and the CSV file.

use jiff::civil::Date;

use crate::units::{Span, Timestamp};

/// A table.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// The key of its title, and the name of its CSV file.
    pub name: &'static str,
    /// The keys of its columns; they are the header of the CSV file.
    pub columns: &'static [&'static str],
    /// The rows, each with a cell for every column.
    pub rows: Vec<Vec<Cell>>,
    /// Rows that are not in it because more were not kept.
    pub left_out: u64,
}

/// What stands in a cell.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// Nothing, as nothing is known or none applies.
    None,
    /// Words of people, or names.
    Text(String),
    /// Words of ours, by their key.
    Word(String),
    /// Several cells that a person reads after each other.
    Several(Vec<Cell>),
    /// Several things, told one by one.
    List(Vec<Cell>),
    /// What is wrong, by the name of its condition.
    Condition(String),
    /// A number, told to so many decimals.
    Number(f64, usize),
    /// A number with the ends of its 90 % interval.
    Between(f64, f64, f64, usize),
    /// How many.
    Count(u64),
    /// A part of a whole, 0 to 1.
    Share(f64),
    /// A time.
    Time(Timestamp),
    /// A day.
    Day(Date),
    /// How long.
    Long(Span),
    /// Something that a person should see, by its key: told by a sign and words,
    /// never by colour alone.
    Alert(String),
}

impl Cell {
    /// A text, where there is one.
    pub fn text(text: Option<&str>) -> Self {
        text.map_or(Cell::None, |text| Cell::Text(text.to_owned()))
    }

    /// A number, where there is one.
    pub fn number(value: Option<f64>, decimals: usize) -> Self {
        value.map_or(Cell::None, |value| Cell::Number(value, decimals))
    }

    /// A share, where there is one.
    pub fn share(share: Option<f64>) -> Self {
        share.map_or(Cell::None, Cell::Share)
    }

    /// A time, where there is one.
    pub fn time(time: Option<Timestamp>) -> Self {
        time.map_or(Cell::None, Cell::Time)
    }

    /// Words of ours.
    pub fn word(key: impl Into<String>) -> Self {
        Cell::Word(key.into())
    }

    /// Whether it is read as a number, and so stands at the right.
    pub const fn is_number(&self) -> bool {
        matches!(
            self,
            Cell::Number(..) | Cell::Between(..) | Cell::Count(_) | Cell::Share(_) | Cell::Long(_)
        )
    }
}

impl Table {
    /// An empty table.
    pub const fn new(name: &'static str, columns: &'static [&'static str]) -> Self {
        Table {
            name,
            columns,
            rows: Vec::new(),
            left_out: 0,
        }
    }

    /// The same with these rows.
    pub fn with_rows(mut self, rows: impl IntoIterator<Item = Vec<Cell>>) -> Self {
        self.rows.extend(rows);
        self
    }
}
