//! The rate of a port, found by listening at one after another.

use std::time::Duration;

use crate::settings::{DataBits, Parity};

/// Rates that are tried, the most usual first, bit/s. Common practice, no
/// source.
const RATES: [u32; 7] = [9600, 19_200, 38_400, 57_600, 115_200, 4800, 2400];
/// So many bytes decide. Choice: more than a line of most instruments.
const ENOUGH: usize = 64;
/// After such a silence what came is judged. Choice: longer than an adapter
/// keeps bytes back, shorter than between two lines of most instruments.
const PAUSE: Duration = Duration::from_millis(300);
/// A line has at least so many characters.
const SHORTEST: usize = 3;
/// Of the characters of text such a share can be printed: the degree sign is not
/// of ASCII, and the first characters after opening may be wrong. At a wrong
/// rate about half of all bytes cannot.
const PRINTABLE: f64 = 0.8;
/// All formats are tried so often before it is given up.
const ROUNDS: usize = 2;

/// Rate and characters of a port.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PortFormat {
    /// Rate, bit/s.
    pub baud: u32,
    /// Bits of a character.
    pub data_bits: DataBits,
    /// Its parity.
    pub parity: Parity,
}

/// Every usual rate with eight bits without and seven bits with even parity.
/// Eight bits come first: with seven, text of eight would look right too.
pub fn usual_formats(bauds: &[u32]) -> Vec<PortFormat> {
    let bauds = if bauds.is_empty() { &RATES } else { bauds };
    let kinds = [
        (DataBits::Eight, Parity::None),
        (DataBits::Seven, Parity::Even),
    ];
    let of_kind = |(data_bits, parity)| {
        bauds.iter().map(move |baud| PortFormat {
            baud: *baud,
            data_bits,
            parity,
        })
    };
    kinds.into_iter().flat_map(of_kind).collect()
}

impl std::fmt::Display for PortFormat {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let bits = match self.data_bits {
            DataBits::Seven => 7,
            DataBits::Eight => 8,
        };
        let parity = match self.parity {
            Parity::None => 'N',
            Parity::Even => 'E',
            Parity::Odd => 'O',
        };
        write!(f, "{} bit/s {bits}{parity}1", self.baud)
    }
}

/// What is to be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Listen on.
    Listen,
    /// Open the port anew with the next format.
    Next,
    /// This is it.
    Found,
    /// None of them.
    GiveUp,
}

/// Tries formats in turn. A silent port says nothing about its rate, so that
/// only bytes lead on to the next.
#[derive(Debug)]
pub struct RateSearch {
    formats: Vec<PortFormat>,
    tried: usize,
    bytes: Vec<u8>,
    last_input: Duration,
}

impl RateSearch {
    /// Of these formats, at least one.
    pub fn new(formats: Vec<PortFormat>) -> Self {
        RateSearch {
            formats,
            tried: 0,
            bytes: Vec::with_capacity(ENOUGH),
            last_input: Duration::ZERO,
        }
    }

    /// The format to listen with; none without any.
    pub fn format(&self) -> Option<PortFormat> {
        let place = self.tried.checked_rem(self.formats.len())?;
        self.formats.get(place).copied()
    }

    /// Takes what came in until `now`, counted from any fixed moment; nothing
    /// where only time has passed.
    pub fn handle_input(&mut self, bytes: &[u8], now: Duration) -> Verdict {
        let room = ENOUGH - self.bytes.len();
        self.bytes
            .extend_from_slice(&bytes[..bytes.len().min(room)]);
        if !bytes.is_empty() {
            self.last_input = now;
        }
        let paused = now.saturating_sub(self.last_input) >= PAUSE;
        if looks_like_lines(&self.bytes) {
            return Verdict::Found;
        }
        let is_judged = self.bytes.len() >= ENOUGH || paused;
        if !is_judged || text_of(&self.bytes) == 0 {
            return Verdict::Listen;
        }
        self.bytes.clear();
        self.tried += 1;
        if self.tried >= ROUNDS * self.formats.len() {
            Verdict::GiveUp
        } else {
            Verdict::Next
        }
    }
}

fn is_end(byte: u8) -> bool {
    matches!(byte, b'\r' | b'\n')
}

/// How many bytes are no end of a line.
fn text_of(bytes: &[u8]) -> usize {
    bytes.iter().filter(|byte| !is_end(**byte)).count()
}

/// Whether there is a line, and almost everything is text.
fn looks_like_lines(bytes: &[u8]) -> bool {
    let text = text_of(bytes);
    let printable = |byte: &&u8| byte.is_ascii_graphic() || matches!(**byte, b' ' | b'\t');
    let printable = bytes.iter().filter(printable).count();
    let ended = bytes.iter().any(|byte| is_end(*byte));
    ended && text >= SHORTEST && printable as f64 >= PRINTABLE * text as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const NOW: Duration = Duration::from_secs(5);

    fn search() -> RateSearch {
        RateSearch::new(usual_formats(&[]))
    }

    #[test]
    fn the_usual_rates_come_first_and_eight_bits_before_seven() {
        let told: Vec<String> = usual_formats(&[])
            .iter()
            .map(PortFormat::to_string)
            .collect();
        assert_eq!(told.len(), 14);
        assert_eq!(told[0], "9600 bit/s 8N1");
        assert_eq!(told[7], "9600 bit/s 7E1");
        assert_eq!(usual_formats(&[300]).len(), 2);
    }

    #[test]
    fn lines_are_found_and_garbage_leads_on() {
        let mut search = search();
        assert_eq!(search.handle_input(b"", NOW), Verdict::Listen);
        assert_eq!(search.handle_input(&[0x80, 0xf3, 0], NOW), Verdict::Listen);
        let later = NOW + PAUSE;
        assert_eq!(search.handle_input(b"", later), Verdict::Next);
        assert_eq!(search.format().unwrap().baud, 19_200);
        assert_eq!(search.handle_input(b"7.4 \xb0", later), Verdict::Listen);
        assert_eq!(search.handle_input(b"C\r\n", later), Verdict::Found);
    }

    /// The ninth-bit trap: text of seven bits with even parity, read as eight.
    #[test]
    fn seven_bits_with_parity_are_not_taken_for_eight() {
        let text = b"BX=7.42 T=24.1\r\n";
        let with_parity: Vec<u8> = text
            .iter()
            .map(|byte| byte | (byte.count_ones() as u8 & 1) << 7)
            .collect();
        assert!(looks_like_lines(text));
        assert!(!looks_like_lines(&with_parity));
    }

    #[test]
    fn it_is_given_up_after_two_rounds() {
        let mut search = search();
        let garbage = [0xff; 64];
        for _ in 1..28 {
            assert_eq!(search.handle_input(&garbage, NOW), Verdict::Next);
        }
        assert_eq!(search.handle_input(&garbage, NOW), Verdict::GiveUp);
    }

    proptest! {
        #[test]
        fn no_bytes_panic_and_memory_is_bounded(
            parts in prop::collection::vec(prop::collection::vec(any::<u8>(), 0..200), 0..9),
        ) {
            let mut search = search();
            for part in parts {
                search.handle_input(&part, NOW);
                prop_assert!(search.bytes.len() <= ENOUGH);
            }
        }
    }
}
