//! The words of a message, fit for a phone: first line sump, what, how bad;
//! then what to do in litres; then why; then cautions.

use std::fmt::Write;

use crate::advice::{Advice, Dose, DoseOption, Judgement, MixerCheck, Way, waiting};
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
        Transition::RaisedAgain
        | Transition::Reset
        | Transition::Shelved
        | Transition::Unshelved
        | Transition::Suppressed
        | Transition::Unsuppressed
        | Transition::TakenOutOfService
        | Transition::PutIntoService => changed(title, time, line),
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

/// An alarm that took another step than those of its plain life.
fn changed(title: &str, time: Timestamp, line: &AlarmLine) -> String {
    let how = match line.transition {
        Transition::RaisedAgain => "STILL",
        Transition::Reset => "reset",
        Transition::Shelved => "SHELVED",
        Transition::Suppressed => "suppressed",
        Transition::TakenOutOfService => "OUT OF SERVICE",
        Transition::PutIntoService => "back in service",
        _ => "told again",
    };
    let mut text = format!("{title}: {how}: {}\nAt {time}", headline(line));
    if let Some(by) = &line.by {
        let _ = write!(text, " by {by}");
    }
    if let Some(until) = line.until {
        let _ = write!(text, ", until {until}");
    }
    if let Some(reason) = &line.reason {
        let _ = write!(text, ": {reason}");
    }
    text.push('.');
    if let Some(advice) = &line.advice {
        text.push('\n');
        text.push_str(&advice_lines(advice));
    }
    text
}

/// Advice that comes by itself, in words.
pub fn advice_text(title: &str, advice: &Advice) -> String {
    let next_step = advice.dose.as_ref().filter(|dose| dose.step > 1);
    let what = match next_step {
        Some(dose) => format!("next step, {} of about {}", dose.step, dose.steps),
        None => what(&advice.condition),
    };
    format!("{title}: {what}\n{}", advice_lines(advice))
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
    match (outcome.as_expected, &outcome.judgement) {
        (Some(true), _) => {
            format!("{title}: dose worked, {now} % now, {expected} % expected. Re-check by hand.")
        }
        (Some(false), Some(judged)) => {
            format!(
                "{title}: dose MISSED, {now} % now, {expected} % expected.\n{}",
                miss_lines(judged)
            )
        }
        _ => {
            format!("{title}: dose mixed in, {now} % now, {expected} % expected. Re-check by hand.")
        }
    }
}

/// What the outlet of a mixer gave, in words.
pub fn mixer_text(title: &str, check: &MixerCheck) -> String {
    format!("{title}: {}", check.words())
}

/// What a miss asks for, and what it may mean.
fn miss_lines(judged: &Judgement) -> String {
    let off = judged.deviation_pct;
    let how = if off > 0.0 { "stronger" } else { "weaker" };
    let mut text = format!(
        "Do: read it by hand before anything else is added, and enter the reading.\nWhy: {:.1} points {how} than reckoned, where {:.1} are usual.",
        off.abs(),
        judged.deviation_sigma_pct,
    );
    if !judged.causes.is_empty() {
        text.push_str(" It may mean, likeliest first:");
    }
    for cause in &judged.causes {
        let _ = write!(text, "\n- {}", cause.words());
    }
    text
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
        Condition::Silent(channel)
        | Condition::Disagrees(channel)
        | Condition::Instrument(channel) => format!("{channel} probe"),
        Condition::Loss | Condition::Gain => "fluid".to_owned(),
        Condition::DoseMissed => "dose".to_owned(),
        Condition::Contradicted => "entry".to_owned(),
        Condition::Mixer => "mixer".to_owned(),
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
        Condition::Instrument(_) => "NEEDS A LOOK",
        Condition::Loss => "LOST beyond what is usual",
        Condition::Gain => "RUNS IN and nobody wrote it down",
        Condition::DoseMissed => "MISSED what was reckoned",
        Condition::Contradicted => "CONTRADICTED by the readings",
        Condition::Mixer => "gives another strength than it is set to",
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
    let mut text = match dose.options.first() {
        Some(best) => to_do(dose, best) + "\n",
        None => String::new(),
    };
    if dose.steps > 1 {
        let _ = writeln!(
            text,
            "Step {} of about {}: the next one follows once this one is mixed in and measured.",
            dose.step, dose.steps
        );
    }
    if let Some(most) = dose.stop_at_l {
        let _ = writeln!(
            text,
            "Watch the level while you add; stop at {} at the latest.",
            dose.measure.at_most(most)
        );
    }
    if let Some(note) = &dose.mixing_note {
        let _ = writeln!(text, "Mixing: {note}");
    }
    let _ = writeln!(
        text,
        "Expect {} % at {}. Let it mix {:.0} min with the pumps running, then re-check by hand and enter the reading.",
        with_uncertainty(dose.expected_concentration_pct),
        dose.measure.whole(dose.expected_volume_l),
        dose.mixing_min,
    );
    text.push_str(&why_line(dose));
    for option in dose.options.iter().skip(1) {
        let _ = writeln!(
            text,
            "Or: {} {}.",
            in_short(dose, option),
            at_what_price(dose, option)
        );
    }
    text
}

fn why_line(dose: &Dose) -> String {
    let assumed = if dose.volume_assumed {
        " (from the settings, not measured)"
    } else {
        ""
    };
    let mut text = format!(
        "Why: {}{assumed} at {} % now, {} at {:.1} % wanted; by mass balance. {}",
        dose.measure.whole(dose.volume_l.value),
        with_uncertainty(dose.concentration_pct),
        dose.measure.whole(dose.target_volume_l),
        dose.target_concentration_pct,
        dose.why,
    );
    if dose.amounts.concentrate_l > 0.0 {
        let unsure = 2.0 * dose.concentrate_uncertainty_l;
        let _ = write!(
            text,
            " The concentrate needed is known to ± {}.",
            dose.measure.rough(unsure)
        );
    }
    if let Some(cost) = dose.options.first().and_then(|best| best.cost.as_ref()) {
        let _ = write!(text, " Cost: {:.2} {}.", cost.amount, cost.currency);
    }
    text.push('\n');
    text
}

/// What to do for the recommended option, in the order of doing.
fn to_do(dose: &Dose, best: &DoseOption) -> String {
    let amounts = &best.amounts;
    let measured = |litres: f64| dose.measure.words(litres);
    let mut text = String::from("Do: check by hand first. ");
    match best.way {
        Way::LetItBe | Way::WaterAsItFalls | Way::WaitAndPremix => {
            return format!("{text}{}.", in_short(dose, best));
        }
        Way::NeatAtPoint => {
            let point = dose.dosing_point.as_deref().unwrap_or("the dosing point");
            return format!(
                "{text}Add {} of concentrate at {point}, slowly.",
                measured(amounts.concentrate_l)
            );
        }
        _ => {}
    }
    if amounts.drain_l > 0.0 {
        let _ = write!(
            text,
            "Shut any automatic top-up until this is done.\nDrain {}.\n",
            measured(amounts.drain_l)
        );
    }
    if amounts.concentrate_l > 0.0 {
        let _ = write!(
            text,
            "Add {} of premix of {:.1} %: {} concentrate stirred into {} water.",
            dose.measure.plain(amounts.premix_l),
            amounts.premix_strength_pct,
            measured(amounts.concentrate_l),
            measured(amounts.water_l),
        );
    } else {
        let _ = write!(text, "Add {} of water.", measured(amounts.water_l));
    }
    text
}

/// An option in one sentence, without its full stop.
fn in_short(dose: &Dose, option: &DoseOption) -> String {
    let amounts = &option.amounts;
    let plain = |litres: f64| dose.measure.plain(litres);
    let wait = option.wait_d.map(waiting).unwrap_or_default();
    let premix = format!(
        "{} of premix of {:.1} %",
        plain(amounts.premix_l),
        amounts.premix_strength_pct
    );
    let drain = plain(amounts.drain_l);
    let water = plain(amounts.water_l);
    match option.way {
        Way::LetItBe => "Let it be".into(),
        Way::WaterOnly | Way::WaterToMax => format!("Add {water} of water"),
        Way::Premix | Way::PremixToMax => format!("Add {premix}"),
        Way::NeatAtPoint => format!(
            "Add {} of concentrate at {}",
            plain(amounts.concentrate_l),
            dose.dosing_point.as_deref().unwrap_or("the dosing point")
        ),
        Way::DrainAndWater => format!("Drain {drain}, add {water} of water"),
        Way::DrainAndPremix => format!("Drain {drain}, add {premix}"),
        Way::WaitAndPremix => {
            format!("Wait {wait} without any top-up, then measure again and add about {premix}")
        }
        Way::WaterAsItFalls => format!(
            "Top up with water alone for {wait}, about {} in all",
            dose.measure.whole(amounts.water_l)
        ),
    }
}

/// What another option comes to: `(6.0 %, 97 L to waste, 34 min, 120.00 EUR)`.
fn at_what_price(dose: &Dose, option: &DoseOption) -> String {
    let mut parts = vec![format!("{:.1} %", option.expected_concentration_pct.value)];
    if option.steps > 1 {
        parts.push(format!("step 1 of about {}", option.steps));
    }
    parts.push(if option.waste_l > 0.0 {
        format!("{} to waste", dose.measure.whole(option.waste_l))
    } else {
        "no waste".into()
    });
    if option.wait_d.is_none() && option.way != Way::LetItBe {
        parts.push(format!("{:.0} min", option.time_min));
    }
    if let Some(cost) = &option.cost {
        parts.push(format!("{:.2} {}", cost.amount, cost.currency));
    }
    format!("({})", parts.join(", "))
}

/// Two standard deviations, as people read a ± (about 95 %).
fn with_uncertainty(measured: Measured) -> String {
    format!("{:.1} ± {:.1}", measured.value, 2.0 * measured.uncertainty)
}

fn number(quantity: Quantity, value: f64) -> String {
    let decimals = match quantity {
        Quantity::Concentration => 1,
        other => other.decimals(),
    };
    format!("{value:.decimals$}")
}

#[cfg(test)]
mod tests;
