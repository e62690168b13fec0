//! Which water for the first fill and which for top-ups, in words.

use serde::Serialize;

use super::forecast::Course;
use super::setup::{Mineral, MineralSetup, Water};
use super::status::SumpNow;
use super::turnover::TapShare;
use crate::units::Measured;

/// Which water for what, and why.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WaterAdvice {
    /// On the water of a first fill.
    pub first_fill: String,
    /// On the water of top-ups.
    pub top_up: String,
    /// The largest share of the mineral-rich water in the top-up water, the
    /// rest purified, that keeps every limit, 0 to 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tap_share: Option<f64>,
    /// The share that keeps them in nineteen of twenty cases.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cautious_tap_share: Option<f64>,
    /// On the nitrate of a water that has too much.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nitrate: Option<String>,
}

/// The mineral that allows the least of a water.
struct Tightest {
    mineral: Mineral,
    limit: f64,
    share: TapShare,
    cautious: f64,
    steady: Option<f64>,
}

/// Advice where a water of the sump is described.
pub(super) fn advise(setup: &MineralSetup, now: &SumpNow) -> Option<WaterAdvice> {
    let (first, top_up) = (setup.first_fill.as_deref(), setup.top_up.as_deref());
    let richest = richest(first, top_up)?;
    let tightest = tightest(setup, now, richest);
    Some(WaterAdvice {
        first_fill: first_fill(first.and_then(|water| water.hardness), setup),
        top_up: top_up_words(richest, tightest.as_ref()),
        tap_share: tightest.as_ref().map(|one| one.share.share()),
        cautious_tap_share: tightest.as_ref().map(|one| one.cautious),
        nitrate: [first, top_up]
            .into_iter()
            .flatten()
            .find_map(|water| nitrate(water, setup)),
    })
}

/// The water that brings most: it is its share in the top-up that matters.
fn richest<'a>(first: Option<&'a Water>, top_up: Option<&'a Water>) -> Option<&'a Water> {
    let brings = |water: &Water| {
        let each = Mineral::ALL.map(|mineral| water.content(mineral).map_or(0.0, |c| c.value));
        each.into_iter().sum::<f64>()
    };
    let waters = [top_up, first].into_iter().flatten();
    waters.max_by(|a, b| brings(a).total_cmp(&brings(b)))
}

fn tightest(setup: &MineralSetup, now: &SumpNow, water: &Water) -> Option<Tightest> {
    let losses = now.losses?;
    let each = Mineral::ALL.into_iter().filter_map(|mineral| {
        let course = Course {
            volume: now.volume,
            concentration: now.concentration,
            losses,
            now: Measured::new(0.0, 0.0),
            top_up: water.content(mineral)?,
        };
        let limit = setup.bounds(mineral).watch;
        let (share, cautious) = course.tap_share(limit);
        Some(Tightest {
            mineral,
            limit,
            share,
            cautious,
            steady: course.turnover().steady_mg_l(course.top_up.value),
        })
    });
    each.min_by(|a, b| a.share.share().total_cmp(&b.share.share()))
}

fn first_fill(hardness: Option<Measured>, setup: &MineralSetup) -> String {
    let (softest, hardest) = setup.first_fill_hardness;
    let wanted = format!("{softest:.0} to {hardest:.0} mg/L CaCO3");
    match hardness.map(|hardness| hardness.value) {
        Some(mg_l) if mg_l < softest => format!(
            "First fill: this water has {mg_l:.0} mg/L CaCO3, and a fresh mix foams in water so \
             soft; fill with tap water of {wanted}, or with a blend that has so much."
        ),
        Some(mg_l) if mg_l > hardest => format!(
            "First fill: this water has {mg_l:.0} mg/L CaCO3, which troubles emulsions; blend it \
             with purified water to {wanted}."
        ),
        _ => format!(
            "First fill with tap water of moderate hardness, {wanted}, so that the mix does not \
             foam."
        ),
    }
}

fn top_up_words(water: &Water, tightest: Option<&Tightest>) -> String {
    let reason = "Top up with purified water (reverse osmosis or deionised; softened water keeps \
                  its salts): water evaporates, its minerals stay and pile up.";
    let Some(one) = tightest else {
        return reason.to_owned();
    };
    let (name, limit) = (&water.name, one.limit);
    let mineral = one.mineral.quantity();
    let ends = match one.steady {
        Some(steady) => format!("end at {steady:.0} mg/L"),
        None => "rise without end, as nothing is carried off".to_owned(),
    };
    match one.share {
        TapShare::All => format!(
            "Top-ups with \"{name}\" alone let {mineral} {ends}, which stays under {limit:.0} mg/L; \
             purified water keeps the mix longer still."
        ),
        TapShare::AtMost(share) => format!(
            "{reason} With \"{name}\" alone {mineral} would {ends}; at most {:.0} % of it in the \
             top-up water keeps {mineral} under {limit:.0} mg/L, {:.0} % to be sure.",
            100.0 * share,
            100.0 * one.cautious,
        ),
        TapShare::None => {
            format!("{reason} With \"{name}\" {mineral} would {ends}: use none of it for top-ups.")
        }
    }
}

/// TRGS 611, section 5.2: not above 50 mg/L, else blended with demineralised
/// water; exactly 50 is allowed.
fn nitrate(water: &Water, setup: &MineralSetup) -> Option<String> {
    let (found, limit) = (water.nitrate_mg_l?, setup.nitrate_mg_l);
    (found > limit).then(|| {
        format!(
            "The water \"{}\" has {found:.0} mg/L of nitrate, and mixing water is to have no more \
             than {limit:.0}: blend it with purified water (TRGS 611, section 5.2).",
            water.name
        )
    })
}
