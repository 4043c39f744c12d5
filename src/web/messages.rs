//! `/season/messages` and `/season/family/HOUSEHOLD`: each message with its life, each family with what it answered.

use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::http::HeaderMap;
use axum::response::Response;
use serde::Deserialize;

use super::fields::Fields;
use super::labels::ENGLISH;
use super::respond::{Denied, html};
use super::routes::Front;
use super::shown;
use super::views::{LifeView, MessagesPage, PersonView, Said};
use crate::domain::board::{Board, Item};
use crate::domain::season::Channel;
use crate::service::lives::PersonData;
use crate::service::ports::{Gateway, Store, StoredAttempt, StoredIncoming, StoredMessage};

/// Messages on one page.
const ON_A_PAGE: u32 = 50;

/// Where a page of the newest messages begins.
#[derive(Debug, Deserialize)]
pub(super) struct Skip {
    #[serde(default)]
    pub skip: u32,
}

pub(super) async fn latest<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Query(query): Query<Skip>,
    headers: HeaderMap,
) -> Result<Response, Denied> {
    front.coordinator(&headers).await?;
    let (board, lives) = front.office.lives(query.skip, ON_A_PAGE).await?;
    let next = query.skip.saturating_add(ON_A_PAGE);
    let older = (lives.len() == ON_A_PAGE as usize).then(|| format!("/season/messages?skip={next}"));
    Ok(html(&MessagesPage {
        school: board.season.school.clone(),
        season: board.season.name.clone(),
        as_of: shown::as_of(&board.season.zone, front.office.now()),
        heading: "Sent messages".to_owned(),
        family: false,
        people: Vec::new(),
        lives: lives.iter().map(|(message, attempts)| life(&board, message, attempts)).collect(),
        older,
        notice: None,
    }))
}

pub(super) async fn family<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(household): Path<String>,
    headers: HeaderMap,
) -> Result<Response, Denied> {
    front.coordinator(&headers).await?;
    family_page(&front, &household, None).await
}

/// The coordinator ends a family's links.
pub(super) async fn act_family<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(household): Path<String>,
    headers: HeaderMap,
    fields: Fields,
) -> Result<Response, Denied> {
    front.coordinator_acts(&headers).await?;
    if fields.first("act") != "end_links" {
        return Err(Denied::BadForm);
    }
    let ended = front.office.end_links(&household).await?;
    let notice = match ended {
        0 => "This family has no open link.".to_owned(),
        _ => "Done: no link sent so far opens anything. The next message brings a new one.".to_owned(),
    };
    family_page(&front, &household, Some(notice)).await
}

async fn family_page<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    household: &str,
    notice: Option<String>,
) -> Result<Response, Denied> {
    let Some(family) = front.office.family(household).await? else { return Err(Denied::NotFound) };
    let board = &*family.board;
    let people: Vec<PersonView> = family.people.iter().map(|one| person(board, one)).collect();
    let names: Vec<String> = people.iter().map(|person| person.name.clone()).collect();
    Ok(html(&MessagesPage {
        school: board.season.school.clone(),
        season: board.season.name.clone(),
        as_of: shown::as_of(&board.season.zone, front.office.now()),
        heading: ENGLISH.list(&names),
        family: true,
        people,
        lives: family.lives.iter().map(|(message, attempts)| life(board, message, attempts)).collect(),
        older: None,
        notice,
    }))
}

fn person(board: &Board, one: &PersonData) -> PersonView {
    PersonView {
        name: board.season.guardians[one.guardian.at()].name.clone(),
        standings: one.standings.iter().map(|(item, at)| (what(board, *item), shown::mark(*at))).collect(),
        said: one.sent.iter().map(|sent| said(board, sent)).collect(),
    }
}

fn what(board: &Board, item: Item) -> String {
    let season = &board.season;
    let child = season.given_name(item.who);
    match item.event {
        Some(event) => format!("{child}, {}", season.events[event.at()].name),
        None => format!("{child}, house rules"),
    }
}

fn said(board: &Board, one: &StoredIncoming) -> Said {
    let incoming = &one.incoming;
    let road = match incoming.channel {
        Some(Channel::Mail) => "By mail",
        Some(Channel::Text) => "By text",
        None => "On the page",
    };
    let waits = if one.waits { "waits for you" } else { "dealt with" };
    let became = match incoming.became.as_str() {
        "question" => waits,
        "early_release" => {
            if one.waits {
                "waits for you; the rule was told"
            } else {
                "dealt with"
            }
        }
        "collector" => {
            if one.waits {
                "waits for you: somebody else collects"
            } else {
                "dealt with"
            }
        }
        "address" => {
            if one.waits {
                "waits for you: a number or address is wrong"
            } else {
                "dealt with"
            }
        }
        "asked_back" => "asked back which is meant",
        "ignored" => "automatic reply, not counted",
        "known" => "known already",
        other => other,
    };
    Said {
        words: incoming.words.clone(),
        how: format!("{road}, {became}"),
        at: shown::as_of(&board.season.zone, incoming.at),
    }
}

fn life(board: &Board, message: &StoredMessage, attempts: &[StoredAttempt]) -> LifeView {
    let season = &board.season;
    let names: Vec<String> = message
        .guardians
        .iter()
        .filter_map(|reference| board.guardian(reference))
        .map(|guardian| season.guardians[guardian.at()].name.clone())
        .collect();
    let mut about: Vec<String> = message
        .parts
        .iter()
        .filter_map(|part| board.item(&part.child, &part.event))
        .map(|item| what(board, item))
        .collect();
    about.dedup();
    let moment = |at| {
        let at = shown::as_of(&season.zone, at);
        format!("{}, {}", at.english_day(), at.clock())
    };
    let mut steps = vec![format!("Due {}", moment(message.due))];
    for attempt in attempts {
        let by = if attempt.gateway.is_empty() { String::new() } else { format!(" by {}", attempt.gateway) };
        let ended = match attempt.outcome.as_str() {
            "" => "under way".to_owned(),
            outcome => outcome.replace('_', " "),
        };
        let why = if attempt.why.is_empty() { String::new() } else { format!(" ({})", attempt.why) };
        steps.push(format!("Sent{by} {}: {ended}{why}", moment(attempt.at)));
    }
    let road = match message.channel {
        Channel::Mail => "mail",
        Channel::Text => "text",
    };
    let why = if message.why.is_empty() { String::new() } else { format!(": {}", message.why) };
    LifeView {
        to: if names.is_empty() { "no longer in the season".to_owned() } else { ENGLISH.list(&names) },
        href: format!("/season/family/{}", message.household),
        matter: format!("{} by {road}", message.wording.replace('-', " ")),
        about: about.join("; "),
        state: format!("Now {}{why}.", message.state.word().replace('_', " ")),
        steps,
    }
}
