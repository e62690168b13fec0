//! The time zone of a plant, and when its machines work.

use std::sync::Arc;

use jiff::civil::Date;
use jiff::tz::{TimeZone, TimeZoneDatabase};

use crate::model::{Shift, ShiftPattern};

use super::defaults;
use super::key_path::KeyPath;
use super::problem::Problem;
use super::raw::{RawPlant, RawShifts};
use super::review::Review;
use super::written::Switch;
use crate::units::nearest;

/// When machines work, where that is written.
type Pattern = Option<Arc<ShiftPattern>>;

/// What the plant says of shifts, for sumps that say nothing else. Nothing
/// stands in place of what is wrong.
#[derive(Debug)]
pub(super) struct PlantShifts {
    /// Whose clocks the shifts go by.
    zone: Option<TimeZone>,
    pattern: Option<Pattern>,
    /// Of the plant, and of every sump that names none of its own.
    holidays: Option<Vec<Date>>,
}

/// The zone of the plant's clocks. Its rules are those built into the program.
pub(super) fn time_zone(review: &mut Review, at: &KeyPath, raw: &RawPlant) -> Option<TimeZone> {
    let found = raw.time_zone.as_deref().unwrap_or(defaults::TIME_ZONE);
    zone(review, &at.key("time_zone"), found)
}

/// A zone by its name; its rules are those built into the program.
pub(super) fn zone(review: &mut Review, path: &KeyPath, found: &str) -> Option<TimeZone> {
    let zones = TimeZoneDatabase::bundled();
    let zone = zones.get(found).ok().filter(|zone| !zone.is_unknown());
    let zone = zone.ok_or_else(|| {
        let names: Vec<String> = zones.available().map(|name| name.to_string()).collect();
        Problem::UnknownZone {
            found: found.chars().take(40).collect(),
            nearest: nearest(found, names.iter().map(String::as_str)).map(str::to_owned),
        }
    });
    review.good(path, zone)
}

impl PlantShifts {
    /// Reads the table `shifts` of a plant in this zone.
    pub(super) fn read(
        review: &mut Review,
        raw: Option<&RawShifts>,
        zone: Option<TimeZone>,
    ) -> PlantShifts {
        let at = KeyPath::root().key("shifts");
        let written = raw.and_then(|raw| raw.holidays.as_deref());
        let holidays = holidays(review, &at, written.unwrap_or_default());
        let pattern = match raw {
            None => Some(None),
            Some(raw) => pattern(review, &at, raw, zone.as_ref(), holidays.as_deref()).map(Some),
        };
        PlantShifts {
            zone,
            pattern,
            holidays,
        }
    }

    /// When machines work at a sump: as it says itself, or else as the plant
    /// does.
    pub(super) fn at_sump(
        &self,
        review: &mut Review,
        at: &KeyPath,
        raw: Option<&Switch<RawShifts>>,
    ) -> Option<Pattern> {
        let raw = match raw {
            None => return self.pattern.clone(),
            Some(Switch::Off) => return Some(None),
            Some(Switch::On(raw)) => raw,
        };
        let at = at.key("shifts");
        let holidays = match raw.holidays.as_deref() {
            Some(written) => holidays(review, &at, written),
            None => self.holidays.clone(),
        };
        pattern(review, &at, raw, self.zone.as_ref(), holidays.as_deref()).map(Some)
    }
}

fn pattern(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawShifts,
    zone: Option<&TimeZone>,
    holidays: Option<&[Date]>,
) -> Option<Arc<ShiftPattern>> {
    let path = at.key("week");
    let example = "week = [\"mon-fri 06:00-22:00\"]";
    let week = review.required(&path, raw.week.as_ref(), example)?;
    let shifts = week.iter().enumerate().map(|(place, text)| {
        let shift = Shift::parse(text);
        review.good(&path.item(place), shift)
    });
    let shifts: Vec<Option<Shift>> = shifts.collect();
    let shifts: Option<Vec<Shift>> = shifts.into_iter().collect();
    let made = ShiftPattern::new(zone?.clone(), &shifts?, holidays?);
    review.good(&path, made).map(Arc::new)
}

fn holidays(review: &mut Review, at: &KeyPath, written: &[String]) -> Option<Vec<Date>> {
    let path = at.key("holidays");
    let days = written.iter().enumerate().map(|(place, text)| {
        let found = || text.chars().take(40).collect();
        let day = text.parse::<Date>().map_err(|_| Problem::NotADate(found()));
        review.good(&path.item(place), day)
    });
    let days: Vec<Option<Date>> = days.collect();
    days.into_iter().collect()
}
