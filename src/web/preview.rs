//! What is looked at and not yet done, whatever it came by: a file, one action, or taking the latest action back.

use jiff::{SignedDuration, Timestamp};

use super::fields::Fields;
use super::labels::{ENGLISH, capitalised};
use super::respond::Denied;
use super::routes::Front;
use super::shown;
use super::views::{self, MessageChange, OpenQuestion, Preview, RefChoice, Subject, plural};
use crate::domain::board::Board;
use crate::domain::book::{Book, Problem, Weight};
use crate::domain::changes::ChangeKind;
use crate::domain::edit::Edit;
use crate::domain::refs::Question;
use crate::domain::season::Channel;
use crate::service::bringing::{BringFault, Bringing, Brought, NEW_LINE, Replies, question_key};
use crate::service::foreseeing::Foretold;
use crate::service::ports::{Gateway, Store};

/// What is looked at and kept until somebody takes it in, at most; the oldest goes first.
pub const UPLOADS_KEPT: usize = 8;
/// How long it is kept.
pub const UPLOAD_KEPT_FOR: SignedDuration = SignedDuration::from_mins(30);
/// Messages of each kind told one by one.
const MESSAGES_TOLD: usize = 8;

/// Where a change comes from, so that it can be looked at again.
#[derive(Debug, Clone)]
pub(super) enum Source {
    /// A file, as read before any ref was filled in.
    File { name: String, book: Box<Book>, found: Vec<Problem>, replies: Replies },
    /// One action.
    Edit(Edit),
    /// Taking back the change that made a revision.
    Undo(i64),
}

/// Something looked at and not yet done.
#[derive(Debug, Clone)]
pub(super) struct Upload {
    id: String,
    at: Timestamp,
    source: Source,
    bringing: Bringing,
}

/// What comes of a form that confirms.
pub(super) enum Step {
    /// It is shown, perhaps again.
    Show(Box<Preview>, Option<String>),
    /// It is done.
    Done(Brought, Source),
    /// It cannot be done, in words.
    Fault(String),
    /// It is no longer kept.
    Lost,
}

impl<S: Store + 'static, G: Gateway + 'static> Front<S, G> {
    /// Keeps something and shows what it would change; in words why it cannot be looked at.
    pub async fn look(&self, source: Source) -> Result<Result<Preview, String>, Denied> {
        let bringing = match &source {
            Source::File { book, found, replies, .. } => {
                let (book, found) = (Book::clone(book), found.clone());
                self.office.preview_answered(book, found, replies).await?
            }
            Source::Edit(edit) => match self.office.preview_edit(edit).await? {
                Ok(bringing) => bringing,
                Err(fault) => return Ok(Err(capitalised(&format!("{fault}.")))),
            },
            Source::Undo(revision) => match self.office.preview_undo(*revision).await? {
                Some(bringing) => bringing,
                None => {
                    let words = "Only the latest change can be taken back, and this is no longer the latest.";
                    return Ok(Err(words.to_owned()));
                }
            },
        };
        let upload = Upload { id: self.office.token(), at: self.office.now(), source, bringing };
        let board = self.office.desk().await.ok().map(|desk| desk.board.clone());
        let preview = shown(board.as_deref(), &upload);
        if let Ok(mut uploads) = self.uploads.lock() {
            forget_old(&mut uploads, upload.at);
            if uploads.len() >= UPLOADS_KEPT {
                uploads.remove(0);
            }
            uploads.push(upload);
        }
        Ok(Ok(preview))
    }

    async fn look_again(&self, source: Source, notice: Option<&str>) -> Result<Step, Denied> {
        Ok(match self.look(source).await? {
            Ok(preview) => Step::Show(Box::new(preview), notice.map(str::to_owned)),
            Err(words) => Step::Fault(words),
        })
    }

    /// Carries out a form that answers questions, asks for the second look, or confirms.
    pub async fn decided(&self, fields: &Fields) -> Result<Step, Denied> {
        let upload = self.uploads.lock().ok().and_then(|mut uploads| {
            forget_old(&mut uploads, self.office.now());
            uploads.iter().find(|upload| upload.id == fields.first("upload")).cloned()
        });
        let Some(upload) = upload else { return Ok(Step::Lost) };
        if !upload.bringing.questions.is_empty() {
            let mut source = upload.source;
            if let Source::File { replies, .. } = &mut source {
                replies.extend(fields.0.iter().filter_map(|(name, value)| {
                    name.strip_prefix("answer.").map(|key| (key.to_owned(), value.trim().to_owned()))
                }));
            }
            return self.look_again(source, None).await;
        }
        let second = async |notice: Option<&str>| -> Result<Step, Denied> {
            let board = self.office.desk().await.ok().map(|desk| desk.board.clone());
            let mut preview = shown(board.as_deref(), &upload);
            preview.second = true;
            Ok(Step::Show(Box::new(preview), notice.map(str::to_owned)))
        };
        if fields.first("act") == "second" {
            return second(None).await;
        }
        let taken = match fields.first("going").trim().parse() {
            Ok(going) => self.office.bring_held(&upload.bringing, going).await,
            Err(_) => self.office.bring(&upload.bringing).await,
        };
        match taken {
            Ok(brought) => {
                let revision = brought.revision;
                tracing::info!(revision, changed = brought.changed, "a change was taken in");
                Ok(Step::Done(brought, upload.source))
            }
            Err(BringFault::Held { .. }) => {
                second(Some(
                    "Nothing was changed: that is not the number of entries below. Please count them.",
                ))
                .await
            }
            // Taken twice by a double tap, or overtaken: the fresh look says which.
            Err(BringFault::Moved) => {
                let words = match upload.source {
                    Source::File { .. } => {
                        "Another workbook has been saved since. This is what yours would change now."
                    }
                    _ => "The season has changed since. This is what it would change now.",
                };
                self.look_again(upload.source, Some(words)).await
            }
            Err(BringFault::Errors(_) | BringFault::Questions(_)) => {
                self.look_again(upload.source, None).await
            }
            Err(BringFault::Office(fault)) => Err(fault.into()),
        }
    }
}

fn forget_old(uploads: &mut Vec<Upload>, now: Timestamp) {
    uploads.retain(|upload| now.duration_since(upload.at) < UPLOAD_KEPT_FOR);
}

/// What something kept would change. `board` is of the season in force, where there is one.
fn shown(board: Option<&Board>, upload: &Upload) -> Preview {
    let Upload { id, source, bringing, .. } = upload;
    let subject = match source {
        Source::File { name, .. } => Subject::Workbook(name.clone()),
        Source::Edit(_) | Source::Undo(_) => Subject::Action(bringing.what.clone()),
    };
    let book = match source {
        Source::File { book, .. } => book,
        Source::Edit(_) | Source::Undo(_) => &bringing.book,
    };
    let people = &bringing.people;
    Preview {
        upload: id.clone(),
        summary: bringing.summary.clone(),
        problems: bringing.problems.iter().map(problem).collect(),
        questions: bringing.questions.iter().map(|question| open_question(book, question)).collect(),
        changes: bringing
            .changes
            .iter()
            .map(|change| views::ChangeRow {
                kind: match change.kind {
                    ChangeKind::Added => views::ChangeRowKind::Added,
                    ChangeKind::Changed => views::ChangeRowKind::Changed,
                    ChangeKind::Gone => views::ChangeRowKind::Gone,
                },
                what: change.what.to_owned(),
                name: change.name.clone(),
                detail: change.detail.clone(),
            })
            .collect(),
        falls: bringing
            .falls
            .iter()
            .map(|fall| {
                let name = if fall.name.is_empty() { "House rules" } else { &fall.name };
                views::FallRow {
                    change: format!("{name}: {}", fall.what),
                    children: fall.children.clone(),
                    count: fall.count,
                }
            })
            .collect(),
        people: vec![
            ("child", people.children.clone()),
            ("guardian", people.guardians.clone()),
            ("chaperone", people.chaperones.clone()),
        ],
        papers: bringing.papers.iter().map(|one| (one.event.clone(), one.sheets.clone())).collect(),
        messages: board.map(|board| messages(board, bringing)).unwrap_or_default(),
        holds: bringing.holds.iter().map(|hold| capitalised(&format!("{}.", hold.words()))).collect(),
        going: bringing
            .changes
            .iter()
            .filter(|change| change.kind == ChangeKind::Gone)
            .map(|change| format!("{}: {}", change.what, change.name))
            .collect(),
        second: false,
        subject,
    }
}

fn messages(board: &Board, bringing: &Bringing) -> Vec<MessageChange> {
    let foreseen = &bringing.foreseen;
    let kinds = [
        (&foreseen.added, "is added to the plan", "are added to the plan"),
        (&foreseen.withdrawn, "is taken off the plan", "are taken off the plan"),
        (&foreseen.moved, "goes at another time", "go at another time"),
    ];
    let kind = |(list, one, many): (&Vec<Foretold>, &str, &str)| {
        let of = |channel, word: &str| {
            let count = list.iter().filter(|message| message.channel == channel).count();
            (count > 0).then(|| format!("{} {}", ENGLISH.number(count), plural(word, count)))
        };
        let counts = [of(Channel::Mail, "mail"), of(Channel::Text, "text")];
        let counts: Vec<String> = counts.into_iter().flatten().collect();
        let verb = if list.len() == 1 { one } else { many };
        MessageChange {
            heading: capitalised(&format!("{} {verb}", ENGLISH.list(&counts))),
            lines: list.iter().take(MESSAGES_TOLD).map(|message| told(board, message)).collect(),
            more: list.len().saturating_sub(MESSAGES_TOLD),
        }
    };
    kinds.into_iter().filter(|(list, _, _)| !list.is_empty()).map(kind).collect()
}

fn told(board: &Board, message: &Foretold) -> String {
    let at = shown::as_of(&board.season.zone, message.at);
    format!(
        "{} by {} to {}: {}, {}, {}",
        capitalised(&message.wording.replace('-', " ")),
        message.channel.word(),
        ENGLISH.list(&message.to),
        message.about.join("; "),
        at.english_day(),
        at.clock()
    )
}

/// A problem as the page shows it.
pub(super) fn problem(problem: &Problem) -> views::ProblemRow {
    let sheet = if problem.sheet.is_empty() { "The file" } else { &problem.sheet };
    views::ProblemRow {
        blocks: problem.weight == Weight::Error,
        weight: match problem.weight {
            Weight::Error => "must be fixed",
            Weight::Warning => "please check",
            Weight::Hint => "perhaps on purpose",
        },
        sheet: sheet.to_owned(),
        row: problem.row,
        reason: problem.reason.clone(),
        cure: problem.cure.clone(),
    }
}

fn open_question(book: &Book, question: &Question) -> OpenQuestion {
    let row = book.rows(&question.sheet).iter().find(|row| row.number == question.row);
    let name = row.map(|row| match row.text("name") {
        "" => format!("{} {}", row.text("given name"), row.text("family name")),
        name => name.to_owned(),
    });
    let mut choices: Vec<RefChoice> = question
        .candidates
        .iter()
        .map(|reference| RefChoice { value: reference.clone(), words: format!("It is {reference}.") })
        .collect();
    let fresh = if choices.is_empty() { "Give it one." } else { "It is a new line." };
    choices.push(RefChoice { value: NEW_LINE.to_owned(), words: fresh.to_owned() });
    OpenQuestion {
        key: question_key(question),
        words: format!(
            "{}, row {}, {}: {}",
            question.sheet,
            question.row,
            name.unwrap_or_default().trim(),
            question.reason
        ),
        choices,
    }
}
