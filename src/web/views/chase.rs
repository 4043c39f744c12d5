//! The chase list: families to speak to, who rings each, and what came of it.

use askama::Template;

use super::{AsOf, PageNotice, Telephone};
use crate::web::labels::{ENGLISH, capitalised};

/// One thing a family has to hear.
#[derive(Debug, Clone)]
pub struct Matter {
    /// References of child and event with a stroke between them, sent back as `item`.
    pub item: String,
    /// Fingerprint of the facts read out, sent back as `fingerprint`.
    pub fingerprint: String,
    /// Given name and initial of the child.
    pub child: String,
    /// Name of the event.
    pub event: String,
    /// What to read out: day, times, door, what to bring.
    pub words: String,
}

/// One family to speak to.
#[derive(Debug, Clone)]
pub struct CallCard {
    /// Reference of the guardian, sent back as `guardian`.
    pub guardian: String,
    /// Her name, as much of it as the reader may see.
    pub name: String,
    /// Number to ring; none if there is none, or it is wrong.
    pub telephone: Option<Telephone>,
    /// The language she asked for, in English, where it is not the season's.
    pub language: Option<String>,
    /// Her children on this line, in words.
    pub children: String,
    /// What she has to hear, soonest first.
    pub matters: Vec<Matter>,
    /// The house rules, where they have not answered about those either.
    pub rules: Vec<Matter>,
    /// Why, most pressing first.
    pub reasons: Vec<String>,
    /// Who rings, and why she does; empty on her own page.
    pub ringer: String,
    /// When and where, in words.
    pub moment: String,
    /// What was tried, in words.
    pub tried: String,
}

impl CallCard {
    /// The reasons as one sentence.
    pub fn why(&self) -> String {
        capitalised(&self.reasons.join("; "))
    }
}

/// The page at `/season/chase`. Each note is a POST with `guardian`, one `item` and `fingerprint` for each thing heard, and
/// `act` = `heard`, `heard_in_person`, `no_answer`, `wrong_number`, `will_call_back` or `cant_come`.
#[derive(Debug, Template)]
#[template(path = "chase.html")]
pub struct ChasePage {
    /// Name of the school.
    pub school: String,
    /// Name of the production.
    pub season: String,
    /// When the page was put together.
    pub as_of: AsOf,
    /// Families, most urgent first.
    pub calls: Vec<CallCard>,
    /// Families who have not answered either and need no call so far.
    pub later: usize,
    /// How the calls are shared out, in a sentence; may be empty.
    pub shared: String,
    /// Days before an event from which families are rung.
    pub near_days: u32,
    /// What became of the note just posted.
    pub notice: Option<PageNotice>,
}

impl ChasePage {
    /// How many families there are to speak to.
    pub fn heading(&self) -> String {
        match self.calls.len() {
            0 => "Nobody to ring".to_owned(),
            1 => "One family to speak to".to_owned(),
            n => format!("{} families to speak to", capitalised(&ENGLISH.number(n))),
        }
    }

    /// How many have time, in a sentence; empty if none.
    pub fn later_words(&self) -> String {
        match self.later {
            0 => String::new(),
            1 => "One more guardian has not answered and still has time.".to_owned(),
            n => {
                format!(
                    "{} more guardians have not answered and still have time.",
                    capitalised(&ENGLISH.number(n))
                )
            }
        }
    }
}
