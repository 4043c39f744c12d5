//! `/stop/TOKEN`: stops messages to the address a link was sent to, and starts them again.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::Response;

use super::fields::Fields;
use super::guardian::{Asked, asked};
use super::labels::Labels;
use super::respond::{Denied, asked_language, html};
use super::routes::Front;
use super::shown;
use super::views::{StopChannel as Road, StopPage};
use crate::domain::season::Channel;
use crate::service::ports::{Gateway, LinkKind, Store};

/// Mails of earlier versions hold one link for both.
const STOPS: [LinkKind; 2] = [LinkKind::Stop, LinkKind::Guardian];

pub(super) async fn show<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(token): Path<String>,
    query: Asked,
    headers: HeaderMap,
) -> Result<Response, Denied> {
    front.link_of(&token, &STOPS).await?;
    page(&front, &token, asked(&query, "lang"), asked_language(&headers)).await
}

/// A person's act, or the one click of her mail program (RFC 8058 3.1: `List-Unsubscribe=One-Click`, in either encoding of
/// a form, without cookies and without being sent elsewhere).
pub(super) async fn act<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(token): Path<String>,
    query: Asked,
    headers: HeaderMap,
    fields: Fields,
) -> Result<Response, Denied> {
    front.link_of(&token, &STOPS).await?;
    let stopped = match (fields.first("act"), fields.first("List-Unsubscribe")) {
        ("stop", _) | ("", "One-Click") => true,
        ("start", _) => false,
        _ => return Err(Denied::BadForm),
    };
    if !front.office.set_stopped_by_link(&token, stopped).await? {
        return Err(front.gone().await);
    }
    page(&front, &token, asked(&query, "lang"), asked_language(&headers)).await
}

async fn page<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    token: &str,
    language: &str,
    browser: &'static Labels,
) -> Result<Response, Denied> {
    let Some(data) = front.office.stop_data(token).await? else { return Err(front.gone().await) };
    let season = &data.board.season;
    let own = data.guardians.first().map(|g| &season.guardians[g.at()].contact.language);
    let mut givens: Vec<String> = Vec::new();
    for one in &data.sheets {
        let given = season.given_name(one.item.who).to_owned();
        if !givens.contains(&given) {
            givens.push(given);
        }
    }
    Ok(html(&StopPage {
        labels: shown::labels(language, own.unwrap_or(&season.language), &season.language, browser),
        school: season.school.clone(),
        channel: match data.channel {
            Channel::Mail => Road::Mail,
            Channel::Text => Road::Text,
        },
        address: shown::veiled(&data.address),
        givens,
        stopped: data.stopped,
        back: (data.opened_by == LinkKind::Guardian.word()).then(|| format!("/r/{token}")),
        telephone: shown::school_telephone(season),
    }))
}
