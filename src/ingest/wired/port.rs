//! Opening a serial port.

use std::path::Path;

use tokio_serial::{DataBits, ErrorKind, FlowControl, Parity, SerialStream, StopBits};

use crate::settings::{self, PortSettings};

/// Why a port does not open.
#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    /// Nothing is there.
    #[error("there is no {0}; plug the adapter in, or see ls -l /dev/serial/by-id for its name")]
    Absent(String),
    /// It is ours not to use.
    #[error("no right to use {0}; add the daemon's user to its group (mostly dialout)")]
    Forbidden(String),
    /// Somebody else has it.
    #[error("{device} is in use by another program, or is no serial port: {why}")]
    Taken {
        /// The device.
        device: String,
        /// What the system says.
        why: String,
    },
    /// Anything else.
    #[error("{device} does not open: {why}")]
    Other {
        /// The device.
        device: String,
        /// What the system says.
        why: String,
    },
}

/// Opens the port, for us alone.
///
/// # Errors
/// When it is not there, not ours to use, or in use.
pub fn open(port: &PortSettings) -> Result<SerialStream, OpenError> {
    let device = port.device.display().to_string();
    let builder = tokio_serial::new(device.as_str(), port.baud)
        .data_bits(match port.data_bits {
            settings::DataBits::Seven => DataBits::Seven,
            settings::DataBits::Eight => DataBits::Eight,
        })
        .parity(match port.parity {
            settings::Parity::None => Parity::None,
            settings::Parity::Even => Parity::Even,
            settings::Parity::Odd => Parity::Odd,
        })
        .stop_bits(match port.stop_bits {
            settings::StopBits::One => StopBits::One,
            settings::StopBits::Two => StopBits::Two,
        })
        .flow_control(FlowControl::None);
    SerialStream::open(&builder).map_err(|error| {
        let why = error.to_string();
        match error.kind() {
            ErrorKind::Io(std::io::ErrorKind::NotFound) => OpenError::Absent(device),
            ErrorKind::Io(std::io::ErrorKind::PermissionDenied) => OpenError::Forbidden(device),
            ErrorKind::NoDevice => OpenError::Taken { device, why },
            _ => OpenError::Other { device, why },
        }
    })
}

/// Whether the device's name depends on what was plugged in first, so that it
/// may be another instrument's after the next start.
pub(super) fn is_fleeting(device: &Path) -> bool {
    let text = device.to_string_lossy();
    ["/dev/ttyUSB", "/dev/ttyACM"]
        .iter()
        .any(|name| text.starts_with(name))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_by_order_are_told_from_lasting_ones() {
        assert!(is_fleeting(Path::new("/dev/ttyUSB0")));
        assert!(is_fleeting(Path::new("/dev/ttyACM12")));
        assert!(!is_fleeting(Path::new(
            "/dev/serial/by-id/usb-adapter-if00"
        )));
        assert!(!is_fleeting(Path::new("/dev/ttyS0")));
    }
}
