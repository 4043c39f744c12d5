//! What is readable but should be looked at before anybody is told anything.

use super::super::cron_rule::CronRule;
use super::super::season::{
    About, Audience, ChaperoneId, Child, Consent, Contact, Event, EventId, EventKind, Line, Notice, NumberId,
    Settings, Slot,
};
use super::super::typed::shown;
use super::super::words::{bare, key};
use super::desk::{Alike, CASES, COUNT, Desk, Spot, children_are, counted, row_list};
use super::people::{Known, People};
use super::programme::{Programme, danced, ending, first_call};
use super::settings::Head;
use jiff::civil::{Date, DateTime};
use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

/// Pairs of overlapping events looked at, at most; a real season has a handful.
const PAIRS_MAX: usize = 1_000;
/// Days between two events of one season beyond which a wrong year is more likely (a figure of ours).
const APART_MAX_DAYS: i32 = 180;
/// Names listed in one sentence at most.
const NAMES_TOLD: usize = 6;

pub(super) fn run(head: &Head, programme: &Programme, people: &People, desk: &mut Desk) {
    casts(programme, people, desk);
    children_in_two_places(programme, people, desk);
    one_place_twice(programme, desk);
    far_from_the_others(programme, desk);
    uncovered_numbers(programme, people, desk);
    chaperones_in_two_places(programme, people, desk);
    vetting(programme, people, desk);
    digests_out_of_hours(&head.settings, desk);
    if head.settings.children_per_adult == 0 {
        desk.error(
            Spot::sheet("season"),
            "children per adult is 0",
            "Write how many children one adult may have.",
        );
    }
}

/// What can be said of people by themselves.
pub(super) fn of_people(people: &Known, desk: &mut Desk) {
    same_children(people, desk);
    reach(people, desk);
    consents(people, desk);
}

/// An event in another year than the rest: a slip of the hand that would be told to everybody.
fn far_from_the_others(programme: &Programme, desk: &mut Desk) {
    let mut days: Vec<(Date, usize)> =
        programme.events.iter().enumerate().map(|(at, event)| (event.date, at)).collect();
    days.sort_unstable();
    let gap = |pair: &[(Date, usize)]| (pair[1].0 - pair[0].0).get_days();
    let widest = (1..days.len()).max_by_key(|at| gap(&days[at - 1..=*at]));
    let Some(at) = widest.filter(|at| gap(&days[at - 1..=*at]) > APART_MAX_DAYS) else { return };
    let apart = gap(&days[at - 1..=at]);
    let (few, side) = if at * 2 <= days.len() { (&days[..at], "before") } else { (&days[at..], "after") };
    for (date, event) in few {
        desk.warn(
            Spot::named("events", programme.event_rows[*event], "date"),
            format!(
                "{} is on {}, {apart} days {side} the other events",
                shown(&programme.events[*event].name),
                date.strftime("%-d %B %Y")
            ),
            "Look at the year.",
        );
    }
}

/// A digest meant for an hour at which nothing leaves.
fn digests_out_of_hours(settings: &Settings, desk: &mut Desk) {
    let rules = [
        ("chaperone digest", &settings.chaperone_digest),
        ("coordinator digest", &settings.coordinator_digest),
    ];
    for (name, rule) in rules {
        let Some(at) = rule.as_ref().and_then(CronRule::time_of_day) else { continue };
        if at < settings.quiet_until || at >= settings.quiet_from {
            let reason = format!(
                "{name}: no message leaves at {}, so it waits until {}",
                at.strftime("%H:%M"),
                settings.quiet_until.strftime("%H:%M")
            );
            desk.warn(Spot::sheet("season"), reason, "Choose a time at which messages may leave.");
        }
    }
}

fn same_children(people: &Known, desk: &mut Desk) {
    let mut guardians: Vec<BTreeSet<u32>> = vec![BTreeSet::new(); people.who.children.len()];
    for care in &people.who.cares {
        if let Some(child) = care.who.child() {
            guardians[child.at()].insert(care.guardian.0);
        }
    }
    let mut by_name: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for (at, child) in people.who.children.iter().enumerate() {
        let name = bare(&format!("{} {}", child.given, child.family));
        if !name.is_empty() {
            by_name.entry(name).or_default().push(at);
        }
    }
    let numbers = |child: &Child| child.castings.iter().map(|c| c.number).collect::<BTreeSet<_>>();
    for group in by_name.values().filter(|g| g.len() > 1) {
        let mut seen: HashMap<(BTreeSet<NumberId>, &BTreeSet<u32>), usize> = HashMap::new();
        let mut twice = false;
        for &at in group {
            if let Some(first) = seen.insert((numbers(&people.who.children[at]), &guardians[at]), at) {
                twice = true;
                let reason = format!(
                    "this child is also in row {}, with the same name, numbers and guardians",
                    people.rows.children[first]
                );
                desk.error(
                    Spot::row("children", people.rows.children[at]),
                    reason,
                    "Delete one of the two rows.",
                );
            }
        }
        if !twice {
            let rows: Vec<u32> = group.iter().map(|at| people.rows.children[*at]).collect();
            let reason =
                format!("{} have the same name; they are taken as different children", row_list(&rows));
            desk.hint(
                Spot::row("children", rows[0]),
                reason,
                "Delete one if they are the same child; else add a second name or initial.",
            );
        }
    }
}

fn can_be_written_to(contact: &Contact) -> bool {
    contact.mail_to().is_some() || contact.text_to().is_some()
}

fn reach(people: &Known, desk: &mut Desk) {
    for (guardian, row) in people.who.guardians.iter().zip(&people.rows.guardians) {
        let contact = &guardian.contact;
        if can_be_written_to(contact) {
            continue;
        }
        let (reason, cure) = match (&contact.phone, &contact.mail) {
            (None, None) => (
                "with neither a telephone number nor a mail address",
                "Write a mobile number or a mail address.",
            ),
            (Some(phone), None) if phone.line == Line::VoiceOnly => (
                "who can only be rung, with a number that takes no texts and no mail address",
                "Write a mobile number or a mail address if there is one.",
            ),
            (_, Some(_)) => (
                "who can only be rung: they want no mail and may not be texted",
                "Ask again, or plan to ring.",
            ),
            (Some(_), None) => (
                "who can only be rung: they may not be texted and have no mail address",
                "Ask whether texts are welcome and write yes, who agreed, and when.",
            ),
        };
        let name = shown(&guardian.name);
        let alike = Alike {
            many: format!("{COUNT} guardians {reason}: {CASES}"),
            case: format!("{name} (row {row})"),
        };
        desk.warn_alike(Spot::row("children", *row), format!("a guardian {reason}: {name}"), alike, cure);
    }
    let mut reached: HashSet<u32> = HashSet::new();
    for care in &people.who.cares {
        if can_be_written_to(&people.who.guardians[care.guardian.at()].contact) {
            reached.extend(care.who.child().map(|child| child.0));
        }
    }
    for (at, row) in people.rows.children.iter().enumerate() {
        if !u32::try_from(at).is_ok_and(|at| reached.contains(&at)) {
            let child = &people.who.children[at];
            let (name, nobody) = (
                shown(&format!("{} {}", child.given, child.family)),
                "none of whose guardians can be written to",
            );
            let alike = Alike {
                many: format!("{COUNT} children {nobody}: {CASES}"),
                case: format!("{name} (row {row})"),
            };
            let cure =
                "Add a mobile number that may be texted or a mail address; until then somebody must ring.";
            desk.warn_alike(Spot::row("children", *row), format!("a child {nobody}: {name}"), alike, cure);
        }
    }
}

fn consents(people: &Known, desk: &mut Desk) {
    let asked = |contact: &Contact| {
        contact.phone.as_ref().is_some_and(|p| p.line == Line::Textable) && contact.texts == Consent::Unknown
    };
    let mut rows: Vec<u32> = people
        .who
        .guardians
        .iter()
        .zip(&people.rows.guardians)
        .filter(|(g, _)| asked(&g.contact))
        .map(|(_, row)| *row)
        .collect();
    rows.sort_unstable();
    rows.dedup();
    if let Some(first) = rows.first() {
        let count = people.who.families().iter().filter(|g| asked(&g.contact)).count();
        let reason = format!(
            "the workbook does not say whether {} may be texted ({}); no text is sent to them",
            counted(count, "guardian with a mobile number", "guardians with a mobile number"),
            row_list(&rows)
        );
        desk.warn(Spot::row("children", *first), reason, "Ask, then write yes or no, who agreed, and when.");
    }
}

/// Events whose families, or chaperones with duties, no notice tells of.
pub(super) fn untold(programme: &Programme, people: &People, notices: &[Notice], desk: &mut Desk) {
    let first_letter = notices.iter().any(|notice| notice.about == About::Season);
    for ((at, event), row) in (0u32..).zip(&programme.events).zip(&programme.event_rows) {
        if event.cancelled {
            continue;
        }
        let id = EventId(at);
        let told = |chaperones: bool| {
            notices.iter().any(|notice| {
                let to = notice.to.of_chaperones() == chaperones && notice.to != Audience::TurnIn;
                to && !notice.introduces() && notice.about.covers(id, event.kind)
            })
        };
        let spot = Spot::row("events", *row);
        let families = if event.for_families() { families_at(event, people) } else { 0 };
        if families > 0 && !told(false) {
            let reason = format!(
                "{} told nothing of '{}'{}",
                counted(families, "family is", "families are"),
                shown(&event.name),
                if first_letter { " but its date in the first letter, and are never asked" } else { "" }
            );
            let case = format!("'{}' ({families})", shown(&event.name));
            let many = format!(
                "families are told nothing of {COUNT} events: {CASES}{}",
                if first_letter { ", but their dates in the first letter" } else { "" }
            );
            let cure = "Add a notice about it, or write 'chaperones only' in 'for'.";
            desk.warn_alike(spot, reason, Alike { many, case }, cure);
        }
        let on_duty: HashSet<ChaperoneId> =
            people.duties.iter().filter(|duty| duty.event == id).map(|duty| duty.chaperone).collect();
        if !on_duty.is_empty() && !told(true) {
            let reason = format!(
                "{} told nothing of their duties at '{}'",
                counted(on_duty.len(), "chaperone is", "chaperones are"),
                shown(&event.name)
            );
            let case = format!("'{}' ({})", shown(&event.name), on_duty.len());
            let many = format!("chaperones are told nothing of their duties at {COUNT} events: {CASES}");
            desk.warn_alike(spot, reason, Alike { many, case }, "Add a notice to 'chaperones' about it.");
        }
    }
}

/// How many households have a child at an event.
fn families_at(event: &Event, people: &People) -> usize {
    let all = danced(event);
    let called: Vec<bool> = people.who.children.iter().map(|child| concerns(event, child, &all)).collect();
    let cares = people.who.cares.iter();
    let theirs = cares.filter(|care| care.who.child().is_some_and(|child| called[child.at()]));
    theirs.map(|care| care.household).collect::<HashSet<_>>().len()
}

fn casts(programme: &Programme, people: &People, desk: &mut Desk) {
    let mut known: HashMap<String, usize> = HashMap::new();
    for (child, row) in people.who.children.iter().zip(&people.rows.children) {
        for cast in &child.casts {
            *known.entry(key(cast)).or_insert(0) += 1;
        }
        if child.casts.len() > 1 {
            desk.warn(
                Spot::named("children", *row, "cast"),
                format!("this child is in more than one cast{}", same_day(programme, child)),
                "Keep one cast, unless the child really performs in each.",
            );
        }
    }
    let performed: HashSet<String> =
        programme.events.iter().filter_map(|e| e.cast.as_deref().map(key)).collect();
    for (event, row) in programme.events.iter().zip(&programme.event_rows) {
        if let Some(cast) = &event.cast
            && !known.contains_key(&key(cast))
        {
            desk.warn(
                Spot::named("events", *row, "cast"),
                "no child is in this cast",
                "Check the spelling here and on the sheet 'children'.",
            );
        }
    }
    for (child, row) in people.who.children.iter().zip(&people.rows.children) {
        if child.casts.iter().any(|cast| !performed.contains(&key(cast))) {
            desk.warn(
                Spot::named("children", *row, "cast"),
                "no event is performed by this cast",
                "Check the spelling here and on the sheet 'events'.",
            );
        }
    }
}

/// The first day on which several casts of a child perform, in words; empty where there is none.
fn same_day(programme: &Programme, child: &Child) -> String {
    let own: Vec<&Event> = programme
        .events
        .iter()
        .filter(|event| !event.cancelled)
        .filter(|event| {
            event.cast.as_ref().is_some_and(|cast| child.casts.iter().any(|own| key(own) == key(cast)))
        })
        .collect();
    let clash = own.iter().enumerate().find_map(|(at, first)| {
        let apart = |second: &&&Event| second.date == first.date && second.cast != first.cast;
        own[at + 1..].iter().find(apart).map(|second| (first, second))
    });
    clash.map_or(String::new(), |(first, second)| {
        format!(", and '{}' and '{}' are both on {}", first.name, second.name, first.date)
    })
}

/// Two events that have one place at one time; classes may share a house.
fn one_place_twice(programme: &Programme, desk: &mut Desk) {
    for (a, b) in overlapping(programme) {
        let (first, second) = (&programme.events[a.at()], &programme.events[b.at()]);
        if first.place != second.place || [first.kind, second.kind].contains(&EventKind::Class) {
            continue;
        }
        let reason = format!(
            "'{}' and '{}' are both at '{}' and overlap",
            first.name,
            second.name,
            programme.places[first.place.at()].name
        );
        let row = programme.event_rows[b.at()];
        desk.warn(
            Spot::named("events", row, "place"),
            reason,
            "Move one of the two, or check the times and the place.",
        );
    }
}

/// Pairs of events that are not called off and overlap in time.
fn overlapping(programme: &Programme) -> Vec<(EventId, EventId)> {
    let mut spans: Vec<(DateTime, DateTime, EventId)> = (0u32..)
        .zip(&programme.events)
        .filter(|(_, event)| !event.cancelled)
        .map(|(at, event)| {
            (event.date.to_datetime(first_call(event)), ending(event, &programme.numbers), EventId(at))
        })
        .collect();
    spans.sort();
    let mut pairs = Vec::new();
    for (at, (_, end, event)) in spans.iter().enumerate() {
        if pairs.len() >= PAIRS_MAX {
            break;
        }
        pairs.extend(
            spans[at + 1..]
                .iter()
                .take_while(|(start, _, _)| start < end)
                .map(|(_, _, other)| (*event, *other)),
        );
    }
    pairs
}

/// Whether an event wants a child for one of some numbers.
pub(super) fn concerns(event: &Event, child: &Child, danced: &HashSet<NumberId>) -> bool {
    let cast_fits = event
        .cast
        .as_ref()
        .is_none_or(|cast| child.casts.is_empty() || child.casts.iter().any(|own| key(own) == key(cast)));
    cast_fits && child.castings.iter().any(|c| danced.contains(&c.number))
}

fn children_in_two_places(programme: &Programme, people: &People, desk: &mut Desk) {
    for (a, b) in overlapping(programme) {
        let (first, second) = (&programme.events[a.at()], &programme.events[b.at()]);
        if !first.for_families() || !second.for_families() {
            continue;
        }
        let (in_first, in_second) = (danced(first), danced(second));
        let rows: Vec<u32> = people
            .who
            .children
            .iter()
            .zip(&people.rows.children)
            .filter(|(child, _)| concerns(first, child, &in_first) && concerns(second, child, &in_second))
            .map(|(_, row)| *row)
            .collect();
        if let Some(row) = rows.first() {
            let reason = format!(
                "{} wanted at '{}' and at '{}', which overlap",
                children_are(&rows),
                first.name,
                second.name
            );
            desk.warn(
                Spot::row("children", *row),
                reason,
                "Move a call, or list the numbers each event wants.",
            );
        }
    }
}

fn uncovered_numbers(programme: &Programme, people: &People, desk: &mut Desk) {
    let peopled: HashSet<NumberId> =
        people.who.children.iter().flat_map(|c| c.castings.iter().map(|c| c.number)).collect();
    let covered: HashSet<(EventId, Option<NumberId>)> =
        people.duties.iter().map(|d| (d.event, d.number)).collect();
    let staffed: HashSet<EventId> = people.duties.iter().map(|d| d.event).collect();
    for ((at, event), row) in (0u32..).zip(&programme.events).zip(&programme.event_rows) {
        // In class and at photographs the teachers are with the children (common practice, no source).
        let with_teachers = matches!(event.kind, EventKind::Class | EventKind::Photographs);
        if event.cancelled || !event.for_families() || with_teachers {
            continue;
        }
        if !staffed.contains(&EventId(at)) {
            let name = format!("'{}'", shown(&event.name));
            let reason = format!("nobody has a duty at {name}");
            let alike = Alike { many: format!("nobody has a duty at {CASES}"), case: name };
            desk.warn_alike(
                Spot::row("events", *row),
                reason,
                alike,
                "Add chaperones on the sheet 'duties'.",
            );
            continue;
        }
        let missing: Vec<&str> = event
            .order
            .iter()
            .filter_map(|slot| match slot {
                Slot::Number { number, .. }
                    if peopled.contains(number)
                        && !programme.numbers[number.at()].own_chaperone
                        && !covered.contains(&(EventId(at), Some(*number))) =>
                {
                    Some(programme.numbers[number.at()].name.as_str())
                }
                _ => None,
            })
            .collect();
        if !missing.is_empty() {
            let more = if missing.len() > NAMES_TOLD {
                format!(" and {} more", missing.len() - NAMES_TOLD)
            } else {
                String::new()
            };
            let named = missing.iter().take(NAMES_TOLD).copied().collect::<Vec<_>>().join(", ");
            let has = counted(missing.len(), "number has", "numbers have");
            let said = |at: &str| {
                format!("{has} no chaperone, so children stay with whoever has them: {named}{more}, at {at}")
            };
            let case = format!("'{}'", shown(&event.name));
            let (reason, many) = (said(&case), said(&CASES.to_string()));
            let cure = "Add them on the sheet 'duties'.";
            desk.warn_alike(Spot::row("events", *row), reason, Alike { many, case }, cure);
        }
    }
}

fn chaperones_in_two_places(programme: &Programme, people: &People, desk: &mut Desk) {
    let mut at: HashMap<(ChaperoneId, EventId), Vec<usize>> = HashMap::new();
    for (duty, held) in people.duties.iter().enumerate() {
        at.entry((held.chaperone, held.event)).or_default().push(duty);
    }
    let mut by_event: HashMap<EventId, Vec<ChaperoneId>> = HashMap::new();
    for (chaperone, event) in at.keys() {
        by_event.entry(*event).or_default().push(*chaperone);
    }
    for (a, b) in overlapping(programme) {
        let first: HashSet<ChaperoneId> = by_event.get(&a).into_iter().flatten().copied().collect();
        let mut both: Vec<ChaperoneId> =
            by_event.get(&b).into_iter().flatten().copied().filter(|c| first.contains(c)).collect();
        both.sort();
        for chaperone in both {
            let row = at[&(chaperone, b)].iter().map(|d| people.duty_rows[*d]).min().unwrap_or(0);
            let (first, second) = (&programme.events[a.at()].name, &programme.events[b.at()].name);
            let reason = format!(
                "{} has duties at '{first}' and at '{second}', which overlap",
                shown(&people.who.chaperones[chaperone.at()].name)
            );
            desk.warn(Spot::row("duties", row), reason, "Give one of the two to somebody else.");
        }
    }
    let mut same_event: Vec<_> = at.iter().filter(|(_, duties)| duties.len() > 1).collect();
    same_event.sort();
    for ((chaperone, event), duties) in same_event {
        let held: HashMap<NumberId, usize> =
            duties.iter().filter_map(|d| people.duties[*d].number.map(|n| (n, *d))).collect();
        neighbours(programme, people, *chaperone, *event, &held, desk);
    }
}

/// Two numbers one after the other: while the first is on stage the second gets ready.
fn neighbours(
    programme: &Programme,
    people: &People,
    chaperone: ChaperoneId,
    event: EventId,
    held: &HashMap<NumberId, usize>,
    desk: &mut Desk,
) {
    let event = &programme.events[event.at()];
    if !event.ordered || event.cancelled {
        return;
    }
    let mut last: Option<NumberId> = None;
    for slot in &event.order {
        let Slot::Number { number, .. } = slot else {
            last = None;
            continue;
        };
        if let (Some(before), Some(duty)) = (last.filter(|n| held.contains_key(n)), held.get(number)) {
            let (first, second) =
                (&programme.numbers[before.at()].name, &programme.numbers[number.at()].name);
            let reason = format!(
                "{} has '{first}' and, straight after it at '{}', '{second}'",
                shown(&people.who.chaperones[chaperone.at()].name),
                event.name
            );
            desk.warn(
                Spot::row("duties", people.duty_rows[*duty]),
                reason,
                "Give one of the two to somebody else, or make sure a second adult is there.",
            );
        }
        last = Some(*number);
    }
}

fn vetting(programme: &Programme, people: &People, desk: &mut Desk) {
    let mut last_event: BTreeMap<ChaperoneId, EventId> = BTreeMap::new();
    for duty in people.duties.iter().filter(|d| !programme.events[d.event.at()].cancelled) {
        let last = last_event.entry(duty.chaperone).or_insert(duty.event);
        if programme.events[duty.event.at()].date > programme.events[last.at()].date {
            *last = duty.event;
        }
    }
    let mut unwritten = Vec::new();
    for (chaperone, event) in last_event {
        let row = people.rows.chaperones[chaperone.at()];
        let event = &programme.events[event.at()];
        match people.who.chaperones[chaperone.at()].vetted_until {
            Some(until) if until < event.date => {
                let reason = format!(
                    "this chaperone's vetting ends on {until}, before '{}' on {}",
                    event.name, event.date
                );
                desk.warn(
                    Spot::named("chaperones", row, "vetted until"),
                    reason,
                    "Renew it, or give the duties to somebody else.",
                );
            }
            Some(_) => {}
            None => unwritten.push(row),
        }
    }
    if let Some(first) = unwritten.first() {
        let reason = format!(
            "the workbook has no vetting for {} with duties ({})",
            counted(unwritten.len(), "chaperone", "chaperones"),
            row_list(&unwritten)
        );
        desk.warn(
            Spot::named("chaperones", *first, "vetted until"),
            reason,
            "Write the last day it is valid, if your school vets its chaperones.",
        );
    }
}
