//! What is sent straight back to a person's own message, before it is put into words: one text, always one segment.

use super::letter::maybe_time;
use jiff::civil::{Date, Time};
use serde::{Serialize, Serializer};

/// What a reply is for; each has a file of wordings in every language, `reply/NAME.txt`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ReplyKind {
    /// The acknowledgement was noted.
    Heard,
    /// The absence was noted.
    CantCome,
    /// More than one question is open: which is meant?
    AskBack,
    /// Messages to this address have ended.
    Stopped,
    /// They go on again.
    Started,
    /// Who writes, and what may be answered.
    Help,
    /// A person will read it.
    PassedOn,
    /// When a child may be picked up: what a question for an earlier release is answered with at once.
    PickUp,
    /// To those who look after a child: it is not coming.
    Away,
    /// To the same: it is coming after all.
    Back,
    /// To every address of a guardian: something was asked for on their page.
    Requested,
    /// To an address whose link was used to stop messages to it: with the way back.
    StopNoted,
    /// To the same: they go on.
    StartNoted,
}

impl ReplyKind {
    /// Every kind.
    pub const ALL: [ReplyKind; 13] = [
        ReplyKind::Heard,
        ReplyKind::CantCome,
        ReplyKind::AskBack,
        ReplyKind::Stopped,
        ReplyKind::Started,
        ReplyKind::Help,
        ReplyKind::PassedOn,
        ReplyKind::PickUp,
        ReplyKind::Away,
        ReplyKind::Back,
        ReplyKind::Requested,
        ReplyKind::StopNoted,
        ReplyKind::StartNoted,
    ];

    /// Its file in the folder of a language.
    pub fn file(self) -> &'static str {
        match self {
            ReplyKind::Heard => "reply/heard.txt",
            ReplyKind::CantCome => "reply/cant-come.txt",
            ReplyKind::AskBack => "reply/ask-back.txt",
            ReplyKind::Stopped => "reply/stopped.txt",
            ReplyKind::Started => "reply/started.txt",
            ReplyKind::Help => "reply/help.txt",
            ReplyKind::PassedOn => "reply/passed-on.txt",
            ReplyKind::PickUp => "reply/pick-up.txt",
            ReplyKind::Away => "reply/away.txt",
            ReplyKind::Back => "reply/back.txt",
            ReplyKind::Requested => "reply/requested.txt",
            ReplyKind::StopNoted => "reply/stop-noted.txt",
            ReplyKind::StartNoted => "reply/start-noted.txt",
        }
    }
}

/// A reply's facts.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Reply {
    /// The language, a BCP 47 tag in lower case.
    #[serde(skip)]
    pub language: String,
    /// The season's language, used where that has no templates.
    #[serde(skip)]
    pub season_language: String,
    /// What every text begins with.
    #[serde(skip)]
    pub short: String,
    /// Whether times are said with am and pm.
    #[serde(skip)]
    pub twelve: bool,
    /// The season's country.
    #[serde(skip)]
    pub country: String,
    /// Name of the school.
    pub school: String,
    /// Telephone for questions.
    pub telephone: Option<String>,
    /// Each child it is about, once: the given name, or none where the season leaves names out.
    pub children: Vec<Option<String>>,
    /// What was noted.
    pub about: Vec<ReplyMatter>,
    /// What may be meant, each with the number to send back.
    pub choices: Vec<Choice>,
    /// The number that means all of them.
    pub all: usize,
    /// Where messages are had back; empty where that is not the matter.
    pub back: String,
}

/// One child at one event, or the house rules.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReplyMatter {
    /// Given name; none where the season leaves names out.
    pub child: Option<String>,
    /// Name of the event; none for the house rules.
    pub what: Option<String>,
    /// Local date; none for the house rules.
    #[serde(serialize_with = "date")]
    pub date: Option<Date>,
    /// From when the child may be picked up, local time; none where that is not known.
    #[serde(serialize_with = "maybe_time")]
    pub pick_up: Option<Time>,
    /// Nobody leaves before the last number.
    pub no_early_release: bool,
}

/// One of several things that may be meant.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Choice {
    /// The number to send back.
    pub number: usize,
    /// Given name; none where the season leaves names out.
    pub child: Option<String>,
    /// Name of the event; none for the house rules.
    pub what: Option<String>,
    /// Local date; none for the house rules.
    #[serde(serialize_with = "date")]
    pub date: Option<Date>,
}

fn date<S: Serializer>(date: &Option<Date>, serializer: S) -> Result<S::Ok, S::Error> {
    match date {
        Some(date) => serializer.serialize_str(&date.to_string()),
        None => serializer.serialize_none(),
    }
}
