//! `/c/TOKEN`: a chaperone sees whom to ring, and notes what came of it.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::Response;
use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::chase::{self, Reader, Said};
use super::fields::{Fields, is_foreign};
use super::guardian::{Asked, asked};
use super::next;
use super::respond::{Denied, html};
use super::routes::Front;
use super::shown;
use super::views::{
    ChaperonePage, EventChoice, GreetAdult, GreetChild, OpenChild, PageNotice, Ring, SettledChild,
    StandingMark, WatchView,
};
use crate::domain::board::{Board, Item};
use crate::domain::chase::Call;
use crate::domain::introduction::greetings;
use crate::domain::record::AnswerKind;
use crate::domain::season::{ChaperoneId, ChildId, EventId, Guardian, Person};
use crate::domain::standing::Standing;
use crate::service::answering::Noted;
use crate::service::chasing::{ChaseData, Noter};
use crate::service::lists::{ChaperoneData, ChildLine, GuardianLine};
use crate::service::ports::{Gateway, LinkKind, Store, StoredLink};

pub(super) async fn show<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(token): Path<String>,
    query: Asked,
) -> Result<Response, Denied> {
    let link = front.link(&token, LinkKind::Chaperone).await?;
    if asked(&query, "show") != next::FAMILIES
        && let Some(data) = front.office.live_show(&link.chaperone).await?
        && let Some(chaperone) = chaperone(&data.board, &link.chaperone)
    {
        let event = &data.board.season.events[data.event.at()].reference;
        // Another event of hers is asked for by name.
        if ["", event.as_str()].contains(&asked(&query, "event")) {
            return Ok(next::page(&data, chaperone, !asked(&query, "still").is_empty()));
        }
    }
    page(&front, (&token, &link), asked(&query, "event"), None).await
}

pub(super) async fn act<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(token): Path<String>,
    query: Asked,
    headers: HeaderMap,
    fields: Fields,
) -> Result<Response, Denied> {
    if is_foreign(&headers, &front.office.ways.base_url) {
        return Err(Denied::Foreign);
    }
    let link = front.link(&token, LinkKind::Chaperone).await?;
    let act = fields.first("act");
    if let "own_heard" | "own_cant_come" = act {
        return own(&front, (&token, &link), &fields, act).await;
    }
    if act == "coming_after_all" {
        return back(&front, (&token, &link), &fields).await;
    }
    let said = Said::of(&fields)?;
    let board = front.office.desk().await?.board.clone();
    let Some(chaperone) = chaperone(&board, &link.chaperone) else { return Err(front.gone().await) };
    let noted = said.note(&front.office, Noter::Chaperone(chaperone)).await?;
    let event = if fields.first("event").is_empty() { asked(&query, "event") } else { fields.first("event") };
    let mut response = page(&front, (&token, &link), event, Some(said.notice(&board, &noted))).await?;
    if noted.iter().all(|one| *one == Noted::NotCovered) {
        *response.status_mut() = StatusCode::FORBIDDEN;
    }
    Ok(response)
}

/// A child of hers who was not coming is coming after all.
async fn back<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    (token, link): (&str, &StoredLink),
    fields: &Fields,
) -> Result<Response, Denied> {
    let board = front.office.desk().await?.board.clone();
    let Some(chaperone) = chaperone(&board, &link.chaperone) else { return Err(front.gone().await) };
    let item = (fields.first("child"), fields.first("event"));
    let noted = front.office.set_away(Noter::Chaperone(chaperone), "", item, false).await?;
    let (words, done) = match noted {
        Noted::NotCovered | Noted::Changed => ("Nothing was noted: that child is not with you there.", false),
        Noted::Recorded | Noted::Known => ("Noted: coming after all.", true),
    };
    page(front, (token, link), item.1, Some(PageNotice { words: words.to_owned(), done })).await
}

/// What she says of her own duties.
async fn own<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    (token, link): (&str, &StoredLink),
    fields: &Fields,
    act: &str,
) -> Result<Response, Denied> {
    let board = front.office.desk().await?.board.clone();
    let Some(chaperone) = chaperone(&board, &link.chaperone) else { return Err(front.gone().await) };
    let seen = fields.first("fingerprint").parse().map_err(|_| Denied::BadForm)?;
    let event = fields.first("event").to_owned();
    let kind = if act == "own_heard" { AnswerKind::Heard } else { AnswerKind::CantCome };
    let noted = front.office.answer_duty(chaperone, &event, seen, kind).await?;
    let words = match (noted, kind) {
        (Noted::NotCovered, _) => "Nothing was noted: you no longer have a duty there.",
        (Noted::Changed, _) => "Nothing was noted: your duties have changed. Please read them again.",
        (_, AnswerKind::CantCome) => "Noted: you can't come. The coordinator can see this.",
        (_, _) => "Thank you. We know now that you have read your duties.",
    };
    let done = matches!(noted, Noted::Recorded | Noted::Known);
    page(front, (token, link), &event, Some(PageNotice { words: words.to_owned(), done })).await
}

fn chaperone(board: &Board, reference: &str) -> Option<ChaperoneId> {
    let at = board.season.chaperones.iter().position(|c| c.reference == reference)?;
    u32::try_from(at).ok().map(ChaperoneId)
}

async fn page<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    (token, link): (&str, &StoredLink),
    event: &str,
    notice: Option<PageNotice>,
) -> Result<Response, Denied> {
    let office = &front.office;
    let board = office.desk().await?.board.clone();
    let Some(chaperone) = chaperone(&board, &link.chaperone) else { return Err(front.gone().await) };
    let season = &board.season;
    let mut page = ChaperonePage {
        school: season.school.clone(),
        season: season.name.clone(),
        as_of: shown::as_of(&season.zone, office.now()),
        given: shown::given(&season.chaperones[chaperone.at()].name),
        events: Vec::new(),
        watch: None,
        notice,
        calls: Vec::new(),
        open: Vec::new(),
        settled: Vec::new(),
        calendar_href: None,
        telephone: shown::school_telephone(season),
        greet: greet(&board, chaperone, office.now()),
        live: office.live_show(&link.chaperone).await?.is_some(),
    };
    let Some(data) = office.chaperone_data(&link.chaperone, event).await? else { return Ok(html(&page)) };
    for id in &data.events {
        let reference = &data.board.season.events[id.at()].reference;
        let other =
            if *id == data.event { None } else { office.chaperone_data(&link.chaperone, reference).await? };
        let lines = other.as_ref().map_or(&data.children, |other| &other.children);
        page.events.push(choice(&data, *id, lines.iter().filter(|line| is_open(line)).count()));
    }
    page.calendar_href = Some(format!("/c/{token}/calendar"));
    page.watch = Some(watch(&data));
    let mut open: Vec<&ChildLine> = data.children.iter().filter(|line| is_open(line)).collect();
    open.sort_by_key(|line| urgency(line.standing));
    page.open = open.into_iter().map(|line| open_child(&data, line)).collect();
    let chase = office.chase().await?;
    page.calls = chase.list.of(chaperone).map(|call| chase::card(&chase, call, Reader::Ringer)).collect();
    for child in &mut page.open {
        whose(&chase, chaperone, data.event, child);
    }
    page.settled = data.children.iter().filter(|line| !is_open(line)).map(|line| done(&data, line)).collect();
    Ok(html(&page))
}

/// The families she has been introduced to, or is going to be, for shows that are still ahead.
fn greet(board: &Board, chaperone: ChaperoneId, now: Timestamp) -> Vec<GreetChild> {
    let season = &board.season;
    let own = greetings(board).into_iter().filter(|g| g.chaperone == chaperone && g.due.until > now);
    let mut children: Vec<ChildId> = own.flat_map(|greeting| greeting.children).collect();
    children.sort_by_key(|child| shown::short_name(&season.children[child.at()]));
    children.dedup();
    let adult = |guardian: &Guardian| GreetAdult {
        given: shown::given(&guardian.name),
        telephone: shown::telephone(season, &guardian.contact),
        language: (guardian.contact.language != season.language)
            .then(|| shown::language_name(&guardian.contact.language)),
    };
    children
        .into_iter()
        .map(|child| GreetChild {
            name: shown::short_name(&season.children[child.at()]),
            adults: board.cares_of(child).map(|care| adult(&season.guardians[care.guardian.at()])).collect(),
        })
        .collect()
}

/// Says of a child whose call was shared out who makes it, and leaves out what stands among her own calls.
fn whose(chase: &ChaseData, me: ChaperoneId, event: EventId, child: &mut OpenChild) {
    let season = &chase.board.season;
    let about = |call: &&Call| {
        call.items
            .iter()
            .any(|item| item.event == Some(event) && season.reference_of(item.who) == child.child)
    };
    let Some(ringer) = chase.list.calls.iter().find(about).and_then(|call| call.ringer) else { return };
    if ringer == me {
        child.note = "Among your calls above.".to_owned();
        child.rings.clear();
    } else {
        child.note = format!("{} rings this family.", season.chaperones[ringer.at()].name);
    }
}

/// Whether somebody of the family is to be rung: not before they have been asked.
fn is_open(line: &ChildLine) -> bool {
    !line.standing.is_answered() && line.standing != Standing::NotAsked
}

/// The order of calls: families nobody can write to first, then those who know the old times.
fn urgency(standing: Standing) -> u8 {
    match standing {
        Standing::NoWay => 0,
        Standing::HeardBefore => 1,
        Standing::Waiting => 2,
        Standing::Heard | Standing::CantCome | Standing::Away | Standing::NotAsked => 3,
    }
}

fn choice(data: &ChaperoneData, id: EventId, open: usize) -> EventChoice {
    let event = &data.board.season.events[id.at()];
    EventChoice {
        href: format!("?event={}", event.reference),
        name: event.name.clone(),
        date: event.date,
        open,
        current: id == data.event,
    }
}

fn watch(data: &ChaperoneData) -> WatchView {
    let item = Item { who: Person::Chaperone(data.chaperone), event: Some(data.event) };
    let shift = data.board.itinerary(item).and_then(|it| it.shift.as_ref());
    let season = &data.board.season;
    let event = &season.events[data.event.at()];
    let place = &season.places[event.place.at()];
    let mut numbers: Vec<String> =
        data.numbers.iter().map(|number| season.numbers[number.at()].name.clone()).collect();
    let duties = season.duties.iter().filter(|d| d.chaperone == data.chaperone && d.event == data.event);
    if numbers.is_empty() {
        numbers = duties.map(|duty| duty.task.clone()).filter(|task| !task.is_empty()).collect();
    }
    WatchView {
        event: event.reference.clone(),
        name: event.name.clone(),
        date: event.date,
        call: event.call,
        due: shown::as_of(&season.zone, data.due).time,
        station: format!("{}, {}.", place.name, place.door),
        numbers,
        briefing: shift.and_then(|shift| shift.briefing).map(|at| at.time()),
        in_place: shift.and_then(|shift| shift.station).map(|at| at.time()),
        over: shift.and_then(|shift| shift.until).map(|at| at.time()),
        room: shown::rooms(season, item),
        kit: season.settings.kit.clone(),
        mark: shown::mark(data.standing),
        fingerprint: data.board.fingerprint(item).to_string(),
    }
}

fn open_child(data: &ChaperoneData, line: &ChildLine) -> OpenChild {
    let season = &data.board.season;
    let child = &season.children[line.child.at()];
    let item = Item { who: line.child.into(), event: Some(data.event) };
    let unheard = line.guardians.iter().filter(|one| one.standing != Standing::Heard);
    OpenChild {
        child: child.reference.clone(),
        name: shown::short_name(child),
        fingerprint: data.board.fingerprint(item).to_string(),
        mark: shown::mark(line.standing),
        note: String::new(),
        rings: unheard.map(|one| ring(data, one)).collect(),
    }
}

fn ring(data: &ChaperoneData, one: &GuardianLine) -> Ring {
    let season = &data.board.season;
    let guardian = &season.guardians[one.guardian.at()];
    let language = &guardian.contact.language;
    Ring {
        guardian: guardian.reference.clone(),
        given: shown::given(&guardian.name),
        telephone: shown::telephone(season, &guardian.contact),
        language: (*language != season.language).then(|| shown::language_name(language)),
        mark: shown::mark(one.standing),
        tried: tried(&season.zone, one),
    }
}

/// What was tried with a guardian, in words.
fn tried(zone: &TimeZone, one: &GuardianLine) -> String {
    let mut words = match &one.told {
        None => "Nothing has been sent yet.".to_owned(),
        Some(told) => {
            let day = shown::as_of(zone, told.at).english_day();
            match told.times {
                1 => format!("Written to once, on {day}."),
                n => format!("Written to {n} times, last on {day}."),
            }
        }
    };
    if let Some(rung) = &one.call {
        let at = shown::as_of(zone, rung.at);
        let end = chase::end_words(rung.end);
        words.push_str(&format!(" Rung on {}, {}: {end}.", at.english_day(), at.clock()));
    }
    words
}

fn done(data: &ChaperoneData, line: &ChildLine) -> SettledChild {
    let item = Item { who: line.child.into(), event: Some(data.event) };
    let (child, event) = data.board.item_refs(item);
    SettledChild {
        child: child.to_owned(),
        event: event.to_owned(),
        name: shown::short_name(&data.board.season.children[line.child.at()]),
        mark: shown::mark(line.standing),
        note: match shown::mark(line.standing) {
            StandingMark::CantCome => "The coordinator will speak to the family.".to_owned(),
            StandingMark::Away => "Struck through on the sheets.".to_owned(),
            _ => String::new(),
        },
    }
}
