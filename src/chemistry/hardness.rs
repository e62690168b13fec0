//! Hardness of water from a laboratory's calcium and magnesium.

use crate::units::{Content, Hardness};

/// Hardness for 1 mg/L of calcium and of magnesium, as mg/L of calcium
/// carbonate: Standard Methods for the Examination of Water and Wastewater,
/// method 2340 B (memory; confirmed from molar masses, 100.0869/40.078 and
/// 100.0869/24.305).
const CALCIUM: f64 = 2.497;
const MAGNESIUM: f64 = 4.118;

/// A content that no water has.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("the {of} is {found}; give 0 mg/L or more")]
pub struct NoContent {
    /// Of what.
    pub of: &'static str,
    /// What was given.
    pub found: Content,
}

/// Hardness by calculation, 2.497·Ca + 4.118·Mg.
///
/// # Errors
/// When a content is below zero.
pub fn hardness_by_calculation(
    calcium: Content,
    magnesium: Content,
) -> Result<Hardness, NoContent> {
    for (of, found) in [("calcium", calcium), ("magnesium", magnesium)] {
        if found < Content::default() {
            return Err(NoContent { of, found });
        }
    }
    let as_carbonate = CALCIUM * calcium.mg_per_l() + MAGNESIUM * magnesium.mg_per_l();
    Ok(Hardness::from_mg_per_l(as_carbonate))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chemistry::table::tests::{numbers, rows};
    use crate::units::Parse;

    fn hardness(calcium: f64, magnesium: f64) -> Result<Hardness, NoContent> {
        let mg_l = Content::from_mg_per_l;
        hardness_by_calculation(mg_l(calcium), mg_l(magnesium))
    }

    #[test]
    fn agrees_with_the_table_in_every_unit() {
        let table = rows(include_str!(
            "../../tests/reference/hardness_2340b_cases.csv"
        ));
        assert_eq!(table.len(), 5);
        for row in table {
            let [calcium, magnesium, carbonate, molar] = numbers(&row);
            let found = hardness(calcium, magnesium).unwrap().mg_per_l();
            assert!((found - carbonate).abs() < 1e-4, "{row:?}: {found}");
            assert!((found - molar).abs() <= 1e-4 * molar, "{row:?}: {found}");
            for (unit, at) in [("dH", 4), ("fH", 5), ("gpg", 6), ("mmol/L", 7)] {
                let want: f64 = row[at].parse().unwrap();
                let in_unit = found / Hardness::unit_conversion(unit).unwrap().scale;
                assert!((in_unit - want).abs() < 1e-4, "{row:?}: {in_unit} {unit}");
            }
        }
    }

    #[test]
    fn refuses_less_than_nothing() {
        let told = hardness(1.0, -0.5).unwrap_err().to_string();
        assert_eq!(told, "the magnesium is -0.5 mg/L; give 0 mg/L or more");
    }
}
