//! Which registers are read in one request.

use super::pdu::{MOST_REGISTERS, Request, Table};

/// The registers of one number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Wanted {
    /// The slave.
    pub slave: u8,
    /// Which of its tables.
    pub table: Table,
    /// Address of the first register, as it goes over the wire.
    pub first: u16,
    /// How many registers, 1 to 125.
    pub count: u16,
}

impl Wanted {
    /// One beyond the last register.
    fn end(self) -> u32 {
        u32::from(self.first) + u32::from(self.count)
    }
}

/// One request of the round, and where the numbers lie in its answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Read {
    /// The slave.
    pub slave: u8,
    /// What is asked for.
    pub request: Request,
    /// The numbers that it brings.
    pub parts: Vec<Part>,
}

/// A number in an answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Part {
    /// Place of the number in the list that the plan was made of.
    pub wanted: usize,
    /// Its first register in the answer.
    pub at: usize,
    /// How many registers.
    pub count: usize,
}

impl Part {
    /// The number's registers out of an answer to its request.
    pub fn of(self, registers: &[u16]) -> &[u16] {
        &registers[self.at..self.at + self.count]
    }
}

/// As few requests as bring every number, in the order of slave, table and
/// register. Numbers of one slave and table share a request where no more than
/// `gap` registers that nobody wants lie between them (a slave may refuse to
/// give some that it does not have) and the request stays within 125. A number
/// is never cut in two, since its halves would be of different moments.
///
/// What cannot be asked for (no register, too many, or beyond 65535) is left
/// out; the settings refuse it before.
pub fn plan(wanted: &[Wanted], gap: u16) -> Vec<Read> {
    let mut places: Vec<usize> = (0..wanted.len()).collect();
    places.sort_by_key(|place| wanted[*place]);
    let mut reads: Vec<Read> = Vec::new();
    for place in places {
        let one = wanted[place];
        let request = match reads.last() {
            Some(last) => joined(last, one, gap),
            None => None,
        };
        match (request, reads.last_mut()) {
            (Some(request), Some(last)) => {
                last.request = request;
                last.parts.push(part(place, one, request));
            }
            _ => {
                let Ok(request) = Request::new(one.table, one.first, one.count) else {
                    continue;
                };
                reads.push(Read {
                    slave: one.slave,
                    request,
                    parts: vec![part(place, one, request)],
                });
            }
        }
    }
    reads
}

/// The request that brings one more number with those of `read`, where there is
/// one.
fn joined(read: &Read, one: Wanted, gap: u16) -> Option<Request> {
    let request = read.request;
    if read.slave != one.slave || request.table() != one.table {
        return None;
    }
    let end = u32::from(request.first()) + u32::from(request.count());
    if u32::from(one.first) > end + u32::from(gap) {
        return None;
    }
    let count = end.max(one.end()) - u32::from(request.first());
    let count = u16::try_from(count).ok().filter(|n| *n <= MOST_REGISTERS)?;
    Request::new(one.table, request.first(), count).ok()
}

fn part(wanted: usize, one: Wanted, request: Request) -> Part {
    Part {
        wanted,
        at: usize::from(one.first - request.first()),
        count: usize::from(one.count),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn input(slave: u8, first: u16, count: u16) -> Wanted {
        Wanted {
            slave,
            table: Table::Input,
            first,
            count,
        }
    }

    fn spans(reads: &[Read]) -> Vec<(u8, u16, u16)> {
        reads
            .iter()
            .map(|read| (read.slave, read.request.first(), read.request.count()))
            .collect()
    }

    #[test]
    fn neighbours_share_a_request_and_distant_ones_do_not() {
        let wanted = [input(3, 20, 2), input(3, 10, 2), input(3, 12, 1)];
        assert_eq!(spans(&plan(&wanted, 0)), [(3, 10, 3), (3, 20, 2)]);
        assert_eq!(spans(&plan(&wanted, 6)), [(3, 10, 3), (3, 20, 2)]);
        assert_eq!(spans(&plan(&wanted, 7)), [(3, 10, 12)]);
    }

    #[test]
    fn slaves_and_tables_are_never_mixed() {
        let holding = Wanted {
            table: Table::Holding,
            ..input(1, 11, 1)
        };
        let wanted = [input(1, 10, 1), input(2, 11, 1), holding];
        assert_eq!(plan(&wanted, 100).len(), 3);
    }

    #[test]
    fn a_request_ends_at_125_registers_and_cuts_no_number() {
        let wanted: Vec<Wanted> = (0..100).map(|n| input(1, 2 * n, 2)).collect();
        assert_eq!(spans(&plan(&wanted, 0)), [(1, 0, 124), (1, 124, 76)]);
    }

    fn any_wanted() -> impl Strategy<Value = Wanted> {
        (1..4_u8, any::<bool>(), 0..400_u16, 1..=4_u16).prop_map(|(slave, table, first, count)| {
            Wanted {
                slave,
                table: if table { Table::Input } else { Table::Holding },
                first,
                count,
            }
        })
    }

    proptest! {
        #[test]
        fn every_number_comes_once_out_of_its_own_registers(
            wanted in prop::collection::vec(any_wanted(), 0..60),
            gap in 0..130_u16,
        ) {
            let mut seen = vec![0; wanted.len()];
            for read in plan(&wanted, gap) {
                let first = read.request.first();
                // Each register holds its own address.
                let answer: Vec<u16> = (first..first + read.request.count()).collect();
                for part in &read.parts {
                    let one = wanted[part.wanted];
                    let own: Vec<u16> = (one.first..one.first + one.count).collect();
                    prop_assert_eq!(part.of(&answer), &own[..]);
                    prop_assert_eq!(read.slave, one.slave);
                    prop_assert_eq!(read.request.table(), one.table);
                    seen[part.wanted] += 1;
                }
            }
            prop_assert!(seen.iter().all(|times| *times == 1));
        }

        #[test]
        fn no_gap_is_wider_than_allowed(
            wanted in prop::collection::vec(any_wanted(), 1..60),
            gap in 0..20_u16,
        ) {
            for read in plan(&wanted, gap) {
                let mut used = vec![false; usize::from(read.request.count())];
                for part in &read.parts {
                    used[part.at..part.at + part.count].fill(true);
                }
                let widest = used.split(|used| *used).map(<[bool]>::len).max();
                prop_assert!(widest <= Some(usize::from(gap)));
            }
        }
    }
}
