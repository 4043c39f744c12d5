//! What comes in from outside, each road with a file: turned into [`crate::service::hearing::Incoming`] or a receipt, and
//! nothing decided here.

pub mod fields;
pub mod hook;
pub mod letter;
pub mod mailbox;
pub mod poll;
