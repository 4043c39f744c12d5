//! The running daemon against what is outside of it: slow and silent carriers, signals, kills, strangers at the door, a copy put
//! back. The real program, a mail server and a text gateway in the test itself, everything on loopback.
//!
//! What takes long is run by name; DEVELOPERS.md lists the commands.

#![allow(clippy::print_stdout, clippy::print_stderr, reason = "figures are shown, and what is left out")]
#![allow(clippy::unwrap_used, reason = "a helper of a test may fail the test")]

mod answers;
mod clocks;
#[path = "../support/database.rs"]
mod database;
mod door;
mod files;
mod host;
mod kills;
mod leaving;
mod servers;
#[path = "../support/mod.rs"]
mod support;
