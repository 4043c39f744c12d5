//! The season's figures and choices, as the sheet `season` sets them.

use super::EventKind;
use crate::domain::cron_rule::CronRule;
use crate::domain::published::{hours, ratios};
use jiff::civil::Time;

/// Whose acknowledgement settles a child.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SettledBy {
    /// Any one guardian.
    AnyGuardian,
    /// One guardian of each household.
    EachHousehold,
    /// A guardian who brings and a guardian who collects.
    BringsAndCollects,
}

/// Who signs a child out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SignedOutBy {
    /// Whoever has the child's last number.
    LastChaperone,
    /// Whoever has the child's first number: the child is taken back to her.
    FirstChaperone,
}

/// What the calls before curtain up are called.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CallNames {
    /// The half (35 minutes before curtain up), the quarter, the five, beginners.
    British,
    /// Half hour (30 minutes), fifteen, five, places.
    NorthAmerican,
}

/// A published table that the season is held against, and who decided so.
#[derive(Debug, Clone, PartialEq)]
pub struct Declared<T: 'static> {
    /// The table.
    pub table: &'static T,
    /// Who set it and when, as written in the workbook.
    pub set_by: String,
}

/// The season's figures. Defaults are common practice without a source unless said otherwise.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// First permitted local time of the day for messages.
    pub quiet_until: Time,
    /// From this local time on messages wait.
    pub quiet_from: Time,
    /// Notices for one family due within so many minutes go as one message.
    pub merge_minutes: u32,
    /// Messages a guardian gets on one day at most, changes apart (a planning figure of ours); 0 for no limit.
    pub messages_a_day: u32,
    /// Signatures are asked for at the class door from so many days before the first show on.
    pub class_door_days: u32,
    /// Families who have not answered are rung from so many days before an event on.
    pub calls_days: u32,
    /// Chaperones come so many minutes before the children, by kind of event.
    pub lead_minutes: Leads,
    /// Their briefing is so many minutes before the children's call; none where they come later than that.
    pub briefing_minutes: u32,
    /// They stand at their places so many minutes before the children's call; none where they come later than that.
    pub station_minutes: u32,
    /// What chaperones bring and wear; may be empty.
    pub kit: String,
    /// When each chaperone is sent her list; none for never.
    pub chaperone_digest: Option<CronRule>,
    /// When the coordinator is sent the whole; none for never.
    pub coordinator_digest: Option<CronRule>,
    /// A gap of fewer numbers than this between two of a child's numbers is a quick change.
    pub quick_change_numbers: u32,
    /// Whose answer settles a child.
    pub settled_by: SettledBy,
    /// Who signs a child out.
    pub signed_out_by: SignedOutBy,
    /// Whether messages carry a child's given name.
    pub given_names: bool,
    /// Walking speed for distances, feet per second (MUTCD 2009 s4E.06 para 14: 3.0).
    pub walk_feet_per_second: f64,
    /// Children to one adult at most.
    pub children_per_adult: u32,
    /// The table of ratios that rooms are held against too; none by default.
    pub ratios: Option<Declared<ratios::RatioTable>>,
    /// The limits of hours that children's days are held against; none by default.
    pub hours: Option<Declared<hours::HoursTable>>,
    /// A number is called to get ready when the number so many places before it starts.
    pub ready_numbers: u32,
    /// Seconds that a child walks off the stage and on again between two numbers.
    pub walks_seconds: u32,
    /// The shortest change that is planned, seconds without the walks.
    pub change_seconds: u32,
    /// Seconds that signing one child out takes.
    pub door_seconds: u32,
    /// Tables at which children are signed out.
    pub door_tables: u32,
    /// What the calls before curtain up are called.
    pub call_names: CallNames,
}

/// Minutes that chaperones come before the children, by kind of event.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Leads {
    /// At class visits.
    pub class: u32,
    /// At rehearsals in the studio.
    pub rehearsal: u32,
    /// At photographs.
    pub photographs: u32,
    /// At the dress rehearsal.
    pub dress: u32,
    /// At shows.
    pub show: u32,
}

impl Leads {
    /// The lead at an event of a kind.
    pub fn at(&self, kind: EventKind) -> u32 {
        match kind {
            EventKind::Class => self.class,
            EventKind::Rehearsal => self.rehearsal,
            EventKind::Photographs => self.photographs,
            EventKind::Dress => self.dress,
            EventKind::Show => self.show,
        }
    }
}

/// The person whom staff fetch when somebody unknown collects, or something is on file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lead {
    /// Full name.
    pub name: String,
    /// Where to ring; may be empty.
    pub telephone: String,
}
