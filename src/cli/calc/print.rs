//! How an answer or a refusal is written: lines for people, or one flat JSON
//! object for machines.

use std::fmt::Write;

use serde_json::{Map, json};

use super::answer::{Answer, Field, Value};
use super::{CalcOutcome, Calculation, Verdict};

/// An answer with what it was worked out from.
pub(super) fn answer(
    calculation: &Calculation,
    inputs: &[(&'static str, String)],
    answer: &Answer,
    json: bool,
) -> CalcOutcome {
    let text = if json {
        answer_json(calculation, inputs, answer)
    } else {
        answer_text(calculation, inputs, answer)
    };
    CalcOutcome {
        text,
        verdict: Verdict::Answered,
    }
}

/// A call that was understood and whose answer is no.
pub(super) fn refusal(calculation: &Calculation, reason: &str, json: bool) -> CalcOutcome {
    let text = if json {
        json!({ "calculation": calculation.name, "refused": reason }).to_string()
    } else {
        format!("{}: {reason}", calculation.name)
    };
    CalcOutcome {
        text,
        verdict: Verdict::Refused,
    }
}

/// A wrong call with all its mistakes.
pub(super) fn mistakes(
    calculation: Option<&Calculation>,
    told: &[String],
    json: bool,
) -> CalcOutcome {
    let name = calculation.map(|calculation| calculation.name);
    let text = if json {
        json!({ "calculation": name, "mistakes": told }).to_string()
    } else {
        let mut text = told.join("\n");
        if let Some(calculation) = calculation {
            let _ = write!(text, "\nexample: {}", call(calculation));
        }
        text
    };
    CalcOutcome {
        text,
        verdict: Verdict::WrongUsage,
    }
}

/// The worked example as it is typed.
pub(super) fn call(calculation: &Calculation) -> String {
    let mut text = format!("calc {}", calculation.name);
    for argument in calculation.example.arguments {
        if argument.contains(' ') {
            let _ = write!(text, " \"{argument}\"");
        } else {
            let _ = write!(text, " {argument}");
        }
    }
    text
}

fn answer_json(
    calculation: &Calculation,
    inputs: &[(&'static str, String)],
    answer: &Answer,
) -> String {
    let mut object = Map::new();
    for (field, value) in answer.results() {
        let value = match value {
            Value::Number(number) => json!(number),
            Value::Numbers(numbers) => json!(numbers),
            Value::Nothing => json!(null),
            Value::Word(word) => json!(word),
            Value::Text(text) => json!(text),
            Value::Truth(truth) => json!(truth),
        };
        object.insert(field.key.to_owned(), value);
    }
    let inputs: Map<_, _> = inputs
        .iter()
        .map(|(name, text)| ((*name).to_owned(), json!(text)))
        .collect();
    object.insert("calculation".to_owned(), json!(calculation.name));
    object.insert("source".to_owned(), json!(calculation.source));
    object.insert("inputs".to_owned(), json!(inputs));
    if !calculation.cautions.is_empty() {
        object.insert("cautions".to_owned(), json!(calculation.cautions));
    }
    serde_json::Value::Object(object).to_string()
}

fn answer_text(
    calculation: &Calculation,
    inputs: &[(&'static str, String)],
    answer: &Answer,
) -> String {
    let given: Vec<_> = inputs
        .iter()
        .map(|(name, text)| [*name, text.as_str(), ""].map(str::to_owned))
        .collect();
    let results: Vec<_> = answer
        .results()
        .iter()
        .map(|(field, value)| line(field, value))
        .collect();
    let mut text = format!("{}: {}\n", calculation.name, calculation.purpose);
    let names = given.iter().chain(&results).map(|[name, ..]| width(name));
    let names = names.max().unwrap_or(0);
    let _ = write!(text, "\ngiven\n{}", table(&given, names, 0));
    let numbers = results.iter().zip(answer.results());
    let numbers = numbers
        .filter(|(_, (_, value))| !matches!(value, Value::Numbers(_)))
        .map(|([_, number, _], _)| width(number));
    let numbers = numbers.max().unwrap_or(0);
    let _ = write!(text, "\nresult\n{}", table(&results, names, numbers));
    let _ = write!(
        text,
        "\nformula  {}\nsource   {}",
        calculation.formula, calculation.source
    );
    if !calculation.cautions.is_empty() {
        let _ = write!(text, "\n\ncautions");
        for caution in calculation.cautions {
            let _ = write!(text, "\n  - {caution}");
        }
    }
    text
}

/// Name, value and unit of one result.
fn line(field: &Field, value: &Value) -> [String; 3] {
    // Adding nought turns a negative nought into a plain one.
    let rounded = |number: &f64| format!("{:.*}", field.decimals, number + 0.0);
    let (shown, unit) = match value {
        Value::Number(number) => (rounded(number), field.unit),
        Value::Numbers(numbers) => {
            let shown: Vec<_> = numbers.iter().map(rounded).collect();
            (shown.join(", "), field.unit)
        }
        Value::Text(text) => (text.clone(), field.unit),
        Value::Nothing => ("none".to_owned(), ""),
        Value::Word(word) => (word.replace('_', " "), ""),
        Value::Truth(true) => ("yes".to_owned(), ""),
        Value::Truth(false) => ("no".to_owned(), ""),
    };
    [field.label.to_owned(), shown, unit.to_owned()]
}

/// Lines of a name, padded to `names`, and a value, pushed right to `values`; a
/// series is longer, and begins where the values do.
fn table(lines: &[[String; 3]], names: usize, values: usize) -> String {
    lines
        .iter()
        .fold(String::new(), |mut text, [name, value, unit]| {
            let line = format!("  {name:names$}  {value:>values$} {unit}");
            let _ = writeln!(text, "{}", line.trim_end());
            text
        })
}

/// Columns that a text takes.
fn width(text: &str) -> usize {
    text.chars().count()
}
