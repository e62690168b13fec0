use super::super::movement::Origin;
use super::super::testing::setup;
use super::*;

fn minute(minute: i64) -> Timestamp {
    Timestamp::from_millis(1_700_000_000_000) + Span::from_mins(minute)
}

/// A balance that is given points of five minutes.
struct Fed {
    balance: Balance,
    told: Vec<Told>,
    minute: i64,
}

impl Fed {
    fn new() -> Self {
        Fed {
            balance: Balance::new(&setup()),
            told: Vec::new(),
            minute: 0,
        }
    }

    /// So many points; the last digits live.
    fn points(&mut self, count: i64, volume_l: f64, percent: f64) {
        self.points_by(count, |lives| Some(volume_l + 0.5 * lives), percent);
    }

    /// So many points whose volume is that of a last digit of 1 or -1 in turn.
    fn points_by(&mut self, count: i64, volume_l: impl Fn(f64) -> Option<f64>, percent: f64) {
        for _ in 0..count {
            self.minute += 5;
            let lives = if self.minute % 10 == 0 { 1.0 } else { -1.0 };
            let point = Point {
                time: minute(self.minute),
                volume_l: volume_l(lives),
                concentration_pct: Some(percent + 0.01 * lives),
                working: true,
                pumps_run: Some(true),
                metered_l: 0.0,
                metered_concentrate_l: 0.0,
            };
            self.balance.take(&setup(), point, &mut self.told);
        }
    }

    fn log(&mut self, entry: &str, litres: f64, strength_pct: Option<f64>) {
        self.log_at(self.minute, entry, litres, strength_pct);
    }

    fn log_at(&mut self, at: i64, entry: &str, litres: f64, strength_pct: Option<f64>) {
        let logged = Logged {
            entry: entry.to_owned(),
            time: minute(at),
            litres,
            strength_pct,
        };
        self.balance.log(&setup(), logged, &mut self.told);
    }

    /// The entries that stand in the ledger, with whether the readings showed them.
    fn in_ledger(&self) -> Vec<(String, bool)> {
        let logged = self
            .balance
            .movements()
            .filter_map(|one| match &one.origin {
                Origin::Logged { entries, seen } => Some((entries.concat(), *seen)),
                _ => None,
            });
        logged.collect()
    }

    fn contradicted(&self) -> usize {
        let told = self.told.iter().filter(|told| match told {
            Told::Movement(movement) => matches!(movement.origin, Origin::Contradicted { .. }),
            _ => false,
        });
        told.count()
    }
}

#[test]
fn of_a_new_charge_no_volume_is_told_until_it_is_seen() {
    let mut fed = Fed::new();
    fed.points(60, 60.0, 8.0);
    let emptied = fed.balance.volume_l().unwrap().value;
    assert!((50.0..70.0).contains(&emptied), "{emptied}");
    fed.balance.filled_anew();
    assert_eq!(fed.balance.volume_l(), None);
    fed.points(60, 780.0, 8.0);
    let filled = fed.balance.volume_l().unwrap().value;
    assert!((760.0..800.0).contains(&filled), "{filled}");
}

#[test]
fn mix_that_is_exchanged_at_once_contradicts_nobody() {
    let mut fed = Fed::new();
    fed.points(300, 800.0, 8.0);
    fed.log("out", -250.0, None);
    fed.log("in", 250.0, Some(8.0));
    fed.points(100, 794.0, 7.8);
    assert_eq!(fed.contradicted(), 0, "{:?}", fed.told);
}

#[test]
fn a_step_long_before_an_entry_is_not_held_against_it() {
    let mut fed = Fed::new();
    fed.points(300, 800.0, 8.0);
    // Foam falls, and two and a half hours later somebody lets half of it out.
    fed.points(30, 755.0, 8.0);
    fed.log("out", -370.0, None);
    fed.points(100, 385.0, 8.0);
    assert_eq!(fed.contradicted(), 0, "{:?}", fed.told);
}

#[test]
fn an_entry_that_a_sound_level_does_not_show_is_contradicted() {
    let mut fed = Fed::new();
    fed.points(300, 700.0, 8.0);
    fed.log("a", 40.0, Some(2.0));
    fed.points(60, 700.0, 8.0);
    assert_eq!(fed.contradicted(), 1, "{:?}", fed.told);
}

#[test]
fn a_level_that_stands_still_or_is_silent_contradicts_nobody() {
    for volume in [Some(700.0), None] {
        let mut fed = Fed::new();
        fed.points(300, 700.0, 8.0);
        fed.log("a", 40.0, Some(2.0));
        fed.points_by(60, |_| volume, 7.68);
        assert_eq!(fed.contradicted(), 0, "{volume:?}: {:?}", fed.told);
    }
}

#[test]
fn what_was_written_before_the_probe_was_wiped_is_believed_whenever_it_comes() {
    let mut fed = Fed::new();
    fed.points(300, 700.0, 8.0);
    let poured = fed.minute + 30;
    fed.points_by(8, |_| None, 7.7);
    fed.log("a", 40.0, Some(2.0));
    fed.balance.level_touched();
    fed.points(12, 780.0, 7.4);
    fed.log_at(poured, "b", 40.0, Some(2.0));
    fed.points(100, 780.0, 7.4);
    assert_eq!(fed.contradicted(), 0, "{:?}", fed.told);
    // The concentration has shown the one, nothing the other.
    let believed = [("a".to_owned(), true), ("b".to_owned(), false)];
    assert_eq!(fed.in_ledger(), believed);
    // What the refractometer told all along is not reckoned once more.
    let known = fed.balance.state().unwrap().concentration_pct();
    assert!((known.value - 7.4).abs() < 0.1, "{known:?}");
}

#[test]
fn two_alike_are_held_against_the_step_of_their_own_time() {
    let mut fed = Fed::new();
    fed.points(300, 600.0, 8.0);
    fed.log("a", 62.0, Some(8.0));
    fed.points(24, 660.0, 8.0);
    fed.log("b", 60.0, Some(8.0));
    fed.points(100, 720.0, 8.0);
    assert_eq!(fed.contradicted(), 0, "{:?}", fed.told);
    let seen = [("a".to_owned(), true), ("b".to_owned(), true)];
    assert_eq!(fed.in_ledger(), seen);
}

#[test]
fn two_that_went_in_together_are_held_against_one_step() {
    let mut fed = Fed::new();
    fed.points(300, 600.0, 8.0);
    fed.log("a", 40.0, Some(8.0));
    fed.points(2, 640.0, 8.0);
    fed.log("b", 30.0, Some(8.0));
    fed.points(30, 670.0, 8.0);
    fed.log("c", -50.0, None);
    fed.points(100, 620.0, 8.0);
    assert_eq!(fed.contradicted(), 0, "{:?}", fed.told);
}

#[test]
fn an_entry_is_left_to_the_step_that_is_nearer() {
    let mut fed = Fed::new();
    fed.points(300, 700.0, 8.0);
    // Foam rises, and half an hour later somebody tops up.
    fed.points(7, 706.0, 8.0);
    fed.log("a", 50.0, Some(8.0));
    fed.points(100, 756.0, 8.0);
    assert_eq!(fed.contradicted(), 0, "{:?}", fed.told);
}
