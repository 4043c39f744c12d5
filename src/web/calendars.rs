//! `/r/TOKEN/calendar`, `/c/TOKEN/calendar` and `/feed/TOKEN/calendar.ics`: calendars as a file and by a private address.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::header::{CACHE_CONTROL, CONTENT_DISPOSITION, CONTENT_TYPE, ETAG, IF_NONE_MATCH};
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use axum::response::{IntoResponse, Response};
use jiff::Timestamp;
use jiff::civil::Time;

use super::fields::{Fields, is_foreign};
use super::guardian::{Asked, asked};
use super::labels::{ENGLISH, LANGUAGES, Labels, fill};
use super::respond::{Denied, asked_language, html};
use super::routes::Front;
use super::shown;
use super::views::{CalendarPage, Made, OtherLanguage};
use crate::domain::board::Item;
use crate::domain::season::{ChaperoneId, Person, Season};
use crate::domain::{hash, ics};
use crate::service::calendars::{CalendarData, CalendarDay, PRODUCT, REFRESH_MINUTES, Whose};
use crate::service::ports::{Gateway, LinkKind, Store};

/// Characters of an ETag: half a SHA-256.
const TAG_CHARACTERS: usize = 32;
/// A calendar program may keep what it read but must ask whether it is still so.
const KEPT: HeaderValue = HeaderValue::from_static("private, no-cache");

pub(super) async fn show_family<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(token): Path<String>,
    query: Asked,
    headers: HeaderMap,
) -> Result<Response, Denied> {
    front.link(&token, LinkKind::Guardian).await?;
    let Some(data) = front.office.calendar_by_link(&token).await? else { return Err(front.gone().await) };
    let labels = words(&data, asked(&query, "lang"), asked_language(&headers));
    Ok(page(&data, labels, format!("/r/{token}"), None))
}

pub(super) async fn make_family<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(token): Path<String>,
    query: Asked,
    headers: HeaderMap,
    fields: Fields,
) -> Result<Response, Denied> {
    may_make(&headers, &fields, &front.office.ways.base_url)?;
    front.link(&token, LinkKind::Guardian).await?;
    let Some(feed) = front.office.new_feed_by_link(&token).await? else { return Err(front.gone().await) };
    let Some(data) = front.office.calendar_by_link(&token).await? else { return Err(front.gone().await) };
    let labels = words(&data, asked(&query, "lang"), asked_language(&headers));
    Ok(page(&data, labels, format!("/r/{token}"), Some(made(&front.office.ways.base_url, &feed))))
}

pub(super) async fn family_file<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(token): Path<String>,
    headers: HeaderMap,
) -> Result<Response, Denied> {
    front.link(&token, LinkKind::Guardian).await?;
    let Some(data) = front.office.calendar_by_link(&token).await? else { return Err(front.gone().await) };
    Ok(attached(file(&data, &headers)))
}

pub(super) async fn show_chaperone<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(token): Path<String>,
) -> Result<Response, Denied> {
    let data = of_chaperone(&front, &token).await?;
    Ok(page(&data, &ENGLISH, format!("/c/{token}"), None))
}

pub(super) async fn make_chaperone<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(token): Path<String>,
    headers: HeaderMap,
    fields: Fields,
) -> Result<Response, Denied> {
    may_make(&headers, &fields, &front.office.ways.base_url)?;
    let link = front.link(&token, LinkKind::Chaperone).await?;
    let made_token = front.office.new_chaperone_feed(&link.chaperone).await?;
    let Some(feed) = made_token else { return Err(front.gone().await) };
    let data = of_chaperone(&front, &token).await?;
    Ok(page(&data, &ENGLISH, format!("/c/{token}"), Some(made(&front.office.ways.base_url, &feed))))
}

pub(super) async fn chaperone_file<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(token): Path<String>,
    headers: HeaderMap,
) -> Result<Response, Denied> {
    let data = of_chaperone(&front, &token).await?;
    Ok(attached(file(&data, &headers)))
}

pub(super) async fn feed<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(token): Path<String>,
    headers: HeaderMap,
) -> Result<Response, Denied> {
    Ok(file(&front.feed(&token).await?, &headers))
}

async fn of_chaperone<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    token: &str,
) -> Result<CalendarData, Denied> {
    let link = front.link(token, LinkKind::Chaperone).await?;
    match front.office.chaperone_calendar(&link.chaperone).await? {
        Some(data) => Ok(data),
        None => Err(front.gone().await),
    }
}

fn may_make(headers: &HeaderMap, fields: &Fields, base_url: &str) -> Result<(), Denied> {
    if is_foreign(headers, base_url) {
        return Err(Denied::Foreign);
    }
    if fields.first("act") == "make" { Ok(()) } else { Err(Denied::BadForm) }
}

fn made(base_url: &str, token: &str) -> Made {
    let address = format!("{base_url}/feed/{token}/calendar.ics");
    let place = address.split_once("://").map_or(address.as_str(), |(_, place)| place);
    Made { open: format!("webcal://{place}"), address }
}

fn page(data: &CalendarData, labels: &'static Labels, back: String, made: Option<Made>) -> Response {
    let season = &data.board.season;
    let others = LANGUAGES.iter().filter(|other| other.lang != labels.lang).map(|other| OtherLanguage {
        href: format!("?lang={}", other.lang),
        lang: other.lang.to_owned(),
        name: other.name.to_owned(),
    });
    let translated = matches!(data.whose, Whose::Family { .. });
    html(&CalendarPage {
        labels,
        school: season.school.clone(),
        season: season.name.clone(),
        // A made address is shown once: the same page in another language would not show it again.
        others: others.filter(|_| translated && made.is_none()).collect(),
        back,
        made,
    })
}

/// The words of whoever the calendar is for.
fn words(data: &CalendarData, asked: &str, browser: &'static Labels) -> &'static Labels {
    let season = &data.board.season;
    let own = match &data.whose {
        Whose::Family { guardians, .. } => {
            guardians.first().map(|g| &season.guardians[g.at()].contact.language)
        }
        Whose::Chaperone(chaperone) => Some(&season.chaperones[chaperone.at()].contact.language),
    };
    shown::labels(asked, own.unwrap_or(&season.language), &season.language, browser)
}

fn attached(mut response: Response) -> Response {
    let value = HeaderValue::from_static("attachment; filename=\"calendar.ics\"");
    response.headers_mut().insert(CONTENT_DISPOSITION, value);
    response
}

/// The calendar as an answer; without a body where the reader has it already (RFC 9110 section 13.1.2).
fn file(data: &CalendarData, headers: &HeaderMap) -> Response {
    let labels = words(data, "", &ENGLISH);
    let season = &data.board.season;
    let entries: Vec<ics::Entry> = data
        .days
        .iter()
        .map(|day| ics::Entry { description: description(data, labels, day), ..day.entry.clone() })
        .collect();
    let name = format!("{} · {}", season.school, season.name);
    let text = ics::feed(PRODUCT, &name, REFRESH_MINUTES, &entries);
    let digest = hash::hex(&hash::sha256(text.as_bytes()));
    let tag = format!("\"{}\"", &digest[..TAG_CHARACTERS]);
    let known = headers.get_all(IF_NONE_MATCH).iter().filter_map(|value| value.to_str().ok()).any(|value| {
        value.split(',').map(|one| one.trim().trim_start_matches("W/")).any(|one| one == "*" || one == tag)
    });
    let tag = HeaderValue::from_str(&tag).unwrap_or(HeaderValue::from_static("\"\""));
    let kept = [(CACHE_CONTROL, KEPT), (ETAG, tag)];
    if known {
        return (StatusCode::NOT_MODIFIED, kept).into_response();
    }
    let kind = HeaderValue::from_static("text/calendar; charset=utf-8");
    (kept, [(CONTENT_TYPE, kind)], text).into_response()
}

/// What an entry says: the hours as the season's clocks show them, and what else her page does.
fn description(data: &CalendarData, labels: &Labels, day: &CalendarDay) -> String {
    if day.entry.cancelled {
        return labels.called_off.to_owned();
    }
    let mut lines = match &data.whose {
        Whose::Family { .. } => family_lines(data, labels, day),
        Whose::Chaperone(chaperone) => chaperone_lines(data, labels, *chaperone, day),
    };
    lines.push(labels.calendar.late.to_owned());
    lines.join("\n")
}

fn family_lines(data: &CalendarData, labels: &Labels, day: &CalendarDay) -> Vec<String> {
    let season = &data.board.season;
    let event = &season.events[day.event.at()];
    let place = &season.places[event.place.at()];
    let Some(it) = day.item.and_then(|item| data.board.itinerary(item)) else { return Vec::new() };
    let mut lines = Vec::new();
    let mut time =
        |label: &str, at: Time| lines.push(format!("{label}: {}", shown::time(season, labels, &at)));
    if let Some(at) = it.park_by {
        time(labels.park_by, at.time());
    }
    time(labels.call, it.call.time());
    time(labels.starts, event.starts);
    if let Some(from) = it.collect_from {
        let where_to = if place.collect_at.is_empty() { &place.door } else { &place.collect_at };
        let where_to = shown::said(season, where_to, labels);
        lines.push(format!(
            "{}: {}, {where_to}",
            labels.collect,
            shown::time(season, labels, &from.at().time())
        ));
    }
    let words = [
        (labels.arrive, &event.arrive_ready),
        (labels.bring, &event.bring),
        (labels.leave_home, &event.leave_home),
    ];
    let said = words.iter().filter(|(_, text)| !text.is_empty());
    lines.extend(said.map(|(label, text)| format!("{label}: {}", shown::said(season, text, labels))));
    if let Some(chaperone) = it.signs_in {
        lines.push(fill(labels.signs_in, &[&season.chaperones[chaperone.at()].name]));
    }
    if let Some(chaperone) = it.signs_out {
        lines.push(fill(labels.signs_out, &[&season.chaperones[chaperone.at()].name]));
    }
    lines
}

fn chaperone_lines(
    data: &CalendarData,
    labels: &Labels,
    chaperone: ChaperoneId,
    day: &CalendarDay,
) -> Vec<String> {
    let season = &data.board.season;
    let event = &season.events[day.event.at()];
    let place = &season.places[event.place.at()];
    let duties: Vec<_> =
        season.duties.iter().filter(|d| d.chaperone == chaperone && d.event == day.event).collect();
    let mut with: Vec<String> = Vec::new();
    for duty in &duties {
        let named = duty.number.map_or(&duty.task, |number| &season.numbers[number.at()].name);
        if !named.is_empty() && !with.contains(named) {
            with.push(named.clone());
        }
    }
    let due = local(season, day.entry.start);
    let mut lines = vec![format!(
        "{}: {}. {}, {}",
        labels.calendar.due,
        shown::time(season, labels, &due),
        place.name,
        shown::said(season, &place.door, labels)
    )];
    let mut time =
        |label: &str, at: Time| lines.push(format!("{label}: {}", shown::time(season, labels, &at)));
    let item = Item { who: Person::Chaperone(chaperone), event: Some(day.event) };
    let shift = data.board.itinerary(item).and_then(|it| it.shift.as_ref());
    if let Some(at) = shift.and_then(|shift| shift.briefing) {
        time(labels.duty.briefing, at.time());
    }
    if let Some(at) = shift.and_then(|shift| shift.station) {
        time(labels.duty.station, at.time());
    }
    time(labels.calendar.children_called, event.call);
    time(labels.starts, event.starts);
    if let Some(at) = shift.and_then(|shift| shift.until) {
        time(labels.duty.until, at.time());
    }
    if !with.is_empty() {
        lines.push(format!("{}: {}", labels.calendar.with, labels.list(&with)));
    }
    if duties.iter().any(|duty| duty.signs_in) {
        lines.push(labels.calendar.you_sign_in.to_owned());
    }
    if duties.iter().any(|duty| duty.signs_out) {
        lines.push(labels.calendar.you_sign_out.to_owned());
    }
    lines
}

fn local(season: &Season, at: Timestamp) -> Time {
    shown::as_of(&season.zone, at).time
}
