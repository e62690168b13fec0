//! What stands behind | in layouts and sentences.

use minijinja::value::{Object, Value};
use minijinja::{Environment, Error, ErrorKind, State};

use crate::units::{Measured, Span, Timestamp};

use super::form::Form;

/// The name under which a message's form is kept among its values.
pub(super) const FORM: &str = "form";

/// Every filter of ours, for complaints.
pub(super) const NAMES: [&str; 18] = [
    "about",
    "amount",
    "at_most",
    "bound",
    "change",
    "days",
    "loss",
    "money",
    "number",
    "plain",
    "plus_minus",
    "reading",
    "rough",
    "signed",
    "span",
    "time",
    "upper_first",
    "whole",
];

impl Object for Form {}

/// Adds them all.
pub(super) fn add(env: &mut Environment<'static>) {
    env.add_filter("number", |state: &State, x: f64, decimals: usize| {
        form(state, |form| form.number(x, bounded(decimals)))
    });
    env.add_filter("signed", |state: &State, x: f64, decimals: usize| {
        form(state, |form| form.signed(x, bounded(decimals)))
    });
    env.add_filter("plus_minus", |state: &State, x: Value, decimals: usize| {
        let x = measured(&x)?;
        form(state, |form| form.plus_minus(x, bounded(decimals)))
    });
    env.add_filter("reading", |state: &State, x: f64, unit: &str| {
        form(state, |form| form.reading(x, unit))
    });
    env.add_filter("bound", |state: &State, x: f64, unit: &str| {
        form(state, |form| form.bound(x, unit))
    });
    of_litres(env, "amount", Form::amount);
    of_litres(env, "plain", Form::plain);
    of_litres(env, "whole", Form::whole);
    of_litres(env, "at_most", Form::at_most);
    of_litres(env, "rough", Form::rough);
    of_litres(env, "change", Form::change);
    of_measured(env, "about", Form::about);
    of_measured(env, "loss", Form::loss);
    of_measured(env, "days", Form::days);
    env.add_filter("span", |state: &State, millis: i64| {
        form(state, |form| form.span(Span::from_millis(millis)))
    });
    env.add_filter("time", |state: &State, text: &str| {
        let time = Timestamp::parse(text).map_err(wrong)?;
        form(state, |form| form.time(time))?.map_err(wrong)
    });
    env.add_filter("money", |state: &State, cost: Value| {
        let amount = f64::try_from(cost.get_attr("amount")?)?;
        let currency = cost.get_attr("currency")?;
        form(state, |form| {
            format!("{} {currency}", form.number(amount, 2))
        })
    });
    env.add_filter("upper_first", |text: &str| {
        let mut letters = text.chars();
        let first = letters.next().into_iter().flat_map(char::to_uppercase);
        first.chain(letters).collect::<String>()
    });
}

fn of_litres(env: &mut Environment<'static>, name: &'static str, write: fn(&Form, f64) -> String) {
    env.add_filter(name, move |state: &State, litres: f64| {
        form(state, |form| write(form, litres))
    });
}

fn of_measured(
    env: &mut Environment<'static>,
    name: &'static str,
    write: fn(&Form, Measured) -> String,
) {
    env.add_filter(name, move |state: &State, x: Value| {
        let x = measured(&x)?;
        form(state, |form| write(form, x))
    });
}

fn form<T>(state: &State, write: impl FnOnce(&Form) -> T) -> Result<T, Error> {
    let value = state.lookup(FORM);
    let form = value.as_ref().and_then(Value::downcast_object_ref::<Form>);
    let form = form.ok_or_else(|| wrong("the name form is taken; give the value another name"))?;
    Ok(write(form))
}

/// A value with its uncertainty.
fn measured(value: &Value) -> Result<Measured, Error> {
    let part = |name: &str| {
        let part = value.get_attr(name)?;
        f64::try_from(part).map_err(|_| {
            wrong("this is no value with its uncertainty; for a plain number use number(1)")
        })
    };
    Ok(Measured::new(part("value")?, part("uncertainty")?))
}

/// No number has more decimals than these.
fn bounded(decimals: usize) -> usize {
    decimals.min(9)
}

fn wrong(what: impl ToString) -> Error {
    Error::new(ErrorKind::InvalidOperation, what.to_string())
}
