//! The volumes of a sump, which must fit into each other: lines, working
//! volume, largest volume, what the tank and the lines hold.

use crate::units::{Parse, Volume};
use crate::vessel::Vessel;

use super::defaults;
use super::key_path::KeyPath;
use super::measure;
use super::problem::Problem;
use super::raw::RawSump;
use super::raw_limits::RawLimit;
use super::review::Review;
use super::written::{Switch, Written};

/// Volumes of a sump in litres; nothing in place of one that is wrong.
#[derive(Debug, Clone, Copy)]
pub(super) struct Volumes {
    /// In lines and machines, out of sight of the level probe.
    pub(super) lines: Option<f64>,
    /// To be kept, lines included.
    pub(super) working: Option<f64>,
    /// Never to be exceeded, lines included.
    pub(super) max: Option<f64>,
    /// Of what is in the lines, the part that runs back when the pumps stop,
    /// where it is written.
    pub(super) drain_back: Option<Option<f64>>,
}

/// Reads the volumes and fits them to the tank.
pub(super) fn volumes(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawSump,
    vessel: Option<&Vessel>,
) -> Volumes {
    let lines = lines(review, at, raw);
    let holds = match (vessel, lines) {
        (Some(vessel), Some(lines)) => vessel.full_volume().litres() + lines,
        _ => f64::INFINITY,
    };
    let working = working(review, at, raw, lines.unwrap_or(0.0), holds);
    let max = working.and_then(|working| max(review, at, raw, working, holds));
    let drain_back = match &raw.drain_back {
        None => Some(None),
        Some(written) => drain_back(review, at, written, lines, max.map(|max| holds - max)),
    };
    Volumes {
        lines,
        working,
        max,
        drain_back,
    }
}

/// What runs back comes out of the lines, and a tank that stands at its largest
/// volume must have room for it.
fn drain_back(
    review: &mut Review,
    at: &KeyPath,
    written: &Written,
    lines: Option<f64>,
    room: Option<f64>,
) -> Option<Option<f64>> {
    let path = at.key("drain_back");
    let volume = review.good(&path, Volume::parse(written.text()))?.litres();
    let (lines, room) = (lines?, room?);
    if 0.0 <= volume && volume <= lines && volume <= room {
        return Some(Some(volume));
    }
    let found = litres(volume);
    let lines = litres(lines);
    let allowed = if room.is_finite() {
        let room = litres(room);
        format!(
            "0 L to what is in the lines ({lines}), and no more than tank and lines hold beyond \
             max_volume ({room}), or the tank runs over when the pumps stop"
        )
    } else {
        format!("0 L to what is in the lines ({lines})")
    };
    review.tell(&path, Problem::OutOfRange { found, allowed });
    None
}

fn lines(review: &mut Review, at: &KeyPath, raw: &RawSump) -> Option<f64> {
    let path = at.key("lines");
    let usual = Volume::default();
    let lines = review.or_default(&path, raw.lines.as_ref(), Volume::parse, usual)?;
    review.within(&path, lines.litres(), (0.0, 1_000_000.0), litres)
}

fn working(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawSump,
    lines: f64,
    holds: f64,
) -> Option<f64> {
    let path = at.key("working_volume");
    let example = "working_volume = \"820 L\"";
    let volume = review.needed(&path, raw.working_volume.as_ref(), Volume::parse, example)?;
    let volume = volume.litres();
    if lines < volume && volume <= holds {
        return Some(volume);
    }
    let found = litres(volume);
    let allowed = if holds.is_finite() {
        let (lines, holds) = (litres(lines), litres(holds));
        format!("more than the lines hold ({lines}), at most what tank and lines hold ({holds})")
    } else {
        format!("more than the lines hold ({})", litres(lines))
    };
    review.tell(&path, Problem::OutOfRange { found, allowed });
    None
}

/// The largest volume; unless settled it makes room for the highest limit.
fn max(review: &mut Review, at: &KeyPath, raw: &RawSump, working: f64, holds: f64) -> Option<f64> {
    let path = at.key("max_volume");
    let usual = working * defaults::MAX_SHARE;
    let limit = highest_limit(raw).and_then(|written| {
        let path = at.key("limits").key("level").key("high_high");
        let limit = review.good(&path, measure::volume_or_share(written.text(), working))?;
        Some((path, limit))
    });
    let (volume, why) = match (&raw.max_volume, &limit) {
        (Some(written), _) => {
            let volume = review.good(&path, Volume::parse(written.text()))?;
            (volume.litres(), "")
        }
        (None, Some((_, limit))) if *limit > usual => (*limit, " (limits.level.high_high)"),
        (None, _) => (usual, " (105 % of working_volume)"),
    };
    if !(working < volume && volume <= holds) {
        let found = format!("{}{why}", litres(volume));
        let (least, most) = (litres(working), litres(holds));
        let allowed = if holds.is_finite() {
            format!("more than working_volume ({least}), at most what tank and lines hold ({most})")
        } else {
            format!("more than working_volume ({least})")
        };
        review.tell(&path, Problem::OutOfRange { found, allowed });
        return None;
    }
    if let Some((path, limit)) = limit
        && limit > volume
    {
        let found = litres(limit);
        let allowed = format!("at most max_volume ({})", litres(volume));
        review.tell(&path, Problem::OutOfRange { found, allowed });
    }
    Some(volume)
}

fn highest_limit(raw: &RawSump) -> Option<&Written> {
    match raw.limits.as_ref()?.level.as_ref()? {
        Switch::On(RawLimit { high_high, .. }) => high_high.as_ref().filter(|it| !it.is_off()),
        Switch::Off => None,
    }
}

fn litres(volume: f64) -> String {
    format!("{volume:.1} L")
}
