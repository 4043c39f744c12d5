//! What will leave: by day, message by message, and one message in its own words.

use askama::Template;

use super::{AsOf, CourseLine};

/// Messages of one day that say the same by one channel.
#[derive(Debug, Clone)]
pub struct PlanBurst {
    /// What they say, and by which channel.
    pub what: String,
    /// How many.
    pub messages: usize,
    /// When the first and the last leave.
    pub when: String,
    /// Segments of texts; empty for mail.
    pub segments: String,
    /// What they cost.
    pub cost: String,
    /// That some cannot leave in time, and what would help; empty if all can.
    pub late: String,
}

/// One day.
#[derive(Debug, Clone)]
pub struct PlanDay {
    /// The date in words.
    pub words: String,
    /// Address of its messages one by one.
    pub href: String,
    /// What leaves, in order.
    pub bursts: Vec<PlanBurst>,
}

/// What one channel comes to in one week.
#[derive(Debug, Clone)]
pub struct PlanTotal {
    /// The week in words.
    pub week: String,
    /// The channel.
    pub channel: &'static str,
    /// Messages.
    pub messages: usize,
    /// Segments of texts; empty for mail.
    pub segments: String,
    /// What they cost.
    pub cost: String,
}

/// One wording, and a message in each channel and language it leaves in.
#[derive(Debug, Clone)]
pub struct PlanWording {
    /// What it is called.
    pub name: String,
    /// Address of each message, and how it goes.
    pub links: Vec<(String, String)>,
}

/// What people do beside the messages.
#[derive(Debug, Clone)]
pub struct PlanStep {
    /// From which day on.
    pub when: String,
    /// What is done.
    pub what: &'static str,
    /// What it rests on.
    pub why: String,
    /// Address of the page it is done from; empty if there is none.
    pub href: &'static str,
    /// What that page is called.
    pub page: &'static str,
}

/// What notices rest on.
#[derive(Debug, Clone)]
pub struct PlanGround {
    /// Their names.
    pub notices: String,
    /// What they rest on, as the workbook says.
    pub why: String,
}

/// The deliberate step that sets a season going.
#[derive(Debug, Clone)]
pub struct StartForm {
    /// Revision of the workbook that was looked at.
    pub revision: i64,
    /// What will leave soon, to be agreed to.
    pub agreed: String,
}

/// The page at `/season/plan`.
#[derive(Debug, Template)]
#[template(path = "plan.html")]
pub struct PlanPage {
    /// Name of the school.
    pub school: String,
    /// Name of the production.
    pub season: String,
    /// When the page was put together.
    pub as_of: AsOf,
    /// What an act just did; none after a look.
    pub notice: Option<String>,
    /// How much is planned, in a sentence.
    pub heading: String,
    /// Whether messages leave.
    pub course: CourseLine,
    /// The form that sets it going; none once it was.
    pub start: Option<StartForm>,
    /// That tariffs are not known, and how to tell them; empty if they are.
    pub tariffs: String,
    /// By week and channel.
    pub totals: Vec<PlanTotal>,
    /// By day.
    pub days: Vec<PlanDay>,
    /// One message of each wording, by channel and language.
    pub specimens: Vec<PlanWording>,
    /// What people do beside the messages.
    pub steps: Vec<PlanStep>,
    /// Why these notices.
    pub grounds: Vec<PlanGround>,
}

/// One planned message.
#[derive(Debug, Clone)]
pub struct PlanLine {
    /// Full names of those it is for.
    pub to: String,
    /// What it says, and by which channel.
    pub matter: String,
    /// Address of its words.
    pub href: String,
    /// When it leaves, its segments and its cost.
    pub leaves: String,
    /// Why then.
    pub why: String,
}

/// The page at `/season/plan/DAY`.
#[derive(Debug, Template)]
#[template(path = "plan-day.html")]
pub struct PlanDayPage {
    /// Name of the school.
    pub school: String,
    /// Name of the production.
    pub season: String,
    /// When the page was put together.
    pub as_of: AsOf,
    /// The day and how many messages, in a sentence.
    pub heading: String,
    /// Messages in order of when they leave.
    pub lines: Vec<PlanLine>,
    /// What their notices rest on.
    pub grounds: Vec<PlanGround>,
    /// Address of the page with later ones; none if there are none.
    pub later: Option<String>,
}

/// The page at `/season/plan/KEY`: the words of one planned message, and a test of it to the coordinator.
#[derive(Debug, Template)]
#[template(path = "specimen.html")]
pub struct SpecimenPage {
    /// Name of the school.
    pub school: String,
    /// Name of the production.
    pub season: String,
    /// When the page was put together.
    pub as_of: AsOf,
    /// What an act just did; none after a look.
    pub notice: Option<String>,
    /// Who reads what, in a sentence.
    pub heading: String,
    /// When it leaves, and why then.
    pub why: String,
    /// What its notices rest on.
    pub grounds: Vec<PlanGround>,
    /// Subject of a mail; empty for a text.
    pub subject: String,
    /// Its words.
    pub words: String,
    /// Language tag of its words.
    pub language: String,
    /// Length of a text in segments, and what made it longer; empty for mail.
    pub length: String,
    /// Where a test goes, as far as its owner knows it by; none if the configuration names no address.
    pub test_to: Option<String>,
    /// Names the act of the form.
    pub once: String,
    /// What to set in the configuration where no test can be sent.
    pub test_missing: String,
}
