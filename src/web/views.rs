//! One struct a page, holding what is shown; each renders by `askama::Template::render`.

use jiff::civil::{Date, Time};

use super::labels::{ENGLISH, Labels, clock};

mod bring;
mod calendar;
mod chaperone;
mod chase;
mod class_door;
mod course;
mod door;
mod forecast;
mod guardian;
mod keys;
mod messages;
mod next;
mod paper;
mod plan;
mod preview;
mod season;
mod sheet;
mod show;
mod stop;
mod trial;

pub use bring::{BringPage, ChangeRow, ChangeRowKind, FallRow, OpenQuestion, ProblemRow, RefChoice};
pub use calendar::{CalendarPage, Made};
pub use chaperone::{
    ChaperonePage, EventChoice, GreetAdult, GreetChild, OpenChild, PageNotice, Ring, SettledChild, WatchView,
};
pub use chase::{CallCard, ChasePage, Matter};
pub use class_door::{ClassDoorPage, DoorChoice, Signer, SilentRow};
pub use course::CourseLine;
pub use door::DoorPage;
pub use forecast::{ForecastDay, ForecastPage, ForecastPicture, ForecastRow, ForetoldRow};
pub use guardian::{GuardianPage, HouseRules, NotedKind, NotedLine, OtherLanguage};
pub use keys::{KeyRow, KeysPage};
pub use messages::{LifeView, MessagesPage, PersonView, Said};
pub use next::NextPage;
pub use paper::PaperPage;
pub use plan::{
    PlanBurst, PlanDay, PlanDayPage, PlanGround, PlanLine, PlanPage, PlanStep, PlanTotal, PlanWording,
    SpecimenPage, StartForm,
};
pub(super) use preview::plural;
pub use preview::{
    ChangesPage, EditField, EditForm, EditPage, LookPage, MadeChange, MessageChange, Preview, PreviewEntry,
    Subject,
};
pub use season::{
    AskedRow, ChildRow, Decision, EventPage, EventSummary, GuardianStanding, HeldRow, MessageCount, Needs,
    NoWay, NumberGroup, NumberRow, OpenAnswer, Picture, Returned, SeasonPage, Tally, Uncertain,
};
pub use sheet::{RowKind, SheetItem, SheetView, ShiftView, TimeRow, WayIn};
pub use show::{ChangePage, OrderLine, Pick, ShowMoment, ShowPage, Tick, ToldLine};
pub use stop::{StopChannel, StopPage};
pub use trial::{TrialForm, TrialList, TrialPage, TrialStart};

/// The longest question a guardian may send from her page, in characters; the field stops there.
pub const QUESTION_CHARACTERS: u32 = 1000;

/// Where a recipient, or a child at an event, is: drawn as an ink box and always said in words beside it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StandingMark {
    /// Heard; of a child: settled.
    Heard,
    /// Heard before the change.
    HeardBefore,
    /// Asked, not heard from.
    Waiting,
    /// Can't come.
    CantCome,
    /// Not coming this once, confirmed.
    Away,
    /// No way to reach.
    NoWay,
    /// Not asked yet.
    NotAsked,
}

impl StandingMark {
    /// Every mark, in the order pages list them.
    pub const ALL: [StandingMark; 7] = [
        StandingMark::Heard,
        StandingMark::HeardBefore,
        StandingMark::Waiting,
        StandingMark::CantCome,
        StandingMark::Away,
        StandingMark::NoWay,
        StandingMark::NotAsked,
    ];

    /// The style of the box.
    pub fn class(&self) -> &'static str {
        match self {
            StandingMark::Heard => "heard",
            StandingMark::HeardBefore => "before",
            StandingMark::Waiting => "waiting",
            StandingMark::CantCome => "cant",
            StandingMark::Away => "away",
            StandingMark::NoWay => "noway",
            StandingMark::NotAsked => "notyet",
        }
    }

    /// The words beside the box on chaperones' and coordinators' pages.
    pub fn words(&self) -> &'static str {
        match self {
            StandingMark::Heard => "heard",
            StandingMark::HeardBefore => "heard before the change",
            StandingMark::Waiting => "waiting",
            StandingMark::CantCome => "can't come",
            StandingMark::Away => "not coming",
            StandingMark::NoWay => "no way to reach",
            StandingMark::NotAsked => "not asked yet",
        }
    }

    /// The words beside a child's box: a child is settled where a recipient has heard.
    pub fn child_words(&self) -> &'static str {
        match self {
            StandingMark::Heard => "settled",
            other => other.words(),
        }
    }
}

/// What holds now and, where it differs, what the reader was told before.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ToldFact<T> {
    /// What holds now.
    pub now: T,
    /// What was told before; none if it is the same, or nothing was told.
    pub was: Option<T>,
}

impl<T> ToldFact<T> {
    /// Something that has not changed.
    pub fn same(now: T) -> Self {
        ToldFact { now, was: None }
    }

    /// Something that has.
    pub fn changed(was: T, now: T) -> Self {
        ToldFact { now, was: Some(was) }
    }

    /// Whether it has changed.
    pub fn is_changed(&self) -> bool {
        self.was.is_some()
    }
}

/// A telephone number to ring.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Telephone {
    /// `+` and digits (ITU-T E.164).
    pub e164: String,
    /// As people read it.
    pub shown: String,
}

/// The local date and time at which the page was put together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct AsOf {
    /// Local date.
    pub date: Date,
    /// Local time.
    pub time: Time,
}

impl AsOf {
    /// The date in words.
    pub fn day(&self, labels: &Labels) -> String {
        labels.day(&self.date)
    }

    /// The date in English words, for chaperones and the coordinator.
    pub fn english_day(&self) -> String {
        ENGLISH.day(&self.date)
    }

    /// The time, such as `18:42`.
    pub fn clock(&self) -> String {
        clock(&self.time)
    }
}
