//! The answer as people read it.

use std::fmt;
use std::sync::Arc;

use super::Told;
use super::used::{KeptUse, SumpUse, Used};
use crate::daemon::stock::StockUse;
use crate::model::money::Cost;
use crate::units::Measured;

impl fmt::Display for Told {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, sump) in self.sumps.iter().enumerate() {
            if place > 0 {
                writeln!(f)?;
            }
            sump.fmt(f)?;
        }
        self.stock
            .iter()
            .try_for_each(|stock| write!(f, "\n{stock}"))
    }
}

impl fmt::Display for SumpUse {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let SumpUse {
            sump, title, fluid, ..
        } = self;
        write!(f, "{title} ({sump}), {fluid}")?;
        match &self.kept {
            Some(kept) => kept.fmt(f),
            None => writeln!(f, "\n   nothing is kept of it yet"),
        }
    }
}

impl fmt::Display for KeptUse {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, ", as of {}", self.as_of)?;
        match self.charge_since {
            Some(since) => writeln!(f, "   charge of {since}")?,
            None => writeln!(
                f,
                "   when the charge began is not known; it counts from the first movement on"
            )?,
        }
        writeln!(
            f,
            "   {:<14}{:>13}{:>12}{:>12}",
            "", "concentrate", "water", "drained"
        )?;
        row(f, "this charge", &self.charge)?;
        row(f, "last 7 days", &self.last_7_days)?;
        row(f, "last 31 days", &self.last_31_days)?;
        for month in &self.months {
            row(f, &month.month, &month.used)?;
        }
        let Some(over) = &self.over_strength else {
            return Ok(());
        };
        let currency = over.currency;
        writeln!(
            f,
            "   Too strong a mix: {} {currency} of concentrate too much on board, {} {currency} more a day.",
            range(over.cost.on_board, 2),
            range(over.cost.per_day, 2)
        )
    }
}

fn row(f: &mut fmt::Formatter<'_>, name: &str, used: &Used) -> fmt::Result {
    let litres = |litres: f64| format!("{litres:.1} L");
    write!(
        f,
        "   {name:<14}{:>13}{:>12}{:>12}",
        litres(used.litres.concentrate_l),
        litres(used.litres.water_l),
        litres(used.litres.drained_l)
    )?;
    match &used.cost {
        Some(cost) => writeln!(f, "   {}", money(cost)),
        None => writeln!(f),
    }
}

/// The total, with what it lacks.
fn money(cost: &Cost) -> String {
    let total = format!("{:.2} {}", cost.total, cost.currency);
    if cost.unpriced.is_empty() {
        return total;
    }
    let lacks: Vec<&str> = cost.unpriced.iter().map(|part| part.words()).collect();
    format!("{total} (unpriced: {})", lacks.join(", "))
}

impl fmt::Display for StockUse {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "Stock of {}", self.fluid)?;
        writeln!(
            f,
            "   {:.0} L counted on {}, {:.1} L used since, {:.0} L left",
            self.counted_l, self.counted, self.used_since_l, self.left_l
        )?;
        if let Some(day) = &self.known_from {
            writeln!(
                f,
                "   use is known by the day from {day} on only; less is left by what was used before: count again"
            )?;
        }
        if let Some(daily) = self.daily_use_l {
            let sumps = names(&self.sumps);
            writeln!(f, "   {} L a day, by {sumps}", range(daily, 1))?;
        }
        if !self.unknown.is_empty() {
            let sumps = names(&self.unknown);
            writeln!(f, "   use a day not known yet: {sumps}")?;
        }
        let Some(cover) = &self.cover else {
            return writeln!(f, "   how long it lasts cannot be told yet");
        };
        let latest = cover
            .latest_days
            .map_or("without end".to_owned(), |days| format!("{days:.0}"));
        writeln!(
            f,
            "   lasts {:.0} days ({:.0} to {latest})",
            cover.days, cover.soonest_days
        )
    }
}

fn names(sumps: &[Arc<str>]) -> String {
    let names: Vec<&str> = sumps.iter().map(|name| &**name).collect();
    names.join(", ")
}

/// The value with its 90 % interval, never below nothing.
fn range(measured: Measured, decimals: usize) -> String {
    let (low, high) = measured.interval_90();
    format!(
        "{:.decimals$} ({:.decimals$} to {high:.decimals$})",
        measured.value,
        low.max(0.0)
    )
}
