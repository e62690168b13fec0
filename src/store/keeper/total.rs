//! What the values of a minute or an hour come to. Pure.

/// Collects values, by time: the same values in the same order give the same
/// total to the last bit.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Total {
    spread: Option<(f64, f64)>,
    sum: f64,
    /// What the sum lost in rounding (Neumaier's summation).
    lost: f64,
    pub(super) good: u64,
    pub(super) count: u64,
}

impl Total {
    /// Adds a value; one that is not good is only counted.
    pub(super) fn add(&mut self, value: f64, good: bool) {
        self.count += 1;
        if !good {
            return;
        }
        self.good += 1;
        let (min, max) = self.spread.unwrap_or((value, value));
        self.spread = Some((min.min(value), max.max(value)));
        let sum = self.sum + value;
        self.lost += if self.sum.abs() >= value.abs() {
            (self.sum - sum) + value
        } else {
            (value - sum) + self.sum
        };
        self.sum = sum;
    }

    /// Lowest, mean and highest good value.
    pub(super) fn spread(&self) -> Option<(f64, f64, f64)> {
        let (min, max) = self.spread?;
        let mean = (self.sum + self.lost) / self.good as f64;
        Some((min, mean.clamp(min, max), max))
    }
}

/// The minutes of an hour as JSON; `schema_5.sql` tells how.
pub(super) fn minutes_text(minutes: &[Total; 60]) -> String {
    let used = minutes.iter().rposition(|minute| minute.count > 0);
    let items: Vec<String> = minutes[..used.map_or(0, |last| last + 1)]
        .iter()
        .map(minute_text)
        .collect();
    format!("[{}]", items.join(","))
}

fn minute_text(minute: &Total) -> String {
    match (minute.spread(), minute.count) {
        (_, 0) => "null".to_owned(),
        (Some((value, ..)), 1) => number_text(value),
        (Some((min, mean, max)), count) => {
            let (min, max) = (number_text(min), number_text(max));
            let mean = mean_text(mean, &min, &max);
            if minute.good == count {
                format!("[{min},{mean},{max},{count}]")
            } else {
                format!("[{min},{mean},{max},{},{count}]", minute.good)
            }
        }
        (None, count) => format!("[null,null,null,0,{count}]"),
    }
}

/// The mean with three decimals more than the values have that it lies between.
fn mean_text(mean: f64, min: &str, max: &str) -> String {
    let decimals = |text: &str| match (text.contains('e'), text.split_once('.')) {
        (true, _) => None,
        (false, None) => Some(0),
        (false, Some((_, after))) => Some(after.len()),
    };
    let rounded = decimals(min)
        .zip(decimals(max))
        .and_then(|(min, max)| format!("{mean:.*}", min.max(max) + 3).parse().ok());
    number_text(rounded.unwrap_or(mean))
}

/// The shortest JSON that gives the number back.
fn number_text(number: f64) -> String {
    let text = serde_json::to_string(&number).unwrap_or_else(|_| "null".to_owned());
    match text.strip_suffix(".0") {
        Some(whole) => whole.to_owned(),
        None => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_total_is_exact_where_a_plain_sum_is_not() {
        let mut total = Total::default();
        for value in [1e16, 1.0, -1e16, 1.0] {
            total.add(value, true);
        }
        total.add(1e18, false);
        assert_eq!(total.spread(), Some((-1e16, 0.5, 1e16)));
        assert_eq!((total.good, total.count), (4, 5));
    }

    #[test]
    fn minutes_are_short() {
        let mut minutes = [Total::default(); 60];
        minutes[1].add(5.0, true);
        for value in [1.0, 1.0, 2.25] {
            minutes[2].add(value, true);
        }
        minutes[3].add(9.0, false);
        assert_eq!(
            minutes_text(&minutes),
            "[null,5,[1,1.41667,2.25,3],[null,null,null,0,1]]"
        );
        assert_eq!(minutes_text(&[Total::default(); 60]), "[]");
    }
}
