//! The check plan as people write it.

use super::{read, told};
use crate::engine::{Begins, Check, PlannedCheck, Rule};
use crate::units::Span;

fn plan(extra: &str) -> Vec<PlannedCheck> {
    let settings = read(extra).unwrap_or_else(|e| panic!("{e}"));
    let rules = settings.sumps[0].rules.iter();
    rules
        .filter_map(|setup| match setup.rule {
            Rule::Overdue(planned) => Some(planned),
            _ => None,
        })
        .collect()
}

fn days(plan: &[PlannedCheck], check: Check) -> Option<i64> {
    let planned = plan.iter().find(|one| one.check == check)?;
    Some(planned.every.millis() / Span::from_hours(24).millis())
}

#[test]
fn by_itself_only_what_every_plant_does_is_asked_for() {
    let plan = plan("");
    let asked: Vec<Check> = plan
        .iter()
        .filter(|one| one.begins != Begins::OnceMade)
        .map(|one| one.check)
        .collect();
    assert_eq!(asked, [Check::Concentration, Check::Ph, Check::CleanOut]);
    assert_eq!(days(&plan, Check::Look), None);
    assert_eq!(days(&plan, Check::Mixer), None);
    assert_eq!(days(&plan, Check::Nitrite), Some(7));
}

#[test]
fn a_probe_is_compared_less_often_than_what_has_none() {
    let with = plan("");
    assert_eq!(days(&with, Check::Concentration), Some(28));
    assert_eq!(days(&with, Check::Ph), Some(7));
    let ph = "[sump.cell-a.channel.ph]\nquantity = \"ph\"\ntopic = \"cells/a/ph\"\n";
    assert_eq!(days(&plan(ph), Check::Ph), Some(28));
    let other = "[checks]\nconcentration_inline = \"14 d\"\nconcentration = \"1 d\"\n";
    assert_eq!(days(&plan(other), Check::Concentration), Some(14));
}

#[test]
fn a_plan_can_be_switched_off_as_a_whole_and_check_by_check() {
    assert_eq!(plan("checks = false\n"), []);
    assert_eq!(plan("[sump.cell-a]\nchecks = false\n"), []);
    assert_eq!(plan("[sump.cell-a]\nrules = { overdue = false }\n"), []);
    let own = plan("checks = false\n[sump.cell-a.checks]\nph = false\n");
    assert_eq!(days(&own, Check::Ph), None);
    assert_eq!(days(&own, Check::CleanOut), Some(365));
}

#[test]
fn a_sump_says_over_the_plant_what_it_says_at_all() {
    let both = "[checks]\nph = \"3 d\"\nnitrite = \"2 d\"\nonce_made = []\nspread = false\n\
                [sump.cell-a.checks]\nph = \"2 d\"\n";
    let plan = plan(both);
    assert_eq!(days(&plan, Check::Ph), Some(2));
    assert_eq!(days(&plan, Check::Nitrite), Some(2));
    assert!(plan.iter().all(|one| one.begins == Begins::AtStart));
    let stretched = plan.iter().filter(|one| one.stretched.is_some());
    let stretched: Vec<Check> = stretched.map(|one| one.check).collect();
    assert_eq!(stretched, [Check::Nitrite]);
}

#[test]
fn what_is_wrong_with_a_plan_is_told() {
    told(
        "[checks]\nph = \"10 min\"\nonce_made = [\"nitrit\"]\n",
        &[
            "z.toml:2:6: checks.ph: 10 min is not allowed; allowed is 1 h to 3650 d",
            "z.toml:3:14: checks.once_made[0]: \"nitrit\" is not one of them; did you mean \"nitrite\"?",
        ],
    );
}
