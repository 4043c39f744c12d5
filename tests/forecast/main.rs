//! The forecast, held against seasons of other distributions than it fits, and against a survival library of others.
//!
//! `ALLHEARD_FORECAST_SEASONS=1000` simulates as many seasons for each distribution and share; the figures are printed
//! with `--nocapture`.

#![allow(clippy::unwrap_used, reason = "a helper of a test may fail the test")]
#![allow(clippy::print_stdout, reason = "the figures measured are the point")]

#[allow(dead_code, clippy::print_stderr, reason = "other tests use more of it; what is left out is said")]
#[path = "../support/peers.rs"]
mod peers;
mod seasons;
mod survival;
