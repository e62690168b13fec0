//! The labels of fields: RFC 8428, section 4.3, table 1.

/// A field that RFC 8428 defines.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Label {
    BaseVersion,
    BaseName,
    BaseTime,
    BaseUnit,
    BaseValue,
    BaseSum,
    Name,
    Unit,
    Value,
    TextValue,
    BooleanValue,
    Sum,
    Time,
    UpdateTime,
    DataValue,
}

/// What may stand in a field.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Number,
    Text,
    Boolean,
    Data,
}

/// Each label with its name, in JSON and in CBOR, its number in CBOR, and what
/// may stand there.
const TABLE: [(Label, &str, i8, Kind); Label::COUNT] = [
    (Label::BaseVersion, "bver", -1, Kind::Number),
    (Label::BaseName, "bn", -2, Kind::Text),
    (Label::BaseTime, "bt", -3, Kind::Number),
    (Label::BaseUnit, "bu", -4, Kind::Text),
    (Label::BaseValue, "bv", -5, Kind::Number),
    (Label::BaseSum, "bs", -6, Kind::Number),
    (Label::Name, "n", 0, Kind::Text),
    (Label::Unit, "u", 1, Kind::Text),
    (Label::Value, "v", 2, Kind::Number),
    (Label::TextValue, "vs", 3, Kind::Text),
    (Label::BooleanValue, "vb", 4, Kind::Boolean),
    (Label::Sum, "s", 5, Kind::Number),
    (Label::Time, "t", 6, Kind::Number),
    (Label::UpdateTime, "ut", 7, Kind::Number),
    (Label::DataValue, "vd", 8, Kind::Data),
];

impl Label {
    /// How many there are.
    pub(super) const COUNT: usize = 15;

    /// Those that apply to their record only.
    pub(super) const REGULAR: [Label; 9] = [
        Label::Name,
        Label::Unit,
        Label::Value,
        Label::TextValue,
        Label::BooleanValue,
        Label::Sum,
        Label::Time,
        Label::UpdateTime,
        Label::DataValue,
    ];

    /// Those that hold the value of a record.
    pub(super) const VALUES: [Label; 4] = [
        Label::Value,
        Label::TextValue,
        Label::BooleanValue,
        Label::DataValue,
    ];

    pub(super) fn named(name: &str) -> Option<Label> {
        let row = TABLE.iter().find(|row| row.1 == name)?;
        Some(row.0)
    }

    pub(super) fn numbered(number: i128) -> Option<Label> {
        let row = TABLE.iter().find(|row| i128::from(row.2) == number)?;
        Some(row.0)
    }

    pub(super) fn name(self) -> &'static str {
        TABLE[self as usize].1
    }

    pub(super) fn kind(self) -> Kind {
        TABLE[self as usize].3
    }
}

impl Kind {
    pub(super) fn name(self) -> &'static str {
        match self {
            Kind::Number => "a number",
            Kind::Text => "a text",
            Kind::Boolean => "true or false",
            Kind::Data => "bytes",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_label_stands_in_its_own_row() {
        for (place, (label, name, number, _)) in TABLE.into_iter().enumerate() {
            assert_eq!(label as usize, place, "{name}");
            assert_eq!(Label::named(name), Some(label));
            assert_eq!(Label::numbered(i128::from(number)), Some(label));
        }
        assert_eq!(Label::numbered(9), None);
    }
}
