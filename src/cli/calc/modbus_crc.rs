//! The check of a Modbus frame on a serial line.

use crate::modbus::crc16;

use super::answer::{Answer, Field};
use super::argument::Argument;
use super::given::Given;
use super::parameter::Parameter;
use super::{Calculation, Example};

/// A frame on a serial line has at most so many bytes (Modbus over serial line
/// V1.02, section 2.3).
const LONGEST: usize = 256;

/// Bytes as two hexadecimal digits each.
struct Bytes(Vec<u8>);

impl Argument for Bytes {
    fn allowed() -> String {
        "bytes of two hexadecimal digits, as 010300000002 or \"01 03 00 00 00 02\"".to_owned()
    }

    fn read(text: &str) -> Result<Self, String> {
        let digits: Option<Vec<u8>> = text
            .chars()
            .filter(|c| !c.is_whitespace())
            .map(|c| c.to_digit(16).and_then(|digit| u8::try_from(digit).ok()))
            .collect();
        let digits = digits
            .filter(|digits| !digits.is_empty() && digits.len() % 2 == 0)
            .ok_or_else(|| {
                let shown: String = text.chars().take(40).collect();
                format!(
                    "\"{shown}\" is not a frame; write bytes of two hexadecimal digits, as 0103"
                )
            })?;
        let bytes: Vec<u8> = digits.chunks(2).map(|two| two[0] << 4 | two[1]).collect();
        if bytes.len() > LONGEST {
            let found = bytes.len();
            return Err(format!(
                "there are {found} bytes; a frame has {LONGEST} at most"
            ));
        }
        Ok(Bytes(bytes))
    }
}

const FRAME: Parameter<Bytes> =
    Parameter::required("frame", "from the address on, with its check or without");

static CHECK: Field = Field::plain("crc", "check, as a number");
static HEX: Field = Field::plain("crc_hex", "check");
static WIRE: Field = Field::plain("wire_bytes", "on the wire, in this order");
static COMPLETE: Field = Field::plain("ends_with_its_check", "the frame has its check already");

pub(super) static MODBUS_CRC: Calculation = Calculation {
    name: "modbus-crc",
    purpose: "check of a Modbus frame on a serial line",
    parameters: &[&FRAME],
    results: &[&HEX, &WIRE, &CHECK, &COMPLETE],
    formula: "CRC-16, polynomial 0x8005 with its bits reversed, begun with 0xFFFF; low byte first",
    source: "Modbus over serial line V1.02, section 6.2.2",
    cautions: &[],
    // A case of tests/reference/modbus_crc.csv.
    example: Example {
        arguments: &["frame=010300000002"],
        results: &[("crc", 0x0BC4 as f64)],
    },
    work,
};

fn work(given: &mut Given<'_>) -> Option<Answer> {
    let Bytes(frame) = given.take(&FRAME)?;
    // A frame with its own check behind it checks to nought.
    let complete = frame.len() > 2 && crc16(&frame) == 0;
    let checked = if complete {
        &frame[..frame.len() - 2]
    } else {
        &frame[..]
    };
    let check = crc16(checked);
    let [low, high] = check.to_le_bytes();
    Some(
        Answer::default()
            .with(&HEX, format!("0x{check:04X}"))
            .with(&WIRE, format!("{low:02X} {high:02X}"))
            .with(&CHECK, f64::from(check))
            .with(&COMPLETE, complete),
    )
}
