//! What went out, and what one family was told and answered.

use askama::Template;

use super::{AsOf, StandingMark};

/// Something a person sent or said.
#[derive(Debug, Clone)]
pub struct Said {
    /// Her words.
    pub words: String,
    /// By which road, and what became of it.
    pub how: String,
    /// Local date and time.
    pub at: AsOf,
}

/// One guardian of a family.
#[derive(Debug, Clone)]
pub struct PersonView {
    /// Full name.
    pub name: String,
    /// What she was asked, and where she stands.
    pub standings: Vec<(String, StandingMark)>,
    /// What she sent, newest first.
    pub said: Vec<Said>,
}

/// One message and its life.
#[derive(Debug, Clone)]
pub struct LifeView {
    /// Full names of those it is for.
    pub to: String,
    /// Address of the family's page.
    pub href: String,
    /// What kind of message, by which channel.
    pub matter: String,
    /// Children and events.
    pub about: String,
    /// Where it is now.
    pub state: String,
    /// Each step of its life in words, in order.
    pub steps: Vec<String>,
}

/// The page at `/season/messages` and `/season/family/HOUSEHOLD`.
#[derive(Debug, Template)]
#[template(path = "messages.html")]
pub struct MessagesPage {
    /// Name of the school.
    pub school: String,
    /// Name of the production.
    pub season: String,
    /// When the page was put together.
    pub as_of: AsOf,
    /// The heading.
    pub heading: String,
    /// Whether it is about one family.
    pub family: bool,
    /// The family's guardians; empty for the whole season.
    pub people: Vec<PersonView>,
    /// Messages, newest first.
    pub lives: Vec<LifeView>,
    /// Address of the page with older ones; none if there are none.
    pub older: Option<String>,
    /// What became of the form just posted.
    pub notice: Option<String>,
}
