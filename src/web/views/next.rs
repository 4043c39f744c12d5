//! A chaperone's page while a show runs: what she has to do next, and nothing else.

use askama::Template;

use super::show::ShowMoment;
use super::{AsOf, Telephone};

/// The page behind `/c/TOKEN` on the day of an event.
#[derive(Debug, Template)]
#[template(path = "next.html")]
pub struct NextPage {
    /// Name of the school.
    pub school: String,
    /// Name of the production.
    pub season: String,
    /// When the page was put together.
    pub as_of: AsOf,
    /// Her given name.
    pub given: String,
    /// Name of the event.
    pub event: String,
    /// Where the show is, in a sentence.
    pub stage: String,
    /// Her things, the most urgent first.
    pub things: Vec<ShowMoment>,
    /// How many more there are later.
    pub later: usize,
    /// Where she finds the families of her children.
    pub families: String,
    /// The coordinator's telephone.
    pub telephone: Option<Telephone>,
    /// Seconds after which the page is read again; none where the reader stopped that.
    pub again: Option<u32>,
}

impl NextPage {
    /// The heading: her most urgent thing.
    pub fn heading(&self) -> String {
        match self.things.first() {
            Some(thing) => thing.title.clone(),
            None => format!("{}, there is nothing for you to do now", self.given),
        }
    }

    /// What comes after the heading.
    pub fn rest(&self) -> &[ShowMoment] {
        self.things.get(1..).unwrap_or_default()
    }

    /// How many more there are, in a sentence; empty for none.
    pub fn later_words(&self) -> String {
        match self.later {
            0 => String::new(),
            1 => "One more thing comes later.".to_owned(),
            n => format!("{n} more things come later."),
        }
    }
}
