//! The page: one file of HTML that is also well-formed XML, without a script and
//! without anything from elsewhere.

mod charts;

use std::fmt::Write;

use crate::alarm::performance::Period;
use crate::units::Timestamp;

use super::escape::escape;
use super::facts::sump::SumpFacts;
use super::table::{Cell, Table};
use super::words::Voice;
pub use charts::alarms_by_day;

/// Colours, sizes and what is different on paper.
const STYLE: &str = include_str!("style.css");

/// Rows of a table on the page at most; the CSV file has them all (choice: some
/// ten sheets of paper).
const MOST_ROWS: usize = 500;

/// A table with no more rows is printed on one sheet of paper.
const ON_ONE_SHEET: usize = 25;

/// What stands at the head of a report.
#[derive(Debug, Clone, Copy)]
pub struct Head<'a> {
    /// The plant.
    pub plant: &'a str,
    /// The period.
    pub period: Period,
    /// When the report was made.
    pub made: Timestamp,
    /// The version of the program that made it.
    pub version: &'a str,
    /// Name and title of each sump in it.
    pub sumps: &'a [(String, String)],
}

impl Head<'_> {
    fn title(&self, voice: &Voice<'_>) -> String {
        let what = match self.sumps {
            [(_, title)] => title.clone(),
            _ => self.plant.to_owned(),
        };
        voice.words.fill("page.title", &[("what", &what)])
    }

    fn period(&self, voice: &Voice<'_>) -> String {
        let (from, to) = (voice.time(self.period.from), voice.time(self.period.to));
        voice
            .words
            .fill("page.period", &[("from", &from), ("to", &to)])
    }

    fn made(&self, voice: &Voice<'_>) -> String {
        let made = voice.time(self.made);
        let values = [("time", made.as_str()), ("version", self.version)];
        voice.words.fill("page.made", &values)
    }
}

/// Everything before the first chapter.
pub fn begin(head: &Head<'_>, voice: &Voice<'_>) -> String {
    let title = head.title(voice);
    let (period, made) = (head.period(voice), head.made(voice));
    let mut page = String::new();
    let _ = write!(
        page,
        "<!DOCTYPE html>\n<html xmlns=\"http://www.w3.org/1999/xhtml\" lang=\"{}\">\n<head>\n\
         <meta charset=\"utf-8\"/>\n<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\"/>\n\
         <title>{}</title>\n<style>\n{STYLE}{}</style>\n</head>\n<body>\n",
        voice.words.language(),
        escape(&format!("{title}, {period}")),
        page_margins(head, voice),
    );
    let zone = voice.zone.iana_name().unwrap_or("UTC");
    let clocks = voice.words.fill("page.clocks", &[("zone", zone)]);
    let _ = write!(
        page,
        "<header>\n<h1>{}</h1>\n<dl class=\"made\">",
        escape(&title)
    );
    for (key, value) in [
        ("page.plant", head.plant),
        ("page.of_period", &period),
        ("page.of_making", &made),
        ("page.of_clocks", &clocks),
    ] {
        let _ = write!(
            page,
            "<dt>{}</dt><dd>{}</dd>",
            escape(&voice.say(key)),
            escape(value)
        );
    }
    page.push_str("</dl>\n");
    paragraph(&mut page, "about", &voice.say("page.about"));
    page.push_str("</header>\n");
    if head.sumps.len() > 1 {
        let _ = write!(
            page,
            "<nav aria-label=\"{}\"><ul>",
            escape(&voice.say("page.contents"))
        );
        for (name, title) in head.sumps {
            let _ = write!(
                page,
                "<li><a href=\"#{}\">{}</a></li>",
                escape(name),
                escape(title)
            );
        }
        page.push_str("</ul></nav>\n");
    }
    page
}

/// What is printed in the margins of each sheet of paper.
fn page_margins(head: &Head<'_>, voice: &Voice<'_>) -> String {
    let made = head.made(voice);
    let left = format!("{} \u{b7} {}", head.plant, head.title(voice));
    let text = |text: &str| css_text(text);
    format!(
        "@page {{ margin: 18mm 13mm 16mm; \
         @top-left {{ content: {}; font: 8pt sans-serif; color: #555; }} \
         @top-right {{ content: {}; font: 8pt sans-serif; color: #555; }} \
         @bottom-left {{ content: {}; font: 8pt sans-serif; color: #555; }} \
         @bottom-right {{ content: counter(page) \" / \" counter(pages); font: 8pt sans-serif; color: #555; }} }}\n",
        text(&left),
        text(&head.period(voice)),
        text(&made)
    )
}

/// A text in a style sheet that stands in a page: everything but letters, digits
/// and spaces by its number, so that none ends the text, the style sheet or the
/// page.
fn css_text(text: &str) -> String {
    let mut safe = String::from("\"");
    for letter in text.chars() {
        match letter {
            'a'..='z' | 'A'..='Z' | '0'..='9' | ' ' | '.' | ',' | ':' | '-' => safe.push(letter),
            '\0' => safe.push('\u{fffd}'),
            letter => {
                let _ = write!(safe, "\\{:x} ", u32::from(letter));
            }
        }
    }
    safe.push('"');
    safe
}

/// The end of the page.
pub fn end() -> &'static str {
    "</body>\n</html>\n"
}

/// A chapter on the plant as a whole.
pub fn chapter(key: &str, tables: &[Table], figures: &[String], voice: &Voice<'_>) -> String {
    let mut page = format!(
        "<section>\n<h2>{}</h2>\n",
        escape(&voice.say(&format!("chapter.{key}")))
    );
    note(&mut page, key, voice);
    figures.iter().for_each(|figure| page.push_str(figure));
    for table in tables {
        self::table(&mut page, table, voice);
    }
    page.push_str("</section>\n");
    page
}

/// The section of one sump.
pub fn sump(
    facts: &SumpFacts<'_>,
    tables: &[(&'static str, Vec<Table>)],
    voice: &Voice<'_>,
) -> String {
    let setup = facts.setup;
    let mut page = String::new();
    let _ = write!(
        page,
        "<section class=\"sump\" id=\"{}\">\n<h2>{}</h2>\n",
        escape(&setup.name),
        escape(&setup.title)
    );
    let charts = charts::of_sump(facts, voice);
    for (key, tables) in tables {
        let figures = charts.iter().filter(|(of, _)| of == key);
        let has_figures = figures.clone().next().is_some();
        let is_empty = tables
            .iter()
            .all(|table| table.rows.is_empty() && table.left_out == 0);
        let _ = writeln!(
            page,
            "<h3>{}</h3>",
            escape(&voice.say(&format!("chapter.{key}")))
        );
        note(&mut page, key, voice);
        figures.for_each(|(_, figure)| page.push_str(figure));
        if is_empty && !has_figures {
            paragraph(&mut page, "note", &voice.say("page.nothing"));
        }
        for table in tables {
            self::table(&mut page, table, voice);
        }
    }
    let (left_out, unreadable) = facts.book.lost();
    if left_out + unreadable > 0 {
        let (left_out, unreadable) = (left_out.to_string(), unreadable.to_string());
        let values = [("left_out", left_out.as_str()), ("unreadable", &unreadable)];
        paragraph(&mut page, "note", &voice.words.fill("page.lost", &values));
    }
    page.push_str("</section>\n");
    page
}

/// What a reader must know of a chapter.
fn note(page: &mut String, key: &str, voice: &Voice<'_>) {
    if let Some(note) = voice.words.find(&format!("note.{key}")) {
        paragraph(page, "note", note);
    }
}

fn paragraph(page: &mut String, class: &str, text: &str) {
    let _ = writeln!(page, "<p class=\"{class}\">{}</p>", escape(text));
}

/// A table; an empty one is left out.
fn table(page: &mut String, table: &Table, voice: &Voice<'_>) {
    if table.rows.is_empty() && table.left_out == 0 {
        return;
    }
    let title = escape(&voice.say(&format!("table.{}", table.name)));
    let together = match table.rows.len() <= ON_ONE_SHEET {
        true => " together",
        false => "",
    };
    let _ = write!(
        page,
        "<div class=\"wide{together}\" role=\"region\" tabindex=\"0\" aria-label=\"{title}\"><table>\
         <caption>{title}</caption>\n<thead><tr>"
    );
    let numbers: Vec<bool> = (0..table.columns.len())
        .map(|place| {
            let cells = || table.rows.iter().filter_map(|row| row.get(place));
            cells().any(Cell::is_number)
                && cells().all(|cell| cell.is_number() || *cell == Cell::None)
        })
        .collect();
    for (key, is_number) in table.columns.iter().zip(&numbers) {
        let class = if *is_number { " class=\"n\"" } else { "" };
        let name = voice.say(&format!("column.{key}"));
        let _ = write!(page, "<th scope=\"col\"{class}>{}</th>", escape(&name));
    }
    page.push_str("</tr></thead>\n<tbody>\n");
    for row in table.rows.iter().take(MOST_ROWS) {
        page.push_str("<tr>");
        for (place, cell) in row.iter().enumerate() {
            let text = escape(&voice.cell(cell));
            let class = class(cell, numbers.get(place).copied().unwrap_or(false));
            // The first cell names the row.
            let _ = match place {
                0 => write!(page, "<th scope=\"row\"{class}>{text}</th>"),
                _ => write!(page, "<td{class}>{text}</td>"),
            };
        }
        page.push_str("</tr>\n");
    }
    page.push_str("</tbody></table></div>\n");
    let left_out = table.left_out + table.rows.len().saturating_sub(MOST_ROWS) as u64;
    if left_out > 0 {
        let count = voice.number(left_out as f64, 0);
        paragraph(
            page,
            "left-out",
            &voice.words.fill("page.left_out", &[("count", &count)]),
        );
    }
}

fn class(cell: &Cell, is_number: bool) -> &'static str {
    match cell {
        Cell::Alert(_) => " class=\"alert\"",
        Cell::Time(_) | Cell::Day(_) => " class=\"t\"",
        _ if is_number => " class=\"n\"",
        _ => "",
    }
}

#[cfg(test)]
mod tests;
