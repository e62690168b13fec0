//! The course of a signal: a line through the lowest and highest value of each
//! column, its window behind it, what happened below it.

use std::fmt::Write;

use crate::report::facts::signal::{Column, Side, Signal, Window};
use crate::report::words::Voice;
use crate::units::Timestamp;

use super::axis::{Scale, TimeScale};
use super::{LEFT, RIGHT, at, hatching, open};

const TOP: f64 = 14.0;
const BOTTOM: f64 = 170.0;
/// Where events stand, below the names of the axis.
const EVENTS: f64 = 202.0;
const HEIGHT: f64 = 214.0;
/// Triangles at an edge are not drawn nearer to each other.
const APART: f64 = 12.0;

/// Something that happened.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// When.
    pub time: Timestamp,
    /// How it is drawn.
    pub mark: Mark,
}

/// How an event is drawn: each by its own shape.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Mark {
    /// Something went in: a full triangle that points up.
    In,
    /// Something was let out: an open triangle that points down.
    Out,
    /// A new charge: a full square.
    NewCharge,
    /// A reading by hand: an open circle.
    ByHand,
    /// An alarm was raised: a full diamond.
    Alarm,
}

impl Mark {
    /// Every mark, in the order of the legend.
    pub const ALL: [Mark; 5] = [
        Mark::In,
        Mark::Out,
        Mark::NewCharge,
        Mark::ByHand,
        Mark::Alarm,
    ];

    /// The key of its words.
    pub const fn name(self) -> &'static str {
        match self {
            Mark::In => "in",
            Mark::Out => "out",
            Mark::NewCharge => "new_charge",
            Mark::ByHand => "by_hand",
            Mark::Alarm => "alarm",
        }
    }

    /// Drawn around this point.
    pub fn draw(self, svg: &mut String, x: f64, y: f64) {
        let place = format!("transform=\"translate({} {})\"", at(x), at(y));
        let shape = match self {
            Mark::In => "<path class=\"mark full\" d=\"M0-5L5 4H-5Z\"",
            Mark::Out => "<path class=\"mark open\" d=\"M0 5L5-4H-5Z\"",
            Mark::NewCharge => "<path class=\"mark full\" d=\"M-4-4H4V4H-4Z\"",
            Mark::ByHand => "<circle class=\"mark open\" r=\"3.5\"",
            Mark::Alarm => "<path class=\"mark alert\" d=\"M0-6L5 0L0 6L-5 0Z\"",
        };
        let _ = write!(svg, "{shape} {place}/>");
    }
}

/// What is drawn.
#[derive(Debug, Clone, Copy)]
pub struct LineChart<'a> {
    /// Of its own on the page.
    pub id: &'a str,
    /// What it is called.
    pub title: &'a str,
    /// What it shows, in words.
    pub description: &'a str,
    /// The course.
    pub signal: &'a Signal,
    /// What happened.
    pub events: &'a [Event],
}

/// Draws it.
pub fn line_chart(chart: &LineChart<'_>, voice: &Voice<'_>) -> String {
    let LineChart { id, signal, .. } = chart;
    let mut svg = String::new();
    open(&mut svg, id, HEIGHT, chart.title, chart.description);
    hatching(&mut svg, id);
    let window = signal.window();
    let scale = scale(signal, window);
    let time = TimeScale {
        period: signal.period(),
    };
    band(&mut svg, window, &scale);
    gaps(&mut svg, id, signal, &time);
    scale.draw(&mut svg, |value, decimals| voice.number(value, decimals));
    time.draw(&mut svg, BOTTOM, voice.zone);
    course(&mut svg, signal, &scale);
    edges(&mut svg, signal, window);
    for event in chart.events {
        event.mark.draw(&mut svg, time.x(event.time), EVENTS);
    }
    svg.push_str("</svg>");
    svg
}

fn scale(signal: &Signal, window: Window) -> Scale {
    let seen = signal.columns().iter().flatten();
    let values = seen.flat_map(|column| [column.low, column.high]);
    let values = values.chain(window.low).chain(window.high);
    let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
        (low.min(value), high.max(value))
    });
    Scale::over(low, high, TOP, BOTTOM)
}

/// What is not known is hatched.
fn gaps(svg: &mut String, id: &str, signal: &Signal, time: &TimeScale) {
    for gap in signal.gaps().0 {
        let (from, to) = (time.x(gap.period.from), time.x(gap.period.to));
        // Narrower ones would not be seen.
        if to - from >= 0.5 {
            let _ = write!(
                svg,
                "<rect fill=\"url(#{id}-h)\" x=\"{}\" y=\"{TOP}\" width=\"{}\" height=\"{}\"/>",
                at(from),
                at(to - from),
                BOTTOM - TOP
            );
        }
    }
}

fn band(svg: &mut String, window: Window, scale: &Scale) {
    if window.is_none() {
        return;
    }
    let top = window.high.map_or(TOP, |high| scale.y(high));
    let bottom = window.low.map_or(BOTTOM, |low| scale.y(low));
    let _ = write!(
        svg,
        "<rect class=\"band\" x=\"{LEFT}\" y=\"{}\" width=\"{}\" height=\"{}\"/>",
        at(top),
        RIGHT - LEFT,
        at((bottom - top).max(0.0))
    );
    for limit in [window.low, window.high].into_iter().flatten() {
        let _ = write!(
            svg,
            "<path class=\"limit\" d=\"M{LEFT} {}H{RIGHT}\"/>",
            at(scale.y(limit))
        );
    }
}

fn x_of(place: usize, signal: &Signal) -> f64 {
    LEFT + (place as f64 + 0.5) / signal.columns().len() as f64 * (RIGHT - LEFT)
}

/// The line, and over it the parts that are outside.
fn course(svg: &mut String, signal: &Signal, scale: &Scale) {
    let window = signal.window();
    let outside = |column: &Column| {
        window.side(column.low) != Side::Inside || window.side(column.high) != Side::Inside
    };
    let _ = write!(
        svg,
        "<path class=\"course\" d=\"{}\"/>",
        path(signal, scale, |_| true)
    );
    let off = path(signal, scale, outside);
    if !off.is_empty() {
        let _ = write!(svg, "<path class=\"off\" d=\"{off}\"/>");
    }
}

fn path(signal: &Signal, scale: &Scale, wanted: impl Fn(&Column) -> bool) -> String {
    let mut path = String::new();
    // Empty columns between two values are no gap while the value holds: those
    // that are none are hatched.
    let reach = signal.holds_columns();
    let mut last: Option<usize> = None;
    for (place, column) in signal.columns().iter().enumerate() {
        let Some(column) = column.as_ref().filter(|column| wanted(column)) else {
            continue;
        };
        let joined = last.is_some_and(|last| place - last <= reach);
        let x = at(x_of(place, signal));
        let (low, high) = (at(scale.y(column.low)), at(scale.y(column.high)));
        let _ = write!(path, "{}{x} {low}", if joined { "L" } else { "M" });
        if low != high {
            let _ = write!(path, "V{high}");
        } else if !joined {
            path.push_str("h1");
        }
        let _ = write!(path, "L{x} {}", at(scale.y(column.last)));
        last = Some(place);
    }
    path
}

/// Triangles at the edge that the signal left its window by.
fn edges(svg: &mut String, signal: &Signal, window: Window) {
    let mut last = [f64::NEG_INFINITY; 2];
    for (place, column) in signal.columns().iter().enumerate() {
        let Some(column) = column else { continue };
        let x = x_of(place, signal);
        let above = window.side(column.high) == Side::Above;
        let below = window.side(column.low) == Side::Below;
        for (edge, is_off) in [above, below].into_iter().enumerate() {
            if is_off && x - last[edge] >= APART {
                last[edge] = x;
                let shape = ["M0-4L4 3H-4Z", "M0 4L4-3H-4Z"][edge];
                let y = [TOP - 6.0, BOTTOM - 5.0][edge];
                let _ = write!(
                    svg,
                    "<path class=\"edge\" d=\"{shape}\" transform=\"translate({} {})\"/>",
                    at(x),
                    at(y)
                );
            }
        }
    }
}
