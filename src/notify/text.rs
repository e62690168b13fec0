//! The words of a message, fit for a phone: first line sump, what, how bad;
//! then what to do in litres; then why; then cautions.

use std::fmt::Write;

use crate::advice::{Advice, Dose};
use crate::alarm::Transition;
use crate::engine::{AlarmLine, LimitLevel, Outcome};
use crate::rules::Condition;
use crate::units::{Measured, Quantity, Timestamp};

/// An alarm in words.
pub fn alarm_text(title: &str, time: Timestamp, line: &AlarmLine) -> String {
    let since = line.since;
    let lasted = time - since;
    match line.transition {
        Transition::Raised => {
            let mut text = format!(
                "{title}: {}\nSince {since} ({lasted}), priority {}.",
                headline(line),
                priority(line)
            );
            if let Some(advice) = &line.advice {
                text.push('\n');
                text.push_str(&advice_lines(advice));
            }
            text
        }
        Transition::Acknowledged => {
            let by = line.by.as_deref().unwrap_or("somebody");
            format!(
                "{title}: ACKNOWLEDGED by {by}: {}\nAt {time}; since {since}.",
                headline(line)
            )
        }
        Transition::Unacknowledged => {
            let by = line.by.as_deref().unwrap_or("somebody");
            format!(
                "{title}: acknowledgement TAKEN BACK by {by}: {}\nAt {time}; since {since}.",
                headline(line)
            )
        }
        Transition::Returned => {
            let value = value_in_window(line).unwrap_or_default();
            format!(
                "{title}: back to normal: {}{value}\nAt {time}, after {lasted}.",
                subject(&line.condition)
            )
        }
    }
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
    let value = value_in_window(line).unwrap_or_default();
    format!("{}{value}", what(&line.condition))
}

/// The value with its unit and window, for limits; begins with a comma.
fn value_in_window(line: &AlarmLine) -> Option<String> {
    let Condition::Limit(quantity, _) = &line.condition else {
        return None;
    };
    let number = |x: f64| number(*quantity, x);
    let unit = quantity.unit();
    let decimals = quantity.decimals();
    let value = format!(", {:.decimals$} {unit}", line.value?);
    Some(match line.window {
        Some((Some(low), Some(high))) => {
            format!(
                "{value} (window {} to {} {unit})",
                number(low),
                number(high)
            )
        }
        Some((Some(low), None)) => format!("{value} (wanted from {} {unit})", number(low)),
        Some((None, Some(high))) => format!("{value} (wanted up to {} {unit})", number(high)),
        _ => value,
    })
}

/// What the condition is about.
fn subject(condition: &Condition) -> String {
    match condition {
        Condition::Limit(Quantity::Volume, _) => "level".to_owned(),
        Condition::Limit(Quantity::Ph, _) => "pH".to_owned(),
        Condition::Limit(quantity, _) => quantity.name().replace('_', " "),
        Condition::Silent(channel) | Condition::Disagrees(channel) => format!("{channel} probe"),
    }
}

fn what(condition: &Condition) -> String {
    let subject = subject(condition);
    let how = match condition {
        Condition::Limit(_, LimitLevel::LowLow) => "MUCH TOO LOW",
        Condition::Limit(_, LimitLevel::Low) => "TOO LOW",
        Condition::Limit(_, LimitLevel::High) => "TOO HIGH",
        Condition::Limit(_, LimitLevel::HighHigh) => "MUCH TOO HIGH",
        Condition::Silent(_) => "SILENT, no usable reading",
        Condition::Disagrees(_) => "DOUBTED, it and the hand reading disagree",
    };
    format!("{subject} {how}")
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
        let _ = writeln!(text, "- {step}");
    }
    for caution in &advice.cautions {
        let _ = writeln!(text, "Caution: {}", caution.words());
    }
    text.truncate(text.trim_end().len());
    text
}

fn dose_lines(dose: &Dose) -> String {
    let mut text = String::from("Do: check by hand first. ");
    if dose.drain_l > 0.0 {
        let _ = write!(
            text,
            "Shut any automatic top-up until this is done. Drain {} L. ",
            litres(dose.drain_l)
        );
    }
    if dose.concentrate_l > 0.0 {
        let _ = writeln!(
            text,
            "Add {} L of premix of {:.1} %: {} L concentrate stirred into {} L water.",
            litres(dose.premix_l),
            dose.premix_strength_pct,
            litres(dose.concentrate_l),
            litres(dose.water_l),
        );
    } else {
        let _ = writeln!(text, "Add {} L of water.", litres(dose.water_l));
    }
    if let Some(most) = dose.stop_at_l {
        let _ = writeln!(
            text,
            "Watch the level while you add; stop at {most:.0} L at the latest."
        );
    }
    if let Some(note) = &dose.mixing_note {
        let _ = writeln!(text, "Mixing: {note}");
    }
    if let Some(limit) = dose.limited_to_pct {
        let _ = writeln!(
            text,
            "There is too little room for a premix of at most {limit:.0} %, hence the drain; waiting for losses and topping up strong saves it.",
        );
    }
    let rich = dose.concentration_pct.value > dose.target_concentration_pct;
    if dose.drain_l > 0.0 && rich {
        text.push_str(
            "Without waste but slower: top up with water alone until it has come down.\n",
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
