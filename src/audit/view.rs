//! A workbook as the checker reads it: who is in what, when, and how guardians can be reached.

use super::repeats;
use crate::domain::book::{Book, Row};
use jiff::civil::{Date, DateTime, Time};
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};
use std::collections::{BTreeMap, BTreeSet};

/// Published times are multiples of so many seconds.
pub(super) const STEP_SECONDS: i64 = 300;
/// Seconds of a number whose length is not written.
pub(super) const LENGTH_SECONDS: i64 = 125;
/// Seconds of a changeover that is not written.
pub(super) const CHANGEOVER_SECONDS: i64 = 20;
/// Minutes of an interval that is not written.
const INTERVAL_MINUTES: i64 = 15;
/// Children of whom a finale can be told.
const FINALE_CHILDREN: usize = 10;
/// How long before the children chaperones come: kind of event, setting, minutes.
const LEADS: [(&str, &str, &str); 5] = [
    ("class", "chaperone lead at class visits", "0"),
    ("rehearsal", "chaperone lead at rehearsals", "30"),
    ("photographs", "chaperone lead at photographs", "30"),
    ("dress rehearsal", "chaperone lead at the dress rehearsal", "30"),
    ("show", "chaperone lead on show days", "60"),
];
/// Minutes to sign in where nothing is written.
const SIGN_IN_MINUTES: i64 = 5;

/// A line of a running order.
#[derive(Debug)]
pub(super) enum Slot {
    /// A number: its own call, and the minutes of its slot.
    Number { name: String, call: Option<Time>, minutes: Option<i64> },
    /// Minutes without one.
    Interval(i64),
}

/// An event.
#[derive(Debug)]
pub(super) struct Event {
    pub reference: String,
    pub name: String,
    pub kind: String,
    pub date: Date,
    pub call: Time,
    pub starts: Time,
    pub ends: Option<Time>,
    pub dismissal: String,
    pub cast: String,
    pub order: Vec<Slot>,
    pub ordered: bool,
    /// Whether families are told of it; empty where the notices decide.
    pub concerns: String,
    /// Seconds of the longest walk, and of signing in.
    pub walk: i64,
    pub sign_in: i64,
    /// The door, as it is written and in each other language; empty where none is written.
    pub doors: Vec<String>,
    pub cancelled: bool,
}

/// A line of the sheet `duties`, names folded; `all` events is written so.
#[derive(Debug)]
pub(super) struct Duty {
    /// The chaperone's ref.
    pub chaperone: String,
    pub event: String,
    pub number: String,
    pub signs_in: bool,
    pub signs_out: bool,
}

/// A number: seconds of itself and of the change after it, and what children do for it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Number {
    pub seconds: i64,
    pub changeover: i64,
    /// Nobody changes for it.
    pub worn: bool,
    /// Children stay with the chaperone they are with.
    pub own_chaperone: bool,
}

/// A child.
#[derive(Debug)]
pub(super) struct Child {
    pub reference: String,
    pub numbers: BTreeSet<String>,
    pub casts: Vec<String>,
    /// Guardians' refs.
    pub guardians: Vec<String>,
    /// Their names.
    pub names: Vec<String>,
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
    pub days: Option<i64>,
    at: Option<Time>,
    minutes: Option<i64>,
    pub by: String,
    /// Whether chaperones are introduced by it.
    pub introduces: bool,
    /// Whether an answer is owed.
    pub owes: bool,
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
    pub quick_below: usize,
    /// Minutes before the children's call at which chaperones come, by kind of event.
    pub leads: BTreeMap<&'static str, i64>,
    /// Minutes before it: their briefing, at their places.
    pub briefed: [i64; 2],
    /// Whether children are signed out by whoever signed them in.
    pub back: bool,
    /// What every text begins with; empty for the first word of the school.
    pub short: String,
    pub school: String,
    pub telephone: String,
    /// Times a day of the digests to chaperones and to the coordinator.
    digests: [usize; 2],
    pub numbers: BTreeMap<String, Number>,
    pub events: Vec<Event>,
    pub children: BTreeMap<String, Child>,
    /// Those who are written to, chaperones too.
    pub guardians: BTreeMap<String, Guardian>,
    /// Names of chaperones by their refs.
    pub chaperones: BTreeMap<String, String>,
    pub duties: Vec<Duty>,
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
        let country = setting("country", "");
        Some(View {
            from,
            zone: TimeZone::get(&setting("zone", "")).ok()?,
            quiet_until: time(&setting("messages from", "08:00"))?,
            quiet_from: time(&setting("messages until", "20:30"))?,
            quick_below: setting("quick change below", "3").parse().unwrap_or(3),
            leads: LEADS
                .map(|(kind, name, default)| (kind, setting(name, default).parse().unwrap_or(0)))
                .into(),
            briefed: [("chaperone briefing before call", "45"), ("chaperones in place before call", "15")]
                .map(|(name, default)| setting(name, default).parse().unwrap_or(0)),
            back: folded(&setting("signed out by", "")) == "first chaperone",
            short: setting("short name", "").trim_matches('-').trim().to_owned(),
            school: setting("school", ""),
            telephone: setting("telephone", ""),
            digests: ["chaperone digest", "coordinator digest"]
                .map(|name| repeats::times_a_day(&setting(name, "none"))),
            numbers: book.rows("numbers").iter().map(|row| number(book, row)).collect(),
            events: book
                .rows("events")
                .iter()
                .flat_map(repeats::spread)
                .filter_map(|row| event(book, &row, pace))
                .collect(),
            children: book.rows("children").iter().map(child).map(|c| (c.reference.clone(), c)).collect(),
            guardians: guardians(book, &country),
            chaperones: book
                .rows("chaperones")
                .iter()
                .map(|row| (row.text("ref").to_owned(), row.text("name").trim().to_owned()))
                .collect(),
            duties: duties(book),
            notices: book.rows("notices").iter().map(notice).collect(),
        })
    }

    /// The event of a ref.
    pub fn event(&self, reference: &str) -> Option<&Event> {
        self.events.iter().find(|e| e.reference == reference)
    }

    /// A time of day at or after the event's beginning: a time before it is after midnight.
    pub fn after_start(&self, event: &Event, time: Time) -> Option<Timestamp> {
        let date = if time < event.starts { event.date.saturating_add(1.day()) } else { event.date };
        self.instant(date.to_datetime(time))
    }

    pub fn instant(&self, local: DateTime) -> Option<Timestamp> {
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
}

fn number(book: &Book, row: &Row) -> (String, Number) {
    let name = folded(row.text("name"));
    let all = book.rows("children");
    let danced = all.iter().filter(|child| list(child.text("numbers")).any(|number| number == name)).count();
    // A number that nine children in ten dance is a finale, where there are ten children at least.
    let finale = all.len() >= FINALE_CHILDREN && danced * 10 >= all.len() * 9;
    let said = |column: &str| match row.text(column) {
        "" => finale,
        text => text == "yes",
    };
    let number = Number {
        seconds: seconds(row.text("length")).unwrap_or_else(|| class_seconds(book, row)),
        changeover: seconds(row.text("changeover")).unwrap_or(CHANGEOVER_SECONDS),
        worn: said("worn already"),
        own_chaperone: said("own chaperone"),
    };
    (name, number)
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
pub(super) fn dated(name: &str, date: Date) -> String {
    format!("{name} {date}")
}

fn list(text: &str) -> impl Iterator<Item = String> + '_ {
    text.split(';').map(|part| folded(part.split(':').next().unwrap_or(part))).filter(|name| !name.is_empty())
}

pub(super) fn time(text: &str) -> Option<Time> {
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
        order = wanted.into_iter().map(|name| Slot::Number { name, call: None, minutes: None }).collect();
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
        concerns: folded(row.text("for")),
        walk: walk_seconds(book, &folded(row.text("place")), pace),
        sign_in: sign_in_seconds(book, &folded(row.text("place"))),
        doors: doors(book, &folded(row.text("place"))),
        cancelled: row.text("cancelled") == "yes",
    })
}

fn slot(line: &Row) -> Slot {
    match folded(line.text("number")).as_str() {
        "interval" => Slot::Interval(line.text("minutes").parse().unwrap_or(INTERVAL_MINUTES)),
        name => Slot::Number {
            name: name.to_owned(),
            call: time(line.text("call")),
            minutes: line.text("minutes").parse().ok(),
        },
    }
}

/// So many seconds before an instant, on a whole step.
pub(super) fn before(at: Timestamp, seconds: i64) -> Option<Timestamp> {
    Timestamp::from_second((at.as_second() - seconds).div_euclid(STEP_SECONDS) * STEP_SECONDS).ok()
}

/// What a place's door is called, in every language it is written in.
fn doors(book: &Book, place: &str) -> Vec<String> {
    let named = book.rows("places").iter().filter(|row| folded(row.text("name")) == place);
    let door = named.map(|row| row.text("door").trim().to_owned()).find(|door| !door.is_empty());
    let door: Vec<String> = door.into_iter().collect();
    let others = book.rows("translations").iter().filter(|row| door.contains(&row.text("text").to_owned()));
    let others: Vec<String> = others.map(|row| row.text("translation").to_owned()).collect();
    door.into_iter().chain(others).collect()
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
        names: (1..=4).map(|nth| row.text(&format!("guardian {nth} name")).trim().to_owned()).collect(),
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

fn duties(book: &Book) -> Vec<Duty> {
    let mut duties = Vec::new();
    for duty in book.rows("duties") {
        let name = folded(duty.text("chaperone"));
        for chaperone in book.rows("chaperones").iter().filter(|row| folded(row.text("name")) == name) {
            duties.push(Duty {
                chaperone: chaperone.text("ref").to_owned(),
                event: folded(duty.text("event")),
                number: folded(duty.text("number")),
                signs_in: duty.text("signs in") == "yes",
                signs_out: duty.text("signs out") == "yes",
            });
        }
    }
    duties
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
        owes: row.text("answer owed") != "no",
    }
}
