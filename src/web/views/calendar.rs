//! The page about a calendar file and a private address of it, for a guardian and for a chaperone.

use askama::Template;

use super::OtherLanguage;
use crate::web::labels::Labels;

/// A private address just made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Made {
    /// The whole address, to be copied.
    pub address: String,
    /// The same as a link that opens a calendar program.
    pub open: String,
}

/// The page behind `/r/TOKEN/calendar` and `/c/TOKEN/calendar`: GET shows, POST with `act` = `make` makes an address.
#[derive(Debug, Template)]
#[template(path = "calendar.html")]
pub struct CalendarPage {
    /// Words of the reader's language.
    pub labels: &'static Labels,
    /// Name of the school.
    pub school: String,
    /// Name of the production.
    pub season: String,
    /// The same page in other languages.
    pub others: Vec<OtherLanguage>,
    /// Address of the page it was opened from.
    pub back: String,
    /// The private address, where one was just made.
    pub made: Option<Made>,
}

impl CalendarPage {
    /// The heading.
    pub fn heading(&self) -> &'static str {
        if self.made.is_some() { self.labels.calendar.made_title } else { self.labels.calendar.page_title }
    }
}
