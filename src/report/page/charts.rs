//! The drawings of a page, each with its legend.

use std::collections::BTreeMap;
use std::fmt::Write;

use crate::alarm::performance::{Annunciation, Period};
use crate::engine::EntryKind;
use crate::report::calendar::{Cut, parts, place};
use crate::report::chart::{Bar, Bars, Event, Fill, LineChart, Mark, bars, line_chart};
use crate::report::escape::escape;
use crate::report::facts::sump::{Followed, PartFacts, SumpFacts};
use crate::report::words::Voice;
use crate::units::{Measured, Quantity, Span};

/// The drawings of a sump, each with the key of its chapter.
pub(super) fn of_sump(facts: &SumpFacts<'_>, voice: &Voice<'_>) -> Vec<(&'static str, String)> {
    let mut charts = Vec::new();
    let ph = facts.of(Quantity::Ph);
    let drawn = [
        (
            Some(&facts.followed[0]),
            events(facts, Quantity::Concentration),
        ),
        (ph, events(facts, Quantity::Ph)),
        (Some(&facts.followed[1]), events(facts, Quantity::Volume)),
    ];
    for (followed, events) in drawn {
        if let Some(followed) = followed.filter(|one| one.signal.extremes().is_some()) {
            charts.push(("windows", course(facts, followed, &events, voice)));
        }
    }
    let total = &facts.used;
    if total.concentrate_l + total.water_l + total.drained_l > 0.0 {
        charts.push(("litres", used(facts, voice)));
    }
    if facts.parts.iter().any(|part| part.lost.is_ok()) {
        charts.push(("litres", lost(facts, voice)));
    }
    charts
}

/// What is marked below a signal.
fn events(facts: &SumpFacts<'_>, quantity: Quantity) -> Vec<Event> {
    let moved = facts.moved.iter().map(|one| Event {
        time: one.time,
        mark: match one.litres.value < 0.0 {
            true => Mark::Out,
            false => Mark::In,
        },
    });
    let of = |wanted: Quantity| match wanted {
        Quantity::Brix => Quantity::Concentration,
        Quantity::Level => Quantity::Volume,
        other => other,
    };
    let written = facts.book.written().iter().filter_map(|one| {
        let mark = match &one.entry.kind {
            EntryKind::HandReading {
                quantity: read,
                mixer: None,
                ..
            } if of(*read) == quantity => Mark::ByHand,
            EntryKind::Event {
                what: crate::engine::HappeningKind::Recharged,
                ..
            } => Mark::NewCharge,
            _ => return None,
        };
        Some(Event {
            time: one.entry.time,
            mark,
        })
    });
    let kind = format!("{}.", quantity.name());
    let alarms = facts
        .alarms
        .iter()
        .filter(|one| one.alarm.condition.starts_with(&kind) && facts.period.has(one.raised));
    let alarms = alarms.map(|one| Event {
        time: one.raised,
        mark: Mark::Alarm,
    });
    let wants_moved = quantity != Quantity::Ph;
    moved
        .filter(|_| wants_moved)
        .chain(written)
        .chain(alarms)
        .collect()
}

fn course(
    facts: &SumpFacts<'_>,
    followed: &Followed,
    events: &[Event],
    voice: &Voice<'_>,
) -> String {
    let quantity = followed.quantity;
    let name = voice.say(&format!("quantity.{}", quantity.name()));
    let title = match quantity {
        // Its unit is its name.
        Quantity::Ph => name,
        _ => voice.words.fill(
            "chart.course",
            &[("what", &name), ("unit", quantity.unit())],
        ),
    };
    let signal = &followed.signal;
    let share = |share: Option<f64>| share.map_or("?".to_owned(), |share| voice.share(share));
    let decimals = quantity.decimals();
    let number =
        |value: Option<f64>| value.map_or("?".to_owned(), |value| voice.number(value, decimals));
    let (low, high) = signal.extremes().unzip();
    let values = [
        ("low", number(low)),
        ("high", number(high)),
        ("mean", number(signal.mean())),
        ("known", share(signal.known_share())),
        ("unit", quantity.unit().to_owned()),
    ];
    let values: Vec<(&str, &str)> = values
        .iter()
        .map(|(key, text)| (*key, text.as_str()))
        .collect();
    let id = format!("{}-{}", facts.setup.name, quantity.name());
    let drawn = line_chart(
        &LineChart {
            id: &id,
            title: &title,
            description: &voice.words.fill("chart.course_told", &values),
            signal,
            events,
        },
        voice,
    );
    let mut legend = Legend::new();
    if !signal.window().is_none() {
        legend.add(
            "<rect class=\"band\" x=\"-7\" y=\"-5\" width=\"14\" height=\"10\"/>",
            "window",
            voice,
        );
    }
    if signal.longest_outside() > Span::ZERO {
        legend.add("<path class=\"off\" d=\"M-7 0H7\"/>", "off", voice);
    }
    if signal.gaps().1 > 0 {
        let hatched =
            format!("<rect x=\"-7\" y=\"-5\" width=\"14\" height=\"10\" fill=\"url(#{id}-h)\"/>");
        legend.add(&hatched, "gap", voice);
    }
    for mark in Mark::ALL {
        if events.iter().any(|event| event.mark == mark) {
            let mut sign = String::new();
            mark.draw(&mut sign, 0.0, 0.0);
            legend.add(&sign, mark.name(), voice);
        }
    }
    figure(&title, &drawn, &legend)
}

fn used(facts: &SumpFacts<'_>, voice: &Voice<'_>) -> String {
    let bar = |value: f64, fill: Fill| Bar {
        value,
        between: None,
        fill,
    };
    let group = |part: &PartFacts| {
        let used = part.used;
        let bars = vec![
            bar(used.concentrate_l, Fill::Dark),
            bar(used.water_l, Fill::Light),
            bar(used.drained_l, Fill::Hatched),
        ];
        (name(facts, part), bars)
    };
    let sorts = [
        (Fill::Dark, "concentrate"),
        (Fill::Light, "water"),
        (Fill::Hatched, "drained"),
    ];
    let groups = facts.parts.iter().map(group).collect();
    bar_figure(facts, "used", groups, &sorts, voice)
}

fn lost(facts: &SumpFacts<'_>, voice: &Voice<'_>) -> String {
    let bar = |measured: Measured, fill: Fill| {
        let (low, high) = measured.interval_90();
        Bar {
            value: measured.value.max(0.0),
            between: Some((low.max(0.0), high.max(0.0))),
            fill,
        }
    };
    let group = |part: &PartFacts| {
        let bars = match part.lost.map(|lost| (lost.both_l, lost.to)) {
            Ok((_, Ok(to))) => vec![
                bar(to.evaporation_l, Fill::Light),
                bar(to.carry_off_l, Fill::Dark),
            ],
            Ok((both, Err(_))) => vec![bar(both, Fill::Hatched)],
            Err(_) => Vec::new(),
        };
        (name(facts, part), bars)
    };
    let sorts = [
        (Fill::Light, "evaporation"),
        (Fill::Dark, "carry_off"),
        (Fill::Hatched, "both"),
    ];
    let groups = facts.parts.iter().map(group).collect();
    bar_figure(facts, "lost", groups, &sorts, voice)
}

fn name(facts: &SumpFacts<'_>, part: &PartFacts) -> String {
    let form = match facts.cut {
        Cut::Month => "%Y-%m",
        Cut::Day | Cut::Week => "%m-%d",
    };
    part.part.day.strftime(form).to_string()
}

fn bar_figure(
    facts: &SumpFacts<'_>,
    key: &str,
    groups: Vec<(String, Vec<Bar>)>,
    sorts: &[(Fill, &str)],
    voice: &Voice<'_>,
) -> String {
    let cut = voice.say(&format!("cut.{}", facts.cut.name()));
    let title = voice.words.fill(&format!("chart.{key}"), &[("cut", &cut)]);
    let id = format!("{}-{key}", facts.setup.name);
    let drawn = bars(
        &Bars {
            id: &id,
            title: &title,
            description: &voice.say(&format!("chart.{key}_told")),
            groups,
            are_counts: false,
        },
        voice,
    );
    let mut legend = Legend::new();
    for (fill, sort) in sorts {
        let drawn = fill.drawn(&id);
        legend.add(
            &format!("<rect {drawn} x=\"-6\" y=\"-5\" width=\"12\" height=\"10\"/>"),
            sort,
            voice,
        );
    }
    figure(&title, &drawn, &legend)
}

/// How often people were told of alarms on each day; nothing where they never
/// were.
pub fn alarms_by_day(told: &[&Annunciation], period: Period, voice: &Voice<'_>) -> String {
    if told.is_empty() {
        return String::new();
    }
    let cut = match Cut::of(period) {
        // A bar for each day of three months can still be seen.
        Cut::Week if period.length().millis() <= 93 * 86_400_000 => Cut::Day,
        other => other,
    };
    let days = parts(period, cut, voice.zone);
    let mut counts: BTreeMap<usize, u32> = BTreeMap::new();
    for one in told {
        if let Some(place) = place(&days, one.time) {
            *counts.entry(place).or_default() += 1;
        }
    }
    let groups = days.iter().enumerate().map(|(place, day)| {
        let bar = Bar {
            value: f64::from(counts.get(&place).copied().unwrap_or_default()),
            between: None,
            fill: Fill::Dark,
        };
        (day.day.strftime("%m-%d").to_string(), vec![bar])
    });
    let cut = voice.say(&format!("cut.{}", cut.name()));
    let title = voice.words.fill("chart.alarms", &[("cut", &cut)]);
    let drawn = bars(
        &Bars {
            id: "alarms-by-day",
            title: &title,
            description: &voice.say("chart.alarms_told"),
            groups: groups.collect(),
            are_counts: true,
        },
        voice,
    );
    figure(&title, &drawn, &Legend::new())
}

/// What the signs of a drawing mean.
struct Legend(String);

impl Legend {
    fn new() -> Self {
        Legend(String::new())
    }

    fn add(&mut self, sign: &str, key: &str, voice: &Voice<'_>) {
        let _ = write!(
            self.0,
            "<li><svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"-8 -6.5 16 13\" aria-hidden=\"true\">{sign}</svg>{}</li>",
            escape(&voice.say(&format!("legend.{key}")))
        );
    }
}

fn figure(title: &str, drawn: &str, legend: &Legend) -> String {
    let mut figure = format!(
        "<figure>\n<figcaption>{}</figcaption>\n{drawn}\n",
        escape(title)
    );
    if !legend.0.is_empty() {
        let _ = writeln!(figure, "<ul class=\"legend\">{}</ul>", legend.0);
    }
    figure.push_str("</figure>\n");
    figure
}
