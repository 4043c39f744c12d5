//! House rules and notices.

use super::super::book::{Book, Row};
use super::super::layout::{DUTY_WORDING, INTRODUCTION_WORDING};
use super::super::season::{About, Anchor, Audience, By, EventId, EventKind, HouseRule, Notice, Offset};
use super::super::typed;
use super::super::words::{did_you_mean, key};
use super::desk::{Alike, CASES, COUNT, Desk, Spot};
use super::programme::{Programme, event_kind};
use super::settings::Head;
use std::collections::{BTreeMap, HashMap};

/// Days before its moment a notice may go, at most: two years.
const DAYS_MAX: u32 = 731;
/// Minutes before its moment a notice may go, at most: 31 days; beyond that days are meant.
const MINUTES_MAX: u32 = 31 * 24 * 60;
/// Hours until a next rung, at most: 31 days.
const LATER_HOURS_MAX: u32 = 31 * 24;
/// Words a notice may be counted from.
const ANCHORS: &[&str] = &["call", "park by", "curtain up", "dismissal", "first show"];

/// What these sheets say.
pub(super) struct Rules {
    pub(super) house_rules: Vec<HouseRule>,
    pub(super) notices: Vec<Notice>,
}

pub(super) fn read(book: &Book, head: &Head, programme: &Programme, desk: &mut Desk) -> Rules {
    Rules { house_rules: house_rules(book, head, programme, desk), notices: notices(book, programme, desk) }
}

fn house_rules(book: &Book, head: &Head, programme: &Programme, desk: &mut Desk) -> Vec<HouseRule> {
    let mut rules: Vec<(HouseRule, &Row)> = Vec::new();
    let mut known: HashMap<(String, Option<EventId>), usize> = HashMap::new();
    for row in book.rows("house rules") {
        let name = row.text("name");
        let spot = Spot::cell("house rules", row, "event");
        let events: Vec<Option<EventId>> = if row.text("event").is_empty() {
            vec![None]
        } else {
            programme.events_named(row.text("event"), spot, desk).into_iter().map(Some).collect()
        };
        let tongue = row.text("language");
        let language = if tongue.is_empty() { Ok(head.language.clone()) } else { typed::language(tongue) };
        let language = match language {
            Ok(language) => language,
            Err(reason) => {
                desk.error(
                    Spot::cell("house rules", row, "language"),
                    reason,
                    "Write a code such as en or es.",
                );
                continue;
            }
        };
        let acknowledge = typed::yes_no(row.text("acknowledge")).unwrap_or(true);
        for event in events {
            let at = *known.entry((key(name), event)).or_insert_with(|| {
                let rule = HouseRule {
                    reference: row.text("ref").to_owned(),
                    name: name.to_owned(),
                    event,
                    acknowledge,
                    texts: BTreeMap::new(),
                };
                rules.push((rule, row));
                rules.len() - 1
            });
            let (rule, first) = &mut rules[at];
            // Lines of one rule may carry one ref or one each; the smallest names the rule, whatever their order.
            if row.text("ref") < rule.reference.as_str() {
                rule.reference = row.text("ref").to_owned();
            }
            if rule.acknowledge != acknowledge {
                let reason = format!("row {} says the opposite about this rule", first.number);
                desk.error(
                    Spot::cell("house rules", row, "acknowledge"),
                    reason,
                    "Write the same in each line of a rule.",
                );
            }
            if rule.texts.insert(language.clone(), row.text("text").to_owned()).is_some() {
                desk.error(
                    Spot::cell("house rules", row, "language"),
                    "this rule is listed twice in this language",
                    "Keep one of the two lines.",
                );
            }
        }
    }
    for (rule, row) in &rules {
        if !rule.texts.contains_key(&head.language) {
            let reason = format!("the rule has no text in the season's language ({})", head.language.0);
            desk.error(
                Spot::row("house rules", row.number),
                reason,
                "Add a line with the same name in that language.",
            );
        }
    }
    rules.into_iter().map(|(rule, _)| rule).collect()
}

fn notices(book: &Book, programme: &Programme, desk: &mut Desk) -> Vec<Notice> {
    let mut notices = Vec::new();
    let mut names: HashMap<String, u32> = HashMap::new();
    for row in book.rows("notices") {
        if let Some(first) = names.insert(key(row.text("name")), row.number) {
            desk.hint(
                Spot::cell("notices", row, "name"),
                format!("row {first} has a notice of this name"),
                "Give each a name of its own.",
            );
        }
        let about = about(row, programme, desk);
        let anchor = anchor(row, about.as_ref(), programme, desk);
        let offset = offset(row, desk);
        let (Some(about), Some(anchor), Some(offset)) = (about, anchor, offset) else {
            continue;
        };
        let to = match key(row.text("to")).as_str() {
            "everyone" => Audience::Everyone,
            "not heard from" => Audience::NotHeard,
            "one guardian" => Audience::OneGuardian,
            "turn-in" => Audience::TurnIn,
            "chaperones" => Audience::Chaperones,
            "chaperones not heard from" => Audience::ChaperonesNotHeard,
            _ => continue,
        };
        duty_notice(row, to, &about, desk);
        introduction(row, to, &about, desk);
        if to == Audience::TurnIn && about == About::Season {
            desk.error(
                Spot::cell("notices", row, "to"),
                "a turn-in belongs to an event, not to the season's house rules",
                "Write the event or kind of event in 'about'.",
            );
        }
        let by = match key(row.text("by")).as_str() {
            "mail" => By::Mail,
            "text" => By::Text,
            "mail and text" => By::MailAndText,
            _ => continue,
        };
        notices.push(Notice {
            reference: row.text("ref").to_owned(),
            name: row.text("name").to_owned(),
            about,
            to,
            anchor,
            offset,
            by,
            owes: typed::yes_no(row.text("answer owed")).unwrap_or(true),
            wording: key(row.text("wording")),
            other_channel_hours: later(row, "other channel after", by == By::MailAndText, desk),
            other_guardian_hours: later(row, "other guardian after", to != Audience::OneGuardian, desk),
            why: row.text("why").to_owned(),
        });
    }
    notices
}

/// Hours after which a next rung follows. Where there is none to follow (`nobody`) they are a slip.
fn later(row: &Row, column: &str, nobody: bool, desk: &mut Desk) -> Option<u32> {
    let text = row.text(column);
    if text.is_empty() {
        return None;
    }
    let hours = typed::count(text).ok()?;
    let spot = Spot::cell("notices", row, column);
    if nobody {
        let (reason, cure) = if column == "other channel after" {
            (
                "both channels are used at once, so none is left to follow",
                "Leave it empty, or write mail or text alone in 'by'.",
            )
        } else {
            (
                "every guardian concerned is told at once, so none is left to follow",
                "Leave it empty, or write 'one guardian' in 'to'.",
            )
        };
        desk.warn(spot, reason, cure);
        return None;
    }
    if !(1..=LATER_HOURS_MAX).contains(&hours) {
        desk.error(spot, "that is too many or too few hours", "Write whole hours, from 1 to 744.");
        return None;
    }
    Some(hours)
}

/// A chaperone is told of her duties at events, and nobody else is.
fn duty_notice(row: &Row, to: Audience, about: &About, desk: &mut Desk) {
    if to.of_chaperones() && *about == About::Season {
        desk.error(
            Spot::cell("notices", row, "to"),
            "chaperones are told of their duties at events; the season's house rules are for families",
            "Write the event or kind of event in 'about'.",
        );
    }
    if to.of_chaperones() != (key(row.text("wording")) == DUTY_WORDING) {
        desk.error(
            Spot::cell("notices", row, "wording"),
            "the wording 'duty' is for chaperones, and chaperones are told in no other",
            "Write 'duty' beside 'chaperones', another wording beside anybody else.",
        );
    }
}

/// Chaperones are introduced to every family of theirs at an event, and nothing is asked by it.
fn introduction(row: &Row, to: Audience, about: &About, desk: &mut Desk) {
    if key(row.text("wording")) != INTRODUCTION_WORDING {
        return;
    }
    if to != Audience::Everyone {
        desk.error(
            Spot::cell("notices", row, "to"),
            "chaperones are introduced to every family of theirs",
            "Write 'everyone' beside the wording 'introduction'.",
        );
    }
    if *about == About::Season {
        desk.error(
            Spot::cell("notices", row, "about"),
            "chaperones look after children at events, so there is nobody to introduce for the season's house rules",
            "Write 'show', or an event's name.",
        );
    }
    if typed::yes_no(row.text("answer owed")) != Ok(false) {
        desk.error(
            Spot::cell("notices", row, "answer owed"),
            "an introduction says nothing that could be acknowledged",
            "Write 'no'.",
        );
    }
}

fn about(row: &Row, programme: &Programme, desk: &mut Desk) -> Option<About> {
    let text = row.text("about");
    if text.is_empty() {
        return None;
    }
    if key(text) == "season" {
        return Some(About::Season);
    }
    if let Some(kind) = event_kind(text) {
        return Some(About::Kind(kind));
    }
    let events = programme.events_named(text, Spot::cell("notices", row, "about"), desk);
    (!events.is_empty()).then_some(About::Events(events))
}

fn anchor(row: &Row, about: Option<&About>, programme: &Programme, desk: &mut Desk) -> Option<Anchor> {
    let text = row.text("counted from");
    let spot = Spot::cell("notices", row, "counted from");
    let anchor = match key(text).as_str() {
        "" => return None,
        "call" => Anchor::Call,
        "park by" => Anchor::ParkBy,
        "curtain up" => Anchor::CurtainUp,
        "dismissal" => Anchor::Dismissal,
        "first show" => Anchor::FirstShow,
        _ => match typed::date(text) {
            Ok(date) => Anchor::Date(date),
            Err(reason) => {
                let looks_like_date = text.bytes().any(|b| b.is_ascii_digit());
                let reason = if looks_like_date {
                    reason
                } else {
                    format!("'{}' is not something to count from", typed::shown(text))
                };
                let cure = did_you_mean(
                    text,
                    ANCHORS.iter().copied(),
                    "Write call, park by, curtain up, dismissal, first show, or a date such as 2027-06-04.",
                );
                desk.error(spot, reason, &cure);
                return None;
            }
        },
    };
    let of_event = !matches!(anchor, Anchor::FirstShow | Anchor::Date(_));
    if about == Some(&About::Season) && of_event {
        desk.error(
            spot,
            "the season's house rules have no call or curtain up",
            "Count from 'first show' or a date.",
        );
    }
    let no_show = !programme.events.iter().any(|e| e.kind == EventKind::Show);
    if anchor == Anchor::FirstShow && no_show && !programme.partly.contains("events") {
        let many = format!("the season has no show, and {COUNT} notices count from the first: {CASES}");
        let alike = Alike { many, case: format!("row {}", row.number) };
        let cure = "Add the show to the sheet 'events', or count from a date.";
        desk.error_alike(spot, "the season has no show to count from".to_owned(), alike, cure);
    }
    Some(anchor)
}

fn offset(row: &Row, desk: &mut Desk) -> Option<Offset> {
    let (days, at, minutes) = (row.text("days before"), row.text("at"), row.text("minutes before"));
    let mut fault = |column: &str, reason: &str, cure: &str| {
        desk.error(Spot::cell("notices", row, column), reason, cure);
        None
    };
    match (days.is_empty(), at.is_empty(), minutes.is_empty()) {
        (true, true, true) => fault(
            "days before",
            "when the notice goes is missing",
            "Write days before and a time of day, or minutes before.",
        ),
        (true, true, false) => {
            let minutes = typed::count(minutes).ok()?;
            if minutes > MINUTES_MAX {
                return fault(
                    "minutes before",
                    "that is too many minutes",
                    "Write days before and a time of day.",
                );
            }
            Some(Offset::MinutesBefore(i64::from(minutes)))
        }
        (_, _, false) => {
            fault("minutes before", "days with a time and minutes are both filled in", "Keep one of them.")
        }
        (true, false, true) => fault(
            "days before",
            "there is a time of day but not how many days before",
            "Write 0 for the same day, 1 for the day before.",
        ),
        (false, true, true) => {
            fault("at", "days before need a time of day beside them", "Write a time such as 18:30.")
        }
        (false, false, true) => {
            let (days, at) = (typed::count(days).ok()?, typed::time(at).ok()?);
            if days > DAYS_MAX {
                return fault("days before", "that is too many days", "Write fewer days.");
            }
            Some(Offset::DaysBefore { days: i32::try_from(days).ok()?, at })
        }
    }
}
