//! The pure core: data in, data out. No clock, no randomness, no files, no network, no database.

pub mod book;
pub mod calendar;
pub mod kin;
pub mod layout;
pub mod phone;
pub mod reading;
pub mod refs;
pub mod season;
pub mod typed;
pub mod words;
