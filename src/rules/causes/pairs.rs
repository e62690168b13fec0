//! The sump's signals side by side.

use super::minerals::MineralSeen;

/// pH that is off by less says nothing. Choice: a step of an indicator stick.
const TELLING_PH: f64 = 0.2;

/// How a signal goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Course {
    /// Nobody knows.
    #[default]
    Unknown,
    /// It stays, as far as its readings tell.
    Steady,
    /// It surely rises.
    Rising,
    /// It surely falls.
    Falling,
}

/// The sump's signals side by side, over the last hours. What is not known is
/// left out.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Pairs {
    /// How the concentration goes, beside what doses do.
    pub concentration: Course,
    /// How the volume goes, likewise.
    pub volume: Course,
    /// Water that came in by the balance and that nobody wrote down, L or L/h.
    pub water_in: Option<f64>,
    /// Mix or concentrate that came in so.
    pub mix_in: Option<f64>,
    /// Mix that is lost beyond what is usual, L/h.
    pub mix_lost: Option<f64>,
    /// Water that is lost beyond what is usual, L/h.
    pub water_lost: Option<f64>,
    /// Water that people wrote down, L.
    pub water_written: Option<f64>,
    /// Hours since anything was added.
    pub since_added_h: Option<f64>,
    /// How much stronger a mixer gives than it is set to, points, where that is
    /// too far off.
    pub mixer_off_pct: Option<f64>,
    /// How much more the instrument of concentration shows than the hand reading,
    /// points.
    pub over_hand_pct: Option<f64>,
    /// How far that has to be to tell.
    pub hand_tolerance_pct: f64,
    /// Whether the instrument of concentration asks for somebody.
    pub prism_asks: bool,
    /// How its reading moves against the balance, points a day.
    pub forbidden_a_day: Option<f64>,
    /// Conductivity over its base line at this concentration.
    pub conductivity_ratio: Option<f64>,
    /// By how much the concentration has risen beyond what the conductivity shows,
    /// points, where that is too much.
    pub beyond_conductivity_pct: Option<f64>,
    /// How much more the refractometer reads than titration or laboratory, points,
    /// where that is too much.
    pub over_titration_pct: Option<f64>,
    /// Whether tramp oil was measured or seen.
    pub oil_found: bool,
    /// Whether pH rose suddenly within days.
    pub ph_jumped: bool,
    /// Change of pH since the charge was fresh that the concentration explains.
    pub ph_by_concentration: Option<f64>,
    /// Whether there is too little oxygen.
    pub oxygen_low: Option<f64>,
    /// Whether germs were found.
    pub germs_found: bool,
    /// Whether it smells bad.
    pub smells: bool,
    /// For how long it has stood still, h.
    pub stood_still_h: Option<f64>,
    /// Its temperature where that is warm, °C.
    pub warm_c: Option<f64>,
    /// Whether the pH electrode asks for somebody.
    pub electrode_asks: bool,
    /// Whether the level probe asks for somebody.
    pub level_probe_asks: bool,
    /// Whether the pumps run, and for how many hours they do so or not.
    pub pumps: Option<(bool, f64)>,
    /// Whether foam was seen.
    pub foam_seen: bool,
    /// By how much what a control chart is kept of has shifted, in its unit.
    pub shift: Option<f64>,
    /// What is known of hardness.
    pub hardness: MineralSeen,
    /// What is known of chloride.
    pub chloride: MineralSeen,
    /// Nitrate of the make-up water by the settings, mg/L: the most of its waters.
    pub nitrate_mg_l: Option<f64>,
    /// Nitrate that it may have, mg/L.
    pub nitrate_most_mg_l: f64,
    /// How far pH is below that of the fresh charge, beyond what the concentration
    /// makes.
    pub ph_unexplained: Option<f64>,
    /// The count of bacteria where that is good, CFU/mL.
    pub germs_few: Option<f64>,
    /// Days since the charge was filled.
    pub charge_age_d: Option<f64>,
    /// How the temperature goes.
    pub temperature: Course,
    /// By how much the sump holds less than it should, % of that, where it is much.
    pub short_of_fluid_pct: Option<f64>,
    /// Whether the temperature probe asks for somebody.
    pub temperature_probe_asks: bool,
    /// Whether the conductivity cell asks for somebody.
    pub conductivity_cell_asks: bool,
}

impl Pairs {
    /// The hand reading lies higher by more than is usual, points.
    pub(super) fn hand_higher(&self) -> Option<f64> {
        let gap = self
            .over_hand_pct
            .filter(|gap| *gap < -self.hand_tolerance_pct)?;
        Some(-gap)
    }

    /// The hand reading lies lower by more than is usual, points.
    pub(super) fn hand_lower(&self) -> Option<f64> {
        self.over_hand_pct
            .filter(|gap| *gap > self.hand_tolerance_pct)
    }

    /// The hand reading agrees.
    pub(super) fn hand_agrees(&self) -> bool {
        let gap = self.over_hand_pct;
        gap.is_some_and(|gap| gap.abs() <= self.hand_tolerance_pct)
    }

    /// Nothing was added for longer than these hours.
    pub(super) fn nothing_added_for(&self, hours: f64) -> Option<f64> {
        self.since_added_h.filter(|since| *since > hours)
    }

    /// Hardness or chloride are to be watched.
    pub(super) fn minerals_high(&self) -> bool {
        self.hardness.is_high() || self.chloride.is_high()
    }

    /// Chloride is to be watched, and hardness is known not to be.
    pub(super) fn chloride_alone(&self) -> bool {
        self.chloride.is_high() && self.hardness.is_not_high()
    }

    /// How far pH is below that of the fresh charge, unexplained.
    pub(super) fn ph_fell(&self) -> Option<f64> {
        self.ph_unexplained.filter(|fell| *fell > TELLING_PH)
    }

    /// How far pH is above that of the fresh charge, unexplained.
    pub(super) fn ph_over(&self) -> Option<f64> {
        let over = self.ph_unexplained.map(|fell| -fell);
        over.filter(|over| *over > TELLING_PH)
    }

    /// Conductivity is above its base line by more than this share.
    pub(super) fn conducts_more(&self, share: f64) -> Option<f64> {
        self.conductivity_ratio.filter(|ratio| *ratio > 1.0 + share)
    }

    /// Conductivity is below its base line by more than this share.
    pub(super) fn conducts_less(&self, share: f64) -> Option<f64> {
        self.conductivity_ratio.filter(|ratio| *ratio < 1.0 - share)
    }

    /// Conductivity has not risen with the concentration: by how many points of it, or
    /// else what share of its base line there is, below one by more than this; with
    /// the unit.
    pub(super) fn conductivity_lags(&self, share: f64) -> (Option<f64>, &'static str) {
        match self.beyond_conductivity_pct {
            Some(points) => (Some(points), "%"),
            None => (self.conducts_less(share), ""),
        }
    }

    /// Conductivity is what the concentration makes it, within this share.
    pub(super) fn conducts_as_usual(&self, share: f64) -> bool {
        let ratio = self.conductivity_ratio;
        ratio.is_some_and(|ratio| (ratio - 1.0).abs() <= share)
    }
}
