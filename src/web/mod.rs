//! The pages: what guardians, chaperones and the coordinator see in a browser.
//!
//! A page is a plain struct in [`views`] and a template of the same name in `src/web/pages/`. The structs hold
//! what is to be shown and nothing else: no store, no clock, no request. Every page works without scripts;
//! GET only shows, and each act is a form that posts to the address the page was read from.
//!
//! * [`views`]: one struct a page.
//! * [`labels`]: the fixed words of the pages families read, a table per language.
//! * [`chart`]: the line of settled children over time as an SVG path.
//! * [`assets`]: the style sheet and the icon, part of the binary.
//! * [`routes`]: the addresses, and what every answer carries; a file beside it for each page.

pub mod assets;
mod calendars;
mod change;
mod chaperone;
pub mod chart;
mod chase;
mod class_door;
mod coordinator;
mod course;
pub mod fields;
mod forecast;
mod guardian;
pub mod hook;
pub mod labels;
mod messages;
mod needs;
mod next;
mod plan;
mod preview;
mod respond;
pub mod routes;
mod sheets;
mod show;
mod shown;
mod stop;
mod trial;
pub mod views;
pub mod workbook;
