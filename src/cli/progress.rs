//! A progress bar on a terminal; nothing where there is none.

use std::io::{IsTerminal, Write};
use std::time::{Duration, Instant};

/// Cells of the bar.
const WIDTH: usize = 30;
/// Pause between two drawings.
const EVERY: Duration = Duration::from_millis(100);

/// How far a piece of work has come.
pub(super) struct Progress {
    what: &'static str,
    whole: u64,
    begun: Instant,
    drawn: Option<Instant>,
    on_terminal: bool,
}

impl Progress {
    pub(super) fn new(what: &'static str, whole: u64) -> Self {
        Progress {
            what,
            whole,
            begun: Instant::now(),
            drawn: None,
            on_terminal: std::io::stderr().is_terminal(),
        }
    }

    /// The work has come to `done` of the whole.
    pub(super) fn at(&mut self, done: u64) {
        let recently = self.drawn.is_some_and(|drawn| drawn.elapsed() < EVERY);
        if self.on_terminal && !recently {
            self.drawn = Some(Instant::now());
            self.draw(done);
        }
    }

    /// The work is done.
    pub(super) fn done(&mut self) {
        if self.on_terminal {
            self.draw(self.whole);
            eprintln!();
        }
    }

    fn draw(&self, done: u64) {
        let share = if self.whole == 0 {
            1.0
        } else {
            (done as f64 / self.whole as f64).min(1.0)
        };
        let full = (share * WIDTH as f64) as usize;
        let bar: String = (0..WIDTH)
            .map(|cell| if cell < full { '#' } else { '.' })
            .collect();
        let seconds = self.begun.elapsed().as_secs();
        let mut terminal = std::io::stderr().lock();
        // A terminal that went away is no reason to stop the work.
        let _ = write!(
            terminal,
            "\r{} [{bar}] {:3.0} %  {seconds} s",
            self.what,
            share * 100.0
        );
        let _ = terminal.flush();
    }
}
