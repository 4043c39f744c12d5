//! The addresses of the pages, and what every answer carries.
//!
//! GET and HEAD only show. Every act is a POST that may come twice; the page in answer says what was noted. Links
//! are checked against the store each time, so a dead one opens nothing. What is logged of a request is its method,
//! the pattern of its address, the status and the time it took: never a token, a name or a number.

use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use axum::extract::{DefaultBodyLimit, MatchedPath, Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, CONTENT_TYPE, HeaderName, REFERRER_POLICY,
    X_CONTENT_TYPE_OPTIONS, X_FRAME_OPTIONS,
};
use axum::http::{HeaderValue, StatusCode};
use axum::middleware::{Next, from_fn_with_state};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use axum::{Router, middleware};
use jiff::Timestamp;

use super::fields::FORM_MAX_OCTETS;
use super::hook::{self, HOOK_MAX_OCTETS, ReadHook};
use super::preview::Upload;
use super::respond::{Denied, asked_language, html, worded};
use super::views::DoorPage;
use super::workbook::UPLOAD_MAX_OCTETS;
use super::{
    assets, calendars, change, chaperone, chase, class_door, coordinator, forecast, guardian, messages, plan,
    sheets, show, stop, trial, workbook,
};
use crate::domain::book::{Book, Problem};
use crate::domain::wall;
use crate::service::calendars::{CalendarData, FoundFeed};
use crate::service::links::Found;
use crate::service::office::{Office, OfficeFault};
use crate::service::ports::{Gateway, LinkKind, Store, StoredLink};

/// Requests with links that open nothing, in one minute and process, after which the rest of them is told to wait. A
/// token has 128 bits, so this guards the log and the database, not the links.
pub const STRANGERS_PER_MINUTE: u32 = 300;
/// Characters of a token at most; longer ones are not looked up.
const TOKEN_MAX_CHARACTERS: usize = 64;
/// Whoever asks whether the program can do its work is answered within so long, seconds.
const READY_SECONDS: u64 = 4;
/// A request's body has to be there after so long, seconds; a workbook may come over a slow line.
const BODY_SECONDS: u64 = 30;
const UPLOAD_SECONDS: u64 = 180;
/// Seconds a browser may keep the style sheet and the icon.
const ASSET_SECONDS: u32 = 600;

/// Reads a workbook file; the problems are those of its sheets and columns.
pub type ReadWorkbook = fn(&[u8]) -> Result<(Book, Vec<Problem>), Problem>;

/// What the pages need from outside.
#[derive(Clone)]
pub struct WebWays {
    /// Reads a workbook file.
    pub read_workbook: ReadWorkbook,
    /// Writes a workbook as `.xlsx`; none if that fails.
    pub write_workbook: fn(&Book) -> Option<Vec<u8>>,
    /// Reads what gateways tell us.
    pub read_hook: ReadHook,
    /// Called after each act that may have changed what is to be sent.
    pub acted: Arc<dyn Fn() + Send + Sync>,
}

/// What every page has at hand.
pub(super) struct Front<S, G> {
    pub office: Arc<Office<S, G>>,
    pub ways: WebWays,
    /// Workbooks and actions looked at and not yet taken in.
    pub uploads: Mutex<Vec<Upload>>,
    strangers: Mutex<(Timestamp, u32)>,
}

/// All pages.
pub fn router<S: Store + 'static, G: Gateway + 'static>(office: Arc<Office<S, G>>, ways: WebWays) -> Router {
    let front = Arc::new(Front {
        office,
        ways,
        uploads: Mutex::new(Vec::new()),
        strangers: Mutex::new((Timestamp::UNIX_EPOCH, 0)),
    });
    Router::new()
        .route("/", get(door))
        .route(assets::STYLE_PATH, get(|| asset(assets::STYLE, assets::STYLE_TYPE)))
        .route(assets::PAPER_PATH, get(|| asset(assets::PAPER, assets::STYLE_TYPE)))
        .route(assets::ICON_PATH, get(|| asset(assets::ICON, assets::ICON_TYPE)))
        .route("/r/{token}", get(guardian::show::<S, G>).post(guardian::act::<S, G>))
        .route(
            "/r/{token}/calendar",
            get(calendars::show_family::<S, G>).post(calendars::make_family::<S, G>),
        )
        .route("/r/{token}/calendar.ics", get(calendars::family_file::<S, G>))
        .route("/stop/{token}", get(stop::show::<S, G>).post(stop::act::<S, G>))
        .route("/c/{token}", get(chaperone::show::<S, G>).post(chaperone::act::<S, G>))
        .route(
            "/c/{token}/calendar",
            get(calendars::show_chaperone::<S, G>).post(calendars::make_chaperone::<S, G>),
        )
        .route("/c/{token}/calendar.ics", get(calendars::chaperone_file::<S, G>))
        .route("/feed/{token}/calendar.ics", get(calendars::feed::<S, G>))
        .route("/enter/{token}", get(coordinator::enter::<S, G>))
        .route("/season", get(coordinator::show::<S, G>).post(coordinator::act::<S, G>))
        .route("/season/{event}", get(coordinator::event::<S, G>).post(coordinator::act_event::<S, G>))
        .route("/season/{event}/forecast", get(forecast::show::<S, G>))
        .route("/season/{event}/try", get(trial::show::<S, G>))
        .route("/season/{event}/show", get(show::show::<S, G>).post(show::act::<S, G>))
        .route("/season/{event}/show/change", get(show::show_change::<S, G>).post(show::act_change::<S, G>))
        .route("/season/{event}/sheets/{name}", get(sheets::show::<S, G>))
        .route("/season/keys", get(coordinator::keys::<S, G>).post(coordinator::act_keys::<S, G>))
        .route("/season/plan", get(plan::show::<S, G>).post(plan::act::<S, G>))
        .route("/season/plan/{what}", get(plan::show_one::<S, G>).post(plan::act_one::<S, G>))
        .route("/season/chase", get(chase::show::<S, G>).post(chase::act::<S, G>))
        .route("/season/door", get(class_door::show::<S, G>).post(class_door::act::<S, G>))
        .route("/season/messages", get(messages::latest::<S, G>))
        .route("/season/family/{household}", get(messages::family::<S, G>).post(messages::act_family::<S, G>))
        .route("/season/changes", get(change::show_made::<S, G>).post(change::act_made::<S, G>))
        .route("/season/change/{sort}", get(change::show::<S, G>).post(change::act::<S, G>))
        .route("/season/workbook.xlsx", get(workbook::download::<S, G>))
        .route("/healthz", get(|| async { "alive\n" }))
        .route("/readyz", get(ready::<S, G>))
        .layer(DefaultBodyLimit::max(FORM_MAX_OCTETS))
        .merge(
            Router::new()
                .route(workbook::UPLOAD_PATH, get(workbook::show::<S, G>).post(workbook::act::<S, G>))
                .layer(DefaultBodyLimit::max(UPLOAD_MAX_OCTETS)),
        )
        .merge(
            Router::new()
                .route("/hook/{name}", get(hook::take::<S, G>).post(hook::take::<S, G>))
                .layer(DefaultBodyLimit::max(HOOK_MAX_OCTETS)),
        )
        .fallback(|| async { Denied::NotFound })
        .method_not_allowed_fallback(|| async { Denied::NotAllowed })
        .layer(middleware::from_fn(around))
        .layer(from_fn_with_state(front.clone(), logged::<S, G>))
        .with_state(front)
}

async fn door() -> Response {
    html(&DoorPage::front())
}

async fn asset(text: &'static str, kind: &'static str) -> Response {
    let kept = HeaderValue::from_str(&format!("public, max-age={ASSET_SECONDS}"));
    let kept = kept.unwrap_or(HeaderValue::from_static("no-store"));
    ([(CONTENT_TYPE, HeaderValue::from_static(kind)), (CACHE_CONTROL, kept)], text).into_response()
}

/// Whether the program can do its work: its store answers, and its zone data are new enough.
async fn ready<S: Store + 'static, G: Gateway + 'static>(State(front): State<Arc<Front<S, G>>>) -> Response {
    let mut faults = Vec::new();
    // A monitor is answered soon, whatever the store is waiting for.
    let looked = tokio::time::timeout(Duration::from_secs(READY_SECONDS), async {
        match front.office.desk().await {
            Ok(_) | Err(OfficeFault::NoSeason) => {}
            Err(fault) => {
                tracing::error!(%fault, "not ready");
                faults.push("the store does not answer, or its workbook cannot be read".to_owned());
            }
        }
        if let Err(fault) = front.office.store.probe().await {
            tracing::error!(%fault, "not ready");
            faults.push("the store takes no write".to_owned());
        }
    });
    if looked.await.is_err() {
        faults.push(format!("the store does not answer within {READY_SECONDS} seconds"));
    }
    for task in front.office.failing() {
        faults.push(format!("the last round failed: {task}"));
    }
    for canary in wall::canaries(jiff::tz::db()) {
        faults.push(format!("the time zone data are too old for {}", canary.zone));
    }
    if faults.is_empty() {
        return "ready\n".into_response();
    }
    (StatusCode::SERVICE_UNAVAILABLE, faults.join("\n") + "\n").into_response()
}

/// The request with its body read, which has to come within a time and a size; nothing is begun before.
async fn whole(request: Request) -> Result<Request, Denied> {
    let (parts, body) = request.into_parts();
    let (seconds, most) = match parts.uri.path() {
        workbook::UPLOAD_PATH => (UPLOAD_SECONDS, UPLOAD_MAX_OCTETS),
        path if path.starts_with("/hook/") => (BODY_SECONDS, HOOK_MAX_OCTETS),
        _ => (BODY_SECONDS, FORM_MAX_OCTETS),
    };
    let read = tokio::time::timeout(Duration::from_secs(seconds), axum::body::to_bytes(body, most + 1)).await;
    match read {
        Ok(Ok(octets)) => Ok(Request::from_parts(parts, octets.into())),
        Ok(Err(_)) => Err(Denied::TooLarge),
        Err(_) => Err(Denied::BadForm),
    }
}

/// What every answer carries, and that no fault of ours ends a connection without one.
async fn around(request: Request, next: Next) -> Response {
    let labels = asked_language(request.headers());
    let response = match whole(request).await {
        // A task of its own: whoever hangs up leaves no write half done.
        Ok(request) => tokio::spawn(next.run(request)).await.unwrap_or_else(|_| Denied::Busy.into_response()),
        Err(denied) => denied.into_response(),
    };
    let mut response = worded(response, labels);
    let fixed: [(HeaderName, &'static str); 5] = [
        (CONTENT_SECURITY_POLICY, assets::CONTENT_POLICY),
        // Not `no-referrer`: under that, browsers send `Origin: null` with our own forms (Fetch Standard).
        (REFERRER_POLICY, "same-origin"),
        (X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (X_FRAME_OPTIONS, "DENY"),
        (HeaderName::from_static("x-robots-tag"), "noindex, nofollow"),
    ];
    for (name, value) in fixed {
        response.headers_mut().insert(name, HeaderValue::from_static(value));
    }
    response.headers_mut().entry(CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}

async fn logged<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    request: Request,
    next: Next,
) -> Response {
    let method = request.method().clone();
    let route = request.extensions().get::<MatchedPath>().map_or("-", MatchedPath::as_str).to_owned();
    let from = Instant::now();
    let response = next.run(request).await;
    let ms = u64::try_from(from.elapsed().as_millis()).unwrap_or(u64::MAX);
    tracing::info!(%method, route, status = response.status().as_u16(), ms, "request");
    if method == axum::http::Method::POST && response.status().is_success() {
        (front.ways.acted)();
    }
    response
}

impl<S: Store + 'static, G: Gateway + 'static> Front<S, G> {
    /// The link of a kind behind a token.
    pub async fn link(&self, token: &str, kind: LinkKind) -> Result<StoredLink, Denied> {
        self.link_of(token, &[kind]).await
    }

    /// The link of one of some kinds behind a token.
    pub async fn link_of(&self, token: &str, kinds: &[LinkKind]) -> Result<StoredLink, Denied> {
        let found = if shaped(token) { self.office.find_link(token).await? } else { Found::Nothing };
        let is_one = |link: &StoredLink| kinds.iter().any(|kind| kind.word() == link.kind);
        match found {
            Found::Open(link) if is_one(&link) => Ok(link),
            Found::Dead(link) if is_one(&link) => Err(self.gone().await),
            Found::Open(_) | Found::Dead(_) | Found::Nothing => Err(self.stranger()),
        }
    }

    /// The calendar behind a private address.
    pub async fn feed(&self, token: &str) -> Result<CalendarData, Denied> {
        let found =
            if shaped(token) { self.office.calendar_by_feed(token).await? } else { FoundFeed::Nothing };
        match found {
            FoundFeed::Open(data) => Ok(data),
            FoundFeed::Dead => Err(self.gone().await),
            FoundFeed::Nothing => Err(self.stranger()),
        }
    }

    /// A link that has died, with the school's number.
    pub async fn gone(&self) -> Denied {
        let desk = self.office.desk().await;
        Denied::Gone(desk.ok().and_then(|desk| super::shown::school_telephone(&desk.board.season)))
    }

    fn stranger(&self) -> Denied {
        let now = self.office.now();
        let Ok(mut counted) = self.strangers.lock() else { return Denied::NotFound };
        if now.duration_since(counted.0).as_secs().abs() >= 60 {
            *counted = (now, 0);
        }
        counted.1 = counted.1.saturating_add(1);
        if counted.1 > STRANGERS_PER_MINUTE { Denied::TooMany } else { Denied::NotFound }
    }
}

/// Whether a token has the shape of one, so that it is worth a look.
fn shaped(token: &str) -> bool {
    token.len() <= TOKEN_MAX_CHARACTERS
        && !token.is_empty()
        && token.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_')
}
