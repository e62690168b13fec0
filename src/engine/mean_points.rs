//! The course of a signal, in points that each stand for the mean of some time.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::units::{Span, Timestamp};

/// The newest points, and the one that is not complete.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub(super) struct MeanPoints {
    points: VecDeque<(Timestamp, f64)>,
    began: Option<Timestamp>,
    sum: f64,
    count: u32,
}

impl MeanPoints {
    /// Takes in a value. A point stands for `each` at least, and `most` are kept;
    /// gives whether one was completed.
    pub(super) fn step(&mut self, time: Timestamp, value: f64, each: Span, most: usize) -> bool {
        let began = *self.began.get_or_insert(time);
        let complete = time - began >= each && self.count > 0;
        if complete {
            if self.points.len() == most {
                self.points.pop_front();
            }
            let mean = self.sum / f64::from(self.count);
            self.points.push_back((time, mean));
            (self.began, self.sum, self.count) = (Some(time), 0.0, 0);
        }
        self.sum += value;
        self.count += 1;
        complete
    }

    /// Nothing of what was says anything of what follows.
    pub(super) fn begin_anew(&mut self) {
        self.points.clear();
        (self.began, self.sum, self.count) = (None, 0.0, 0);
    }

    /// The complete points since this time, oldest first, each with its end.
    pub(super) fn since(&self, time: Timestamp) -> Vec<(Timestamp, f64)> {
        let points = self.points.iter().filter(|(at, _)| *at >= time);
        points.copied().collect()
    }

    /// How many are complete.
    pub(super) fn len(&self) -> usize {
        self.points.len()
    }
}
