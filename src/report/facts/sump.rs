//! All that is told of one sump.

use jiff::tz::TimeZone;

use crate::alarm::performance::{Course, Occurrence, Period};
use crate::engine::{ChannelKind, EntryKind, HappeningKind, Quality, SumpSetup};
use crate::model::Losses;
use crate::model::money::{Cost, Litres};
use crate::report::calendar::{Cut, Part, parts, place};
use crate::rules::LimitLevel;
use crate::units::{Brix, Quantity, Span, Timestamp};

use super::book::Book;
use super::checks::{CheckMade, checks};
use super::errors::Errors;
use super::litres::{Metered, Moved, add, moved};
use super::log_sheet::{LogLine, log_sheet};
use super::losses::{Lost, NotTold, Stretch, lost};
use super::signal::{Signal, Window};

/// An estimate is kept once a minute while its channel gives values, and counts
/// for so long (choice: as long as most channels may be silent).
const ESTIMATE_HOLDS: Span = Span::from_mins(15);

/// One signal of the sump: where its values are kept, and what came of them.
#[derive(Debug, Clone, PartialEq)]
pub struct Followed {
    /// The channel, or the name of the estimate.
    pub channel: String,
    /// Whether it is an estimate.
    pub is_estimate: bool,
    /// What it measures.
    pub quantity: Quantity,
    /// Its course.
    pub signal: Signal,
}

/// What a meter counted.
#[derive(Debug, Clone, PartialEq)]
pub struct MeterRead {
    /// The channel.
    pub channel: String,
    meter: Metered,
}

/// Collects what is told of one sump.
#[derive(Debug, Clone)]
pub struct Collect<'a> {
    setup: &'a SumpSetup,
    zone: &'a TimeZone,
    period: Period,
    cut: Cut,
    parts: Vec<Part>,
    followed: Vec<Followed>,
    meters: Vec<MeterRead>,
    metered: Vec<Litres>,
    alarms: Vec<Occurrence>,
}

/// What is told of one sump.
#[derive(Debug, Clone)]
pub struct SumpFacts<'a> {
    /// The sump.
    pub setup: &'a SumpSetup,
    /// The period.
    pub period: Period,
    /// Its signals: concentration and volume, then the channels.
    pub followed: Vec<Followed>,
    /// What the journal tells.
    pub book: Book,
    /// What went in and out, but for what meters counted.
    pub moved: Vec<Moved>,
    /// The parts of the period.
    pub cut: Cut,
    /// What was used and lost in each.
    pub parts: Vec<PartFacts>,
    /// What was used in all.
    pub used: Litres,
    /// How often it was filled anew.
    pub recharges: usize,
    /// What that costs, where there are prices.
    pub cost: Option<Cost>,
    /// Alarms that stood in the period, as they were raised.
    pub alarms: Vec<Occurrence>,
    /// The checks.
    pub checks: Vec<CheckMade>,
    /// The log sheet.
    pub log_sheet: Vec<LogLine>,
    /// The losses as the daemon knew them last, and when.
    pub newest_losses: Option<(Timestamp, Losses)>,
}

/// What was used and lost in a part of the period.
#[derive(Debug, Clone, PartialEq)]
pub struct PartFacts {
    /// The part.
    pub part: Part,
    /// What went in and out.
    pub used: Litres,
    /// What that costs, where there are prices.
    pub cost: Option<Cost>,
    /// The time of it over which losses are worked out.
    pub known: Period,
    /// What was lost in that.
    pub lost: Result<Lost, NotTold>,
}

impl<'a> Collect<'a> {
    /// Of a sump with this course of alarms, with the plant's clocks.
    pub fn new(setup: &'a SumpSetup, period: Period, zone: &'a TimeZone, course: &Course) -> Self {
        let alarms: Vec<Occurrence> = course
            .occurrences()
            .iter()
            .filter(|one| *one.alarm.sump == *setup.name)
            .filter(|one| one.raised < period.to)
            .filter(|one| one.ended.is_none_or(|ended| ended > period.from))
            .cloned()
            .collect();
        let estimate = |quantity: Quantity, from: Quantity| {
            let signal = Signal::new(period, window(setup, quantity), ESTIMATE_HOLDS);
            let of_these = |of: Quantity| [quantity, from].contains(&of);
            let channels = setup.channels.iter();
            let channels = channels.filter(|channel| of_these(channel.quantity));
            let mut stood: Vec<Period> = channels
                .flat_map(|channel| of_instrument(&alarms, &channel.name))
                .map(|one| Period::new(one.raised, one.ended.unwrap_or(period.to)))
                .collect();
            stood.sort_by_key(|one| one.from);
            Followed {
                channel: quantity.name().to_owned(),
                is_estimate: true,
                quantity,
                signal: signal.with_alarms(stood),
            }
        };
        let mut followed = vec![
            estimate(Quantity::Concentration, Quantity::Brix),
            estimate(Quantity::Volume, Quantity::Level),
        ];
        let mut meters = Vec::new();
        for channel in &setup.channels {
            if let ChannelKind::Meter { of, .. } = channel.kind {
                meters.push(MeterRead {
                    channel: channel.name.to_string(),
                    meter: Metered::new(of),
                });
            }
            let watched = match channel.kind {
                // Limits are those of the first channel of a quantity.
                ChannelKind::Gauge => !followed.iter().any(|one| one.quantity == channel.quantity),
                ChannelKind::Meter { .. } | ChannelKind::Switch { .. } => false,
            };
            let window = match watched {
                true => window(setup, channel.quantity),
                false => Window::default(),
            };
            followed.push(Followed {
                channel: channel.name.to_string(),
                is_estimate: false,
                quantity: channel.quantity,
                signal: Signal::new(period, window, channel.silent_after),
            });
        }
        let cut = Cut::of(period);
        let parts = parts(period, cut, zone);
        Collect {
            alarms,
            setup,
            zone,
            period,
            cut,
            followed,
            meters,
            metered: vec![Litres::default(); parts.len()],
            parts,
        }
    }

    /// The series whose values are wanted: channel, whether it is an estimate,
    /// and from when on.
    pub fn wanted(&self) -> Vec<(String, bool, Timestamp)> {
        let followed = self.followed.iter().map(|one| {
            (
                one.channel.clone(),
                one.is_estimate,
                one.signal.wanted_from(),
            )
        });
        let meters = self
            .meters
            .iter()
            .map(|one| (one.channel.clone(), true, self.period.from - ESTIMATE_HOLDS));
        followed.chain(meters).collect()
    }

    /// The next value of a series that is wanted.
    pub fn value(
        &mut self,
        channel: &str,
        is_estimate: bool,
        time: Timestamp,
        value: f64,
        quality: Quality,
    ) {
        // Estimates bear the marks of what they were worked out from.
        let has_alarm =
            |one: &Occurrence| one.raised <= time && one.ended.is_none_or(|ended| time < ended);
        let believed = is_estimate || !of_instrument(&self.alarms, channel).any(has_alarm);
        let mut followed = self.followed.iter_mut();
        if let Some(one) =
            followed.find(|one| one.channel == channel && one.is_estimate == is_estimate)
        {
            one.signal.take(time, value, quality, believed);
        }
        let meters = self.meters.iter_mut().filter(|_| is_estimate);
        for one in meters.filter(|one| one.channel == channel) {
            let ran = one.meter.take(value);
            if let Some(place) = place(&self.parts, time) {
                add(&mut self.metered[place], &ran);
            }
        }
    }

    /// All values have come.
    pub fn end(mut self, book: Book, newest_losses: Option<(Timestamp, Losses)>) -> SumpFacts<'a> {
        self.followed.iter_mut().for_each(|one| one.signal.end());
        let setup = self.setup;
        let moved = moved(setup, &book);
        let alarms = std::mem::take(&mut self.alarms);
        let of_alarms: Vec<&Occurrence> = alarms.iter().collect();
        let checks = checks(setup, self.period, book.written(), &of_alarms);
        let percent = |brix: f64| {
            let chart = &setup.fluid.chart;
            chart
                .concentration(Brix::from_degrees(brix), setup.water_zero)
                .percent()
        };
        let log_sheet = log_sheet(book.written(), self.zone, percent);
        let parts = self.part_facts(&moved);
        let mut used = Litres::default();
        parts.iter().for_each(|part| add(&mut used, &part.used));
        let recharges = book
            .written()
            .iter()
            .filter(|one| is_recharge(&one.entry.kind));
        SumpFacts {
            setup,
            period: self.period,
            cut: self.cut,
            recharges: recharges.count(),
            cost: setup
                .prices
                .as_ref()
                .map(|prices| Cost::of_litres(&used, prices)),
            used,
            parts,
            moved,
            alarms,
            checks,
            log_sheet,
            newest_losses,
            book,
            followed: self.followed,
        }
    }

    fn part_facts(&self, moved: &[Moved]) -> Vec<PartFacts> {
        let errors = Errors::of(self.setup);
        let each = self.parts.iter().zip(&self.metered).map(|(part, metered)| {
            let mut used = *metered;
            let within = moved.iter().filter(|one| part.period.has(one.time));
            within.for_each(|one| add(&mut used, &one.litres()));
            let stretch = Stretch {
                period: part.period,
                concentration: &self.followed[0].signal,
                volume: &self.followed[1].signal,
                moved,
                metered: (
                    metered.concentrate_l + metered.water_l,
                    metered.concentrate_l,
                ),
                fills_itself: self.setup.fills_itself,
            };
            let known = stretch.where_known();
            PartFacts {
                part: *part,
                cost: self
                    .setup
                    .prices
                    .as_ref()
                    .map(|prices| Cost::of_litres(&used, prices)),
                used,
                known: known.period,
                lost: match lost(&known, &errors) {
                    Err(NotTold::TooShort) if stretch.is_long() => Err(NotTold::NotKnown),
                    other => other,
                },
            }
        });
        each.collect()
    }
}

/// The alarms that say that this channel's instrument is not well, or disagrees
/// with a hand reading.
fn of_instrument<'a>(
    alarms: &'a [Occurrence],
    channel: &'a str,
) -> impl Iterator<Item = &'a Occurrence> {
    alarms.iter().filter(move |one| {
        let kinds = ["instrument.", "disagrees."].iter();
        let mut named = kinds.filter_map(|kind| one.alarm.condition.strip_prefix(kind));
        named.any(|named| named == channel)
    })
}

fn is_recharge(kind: &EntryKind) -> bool {
    matches!(
        kind,
        EntryKind::Event {
            what: HappeningKind::Recharged,
            ..
        }
    )
}

/// Where a signal should be: between its lower and its upper limit; the
/// concentration in the window that people are shown.
fn window(setup: &SumpSetup, quantity: Quantity) -> Window {
    if quantity == Quantity::Concentration {
        return Window {
            low: Some(setup.window.0.percent()),
            high: Some(setup.window.1.percent()),
        };
    }
    let limit = |level: LimitLevel| {
        let mut of_signal = setup.limits.iter().filter(|one| one.signal == quantity);
        of_signal
            .find(|one| one.level == level)
            .map(|one| one.threshold)
    };
    Window {
        low: limit(LimitLevel::Low),
        high: limit(LimitLevel::High),
    }
}

impl SumpFacts<'_> {
    /// The signal of the estimated concentration, %.
    pub fn concentration(&self) -> &Signal {
        &self.followed[0].signal
    }

    /// The signal of the estimated volume, L.
    pub fn volume(&self) -> &Signal {
        &self.followed[1].signal
    }

    /// The first channel of a quantity.
    pub fn of(&self, quantity: Quantity) -> Option<&Followed> {
        self.followed
            .iter()
            .find(|one| one.quantity == quantity && !one.is_estimate)
    }
}
