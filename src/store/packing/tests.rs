//! What is packed comes back, and what is damaged is told.

use proptest::prelude::*;

use super::*;

fn there_and_back(values: &[Packed]) {
    let block = Packer::new().pack(values);
    let back = unpack(&block).unwrap();
    assert_eq!(back.len(), values.len());
    for (one, other) in values.iter().zip(back) {
        assert_eq!(one.value.to_bits(), other.value.to_bits(), "{one:?}");
        assert_eq!(
            (one.time, one.quality, one.delay),
            (other.time, other.quality, other.delay)
        );
    }
}

fn packed(time: i64, value: f64) -> Packed {
    Packed {
        time,
        value,
        quality: 0,
        delay: 0,
    }
}

/// A year's beginning, one value a minute, as an instrument shows them.
fn shown(decimals: i32, count: i64) -> Vec<Packed> {
    let scale = 10f64.powi(decimals);
    (0..count)
        .map(|n| {
            let value = 5.0 + (n as f64 / 300.0).sin();
            packed(
                1_772_431_800_000 + 60_000 * n,
                (value * scale).round() / scale,
            )
        })
        .collect()
}

#[test]
fn the_checksum_is_that_of_the_standard() {
    // RFC 3720, appendix B.4: 32 bytes of zeros, of ones, and rising ones.
    assert_eq!(checksum::crc32c(&[0; 32]), 0x8a91_36aa);
    assert_eq!(checksum::crc32c(&[0xff; 32]), 0x62a8_ab43);
    let rising: Vec<u8> = (0..32).collect();
    assert_eq!(checksum::crc32c(&rising), 0x46dd_794e);
}

#[test]
fn every_float_there_is_comes_back() {
    let odd = [
        0.0,
        -0.0,
        f64::MIN_POSITIVE,
        5e-324,
        -5e-324,
        f64::MAX,
        f64::MIN,
        f64::INFINITY,
        f64::NEG_INFINITY,
        0.1 + 0.2,
        1.0 / 3.0,
        9_007_199_254_740_993.0,
        f64::NAN,
    ];
    let all: Vec<_> = (0..).zip(odd).map(|(t, v)| packed(t, v)).collect();
    there_and_back(&all);
    for one in all {
        there_and_back(&[one]);
    }
}

#[test]
fn times_from_end_to_end_come_back() {
    there_and_back(&[i64::MIN, -1, 0, 1, i64::MAX].map(|t| packed(t, 1.5)));
}

#[test]
fn what_an_instrument_shows_takes_little() {
    for (decimals, most) in [(1, 400), (2, 700), (3, 1_300)] {
        let values = shown(decimals, 2_000);
        let block = Packer::new().pack(&values);
        assert!(block.len() < most, "{decimals}: {} bytes", block.len());
        there_and_back(&values);
    }
}

#[test]
fn values_that_were_converted_take_little_more_and_come_back_to_the_bit() {
    let shown = shown(1, 2_000).into_iter();
    let converted: Vec<_> = shown
        .map(|one| packed(one.time, one.value * 100.0 * 0.001))
        .collect();
    let is_decimal = |one: &Packed| (one.value * 1e4).round() / 1e4 == one.value;
    assert!(!converted.iter().all(is_decimal), "some lie beside");
    let block = Packer::new().pack(&converted);
    assert_eq!(block[0], BESIDE);
    assert!(block.len() < 1_600, "{} bytes", block.len());
    there_and_back(&converted);
    let signs = [0.5, -0.0, 0.1 + 0.2].into_iter();
    let signs: Vec<_> = (0..).zip(signs).map(|(t, v)| packed(t, v)).collect();
    there_and_back(&signs);
}

#[test]
fn full_blocks_come_back_and_fuller_ones_are_refused() {
    let values = shown(2, MOST as i64 + 1);
    there_and_back(&values[..MOST]);
    let result = std::panic::catch_unwind(|| Packer::new().pack(&values));
    assert!(result.is_err());
}

#[test]
fn a_later_format_is_told() {
    let mut block = Packer::new().pack(&[packed(0, 1.0)]);
    block[0] = 3;
    assert_eq!(unpack(&block), Err(BlockError::Checksum));
    assert_eq!(read(&block[..block.len() - 4]), Err(BlockError::Format(3)));
}

fn any_value() -> impl Strategy<Value = f64> {
    prop_oneof![
        any::<f64>(),
        (any::<i32>(), 0..9).prop_map(|(n, k)| f64::from(n) / 10f64.powi(k)),
        (any::<i32>(), 0..4).prop_map(|(n, k)| f64::from(n) * 1e-3f64.powi(k)),
        Just(-0.0),
        any::<u64>().prop_map(f64::from_bits),
    ]
}

fn any_values() -> impl Strategy<Value = Vec<Packed>> {
    let step = prop_oneof![Just(1u64), Just(60_000), 59_000..61_000u64, any::<u64>()];
    let one = (step, any_value(), any::<u8>(), any::<i64>());
    (any::<i64>(), proptest::collection::vec(one, 1..300)).prop_map(|(start, all)| {
        let mut time = start;
        let mut values = Vec::new();
        for (step, value, quality, delay) in all {
            values.push(Packed {
                time,
                value,
                quality,
                delay,
            });
            match time.checked_add_unsigned(step.max(1)) {
                Some(next) => time = next,
                None => break,
            }
        }
        values
    })
}

proptest! {
    #[test]
    fn anything_comes_back(values in any_values()) {
        there_and_back(&values);
    }

    #[test]
    fn any_bytes_are_read_or_refused(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        let _ = unpack(&bytes);
        let _ = read(&bytes);
    }

    #[test]
    fn damage_is_told(
        values in any_values(),
        place in any::<prop::sample::Index>(),
        flip in 1..=255u8,
    ) {
        let mut block = Packer::new().pack(&values);
        let place = place.index(block.len());
        block[place] ^= flip;
        prop_assert_eq!(unpack(&block), Err(BlockError::Checksum));
        // Nor does it harm where the checksum does not stand before it.
        let _ = read(&block[..block.len() - 4]);
        let _ = read(&block[..place]);
    }
}
