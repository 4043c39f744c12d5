//! What several tests need: an office with invented mail, programs of others, a mail server that misbehaves on request.

#![allow(dead_code, reason = "each test uses a part of it")]
#![allow(clippy::print_stderr, reason = "what is left out is said")]
#![allow(clippy::unwrap_used, reason = "what cannot be set up fails its test")]

pub mod mail_server;
pub mod office;
pub mod peers;
pub mod server;
