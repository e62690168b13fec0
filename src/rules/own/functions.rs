//! The functions that rules may call, and no others.

/// A function.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OwnFunction {
    /// How it is called.
    pub name: &'static str,
    /// With what.
    pub takes: &'static str,
    /// What it tells.
    pub what: &'static str,
    /// Whose it is.
    pub from: Origin,
    pub(super) is: Function,
}

/// Where a function is from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Origin {
    /// Of the language's own library.
    Language,
    /// Of the usual extension for mathematics.
    Extension,
    /// Added here.
    Here,
}

/// The functions, for those who work them out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Function {
    HasValue,
    Active,
    SinceReading,
    SinceEntry,
    Double,
    Int,
    Abs,
    Greatest,
    Least,
}

impl OwnFunction {
    /// Every function, in the order in which they are listed to people.
    pub const ALL: &'static [OwnFunction] = &[
        OwnFunction {
            name: "has_value",
            takes: "one value by its name, or one minutes_since_…",
            what: "whether it is there",
            from: Origin::Here,
            is: Function::HasValue,
        },
        OwnFunction {
            name: "active",
            takes: "the name of a condition, as \"concentration.low\"",
            what: "whether it holds, with its delays counted",
            from: Origin::Here,
            is: Function::Active,
        },
        OwnFunction {
            name: "minutes_since_reading",
            takes: "a quantity, as \"ph\"",
            what: "minutes since its newest usable reading (double)",
            from: Origin::Here,
            is: Function::SinceReading,
        },
        OwnFunction {
            name: "minutes_since_entry",
            takes: "a kind of entry, as \"skimmed\"",
            what: "minutes since the newest entry of that kind (double)",
            from: Origin::Here,
            is: Function::SinceEntry,
        },
        OwnFunction {
            name: "double",
            takes: "one int or double",
            what: "it as a double",
            from: Origin::Language,
            is: Function::Double,
        },
        OwnFunction {
            name: "int",
            takes: "one double or int",
            what: "it as an int, without what stands behind the point",
            from: Origin::Language,
            is: Function::Int,
        },
        OwnFunction {
            name: "math.abs",
            takes: "one int or double",
            what: "it without its sign",
            from: Origin::Extension,
            is: Function::Abs,
        },
        OwnFunction {
            name: "math.greatest",
            takes: "1 to 8 doubles, or as many ints",
            what: "the greatest of them",
            from: Origin::Extension,
            is: Function::Greatest,
        },
        OwnFunction {
            name: "math.least",
            takes: "1 to 8 doubles, or as many ints",
            what: "the least of them",
            from: Origin::Extension,
            is: Function::Least,
        },
    ];

    pub(super) fn find(name: &str) -> Option<&'static OwnFunction> {
        Self::ALL.iter().find(|known| known.name == name)
    }
}
