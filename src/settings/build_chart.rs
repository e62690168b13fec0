//! From a fluid's data sheet to its chart: the one place that knows how
//! charts are made.

use crate::chemistry::Chart;
use crate::units::{Brix, Concentration, Parse};

use super::key_path::KeyPath;
use super::problem::Problem;
use super::raw::RawFluid;
use super::review::Review;
use super::written::Written;

/// The chart of a fluid, from its factor or its points.
pub(super) fn chart(review: &mut Review, at: &KeyPath, raw: &RawFluid) -> Option<Chart> {
    match (raw.factor, &raw.points) {
        (Some(_), Some(_)) => {
            review.tell(&at.key("points"), Problem::NotBoth("factor", "points"));
            None
        }
        (Some(factor), None) => review.good(&at.key("factor"), Chart::factor(factor)),
        (None, Some(rows)) => {
            let path = at.key("points");
            let points = points(review, &path, rows)?;
            review.good(&path, Chart::points(points))
        }
        (None, None) => {
            review.missing(&at.key("factor"), "factor = 1.3, or points = [[…], …]");
            None
        }
    }
}

fn points(
    review: &mut Review,
    path: &KeyPath,
    rows: &[Vec<Written>],
) -> Option<Vec<(Brix, Concentration)>> {
    let points: Vec<_> = rows
        .iter()
        .enumerate()
        .map(|(place, row)| point(review, &path.item(place), row))
        .collect();
    points.into_iter().collect()
}

fn point(review: &mut Review, path: &KeyPath, row: &[Written]) -> Option<(Brix, Concentration)> {
    let [brix, concentration] = row else {
        let wanted = "a reading and a concentration, as [\"4.0 °Bx\", \"5.2 %\"]";
        let found = row.len();
        review.tell(path, Problem::Length { wanted, found });
        return None;
    };
    let brix = review.good(&path.item(0), Brix::parse(brix.text()));
    let concentration = review.good(&path.item(1), Concentration::parse(concentration.text()));
    Some((brix?, concentration?))
}
