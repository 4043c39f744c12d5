//! From a page, or the reason why there is none, to an answer of the server.

use askama::Template;
use axum::http::header::{ACCEPT_LANGUAGE, CONTENT_TYPE, RETRY_AFTER};
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use axum::response::{IntoResponse, Response};

use super::labels::{ENGLISH, Labels, labels_for};
use super::views::{DoorPage, Telephone};
use crate::service::office::OfficeFault;

/// Seconds after which a client may try again when the program could not answer.
const RETRY_SECONDS: u32 = 60;
/// Languages of `Accept-Language` looked at, at most.
const LANGUAGES_MAX: usize = 20;

/// Why a page is not shown.
#[derive(Debug, Clone)]
pub(super) enum Denied {
    /// The form could not be read.
    BadForm,
    /// The form came from another site.
    Foreign,
    /// The page needs the coordinator's link.
    NoEntry,
    /// Nothing at this address.
    NotFound,
    /// This address takes no such request.
    NotAllowed,
    /// The link has died.
    Gone(Option<Telephone>),
    /// The form or file is too large.
    TooLarge,
    /// Too many wrong links in a short time.
    TooMany,
    /// The program cannot answer now.
    Busy,
}

impl Denied {
    /// The page that says so.
    pub fn page(&self, labels: &'static Labels) -> DoorPage {
        match self {
            Denied::BadForm => DoorPage::bad_form(labels),
            Denied::Foreign => DoorPage::foreign(),
            Denied::NoEntry => DoorPage::no_entry(),
            Denied::NotFound => DoorPage::not_found(labels),
            Denied::NotAllowed => DoorPage { status: 405, ..DoorPage::not_found(labels) },
            Denied::Gone(telephone) => DoorPage::gone(labels).with_telephone(telephone.clone()),
            Denied::TooLarge => DoorPage::too_large(labels),
            Denied::TooMany => DoorPage { status: 429, ..DoorPage::busy(labels) },
            Denied::Busy => DoorPage::busy(labels),
        }
    }
}

impl From<OfficeFault> for Denied {
    fn from(fault: OfficeFault) -> Denied {
        // A fault of the store names tables and rows, never people.
        tracing::error!(%fault, "a page could not be made");
        Denied::Busy
    }
}

impl IntoResponse for Denied {
    /// Without words yet: [`worded`] gives them in the reader's language.
    fn into_response(self) -> Response {
        let mut response =
            StatusCode::from_u16(self.page(&ENGLISH).status).unwrap_or(StatusCode::NOT_FOUND).into_response();
        response.extensions_mut().insert(self);
        response
    }
}

/// Puts a refusal into words.
pub(super) fn worded(response: Response, labels: &'static Labels) -> Response {
    let Some(denied) = response.extensions().get::<Denied>().cloned() else { return response };
    let page = denied.page(labels);
    let status = StatusCode::from_u16(page.status).unwrap_or(StatusCode::NOT_FOUND);
    let mut out = html(&page);
    *out.status_mut() = status;
    // What was said about the address, such as which methods it takes, stays said.
    for (name, value) in response.headers() {
        if name != CONTENT_TYPE && name != axum::http::header::CONTENT_LENGTH {
            out.headers_mut().insert(name.clone(), value.clone());
        }
    }
    if matches!(denied, Denied::Busy | Denied::TooMany) {
        out.headers_mut().insert(RETRY_AFTER, HeaderValue::from(RETRY_SECONDS));
    }
    out
}

/// A page as an answer.
pub(super) fn html(page: &impl Template) -> Response {
    match page.render() {
        Ok(text) => {
            let kind = HeaderValue::from_static("text/html; charset=utf-8");
            ([(CONTENT_TYPE, kind)], text).into_response()
        }
        Err(fault) => {
            tracing::error!(%fault, "a page could not be rendered");
            Denied::Busy.into_response()
        }
    }
}

/// The first language the reader's browser asks for that there is a table of; English if none.
pub(super) fn asked_language(headers: &HeaderMap) -> &'static Labels {
    let asked = headers.get(ACCEPT_LANGUAGE).and_then(|value| value.to_str().ok()).unwrap_or_default();
    asked
        .split(',')
        .take(LANGUAGES_MAX)
        .find_map(|part| labels_for(part.split(';').next().unwrap_or(part).trim()))
        .unwrap_or(&ENGLISH)
}
