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
        for _ in 0..count {
            self.minute += 5;
            let lives = if self.minute % 10 == 0 { 1.0 } else { -1.0 };
            let point = Point {
                time: minute(self.minute),
                volume_l: Some(volume_l + 0.5 * lives),
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
        let logged = Logged {
            entry: entry.to_owned(),
            time: minute(self.minute),
            litres,
            strength_pct,
        };
        self.balance.log(&setup(), logged, &mut self.told);
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
