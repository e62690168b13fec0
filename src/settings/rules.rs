//! What of a sump is watched besides its limits.

use crate::engine::{
    AlarmManner, AlarmSetup, ChannelKind, ChannelSetup, Priority, Rule, RuleSetup, Step,
};
use crate::model::Mineral;
use crate::units::{Parse, Span};

use super::key_path::KeyPath;
use super::raw_rules::{RawPumps, RawRule, RawRules};
use super::review::Review;
use super::rules_ahead::{self, Ahead};
use super::rules_charts::{self, Chart};
use super::rules_rates::{self, Rate};
use super::written::{Switch, Written};

/// Losses, gains and instruments were followed for hours before they are told
/// of: no further delay. (choice)
const AT_ONCE: Span = Span::ZERO;
/// What was over for less comes back as the same alarm. (choice)
const OFF_DELAY: Span = Span::from_mins(30);
/// An instrument's status is left alone for so long: bubbles pass. (choice)
const INSTRUMENT_DELAY: Span = Span::from_mins(30);

/// Minerals come with the water over weeks: a wrong reading is corrected within
/// so long. (choice)
const MINERAL_DELAY: Span = Span::from_hours(1);
/// What hovers about a bound comes back as the same alarm. (choice: a day's
/// swing)
const FLUID_OFF_DELAY: Span = Span::from_hours(12);

/// A rule as it stands where nothing is written.
#[derive(Debug, Clone, Copy)]
pub(super) struct Standard {
    pub(super) priority: Priority,
    pub(super) on: Span,
    pub(super) off: Span,
}

/// An instrument that asks for somebody.
const INSTRUMENT: Standard = Standard {
    priority: Priority::Low,
    on: INSTRUMENT_DELAY,
    off: OFF_DELAY,
};
/// What runs in or out unseen.
const FLOW: Standard = Standard {
    priority: Priority::Medium,
    on: AT_ONCE,
    off: OFF_DELAY,
};
/// The fluid is to be watched.
const WATCH: Standard = Standard {
    priority: Priority::Low,
    on: MINERAL_DELAY,
    off: FLUID_OFF_DELAY,
};
/// Something is to be done about the fluid.
const ACT: Standard = Standard {
    priority: Priority::Medium,
    ..WATCH
};
/// Two methods part, or oil was measured: the reading itself is the delay.
const METHODS: Standard = Standard {
    priority: Priority::Low,
    on: AT_ONCE,
    off: OFF_DELAY,
};

/// What somebody has to look into within the day, once it is known.
const UPKEEP: Standard = METHODS;

/// Pumps that stand longer than this while people work are told of. Choice: longer
/// than a tool change, shorter than what a probe's silence takes to harm.
const PUMPS_STAND: Span = Span::from_mins(30);
/// The pumps stand: that is the delay.
const PUMPS: Standard = Standard {
    priority: Priority::Low,
    on: AT_ONCE,
    off: AT_ONCE,
};

/// What of a sump its rules depend on.
#[derive(Debug, Clone, Copy)]
pub(super) struct Watched<'a> {
    /// Its channels.
    pub(super) channels: &'a [ChannelSetup],
    /// Its working volume, L.
    pub(super) working: Option<f64>,
    /// Whether it is known when people work there.
    pub(super) shifts: bool,
}

/// The rules of such a sump.
pub(super) fn rules(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawRules,
    watched: Watched<'_>,
) -> Option<Vec<RuleSetup>> {
    let gauges = watched
        .channels
        .iter()
        .filter(|channel| matches!(channel.kind, ChannelKind::Gauge));
    let of_channels = gauges.map(|channel| Rule::Instrument {
        channel: channel.name.clone(),
    });
    let mut table = Table {
        review,
        at,
        rules: Vec::new(),
        sound: true,
    };
    table.add(
        "instrument",
        raw.instrument.as_ref(),
        INSTRUMENT,
        of_channels,
    );
    table.add("loss", raw.loss.as_ref(), FLOW, [Rule::Loss]);
    table.add("gain", raw.gain.as_ref(), FLOW, [Rule::Gain]);
    let upkeep = [
        ("dose_missed", &raw.dose_missed, Rule::DoseMissed),
        ("contradicted", &raw.contradicted, Rule::Contradicted),
        ("mixer", &raw.mixer, Rule::Mixer),
    ];
    for (key, raw, rule) in upkeep {
        table.add(key, raw.as_ref(), UPKEEP, [rule]);
    }
    of_fluid(&mut table, raw);
    // What moves fast comes first: it suppresses its limit ahead.
    for rate in rules_rates::all(raw) {
        table.add_rate(&rate, watched);
    }
    for ahead in rules_ahead::all(raw) {
        table.add_ahead(&ahead);
    }
    for chart in rules_charts::all(raw) {
        table.add_chart(&chart, watched);
    }
    table.add_pumps(raw.pumps_stopped.as_ref(), watched);
    table.sound.then_some(table.rules)
}

/// The rules over the state of the fluid; the key is the condition's name.
fn of_fluid(table: &mut Table<'_>, raw: &RawRules) {
    let hardness = |step| Rule::Mineral(Mineral::Hardness, step);
    let chloride = |step| Rule::Mineral(Mineral::Chloride, step);
    let steps = [
        ("hardness_high", &raw.hardness_high, hardness(Step::Watch)),
        (
            "hardness_high_high",
            &raw.hardness_high_high,
            hardness(Step::Act),
        ),
        ("chloride_high", &raw.chloride_high, chloride(Step::Watch)),
        (
            "chloride_high_high",
            &raw.chloride_high_high,
            chloride(Step::Act),
        ),
        (
            "conductivity_excess",
            &raw.conductivity_excess,
            Rule::Excess(Step::Watch),
        ),
        (
            "conductivity_excess_high",
            &raw.conductivity_excess_high,
            Rule::Excess(Step::Act),
        ),
        (
            "souring_suspected",
            &raw.souring_suspected,
            Rule::Souring(Step::Watch),
        ),
        (
            "souring_likely",
            &raw.souring_likely,
            Rule::Souring(Step::Act),
        ),
    ];
    for (key, raw, rule) in steps {
        let standard = match rule {
            Rule::Mineral(_, Step::Act) | Rule::Excess(Step::Act) | Rule::Souring(Step::Act) => ACT,
            _ => WATCH,
        };
        table.add(key, raw.as_ref(), standard, [rule]);
    }
    table.add(
        "tramp_oil",
        raw.tramp_oil.as_ref(),
        METHODS,
        [Rule::TrampOil],
    );
    table.add("factor", raw.factor.as_ref(), METHODS, [Rule::Factor]);
}

/// The table `rules` as it is read.
struct Table<'a> {
    review: &'a mut Review,
    at: &'a KeyPath,
    rules: Vec<RuleSetup>,
    /// Whether nothing was wrong so far.
    sound: bool,
}

impl Table<'_> {
    fn add_ahead(&mut self, ahead: &Ahead<'_>) {
        let Some((rule, behaves)) = ahead.rule(self.review, &self.at.key(ahead.key)) else {
            self.sound = false;
            return;
        };
        self.add(ahead.key, behaves.as_ref(), WATCH, rule);
    }

    fn add_rate(&mut self, rate: &Rate<'_>, watched: Watched<'_>) {
        let at = self.at.key(rate.key);
        let Some((rules, behaves)) =
            rate.rules(self.review, &at, watched.channels, watched.working)
        else {
            self.sound = false;
            return;
        };
        self.add(rate.key, behaves.as_ref(), METHODS, rules);
    }

    fn add_chart(&mut self, chart: &Chart<'_>, watched: Watched<'_>) {
        let at = self.at.key(chart.key);
        let Some((rule, behaves)) = chart.rule(self.review, &at, watched.channels) else {
            self.sound = false;
            return;
        };
        self.add(chart.key, behaves.as_ref(), METHODS, rule);
    }

    /// Where nobody knows when people work, nothing is told of pumps that stand.
    fn add_pumps(&mut self, raw: Option<&Switch<RawPumps>>, watched: Watched<'_>) {
        const KEY: &str = "pumps_stopped";
        let (after, behaves) = match raw {
            None => (None, None),
            Some(Switch::Off) => (None, Some(Switch::Off)),
            Some(Switch::On(raw)) => (raw.after.as_ref(), Some(Switch::On(RawRule::from(raw)))),
        };
        let path = self.at.key(KEY).key("after");
        let after = self
            .review
            .or_default(&path, after, Span::parse, PUMPS_STAND);
        let range = (Span::from_mins(1), Span::from_hours(24));
        let after =
            after.and_then(|after| self.review.within(&path, after, range, |s| s.to_string()));
        let Some(after) = after else {
            self.sound = false;
            return;
        };
        let rule = watched.shifts.then_some(Rule::PumpsStopped { after });
        self.add(KEY, behaves.as_ref(), PUMPS, rule);
    }

    /// Rules that behave as is written at `key`; none where it is off.
    fn add(
        &mut self,
        key: &str,
        raw: Option<&Switch<RawRule>>,
        standard: Standard,
        rules: impl IntoIterator<Item = Rule>,
    ) {
        let Some(behaviour) = behaviour(self.review, &self.at.key(key), raw, &standard) else {
            self.sound = false;
            return;
        };
        if let Some(Behaviour { priority, manner }) = behaviour {
            self.rules.extend(rules.into_iter().map(|rule| RuleSetup {
                rule,
                priority,
                manner,
            }));
        }
    }
}

/// How the alarm of a rule behaves.
#[derive(Debug, Clone, Copy)]
pub(super) struct Behaviour {
    pub(super) priority: Priority,
    pub(super) manner: AlarmManner,
}

impl Behaviour {
    /// For an alarm without a rule.
    pub(super) fn alone(self) -> AlarmSetup {
        AlarmSetup {
            priority: self.priority,
            manner: self.manner,
        }
    }

    /// The rule with this.
    pub(super) fn of(self, rule: Rule) -> RuleSetup {
        RuleSetup {
            rule,
            priority: self.priority,
            manner: self.manner,
        }
    }
}

/// How the alarm of a rule behaves; nothing where the rule is off.
pub(super) fn behaviour(
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
        standard.off,
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
pub(super) const PRIORITIES: [(&str, Priority); 3] = [
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
