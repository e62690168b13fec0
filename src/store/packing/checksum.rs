//! CRC-32C (Castagnoli), the polynomial of RFC 3720, appendix B.4: it finds
//! what disks do to bytes.

/// The polynomial, its bits turned round.
const POLYNOMIAL: u32 = 0x82f6_3b78;

const TABLE: [u32; 256] = table();

const fn table() -> [u32; 256] {
    let mut table = [0; 256];
    let mut byte = 0;
    while byte < 256 {
        let mut sum = byte as u32;
        let mut bit = 0;
        while bit < 8 {
            sum = (sum >> 1) ^ (POLYNOMIAL * (sum & 1));
            bit += 1;
        }
        table[byte] = sum;
        byte += 1;
    }
    table
}

/// The checksum of these bytes.
pub(super) fn crc32c(bytes: &[u8]) -> u32 {
    let sum = bytes.iter().fold(!0, |sum: u32, byte| {
        (sum >> 8) ^ TABLE[((sum ^ u32::from(*byte)) & 0xff) as usize]
    });
    !sum
}
