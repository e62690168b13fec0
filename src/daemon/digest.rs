//! What a contact's daily digest tells, out of the store.

use std::collections::BTreeMap;

use jiff::civil::Date;
use serde::Deserialize;

use crate::engine::{PLANT, SumpWatch};
use crate::notify::{Digest, Doses, OpenAdvice, Raised, Standing, Stock};
use crate::settings::{Contact, Settings};
use crate::store::{Reader, StoredJournal};
use crate::units::{Span, Timestamp};

use super::kept::{self, KeptError};
use super::plant_desk::PlantDesk;
use super::stock::StockUse;

/// Advice that was given longer ago is not looked for. Choice: what nobody
/// followed for a week is past.
const LOOK_BACK: Span = Span::from_hours(7 * 24);
/// Most lines of the journal that are looked through. Choice: hundreds of sumps
/// write less in a week.
const MOST_LINES: usize = 50_000;

/// What is looked at in lines of the journal.
#[derive(Deserialize)]
struct Line {
    #[serde(default)]
    condition: Option<String>,
    #[serde(default)]
    own: Option<OwnRule>,
    #[serde(default)]
    transition: Option<String>,
    /// An object where advice is given, else its id.
    #[serde(default)]
    advice: Option<serde_json::Value>,
    #[serde(default)]
    as_expected: Option<bool>,
}

/// What is looked at of a rule of the plant's own.
#[derive(Deserialize)]
struct OwnRule {
    title: String,
}

/// The digest of a day, which begins at `midnight` and whose day before began
/// at `before`.
pub(super) fn digest(
    settings: &Settings,
    reader: &Reader,
    contact: &Contact,
    (before, midnight): (Timestamp, Timestamp),
) -> Result<Digest, KeptError> {
    let mut digest = Digest::default();
    let mut watches = Vec::new();
    for (place, sump) in settings.sumps.iter().enumerate() {
        let watch = kept::watch(settings, reader, sump)?;
        if contact.sumps.contains(&place) {
            let alarms = watch.iter().flat_map(|watch| watch.status().alarms);
            digest.standing.extend(alarms.map(|alarm| Standing {
                title: sump.title.clone(),
                own_title: sump.own_title(&alarm.condition).map(str::to_owned),
                alarm,
            }));
        }
        watches.push(watch);
    }
    let plant = PlantDesk::take_up(settings, reader, midnight)?;
    let alarms = plant.watch.alarms_shown().into_iter();
    digest.standing.extend(alarms.map(|alarm| Standing {
        title: settings.plant.name.to_string(),
        own_title: None,
        alarm,
    }));
    digest
        .standing
        .sort_by_key(|one| (std::cmp::Reverse(one.alarm.priority), one.alarm.since));
    let lines = reader.journal_since(midnight - LOOK_BACK, MOST_LINES)?;
    look_through(&lines, settings, contact, (before, midnight), &mut digest);
    digest.stock = stock(settings, &watches, contact);
    Ok(digest)
}

fn look_through(
    lines: &[StoredJournal],
    settings: &Settings,
    contact: &Contact,
    (before, midnight): (Timestamp, Timestamp),
    digest: &mut Digest,
) {
    let titles: BTreeMap<&str, &str> = contact
        .sumps
        .iter()
        .map(|place| &settings.sumps[*place])
        .map(|sump| (&*sump.name, sump.title.as_str()))
        // What is the plant's is everybody's.
        .chain([(PLANT, &*settings.plant.name)])
        .collect();
    let mut raised: BTreeMap<(&str, String), (usize, Option<String>)> = BTreeMap::new();
    let mut open: BTreeMap<String, &str> = BTreeMap::new();
    let mut doses = Doses::default();
    for stored in lines {
        let Some(title) = titles.get(stored.sump.as_str()) else {
            continue;
        };
        let Ok(line) = serde_json::from_str::<Line>(&stored.body) else {
            continue;
        };
        let of_yesterday = (before..midnight).contains(&stored.time);
        let id = line.advice.as_ref().and_then(|id| id.as_str());
        match stored.kind.as_str() {
            "alarm" if of_yesterday && line.transition.as_deref() == Some("raised") => {
                let condition = line.condition.unwrap_or_default();
                let (count, own_title) = raised.entry((title, condition)).or_default();
                *count += 1;
                *own_title = line.own.map(|own| own.title);
            }
            "advice" => {
                if let Some(id) = dosing(line.advice.as_ref()) {
                    open.insert(id.to_owned(), title);
                }
            }
            "advice_followed" | "advice_withdrawn" => {
                open.remove(id.unwrap_or_default());
            }
            "advice_restored" => {
                open.insert(id.unwrap_or_default().to_owned(), title);
            }
            "advice_outcome" if of_yesterday => match line.as_expected {
                Some(true) => doses.as_expected += 1,
                Some(false) => doses.missed += 1,
                None => doses.unknown += 1,
            },
            _ => {}
        }
    }
    digest.raised = raised
        .into_iter()
        .map(|((title, condition), (count, own_title))| Raised {
            title: title.to_owned(),
            condition,
            own_title,
            count,
        })
        .collect();
    digest.advice = open
        .into_iter()
        .map(|(advice, title)| OpenAdvice {
            title: title.to_owned(),
            advice,
        })
        .collect();
    digest.doses = doses;
}

/// The id of advice that has a dose.
fn dosing(advice: Option<&serde_json::Value>) -> Option<&str> {
    let advice = advice?;
    advice.get("dose").filter(|dose| !dose.is_null())?;
    advice.get("id")?.as_str()
}

/// The stock of the fluids that the contact's sumps have.
fn stock(settings: &Settings, watches: &[Option<SumpWatch>], contact: &Contact) -> Vec<Stock> {
    let theirs = contact.sumps.iter().map(|place| &settings.sumps[*place]);
    let theirs: Vec<&str> = theirs.map(|sump| &*sump.fluid.name).collect();
    let stocks = settings.stocks.iter();
    let wanted = stocks.filter(|stock| theirs.contains(&&*stock.fluid));
    let told = wanted.map(|stock| Stock {
        fluid: stock.fluid.clone(),
        left_l: StockUse::by_watches(stock, &settings.sumps, watches).left_l,
    });
    told.collect()
}

/// When a day and the day before it began by the contact's clocks.
pub(super) fn midnights(contact: &Contact, day: Date) -> Option<(Timestamp, Timestamp)> {
    let begin = |day: Date| {
        let midnight = contact.time_zone.to_timestamp(day.into()).ok()?;
        Some(Timestamp::from_millis(midnight.as_millisecond()))
    };
    Some((begin(day.yesterday().ok()?)?, begin(day)?))
}
