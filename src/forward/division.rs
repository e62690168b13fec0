//! Finding the lines that a server will not take: by halves, in order.

use std::ops::Range;

use super::answer::Complaint;

/// What is left to be sent of some lines, in their order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Division {
    /// The parts that are left, the next one last; apart, and each not empty.
    left: Vec<Range<usize>>,
    /// Most lines that are sent at once, at least 1.
    most: usize,
}

impl Division {
    /// So many lines, of which at most `most` are sent at once.
    pub(super) fn new(lines: usize, most: usize) -> Self {
        let all = 0..lines;
        Division {
            left: Some(all)
                .filter(|all| !all.is_empty())
                .into_iter()
                .collect(),
            most: most.max(1),
        }
    }

    /// The lines to be sent next; none when all is done.
    pub(super) fn next(&mut self) -> Option<Range<usize>> {
        let next = self.left.pop()?;
        if next.len() > self.most {
            let middle = next.start + self.most;
            self.left.push(middle..next.end);
            self.left.push(next.start..middle);
        } else {
            self.left.push(next);
        }
        self.left.last().cloned()
    }

    /// The next lines are there.
    pub(super) fn handle_taken(&mut self) {
        self.left.pop();
    }

    /// The server complains of the next lines; gives those that it will never
    /// take, and none while it is not known which they are.
    pub(super) fn handle_bad(&mut self, complaint: &Complaint) -> Range<usize> {
        let Some(bad) = self.left.pop() else {
            return 0..0;
        };
        let all_dropped = complaint.dropped.is_some_and(|count| count >= bad.len());
        if bad.len() == 1 || all_dropped {
            return bad;
        }
        self.halve(bad);
        0..0
    }

    /// The request was too large: the next ones are half as long. Gives the line
    /// that is too large by itself.
    pub(super) fn handle_too_large(&mut self) -> Range<usize> {
        let Some(large) = self.left.pop() else {
            return 0..0;
        };
        self.most = (large.len() / 2).max(1);
        if large.len() == 1 {
            return large;
        }
        self.halve(large);
        0..0
    }

    /// From now on at most so many lines are sent at once.
    pub(super) fn limit(&mut self, most: usize) {
        self.most = most.max(1);
    }

    /// Most lines that are sent at once by now.
    pub(super) fn most(&self) -> usize {
        self.most
    }

    fn halve(&mut self, lines: Range<usize>) {
        let middle = lines.start + lines.len() / 2;
        self.left.push(middle..lines.end);
        self.left.push(lines.start..middle);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::collections::BTreeSet;

    fn complaint(dropped: Option<usize>) -> Complaint {
        Complaint {
            words: String::new(),
            dropped,
            is_certain: true,
        }
    }

    #[test]
    fn one_bad_line_of_many_is_found_in_few_requests() {
        let mut division = Division::new(5000, 5000);
        let (mut requests, mut dead) = (0, Vec::new());
        while let Some(lines) = division.next() {
            requests += 1;
            if lines.contains(&3210) {
                dead.extend(division.handle_bad(&complaint(None)));
            } else {
                division.handle_taken();
            }
        }
        assert_eq!(dead, [3210]);
        assert!(requests < 30, "{requests}");
    }

    #[test]
    fn a_server_that_counts_what_it_dropped_is_asked_once() {
        let mut division = Division::new(5000, 5000);
        division.next();
        assert_eq!(division.handle_bad(&complaint(Some(5000))), 0..5000);
        assert_eq!(division.next(), None);
    }

    proptest! {
        /// Whatever lines are bad, whatever size the server bears, and however it
        /// complains: exactly those end in dead letters, and all others arrive, each
        /// once and in order.
        #[test]
        fn exactly_the_bad_lines_are_dead_and_all_others_arrive_in_order(
            count in 0..300usize,
            bad in proptest::collection::btree_set(0..300usize, 0..60),
            (most, bears) in (1..400usize, 1..400usize),
            counts_dropped in any::<bool>(),
        ) {
            let mut division = Division::new(count, most);
            let (mut taken, mut dead) = (Vec::new(), BTreeSet::new());
            let mut requests = 0;
            while let Some(lines) = division.next() {
                requests += 1;
                prop_assert!(requests < 20_000, "it does not end");
                prop_assert!(!lines.is_empty() && lines.len() <= most);
                let of_bad = lines.clone().filter(|line| bad.contains(line)).count();
                if lines.len() > bears {
                    dead.extend(division.handle_too_large());
                } else if of_bad > 0 {
                    let dropped = counts_dropped.then_some(of_bad);
                    dead.extend(division.handle_bad(&complaint(dropped)));
                } else {
                    taken.extend(lines);
                    division.handle_taken();
                }
            }
            let wanted_dead: BTreeSet<_> = bad.iter().copied().filter(|line| *line < count).collect();
            let wanted: Vec<_> = (0..count).filter(|line| !bad.contains(line)).collect();
            prop_assert_eq!(dead, wanted_dead);
            prop_assert_eq!(taken, wanted);
        }
    }
}
