//! The page where the coordinator brings the season's workbook, and sees what it would change first.

use askama::Template;

use super::{AsOf, Preview};

/// Something wrong with the workbook.
#[derive(Debug, Clone)]
pub struct ProblemRow {
    /// Whether the workbook can't be taken with it.
    pub blocks: bool,
    /// How much it weighs, in words.
    pub weight: &'static str,
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
pub enum ChangeRowKind {
    /// New.
    Added,
    /// Different.
    Changed,
    /// No longer there.
    Gone,
}

impl ChangeRowKind {
    /// The word beside it.
    pub fn words(&self) -> &'static str {
        match self {
            ChangeRowKind::Added => "new",
            ChangeRowKind::Changed => "changed",
            ChangeRowKind::Gone => "gone",
        }
    }
}

/// One thing the workbook changes.
#[derive(Debug, Clone)]
pub struct ChangeRow {
    /// What happens to it.
    pub kind: ChangeRowKind,
    /// What it is: "child", "guardian", "event" …
    pub what: String,
    /// Its name.
    pub name: String,
    /// What differs, in words; may be empty.
    pub detail: String,
}

/// Acknowledgements that a change withdraws.
#[derive(Debug, Clone)]
pub struct FallRow {
    /// The event, and what changes there, such as "Dress rehearsal: call 17:30 becomes 17:00".
    pub change: String,
    /// Full names of the children whose families would be asked again.
    pub children: Vec<String>,
    /// How many acknowledgements fall.
    pub count: usize,
}

/// One answer to a question.
#[derive(Debug, Clone)]
pub struct RefChoice {
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
    pub choices: Vec<RefChoice>,
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
    /// What became of the form just posted, such as "The workbook is saved."
    pub notice: Option<String>,
    /// The largest file, in mebibytes.
    pub limit_mebibytes: u32,
}

impl BringPage {
    /// The heading.
    pub fn heading(&self) -> String {
        match (&self.preview, self.season.is_empty()) {
            (Some(preview), _) => preview.heading(),
            (None, true) => "Upload the season's workbook".to_owned(),
            (None, false) => "Upload the workbook again when it has changed".to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::views::Subject;

    #[test]
    fn the_preview_says_what_would_happen() {
        let mut preview = Preview {
            subject: Subject::Workbook("tide.xlsx".into()),
            upload: "7f".into(),
            summary: Vec::new(),
            problems: Vec::new(),
            questions: Vec::new(),
            changes: Vec::new(),
            falls: Vec::new(),
            people: Vec::new(),
            papers: Vec::new(),
            messages: Vec::new(),
            holds: Vec::new(),
            going: Vec::new(),
            second: false,
        };
        assert_eq!(preview.heading(), "This workbook changes nothing");
        assert_eq!(preview.confirm_words(), "Save this workbook");
        preview.falls = vec![FallRow { change: "Call".into(), children: Vec::new(), count: 14 }];
        assert_eq!(preview.falls_heading(), "14 answers are needed again");
        assert_eq!(preview.confirm_words(), "Save it, and ask for 14 answers again");
        preview.problems = vec![ProblemRow {
            blocks: true,
            weight: "must be fixed",
            sheet: "children".into(),
            row: Some(4),
            reason: "No name.".into(),
            cure: "Write one.".into(),
        }];
        assert_eq!(preview.heading(), "One problem must be fixed first");
        assert!(!preview.open());
        preview.problems.clear();
        preview.subject = Subject::Action("the Gale is cut".into());
        assert_eq!(preview.heading(), "The Gale is cut: that changes nothing");
        preview.people = vec![("child", vec!["Ada Finch".into()]), ("guardian", Vec::new())];
        assert_eq!(preview.people_lines(), ["One child: Ada Finch"]);
        assert_eq!(preview.confirm_words(), "Do it, and ask for 14 answers again");
    }
}
