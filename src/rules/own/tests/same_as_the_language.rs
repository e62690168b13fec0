//! What a rule says is what the library for the language says of the same text
//! and the same values.

use std::sync::Arc;

use cel::{Context, Env, Value, extensions};
use proptest::prelude::*;

use super::properties::{rule, some_inputs};
use super::*;

/// What the library says; nothing where it cannot.
fn library(text: &str, inputs: &OwnInputs) -> Option<bool> {
    let mut env = Env::stdlib();
    env.add_extension(extensions::math).unwrap();
    let env = Arc::new(env);
    // A value that is not there has no name there, so that it cannot be asked.
    let has = inputs.redox.is_some().to_string();
    let program = env
        .compile(&text.replace("has_value(redox)", &has))
        .unwrap();
    let mut context = Context::with_env(env);
    for name in OwnName::ALL {
        match name.read.read(inputs) {
            Some(OwnValue::Number(number)) => context.add_variable_from_value(name.name, number),
            Some(OwnValue::Whole(whole)) => context.add_variable_from_value(name.name, whole),
            Some(OwnValue::Truth(truth)) => context.add_variable_from_value(name.name, truth),
            Some(OwnValue::Word(word)) => context.add_variable_from_value(name.name, word),
            None => {}
        }
    }
    let active = inputs.active.clone();
    let is_active = move |name: Arc<String>| active.iter().any(|one| **one == **name);
    context.add_function("active", is_active).unwrap();
    if let Some(minutes) = inputs.since_reading[Quantity::Ph as usize] {
        let since = move |_: Arc<String>| minutes;
        context
            .add_function("minutes_since_reading", since)
            .unwrap();
    }
    match program.execute(&context) {
        Ok(Value::Bool(truth)) => Some(truth),
        _ => None,
    }
}

/// What the rule says, or why not.
fn ours(text: &str, inputs: &OwnInputs) -> Option<Result<bool, OwnLack>> {
    let verdict = compile(text).ok()?.verdict(inputs);
    Some(match verdict.lack {
        Some(lack) => Err(lack),
        None => Ok(verdict.verdict == Verdict::Outside),
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(512))]
    #[test]
    fn well_made_rules(text in rule(), inputs in some_inputs()) {
        let library = library(&text, &inputs);
        match ours(&text, &inputs) {
            Some(Ok(truth)) => prop_assert_eq!(library, Some(truth)),
            // Doubles divided by zero are infinite in the language; here they
            // say nothing.
            Some(Err(_)) => prop_assert!(library.is_none() || text.contains('/')),
            None => {}
        }
    }
}

#[test]
fn what_is_told_of_doubles_divided_by_zero_is_so() {
    let text = "volume / carry_off > 1.0";
    assert_eq!(library(text, &inputs()), Some(true));
    assert_eq!(ours(text, &inputs()), Some(Err(OwnLack::DividedByZero)));
}
