//! `/hook/NAME`: what gateways tell us by a request of their own.
//!
//! Answered with 200 only when everything it tells has been committed; with 503 when the store is away, so that the
//! gateway tries again. The same request twice has no further effect.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::body::Bytes;
use axum::extract::{Path, RawQuery, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use jiff::Timestamp;

use super::routes::Front;
use crate::service::hearing::CarrierNews;
use crate::service::office::OfficeFault;
use crate::service::ports::{Gateway, Store};

/// Octets of a request at most: 256 KiB.
pub const HOOK_MAX_OCTETS: usize = 256 * 1024;

/// A request as it came.
pub struct HookRequest<'a> {
    /// Name of the hook.
    pub name: &'a str,
    /// Header fields, names in lower case.
    pub headers: BTreeMap<String, String>,
    /// What stands after the question mark.
    pub query: &'a str,
    /// The body.
    pub body: &'a [u8],
    /// When it came.
    pub now: Timestamp,
}

/// What a request was found to be.
pub enum HookRead {
    /// There is no such hook.
    NoSuch,
    /// It does not prove itself.
    Unproven,
    /// It cannot be read, in words for the gateway's maker.
    Unreadable(String),
    /// What it tells, and what to answer.
    Told(Vec<CarrierNews>, String),
}

/// Reads requests to hooks.
pub type ReadHook = Arc<dyn Fn(&HookRequest<'_>) -> HookRead + Send + Sync>;

pub(super) async fn take<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(name): Path<String>,
    RawQuery(query): RawQuery,
    headers: HeaderMap,
    body: Bytes,
) -> Response {
    let headers = headers
        .iter()
        .filter_map(|(name, value)| Some((name.as_str().to_owned(), value.to_str().ok()?.to_owned())))
        .collect();
    let query = query.unwrap_or_default();
    let request = HookRequest { name: &name, headers, query: &query, body: &body, now: front.office.now() };
    let (told, answer) = match (front.ways.read_hook)(&request) {
        HookRead::NoSuch => return (StatusCode::NOT_FOUND, "no such hook\n").into_response(),
        HookRead::Unproven => {
            tracing::warn!(hook = name, "a request did not prove itself");
            return (StatusCode::UNAUTHORIZED, "not proven\n").into_response();
        }
        HookRead::Unreadable(why) => {
            tracing::warn!(hook = name, why, "a request cannot be read");
            return (StatusCode::BAD_REQUEST, why + "\n").into_response();
        }
        HookRead::Told(told, answer) => (told, answer),
    };
    for one in told {
        let done = match one {
            CarrierNews::Answer(incoming) => front.office.hear(&incoming).await.map(drop),
            CarrierNews::Receipt(receipt) => front.office.told_by_gateway(&receipt).await.map(drop),
            CarrierNews::Nothing => Ok(()),
        };
        match done {
            Ok(()) => {}
            Err(fault) => {
                tracing::error!(%fault, hook = name, "what a gateway told could not be taken in");
                let why = match fault {
                    OfficeFault::NoSeason => "no season yet\n",
                    OfficeFault::Store(_) | OfficeFault::Workbook(_) => "not now\n",
                };
                return (StatusCode::SERVICE_UNAVAILABLE, why).into_response();
            }
        }
    }
    answer.into_response()
}
