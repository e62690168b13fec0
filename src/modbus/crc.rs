//! The check of a serial frame.

/// CRC-16 of Modbus over serial line V1.02, section 6.2.2: polynomial 0x8005
/// with its bits reversed (0xA001), begun with 0xFFFF. On the wire its low byte
/// goes first.
pub fn crc16(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xFFFF, |crc, byte| {
        (0..8).fold(crc ^ u16::from(*byte), |crc, _| match crc & 1 {
            0 => crc >> 1,
            _ => (crc >> 1) ^ 0xA001,
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Frames and their checks, computed twice; see the head of the file.
    const TABLE: &str = include_str!("../../tests/reference/modbus_crc.csv");

    #[test]
    fn agrees_with_the_reference() {
        let mut reader = csv::ReaderBuilder::new()
            .comment(Some(b'#'))
            .from_reader(TABLE.as_bytes());
        let mut rows = 0;
        for row in reader.records() {
            let row = row.unwrap();
            let frame = hex(&row[0]);
            let want = u16::from_str_radix(&row[1][2..], 16).unwrap();
            assert_eq!(crc16(&frame), want, "{row:?}");
            assert_eq!(crc16(&frame).to_le_bytes().to_vec(), hex(&row[2]));
            rows += 1;
        }
        assert_eq!(rows, 7);
    }

    fn hex(text: &str) -> Vec<u8> {
        (0..text.len())
            .step_by(2)
            .map(|at| u8::from_str_radix(&text[at..at + 2], 16).unwrap())
            .collect()
    }
}
