//! What will leave: each planned message with its reason, its segments, its cost, and when it really leaves.

use super::composing::preview;
use super::office::{Desk, Office, OfficeFault, Ways};
use super::planning::stored_form;
use super::ports::{Content, Course, Gateway, Store};
use super::wording::{Fault, Wording};
use crate::domain::board::Board;
use crate::domain::departures::{Departing, Pace, departures, latest_start};
use crate::domain::due::window;
use crate::domain::facts::{Facts, Fingerprint};
use crate::domain::money::{Bill, Money};
use crate::domain::plan::{self, Wanted};
use crate::domain::reasons;
use crate::domain::record::Record;
use crate::domain::season::Channel;
use crate::domain::segments;
use crate::domain::standing;
use crate::domain::wall;
use jiff::civil::Date;
use jiff::{Timestamp, ToSpan};
use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

/// What a gateway asks for a segment to some numbers.
#[derive(Debug, Clone)]
pub struct Tariff {
    /// Name of the gateway.
    pub name: String,
    /// Beginnings of the numbers it serves; empty for all.
    pub prefixes: Vec<String>,
    /// Cost of a segment; none where it is not known.
    pub cost: Option<Money>,
}

/// What mails and texts cost.
#[derive(Debug, Clone, Default)]
pub struct Tariffs {
    /// A mail; none where it is not known.
    pub mail: Option<Money>,
    /// A segment, by gateway in order of preference.
    pub texts: Vec<Tariff>,
}

impl Tariffs {
    /// The gateway that a number would be given to first.
    fn first_for(&self, number: &str) -> Option<&Tariff> {
        let serves = |t: &&Tariff| {
            t.prefixes.is_empty() || t.prefixes.iter().any(|prefix| number.starts_with(prefix.as_str()))
        };
        self.texts.iter().find(serves)
    }
}

/// How fast each channel leaves.
#[derive(Debug, Clone, Copy)]
pub struct Paces {
    /// Mail.
    pub mail: Pace,
    /// Texts.
    pub text: Pace,
}

impl Paces {
    /// The pace of a channel.
    pub fn of(&self, channel: Channel) -> Pace {
        match channel {
            Channel::Mail => self.mail,
            Channel::Text => self.text,
        }
    }
}

/// One planned message for a person to read.
#[derive(Debug, Clone)]
pub struct Leaving {
    /// The message.
    pub wanted: Wanted,
    /// Why then: the rule, and what moved it.
    pub why: String,
    /// Subject of a mail, words of a text; empty where nobody asked for the words of mails.
    pub words: String,
    /// Units of each segment; empty for mail.
    pub segments: Vec<usize>,
    /// The characters that made a text longer.
    pub causes: Vec<char>,
    /// Name of the gateway a text goes by; none where nothing is configured.
    pub gateway: Option<String>,
    /// What it costs; none where that is not known.
    pub cost: Option<Money>,
    /// When it leaves at the carrier's pace; none if it cannot in time.
    pub leaves: Option<Timestamp>,
}

impl Leaving {
    /// What people call what it says: the names of its notices, each once.
    pub fn notices(&self, board: &Board) -> String {
        let mut names: Vec<&str> = Vec::new();
        for (_, notice) in &self.wanted.parts {
            let name = reasons::notice_name(board, *notice);
            if !names.contains(&name) {
                names.push(name);
            }
        }
        names.join(" + ")
    }

    /// The local day it leaves on, or was to leave on.
    pub fn day(&self, board: &Board) -> Date {
        wall::local(&board.season.zone, self.leaves.unwrap_or(self.wanted.due)).date()
    }
}

/// What plans are made visible with.
pub struct Looking<'a> {
    /// The words.
    pub wording: &'a Wording,
    /// Links, ways to answer, tariffs.
    pub ways: &'a Ways,
    /// How fast messages leave.
    pub paces: Paces,
    /// Facts told before, for messages that announce a change.
    pub old: &'a HashMap<Fingerprint, Facts>,
    /// Whether the words of mails are wanted too; those of texts always are, for their segments.
    pub mails: bool,
}

/// What each of these messages comes to from `now` on, in order of due time.
pub fn leavings(
    board: &Board,
    record: &Record,
    looking: &Looking<'_>,
    mut wanted: Vec<Wanted>,
    now: Timestamp,
) -> Vec<Leaving> {
    wanted.sort_by(|a, b| (a.due, &a.key).cmp(&(b.due, &b.key)));
    let mut all: Vec<Leaving> =
        wanted.into_iter().map(|wanted| leaving(board, record, looking, wanted, now)).collect();
    for channel in [Channel::Mail, Channel::Text] {
        let theirs: Vec<usize> = (0..all.len()).filter(|at| all[*at].wanted.channel == channel).collect();
        let ready: Vec<Departing> = theirs.iter().map(|at| departing(&all[*at].wanted, now)).collect();
        let season = &board.season;
        let moments = departures(&ready, looking.paces.of(channel), window(season), &season.zone);
        for (at, leaves) in theirs.into_iter().zip(moments) {
            all[at].leaves = leaves;
        }
    }
    all
}

fn departing(wanted: &Wanted, now: Timestamp) -> Departing {
    Departing { due: wanted.due.max(now), until: wanted.until, at_once: wanted.at_once }
}

fn leaving(board: &Board, record: &Record, looking: &Looking<'_>, wanted: Wanted, now: Timestamp) -> Leaving {
    let words = |wanted: &Wanted| -> Result<Content, Fault> {
        let (ways, at) = (looking.ways, wanted.due.max(now));
        preview((board, record), looking.old, looking.wording, wanted, ways, at)
    };
    let text = wanted.channel == Channel::Text;
    let (words, count) = match (text || looking.mails).then(|| words(&wanted)) {
        Some(Ok(Content::Text(words))) => {
            let count = segments::count(&words);
            (words, Some(count))
        }
        Some(Ok(Content::Mail(mail))) => (mail.subject, None),
        Some(Err(fault)) => (fault.to_string(), None),
        None => (String::new(), None),
    };
    let (segments, causes) = count.map_or_else(Default::default, |count| (count.segments, count.causes));
    let to = |guardian| standing::address(board, record, guardian, wanted.channel);
    let tariffs = &looking.ways.tariffs;
    let gateway =
        wanted.guardians.iter().find_map(|g| to(*g)).filter(|_| text).and_then(|to| tariffs.first_for(to));
    let cost = if text {
        gateway.and_then(|gateway| gateway.cost).map(|cost| cost.times(segments.len()))
    } else {
        tariffs.mail
    };
    Leaving {
        why: reasons::why(board, record, &wanted, now),
        words,
        segments,
        causes,
        gateway: gateway.map(|gateway| gateway.name.clone()),
        cost,
        leaves: None,
        wanted,
    }
}

/// Messages of one day that say the same by one channel.
#[derive(Debug, Clone)]
pub struct Burst {
    /// The local day.
    pub day: Date,
    /// The channel.
    pub channel: Channel,
    /// What people call what they say.
    pub notices: String,
    /// How many.
    pub messages: usize,
    /// When the first and the last of those leave that can.
    pub span: Option<(Timestamp, Timestamp)>,
    /// How many cannot leave in time.
    pub late: usize,
    /// From when on all of them would leave in time, if some cannot; none where no start would do.
    pub start: Option<Timestamp>,
    /// Segments of texts.
    pub segments: usize,
    /// What they cost.
    pub bill: Bill,
}

/// Messages by day, channel and notices, in order of what leaves first.
pub fn bursts(board: &Board, all: &[Leaving], paces: Paces, now: Timestamp) -> Vec<Burst> {
    let mut groups: BTreeMap<(Date, String, Channel), Vec<&Leaving>> = BTreeMap::new();
    for one in all {
        groups.entry((one.day(board), one.notices(board), one.wanted.channel)).or_default().push(one);
    }
    let season = &board.season;
    let burst = |((day, notices, channel), group): ((Date, String, Channel), Vec<&Leaving>)| {
        let (late, leaving): (Vec<&Leaving>, Vec<&Leaving>) =
            group.iter().copied().partition(|one| one.leaves.is_none());
        let moments = || leaving.iter().filter_map(|one| one.leaves);
        let ready: Vec<Departing> = group.iter().map(|one| departing(&one.wanted, now)).collect();
        let start = if late.is_empty() {
            None
        } else {
            latest_start(&ready, paces.of(channel), window(season), &season.zone)
        };
        let mut bill = Bill::default();
        group.iter().for_each(|one| bill.add(one.cost));
        Burst {
            day,
            channel,
            notices,
            messages: group.len(),
            span: moments().min().zip(moments().max()),
            late: late.len(),
            start,
            segments: group.iter().map(|one| one.segments.len()).sum(),
            bill,
        }
    };
    let mut bursts: Vec<Burst> = groups.into_iter().map(burst).collect();
    bursts
        .sort_by(|a, b| (a.day, a.span, a.channel, &a.notices).cmp(&(b.day, b.span, b.channel, &b.notices)));
    bursts
}

/// What one channel comes to in one week.
#[derive(Debug, Clone)]
pub struct Total {
    /// The Monday of the week (ISO 8601).
    pub monday: Date,
    /// The channel.
    pub channel: Channel,
    /// Messages.
    pub messages: usize,
    /// Segments of texts.
    pub segments: usize,
    /// What they cost.
    pub bill: Bill,
}

/// Bursts added up by week and channel.
pub fn totals(bursts: &[Burst]) -> Vec<Total> {
    let mut weeks: BTreeMap<(Date, Channel), Total> = BTreeMap::new();
    for burst in bursts {
        let days = i64::from(burst.day.weekday().to_monday_zero_offset());
        let monday = burst.day.saturating_sub(days.days());
        let empty = Total { monday, channel: burst.channel, messages: 0, segments: 0, bill: Bill::default() };
        let total = weeks.entry((monday, burst.channel)).or_insert(empty);
        total.messages += burst.messages;
        total.segments += burst.segments;
        total.bill.add_all(&burst.bill);
    }
    weeks.into_values().collect()
}

/// What will leave, as of a moment.
pub struct SendingOutlook {
    /// The season.
    pub board: Arc<Board>,
    /// Revision of the workbook it was made from.
    pub revision: i64,
    /// Whether messages leave at all.
    pub course: Course,
    /// Every planned message, in order of due time.
    pub all: Vec<Leaving>,
    /// The same by day, channel and notices.
    pub bursts: Vec<Burst>,
    /// The moment.
    pub now: Timestamp,
}

impl SendingOutlook {
    /// How many messages leave within so many days, and what they cost.
    pub fn within(&self, days: i64) -> (usize, Bill) {
        let end = self.now.saturating_add((24 * days).hours()).unwrap_or(Timestamp::MAX);
        let mut bill = Bill::default();
        let soon = self.all.iter().filter(|one| one.leaves.is_some_and(|at| at < end));
        let count = soon.inspect(|one| bill.add(one.cost)).count();
        (count, bill)
    }
}

impl<S: Store, G: Gateway> Office<S, G> {
    /// How fast each channel leaves.
    pub fn paces(&self) -> Paces {
        let pace = |channel| Pace::of(self.gateway.per_second(channel), self.gateway.sessions(channel));
        Paces { mail: pace(Channel::Mail), text: pace(Channel::Text) }
    }

    /// What will leave if the season is going from now on.
    pub async fn outlook(&self) -> Result<SendingOutlook, OfficeFault> {
        let now = self.now();
        let desk = self.desk().await?;
        let course = self.store.course(desk.season).await?;
        let wanted = plan::plan(&desk.board, &desk.record, now);
        let old = self.facts_before(&desk, &wanted).await?;
        let (board, record, revision) = (desk.board.clone(), desk.record.clone(), desk.revision);
        // Thousands of texts are put into words now; nobody else waits for that.
        drop(desk);
        let paces = self.paces();
        let looking = Looking { wording: &self.wording, ways: &self.ways, paces, old: &old, mails: false };
        let all = leavings(&board, &record, &looking, wanted, now);
        let bursts = bursts(&board, &all, paces, now);
        Ok(SendingOutlook { board, revision, course, all, bursts, now })
    }

    /// The facts told before, for those of some messages that announce a change.
    pub(super) async fn facts_before(
        &self,
        desk: &Desk,
        wanted: &[Wanted],
    ) -> Result<HashMap<Fingerprint, Facts>, OfficeFault> {
        let changes: Vec<_> = wanted
            .iter()
            .filter(|one| matches!(one.wording.as_str(), plan::CHANGE | "cancelled"))
            .map(|one| stored_form(&desk.board, one))
            .collect();
        self.old_facts(desk, &changes).await
    }
}
