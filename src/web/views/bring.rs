//! The page where the coordinator brings the season's workbook, and sees what it would change first.

use askama::Template;

use super::AsOf;
use crate::web::labels::{ENGLISH, capitalised};

/// Something wrong with the workbook.
#[derive(Debug, Clone)]
pub struct Problem {
    /// Whether the workbook can't be taken with it; otherwise it is a warning.
    pub blocks: bool,
    /// Name of the sheet.
    pub sheet: String,
    /// Row as the spreadsheet shows it; none for the sheet as a whole.
    pub row: Option<u32>,
    /// What is wrong.
    pub reason: String,
    /// What to do about it.
    pub cure: String,
}

/// What happens to a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ChangeKind {
    /// New.
    Added,
    /// Different.
    Changed,
    /// No longer there.
    Gone,
}

impl ChangeKind {
    /// The word beside it.
    pub fn words(&self) -> &'static str {
        match self {
            ChangeKind::Added => "new",
            ChangeKind::Changed => "changed",
            ChangeKind::Gone => "gone",
        }
    }
}

/// One thing the workbook changes.
#[derive(Debug, Clone)]
pub struct Change {
    /// What happens to it.
    pub kind: ChangeKind,
    /// What it is: "child", "guardian", "event" …
    pub what: String,
    /// Its name.
    pub name: String,
    /// What differs, in words; may be empty.
    pub detail: String,
}

/// Acknowledgements that a change withdraws.
#[derive(Debug, Clone)]
pub struct Fall {
    /// The event, and what changes there, such as "Dress rehearsal: call 17:30 becomes 17:00".
    pub change: String,
    /// Full names of the children whose families would be asked again.
    pub children: Vec<String>,
    /// How many acknowledgements fall.
    pub count: usize,
}

/// One answer to a question.
#[derive(Debug, Clone)]
pub struct Choice {
    /// Sent back as the value.
    pub value: String,
    /// In words.
    pub words: String,
}

/// Something the program will not guess, such as whether a row is the same child as before.
#[derive(Debug, Clone)]
pub struct OpenQuestion {
    /// Sent back as the field `answer.KEY`.
    pub key: String,
    /// The question.
    pub words: String,
    /// The answers; none is chosen beforehand.
    pub choices: Vec<Choice>,
}

/// What an uploaded workbook would do.
#[derive(Debug, Clone)]
pub struct Preview {
    /// Name of the file as uploaded.
    pub file_name: String,
    /// Identifies the upload, sent back as `upload`.
    pub upload: String,
    /// Problems, those that block first.
    pub problems: Vec<Problem>,
    /// Questions to answer before it can be taken.
    pub questions: Vec<OpenQuestion>,
    /// What changes.
    pub changes: Vec<Change>,
    /// Which acknowledgements fall.
    pub falls: Vec<Fall>,
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
        match (self.blocking(), self.changes.len()) {
            (0, 0) => "This workbook changes nothing".to_owned(),
            (0, 1) => "This workbook changes one thing".to_owned(),
            (0, n) => format!("This workbook changes {} things", ENGLISH.number(n)),
            (1, _) => "One problem keeps this workbook out".to_owned(),
            (n, _) => capitalised(&format!("{} problems keep this workbook out", ENGLISH.number(n))),
        }
    }

    /// The heading over what falls.
    pub fn falls_heading(&self) -> String {
        match self.falling() {
            0 => "Nobody has to be asked again".to_owned(),
            1 => "One acknowledgement falls".to_owned(),
            n => capitalised(&format!("{} acknowledgements fall", ENGLISH.number(n))),
        }
    }

    /// The words of the button.
    pub fn confirm_words(&self) -> String {
        if !self.questions.is_empty() {
            return "Answer, and see what it changes then".to_owned();
        }
        match self.falling() {
            0 => "Take this workbook".to_owned(),
            1 => "Take it, and ask one family again".to_owned(),
            n => format!("Take it, and ask for {} answers again", ENGLISH.number(n)),
        }
    }
}

/// The page at `/season/workbook`. Upload: multipart POST with `file` and `act` = `preview`; taking it: POST with
/// `upload`, the answers and `act` = `confirm`.
#[derive(Debug, Template)]
#[template(path = "bring.html")]
pub struct BringPage {
    /// Name of the school; empty before the first workbook.
    pub school: String,
    /// Name of the production; empty before the first workbook.
    pub season: String,
    /// When the page was put together.
    pub as_of: AsOf,
    /// What the upload would do; none before one.
    pub preview: Option<Preview>,
    /// What became of the form just posted, such as "The workbook is in."
    pub notice: Option<String>,
    /// The largest file, in mebibytes.
    pub limit_mebibytes: u32,
}

impl BringPage {
    /// The heading.
    pub fn heading(&self) -> String {
        match (&self.preview, self.season.is_empty()) {
            (Some(preview), _) => preview.heading(),
            (None, true) => "Bring the season's workbook".to_owned(),
            (None, false) => "Bring the workbook again when it has changed".to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_preview_says_what_would_happen() {
        let mut preview = Preview {
            file_name: "tide.xlsx".into(),
            upload: "7f".into(),
            problems: Vec::new(),
            questions: Vec::new(),
            changes: Vec::new(),
            falls: Vec::new(),
        };
        assert_eq!(preview.heading(), "This workbook changes nothing");
        assert_eq!(preview.confirm_words(), "Take this workbook");
        preview.falls = vec![Fall { change: "Call".into(), children: Vec::new(), count: 14 }];
        assert_eq!(preview.falls_heading(), "14 acknowledgements fall");
        assert_eq!(preview.confirm_words(), "Take it, and ask for 14 answers again");
        preview.problems = vec![Problem {
            blocks: true,
            sheet: "children".into(),
            row: Some(4),
            reason: "No name.".into(),
            cure: "Write one.".into(),
        }];
        assert_eq!(preview.heading(), "One problem keeps this workbook out");
    }
}
