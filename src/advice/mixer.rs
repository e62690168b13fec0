//! Mixers (proportioners): what they should give, and what they do give.
//!
//! Those that draw by a nozzle drift with water pressure, viscosity and wear,
//! so that their outlet is read from time to time (memory; common practice:
//! weekly).

use serde::Serialize;

use crate::model::makeup;
use crate::units::{Concentration, Measured, median};

use super::losses::LossRates;

/// Earlier readings of an outlet that tell what is usual. Choice: a median of
/// fewer follows a single slip.
const USUAL_FROM: usize = 3;

/// A ratio this far from what is usual is a drift, as a share of it. Choice:
/// twice what the lot of a concentrate moves a refractive factor by.
const DRIFT: f64 = 0.1;

/// The strength of make-up that keeps a sump at its target against its losses,
/// c·D/(E+D), as [`makeup`] has it; none where nothing is lost. As uncertain as
/// the share of carry-off, c·u(D/T).
pub fn holding_strength(target: Concentration, losses: &LossRates) -> Option<Measured> {
    let holding = makeup::holding_strength(target, &losses.rates()?).ok()?;
    let by_share = target.percent() * losses.carry_off_share()?.uncertainty;
    Some(Measured::new(holding.percent(), by_share))
}

/// The concentration that a sump comes to when all its losses are replaced by
/// one premix, p·(E+D)/D, as [`makeup`] has it. None without carry-off, as it
/// never settles then, and beyond neat concentrate. As uncertain as the share
/// of carry-off, p·u(D/T)·(T/D)².
pub fn leads_to(premix: Concentration, losses: &LossRates) -> Option<Measured> {
    let settles = makeup::steady_concentration(premix, &losses.rates()?).ok()?;
    let share = losses.carry_off_share()?;
    let by_share = settles.percent() * share.uncertainty / share.value;
    Some(Measured::new(settles.percent(), by_share))
}

/// A reading at the outlet of a mixer against its setting.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MixerCheck {
    /// The mixer.
    pub mixer: String,
    /// What it is set to and should give, %.
    pub setting_pct: f64,
    /// What it gives, %.
    pub got_pct: Measured,
    /// What to set it to so that it gives what it should, %; none where it
    /// gives nothing, where the scale does not reach so far, or where it gives
    /// it already as far as the reading can tell.
    pub new_setting_pct: Option<f64>,
    /// What it usually gives for its setting, as a share, once that is known.
    pub usual_ratio: Option<f64>,
    /// Whether it gives something else now than it usually does.
    pub drifted: bool,
}

/// What a reading at the outlet calls for. Its words stand under `mixer.<key>`
/// in the phrases of each language.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum MixerVerdict {
    /// Nothing.
    Right,
    /// Another setting.
    SetAnew,
    /// A look at the mixer: no setting would bring it right.
    BeyondSetting,
}

impl MixerCheck {
    /// Judges a reading, with what earlier ones gave for their settings, as
    /// shares.
    pub fn new(mixer: &str, setting: Concentration, got: Measured, earlier: &[f64]) -> Self {
        let usual_ratio = usual(earlier);
        let ratio = got.value / setting.percent();
        let unsure = 2.0 * got.uncertainty / setting.percent();
        MixerCheck {
            mixer: mixer.to_owned(),
            setting_pct: setting.percent(),
            got_pct: got,
            new_setting_pct: corrected(setting, got),
            usual_ratio,
            drifted: usual_ratio
                .is_some_and(|usual| (ratio - usual).abs() > (DRIFT * usual).max(unsure)),
        }
    }

    /// What it gave for its setting, as a share.
    pub fn ratio(&self) -> f64 {
        self.got_pct.value / self.setting_pct
    }

    /// What the reading calls for.
    pub fn verdict(&self) -> MixerVerdict {
        let off = (self.got_pct.value - self.setting_pct).abs();
        match self.new_setting_pct {
            Some(_) => MixerVerdict::SetAnew,
            None if off <= 2.0 * self.got_pct.uncertainty => MixerVerdict::Right,
            None => MixerVerdict::BeyondSetting,
        }
    }
}

/// The setting that gives what is wanted, linear through zero: setting ×
/// want/got; worked out here.
fn corrected(setting: Concentration, got: Measured) -> Option<f64> {
    let want = setting.percent();
    let new = want * want / got.value;
    let off = (got.value - want).abs() > 2.0 * got.uncertainty;
    (off && got.value > 0.0 && new <= 100.0).then_some(new)
}

/// What is usual among enough of them.
fn usual(ratios: &[f64]) -> Option<f64> {
    let mut ratios = ratios.to_vec();
    median(&mut ratios).filter(|_| ratios.len() >= USUAL_FROM)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn losses(evaporation: f64, carry_off: f64) -> LossRates {
        let (e, d) = (0.1 * evaporation, 0.1 * carry_off);
        LossRates {
            evaporation: Measured::new(evaporation, e),
            carry_off: Measured::new(carry_off, d),
            both: Measured::new(evaporation + carry_off, e.hypot(d)),
        }
    }

    fn pct(percent: f64) -> Concentration {
        Concentration::from_percent(percent)
    }

    fn worked(kind: &str, inputs: &str) -> f64 {
        let table = include_str!("../../tests/reference/mass_balance_misc.csv");
        let mut rows = csv::ReaderBuilder::new();
        let mut rows = rows.comment(Some(b'#')).from_reader(table.as_bytes());
        let row = rows
            .records()
            .map(Result::unwrap)
            .find(|row| &row[0] == kind && row[1].contains(inputs));
        row.unwrap()[3].parse().unwrap()
    }

    #[test]
    fn agrees_with_the_worked_cases() {
        let hold = |c, e, d| holding_strength(pct(c), &losses(e, d)).unwrap().value;
        let want = worked("makeup_strength", "c=6");
        assert!((hold(6.0, 50.0, 20.0) - want).abs() < 1e-6);
        let want = worked("makeup_strength", "c=8");
        assert!((hold(8.0, 12.0, 18.0) - want).abs() < 1e-6);
        let steady = leads_to(pct(3.0), &losses(40.0, 20.0)).unwrap().value;
        assert!((steady - worked("steady_concentration", "premix 3")).abs() < 1e-6);
        let new = corrected(pct(6.0), Measured::new(5.1, 0.1)).unwrap();
        assert!((new - worked("mixer_correction", "setting 6.0")).abs() < 1e-6);
    }

    /// What is lost as vapour is not carried off: where the sum is well known,
    /// the strength is less well known than its parts alone would say.
    #[test]
    fn what_holds_is_as_uncertain_as_the_share_of_carry_off() {
        let independent = losses(40.0, 20.0);
        let sum_is_known = LossRates {
            evaporation: Measured::new(40.0, 2.0),
            carry_off: Measured::new(20.0, 2.0),
            both: Measured::new(60.0, 0.0),
        };
        let of = |losses: &LossRates| holding_strength(pct(6.0), losses).unwrap();
        // 6 · 2/60; and 6 · √((40·2)² + (20·4)²)/60².
        assert!((of(&sum_is_known).uncertainty - 0.2).abs() < 1e-9);
        assert!((of(&independent).uncertainty - 0.188_561_8).abs() < 1e-6);
    }

    #[test]
    fn says_nothing_where_nothing_can_be_said() {
        assert_eq!(holding_strength(pct(6.0), &losses(0.0, 0.0)), None);
        assert_eq!(leads_to(pct(6.0), &losses(10.0, 0.0)), None);
        // Right as far as the reading can tell; nothing drawn; off the scale.
        assert_eq!(corrected(pct(6.0), Measured::new(5.9, 0.1)), None);
        assert_eq!(corrected(pct(6.0), Measured::new(0.0, 0.1)), None);
        assert_eq!(corrected(pct(6.0), Measured::new(0.3, 0.1)), None);
    }

    #[test]
    fn a_drift_is_told_against_what_is_usual() {
        let got = Measured::new(5.1, 0.1);
        let check = |earlier: &[f64]| MixerCheck::new("east", pct(6.0), got, earlier);
        assert!(!check(&[1.0, 1.0]).drifted);
        assert!(check(&[0.99, 1.0, 3.0, 1.01]).drifted);
        assert!(!check(&[0.85, 0.84, 0.9]).drifted);
        let off = check(&[1.0, 1.0, 1.0]);
        assert_eq!(off.verdict(), MixerVerdict::SetAnew);
        let fine = MixerCheck::new("east", pct(6.0), Measured::new(6.1, 0.1), &[]);
        assert_eq!(fine.verdict(), MixerVerdict::Right);
        let dry = MixerCheck::new("east", pct(6.0), Measured::new(0.0, 0.1), &[]);
        assert_eq!(dry.verdict(), MixerVerdict::BeyondSetting);
    }

    proptest! {
        /// What holds the target leads to it, and the other way round.
        #[test]
        fn holding_and_steady_are_one(c in 1f64..20.0, e in 0f64..100.0, d in 0.1f64..100.0) {
            let losses = losses(e, d);
            let hold = holding_strength(pct(c), &losses).unwrap();
            prop_assert!(hold.value <= c * (1.0 + 1e-12) && hold.value > 0.0);
            let back = leads_to(pct(hold.value), &losses).unwrap();
            prop_assert!((back.value - c).abs() < 1e-9 * c);
        }

        /// Against differences of the formulas themselves, with errors that
        /// hang together: (∂f/∂E·u(E))² + (∂f/∂D·u(D))² + 2·∂f/∂E·∂f/∂D·u(E, D).
        #[test]
        fn the_uncertainties_are_those_of_the_slopes(
            e in 1f64..100.0, d in 1f64..100.0, correlation in -1f64..1.0,
        ) {
            let (u, v) = (0.1, 0.2);
            let sum = (u * u + v * v + 2.0 * correlation * u * v).sqrt();
            let at = |e: f64, d: f64| LossRates {
                evaporation: Measured::new(e, u),
                carry_off: Measured::new(d, v),
                both: Measured::new(e + d, sum),
            };
            let h = 1e-4;
            let formulas: [fn(Concentration, &LossRates) -> Option<Measured>; 2] =
                [holding_strength, leads_to];
            for of in formulas {
                // Weak enough that no premix leads beyond neat concentrate.
                let value = |e, d| of(pct(0.5), &at(e, d)).unwrap().value;
                let by_e = (value(e + h, d) - value(e - h, d)) / (2.0 * h) * u;
                let by_d = (value(e, d + h) - value(e, d - h)) / (2.0 * h) * v;
                let got = of(pct(0.5), &at(e, d)).unwrap().uncertainty;
                let want = by_e * by_e + by_d * by_d + 2.0 * correlation * by_e * by_d;
                let want = want.max(0.0).sqrt();
                prop_assert!((got - want).abs() <= 1e-3 * want.max(0.01), "{got} {want}");
            }
        }

        /// A mixer that is off by one factor gives what is wanted once it is
        /// set anew.
        #[test]
        fn the_new_setting_gives_what_is_wanted(want in 1f64..20.0, factor in 0.3f64..3.0) {
            let got = Measured::new(want * factor, 1e-6);
            if let Some(new) = corrected(pct(want), got) {
                prop_assert!((new * factor - want).abs() < 1e-9 * want);
            }
        }
    }
}
