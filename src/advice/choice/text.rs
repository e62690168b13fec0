//! A choice as people read it.

use std::fmt;

use crate::advice::recharge::litres;

use super::{Choice, Course, Reason, Remedy};

impl fmt::Display for Choice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, course) in (1..).zip(&self.courses) {
            writeln!(f, "{place}. {}", course.remedy)?;
            course.write_reasons(f)?;
        }
        Ok(())
    }
}

impl Course {
    fn write_reasons(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut write = |sign: char, reasons: &[Reason]| {
            reasons.iter().try_for_each(|reason| {
                writeln!(f, "   {sign} {} [{}]", reason.words, reason.source)
            })
        };
        write('+', &self.reasons_for)?;
        write('-', &self.reasons_against)?;
        for caution in &self.cautions {
            writeln!(f, "   ! {}", caution.words())?;
        }
        Ok(())
    }
}

impl fmt::Display for Remedy {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Remedy::GoOn => f.write_str("Go on, with upkeep"),
            Remedy::PartialExchange { exchange: None } => f.write_str("Exchange a part"),
            Remedy::PartialExchange {
                exchange: Some(exchange),
            } => {
                write!(
                    f,
                    "Exchange a part: {} times {}, {:.0} % of the volume, for fresh mix; {:.0} % of what was there stays",
                    exchange.swaps,
                    litres(exchange.litres_l),
                    exchange.share_pct,
                    exchange.left_pct
                )
            }
            Remedy::CleanOut { waste_l, .. } => {
                write!(f, "Clean out and recharge: {} of waste", litres(*waste_l))
            }
            Remedy::Biocide => f.write_str(
                "Biocide, by appointed persons and the supplier's data sheet; no amount here",
            ),
        }
    }
}
