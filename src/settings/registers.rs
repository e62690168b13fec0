//! Which register belongs to what: no two numbers may overlap.

use crate::modbus::{Encoding, NumberKind, Order, Table};

use super::key_path::KeyPath;
use super::plant::Origin;
use super::problem::Problem;
use super::review::Review;

/// The registers that a channel has taken.
#[derive(Debug, Clone)]
pub(super) struct Taken {
    line: usize,
    slave: u8,
    table: Table,
    first: u32,
    kind: NumberKind,
    order: Order,
    path: KeyPath,
}

impl Taken {
    /// Those of the channel at `at`, where it has any.
    pub(super) fn by(origin: &Origin, at: &KeyPath) -> Option<Self> {
        let Origin::Register {
            source,
            slave,
            table,
            first,
            encoding: Encoding { kind, order, .. },
        } = origin
        else {
            return None;
        };
        Some(Taken {
            line: *source,
            slave: *slave,
            table: *table,
            first: u32::from(*first),
            kind: *kind,
            order: *order,
            path: at.key("register"),
        })
    }

    fn end(&self) -> u32 {
        self.first + u32::from(self.kind.registers())
    }

    /// Whether a register would mean two things. The same number may serve
    /// several channels.
    fn clashes(&self, other: &Taken) -> bool {
        let device = |one: &Taken| (one.line, one.slave, one.table);
        let number = |one: &Taken| (one.first, one.kind, one.order);
        device(self) == device(other)
            && self.first < other.end()
            && other.first < self.end()
            && number(self) != number(other)
    }
}

/// Tells every channel whose registers an earlier one reads as another number.
pub(super) fn check(review: &mut Review, taken: &[Taken]) {
    for (place, one) in taken.iter().enumerate() {
        if let Some(first) = taken[..place].iter().find(|earlier| one.clashes(earlier)) {
            let problem = Problem::RegistersTaken {
                first: one.first,
                last: one.end() - 1,
                by: first.path.to_string(),
            };
            review.tell(&one.path, problem);
        }
    }
}
