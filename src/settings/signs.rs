//! What a sump's chemistry is held against: minerals, souring, and the
//! refractometer against other methods.

use std::sync::Arc;

use crate::engine::{
    Bounds, FactorSetup, FluidSetup, GermBounds, MineralSetup, SouringSetup, Water,
};
use crate::units::{Parse, Ph, Quantity, Span};

use super::key_path::KeyPath;
use super::measure;
use super::problem::Problem;
use super::raw::{RawMethods, RawMinerals, RawSouring};
use super::review::Review;
use super::waters;
use super::written::Written;

/// Two values: to be watched and to be acted upon, or the two ends of a range.
pub(super) type Pair = (f64, f64);

/// Which of a pair lies further up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Rises {
    /// The second: what is too much.
    Up,
    /// The first: what is too little.
    Down,
}

/// The settings of one table, as they are read one after another.
pub(super) struct Reader<'a> {
    pub(super) review: &'a mut Review,
    pub(super) at: KeyPath,
}

impl Reader<'_> {
    /// A pair of values that may be absent.
    fn pair(
        &mut self,
        key: &str,
        written: Option<&[Written]>,
        read: impl Fn(&str) -> Result<f64, Problem>,
        usual: Pair,
        rises: Rises,
    ) -> Option<Pair> {
        let path = self.at.key(key);
        let [first, second] = match written {
            None => return Some(usual),
            Some([first, second]) => [first, second],
            Some(list) => {
                let wanted = "two values";
                let found = list.len();
                self.review.tell(&path, Problem::Length { wanted, found });
                return None;
            }
        };
        let a = self.review.good(&path.item(0), read(first.text()));
        let b = self.review.good(&path.item(1), read(second.text()));
        let (a, b) = (a?, b?);
        let (lower, upper) = match rises {
            Rises::Up => (a, b),
            Rises::Down => (b, a),
        };
        if 0.0 <= lower && lower < upper {
            return Some((a, b));
        }
        let found = format!("{} and then {}", first.text(), second.text());
        let allowed = match rises {
            Rises::Up => "two values from 0 up, the second above the first",
            Rises::Down => "two values from 0 up, the second below the first",
        };
        let allowed = allowed.to_owned();
        self.review
            .tell(&path, Problem::OutOfRange { found, allowed });
        None
    }

    /// A pair of a quantity.
    pub(super) fn of(
        &mut self,
        key: &str,
        quantity: Quantity,
        written: Option<&[Written]>,
        usual: Pair,
        rises: Rises,
    ) -> Option<Pair> {
        let read = |text: &str| measure::value(quantity, text);
        self.pair(key, written, read, usual, rises)
    }

    /// One number that may be absent.
    pub(super) fn one(
        &mut self,
        key: &str,
        written: Option<&Written>,
        read: impl Fn(&str) -> Result<f64, Problem>,
        usual: f64,
        range: Pair,
    ) -> Option<f64> {
        let path = self.at.key(key);
        let value = self.review.or_default(&path, written, read, usual)?;
        self.review
            .within(&path, value, range, |value| value.to_string())
    }

    /// A time that may be absent.
    fn span(&mut self, key: &str, written: Option<&Written>, usual: Span) -> Option<Span> {
        let path = self.at.key(key);
        let span = self.review.or_default(&path, written, Span::parse, usual)?;
        let range = (Span::from_hours(1), Span::from_hours(24 * 365));
        self.review
            .within(&path, span, range, |span| span.to_string())
    }
}

const fn bounds((watch, act): Pair) -> Bounds {
    Bounds { watch, act }
}

const fn pair(bounds: Bounds) -> Pair {
    (bounds.watch, bounds.act)
}

const fn germ_bounds((reasonable, poor): Pair) -> GermBounds {
    GermBounds { reasonable, poor }
}

const fn germ_pair(bounds: GermBounds) -> Pair {
    (bounds.reasonable, bounds.poor)
}

/// Reads the table `minerals` of a sump with these waters.
pub(super) fn minerals(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawMinerals,
    fluid: Option<&FluidSetup>,
    (first_fill, top_up): (Option<Arc<Water>>, Option<Arc<Water>>),
) -> Option<MineralSetup> {
    let usual = MineralSetup::default();
    let at = at.key("minerals");
    let mut reader = Reader { review, at };
    let hardness = reader.of(
        "hardness_limit",
        Quantity::Hardness,
        raw.hardness_limit.as_deref(),
        pair(usual.hardness),
        Rises::Up,
    );
    let chloride = reader.of(
        "chloride_limit",
        Quantity::Chloride,
        raw.chloride_limit.as_deref(),
        pair(usual.chloride),
        Rises::Up,
    );
    let excess = reader.pair(
        "conductivity_ratio",
        raw.conductivity_ratio.as_deref(),
        measure::number,
        pair(usual.excess),
        Rises::Up,
    );
    let first_fill_hardness = reader.of(
        "first_fill_hardness",
        Quantity::Hardness,
        raw.first_fill_hardness.as_deref(),
        usual.first_fill_hardness,
        Rises::Up,
    );
    let nitrate = reader.one(
        "nitrate_limit",
        raw.nitrate_limit.as_ref(),
        |text| measure::value(Quantity::Nitrite, text),
        usual.nitrate_mg_l,
        (0.0, 1000.0),
    );
    Some(MineralSetup {
        first_fill,
        top_up,
        hardness: bounds(hardness?),
        chloride: bounds(chloride?),
        excess: bounds(excess?),
        first_fill_hardness: first_fill_hardness?,
        nitrate_mg_l: nitrate?,
        sheet: fluid?.base_line,
    })
}

/// Reads the table `souring` of a sump.
pub(super) fn souring(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawSouring,
    fluid: Option<&FluidSetup>,
) -> Option<SouringSetup> {
    let usual = SouringSetup::default();
    let at = at.key("souring");
    let reference = waters::optional(
        review,
        &at.key("reference_ph"),
        Quantity::Ph,
        raw.reference_ph.as_ref(),
    );
    let mut reader = Reader { review, at };
    let ph_drop = reader.of(
        "ph_drop",
        Quantity::Ph,
        raw.ph_drop.as_deref(),
        pair(usual.ph_drop),
        Rises::Up,
    );
    let ph = |text: &str| measure::value(Quantity::Ph, text);
    let fall = reader.one(
        "ph_fall_a_week",
        raw.ph_fall_a_week.as_ref(),
        ph,
        usual.ph_fall_a_week,
        (0.01, 5.0),
    );
    let jump = reader.one(
        "ph_jump",
        raw.ph_jump.as_ref(),
        ph,
        usual.ph_jump,
        (0.05, 5.0),
    );
    let oxygen = reader.of(
        "dissolved_oxygen",
        Quantity::DissolvedOxygen,
        raw.dissolved_oxygen.as_deref(),
        pair(usual.oxygen_mg_l),
        Rises::Down,
    );
    let redox = reader.of(
        "redox_fall",
        Quantity::Redox,
        raw.redox_fall.as_deref(),
        pair(usual.redox_fall_mv),
        Rises::Up,
    );
    let bacteria = reader.of(
        "bacteria",
        Quantity::Bacteria,
        raw.bacteria.as_deref(),
        germ_pair(usual.bacteria),
        Rises::Up,
    );
    let fungi = reader.of(
        "fungi",
        Quantity::Fungi,
        raw.fungi.as_deref(),
        germ_pair(usual.fungi),
        Rises::Up,
    );
    let still = reader.span("still", raw.still.as_ref(), usual.still);
    let counts_for = reader.span("counts_for", raw.counts_for.as_ref(), usual.counts_for);
    let fluid = fluid?;
    Some(SouringSetup {
        reference_ph: reference?.map(Ph::from_units),
        fresh_ph: fluid.fresh_ph,
        ph_drop: bounds(ph_drop?),
        ph_per_decade: fluid.ph_per_decade,
        ph_fall_a_week: fall?,
        ph_jump: jump?,
        oxygen_mg_l: bounds(oxygen?),
        redox_fall_mv: bounds(redox?),
        bacteria: germ_bounds(bacteria?),
        fungi: germ_bounds(fungi?),
        still: still?,
        counts_for: counts_for?,
    })
}

/// Reads the table `methods` of a sump.
pub(super) fn methods(review: &mut Review, at: &KeyPath, raw: &RawMethods) -> Option<FactorSetup> {
    let usual = FactorSetup::default();
    let at = at.key("methods");
    let mut reader = Reader { review, at };
    let points = reader.one(
        "gap",
        raw.gap.as_ref(),
        |text| measure::value(Quantity::Concentration, text),
        usual.gap_points,
        (0.05, 20.0),
    );
    let share = reader.one(
        "gap_share",
        raw.gap_share.as_ref(),
        measure::share,
        usual.gap_share,
        (0.01, 1.0),
    );
    let oil = reader.one(
        "tramp_oil",
        raw.tramp_oil.as_ref(),
        |text| measure::value(Quantity::TrampOil, text),
        usual.tramp_oil_pct,
        (0.1, 50.0),
    );
    Some(FactorSetup {
        gap_points: points?,
        gap_share: share?,
        tramp_oil_pct: oil?,
    })
}
