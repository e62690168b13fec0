//! What a calculation gives back.

/// A result that a calculation can give.
pub(super) struct Field {
    /// Key in JSON, its unit at the end.
    pub(super) key: &'static str,
    /// What it is called in text.
    pub(super) label: &'static str,
    /// Its unit in text; empty for a word or a plain number.
    pub(super) unit: &'static str,
    /// Decimals in text.
    pub(super) decimals: usize,
}

impl Field {
    /// A volume.
    pub(super) const fn litres(key: &'static str, label: &'static str) -> Field {
        Field {
            key,
            label,
            unit: "L",
            decimals: 1,
        }
    }

    /// A share of concentrate.
    pub(super) const fn percent(key: &'static str, label: &'static str) -> Field {
        Field {
            key,
            label,
            unit: "%",
            decimals: 2,
        }
    }

    /// A count, a word, or yes or no.
    pub(super) const fn plain(key: &'static str, label: &'static str) -> Field {
        Field {
            key,
            label,
            unit: "",
            decimals: 0,
        }
    }
}

/// The value of one result.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Value {
    /// In the field's unit, not rounded.
    Number(f64),
    /// There is no such value here.
    Nothing,
    /// A word.
    Word(&'static str),
    /// A text that was made up from the input.
    Text(String),
    /// Yes or no.
    Truth(bool),
    /// As [`Value::Number`], one for each of what was given.
    Numbers(Vec<f64>),
}

impl Value {
    /// Whether every number in it is one that can be written down.
    fn is_finite(&self) -> bool {
        match self {
            Value::Number(number) => number.is_finite(),
            Value::Numbers(numbers) => numbers.iter().all(|number| number.is_finite()),
            Value::Nothing | Value::Word(_) | Value::Text(_) | Value::Truth(_) => true,
        }
    }
}

impl From<f64> for Value {
    fn from(number: f64) -> Self {
        Value::Number(number)
    }
}

impl From<Option<f64>> for Value {
    fn from(number: Option<f64>) -> Self {
        number.map_or(Value::Nothing, Value::Number)
    }
}

impl From<&'static str> for Value {
    fn from(word: &'static str) -> Self {
        Value::Word(word)
    }
}

impl From<String> for Value {
    fn from(text: String) -> Self {
        Value::Text(text)
    }
}

impl From<Vec<f64>> for Value {
    fn from(numbers: Vec<f64>) -> Self {
        Value::Numbers(numbers)
    }
}

impl From<bool> for Value {
    fn from(truth: bool) -> Self {
        Value::Truth(truth)
    }
}

/// The results, in the order in which they are printed.
#[derive(Default)]
pub(super) struct Answer(Vec<(&'static Field, Value)>);

impl Answer {
    /// With one more result.
    pub(super) fn with(mut self, field: &'static Field, value: impl Into<Value>) -> Self {
        self.0.push((field, value.into()));
        self
    }

    /// The results.
    pub(super) fn results(&self) -> &[(&'static Field, Value)] {
        &self.0
    }

    /// Whether every number in it is one that can be written down.
    pub(super) fn is_finite(&self) -> bool {
        self.0.iter().all(|(_, value)| value.is_finite())
    }
}
