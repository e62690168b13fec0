//! What control charts say, and what their settings must be.

/// Where a control chart sees its process.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Control {
    /// Nothing speaks against the target.
    Within,
    /// Above what chance allows.
    Above,
    /// Below what chance allows.
    Below,
}

/// Why a control chart cannot be drawn.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("{what} of a control chart is {found}; it must be {allowed}")]
pub struct ChartError {
    what: &'static str,
    found: f64,
    allowed: &'static str,
}

/// `value` if it is finite and `holds`.
pub(super) fn require(
    what: &'static str,
    value: f64,
    holds: bool,
    allowed: &'static str,
) -> Result<f64, ChartError> {
    if value.is_finite() && holds {
        Ok(value)
    } else {
        let found = value;
        Err(ChartError {
            what,
            found,
            allowed,
        })
    }
}
