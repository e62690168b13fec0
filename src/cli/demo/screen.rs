//! What one sees of the demo: a screen that is redrawn in place where there is
//! a terminal, plain lines where there is none.
//!
//! Grey while all is well. What is not has a mark and words, and colour only
//! on top of them.

use std::collections::{BTreeMap, VecDeque};
use std::io::{IsTerminal, Write};
use std::path::Path;
use std::time::{Duration, Instant};

use serde_json::Value;

use super::told::{Sort, TimeOfPlay, Told};
use crate::simulate::plant::START;
use crate::units::{Span, Timestamp};

/// Pause between two drawings.
const EVERY: Duration = Duration::from_millis(100);
/// Hours of concentration that are drawn, one cell each.
const HOURS: usize = 24;
/// Plain lines sum the plant up this often.
const SUM_UP_EVERY: Span = Span::from_hours(4);
/// Where the terminal does not tell its size.
const USUAL_SIZE: (usize, usize) = (100, 30);
/// Happenings kept for the screen.
const KEPT: usize = 100;

/// What is known of a sump from its retained state.
#[derive(Debug, Default)]
struct SumpShown {
    state: Value,
    /// Concentration at each full hour.
    hours: VecDeque<Option<f64>>,
}

/// The demo's screen.
pub(super) struct Screen {
    on_terminal: bool,
    speed: f64,
    store: String,
    sumps: BTreeMap<String, SumpShown>,
    happened: VecDeque<Told>,
    /// The newest alarm, with its advice.
    newest: Option<Told>,
    drawn: Option<Instant>,
    summed_up: Timestamp,
    hour: Timestamp,
}

impl Screen {
    /// Opens the screen.
    pub(super) fn open(speed: f64, folder: &Path) -> Self {
        let on_terminal = std::io::stdout().is_terminal();
        let screen = Screen {
            on_terminal,
            speed,
            store: folder.display().to_string(),
            sumps: BTreeMap::new(),
            happened: VecDeque::new(),
            newest: None,
            drawn: None,
            summed_up: START,
            hour: START,
        };
        if on_terminal {
            // The other screen, without its cursor.
            print("\x1b[?1049h\x1b[?25l\x1b[2J");
        } else {
            print(&format!(
                "An invented plant of six sumps, {speed:.0} times faster than life; store in {}\n\n",
                screen.store
            ));
        }
        screen
    }

    /// Gives the terminal back; what happened last stays to be read.
    pub(super) fn close(&mut self) {
        if self.on_terminal {
            print("\x1b[?25h\x1b[?1049l");
            if let Some(newest) = self.newest.take() {
                print(&plain(&newest));
            }
        }
    }

    /// A message of the daemon came.
    pub(super) fn hear(&mut self, topic: &str, payload: &[u8]) {
        let Ok(message) = serde_json::from_slice::<Value>(payload) else {
            return;
        };
        if topic.ends_with("/state") {
            if let Some(sump) = message["sump"].as_str().map(str::to_owned) {
                self.sumps.entry(sump).or_default().state = message;
            }
        } else if let Some(told) = Told::message(topic, &message) {
            self.tell(&told);
        }
    }

    /// Something happened.
    pub(super) fn tell(&mut self, told: &Told) {
        if !self.on_terminal {
            print(&plain(told));
        }
        if told.sort == Sort::Raised {
            self.newest = Some(told.clone());
        }
        self.happened.push_back(told.clone());
        if self.happened.len() > KEPT {
            self.happened.pop_front();
        }
    }

    /// Time has come to `now`.
    pub(super) fn draw(&mut self, now: TimeOfPlay) {
        self.keep_hours(now.0);
        if !self.on_terminal {
            if now.0 - self.summed_up >= SUM_UP_EVERY {
                self.summed_up = now.0;
                print(&self.sum_up(now));
            }
            return;
        }
        if self.drawn.is_some_and(|drawn| drawn.elapsed() < EVERY) {
            return;
        }
        self.drawn = Some(Instant::now());
        let (width, height) = terminal_size::terminal_size()
            .map_or(USUAL_SIZE, |(width, height)| {
                (width.0.into(), height.0.into())
            });
        let mut frame = String::from("\x1b[H");
        for line in self.lines(now, width, height).into_iter().take(height) {
            frame.push_str(&line);
            // Clears what an earlier frame left behind it.
            frame.push_str("\x1b[K\r\n");
        }
        frame.truncate(frame.trim_end_matches("\r\n").len());
        frame.push_str("\x1b[J");
        print(&frame);
    }

    fn keep_hours(&mut self, now: Timestamp) {
        let hour = now.floor(Span::from_hours(1));
        if hour <= self.hour {
            return;
        }
        self.hour = hour;
        for sump in self.sumps.values_mut() {
            sump.hours.push_back(sump.concentration());
            if sump.hours.len() > HOURS {
                sump.hours.pop_front();
            }
        }
    }

    fn sum_up(&self, now: TimeOfPlay) -> String {
        let sumps: Vec<String> = self
            .sumps
            .iter()
            .map(|(name, sump)| match sump.concentration() {
                Some(c) => format!("{name} {c:.1} %"),
                None => format!("{name} ?"),
            })
            .collect();
        format!("{now}  {}\n", sumps.join("   "))
    }

    fn lines(&self, now: TimeOfPlay, width: usize, height: usize) -> Vec<String> {
        let mut lines = vec![
            cut(
                &format!(
                    "sumpward demo, an invented plant    {now}    {:.0} times faster than life    Ctrl-C ends",
                    self.speed
                ),
                width,
            ),
            String::new(),
            cut(
                "    sump        concentration   wanted     last 24 hours             level    pH     °C    state",
                width,
            ),
        ];
        lines.extend(self.sumps.iter().map(|(name, sump)| sump.row(name, width)));
        lines.push(String::new());
        if let Some(newest) = &self.newest {
            lines.push(cut(
                &format!("newest alarm, {} {}", TimeOfPlay(newest.time), newest.sump),
                width,
            ));
            let room = (height / 2).saturating_sub(4).max(6);
            lines.extend(message_lines(newest, width.saturating_sub(4), room));
            lines.push(String::new());
        }
        lines.push("what happened, newest first".to_owned());
        let room = height.saturating_sub(lines.len());
        lines.extend(self.happened.iter().rev().take(room).map(|told| {
            let text = format!(
                "  {} {}  {:<10} {}",
                mark(told.sort),
                TimeOfPlay(told.time),
                told.sump,
                told.line
            );
            cut(&text, width)
        }));
        lines
    }
}

impl SumpShown {
    fn concentration(&self) -> Option<f64> {
        self.state["concentration_pct"]["value"].as_f64()
    }

    fn window(&self) -> Option<(f64, f64)> {
        let window = &self.state["window_pct"];
        Some((window[0].as_f64()?, window[1].as_f64()?))
    }

    /// The smoothed value of the first channel of a quantity.
    fn channel(&self, quantity: &str) -> Option<f64> {
        let channels = self.state["channels"].as_array()?;
        channels
            .iter()
            .find(|channel| channel["quantity"] == quantity)?["value"]
            .as_f64()
    }

    fn row(&self, name: &str, width: usize) -> String {
        let number = |value: Option<f64>, decimals: usize| {
            value.map_or_else(|| "?".to_owned(), |value| format!("{value:.decimals$}"))
        };
        let level = self.state["volume_l"]
            .as_f64()
            .zip(self.state["working_volume_l"].as_f64());
        let level = level.map(|(volume, working)| 100.0 * volume / working);
        let window = self
            .window()
            .map_or_else(String::new, |(low, high)| format!("{low}–{high} %"));
        let alarms: Vec<&str> = self.state["alarms"]
            .as_array()
            .into_iter()
            .flatten()
            .filter(|alarm| alarm["state"] == "unacknowledged" || alarm["state"] == "acknowledged")
            .filter_map(|alarm| alarm["condition"].as_str())
            .collect();
        let mixing = !self.state["mixing_until"].is_null();
        let state = match (alarms.is_empty(), mixing) {
            (true, false) => "normal".to_owned(),
            (true, true) => "mixing".to_owned(),
            (false, _) => alarms.join(", "),
        };
        let sort = if alarms.is_empty() {
            " "
        } else {
            mark(Sort::Raised)
        };
        let text = format!(
            "  {sort} {name:<11} {:>8} %     {window:<10} {:<24}  {:>5} %  {:>5}  {:>5}   {state}",
            number(self.concentration(), 1),
            self.trend(),
            number(level, 0),
            number(self.channel("ph"), 1),
            number(self.channel("temperature"), 0),
        );
        let text = cut(&text, width);
        if alarms.is_empty() {
            text
        } else {
            format!("\x1b[1;33m{text}\x1b[0m")
        }
    }

    /// The last hours as a row of bars, from two points under the window to
    /// two points over it.
    fn trend(&self) -> String {
        const BARS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
        let Some((low, high)) = self.window() else {
            return String::new();
        };
        let (bottom, top) = (low - 2.0, high + 2.0);
        let bar = |value: &Option<f64>| {
            value.map_or('·', |value| {
                let share = ((value - bottom) / (top - bottom)).clamp(0.0, 1.0);
                BARS[(share * 7.0).round() as usize]
            })
        };
        let bars: String = self.hours.iter().map(bar).collect();
        // Padded here, since a formatter counts as this does: by characters.
        format!("{bars:<HOURS$}")
    }
}

fn mark(sort: Sort) -> &'static str {
    match sort {
        Sort::Raised => "!",
        Sort::Good => "+",
        Sort::Other => " ",
    }
}

/// The message in so much room; what does not fit is counted, never dropped
/// without a word.
fn message_lines(told: &Told, width: usize, room: usize) -> Vec<String> {
    let message = std::iter::once(&told.line).chain(&told.more);
    let mut lines: Vec<String> = message.flat_map(|line| wrapped(line, width)).collect();
    if lines.len() > room {
        let cut = lines.split_off(room - 1).len();
        lines.push(format!(
            "({cut} more lines with causes and cautions: make the window higher)"
        ));
    }
    lines
        .into_iter()
        .map(|line| format!("    {line}"))
        .collect()
}

/// A happening as plain lines.
fn plain(told: &Told) -> String {
    let mut text = format!(
        "{}  {} {:<10} {}\n",
        TimeOfPlay(told.time),
        mark(told.sort),
        told.sump,
        told.line
    );
    for line in &told.more {
        text.push_str("                 ");
        text.push_str(line);
        text.push('\n');
    }
    text
}

fn cut(text: &str, width: usize) -> String {
    text.chars().take(width).collect()
}

/// Breaks a line between words.
fn wrapped(line: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in line.split_whitespace() {
        let last = lines.last_mut().expect("there is always a line");
        if !last.is_empty() && last.chars().count() + 1 + word.chars().count() > width {
            lines.push(word.to_owned());
        } else {
            if !last.is_empty() {
                last.push(' ');
            }
            last.push_str(word);
        }
    }
    lines
}

/// Prints; an output that went away is no reason to stop the plant.
fn print(text: &str) {
    let mut out = std::io::stdout().lock();
    let _ = out.write_all(text.as_bytes()).and_then(|()| out.flush());
}
