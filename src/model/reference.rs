//! The table of small balances, worked with exact fractions or checked twice;
//! see its head.

/// Rows of one kind: what was given, in its order, and what came of it. The
/// names of the numbers are in the table, `V=1000 c=4.5`; they are found by name.
pub(super) struct Case {
    inputs: String,
    /// What must come of it.
    pub(super) value: f64,
}

impl Case {
    /// The number that stands after `name`, as in `V=1000`, or `E` and a
    /// number on its own.
    pub(super) fn number(&self, name: &str) -> f64 {
        let after = self
            .inputs
            .split_once(name)
            .unwrap_or_else(|| panic!("no {name} in {}", self.inputs))
            .1;
        let text: String = after
            .chars()
            .take_while(|c| c.is_ascii_digit() || *c == '.')
            .collect();
        text.parse().unwrap()
    }
}

/// Every row of a kind; there must be `count` of them.
pub(super) fn cases(kind: &str, count: usize) -> Vec<Case> {
    let table = include_str!("../../tests/reference/mass_balance_misc.csv");
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_reader(table.as_bytes());
    let found: Vec<_> = reader
        .records()
        .map(Result::unwrap)
        .filter(|row| &row[0] == kind && row[6].starts_with("computed"))
        .map(|row| Case {
            inputs: row[1].to_owned(),
            value: row[3].parse().unwrap(),
        })
        .collect();
    assert_eq!(found.len(), count, "rows of {kind}");
    found
}

/// Whether two numbers agree to what the table prints, six decimals.
pub(super) fn same(got: f64, want: f64) -> bool {
    (got - want).abs() <= 1e-6
}
