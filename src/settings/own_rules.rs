//! A plant's own rules.

use std::sync::Arc;
use std::thread;

use jiff::tz::TimeZone;

use crate::engine::{
    AlarmManner, OwnAlarm, OwnSuppressors, OwnWords, Priority, Rule, RuleSetup, SumpSetup,
};
use crate::rules::own::{OwnMistake, OwnReach, OwnRule};
use crate::units::{Parse, Span};

use super::contacts::places;
use super::defaults;
use super::key_path::KeyPath;
use super::problem::Problem;
use super::raw::{Named, RawOwnRule};
use super::review::Review;
use super::rules::{PRIORITIES, again_after};
use super::written::Written;

/// Longest text for people, in characters. Choice: what fits a message.
const LONGEST_TEXT: usize = 300;
/// Most things to look at. Choice.
const MOST_LOOKS: usize = 8;
/// Most rules. Choice: each is worked out for each sump once a minute.
const MOST_RULES: usize = 200;

/// A rule of a plant's own, and what goes with the alarm that it raises.
#[derive(Debug, Clone, PartialEq)]
pub struct OwnRuleSetup {
    /// Its name in settings.
    pub name: Arc<str>,
    /// Its name as people say it, 1 to 300 characters.
    pub title: String,
    /// When the alarm is to be.
    pub rule: OwnRule,
    /// Places in [`Settings::sumps`](super::Settings::sumps) of the sumps that
    /// it watches, in order.
    pub sumps: Vec<usize>,
    /// How much hurry.
    pub priority: Priority,
    /// From the rule to the alarm, 0 to 7 d.
    pub on_delay: Span,
    /// From its end to the return to normal, 0 to 7 d.
    pub off_delay: Span,
    /// Whether the alarm stays until a person resets it.
    pub latched: bool,
    /// An acknowledged alarm that still stands is raised again after this, 10 min to
    /// 31 d.
    pub again_after: Option<Span>,
    /// What the alarm is suppressed for.
    pub suppressed_by: OwnSuppressors,
    /// What to look at first, at most 8 texts of 1 to 300 characters.
    pub look_at: Vec<String>,
    /// What goes out with the alarm, 1 to 300 characters.
    pub message: Option<String>,
}

/// Gives each sump the rules that watch it.
pub(super) fn connect(rules: &[OwnRuleSetup], sumps: &mut [SumpSetup], zone: &TimeZone) {
    for rule in rules {
        let alarm = Arc::new(OwnAlarm {
            name: Arc::clone(&rule.name),
            rule: rule.rule.clone(),
            zone: zone.clone(),
            suppressed_by: rule.suppressed_by,
            words: Arc::new(OwnWords {
                title: rule.title.clone(),
                message: rule.message.clone(),
                look_at: rule.look_at.clone(),
            }),
        });
        for place in &rule.sumps {
            sumps[*place].rules.push(RuleSetup {
                rule: Rule::Own(Arc::clone(&alarm)),
                priority: rule.priority,
                manner: AlarmManner {
                    on: rule.on_delay,
                    off: rule.off_delay,
                    latching: rule.latched,
                    again_after: rule.again_after,
                },
            });
        }
    }
}

/// Reads every rule.
pub(super) fn own_rules(review: &mut Review, tables: Named, sumps: &[String]) -> OwnRules {
    let at = KeyPath::root().key("rule");
    let tables = tables.unwrap_or_default();
    if tables.len() > MOST_RULES {
        let found = format!("{} rules", tables.len());
        let allowed = format!("at most {MOST_RULES}");
        review.tell(&at, Problem::OutOfRange { found, allowed });
    }
    let (mut rules, mut wrong) = (Vec::new(), Vec::new());
    for (name, part) in tables {
        let at = at.key(&name);
        review.name(&at, &name);
        let raw: RawOwnRule = review.take(&at, part);
        match own_rule(review, &at, &name, raw, sumps) {
            Some(rule) => rules.push(rule),
            None => wrong.push(name),
        }
    }
    OwnRules { rules, wrong }
}

fn own_rule(
    review: &mut Review,
    at: &KeyPath,
    name: &str,
    raw: RawOwnRule,
    sumps: &[String],
) -> Option<OwnRuleSetup> {
    let rule = when(review, at, raw.when);
    let title = text(review, &at.key("title"), raw.title);
    let message = text(review, &at.key("message"), raw.message);
    let watched = match raw.sumps {
        None => Some((0..sumps.len()).collect()),
        Some(names) => places(review, &at.key("sumps"), &names, sumps),
    };
    let priority = match raw.priority {
        None => Some(defaults::RULE_PRIORITY),
        Some(word) => review.one_of(&at.key("priority"), &word, &PRIORITIES),
    };
    let on_delay = delay(review, &at.key("on_delay"), raw.on_delay.as_ref());
    let off_delay = delay(review, &at.key("off_delay"), raw.off_delay.as_ref());
    let again_after = again_after(review, &at.key("again_after"), raw.again_after.as_ref());
    let suppressed_by = suppressors(review, &at.key("suppressed_by"), raw.suppressed_by);
    let look_at = looks(review, &at.key("look_at"), raw.look_at.unwrap_or_default());
    Some(OwnRuleSetup {
        name: name.into(),
        title: title?.unwrap_or_else(|| name.to_owned()),
        rule: rule?,
        sumps: watched?,
        priority: priority?,
        on_delay: on_delay?,
        off_delay: off_delay?,
        latched: raw.latched.unwrap_or(false),
        again_after: again_after?,
        suppressed_by: suppressed_by?,
        look_at: look_at?,
        message: message?,
    })
}

fn when(review: &mut Review, at: &KeyPath, written: Option<String>) -> Option<OwnRule> {
    let path = at.key("when");
    let example = "when = \"concentration < 5.0 && pumps_run\"";
    let text = review.required(&path, written, example)?;
    match on_a_stack_of_its_own(&text) {
        Some(Ok(rule)) => Some(rule),
        Some(Err(mistakes)) => {
            review.tell_each(&path, mistakes);
            None
        }
        None => {
            let why = "this machine has no room to read the rule; free memory and try again";
            review.tell(&path, Problem::Other(why.to_owned()));
            None
        }
    }
}

/// Reads a rule on a thread of its own, for its stack only; nothing where there is
/// none.
fn on_a_stack_of_its_own(text: &str) -> Option<Result<OwnRule, Vec<OwnMistake>>> {
    thread::scope(|scope| {
        let reader = thread::Builder::new().stack_size(OwnRule::STACK);
        let reading = reader.spawn_scoped(scope, || OwnRule::compile(text)).ok()?;
        reading.join().ok()
    })
}

/// A text for people; the inner nothing is one that is not written.
fn text(review: &mut Review, path: &KeyPath, written: Option<String>) -> Option<Option<String>> {
    let Some(text) = written else {
        return Some(None);
    };
    let length = text.chars().count();
    let fits = !text.trim().is_empty() && length <= LONGEST_TEXT;
    if !fits {
        let found = format!("a text of {length} characters");
        let allowed = format!("1 to {LONGEST_TEXT}, not all of them blank");
        review.tell(path, Problem::OutOfRange { found, allowed });
    }
    fits.then_some(Some(text))
}

fn looks(review: &mut Review, path: &KeyPath, written: Vec<String>) -> Option<Vec<String>> {
    if written.len() > MOST_LOOKS {
        let found = written.len();
        let wanted = "at most 8 texts";
        review.tell(path, Problem::Length { wanted, found });
        return None;
    }
    let looks = written
        .into_iter()
        .enumerate()
        .map(|(item, look)| text(review, &path.item(item), Some(look)).flatten());
    let looks: Vec<_> = looks.collect();
    looks.into_iter().collect()
}

/// What its alarm is suppressed for, by the words of the topics.
fn suppressors(
    review: &mut Review,
    path: &KeyPath,
    written: Option<Vec<String>>,
) -> Option<OwnSuppressors> {
    const WORDS: [(&str, Suppressing); 2] = [
        ("source_gone", |by| by.source_gone = true),
        ("recharge", |by| by.recharge = true),
    ];
    let Some(words) = written else {
        return Some(OwnSuppressors::ALL);
    };
    let mut by = OwnSuppressors {
        source_gone: false,
        recharge: false,
    };
    let mut all_known = true;
    for (item, word) in words.iter().enumerate() {
        match review.one_of(&path.item(item), word, &WORDS) {
            Some(add) => add(&mut by),
            None => all_known = false,
        }
    }
    all_known.then_some(by)
}

type Suppressing = fn(&mut OwnSuppressors);

fn delay(review: &mut Review, path: &KeyPath, written: Option<&Written>) -> Option<Span> {
    let span = review.or_default(path, written, Span::parse, defaults::ALARM_DELAY)?;
    let range = (Span::ZERO, Span::from_hours(7 * 24));
    review.within(path, span, range, |span| span.to_string())
}

/// The rules, and the names of those that are wrong.
#[derive(Debug)]
pub(super) struct OwnRules {
    rules: Vec<OwnRuleSetup>,
    wrong: Vec<String>,
}

impl OwnRules {
    /// All of them; nothing where one is wrong.
    pub(super) fn all_right(self) -> Option<Vec<OwnRuleSetup>> {
        self.wrong.is_empty().then_some(self.rules)
    }

    /// Tells each rule that asks for alarms or signals that none of its sumps can
    /// have. What only some of them have is not there at the others.
    pub(super) fn check_reach(&self, review: &mut Review, sumps: &[SumpSetup]) {
        for rule in &self.rules {
            let mistakes = rule.rule.out_of_reach(&self.reach(rule, sumps));
            let path = KeyPath::root().key("rule").key(&rule.name).key("when");
            review.tell_unknown(&path, mistakes);
        }
    }

    fn reach(&self, rule: &OwnRuleSetup, sumps: &[SumpSetup]) -> OwnReach {
        let mut reach = OwnReach::default();
        for sump in rule.sumps.iter().filter_map(|place| sumps.get(*place)) {
            reach.alarms.extend(sump.alarm_names());
            let channels = sump.channels.iter();
            reach.measured.extend(channels.map(|one| one.quantity));
        }
        let beside = |other: &&OwnRuleSetup| other.sumps.iter().any(|one| rule.sumps.contains(one));
        let others = self.rules.iter().filter(beside).map(|other| &*other.name);
        let names = others.chain(self.wrong.iter().map(String::as_str));
        reach.alarms.extend(names.map(|name| format!("own.{name}")));
        reach
    }
}
