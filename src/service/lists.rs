//! What lists show: who has been heard from at each event, and whom a chaperone should ring.

use super::office::{Office, OfficeFault};
use super::ports::{Gateway, OpenReply, SendingHold, Store, StoredIncoming, StoredMessage};
use super::requesting::Request;
use crate::domain::board::{Board, Item};
use crate::domain::graph::State;
use crate::domain::in_charge::InCharge;
use crate::domain::record::{Away, Record, Rung, Told};
use crate::domain::season::{Channel, ChaperoneId, ChildId, EventId, GuardianId, NumberId, Person};
use crate::domain::sheets;
use crate::domain::shift::numbers_of;
use crate::domain::standing::{Standing, address, heard, reachable, settled, standing};
use crate::domain::wall;
use jiff::Timestamp;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Messages shown as needing a person, at most.
const NEEDS_SHOWN: u32 = 100;

/// One child at an event.
#[derive(Debug, Clone)]
pub struct ChildLine {
    /// Who.
    pub child: ChildId,
    /// As a whole: heard means settled.
    pub standing: Standing,
    /// Each guardian.
    pub guardians: Vec<GuardianLine>,
}

/// One guardian of a child at an event.
#[derive(Debug, Clone)]
pub struct GuardianLine {
    /// Who.
    pub guardian: GuardianId,
    /// Where she is.
    pub standing: Standing,
    /// What she was told last.
    pub told: Option<Told>,
    /// Last call in which she heard nothing.
    pub call: Option<Rung>,
}

/// An event as a list.
#[derive(Debug, Clone)]
pub struct EventList {
    /// Which.
    pub event: EventId,
    /// Recipients (guardian and child) by standing, in the order of [`Standing::ALL`].
    pub recipients: [u64; 7],
    /// Children settled, and all who are coming.
    pub settled: (u64, u64),
    /// Children in order of their first number.
    pub children: Vec<ChildLine>,
    /// Settled and all children of each number, in order.
    pub numbers: Vec<(NumberId, u64, u64)>,
    /// Since when each settled child has been so, earliest first.
    pub settled_since: Vec<Timestamp>,
    /// Chaperones with a duty there, and where each is with it.
    pub chaperones: Vec<(ChaperoneId, Standing)>,
    /// Children who are not coming, with who said so and when, in words.
    pub away: BTreeMap<ChildId, String>,
}

/// What a chaperone's page shows for one event.
pub struct ChaperoneData {
    /// The season.
    pub board: Arc<Board>,
    /// Who.
    pub chaperone: ChaperoneId,
    /// Her events, soonest first.
    pub events: Vec<EventId>,
    /// The event shown.
    pub event: EventId,
    /// Her numbers there.
    pub numbers: Vec<NumberId>,
    /// When she is due: her children's call less the season's lead.
    pub due: Timestamp,
    /// Her children.
    pub children: Vec<ChildLine>,
    /// Where she is with her own duties there.
    pub standing: Standing,
}

/// What a guardian said that a person has to look at.
#[derive(Debug, Clone)]
pub struct Asked {
    /// Who.
    pub guardian: Option<GuardianId>,
    /// About what, as far as that is known.
    pub items: Vec<Item>,
    /// The address it came from, where nobody in the season has it; else empty.
    pub stranger: String,
    /// By which channel and to which address it can be answered from here.
    pub road: Option<Channel>,
    /// When.
    pub at: Timestamp,
    /// Her question, with its row; none if she said that the child can't come.
    pub question: Option<(i64, String)>,
    /// What only a person can grant, where that is asked for.
    pub request: Option<Request>,
}

/// Everything the coordinator's first page shows.
pub struct SeasonData {
    /// The season.
    pub board: Arc<Board>,
    /// Each event.
    pub events: Vec<EventList>,
    /// Questions and children who can't come, of events that are not over, oldest first.
    pub asked: Vec<Asked>,
    /// Guardians without any way to reach them, and their children.
    pub no_way: Vec<(GuardianId, Vec<ChildId>)>,
    /// Messages refused or bounced, newest first.
    pub returned: Vec<StoredMessage>,
    /// Messages of which nobody knows whether they arrived.
    pub uncertain: Vec<StoredMessage>,
    /// Messages that broke the sender or whose wording failed.
    pub quarantined: Vec<StoredMessage>,
    /// The coordinator's own answers in doubt or not arrived.
    pub replies: Vec<OpenReply>,
    /// Why nothing is sent until somebody agrees.
    pub holds: Vec<SendingHold>,
    /// Children whose families have confirmed the house rules, and all of whom that was asked; none where nobody was asked.
    pub rules: Option<(usize, usize)>,
    /// Children none of whose guardians can answer a message by any road there is: as many calls to make.
    pub calls: usize,
    /// Number of messages by state and channel.
    pub counts: Vec<(State, Channel, u64)>,
    /// Gateways that cannot be used at the moment.
    pub resting: Vec<(Channel, super::office::Rest)>,
    /// The next instant at which something may be sent or tended.
    pub next_due: Option<Timestamp>,
    /// Now.
    pub now: Timestamp,
}

impl<S: Store, G: Gateway> Office<S, G> {
    /// Each event's list, without anything about messages.
    pub async fn event_lists(&self) -> Result<Vec<EventList>, OfficeFault> {
        let desk = self.desk().await?;
        Ok(event_ids(&desk.board).map(|event| event_list(&desk.board, &desk.record, event)).collect())
    }

    /// What an event's sheets are made from, all of one moment: the board, the event's list, the workbook's short name.
    pub async fn paper(&self, event: &str) -> Result<Option<(Arc<Board>, EventList, String)>, OfficeFault> {
        let desk = self.desk().await?;
        let Some(event) = desk.board.event(event) else { return Ok(None) };
        let Some(stored) = self.store.season().await? else { return Ok(None) };
        let list = event_list(&desk.board, &desk.record, event);
        Ok(Some((desk.board.clone(), list, sheets::version(&stored.book))))
    }

    /// Everything the coordinator's first page shows.
    pub async fn season_data(&self) -> Result<SeasonData, OfficeFault> {
        let desk = self.desk().await?;
        let board = desk.board.clone();
        let events = event_ids(&board).map(|event| event_list(&board, &desk.record, event)).collect();
        let no_way = unreachable(&board, &desk.record);
        let calls = self.calls(&board, &desk.record);
        let rules = rules_heard(&board, &desk.record);
        let season = desk.season;
        let mut asked = cannot_come(&board, &desk.record, self.now());
        let questions = self.store.waiting(season, NEEDS_SHOWN).await?;
        asked.extend(questions.into_iter().map(|q| question(&board, &desk.record, q)));
        asked.sort_by_key(|one| (one.at, one.guardian));
        drop(desk);
        let returned = [State::Refused, State::Bounced];
        Ok(SeasonData {
            events,
            rules,
            calls,
            asked,
            no_way,
            next_due: self.store.next_due(season).await?,
            returned: self.store.messages_to_see(season, &returned, NEEDS_SHOWN).await?,
            uncertain: self.store.messages_to_see(season, &[State::Uncertain], NEEDS_SHOWN).await?,
            quarantined: self.store.messages_to_see(season, &[State::Quarantined], NEEDS_SHOWN).await?,
            replies: self.store.replies_to_see(season, NEEDS_SHOWN).await?,
            holds: self.store.holds().await?,
            counts: self.store.counts(season).await?,
            resting: self.resting(),
            now: self.now(),
            board,
        })
    }

    /// Children for whom somebody has to be rung because no answer can come back by message.
    fn calls(&self, board: &Board, record: &Record) -> usize {
        let answers = |channel: Channel| {
            self.ways.pages_public
                || match channel {
                    Channel::Text => self.ways.reply_by_text,
                    Channel::Mail => self.ways.reply_by_mail,
                }
        };
        let can = |guardian: GuardianId| {
            [Channel::Mail, Channel::Text]
                .into_iter()
                .any(|channel| answers(channel) && address(board, record, guardian, channel).is_some())
        };
        (0..board.season.children.len() as u32)
            .filter(|child| !board.cares_of(ChildId(*child)).any(|care| can(care.guardian)))
            .count()
    }

    /// A chaperone's list for the event of a ref, or her next one; none if she has no duties.
    pub async fn chaperone_data(
        &self,
        chaperone: &str,
        event: &str,
    ) -> Result<Option<ChaperoneData>, OfficeFault> {
        let desk = self.desk().await?;
        let board = desk.board.clone();
        let position = board.season.chaperones.iter().position(|c| c.reference == chaperone);
        let Some(chaperone) = position.map(|at| ChaperoneId(at as u32)) else { return Ok(None) };
        let events: BTreeSet<EventId> =
            board.season.duties.iter().filter(|d| d.chaperone == chaperone).map(|d| d.event).collect();
        let mut events: Vec<EventId> = events.into_iter().collect();
        events.sort_by_key(|e| board.season.curtain_up(*e));
        let now = self.now();
        let next = events.iter().find(|e| board.season.curtain_up(**e) > now).or(events.last()).copied();
        let Some(event) = board.event(event).filter(|e| events.contains(e)).or(next) else { return Ok(None) };
        let children = children_of(&board, chaperone, event);
        let lines = children.iter().map(|child| child_line(&board, &desk.record, *child, event)).collect();
        Ok(Some(ChaperoneData {
            numbers: numbers_of(&board.season, chaperone, event),
            due: board.needed_by(Item { who: Person::Chaperone(chaperone), event: Some(event) }),
            children: lines,
            standing: duty_standing(&board, &desk.record, chaperone, event),
            chaperone,
            events,
            event,
            board,
        }))
    }
}

fn question(board: &Board, record: &Record, stored: StoredIncoming) -> Asked {
    let incoming = stored.incoming;
    let guardian = incoming.guardians.iter().find_map(|g| board.guardian(g));
    Asked {
        guardian,
        items: incoming.items.iter().filter_map(|(child, event)| board.item(child, event)).collect(),
        stranger: if guardian.is_none() { incoming.address.clone() } else { String::new() },
        road: super::hearing::answer_road(board, record, &incoming).map(|(channel, _)| channel),
        at: incoming.at,
        request: Request::from_word(&incoming.became),
        question: Some((stored.id, incoming.words)),
    }
}

fn cannot_come(board: &Board, record: &Record, now: Timestamp) -> Vec<Asked> {
    record
        .answers
        .iter()
        .filter(|((guardian, item), _)| {
            board.over_at(*item) > now && standing(board, record, *guardian, *item) == Standing::CantCome
        })
        .map(|((guardian, item), answer)| Asked {
            guardian: Some(*guardian),
            items: vec![*item],
            stranger: String::new(),
            road: None,
            at: answer.at,
            question: None,
            request: None,
        })
        .collect()
}

fn event_ids(board: &Board) -> impl Iterator<Item = EventId> + use<> {
    (0..board.season.events.len() as u32).map(EventId)
}

/// The children a chaperone looks after at an event, in order of name.
pub fn children_of(board: &Board, chaperone: ChaperoneId, event: EventId) -> Vec<ChildId> {
    let in_charge = InCharge::of(&board.season, event);
    let mut children: Vec<ChildId> = board
        .programme
        .children_at(event)
        .filter(|(_, it)| in_charge.having(&it.numbers).contains(&chaperone))
        .map(|(child, _)| child)
        .collect();
    children.sort_by_key(|c| {
        let child = &board.season.children[c.at()];
        (child.given.clone(), child.family.clone())
    });
    children
}

/// Where a child is at an event, and each of its guardians.
pub(super) fn child_line(board: &Board, record: &Record, child: ChildId, event: EventId) -> ChildLine {
    let item = Item { who: child.into(), event: Some(event) };
    let guardians: Vec<GuardianLine> = board
        .cares_of(child)
        .map(|care| GuardianLine {
            guardian: care.guardian,
            standing: standing(board, record, care.guardian, item),
            told: record.told.get(&(care.guardian, item)).copied(),
            call: record.calls.get(&(care.guardian, item)).and_then(|rung| rung.last()).cloned(),
        })
        .collect();
    ChildLine { child, standing: whole(settled(board, record, item), &guardians), guardians }
}

/// A child's standing as a whole: settled, else the one that asks most of a person.
fn whole(settled: bool, guardians: &[GuardianLine]) -> Standing {
    let has = |s| guardians.iter().any(|g| g.standing == s);
    if has(Standing::Away) {
        return Standing::Away;
    }
    if settled {
        return Standing::Heard;
    }
    if has(Standing::CantCome) {
        Standing::CantCome
    } else if guardians.iter().all(|g| g.standing == Standing::NoWay) {
        Standing::NoWay
    } else if has(Standing::HeardBefore) {
        Standing::HeardBefore
    } else if has(Standing::Waiting) || has(Standing::Heard) {
        Standing::Waiting
    } else {
        Standing::NotAsked
    }
}

/// An event's list.
pub fn event_list(board: &Board, record: &Record, event: EventId) -> EventList {
    let mut its: Vec<_> = board.programme.children_at(event).collect();
    its.sort_by_key(|(child, it)| (it.numbers.first().copied(), *child));
    let mut list = EventList {
        event,
        recipients: [0; 7],
        settled: (0, its.len() as u64),
        children: Vec::with_capacity(its.len()),
        numbers: Vec::new(),
        settled_since: Vec::new(),
        chaperones: chaperones_at(board, record, event),
        away: absences_at(board, record, event).map(|(child, away)| (child, said(board, away))).collect(),
    };
    let mut numbers: BTreeMap<NumberId, (u64, u64)> = BTreeMap::new();
    for (child, it) in its {
        let line = child_line(board, record, child, event);
        for guardian in &line.guardians {
            if let Some(at) = Standing::ALL.iter().position(|s| *s == guardian.standing) {
                list.recipients[at] += 1;
            }
        }
        if line.standing == Standing::Away {
            list.settled.1 -= 1;
            list.children.push(line);
            continue;
        }
        let done = line.standing == Standing::Heard;
        for number in &it.numbers {
            let tally = numbers.entry(*number).or_default();
            tally.0 += u64::from(done);
            tally.1 += 1;
        }
        if done {
            list.settled.0 += 1;
            let item = Item { who: child.into(), event: Some(event) };
            list.settled_since.extend(
                line.guardians
                    .iter()
                    .filter_map(|g| heard(board, record, g.guardian, item))
                    .map(|a| a.at)
                    .min(),
            );
        }
        list.children.push(line);
    }
    list.settled_since.sort();
    list.numbers = numbers.into_iter().map(|(number, (done, all))| (number, done, all)).collect();
    list
}

/// Children who are not coming to an event.
pub(super) fn absences_at<'a>(
    board: &'a Board,
    record: &'a Record,
    event: EventId,
) -> impl Iterator<Item = (ChildId, &'a Away)> {
    let here = record.away.iter().filter(move |(item, _)| item.event == Some(event));
    here.filter_map(|(item, away)| item.who.child().map(|child| (child, away)))
        .filter(|(child, _)| (child.at()) < board.season.children.len())
}

/// Who said that a child is not coming, who noted it, and when, in words; never why.
pub(super) fn said(board: &Board, away: &Away) -> String {
    let season = &board.season;
    let at = wall::local(&season.zone, away.at).strftime("%-d %B, %H:%M");
    let by = season.chaperones.iter().find(|chaperone| chaperone.reference == away.noted_by);
    let by = by.map_or("the coordinator", |chaperone| chaperone.name.as_str());
    match away.said_by {
        Some(guardian) => {
            format!("{} said so, noted by {by}, {at}", season.guardians[guardian.at()].name)
        }
        None => format!("noted by {by}, {at}"),
    }
}

fn chaperones_at(board: &Board, record: &Record, event: EventId) -> Vec<(ChaperoneId, Standing)> {
    let at_event = board.programme.at(event).iter();
    at_event
        .filter_map(|it| match it.who {
            Person::Chaperone(chaperone) => Some((chaperone, duty_standing(board, record, chaperone, event))),
            Person::Child(_) => None,
        })
        .collect()
}

/// Where a chaperone is with her duties at an event.
fn duty_standing(board: &Board, record: &Record, chaperone: ChaperoneId, event: EventId) -> Standing {
    let item = Item { who: Person::Chaperone(chaperone), event: Some(event) };
    let own = board.cares_of(item.who).next();
    own.map_or(Standing::NotAsked, |care| standing(board, record, care.guardian, item))
}

/// For how many children the house rules are settled, of those for whom they were asked.
fn rules_heard(board: &Board, record: &Record) -> Option<(usize, usize)> {
    let children = (0..board.season.children.len() as u32).map(|at| Person::Child(ChildId(at)));
    let items = children.map(|who| Item { who, event: None });
    let asked = |item: &Item| {
        let told = |guardian| record.told.get(&(guardian, *item)).is_some_and(|told| told.asked);
        board.cares_of(item.who).any(|care| told(care.guardian))
    };
    let asked: Vec<Item> = items.filter(asked).collect();
    let heard = asked.iter().filter(|item| settled(board, record, **item)).count();
    (!asked.is_empty()).then_some((heard, asked.len()))
}

fn unreachable(board: &Board, record: &Record) -> Vec<(GuardianId, Vec<ChildId>)> {
    let mut out: BTreeMap<GuardianId, Vec<ChildId>> = BTreeMap::new();
    // A chaperone matters here only where the season writes to chaperones at all.
    let asked = board.season.notices.iter().any(|notice| notice.to.of_chaperones());
    for care in board.season.cares.iter().filter(|care| asked || !care.who.is_chaperone()) {
        if !reachable(board, record, care.guardian) {
            out.entry(care.guardian).or_default().extend(care.who.child());
        }
    }
    out.into_iter().collect()
}
