//! Each child's days held against published limits of hours.
//!
//! A child is at the place from its call until it may be collected; class visits are not counted. It performs or rehearses
//! for the lengths of its numbers where there is a running order, else from start to announced end; photographs are
//! neither. A day is the date of the event, also after midnight. Rest is from one release to the next call. A child is as
//! old as the youngest of its band. Monday to Friday are taken as school days: holidays are not known. Exactly at a limit
//! is within it.

use super::itinerary::{Itinerary, Programme};
use super::published::Source;
use super::published::hours::{Band, HoursTable};
use super::release::Release;
use super::season::{ChildId, Event, EventId, EventKind, NumberId, Season};
use super::wall;
use jiff::civil::{Date, DateTime, Weekday};
use jiff::{Timestamp, ToSpan};

/// Which limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum HoursRule {
    /// Minutes at the place in a day.
    AtPlace,
    /// Minutes performing and rehearsing in a day.
    Performing,
    /// Minutes from midnight to the call.
    Earliest,
    /// Minutes from midnight to the release.
    Latest,
    /// Minutes of rest since the day before.
    Overnight,
    /// Minutes of rest between two shows of a day.
    BetweenShows,
    /// Days one after the other.
    DaysRunning,
    /// Days out of seven.
    DaysInWeek,
}

/// A child beyond a limit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Breach {
    /// At which event; of a whole day, its last.
    pub event: EventId,
    /// Which limit.
    pub rule: HoursRule,
    /// Youngest and oldest age the limit is for; none where it is for every age.
    pub ages: Option<(u8, u8)>,
    /// The limit, in the rule's unit.
    pub limit: i64,
    /// What was found, in the same; begun minutes count as whole, minutes of rest only when they are.
    pub found: i64,
    /// Who.
    pub child: ChildId,
    /// Whose limit it is.
    pub source: Source,
}

/// One child at one event.
struct Spell<'a> {
    id: EventId,
    event: &'a Event,
    from: Timestamp,
    until: Timestamp,
    /// Seconds on stage or in rehearsal; none where that cannot be told.
    performing: Option<i64>,
}

/// Everything beyond a limit, by event, rule and child.
pub fn breaches(season: &Season, programme: &Programme, table: &HoursTable) -> Vec<Breach> {
    let mut found = Vec::new();
    for (at, child) in (0_u32..).zip(&season.children) {
        let Some(band) = child.ages.and_then(|(youngest, _)| table.band(youngest)) else { continue };
        let itineraries = programme.of_person(ChildId(at).into()).map(|it| &programme[it]);
        let mut spells: Vec<Spell<'_>> = itineraries.filter_map(|it| spell(season, it)).collect();
        spells.sort_by_key(|spell| (spell.event.date, spell.from, spell.id));
        let mut judge = Judge { season, table, band, child: ChildId(at), found: &mut found };
        for day in spells.chunk_by(|a, b| a.event.date == b.event.date) {
            judge.day(day);
        }
        judge.rests(&spells);
        judge.runs(&spells);
    }
    found.sort_by_key(|breach| (breach.event, breach.rule, breach.ages, breach.child));
    found
}

fn spell<'a>(season: &'a Season, it: &Itinerary) -> Option<Spell<'a>> {
    let event = &season.events[it.event.at()];
    if event.kind == EventKind::Class {
        return None;
    }
    let until = wall::instant(&season.zone, it.collect_from.map(Release::at)?);
    let performing = performing(season, event, &it.numbers);
    Some(Spell { id: it.event, event, from: it.call_at, until, performing })
}

fn performing(season: &Season, event: &Event, numbers: &[NumberId]) -> Option<i64> {
    if event.kind == EventKind::Photographs {
        return None;
    }
    if event.ordered {
        return Some(numbers.iter().map(|number| i64::from(season.numbers[number.at()].seconds)).sum());
    }
    let starts = event.date.to_datetime(event.starts);
    let ends = event.date.to_datetime(event.ends?);
    let ends = if ends < starts { ends.saturating_add(1.day()) } else { ends };
    let at = |local: DateTime| wall::instant(&season.zone, local);
    Some(at(ends).duration_since(at(starts)).as_secs())
}

/// Whole minutes, a begun one counted.
fn begun(seconds: i64) -> i64 {
    -(-seconds).div_euclid(60)
}

fn seconds(from: Timestamp, until: Timestamp) -> i64 {
    until.duration_since(from).as_secs()
}

/// Minutes from the midnight at which a date begins, by the clock on the wall.
fn by_the_clock(season: &Season, date: Date, at: Timestamp) -> i64 {
    begun(
        wall::local(&season.zone, at)
            .duration_since(date.to_datetime(jiff::civil::Time::midnight()))
            .as_secs(),
    )
}

struct Judge<'a> {
    season: &'a Season,
    table: &'a HoursTable,
    band: &'a Band,
    child: ChildId,
    found: &'a mut Vec<Breach>,
}

impl Judge<'_> {
    fn tell(&mut self, event: EventId, rule: HoursRule, limit: i64, found: i64, source: Source) {
        let ages = match rule {
            HoursRule::Overnight | HoursRule::DaysRunning | HoursRule::DaysInWeek => None,
            _ => Some(self.band.ages),
        };
        self.found.push(Breach { event, rule, ages, limit, found, child: self.child, source });
    }

    fn day(&mut self, day: &[Spell<'_>]) {
        let Some(last) = day.last() else { return };
        let date = last.event.date;
        // Where two overlap the child is there once.
        let (mut there, mut reached) = (0, Timestamp::MIN);
        for spell in day {
            let from = spell.from.max(reached);
            there += seconds(from, spell.until).max(0);
            reached = reached.max(spell.until);
        }
        if let Some(limit) = self.band.at_place.filter(|limit| begun(there) > limit.minutes) {
            self.tell(last.id, HoursRule::AtPlace, limit.minutes, begun(there), limit.source);
        }
        let danced: i64 = day.iter().filter_map(|spell| spell.performing).sum();
        let free = matches!(date.weekday(), Weekday::Saturday | Weekday::Sunday);
        let performing = self.band.performing_no_school.filter(|_| free).or(self.band.performing);
        if let Some(limit) = performing.filter(|limit| begun(danced) > limit.minutes) {
            self.tell(last.id, HoursRule::Performing, limit.minutes, begun(danced), limit.source);
        }
        let free_next = matches!(date.weekday(), Weekday::Friday | Weekday::Saturday);
        let latest = self.band.latest_no_school.filter(|_| free_next).or(self.band.latest);
        for spell in day {
            let comes = by_the_clock(self.season, date, spell.from);
            if let Some(limit) = self.band.earliest.filter(|limit| comes < limit.minutes) {
                self.tell(spell.id, HoursRule::Earliest, limit.minutes, comes, limit.source);
            }
            let goes = by_the_clock(self.season, date, spell.until);
            if let Some(limit) = latest.filter(|limit| goes > limit.minutes) {
                self.tell(spell.id, HoursRule::Latest, limit.minutes, goes, limit.source);
            }
        }
    }

    fn rests(&mut self, spells: &[Spell<'_>]) {
        for pair in spells.windows(2) {
            let (before, after) = (&pair[0], &pair[1]);
            let rest = seconds(before.until, after.from).div_euclid(60).max(0);
            let (rule, limit) = if before.event.date != after.event.date {
                (HoursRule::Overnight, self.table.overnight)
            } else if before.event.kind == EventKind::Show && after.event.kind == EventKind::Show {
                (HoursRule::BetweenShows, self.band.between_shows)
            } else {
                continue;
            };
            if let Some(limit) = limit.filter(|limit| rest < limit.minutes) {
                self.tell(after.id, rule, limit.minutes, rest, limit.source);
            }
        }
    }

    fn runs(&mut self, spells: &[Spell<'_>]) {
        let days: Vec<&[Spell<'_>]> = spells.chunk_by(|a, b| a.event.date == b.event.date).collect();
        let mut running = 0;
        for (at, day) in days.iter().enumerate() {
            let (date, first) = (day[0].event.date, day[0].id);
            let follows = at > 0 && days[at - 1][0].event.date.saturating_add(1.day()) == date;
            running = if follows { running + 1 } else { 1 };
            if let Some(limit) = self.table.days_running.filter(|limit| running > limit.days) {
                self.tell(first, HoursRule::DaysRunning, limit.days as i64, running as i64, limit.source);
            }
            let week = date.saturating_sub(6.days());
            let in_week = days[..=at].iter().filter(|day| day[0].event.date >= week).count();
            if let Some(limit) = self.table.days_in_week.filter(|limit| in_week > limit.days) {
                self.tell(first, HoursRule::DaysInWeek, limit.days as i64, in_week as i64, limit.source);
            }
        }
    }
}
