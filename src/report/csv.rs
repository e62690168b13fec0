//! A table as CSV: keys for words of ours, times in UTC, numbers to their last
//! digit.
//!
//! What people wrote may begin with `=`, `+`, `-`, `@`, a tab or the end of a
//! line, which a spreadsheet takes for a formula, and so may what stands behind a
//! semicolon or a tab in it, where a program splits at these. There an apostrophe
//! is put in front.

use crate::units::{Timestamp, exact};

use super::table::{Cell, Table};

/// The rows of a table with the sump in front, and the header before them.
pub fn header(table: &Table) -> Vec<String> {
    let own = table.columns.iter().map(|key| (*key).to_owned());
    ["sump".to_owned()].into_iter().chain(own).collect()
}

/// The cells of a row.
pub fn row(sump: &str, cells: &[Cell]) -> Vec<String> {
    let own = cells.iter().map(cell);
    [harmless(sump)].into_iter().chain(own).collect()
}

/// The text of a cell.
pub fn cell(cell: &Cell) -> String {
    match cell {
        Cell::None => String::new(),
        Cell::Text(text) => harmless(text),
        Cell::Word(key) | Cell::Alert(key) => key.clone(),
        Cell::Condition(condition) => harmless(condition),
        Cell::Several(cells) | Cell::List(cells) => {
            let texts: Vec<String> = cells.iter().map(self::cell).collect();
            texts.join(", ")
        }
        Cell::Number(value, _) => exact(*value),
        Cell::Between(value, low, high, _) => {
            [value, low, high].map(|value| exact(*value)).join(" ")
        }
        Cell::Count(count) => count.to_string(),
        Cell::Share(share) => exact(100.0 * share),
        Cell::Time(time) => utc(*time),
        Cell::Day(day) => day.to_string(),
        Cell::Long(span) => exact(span.secs_f64() / 60.0),
    }
}

fn utc(time: Timestamp) -> String {
    time.to_string()
}

/// The text, with an apostrophe wherever a program might begin a formula.
fn harmless(text: &str) -> String {
    let mut harmless = String::with_capacity(text.len());
    let mut begins = true;
    for letter in text.chars() {
        if begins && matches!(letter, '=' | '+' | '-' | '@' | '\t' | '\r' | '\n') {
            harmless.push('\'');
        }
        harmless.push(letter);
        begins = matches!(letter, ';' | '\t' | '\r' | '\n') || (begins && letter == ' ');
    }
    harmless
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn what_may_be_a_formula_is_marked() {
        assert_eq!(harmless("=1+1"), "'=1+1");
        assert_eq!(harmless("a;=1+1"), "a;'=1+1");
        assert_eq!(harmless("pH 9 - low"), "pH 9 - low");
        assert_eq!(harmless(" -4"), " '-4");
        // Numbers of ours stay numbers.
        assert_eq!(cell(&Cell::Number(-4.0, 1)), "-4");
    }

    proptest! {
        #[test]
        fn no_part_of_a_text_begins_a_formula(text in "[=;+@\\t\\r\\n a-]{0,16}") {
            let told = harmless(&text);
            for part in told.split([';', '\t', '\r', '\n']) {
                prop_assert!(!part.trim_start_matches(' ').starts_with(['=', '+', '-', '@']), "{:?}", told);
            }
            prop_assert_eq!(told.replace('\'', ""), text);
        }
    }
}
