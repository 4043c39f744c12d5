//! The invented season: a workbook, what changes in its course, and families who answer. One seed, one season.
//!
//! Telephone numbers and mail addresses come from ranges reserved for drama and documentation only.

pub mod changes;
pub mod dice;
pub mod families;
pub mod names;
pub mod numbers;
pub mod people;
pub mod planted;
pub mod ringing;
pub mod season;
pub mod team;
pub mod translations;
pub mod words;

pub use changes::{changes, span};
pub use families::{Families, FamilyAct, MessageFate, Reaction};
pub use season::book;

#[cfg(test)]
mod tests;
