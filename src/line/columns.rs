//! Lines whose values stand in columns.

/// How columns are parted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Columns {
    /// The character between two columns. A blank stands for any run of blanks
    /// and tabs.
    pub delimiter: char,
    /// Lines after opening the port that hold no values.
    pub header: u16,
}

impl Columns {
    /// What stands in a column of a line, without white space around it; the
    /// first column is 1.
    pub fn cell<'a>(&self, line: &'a str, column: usize) -> Option<&'a str> {
        let nth = column.checked_sub(1)?;
        match self.delimiter {
            ' ' => line.split_ascii_whitespace().nth(nth),
            delimiter => line.split(delimiter).nth(nth).map(str::trim),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_are_counted_from_one() {
        let columns = |delimiter| Columns {
            delimiter,
            header: 0,
        };
        let semicolon = columns(';');
        assert_eq!(semicolon.cell("a; 4.2;;d", 2), Some("4.2"));
        assert_eq!(semicolon.cell("a; 4.2;;d", 3), Some(""));
        assert_eq!(semicolon.cell("a; 4.2;;d", 4), Some("d"));
        assert_eq!(semicolon.cell("a; 4.2;;d", 5), None);
        assert_eq!(semicolon.cell("a; 4.2;;d", 0), None);
        assert_eq!(columns(' ').cell("  a \t 4.2  c", 2), Some("4.2"));
        assert_eq!(columns('\t').cell("a\t\t4.2", 3), Some("4.2"));
    }
}
