//! A season with every cross-reference resolved: what the rest of the program computes with.
//!
//! Built only by [`super::reading`] from a [`super::book::Book`]; indices (`ChildId` and so on) point into the
//! vectors of [`Season`] and are valid for that value alone. A [`Ref`] is what lasts: it names a workbook row for good.

mod people;
mod settings;

pub use people::{
    Care, Consent, Contact, Guardian, Household, Language, Line, MailAddress, People, Person, Phone,
};
pub use settings::{CallNames, Declared, Lead, Leads, Settings, SettledBy, SignedOutBy};

use super::layout::INTRODUCTION_WORDING;
use super::phrases::Phrases;
use super::wall;
use jiff::Timestamp;
use jiff::civil::{Date, DateTime, Time};
use jiff::tz::TimeZone;
use std::collections::BTreeMap;
use std::ops::Deref;
use std::sync::Arc;

/// The lasting name of a workbook row, such as `C017`; holds nothing personal.
pub type Ref = String;

macro_rules! index {
    ($($(#[$doc:meta])* $name:ident),* $(,)?) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(pub u32);
        impl $name {
            /// Position in the season's vector.
            pub fn at(self) -> usize { self.0 as usize }
        }
    )*};
}

index! {
    /// Index into [`People::children`].
    ChildId,
    /// Index into [`People::guardians`].
    GuardianId,
    /// Index into [`People::households`].
    HouseholdId,
    /// Index into [`Season::places`].
    PlaceId,
    /// Index into [`Season::rooms`].
    RoomId,
    /// Index into [`Season::events`].
    EventId,
    /// Index into [`Season::numbers`].
    NumberId,
    /// Index into [`People::chaperones`].
    ChaperoneId,
}

/// Side of the stage from the performer facing the audience.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Stage left.
    Left,
    /// Stage right.
    Right,
}

/// A child's place in one number.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Casting {
    /// Which number.
    pub number: NumberId,
    /// Place in the line-up, from 1.
    pub line: Option<u16>,
    /// Side of entrance.
    pub entrance: Option<Side>,
    /// Side of exit.
    pub exit: Option<Side>,
}

/// One child. No birth date is kept, only an age band.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Child {
    /// Lasting name.
    pub reference: Ref,
    /// Given name.
    pub given: String,
    /// Family name.
    pub family: String,
    /// Youngest and oldest age of the band in years; none if not written.
    pub ages: Option<(u8, u8)>,
    /// Casts the child belongs to; empty means every performance.
    pub casts: Vec<String>,
    /// Numbers, in workbook order.
    pub castings: Vec<Casting>,
    /// New to the school, so that the family knows nothing of how things go.
    pub new: bool,
    /// Who besides the guardians may collect, as the coordinator has accepted it.
    pub also_collects: Vec<String>,
    /// Nobody hands the child out before the named lead is there. Why is not kept, and no family is told.
    pub fetch_lead: bool,
}

impl Child {
    /// What staff call the child, where many share a given name: given name and initial, such as "Ines A."
    pub fn short_name(&self) -> String {
        let initial: String = self.family.chars().take(1).flat_map(char::to_uppercase).collect();
        if initial.is_empty() { self.given.clone() } else { format!("{} {initial}.", self.given) }
    }
}

/// A way from a car park or stop to the door.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Way {
    /// Name of the car park, stop or gate.
    pub name: String,
    /// Shortest and longest walk in whole minutes.
    pub walk: (u32, u32),
}

/// Somewhere events happen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// Lasting name.
    pub reference: Ref,
    /// Name.
    pub name: String,
    /// The door children use.
    pub door: String,
    /// Where children are collected; empty means the same door.
    pub collect_at: String,
    /// Minutes the sign-in takes.
    pub sign_in_minutes: u32,
    /// Ways in.
    pub ways: Vec<Way>,
}

/// A room where children wait. Never told to families.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Room {
    /// Where.
    pub place: PlaceId,
    /// Name as staff know it.
    pub name: String,
    /// Most children it may hold; none where nobody has said.
    pub most: Option<u32>,
    /// Children with a quick change come here between two numbers.
    pub quick_change: bool,
}

/// What an event is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum EventKind {
    /// A class visit.
    Class,
    /// A rehearsal in the studio.
    Rehearsal,
    /// Photographs.
    Photographs,
    /// The dress rehearsal.
    Dress,
    /// A show.
    Show,
}

/// Whom an event is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Concerned {
    /// Families are told of it and answer.
    Families,
    /// The chaperones alone: the children are there anyway, as in class.
    ChaperonesOnly,
}

/// When children may be collected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dismissal {
    /// After the last number of the event, for everyone: the rule of no early release.
    AfterLastNumber,
    /// After the child's own last number.
    AfterOwnLastNumber,
    /// At a fixed local time.
    At(Time),
}

/// One line of a running order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Slot {
    /// A number, with a call of its own where it has one.
    Number {
        /// Which number.
        number: NumberId,
        /// Its own call, local time.
        call: Option<Time>,
        /// Minutes of its slot, where one is written; it counts where the event goes by slots.
        minutes: Option<u32>,
    },
    /// The interval, in minutes.
    Interval(u32),
}

/// One event.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Event {
    /// Lasting name.
    pub reference: Ref,
    /// Name as families know it.
    pub name: String,
    /// Kind.
    pub kind: EventKind,
    /// Whom it is for.
    pub concerns: Concerned,
    /// Where.
    pub place: PlaceId,
    /// Local date.
    pub date: Date,
    /// Children's call, local time; earlier than `starts`.
    pub call: Time,
    /// Curtain up, or when it begins.
    pub starts: Time,
    /// Announced end, local time, where there is one; a time before `starts` is after midnight.
    pub ends: Option<Time>,
    /// When children may leave.
    pub dismissal: Dismissal,
    /// The cast that performs; none means all.
    pub cast: Option<String>,
    /// How to arrive: costume, hair, make-up.
    pub arrive_ready: String,
    /// What to bring.
    pub bring: String,
    /// What to leave at home.
    pub leave_home: String,
    /// Whether adults may watch; none where nobody has said.
    pub adults_watch: Option<bool>,
    /// Whether quick-change costumes are handed in at the end of this event.
    pub turn_in: bool,
    /// Called off.
    pub cancelled: bool,
    /// By when it is decided whether it takes place, local time, while that is open. No fact: families are told only
    /// when it is called off.
    pub decide_by: Option<DateTime>,
    /// Numbers in order. Where the workbook gives no running order, the listed numbers in workbook order.
    pub order: Vec<Slot>,
    /// Whether `order` is a running order, from which starts may be computed.
    pub ordered: bool,
}

impl Event {
    /// Whether numbers have slots of their own: at a class, a rehearsal or photographs where one of them is called later
    /// than the event.
    pub fn by_slots(&self) -> bool {
        let of_kind = matches!(self.kind, EventKind::Class | EventKind::Rehearsal | EventKind::Photographs);
        let later = |slot: &Slot| matches!(slot, Slot::Number { call: Some(call), .. } if *call > self.call);
        of_kind && self.ordered && self.order.iter().any(later)
    }

    /// Whether families are told of it and answer.
    pub fn for_families(&self) -> bool {
        self.concerns == Concerned::Families
    }

    /// Seconds from its beginning to a local time of its day, by the clock on the wall; less than nothing is before it.
    pub fn seconds_from_start(&self, time: Time) -> i64 {
        time.duration_since(self.starts).as_secs()
    }
}

/// One dance, song or scene.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Number {
    /// Lasting name.
    pub reference: Ref,
    /// Name.
    pub name: String,
    /// Length in seconds.
    pub seconds: u32,
    /// Seconds from its end to the start of the next.
    pub changeover_seconds: u32,
    /// Class that dances it.
    pub class: String,
    /// Costume pieces.
    pub pieces: Vec<String>,
    /// Teacher.
    pub teacher: String,
    /// Where the teacher hears that a child is not coming; none where they do not.
    pub teacher_mail: Option<MailAddress>,
    /// Danced in what the children have on, so that nobody changes for it.
    pub worn: bool,
    /// Children stay with the chaperone they are with, whoever leads the number.
    pub own_chaperone: bool,
}

/// A volunteer in charge of children.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chaperone {
    /// Lasting name.
    pub reference: Ref,
    /// Full name.
    pub name: String,
    /// Ways to reach.
    pub contact: Contact,
    /// Eighteen or over: only then counted in a ratio.
    pub adult: bool,
    /// Last day of a valid vetting.
    pub vetted_until: Option<Date>,
    /// Languages spoken besides the one she is written to in.
    pub speaks: Vec<Language>,
}

/// What a chaperone does at an event.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Duty {
    /// Who.
    pub chaperone: ChaperoneId,
    /// When.
    pub event: EventId,
    /// Which number she looks after; none for the door, a float and the like.
    pub number: Option<NumberId>,
    /// Task in words.
    pub task: String,
    /// Where the number's children wait, or where a helper without a number stays; a room of the event's place.
    pub room: Option<RoomId>,
    /// Signs these children in.
    pub signs_in: bool,
    /// Signs these children out.
    pub signs_out: bool,
}

/// Events that one line of the workbook stands for, since it comes round again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Series {
    /// Name, the same for all of them.
    pub name: String,
    /// When, in words, such as `Tuesdays at 16:45`.
    pub words: String,
    /// The events, soonest first; at least one.
    pub events: Vec<EventId>,
}

/// A rule families are told, and perhaps acknowledge.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HouseRule {
    /// Lasting name.
    pub reference: Ref,
    /// Short name.
    pub name: String,
    /// The event it belongs to; none for the whole season.
    pub event: Option<EventId>,
    /// Whether it must be acknowledged.
    pub acknowledge: bool,
    /// Its text by language; the season's language is always there.
    pub texts: BTreeMap<Language, String>,
}

/// What a notice is about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum About {
    /// The season's house rules.
    Season,
    /// Every event of a kind.
    Kind(EventKind),
    /// One event, or all of one line that comes round again.
    Events(Vec<EventId>),
}

impl About {
    /// Whether it is about an event of a kind.
    pub fn covers(&self, id: EventId, kind: EventKind) -> bool {
        match self {
            About::Season => false,
            About::Kind(of) => *of == kind,
            About::Events(events) => events.contains(&id),
        }
    }
}

/// Who gets a notice.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Audience {
    /// Every guardian concerned.
    Everyone,
    /// Guardians not heard from about it.
    NotHeard,
    /// Of each child's guardians the first who can be reached; the others in turn while nobody answers.
    OneGuardian,
    /// Guardians of children with a quick change at a show, who have a costume to hand in.
    TurnIn,
    /// Every chaperone with a duty.
    Chaperones,
    /// Chaperones not heard from about their duty.
    ChaperonesNotHeard,
}

impl Audience {
    /// Whether it is for chaperones and about their duties.
    pub fn of_chaperones(self) -> bool {
        matches!(self, Audience::Chaperones | Audience::ChaperonesNotHeard)
    }

    /// Whether it is for those only who have not been heard from.
    pub fn of_unheard(self) -> bool {
        matches!(self, Audience::NotHeard | Audience::ChaperonesNotHeard)
    }
}

/// The moment a notice is counted from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// The child's call.
    Call,
    /// The child's park-by.
    ParkBy,
    /// Curtain up.
    CurtainUp,
    /// Dismissal.
    Dismissal,
    /// Curtain up of the first show of the season.
    FirstShow,
    /// Noon of a date.
    Date(Date),
}

/// How far from the anchor.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Offset {
    /// So many days before the anchor's local date, at a local time.
    DaysBefore {
        /// Days, 0 or more.
        days: i32,
        /// Local time.
        at: Time,
    },
    /// Exact minutes before the anchor.
    MinutesBefore(i64),
}

/// The roads of a message.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Channel {
    /// E-mail.
    Mail,
    /// Text message.
    Text,
}

impl Channel {
    /// The word used in files, pages and the store.
    pub fn word(self) -> &'static str {
        match self {
            Channel::Mail => "mail",
            Channel::Text => "text",
        }
    }

    /// The channel of that word.
    pub fn from_word(word: &str) -> Option<Channel> {
        match word {
            "mail" => Some(Channel::Mail),
            "text" => Some(Channel::Text),
            _ => None,
        }
    }
}

/// By which channels a notice goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum By {
    /// Mail; text where there is no mail.
    Mail,
    /// Text; mail where there is no text.
    Text,
    /// Both, as far as they exist.
    MailAndText,
}

/// A rule of the season: who is told what, when, how.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Notice {
    /// Lasting name.
    pub reference: Ref,
    /// Name for the coordinator.
    pub name: String,
    /// About what.
    pub about: About,
    /// To whom.
    pub to: Audience,
    /// Counted from.
    pub anchor: Anchor,
    /// How far before.
    pub offset: Offset,
    /// By which channels.
    pub by: By,
    /// Whether an answer is owed.
    pub owes: bool,
    /// While there is no answer the other channel follows so many hours later; none: it does not.
    pub other_channel_hours: Option<u32>,
    /// While there is no answer the child's other guardians follow so many hours later; none: they do not.
    pub other_guardian_hours: Option<u32>,
    /// Why there is this notice, for the coordinator; may be empty.
    pub why: String,
    /// The folder of `message-templates/LANGUAGE/` that words it.
    pub wording: String,
}

impl Notice {
    /// Whether it introduces chaperones by name: it says nothing of times, so nobody is told any facts by it.
    pub fn introduces(&self) -> bool {
        self.wording == INTRODUCTION_WORDING
    }
}

/// Everything one season consists of.
#[derive(Debug, Clone, PartialEq)]
pub struct Season {
    /// Lasting name.
    pub reference: Ref,
    /// Name of the production.
    pub name: String,
    /// Name of the school.
    pub school: String,
    /// What texts begin with, so that it is plain who writes.
    pub short_name: String,
    /// IANA name of the zone.
    pub zone_name: String,
    /// The zone itself.
    pub zone: TimeZone,
    /// ISO 3166 code, for phone numbers typed without a country.
    pub country: String,
    /// Language of those who ask for none.
    pub language: Language,
    /// The coordinator's telephone as families should dial it; may be empty.
    pub telephone: String,
    /// Whom staff fetch; none where nobody is named.
    pub lead: Option<Lead>,
    /// Figures.
    pub settings: Settings,
    /// Places.
    pub places: Vec<Place>,
    /// Rooms in workbook order.
    pub rooms: Vec<Room>,
    /// Events by date and time.
    pub events: Vec<Event>,
    /// Those that come of one line together.
    pub series: Vec<Series>,
    /// Numbers in workbook order.
    pub numbers: Vec<Number>,
    /// Who people are; read as the season's own, see [`People`].
    pub people: Arc<People>,
    /// Duties.
    pub duties: Vec<Duty>,
    /// House rules.
    pub house_rules: Vec<HouseRule>,
    /// What families read, in other languages.
    pub phrases: Phrases,
    /// Notices.
    pub notices: Vec<Notice>,
}

impl Season {
    /// When an event begins as planned.
    pub fn curtain_up(&self, event: EventId) -> Timestamp {
        let event = &self.events[event.at()];
        wall::instant(&self.zone, event.date.to_datetime(event.starts))
    }

    /// The given name of a child, or the first of a chaperone's names.
    pub fn given_name(&self, who: Person) -> &str {
        match who {
            Person::Child(child) => &self.children[child.at()].given,
            Person::Chaperone(chaperone) => {
                let name = &self.chaperones[chaperone.at()].name;
                name.split_whitespace().next().unwrap_or(name)
            }
        }
    }

    /// The name in full.
    pub fn full_name(&self, who: Person) -> String {
        match who {
            Person::Child(child) => {
                let child = &self.children[child.at()];
                format!("{} {}", child.given, child.family).trim().to_owned()
            }
            Person::Chaperone(chaperone) => self.chaperones[chaperone.at()].name.clone(),
        }
    }

    /// The lasting name.
    pub fn reference_of(&self, who: Person) -> &str {
        match who {
            Person::Child(child) => &self.children[child.at()].reference,
            Person::Chaperone(chaperone) => &self.chaperones[chaperone.at()].reference,
        }
    }

    /// The shows that are not called off.
    pub fn shows(&self) -> impl Iterator<Item = EventId> {
        let of_kind = |event: &Event| event.kind == EventKind::Show && !event.cancelled;
        (0_u32..).map(EventId).zip(&self.events).filter(move |(_, event)| of_kind(event)).map(|(id, _)| id)
    }

    /// The duties at an event, in workbook order.
    pub fn duties_at(&self, event: EventId) -> impl Iterator<Item = &Duty> {
        self.duties.iter().filter(move |duty| duty.event == event)
    }
}

impl Deref for Season {
    type Target = People;

    fn deref(&self) -> &People {
        &self.people
    }
}
