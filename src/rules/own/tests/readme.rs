//! The README tells people every value and function, as they are.

use super::*;
use crate::rules::own::functions::Origin;

const README: &str = include_str!("../../../../README.md");

#[test]
fn every_value_is_told() {
    let rows = OwnName::ALL.iter().map(|name| {
        let OwnName {
            name: written,
            unit,
            what,
            ..
        } = name;
        let kind = name.kind();
        format!("| `{written}` | {kind} | {unit} | {what} |\n")
    });
    let table: String = rows.collect();
    assert!(
        README.contains(&table),
        "the README lacks this table:\n{table}"
    );
}

#[test]
fn every_function_is_told() {
    let rows = OwnFunction::ALL.iter().map(|function| {
        let from = match function.from {
            Origin::Language => "the language",
            Origin::Extension => "its extension for mathematics",
            Origin::Here => "ours",
        };
        let OwnFunction {
            name, takes, what, ..
        } = function;
        format!("| `{name}(…)` | {takes} | {what} | {from} |\n")
    });
    let table: String = rows.collect();
    assert!(
        README.contains(&table),
        "the README lacks this table:\n{table}"
    );
    for entry in OwnEntry::ALL {
        assert!(README.contains(&format!("`{}`", entry.name())));
    }
}

/// Every rule of the README's examples can be compiled.
#[test]
fn the_examples_are_right() {
    let (_, section) = README.split_once("## Own rules").unwrap();
    let (section, _) = section.split_once("\n## ").unwrap();
    let rules: Vec<_> = section
        .lines()
        .filter_map(|line| line.strip_prefix("when = '")?.strip_suffix('\''))
        .collect();
    assert_eq!(rules.len(), 3);
    for rule in rules {
        assert!(compile(rule).is_ok(), "{rule}");
    }
}
