//! Numbers on the command line: `1-32` and `1,3,10-12`.

use std::ops::RangeInclusive;

/// Slaves that can be asked in one go.
const NUMBERS: RangeInclusive<u8> = 0..=255;
/// Registers that are looked at in one go. Choice: so that a slip of the finger
/// does not take hours.
const MOST_REGISTERS: u32 = 2000;

/// Slaves, without doubles, in the order given.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Slaves(pub(super) Vec<u8>);

/// Reads numbers of slaves.
pub(super) fn slaves(text: &str) -> Result<Slaves, String> {
    let mut slaves = Vec::new();
    for part in text.split(',') {
        let range = range(part, u32::from(*NUMBERS.end()))?;
        for slave in range {
            let slave = slave as u8;
            if !slaves.contains(&slave) {
                slaves.push(slave);
            }
        }
    }
    Ok(Slaves(slaves))
}

/// Reads addresses of registers.
pub(super) fn registers(text: &str) -> Result<RangeInclusive<u16>, String> {
    let range = range(text, u32::from(u16::MAX))?;
    if range.end() - range.start() >= MOST_REGISTERS {
        return Err(format!(
            "at most {MOST_REGISTERS} registers are looked at in one go"
        ));
    }
    Ok(*range.start() as u16..=*range.end() as u16)
}

fn range(text: &str, most: u32) -> Result<RangeInclusive<u32>, String> {
    let (first, last) = text.split_once('-').unwrap_or((text, text));
    let number = |text: &str| text.trim().parse().ok().filter(|number| *number <= most);
    match (number(first), number(last)) {
        (Some(first), Some(last)) if first <= last => Ok(first..=last),
        _ => Err(format!(
            "\"{text}\" is no range from 0 to {most}, such as 1-32"
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn ranges_and_lists() {
        assert_eq!(slaves("1-3,2,255"), Ok(Slaves(vec![1, 2, 3, 255])));
        assert_eq!(registers("0-99"), Ok(0..=99));
        assert_eq!(registers("12"), Ok(12..=12));
        for wrong in ["", "1-", "-1", "256", "3-1", "a"] {
            assert!(slaves(wrong).is_err(), "{wrong}");
        }
        assert!(registers("0-1999").is_ok() && registers("0-2000").is_err());
        assert!(registers("65536").is_err());
    }

    proptest! {
        #[test]
        fn no_text_panics(text in "[-0-9, a]{0,12}") {
            let _ = (slaves(&text), registers(&text));
        }
    }
}
