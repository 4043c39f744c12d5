//! When a child may be collected: a moment that exists only by the event's dismissal.
//!
//! Under the rule of no early release a [`Release`] can be made from the end of the event alone, so no page, message or
//! sheet can name an earlier one: there is no other way to come by it.
//!
//! ```compile_fail
//! use allheard::domain::release::Release;
//! // A time of one's own choosing is no release.
//! let early = Release(jiff::civil::datetime(2027, 3, 27, 19, 30, 0, 0));
//! ```

use super::season::Dismissal;
use jiff::civil::{DateTime, Time};

/// A child may be collected from then on, local time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Release(DateTime);

/// What a dismissal is counted from, local times.
#[derive(Debug, Clone, Copy)]
pub struct Ends {
    /// The end of the event; none if it is not known.
    pub event: Option<DateTime>,
    /// The end of the child's own last number; none without a running order.
    pub own: Option<DateTime>,
}

impl Release {
    /// The release under a dismissal; `fixed` places a fixed clock time on the day of the event.
    pub fn by(dismissal: Dismissal, ends: Ends, fixed: impl Fn(Time) -> DateTime) -> Option<Release> {
        match dismissal {
            Dismissal::AfterLastNumber => ends.event,
            Dismissal::AfterOwnLastNumber => ends.own.or(ends.event),
            Dismissal::At(time) => Some(fixed(time)),
        }
        .map(Release)
    }

    /// The moment.
    pub fn at(self) -> DateTime {
        self.0
    }
}
