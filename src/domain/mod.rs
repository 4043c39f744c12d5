//! The pure core: data in, data out. No clock, no randomness, no files, no network, no database.

pub mod answer;
pub mod board;
pub mod book;
pub mod chain;
pub mod digest;
pub mod due;
pub mod facts;
pub mod graph;
pub mod ics;
pub mod itinerary;
pub mod layout;
pub mod plan;
pub mod quiet;
pub mod record;
pub mod retry;
pub mod running_order;
pub mod season;
pub mod segments;
pub mod standing;
pub mod wall;
pub mod way;
