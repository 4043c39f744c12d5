//! `/season/change/…` and `/season/changes`: one action at a time, looked at first, and the latest taken back.

mod forms;
mod read;

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::Response;

use super::fields::Fields;
use super::guardian::{Asked, asked};
use super::labels::capitalised;
use super::preview::{Source, Step};
use super::respond::{Denied, html};
use super::routes::Front;
use super::shown;
use super::views::{ChangesPage, LookPage, MadeChange, Preview};
use crate::domain::edit::Edit;
use crate::service::bringing::Brought;
use crate::service::office::OfficeFault;
use crate::service::ports::{Gateway, Store};
use forms::Subject;

/// The words where a form's look is no longer kept.
const LOST: &str = "That page was open too long. Nothing was changed; please start again.";

pub(super) async fn show<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(sort): Path<String>,
    query: Asked,
    headers: HeaderMap,
) -> Result<Response, Denied> {
    front.coordinator(&headers).await?;
    form(&front, &subject(&sort, &query)?, None).await
}

pub(super) async fn act<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(sort): Path<String>,
    query: Asked,
    headers: HeaderMap,
    fields: Fields,
) -> Result<Response, Denied> {
    front.coordinator_acts(&headers).await?;
    let subject = subject(&sort, &query)?;
    if let "confirm" | "second" = fields.first("act") {
        let step = front.decided(&fields).await?;
        return decided(&front, step, &subject.on()).await;
    }
    let board = front.office.desk().await?.board.clone();
    let edit = match read::edit(&board.season, front.office.now(), &subject, &fields) {
        Ok(edit) => edit,
        Err(Some(words)) => return form(&front, &subject, Some(words)).await,
        Err(None) => return Err(Denied::BadForm),
    };
    match front.look(Source::Edit(edit)).await? {
        Ok(preview) => page(&front, Some(preview), None, None, subject.on()).await,
        Err(words) => form(&front, &subject, Some(words)).await,
    }
}

/// What the page is about.
fn subject(sort: &str, query: &Asked) -> Result<Subject, Denied> {
    Ok(match sort {
        "event" => Subject::Event(asked(query, "event").to_owned()),
        "child" => Subject::Child(asked(query, "child").to_owned()),
        "person" => Subject::Person(asked(query, "person").to_owned()),
        "joins" => Subject::Joins,
        _ => return Err(Denied::NotFound),
    })
}

async fn form<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    subject: &Subject,
    notice: Option<String>,
) -> Result<Response, Denied> {
    let board = front.office.desk().await?.board.clone();
    let stored = front.office.store.season().await.map_err(OfficeFault::from)?.ok_or(Denied::NotFound)?;
    let mut page = forms::page(&board, &stored.book, front.office.now(), subject).ok_or(Denied::NotFound)?;
    page.notice = notice;
    Ok(html(&page))
}

/// What comes of a confirmation.
async fn decided<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    step: Step,
    on: &[(String, String)],
) -> Result<Response, Denied> {
    match step {
        Step::Show(preview, notice) => page(front, Some(*preview), notice, None, on.to_vec()).await,
        Step::Done(brought, source) => {
            let address = match &source {
                Source::Edit(Edit::Replace { by, .. }) => list_of(front, by).await?,
                _ => None,
            };
            page(front, None, Some(done(&brought)), address, on.to_vec()).await
        }
        Step::Fault(words) => page(front, None, Some(words), None, on.to_vec()).await,
        Step::Lost => page(front, None, Some(LOST.to_owned()), None, on.to_vec()).await,
    }
}

/// What was done, in a sentence.
fn done(brought: &Brought) -> String {
    if brought.changed == 0 {
        return "That changes nothing. Nothing was saved.".to_owned();
    }
    let planned = brought.planned;
    let part = |count: usize, words: &str| (count > 0).then(|| format!("{count} {words}"));
    let parts: Vec<String> = [
        part(planned.added, "planned"),
        part(planned.withdrawn, "withdrawn"),
        part(planned.moved, "moved to another time"),
    ]
    .into_iter()
    .flatten()
    .collect();
    match parts.is_empty() {
        true => "Done. No message changes.".to_owned(),
        false => format!("Done. Messages: {}.", parts.join(", ")),
    }
}

/// The new chaperone's list, to be handed to her in case no message reaches her.
async fn list_of<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    by: &crate::domain::edit::Substitute,
) -> Result<Option<(String, String)>, Denied> {
    let board = front.office.desk().await?.board.clone();
    let name = by.name(&board.season);
    let found = board.season.chaperones.iter().find(|one| one.name == name);
    let Some(reference) = found.map(|one| one.reference.clone()) else { return Ok(None) };
    let token = front.office.chaperone_link(&reference).await?;
    Ok(token.map(|token| {
        let address = format!("{}/c/{token}", front.office.ways.base_url);
        (format!("The list of {name}, for them alone:"), address)
    }))
}

async fn page<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    preview: Option<Preview>,
    notice: Option<String>,
    address: Option<(String, String)>,
    on: Vec<(String, String)>,
) -> Result<Response, Denied> {
    let board = front.office.desk().await?.board.clone();
    let season = &board.season;
    Ok(html(&LookPage {
        school: season.school.clone(),
        season: season.name.clone(),
        as_of: shown::as_of(&season.zone, front.office.now()),
        preview,
        notice,
        address,
        on,
    }))
}

pub(super) async fn show_made<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    headers: HeaderMap,
) -> Result<Response, Denied> {
    front.coordinator(&headers).await?;
    made(&front, None).await
}

pub(super) async fn act_made<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    headers: HeaderMap,
    fields: Fields,
) -> Result<Response, Denied> {
    front.coordinator_acts(&headers).await?;
    let on = vec![("/season/changes".to_owned(), "Changes".to_owned())];
    match fields.first("act") {
        "confirm" | "second" => {
            let step = front.decided(&fields).await?;
            decided(&front, step, &on).await
        }
        "take_back" => {
            let revision = fields.first("revision").parse().map_err(|_| Denied::BadForm)?;
            match front.look(Source::Undo(revision)).await? {
                Ok(preview) => page(&front, Some(preview), None, None, on).await,
                Err(words) => made(&front, Some(words)).await,
            }
        }
        _ => Err(Denied::BadForm),
    }
}

async fn made<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    notice: Option<String>,
) -> Result<Response, Denied> {
    let changes = front.office.changes().await?;
    let board = front.office.desk().await?.board.clone();
    let season = &board.season;
    let latest = changes.first().map(|change| change.revision);
    let line = |change: &crate::service::ports::StoredChange| MadeChange {
        at: shown::as_of(&season.zone, change.at),
        what: if change.what.is_empty() {
            "The season was changed".to_owned()
        } else {
            capitalised(&change.what)
        },
        back: (change.known && latest == Some(change.revision)).then_some(change.revision),
    };
    Ok(html(&ChangesPage {
        school: season.school.clone(),
        season: season.name.clone(),
        as_of: shown::as_of(&season.zone, front.office.now()),
        notice,
        changes: changes.iter().map(line).collect(),
    }))
}
