//! The class door: silent children of an event, to be ticked as their slips come in.

use askama::Template;

use super::{AsOf, PageNotice, Pick, StandingMark};
use crate::web::labels::ENGLISH;

/// Somebody who may have signed.
#[derive(Debug, Clone)]
pub struct Signer {
    /// References of child, event and guardian and the fingerprint of the facts, sent back as `signed`.
    pub value: String,
    /// Name.
    pub name: String,
}

/// One silent child.
#[derive(Debug, Clone)]
pub struct SilentRow {
    /// What staff call the child.
    pub name: String,
    /// Where the child stands.
    pub mark: StandingMark,
    /// Who may have signed.
    pub signers: Vec<Signer>,
    /// Who may have signed for the house rules too, where those are still to be confirmed.
    pub rules: Vec<Signer>,
}

/// What else may be signed for: an event, or the house rules.
#[derive(Debug, Clone)]
pub struct DoorChoice {
    /// Address of its page.
    pub href: String,
    /// What it is called.
    pub name: String,
    /// The event's day in words; empty for the house rules.
    pub day: String,
    /// Children still to be heard from.
    pub open: usize,
    /// Whether it is the one shown.
    pub current: bool,
}

/// The page at `/season/door`. Signatures are entered by one POST with `signed` for each, `collector`, `on`, `at` and
/// `act` = `signed`.
#[derive(Debug, Template)]
#[template(path = "class-door.html")]
pub struct ClassDoorPage {
    /// Name of the school.
    pub school: String,
    /// Name of the production.
    pub season: String,
    /// When the page was put together.
    pub as_of: AsOf,
    /// Name of what is signed for, an event or the house rules; empty if there is nothing.
    pub event: String,
    /// Its day in words; empty for the house rules.
    pub day: String,
    /// Silent children in order of name.
    pub silent: Vec<SilentRow>,
    /// Who may have collected the slips.
    pub collectors: Vec<Pick>,
    /// Address of the paper slip; none if nobody is silent.
    pub slip: Option<String>,
    /// Events with silent children, soonest first, then the house rules.
    pub events: Vec<DoorChoice>,
    /// What became of the signatures just entered.
    pub notice: Option<PageNotice>,
}

impl ClassDoorPage {
    /// Whether something else is still to be signed for.
    pub fn has_others(&self) -> bool {
        self.events.iter().any(|choice| !choice.current)
    }

    /// How many children are still to be heard from.
    pub fn heading(&self) -> String {
        match (self.event.is_empty(), self.silent.len()) {
            (true, _) => "Everybody has answered: no signature is missing".to_owned(),
            (_, 0) => format!("{}: no signature is missing", self.event),
            (_, 1) => format!("{}: one child still to be heard from", self.event),
            (_, n) => {
                format!("{}: {} children still to be heard from", self.event, ENGLISH.number(n))
            }
        }
    }
}
