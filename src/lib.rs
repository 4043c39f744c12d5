//! Allheard tells every guardian of a children's show the times and rules that apply to their child,
//! and knows who has been heard from.
//!
//! The map, from the inside out:
//!
//! - `domain`: the rules, pure: data in, data out.
//! - `service`: the use cases, and the ports they need.
//! - `store`: the only SQL.
//! - `gateway`: the only traffic to carriers.
//! - `inbound`: what comes in by hooks, inboxes and mailboxes.
//! - `web`: pages and forms.
//! - `workbook`: workbook files to rows of text and back.
//! - `demo`: the invented season and its families.
//! - `audit`: the independent checker.
//! - `telemetry`: how logging starts.
//! - `app`: the wiring, the clocks, the daemon's loop.
//! - `cli`: the commands.

pub mod app;
pub mod audit;
pub mod cli;
pub mod demo;
pub mod domain;
pub mod gateway;
pub mod inbound;
pub mod service;
pub mod store;
pub mod telemetry;
pub mod web;
pub mod workbook;
