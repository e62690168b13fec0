//! The mass of one mineral in a sump, and how well it is known.

use serde::{Deserialize, Serialize};

use crate::units::{Concentration, Measured, Span, Timestamp, Volume};

/// A reading further off than so many standard deviations says that something
/// moved unseen: it is taken as it is. Choice: the usual three.
const SURPRISING: f64 = 3.0;
/// Milliseconds of a day.
const DAY_MS: f64 = 86_400_000.0;

/// What is known of one mineral in a sump.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum Content {
    /// Nothing yet.
    #[default]
    Unknown,
    /// Its mass is followed.
    Followed(Mass),
    /// It was followed until a water of unknown content was put in.
    Lost {
        /// When that was.
        since: Timestamp,
    },
}

/// The mass of a mineral.
///
/// An error of the sump's volume that stays the same cancels in mass by volume,
/// and is not counted. What is doubtful about losses and waters is the same
/// from day to day, and so adds up in a line, not as noise would; each of the
/// three sources of doubt is independent of the others.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(super) struct Mass {
    mass_mg: f64,
    /// Doubt of what it was followed from: first fill or reading, mg.
    from_start_mg: f64,
    /// Doubt of the carry-off since then, mg.
    from_losses_mg: f64,
    /// Doubt of the waters since then, mg.
    from_waters_mg: f64,
    /// The last reading, if there was one.
    read: Option<Read>,
}

/// What came of a reading.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(super) struct Read {
    /// When it was taken.
    pub(super) time: Timestamp,
    /// What was read, mg/L.
    pub(super) value: f64,
    /// What had been expected, mg/L, where that was further off than chance
    /// lets it be.
    pub(super) surprising: Option<f64>,
}

impl Content {
    /// That of a fresh charge of `volume` litres.
    pub(super) fn of_charge(
        volume: Volume,
        strength: Concentration,
        water: Option<Measured>,
    ) -> Self {
        let litres = volume.litres() * (1.0 - strength.fraction());
        water.map_or(Content::Unknown, |water| {
            Content::Followed(Mass {
                mass_mg: litres * water.value,
                from_start_mg: litres * water.uncertainty,
                from_losses_mg: 0.0,
                from_waters_mg: 0.0,
                read: None,
            })
        })
    }

    /// Its mass in mg per litre of `volume`; nothing of an empty sump.
    pub(super) fn mg_l(&self, volume: Volume) -> Option<Measured> {
        match self {
            Content::Followed(mass) if is_filled(volume) => Some(mass.mg_l(volume)),
            Content::Followed(_) | Content::Unknown | Content::Lost { .. } => None,
        }
    }

    /// What came of the last reading.
    pub(super) fn read(&self) -> Option<Read> {
        match self {
            Content::Followed(mass) => mass.read,
            Content::Unknown | Content::Lost { .. } => None,
        }
    }

    /// Carries off what goes with parts and chips in a time; returns how much
    /// that was, mg.
    pub(super) fn carry_off(&mut self, span: Span, carry_off_l_d: Measured, volume: Volume) -> f64 {
        let Content::Followed(mass) = self else {
            return 0.0;
        };
        if !is_filled(volume) {
            return 0.0;
        }
        let days = span.millis() as f64 / DAY_MS;
        let turned = carry_off_l_d.value.max(0.0) * days / volume.litres();
        let before = mass.mass_mg;
        mass.keep_share((-turned).exp());
        mass.from_losses_mg += mass.mass_mg * carry_off_l_d.uncertainty * days / volume.litres();
        before - mass.mass_mg
    }

    /// Lets `litres` out of `volume`; returns how much went with them, mg.
    pub(super) fn let_out(&mut self, litres: f64, volume: Volume) -> f64 {
        let Content::Followed(mass) = self else {
            return 0.0;
        };
        let before = mass.mass_mg;
        let stays = if is_filled(volume) {
            (1.0 - litres / volume.litres()).clamp(0.0, 1.0)
        } else {
            0.0
        };
        mass.keep_share(stays);
        before - mass.mass_mg
    }

    /// Puts in `litres` of water of this content; returns how much that
    /// brought, mg.
    pub(super) fn put_in(&mut self, time: Timestamp, litres: f64, water: Option<Measured>) -> f64 {
        let Content::Followed(mass) = self else {
            return 0.0;
        };
        if litres == 0.0 {
            return 0.0;
        }
        let Some(water) = water else {
            *self = Content::Lost { since: time };
            return 0.0;
        };
        mass.mass_mg += litres * water.value;
        mass.from_waters_mg += litres * water.uncertainty;
        litres * water.value
    }

    /// Takes back that `litres` of mix were let out of `volume`. Where that was
    /// everything, nothing tells how much it was, and it stays as it is.
    pub(super) fn back_in(&mut self, litres: f64, volume: Volume) {
        let stayed = 1.0 - litres / volume.litres();
        if let Content::Followed(mass) = self
            && is_filled(volume)
            && stayed > 0.0
        {
            mass.keep_share(1.0 / stayed);
        }
    }

    /// Takes back that `litres` of water of this content were put in.
    pub(super) fn back_out(&mut self, litres: f64, water: Measured) {
        if let Content::Followed(mass) = self {
            mass.mass_mg = (mass.mass_mg - litres * water.value).max(0.0);
            let doubt = mass.from_waters_mg - litres * water.uncertainty;
            mass.from_waters_mg = doubt.max(0.0);
        }
    }

    /// Corrects it by a reading of the mix, mg/L: a scalar Kalman step, each of
    /// the two weighed by the other's variance. In an empty sump there is nothing
    /// to read.
    pub(super) fn correct(&mut self, time: Timestamp, reading: Measured, volume: Volume) {
        if !is_filled(volume) {
            return;
        }
        let expected = self.mg_l(volume);
        let (corrected, surprising) = match expected {
            None => (reading, None),
            Some(expected) => {
                let off = reading.value - expected.value;
                let sigma = expected.uncertainty.hypot(reading.uncertainty);
                if off.abs() > SURPRISING * sigma {
                    (reading, Some(expected.value))
                } else {
                    (weighed(expected, reading), None)
                }
            }
        };
        *self = Content::Followed(Mass {
            mass_mg: corrected.value * volume.litres(),
            from_start_mg: corrected.uncertainty * volume.litres(),
            from_losses_mg: 0.0,
            from_waters_mg: 0.0,
            read: Some(Read {
                time,
                value: reading.value,
                surprising,
            }),
        });
    }
}

impl Mass {
    fn mg_l(&self, volume: Volume) -> Measured {
        let doubts = [self.from_losses_mg, self.from_waters_mg];
        let doubt = doubts.into_iter().fold(self.from_start_mg, f64::hypot);
        Measured::new(self.mass_mg / volume.litres(), doubt / volume.litres())
    }

    fn keep_share(&mut self, share: f64) {
        self.mass_mg *= share;
        self.from_start_mg *= share;
        self.from_losses_mg *= share;
        self.from_waters_mg *= share;
    }
}

/// Whether there is enough in a sump that a content means something. Choice: a
/// litre is less than any level probe tells from nothing.
fn is_filled(volume: Volume) -> bool {
    volume.litres() >= 1.0
}

/// The mean of two independent values by their variances; the first where
/// neither can be doubted.
fn weighed(a: Measured, b: Measured) -> Measured {
    let (va, vb) = (a.uncertainty.powi(2), b.uncertainty.powi(2));
    if va + vb <= 0.0 {
        return a;
    }
    let gain = va / (va + vb);
    Measured {
        value: a.value + gain * (b.value - a.value),
        uncertainty: ((1.0 - gain) * va).sqrt(),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const V: Volume = Volume::from_litres(1000.0);

    fn charge(hardness: f64, uncertainty: f64) -> Content {
        let water = Measured::new(hardness, uncertainty);
        Content::of_charge(V, Concentration::from_percent(6.0), Some(water))
    }

    fn days(count: f64) -> Span {
        Span::from_millis((count * DAY_MS) as i64)
    }

    fn at(day: i64) -> Timestamp {
        Timestamp::from_millis(0) + Span::from_hours(24 * day)
    }

    #[test]
    fn doubt_of_the_carry_off_grows_with_time() {
        let mut content = charge(200.0, 0.0);
        assert_eq!(content.mg_l(V), Some(Measured::new(188.0, 0.0)));
        content.carry_off(days(10.0), Measured::new(20.0, 5.0), V);
        let after = content.mg_l(V).unwrap();
        let left = 188.0 * (-0.2f64).exp();
        assert!((after.value - left).abs() < 1e-9);
        assert!((after.uncertainty - left * 0.05).abs() < 1e-9, "{after:?}");
    }

    #[test]
    fn a_reading_counts_by_its_weight() {
        let mut content = charge(100.0 / 0.94, 10.0 / 0.94);
        content.correct(at(1), Measured::new(120.0, 10.0), V);
        let after = content.mg_l(V).unwrap();
        assert!((after.value - 110.0).abs() < 1e-9, "{after:?}");
        assert!((after.uncertainty - 50f64.sqrt()).abs() < 1e-9);
        assert_eq!(content.read().unwrap().surprising, None);
    }

    #[test]
    fn a_reading_far_off_is_taken_as_it_is_and_told() {
        let mut content = charge(200.0, 5.0);
        content.correct(at(1), Measured::new(90.0, 10.0), V);
        assert_eq!(content.mg_l(V), Some(Measured::new(90.0, 10.0)));
        assert_eq!(content.read().unwrap().surprising, Some(188.0));
    }

    #[test]
    fn water_of_unknown_content_ends_it_until_the_next_reading() {
        let mut content = charge(200.0, 5.0);
        content.put_in(at(3), 0.0, None);
        assert!(
            content.mg_l(V).is_some(),
            "concentrate alone brings no water"
        );
        content.put_in(at(4), 20.0, None);
        assert_eq!(content, Content::Lost { since: at(4) });
        content.put_in(at(5), 20.0, Some(Measured::new(100.0, 1.0)));
        assert_eq!(content.mg_l(V), None);
        content.correct(at(6), Measured::new(210.0, 10.0), V);
        assert_eq!(content.mg_l(V), Some(Measured::new(210.0, 10.0)));
    }

    #[test]
    fn an_empty_sump_has_no_content_and_spoils_no_memory() {
        let empty = Volume::from_litres(0.0);
        let mut content = charge(200.0, 5.0);
        content.carry_off(days(3.0), Measured::new(20.0, 5.0), empty);
        content.correct(at(1), Measured::new(90.0, 10.0), empty);
        assert_eq!(content, charge(200.0, 5.0));
        assert_eq!(content.mg_l(empty), None);
        assert_eq!(content.let_out(10.0, empty), 188_000.0);
        assert_eq!(content.mg_l(V), Some(Measured::new(0.0, 0.0)));
    }

    #[derive(Debug, Clone, Copy)]
    enum Step {
        In(f64, f64),
        Out(f64),
        Carried(f64, f64),
    }

    fn steps() -> impl Strategy<Value = Vec<Step>> {
        let step = prop_oneof![
            (0.0f64..200.0, 0.0f64..600.0).prop_map(|(litres, water)| Step::In(litres, water)),
            (0.0f64..300.0).prop_map(Step::Out),
            (0.0f64..30.0, 0.0f64..80.0).prop_map(|(days, off)| Step::Carried(days, off)),
        ];
        prop::collection::vec(step, 0..40)
    }

    proptest! {
        #[test]
        fn what_went_in_went_out_or_stayed(steps in steps()) {
            let mut content = charge(200.0, 10.0);
            let start = content.mg_l(V).unwrap().value * V.litres();
            let (mut brought, mut gone) = (start, 0.0);
            for step in steps {
                match step {
                    Step::In(litres, water) => {
                        brought += content.put_in(at(0), litres, Some(Measured::new(water, 5.0)));
                    }
                    Step::Out(litres) => gone += content.let_out(litres, V),
                    Step::Carried(span, off) => {
                        gone += content.carry_off(days(span), Measured::new(off, 3.0), V);
                    }
                }
            }
            let stays = content.mg_l(V).unwrap().value * V.litres();
            prop_assert!(stays >= 0.0 && gone >= 0.0);
            prop_assert!((brought - gone - stays).abs() <= 1e-9 * brought);
        }

        #[test]
        fn what_is_taken_back_leaves_all_as_it_was(
            litres in 0.0f64..950.0, water in 0.0f64..600.0,
        ) {
            let before = charge(200.0, 10.0);
            let water = Measured::new(water, 5.0);
            let mut content = before;
            content.put_in(at(0), litres, Some(water));
            content.let_out(litres, V);
            content.back_in(litres, V);
            content.back_out(litres, water);
            let (is, was) = (content.mg_l(V).unwrap(), before.mg_l(V).unwrap());
            prop_assert!((is.value - was.value).abs() < 1e-8, "{is:?}");
            prop_assert!((is.uncertainty - was.uncertainty).abs() < 1e-8, "{is:?}");
        }

        #[test]
        fn a_reading_never_makes_it_less_certain(
            own in 0.1f64..50.0, reading in 0.1f64..50.0, off in -20.0f64..20.0,
        ) {
            let mut content = charge(200.0, own);
            let before = content.mg_l(V).unwrap();
            content.correct(at(1), Measured::new(before.value + off, reading), V);
            let after = content.mg_l(V).unwrap();
            prop_assert!(after.uncertainty <= reading + 1e-9);
            if content.read().unwrap().surprising.is_none() {
                prop_assert!(after.uncertainty <= before.uncertainty + 1e-9);
                let between = (after.value - before.value) / off;
                prop_assert!((-1e-9..=1.0 + 1e-9).contains(&between) || off == 0.0);
            }
        }
    }
}
