//! The links that open the coordinator's pages.

use askama::Template;

use super::AsOf;

/// One link in force.
#[derive(Debug, Clone)]
pub struct KeyRow {
    /// Identifier, sent back as `link`; it opens nothing.
    pub link: String,
    /// When it was made, in words.
    pub made: String,
    /// When it dies, in words.
    pub ends: String,
    /// In how many browsers it is open, in words.
    pub browsers: String,
    /// Whether this browser was opened with it.
    pub own: bool,
}

/// The page at `/season/keys`: POST with `act` = `leave`, `end` and `link`, or `end_others`.
#[derive(Debug, Template)]
#[template(path = "keys.html")]
pub struct KeysPage {
    /// Name of the school.
    pub school: String,
    /// Name of the production.
    pub season: String,
    /// When the page was put together.
    pub as_of: AsOf,
    /// Links in force, the newest first.
    pub links: Vec<KeyRow>,
    /// When this browser's own session ends, in words.
    pub session_ends: String,
    /// What was just done.
    pub notice: Option<String>,
}
