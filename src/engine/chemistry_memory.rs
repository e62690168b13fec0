//! What is remembered of a sump's chemistry: with the newest entry that spoke of
//! it, and without.
//!
//! Both are fed alike by what instruments say. When the newest entry is
//! corrected the one without it stands, with everything that was seen since;
//! what came of older entries stays until the next reading puts it right.

use serde::{Deserialize, Serialize};

use crate::chemistry::Chart;
use crate::model::{FactorWatch, MineralWatch, OtherMethod, SouringWatch};
use crate::units::{Brix, Measured, Timestamp};

use super::mineral_moves::Moved;
use super::watch::SumpWatch;

/// A chart is known by what it makes of these, °Bx. Choice: low, usual and high
/// for a sump, whatever its target is.
const KNOWN_BY: [f64; 3] = [1.0, 4.0, 12.0];
/// Two charts are the same where they differ by less than this there, %. Choice:
/// far below what anybody reads.
const SAME_PCT: f64 = 1e-6;

/// What is remembered of a sump's chemistry.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub(super) struct ChemistryWatch {
    pub(super) now: Signs,
    /// The same without the newest entry that changed it.
    without: Option<Without>,
    /// What the refractometer's chart made of [`KNOWN_BY`], %.
    chart: Option<[f64; 3]>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Without {
    entry: String,
    signs: Box<Signs>,
    /// What had been told by the readings before the entry wrote it down.
    explains: Option<Moved>,
}

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub(super) struct Signs {
    pub(super) minerals: MineralWatch,
    pub(super) souring: SouringWatch,
    pub(super) factor: FactorWatch,
    /// The newest reading of a hand refractometer, °Bx above the water's own.
    pub(super) net_brix: Option<(Timestamp, f64)>,
    /// The newest concentration by another method, %.
    pub(super) other: Option<(Timestamp, f64, OtherMethod)>,
    /// The newest reading of tramp oil, %.
    pub(super) tramp_oil: Option<(f64, Timestamp)>,
    /// The newest reading of nitrite, mg/L.
    pub(super) nitrite: Option<(Timestamp, Measured)>,
    /// When a film of oil was last seen.
    pub(super) oil_film: Option<Timestamp>,
}

impl ChemistryWatch {
    /// With the newest entry, and without it: what no entry says goes into both.
    pub(super) fn both(&mut self) -> impl Iterator<Item = &mut Signs> {
        let without = self.without.as_mut().map(|without| &mut *without.signs);
        std::iter::once(&mut self.now).chain(without)
    }

    /// Undoes what the entry changed, where it was the newest to do so; gives
    /// what it had explained.
    pub(super) fn undo(&mut self, entry: &str) -> Option<Moved> {
        let without = self.without.take_if(|without| without.entry == entry)?;
        self.now = *without.signs;
        without.explains
    }

    /// The entry is the newest to have changed it, and it was so before.
    pub(super) fn keep_without(&mut self, entry: &str, before: Signs) {
        self.without = Some(Without {
            entry: entry.to_owned(),
            signs: Box::new(before),
            explains: None,
        });
    }

    /// The newest entry explains what the readings had told; whether it is the
    /// newest and explains nothing yet.
    pub(super) fn explain(&mut self, entry: &str, moved: Moved) -> bool {
        let newest = self.without.as_mut();
        let newest = newest.filter(|one| one.entry == entry && one.explains.is_none());
        newest.is_some_and(|newest| newest.explains.replace(moved).is_none())
    }

    fn begin_factor(&mut self, time: Timestamp) {
        for signs in self.both() {
            signs.factor.begin_factor(time);
        }
    }
}

impl SumpWatch {
    /// Looks whether the settings bring another chart than pairs were taken
    /// under: those then say nothing of it.
    pub(super) fn look_at_chart(&mut self) {
        let chart = known_by(&self.setup.fluid.chart);
        let same = |before: [f64; 3]| {
            let pairs = before.into_iter().zip(chart);
            pairs.into_iter().all(|(a, b)| (a - b).abs() <= SAME_PCT)
        };
        if self.chemistry.chart.is_some_and(|before| !same(before)) {
            self.chemistry.begin_factor(self.now);
            self.charts.begin_anew();
            self.conductivity_witness.begin_anew();
        }
        self.chemistry.chart = Some(chart);
    }
}

fn known_by(chart: &Chart) -> [f64; 3] {
    KNOWN_BY.map(|brix| {
        let net = Brix::from_degrees(brix);
        chart.concentration(net, Brix::default()).percent()
    })
}
