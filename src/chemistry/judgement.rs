//! How good an instrument was found to be.

/// How good an instrument was found to be when it was calibrated; the worst
/// comes last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Judgement {
    /// As it should be.
    Good,
    /// Usable, to be cleaned and calibrated again.
    Watch,
    /// To be replaced, if cleaning does not help.
    Replace,
}

impl Judgement {
    /// The name in machine-readable output.
    pub const fn name(self) -> &'static str {
        match self {
            Judgement::Good => "good",
            Judgement::Watch => "watch",
            Judgement::Replace => "replace",
        }
    }
}
