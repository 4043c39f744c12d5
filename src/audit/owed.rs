//! What was owed to whom, worked out from the workbooks, and what of it is nowhere to be found.

use super::Violations;
use super::record::{Linked, Season};
use super::view::{Guardian, Notice, Times, View};
use jiff::{Timestamp, ToSpan};
use std::collections::{BTreeMap, BTreeSet};

/// A message may leave so many minutes after it is due: a gateway has its pace.
const GRACE_MINUTES: i64 = 60;
/// The channels.
const CHANNELS: [&str; 2] = ["mail", "text"];

/// One thing owed.
struct Debt<'a> {
    guardian: &'a str,
    child: &'a str,
    event: &'a str,
    notice: &'a Notice,
    times: Option<Times>,
    due: Timestamp,
    /// The latest moment at which it may be expected to have left.
    leaves: Timestamp,
}

/// Counts what is lost.
pub(super) fn count(season: &Season, files: &[Linked], found: &mut Violations) {
    let Some(last) = season.record.last else {
        return;
    };
    let evidence = Evidence::of(season, files);
    for (at, view) in season.views.iter().enumerate() {
        let until = season.views.get(at + 1).map_or(Timestamp::MAX, |next| next.from);
        debts(season, view, &mut |debt| {
            let away =
                [debt.due, debt.leaves].iter().any(|at| season.record.away(debt.child, debt.event, *at));
            if debt.due < view.from || debt.due >= until || debt.leaves > last || away {
                return;
            }
            if let Some(channel) = evidence.missing(view, &debt) {
                found.lost += 1;
                let Debt { guardian, child, event, notice, due, .. } = debt;
                found.example(format!(
                    "lost: {guardian} {child}/{event}/{} by {channel}, due {due}",
                    notice.reference
                ));
            }
        });
    }
}

/// Everything a workbook owes, whatever the time.
fn debts<'a>(season: &'a Season, view: &'a View, each: &mut dyn FnMut(Debt<'a>)) {
    for notice in &view.notices {
        if notice.about == "season" {
            for child in view.children.keys() {
                add(season, view, notice, child, "-", None, each);
            }
        }
        let chaperones = notice.to.starts_with("chaperones");
        let people: Vec<&String> =
            if chaperones { view.chaperones.keys().collect() } else { view.children.keys().collect() };
        for event in view.about(notice) {
            for child in people.iter().copied() {
                if notice.introduces && !view.looked_after(child, event) {
                    continue;
                }
                if let Some(times) = view.times(child, event) {
                    add(season, view, notice, child, &event.reference, Some(times), each);
                }
            }
        }
    }
}

fn add<'a>(
    season: &Season,
    view: &'a View,
    notice: &'a Notice,
    child: &'a str,
    event: &'a str,
    times: Option<Times>,
    each: &mut dyn FnMut(Debt<'a>),
) {
    let Some(due) = view.due(notice, times) else {
        return;
    };
    let leaves = view.next_permitted(due).saturating_add(GRACE_MINUTES.minutes()).unwrap_or(Timestamp::MAX);
    if view.chaperones.contains_key(child) {
        // A chaperone is asked about her own duties.
        if notice.to == "chaperones" || !answered(season, view, child, child, event, leaves) {
            each(Debt { guardian: child, child, event, notice, times, due, leaves });
        }
        return;
    }
    let Some(found) = view.children.get(child) else { return };
    if notice.to == "turn-in" && !view.quick_change(child) {
        return;
    }
    for guardian in &found.guardians {
        if notice.to != "not heard from" || !answered(season, view, guardian, child, event, leaves) {
            each(Debt { guardian, child, event, notice, times, due, leaves });
        }
    }
}

/// Whether a guardian, or somebody who shares an address with her, had answered by then.
fn answered(season: &Season, view: &View, guardian: &str, child: &str, event: &str, by: Timestamp) -> bool {
    let own = view.guardians.get(guardian);
    let shares = |other: &Guardian| {
        CHANNELS
            .iter()
            .any(|c| other.address(c).is_some() && own.and_then(|own| own.address(c)) == other.address(c))
    };
    let said = |name: &str| season.record.answered(name, child, event, by);
    let beside = view.children.get(child).map_or(&[][..], |c| &c.guardians);
    said(guardian) || beside.iter().any(|other| said(other) && view.guardians.get(other).is_some_and(shares))
}

type About<'a> = (&'a str, &'a str, &'a str);

/// What was told, and what ended in the ledger.
struct Evidence<'a> {
    season: &'a Season<'a>,
    /// Guardian, child, event to the notices, channels and times of files.
    told: BTreeMap<About<'a>, Vec<(&'a str, &'a str, Timestamp)>>,
    /// Guardian, child, event to notices and channels ended.
    ended: BTreeMap<About<'a>, BTreeSet<(&'a str, &'a str)>>,
    /// Address to when it was first found dead.
    dead: BTreeMap<&'a str, Timestamp>,
    holders: BTreeMap<(&'a str, &'a str), BTreeSet<&'a str>>,
}

impl<'a> Evidence<'a> {
    fn of(season: &'a Season<'a>, files: &'a [Linked<'a>]) -> Evidence<'a> {
        let mut holders: BTreeMap<(&str, &str), BTreeSet<&str>> = BTreeMap::new();
        for (name, guardian) in season.views.iter().flat_map(|view| &view.guardians) {
            for channel in CHANNELS {
                if let Some(address) = guardian.address(channel) {
                    holders.entry((channel, address)).or_default().insert(name);
                }
            }
        }
        let mut evidence = Evidence {
            season,
            told: BTreeMap::new(),
            ended: BTreeMap::new(),
            dead: BTreeMap::new(),
            holders,
        };
        files.iter().for_each(|linked| evidence.file(linked));
        evidence.ends();
        evidence
    }

    /// A file counts for a guardian it names when it went to an address of hers.
    fn file(&mut self, linked: &'a Linked<'a>) {
        let (channel, at) = (linked.file.channel, linked.file.at);
        let holders = self.holders.get(&(channel, linked.file.to.as_str())).cloned().unwrap_or_default();
        let Some(attempt) = linked.attempt else {
            return;
        };
        for guardian in attempt.guardians.iter().filter(|guardian| holders.contains(guardian.as_str())) {
            for item in &attempt.items {
                let about = (guardian.as_str(), item.child.as_str(), item.event.as_str());
                self.told.entry(about).or_default().push((&item.notice, channel, at));
            }
        }
    }

    fn ends(&mut self) {
        for end in &self.season.record.ends {
            for guardian in &end.guardians {
                for item in &end.items {
                    let about = (guardian.as_str(), item.child.as_str(), item.event.as_str());
                    self.ended.entry(about).or_default().insert((item.notice.as_str(), end.channel.as_str()));
                }
                let address =
                    self.season.view(end.at).guardians.get(guardian).and_then(|g| g.address(&end.channel));
                if let Some(address) = address.filter(|_| end.dead) {
                    let first = self.dead.entry(address).or_insert(end.at);
                    *first = end.at.min(*first);
                }
            }
        }
    }

    /// The channel by which something owed is missing; none when it was told, or ended, or nobody could be reached.
    fn missing(&self, view: &View, debt: &Debt) -> Option<&'static str> {
        let guardian = view.guardians.get(debt.guardian)?;
        let usable = CHANNELS.into_iter().filter(|channel| self.usable(guardian, channel, debt.due));
        let usable: Vec<&'static str> =
            usable.filter(|channel| !self.wrong_number(debt, guardian, channel)).collect();
        if debt.notice.by == "mail and text" {
            return usable.into_iter().find(|channel| !self.settled(view, debt, &[channel]));
        }
        let first = usable.iter().find(|channel| **channel == debt.notice.by).or(usable.first())?;
        (!self.settled(view, debt, &CHANNELS)).then_some(*first)
    }

    /// Whether the number that a text would go to was found by a call not to be hers; one written since is another.
    fn wrong_number(&self, debt: &Debt, guardian: &Guardian, channel: &str) -> bool {
        let since = self.season.record.wrong_number(debt.guardian, debt.due).filter(|_| channel == "text");
        let then = since.and_then(|at| self.season.view(at).guardians.get(debt.guardian));
        then.is_some_and(|then| then.text == guardian.text)
    }

    /// Whether an address could be used then: there is one, nobody who holds it had stopped it, it was not found dead.
    fn usable(&self, guardian: &Guardian, channel: &'static str, at: Timestamp) -> bool {
        let Some(address) = guardian.address(channel) else {
            return false;
        };
        let stopped = self
            .holders
            .get(&(channel, address))
            .is_some_and(|all| all.iter().any(|g| self.season.record.stopped(g, channel, at)));
        !stopped && self.dead.get(address).is_none_or(|since| *since > at)
    }

    fn settled(&self, view: &View, debt: &Debt, channels: &[&str]) -> bool {
        let about = (debt.guardian, debt.child, debt.event);
        let notice = debt.notice.reference.as_str();
        let told = self.told.get(&about).is_some_and(|files| {
            let mut files = files.iter().filter(|(_, channel, _)| channels.contains(channel));
            files.any(|(item, _, at)| *item == notice || replaces(view, debt, item, *at))
        });
        told || self.ended.get(&about).is_some_and(|ends| {
            ends.iter().any(|(n, channel)| *n == notice && (channel.is_empty() || channels.contains(channel)))
        })
    }
}

/// Whether a file stands for an older notice about the same child and event: both were overdue together, and the newer was
/// told. Handing in a costume is said by its own notice only.
fn replaces(view: &View, debt: &Debt, newer: &str, told: Timestamp) -> bool {
    let newer = view.notices.iter().find(|notice| notice.reference == newer && notice.to != "turn-in");
    // An introduction says something else than any other notice, and none says it for it.
    let newer = newer.filter(|newer| newer.introduces == debt.notice.introduces);
    let Some(due) = newer.and_then(|notice| view.due(notice, debt.times)) else {
        return false;
    };
    debt.notice.to != "turn-in"
        && debt.due <= due
        && due.saturating_add(GRACE_MINUTES.minutes()).is_ok_and(|late| late < told)
}
