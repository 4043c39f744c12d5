//! What one message has to say, before it is put into words of any language.
//!
//! A letter is plain data: [`super::wording`] turns it into a text message or a mail. It holds given
//! names at most, and never a room, a medical or custody word, or anything of another family.

use jiff::civil::{Date, Time};
use serde::{Serialize, Serializer};

/// What a letter is for; each kind has a folder of templates in every language.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum LetterKind {
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

impl LetterKind {
    /// Every kind, in the order a season meets them.
    pub const ALL: [LetterKind; 9] = [
        LetterKind::Rules,
        LetterKind::CallSheet,
        LetterKind::Reminder,
        LetterKind::Eve,
        LetterKind::TurnIn,
        LetterKind::Duty,
        LetterKind::Introduction,
        LetterKind::Change,
        LetterKind::Cancelled,
    ];

    /// The folder of `message-templates/LANGUAGE/` that words it.
    pub fn folder(self) -> &'static str {
        match self {
            LetterKind::Rules => "rules",
            LetterKind::CallSheet => "call-sheet",
            LetterKind::Reminder => "reminder",
            LetterKind::Eve => "eve",
            LetterKind::TurnIn => "turn-in",
            LetterKind::Duty => "duty",
            LetterKind::Introduction => "introduction",
            LetterKind::Change => "change",
            LetterKind::Cancelled => "cancelled",
        }
    }

    /// The kind of that folder.
    pub fn from_folder(folder: &str) -> Option<LetterKind> {
        LetterKind::ALL.into_iter().find(|kind| kind.folder() == folder)
    }
}

/// One message to one guardian, or to one chaperone about her own duties.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Letter {
    /// What it is for.
    #[serde(serialize_with = "kind")]
    pub kind: LetterKind,
    /// The guardian's language, a BCP 47 tag in lower case.
    pub language: String,
    /// The season's language, used where the guardian's has no templates.
    pub season_language: String,
    /// What every text begins with, so that it is plain who writes.
    pub short: String,
    /// Name of the school: who is asking.
    pub school: String,
    /// Name of the production.
    pub season: String,
    /// Telephone for questions, as it should be dialled.
    pub telephone: Option<String>,
    /// Each child the letter is about, once: the given name, or none where the season leaves names out.
    pub children: Vec<Option<String>>,
    /// House rules of the whole season; only [`LetterKind::Rules`] has them.
    pub rules: Vec<ToldRule>,
    /// One for each child (or the chaperone) and event, soonest first. For [`LetterKind::Rules`] the dates of the season that are
    /// told with the rules, when they are first told.
    pub items: Vec<LetterItem>,
    /// What all of several items have in common, said once; their own are then empty.
    pub shared: Option<Shared>,
    /// Who looks after which child where; only [`LetterKind::Introduction`] has them.
    pub introductions: Vec<Introduction>,
    /// The guardian's own page, an absolute URL of about 50 characters; empty where families cannot open pages.
    pub link: String,
    /// Where messages are stopped, an absolute URL.
    pub stop_link: String,
    /// Whether an answer is still owed; the words ask for one only then.
    pub owes: bool,
    /// Whether no text has gone to this number before: the first says how to stop.
    pub first_text: bool,
    /// Whether times are said with am and pm, as the season's country does.
    pub twelve: bool,
    /// The season's country, an ISO 3166 code, for the form of days.
    pub country: String,
    /// Whether a word sent back by text is understood.
    pub reply_by_text: bool,
    /// Whether a word sent back by mail is understood.
    pub reply_by_mail: bool,
    /// What an answer by mail must hold as proof that its sender had this letter.
    pub code: String,
    /// Whether this telephone is shared by two guardians of one household.
    pub one_phone: bool,
    /// Whether its reader is a chaperone, who is called by her own name where families read their child's.
    pub to_chaperone: bool,
    /// Whether it stands for notices that went before this guardian joined.
    pub catch_up: bool,
    /// Whether its events take place without those it is about; only [`LetterKind::Cancelled`] may say so.
    pub not_needed: bool,
}

/// One child at one event.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LetterItem {
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
    /// Curtain up, or when it begins, local time; none for who is called only after that.
    #[serde(serialize_with = "maybe_time")]
    pub begins: Option<Time>,
    /// Not before when the child is collected, local time.
    #[serde(serialize_with = "maybe_time")]
    pub collect_from: Option<Time>,
    /// Whether `collect_from` is after midnight, on the following day.
    pub collect_overnight: bool,
    /// Whether the car must be parked on the day before.
    pub park_by_day_before: bool,
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
    /// Whether adults may watch; none where the workbook does not say.
    pub adults_watch: Option<bool>,
    /// Who signs the child in.
    pub signs_in: Option<String>,
    /// Who signs the child out.
    pub signs_out: Option<String>,
    /// Adults of the reader's own household who may collect the child.
    pub collectors: Vec<String>,
    /// Costumes to hand in after this event; may be empty.
    pub turn_in: Vec<Costume>,
    /// House rules of this event, to be acknowledged or not.
    pub rules: Vec<ToldRule>,
    /// What differs from the facts published before.
    pub changes: Vec<ToldChange>,
    /// Called off.
    pub cancelled: bool,
    /// Nobody leaves before the last number.
    pub no_early_release: bool,
    /// What a chaperone does there; none for a child.
    pub shift: Option<LetterShift>,
}

impl LetterItem {
    /// Whether a text would say the same of another child: all but whose day it is and who signs.
    pub fn says_the_same_as(&self, other: &LetterItem) -> bool {
        let whose = LetterItem {
            child: other.child.clone(),
            signs_in: other.signs_in.clone(),
            signs_out: other.signs_out.clone(),
            collectors: other.collectors.clone(),
            turn_in: other.turn_in.clone(),
            ..self.clone()
        };
        whose == *other
    }
}

/// A costume to hand in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Costume {
    /// The number it is for.
    pub number: String,
    /// Its pieces; may be empty.
    pub pieces: Vec<String>,
}

/// What several items have in common; what they have not is empty.
#[derive(Debug, Default, Clone, PartialEq, Eq, Serialize)]
pub struct Shared {
    /// Ways in.
    pub ways: Vec<Walk>,
    /// Costume, hair and make-up on arrival.
    pub arrive_ready: String,
    /// What to bring.
    pub bring: String,
    /// What to leave at home.
    pub leave_home: String,
    /// Whether adults may watch.
    pub adults_watch: Option<bool>,
    /// Adults of the reader's own household who may collect.
    pub collectors: Vec<String>,
    /// House rules.
    pub rules: Vec<ToldRule>,
    /// Nobody leaves before the last number.
    pub no_early_release: bool,
    /// What a chaperone brings and wears.
    pub kit: String,
    /// A chaperone's tasks.
    pub tasks: Vec<String>,
}

impl Shared {
    /// Takes out of several items what is the same in all of them; nothing where there is one item only.
    pub fn taken_from(items: &mut [LetterItem]) -> Option<Shared> {
        let first = items.first().filter(|_| items.len() > 1)?.clone();
        let shift = first.shift.as_ref();
        let mut shared = Shared {
            ways: first.ways,
            arrive_ready: first.arrive_ready,
            bring: first.bring,
            leave_home: first.leave_home,
            adults_watch: first.adults_watch,
            collectors: first.collectors,
            rules: first.rules,
            no_early_release: first.no_early_release,
            kit: shift.map(|shift| shift.kit.clone()).unwrap_or_default(),
            tasks: shift.map(|shift| shift.tasks.clone()).unwrap_or_default(),
        };
        for item in items.iter().filter(|item| !item.cancelled) {
            keep_same(&mut shared.ways, &item.ways);
            keep_same(&mut shared.arrive_ready, &item.arrive_ready);
            keep_same(&mut shared.bring, &item.bring);
            keep_same(&mut shared.leave_home, &item.leave_home);
            keep_same(&mut shared.adults_watch, &item.adults_watch);
            keep_same(&mut shared.collectors, &item.collectors);
            keep_same(&mut shared.rules, &item.rules);
            keep_same(&mut shared.no_early_release, &item.no_early_release);
            let (kit, tasks) = item.shift.as_ref().map(|shift| (&shift.kit, &shift.tasks)).unzip();
            keep_same(&mut shared.kit, kit.unwrap_or(&String::new()));
            keep_same(&mut shared.tasks, tasks.unwrap_or(&Vec::new()));
        }
        for item in items.iter_mut() {
            clear_if(&mut item.ways, &shared.ways);
            clear_if(&mut item.arrive_ready, &shared.arrive_ready);
            clear_if(&mut item.bring, &shared.bring);
            clear_if(&mut item.leave_home, &shared.leave_home);
            clear_if(&mut item.adults_watch, &shared.adults_watch);
            clear_if(&mut item.collectors, &shared.collectors);
            clear_if(&mut item.rules, &shared.rules);
            clear_if(&mut item.no_early_release, &shared.no_early_release);
            if let Some(shift) = &mut item.shift {
                clear_if(&mut shift.kit, &shared.kit);
                clear_if(&mut shift.tasks, &shared.tasks);
            }
        }
        let nothing = Shared::default();
        (shared != nothing).then_some(shared)
    }
}

fn keep_same<T: Default + PartialEq>(value: &mut T, other: &T) {
    if value != other {
        *value = T::default();
    }
}

fn clear_if<T: Default + PartialEq>(value: &mut T, said: &T) {
    if value == said {
        *value = T::default();
    }
}

/// The chaperones of one child, at all events at which it has the same ones.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Introduction {
    /// Who signs the child in; none where that is not known.
    pub signs_in: Option<String>,
    /// Who signs the child out.
    pub signs_out: Option<String>,
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
pub struct LetterShift {
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
pub struct ToldRule {
    /// Short name.
    pub name: String,
    /// The rule itself; may have several lines.
    pub text: String,
    /// Whether it is to be acknowledged.
    pub acknowledge: bool,
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
pub struct ToldChange {
    /// Which.
    pub what: What,
    /// What was told before: a date as `2027-06-04`, a time as `17:00`, anything else in words; empty if nothing was.
    pub old: String,
    /// What is true now, in the same form; empty if it no longer applies.
    pub new: String,
}

fn kind<S: Serializer>(kind: &LetterKind, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(kind.folder())
}

pub(super) fn date<S: Serializer>(date: &Date, to: S) -> Result<S::Ok, S::Error> {
    to.collect_str(date)
}

pub(super) fn time<S: Serializer>(time: &Time, to: S) -> Result<S::Ok, S::Error> {
    to.collect_str(time)
}

pub(super) fn maybe_time<S: Serializer>(time: &Option<Time>, to: S) -> Result<S::Ok, S::Error> {
    match time {
        Some(time) => to.collect_str(time),
        None => to.serialize_none(),
    }
}
