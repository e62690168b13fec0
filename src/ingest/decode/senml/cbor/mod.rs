//! A pack as CBOR: RFC 8428, section 6.

mod wire;

use super::error::{CborFault, SenmlError};
use super::fields::{Fields, Plain, meaning};
use super::label::Label;
use super::resolve::Pack;
use wire::{Item, Wire};

/// Whether the first byte is the head of an array.
pub(super) fn is_array(payload: &[u8]) -> bool {
    const ARRAY: u8 = 4;
    payload.first().is_some_and(|byte| byte >> 5 == ARRAY)
}

/// Reads the records into `pack`. Arrays and maps of indefinite length are
/// read as well, as a stream has them.
pub(super) fn read(payload: &[u8], pack: &mut Pack) -> Result<(), SenmlError> {
    let mut wire = Wire::new(payload);
    let outcome = records(&mut wire, pack);
    outcome.map_err(|stop| match stop {
        Stop::Refused(why) => why,
        Stop::NotCbor(fault) => SenmlError::Cbor {
            record: pack.record(),
            at: wire.at(),
            fault,
        },
    })
}

/// Why reading ended early.
enum Stop {
    Refused(SenmlError),
    NotCbor(CborFault),
}

impl From<SenmlError> for Stop {
    fn from(why: SenmlError) -> Self {
        Stop::Refused(why)
    }
}

impl From<CborFault> for Stop {
    fn from(fault: CborFault) -> Self {
        Stop::NotCbor(fault)
    }
}

fn records(wire: &mut Wire<'_>, pack: &mut Pack) -> Result<(), Stop> {
    if let Item::Array(mut length) = wire.item()? {
        while wire.more(&mut length)? {
            let record = pack.begin()?;
            let fields = fields(wire, record)?;
            pack.end(fields)?;
        }
    }
    if !wire.is_at_end() {
        return Err(CborFault::Trailing.into());
    }
    Ok(())
}

fn fields<'p>(wire: &mut Wire<'p>, record: usize) -> Result<Fields<'p>, Stop> {
    let mut length = match wire.item()? {
        Item::Map(length) => length,
        Item::Break => return Err(CborFault::Break.into()),
        other => {
            let found = other.kind();
            return Err(SenmlError::NotARecord { record, found }.into());
        }
    };
    let mut fields = Fields::default();
    while wire.more(&mut length)? {
        match label(wire, record)? {
            Some(label) => {
                let what = value(wire)?;
                fields.put(record, label, what)?;
            }
            None => wire.skip()?,
        }
    }
    Ok(fields)
}

/// What the next label stands for; none where it is to be passed over. The
/// labels of RFC 8428 are integers, those of extensions texts.
fn label(wire: &mut Wire<'_>, record: usize) -> Result<Option<Label>, Stop> {
    match wire.item()? {
        Item::Integer(number) => Ok(Label::numbered(number)),
        Item::Text(name) => Ok(meaning(&name, record)?),
        Item::Break => Err(CborFault::Break.into()),
        other => {
            let found = other.kind();
            Err(SenmlError::NotALabel { record, found }.into())
        }
    }
}

fn value<'p>(wire: &mut Wire<'p>) -> Result<Plain<'p>, CborFault> {
    Ok(match wire.item()? {
        Item::Integer(number) => Plain::Number(number as f64),
        Item::Float(number) => Plain::Number(number),
        Item::Tag(Wire::DECIMAL_FRACTION) => Plain::Number(wire.decimal_fraction()?),
        Item::Text(text) => Plain::Text(text),
        Item::Bytes(bytes) => Plain::Data(bytes),
        Item::Boolean(boolean) => Plain::Boolean(boolean),
        other => {
            let kind = other.kind();
            wire.skip_rest(other)?;
            Plain::Other(kind)
        }
    })
}
