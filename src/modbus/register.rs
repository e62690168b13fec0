//! How a number stands in registers.

use crate::units::Linear;

/// A kind of number. The wire has no word of it: the slave's manual says it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NumberKind {
    /// 16 bits, 0 to 65535.
    Uint16,
    /// 16 bits in two's complement.
    Int16,
    /// 32 bits.
    Uint32,
    /// 32 bits in two's complement.
    Int32,
    /// 32 bits after IEEE 754.
    Float32,
    /// 64 bits after IEEE 754.
    Float64,
}

impl NumberKind {
    /// Every kind, in the order in which messages list them.
    pub const ALL: [NumberKind; 6] = [
        NumberKind::Uint16,
        NumberKind::Int16,
        NumberKind::Uint32,
        NumberKind::Int32,
        NumberKind::Float32,
        NumberKind::Float64,
    ];

    /// The name in settings.
    pub const fn name(self) -> &'static str {
        match self {
            NumberKind::Uint16 => "uint16",
            NumberKind::Int16 => "int16",
            NumberKind::Uint32 => "uint32",
            NumberKind::Int32 => "int32",
            NumberKind::Float32 => "float32",
            NumberKind::Float64 => "float64",
        }
    }

    /// How many registers it takes.
    pub const fn registers(self) -> u16 {
        match self {
            NumberKind::Uint16 | NumberKind::Int16 => 1,
            NumberKind::Uint32 | NumberKind::Int32 | NumberKind::Float32 => 2,
            NumberKind::Float64 => 4,
        }
    }

    /// The names of the orders that it may come in, in the sequence of
    /// [`Order::ALL`].
    pub const fn orders(self) -> [&'static str; 4] {
        match self.registers() {
            1 => ["AB", "AB", "BA", "BA"],
            2 => ["ABCD", "CDAB", "BADC", "DCBA"],
            _ => ["ABCDEFGH", "GHEFCDAB", "BADCFEHG", "HGFEDCBA"],
        }
    }
}

/// In which order the bytes of a number come. The standard settles it within a
/// register (high byte first) and not between registers; slaves do as they
/// like. The trade names an order by letters, A being the highest byte.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Order {
    /// ABCD: the highest byte first.
    HighFirst,
    /// CDAB: the lowest register first, within it the high byte.
    LowRegisterFirst,
    /// BADC: the highest register first, within it the low byte.
    LowByteFirst,
    /// DCBA: the lowest byte first.
    LowFirst,
}

impl Order {
    /// Every order, in the sequence of [`NumberKind::orders`].
    pub const ALL: [Order; 4] = [
        Order::HighFirst,
        Order::LowRegisterFirst,
        Order::LowByteFirst,
        Order::LowFirst,
    ];

    /// The registers as bytes, the highest first, at the end of eight.
    fn bytes(self, registers: &[u16]) -> [u8; 8] {
        let mut bytes = [0; 8];
        let put = |(to, register): (&mut [u8; 2], &u16)| {
            *to = match self {
                Order::HighFirst | Order::LowRegisterFirst => register.to_be_bytes(),
                Order::LowByteFirst | Order::LowFirst => register.to_le_bytes(),
            };
        };
        let (places, _) = bytes.as_chunks_mut();
        match self {
            Order::HighFirst | Order::LowByteFirst => {
                places
                    .iter_mut()
                    .rev()
                    .zip(registers.iter().rev())
                    .for_each(put);
            }
            Order::LowRegisterFirst | Order::LowFirst => {
                places.iter_mut().rev().zip(registers).for_each(put);
            }
        }
        bytes
    }
}

/// How registers become a value: kind, order, and a straight line for devices
/// that give tenths or counts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Encoding {
    /// The kind of number.
    pub kind: NumberKind,
    /// The order of its bytes.
    pub order: Order,
    /// From the number to the value.
    pub line: Linear,
}

/// Why registers hold no value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum RegisterError {
    /// Another number of registers than the kind has.
    #[error("{found} registers, where the number takes {wanted}")]
    Count {
        /// Registers of the kind.
        wanted: u16,
        /// Registers given.
        found: usize,
    },
    /// The device gives no number, or the settings name the wrong order.
    #[error(
        "the registers hold no finite number: the device has no value, or the channel's number and order are not those of its manual"
    )]
    NotFinite,
}

impl Encoding {
    /// The value in the registers of one number.
    ///
    /// # Errors
    /// When their number is not that of the kind, or the value is not finite.
    pub fn decode(self, registers: &[u16]) -> Result<f64, RegisterError> {
        let (wanted, found) = (self.kind.registers(), registers.len());
        if found != usize::from(wanted) {
            return Err(RegisterError::Count { wanted, found });
        }
        let bits = u64::from_be_bytes(self.order.bytes(registers));
        let number = match self.kind {
            NumberKind::Uint16 | NumberKind::Uint32 => bits as f64,
            NumberKind::Int16 => f64::from(bits as u16 as i16),
            NumberKind::Int32 => f64::from(bits as u32 as i32),
            NumberKind::Float32 => f64::from(f32::from_bits(bits as u32)),
            NumberKind::Float64 => f64::from_bits(bits),
        };
        let value = self.line.apply(number);
        if value.is_finite() {
            Ok(value)
        } else {
            Err(RegisterError::NotFinite)
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn read(kind: NumberKind, order: Order, registers: &[u16]) -> f64 {
        let line = Linear::IDENTITY;
        Encoding { kind, order, line }.decode(registers).unwrap()
    }

    /// Registers that hold `bytes` (highest first) in the order that letters name.
    fn registers(bytes: &[u8], letters: &str) -> Vec<u16> {
        let placed: Vec<u8> = letters
            .bytes()
            .map(|at| bytes[usize::from(at - b'A')])
            .collect();
        placed
            .chunks(2)
            .map(|two| u16::from_be_bytes([two[0], two[1]]))
            .collect()
    }

    #[test]
    fn numbers_by_hand() {
        use NumberKind::*;
        use Order::*;
        assert_eq!(read(Uint16, HighFirst, &[0xFFFE]), 65534.0);
        assert_eq!(read(Int16, HighFirst, &[0xFFFE]), -2.0);
        assert_eq!(read(Int16, LowFirst, &[0xFEFF]), -2.0);
        assert_eq!(read(Uint32, HighFirst, &[0x0001, 0x0002]), 65538.0);
        assert_eq!(read(Int32, LowRegisterFirst, &[0xFFFE, 0xFFFF]), -2.0);
        // IEEE 754: 1.0 is 3F800000 and 3FF0000000000000.
        assert_eq!(read(Float32, HighFirst, &[0x3F80, 0]), 1.0);
        assert_eq!(read(Float32, LowRegisterFirst, &[0, 0x3F80]), 1.0);
        assert_eq!(read(Float32, LowByteFirst, &[0x803F, 0]), 1.0);
        assert_eq!(read(Float32, LowFirst, &[0, 0x803F]), 1.0);
        assert_eq!(read(Float64, LowFirst, &[0, 0, 0, 0xF03F]), 1.0);
    }

    #[test]
    fn a_line_turns_tenths_into_units() {
        let tenths = Encoding {
            kind: NumberKind::Int16,
            order: Order::HighFirst,
            line: Linear {
                scale: 0.1,
                offset: -5.0,
            },
        };
        assert_eq!(tenths.decode(&[93]), Ok(9.3 - 5.0));
        let two = tenths.decode(&[1, 2]).unwrap_err().to_string();
        assert!(
            two.contains("2 registers, where the number takes 1"),
            "{two}"
        );
    }

    #[test]
    fn what_is_not_finite_is_no_value() {
        let float = Encoding {
            kind: NumberKind::Float32,
            order: Order::HighFirst,
            line: Linear::IDENTITY,
        };
        assert_eq!(float.decode(&[0x7FC0, 0]), Err(RegisterError::NotFinite));
        assert_eq!(float.decode(&[0x7F80, 0]), Err(RegisterError::NotFinite));
    }

    proptest! {
        #[test]
        fn every_order_gives_back_the_number(double: f64, single: f32, whole: i32, half: i16) {
            prop_assume!(double.is_finite() && single.is_finite());
            for (place, order) in Order::ALL.into_iter().enumerate() {
                let back = |kind: NumberKind, bytes: &[u8]| {
                    read(kind, order, &registers(bytes, kind.orders()[place]))
                };
                prop_assert_eq!(back(NumberKind::Float64, &double.to_be_bytes()), double);
                prop_assert_eq!(back(NumberKind::Float32, &single.to_be_bytes()), f64::from(single));
                prop_assert_eq!(back(NumberKind::Int32, &whole.to_be_bytes()), f64::from(whole));
                prop_assert_eq!(
                    back(NumberKind::Uint32, &whole.to_be_bytes()),
                    f64::from(whole as u32)
                );
                prop_assert_eq!(back(NumberKind::Int16, &half.to_be_bytes()), f64::from(half));
                prop_assert_eq!(
                    back(NumberKind::Uint16, &half.to_be_bytes()),
                    f64::from(half as u16)
                );
            }
        }
    }
}
