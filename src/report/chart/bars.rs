//! Amounts by day, week or month as bars, each sort with a fill of its own.

use std::fmt::Write;

use crate::report::escape::escape;
use crate::report::words::Voice;

use super::axis::Scale;
use super::{LEFT, RIGHT, at, hatching, open};

const TOP: f64 = 12.0;
const BOTTOM: f64 = 140.0;
const HEIGHT: f64 = 166.0;
/// Names below the bars, at most.
const MOST_NAMES: usize = 10;

/// How a bar is filled: told apart without colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fill {
    /// Dark.
    Dark,
    /// White with an edge.
    Light,
    /// Hatched.
    Hatched,
}

impl Fill {
    /// The attributes that draw it.
    pub fn drawn(self, id: &str) -> String {
        match self {
            Fill::Dark => "class=\"bar dark\"".to_owned(),
            Fill::Light => "class=\"bar light\"".to_owned(),
            Fill::Hatched => format!("class=\"bar light\" style=\"fill:url(#{id}-h)\""),
        }
    }
}

/// One bar with, where it is not certain, the ends of its interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bar {
    /// How high.
    pub value: f64,
    /// From where to where it may be.
    pub between: Option<(f64, f64)>,
    /// How it is filled.
    pub fill: Fill,
}

/// What is drawn.
#[derive(Debug, Clone)]
pub struct Bars<'a> {
    /// Of its own on the page.
    pub id: &'a str,
    /// What it is called.
    pub title: &'a str,
    /// What it shows, in words.
    pub description: &'a str,
    /// The groups, each with its name and bars.
    pub groups: Vec<(String, Vec<Bar>)>,
    /// Whether they are numbers of things, which have no decimals.
    pub are_counts: bool,
}

/// Draws them; bars of a group stand beside each other.
pub fn bars(chart: &Bars<'_>, voice: &Voice<'_>) -> String {
    let mut svg = String::new();
    open(&mut svg, chart.id, HEIGHT, chart.title, chart.description);
    hatching(&mut svg, chart.id);
    let all = || chart.groups.iter().flat_map(|(_, bars)| bars);
    let high = all().map(|bar| {
        bar.between
            .map_or(bar.value, |(_, high)| high.max(bar.value))
    });
    let high = high.fold(0.0, f64::max);
    let scale = match chart.are_counts {
        true => Scale::of_counts(high, TOP, BOTTOM),
        false => Scale::over(0.0, high, TOP, BOTTOM),
    };
    scale.draw(&mut svg, |value, decimals| voice.number(value, decimals));
    let room = (RIGHT - LEFT) / chart.groups.len().max(1) as f64;
    let each = chart.groups.len().div_ceil(MOST_NAMES).max(1);
    for (place, (name, bars)) in chart.groups.iter().enumerate() {
        let left = LEFT + place as f64 * room;
        let wide = (0.8 * room / bars.len().max(1) as f64).min(26.0);
        let inset = (room - wide * bars.len() as f64) / 2.0;
        for (n, bar) in bars.iter().enumerate() {
            one(
                &mut svg,
                chart.id,
                bar,
                left + inset + n as f64 * wide,
                wide,
                &scale,
            );
        }
        if place % each == 0 {
            let _ = write!(
                svg,
                "<text class=\"mid\" x=\"{}\" y=\"{}\">{}</text>",
                at(left + room / 2.0),
                at(BOTTOM + 17.0),
                escape(name)
            );
        }
    }
    svg.push_str("</svg>");
    svg
}

fn one(svg: &mut String, id: &str, bar: &Bar, x: f64, wide: f64, scale: &Scale) {
    let (top, bottom) = (scale.y(bar.value), scale.y(0.0));
    if bottom - top > 0.05 {
        let _ = write!(
            svg,
            "<rect {} x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/>",
            bar.fill.drawn(id),
            at(x),
            at(top),
            at((wide - 1.0).max(0.5)),
            at(bottom - top)
        );
    }
    if let Some((low, high)) = bar.between {
        let middle = x + (wide - 1.0) / 2.0;
        let (low, high) = (scale.y(low), scale.y(high));
        let _ = write!(
            svg,
            "<path class=\"whisker\" d=\"M{0} {1}V{2}M{3} {1}h4M{3} {2}h4\"/>",
            at(middle),
            at(low),
            at(high),
            at(middle - 2.0)
        );
    }
}
