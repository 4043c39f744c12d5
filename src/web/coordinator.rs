//! `/enter/TOKEN`, `/season` and `/season/EVENT`: the coordinator's pages.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::header::{COOKIE, LOCATION, SET_COOKIE};
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use axum::response::{IntoResponse, Response};
use jiff::Timestamp;

use super::chart::Counts;
use super::fields::{Fields, is_foreign};
use super::labels::ENGLISH;
use super::needs::{message_counts, needs, sending};
use super::respond::{Denied, html};
use super::routes::Front;
use super::views::{
    ChildRow, DoorPage, EventPage, EventSummary, GuardianStanding, KeyRow, KeysPage, NumberGroup, NumberRow,
    Picture, SeasonPage, StandingMark, Tally,
};
use super::{sheets, shown, trial};
use crate::domain::board::{Board, Item};
use crate::domain::season::{Care, EventId, NumberId, Season};
use crate::domain::wall;
use crate::service::answering::Noted;
use crate::service::chasing::Noter;
use crate::service::lists::{ChildLine, EventList};
use crate::service::ports::{Decided, Doubt, Gateway, LinkKind, Store, StoredLink};
use crate::service::requesting::Granted;

/// Name of the cookie that holds the secret of the coordinator's session.
const COOKIE_NAME: &str = "allheard";

impl<S: Store + 'static, G: Gateway + 'static> Front<S, G> {
    /// Whether the request comes from a browser that opened the coordinator's link, and whose session is in force.
    pub async fn coordinator(&self, headers: &HeaderMap) -> Result<(), Denied> {
        self.session(headers).await.map(|_| ())
    }

    async fn session(&self, headers: &HeaderMap) -> Result<StoredLink, Denied> {
        let token = cookie(headers).ok_or(Denied::NoEntry)?;
        match self.link(&token, LinkKind::Session).await {
            Ok(link) => Ok(link),
            Err(Denied::Busy) => Err(Denied::Busy),
            Err(_) => Err(Denied::NoEntry),
        }
    }

    /// As [`Front::coordinator`], for a form, which must be our own.
    pub async fn coordinator_acts(&self, headers: &HeaderMap) -> Result<(), Denied> {
        if is_foreign(headers, &self.office.ways.base_url) {
            return Err(Denied::Foreign);
        }
        self.coordinator(headers).await
    }
}

fn cookie(headers: &HeaderMap) -> Option<String> {
    headers
        .get_all(COOKIE)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .flat_map(|value| value.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find(|(name, _)| *name == COOKIE_NAME)
        .map(|(_, token)| token.to_owned())
}

pub(super) async fn enter<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(token): Path<String>,
    headers: HeaderMap,
) -> Result<Response, Denied> {
    let link = front.link(&token, LinkKind::Coordinator).await?;
    // The cookie is a secret of its own: a browser that leaves, or is left open, ends without the link.
    let (session, lives) = front.office.new_session(&link).await?;
    let seconds = lives.as_secs().max(1);
    let secure = if front.office.ways.base_url.starts_with("https:") { "; Secure" } else { "" };
    let cookie =
        format!("{COOKIE_NAME}={session}; Path=/; Max-Age={seconds}; HttpOnly; SameSite=Strict{secure}");
    let cookie = HeaderValue::from_str(&cookie).map_err(|_| Denied::NotFound)?;
    // A strict cookie is not sent along a redirect that began on another site, such as a mail page: one more tap is needed.
    let from_elsewhere = headers.get("sec-fetch-site").is_some_and(|site| site == "cross-site");
    let mut response = if from_elsewhere {
        html(&DoorPage::come_in())
    } else {
        (StatusCode::SEE_OTHER, [(LOCATION, HeaderValue::from_static("/season"))]).into_response()
    };
    response.headers_mut().insert(SET_COOKIE, cookie);
    Ok(response)
}

/// The links that open these pages, and leaving them.
pub(super) async fn keys<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    headers: HeaderMap,
) -> Result<Response, Denied> {
    let session = front.session(&headers).await?;
    keys_page(&front, &session, None).await
}

/// Ends a link, all others, or this browser's own session.
pub(super) async fn act_keys<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    headers: HeaderMap,
    fields: Fields,
) -> Result<Response, Denied> {
    front.coordinator_acts(&headers).await?;
    let session = front.session(&headers).await?;
    let office = &front.office;
    let ended = |n: usize| match n {
        0 => "Already done. Nothing changed.".to_owned(),
        1 => "One link has ended, and every browser it was open in.".to_owned(),
        n => format!("{n} links have ended, and every browser they were open in."),
    };
    let notice = match fields.first("act") {
        "leave" => {
            office.end_link(&session.hash).await?;
            let mut response = html(&DoorPage::left());
            let gone = format!("{COOKIE_NAME}=; Path=/; Max-Age=0; HttpOnly; SameSite=Strict");
            let gone = HeaderValue::from_str(&gone).map_err(|_| Denied::NotFound)?;
            response.headers_mut().insert(SET_COOKIE, gone);
            return Ok(response);
        }
        "end" => {
            let links = office.coordinator_links().await?;
            let known = links.iter().find(|link| link.hash == fields.first("link")).ok_or(Denied::BadForm)?;
            ended(usize::from(office.end_link(&known.hash).await?))
        }
        "end_others" => {
            let mut count = 0;
            for link in office.coordinator_links().await?.iter().filter(|link| link.hash != session.parent) {
                count += usize::from(office.end_link(&link.hash).await?);
            }
            ended(count)
        }
        _ => return Err(Denied::BadForm),
    };
    keys_page(&front, &session, Some(notice)).await
}

async fn keys_page<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    session: &StoredLink,
    notice: Option<String>,
) -> Result<Response, Denied> {
    let board = front.office.desk().await?.board.clone();
    let season = &board.season;
    let moment = |at: Timestamp| {
        let at = shown::as_of(&season.zone, at);
        format!("{}, {}", at.english_day(), at.clock())
    };
    let links = front.office.coordinator_links().await?;
    let rows = links.iter().map(|link| KeyRow {
        link: link.hash.clone(),
        made: link
            .made
            .map_or_else(|| "made by an earlier version".to_owned(), |at| format!("made {}", moment(at))),
        ends: format!("ends {}", moment(link.expires)),
        browsers: match link.sessions {
            0 => "open in no browser".to_owned(),
            1 => "open in one browser".to_owned(),
            n => format!("open in {n} browsers"),
        },
        own: link.hash == session.parent,
    });
    Ok(html(&KeysPage {
        school: season.school.clone(),
        season: season.name.clone(),
        as_of: shown::as_of(&season.zone, front.office.now()),
        links: rows.collect(),
        session_ends: moment(session.expires),
        notice,
    }))
}

pub(super) async fn show<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    headers: HeaderMap,
) -> Result<Response, Denied> {
    front.coordinator(&headers).await?;
    season_page(&front, None).await
}

/// A person decides about a message of which nobody knows whether it arrived, or answers a question.
pub(super) async fn act<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    headers: HeaderMap,
    fields: Fields,
) -> Result<Response, Denied> {
    front.coordinator_acts(&headers).await?;
    if let "answer" | "close" = fields.first("act") {
        return answer_question(&front, &fields).await;
    }
    if fields.first("act") == "grant" {
        let question = fields.first("question").parse().map_err(|_| Denied::BadForm)?;
        let notice = match front.office.grant_collector(question).await? {
            Granted::Done => {
                "Done: they stand on the sheets as somebody who may collect. Print the sheets again."
                    .to_owned()
            }
            Granted::Gone => "Already done. Nothing changed.".to_owned(),
            Granted::Refused(why) => format!("Nothing changed: {why}."),
        };
        return season_page(&front, Some(notice)).await;
    }
    if let Some(notice) = absence_act(&front, &fields).await? {
        return season_page(&front, Some(notice)).await;
    }
    if let Some(notice) = front.course_act(fields.first("act")).await? {
        return season_page(&front, Some(notice)).await;
    }
    let notice = decision(&front, &fields).await?.ok_or(Denied::BadForm)?;
    season_page(&front, Some(notice)).await
}

/// What a person decides about messages and answers whose fate is open, and about a hold, in a sentence of what became of it;
/// none of any other act.
async fn decision<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    fields: &Fields,
) -> Result<Option<String>, Denied> {
    let office = &front.office;
    let act = fields.first("act");
    if let Some(doubt) = act.strip_prefix("go_on_").and_then(Doubt::from_word) {
        let words = match office.settle_doubt(doubt).await? {
            true => "Noted: messages are sent again.",
            false => "Already done. Nothing changed.",
        };
        return Ok(Some(words.to_owned()));
    }
    if let "answer_again" | "answer_done" = act {
        let reply = fields.first("reply").parse().map_err(|_| Denied::BadForm)?;
        let words = match (office.decide_reply(reply, act == "answer_again").await?, act) {
            (true, "answer_again") => "Your answer goes out once more.",
            (true, _) => "Noted as done.",
            (false, _) => "Already done. Nothing changed.",
        };
        return Ok(Some(words.to_owned()));
    }
    let (what, all) = match act {
        "arrived" => (Decided::Arrived, false),
        "all_arrived" => (Decided::Arrived, true),
        "send_again" => (Decided::AgainInDoubt, false),
        "send_all_again" => (Decided::AgainInDoubt, true),
        "try_again" => (Decided::TakeUp, false),
        "try_all_again" => (Decided::TakeUp, true),
        "let_be" => (Decided::LetBe, false),
        "let_all_be" => (Decided::LetBe, true),
        _ => return Ok(None),
    };
    let done = if all {
        office.decide_all(what).await?
    } else {
        office.decide(fields.first("message").parse().map_err(|_| Denied::BadForm)?, what).await?
    };
    let words = match (done, what) {
        (0, Decided::TakeUp) => "Nothing changed: it was done before, or its moment has passed.".to_owned(),
        (0, _) => "Already done. Nothing changed.".to_owned(),
        (1, Decided::Arrived) => "Noted: it arrived.".to_owned(),
        (n, Decided::Arrived) => format!("Noted: {n} messages arrived."),
        (1, Decided::AgainInDoubt | Decided::TakeUp) => "Noted: we will send it again.".to_owned(),
        (n, Decided::AgainInDoubt | Decided::TakeUp) => format!("Noted: we will send {n} messages again."),
        (1, Decided::LetBe) => "Noted as done.".to_owned(),
        (n, Decided::LetBe) => format!("{n} messages noted as done."),
    };
    Ok(Some(words))
}

/// The coordinator answers a question, or closes it without words.
async fn answer_question<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    fields: &Fields,
) -> Result<Response, Denied> {
    let question = fields.first("question").parse().map_err(|_| Denied::BadForm)?;
    let words = if fields.first("act") == "answer" { fields.first("words").trim() } else { "" };
    if fields.first("act") == "answer" && words.is_empty() {
        return season_page(front, Some("The answer was empty, so nothing was sent.".to_owned())).await;
    }
    let done = front.office.answer_question(question, words).await?;
    let notice = match (done, words.is_empty()) {
        (true, false) => "Your answer goes out now, or when texts may go again.",
        (true, true) => "Noted as done.",
        (false, _) => "Already done. Nothing changed.",
    };
    season_page(front, Some(notice.to_owned())).await
}

/// Notes who is not coming this once, or is after all, in a sentence of what became of it; none of any other act.
async fn absence_act<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    fields: &Fields,
) -> Result<Option<String>, Denied> {
    let away = match fields.first("act") {
        "not_coming" => true,
        "coming_after_all" => false,
        _ => return Ok(None),
    };
    let board = front.office.desk().await?.board.clone();
    let mut names: Vec<String> = Vec::new();
    for item in fields.all("item").filter_map(|item| item.split_once('/')) {
        let guardian = fields.first("guardian");
        let noted = front.office.set_away(Noter::Coordinator, guardian, item, away).await?;
        let child = board.item(item.0, item.1).and_then(|item| item.who.child());
        let name = child.map(|child| board.season.full_name(child.into()));
        names.extend(name.filter(|name| noted != Noted::NotCovered && !names.contains(name)));
    }
    let whom = ENGLISH.list(&names);
    let are = if names.len() == 1 { "is" } else { "are" };
    Ok(Some(match (names.is_empty(), away) {
        (true, _) => "Nothing was noted: that event is over, or the child is not in it.".to_owned(),
        (false, true) => format!(
            "Noted: {whom} {are} not coming, this once. Those who look after them are told; print the sheets again."
        ),
        (false, false) => {
            format!("Noted: {whom} {are} coming after all. Those who look after them are told.")
        }
    }))
}

async fn season_page<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    notice: Option<String>,
) -> Result<Response, Denied> {
    let data = front.office.season_data().await?;
    let season = &data.board.season;
    let for_families = |list: &&EventList| season.events[list.event.at()].for_families();
    let mut lists: Vec<&EventList> = data.events.iter().filter(for_families).collect();
    lists.sort_by_key(|list| (data.board.season.curtain_up(list.event), list.event));
    let next = lists.iter().position(|list| {
        !season.events[list.event.at()].cancelled && data.board.season.curtain_up(list.event) > data.now
    });
    Ok(html(&SeasonPage {
        school: season.school.clone(),
        season: season.name.clone(),
        as_of: shown::as_of(&season.zone, data.now),
        rules: data.rules.map(|(heard, all)| {
            format!("House rules: confirmed for {heard} of {all} children whose families were asked.")
        }),
        visits: visits(season, data.now),
        events: lists.iter().map(|list| summary(&data.board, list, data.now)).collect(),
        next,
        needs: needs(&data),
        messages: message_counts(&data.counts),
        sending: sending(&data),
        held: super::needs::held(&data),
        course: super::course::line(front.office.course().await?, &season.zone),
        notice,
    }))
}

pub(super) async fn event<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(reference): Path<String>,
    headers: HeaderMap,
) -> Result<Response, Denied> {
    front.coordinator(&headers).await?;
    event_page(&front, &reference, None).await
}

/// The coordinator notes that a child is not coming, or is after all.
pub(super) async fn act_event<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(reference): Path<String>,
    headers: HeaderMap,
    fields: Fields,
) -> Result<Response, Denied> {
    front.coordinator_acts(&headers).await?;
    let notice = absence_act(&front, &fields).await?.ok_or(Denied::BadForm)?;
    event_page(&front, &reference, Some(notice)).await
}

async fn event_page<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    reference: &str,
    notice: Option<String>,
) -> Result<Response, Denied> {
    let board = front.office.desk().await?.board.clone();
    let Some(id) = board.event(reference) else { return Err(Denied::NotFound) };
    let lists = front.office.event_lists().await?;
    let Some(list) = lists.iter().find(|list| list.event == id) else { return Err(Denied::NotFound) };
    let season = &board.season;
    let event = &season.events[id.at()];
    let place = &season.places[event.place.at()];
    let now = front.office.now();
    let groups = list.numbers.iter().map(|(number, _, _)| NumberGroup {
        number: number_row(&board, list, *number),
        children: of_number(&board, list, *number).map(|line| child_row(&board, list, line)).collect(),
    });
    Ok(html(&EventPage {
        school: season.school.clone(),
        season: season.name.clone(),
        as_of: shown::as_of(&season.zone, now),
        event: summary(&board, list, now),
        place: format!("{}, {}", place.name, place.door),
        groups: groups.collect(),
        chaperones: chaperones(&board, list),
        sheets: sheets::links(&board, list),
        forecast: (!event.cancelled && !list.children.is_empty())
            .then(|| format!("/season/{reference}/forecast")),
        change: format!("/season/change/event?event={reference}"),
        show: (event.ordered && !event.cancelled).then(|| format!("/season/{reference}/show")),
        trial: trial::form(season, id, "", ""),
        over: board.season.curtain_up(id) <= now,
        notice,
    }))
}

/// What is the chaperones' alone, such as class visits, and still to come: one line each, without a standing of families.
fn visits(season: &Season, now: Timestamp) -> Vec<(String, String)> {
    let ids = (0..season.events.len() as u32).map(EventId);
    let ahead = ids.filter(|id| season.curtain_up(*id) > now && !season.events[id.at()].for_families());
    let mut ahead: Vec<EventId> = ahead.collect();
    ahead.sort_by_key(|id| season.curtain_up(*id));
    ahead
        .into_iter()
        .map(|id| {
            let event = &season.events[id.at()];
            let when =
                format!("{}, {}, {}", event.name, ENGLISH.day(&event.date), event.call.strftime("%H:%M"));
            (format!("/season/{}", event.reference), when)
        })
        .collect()
}

/// Chaperones by name; those not heard from first.
fn chaperones(board: &Board, list: &EventList) -> Vec<(String, StandingMark)> {
    let mut all: Vec<(String, StandingMark)> = list
        .chaperones
        .iter()
        .map(|(who, standing)| (board.season.chaperones[who.at()].name.clone(), shown::mark(*standing)))
        .collect();
    all.sort_by_key(|(name, mark)| (*mark == StandingMark::Heard, name.clone()));
    all
}

fn summary(board: &Board, list: &EventList, now: Timestamp) -> EventSummary {
    let event = &board.season.events[list.event.at()];
    EventSummary {
        href: format!("/season/{}", event.reference),
        name: event.name.clone(),
        date: event.date,
        call: event.call,
        called_off: event.cancelled,
        tally: Tally { marks: list.children.iter().map(|line| shown::mark(line.standing)).collect() },
        numbers: list.numbers.iter().map(|(number, _, _)| number_row(board, list, *number)).collect(),
        picture: picture(board, list, now),
    }
}

fn of_number<'a>(
    board: &'a Board,
    list: &'a EventList,
    number: NumberId,
) -> impl Iterator<Item = &'a ChildLine> {
    list.children.iter().filter(move |line| {
        let it = board.itinerary(Item { who: line.child.into(), event: Some(list.event) });
        it.is_some_and(|it| it.numbers.contains(&number))
    })
}

fn number_row(board: &Board, list: &EventList, number: NumberId) -> NumberRow {
    let season = &board.season;
    let mut chaperones: Vec<String> = season
        .duties
        .iter()
        .filter(|duty| duty.event == list.event && duty.number == Some(number))
        .map(|duty| season.chaperones[duty.chaperone.at()].name.clone())
        .collect();
    chaperones.dedup();
    NumberRow {
        name: season.numbers[number.at()].name.clone(),
        chaperones,
        own: season.numbers[number.at()].own_chaperone,
        tally: Tally {
            marks: of_number(board, list, number).map(|line| shown::mark(line.standing)).collect(),
        },
    }
}

/// The line over time, from the first message about the event on.
fn picture(board: &Board, list: &EventList, now: Timestamp) -> Option<Picture> {
    let event = &board.season.events[list.event.at()];
    let told = list.children.iter().flat_map(|line| &line.guardians).filter_map(|one| one.told.map(|t| t.at));
    let from = told.chain(list.settled_since.first().copied()).min()?;
    let zone = &board.season.zone;
    let deadline = wall::instant(zone, event.date.to_datetime(event.call));
    let mut steps = vec![(from.as_millisecond(), 0)];
    for (at, n) in list.settled_since.iter().zip(1u32..) {
        steps.push((at.as_millisecond(), n));
    }
    let counts = Counts {
        steps,
        all: u32::try_from(list.settled.1).unwrap_or(u32::MAX),
        now_ms: now.as_millisecond(),
        deadline_ms: deadline.as_millisecond(),
    };
    Some(Picture { counts, from: shown::as_of(zone, from).date, deadline: shown::as_of(zone, deadline) })
}

fn child_row(board: &Board, list: &EventList, line: &ChildLine) -> ChildRow {
    let season = &board.season;
    let part = |care: Option<&Care>| match care.map(|care| (care.brings, care.collects)) {
        Some((true, true)) => "brings and collects",
        Some((true, false)) => "brings",
        Some((false, true)) => "collects",
        _ => "",
    };
    let (child, event) = board.item_refs(Item { who: line.child.into(), event: Some(list.event) });
    ChildRow {
        item: format!("{child}/{event}"),
        away: list.away.get(&line.child).cloned().unwrap_or_default(),
        name: season.full_name(line.child.into()),
        mark: shown::mark(line.standing),
        guardians: line
            .guardians
            .iter()
            .map(|one| GuardianStanding {
                name: season.guardians[one.guardian.at()].name.clone(),
                part: part(board.cares_of(line.child).find(|care| care.guardian == one.guardian)).to_owned(),
                mark: shown::mark(one.standing),
            })
            .collect::<Vec<GuardianStanding>>(),
    }
}
