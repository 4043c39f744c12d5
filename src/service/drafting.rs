//! What a message has to say, from the season, what was told before, and who reads it: a [`Letter`], not yet in words.

use super::composing::stop_token;
use super::letter::{
    Appearance, Costume, Introduction, Letter, LetterItem, LetterKind, LetterShift, Shared, ToldChange,
    ToldRule, Walk, What,
};
use super::office::Ways;
use crate::domain::board::{Board, Item};
use crate::domain::facts::{Facts, Field, Fingerprint};
use crate::domain::introduction::chaperones_of;
use crate::domain::itinerary::Itinerary;
use crate::domain::phrases::lineage;
use crate::domain::plan;
use crate::domain::published::clocks;
use crate::domain::record::{NoticeKey, Record};
use crate::domain::season::{
    Channel, ChaperoneId, Dismissal, EventId, EventKind, GuardianId, HouseRule, HouseholdId, Language,
    NumberId, Person,
};
use crate::domain::shift::Shift;
use crate::domain::standing;
use crate::domain::wall;
use jiff::civil::DateTime;
use jiff::{SignedDuration, Timestamp};
use std::collections::HashMap;

/// A message this late, to somebody who was told nothing before, stands for notices that went before the guardian joined.
const CATCH_UP_AFTER: SignedDuration = SignedDuration::from_hours(12);

/// Who a letter goes to.
pub(super) struct To<'a> {
    pub household: HouseholdId,
    pub guardians: &'a [GuardianId],
    pub channel: Channel,
    pub due: Timestamp,
}

/// Where a letter's links lead.
pub(super) struct Links<'a> {
    pub ways: &'a Ways,
    pub token: &'a str,
}

/// What a letter is drawn from.
pub(super) struct Draft<'a> {
    pub board: &'a Board,
    pub record: &'a Record,
    /// Facts told before, by fingerprint.
    pub old: &'a HashMap<Fingerprint, Facts>,
    pub now: Timestamp,
}

/// One reader, as a letter's items are told to them.
struct Reader<'a> {
    household: HouseholdId,
    guardians: &'a [GuardianId],
    language: Language,
    kind: LetterKind,
}

/// The parts of a message with those that are told beside them, each once: what asks first, in their order.
pub(super) fn told_with(
    board: &Board,
    record: &Record,
    guardians: &[GuardianId],
    parts: &[(Item, NoticeKey)],
    now: Timestamp,
) -> Vec<(Item, NoticeKey)> {
    let mut all = parts.to_vec();
    for (item, notice) in parts {
        let first = !guardians.iter().any(|guardian| record.told.contains_key(&(*guardian, *item)));
        for beside in plan::told_beside(board, *item, *notice, first, now) {
            if !record.is_away(beside) && !all.contains(&(beside, *notice)) {
                all.push((beside, *notice));
            }
        }
    }
    all
}

impl Draft<'_> {
    /// The letter that says these parts, as [`told_with`] gives them.
    pub(super) fn letter(&self, to: &To<'_>, parts: &[(Item, NoticeKey)], links: &Links<'_>) -> Letter {
        let (board, season, guardians) = (self.board, &self.board.season, to.guardians);
        let Links { ways, token } = links;
        let base_url = &ways.base_url;
        let language = guardians
            .first()
            .map_or(&season.language, |g| &season.guardians[g.at()].contact.language)
            .clone();
        let mut items: Vec<Item> = parts.iter().map(|(item, _)| *item).collect();
        items.sort_by_key(|item| (board.needed_by(*item), item.who));
        items.dedup();
        let mut children: Vec<Person> = items.iter().map(|item| item.who).collect();
        children.sort();
        children.dedup();
        let asked: Vec<(Item, NoticeKey)> =
            parts.iter().copied().filter(|(item, notice)| plan::covers(board, *item, *notice)).collect();
        let kind = LetterKind::from_folder(&plan::wording(board, &asked)).unwrap_or(LetterKind::Reminder);
        let reader = Reader { household: to.household, guardians, language: language.clone(), kind };
        let mut told: Vec<LetterItem> = items.iter().filter_map(|item| self.item(*item, &reader)).collect();
        // What a change is about stands beside it, and an evening's text has no room for anything else.
        let shared = if kind == LetterKind::Rules { None } else { Shared::taken_from(&mut told) };
        let address = guardians.iter().find_map(|g| standing::address(board, self.record, *g, to.channel));
        Letter {
            kind,
            season_language: season.language.0.clone(),
            short: season.short_name.clone(),
            school: season.school.clone(),
            season: season.name.clone(),
            telephone: Some(season.telephone.clone()).filter(|t| !t.is_empty() && t != "-"),
            children: children.iter().map(|c| given_name(board, *c)).collect(),
            rules: if items.iter().any(|i| i.event.is_none()) {
                rules(board, None, &language)
            } else {
                Vec::new()
            },
            items: told,
            shared,
            introductions: if kind == LetterKind::Introduction {
                introductions(board, &items, &language)
            } else {
                Vec::new()
            },
            link: if ways.pages_public { format!("{base_url}/r/{token}") } else { String::new() },
            stop_link: if ways.pages_public {
                format!("{base_url}/stop/{}", stop_token(token))
            } else {
                String::new()
            },
            owes: parts.iter().any(|(item, notice)| plan::asks(board, *item, *notice)),
            first_text: to.channel == Channel::Text
                && address.is_some_and(|address| !self.record.texted.contains(address)),
            twelve: clocks::is_twelve(&season.country, &language.0),
            country: season.country.clone(),
            reply_by_text: ways.reply_by_text,
            reply_by_mail: ways.reply_by_mail,
            code: (*token).to_owned(),
            one_phone: guardians.len() > 1,
            to_chaperone: items.iter().any(|item| item.who.is_chaperone()),
            catch_up: kind != LetterKind::Introduction
                && self.now.duration_since(to.due) > CATCH_UP_AFTER
                && self.record.since.is_some_and(|since| self.now.duration_since(since) > CATCH_UP_AFTER)
                && self.knows_nothing(guardians),
            not_needed: kind == LetterKind::Cancelled
                && items
                    .iter()
                    .filter_map(|item| item.event)
                    .all(|event| !season.events[event.at()].cancelled),
            language: language.0,
        }
    }

    /// Whether nobody of some guardians was told anything so far.
    fn knows_nothing(&self, guardians: &[GuardianId]) -> bool {
        guardians.iter().all(|guardian| !self.record.last.contains_key(guardian))
    }

    fn item(&self, item: Item, reader: &Reader<'_>) -> Option<LetterItem> {
        let board = self.board;
        let season = &board.season;
        let event = &season.events[item.event?.at()];
        let place = &season.places[event.place.at()];
        let it = board.itinerary(item);
        let changes = match reader.kind {
            LetterKind::Change => self.changes(item, reader),
            _ => Vec::new(),
        };
        let said = |text: &str| season.phrases.said(text, &reader.language).to_owned();
        let of_child = |text: &str| if item.who.is_chaperone() { String::new() } else { said(text) };
        let name = |id: ChaperoneId| season.chaperones[id.at()].name.clone();
        let released = it.and_then(|it| it.collect_from).map(|from| from.at());
        let parked = it.and_then(|it| it.park_by).filter(|at| !is_there_already(board, item, *at));
        Some(LetterItem {
            child: given_name(board, item.who),
            event: said(&event.name),
            date: event.date,
            call: it.map_or(event.call, |it| it.call.time()),
            park_by: parked.map(|at| at.time()),
            park_by_day_before: parked.is_some_and(|at| at.date() < event.date),
            begins: it.map_or(Some(event.starts), |it| it.begins().map(|at| at.time())),
            collect_from: released.map(|at| at.time()),
            collect_overnight: released.is_some_and(|at| at.date() > event.date),
            place: said(&place.name),
            door: said(&place.door),
            ways: place
                .ways
                .iter()
                .map(|w| Walk { name: said(&w.name), min: w.walk.0, max: w.walk.1 })
                .collect(),
            collect_at: of_child(&place.collect_at),
            arrive_ready: of_child(&event.arrive_ready),
            bring: of_child(&event.bring),
            leave_home: of_child(&event.leave_home),
            adults_watch: event.adults_watch.filter(|_| !item.who.is_chaperone()),
            signs_in: it.and_then(|it| it.signs_in).map(name),
            signs_out: it.and_then(|it| it.signs_out).map(name),
            collectors: collectors(board, item.who, reader.household),
            turn_in: it.map_or(Vec::new(), |it| costumes(board, it, &reader.language)),
            rules: if item.who.is_chaperone() {
                Vec::new()
            } else {
                rules(board, item.event, &reader.language)
            },
            changes,
            cancelled: it.is_none(),
            no_early_release: event.dismissal == Dismissal::AfterLastNumber
                && matches!(event.kind, EventKind::Dress | EventKind::Show)
                && !item.who.is_chaperone(),
            shift: it.and_then(|it| it.shift.as_ref().map(|shift| letter_shift(board, it, shift, reader))),
        })
    }

    fn changes(&self, item: Item, reader: &Reader<'_>) -> Vec<ToldChange> {
        let (board, phrases) = (self.board, &self.board.season.phrases);
        let before = reader.guardians.iter().find_map(|g| told_before(board, self.record, *g, item));
        let Some(before) = before.and_then(|before| self.old.get(&before)) else { return Vec::new() };
        let said = |text: String| phrases.said(&text, &reader.language).to_owned();
        let mut changes: Vec<ToldChange> = before
            .changes_to(&board.facts(item))
            .into_iter()
            .map(|d| ToldChange { what: what(d.field), old: said(d.old), new: said(d.new) })
            .collect();
        // The time to be there comes before the time to have parked, which follows from it.
        changes.sort_by_key(|change| change.what);
        changes
    }
}

fn what(field: Field) -> What {
    match field {
        Field::Cancelled => What::Cancelled,
        Field::Date => What::Date,
        Field::Place => What::Place,
        Field::Door => What::Door,
        Field::Call => What::Call,
        Field::ParkBy => What::ParkBy,
        Field::Ready => What::Ready,
        Field::Bring => What::Bring,
        Field::TurnIn => What::TurnIn,
        Field::CollectAt | Field::CollectFrom => What::Collect,
        Field::Rules => What::Rules,
        Field::Briefing => What::Briefing,
        Field::Station => What::Station,
        Field::Until => What::Until,
        Field::Numbers => What::Numbers,
        Field::Task => What::Task,
        Field::SignsIn => What::SignsIn,
        Field::SignsOut => What::SignsOut,
    }
}

/// Whether a person is at the same place for an earlier event that is not over when the car would have to be parked.
fn is_there_already(board: &Board, item: Item, park_by: DateTime) -> bool {
    let Some(event) = item.event.map(|event| &board.season.events[event.at()]) else { return false };
    let park_by = wall::instant(&board.season.zone, park_by);
    board.programme.of_person(item.who).map(|at| &board.programme[at]).any(|other| {
        let there = &board.season.events[other.event.at()];
        let earlier =
            Some(other.event) != item.event && there.place == event.place && other.call_at < park_by;
        earlier && board.over_at(Item { who: item.who, event: Some(other.event) }) >= park_by
    })
}

/// What a guardian was told before the facts in force now; none if they were told nothing else.
pub(super) fn told_before(
    board: &Board,
    record: &Record,
    guardian: GuardianId,
    item: Item,
) -> Option<Fingerprint> {
    let told = record.told.get(&(guardian, item))?;
    if told.fingerprint == board.fingerprint(item) { told.before } else { Some(told.fingerprint) }
}

/// Who looks after whom, soonest first; events at which a child has the same chaperones are told together.
fn introductions(board: &Board, items: &[Item], language: &Language) -> Vec<Introduction> {
    let season = &board.season;
    let mut all: Vec<Introduction> = Vec::new();
    for (item, it) in items.iter().filter_map(|item| Some((item, board.itinerary(*item)?))) {
        let name = |c: ChaperoneId| season.chaperones[c.at()].name.clone();
        let chaperones: Vec<String> = chaperones_of(season, it).into_iter().map(name).collect();
        let (signs_in, signs_out) = (it.signs_in.map(name), it.signs_out.map(name));
        let child = given_name(board, item.who);
        let event = &season.events[it.event.at()];
        let event =
            Appearance { event: season.phrases.said(&event.name, language).to_owned(), date: event.date };
        let same = |one: &&mut Introduction| {
            (&one.child, &one.chaperones, &one.signs_in, &one.signs_out)
                == (&child, &chaperones, &signs_in, &signs_out)
        };
        match all.iter_mut().find(same) {
            Some(one) if !one.events.contains(&event) => one.events.push(event),
            Some(_) => {}
            None if chaperones.is_empty() => {}
            None => {
                all.push(Introduction { child, signs_in, signs_out, chaperones, events: vec![event] });
            }
        }
    }
    all
}

/// Those of a household who may collect a child.
pub(super) fn collectors(board: &Board, who: Person, household: HouseholdId) -> Vec<String> {
    let theirs = board.cares_of(who).filter(|care| care.collects && care.household == household);
    theirs.map(|care| board.season.guardians[care.guardian.at()].name.clone()).collect()
}

fn costumes(board: &Board, it: &Itinerary, language: &Language) -> Vec<Costume> {
    let season = &board.season;
    let costume = |number: &NumberId| {
        let number = &season.numbers[number.at()];
        let said = |piece: &String| season.phrases.said(piece, language).to_owned();
        Costume { number: number.name.clone(), pieces: number.pieces.iter().map(said).collect() }
    };
    it.turn_in.iter().map(costume).collect()
}

/// The name a message may carry; a chaperone is always called by theirs, which only they read.
pub(super) fn given_name(board: &Board, who: Person) -> Option<String> {
    let may = board.season.settings.given_names || who.is_chaperone();
    may.then(|| board.season.given_name(who).to_owned())
}

/// The house rules of an event, or (none) of the season, those to be acknowledged first.
fn rules(board: &Board, event: Option<EventId>, language: &Language) -> Vec<ToldRule> {
    let season = &board.season;
    let mut rules: Vec<ToldRule> = season
        .house_rules
        .iter()
        .filter(|rule| rule.event == event)
        .map(|rule| ToldRule {
            name: season.phrases.said(&rule.name, language).to_owned(),
            text: rule_text(rule, language, &season.language),
            acknowledge: rule.acknowledge,
        })
        .collect();
    rules.sort_by_key(|rule| !rule.acknowledge);
    rules
}

/// A rule's text in a language or one it is a form of, else in the season's.
pub(super) fn rule_text(rule: &HouseRule, language: &Language, fallback: &Language) -> String {
    let own = lineage(language).find_map(|tag| rule.texts.get(&tag));
    own.or_else(|| rule.texts.get(fallback)).cloned().unwrap_or_else(|| rule.name.clone())
}

fn letter_shift(board: &Board, it: &Itinerary, shift: &Shift, reader: &Reader<'_>) -> LetterShift {
    let season = &board.season;
    let said = |text: &str| season.phrases.said(text, &reader.language).to_owned();
    let names = |numbers: &[NumberId]| -> Vec<String> {
        numbers.iter().map(|number| season.numbers[number.at()].name.clone()).collect()
    };
    LetterShift {
        briefing: shift.briefing.map(|at| at.time()),
        station: shift.station.map(|at| at.time()),
        until: shift.until.map(|at| at.time()),
        numbers: names(&it.numbers),
        tasks: shift.tasks.iter().map(|task| said(task)).collect(),
        signs_in: names(&shift.signs_in),
        signs_out: names(&shift.signs_out),
        kit: said(&season.settings.kit),
    }
}
