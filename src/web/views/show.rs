//! The page at the stage side while a show runs, and the page that changes what is to come.

use askama::Template;

use super::{AsOf, PageNotice};

/// Something told with one tap.
#[derive(Debug, Clone)]
pub struct Tick {
    /// What, sent back as `act`: `begun` or `ended`.
    pub act: &'static str,
    /// Ref of the number, sent back as `number`.
    pub number: String,
    /// On the button, such as "Kelp has begun".
    pub words: String,
}

/// Something at a moment.
#[derive(Debug, Clone)]
pub struct ShowMoment {
    /// The local time, such as `19:04`; may be empty.
    pub clock: String,
    /// What, in a few words.
    pub title: String,
    /// More in a sentence; may be empty.
    pub more: String,
    /// It is now, or somebody has to act on it.
    pub now: bool,
}

/// One line of the running order.
#[derive(Debug, Clone)]
pub struct OrderLine {
    /// Its start as it is now; empty for what is cut and for an interval.
    pub clock: String,
    /// Its planned start where that differs; else empty.
    pub was: String,
    /// Its name.
    pub name: String,
    /// Where it is, in words.
    pub stage: String,
    /// It is cut.
    pub cut: bool,
    /// It is on, or the next.
    pub now: bool,
}

/// What may be chosen from.
#[derive(Debug, Clone)]
pub struct Pick {
    /// Sent back as the value.
    pub value: String,
    /// In words.
    pub words: String,
    /// It is chosen beforehand.
    pub chosen: bool,
}

/// The page at `/season/EVENT/show`. Each tick is a POST with `deed`, `number` and `act`.
#[derive(Debug, Template)]
#[template(path = "show.html")]
pub struct ShowPage {
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
    /// Where the show is, in a sentence.
    pub heading: String,
    /// When the curtain comes down now, in a sentence; may be empty.
    pub down: String,
    /// What became of the form just posted.
    pub notice: Option<PageNotice>,
    /// Tells the next deed from others, sent back as `deed`.
    pub deed: String,
    /// What most likely happens next.
    pub main: Option<Tick>,
    /// What may happen instead.
    pub other: Option<Tick>,
    /// For whom the next number is held, in a sentence; may be empty.
    pub held: String,
    /// Calls to give: before curtain up, and to get ready.
    pub calls: Vec<ShowMoment>,
    /// Quick changes coming up.
    pub changes: Vec<ShowMoment>,
    /// Other hand-overs coming up.
    pub hand_overs: Vec<ShowMoment>,
    /// What is on and what is to come.
    pub to_come: Vec<OrderLine>,
    /// What is over.
    pub past: Vec<OrderLine>,
    /// Seconds after which the page is read again; none where the reader stopped that.
    pub again: Option<u32>,
}

/// Something told before, to be taken back.
#[derive(Debug, Clone)]
pub struct ToldLine {
    /// Its place, sent back as `other`.
    pub seq: i64,
    /// The local time, such as `19:04`.
    pub clock: String,
    /// What, in words.
    pub words: String,
}

/// The page at `/season/EVENT/show/change`. Each act is a POST with `deed`, `act` and, as it needs them, `number`, `other`
/// and `minutes`.
#[derive(Debug, Template)]
#[template(path = "change.html")]
pub struct ChangePage {
    /// Name of the school.
    pub school: String,
    /// Name of the production.
    pub season: String,
    /// When the page was put together.
    pub as_of: AsOf,
    /// Name of the event.
    pub event: String,
    /// Address of the show's page.
    pub href: String,
    /// When the curtain comes down now, in a sentence; may be empty.
    pub down: String,
    /// What became of the form just posted.
    pub notice: Option<PageNotice>,
    /// Tells the next deed from others, sent back as `deed`.
    pub deed: String,
    /// What the house may be held before, the next first.
    pub holds: Vec<Pick>,
    /// How long, minutes.
    pub minutes: Vec<u32>,
    /// Numbers to come.
    pub numbers: Vec<Pick>,
    /// What a number may move behind.
    pub behind: Vec<Pick>,
    /// What was told, newest first.
    pub told: Vec<ToldLine>,
}
