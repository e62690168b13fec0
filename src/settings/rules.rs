//! What of a sump is watched besides its limits.

use crate::engine::{AlarmManner, ChannelKind, ChannelSetup, Priority, Rule, RuleSetup};
use crate::units::{Parse, Span};

use super::key_path::KeyPath;
use super::raw::{RawRule, RawRules};
use super::review::Review;
use super::written::{Switch, Written};

/// Losses, gains and instruments were followed for hours before they are told
/// of: no further delay. (choice)
const AT_ONCE: Span = Span::ZERO;
/// What was over for less comes back as the same alarm. (choice)
const OFF_DELAY: Span = Span::from_mins(30);
/// An instrument's status is left alone for so long: bubbles pass. (choice)
const INSTRUMENT_DELAY: Span = Span::from_mins(30);

/// A rule as it stands where nothing is written.
struct Standard {
    priority: Priority,
    on: Span,
}

/// What somebody has to look into within the day, once it is known.
const UPKEEP: Standard = Standard {
    priority: Priority::Low,
    on: AT_ONCE,
};

/// The rules of a sump with these channels.
pub(super) fn rules(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawRules,
    channels: &[ChannelSetup],
) -> Option<Vec<RuleSetup>> {
    let instrument = Standard {
        priority: Priority::Low,
        on: INSTRUMENT_DELAY,
    };
    let flow = Standard {
        priority: Priority::Medium,
        on: AT_ONCE,
    };
    let instrument = behaviour(
        review,
        &at.key("instrument"),
        raw.instrument.as_ref(),
        &instrument,
    );
    let loss = behaviour(review, &at.key("loss"), raw.loss.as_ref(), &flow);
    let gain = behaviour(review, &at.key("gain"), raw.gain.as_ref(), &flow);
    let upkeep = [
        ("dose_missed", raw.dose_missed.as_ref(), Rule::DoseMissed),
        (
            "contradicted",
            raw.contradicted.as_ref(),
            Rule::Contradicted,
        ),
        ("mixer", raw.mixer.as_ref(), Rule::Mixer),
    ]
    .map(|(key, raw, rule)| (behaviour(review, &at.key(key), raw, &UPKEEP), rule));
    let (instrument, loss, gain) = (instrument?, loss?, gain?);
    let gauges = channels
        .iter()
        .filter(|channel| matches!(channel.kind, ChannelKind::Gauge));
    let of_channels = gauges.map(|channel| Rule::Instrument {
        channel: channel.name.clone(),
    });
    let with = |rule: Rule, behaviour: &Option<Behaviour>| {
        behaviour.map(|behaviour| RuleSetup {
            rule,
            priority: behaviour.priority,
            manner: behaviour.manner,
        })
    };
    let mut rules: Vec<RuleSetup> = of_channels
        .filter_map(|rule| with(rule, &instrument))
        .collect();
    rules.extend(with(Rule::Loss, &loss));
    rules.extend(with(Rule::Gain, &gain));
    for (behaviour, rule) in upkeep {
        rules.extend(with(rule, &behaviour?));
    }
    Some(rules)
}

#[derive(Debug, Clone, Copy)]
struct Behaviour {
    priority: Priority,
    manner: AlarmManner,
}

/// How the alarm of a rule behaves; nothing where the rule is off.
fn behaviour(
    review: &mut Review,
    at: &KeyPath,
    raw: Option<&Switch<RawRule>>,
    standard: &Standard,
) -> Option<Option<Behaviour>> {
    let nothing = RawRule::default();
    let raw = match raw {
        Some(Switch::Off) => return Some(None),
        Some(Switch::On(raw)) => raw,
        None => &nothing,
    };
    let priority = match &raw.priority {
        None => Some(standard.priority),
        Some(name) => review.one_of(&at.key("priority"), name, &PRIORITIES),
    };
    let on = delay(
        review,
        &at.key("on_delay"),
        raw.on_delay.as_ref(),
        standard.on,
    );
    let off = delay(
        review,
        &at.key("off_delay"),
        raw.off_delay.as_ref(),
        OFF_DELAY,
    );
    let again_after = again_after(review, &at.key("again_after"), raw.again_after.as_ref());
    Some(Some(Behaviour {
        priority: priority?,
        manner: AlarmManner {
            on: on?,
            off: off?,
            latching: raw.latching.unwrap_or(false),
            again_after: again_after?,
        },
    }))
}

/// Priorities by the names that people write.
const PRIORITIES: [(&str, Priority); 3] = [
    ("low", Priority::Low),
    ("medium", Priority::Medium),
    ("high", Priority::High),
];

fn delay(
    review: &mut Review,
    path: &KeyPath,
    written: Option<&Written>,
    standard: Span,
) -> Option<Span> {
    let span = review.or_default(path, written, Span::parse, standard)?;
    let range = (Span::ZERO, Span::from_hours(7 * 24));
    review.within(path, span, range, |span| span.to_string())
}

/// When an acknowledged alarm is raised again: never, unless something is
/// written.
pub(super) fn again_after(
    review: &mut Review,
    path: &KeyPath,
    written: Option<&Written>,
) -> Option<Option<Span>> {
    let Some(written) = written.filter(|written| !written.is_off()) else {
        return Some(None);
    };
    let span = review.good(path, Span::parse(written.text()))?;
    let range = (Span::from_mins(10), Span::from_hours(31 * 24));
    let span = review.within(path, span, range, |span| span.to_string())?;
    Some(Some(span))
}
