//! Pairs of registers that may be one number.

use std::collections::{BTreeMap, BTreeSet};

use crate::modbus::{Encoding, NumberKind, Order};
use crate::units::Linear;

/// Sizes of numbers that instruments of sumps give: from thousandths to
/// millions. Choice: in the wrong order a number is almost always far smaller or
/// far greater.
pub const REASONABLE: std::ops::Range<f64> = 0.001..1e7;

/// Two registers read as one number of 32 bits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pair {
    pub(super) first: u16,
    pub(super) order: Order,
    pub(super) value: f64,
}

/// The number that two registers are in an order, if its size is
/// [`REASONABLE`], whatever its sign.
pub fn reasonable(registers: [u16; 2], order: Order) -> Option<f64> {
    let encoding = Encoding {
        kind: NumberKind::Float32,
        order,
        line: Linear::IDENTITY,
    };
    let value = encoding.decode(&registers).ok()?;
    REASONABLE.contains(&value.abs()).then_some(value)
}

/// Every pair that may be a number, by its first register.
pub(super) fn pairs(registers: &BTreeMap<u16, u16>) -> Vec<Pair> {
    let mut pairs = Vec::new();
    for (first, high) in registers {
        let Some(low) = first.checked_add(1).and_then(|next| registers.get(&next)) else {
            continue;
        };
        let all = Order::ALL.into_iter().filter_map(|order| {
            let value = reasonable([*high, *low], order)?;
            Some(Pair {
                first: *first,
                order,
                value,
            })
        });
        pairs.extend(all);
    }
    pairs
}

/// Those that are the best guess and share no register: a device has one order
/// throughout, and its numbers begin all at even registers or all at odd ones.
pub(super) fn best(pairs: &[Pair]) -> Vec<Pair> {
    let alike = |a: &Pair, b: &Pair| a.order == b.order && a.first % 2 == b.first % 2;
    let count = |one: &Pair| pairs.iter().filter(|other| alike(one, other)).count();
    let mut ranked: Vec<Pair> = pairs.to_vec();
    // A stable sort: of equals the first register and order come first.
    ranked.sort_by_key(|one| std::cmp::Reverse(count(one)));
    let mut taken = BTreeSet::new();
    let mut best = Vec::new();
    for pair in ranked {
        let own = [pair.first, pair.first + 1];
        if own.iter().all(|register| !taken.contains(register)) {
            taken.extend(own);
            best.push(pair);
        }
    }
    best.sort_by_key(|pair| pair.first);
    best
}

/// The name of an order in settings.
pub(super) fn order_name(order: Order) -> &'static str {
    let names = NumberKind::Float32.orders();
    let place = Order::ALL.iter().position(|one| *one == order);
    place.map_or("", |place| names[place])
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn registers(value: f32, order: Order) -> [u16; 2] {
        let high = (value.to_bits() >> 16) as u16;
        let low = value.to_bits() as u16;
        match order {
            Order::HighFirst => [high, low],
            Order::LowRegisterFirst => [low, high],
            Order::LowByteFirst => [high.swap_bytes(), low.swap_bytes()],
            Order::LowFirst => [low.swap_bytes(), high.swap_bytes()],
        }
    }

    #[test]
    fn whole_numbers_are_no_pair() {
        for pair in [[0, 0], [0, 421], [421, 0], [1, 1000], [100, 200]] {
            for order in [Order::HighFirst, Order::LowRegisterFirst] {
                assert_eq!(reasonable(pair, order), None, "{pair:?} {order:?}");
            }
        }
    }

    #[test]
    fn the_order_that_most_have_counts() {
        // 4.25 and 5.0 have nothing in their low registers, so that the middle
        // could be a number in another order.
        let both = [
            registers(4.25, Order::HighFirst),
            registers(5.0, Order::HighFirst),
        ];
        let all = (10..).zip(both.concat()).collect();
        let best = best(&pairs(&all));
        let told: Vec<_> = best.iter().map(|p| (p.first, p.value)).collect();
        assert_eq!(told, [(10, 4.25), (12, 5.0)]);
    }

    proptest! {
        #[test]
        fn a_reasonable_number_is_seen_in_its_order(
            value in prop_oneof![0.002f32..9e6, -9e6f32..-0.002], place in 0..4usize,
        ) {
            let order = Order::ALL[place];
            let seen = reasonable(registers(value, order), order);
            prop_assert_eq!(seen, Some(f64::from(value)));
        }

        #[test]
        fn the_best_share_no_register(all in prop::collection::btree_map(0..40u16, any::<u16>(), 0..30)) {
            let best = best(&pairs(&all));
            prop_assert!(best.windows(2).all(|two| two[0].first + 1 < two[1].first));
        }
    }
}
