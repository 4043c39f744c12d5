//! The ledger as the checker reads it, and files linked to the attempts that made them.

use super::Line;
use super::outbox::Sent;
use super::view::View;
use jiff::{Timestamp, ToSpan};
use std::collections::{BTreeMap, BTreeSet};

/// The notice of an item that tells of a change.
pub(super) const CHANGE: &str = "change";
/// A direct answer to a person's own message leaves within so many minutes.
const DIRECT_MINUTES: i64 = 5;
/// What a person of the school answers leaves within so many hours.
const REPLY_HOURS: i64 = 48;
/// A file's date has whole seconds and may so be a little older than the line of its attempt.
const SECOND: i64 = 1;
/// Kinds of lines that end a message.
const ENDS: &[&str] = &["withdrawn", "expired", "refused", "bounced", "quarantined"];
/// Kinds of lines written when a person has said something.
const SAID: &[&str] = &["answer", "stop", "start"];

/// What a message says to one guardian about one child: child, event (`-` for the season), notice.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Item {
    pub child: String,
    pub event: String,
    pub notice: String,
}

/// One attempt to hand a message over.
#[derive(Debug, Clone)]
pub(super) struct Attempt {
    pub at: Timestamp,
    pub guardians: Vec<String>,
    pub items: Vec<Item>,
}

/// A message ended without being told.
#[derive(Debug)]
pub(super) struct End {
    pub at: Timestamp,
    pub dead: bool,
    pub channel: String,
    pub guardians: Vec<String>,
    pub items: Vec<Item>,
}

/// A digest put down to be sent: nobody is told any times by it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Digest {
    /// A chaperone's ref; another word for who has no row in the workbook.
    pub holder: String,
    /// Which of hers.
    pub kind: String,
}

/// The ledger, sorted out.
#[derive(Debug, Default)]
pub(super) struct Record {
    pub attempts: BTreeMap<String, Vec<Attempt>>,
    pub digests: BTreeMap<String, Digest>,
    pub ends: Vec<End>,
    uncertain: BTreeMap<String, Vec<Timestamp>>,
    /// First acknowledgement or "can't come" of a guardian for a child and an event.
    answered: BTreeMap<(String, String, String), Timestamp>,
    /// Stops and starts by guardian and channel: when, and whether it was a stop.
    opted: BTreeMap<(String, String), Vec<(Timestamp, bool)>>,
    said: BTreeMap<String, Vec<Timestamp>>,
    /// Child and event to when it was noted that the child is not coming (or is after all).
    absences: BTreeMap<(String, String), Vec<(Timestamp, bool)>>,
    /// When an answer to a person's own message was put down, by channel.
    replies: BTreeMap<String, Vec<Timestamp>>,
    /// Calls to a guardian: when, and whether the number was found not to be hers.
    rung: BTreeMap<String, Vec<(Timestamp, bool)>>,
    pub last: Option<Timestamp>,
}

impl Record {
    /// Sorts out more lines, none of them older than those before.
    pub fn add(&mut self, lines: &[Line]) {
        self.last = self.last.max(lines.iter().map(|line| line.at).max());
        let mut ordered: Vec<&Line> = lines.iter().collect();
        ordered.sort_by_key(|line| line.at);
        for line in ordered {
            self.take(line);
        }
    }

    fn take(&mut self, line: &Line) {
        let word = |name: &str| line.about.get(name).cloned().unwrap_or_default();
        let words = |name: &str| -> Vec<String> {
            word(name).split([' ', ',']).filter(|w| !w.is_empty()).map(str::to_owned).collect()
        };
        let items = || words("items").iter().filter_map(|text| item(text)).collect::<Vec<_>>();
        let (at, kind) = (line.at, line.kind.as_str());
        if SAID.contains(&kind) {
            self.said.entry(word("guardian")).or_default().push(at);
        }
        if kind == "call" || (kind == "answer" && word("road") == "call") {
            self.rung.entry(word("guardian")).or_default().push((at, word("kind") == "wrong_number"));
        }
        match kind {
            "attempting" => {
                let attempt = Attempt { at, guardians: words("guardians"), items: items() };
                self.attempts.entry(word("message")).or_default().push(attempt);
            }
            "digest" => {
                let digest = Digest { holder: word("guardians"), kind: word("kind") };
                self.digests.insert(word("message"), digest);
            }
            "reply" => self.replies.entry(word("channel")).or_default().push(at),
            "not_coming" | "coming_after_all" => {
                let about = (word("child"), word("event"));
                self.absences.entry(about).or_default().push((at, kind == "not_coming"));
            }
            "uncertain" => self.uncertain.entry(word("message")).or_default().push(at),
            // A question settles nothing.
            "answer" if word("kind") != "question" => {
                let about = (word("guardian"), word("child"), word("event"));
                self.answered.entry(about).or_insert(at);
            }
            "stop" | "start" => {
                self.opted.entry((word("guardian"), word("channel"))).or_default().push((at, kind == "stop"));
            }
            _ if ENDS.contains(&kind) => {
                let mut end = End {
                    at,
                    dead: matches!(kind, "refused" | "bounced"),
                    channel: word("channel"),
                    guardians: words("guardians"),
                    items: items(),
                };
                let known = self.attempts.get(&word("message")).and_then(|attempts| attempts.last());
                if let Some(attempt) = known {
                    if end.guardians.is_empty() {
                        end.guardians.clone_from(&attempt.guardians);
                    }
                    if end.items.is_empty() {
                        end.items.clone_from(&attempt.items);
                    }
                }
                self.ends.push(end);
            }
            _ => {}
        }
    }

    /// Whether an uncertain outcome of that message was on record by then.
    pub fn uncertain(&self, message: &str, by: Timestamp) -> bool {
        self.uncertain
            .get(message)
            .is_some_and(|times| times.iter().any(|at| at.as_second() <= by.as_second() + SECOND))
    }

    /// Whether a guardian had answered for a child at an event by then.
    pub fn answered(&self, guardian: &str, child: &str, event: &str, by: Timestamp) -> bool {
        let about = (guardian.to_owned(), child.to_owned(), event.to_owned());
        self.answered.get(&about).is_some_and(|at| *at <= by)
    }

    /// Whether it was noted before then that a child is not coming to an event.
    pub fn away(&self, child: &str, event: &str, by: Timestamp) -> bool {
        let said = self.absences.get(&(child.to_owned(), event.to_owned()));
        said.and_then(|all| all.iter().rev().find(|(at, _)| *at < by)).is_some_and(|(_, away)| *away)
    }

    /// Whether a file is word of such a note to those who look after the child: its key names the note.
    fn tells_of_absence(&self, key: &str) -> bool {
        self.absences.iter().any(|((child, event), said)| {
            said.iter().any(|(at, _)| key == format!("absence-{child}-{event}-{}", at.as_millisecond()))
        })
    }

    /// Whether a file is what the school answered: its key says so, and an answer was put down lately.
    fn is_reply(&self, key: &str, channel: &str, at: Timestamp) -> bool {
        let named = key.strip_prefix("reply").is_some_and(|n| n.parse::<u64>().is_ok());
        let lately = |put: &Timestamp| *put - SECOND.seconds() <= at && at <= *put + REPLY_HOURS.hours();
        named && self.replies.get(channel).is_some_and(|all| all.iter().any(lately))
    }

    /// Whether a guardian's last word on a channel before then was a stop.
    pub fn stopped(&self, guardian: &str, channel: &str, by: Timestamp) -> bool {
        let key = (guardian.to_owned(), channel.to_owned());
        let before = self.opted.get(&key).and_then(|words| words.iter().rev().find(|(at, _)| *at < by));
        before.is_some_and(|(_, stop)| *stop)
    }

    /// Since when a guardian's number was known by then not to be hers, unless a later call says otherwise.
    pub fn wrong_number(&self, guardian: &str, by: Timestamp) -> Option<Timestamp> {
        let before = self.rung.get(guardian).and_then(|calls| calls.iter().rev().find(|(at, _)| *at < by));
        before.filter(|(_, wrong)| *wrong).map(|(at, _)| *at)
    }

    fn said_lately(&self, guardian: &str, by: Timestamp) -> bool {
        self.said.get(guardian).is_some_and(|times| {
            times.iter().any(|at| (*at - SECOND.seconds()) <= by && by <= *at + DIRECT_MINUTES.minutes())
        })
    }
}

fn item(text: &str) -> Option<Item> {
    let mut parts = text.split('/').map(str::to_owned);
    Some(Item { child: parts.next()?, event: parts.next()?, notice: parts.next()? })
}

/// A file with the message and the attempt that made it.
#[derive(Debug)]
pub(super) struct Linked<'a> {
    pub file: &'a Sent,
    pub message: Option<String>,
    pub attempt: Option<&'a Attempt>,
    /// The digest it is.
    pub digest: Option<&'a Digest>,
    /// A direct answer to a person's own message, or word that a child is not coming.
    pub direct: bool,
}

impl Linked<'_> {
    /// Name of the file in examples: its message's key, never its address.
    pub fn name(&self) -> &str {
        self.message.as_deref().unwrap_or("without attempt")
    }
}

/// Workbooks and record together.
#[derive(Debug)]
pub(super) struct Season<'a> {
    pub views: &'a [View],
    pub record: &'a Record,
}

impl<'a> Season<'a> {
    /// The workbook in force at an instant; the first one before its time.
    pub fn view(&self, at: Timestamp) -> &'a View {
        let later = self.views.partition_point(|view| view.from <= at);
        &self.views[later.saturating_sub(1)]
    }

    /// Guardians who have that address in any of the workbooks.
    pub fn holders(&self, channel: &str, address: &str) -> BTreeSet<&'a str> {
        let all = self.views.iter().flat_map(|view| &view.guardians);
        all.filter(|(_, g)| g.address(channel) == Some(address)).map(|(name, _)| name.as_str()).collect()
    }

    /// Links a file to the last attempt of its message that was on record by the file's date, else to the first.
    pub fn link(&self, file: &'a Sent) -> Linked<'a> {
        let message = file.keys.iter().find(|key| self.record.attempts.contains_key(*key)).cloned();
        let attempts = message.as_ref().and_then(|key| self.record.attempts.get(key));
        let attempt = attempts.and_then(|all| {
            let by = file.at.as_second() + SECOND;
            all.iter().rev().find(|attempt| attempt.at.as_second() <= by).or(all.first())
        });
        let known = file.keys.iter().find(|key| self.record.digests.contains_key(*key));
        let digest = known.and_then(|key| self.record.digests.get(key));
        let message = message.or_else(|| known.cloned());
        let direct = attempt.is_none()
            && digest.is_none()
            && (file.keys.iter().any(|key| {
                self.record.tells_of_absence(key) || self.record.is_reply(key, file.channel, file.at)
            }) || self
                .holders(file.channel, &file.to)
                .into_iter()
                .any(|guardian| self.record.said_lately(guardian, file.at)));
        Linked { file, message, attempt, digest, direct }
    }
}
