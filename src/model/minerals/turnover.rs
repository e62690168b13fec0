//! The balance of what the make-up water carries in and the carry-off carries
//! out, in a sump that is kept full.

use crate::units::{Concentration, Volume};

/// What comes and goes in a sump that is kept full, a day.
///
/// With the losses E (evaporation) and D (carry-off), the volume V, and a
/// make-up of strength p from water of content S_top, the content S of a
/// mineral that nothing consumes follows V dS/dt = S_top (1 − p)(E + D) − D S.
/// Concentrate is taken to carry none in. All formulas of this file are worked
/// out here from that balance, and held against `hardness_buildup.csv`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Turnover {
    /// Volume of the sump, above 0.
    pub volume: Volume,
    /// Evaporation, L/d, not below 0.
    pub evaporation_l_d: f64,
    /// Carry-off, L/d, not below 0.
    pub carry_off_l_d: f64,
    /// Strength of the make-up.
    pub make_up: Concentration,
}

/// How much of the top-up water may be tap water, the rest purified.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TapShare {
    /// All of it: tap water alone stays under the limit.
    All,
    /// At most this share, above 0 and below 1.
    AtMost(f64),
    /// None: even the purified water alone goes beyond the limit, or nothing is
    /// carried off and any mineral at all piles up.
    None,
}

impl TapShare {
    /// The share, 0 to 1.
    pub const fn share(self) -> f64 {
        match self {
            TapShare::All => 1.0,
            TapShare::AtMost(share) => share,
            TapShare::None => 0.0,
        }
    }
}

impl Turnover {
    /// The turnover of a sump that is kept at `concentration` by a make-up of
    /// the holding strength p = c D / (E + D).
    pub fn holding(
        volume: Volume,
        evaporation_l_d: f64,
        carry_off_l_d: f64,
        concentration: Concentration,
    ) -> Self {
        let lost = evaporation_l_d + carry_off_l_d;
        let share = if lost > 0.0 {
            carry_off_l_d / lost
        } else {
            0.0
        };
        Turnover {
            volume,
            evaporation_l_d,
            carry_off_l_d,
            make_up: Concentration::from_fraction(concentration.fraction() * share),
        }
    }

    /// Water that is topped up, L/d: (1 − p)(E + D).
    pub fn water_l_d(&self) -> f64 {
        (1.0 - self.make_up.fraction()) * (self.evaporation_l_d + self.carry_off_l_d)
    }

    /// Where the content ends, mg/L: S_top (1 − p)(E + D) / D. Nothing where
    /// nothing is carried off: then it rises without end.
    pub fn steady_mg_l(&self, top_up_mg_l: f64) -> Option<f64> {
        (self.carry_off_l_d > 0.0).then(|| top_up_mg_l * self.water_l_d() / self.carry_off_l_d)
    }

    /// The time in which the way to the steady state shrinks to 37 %, d: V / D.
    pub fn time_constant_d(&self) -> Option<f64> {
        (self.carry_off_l_d > 0.0).then(|| self.volume.litres() / self.carry_off_l_d)
    }

    /// The content after one day whose losses are made up for at its end, mg/L:
    /// carry-off at the present content, evaporation, then the top-up.
    pub fn next_day_mg_l(&self, now_mg_l: f64, top_up_mg_l: f64) -> f64 {
        let (volume, out) = (self.volume.litres(), self.carry_off_l_d);
        ((volume - out) * now_mg_l + self.water_l_d() * top_up_mg_l) / volume
    }

    /// The content after `days` of steady losses and top-ups, mg/L.
    ///
    /// Written so that it holds without carry-off too: S e^(−x) + S_top W t/V ·
    /// (1 − e^(−x))/x with x = D t/V and the water W a day.
    pub fn after_mg_l(&self, now_mg_l: f64, top_up_mg_l: f64, days: f64) -> f64 {
        let turned = self.carry_off_l_d * days / self.volume.litres();
        let brought = top_up_mg_l * self.water_l_d() * days / self.volume.litres();
        let stays = if turned > 0.0 {
            -(-turned).exp_m1() / turned
        } else {
            1.0
        };
        now_mg_l * (-turned).exp() + brought * stays
    }

    /// Days until the content reaches `limit_mg_l`; 0 where it is there, nothing
    /// where it never will be.
    pub fn days_to(&self, now_mg_l: f64, top_up_mg_l: f64, limit_mg_l: f64) -> Option<f64> {
        if now_mg_l >= limit_mg_l {
            return Some(0.0);
        }
        let (volume, out) = (self.volume.litres(), self.carry_off_l_d);
        let brought = top_up_mg_l * self.water_l_d();
        if brought <= out * limit_mg_l {
            return None;
        }
        let gap = limit_mg_l - now_mg_l;
        let gain = brought - out * now_mg_l;
        if out > 0.0 {
            Some(-volume / out * (-gap * out / gain).ln_1p())
        } else {
            Some(volume * gap / gain)
        }
    }

    /// The largest share of tap water that keeps the steady state at or under
    /// the limit, the rest being purified water: a S_tap + (1 − a) S_pure =
    /// S_max D / ((1 − p)(E + D)).
    pub fn tap_share(&self, tap_mg_l: f64, purified_mg_l: f64, limit_mg_l: f64) -> TapShare {
        let borne = limit_mg_l * self.carry_off_l_d;
        let water = self.water_l_d();
        if tap_mg_l * water <= borne {
            return TapShare::All;
        }
        let room = borne / water - purified_mg_l;
        let between = tap_mg_l - purified_mg_l;
        if room > 0.0 && between > 0.0 {
            TapShare::AtMost((room / between).min(1.0))
        } else {
            TapShare::None
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn turnover(volume: f64, evaporation: f64, carry_off: f64, pct: f64) -> Turnover {
        let concentration = Concentration::from_percent(pct);
        Turnover::holding(
            Volume::from_litres(volume),
            evaporation,
            carry_off,
            concentration,
        )
    }

    fn rows() -> Vec<csv::StringRecord> {
        let table = include_str!("../../../tests/reference/hardness_buildup.csv");
        csv::ReaderBuilder::new()
            .comment(Some(b'#'))
            .from_reader(table.as_bytes())
            .records()
            .map(Result::unwrap)
            .collect()
    }

    /// Exact fractions of 1000 L; see the head of the file.
    #[test]
    fn agrees_with_every_row_of_the_table() {
        let rows = rows();
        assert_eq!(rows.len(), 54);
        for row in rows {
            let number = |i: usize| row[i].parse::<f64>().unwrap();
            let (fill, top_up, pct) = (number(1), number(2), number(3));
            let turns = turnover(1000.0, 10.0 * number(4), 10.0 * number(5), pct);
            assert!(
                (turns.make_up.percent() - number(6)).abs() < 1e-6,
                "{row:?}"
            );
            let start = fill * (1.0 - pct / 100.0);
            let days = number(7) as u32;
            let stands = (0..days).fold(start, |s, _| turns.next_day_mg_l(s, top_up));
            assert!((stands - number(8)).abs() < 1e-6, "{row:?}: {stands}");
            match (turns.steady_mg_l(top_up), row[9].parse::<f64>()) {
                (Some(steady), Ok(given)) => assert!((steady - given).abs() < 1e-6, "{row:?}"),
                (None, Err(_)) => assert_eq!(&row[9], "none (linear)"),
                other => panic!("{row:?}: {other:?}"),
            }
        }
    }

    #[test]
    fn without_carry_off_it_rises_in_a_line_and_no_share_helps() {
        let turns = turnover(1000.0, 50.0, 0.0, 6.0);
        assert_eq!(turns.after_mg_l(188.0, 200.0, 10.0), 288.0);
        assert_eq!(turns.days_to(188.0, 200.0, 388.0), Some(20.0));
        assert_eq!(turns.steady_mg_l(200.0), None);
        assert_eq!(turns.time_constant_d(), None);
        assert_eq!(turns.tap_share(200.0, 0.0, 400.0), TapShare::None);
        assert_eq!(turns.tap_share(0.0, 0.0, 400.0), TapShare::All);
    }

    #[test]
    fn a_limit_above_the_steady_state_is_never_reached() {
        let turns = turnover(1000.0, 50.0, 20.0, 6.0);
        assert_eq!(turns.days_to(188.0, 200.0, 688.5), None);
        assert!(turns.days_to(188.0, 200.0, 687.5).is_some());
        assert_eq!(turns.days_to(700.0, 200.0, 688.0), Some(0.0));
        assert_eq!(turns.tap_share(200.0, 0.0, 690.0), TapShare::All);
        assert_eq!(turns.tap_share(200.0, 120.0, 400.0), TapShare::None);
    }

    proptest! {
        #[test]
        fn the_share_keeps_the_steady_state_exactly_at_the_limit(
            evaporation in 1.0f64..500.0, carry_off in 0.5f64..200.0, pct in 1.0f64..20.0,
            tap in 50.0f64..500.0, purified in 0.0f64..20.0, limit in 20.0f64..1000.0,
        ) {
            let turns = turnover(2000.0, evaporation, carry_off, pct);
            let share = turns.tap_share(tap, purified, limit);
            let blend = share.share() * tap + (1.0 - share.share()) * purified;
            let steady = turns.steady_mg_l(blend).unwrap();
            match share {
                TapShare::AtMost(_) => prop_assert!((steady / limit - 1.0).abs() < 1e-9),
                TapShare::All => prop_assert!(steady <= limit * (1.0 + 1e-9)),
                TapShare::None => prop_assert!(steady >= limit * (1.0 - 1e-9)),
            }
        }

        #[test]
        fn the_days_to_a_limit_lead_to_it(
            evaporation in 1.0f64..500.0, carry_off in 0.0f64..200.0, now in 0.0f64..300.0,
            top_up in 1.0f64..500.0, limit in 20.0f64..1000.0,
        ) {
            let turns = turnover(2000.0, evaporation, carry_off, 6.0);
            match turns.days_to(now, top_up, limit) {
                Some(days) if days > 0.0 => {
                    let then = turns.after_mg_l(now, top_up, days);
                    prop_assert!((then / limit - 1.0).abs() < 1e-6, "{days} d: {then}");
                }
                Some(_) => prop_assert!(now >= limit),
                None => prop_assert!(turns.after_mg_l(now, top_up, 1e7) <= limit),
            }
        }

        #[test]
        fn many_short_stretches_are_one_long(days in 0.1f64..200.0, carry_off in 0.0f64..50.0) {
            let turns = turnover(1000.0, 30.0, carry_off, 6.0);
            let whole = turns.after_mg_l(150.0, 200.0, days);
            let tenth = |now, _| turns.after_mg_l(now, 200.0, days / 10.0);
            let parts = (0..10).fold(150.0, tenth);
            prop_assert!((whole - parts).abs() < 1e-6 * whole);
        }
    }
}
