//! What one message has to say, before it is put into words of any language.
//!
//! A letter is plain data: [`super::wording`] turns it into a text message or a mail. It holds given
//! names at most, and never a room, a medical or custody word, or anything of another family.

use jiff::civil::{Date, Time};
use serde::{Serialize, Serializer};

/// What a letter is for; each kind has a folder of templates in every language.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// The season's house rules, to be acknowledged.
    Rules,
    /// The times and rules of events, in full.
    CallSheet,
    /// The same facts again, nearer the day.
    Reminder,
    /// The shortest form, for the evening before or the morning itself.
    Eve,
    /// Costumes to hand in.
    TurnIn,
    /// A chaperone's own duties.
    Duty,
    /// Who will look after the child.
    Introduction,
    /// Published facts that have changed.
    Change,
    /// An event called off.
    Cancelled,
}

impl Kind {
    /// Every kind, in the order a season meets them.
    pub const ALL: [Kind; 9] = [
        Kind::Rules,
        Kind::CallSheet,
        Kind::Reminder,
        Kind::Eve,
        Kind::TurnIn,
        Kind::Duty,
        Kind::Introduction,
        Kind::Change,
        Kind::Cancelled,
    ];

    /// The folder of `message-templates/LANGUAGE/` that words it.
    pub fn folder(self) -> &'static str {
        match self {
            Kind::Rules => "rules",
            Kind::CallSheet => "call-sheet",
            Kind::Reminder => "reminder",
            Kind::Eve => "eve",
            Kind::TurnIn => "turn-in",
            Kind::Duty => "duty",
            Kind::Introduction => "introduction",
            Kind::Change => "change",
            Kind::Cancelled => "cancelled",
        }
    }

    /// The kind of that folder.
    pub fn from_folder(folder: &str) -> Option<Kind> {
        Kind::ALL.into_iter().find(|kind| kind.folder() == folder)
    }
}

/// One message to one guardian, or to one chaperone about her own duties.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Letter {
    /// What it is for.
    #[serde(serialize_with = "kind")]
    pub kind: Kind,
    /// The guardian's language, a BCP 47 tag in lower case.
    pub language: String,
    /// The season's language, used where the guardian's has no templates.
    pub season_language: String,
    /// Name of the school: who is asking.
    pub school: String,
    /// Name of the production.
    pub season: String,
    /// Telephone for questions, as it should be dialled.
    pub telephone: Option<String>,
    /// Each child the letter is about, once: the given name, or none where the season leaves names out.
    pub children: Vec<Option<String>>,
    /// House rules of the whole season; only [`Kind::Rules`] has them.
    pub rules: Vec<Rule>,
    /// One for each child (or the chaperone) and event, soonest first; empty for [`Kind::Rules`].
    pub items: Vec<Item>,
    /// Who looks after which child where; only [`Kind::Introduction`] has them.
    pub introductions: Vec<Introduction>,
    /// The guardian's own page, an absolute URL of about 50 characters; empty where families cannot open pages.
    pub link: String,
    /// Where messages are stopped, an absolute URL.
    pub stop_link: String,
    /// Whether an answer is still owed; the words ask for one only then.
    pub owes: bool,
    /// Whether a word sent back by text is understood.
    pub reply_by_text: bool,
    /// Whether a word sent back by mail is understood.
    pub reply_by_mail: bool,
    /// What an answer by mail must hold as proof that its sender had this letter.
    pub code: String,
    /// Whether this telephone is shared by two guardians of one household.
    pub one_phone: bool,
    /// Whether the household has a single child in the season, so that "your child" is plain.
    pub only_child: bool,
    /// Whether its reader is a chaperone, who is called by her own name where families read their child's.
    pub to_chaperone: bool,
    /// Whether it stands for notices that went before this guardian joined.
    pub catch_up: bool,
}

/// One child at one event.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Item {
    /// Given name; none where the season leaves names out.
    pub child: Option<String>,
    /// Name of the event as families know it.
    pub event: String,
    /// Local date.
    #[serde(serialize_with = "date")]
    pub date: Date,
    /// When the child must be at the door, local time.
    #[serde(serialize_with = "time")]
    pub call: Time,
    /// When the car must be parked, local time.
    #[serde(serialize_with = "maybe_time")]
    pub park_by: Option<Time>,
    /// Curtain up, or when it begins, local time.
    #[serde(serialize_with = "time")]
    pub starts: Time,
    /// Not before when the child is collected, local time.
    #[serde(serialize_with = "maybe_time")]
    pub collect_from: Option<Time>,
    /// Whether `collect_from` is after midnight, on the following day.
    pub collect_overnight: bool,
    /// Name of the place.
    pub place: String,
    /// The door children use.
    pub door: String,
    /// Ways in, with their walks.
    pub ways: Vec<Walk>,
    /// Where the child is collected; empty means the same door.
    pub collect_at: String,
    /// Costume, hair and make-up on arrival; may be empty.
    pub arrive_ready: String,
    /// What to bring; may be empty.
    pub bring: String,
    /// What to leave at home; may be empty.
    pub leave_home: String,
    /// Whether adults may watch.
    pub adults_watch: bool,
    /// Who signs the child in, as families may call her.
    pub chaperone: Option<String>,
    /// Costume pieces to hand in after this event; may be empty.
    pub turn_in: Vec<String>,
    /// House rules of this event.
    pub rules: Vec<Rule>,
    /// What differs from the facts published before.
    pub changes: Vec<Change>,
    /// Called off.
    pub cancelled: bool,
    /// Nobody leaves before the last number.
    pub no_early_release: bool,
    /// What a chaperone does there; none for a child.
    pub shift: Option<Shift>,
}

/// The chaperones of one child, at all events at which it has the same ones.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Introduction {
    /// Given name; none where the season leaves names out.
    pub child: Option<String>,
    /// Full names, who signs the child in first; at least one.
    pub chaperones: Vec<String>,
    /// Where, soonest first.
    pub events: Vec<Appearance>,
}

/// An event by its name and day.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Appearance {
    /// Name of the event.
    pub event: String,
    /// Local date.
    #[serde(serialize_with = "date")]
    pub date: Date,
}

/// A chaperone's part of an event, beside the times it has in common with a child's.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Shift {
    /// Her briefing, local time.
    #[serde(serialize_with = "maybe_time")]
    pub briefing: Option<Time>,
    /// When she stands at her place, local time.
    #[serde(serialize_with = "maybe_time")]
    pub station: Option<Time>,
    /// When the event is over, local time.
    #[serde(serialize_with = "maybe_time")]
    pub until: Option<Time>,
    /// Numbers whose children are hers.
    pub numbers: Vec<String>,
    /// Tasks in the workbook's words.
    pub tasks: Vec<String>,
    /// Numbers whose children she signs in.
    pub signs_in: Vec<String>,
    /// Numbers whose children she signs out.
    pub signs_out: Vec<String>,
    /// What she brings and wears; may be empty.
    pub kit: String,
}

/// A way in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Walk {
    /// Name of the car park or stop.
    pub name: String,
    /// Shortest walk, minutes.
    pub min: u32,
    /// Longest walk, minutes.
    pub max: u32,
}

/// A house rule in the reader's language.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Rule {
    /// Short name.
    pub name: String,
    /// The rule itself; may have several lines.
    pub text: String,
}

/// Which published fact has changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum What {
    /// The date.
    Date,
    /// The place.
    Place,
    /// The door.
    Door,
    /// The call.
    Call,
    /// When to be parked.
    ParkBy,
    /// Costume, hair and make-up on arrival.
    Ready,
    /// What to bring.
    Bring,
    /// What is handed in.
    TurnIn,
    /// Where or not before when to collect.
    Collect,
    /// A house rule.
    Rules,
    /// Whether it takes place: words in `old` and `new` are not shown.
    Cancelled,
    /// A chaperone's briefing.
    Briefing,
    /// When she stands at her place.
    Station,
    /// When her shift is over.
    Until,
    /// The numbers she looks after.
    Numbers,
    /// Her tasks.
    Task,
    /// The numbers she signs in.
    SignsIn,
    /// The numbers she signs out.
    SignsOut,
}

impl What {
    /// Every fact, in the order families need them.
    pub const ALL: [What; 18] = [
        What::Cancelled,
        What::Date,
        What::Place,
        What::Door,
        What::Call,
        What::ParkBy,
        What::Ready,
        What::Bring,
        What::TurnIn,
        What::Collect,
        What::Rules,
        What::Briefing,
        What::Station,
        What::Until,
        What::Numbers,
        What::Task,
        What::SignsIn,
        What::SignsOut,
    ];
}

/// One changed fact.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Change {
    /// Which.
    pub what: What,
    /// What was told before: a date as `2027-06-04`, a time as `17:00`, anything else in words; empty if nothing was.
    pub old: String,
    /// What is true now, in the same form; empty if it no longer applies.
    pub new: String,
}

fn kind<S: Serializer>(kind: &Kind, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(kind.folder())
}

pub(super) fn date<S: Serializer>(date: &Date, to: S) -> Result<S::Ok, S::Error> {
    to.collect_str(date)
}

pub(super) fn time<S: Serializer>(time: &Time, to: S) -> Result<S::Ok, S::Error> {
    to.collect_str(time)
}

fn maybe_time<S: Serializer>(time: &Option<Time>, to: S) -> Result<S::Ok, S::Error> {
    match time {
        Some(time) => to.collect_str(time),
        None => to.serialize_none(),
    }
}
