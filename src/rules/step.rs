//! What is first to be watched and then to be acted upon.

use crate::alarm::Verdict;
use crate::model::minerals::Bounds;

use super::limit::{LimitLevel, judge_limit};

/// Back inside only when it is below its bound by this share of it. Choice: half
/// of what strips and titrations of minerals are good to.
const BACK_BY: f64 = 0.05;

/// How far something has gone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Step {
    /// It is to be watched.
    Watch,
    /// Something is to be done.
    Act,
}

impl Step {
    /// The bound of this step.
    pub const fn of(self, bounds: Bounds) -> f64 {
        match self {
            Step::Watch => bounds.watch,
            Step::Act => bounds.act,
        }
    }
}

/// Judges what must not exceed its bound, in any unit.
pub fn judge_bound(bound: f64, value: Option<f64>) -> Verdict {
    judge_limit(LimitLevel::High, bound, BACK_BY * bound, value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_step_has_its_bound_and_comes_back_below_it() {
        let bounds = Bounds {
            watch: 400.0,
            act: 800.0,
        };
        let judge = |step: Step, x| judge_bound(step.of(bounds), Some(x));
        assert_eq!(judge(Step::Watch, 400.0), Verdict::Band);
        assert_eq!(judge(Step::Watch, 401.0), Verdict::Outside);
        assert_eq!(judge(Step::Watch, 380.0), Verdict::Inside);
        assert_eq!(judge(Step::Act, 790.0), Verdict::Band);
        assert_eq!(judge(Step::Act, 801.0), Verdict::Outside);
        assert_eq!(judge_bound(800.0, None), Verdict::Unknown);
    }
}
