//! What waits for the coordinator, and how sending goes, from the season's data to words.

use super::labels::ENGLISH;
use super::shown;
use super::views::{
    AskedRow, Decision, HeldRow, MessageCount, Needs, NoWay, OpenAnswer, Returned, Uncertain, plural,
};
use crate::domain::board::{Board, Item};
use crate::domain::graph::State;
use crate::domain::season::{Channel, ChildId, Contact, EventId, GuardianId};
use crate::domain::wall;
use crate::service::hearing::{asked_about, asks_early};
use crate::service::lists::SeasonData;
use crate::service::ports::{Doubt, OpenReply, StoredMessage};
use crate::service::requesting::Request;
use jiff::Timestamp;

/// Minutes in a day.
const MINUTES_A_DAY: i64 = 24 * 60;

/// Everything that waits for a person.
pub(super) fn needs(data: &SeasonData) -> Needs {
    Needs {
        decisions: decisions(data),
        asked: asked(data),
        uncertain: data.uncertain.iter().map(|message| uncertain(&data.board, message)).collect(),
        returned: data
            .returned
            .iter()
            .chain(&data.quarantined)
            .map(|message| returned(&data.board, message))
            .collect(),
        answers: data.replies.iter().map(|one| answer(&data.board, one)).collect(),
        no_way: data
            .no_way
            .iter()
            .map(|(guardian, children)| no_way(&data.board, *guardian, children))
            .collect(),
    }
}

/// Events of which it is still open whether they take place, the most urgent first.
fn decisions(data: &SeasonData) -> Vec<Decision> {
    let season = &data.board.season;
    let open = (0_u32..).map(EventId).zip(&season.events).filter_map(|(id, event)| {
        let by = event.decide_by.filter(|_| !event.cancelled && season.curtain_up(id) > data.now)?;
        Some((wall::instant(&season.zone, by), event))
    });
    let mut open: Vec<_> = open.collect();
    open.sort_by_key(|(by, _)| *by);
    open.into_iter()
        .map(|(by, event)| {
            let at = shown::as_of(&season.zone, by);
            Decision {
                event: format!("{}, {}", event.name, ENGLISH.day(&event.date)),
                by: format!("Decide by {}, {}: {}.", at.english_day(), at.clock(), left(data.now, by)),
                href: format!("/season/change/event?event={}", event.reference),
            }
        })
        .collect()
}

/// How long it is until an instant, or since, in words.
fn left(now: Timestamp, until: Timestamp) -> String {
    let minutes = until.duration_since(now).as_mins();
    let (days, hours, rest) = (minutes.abs() / MINUTES_A_DAY, minutes.abs() / 60 % 24, minutes.abs() % 60);
    let part = |count: i64, word: &str| {
        let number = usize::try_from(count).unwrap_or(0);
        (count > 0).then(|| format!("{} {}", ENGLISH.number(number), plural(word, number)))
    };
    // Nobody counts minutes a day ahead.
    let minutes_told = if days > 0 { 0 } else { rest };
    let parts = [part(days, "day"), part(hours, "hour"), part(minutes_told, "minute")];
    let words = ENGLISH.list(&parts.into_iter().flatten().collect::<Vec<_>>());
    match minutes {
        0 => "that is now".to_owned(),
        1.. => format!("in {words}"),
        _ => format!("that was {words} ago"),
    }
}

/// Questions, and children who can't come; the same words of one guardian for several children stand once.
fn asked(data: &SeasonData) -> Vec<AskedRow> {
    let season = &data.board.season;
    let mut out: Vec<(Option<GuardianId>, AskedRow)> = Vec::new();
    for one in &data.asked {
        let mut events: Vec<&str> = one
            .items
            .iter()
            .map(|item| item.event.map_or("the house rules", |e| season.events[e.at()].name.as_str()))
            .collect();
        events.dedup();
        let events = events.join(", ");
        let words = match &one.question {
            Some((_, question)) if events.is_empty() => question.clone(),
            Some((_, question)) => format!("{question} ({events})"),
            None => format!("Can't come: {events}"),
        };
        let mut children: Vec<String> = one
            .items
            .iter()
            .filter_map(|item| item.who.child())
            .map(|c| season.full_name(c.into()))
            .collect();
        children.dedup();
        let at = shown::as_of(&season.zone, one.at);
        let question = one.question.as_ref().map(|(id, _)| *id);
        let refs = |item: &Item| data.board.item_refs(*item);
        let cannot: Vec<String> = match question {
            Some(_) => Vec::new(),
            None => one.items.iter().map(refs).map(|(child, event)| format!("{child}/{event}")).collect(),
        };
        let same = out.iter_mut().find(|(who, line)| {
            question.is_none() && *who == one.guardian && line.words == words && line.at == at
        });
        match same {
            Some((_, line)) => {
                line.children.extend(children);
                line.cannot.extend(cannot);
            }
            None => {
                let guardian = one.guardian.map(|g| &season.guardians[g.at()]);
                let line = AskedRow {
                    guardian: guardian.map_or_else(
                        || format!("Somebody at {}", one.stranger),
                        |guardian| guardian.name.clone(),
                    ),
                    children,
                    words,
                    at,
                    telephone: guardian.and_then(|guardian| shown::telephone(season, &guardian.contact)),
                    question,
                    rule: rule(data, one),
                    grants: one.request == Some(Request::Collector),
                    reference: guardian.map_or(String::new(), |guardian| guardian.reference.clone()),
                    cannot,
                    road: one.road.map(|channel| match channel {
                        Channel::Mail => "mail",
                        Channel::Text => "text",
                    }),
                };
                out.push((one.guardian, line));
            }
        }
    }
    out.into_iter().map(|(_, line)| line).collect()
}

/// The rule of the event, for a question that asks for early release; else empty.
fn rule(data: &SeasonData, one: &crate::service::lists::Asked) -> String {
    match one.request {
        Some(Request::Collector) => {
            return "Somebody else is to collect. Ring the number on file first.".to_owned();
        }
        Some(Request::Address) => {
            return "Their number or address is wrong. Ring the number on file first, then change it in the workbook."
                .to_owned();
        }
        None => {}
    }
    let (Some((_, words)), Some(guardian)) = (&one.question, one.guardian) else { return String::new() };
    let item = asked_about(&data.board, &[guardian], &one.items, words, one.at);
    let item = item.filter(|item| asks_early(&data.board, *item, words));
    let rule = item.map(|item| shown::release_rule(&data.board, item, &ENGLISH));
    rule.filter(|rule| !rule.is_empty())
        .map_or(String::new(), |rule| format!("Asks for early release. {rule}"))
}

/// Whom a message was for: names of guardians, full names of children; a chaperone's own has none.
fn people(board: &Board, message: &StoredMessage) -> (String, Vec<String>) {
    let season = &board.season;
    let guardians: Vec<String> = message
        .guardians
        .iter()
        .filter_map(|reference| board.guardian(reference))
        .map(|guardian| season.guardians[guardian.at()].name.clone())
        .collect();
    let mut children: Vec<String> = Vec::new();
    let items = message.parts.iter().filter_map(|part| board.item(&part.child, &part.event));
    for child in items.filter_map(|item| item.who.child()) {
        let name = season.full_name(child.into());
        if !children.contains(&name) {
            children.push(name);
        }
    }
    (super::labels::ENGLISH.list(&guardians), children)
}

fn road(channel: Channel) -> &'static str {
    match channel {
        Channel::Mail => "Mail",
        Channel::Text => "Text message",
    }
}

/// Which message, by which channel, and what happened.
fn why(board: &Board, message: &StoredMessage) -> String {
    let day = shown::as_of(&board.season.zone, message.due);
    let matter = message.wording.replace('-', " ");
    let reason = if message.why.is_empty() { message.state.word() } else { &message.why };
    format!("{}, {matter}, due {}, {}: {reason}", road(message.channel), day.english_day(), day.clock())
}

fn uncertain(board: &Board, message: &StoredMessage) -> Uncertain {
    let (guardian, children) = people(board, message);
    Uncertain { message: message.id.to_string(), guardian, children, why: why(board, message) }
}

fn returned(board: &Board, message: &StoredMessage) -> Returned {
    let (guardian, children) = people(board, message);
    let first = message.guardians.iter().find_map(|reference| board.guardian(reference));
    let telephone =
        first.and_then(|g| shown::telephone(&board.season, &board.season.guardians[g.at()].contact));
    Returned { message: message.id.to_string(), guardian, children, why: why(board, message), telephone }
}

/// An answer of the coordinator's that may not have arrived.
fn answer(board: &Board, one: &OpenReply) -> OpenAnswer {
    let season = &board.season;
    let theirs = |contact: &Contact| match one.channel {
        Channel::Mail => contact.mail.as_ref().is_some_and(|mail| mail.0 == one.address),
        Channel::Text => contact.phone.as_ref().is_some_and(|phone| phone.e164 == one.address),
    };
    let who = season.guardians.iter().find(|guardian| theirs(&guardian.contact));
    let at = shown::as_of(&season.zone, one.at);
    OpenAnswer {
        reply: one.id.to_string(),
        to: who.map_or_else(|| shown::veiled(&one.address), |guardian| guardian.name.clone()),
        heading: if one.is_uncertain { "Did your answer arrive?" } else { "Your answer did not arrive:" }
            .to_owned(),
        words: one.words.clone(),
        why: format!("{}, {}, {}: {}", road(one.channel), at.english_day(), at.clock(), one.why),
    }
}

/// Why nothing is sent, with the act that ends it.
pub(super) fn held(data: &SeasonData) -> Vec<HeldRow> {
    let local = shown::as_of(&data.board.season.zone, data.now);
    data.holds
        .iter()
        .map(|hold| {
            let act = format!("go_on_{}", hold.doubt.word());
            match hold.doubt {
                Doubt::Clock => HeldRow {
                    words: format!(
                        "Nothing is sent, because {}. It now says {}, {}. Is that right?",
                        hold.why,
                        local.english_day(),
                        local.clock()
                    ),
                    act: (act, "The clock is right: go on sending"),
                },
                Doubt::Restored => HeldRow {
                    words: format!(
                        "Nothing is sent, because {}. Decide about those in doubt below first; then go on.",
                        hold.why
                    ),
                    act: (act, "I have looked: go on sending"),
                },
            }
        })
        .collect()
}

fn no_way(board: &Board, guardian: GuardianId, children: &[ChildId]) -> NoWay {
    let season = &board.season;
    let contact = &season.guardians[guardian.at()].contact;
    let why = match (contact.mail.is_some(), contact.phone.is_some()) {
        (false, false) => "The workbook has neither a mail address nor a number.",
        (false, true) if contact.text_to().is_none() => {
            "There is no mail address, and the number may not be texted: it can be rung."
        }
        _ if contact.mail_to().is_none() && contact.text_to().is_none() => {
            "We may use neither the mail address nor the number: see the columns 'texts' and 'mails'."
        }
        _ => "What the workbook has was stopped by its owner, or does not work.",
    };
    NoWay {
        guardian: season.guardians[guardian.at()].name.clone(),
        children: children.iter().map(|c| season.full_name((*c).into())).collect(),
        why: why.to_owned(),
    }
}

/// Messages by state, in the order of a message's life.
pub(super) fn message_counts(counts: &[(State, Channel, u64)]) -> Vec<MessageCount> {
    State::ALL
        .into_iter()
        .map(|state| MessageCount {
            words: state.word().replace('_', " "),
            count: counts.iter().filter(|(s, _, _)| *s == state).map(|(_, _, n)| n).sum(),
        })
        .filter(|one| one.count > 0)
        .collect()
}

/// How sending goes on, in a sentence or two; empty if nothing is left to send.
pub(super) fn sending(data: &SeasonData) -> String {
    let zone = &data.board.season.zone;
    let mut words = Vec::new();
    match data.calls {
        0 => {}
        1 => words
            .push("The family of one child cannot answer by message: you'll need to ring them.".to_owned()),
        n => words.push(format!(
            "The families of {n} children cannot answer by message: you'll need to ring them."
        )),
    }
    if let Some(next) = data.next_due {
        let at = shown::as_of(zone, next.max(data.now));
        words.push(format!("Next message: {}, {}.", at.english_day(), at.clock()));
    }
    for (channel, rest) in &data.resting {
        let Some(until) = rest.until else { continue };
        let at = shown::as_of(zone, until).clock();
        words.push(format!("{} cannot be sent now; next try at {at}: {}.", road(*channel), rest.why));
    }
    words.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(now: &str, until: &str, expect: &str) {
        let at = |text: &str| text.parse::<Timestamp>().unwrap_or_default();
        assert_eq!(left(at(now), at(until)), expect);
    }

    #[test]
    fn a_decision_counts_down_in_words() {
        let by = "2027-06-04T14:00:00Z";
        check("2027-06-01T13:20:00Z", by, "in three days");
        check("2027-06-02T13:20:00Z", by, "in two days");
        check("2027-06-03T10:00:00Z", by, "in one day and four hours");
        check("2027-06-04T10:50:00Z", by, "in three hours and ten minutes");
        check("2027-06-04T13:59:00Z", by, "in one minute");
        check(by, by, "that is now");
        check("2027-06-04T15:30:00Z", by, "that was one hour and 30 minutes ago");
    }
}
