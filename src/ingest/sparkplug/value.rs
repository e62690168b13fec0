//! The value of a metric: what the datatype makes of the field it came in.

/// What a metric is worth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Value {
    /// A number, finite. Whole numbers beyond 2^53 are rounded to it.
    Number(f64),
    /// True or false.
    Flag(bool),
}

/// The value field of a metric as it stands in the message.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Carried {
    /// `int_value`.
    Int(u32),
    /// `long_value`.
    Long(u64),
    /// `float_value`.
    Float(f32),
    /// `double_value`.
    Double(f64),
    /// `boolean_value`.
    Flag(bool),
    /// What can be no reading, in words.
    Other(&'static str),
}

/// The datatypes of the standard (chapter 6.4.16), as far as they tell how to
/// read a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DataType {
    /// Whole number with sign, of so many bits.
    Signed(u32),
    /// Whole number without sign, of so many bits.
    Unsigned(u32),
    /// Floating-point number of either width.
    Real,
    /// True or false.
    Boolean,
    /// What can be no reading, in words.
    Other(&'static str),
}

/// Why a metric's value is no reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum ValueError {
    /// It is not a number.
    #[error("it is {0}, not a number or a truth value")]
    Kind(&'static str),
    /// Field and datatype do not fit.
    #[error("its value is {carried}, but its datatype says {declared}")]
    Mismatch {
        /// What stands in the message.
        carried: &'static str,
        /// What the datatype wants.
        declared: &'static str,
    },
    /// No birth has said how to read a whole number.
    #[error(
        "it is a whole number of unknown datatype; a birth must come first that says whether it has a sign"
    )]
    DatatypeUnknown,
    /// Beyond what the datatype can hold.
    #[error("{value} does not fit its datatype of {bits} bits")]
    Range {
        /// The bits as a whole number without sign.
        value: u64,
        /// Bits of the datatype.
        bits: u32,
    },
    /// Not finite.
    #[error("the number is not finite")]
    NotFinite,
}

impl DataType {
    /// The datatype with this number; `None` for 0 and for those not known.
    pub(super) fn from_code(code: u32) -> Option<DataType> {
        Some(match code {
            1 => DataType::Signed(8),
            2 => DataType::Signed(16),
            3 => DataType::Signed(32),
            4 => DataType::Signed(64),
            5 => DataType::Unsigned(8),
            6 => DataType::Unsigned(16),
            7 => DataType::Unsigned(32),
            8 => DataType::Unsigned(64),
            9 | 10 => DataType::Real,
            11 => DataType::Boolean,
            12 | 14 => DataType::Other("a text"),
            13 => DataType::Other("a point in time"),
            15 => DataType::Other("a UUID"),
            16 => DataType::Other("a data set"),
            17 => DataType::Other("bytes"),
            18 => DataType::Other("a file"),
            19 => DataType::Other("a template"),
            20 | 21 => DataType::Other("a set of properties"),
            22..=34 => DataType::Other("an array"),
            _ => return None,
        })
    }

    fn words(self) -> &'static str {
        match self {
            DataType::Signed(_) => "a whole number with sign",
            DataType::Unsigned(_) => "a whole number without sign",
            DataType::Real => "a floating-point number",
            DataType::Boolean => "a truth value",
            DataType::Other(words) => words,
        }
    }
}

impl Carried {
    fn words(self) -> &'static str {
        match self {
            Carried::Int(_) | Carried::Long(_) => "a whole number",
            Carried::Float(_) | Carried::Double(_) => "a floating-point number",
            Carried::Flag(_) => "a truth value",
            Carried::Other(words) => words,
        }
    }

    /// What the value is. Whole numbers may come in either of the two fields
    /// for them, since not all nodes keep to the one that the standard gives
    /// their datatype.
    pub(super) fn read(self, datatype: Option<DataType>) -> Result<Value, ValueError> {
        match (self, datatype) {
            (Carried::Other(words), _) | (_, Some(DataType::Other(words))) => {
                Err(ValueError::Kind(words))
            }
            (Carried::Int(bits), Some(DataType::Signed(width))) => {
                signed(u64::from(bits), i64::from(bits as i32), width)
            }
            (Carried::Long(bits), Some(DataType::Signed(width))) => {
                signed(bits, bits as i64, width)
            }
            (Carried::Int(value), Some(DataType::Unsigned(width))) => {
                unsigned(u64::from(value), width)
            }
            (Carried::Long(value), Some(DataType::Unsigned(width))) => unsigned(value, width),
            (Carried::Float(value), None | Some(DataType::Real)) => finite(f64::from(value)),
            (Carried::Double(value), None | Some(DataType::Real)) => finite(value),
            (Carried::Flag(flag), None | Some(DataType::Boolean)) => Ok(Value::Flag(flag)),
            (Carried::Int(_) | Carried::Long(_), None) => Err(ValueError::DatatypeUnknown),
            (carried, Some(declared)) => Err(ValueError::Mismatch {
                carried: carried.words(),
                declared: declared.words(),
            }),
        }
    }
}

/// A number with sign, kept as two's complement of its own width or of the
/// field's; `wide` is the field read with sign.
fn signed(bits: u64, wide: i64, width: u32) -> Result<Value, ValueError> {
    let unused = 64 - width;
    let value = if bits.leading_zeros() >= unused {
        (bits << unused) as i64 >> unused
    } else if wide << unused >> unused == wide {
        wide
    } else {
        return Err(ValueError::Range {
            value: bits,
            bits: width,
        });
    };
    Ok(Value::Number(value as f64))
}

fn unsigned(value: u64, width: u32) -> Result<Value, ValueError> {
    if value.leading_zeros() >= 64 - width {
        Ok(Value::Number(value as f64))
    } else {
        Err(ValueError::Range { value, bits: width })
    }
}

fn finite(value: f64) -> Result<Value, ValueError> {
    if value.is_finite() {
        Ok(Value::Number(value))
    } else {
        Err(ValueError::NotFinite)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn read(carried: Carried, code: u32) -> Result<Value, ValueError> {
        carried.read(DataType::from_code(code))
    }

    #[test]
    fn signs_come_from_the_datatype() {
        for (bits, code, value) in [
            (0xFF, 1, -1.0),
            (0x80, 1, -128.0),
            (0x7F, 1, 127.0),
            (0xFFFF_FFFF, 1, -1.0),
            (0xFFFE, 2, -2.0),
            (0xFFFF_FFFE, 2, -2.0),
            (0xFFFF_FFFF, 3, -1.0),
            (0xFF, 5, 255.0),
            (0xFFFF, 6, 65_535.0),
            (0xFFFF_FFFF, 7, 4_294_967_295.0),
        ] {
            assert_eq!(
                read(Carried::Int(bits), code),
                Ok(Value::Number(value)),
                "{bits:x} {code}"
            );
        }
        assert_eq!(read(Carried::Long(u64::MAX), 4), Ok(Value::Number(-1.0)));
        assert_eq!(read(Carried::Long(7), 7), Ok(Value::Number(7.0)));
    }

    #[test]
    fn what_does_not_fit_is_refused() {
        for (bits, code) in [(0x100, 1), (0x100, 5), (0x1_0000, 2), (0xFFFF_FF00, 1)] {
            let told = read(Carried::Int(bits), code).unwrap_err();
            assert!(matches!(told, ValueError::Range { .. }), "{bits:x} {code}");
        }
        assert_eq!(
            read(Carried::Double(f64::NAN), 10),
            Err(ValueError::NotFinite)
        );
        assert_eq!(
            read(Carried::Float(f32::INFINITY), 9),
            Err(ValueError::NotFinite)
        );
    }

    #[test]
    fn what_is_no_number_is_told_in_words() {
        let told = read(Carried::Other("a text"), 12).unwrap_err().to_string();
        assert_eq!(told, "it is a text, not a number or a truth value");
        let told = read(Carried::Long(1), 13).unwrap_err().to_string();
        assert!(told.contains("a point in time"), "{told}");
        let told = read(Carried::Double(1.0), 3).unwrap_err().to_string();
        assert!(told.contains("but its datatype says"), "{told}");
    }

    #[test]
    fn without_a_datatype_only_what_is_plain_is_read() {
        assert_eq!(Carried::Float(8.5).read(None), Ok(Value::Number(8.5)));
        assert_eq!(Carried::Flag(true).read(None), Ok(Value::Flag(true)));
        assert_eq!(Carried::Int(3).read(None), Err(ValueError::DatatypeUnknown));
    }

    proptest! {
        #[test]
        fn signed_numbers_of_any_width_come_back(value in any::<i32>(), code in 1u32..=3) {
            let width = 8 << (code - 1);
            let value = value >> (32 - width);
            let own = (value as u32) & (u32::MAX >> (32 - width));
            for carried in [
                Carried::Int(own),
                Carried::Int(value as u32),
                Carried::Long(u64::from(own)),
                Carried::Long(i64::from(value) as u64),
            ] {
                prop_assert_eq!(read(carried, code), Ok(Value::Number(f64::from(value))));
            }
        }

        #[test]
        fn no_bits_panic(bits in any::<u64>(), code in 0u32..40) {
            let _ = read(Carried::Long(bits), code);
            let _ = read(Carried::Int(bits as u32), code);
            let _ = read(Carried::Double(f64::from_bits(bits)), code);
        }
    }
}
