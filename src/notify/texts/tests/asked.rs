//! What a rule of the plant's own looked at, as people read it.

use std::sync::Arc;

use super::super::{sample, sample_alarms};
use super::*;
use crate::advice::VolumeUnit;
use crate::alarm::Transition;
use crate::engine::{AlarmEvidence, AlarmLine, OwnWords};
use crate::rules::Condition;

fn why(language: &str) -> String {
    let evidence = AlarmEvidence {
        values: Vec::new(),
        asked: sample_alarms::asked(),
        trend: None,
        causes: Vec::new(),
    };
    let words = OwnWords {
        title: "Smell".to_owned(),
        message: None,
        look_at: Vec::new(),
    };
    let condition = Condition::Own("smell".into());
    let line = AlarmLine {
        own: Some(Arc::new(words)),
        evidence: Some(Box::new(evidence)),
        ..sample_alarms::alarm(condition, Transition::Raised)
    };
    let about = sample::about(VolumeUnit::Litre);
    let text = told(&built_in(), language, &about, &Told::Alarm(&line));
    text.lines().last().unwrap_or_default().to_owned()
}

#[test]
fn an_alarm_of_an_own_rule_says_what_the_rule_looked_at() {
    assert_eq!(
        why("en"),
        "Why: ph 8.42, minutes_since_reading(\"brix\") 61.0 min, concentration not there, pumps_run no, in_shift yes, hour 14, weekday fri, volume 700 L, 2 more values, since 14:05 CET (20 min)."
    );
    assert_eq!(
        why("de"),
        "Grund: ph 8,42, minutes_since_reading(\"brix\") 61,0 min, concentration nicht vorhanden, pumps_run nein, in_shift ja, hour 14, weekday fri, volume 700 L, 2 weitere Werte, seit 14:05 MEZ (20 min)."
    );
}
