//! What can be wrong with a block.

/// Why a block cannot be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum BlockError {
    /// It ends before it is complete.
    #[error("it ends too early")]
    Short,
    /// Its bytes are not those that were written.
    #[error("its checksum is wrong: the bytes have changed since they were written")]
    Checksum,
    /// A later version wrote it.
    #[error("its format {0} is not known to this version")]
    Format(u8),
    /// What it holds makes no sense.
    #[error("its contents make no sense")]
    Contents,
}
