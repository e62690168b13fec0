//! What people measure amounts out with, and how they are told them.

use serde::Serialize;

use crate::units::Volume;

/// Litres of one US gallon: 231 cubic inches of (25.4 mm)³ each, exactly (NIST
/// Handbook 44, appendix C; memory).
const GALLON_L: f64 = 3.785_411_784;

/// Amounts of more cans than this are told without counting them out. Choice:
/// so much is metered, not carried.
const MOST_CANS: f64 = 20.0;

/// An amount is not rounded to steps where that changes it by more than this
/// share. Choice: as much as a lot of concentrate differs from its chart; a
/// small amount is never rounded to nothing.
const MOST_ROUNDING: f64 = 0.1;

/// The unit that a plant measures volumes in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub enum VolumeUnit {
    /// Litres.
    #[default]
    #[serde(rename = "L")]
    Litre,
    /// US gallons.
    #[serde(rename = "US gal")]
    UsGallon,
}

impl VolumeUnit {
    /// Litres of one unit.
    pub const fn litres(self) -> f64 {
        match self {
            VolumeUnit::Litre => 1.0,
            VolumeUnit::UsGallon => GALLON_L,
        }
    }

    /// The unit as it is written.
    pub const fn symbol(self) -> &'static str {
        match self {
            VolumeUnit::Litre => "L",
            VolumeUnit::UsGallon => "US gal",
        }
    }
}

/// An amount in cans.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cans {
    /// Full ones.
    pub count: u32,
    /// What one holds, L.
    pub size_l: f64,
    /// What is left over, L.
    pub rest_l: Option<f64>,
}

/// What people measure amounts out with.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Measure {
    /// The unit that they are told amounts in.
    pub unit: VolumeUnit,
    /// The smallest amount that they can measure out, L.
    #[serde(rename = "step_l", serialize_with = "litres")]
    pub step: Volume,
    /// The can that they carry, L.
    #[serde(rename = "vessel_l", serialize_with = "litres_if_any")]
    pub vessel: Option<Volume>,
}

fn litres<S: serde::Serializer>(volume: &Volume, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_f64(volume.litres())
}

fn litres_if_any<S: serde::Serializer>(volume: &Option<Volume>, to: S) -> Result<S::Ok, S::Error> {
    volume.map(Volume::litres).serialize(to)
}

impl Measure {
    /// The most whole steps in so many litres, in litres.
    pub(super) fn down(&self, litres: f64) -> f64 {
        let step = self.step.litres();
        (litres / step + 1e-9).floor().max(0.0) * step
    }

    /// The fewest whole steps that hold so many litres, in litres.
    pub(super) fn up(&self, litres: f64) -> f64 {
        let step = self.step.litres();
        // With 0 added, the −0 of nothing becomes 0.
        ((litres / step - 1e-9).ceil() + 0.0).max(0.0) * step
    }

    /// The nearest number of whole steps to so many litres, in litres.
    pub(super) fn nearest(&self, litres: f64) -> f64 {
        let step = self.step.litres();
        (litres / step).round().max(0.0) * step
    }

    /// So many litres as they are measured out: the nearest number of whole
    /// steps, and the amount itself where steps are too coarse for it.
    pub(super) fn out(&self, litres: f64) -> f64 {
        unless_too_coarse(litres, self.nearest(litres))
    }

    /// As [`Measure::out`], and never more than that.
    pub(super) fn out_at_most(&self, litres: f64) -> f64 {
        unless_too_coarse(litres, self.down(litres))
    }

    /// An amount in the plant's unit: `97 L`, `9.5 US gal`.
    pub fn plain(&self, litres: f64) -> String {
        format!(
            "{} {}",
            number(litres / self.unit.litres()),
            self.unit.symbol()
        )
    }

    /// An amount to one decimal below ten units, in whole units above.
    pub fn rough(&self, litres: f64) -> String {
        let amount = litres / self.unit.litres();
        let decimals = usize::from(amount < 9.95);
        format!("{amount:.decimals$} {}", self.unit.symbol())
    }

    /// An amount in the plant's unit, counted out in cans where there are some
    /// but not too many: `34 L (3 cans of 10 L and 4 L)`.
    pub fn words(&self, litres: f64) -> String {
        let plain = self.plain(litres);
        let Some(cans) = self.cans(litres) else {
            return plain;
        };
        let many = if cans.count == 1 { "can" } else { "cans" };
        let full = format!("{} {many} of {}", cans.count, self.plain(cans.size_l));
        match cans.rest_l {
            None => format!("{plain} ({full})"),
            Some(rest) => format!("{plain} ({full} and {})", self.plain(rest)),
        }
    }

    /// An amount counted out in cans, where there are some but not too many.
    pub fn cans(&self, litres: f64) -> Option<Cans> {
        let size_l = self.vessel?.litres();
        let count = (litres / size_l + 1e-9).floor();
        if !(1.0..=MOST_CANS).contains(&count) {
            return None;
        }
        let rest = litres - count * size_l;
        Some(Cans {
            count: count as u32,
            size_l,
            rest_l: (rest >= 0.5 * self.step.litres()).then_some(rest),
        })
    }
}

fn unless_too_coarse(litres: f64, rounded: f64) -> f64 {
    if (rounded - litres).abs() <= MOST_ROUNDING * litres {
        rounded
    } else {
        litres
    }
}

/// To two decimals, without zeros at the end.
fn number(value: f64) -> String {
    let rounded = (value * 100.0).round() / 100.0;
    format!("{rounded}")
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::units::Parse;

    fn measure(unit: VolumeUnit, step: f64, vessel: Option<f64>) -> Measure {
        Measure {
            unit,
            step: Volume::from_litres(step),
            vessel: vessel.map(Volume::from_litres),
        }
    }

    #[test]
    fn the_gallon_is_the_one_that_is_read() {
        let read = Volume::parse("1 gal(US)").unwrap().litres();
        assert_eq!(VolumeUnit::UsGallon.litres(), read);
        // 231 cubic inches of (2.54 cm)³ each.
        assert!((read - 231.0 * 2.54f64.powi(3) / 1000.0).abs() < 1e-12);
    }

    #[test]
    fn amounts_are_counted_out_in_cans() {
        let cans = measure(VolumeUnit::Litre, 1.0, Some(10.0));
        assert_eq!(cans.words(34.0), "34 L (3 cans of 10 L and 4 L)");
        assert_eq!(cans.words(10.0), "10 L (1 can of 10 L)");
        assert_eq!(cans.words(9.0), "9 L");
        assert_eq!(cans.words(0.0), "0 L");
        assert_eq!(cans.words(3193.0), "3193 L");
        assert_eq!(measure(VolumeUnit::Litre, 1.0, None).words(34.0), "34 L");
        assert_eq!(measure(VolumeUnit::Litre, 0.5, None).words(3.5), "3.5 L");
    }

    #[test]
    fn gallons_are_told_as_gallons() {
        let quart = VolumeUnit::UsGallon.litres() / 4.0;
        let can = VolumeUnit::UsGallon.litres() * 5.0;
        let cans = measure(VolumeUnit::UsGallon, quart, Some(can));
        let amount = cans.nearest(97.0);
        assert_eq!(
            cans.words(amount),
            "25.5 US gal (5 cans of 5 US gal and 0.5 US gal)"
        );
    }

    #[test]
    fn doubts_are_told_no_finer_than_they_are_known() {
        let litres = measure(VolumeUnit::Litre, 1.0, None);
        assert_eq!(
            (litres.rough(5.44), litres.rough(12.6)),
            ("5.4 L".into(), "13 L".into())
        );
    }

    #[test]
    fn it_is_written_in_litres() {
        let cans = measure(VolumeUnit::UsGallon, 1.0, Some(10.0));
        assert_eq!(
            serde_json::to_string(&cans).unwrap(),
            r#"{"unit":"US gal","step_l":1.0,"vessel_l":10.0}"#
        );
    }

    proptest! {
        #[test]
        fn steps_enclose_what_is_rounded(litres in 0f64..10_000.0, step in 0.01f64..50.0) {
            let of = measure(VolumeUnit::Litre, step, None);
            let (down, nearest, up) = (of.down(litres), of.nearest(litres), of.up(litres));
            prop_assert!(down <= litres + 1e-6 && litres <= up + 1e-6);
            prop_assert!(up - down <= step * (1.0 + 1e-9) && down >= 0.0);
            prop_assert!((nearest - litres).abs() <= step / 2.0 + 1e-6);
            for whole in [down, nearest, up] {
                prop_assert!(((whole / step).round() * step - whole).abs() < 1e-6);
            }
        }

        #[test]
        fn what_is_measured_out_is_near_and_never_nothing(
            litres in 0f64..10_000.0, step in 0.01f64..50.0,
        ) {
            let of = measure(VolumeUnit::Litre, step, None);
            for out in [of.out(litres), of.out_at_most(litres)] {
                prop_assert!((out - litres).abs() <= 0.1 * litres + 1e-9);
                prop_assert!(litres == 0.0 || out > 0.0);
            }
            prop_assert!(of.out_at_most(litres) <= litres + 1e-6);
            if litres > 10.0 * step {
                let steps = of.out(litres) / step;
                prop_assert!((steps - steps.round()).abs() < 1e-6);
            }
        }

        #[test]
        fn gallons_there_and_back(litres in 0f64..100_000.0) {
            let gallons = litres / VolumeUnit::UsGallon.litres();
            let back = Volume::parse(&format!("{gallons} gal(US)")).unwrap().litres();
            prop_assert!((back - litres).abs() <= 1e-9 * (1.0 + litres));
        }

        /// What is read off the words is what was meant.
        #[test]
        fn cans_and_rest_add_up(steps in 0u32..400, vessel in 2u32..40) {
            let of = measure(VolumeUnit::Litre, 0.5, Some(f64::from(vessel)));
            let litres = f64::from(steps) * 0.5;
            let words = of.words(litres);
            if let Some((_, cans)) = words.split_once('(') {
                let count: f64 = cans.split(' ').next().unwrap().parse().unwrap();
                let rest = cans.split_once(" and ").map_or(0.0, |(_, rest)| {
                    rest.split(' ').next().unwrap().parse().unwrap()
                });
                prop_assert!((count * f64::from(vessel) + rest - litres).abs() < 1e-9, "{words}");
            }
        }
    }
}
