//! When a content reaches a limit, with what is not known of the losses and the
//! water.

use serde::Serialize;

use super::turnover::{TapShare, Turnover};
use crate::units::{Concentration, Measured, Volume, correlation_by_sum};

/// Nothing is said beyond so many days. Choice: longer than most charges live.
const HORIZON_D: f64 = 1000.0;
/// The first step of the search, d, and how each grows over the one before.
const FIRST_STEP_D: f64 = 0.25;
const STEP_GROWTH: f64 = 1.15;
/// Halvings of the step that holds the crossing: to a millionth of it.
const HALVINGS: u32 = 20;
/// Half width of a difference quotient, as a share of the uncertainty.
const QUOTIENT: f64 = 0.1;

/// What goes out of a sump, a day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Losses {
    /// Evaporation, L/d.
    pub evaporation_l_d: Measured,
    /// Carry-off, L/d.
    pub carry_off_l_d: Measured,
    /// Both together, which is known better than either, L/d.
    pub both_l_d: Measured,
}

/// Days until a limit. Nothing stands for "not within a thousand days".
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Forecast {
    /// The limit, mg/L.
    pub limit_mg_l: f64,
    /// Most likely, d.
    pub likely_d: Option<f64>,
    /// In one of twenty cases it is sooner, d.
    pub earliest_d: Option<f64>,
    /// In one of twenty cases it is later, d.
    pub latest_d: Option<f64>,
}

/// A content that goes on from now, with what it depends on.
#[derive(Debug, Clone, Copy)]
pub(super) struct Course {
    pub(super) volume: Volume,
    pub(super) concentration: Concentration,
    pub(super) losses: Losses,
    /// Content now, mg/L.
    pub(super) now: Measured,
    /// Content of the top-up water, mg/L.
    pub(super) top_up: Measured,
}

impl Course {
    /// The turnover as it most likely is.
    pub(super) fn turnover(&self) -> Turnover {
        let Losses {
            evaporation_l_d,
            carry_off_l_d,
            ..
        } = self.losses;
        Turnover::holding(
            self.volume,
            evaporation_l_d.value.max(0.0),
            carry_off_l_d.value.max(0.0),
            self.concentration,
        )
    }

    /// A figure of the course with the uncertainty that losses, water and
    /// present content give it, taken as independent (JCGM 100, section 5.1)
    /// but for the two losses, which hang together (section 5.2).
    fn figure(&self, of: impl Fn(&Course) -> f64) -> Measured {
        let doubtful: [fn(&mut Course) -> &mut Measured; 4] = [
            |course| &mut course.now,
            |course| &mut course.top_up,
            |course| &mut course.losses.evaporation_l_d,
            |course| &mut course.losses.carry_off_l_d,
        ];
        let moved = |input: fn(&mut Course) -> &mut Measured, by: f64| {
            let mut course = *self;
            let input = input(&mut course);
            input.value += by * input.uncertainty;
            of(&course)
        };
        let [now, top_up, vapour, mix] = doubtful
            .map(|input| (moved(input, QUOTIENT) - moved(input, -QUOTIENT)) / (2.0 * QUOTIENT));
        let Losses {
            evaporation_l_d,
            carry_off_l_d,
            both_l_d,
        } = self.losses;
        let correlation = correlation_by_sum(evaporation_l_d, carry_off_l_d, both_l_d);
        let by_losses = vapour * vapour + mix * mix + 2.0 * correlation * vapour * mix;
        Measured {
            value: of(self),
            uncertainty: now.hypot(top_up).hypot(by_losses.max(0.0).sqrt()),
        }
    }

    /// What goes on from now with these losses.
    fn way(&self) -> Way {
        let Losses {
            evaporation_l_d,
            carry_off_l_d,
            both_l_d,
        } = self.losses;
        let turnover = self.turnover();
        Way {
            course: *self,
            volume_l: self.volume.litres(),
            carry_off_l_d: turnover.carry_off_l_d,
            water_l_d: turnover.water_l_d(),
            water_share: 1.0 - self.concentration.fraction(),
            correlation: correlation_by_sum(evaporation_l_d, carry_off_l_d, both_l_d),
        }
    }

    /// When the content reaches `limit_mg_l`.
    pub(super) fn reaches(&self, limit_mg_l: f64) -> Forecast {
        let way = self.way();
        let highest = |days| way.after(days).interval_90().1 >= limit_mg_l;
        let lowest = |days| way.after(days).interval_90().0 >= limit_mg_l;
        let mut search = Search::default();
        // What the lowest reaches the highest has reached before: the search
        // for the one goes on where the other was found.
        let earliest = search.first(HORIZON_D, highest);
        let latest = earliest.and_then(|_| search.first(HORIZON_D, lowest));
        Forecast {
            limit_mg_l,
            likely_d: self.likely_reaches(limit_mg_l),
            earliest_d: earliest,
            latest_d: latest,
        }
    }

    /// Days until the content most likely reaches `limit_mg_l`.
    pub(super) fn likely_reaches(&self, limit_mg_l: f64) -> Option<f64> {
        let turnover = self.turnover();
        let likely = turnover.days_to(self.now.value, self.top_up.value, limit_mg_l);
        likely.filter(|days| *days <= HORIZON_D)
    }

    /// Days until the content has reached `limit_mg_l` in nineteen of twenty
    /// cases, as [`Course::reaches`] has it, where that is not beyond `most_d`.
    pub(super) fn surely_reaches(&self, limit_mg_l: f64, most_d: f64) -> Option<f64> {
        let way = self.way();
        let lowest = |days| way.after(days).interval_90().0 >= limit_mg_l;
        let found = Search::default().first(most_d, lowest);
        found.filter(|days| *days <= most_d)
    }

    /// The largest share of the top-up water that keeps the content under the
    /// limit when the rest is purified: most likely, and that which suffices
    /// in nineteen of twenty cases.
    pub(super) fn tap_share(&self, limit_mg_l: f64) -> (TapShare, f64) {
        let share = |course: &Course| {
            course
                .turnover()
                .tap_share(course.top_up.value, 0.0, limit_mg_l)
        };
        let doubt = self.figure(|course| share(course).share());
        (share(self), doubt.interval_90().0.max(0.0))
    }
}

/// A course with what of it stays the same on all its days.
struct Way {
    course: Course,
    volume_l: f64,
    carry_off_l_d: f64,
    water_l_d: f64,
    /// Share of water in the mix.
    water_share: f64,
    /// Of the two losses.
    correlation: f64,
}

impl Way {
    /// The content after so many days, with the uncertainty that losses, water
    /// and present content give it: the law of propagation with the partial
    /// derivatives of [`Turnover::after_mg_l`], worked out here from x = D t/V
    /// and W = E + (1 − c) D.
    fn after(&self, days: f64) -> Measured {
        let Course {
            losses,
            now,
            top_up,
            ..
        } = &self.course;
        let turned = self.carry_off_l_d * days / self.volume_l;
        let (stays, bends) = stays(turned);
        let left = 1.0 - turned * stays;
        let water = self.water_l_d * days / self.volume_l;
        let a_litre = days / self.volume_l;
        let brought = top_up.value * a_litre;
        let by_vapour = brought * stays;
        let by_mix = self.water_share * brought * stays + top_up.value * water * bends * a_litre
            - now.value * left * a_litre;
        let vapour = by_vapour * losses.evaporation_l_d.uncertainty;
        let mix = by_mix * losses.carry_off_l_d.uncertainty;
        let by_losses = vapour * vapour + mix * mix + 2.0 * self.correlation * vapour * mix;
        let by_now = left * now.uncertainty;
        let by_top_up = water * stays * top_up.uncertainty;
        Measured {
            value: now.value * left + top_up.value * water * stays,
            uncertainty: (by_now * by_now + by_top_up * by_top_up + by_losses.max(0.0)).sqrt(),
        }
    }
}

/// (1 − e^(−x))/x and its derivative; by its series where x is small.
fn stays(turned: f64) -> (f64, f64) {
    if turned < 1e-4 {
        return (1.0 - turned / 2.0, turned / 3.0 - 0.5);
    }
    let stays = -(-turned).exp_m1() / turned;
    (stays, ((-turned).exp() - stays) / turned)
}

/// A search for the first day up to the horizon on which something is so, in
/// steps that grow. What is so on an earlier step only is not found by a search
/// that has gone on.
struct Search {
    before: f64,
    after: f64,
    step: f64,
}

impl Default for Search {
    fn default() -> Self {
        Search {
            before: 0.0,
            after: 0.0,
            step: FIRST_STEP_D,
        }
    }
}

impl Search {
    /// The first day on which it is so; it is not looked for beyond `most_d`.
    fn first(&mut self, most_d: f64, is_so: impl Fn(f64) -> bool) -> Option<f64> {
        while !is_so(self.after) {
            if self.after >= most_d.min(HORIZON_D) {
                return None;
            }
            self.before = self.after;
            self.after = (self.after + self.step).min(HORIZON_D);
            self.step *= STEP_GROWTH;
        }
        let (mut before, mut after) = (self.before, self.after);
        for _ in 0..HALVINGS {
            let middle = 0.5 * (before + after);
            if is_so(middle) {
                after = middle;
            } else {
                before = middle;
            }
        }
        Some(after)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn course(now: Measured, top_up: Measured, doubt: f64) -> Course {
        Course {
            volume: Volume::from_litres(1000.0),
            concentration: Concentration::from_percent(6.0),
            losses: Losses {
                evaporation_l_d: Measured::new(50.0, 50.0 * doubt),
                carry_off_l_d: Measured::new(20.0, 20.0 * doubt),
                both_l_d: Measured::new(70.0, (50.0 * doubt).hypot(20.0 * doubt)),
            },
            now,
            top_up,
        }
    }

    #[test]
    fn what_is_certain_has_no_interval() {
        let certain = course(Measured::new(188.0, 0.0), Measured::new(200.0, 0.0), 0.0);
        let forecast = certain.reaches(400.0);
        let likely = forecast.likely_d.unwrap();
        // Between the 20 and the 30 days of the table, whose steps are days.
        assert!((20.0..30.0).contains(&likely), "{likely}");
        assert!((forecast.earliest_d.unwrap() - likely).abs() < 1e-3);
        assert!((forecast.latest_d.unwrap() - likely).abs() < 1e-3);
        assert_eq!(certain.reaches(700.0).likely_d, None);
        assert_eq!(certain.reaches(100.0).likely_d, Some(0.0));
    }

    #[test]
    fn near_the_steady_state_it_may_be_soon_or_never() {
        let doubtful = course(Measured::new(188.0, 5.0), Measured::new(200.0, 10.0), 0.2);
        let forecast = doubtful.reaches(650.0);
        assert!(forecast.earliest_d < forecast.likely_d, "{forecast:?}");
        assert_eq!(forecast.latest_d, None);
    }

    /// More vapour and more carry-off bring in more water alike; where one is
    /// more only as the other is less, little is left of that.
    #[test]
    fn losses_whose_sum_is_known_leave_less_doubt_at_first() {
        let (now, top_up) = (Measured::new(0.0, 0.0), Measured::new(200.0, 0.0));
        let apart = course(now, top_up, 0.2);
        let mut together = apart;
        together.losses.carry_off_l_d.uncertainty = 10.0;
        together.losses.both_l_d.uncertainty = 0.0;
        let mut independent = together;
        independent.losses.both_l_d.uncertainty = 10f64.hypot(10.0);
        let doubt = |course: Course| course.way().after(1.0).uncertainty;
        assert!(doubt(together) < 0.3 * doubt(independent));
    }

    #[test]
    fn the_content_and_its_doubt_are_those_of_difference_quotients() {
        for (days, doubt) in [(1.0, 0.1), (30.0, 0.2), (400.0, 0.1)] {
            let one = course(Measured::new(188.0, 5.0), Measured::new(200.0, 10.0), doubt);
            let by_quotients = one.figure(|course| {
                course
                    .turnover()
                    .after_mg_l(course.now.value, course.top_up.value, days)
            });
            let after = one.way().after(days);
            assert!(
                (after.value / by_quotients.value - 1.0).abs() < 1e-9,
                "{after:?}"
            );
            let doubts = after.uncertainty / by_quotients.uncertainty;
            assert!((doubts - 1.0).abs() < 2e-3, "{days} {doubts}");
        }
    }

    #[test]
    fn the_cautious_share_is_smaller() {
        let doubtful = course(Measured::new(188.0, 5.0), Measured::new(200.0, 10.0), 0.1);
        let (share, cautious) = doubtful.tap_share(400.0);
        // 400 · 20 / (68.8 · 200), see hardness_buildup.csv for the 68.8 L.
        assert!((share.share() - 400.0 / 688.0).abs() < 1e-9);
        assert!(cautious < share.share() && cautious > 0.3, "{cautious}");
    }

    proptest! {
        #[test]
        fn the_interval_holds_the_likely_day(
            now in 0.0f64..300.0, top_up in 1.0f64..500.0, doubt in 0.0f64..0.4,
            limit in 20.0f64..900.0,
        ) {
            let one = course(
                Measured::new(now, now * doubt),
                Measured::new(top_up, top_up * doubt),
                doubt,
            );
            let forecast = one.reaches(limit);
            let days = |day: Option<f64>| day.unwrap_or(f64::INFINITY);
            prop_assert_eq!(one.surely_reaches(limit, HORIZON_D), forecast.latest_d);
            let soon = forecast.latest_d.filter(|latest| *latest <= 30.0);
            prop_assert_eq!(one.surely_reaches(limit, 30.0), soon);
            prop_assert!(days(forecast.earliest_d) <= days(forecast.likely_d) + 1e-3);
            prop_assert!(days(forecast.latest_d) >= days(forecast.likely_d) - 1e-3);
        }
    }
}
