//! Conductivity beyond what the concentration accounts for.

use serde::{Deserialize, Serialize};

use super::setup::Bounds;
use crate::model::FirstDay;
use crate::units::{Concentration, Conductivity, Measured, Timestamp};

/// Below this strength conductivity says next to nothing of the fluid. Choice.
const LEANEST_PCT: f64 = 0.5;

/// The base line k0 + k1 c of a fluid's conductivity, as its sheet gives it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct SheetBaseLine {
    /// k0: what the water has.
    pub base: Option<Conductivity>,
    /// k1: what each % of concentrate adds, µS/cm.
    pub per_percent_us_cm: Option<f64>,
}

/// The base line of a charge.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub(super) struct BaseLine {
    /// k0 while it is learned, µS/cm.
    base_us_cm: f64,
    /// k1 on the charge's first day, µS/cm a %.
    per_percent: FirstDay,
}

/// Where a base line is from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum BaseLineFrom {
    /// From the first day of this charge.
    FirstDay,
    /// From the fluid's data sheet.
    Sheet,
}

/// How far conductivity is beyond its base line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ExcessLevel {
    /// Not far.
    Usual,
    /// Salts, metals or cleaner have come in.
    Watch,
    /// So much of them that the mix is to be diluted with purified water, or
    /// changed.
    Act,
}

/// Conductivity against its base line.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ConductivityExcess {
    /// The base line at the present concentration, µS/cm.
    pub base_line_us_cm: f64,
    /// Conductivity beyond it, µS/cm.
    pub excess_us_cm: f64,
    /// Conductivity as a multiple of it.
    pub ratio: f64,
    /// How far that is.
    pub level: ExcessLevel,
    /// Where the base line is from.
    pub base_line: BaseLineFrom,
}

impl BaseLine {
    /// Begins to learn it with a charge; k0 is that of the sheet, or else of the
    /// water. Where neither is known the line goes through zero: the
    /// conductivity of a mix is mostly that of its concentrate (memory).
    pub(super) fn of_charge(
        time: Timestamp,
        sheet: &SheetBaseLine,
        water: Option<Conductivity>,
    ) -> Self {
        let base = sheet.base.or(water);
        BaseLine {
            base_us_cm: base.map_or(0.0, Conductivity::microsiemens_per_cm),
            per_percent: FirstDay::of_charge(time),
        }
    }

    /// Learns from the sump as it is now.
    pub(super) fn step(&mut self, time: Timestamp, seen: Conductivity, at: Concentration) {
        if at.percent() >= LEANEST_PCT {
            let beyond = seen.microsiemens_per_cm() - self.base_us_cm;
            self.per_percent.step(time, beyond / at.percent());
        }
    }

    /// Conductivity against the base line: that of the first day, and until it
    /// is known that of the sheet.
    pub(super) fn excess(
        &self,
        sheet: &SheetBaseLine,
        bounds: Bounds,
        seen: Conductivity,
        at: Concentration,
    ) -> Option<ConductivityExcess> {
        let learned = self.per_percent.reference().map(|k1| k1.value);
        let (base, per_percent, from) = match (learned, sheet.per_percent_us_cm) {
            (Some(k1), _) => (self.base_us_cm, k1, BaseLineFrom::FirstDay),
            (None, Some(k1)) => {
                let k0 = sheet.base.map_or(0.0, Conductivity::microsiemens_per_cm);
                (k0, k1, BaseLineFrom::Sheet)
            }
            (None, None) => return None,
        };
        let line = base + per_percent * at.percent();
        if at.percent() < LEANEST_PCT || line <= 0.0 {
            return None;
        }
        let seen = seen.microsiemens_per_cm();
        Some(ConductivityExcess {
            base_line_us_cm: line,
            excess_us_cm: seen - line,
            ratio: seen / line,
            level: level(seen / line, bounds),
            base_line: from,
        })
    }
}

fn level(ratio: f64, bounds: Bounds) -> ExcessLevel {
    if ratio > bounds.act {
        ExcessLevel::Act
    } else if ratio > bounds.watch {
        ExcessLevel::Watch
    } else {
        ExcessLevel::Usual
    }
}

/// Relative standard uncertainty of a content that is told by conductivity
/// alone. Choice: what piles up has not quite the water's composition, and oil
/// droplets hinder its ions.
const BY_EXCESS: f64 = 0.3;
/// Purified water conducts so little that nothing can be told by it. Memory:
/// reverse osmosis leaves 5 to 20 µS/cm.
const TELLING_US_CM: f64 = 50.0;

/// A mineral's content by the excess alone: what it was at the first fill, and
/// as much more as the top-up water has for each µS/cm of its own. An upper
/// figure where metals or cleaner have come in too. Worked out here.
pub(super) fn content_by_excess(
    excess: &ConductivityExcess,
    at_first_fill: Measured,
    top_up: Measured,
    top_up_conductivity: Conductivity,
) -> Option<Measured> {
    let conducts = top_up_conductivity.microsiemens_per_cm();
    if conducts < TELLING_US_CM {
        return None;
    }
    let more = excess.excess_us_cm.max(0.0) * top_up.value / conducts;
    Some(Measured {
        value: at_first_fill.value + more,
        uncertainty: at_first_fill.uncertainty.hypot(BY_EXCESS * more),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Span;

    const BOUNDS: Bounds = Bounds {
        watch: 1.5,
        act: 2.0,
    };

    fn us(value: f64) -> Conductivity {
        Conductivity::from_microsiemens_per_cm(value)
    }

    fn pct(value: f64) -> Concentration {
        Concentration::from_percent(value)
    }

    fn at(minutes: i64) -> Timestamp {
        Timestamp::from_millis(0) + Span::from_mins(minutes)
    }

    fn learned() -> BaseLine {
        let mut line = BaseLine::of_charge(at(0), &SheetBaseLine::default(), Some(us(400.0)));
        for half_hour in 2..10 {
            let c = 6.0 + 0.1 * half_hour as f64;
            line.step(at(30 * half_hour), us(400.0 + 300.0 * c), pct(c));
        }
        line
    }

    #[test]
    fn the_first_day_gives_the_line_whatever_the_concentration_later() {
        let line = learned();
        let excess = |seen, c| {
            line.excess(&SheetBaseLine::default(), BOUNDS, us(seen), pct(c))
                .unwrap()
        };
        let usual = excess(400.0 + 300.0 * 9.0, 9.0);
        assert!((usual.ratio - 1.0).abs() < 1e-9, "{usual:?}");
        assert_eq!(usual.base_line, BaseLineFrom::FirstDay);
        assert_eq!(excess(3300.0, 6.0).level, ExcessLevel::Usual);
        assert_eq!(excess(3301.0, 6.0).level, ExcessLevel::Watch);
        assert_eq!(excess(4401.0, 6.0).level, ExcessLevel::Act);
        assert!((excess(3300.0, 6.0).excess_us_cm - 1100.0).abs() < 1e-9);
    }

    #[test]
    fn the_sheet_stands_in_and_without_either_nothing_is_said() {
        let fresh = BaseLine::default();
        let sheet = SheetBaseLine {
            base: Some(us(500.0)),
            per_percent_us_cm: Some(250.0),
        };
        let excess = fresh.excess(&sheet, BOUNDS, us(2600.0), pct(6.0)).unwrap();
        assert_eq!(excess.base_line, BaseLineFrom::Sheet);
        assert_eq!(excess.base_line_us_cm, 2000.0);
        assert_eq!(excess.ratio, 1.3);
        let nothing = SheetBaseLine::default();
        assert_eq!(fresh.excess(&nothing, BOUNDS, us(2600.0), pct(6.0)), None);
        assert_eq!(fresh.excess(&sheet, BOUNDS, us(600.0), pct(0.2)), None);
    }

    #[test]
    fn the_excess_tells_a_content_where_the_top_up_water_conducts() {
        let line = learned();
        let sheet = SheetBaseLine::default();
        let excess = line.excess(&sheet, BOUNDS, us(2700.0), pct(6.0)).unwrap();
        let (first, tap) = (Measured::new(188.0, 10.0), Measured::new(200.0, 20.0));
        let told = content_by_excess(&excess, first, tap, us(500.0)).unwrap();
        assert!(
            (told.value - (188.0 + 500.0 * 0.4)).abs() < 1e-9,
            "{told:?}"
        );
        assert!((told.uncertainty - 10f64.hypot(60.0)).abs() < 1e-9);
        assert_eq!(content_by_excess(&excess, first, tap, us(15.0)), None);
    }
}
