//! `/season/workbook`: the coordinator hands in a workbook, sees what it would change, and takes it in.

use std::sync::Arc;

use axum::RequestExt as _;
use axum::extract::{FromRequest as _, Multipart, Request, State};
use axum::http::HeaderMap;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE, HeaderValue};
use axum::response::{IntoResponse, Response};
use jiff::{SignedDuration, Timestamp};

use super::fields::{Fields, is_multipart, unread};
use super::respond::{Denied, html};
use super::routes::Front;
use super::shown;
use super::views::{self, BringPage, Choice, OpenQuestion, Preview};
use crate::domain::book::{Book, Problem, Weight};
use crate::domain::changes::ChangeKind;
use crate::domain::refs::Question;
use crate::service::bringing::{BringFault, Bringing, NEW_LINE, Replies, question_key};
use crate::service::ports::{Gateway, Store};

/// Mebibytes of a workbook at most.
pub const UPLOAD_MAX_MEBIBYTES: u32 = 16;
/// Octets of a form with a workbook at most: the file, and 64 KiB for the form around it.
pub const UPLOAD_MAX_OCTETS: usize = UPLOAD_MAX_MEBIBYTES as usize * 1024 * 1024 + 64 * 1024;
/// Uploads kept until somebody takes them in, at most; the oldest goes first.
pub const UPLOADS_KEPT: usize = 8;
/// How long an upload is kept.
pub const UPLOAD_KEPT_FOR: SignedDuration = SignedDuration::from_mins(30);
/// Characters of a file's name shown.
const FILE_NAME_MAX_CHARACTERS: usize = 100;
/// Media type of `.xlsx` (IANA registration of Office Open XML).
const XLSX_TYPE: &str = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";

/// A workbook handed in and not yet taken in.
#[derive(Debug, Clone)]
pub(super) struct Upload {
    id: String,
    at: Timestamp,
    file_name: String,
    /// As read, before any ref was filled in.
    book: Book,
    found: Vec<Problem>,
    replies: Replies,
    bringing: Bringing,
}

pub(super) async fn show<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    headers: HeaderMap,
) -> Result<Response, Denied> {
    front.coordinator(&headers).await?;
    page(&front, None, None).await
}

pub(super) async fn act<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    request: Request,
) -> Result<Response, Denied> {
    front.coordinator_acts(request.headers()).await?;
    if is_multipart(request.headers()) {
        return handed_in(&front, request).await;
    }
    let fields = Fields::from_request(request, &()).await?;
    match fields.first("act") {
        "confirm" => confirmed(&front, &fields).await,
        _ => Err(Denied::BadForm),
    }
}

/// The workbook in force, with every ref filled in.
pub(super) async fn download<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    headers: HeaderMap,
) -> Result<Response, Denied> {
    front.coordinator(&headers).await?;
    let stored = front.office.store.season().await.map_err(crate::service::office::OfficeFault::from)?;
    let Some(stored) = stored else { return Err(Denied::NotFound) };
    let write = front.ways.write_workbook;
    let octets = tokio::task::spawn_blocking(move || write(&stored.book)).await.ok().flatten();
    let octets = octets.ok_or(Denied::Busy)?;
    let headers = [
        (CONTENT_TYPE, HeaderValue::from_static(XLSX_TYPE)),
        (CONTENT_DISPOSITION, HeaderValue::from_static("attachment; filename=\"season.xlsx\"")),
    ];
    Ok((headers, octets).into_response())
}

async fn handed_in<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    request: Request,
) -> Result<Response, Denied> {
    let mut parts: Multipart = request.extract().await.map_err(|_| Denied::BadForm)?;
    let mut file = None;
    while let Some(part) = parts.next_field().await.map_err(|fault| unread(fault.status()))? {
        let (name, file_name) =
            (part.name().unwrap_or_default().to_owned(), part.file_name().map(str::to_owned));
        let octets = part.bytes().await.map_err(|fault| unread(fault.status()))?;
        if name == "file" && !octets.is_empty() {
            file = Some((file_name.unwrap_or_default(), octets));
        }
    }
    let Some((file_name, octets)) = file else { return Err(Denied::BadForm) };
    let file_name = file_name.chars().take(FILE_NAME_MAX_CHARACTERS).collect::<String>();
    let read = front.ways.read_workbook;
    let read = tokio::task::spawn_blocking(move || read(&octets)).await.map_err(|_| Denied::Busy)?;
    match read {
        Ok((book, found)) => look(front, file_name, book, found, Replies::new(), None).await,
        Err(problem) => {
            let preview = Preview {
                file_name,
                upload: String::new(),
                problems: vec![shown_problem(&problem)],
                questions: Vec::new(),
                changes: Vec::new(),
                falls: Vec::new(),
            };
            page(front, Some(preview), None).await
        }
    }
}

/// Keeps an upload and shows what it would change.
async fn look<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    file_name: String,
    book: Book,
    found: Vec<Problem>,
    replies: Replies,
    notice: Option<String>,
) -> Result<Response, Denied> {
    let bringing = front.office.preview_answered(book.clone(), found.clone(), &replies).await?;
    let id = front.office.token();
    let shown = preview(&file_name, &id, &book, &bringing);
    let upload = Upload { id, at: front.office.now(), file_name, book, found, replies, bringing };
    if let Ok(mut uploads) = front.uploads.lock() {
        forget_old(&mut uploads, upload.at);
        if uploads.len() >= UPLOADS_KEPT {
            uploads.remove(0);
        }
        uploads.push(upload);
    }
    page(front, Some(shown), notice).await
}

fn forget_old(uploads: &mut Vec<Upload>, now: Timestamp) {
    uploads.retain(|upload| now.duration_since(upload.at) < UPLOAD_KEPT_FOR);
}

async fn confirmed<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    fields: &Fields,
) -> Result<Response, Denied> {
    let upload = front.uploads.lock().ok().and_then(|mut uploads| {
        forget_old(&mut uploads, front.office.now());
        uploads.iter().find(|upload| upload.id == fields.first("upload")).cloned()
    });
    let Some(upload) = upload else {
        let words = "That upload is no longer kept. Nothing was taken; please bring the file again.";
        return page(front, None, Some(words.to_owned())).await;
    };
    if !upload.bringing.questions.is_empty() {
        let mut replies = upload.replies;
        replies.extend(fields.0.iter().filter_map(|(name, value)| {
            name.strip_prefix("answer.").map(|key| (key.to_owned(), value.trim().to_owned()))
        }));
        return look(front, upload.file_name, upload.book, upload.found, replies, None).await;
    }
    match front.office.bring(&upload.bringing).await {
        Ok(brought) => {
            let words = match brought.changed {
                0 => "0 changed: this is the workbook in force. Nothing was written.".to_owned(),
                n => format!("The workbook is in: {n} changed."),
            };
            let revision = brought.revision;
            tracing::info!(revision, changed = brought.changed, "workbook taken in");
            page(front, None, Some(words)).await
        }
        // Taken twice by a double tap, or overtaken: the fresh look says which.
        Err(BringFault::Moved) => {
            let words = "Another workbook was taken in since. This is what yours would change now.";
            look(front, upload.file_name, upload.book, upload.found, upload.replies, Some(words.to_owned()))
                .await
        }
        Err(BringFault::Errors(_) | BringFault::Questions(_)) => {
            look(front, upload.file_name, upload.book, upload.found, upload.replies, None).await
        }
        Err(BringFault::Office(fault)) => Err(fault.into()),
    }
}

async fn page<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    preview: Option<Preview>,
    notice: Option<String>,
) -> Result<Response, Denied> {
    let board = front.office.desk().await?.board.clone();
    let season = &board.season;
    Ok(html(&BringPage {
        school: season.school.clone(),
        season: season.name.clone(),
        as_of: shown::as_of(&season.zone, front.office.now()),
        preview,
        notice,
        limit_mebibytes: UPLOAD_MAX_MEBIBYTES,
    }))
}

fn preview(file_name: &str, id: &str, book: &Book, bringing: &Bringing) -> Preview {
    Preview {
        file_name: file_name.to_owned(),
        upload: id.to_owned(),
        problems: bringing.problems.iter().map(shown_problem).collect(),
        questions: bringing.questions.iter().map(|question| open_question(book, question)).collect(),
        changes: bringing
            .changes
            .iter()
            .map(|change| views::Change {
                kind: match change.kind {
                    ChangeKind::Added => views::ChangeKind::Added,
                    ChangeKind::Changed => views::ChangeKind::Changed,
                    ChangeKind::Gone => views::ChangeKind::Gone,
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
                views::Fall {
                    change: format!("{name}: {}", fall.what),
                    children: fall.children.clone(),
                    count: fall.count,
                }
            })
            .collect(),
    }
}

fn shown_problem(problem: &Problem) -> views::Problem {
    let sheet = if problem.sheet.is_empty() { "The file" } else { &problem.sheet };
    views::Problem {
        blocks: problem.weight == Weight::Error,
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
    let mut choices: Vec<Choice> = question
        .candidates
        .iter()
        .map(|reference| Choice { value: reference.clone(), words: format!("It is {reference}.") })
        .collect();
    let fresh = if choices.is_empty() { "Give it one." } else { "It is a new line." };
    choices.push(Choice { value: NEW_LINE.to_owned(), words: fresh.to_owned() });
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
