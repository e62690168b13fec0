//! What can be calculated.

use std::fmt::Write;

use serde_json::{Map, Value, json};

use super::parameter::{Declared, Need};
use super::{Calculation, REGISTRY, print};

/// Every calculation with its parameters, results, source and a worked
/// example: lines of text, or one JSON array.
pub fn list(json: bool) -> String {
    if json {
        Value::Array(REGISTRY.iter().map(|it| as_json(it)).collect()).to_string()
    } else {
        let texts: Vec<_> = REGISTRY.iter().map(|it| as_text(it)).collect();
        texts.join("\n\n")
    }
}

/// What there is to say of one calculation; none where there is none of this
/// name.
pub fn about(name: &str) -> Option<String> {
    let calculation = REGISTRY.iter().find(|one| one.name == name)?;
    let cautions = calculation.cautions.iter();
    let cautions: String = cautions
        .map(|words| format!("\n  caution  {words}"))
        .collect();
    Some(format!("{}{cautions}", as_text(calculation)))
}

fn as_text(calculation: &Calculation) -> String {
    let mut text = format!("{}: {}", calculation.name, calculation.purpose);
    for parameter in calculation.parameters {
        let need = match parameter.need() {
            Need::Required => String::new(),
            Need::Optional => "; optional".to_owned(),
            Need::Default(default) => format!("; {default} if left out"),
        };
        let _ = write!(
            text,
            "\n  {:22}{} ({}{need})",
            parameter.name(),
            parameter.about(),
            parameter.allowed()
        );
    }
    let keys: Vec<_> = calculation.results.iter().map(|field| field.key).collect();
    let _ = write!(
        text,
        "\n  gives    {}\n  formula  {}\n  source   {}\n  example  {}",
        keys.join(", "),
        calculation.formula,
        calculation.source,
        print::call(calculation)
    );
    text
}

fn as_json(calculation: &Calculation) -> Value {
    let parameters: Vec<_> = calculation
        .parameters
        .iter()
        .map(|parameter| parameter_json(*parameter))
        .collect();
    let results: Vec<_> = calculation
        .results
        .iter()
        .map(|field| json!({ "name": field.key, "label": field.label, "unit": field.unit }))
        .collect();
    let gives: Map<_, _> = calculation
        .example
        .results
        .iter()
        .map(|(key, number)| ((*key).to_owned(), json!(number)))
        .collect();
    json!({
        "name": calculation.name,
        "purpose": calculation.purpose,
        "parameters": parameters,
        "results": results,
        "formula": calculation.formula,
        "source": calculation.source,
        "cautions": calculation.cautions,
        "example": { "arguments": calculation.example.arguments, "results": gives },
    })
}

fn parameter_json(parameter: &dyn Declared) -> Value {
    let default = match parameter.need() {
        Need::Default(default) => Some(default),
        Need::Required | Need::Optional => None,
    };
    json!({
        "name": parameter.name(),
        "about": parameter.about(),
        "allowed": parameter.allowed(),
        "required": parameter.need() == Need::Required,
        "default": default,
    })
}
