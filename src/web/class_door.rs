//! `/season/door`: the silent ones of an event, and the signatures collected at the class door.

use std::sync::Arc;

use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::Response;
use jiff::Timestamp;
use jiff::civil::{Date, Time};

use super::fields::Fields;
use super::guardian::{Asked, asked};
use super::labels::{ENGLISH, capitalised};
use super::respond::{Denied, html};
use super::routes::Front;
use super::shown;
use super::views::{ClassDoorPage, DoorChoice, PageNotice, Pick, Signer, SilentRow};
use crate::domain::board::{Board, Item, NO_EVENT};
use crate::domain::facts::Fingerprint;
use crate::domain::season::{ChaperoneId, ChildId, EventId};
use crate::domain::sheets;
use crate::domain::wall;
use crate::service::answering::Noted;
use crate::service::chasing::{COORDINATOR, Noter};
use crate::service::class_door::{DoorData, Signature, SilentChild};
use crate::service::ports::{Gateway, Store};

/// What the house rules are called among the events.
const HOUSE_RULES: &str = "House rules";

pub(super) async fn show<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    query: Asked,
    headers: HeaderMap,
) -> Result<Response, Denied> {
    front.coordinator(&headers).await?;
    page(&front, asked(&query, "event"), None).await
}

/// Enters the signatures of a slip, all at once.
pub(super) async fn act<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    query: Asked,
    headers: HeaderMap,
    fields: Fields,
) -> Result<Response, Denied> {
    front.coordinator_acts(&headers).await?;
    if fields.first("act") != "signed" {
        return Err(Denied::BadForm);
    }
    let signatures: Option<Vec<Signature<'_>>> = fields.all("signed").map(signature).collect();
    let signatures = signatures.ok_or(Denied::BadForm)?;
    let board = front.office.desk().await?.board.clone();
    let signed = moment(&board, &fields, front.office.now()).ok_or(Denied::BadForm)?;
    let collector = collector(&board, fields.first("collector")).ok_or(Denied::BadForm)?;
    let noted = front.office.enter_signatures(collector, signed, &signatures).await?;
    page(&front, asked(&query, "event"), Some(notice(&noted))).await
}

/// `child/event/guardian/fingerprint`.
fn signature(value: &str) -> Option<Signature<'_>> {
    let mut parts = value.split('/');
    let (child, event, guardian) = (parts.next()?, parts.next()?, parts.next()?);
    let seen: Fingerprint = parts.next()?.parse().ok()?;
    parts.next().is_none().then_some((child, event, guardian, seen))
}

/// When the slip was signed, as typed; the minute that is not over yet is now.
fn moment(board: &Board, fields: &Fields, now: Timestamp) -> Option<Timestamp> {
    let on: Date = fields.first("on").parse().ok()?;
    let at: Time = fields.first("at").parse().ok()?;
    let typed = on.to_datetime(at);
    let this_minute = wall::local(&board.season.zone, now).strftime("%Y-%m-%dT%H:%M").to_string();
    if typed.strftime("%Y-%m-%dT%H:%M").to_string() == this_minute {
        return Some(now);
    }
    let signed = wall::instant(&board.season.zone, typed);
    (signed <= now).then_some(signed)
}

fn collector(board: &Board, name: &str) -> Option<Noter> {
    if name == COORDINATOR {
        return Some(Noter::Coordinator);
    }
    let at = board.season.chaperones.iter().position(|chaperone| chaperone.reference == name)?;
    u32::try_from(at).ok().map(|at| Noter::Chaperone(ChaperoneId(at)))
}

/// What became of the signatures, in words.
fn notice(noted: &[Noted]) -> PageNotice {
    let count = |which: Noted| noted.iter().filter(|one| **one == which).count();
    let signatures = |n: usize| match n {
        1 => "one signature".to_owned(),
        n => format!("{} signatures", ENGLISH.number(n)),
    };
    let mut words = Vec::new();
    match count(Noted::Recorded) {
        0 => words.push("Nothing new was entered.".to_owned()),
        n => words.push(format!("Entered: {}.", signatures(n))),
    }
    match count(Noted::Known) {
        0 => {}
        n => words.push(format!("Known already: {}.", signatures(n))),
    }
    match count(Noted::Changed) {
        0 => {}
        n => words.push(format!(
            "Not entered: {}, because the times have changed, or may have, since it was signed. Please ask again.",
            signatures(n)
        )),
    }
    match count(Noted::NotCovered) {
        0 => {}
        n => words
            .push(format!("{} no longer in the workbook.", capitalised(&format!("{} is", signatures(n))))),
    }
    let done = count(Noted::Changed) + count(Noted::NotCovered) == 0 && !noted.is_empty();
    PageNotice { words: words.join(" "), done }
}

async fn page<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    event: &str,
    notice: Option<PageNotice>,
) -> Result<Response, Denied> {
    let data = front.office.class_door(event).await?;
    let season = &data.board.season;
    let chosen = data.event.map(|event| &season.events[event.at()]);
    Ok(html(&ClassDoorPage {
        school: season.school.clone(),
        season: season.name.clone(),
        as_of: shown::as_of(&season.zone, data.now),
        event: match chosen {
            Some(event) => event.name.clone(),
            None if data.at_rules => HOUSE_RULES.to_owned(),
            None => String::new(),
        },
        day: chosen.map(|event| ENGLISH.day(&event.date)).unwrap_or_default(),
        silent: rows(&data),
        collectors: collectors(&data.board),
        slip: chosen
            .filter(|_| !data.silent.is_empty())
            .map(|event| format!("/season/{}/sheets/{}", event.reference, sheets::SheetKind::Slips.word())),
        events: data
            .choices
            .iter()
            .map(|(event, silent)| choice(&data, *event, *silent))
            .chain(rules_choice(&data))
            .collect(),
        notice,
    }))
}

fn choice(data: &DoorData, id: EventId, silent: usize) -> DoorChoice {
    let event = &data.board.season.events[id.at()];
    DoorChoice {
        href: format!("?event={}", event.reference),
        name: event.name.clone(),
        day: ENGLISH.day(&event.date),
        open: silent,
        current: Some(id) == data.event,
    }
}

/// The house rules, which have no day.
fn rules_choice(data: &DoorData) -> Option<DoorChoice> {
    (!data.rules.is_empty()).then(|| DoorChoice {
        href: format!("?event={NO_EVENT}"),
        name: HOUSE_RULES.to_owned(),
        day: String::new(),
        open: data.rules.len(),
        current: data.at_rules,
    })
}

fn rows(data: &DoorData) -> Vec<SilentRow> {
    let season = &data.board.season;
    let children: Vec<ChildId> = data.silent.iter().map(|one| one.child).collect();
    let labels = sheets::labels(season, &children);
    let signers = |one: &SilentChild, event: Option<EventId>| {
        let item = Item { who: one.child.into(), event };
        let (child, event) = data.board.item_refs(item);
        let seen = data.board.fingerprint(item);
        let signer = |guardian: &crate::domain::season::GuardianId| {
            let guardian = &season.guardians[guardian.at()];
            Signer {
                value: format!("{child}/{event}/{}/{seen}", guardian.reference),
                name: guardian.name.clone(),
            }
        };
        one.guardians.iter().map(signer).collect()
    };
    let rules = |one: &SilentChild| {
        let owed = data.rules.iter().find(|rule| rule.child == one.child);
        owed.filter(|_| data.event.is_some()).map_or(Vec::new(), |rule| signers(rule, None))
    };
    data.silent
        .iter()
        .map(|one| SilentRow {
            name: labels.get(&one.child).cloned().unwrap_or_default(),
            mark: shown::mark(one.standing),
            signers: signers(one, data.event),
            rules: rules(one),
        })
        .collect()
}

/// The coordinator first, then chaperones by name.
fn collectors(board: &Board) -> Vec<Pick> {
    let mut chaperones: Vec<(&str, &str)> = board
        .season
        .chaperones
        .iter()
        .map(|chaperone| (chaperone.name.as_str(), chaperone.reference.as_str()))
        .collect();
    chaperones.sort_unstable();
    let all = std::iter::once(("The coordinator", COORDINATOR)).chain(chaperones);
    all.enumerate()
        .map(|(at, (words, value))| Pick {
            value: value.to_owned(),
            words: words.to_owned(),
            chosen: at == 0,
        })
        .collect()
}
