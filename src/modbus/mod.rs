//! Reading registers of Modbus slaves, as master of a serial line or over TCP.
//!
//! Everything here is pure: bytes and times go in, bytes and values come out.
//!
//! Promises:
//! - Registers are read and nothing is ever written: only functions 03 and 04
//!   exist here.
//! - A value is that of the register and the request it is given for, whatever
//!   the slaves' delays and whatever noise there is, as long as no slave takes
//!   longer to answer than the line's `latency` says; see [`RtuLink`] for how.
//! - A slave that does not answer costs the others on its line only the time of
//!   a few tries: once a minute at last.
//! - No bytes panic; what is dropped is counted ([`Counts`]).
//!
//! Refuses: to guess the order of bytes, to write, to broadcast.
//!
//! After Modbus application protocol V1.1b3, Modbus over serial line V1.02 and
//! Modbus messaging on TCP/IP V1.0b. The numbers of their sections and tables,
//! here and in the files below, are from memory.

mod crc;
mod link;
mod master;
mod pdu;
mod plan;
mod register;
pub mod rtu;
mod rtu_link;
mod schedule;
pub mod tcp;
mod tcp_link;

pub use crc::crc16;
pub use link::{Counts, Failure, Link};
pub use master::{Master, Output};
pub use pdu::{Answer, AnswerError, Exception, MOST_REGISTERS, Request, RequestError, Table};
pub use plan::{Part, Read, Wanted, plan};
pub use register::{Encoding, NumberKind, Order, RegisterError};
pub use rtu_link::{RtuLink, RtuSetup};
pub use schedule::Change;
pub use tcp_link::{TcpLink, TcpSetup};
