//! The running of a show: what is told of it is judged by what was told before, stored, and never changed.

use super::lists::absences_at;
use super::office::{Office, OfficeFault};
use super::ports::{DeedKind, Gateway, Store, StoreFault, StoredDeed};
use crate::domain::board::Board;
use crate::domain::day::Day;
use crate::domain::day::order::{OrderShift, Piece, Target};
use crate::domain::day::running::{Before, Deed, Refusal, Running, ShowReport, Verdict};
use crate::domain::season::{ChildId, EventId, NumberId, Season};
use crate::domain::{shift, wall};
use jiff::civil::Time;
use jiff::{SignedDuration, Timestamp};
use std::collections::BTreeSet;
use std::sync::Arc;

/// So long after its planned end something may still be told of a show (assumption, no source).
const TOLD_AFTER: SignedDuration = SignedDuration::from_hours(12);
/// So long after its planned end a show is what its chaperones see first (assumption, no source).
const SHOWN_AFTER: SignedDuration = SignedDuration::from_hours(3);
/// How often a deed is judged anew because another came between.
const TRIES_MAX: u32 = 8;
/// The word for the place before everything else, where something moves to.
pub const FIRST: &str = "first";
/// What stands before the count of an interval, where something moves behind it.
pub const INTERVAL: &str = "interval ";

/// What was told of one event, all of one moment.
pub struct ShowData {
    /// The season.
    pub board: Arc<Board>,
    /// Which event.
    pub event: EventId,
    /// Children who are not coming.
    pub away: BTreeSet<ChildId>,
    /// What was told, by refs.
    pub stored: Vec<StoredDeed>,
    /// Now.
    pub now: Timestamp,
}

/// What became of something told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ShowTold {
    /// It counts from now on.
    Done,
    /// It was told before; nothing changed.
    Known,
    /// It does not count, for this reason in plain words.
    Refused(String),
}

/// Something to be told, as a form says it: see [`StoredDeed`] for its words.
#[derive(Debug, Clone, Copy)]
pub struct Saying<'a> {
    /// The event's ref.
    pub event: &'a str,
    /// What tells it from others.
    pub external: &'a str,
    /// What kind.
    pub kind: DeedKind,
    /// See [`StoredDeed::number`].
    pub number: &'a str,
    /// See [`StoredDeed::other`].
    pub other: &'a str,
    /// See [`StoredDeed::minutes`].
    pub minutes: u32,
}

/// When the chaperones of an event come.
fn chaperones_come(board: &Board, event: EventId) -> Timestamp {
    let season = &board.season;
    let event = &season.events[event.at()];
    let children = event.date.to_datetime(event.call);
    wall::instant(&season.zone, shift::arrives(season, event, children))
}

impl ShowData {
    fn season(&self) -> &Season {
        &self.board.season
    }

    /// Seconds from the planned curtain up.
    fn seconds(&self, at: Timestamp) -> i64 {
        at.duration_since(self.season().curtain_up(self.event)).as_secs()
    }

    /// The deeds that can still be read against the workbook in force.
    fn deeds(&self) -> Vec<Deed> {
        let read = |stored: &StoredDeed| {
            let act = self.act(stored)?;
            Some(Deed { id: stored.external.clone(), at: self.seconds(stored.at), act })
        };
        self.stored.iter().filter_map(read).collect()
    }

    fn act(&self, stored: &StoredDeed) -> Option<ShowReport> {
        let number = |reference: &str| number_of(self.season(), reference);
        let piece = |word: &str| match word.strip_prefix(INTERVAL) {
            Some(nth) => nth.parse().ok().map(Piece::Interval),
            None => number(word).map(Piece::Number),
        };
        Some(match stored.kind {
            DeedKind::Begun => ShowReport::Begun(number(&stored.number)?),
            DeedKind::Ended => ShowReport::Ended(number(&stored.number)?),
            DeedKind::Cut => ShowReport::Cut(number(&stored.number)?),
            DeedKind::Held if stored.number.is_empty() => {
                ShowReport::Held(Before::Act(stored.other.parse().ok()?), stored.minutes)
            }
            DeedKind::Held => ShowReport::Held(Before::Number(number(&stored.number)?), stored.minutes),
            DeedKind::Exchanged => {
                ShowReport::Shifted(OrderShift::Exchange(piece(&stored.number)?, piece(&stored.other)?))
            }
            DeedKind::Moved => {
                let target =
                    if stored.other == FIRST { Target::First } else { Target::Behind(piece(&stored.other)?) };
                ShowReport::Shifted(OrderShift::Move(piece(&stored.number)?, target))
            }
            DeedKind::TakenBack => {
                let wanted: i64 = stored.other.parse().ok()?;
                let found = self.stored.iter().find(|other| other.seq == wanted)?;
                ShowReport::TakenBack(found.external.clone())
            }
        })
    }

    /// Now, as far as the show goes: once its day is over, what was not told is not still expected.
    fn moment(&self) -> i64 {
        let past = self.now > self.season().curtain_up(self.event)
            && !is_open(&self.board, self.event, self.now, TOLD_AFTER);
        let last = || self.stored.last().map_or(0, |deed| self.seconds(deed.at));
        if past { last() } else { self.seconds(self.now) }
    }

    /// The event as it runs.
    pub fn running(&self) -> Running<'_> {
        Running::of(self.season(), self.event, &self.deeds(), self.moment()).without(&self.away)
    }

    /// The deeds that count, newest first, each with what it says.
    pub fn counted(&self) -> Vec<(&StoredDeed, ShowReport)> {
        let deeds = self.deeds();
        let verdicts = Running::of(self.season(), self.event, &deeds, self.moment()).verdicts;
        let done = || deeds.iter().zip(&verdicts).filter(|(_, verdict)| **verdict == Verdict::Done);
        let gone: Vec<&str> = done()
            .filter_map(|(deed, _)| match &deed.act {
                ShowReport::TakenBack(id) => Some(id.as_str()),
                _ => None,
            })
            .collect();
        let counts =
            |deed: &Deed| !matches!(deed.act, ShowReport::TakenBack(_)) && !gone.contains(&deed.id.as_str());
        done()
            .rev()
            .filter(|(deed, _)| counts(deed))
            .filter_map(|(deed, _)| {
                let stored = self.stored.iter().find(|stored| stored.external == deed.id)?;
                Some((stored, deed.act.clone()))
            })
            .collect()
    }

    /// Whether the show runs for its chaperones: from what is told first, or their call, until a while after its end.
    pub fn is_live(&self) -> bool {
        is_open(&self.board, self.event, self.now, SHOWN_AFTER)
            && (!self.stored.is_empty() || self.now >= chaperones_come(&self.board, self.event))
    }
}

/// Whether it is an event's own day, until so long after its planned end.
fn is_open(board: &Board, id: EventId, now: Timestamp, after: SignedDuration) -> bool {
    let season = &board.season;
    let event = &season.events[id.at()];
    let begins = wall::instant(&season.zone, event.date.to_datetime(Time::midnight()));
    let planned = SignedDuration::from_secs(Day::of(season, id).ends().unwrap_or(0));
    let up = season.curtain_up(id);
    let ends = up.saturating_add(planned + after).unwrap_or(up);
    event.ordered && !event.cancelled && (begins..ends).contains(&now)
}

/// The number of a ref.
pub fn number_of(season: &Season, reference: &str) -> Option<NumberId> {
    let at = season.numbers.iter().position(|number| number.reference == reference)?;
    u32::try_from(at).ok().map(NumberId)
}

impl<S: Store, G: Gateway> Office<S, G> {
    /// What was told of the event of a ref; none if there is no such event.
    pub async fn show_data(&self, event: &str) -> Result<Option<ShowData>, OfficeFault> {
        let desk = self.desk().await?;
        let Some(id) = desk.board.event(event) else { return Ok(None) };
        let (board, season) = (desk.board.clone(), desk.season);
        let away = absences_at(&board, &desk.record, id).map(|(child, _)| child).collect();
        drop(desk);
        let stored = self.store.deeds(season, event).await?;
        Ok(Some(ShowData { board, event: id, away, stored, now: self.now() }))
    }

    /// Takes in something told of a show; none if there is no such event. The same again changes nothing.
    pub async fn tell(&self, said: Saying<'_>) -> Result<Option<ShowTold>, OfficeFault> {
        for _ in 0..TRIES_MAX {
            let Some(data) = self.show_data(said.event).await? else { return Ok(None) };
            if data.stored.iter().any(|other| other.external == said.external) {
                return Ok(Some(ShowTold::Known));
            }
            if !is_open(&data.board, data.event, data.now, TOLD_AFTER) {
                let words = "The running of a show is told on its own day.";
                return Ok(Some(ShowTold::Refused(words.to_owned())));
            }
            let deed = StoredDeed {
                seq: data.stored.last().map_or(0, |last| last.seq) + 1,
                external: said.external.to_owned(),
                at: data.now,
                kind: said.kind,
                number: said.number.to_owned(),
                other: said.other.to_owned(),
                minutes: said.minutes,
            };
            let refused = |why: Refusal| Ok(Some(ShowTold::Refused(why.words(data.season()))));
            let Some(act) = data.act(&deed) else { return refused(Refusal::Missing) };
            let next = Deed { id: deed.external.clone(), at: data.seconds(deed.at), act };
            match Running::verdict(data.season(), data.event, &data.deeds(), &next) {
                Verdict::Known => return Ok(Some(ShowTold::Known)),
                Verdict::Refused(why) => return refused(why),
                Verdict::Done => {}
            }
            let season = self.desk().await?.season;
            if self.store.add_deed(season, said.event, &deed).await? {
                return Ok(Some(ShowTold::Done));
            }
        }
        Err(StoreFault::Database("a deed could not be added, for others kept coming".to_owned()).into())
    }

    /// The show that runs now for the chaperone of a ref, the soonest of hers.
    pub async fn live_show(&self, chaperone: &str) -> Result<Option<ShowData>, OfficeFault> {
        let board = self.desk().await?.board.clone();
        let season = &board.season;
        let hers = |event: u32| {
            season.duties.iter().any(|duty| {
                duty.event.0 == event && season.chaperones[duty.chaperone.at()].reference == chaperone
            })
        };
        let mut events: Vec<u32> = (0..season.events.len() as u32).filter(|event| hers(*event)).collect();
        events.sort_by_key(|event| season.curtain_up(EventId(*event)));
        let now = self.now();
        for event in events.into_iter().filter(|event| is_open(&board, EventId(*event), now, SHOWN_AFTER)) {
            let reference = &season.events[event as usize].reference;
            if let Some(data) = self.show_data(reference).await?
                && data.is_live()
            {
                return Ok(Some(data));
            }
        }
        Ok(None)
    }
}
