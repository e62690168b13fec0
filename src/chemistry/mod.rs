//! Chemistry of the mix: refractometry.

use crate::units::{Brix, Concentration};

/// Refractometer reading to concentration.
#[derive(Debug, Clone, PartialEq)]
pub struct Chart(Vec<(Brix, Concentration)>);
