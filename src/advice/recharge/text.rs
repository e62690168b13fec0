//! A plan as people read it.

use std::fmt;

use crate::advice::{Caution, VolumeUnit};
use crate::units::Span;

use super::RechargePlan;

impl fmt::Display for RechargePlan {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "Clean-out and recharge of {} ({}): {} of {}",
            self.title,
            self.sump,
            self.volume(self.volume_l),
            self.fluid
        )?;
        writeln!(
            f,
            "A plan for appointed people to look through and decide on. Nothing is scheduled or switched by it."
        )?;
        writeln!(f, "\nHazards")?;
        for (letter, caution) in ('A'..).zip(&self.cautions) {
            writeln!(f, "  {letter}  {}", caution.words())?;
        }
        for step in &self.steps {
            writeln!(f, "\n{}. {}", step.number, step.title)?;
            for action in &step.actions {
                writeln!(f, "   - {action}")?;
            }
            if let Some(hours) = step.hours_h {
                writeln!(f, "   Time: {}", time(hours))?;
            }
            writeln!(f, "   Beware: {}", letters(&self.cautions, &step.cautions))?;
        }
        writeln!(f, "\nTo enter")?;
        for entry in &self.entries {
            writeln!(f, "   {}   # {}", entry.line, entry.what)?;
        }
        self.write_totals(f)
    }
}

impl RechargePlan {
    /// What people measure out, counted out in their cans.
    pub(super) fn measured(&self, amount: f64) -> String {
        match &self.measure {
            Some(measure) => measure.words(amount),
            None => litres(amount),
        }
    }

    /// The same without the cans.
    pub(super) fn plain(&self, amount: f64) -> String {
        match &self.measure {
            Some(measure) => measure.plain(amount),
            None => litres(amount),
        }
    }

    /// What nobody measures out, in the plant's unit.
    pub(super) fn volume(&self, amount: f64) -> String {
        match &self.measure {
            Some(measure) if measure.unit != VolumeUnit::Litre => measure.rough(amount),
            _ => litres(amount),
        }
    }

    fn write_totals(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let totals = &self.totals;
        let besides = if totals.waste_lacks_cleaner {
            ", and the cleaner"
        } else {
            ""
        };
        writeln!(f, "\nAltogether")?;
        if let (Some(name), Some(amount)) = (&self.cleaning.cleaner, self.cleaning.cleaner_l) {
            writeln!(f, "   cleaner      {} of {name}", self.volume(amount))?;
        }
        writeln!(f, "   concentrate  {}", self.volume(totals.concentrate_l))?;
        writeln!(f, "   water        {}", self.volume(totals.water_l))?;
        writeln!(
            f,
            "   waste        {}{besides}",
            self.volume(totals.waste_l)
        )?;
        writeln!(
            f,
            "   time         {}, and {}",
            time(totals.hours_h),
            totals.hours_lack.join("; ")
        )?;
        let Some(cost) = &totals.cost else {
            return Ok(());
        };
        write!(f, "   cost         {:.2} {}:", cost.total, cost.currency)?;
        for (part, amount) in &cost.parts {
            write!(f, " {} {amount:.2};", part.words())?;
        }
        let unpriced = cost.unpriced.iter().map(|part| part.words());
        let without: Vec<_> = unpriced.chain(["cleaner"]).collect();
        writeln!(f, " without {}", without.join(", "))
    }
}

/// The letters of some cautions in a list of all.
fn letters(all: &[Caution], some: &[Caution]) -> String {
    let marked = ('A'..)
        .zip(all)
        .filter(|(_, caution)| some.contains(caution));
    let letters: Vec<String> = marked.map(|(letter, _)| letter.to_string()).collect();
    letters.join(", ")
}

/// Litres to three digits or whole ones, as people measure them out.
pub(in crate::advice) fn litres(litres: f64) -> String {
    let decimals = match litres {
        100.0.. => 0,
        10.0.. => 1,
        _ => 2,
    };
    let text = format!("{litres:.decimals$}");
    let text = match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.'),
        false => &text,
    };
    format!("{text} L")
}

/// Hours as speech has them, to the minute.
pub(super) fn time(hours: f64) -> String {
    Span::from_mins((60.0 * hours).round() as i64).to_string()
}
