//! The pure core: data in, data out. No clock, no randomness, no files, no network, no database.

pub mod answer;
pub mod book;
pub mod digest;
pub mod graph;
pub mod ics;
pub mod layout;
pub mod quiet;
pub mod retry;
pub mod season;
pub mod segments;
pub mod wall;
pub mod way;
