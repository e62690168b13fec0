//! Drawings as SVG: no script, no colour that is needed to understand them.
//!
//! Grey is what is well. What is outside its window is drawn thicker, in a colour,
//! and with a triangle at the edge that it left by; what is not known is hatched.

mod axis;
mod bars;
mod line;

pub use bars::{Bar, Bars, Fill, bars};
pub use line::{Event, LineChart, Mark, line_chart};

use std::fmt::Write;

use super::escape::escape;

/// Width of a drawing, in its own units.
const WIDTH: f64 = 720.0;
/// Left edge of what is plotted: room for the numbers of the axis.
const LEFT: f64 = 56.0;
/// Right edge.
const RIGHT: f64 = 712.0;

/// The beginning of a drawing with its title and what it shows in words.
fn open(svg: &mut String, id: &str, height: f64, title: &str, description: &str) {
    let (title, description) = (escape(title), escape(description));
    let _ = write!(
        svg,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" viewBox=\"0 0 {WIDTH} {height}\" \
         aria-labelledby=\"{id}-t {id}-d\"><title id=\"{id}-t\">{title}</title>\
         <desc id=\"{id}-d\">{description}</desc>"
    );
}

/// A hatching of its own: ids hold for the whole page.
fn hatching(svg: &mut String, id: &str) {
    let _ = write!(
        svg,
        "<defs><pattern id=\"{id}-h\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\" \
         patternTransform=\"rotate(45)\"><path d=\"M0 0V6\" class=\"hatch\"/></pattern></defs>"
    );
}

/// A coordinate, short.
fn at(value: f64) -> String {
    let text = format!("{value:.1}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
}
