//! A change of order tried on paper.

use askama::Template;

use super::AsOf;
use super::show::Pick;

/// What goes or comes, one kind of it.
#[derive(Debug, Clone)]
pub struct TrialList {
    /// Over it, such as "Two quick changes come".
    pub heading: String,
    /// Each in a line.
    pub lines: Vec<String>,
}

/// A number that starts at another time.
#[derive(Debug, Clone)]
pub struct TrialStart {
    /// Its name.
    pub name: String,
    /// Its start as planned.
    pub was: String,
    /// Its start as tried.
    pub now: String,
}

/// The page at `/season/EVENT/try`: a form that only asks, and what it would change. Nothing is stored, nobody is told.
#[derive(Debug, Template)]
#[template(path = "trial.html")]
pub struct TrialPage {
    /// Name of the school.
    pub school: String,
    /// Name of the production.
    pub season: String,
    /// When the page was put together.
    pub as_of: AsOf,
    /// Name of the event.
    pub event: String,
    /// Address of the event's page.
    pub href: String,
    /// What is tried, and what it comes to, in a sentence.
    pub heading: String,
    /// When the last number ends, in a sentence; may be empty.
    pub down: String,
    /// What to choose from, with what was.
    pub form: TrialForm,
    /// What comes and goes.
    pub lists: Vec<TrialList>,
    /// Start times that change.
    pub starts: Vec<TrialStart>,
}

/// The form of a trial.
#[derive(Debug, Clone)]
pub struct TrialForm {
    /// Address it asks.
    pub href: String,
    /// Lines of the running order, to be moved.
    pub first: Vec<Pick>,
    /// The same with the beginning, to change places with or to go behind.
    pub second: Vec<Pick>,
}
