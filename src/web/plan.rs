//! `/season/plan` and what lies under it: what will leave and why then, in which words, and the step that sets it going.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::http::HeaderMap;
use axum::response::Response;
use jiff::Timestamp;
use jiff::civil::Date;

use super::course::line;
use super::fields::Fields;
use super::labels::{ENGLISH, capitalised};
use super::messages::Skip;
use super::respond::{Denied, html};
use super::routes::Front;
use super::shown;
use super::views::{
    PlanBurst, PlanDay, PlanDayPage, PlanGround, PlanLine, PlanPage, PlanStep, PlanTotal, PlanWording,
    SpecimenPage, StartForm,
};
use crate::domain::board::Board;
use crate::domain::money::Bill;
use crate::domain::plan::Wanted;
use crate::domain::published::reminders::{ReminderStep, sentence};
use crate::domain::reasons;
use crate::domain::season::{Channel, Season};
use crate::domain::segments;
use crate::service::outlook::{Burst, Leaving, SendingOutlook, totals};
use crate::service::ports::{Content, Course, Gateway, Hand, Outcome, Store};
use crate::service::specimens::{Specimen, Tested};

/// Messages on one page.
const ON_A_PAGE: usize = 50;
/// Days whose messages are named before a season is set going.
const DAYS_NAMED: i64 = 7;
/// The deliberate step.
const SET_GOING: &str = "set_going";

pub(super) async fn show<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    headers: HeaderMap,
) -> Result<Response, Denied> {
    front.coordinator(&headers).await?;
    page(&front, None).await
}

/// Sets the season going, pauses it, or goes on.
pub(super) async fn act<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    headers: HeaderMap,
    fields: Fields,
) -> Result<Response, Denied> {
    front.coordinator_acts(&headers).await?;
    let act = fields.first("act");
    if act != SET_GOING {
        let notice = front.course_act(act).await?.ok_or(Denied::BadForm)?;
        return page(&front, Some(notice)).await;
    }
    let revision: i64 = fields.first("revision").parse().map_err(|_| Denied::BadForm)?;
    let notice = if fields.first("sure") != "yes" {
        "Nothing was started: first tick that you have read what will be sent."
    } else if front.office.desk().await?.revision != revision {
        "Nothing was started: another workbook has been saved since you looked. Please look again at what will be sent."
    } else if front.office.set_going(Hand::Coordinator).await? {
        "Started: messages are sent when they are due."
    } else {
        "Already started. Nothing changed."
    };
    page(&front, Some(notice.to_owned())).await
}

async fn page<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    notice: Option<String>,
) -> Result<Response, Denied> {
    let outlook = front.office.outlook().await?;
    let board = &*outlook.board;
    let season = &board.season;
    let start = (outlook.course == Course::NotYet)
        .then(|| StartForm { revision: outlook.revision, agreed: agreed(&outlook) });
    let tariffs = if outlook.all.iter().any(|one| one.cost.is_none()) {
        "What some of it costs is not known: write mail.cost, and cost under each text gateway, into the configuration."
    } else {
        ""
    };
    Ok(html(&PlanPage {
        school: season.school.clone(),
        season: season.name.clone(),
        as_of: shown::as_of(&season.zone, outlook.now),
        notice,
        heading: heading(&outlook),
        course: line(outlook.course, &season.zone),
        start,
        tariffs: tariffs.to_owned(),
        totals: totals(&outlook.bursts)
            .into_iter()
            .map(|total| PlanTotal {
                week: ENGLISH.day(&total.monday),
                channel: road(total.channel),
                messages: total.messages,
                segments: segment_words(total.channel, total.segments),
                cost: cost_words(&total.bill),
            })
            .collect(),
        days: days(board, &outlook.bursts),
        specimens: specimens(board, &outlook.all),
        steps: steps(season),
        grounds: grounds(board, outlook.all.iter().map(|one| &one.wanted)),
    }))
}

/// What people do beside the messages, and from which page.
fn steps(season: &Season) -> Vec<PlanStep> {
    let step = |(day, step): (Date, ReminderStep)| {
        let (href, page) = match step {
            ReminderStep::ClassDoor => ("/season/door", "The class door"),
            ReminderStep::Calls => ("/season/chase", "Whom to ring"),
            ReminderStep::OnlyChanges => ("", ""),
        };
        let when = format!("From {}", ENGLISH.day(&day));
        PlanStep { when, what: step.words(), why: sentence(step.grounds()), href, page }
    };
    reasons::beside(season).into_iter().map(step).collect()
}

/// What the notices of messages rest on.
fn grounds<'a>(board: &'a Board, messages: impl IntoIterator<Item = &'a Wanted>) -> Vec<PlanGround> {
    let ground = |(names, why): (Vec<&str>, &str)| {
        let names: Vec<String> = names.into_iter().map(str::to_owned).collect();
        PlanGround { notices: names.join("; "), why: why.to_owned() }
    };
    reasons::rests_on(board, messages).into_iter().map(ground).collect()
}

fn heading(outlook: &SendingOutlook) -> String {
    let planned = counted(outlook.all.len());
    match outlook.all.iter().filter_map(|one| one.leaves).min() {
        Some(first) => {
            let verb = if outlook.all.len() == 1 { "is" } else { "are" };
            format!("{planned} {verb} planned, the first for {}", moment(&outlook.board, first))
        }
        None => "No messages are planned".to_owned(),
    }
}

/// What the coordinator agrees to when she sets the season going.
fn agreed(outlook: &SendingOutlook) -> String {
    let (soon, bill) = outlook.within(DAYS_NAMED);
    let rest = outlook.all.len() - soon;
    let cost = match (soon, bill.is_unknown()) {
        (0, _) => String::new(),
        (_, true) => ", at a cost that is not known".to_owned(),
        (_, false) => format!(", for {bill}"),
    };
    format!("Yes: {} to families in the next {DAYS_NAMED} days{cost}; {rest} later.", counted(soon))
}

fn days(board: &Board, bursts: &[Burst]) -> Vec<PlanDay> {
    let mut days: Vec<(Date, PlanDay)> = Vec::new();
    for one in bursts {
        if days.last().is_none_or(|(day, _)| *day != one.day) {
            let day = PlanDay {
                words: ENGLISH.day(&one.day),
                href: format!("/season/plan/{}", one.day),
                bursts: Vec::new(),
            };
            days.push((one.day, day));
        }
        if let Some((_, day)) = days.last_mut() {
            day.bursts.push(burst(board, one));
        }
    }
    days.into_iter().map(|(_, day)| day).collect()
}

fn burst(board: &Board, one: &Burst) -> PlanBurst {
    let clock = |at: Timestamp| shown::as_of(&board.season.zone, at).time.strftime("%H:%M:%S").to_string();
    let when = match one.span.map(|(first, last)| (clock(first), clock(last))) {
        Some((first, last)) if first == last => format!("at {first}"),
        Some((first, last)) => format!("the first at {first}, the last at {last}"),
        None => "none in time".to_owned(),
    };
    let late = match (one.late, one.start) {
        (0, _) => String::new(),
        (n, Some(start)) => format!(
            "{n} of them cannot leave in time: they would have to begin by {}, or the gateway to be faster.",
            moment(board, start)
        ),
        (n, None) => format!("{n} of them cannot leave in time, however early they begin."),
    };
    PlanBurst {
        what: format!("{}, {}", one.notices, road(one.channel)),
        messages: one.messages,
        when,
        segments: segment_words(one.channel, one.segments),
        cost: cost_words(&one.bill),
        late,
    }
}

/// The first message of each wording, channel and language, by wording.
fn specimens(board: &Board, all: &[Leaving]) -> Vec<PlanWording> {
    let mut firsts: BTreeMap<(&str, Channel, String), &Leaving> = BTreeMap::new();
    for one in all {
        let language = language(board, &one.wanted);
        firsts.entry((&one.wanted.wording, one.wanted.channel, language)).or_insert(one);
    }
    let several = firsts.keys().any(|(_, _, language)| *language != board.season.language.0);
    let mut wordings: Vec<(&str, PlanWording)> = Vec::new();
    for ((wording, channel, language), one) in firsts {
        let name = shown::language_name(&crate::domain::season::Language(language));
        let words = if several { format!("{}, {name}", road(channel)) } else { road(channel).to_owned() };
        if wordings.last().is_none_or(|(last, _)| *last != wording) {
            let name = capitalised(&wording.replace('-', " "));
            wordings.push((wording, PlanWording { name, links: Vec::new() }));
        }
        if let Some((_, last)) = wordings.last_mut() {
            last.links.push((format!("/season/plan/{}", one.wanted.key), capitalised(&words)));
        }
    }
    wordings.into_iter().map(|(_, wording)| wording).collect()
}

/// The language a message is written in, as far as its reader asked for one.
fn language(board: &Board, wanted: &Wanted) -> String {
    let season = &board.season;
    let first = wanted.guardians.first().map(|g| &season.guardians[g.at()].contact.language);
    first.unwrap_or(&season.language).0.clone()
}

/// A day's messages one by one, or the words of one message.
pub(super) async fn show_one<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(what): Path<String>,
    Query(query): Query<Skip>,
    headers: HeaderMap,
) -> Result<Response, Denied> {
    front.coordinator(&headers).await?;
    match what.parse::<Date>() {
        Ok(day) => day_page(&front, day, query.skip as usize).await,
        Err(_) => specimen_page(&front, &what, None).await,
    }
}

async fn day_page<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    day: Date,
    skip: usize,
) -> Result<Response, Denied> {
    let outlook = front.office.outlook().await?;
    let board = &*outlook.board;
    let mut lines: Vec<&Leaving> = outlook.all.iter().filter(|one| one.day(board) == day).collect();
    lines.sort_by_key(|one| (one.leaves.is_none(), one.leaves, &one.wanted.key));
    let next = skip.saturating_add(ON_A_PAGE);
    let heading = match lines.len() {
        0 => format!("Nothing leaves on {}", ENGLISH.day(&day)),
        1 => format!("{}: one message leaves", ENGLISH.day(&day)),
        n => format!("{}: {n} messages leave", ENGLISH.day(&day)),
    };
    Ok(html(&PlanDayPage {
        school: board.season.school.clone(),
        season: board.season.name.clone(),
        as_of: shown::as_of(&board.season.zone, outlook.now),
        heading,
        grounds: grounds(board, lines.iter().map(|one| &one.wanted)),
        later: (lines.len() > next).then(|| format!("/season/plan/{day}?skip={next}")),
        lines: lines.into_iter().skip(skip).take(ON_A_PAGE).map(|one| plan_line(board, one)).collect(),
    }))
}

fn plan_line(board: &Board, one: &Leaving) -> PlanLine {
    let leaves = match one.leaves {
        Some(at) => format!("Leaves {}", moment(board, at)),
        None => format!("Due {}, and cannot leave in time", moment(board, one.wanted.due)),
    };
    let segments = segment_words(one.wanted.channel, one.segments.len());
    let segments = if segments.is_empty() { segments } else { format!(", {segments}") };
    let cost = one.cost.map_or_else(|| "no tariff".to_owned(), |cost| cost.to_string());
    PlanLine {
        to: names(board, &one.wanted),
        matter: format!("{}, {}", one.notices(board), road(one.wanted.channel)),
        href: format!("/season/plan/{}", one.wanted.key),
        leaves: format!("{leaves}{segments}, {cost}"),
        why: one.why.clone(),
    }
}

/// Sends a test of one message to the coordinator.
pub(super) async fn act_one<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(key): Path<String>,
    headers: HeaderMap,
    fields: Fields,
) -> Result<Response, Denied> {
    front.coordinator_acts(&headers).await?;
    let once = fields.first("once");
    if fields.first("act") != "test" || once.is_empty() {
        return Err(Denied::BadForm);
    }
    let notice = match front.office.send_test(&key, once).await? {
        Tested::Gone => return Err(Denied::NotFound),
        Tested::NoAddress(channel) => missing(channel),
        Tested::Before => "That test was already sent. Nothing was sent again.".to_owned(),
        Tested::Handed(channel, outcome) => handed(channel, &outcome),
    };
    specimen_page(&front, &key, Some(notice)).await
}

fn handed(channel: Channel, outcome: &Outcome) -> String {
    let look = match channel {
        Channel::Mail => "your mailbox",
        Channel::Text => "your telephone",
    };
    match outcome {
        Outcome::Accepted => format!("The gateway took the test: look at {look}."),
        Outcome::Refused { why, .. } => format!("The gateway refused the test: {why}."),
        Outcome::Uncertain { why } => format!("Nobody knows whether the test left: {why}. Look at {look}."),
        Outcome::Temporary { why, .. } | Outcome::Suspect { why } | Outcome::Unusable { why } => {
            format!("The test could not be handed over, and was not sent: {why}.")
        }
    }
}

fn missing(channel: Channel) -> String {
    let key = match channel {
        Channel::Mail => "coordinator.mail",
        Channel::Text => "coordinator.phone",
    };
    format!("There is no address of yours to send it to: write {key} into the configuration.")
}

async fn specimen_page<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    key: &str,
    notice: Option<String>,
) -> Result<Response, Denied> {
    let Specimen { board, wanted, content, why, now } =
        front.office.specimen(key).await?.ok_or(Denied::NotFound)?;
    let channel = wanted.channel;
    let (subject, words, length) = match content {
        Content::Mail(mail) => (mail.subject, mail.text, String::new()),
        Content::Text(words) => {
            let length = length(&words);
            (String::new(), words, length)
        }
    };
    let to = front.office.ways.coordinator.iter().find(|(by, _)| *by == channel);
    Ok(html(&SpecimenPage {
        school: board.season.school.clone(),
        season: board.season.name.clone(),
        as_of: shown::as_of(&board.season.zone, now),
        notice,
        heading: format!("What {} will read, {}", names(&board, &wanted), road(channel)),
        why: format!("Due {}. {why}.", moment(&board, wanted.due)),
        grounds: grounds(&board, [&wanted]),
        subject,
        words,
        language: language(&board, &wanted),
        length,
        test_to: to.map(|(_, address)| shown::veiled(address)),
        once: front.office.token(),
        test_missing: missing(channel),
    }))
}

/// How long a text is, and what made it longer.
fn length(words: &str) -> String {
    let count = segments::count(words);
    let segments = segment_words(Channel::Text, count.segments.len());
    if count.causes.is_empty() {
        return format!("{segments}.");
    }
    let causes: Vec<String> = count.causes.iter().map(|c| format!("‘{c}’")).collect();
    format!("{segments}; {} made it longer.", ENGLISH.list(&causes))
}

fn names(board: &Board, wanted: &Wanted) -> String {
    let name =
        |guardian: &crate::domain::season::GuardianId| board.season.guardians[guardian.at()].name.clone();
    ENGLISH.list(&wanted.guardians.iter().map(name).collect::<Vec<String>>())
}

fn moment(board: &Board, at: Timestamp) -> String {
    let at = shown::as_of(&board.season.zone, at);
    format!("{}, {}", at.english_day(), at.clock())
}

fn road(channel: Channel) -> &'static str {
    match channel {
        Channel::Mail => "by mail",
        Channel::Text => "by text",
    }
}

fn counted(messages: usize) -> String {
    if messages == 1 { "1 message".to_owned() } else { format!("{messages} messages") }
}

fn segment_words(channel: Channel, segments: usize) -> String {
    match (channel, segments) {
        (Channel::Mail, _) => String::new(),
        (Channel::Text, 1) => "1 segment".to_owned(),
        (Channel::Text, n) => format!("{n} segments"),
    }
}

fn cost_words(bill: &Bill) -> String {
    if bill.is_unknown() { "cost not known".to_owned() } else { bill.to_string() }
}
