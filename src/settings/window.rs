//! The concentration that a sump is kept at, and how far it may wander.

use super::defaults;
use super::key_path::KeyPath;
use super::problem::Problem;
use super::raw::RawSump;
use super::review::Review;
use crate::units::{Concentration, Parse};

/// The target in per cent.
pub(super) fn target(review: &mut Review, at: &KeyPath, raw: &RawSump) -> Option<f64> {
    let path = at.key("target");
    let written = raw.target.as_ref();
    let target = review.needed(&path, written, Concentration::parse, "target = \"8 %\"")?;
    review.within(&path, target.percent(), (0.1, 50.0), percent)
}

/// The window around the target, in per cent.
pub(super) fn window(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawSump,
    target: Option<f64>,
) -> Option<(f64, f64)> {
    let path = at.key("window");
    let window = match raw.window.as_deref() {
        None => {
            let target = target?;
            let half = defaults::WINDOW_HALF;
            if target <= half {
                review.missing(&path, "window = [\"0.4 %\", \"0.8 %\"]");
                return None;
            }
            (target - half, target + half)
        }
        Some([low, high]) => {
            let low = review.good(&path.item(0), Concentration::parse(low.text()));
            let high = review.good(&path.item(1), Concentration::parse(high.text()));
            (low?.percent(), high?.percent())
        }
        Some(list) => {
            let wanted = "the lowest and the highest concentration";
            let found = list.len();
            review.tell(&path, Problem::Length { wanted, found });
            return None;
        }
    };
    let target = target?;
    let inside = 0.0 < window.0 && window.0 < target && target < window.1 && window.1 <= 100.0;
    if !inside {
        let found = format!(
            "a window from {} to {}",
            percent(window.0),
            percent(window.1)
        );
        let allowed = format!("one around the target of {}", percent(target));
        review.tell(&path, Problem::OutOfRange { found, allowed });
        return None;
    }
    Some(window)
}

fn percent(value: f64) -> String {
    format!("{value} %")
}
