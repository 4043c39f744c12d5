//! From a claimed message and today's facts to a letter, a parcel and the attempt that is written down first.

use super::calendars;
use super::letter::{
    Appearance, Change, Introduction, Item as LetterItem, Kind, Letter, Rule, Shift as LetterShift, Walk,
    What,
};
use super::office::{Desk, Office, Ways, facts_told, notice_key};
use super::ports::{
    Content, Gateway, LinkKind, MailContent, NewAttempt, NewLink, Parcel, Store, StoredMessage, Unsent,
};
use super::wording::Wording;
use crate::domain::board::{Board, Item};
use crate::domain::digest;
use crate::domain::due::window;
use crate::domain::facts::{Facts, Field, Fingerprint, rules_of};
use crate::domain::graph::State;
use crate::domain::ics;
use crate::domain::introduction::chaperones_of;
use crate::domain::itinerary::Itinerary;
use crate::domain::plan::Wanted;
use crate::domain::record::{Ask, NoticeKey, Record};
use crate::domain::season::{
    Channel, Dismissal, EventId, GuardianId, HouseRule, HouseholdId, Language, NumberId, Person,
};
use crate::domain::segments;
use crate::domain::shift::Shift;
use crate::domain::standing::{self, Standing};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use jiff::civil::Time;
use jiff::{SignedDuration, Timestamp};
use std::collections::HashMap;

/// Octets of a link's token (128 bits).
const TOKEN_OCTETS: usize = 16;
/// A message this late stands for notices that went before the guardian joined, or while the program was down.
const CATCH_UP_AFTER: SignedDuration = SignedDuration::from_hours(12);
/// Stands where a token will stand, for previews: as long as a real one.
const SPECIMEN_TOKEN: &str = "SPECIMEN-opens-nothing";
/// Messages that one thread composes before another is asked to help.
const COMPOSED_ALONE: usize = 64;
/// Threads that compose at once, at most: the store and the gateways want some too.
const COMPOSING_THREADS: usize = 4;

/// Ready to be attempted.
pub struct Composed {
    /// What the gateway gets.
    pub parcel: Parcel,
    /// What is written down first.
    pub attempt: NewAttempt,
    /// What is told by it.
    pub asks: Vec<(Ask, Option<Fingerprint>)>,
}

/// The hash of a token as stored.
pub fn token_hash(token: &str) -> String {
    digest::hex(&digest::sha256(token.as_bytes()))
}

impl<S: Store, G: Gateway> Office<S, G> {
    /// A new token for a link, 22 characters.
    pub fn token(&self) -> String {
        URL_SAFE_NO_PAD.encode(self.random::<TOKEN_OCTETS>())
    }

    /// Composes claimed messages from today's facts, or says why one does not go; in the order they came.
    pub(super) fn compose_all(
        &self,
        desk: &Desk,
        old: &HashMap<Fingerprint, Facts>,
        claimed: &[StoredMessage],
        now: Timestamp,
    ) -> Vec<Result<Composed, Unsent>> {
        // Drawn beforehand, so that the same bytes go to the same message whoever composes it.
        let messages: Vec<(&StoredMessage, String)> = claimed.iter().map(|m| (m, self.token())).collect();
        let composing = Composing { desk, old, wording: &self.wording, ways: &self.ways, now };
        let all = |share: &[(&StoredMessage, String)]| -> Vec<_> {
            share.iter().map(|(message, token)| composing.compose(message, token)).collect()
        };
        let hands = std::thread::available_parallelism().map_or(1, usize::from).min(COMPOSING_THREADS);
        if hands < 2 || messages.len() < COMPOSED_ALONE {
            return all(&messages);
        }
        let share = messages.len().div_ceil(hands);
        std::thread::scope(|scope| {
            let all = &all;
            let shares: Vec<_> =
                messages.chunks(share).map(|share| scope.spawn(move || all(share))).collect();
            shares
                .into_iter()
                .flat_map(|share| share.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
                .collect()
        })
    }
}

/// What composing needs at hand.
struct Composing<'a> {
    desk: &'a Desk,
    old: &'a HashMap<Fingerprint, Facts>,
    wording: &'a Wording,
    ways: &'a Ways,
    now: Timestamp,
}

impl Composing<'_> {
    fn compose(&self, message: &StoredMessage, token: &str) -> Result<Composed, Unsent> {
        let (desk, now) = (self.desk, self.now);
        let unsent = |to, ready, why: &str| Unsent {
            message: message.id,
            fence: message.fence,
            to,
            ready,
            why: why.to_owned(),
        };
        let board = &*desk.board;
        if now >= message.until {
            return Err(unsent(State::Expired, now, "its moment passed"));
        }
        let hours = window(&board.season);
        if !message.at_once && !hours.permitted(&board.season.zone, now) {
            let next = hours.next_permitted(&board.season.zone, now);
            return Err(if next < message.until {
                unsent(State::Planned, next, "quiet hours")
            } else {
                unsent(State::Expired, now, "no permitted hour left")
            });
        }
        let (guardians, address) =
            recipients(desk, message).ok_or_else(|| unsent(State::Withdrawn, now, "no address"))?;
        let parts = still_true(desk, message, &guardians, now);
        if parts.is_empty() {
            return Err(unsent(State::Withdrawn, now, "nothing of it is wanted any more"));
        }
        let household = board
            .household(&message.household)
            .ok_or_else(|| unsent(State::Withdrawn, now, "the household is gone"))?;
        let letter = letter(
            board,
            &desk.record,
            self.old,
            &To { household, guardians: &guardians, due: message.due },
            &parts,
            &Links { ways: self.ways, token },
            now,
        );
        let content = words(self.wording, (board, &desk.record), &letter, message.channel, &parts, now)
            .map_err(|_| unsent(State::Quarantined, now, "its wording failed"))?;
        Ok(self.composed(message, guardians, address, parts, content, token))
    }

    fn composed(
        &self,
        message: &StoredMessage,
        guardians: Vec<GuardianId>,
        address: String,
        parts: Vec<(Item, NoticeKey)>,
        content: Content,
        token: &str,
    ) -> Composed {
        let (board, now) = (&*self.desk.board, self.now);
        let over = parts.iter().map(|(item, _)| board.over_at(*item)).max().unwrap_or(now);
        let told: Vec<_> = parts
            .iter()
            .map(|(item, notice)| {
                let (child, event) = board.item_refs(*item);
                let word = crate::domain::plan::notice_word(board, *notice);
                (child.to_owned(), event.to_owned(), word.to_owned(), board.fingerprint(*item))
            })
            .collect();
        let attempt = NewAttempt {
            message: message.id,
            fence: message.fence,
            number: message.attempts + 1,
            channel: message.channel,
            address: address.clone(),
            reference: message.key.clone(),
            words: match &content {
                Content::Text(text) => text.clone(),
                Content::Mail(mail) => format!("{}\n{}", mail.subject, mail.text),
            },
            link: NewLink {
                hash: token_hash(token),
                kind: LinkKind::Guardian,
                message: message.id,
                chaperone: String::new(),
                expires: over.saturating_add(self.ways.links_outlive).unwrap_or(over),
            },
            forms: parts
                .iter()
                .map(|(item, _)| (board.fingerprint(*item), board.facts(*item).form()))
                .collect(),
            household: message.household.clone(),
            guardians: guardians.iter().map(|g| board.season.guardians[g.at()].reference.clone()).collect(),
            told,
        };
        let asks = parts
            .iter()
            .flat_map(|(item, notice)| {
                guardians.iter().map(move |guardian| Ask {
                    guardian: *guardian,
                    item: *item,
                    notice: *notice,
                    channel: message.channel,
                })
            })
            .map(|ask| (ask, facts_told(board, ask.notice, board.fingerprint(ask.item))))
            .collect();
        let parcel =
            Parcel { message: message.id, to: address, reference: message.key.clone(), at: now, content };
        Composed { parcel, attempt, asks }
    }
}

fn words(
    wording: &Wording,
    (board, record): (&Board, &Record),
    letter: &Letter,
    channel: Channel,
    parts: &[(Item, NoticeKey)],
    now: Timestamp,
) -> Result<Content, super::wording::Fault> {
    Ok(match channel {
        Channel::Text => Content::Text(segments::composed(&wording.text(letter)?.text)),
        Channel::Mail => {
            let mail = wording.mail(letter)?;
            Content::Mail(Box::new(MailContent {
                in_reply_to: String::new(),
                reply_token: letter.code.clone(),
                subject: mail.subject,
                text: mail.text,
                html: mail.html,
                calendar: calendar(board, record, letter, parts, now),
                stop_link: letter.stop_link.clone(),
                language: mail.language,
            }))
        }
    })
}

/// The words of a planned message as they would be if it left at `now`, with a link that opens nothing.
pub fn preview(
    (board, record): (&Board, &Record),
    old: &HashMap<Fingerprint, Facts>,
    wording: &Wording,
    wanted: &Wanted,
    ways: &Ways,
    now: Timestamp,
) -> Result<Content, super::wording::Fault> {
    let letter = letter(
        board,
        record,
        old,
        &To { household: wanted.household, guardians: &wanted.guardians, due: wanted.due },
        &wanted.parts,
        &Links { ways, token: SPECIMEN_TOKEN },
        now,
    );
    words(wording, (board, record), &letter, wanted.channel, &wanted.parts, now)
}

/// The guardians of a message who still share its address, and that address.
fn recipients(desk: &Desk, message: &StoredMessage) -> Option<(Vec<GuardianId>, String)> {
    let guardians: Vec<GuardianId> =
        message.guardians.iter().filter_map(|g| desk.board.guardian(g)).collect();
    let address =
        |g: &GuardianId| standing::address(&desk.board, &desk.record, *g, message.channel).map(str::to_owned);
    let first = guardians.iter().find_map(address)?;
    let sharing = guardians.into_iter().filter(|g| address(g).as_deref() == Some(&first)).collect();
    Some((sharing, first))
}

/// The parts of a message that are still wanted and still true.
fn still_true(
    desk: &Desk,
    message: &StoredMessage,
    guardians: &[GuardianId],
    now: Timestamp,
) -> Vec<(Item, NoticeKey)> {
    let board = &*desk.board;
    message
        .parts
        .iter()
        .filter_map(|part| {
            let item = board.item(&part.child, &part.event)?;
            let notice = notice_key(board, &part.notice, part.fingerprint)?;
            Some((item, notice))
        })
        .filter(|(item, notice)| match notice {
            NoticeKey::Change(to) => *to == board.fingerprint(*item) && board.over_at(*item) > now,
            NoticeKey::Rule(at) => {
                let introduces = board.season.notices[*at].introduces();
                let to_say = |it: &Itinerary| !introduces || !chaperones_of(&board.season, it).is_empty();
                let called = item.event.is_none() || board.itinerary(*item).is_some_and(to_say);
                let open = !board.season.notices[*at].to.of_unheard()
                    || guardians.iter().any(|g| {
                        !matches!(
                            standing::standing(board, &desk.record, *g, *item),
                            Standing::Heard | Standing::CantCome
                        )
                    });
                called && open && board.over_at(*item) > now
            }
        })
        .collect()
}

/// Who a letter goes to.
struct To<'a> {
    household: HouseholdId,
    guardians: &'a [GuardianId],
    due: Timestamp,
}

/// Where a letter's links lead.
struct Links<'a> {
    ways: &'a Ways,
    token: &'a str,
}

fn letter(
    board: &Board,
    record: &Record,
    old: &HashMap<Fingerprint, Facts>,
    to: &To<'_>,
    parts: &[(Item, NoticeKey)],
    links: &Links<'_>,
    now: Timestamp,
) -> Letter {
    let guardians = to.guardians;
    let Links { ways, token } = links;
    let base_url = &ways.base_url;
    let season = &board.season;
    let language =
        guardians.first().map_or(&season.language, |g| &season.guardians[g.at()].contact.language).clone();
    let mut items: Vec<Item> = parts.iter().map(|(item, _)| *item).collect();
    items.sort_by_key(|item| (board.needed_by(*item), item.who));
    items.dedup();
    let mut children: Vec<_> = items.iter().map(|item| item.who).collect();
    children.sort();
    children.dedup();
    let mut theirs: Vec<_> = board.cares(to.household).iter().map(|c| c.who).collect();
    theirs.sort();
    theirs.dedup();
    let to_chaperone = items.iter().any(|item| item.who.is_chaperone());
    let kind = Kind::from_folder(&crate::domain::plan::wording(board, parts)).unwrap_or(Kind::Reminder);
    Letter {
        kind,
        season_language: season.language.0.clone(),
        school: season.school.clone(),
        season: season.name.clone(),
        telephone: Some(season.telephone.clone()).filter(|t| !t.is_empty() && t != "-"),
        children: children.iter().map(|c| given_name(board, *c)).collect(),
        rules: if items.iter().any(|i| i.event.is_none()) {
            rules(board, None, &language)
        } else {
            Vec::new()
        },
        items: items
            .iter()
            .filter_map(|item| letter_item(board, record, old, guardians, *item, kind, &language))
            .collect(),
        introductions: if kind == Kind::Introduction { introductions(board, &items) } else { Vec::new() },
        link: if ways.pages_public { format!("{base_url}/r/{token}") } else { String::new() },
        stop_link: if ways.pages_public { format!("{base_url}/stop/{token}") } else { String::new() },
        owes: parts.iter().any(|(_, notice)| crate::domain::plan::owes(board, *notice)),
        reply_by_text: ways.reply_by_text,
        reply_by_mail: ways.reply_by_mail,
        code: (*token).to_owned(),
        one_phone: guardians.len() > 1,
        only_child: theirs.len() <= 1 && !to_chaperone,
        to_chaperone,
        catch_up: now.duration_since(to.due) > CATCH_UP_AFTER,
        language: language.0,
    }
}

/// Who looks after whom, soonest first; events at which a child has the same chaperones are told together.
fn introductions(board: &Board, items: &[Item]) -> Vec<Introduction> {
    let season = &board.season;
    let mut all: Vec<Introduction> = Vec::new();
    for (item, it) in items.iter().filter_map(|item| Some((item, board.itinerary(*item)?))) {
        let names = chaperones_of(season, it).into_iter().map(|c| season.chaperones[c.at()].name.clone());
        let (child, chaperones) = (given_name(board, item.who), names.collect::<Vec<_>>());
        let event = &season.events[it.event.at()];
        let event = Appearance { event: event.name.clone(), date: event.date };
        match all.iter_mut().find(|one| one.child == child && one.chaperones == chaperones) {
            Some(one) if !one.events.contains(&event) => one.events.push(event),
            Some(_) => {}
            None if chaperones.is_empty() => {}
            None => all.push(Introduction { child, chaperones, events: vec![event] }),
        }
    }
    all
}

/// The name a message may carry; a chaperone is always called by hers, which only she reads.
pub(super) fn given_name(board: &Board, who: Person) -> Option<String> {
    let may = board.season.settings.given_names || who.is_chaperone();
    may.then(|| board.season.given_name(who).to_owned())
}

fn rules(board: &Board, event: Option<EventId>, language: &Language) -> Vec<Rule> {
    rules_of(&board.season, event)
        .map(|rule| Rule { name: rule.name.clone(), text: rule_text(rule, language, &board.season.language) })
        .collect()
}

/// A rule's text in a language, else in the season's.
pub(super) fn rule_text(rule: &HouseRule, language: &Language, fallback: &Language) -> String {
    rule.texts
        .get(language)
        .or_else(|| rule.texts.get(fallback))
        .cloned()
        .unwrap_or_else(|| rule.name.clone())
}

fn letter_item(
    board: &Board,
    record: &Record,
    old: &HashMap<Fingerprint, Facts>,
    guardians: &[GuardianId],
    item: Item,
    kind: Kind,
    language: &Language,
) -> Option<LetterItem> {
    let season = &board.season;
    let event = &season.events[item.event?.at()];
    let place = &season.places[event.place.at()];
    let it = board.itinerary(item);
    let changes = if matches!(kind, Kind::Change | Kind::Cancelled) {
        changes(board, record, old, guardians, item)
    } else {
        Vec::new()
    };
    let shift = it.and_then(|it| it.shift.as_ref().map(|shift| letter_shift(board, it, shift)));
    let of_child = |text: &str| if item.who.is_chaperone() { String::new() } else { text.to_owned() };
    Some(LetterItem {
        child: given_name(board, item.who),
        event: event.name.clone(),
        date: event.date,
        call: it.map_or(event.call, |it| it.call.time()),
        park_by: it.and_then(|it| it.park_by).map(|at| at.time()),
        starts: event.starts,
        collect_from: it.and_then(|it| it.collect_from).map(|from| from.at().time()),
        collect_overnight: it
            .and_then(|it| it.collect_from)
            .is_some_and(|from| from.at().date() > event.date),
        place: place.name.clone(),
        door: place.door.clone(),
        ways: place
            .ways
            .iter()
            .map(|w| Walk { name: w.name.clone(), min: w.walk.0, max: w.walk.1 })
            .collect(),
        collect_at: of_child(&place.collect_at),
        arrive_ready: of_child(&event.arrive_ready),
        bring: of_child(&event.bring),
        leave_home: of_child(&event.leave_home),
        adults_watch: event.adults_watch,
        chaperone: it.and_then(|it| it.signs_in).map(|c| season.chaperones[c.at()].name.clone()),
        turn_in: it
            .map(|it| it.turn_in.iter().map(|n| season.numbers[n.at()].name.clone()).collect())
            .unwrap_or_default(),
        rules: if item.who.is_chaperone() { Vec::new() } else { rules(board, item.event, language) },
        changes,
        cancelled: it.is_none(),
        no_early_release: event.dismissal == Dismissal::AfterLastNumber && !item.who.is_chaperone(),
        shift,
    })
}

fn letter_shift(board: &Board, it: &Itinerary, shift: &Shift) -> LetterShift {
    let season = &board.season;
    let names = |numbers: &[NumberId]| -> Vec<String> {
        numbers.iter().map(|number| season.numbers[number.at()].name.clone()).collect()
    };
    LetterShift {
        briefing: shift.briefing.map(|at| at.time()),
        station: shift.station.map(|at| at.time()),
        until: shift.until.map(|at| at.time()),
        numbers: names(&it.numbers),
        tasks: shift.tasks.clone(),
        signs_in: names(&shift.signs_in),
        signs_out: names(&shift.signs_out),
        kit: season.settings.kit.clone(),
    }
}

/// What a guardian was told before the facts in force now; none if she was told nothing else.
pub(super) fn told_before(
    board: &Board,
    record: &Record,
    guardian: GuardianId,
    item: Item,
) -> Option<Fingerprint> {
    let told = record.told.get(&(guardian, item))?;
    if told.fingerprint == board.fingerprint(item) { told.before } else { Some(told.fingerprint) }
}

fn changes(
    board: &Board,
    record: &Record,
    old: &HashMap<Fingerprint, Facts>,
    guardians: &[GuardianId],
    item: Item,
) -> Vec<Change> {
    let before =
        guardians.iter().find_map(|g| told_before(board, record, *g, item)).and_then(|f| old.get(&f));
    let Some(before) = before else { return Vec::new() };
    before
        .changes_to(&board.facts(item))
        .into_iter()
        .map(|d| Change {
            what: match d.field {
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
            },
            old: d.old,
            new: d.new,
        })
        .collect()
}

fn calendar(
    board: &Board,
    record: &Record,
    letter: &Letter,
    parts: &[(Item, NoticeKey)],
    now: Timestamp,
) -> String {
    // An introduction says nothing of times.
    if letter.kind == Kind::Introduction {
        return String::new();
    }
    let mut items: Vec<Item> = parts.iter().map(|(item, _)| *item).filter(|i| i.event.is_some()).collect();
    items.dedup();
    let entries: Vec<ics::Entry> = items
        .iter()
        .filter_map(|item| calendars::entry(board, *item, record.revised_at))
        .map(|entry| ics::Entry { stamp: now, description: letter.link.clone(), ..entry })
        .collect();
    if entries.is_empty() { String::new() } else { ics::calendar(calendars::PRODUCT, "PUBLISH", &entries) }
}

/// The item's time as the reader's clock shows it.
pub fn clock(time: Time) -> String {
    format!("{:02}:{:02}", time.hour(), time.minute())
}
