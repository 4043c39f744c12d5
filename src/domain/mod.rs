//! The pure core: data in, data out. No clock, no randomness, no files, no network, no database.

pub mod book;
pub mod layout;
pub mod season;
pub mod segments;
