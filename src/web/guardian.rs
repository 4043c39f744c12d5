//! `/r/TOKEN`: a guardian reads today's facts and answers.

use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::http::HeaderMap;
use axum::response::Response;
use jiff::civil::{Date, DateTime};

use super::fields::Fields;
use super::labels::{LANGUAGES, Labels, fill};
use super::respond::{Denied, asked_language, html};
use super::routes::Front;
use super::shown;
use super::views::{
    GuardianPage, HouseRules, NotedKind, NotedLine, OtherLanguage, RowKind, SheetItem as SeenItem, SheetView,
    ShiftView, TimeRow, ToldFact, WayIn,
};
use crate::domain::board::Item;
use crate::domain::facts::{Facts, Field, Fingerprint, rules_of};
use crate::domain::introduction::chaperones_of;
use crate::domain::itinerary::Itinerary;
use crate::domain::published::clocks;
use crate::domain::record::AnswerKind;
use crate::domain::release::Release;
use crate::domain::season::{Care, HouseRule, Language, Notice, Place, Season};
use crate::domain::standing::Standing;
use crate::service::answering::{GuardianData, Noted, SheetData};
use crate::service::hearing::asks_early;
use crate::service::ports::{Gateway, LinkKind, Store};
use crate::service::requesting::Request;

/// The query of an address, by name.
pub(super) type Asked = Query<Vec<(String, String)>>;

/// A value of a query; empty if there is none.
pub(super) fn asked<'a>(query: &'a Asked, name: &str) -> &'a str {
    query.0.iter().find(|(n, _)| n == name).map_or("", |(_, value)| value.as_str())
}

pub(super) async fn show<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(token): Path<String>,
    query: Asked,
    headers: HeaderMap,
) -> Result<Response, Denied> {
    front.link(&token, LinkKind::Guardian).await?;
    page(&front, &token, asked(&query, "lang"), asked_language(&headers), Vec::new(), "").await
}

pub(super) async fn act<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(token): Path<String>,
    query: Asked,
    headers: HeaderMap,
    fields: Fields,
) -> Result<Response, Denied> {
    front.link(&token, LinkKind::Guardian).await?;
    let question = fields.first("question").trim().to_owned();
    let (kind, done) = match fields.first("act") {
        "heard" => (AnswerKind::Heard, NotedKind::Heard),
        "cant_come" => (AnswerKind::CantCome, NotedKind::CantCome),
        "question" if question.is_empty() => {
            let empty =
                items(&fields)?.into_iter().take(1).map(|(child, event, _)| (NotedKind::Empty, child, event));
            return page(
                &front,
                &token,
                asked(&query, "lang"),
                asked_language(&headers),
                empty.collect(),
                "",
            )
            .await;
        }
        word if Request::from_word(word).is_some() => {
            return request(&front, &token, &query, &headers, &fields).await;
        }
        "question" => (AnswerKind::Question, NotedKind::Question),
        _ => return Err(Denied::BadForm),
    };
    let words = if kind == AnswerKind::Question { question.as_str() } else { "" };
    let items = items(&fields)?;
    let mut noted = Vec::new();
    let seen: Vec<_> =
        items.iter().map(|(child, event, seen)| (child.as_str(), event.as_str(), *seen)).collect();
    let became = front.office.answer_all_by_link(&token, &seen, kind, words).await?;
    for (became, (child, event, _)) in became.into_iter().zip(items) {
        match became {
            Noted::Recorded | Noted::Known => noted.push((done, child, event)),
            Noted::Changed => noted.push((NotedKind::Stale, child, event)),
            Noted::NotCovered => return Err(Denied::BadForm),
        }
    }
    page(&front, &token, asked(&query, "lang"), asked_language(&headers), noted, words).await
}

/// A request that a person has to grant.
async fn request<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    token: &str,
    query: &Asked,
    headers: &HeaderMap,
    fields: &Fields,
) -> Result<Response, Denied> {
    let request = Request::from_word(fields.first("act")).ok_or(Denied::BadForm)?;
    let words = fields.first("words").trim();
    let (child, event, _) = items(fields)?.into_iter().next().ok_or(Denied::BadForm)?;
    let kind = if words.is_empty() { NotedKind::Empty } else { NotedKind::Requested };
    if !words.is_empty() && !front.office.request_by_link(token, (&child, &event), request, words).await? {
        return Err(Denied::BadForm);
    }
    page(front, token, asked(query, "lang"), asked_language(headers), vec![(kind, child, event)], "").await
}

/// The items of a form, each with the fingerprint of what its page showed.
fn items(fields: &Fields) -> Result<Vec<(String, String, Fingerprint)>, Denied> {
    let named: Vec<&str> = fields.all("item").collect();
    let seen: Vec<&str> = fields.all("fingerprint").collect();
    if named.is_empty() || named.len() != seen.len() {
        return Err(Denied::BadForm);
    }
    named
        .into_iter()
        .zip(seen)
        .map(|(item, seen)| {
            let (child, event) = item.split_once('/').ok_or(Denied::BadForm)?;
            Ok((child.to_owned(), event.to_owned(), seen.parse().map_err(|_| Denied::BadForm)?))
        })
        .collect()
}

async fn page<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    token: &str,
    language: &str,
    browser: &'static Labels,
    noted: Vec<(NotedKind, String, String)>,
    words: &str,
) -> Result<Response, Denied> {
    let Some(data) = front.office.guardian_data(token).await? else { return Err(front.gone().await) };
    if data.sheets.is_empty() {
        return Err(front.gone().await);
    }
    let season = &data.board.season;
    let own = data.guardians.first().map(|g| &season.guardians[g.at()].contact.language);
    let labels = shown::labels(language, own.unwrap_or(&season.language), &season.language, browser);
    let others = LANGUAGES.iter().filter(|other| other.lang != labels.lang).map(|other| OtherLanguage {
        href: format!("?lang={}", other.lang),
        lang: other.lang.to_owned(),
        name: other.name.to_owned(),
    });
    Ok(html(&GuardianPage {
        labels,
        school: season.school.clone(),
        season: season.name.clone(),
        twelve: clocks::is_twelve(&season.country, labels.lang),
        as_of: shown::as_of(&season.zone, front.office.now()),
        others: others.collect(),
        noted: noted.into_iter().filter_map(|line| noted_line(&data, labels, line, words)).collect(),
        sheets: data.sheets.iter().filter_map(|one| sheet(&data, labels, one)).collect(),
        rules: house_rules(&data, labels),
        telephone: shown::school_telephone(season),
        calendar_href: Some(format!("/r/{token}/calendar")),
    }))
}

fn noted_line(
    data: &GuardianData,
    labels: &Labels,
    (kind, child, event): (NotedKind, String, String),
    question: &str,
) -> Option<NotedLine> {
    let item = data.board.item(&child, &event)?;
    let season = &data.board.season;
    let early = !question.is_empty() && asks_early(&data.board, item, question);
    let rule = if early { shown::release_rule(&data.board, item, labels) } else { String::new() };
    Some(NotedLine {
        rule,
        kind,
        given: season.given_name(item.who).to_owned(),
        event: item.event.map_or_else(
            || labels.house_rules.to_owned(),
            |e| shown::said(season, &season.events[e.at()].name, labels),
        ),
    })
}

fn seen_item(data: &GuardianData, one: &SheetData) -> SeenItem {
    let (child, event) = data.board.item_refs(one.item);
    SeenItem { item: format!("{child}/{event}"), fingerprint: one.fingerprint.to_string() }
}

/// The season's house rules, one answer for all children they are asked for.
fn house_rules(data: &GuardianData, labels: &Labels) -> Option<HouseRules> {
    let season = &data.board.season;
    let asked: Vec<&SheetData> = data.sheets.iter().filter(|one| one.item.event.is_none()).collect();
    let worst = asked.iter().map(|one| one.standing).find(|s| *s != Standing::Heard);
    let answered = asked.iter().filter_map(|one| one.answered).max();
    let rules: Vec<(String, String)> = rules_of(season, None)
        .map(|rule| (shown::said(season, &rule.name, labels), rule_text(season, rule, labels)))
        .collect();
    asked.first()?;
    Some(HouseRules {
        items: asked.iter().map(|one| seen_item(data, one)).collect(),
        givens: asked.iter().map(|one| season.given_name(one.item.who).to_owned()).collect(),
        rules,
        standing: shown::mark(worst.unwrap_or(Standing::Heard)),
        answered: answered.map(|at| shown::as_of(&season.zone, at)),
    })
}

fn rule_text(season: &Season, rule: &HouseRule, labels: &Labels) -> String {
    let text = rule.texts.get(&Language(labels.lang.to_owned())).or_else(|| rule.texts.get(&season.language));
    text.cloned().unwrap_or_else(|| rule.name.clone())
}

/// Who of the reader's own household may collect the child, and who else was accepted.
fn collectors(data: &GuardianData, item: Item) -> Vec<String> {
    let season = &data.board.season;
    let Some(child) = item.who.child() else { return Vec::new() };
    let own: Vec<_> =
        data.board.cares_of(child).filter(|care| data.guardians.contains(&care.guardian)).collect();
    let hers = |care: &&Care| own.iter().any(|mine| mine.household == care.household);
    let guardians = data.board.cares_of(child).filter(|care| care.collects).filter(hers);
    let names = guardians.map(|care| season.guardians[care.guardian.at()].name.clone());
    // Who was accepted was asked for by one household, and another may not be meant to know.
    let alone = data.board.cares_of(child).all(|care| hers(&care));
    let others = season.children[child.at()].also_collects.iter().filter(|_| alone).cloned();
    names.chain(others).collect()
}

/// Chaperones of the child who neither sign in nor out; only where the season introduces chaperones to families.
fn beside(data: &GuardianData, it: Option<&Itinerary>) -> Vec<String> {
    let season = &data.board.season;
    let Some(it) = it.filter(|it| !it.who.is_chaperone() && season.notices.iter().any(Notice::introduces))
    else {
        return Vec::new();
    };
    let all =
        chaperones_of(season, it).into_iter().filter(|c| ![it.signs_in, it.signs_out].contains(&Some(*c)));
    all.map(|c| season.chaperones[c.at()].name.clone()).collect()
}

fn sheet(data: &GuardianData, labels: &Labels, one: &SheetData) -> Option<SheetView> {
    let event_id = one.item.event?;
    let season = &data.board.season;
    let event = &season.events[event_id.at()];
    let place = &season.places[event.place.at()];
    let it = data.board.itinerary(one.item);
    let told = Before(one.before.as_ref().filter(|before| !before.is_cancelled()));
    let chaperone = |id: crate::domain::season::ChaperoneId| season.chaperones[id.at()].name.clone();
    let called_off = one.facts.is_cancelled();
    let name = |field, now: &str| {
        let told = if called_off { ToldFact::same(now.to_owned()) } else { told.text(field, now) };
        ToldFact {
            now: shown::said(season, &told.now, labels),
            was: told.was.map(|was| shown::said(season, &was, labels)),
        }
    };
    Some(SheetView {
        item: seen_item(data, one),
        given: season.given_name(one.item.who).to_owned(),
        event: shown::said(season, &event.name, labels),
        date: told.parsed::<Date>(Field::Date, event.date),
        place: name(Field::Place, &place.name),
        door: name(Field::Door, &place.door),
        called_off,
        changed: one.before.as_ref().is_some_and(|before| before.fingerprint() != one.fingerprint),
        ribbon: ribbon(data, labels, one.item, place, &told),
        arrive_ready: name(Field::Ready, one.facts.get(Field::Ready)),
        bring: name(Field::Bring, one.facts.get(Field::Bring)),
        leave_home: ToldFact::same(shown::said(season, &event.leave_home, labels)),
        hand_in: name(Field::TurnIn, one.facts.get(Field::TurnIn)),
        adults_watch: event.adults_watch,
        signs_in: it.and_then(|it| it.signs_in).map(chaperone),
        signs_out: it.and_then(|it| it.signs_out).map(chaperone),
        collectors: collectors(data, one.item),
        beside: beside(data, it),
        rules: if one.item.who.is_chaperone() {
            Vec::new()
        } else {
            rules_of(season, Some(event_id)).map(|rule| rule_text(season, rule, labels)).collect()
        },
        shift: one.item.who.is_chaperone().then(|| ShiftView {
            numbers: name(Field::Numbers, one.facts.get(Field::Numbers)),
            task: name(Field::Task, one.facts.get(Field::Task)),
            signs_in: name(Field::SignsIn, one.facts.get(Field::SignsIn)),
            signs_out: name(Field::SignsOut, one.facts.get(Field::SignsOut)),
            // A room is shown here and on paper, and never leaves in a message.
            room: ToldFact::same(shown::rooms(season, one.item)),
            kit: ToldFact::same(season.settings.kit.clone()),
        }),
        standing: shown::mark(one.standing),
        answered: one.answered.map(|at| shown::as_of(&season.zone, at)),
    })
}

fn ribbon(
    data: &GuardianData,
    labels: &Labels,
    item: Item,
    place: &Place,
    told: &Before<'_>,
) -> Vec<TimeRow> {
    let season = &data.board.season;
    let Some(it) = data.board.itinerary(item) else { return Vec::new() };
    let mut rows = Vec::new();
    let longest = place.ways.iter().max_by_key(|way| way.walk.1);
    if let (Some(at), Some(way)) = (it.park_by, longest) {
        let others =
            place.ways.iter().filter(|other| other.name != way.name).map(|other| walk(season, labels, other));
        rows.push(TimeRow {
            kind: RowKind::ParkBy(WayIn { name: shown::said(season, &way.name, labels), walk: way.walk }),
            time: told.parsed(Field::ParkBy, at.time()),
            note: others.collect::<Vec<_>>().join(" "),
        });
    }
    let call = told.parsed(Field::Call, it.call.time());
    let called = if it.shift.is_some() { RowKind::Due } else { RowKind::Call };
    rows.push(TimeRow { kind: called, time: call, note: String::new() });
    let mut own = |kind, field, at: Option<DateTime>| {
        rows.extend(at.map(|at| TimeRow { kind, time: told.parsed(field, at.time()), note: String::new() }));
    };
    if let Some(shift) = &it.shift {
        own(RowKind::Briefing, Field::Briefing, shift.briefing);
        own(RowKind::Station, Field::Station, shift.station);
    }
    if let Some(begins) = it.begins() {
        rows.push(TimeRow {
            kind: RowKind::Starts,
            time: ToldFact::same(begins.time()),
            note: String::new(),
        });
    }
    if let Some(until) = it.shift.as_ref().and_then(|shift| shift.until) {
        rows.push(TimeRow {
            kind: RowKind::Over,
            time: told.parsed(Field::Until, until.time()),
            note: String::new(),
        });
    }
    if let Some(from) = it.collect_from.map(Release::at) {
        let collect_at = if place.collect_at.is_empty() { &place.door } else { &place.collect_at };
        let note = format!("{}.", shown::said(season, collect_at, labels));
        rows.push(TimeRow {
            kind: RowKind::Collect,
            time: told.parsed(Field::CollectFrom, from.time()),
            note,
        });
    }
    rows
}

fn walk(season: &Season, labels: &Labels, way: &crate::domain::season::Way) -> String {
    let (short, long) = (way.walk.0.to_string(), way.walk.1.to_string());
    let name = shown::said(season, &way.name, labels);
    if short == long {
        fill(labels.walk, &[&name, &long])
    } else {
        fill(labels.walk_range, &[&name, &short, &long])
    }
}

/// What the reader knew before, where that differs.
struct Before<'a>(Option<&'a Facts>);

impl Before<'_> {
    fn text(&self, field: Field, now: &str) -> ToldFact<String> {
        match self.0.map(|before| before.get(field)).filter(|was| *was != now) {
            Some(was) if !was.is_empty() => ToldFact::changed(was.to_owned(), now.to_owned()),
            _ => ToldFact::same(now.to_owned()),
        }
    }

    fn parsed<T: std::str::FromStr + PartialEq>(&self, field: Field, now: T) -> ToldFact<T> {
        match self.0.and_then(|before| before.get(field).parse().ok()).filter(|was| *was != now) {
            Some(was) => ToldFact::changed(was, now),
            None => ToldFact::same(now),
        }
    }
}
