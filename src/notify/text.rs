//! The words of a message, fit for a phone: first line sump, what, how bad;
//! then what to do in litres; then why; then cautions.

use std::fmt::Write;

use crate::advice::{Advice, Dose, Measured};
use crate::alarm::Transition;
use crate::engine::{AlarmLine, LimitLevel, Outcome};
use crate::rules::Condition;
use crate::units::{Quantity, Timestamp};

/// An alarm in words.
pub fn alarm_text(title: &str, time: Timestamp, line: &AlarmLine) -> String {
    let mut text = format!("{title}: {}", headline(line));
    let since = line.since;
    let lasted = time - since;
    match line.transition {
        Transition::Raised => {
            let _ = write!(
                text,
                "\nSince {since} ({lasted}), priority {}.",
                priority(line)
            );
            if let Some(advice) = &line.advice {
                text.push('\n');
                text.push_str(&advice_lines(advice));
            }
        }
        Transition::Acknowledged => {
            let by = line.by.as_deref().unwrap_or("somebody");
            let _ = write!(text, "\nAcknowledged by {by} at {time}; since {since}.");
        }
        Transition::Returned => {
            let _ = write!(text, "\nBack to normal at {time}, after {lasted}.");
        }
    }
    text
}

/// Advice that comes by itself, in words.
pub fn advice_text(title: &str, advice: &Advice) -> String {
    format!(
        "{title}: {}\n{}",
        what(&advice.condition),
        advice_lines(advice)
    )
}

/// What came of a dose, in words.
pub fn outcome_text(title: &str, outcome: &Outcome) -> String {
    let expected = with_uncertainty(outcome.expected_concentration_pct);
    let Some(now) = outcome.concentration_pct else {
        return format!(
            "{title}: dose mixed in, but the concentration is not known; expected {expected} %. Read it by hand."
        );
    };
    let now = with_uncertainty(now);
    match outcome.as_expected {
        Some(true) => {
            format!("{title}: dose worked, {now} % now, {expected} % expected. Re-check by hand.")
        }
        _ => format!(
            "{title}: dose missed, {now} % now, {expected} % expected. Read it by hand; then look at the amounts added, the sump's volume in the settings, the mixer and the refractive factor."
        ),
    }
}

fn headline(line: &AlarmLine) -> String {
    let mut text = what(&line.condition);
    if let (Condition::Limit(quantity, _), Some(value)) = (&line.condition, line.value) {
        let number = |x: f64| number(*quantity, x);
        let unit = quantity.unit();
        let _ = write!(text, ", {} {unit}", number(value));
        match line.window {
            Some((Some(low), Some(high))) => {
                let _ = write!(text, " (window {} to {} {unit})", number(low), number(high));
            }
            Some((Some(low), None)) => {
                let _ = write!(text, " (wanted from {} {unit})", number(low));
            }
            Some((None, Some(high))) => {
                let _ = write!(text, " (wanted up to {} {unit})", number(high));
            }
            _ => {}
        }
    }
    text
}

fn what(condition: &Condition) -> String {
    match condition {
        Condition::Limit(quantity, level) => {
            let name = if *quantity == Quantity::Volume {
                "level"
            } else {
                quantity.name()
            };
            let name = if *quantity == Quantity::Ph {
                "pH"
            } else {
                name
            };
            let how = match level {
                LimitLevel::LowLow => "MUCH TOO LOW",
                LimitLevel::Low => "TOO LOW",
                LimitLevel::High => "TOO HIGH",
                LimitLevel::HighHigh => "MUCH TOO HIGH",
            };
            format!("{name} {how}")
        }
        Condition::Silent(channel) => format!("{channel} probe SILENT, no usable reading"),
        Condition::Disagrees(channel) => {
            format!("{channel} probe DOUBTED, it and the hand reading disagree")
        }
    }
}

fn priority(line: &AlarmLine) -> &'static str {
    match line.priority {
        crate::alarm::Priority::Low => "low: within the day",
        crate::alarm::Priority::Medium => "medium: within the shift",
        crate::alarm::Priority::High => "high: now",
    }
}

fn advice_lines(advice: &Advice) -> String {
    let mut text = String::new();
    if let Some(dose) = &advice.dose {
        text.push_str(&dose_lines(dose));
    }
    if let Some(withheld) = &advice.withheld {
        text.push_str(&withheld.words());
        text.push('\n');
    }
    for step in &advice.look_at {
        let _ = writeln!(text, "Look: {step}");
    }
    for caution in &advice.cautions {
        let _ = writeln!(text, "Caution: {}", caution.words());
    }
    text.truncate(text.trim_end().len());
    text
}

fn dose_lines(dose: &Dose) -> String {
    let mut text = String::from("Do: check by hand first. Then ");
    if dose.drain_l > 0.0 {
        let _ = write!(text, "drain {} L and ", litres(dose.drain_l));
    }
    if dose.concentrate_l > 0.0 {
        let _ = writeln!(
            text,
            "add {} L of premix of {:.1} %: {} L concentrate stirred into {} L water.",
            litres(dose.premix_l),
            dose.premix_strength_pct,
            litres(dose.concentrate_l),
            litres(dose.water_l),
        );
    } else {
        let _ = writeln!(text, "add {} L of water.", litres(dose.water_l));
    }
    if let Some(limit) = dose.limited_to_pct {
        let _ = writeln!(
            text,
            "There is too little room for a premix of at most {limit:.0} %, hence the drain; waiting for losses and topping up strong saves it.",
        );
    }
    let _ = writeln!(
        text,
        "Expect {} % at {:.0} L. Let it mix {:.0} min with the pumps running, then re-check by hand and enter the reading.",
        with_uncertainty(dose.expected_concentration_pct),
        dose.expected_volume_l,
        dose.mixing_min,
    );
    let assumed = if dose.volume_assumed {
        " (from the settings, not measured)"
    } else {
        ""
    };
    let _ = writeln!(
        text,
        "Why: from {:.0} L{assumed} at {} % to {:.0} L at {:.1} %, by mass balance.",
        dose.volume_l.value,
        with_uncertainty(dose.concentration_pct),
        dose.target_volume_l,
        dose.target_concentration_pct,
    );
    text
}

/// Two standard deviations, as people read a ± (about 95 %).
fn with_uncertainty(measured: Measured) -> String {
    format!("{:.1} ± {:.1}", measured.value, 2.0 * measured.uncertainty)
}

fn litres(amount: f64) -> String {
    let rounded = (amount * 100.0).round() / 100.0;
    format!("{rounded}")
}

fn number(quantity: Quantity, value: f64) -> String {
    let decimals = match quantity {
        Quantity::Concentration => 1,
        other => other.decimals(),
    };
    format!("{value:.decimals$}")
}
