//! The check plan of a sump: which checks, how often, and from when on.
//!
//! Intervals are those of the published test plans where there are such. They
//! hold for continuous operation; others may be justified (DGUV Regel 109-003,
//! annex, footnote).

use std::collections::BTreeSet;

use crate::engine::{Begins, ChannelKind, ChannelSetup, Check, PlannedCheck};
use crate::units::{Parse, Quantity, Span};

use super::key_path::KeyPath;
use super::raw::RawChecks;
use super::review::Review;
use super::written::{Switch, Written};

/// A check of the plan as it stands where nothing is written.
struct Standard {
    key: &'static str,
    written: fn(&RawChecks) -> Option<&Written>,
    /// Days between; none where it is off.
    days: Option<i64>,
}

macro_rules! standard {
    ($key:ident, $days:expr) => {
        Standard {
            key: stringify!($key),
            written: |raw| raw.$key.as_ref(),
            days: $days,
        }
    };
}

/// Choice: a daily look is seldom written down, and asking for it by an alarm a
/// sump and day would be noise. The test plans have it daily (DGUV Regel
/// 109-003, annex, test plan no. 1).
const LOOK: Standard = standard!(look, None);
/// DGUV Regel 109-003, annex, test plan no. 3.
const CONCENTRATION: Standard = standard!(concentration, Some(7));
/// Choice: a probe reads all the time, and is itself compared four times as
/// seldom as the plans have it without one.
const CONCENTRATION_INLINE: Standard = standard!(concentration_inline, Some(28));
/// DGUV Regel 109-003, annex, test plan no. 2.
const PH: Standard = standard!(ph, Some(7));
/// Choice, as for the concentration.
const PH_INLINE: Standard = standard!(ph_inline, Some(28));
/// TRGS 611, section 5.3 (1).
const NITRITE: Standard = standard!(nitrite, Some(7));
/// TRGS 611, section 5.3 (2): at most.
const NITRITE_STRETCHED: Standard = standard!(nitrite_stretched, Some(28));
/// HSE, "Bacterial contamination": weekly, later by assessment.
const DIP_SLIDE: Standard = standard!(dip_slide, Some(7));
/// Memory: monthly.
const CONDUCTIVITY: Standard = standard!(conductivity, Some(30));
/// Choice: the probe makes this check itself.
const CONDUCTIVITY_INLINE: Standard = standard!(conductivity_inline, None);
/// Memory: monthly.
const HARDNESS: Standard = standard!(hardness, Some(30));
/// Memory: monthly.
const CHLORIDE: Standard = standard!(chloride, Some(30));
/// Memory: quarterly; "when needed" in DGUV Regel 109-003, annex, test plan
/// no. 6.
const MAKE_UP_WATER: Standard = standard!(make_up_water, Some(90));
/// Choice: several sumps share a mixer, and its reading is entered at one. Where
/// it is switched on, weekly is usual (memory).
const MIXER: Standard = standard!(mixer, None);
/// Memory: monthly.
const TRAMP_OIL: Standard = standard!(tramp_oil, Some(30));
/// Common practice, no source: at each change, at least yearly.
const CLEAN_OUT: Standard = standard!(clean_out, Some(365));

/// What counts only once somebody has made it. Choice: what not every plant
/// does is asked of those only that do.
const ONCE_MADE: [Check; 8] = [
    Check::Look,
    Check::Nitrite,
    Check::DipSlide,
    Check::Conductivity,
    Check::Hardness,
    Check::Chloride,
    Check::MakeUpWater,
    Check::TrampOil,
];

/// Shortest and longest interval that can be meant.
const RANGE: (Span, Span) = (Span::from_hours(1), Span::from_hours(24 * 3650));

/// Where a plan can be written.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sources<'a> {
    /// Of the plant.
    pub(super) plant: Option<&'a Switch<RawChecks>>,
    /// Of the sump at this place, over that of the plant.
    pub(super) sump: (&'a KeyPath, Option<&'a Switch<RawChecks>>),
}

/// The check plan of a sump with these channels; empty where it is off.
pub(super) fn check_plan(
    review: &mut Review,
    sources: Sources<'_>,
    channels: &[ChannelSetup],
) -> Option<Vec<PlannedCheck>> {
    let (at, own) = sources.sump;
    let tables = match (own, sources.plant) {
        (Some(Switch::Off), _) | (None, Some(Switch::Off)) => return Some(Vec::new()),
        (own, plant) => [
            (at.key("checks"), own),
            (KeyPath::root().key("checks"), plant),
        ],
    };
    let tables = tables.into_iter().filter_map(|(at, table)| match table {
        Some(Switch::On(raw)) => Some((at, raw)),
        _ => None,
    });
    let mut reader = Reader {
        review,
        tables: tables.collect(),
    };
    let once_made = reader.once_made();
    let spread = reader.spread();
    let stretched = reader.every(&NITRITE_STRETCHED);
    let plan = Check::ALL.map(|check| {
        let every = reader.every(standard(check, channels))?;
        Some(every.map(|every| PlannedCheck {
            check,
            every,
            stretched: stretched.flatten().filter(|_| check == Check::Nitrite),
            begins: match &once_made {
                Some(once_made) if once_made.contains(&check) => Begins::OnceMade,
                _ if spread => Begins::Spread,
                _ => Begins::AtStart,
            },
        }))
    });
    once_made.as_ref()?;
    stretched?;
    let plan: Option<Vec<Option<PlannedCheck>>> = plan.into_iter().collect();
    plan.map(|plan| plan.into_iter().flatten().collect())
}

/// What holds of a check at a sump with these channels.
fn standard(check: Check, channels: &[ChannelSetup]) -> &'static Standard {
    let inline = |quantities: &[Quantity]| {
        let mut gauges = channels
            .iter()
            .filter(|channel| matches!(channel.kind, ChannelKind::Gauge));
        gauges.any(|channel| quantities.contains(&channel.quantity))
    };
    match check {
        Check::Look => &LOOK,
        Check::Concentration if inline(&[Quantity::Brix, Quantity::Concentration]) => {
            &CONCENTRATION_INLINE
        }
        Check::Concentration => &CONCENTRATION,
        Check::Ph if inline(&[Quantity::Ph]) => &PH_INLINE,
        Check::Ph => &PH,
        Check::Nitrite => &NITRITE,
        Check::DipSlide => &DIP_SLIDE,
        Check::Conductivity if inline(&[Quantity::Conductivity]) => &CONDUCTIVITY_INLINE,
        Check::Conductivity => &CONDUCTIVITY,
        Check::Hardness => &HARDNESS,
        Check::Chloride => &CHLORIDE,
        Check::MakeUpWater => &MAKE_UP_WATER,
        Check::Mixer => &MIXER,
        Check::TrampOil => &TRAMP_OIL,
        Check::CleanOut => &CLEAN_OUT,
    }
}

/// Reads from the sump's own table, and from the plant's what that leaves out.
struct Reader<'a, 'r> {
    review: &'r mut Review,
    tables: Vec<(KeyPath, &'a RawChecks)>,
}

impl Reader<'_, '_> {
    /// How often; nothing where the check is off.
    fn every(&mut self, standard: &Standard) -> Option<Option<Span>> {
        let mut tables = self.tables.iter();
        let found = tables.find_map(|(at, raw)| Some((at, (standard.written)(raw)?)));
        let Some((at, written)) = found else {
            return Some(standard.days.map(|days| Span::from_hours(24 * days)));
        };
        if written.is_off() {
            return Some(None);
        }
        let path = at.key(standard.key);
        let span = self.review.good(&path, Span::parse(written.text()))?;
        let span = self
            .review
            .within(&path, span, RANGE, |span| span.to_string())?;
        Some(Some(span))
    }

    fn once_made(&mut self) -> Option<BTreeSet<Check>> {
        let mut tables = self.tables.iter();
        let found = tables.find_map(|(at, raw)| Some((at, raw.once_made.as_ref()?)));
        let Some((at, names)) = found else {
            return Some(ONCE_MADE.into());
        };
        let path = at.key("once_made");
        let words = Check::ALL.map(|check| (check.name(), check));
        let checks = names.iter().enumerate().map(|(place, name)| {
            let path = path.item(place);
            self.review.one_of(&path, name, &words)
        });
        let checks: Vec<Option<Check>> = checks.collect();
        checks.into_iter().collect()
    }

    fn spread(&self) -> bool {
        let mut tables = self.tables.iter();
        tables.find_map(|(_, raw)| raw.spread).unwrap_or(true)
    }
}
