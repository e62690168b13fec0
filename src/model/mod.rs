//! What is really going on in a sump: its ledger of additions, its losses, its
//! true volume, its minerals, and what comes next.
//!
//! Promises: mass is kept (what goes in, goes out or stays adds up); every
//! figure comes with its standard uncertainty, and where the readings cannot
//! tell, that is said in place of a figure; memory is fixed. Refuses: to guess
//! a loss from a level that something unseen holds up.
