//! One slave: what is asked of it, a request at a time, and what it answered.

use std::collections::BTreeMap;
use std::ops::RangeInclusive;

use crate::modbus::{Answer, Exception, Failure, Request, Table};

/// Registers asked for at once. Choice: half of what the standard allows, since
/// small devices often give no more.
const AT_ONCE: u16 = 60;
/// Exceptions after which the halves of a block are asked for: no such
/// register, not so many, and what some devices say in their place (V1.1b3,
/// section 7).
const SMALLER: [u8; 3] = [0x02, 0x03, 0x04];
/// There is no such function, and so no such table.
const NO_FUNCTION: u8 = 0x01;
/// A gateway says that nothing answers behind it.
const NOBODY: [u8; 2] = [0x0A, 0x0B];

/// What is asked of every slave.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wanted {
    /// The tables.
    pub tables: Vec<Table>,
    /// Addresses of the registers, as they go over the wire.
    pub registers: RangeInclusive<u16>,
}

/// What a table of a slave holds.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct TableFound {
    /// By address.
    pub registers: BTreeMap<u16, u16>,
    /// Requests that were answered, be it with an exception.
    pub answers: u64,
    /// Registers that it refuses to give, with the newest reason.
    pub refused: Option<(u32, Exception)>,
    /// Registers for which nothing sensible came, with the newest reason.
    pub failed: Option<(u32, Failure)>,
}

/// The survey of one slave.
#[derive(Debug)]
pub struct SlaveSurvey {
    /// Its number.
    pub number: u8,
    /// Blocks still to be asked for, the next one last.
    ahead: Vec<(Table, u16, u16)>,
    asked: Option<(Table, u16, u16)>,
    /// Whether anything came.
    is_there: bool,
    first_asked: bool,
    found: BTreeMap<Table, TableFound>,
}

impl SlaveSurvey {
    /// Begins with one register alone, which shows whether anybody is there.
    pub fn new(number: u8, wanted: &Wanted) -> Self {
        let mut ahead = Vec::new();
        for table in &wanted.tables {
            let (mut first, last) = (
                u32::from(*wanted.registers.start()),
                *wanted.registers.end(),
            );
            while first <= u32::from(last) {
                let count = (u32::from(last) - first + 1).min(u32::from(AT_ONCE));
                ahead.push((*table, first as u16, count as u16));
                first += count;
            }
        }
        ahead.reverse();
        if let Some((table, first, _)) = ahead.last().copied() {
            ahead.push((table, first, 1));
        }
        SlaveSurvey {
            number,
            ahead,
            asked: None,
            is_there: false,
            first_asked: false,
            found: BTreeMap::new(),
        }
    }

    /// The next request; none when all is known.
    pub fn poll_request(&mut self) -> Option<Request> {
        loop {
            let (table, first, count) = self.ahead.pop()?;
            if let Ok(request) = Request::new(table, first, count) {
                self.asked = Some((table, first, count));
                return Some(request);
            }
        }
    }

    /// Takes what became of the request.
    pub fn handle_outcome(&mut self, outcome: Result<Answer, Failure>) {
        let Some((table, first, count)) = self.asked.take() else {
            return;
        };
        let is_first = !std::mem::replace(&mut self.first_asked, true);
        let is_nobody = match &outcome {
            Err(Failure::Silent | Failure::Closed | Failure::Busy) => true,
            Ok(Answer::Exception(Exception(code))) => NOBODY.contains(code),
            _ => false,
        };
        if is_nobody && is_first {
            self.ahead.clear();
            return;
        }
        self.is_there = true;
        // What the first request brought comes once more with its block.
        if is_first && !matches!(outcome, Ok(Answer::Exception(Exception(NO_FUNCTION)))) {
            return;
        }
        let found = self.found.entry(table).or_default();
        match outcome {
            Ok(Answer::Registers(registers)) => {
                found.answers += 1;
                found.registers.extend((first..).zip(registers));
            }
            Ok(Answer::Exception(exception)) => {
                found.answers += 1;
                self.refused(table, first, count, exception);
            }
            Err(failure) => {
                let (registers, _) = found.failed.unwrap_or((0, failure));
                found.failed = Some((registers + u32::from(count), failure));
            }
        }
    }

    fn refused(&mut self, table: Table, first: u16, count: u16, exception: Exception) {
        if SMALLER.contains(&exception.0) && count > 1 {
            // Numbers of two registers mostly begin at even ones.
            let half = if count > 2 { count.div_ceil(4) * 2 } else { 1 };
            self.ahead.push((table, first + half, count - half));
            self.ahead.push((table, first, half));
            return;
        }
        let mut refused = u32::from(count);
        if exception.0 == NO_FUNCTION {
            let of_table = self.ahead.iter().filter(|(of, ..)| *of == table);
            refused = of_table
                .map(|(.., count)| u32::from(*count))
                .sum::<u32>()
                .max(refused);
            self.ahead.retain(|(of, ..)| *of != table);
        }
        let found = self.found.entry(table).or_default();
        let (before, _) = found.refused.unwrap_or((0, exception));
        found.refused = Some((before + refused, exception));
    }

    /// Whether anything came from it.
    pub fn is_there(&self) -> bool {
        self.is_there
    }

    /// What it holds.
    pub fn found(&self) -> impl Iterator<Item = (Table, &TableFound)> {
        self.found.iter().map(|(table, found)| (*table, found))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn wanted(registers: RangeInclusive<u16>) -> Wanted {
        Wanted {
            tables: vec![Table::Input],
            registers,
        }
    }

    /// Answers as a device that has these registers and no others; gives how
    /// often it was asked.
    fn answer(survey: &mut SlaveSurvey, has: impl Fn(u16) -> bool) -> usize {
        let mut requests = 0;
        while let Some(request) = survey.poll_request() {
            requests += 1;
            let all = request.first()..=request.first() + (request.count() - 1);
            let outcome = if all.clone().all(&has) {
                Answer::Registers(all.collect())
            } else {
                Answer::Exception(Exception(2))
            };
            survey.handle_outcome(Ok(outcome));
        }
        requests
    }

    #[test]
    fn who_is_silent_is_asked_once() {
        let mut survey = SlaveSurvey::new(3, &wanted(0..=99));
        assert_eq!(survey.poll_request().unwrap().count(), 1);
        survey.handle_outcome(Err(Failure::Silent));
        assert_eq!(survey.poll_request(), None);
        assert!(!survey.is_there());
    }

    #[test]
    fn a_gateway_with_nobody_behind_it_is_no_slave() {
        let mut survey = SlaveSurvey::new(3, &wanted(0..=99));
        survey.poll_request();
        survey.handle_outcome(Ok(Answer::Exception(Exception(0x0B))));
        assert!(survey.poll_request().is_none() && !survey.is_there());
    }

    #[test]
    fn a_table_that_is_not_there_is_asked_for_once() {
        let mut survey = SlaveSurvey::new(3, &wanted(0..=99));
        survey.poll_request();
        survey.handle_outcome(Ok(Answer::Exception(Exception(1))));
        assert_eq!(survey.poll_request(), None);
        let (_, found) = survey.found().next().unwrap();
        assert_eq!(found.refused, Some((100, Exception(1))));
        assert!(survey.is_there());
    }

    #[test]
    fn what_is_silent_later_is_told() {
        let mut survey = SlaveSurvey::new(3, &wanted(0..=9));
        survey.poll_request();
        survey.handle_outcome(Ok(Answer::Registers(vec![1])));
        assert_eq!(survey.poll_request().unwrap().count(), 10);
        survey.handle_outcome(Err(Failure::Silent));
        let (_, found) = survey.found().next().unwrap();
        assert_eq!(found.failed, Some((10, Failure::Silent)));
    }

    proptest! {
        /// Every register that there is is found, with few requests, and only
        /// those wanted are asked for.
        #[test]
        fn every_register_is_found(
            has in prop::collection::btree_set(0..260u16, 0..40), first in 0..100u16, count in 1..150u16,
        ) {
            let last = first + count - 1;
            let mut survey = SlaveSurvey::new(1, &wanted(first..=last));
            let requests = answer(&mut survey, |register| {
                assert!((first..=last).contains(&register));
                has.contains(&register)
            });
            prop_assert!(requests <= 2 * usize::from(count) + 2);
            let (_, found) = survey.found().next().unwrap();
            let there: Vec<u16> = has.range(first..=last).copied().collect();
            let refused = found.refused.map_or(0, |(count, _)| count);
            prop_assert_eq!(found.registers.keys().copied().collect::<Vec<_>>(), there.clone());
            prop_assert_eq!(refused as usize + there.len(), usize::from(count));
        }
    }
}
