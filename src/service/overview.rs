//! The coordinator's digest: every event's counts, what needs a person, who is behind. No family's name is in it.

use super::digesting::{is_asked, is_open};
use super::lists::{SeasonData, children_of};
use crate::domain::digests::{Seen, news};
use crate::domain::season::{ChildId, EventId};
use crate::domain::standing::Standing;
use crate::domain::wall;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

/// Chaperones named as behind, at most.
const BEHIND_TOLD: usize = 8;
/// The event of what is about the season.
const SEASON: &str = "-";

/// One event in numbers.
struct Counted {
    reference: String,
    name: String,
    day: String,
    settled: u64,
    all: u64,
    /// Children by standing, in the order of [`Standing::ALL`].
    children: [usize; 7],
}

/// The whole, as the coordinator is told of it.
pub(super) struct Overview {
    /// What it saw, to be compared with the next.
    pub seen: Vec<Seen>,
    season: String,
    as_of: String,
    events: Vec<Counted>,
    /// What needs a person, each with how many.
    needs: Vec<(&'static str, usize)>,
    /// Questions and messages that lie before a person until they are dealt with.
    lying: usize,
    /// Chaperones with children not heard from, most first.
    behind: Vec<(String, usize)>,
    /// Chaperones not heard from about their own duties.
    unheard_chaperones: Vec<String>,
}

impl Overview {
    /// Counts everything that is still ahead and that families have been asked about.
    pub fn of(data: &SeasonData) -> Overview {
        let season = &data.board.season;
        let mut events = Vec::new();
        let mut open: BTreeMap<EventId, BTreeSet<ChildId>> = BTreeMap::new();
        let mut unheard_chaperones = BTreeSet::new();
        for list in data.events.iter().filter(|list| season.curtain_up(list.event) > data.now) {
            let waits = |s: &Standing| matches!(s, Standing::Waiting | Standing::HeardBefore);
            unheard_chaperones.extend(list.chaperones.iter().filter(|(_, s)| waits(s)).map(|(who, _)| *who));
            if !list.children.iter().any(|line| is_asked(line.standing)) {
                continue;
            }
            let event = &season.events[list.event.at()];
            events.push(Counted {
                reference: event.reference.clone(),
                name: event.name.clone(),
                day: event.date.strftime("%a %-d %B").to_string(),
                settled: list.settled.0,
                all: list.settled.1,
                children: Standing::ALL
                    .map(|standing| list.children.iter().filter(|line| line.standing == standing).count()),
            });
            let lines = list.children.iter().filter(|line| is_open(line.standing));
            open.insert(list.event, lines.map(|line| line.child).collect());
        }
        let questions = data.asked.iter().filter(|one| one.question.is_some()).count();
        let needs = vec![
            ("Questions to answer", questions),
            ("Families who said that a child can't come", data.asked.len() - questions),
            ("Messages that may or may not have arrived", data.uncertain.len()),
            ("Your own answers that may not have arrived", data.replies.len()),
            ("Messages set aside", data.quarantined.len()),
            ("Messages that didn't get through", data.returned.len()),
            ("Guardians we have no way to reach", data.no_way.len()),
        ];
        let mut overview = Overview {
            seen: Vec::new(),
            season: season.name.clone(),
            as_of: wall::local(&season.zone, data.now).strftime("%H:%M").to_string(),
            lying: questions + data.uncertain.len() + data.quarantined.len() + data.replies.len(),
            behind: behind(data, &open),
            unheard_chaperones: unheard_chaperones
                .into_iter()
                .map(|who| season.chaperones[who.at()].name.clone())
                .collect(),
            events,
            needs,
        };
        overview.seen = overview.lines();
        overview
    }

    fn lines(&self) -> Vec<Seen> {
        let line = |event: &str, what: &str, how: usize| Seen {
            event: event.to_owned(),
            what: what.replace(' ', "_"),
            how: how.to_string(),
        };
        let events = self.events.iter().flat_map(|event| {
            let standings = Standing::ALL.iter().zip(event.children);
            standings.map(move |(standing, count)| line(&event.reference, standing.word(), count))
        });
        let needs = self.needs.iter().map(|(what, count)| line(SEASON, what, *count));
        let chaperones = line(SEASON, "chaperones not heard from", self.unheard_chaperones.len());
        events.chain(needs).chain([chaperones]).collect()
    }

    fn open(&self) -> usize {
        let open = |event: &Counted| -> usize {
            Standing::ALL.iter().zip(event.children).filter(|(s, _)| is_open(**s)).map(|(_, n)| n).sum()
        };
        self.events.iter().map(open).sum()
    }

    /// Children not heard from, and what lies before a person.
    pub fn waiting(&self) -> usize {
        self.open() + self.lying
    }

    /// How many answers are missing, a child at an event each, and how many things wait, in words.
    fn waiting_words(&self) -> String {
        let open = match self.open() {
            0 if self.unheard_chaperones.is_empty() => "no answer missing".to_owned(),
            0 => {
                format!("all families have answered, {} of the chaperones not", self.unheard_chaperones.len())
            }
            1 => "1 answer missing".to_owned(),
            n => format!("{n} answers missing"),
        };
        match self.lying {
            0 => open,
            1 => format!("{open}, 1 thing for you to do"),
            n => format!("{open}, {n} things for you to do"),
        }
    }

    /// The subject of the mail.
    pub fn subject(&self) -> String {
        format!("{}: {}", self.season, self.waiting_words())
    }

    /// One segment, whatever the season is called.
    pub fn text(&self) -> String {
        format!("Allheard: {}. See your pages.", self.waiting_words())
    }

    /// The mail, in English as the coordinator's pages are.
    pub fn mail(&self, before: Option<&str>, pages: &str) -> String {
        let mut text = format!("{}, as of {}.\n", self.season, self.as_of);
        for event in &self.events {
            let _ =
                write!(text, "\n{}, {}\n  {} of {} settled", event.name, event.day, event.settled, event.all);
            for (standing, count) in Standing::ALL.into_iter().zip(event.children).filter(|(_, n)| *n > 0) {
                if let Some(word) = standing_word(standing) {
                    let _ = write!(text, "; {count} {word}");
                }
            }
            text.push_str(".\n");
            if let Some(was) = before.and_then(|before| self.settled_before(before, event)) {
                let _ = writeln!(text, "  Settled in the last digest: {was}.");
            }
        }
        let needs: Vec<_> = self.needs.iter().filter(|(_, count)| *count > 0).collect();
        if !needs.is_empty() {
            text.push_str("\nWaiting, or worth a look:\n");
            for (what, count) in needs {
                let _ = writeln!(text, "  {what}: {count}");
            }
        }
        if !self.behind.is_empty() {
            text.push_str("\nChaperones with the most children not heard from:\n");
            for (name, count) in self.behind.iter().take(BEHIND_TOLD) {
                let _ = writeln!(text, "  {name}: {count}");
            }
            if self.behind.len() > BEHIND_TOLD {
                let _ = writeln!(text, "  and {} more", self.behind.len() - BEHIND_TOLD);
            }
        }
        if !self.unheard_chaperones.is_empty() {
            let named =
                self.unheard_chaperones.iter().take(BEHIND_TOLD).cloned().collect::<Vec<_>>().join(", ");
            let count = self.unheard_chaperones.len();
            let more = if count > BEHIND_TOLD {
                format!(" and {} more", count - BEHIND_TOLD)
            } else {
                String::new()
            };
            let _ = writeln!(text, "\nChaperones who have not answered about their duties: {named}{more}.");
        }
        if !pages.is_empty() {
            let _ = writeln!(text, "\nNames and numbers are on your pages: {pages}");
        }
        text.push_str(
            "\nThis message comes only when there is something to say. It is not for emergencies.\n",
        );
        text
    }

    /// How many were settled the last time, where that was another number.
    fn settled_before(&self, before: &str, event: &Counted) -> Option<String> {
        let moved = news(before, &self.seen);
        let mut own = moved.into_iter().filter(|(now, _)| now.event == event.reference);
        own.find(|(now, _)| now.what == Standing::Heard.word()).map(|(_, was)| was.to_owned())
    }
}

/// How children stand who are not settled, in words.
fn standing_word(standing: Standing) -> Option<&'static str> {
    Some(match standing {
        Standing::Heard => return None,
        Standing::HeardBefore => "heard from, but not about the latest change",
        Standing::Waiting => "not heard from",
        Standing::CantCome => "can't come",
        Standing::Away => "not coming",
        Standing::NoWay => "with no way to reach them",
        Standing::NotAsked => "not asked yet",
    })
}

/// Chaperones by the number of their children who are not heard from, most first.
fn behind(data: &SeasonData, open: &BTreeMap<EventId, BTreeSet<ChildId>>) -> Vec<(String, usize)> {
    let season = &data.board.season;
    let pairs: BTreeSet<_> = season.duties.iter().map(|duty| (duty.chaperone, duty.event)).collect();
    let mut theirs: BTreeMap<_, BTreeSet<ChildId>> = BTreeMap::new();
    for (chaperone, event) in pairs {
        let Some(open) = open.get(&event).filter(|open| !open.is_empty()) else { continue };
        let own = children_of(&data.board, chaperone, event).into_iter().filter(|child| open.contains(child));
        theirs.entry(chaperone).or_default().extend(own);
    }
    let mut behind: Vec<(String, usize)> = theirs
        .into_iter()
        .filter(|(_, children)| !children.is_empty())
        .map(|(chaperone, children)| (season.chaperones[chaperone.at()].name.clone(), children.len()))
        .collect();
    behind.sort_by_key(|(name, count)| (std::cmp::Reverse(*count), name.clone()));
    behind
}
