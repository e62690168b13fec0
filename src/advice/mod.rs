//! What to do about a sump, in litres.
//!
//! Promises: every amount follows from a mass balance, never from a rule of
//! thumb; no more is drained than the target asks for; what is advised, once
//! done, reaches the target. Refuses: inputs that no sump can have, and
//! targets that the strongest premix allowed cannot reach.

pub mod balance;
