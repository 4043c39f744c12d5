//! What a workbook or one action would change, shown before anything is done.

use super::bring::{ChangeRow, FallRow, OpenQuestion, ProblemRow};
use super::show::Pick;
use super::{AsOf, ENGLISH};
use crate::web::labels::capitalised;
use askama::Template;

/// Names shown of a list before the rest is only counted.
const NAMES_SHOWN: usize = 12;

/// What is looked at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Subject {
    /// A workbook, by the name of its file as uploaded.
    Workbook(String),
    /// An action, in a few words.
    Action(String),
}

/// What happens to messages, one kind of it.
#[derive(Debug, Clone)]
pub struct MessageChange {
    /// Over it, such as "Three messages are added to the plan".
    pub heading: String,
    /// The first of them, each in a line.
    pub lines: Vec<String>,
    /// How many more there are.
    pub more: usize,
}

/// What an upload or an action would do.
#[derive(Debug, Clone)]
pub struct Preview {
    /// What is looked at.
    pub subject: Subject,
    /// Identifies it, sent back as `upload`.
    pub upload: String,
    /// The season in a few sentences, where it is the first.
    pub summary: Vec<String>,
    /// Problems, those that block first.
    pub problems: Vec<ProblemRow>,
    /// Questions to answer before it can be taken.
    pub questions: Vec<OpenQuestion>,
    /// What changes.
    pub changes: Vec<ChangeRow>,
    /// Which acknowledgements fall.
    pub falls: Vec<FallRow>,
    /// Whom it touches: what they are, such as "child", and their names.
    pub people: Vec<(&'static str, Vec<String>)>,
    /// Events with the sheets to print again.
    pub papers: Vec<(String, Vec<String>)>,
    /// What happens to messages.
    pub messages: Vec<MessageChange>,
    /// Rosters that are emptied or halved, each in a sentence.
    pub holds: Vec<String>,
    /// What goes, by name, for the second look.
    pub going: Vec<String>,
    /// Whether this is the second look.
    pub second: bool,
}

impl Preview {
    /// How many problems block.
    pub fn blocking(&self) -> usize {
        self.problems.iter().filter(|problem| problem.blocks).count()
    }

    /// Acknowledgements that fall in all.
    pub fn falling(&self) -> usize {
        self.falls.iter().map(|fall| fall.count).sum()
    }

    /// The heading.
    pub fn heading(&self) -> String {
        if self.second {
            let count = ENGLISH.number(self.going.len());
            return capitalised(&format!("{count} entries will be deleted: is that right?"));
        }
        match (&self.subject, self.blocking(), self.changes.len()) {
            (_, 1, _) => "One problem must be fixed first".to_owned(),
            (_, n @ 2.., _) => capitalised(&format!("{} problems must be fixed first", ENGLISH.number(n))),
            (Subject::Action(what), 0, 0) => format!("{}: that changes nothing", capitalised(what)),
            (Subject::Action(what), 0, _) => format!("{}: check before you confirm", capitalised(what)),
            (_, 0, 0) => "This workbook changes nothing".to_owned(),
            (_, 0, 1) => "This workbook changes one thing".to_owned(),
            (_, 0, n) => format!("This workbook changes {} things", ENGLISH.number(n)),
        }
    }

    /// What has not happened yet, before a name in bold; the name may be empty.
    pub fn nothing_yet(&self) -> (&'static str, &str) {
        match &self.subject {
            Subject::Workbook(file) => ("Nothing has been saved yet from", file),
            Subject::Action(_) => ("Nothing has been changed yet, and nobody has been told.", ""),
        }
    }

    /// The heading over what falls.
    pub fn falls_heading(&self) -> String {
        match self.falling() {
            0 => "Nobody has to answer again".to_owned(),
            1 => "One answer is needed again".to_owned(),
            n => capitalised(&format!("{} answers are needed again", ENGLISH.number(n))),
        }
    }

    /// Whom it touches, each kind in a sentence.
    pub fn people_lines(&self) -> Vec<String> {
        let line = |(what, names): &(&str, Vec<String>)| {
            let (count, plural) = (ENGLISH.number(names.len()), plural(what, names.len()));
            format!("{}: {}", capitalised(&format!("{count} {plural}")), shortened(names))
        };
        self.people.iter().filter(|(_, names)| !names.is_empty()).map(line).collect()
    }

    /// How many sheets are to be printed again.
    pub fn papers_heading(&self) -> String {
        match self.papers.iter().map(|(_, sheets)| sheets.len()).sum() {
            1 => "One sheet to print again".to_owned(),
            n => capitalised(&format!("{} sheets to print again", ENGLISH.number(n))),
        }
    }

    /// Whether there is anything to confirm.
    pub fn open(&self) -> bool {
        self.blocking() == 0 && (!self.changes.is_empty() || !self.questions.is_empty())
    }

    /// Whether the second look is still to come.
    pub fn held(&self) -> bool {
        !self.holds.is_empty() && !self.second && self.questions.is_empty()
    }

    /// The words of the button.
    pub fn confirm_words(&self) -> String {
        if !self.questions.is_empty() {
            return "Answer, and see what it changes then".to_owned();
        }
        let take = match &self.subject {
            Subject::Workbook(_) if self.falling() == 0 => "Save this workbook",
            Subject::Workbook(_) => "Save it",
            Subject::Action(_) => "Do it",
        };
        match self.falling() {
            0 => take.to_owned(),
            1 => format!("{take}, and ask one family again"),
            n => format!("{take}, and ask for {} answers again", ENGLISH.number(n)),
        }
    }
}

/// A word for so many.
pub(in crate::web) fn plural(word: &str, count: usize) -> String {
    match (word, count) {
        (word, 1) => word.to_owned(),
        ("child", _) => "children".to_owned(),
        (word, _) => format!("{word}s"),
    }
}

/// The first names of a list, and how many more there are.
fn shortened(names: &[String]) -> String {
    match names.len().checked_sub(NAMES_SHOWN) {
        Some(more @ 1..) => format!("{} and {more} more", names[..NAMES_SHOWN].join(", ")),
        _ => ENGLISH.list(names),
    }
}

/// The page on which one action, or taking the latest one back, is looked at and confirmed: POST with `upload` and `act` =
/// `confirm`; where rosters are held first `act` = `second`, then `confirm` with `going`.
#[derive(Debug, Template)]
#[template(path = "look.html")]
pub struct LookPage {
    /// Name of the school.
    pub school: String,
    /// Name of the production.
    pub season: String,
    /// When the page was put together.
    pub as_of: AsOf,
    /// What it would do; none once it is done or cannot be.
    pub preview: Option<Preview>,
    /// What became of it, in a sentence that is the heading where there is no preview.
    pub notice: Option<String>,
    /// An address to hand to somebody, with words before it.
    pub address: Option<(String, String)>,
    /// Where to go on: address and words.
    pub on: Vec<(String, String)>,
}

impl LookPage {
    /// The heading.
    pub fn heading(&self) -> String {
        match (&self.preview, &self.notice) {
            (Some(preview), _) => preview.heading(),
            (None, Some(notice)) => notice.clone(),
            (None, None) => "There is nothing to check".to_owned(),
        }
    }
}

/// How a field of an edit is filled in.
#[derive(Debug, Clone)]
pub enum PreviewEntry {
    /// Not shown.
    Hidden,
    /// A line of text.
    Text,
    /// A day.
    Date,
    /// A time of day.
    Time,
    /// One of several.
    Pick(Vec<Pick>),
}

impl PreviewEntry {
    /// The type of an input, as HTML names it.
    pub fn kind(&self) -> &'static str {
        match self {
            PreviewEntry::Hidden => "hidden",
            PreviewEntry::Text | PreviewEntry::Pick(_) => "text",
            PreviewEntry::Date => "date",
            PreviewEntry::Time => "time",
        }
    }
}

/// Links that stand open under a heading; more are folded.
const LINKS_UNFOLDED: usize = 12;

/// One field.
#[derive(Debug, Clone)]
pub struct EditField {
    /// Its name in the form.
    pub name: String,
    /// Its label.
    pub label: String,
    /// How it is filled in.
    pub entry: PreviewEntry,
    /// What stands in it.
    pub value: String,
}

/// One action with what it needs to know.
#[derive(Debug, Clone)]
pub struct EditForm {
    /// The word of the act.
    pub act: &'static str,
    /// Over it.
    pub title: String,
    /// What it does, in a sentence; may be empty.
    pub note: String,
    /// Its fields.
    pub fields: Vec<EditField>,
    /// The words of the button.
    pub button: String,
}

/// The pages at `/season/change/…`: actions about one event or person. Each is a POST that shows what it would change.
#[derive(Debug, Template)]
#[template(path = "edit.html")]
pub struct EditPage {
    /// Name of the school.
    pub school: String,
    /// Name of the production.
    pub season: String,
    /// When the page was put together.
    pub as_of: AsOf,
    /// What it is about, in a sentence.
    pub heading: String,
    /// Where the coordinator came from: address and words.
    pub back: (String, String),
    /// Why the form just posted was not taken.
    pub notice: Option<String>,
    /// The actions.
    pub forms: Vec<EditForm>,
    /// Other pages of this sort, under headings: address and words of each.
    pub others: Vec<(String, Vec<(String, String)>)>,
}

impl EditPage {
    /// Whether a list is so long that it is folded.
    pub fn folded(&self, links: &[(String, String)]) -> bool {
        links.len() > LINKS_UNFOLDED
    }
}

/// One change that was made.
#[derive(Debug, Clone)]
pub struct MadeChange {
    /// When.
    pub at: AsOf,
    /// What, in a few words.
    pub what: String,
    /// Its revision, sent back as `revision`, where it may be taken back.
    pub back: Option<i64>,
}

/// The page at `/season/changes`. Taking the latest back: POST with `revision` and `act` = `take_back`.
#[derive(Debug, Template)]
#[template(path = "changes.html")]
pub struct ChangesPage {
    /// Name of the school.
    pub school: String,
    /// Name of the production.
    pub season: String,
    /// When the page was put together.
    pub as_of: AsOf,
    /// What became of the form just posted.
    pub notice: Option<String>,
    /// What was changed, the latest first.
    pub changes: Vec<MadeChange>,
}

impl ChangesPage {
    /// The heading.
    pub fn heading(&self) -> String {
        match self.changes.len() {
            0 => "No changes so far".to_owned(),
            _ => "Changes, the latest first".to_owned(),
        }
    }
}
