//! The rules of the core as tables, on small seasons made by hand.

#![allow(clippy::print_stdout, reason = "figures are shown")]
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a helper of a test may fail the test")]

mod again;
mod assigned;
mod chase;
#[path = "../common/mod.rs"]
mod common;
mod day;
mod departing;
mod duties;
mod edits;
mod flagged;
mod ladder;
mod next;
#[allow(dead_code, clippy::print_stderr, reason = "other tests use more of it; what is left out is said")]
#[path = "../support/peers.rs"]
mod peers;
mod plans;
mod properties;
mod published;
mod rehearsal;
mod repeats;
mod rooms;
mod running;
mod slots;
mod standings;
mod starting;
mod times;
mod town;
mod trial;
mod understanding;
