//! The rules of the published test plans: checks that are overdue, and the
//! steps of nitrite and of the fall of pH.

use crate::engine::{PlanStep, PlannedCheck, Priority, Rule, RuleSetup};
use crate::units::Span;

use super::key_path::KeyPath;
use super::raw_rules::RawRules;
use super::review::Review;
use super::rules::{Standard, behaviour};

/// What was over for less comes back as the same alarm. (choice)
const SETTLES: Span = Span::from_mins(30);
/// What the plan has within days. (choice)
const WITHIN_DAYS: Standard = Standard {
    priority: Priority::Low,
    on: Span::ZERO,
    off: SETTLES,
};
/// What it has somebody do. (choice)
const TO_DO: Standard = Standard {
    priority: Priority::Medium,
    on: Span::ZERO,
    off: SETTLES,
};
/// pH is let scatter for so long. (choice)
const SCATTER: Span = Span::from_mins(60);

/// The rules of a sump with this check plan.
pub(super) fn rules(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawRules,
    plan: Vec<PlannedCheck>,
) -> Option<Vec<RuleSetup>> {
    let overdue = behaviour(
        review,
        &at.key("overdue"),
        raw.overdue.as_ref(),
        &WITHIN_DAYS,
    );
    // What is worse comes first: it suppresses the other before that is told.
    let steps = [
        (
            "nitrite_act",
            &raw.nitrite_act,
            Rule::Nitrite(PlanStep::Act),
            TO_DO,
        ),
        (
            "nitrite_watch",
            &raw.nitrite_watch,
            Rule::Nitrite(PlanStep::Watch),
            WITHIN_DAYS,
        ),
        (
            "ph_drop_act",
            &raw.ph_drop_act,
            Rule::PhDrop(PlanStep::Act),
            Standard {
                on: SCATTER,
                ..TO_DO
            },
        ),
        (
            "ph_drop_watch",
            &raw.ph_drop_watch,
            Rule::PhDrop(PlanStep::Watch),
            Standard {
                on: SCATTER,
                ..WITHIN_DAYS
            },
        ),
    ]
    .map(|(key, raw, rule, standard)| {
        let behaviour = behaviour(review, &at.key(key), raw.as_ref(), &standard)?;
        Some(behaviour.map(|behaviour| behaviour.of(rule)))
    });
    let overdue = overdue?;
    let overdue = plan.into_iter().filter_map(|planned| {
        let behaviour = overdue?;
        Some(behaviour.of(Rule::Overdue(planned)))
    });
    let steps: Option<Vec<Option<RuleSetup>>> = steps.into_iter().collect();
    Some(steps?.into_iter().flatten().chain(overdue).collect())
}
