//! A progress bar on a terminal; where there is none, nothing, or lines for those
//! who ask for them.

use std::io::{IsTerminal, Write};
use std::time::{Duration, Instant};

/// Cells of the bar.
const WIDTH: usize = 30;
/// Pause between two drawings.
const EVERY: Duration = Duration::from_millis(100);
/// Pause between two lines where there is no terminal.
const EVERY_LINE: Duration = Duration::from_secs(2);

/// How far a piece of work has come.
pub(super) struct Progress {
    what: &'static str,
    whole: u64,
    begun: Instant,
    drawn: Option<Instant>,
    shown: Shown,
}

/// How it is shown.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Shown {
    /// A bar that is drawn over and over.
    Bar,
    /// A line from time to time.
    Lines,
    Not,
}

impl Progress {
    pub(super) fn new(what: &'static str, whole: u64) -> Self {
        Progress {
            what,
            whole,
            begun: Instant::now(),
            drawn: None,
            shown: match std::io::stderr().is_terminal() {
                true => Shown::Bar,
                false => Shown::Not,
            },
        }
    }

    /// The same, which somebody may have asked for: then it is shown without a
    /// terminal too.
    pub(super) fn asked_for(what: &'static str, whole: u64, asked: bool) -> Self {
        let mut progress = Progress::new(what, whole);
        if asked && progress.shown == Shown::Not {
            progress.shown = Shown::Lines;
        }
        progress
    }

    /// The work has come to `done` of the whole.
    pub(super) fn at(&mut self, done: u64) {
        let pause = match self.shown {
            Shown::Bar => EVERY,
            Shown::Lines => EVERY_LINE,
            Shown::Not => return,
        };
        if self.drawn.is_none_or(|drawn| drawn.elapsed() >= pause) {
            self.drawn = Some(Instant::now());
            self.draw(done);
        }
    }

    /// The work is done.
    pub(super) fn done(&mut self) {
        if self.shown != Shown::Not {
            self.drawn = Some(Instant::now());
            self.draw(self.whole);
        }
        self.leave_line();
        self.shown = Shown::Not;
    }

    /// What follows begins on a line of its own.
    fn leave_line(&self) {
        if self.shown == Shown::Bar && self.drawn.is_some() {
            eprintln!();
        }
    }

    fn draw(&self, done: u64) {
        let share = if self.whole == 0 {
            1.0
        } else {
            (done as f64 / self.whole as f64).min(1.0)
        };
        let percent = share * 100.0;
        let seconds = self.begun.elapsed().as_secs();
        if self.shown == Shown::Lines {
            eprintln!("{}: {percent:.0} %, {seconds} s", self.what);
            return;
        }
        let full = (share * WIDTH as f64) as usize;
        let bar: String = (0..WIDTH)
            .map(|cell| if cell < full { '#' } else { '.' })
            .collect();
        let mut terminal = std::io::stderr().lock();
        // A terminal that went away is no reason to stop the work.
        let _ = write!(
            terminal,
            "\r{} [{bar}] {percent:3.0} %  {seconds} s",
            self.what
        );
        let _ = terminal.flush();
    }
}

/// Work that ends early leaves the bar as it is, and why stands below it.
impl Drop for Progress {
    fn drop(&mut self) {
        self.leave_line();
    }
}
