//! `/season/workbook`: the coordinator hands in a workbook, sees what it would change, and takes it in.

use std::sync::Arc;

use axum::RequestExt as _;
use axum::extract::{FromRequest as _, Multipart, Request, State};
use axum::http::HeaderMap;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE, HeaderValue};
use axum::response::{IntoResponse, Response};

use super::fields::{Fields, is_multipart, unread};
use super::preview::{self, Source, Step};
use super::respond::{Denied, html};
use super::routes::Front;
use super::shown;
use super::views::{BringPage, Preview, Subject};
use crate::domain::book::Problem;
use crate::service::bringing::Replies;
use crate::service::ports::{Gateway, Store};

/// Mebibytes of a workbook at most.
pub const UPLOAD_MAX_MEBIBYTES: u32 = 16;
/// Where workbooks are uploaded.
pub const UPLOAD_PATH: &str = "/season/workbook";
/// Octets of a form with a workbook at most: the file, and 64 KiB for the form around it.
pub const UPLOAD_MAX_OCTETS: usize = UPLOAD_MAX_MEBIBYTES as usize * 1024 * 1024 + 64 * 1024;
/// Characters of a file's name shown.
const FILE_NAME_MAX_CHARACTERS: usize = 100;
/// Media type of `.xlsx` (IANA registration of Office Open XML).
const XLSX_TYPE: &str = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";

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
        "confirm" | "second" => confirmed(&front, &fields).await,
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
    let (book, found) = match read {
        Ok(read) => read,
        Err(fault) => return page(front, Some(unreadable(file_name, &fault)), None).await,
    };
    let book = Box::new(book);
    let looked = front.look(Source::File { name: file_name, book, found, replies: Replies::new() }).await?;
    match looked {
        Ok(preview) => page(front, Some(preview), None).await,
        Err(words) => page(front, None, Some(words)).await,
    }
}

/// A file that is no workbook.
fn unreadable(file_name: String, fault: &Problem) -> Preview {
    Preview {
        subject: Subject::Workbook(file_name),
        upload: String::new(),
        summary: Vec::new(),
        problems: vec![preview::problem(fault)],
        questions: Vec::new(),
        changes: Vec::new(),
        falls: Vec::new(),
        people: Vec::new(),
        papers: Vec::new(),
        messages: Vec::new(),
        holds: Vec::new(),
        going: Vec::new(),
        second: false,
    }
}

async fn confirmed<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    fields: &Fields,
) -> Result<Response, Denied> {
    match front.decided(fields).await? {
        Step::Show(preview, notice) => page(front, Some(*preview), notice).await,
        Step::Done(brought, _) => {
            let words = match brought.changed {
                0 => "0 changed: this workbook is the one in use. Nothing was saved.".to_owned(),
                n => format!("The workbook is saved: {n} changed."),
            };
            page(front, None, Some(words)).await
        }
        Step::Fault(words) => page(front, None, Some(words)).await,
        Step::Lost => {
            let words = "That upload is no longer kept. Nothing was saved; please upload the file again.";
            page(front, None, Some(words.to_owned())).await
        }
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
