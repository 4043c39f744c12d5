//! A workbook as the checker reads it: who is in what, when, and how guardians can be reached.

use super::repeats;
use crate::domain::book::{Book, Row};
use jiff::civil::{Date, DateTime, Time};
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};
use std::collections::{BTreeMap, BTreeSet};

/// Published times are multiples of so many seconds.
const STEP_SECONDS: i64 = 300;
/// Seconds of a number whose length is not written.
const LENGTH_SECONDS: i64 = 125;
/// Seconds of a changeover that is not written.
const CHANGEOVER_SECONDS: i64 = 20;
/// Minutes of an interval that is not written.
const INTERVAL_MINUTES: i64 = 15;
/// Minutes to sign in where nothing is written.
const SIGN_IN_MINUTES: i64 = 5;

/// A line of a running order.
#[derive(Debug)]
enum Slot {
    Number { name: String, call: Option<Time> },
    Interval(i64),
}

/// An event.
#[derive(Debug)]
pub(super) struct Event {
    pub reference: String,
    name: String,
    kind: String,
    date: Date,
    call: Time,
    starts: Time,
    ends: Option<Time>,
    dismissal: String,
    cast: String,
    order: Vec<Slot>,
    ordered: bool,
    /// Seconds of the longest walk, and of signing in.
    walk: i64,
    sign_in: i64,
    pub cancelled: bool,
}

/// A chaperone's duties: event as written, folded, and number.
#[derive(Debug, Default)]
pub(super) struct Chaperone {
    duties: Vec<(String, String)>,
}

/// A child.
#[derive(Debug)]
pub(super) struct Child {
    pub reference: String,
    numbers: BTreeSet<String>,
    casts: Vec<String>,
    /// Guardians' refs.
    pub guardians: Vec<String>,
}

/// A guardian's addresses; one that may not be used is none.
#[derive(Debug, Default, Clone, PartialEq, Eq)]
pub(super) struct Guardian {
    pub mail: Option<String>,
    pub text: Option<String>,
}

impl Guardian {
    /// Takes in how a row says that a person can be reached.
    fn reached<'a>(&mut self, cell: impl Fn(&str) -> &'a str, country: &str) {
        if !cell("e-mail").is_empty() && cell("mails") != "no" {
            self.mail = Some(plain_address(cell("e-mail")));
        }
        if cell("texts") == "yes" {
            self.text = self.text.take().or_else(|| textable(cell("mobile"), country));
        }
    }

    /// The address of a channel.
    pub fn address(&self, channel: &str) -> Option<&str> {
        if channel == "mail" { self.mail.as_deref() } else { self.text.as_deref() }
    }
}

/// A notice.
#[derive(Debug)]
pub(super) struct Notice {
    pub reference: String,
    pub about: String,
    pub to: String,
    from: String,
    days: Option<i64>,
    at: Option<Time>,
    minutes: Option<i64>,
    pub by: String,
    /// Whether chaperones are introduced by it.
    pub introduces: bool,
}

/// What a child's day at an event says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Times {
    pub call: Timestamp,
    pub park_by: Timestamp,
    pub curtain_up: Timestamp,
    pub dismissal: Option<Timestamp>,
    /// A chaperone's briefing, and when she stands at her place.
    pub before: [Option<Timestamp>; 2],
}

/// One workbook from the instant on from which it was in force.
#[derive(Debug)]
pub(super) struct View {
    pub from: Timestamp,
    pub zone: TimeZone,
    quiet_until: Time,
    quiet_from: Time,
    quick_below: usize,
    /// Minutes before the children's call: chaperones at rehearsals, on show days, their briefing, at their places.
    leads: [i64; 4],
    /// Times a day of the digests to chaperones and to the coordinator.
    digests: [usize; 2],
    lengths: BTreeMap<String, (i64, i64)>,
    pub events: Vec<Event>,
    pub children: BTreeMap<String, Child>,
    /// Those who are written to, chaperones too.
    pub guardians: BTreeMap<String, Guardian>,
    pub chaperones: BTreeMap<String, Chaperone>,
    pub notices: Vec<Notice>,
}

impl View {
    /// Reads a workbook; none when it names no zone.
    pub fn of(from: Timestamp, book: &Book) -> Option<View> {
        let setting = |name: &str, default: &str| {
            let row = book.rows("season").iter().find(|r| r.text("setting") == name);
            row.map(|r| r.text("value")).filter(|v| !v.is_empty()).unwrap_or(default).to_owned()
        };
        let pace: f64 = setting("walking feet per second", "3.0").parse().unwrap_or(3.0);
        let lengths = book.rows("numbers").iter().map(|row| {
            let seconds = (
                seconds(row.text("length")).unwrap_or_else(|| class_seconds(book, row)),
                seconds(row.text("changeover")).unwrap_or(CHANGEOVER_SECONDS),
            );
            (folded(row.text("name")), seconds)
        });
        let country = setting("country", "");
        Some(View {
            from,
            zone: TimeZone::get(&setting("zone", "")).ok()?,
            quiet_until: time(&setting("messages from", "08:00"))?,
            quiet_from: time(&setting("messages until", "20:30"))?,
            quick_below: setting("quick change below", "3").parse().unwrap_or(3),
            leads: [
                ("chaperone lead at rehearsals", "30"),
                ("chaperone lead on show days", "60"),
                ("chaperone briefing before call", "45"),
                ("chaperones in place before call", "15"),
            ]
            .map(|(name, default)| setting(name, default).parse().unwrap_or(0)),
            digests: ["chaperone digest", "coordinator digest"]
                .map(|name| repeats::times_a_day(&setting(name, "none"))),
            lengths: lengths.collect(),
            events: book
                .rows("events")
                .iter()
                .flat_map(repeats::spread)
                .filter_map(|row| event(book, &row, pace))
                .collect(),
            children: book.rows("children").iter().map(child).map(|c| (c.reference.clone(), c)).collect(),
            guardians: guardians(book, &country),
            chaperones: chaperones(book),
            notices: book.rows("notices").iter().map(notice).collect(),
        })
    }

    /// The event of a ref.
    pub fn event(&self, reference: &str) -> Option<&Event> {
        self.events.iter().find(|e| e.reference == reference)
    }

    /// The times of a child, or of a chaperone, at an event; none when there is nothing to do there or it is called off.
    pub fn times(&self, person: &str, event: &Event) -> Option<Times> {
        if let Some(chaperone) = self.chaperones.get(person) {
            return self.duty_times(chaperone, event);
        }
        let child = self.children.get(person)?;
        if event.cancelled
            || !(event.cast.is_empty() || child.casts.is_empty() || child.casts.contains(&event.cast))
        {
            return None;
        }
        let calls = event.order.iter().filter_map(|slot| match slot {
            Slot::Number { name, call } if child.numbers.contains(name) => Some(call.unwrap_or(event.call)),
            _ => None,
        });
        let call = self.instant(event.date.to_datetime(calls.min()?))?;
        let curtain_up = self.instant(event.date.to_datetime(event.starts))?;
        Some(Times {
            call,
            park_by: before(call, event.walk + event.sign_in)?,
            curtain_up,
            dismissal: match time(&event.dismissal) {
                Some(fixed) => self.after_start(event, fixed),
                None => {
                    let own = (event.dismissal == "after own last number").then_some(&child.numbers);
                    self.end(event, curtain_up, own)
                }
            },
            before: [None, None],
        })
    }

    /// A chaperone comes so long before the first call of her numbers, or of the event where one of them has no call of
    /// its own or she has none; her shift lasts as long as the event.
    fn duty_times(&self, chaperone: &Chaperone, event: &Event) -> Option<Times> {
        let dated = format!("{} {}", event.name, event.date);
        let hers: Vec<&str> = chaperone
            .duties
            .iter()
            .filter(|(name, _)| name == "all" || *name == event.name || *name == dated)
            .map(|(_, number)| number.as_str())
            .collect();
        if event.cancelled || hers.is_empty() {
            return None;
        }
        let own = |number: &&&str| {
            event.order.iter().find_map(|slot| match slot {
                Slot::Number { name, call } if name == **number => *call,
                _ => None,
            })
        };
        let numbers: Vec<&&str> = hers.iter().filter(|number| !number.is_empty()).collect();
        let calls: Vec<Time> = numbers.iter().filter_map(own).collect();
        let whole = if calls.len() == numbers.len() { None } else { Some(event.call) };
        let children = calls.into_iter().chain(whole).min().unwrap_or(event.call);
        let children = event.date.to_datetime(children);
        let show_day = event.kind == "show" || event.kind == "dress rehearsal";
        let lead = self.leads[usize::from(show_day)];
        let call = self.instant(children.checked_sub(lead.minutes()).ok()?)?;
        let curtain_up = self.instant(event.date.to_datetime(event.starts))?;
        let within = |minutes: i64| {
            self.instant(children.checked_sub(minutes.minutes()).ok()?).filter(|_| minutes < lead)
        };
        Some(Times {
            call,
            park_by: before(call, event.walk)?,
            curtain_up,
            dismissal: self.end(event, curtain_up, None),
            before: [within(self.leads[2]), within(self.leads[3])],
        })
    }

    /// The end of an event, or of the last of some numbers.
    fn end(
        &self,
        event: &Event,
        curtain_up: Timestamp,
        numbers: Option<&BTreeSet<String>>,
    ) -> Option<Timestamp> {
        let own = numbers.is_some();
        let announced = event.ends.and_then(|ends| self.after_start(event, ends));
        if !event.ordered {
            return announced;
        }
        let (mut clock, mut last) = (0, 0);
        for slot in &event.order {
            match slot {
                Slot::Interval(minutes) => clock += minutes * 60,
                Slot::Number { name, .. } => {
                    let (length, changeover) =
                        self.lengths.get(name).copied().unwrap_or((LENGTH_SECONDS, CHANGEOVER_SECONDS));
                    if numbers.is_none_or(|own| own.contains(name)) {
                        last = clock + length;
                    }
                    clock += length + changeover;
                }
            }
        }
        let end = curtain_up.as_second() + last;
        let reckoned = Timestamp::from_second(-(-end).div_euclid(STEP_SECONDS) * STEP_SECONDS).ok()?;
        // An announced end may be later than the last number's, never earlier.
        Some(announced.filter(|_| !own).map_or(reckoned, |announced| announced.max(reckoned)))
    }

    /// A time of day at or after the event's beginning: a time before it is after midnight.
    fn after_start(&self, event: &Event, time: Time) -> Option<Timestamp> {
        let date = if time < event.starts { event.date.saturating_add(1.day()) } else { event.date };
        self.instant(date.to_datetime(time))
    }

    fn instant(&self, local: DateTime) -> Option<Timestamp> {
        Some(local.to_zoned_datetime(self.zone.clone()).ok()?.timestamp())
    }

    /// Whether a message may leave at that instant.
    pub fn permitted(&self, at: Timestamp) -> bool {
        let time = at.to_zoned_datetime(self.zone.clone()).time();
        self.quiet_until <= time && time < self.quiet_from
    }

    /// That instant, or the next at which a message may leave.
    pub fn next_permitted(&self, at: Timestamp) -> Timestamp {
        if self.permitted(at) {
            return at;
        }
        let local = at.to_zoned_datetime(self.zone.clone()).datetime();
        let date =
            if local.time() < self.quiet_until { local.date() } else { local.date().saturating_add(1.day()) };
        self.instant(date.to_datetime(self.quiet_until)).unwrap_or(at)
    }

    /// The local day of an instant.
    pub fn day(&self, at: Timestamp) -> Date {
        at.to_zoned_datetime(self.zone.clone()).date()
    }

    /// Lists that one holder of digests may get on one day.
    pub fn digests_a_day(&self, holder: &str) -> usize {
        self.digests[usize::from(!self.chaperones.contains_key(holder))]
    }

    /// Whether some chaperone looks after one of a child's numbers at an event, so that she can be introduced.
    pub fn looked_after(&self, child: &str, event: &Event) -> bool {
        let Some(child) = self.children.get(child) else { return false };
        let danced = |name: &String| {
            child.numbers.contains(name)
                && event
                    .order
                    .iter()
                    .any(|slot| matches!(slot, Slot::Number { name: own, .. } if own == name))
        };
        let dated = dated(&event.name, event.date);
        let duties = self.chaperones.values().flat_map(|chaperone| &chaperone.duties);
        duties
            .filter(|(name, _)| name == "all" || *name == event.name || *name == dated)
            .any(|(_, number)| danced(number))
    }

    /// Hour and minute of an instant as families read them.
    pub fn wall(&self, at: Timestamp) -> (i8, i8) {
        let time = at.to_zoned_datetime(self.zone.clone()).time();
        (time.hour(), time.minute())
    }

    /// Events a notice is about; none for the season's house rules.
    pub fn about<'a>(&'a self, notice: &'a Notice) -> impl Iterator<Item = &'a Event> {
        self.events.iter().filter(|e| {
            e.kind == notice.about || e.name == notice.about || dated(&e.name, e.date) == notice.about
        })
    }

    /// When a notice is due for a child at an event, or for the season's rules; none when the workbook does not say.
    pub fn due(&self, notice: &Notice, times: Option<Times>) -> Option<Timestamp> {
        let anchor = match notice.from.as_str() {
            "call" => times?.call,
            "park by" => times?.park_by,
            "curtain up" => times?.curtain_up,
            "dismissal" => times?.dismissal?,
            "first show" => {
                let shows = self.events.iter().filter(|e| e.kind == "show" && !e.cancelled);
                self.instant(shows.map(|e| e.date.to_datetime(e.starts)).min()?)?
            }
            date => self.instant(date.parse::<Date>().ok()?.at(12, 0, 0, 0))?,
        };
        if let Some(minutes) = notice.minutes {
            return anchor.checked_sub(minutes.minutes()).ok();
        }
        let date =
            anchor.to_zoned_datetime(self.zone.clone()).date().checked_sub(notice.days?.days()).ok()?;
        self.instant(date.to_datetime(notice.at?))
    }

    /// Whether a child surely has a quick change at a show: two of its numbers in one act, fewer than the season's
    /// threshold between them.
    pub fn quick_change(&self, child: &str) -> bool {
        let Some(found) = self.children.get(child) else {
            return false;
        };
        self.events.iter().filter(|e| e.kind == "show" && e.ordered && self.times(child, e).is_some()).any(
            |event| {
                let mut between: Option<usize> = None;
                event.order.iter().any(|slot| match slot {
                    Slot::Interval(_) => {
                        between = None;
                        false
                    }
                    Slot::Number { name, .. } if found.numbers.contains(name) => {
                        between.replace(0).is_some_and(|n| n < self.quick_below)
                    }
                    Slot::Number { .. } => {
                        between = between.map(|n| n + 1);
                        false
                    }
                })
            },
        )
    }
}

/// How long a number without a length is: as the middle one of its class.
fn class_seconds(book: &Book, number: &Row) -> i64 {
    let class = folded(number.text("class"));
    let same =
        book.rows("numbers").iter().filter(|row| !class.is_empty() && folded(row.text("class")) == class);
    let mut lengths: Vec<i64> = same.filter_map(|row| seconds(row.text("length"))).collect();
    lengths.sort_unstable();
    lengths.get(lengths.len() / 2).copied().unwrap_or(LENGTH_SECONDS)
}

/// A name for comparison.
fn folded(name: &str) -> String {
    name.trim().to_lowercase()
}

/// An event's name with its date, which tells it from others of the name.
fn dated(name: &str, date: Date) -> String {
    format!("{name} {date}")
}

fn list(text: &str) -> impl Iterator<Item = String> + '_ {
    text.split(';').map(|part| folded(part.split(':').next().unwrap_or(part))).filter(|name| !name.is_empty())
}

fn time(text: &str) -> Option<Time> {
    let (hour, minute) = text.trim().split_once(':')?;
    Time::new(hour.parse().ok()?, minute.get(..2)?.parse().ok()?, 0, 0).ok()
}

fn seconds(text: &str) -> Option<i64> {
    let (minutes, seconds) = text.trim().split_once(':')?;
    Some(minutes.parse::<i64>().ok()? * 60 + seconds.parse::<i64>().ok()?)
}

fn event(book: &Book, row: &Row, pace: f64) -> Option<Event> {
    let name = folded(row.text("name"));
    let date: Date = row.text("date").parse().ok()?;
    let of = |line: &&Row| [name.clone(), dated(&name, date)].contains(&folded(line.text("event")));
    let mut lines: Vec<&Row> = book.rows("running order").iter().filter(of).collect();
    lines.sort_by_key(|line| line.text("place").parse::<u32>().unwrap_or(u32::MAX));
    let ordered = !lines.is_empty();
    let mut order: Vec<Slot> = lines.into_iter().map(slot).collect();
    if !ordered {
        let mut wanted: Vec<String> = list(row.text("numbers")).collect();
        if wanted.is_empty() {
            wanted = book.rows("numbers").iter().map(|n| folded(n.text("name"))).collect();
        }
        order = wanted.into_iter().map(|name| Slot::Number { name, call: None }).collect();
    }
    Some(Event {
        reference: row.text("ref").to_owned(),
        name,
        kind: folded(row.text("kind")),
        date,
        call: time(row.text("call"))?,
        starts: time(row.text("starts"))?,
        ends: time(row.text("ends")),
        dismissal: folded(row.text("dismissal")),
        cast: folded(row.text("cast")),
        order,
        ordered,
        walk: walk_seconds(book, &folded(row.text("place")), pace),
        sign_in: sign_in_seconds(book, &folded(row.text("place"))),
        cancelled: row.text("cancelled") == "yes",
    })
}

fn slot(line: &Row) -> Slot {
    match folded(line.text("number")).as_str() {
        "interval" => Slot::Interval(line.text("minutes").parse().unwrap_or(INTERVAL_MINUTES)),
        name => Slot::Number { name: name.to_owned(), call: time(line.text("call")) },
    }
}

/// So many seconds before an instant, on a whole step.
fn before(at: Timestamp, seconds: i64) -> Option<Timestamp> {
    Timestamp::from_second((at.as_second() - seconds).div_euclid(STEP_SECONDS) * STEP_SECONDS).ok()
}

/// Seconds of the longest walk to a place.
fn walk_seconds(book: &Book, place: &str, pace: f64) -> i64 {
    let walks = book.rows("ways").iter().filter(|w| folded(w.text("place")) == place).filter_map(|way| {
        let typed = way
            .text("walk minutes")
            .split(['-', '–'])
            .filter_map(|part| part.trim().parse::<i64>().ok())
            .max();
        let metres =
            || way.text("metres").parse::<f64>().ok().map(|m| (m / 0.3048 / pace / 60.0).ceil() as i64);
        typed.or_else(metres)
    });
    walks.max().unwrap_or(0) * 60
}

fn sign_in_seconds(book: &Book, place: &str) -> i64 {
    let row = book.rows("places").iter().find(|p| folded(p.text("name")) == place);
    row.and_then(|p| p.text("sign-in minutes").parse().ok()).unwrap_or(SIGN_IN_MINUTES) * 60
}

fn child(row: &Row) -> Child {
    let guardians = (1..=4).map(|nth| row.text(&format!("guardian {nth} ref")).to_owned());
    Child {
        reference: row.text("ref").to_owned(),
        numbers: list(row.text("numbers")).collect(),
        casts: list(row.text("cast")).collect(),
        guardians: guardians.filter(|g| !g.is_empty()).collect(),
    }
}

fn guardians(book: &Book, country: &str) -> BTreeMap<String, Guardian> {
    let mut all: BTreeMap<String, Guardian> = BTreeMap::new();
    for row in book.rows("children") {
        for nth in 1..=4 {
            let cell = |column: &str| row.text(&format!("guardian {nth} {column}"));
            if cell("ref").is_empty() {
                continue;
            }
            all.entry(cell("ref").to_owned()).or_default().reached(cell, country);
        }
    }
    for row in book.rows("chaperones") {
        all.entry(row.text("ref").to_owned()).or_default().reached(|column| row.text(column), country);
    }
    all
}

fn chaperones(book: &Book) -> BTreeMap<String, Chaperone> {
    let duties = |name: &str| {
        let hers = book.rows("duties").iter().filter(|duty| folded(duty.text("chaperone")) == folded(name));
        hers.map(|duty| (folded(duty.text("event")), folded(duty.text("number")))).collect()
    };
    let rows = book.rows("chaperones").iter();
    rows.map(|row| (row.text("ref").to_owned(), Chaperone { duties: duties(row.text("name")) })).collect()
}

/// A number a text may go to. British numbers are mobile when they begin with 7 (Ofcom's numbering plan); elsewhere the
/// plan does not always tell, and the number is taken at its word.
fn textable(number: &str, country: &str) -> Option<String> {
    let plain = match country {
        "GB" => plain_address(number),
        _ if number.trim().starts_with('+') => plain_address(number),
        "US" | "CA" => format!("+1{}", number.chars().filter(char::is_ascii_digit).collect::<String>()),
        _ => return None,
    };
    let british_land_line = plain.strip_prefix("+44").is_some_and(|rest| !rest.starts_with('7'));
    (plain.len() > 5 && !british_land_line).then_some(plain)
}

/// An address in one spelling: mail in lower case; a telephone number with its country, Britain's when it begins with 0.
pub(super) fn plain_address(address: &str) -> String {
    if address.contains('@') {
        return address.trim().to_lowercase();
    }
    let digits: String = address.chars().filter(char::is_ascii_digit).collect();
    match digits.strip_prefix('0') {
        Some(national) => format!("+44{national}"),
        None => format!("+{digits}"),
    }
}

fn notice(row: &Row) -> Notice {
    Notice {
        reference: row.text("ref").to_owned(),
        about: folded(row.text("about")),
        to: folded(row.text("to")),
        from: folded(row.text("counted from")),
        days: row.text("days before").parse().ok(),
        at: time(row.text("at")),
        minutes: row.text("minutes before").parse().ok(),
        by: folded(row.text("by")),
        introduces: folded(row.text("wording")) == "introduction",
    }
}
