//! `/season/chase`: whom to ring, who does, and what came of it. The cards stand on chaperones' pages too.

use std::sync::Arc;

use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::Response;
use jiff::Timestamp;

use super::fields::Fields;
use super::labels::{ENGLISH, capitalised};
use super::respond::{Denied, html};
use super::routes::Front;
use super::shown;
use super::views::{CallCard, ChasePage, Matter, PageNotice};
use crate::domain::board::{Board, Item};
use crate::domain::chase::{Call, ChaseWay, Moment, Reason, Tried};
use crate::domain::facts::{Fingerprint, rules_of};
use crate::domain::record::{CallEnd, Rung};
use crate::domain::season::{Channel, Season};
use crate::service::answering::Noted;
use crate::service::chasing::{COORDINATOR, Came, ChaseData, Noter};
use crate::service::office::Office;
use crate::service::ports::{Gateway, Store};

/// What may come of speaking to a family, by the word of its button.
const ACTS: [(&str, Came); 6] = [
    ("heard", Came::HeardByPhone),
    ("heard_in_person", Came::HeardInPerson),
    ("cant_come", Came::CantCome),
    ("no_answer", Came::Nothing(CallEnd::NoAnswer)),
    ("wrong_number", Came::Nothing(CallEnd::WrongNumber)),
    ("will_call_back", Came::Nothing(CallEnd::WillCallBack)),
];

/// Who reads a card.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Reader {
    /// The coordinator: full names, and who rings.
    Coordinator,
    /// The chaperone who rings: given names.
    Ringer,
}

pub(super) async fn show<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    headers: HeaderMap,
) -> Result<Response, Denied> {
    front.coordinator(&headers).await?;
    page(&front, None).await
}

/// The coordinator notes what came of a call of her own, or what a ringer told her.
pub(super) async fn act<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    headers: HeaderMap,
    fields: Fields,
) -> Result<Response, Denied> {
    front.coordinator_acts(&headers).await?;
    let said = Said::of(&fields)?;
    let board = front.office.desk().await?.board.clone();
    let noted = said.note(&front.office, Noter::Coordinator).await?;
    page(&front, Some(said.notice(&board, &noted))).await
}

async fn page<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    notice: Option<PageNotice>,
) -> Result<Response, Denied> {
    let data = front.office.chase().await?;
    let season = &data.board.season;
    Ok(html(&ChasePage {
        school: season.school.clone(),
        season: season.name.clone(),
        as_of: shown::as_of(&season.zone, data.now),
        calls: data.list.calls.iter().map(|call| card(&data, call, Reader::Coordinator)).collect(),
        later: data.list.later,
        shared: shared(&data),
        near_days: season.settings.calls_days,
        notice,
    }))
}

/// How the calls are shared out.
fn shared(data: &ChaseData) -> String {
    let given = data.list.calls.iter().filter(|call| call.ringer.is_some()).count();
    match (data.list.calls.len(), given) {
        (0, _) => String::new(),
        (_, 0) => "No chaperone can ring them: you need to ring these.".to_owned(),
        (_, given) => format!(
            "{} shared out among {} chaperones, at most {} each.",
            if given == 1 {
                "One call is".to_owned()
            } else {
                format!("{} calls are", capitalised(&ENGLISH.number(given)))
            },
            data.list.ringers.len(),
            ENGLISH.number(data.list.share)
        ),
    }
}

/// What was posted about a family.
pub(super) struct Said<'a> {
    guardian: &'a str,
    about: Vec<(&'a str, &'a str, Fingerprint)>,
    came: Came,
}

impl<'a> Said<'a> {
    /// Reads a form: several things, or one child at one event.
    pub fn of(fields: &'a Fields) -> Result<Said<'a>, Denied> {
        let act = fields.first("act");
        let came = ACTS.iter().find(|(word, _)| *word == act).ok_or(Denied::BadForm)?.1;
        let seen: Result<Vec<Fingerprint>, _> = fields.all("fingerprint").map(str::parse).collect();
        let seen = seen.map_err(|_| Denied::BadForm)?;
        let mut things: Vec<(&str, &str)> =
            fields.all("item").filter_map(|item| item.split_once('/')).collect();
        if things.is_empty() {
            things.push((fields.first("child"), fields.first("event")));
        }
        if things.len() != seen.len() {
            return Err(Denied::BadForm);
        }
        let about = things.into_iter().zip(seen).map(|((child, event), seen)| (child, event, seen));
        Ok(Said { guardian: fields.first("guardian"), about: about.collect(), came })
    }

    /// Notes it.
    pub async fn note<S: Store, G: Gateway>(
        &self,
        office: &Office<S, G>,
        noter: Noter,
    ) -> Result<Vec<Noted>, Denied> {
        Ok(office.note_call(noter, self.guardian, &self.about, self.came).await?)
    }

    /// What became of it, in a sentence.
    pub fn notice(&self, board: &Board, noted: &[Noted]) -> PageNotice {
        let whom = |which: &dyn Fn(&Noted) -> bool| {
            let items = self.about.iter().zip(noted).filter(|(_, noted)| which(noted));
            let items = items.filter_map(|((child, event, _), _)| board.item(child, event));
            children(&board.season, items)
        };
        let changed = whom(&|one| *one == Noted::Changed);
        let done = whom(&|one| matches!(one, Noted::Recorded | Noted::Known));
        let old = format!(
            "the times of {changed} have changed since you opened this list. Please ring them again."
        );
        let guardian = board.guardian(self.guardian).map(|g| &board.season.guardians[g.at()].name);
        let who = guardian.map(|name| shown::given(name)).unwrap_or_default();
        let words = match (done.is_empty(), changed.is_empty()) {
            (true, true) => "Nothing was noted: that child is not on your list.".to_owned(),
            (true, false) => format!("Nothing was noted: {old}"),
            (false, true) => self.done(&who, &done),
            (false, false) => format!("{} Not noted: {old}", self.done(&who, &done)),
        };
        PageNotice { words, done: !done.is_empty() && changed.is_empty() }
    }

    fn done(&self, who: &str, whom: &str) -> String {
        match self.came {
            Came::HeardByPhone => format!("Noted: {who} said yes, for {whom}, by phone."),
            Came::HeardInPerson => format!("Noted: {who} said yes, for {whom}, in person."),
            Came::CantCome => format!(
                "Noted: not coming, this once: {whom}. Those who look after them are told. You can take this back on the \
                 event's page."
            ),
            Came::Nothing(CallEnd::NoAnswer) => format!("Noted: {who} did not answer. Ring again later."),
            Came::Nothing(CallEnd::WillCallBack) => {
                format!("Noted: {who} will call back. If not, ring again tomorrow.")
            }
            Came::Nothing(CallEnd::WrongNumber) => {
                format!("Noted: wrong number for {who}. We won't text that number again.")
            }
        }
    }
}

/// The card of a call.
pub(super) fn card(data: &ChaseData, call: &Call, reader: Reader) -> CallCard {
    let board = &data.board;
    let season = &board.season;
    let guardian = &season.guardians[call.guardian.at()];
    let language = &guardian.contact.language;
    let by_phone = matches!(call.way, ChaseWay::Ring(_));
    CallCard {
        guardian: guardian.reference.clone(),
        name: match reader {
            Reader::Coordinator => guardian.name.clone(),
            Reader::Ringer => shown::given(&guardian.name),
        },
        telephone: shown::telephone(season, &guardian.contact).filter(|_| by_phone),
        language: (*language != season.language).then(|| shown::language_name(language)),
        children: children(season, call.items.iter().copied()),
        matters: call.items.iter().filter_map(|item| matter(board, *item)).collect(),
        rules: call.rules.iter().map(|item| rules(board, *item)).collect(),
        reasons: call.reasons.iter().map(reason).collect(),
        ringer: if reader == Reader::Coordinator { ringer(board, call) } else { String::new() },
        moment: moment(data, call),
        tried: tried(season, &call.tried, reader),
    }
}

/// The children of some items, each once, as staff call them.
fn children(season: &Season, items: impl Iterator<Item = Item>) -> String {
    let mut names: Vec<String> = Vec::new();
    for child in items.filter_map(|item| item.who.child()) {
        let name = shown::short_name(&season.children[child.at()]);
        if !names.contains(&name) {
            names.push(name);
        }
    }
    ENGLISH.list(&names)
}

/// What is read out about one child at one event.
fn matter(board: &Board, item: Item) -> Option<Matter> {
    let season = &board.season;
    let it = board.itinerary(item)?;
    let event = &season.events[it.event.at()];
    let place = &season.places[event.place.at()];
    let clock = |at: jiff::civil::Time| shown::time(season, &ENGLISH, &at);
    let park = it.park_by.map_or(String::new(), |at| format!(", park by {}", clock(at.time())));
    let collect = it
        .collect_from
        .map_or(String::new(), |from| format!(" Collect from {}, not before.", clock(from.at().time())));
    let [ready, bring] = [("Arrive in", &event.arrive_ready), ("Bring", &event.bring)]
        .map(|(what, text)| if text.is_empty() { String::new() } else { format!(" {what}: {text}.") });
    let (child, reference) = board.item_refs(item);
    Some(Matter {
        item: format!("{child}/{reference}"),
        fingerprint: board.fingerprint(item).to_string(),
        child: children(season, std::iter::once(item)),
        event: event.name.clone(),
        words: format!(
            "{}, be there at {}{park}, {}, {}.{ready}{bring}{collect}",
            ENGLISH.day(&event.date),
            clock(it.call.time()),
            place.name,
            place.door
        ),
    })
}

/// The season's house rules, as they are read out for one child.
fn rules(board: &Board, item: Item) -> Matter {
    let season = &board.season;
    let (child, reference) = board.item_refs(item);
    let names: Vec<String> = rules_of(season, None).map(|rule| rule.name.clone()).collect();
    Matter {
        item: format!("{child}/{reference}"),
        fingerprint: board.fingerprint(item).to_string(),
        child: children(season, std::iter::once(item)),
        event: "house rules".to_owned(),
        words: format!("They have them in their first message: {}.", names.join("; ")),
    }
}

fn reason(reason: &Reason) -> String {
    match reason {
        Reason::Near(0) => "the event is today".to_owned(),
        Reason::Near(1) => "the event is tomorrow".to_owned(),
        Reason::Near(days) => {
            format!("the event is in {} days", ENGLISH.number(usize::try_from(*days).unwrap_or(0)))
        }
        Reason::NoChannel => "no message can reach them".to_owned(),
        Reason::OldTimes => "they know the old times".to_owned(),
        Reason::SilentTwice(times) => format!("{} messages had no answer", ENGLISH.number(*times)),
        Reason::QuickChange => "quick change".to_owned(),
        Reason::NewToSchool => "new to the school".to_owned(),
    }
}

/// Who rings, and why she does.
fn ringer(board: &Board, call: &Call) -> String {
    let season = &board.season;
    let Some(ringer) = call.ringer else {
        return match call.way {
            ChaseWay::Ring(_) => "Nobody else can: you need to ring this one.".to_owned(),
            ChaseWay::Door(_) => String::new(),
        };
    };
    let mut why = Vec::new();
    if let Some(kinship) = call.kinship(board) {
        if kinship.hers {
            why.push("their chaperone".to_owned());
        }
        if kinship.speaks {
            let language = &season.guardians[call.guardian.at()].contact.language;
            why.push(format!("speaks {}", shown::language_name(language)));
        }
    }
    let name = &season.chaperones[ringer.at()].name;
    if why.is_empty() { format!("{name} rings.") } else { format!("{name} rings: {}.", ENGLISH.list(&why)) }
}

/// When and where.
fn moment(data: &ChaseData, call: &Call) -> String {
    let season = &data.board.season;
    match call.way {
        ChaseWay::Ring(Moment::Now) => "Ring now.".to_owned(),
        ChaseWay::Ring(Moment::From(at)) => format!("Best time to ring: {}.", from(season, data.now, at)),
        ChaseWay::Door(Some(event)) => {
            let event = &season.events[event.at()];
            format!("No number to ring: at the door, {}, {}.", event.name, ENGLISH.day(&event.date))
        }
        ChaseWay::Door(None) => "No number to ring: find another way.".to_owned(),
    }
}

fn from(season: &Season, now: Timestamp, at: Timestamp) -> String {
    let (today, then) = (shown::as_of(&season.zone, now), shown::as_of(&season.zone, at));
    let day = if today.date == then.date { "today".to_owned() } else { format!("on {}", then.english_day()) };
    format!("{day} from {}", then.clock())
}

/// What was tried, in words.
fn tried(season: &Season, tried: &Tried, reader: Reader) -> String {
    let mut words = Vec::new();
    for (channel, times, last) in &tried.sent {
        let (one, many) = match channel {
            Channel::Mail => ("mail", "mails"),
            Channel::Text => ("text", "texts"),
        };
        let at = shown::as_of(&season.zone, *last);
        let (day, clock) = (at.english_day(), at.clock());
        words.push(match times {
            1 => format!("One {one}, on {day}, {clock}."),
            n => format!("{} {many}, the last on {day}, {clock}.", capitalised(&ENGLISH.number(*n as usize))),
        });
    }
    if words.is_empty() {
        words.push("Nothing has been sent yet.".to_owned());
    }
    for (channels, what) in [(&tried.failed, "does not work"), (&tried.stopped, "was stopped by its owner")] {
        for channel in channels {
            let address = match channel {
                Channel::Mail => "The mail address",
                Channel::Text => "The number for texts",
            };
            words.push(format!("{address} {what}."));
        }
    }
    words.extend(tried.rung.iter().map(|rung| rung_words(season, rung, reader)));
    words.join(" ")
}

fn rung_words(season: &Season, rung: &Rung, reader: Reader) -> String {
    let at = shown::as_of(&season.zone, rung.at);
    let chaperone = season.chaperones.iter().find(|chaperone| chaperone.reference == rung.by);
    let by = match (chaperone, reader) {
        (Some(chaperone), Reader::Coordinator) => format!(" by {}", chaperone.name),
        (Some(chaperone), Reader::Ringer) => format!(" by {}", shown::given(&chaperone.name)),
        (None, _) if rung.by == COORDINATOR => " by the coordinator".to_owned(),
        (None, _) => String::new(),
    };
    format!("Rung on {}, {}{by}: {}.", at.english_day(), at.clock(), end_words(rung.end))
}

/// How a call ended, in words.
pub(super) fn end_words(end: CallEnd) -> &'static str {
    match end {
        CallEnd::NoAnswer => "no answer",
        CallEnd::WrongNumber => "wrong number",
        CallEnd::WillCallBack => "will call back",
    }
}
