use proptest::prelude::*;

use super::*;

fn first(bytes: &[u8]) -> Result<Item<'_>, CborFault> {
    Wire::new(bytes).item()
}

fn skipped(bytes: &[u8]) -> Result<usize, CborFault> {
    let mut wire = Wire::new(bytes);
    wire.skip().map(|()| wire.at())
}

/// RFC 8949, appendix A (memory).
#[test]
fn numbers_of_the_standard() {
    for (bytes, number) in [
        (&[0x00][..], 0),
        (&[0x17], 23),
        (&[0x18, 0x18], 24),
        (&[0x19, 0x03, 0xe8], 1000),
        (&[0x1a, 0x00, 0x0f, 0x42, 0x40], 1_000_000),
        (
            &[0x1b, 0, 0, 0, 0xe8, 0xd4, 0xa5, 0x10, 0],
            1_000_000_000_000,
        ),
        (
            &[0x1b, 255, 255, 255, 255, 255, 255, 255, 255],
            i128::from(u64::MAX),
        ),
        (
            &[0x3b, 255, 255, 255, 255, 255, 255, 255, 255],
            -1 - i128::from(u64::MAX),
        ),
        (&[0x20], -1),
        (&[0x38, 0x63], -100),
    ] {
        assert_eq!(first(bytes), Ok(Item::Integer(number)), "{bytes:02x?}");
    }
    for (bytes, number) in [
        (&[0xf9, 0x00, 0x00][..], 0.0),
        (&[0xf9, 0x80, 0x00], -0.0),
        (&[0xf9, 0x3c, 0x00], 1.0),
        (&[0xf9, 0x3e, 0x00], 1.5),
        (&[0xf9, 0x7b, 0xff], 65504.0),
        (&[0xf9, 0x00, 0x01], 5.960_464_477_539_063e-8),
        (&[0xf9, 0x04, 0x00], 0.000_061_035_156_25),
        (&[0xf9, 0xc4, 0x00], -4.0),
        (&[0xf9, 0x7c, 0x00], f64::INFINITY),
        (&[0xfa, 0x47, 0xc3, 0x50, 0x00], 100_000.0),
        (&[0xfa, 0x7f, 0x7f, 0xff, 0xff], 3.402_823_466_385_288_6e38),
        (&[0xfb, 0x3f, 0xf1, 0x99, 0x99, 0x99, 0x99, 0x99, 0x9a], 1.1),
        (
            &[0xfb, 0xc0, 0x10, 0x66, 0x66, 0x66, 0x66, 0x66, 0x66],
            -4.1,
        ),
    ] {
        assert_eq!(first(bytes), Ok(Item::Float(number)), "{bytes:02x?}");
    }
    assert!(matches!(first(&[0xf9, 0x7e, 0x00]), Ok(Item::Float(x)) if x.is_nan()));
}

/// RFC 8949, section 3.4.4: 273.15 is 4([-2, 27315]).
#[test]
fn a_decimal_fraction_is_the_nearest_number() {
    let mut wire = Wire::new(&[0xc4, 0x82, 0x21, 0x19, 0x6a, 0xb3]);
    assert_eq!(wire.item(), Ok(Item::Tag(Wire::DECIMAL_FRACTION)));
    assert_eq!(wire.decimal_fraction(), Ok(273.15));
    for bad in [
        &[0x81, 0x21][..],
        &[0x82, 0x21, 0xf9, 0x3c, 0x00],
        &[0x82, 0x21, 0xc2, 0x41, 0x01],
        &[0x19, 0x6a, 0xb3],
    ] {
        assert_eq!(
            Wire::new(bad).decimal_fraction(),
            Err(CborFault::Decimal),
            "{bad:02x?}"
        );
    }
    // 1 · 10^(2^64 - 1) and 1 · 10^(-2^64).
    let beyond = [0x82, 0x1b, 255, 255, 255, 255, 255, 255, 255, 255, 0x01];
    assert_eq!(Wire::new(&beyond).decimal_fraction(), Ok(f64::INFINITY));
    let below = [0x82, 0x3b, 255, 255, 255, 255, 255, 255, 255, 255, 0x01];
    assert_eq!(Wire::new(&below).decimal_fraction(), Ok(0.0));
}

#[test]
fn strings_of_either_length() {
    assert_eq!(first(b"\x64\xc3\xbcab"), Ok(Item::Text("üab".into())));
    assert_eq!(first(b"\x7f\x61a\x62bc\xff"), Ok(Item::Text("abc".into())));
    assert_eq!(
        first(b"\x5f\x41a\x40\xff"),
        Ok(Item::Bytes(Cow::Owned(b"a".to_vec())))
    );
    assert_eq!(first(b"\x61\xff"), Err(CborFault::NotUtf8));
    assert_eq!(first(b"\x7f\x41a\xff"), Err(CborFault::Chunk));
    assert_eq!(first(b"\x7f\x7f\xff\xff"), Err(CborFault::Chunk));
    assert_eq!(first(b"\x7f\x61a"), Err(CborFault::CutShort));
}

#[test]
fn a_length_that_is_not_there_is_cut_short() {
    for bytes in [
        &[0x5b, 255, 255, 255, 255, 255, 255, 255, 255][..],
        &[0x7b, 0x7f, 255, 255, 255, 255, 255, 255, 255, 0x61],
        &[0x9b, 255, 255, 255, 255, 255, 255, 255, 255, 0x01],
        &[0xbb, 255, 255, 255, 255, 255, 255, 255, 255, 0x01, 0x01],
        &[0x19, 0x01],
        &[],
    ] {
        assert_eq!(skipped(bytes), Err(CborFault::CutShort), "{bytes:02x?}");
    }
}

#[test]
fn what_has_no_meaning_is_told() {
    for bytes in [[0x1c], [0x3f], [0x1f], [0xdf], [0xfc]] {
        assert_eq!(skipped(&bytes), Err(CborFault::Reserved), "{bytes:02x?}");
    }
    assert_eq!(skipped(&[0xf8, 0x14]), Err(CborFault::Reserved));
    assert_eq!(skipped(&[0xff]), Err(CborFault::Break));
    assert_eq!(skipped(&[0xbf, 0x01, 0xff]), Err(CborFault::Break));
}

#[test]
fn passes_over_whatever_stands_there() {
    // {"a": [1, {2: h'00'}, _ 3], _: undefined, 1: 0("x")} and one byte more.
    let bytes = b"\xbf\x61a\x83\x01\xa1\x02\x41\x00\x9f\x03\xff\xf6\xf7\x01\xc0\x61x\xff\x00";
    assert_eq!(skipped(bytes), Ok(bytes.len() - 1));
}

#[test]
fn nesting_ends_somewhere() {
    let nested = |depth: usize, head: u8| [vec![head; depth], vec![0x01]].concat();
    for head in [0x81, 0xc0] {
        assert!(skipped(&nested(DEEPEST, head)).is_ok());
        assert_eq!(skipped(&nested(DEEPEST + 1, head)), Err(CborFault::Deep));
        assert_eq!(skipped(&nested(100_000, head)), Err(CborFault::Deep));
    }
}

proptest! {
    #[test]
    fn no_bytes_panic(bytes in prop::collection::vec(any::<u8>(), 0..64)) {
        let _ = skipped(&bytes);
        let _ = Wire::new(&bytes).decimal_fraction();
    }

    /// Half precision is exact in single: held against what the compiler does.
    #[test]
    fn half_precision_lies_between_its_neighbours(bits in 0u16..0x7bff) {
        prop_assert!(half(bits) < half(bits + 1));
        prop_assert_eq!(half(bits | 0x8000), -half(bits));
        // Ten bits of fraction, five of exponent: widened bit by bit.
        if bits >= 0x0400 {
            let single = (u32::from(bits) << 13) + ((127 - 15) << 23);
            prop_assert_eq!(half(bits), f64::from(f32::from_bits(single)));
        }
    }
}
