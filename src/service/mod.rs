//! Use cases: load, ask the domain, save. Knows ports, not products.

pub mod answering;
pub mod bringing;
pub mod calendars;
pub mod composing;
pub mod course;
pub mod digest;
pub mod digesting;
pub mod forecast;
pub mod hearing;
pub mod letter;
pub mod links;
pub mod lists;
pub mod lives;
pub mod office;
pub mod outlook;
pub mod overview;
pub mod planning;
pub mod ports;
pub mod reply;
pub mod replying;
pub mod samples;
pub mod sending;
pub mod show;
pub mod specimens;
pub mod wording;
