//! What a chaperone's digest has to say, before it is put into words: her list, or the families she is to greet.

use super::letter::{date, time};
use jiff::civil::{Date, Time};
use serde::Serialize;

/// What a digest is; each has a folder of templates in every language.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum DigestKind {
    /// Who of her children has been heard from, and who not.
    List,
    /// The families she has just been introduced to.
    Greet,
}

impl DigestKind {
    /// Every kind.
    pub const ALL: [DigestKind; 2] = [DigestKind::List, DigestKind::Greet];

    /// Its folder in that of a language.
    pub fn folder(self) -> &'static str {
        match self {
            DigestKind::List => "digest",
            DigestKind::Greet => "greet",
        }
    }
}

/// A digest's facts. Children are named as on her page: given name and the first letter of the family name.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Digest {
    /// Her language, a BCP 47 tag in lower case.
    #[serde(skip)]
    pub language: String,
    /// The season's language, used where hers has no templates.
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
    /// Name of the production.
    pub season: String,
    /// The coordinator's telephone.
    pub telephone: Option<String>,
    /// Her given name.
    pub given: String,
    /// The hour at which the list was put together, local time.
    #[serde(serialize_with = "time")]
    pub as_of: Time,
    /// Children not heard from at all these events together.
    pub unheard: usize,
    /// Children at all these events together.
    pub all: usize,
    /// Families to greet; nought in a list.
    pub families: usize,
    /// Her events that families have been asked about and that are still ahead, soonest first.
    pub events: Vec<Listed>,
    /// What is otherwise than in her last list.
    pub news: DigestNews,
    /// Her own list, an absolute URL; empty where pages cannot be opened.
    pub link: String,
}

/// Her children at one event.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Listed {
    /// Name of the event.
    pub event: String,
    /// Local date.
    #[serde(serialize_with = "date")]
    pub date: Date,
    /// Children settled.
    pub settled: usize,
    /// All her children there.
    pub all: usize,
    /// Children not heard from.
    pub unheard: Children,
    /// Children who can't come.
    pub cannot_come: Children,
    /// Children whose families have not been asked yet.
    pub unasked: usize,
}

/// Some children: how many, and their names where messages may carry them.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Children {
    /// How many.
    pub count: usize,
    /// The names of the first of them; none at all where the season leaves names out.
    pub names: Vec<String>,
    /// How many more there are than names, where there are any.
    pub more: usize,
}

/// What has moved since the last list.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct DigestNews {
    /// Children heard from.
    pub heard: Children,
    /// Children who can't come.
    pub cannot_come: Children,
    /// Children whose times have changed, so that their families are asked again.
    pub asked_again: Children,
}
