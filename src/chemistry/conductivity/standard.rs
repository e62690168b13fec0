//! Standard solutions: their conductivity by temperature.

use std::fmt;

use crate::chemistry::table::between;
use crate::units::{ConductivityAsIs, Temperature};

/// A solution of potassium chloride whose conductivity is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ConductivityStandard {
    /// Sold as 84 µS/cm at 25 °C.
    Sold84,
    /// Sold as 500 µS/cm at 25 °C.
    Sold500,
    /// Sold as 1413 µS/cm at 25 °C, 0.01 mol/L.
    Sold1413,
    /// Sold as 12.88 mS/cm at 25 °C, 0.1 mol/L.
    Sold12880,
    /// 0.01 mol/kg, 1408.23 µS/cm at 25 °C.
    Molal0_01,
    /// 0.1 mol/kg, 12.8246 mS/cm at 25 °C.
    Molal0_1,
    /// 1 mol/kg, 108.62 mS/cm at 25 °C.
    Molal1,
}

impl ConductivityStandard {
    /// Every standard.
    pub const ALL: [ConductivityStandard; 7] = [
        ConductivityStandard::Sold84,
        ConductivityStandard::Sold500,
        ConductivityStandard::Sold1413,
        ConductivityStandard::Sold12880,
        ConductivityStandard::Molal0_01,
        ConductivityStandard::Molal0_1,
        ConductivityStandard::Molal1,
    ];

    /// The name in settings and on the command line.
    pub const fn name(self) -> &'static str {
        match self {
            ConductivityStandard::Sold84 => "kcl-84",
            ConductivityStandard::Sold500 => "kcl-500",
            ConductivityStandard::Sold1413 => "kcl-1413",
            ConductivityStandard::Sold12880 => "kcl-12880",
            ConductivityStandard::Molal0_01 => "kcl-0.01-molal",
            ConductivityStandard::Molal0_1 => "kcl-0.1-molal",
            ConductivityStandard::Molal1 => "kcl-1-molal",
        }
    }

    /// Its conductivity at a temperature, on straight lines between the rows at
    /// hand. The water that it was made with conducts some 1 µS/cm besides.
    ///
    /// # Errors
    /// When the temperature is outside its rows.
    pub fn at(self, temperature: Temperature) -> Result<ConductivityAsIs, StandardError> {
        let rows = self.rows();
        between(rows, temperature.celsius())
            .map(ConductivityAsIs::from_microsiemens_per_cm)
            .ok_or(StandardError {
                standard: self,
                found: temperature,
                lowest: Temperature::from_celsius(rows[0].0),
                highest: Temperature::from_celsius(rows[rows.len() - 1].0),
            })
    }

    const fn rows(self) -> &'static [(f64, f64)] {
        match self {
            ConductivityStandard::Sold84 => &SOLD_84,
            ConductivityStandard::Sold500 => &SOLD_500,
            ConductivityStandard::Sold1413 => &SOLD_1413,
            ConductivityStandard::Sold12880 => &SOLD_12880,
            ConductivityStandard::Molal0_01 => &MOLAL_0_01,
            ConductivityStandard::Molal0_1 => &MOLAL_0_1,
            ConductivityStandard::Molal1 => &MOLAL_1,
        }
    }
}

impl fmt::Display for ConductivityStandard {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A temperature at which a standard's conductivity is not known.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error(
    "the table gives the standard {standard} from {lowest} to {highest}, not at {found}; \
     calibrate within that range"
)]
pub struct StandardError {
    /// Which standard.
    pub standard: ConductivityStandard,
    /// What was given.
    pub found: Temperature,
    /// The lowest temperature of its rows.
    pub lowest: Temperature,
    /// The highest temperature of its rows.
    pub highest: Temperature,
}

// (°C, µS/cm). Source of MOLAL_…: a handbook's table of the NIST values (Wu,
// Koch, Pratt, J. Res. NIST 96, 191 (1991); Wu et al., ibid. 99, 241 (1994); Pratt
// et al., Pure Appl. Chem. 73, 1783 (2001)); of SOLD_…: a table printed in an
// instrument manual (common practice), without its 1413 µS/cm at 35 °C, which
// contradicts NIST.
#[rustfmt::skip]
const MOLAL_0_01: [(f64, f64); 10] = [
    (0.0, 772.92), (5.0, 890.96), (10.0, 1013.95), (18.0, 1219.93), (20.0, 1273.03), (25.0, 1408.23), (35.0, 1687.79), (40.0, 1831.27),
    (45.0, 1976.62), (50.0, 2123.43),
];
#[rustfmt::skip]
const MOLAL_0_1: [(f64, f64); 10] = [
    (0.0, 7116.85), (5.0, 8183.7), (15.0, 10437.1), (18.0, 11140.6), (25.0, 12824.6), (30.0, 14059.2), (35.0, 15316.0), (40.0, 16591.0),
    (45.0, 17880.6), (50.0, 19180.9),
];
#[rustfmt::skip]
const MOLAL_1: [(f64, f64); 10] = [
    (0.0, 63488.0), (5.0, 72030.0), (10.0, 80844.0), (15.0, 89900.0), (20.0, 99170.0), (25.0, 108620.0), (30.0, 118240.0), (40.0, 137810.0),
    (45.0, 147720.0), (50.0, 157670.0),
];
#[rustfmt::skip]
const SOLD_84: [(f64, f64); 7] = [
    (5.0, 53.02), (10.0, 60.34), (15.0, 67.61), (20.0, 75.8), (25.0, 84.0), (30.0, 92.19), (35.0, 100.92),
];
#[rustfmt::skip]
const SOLD_500: [(f64, f64); 7] = [
    (5.0, 315.3), (10.0, 359.6), (15.0, 402.9), (20.0, 451.5), (25.0, 500.0), (30.0, 548.5), (35.0, 602.5),
];
#[rustfmt::skip]
const SOLD_1413: [(f64, f64); 5] = [
    (5.0, 896.0), (10.0, 1020.0), (20.0, 1278.0), (25.0, 1413.0), (30.0, 1552.0),
];
#[rustfmt::skip]
const SOLD_12880: [(f64, f64); 6] = [
    (5.0, 8220.0), (10.0, 9330.0), (15.0, 10480.0), (25.0, 12880.0), (30.0, 14120.0), (35.0, 15390.0),
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chemistry::table::tests::rows;

    fn agrees(standard: ConductivityStandard, celsius: &str, want: f64) {
        let celsius = Temperature::from_celsius(celsius.parse().unwrap());
        let got = standard.at(celsius).unwrap().microsiemens_per_cm();
        assert!((got - want).abs() < 1e-6, "{standard} at {celsius}: {got}");
    }

    #[test]
    fn agrees_with_the_published_tables() {
        let mut held = 0;
        for row in rows(include_str!(
            "../../../tests/reference/kcl_conductivity_nist.csv"
        )) {
            let standard = match &row[0] {
                "0.01" => ConductivityStandard::Molal0_01,
                "0.1" => ConductivityStandard::Molal0_1,
                "1.0" => ConductivityStandard::Molal1,
                _ => continue, // the water itself
            };
            assert_eq!(&row[3], "retrieved");
            agrees(standard, &row[1], row[2].parse().unwrap());
            held += 1;
        }
        for row in rows(include_str!(
            "../../../tests/reference/kcl_calibration_standards.csv"
        )) {
            let (standard, scale) = match &row[0] {
                "84" => (ConductivityStandard::Sold84, 1.0),
                "500" => (ConductivityStandard::Sold500, 1.0),
                "1413" => (ConductivityStandard::Sold1413, 1.0),
                _ => (ConductivityStandard::Sold12880, 1000.0),
            };
            if &row[3] == "retrieved" {
                agrees(standard, &row[1], scale * row[2].parse::<f64>().unwrap());
                held += 1;
            }
        }
        let entries: usize = ConductivityStandard::ALL
            .iter()
            .map(|s| s.rows().len())
            .sum();
        assert_eq!(held, entries);
    }

    /// 0.01 mol/L rises with temperature as 0.01 mol/kg does, to 1 %.
    #[test]
    fn common_standards_follow_the_primary_ones() {
        let pairs = [
            (
                ConductivityStandard::Sold1413,
                ConductivityStandard::Molal0_01,
            ),
            (
                ConductivityStandard::Sold12880,
                ConductivityStandard::Molal0_1,
            ),
        ];
        for (common, primary) in pairs {
            for celsius in 5..=30 {
                let share = |standard: ConductivityStandard| {
                    let at = |t| standard.at(Temperature::from_celsius(t)).unwrap();
                    at(f64::from(celsius)).microsiemens_per_cm() / at(25.0).microsiemens_per_cm()
                };
                let (got, want) = (share(common), share(primary));
                assert!(
                    (got / want - 1.0).abs() < 0.01,
                    "{common} at {celsius}: {got}, {want}"
                );
            }
        }
    }

    #[test]
    fn refuses_what_no_row_stands_for() {
        let warm = Temperature::from_celsius(35.0);
        let told = ConductivityStandard::Sold1413
            .at(warm)
            .unwrap_err()
            .to_string();
        assert!(
            told.contains("kcl-1413 from 5.0 °C to 30.0 °C, not at 35.0 °C"),
            "{told}"
        );
    }
}
