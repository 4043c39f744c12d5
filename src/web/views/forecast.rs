//! How many will have been heard from by an event's call.

use askama::Template;
use jiff::civil::Date;

use super::AsOf;
use crate::web::chart::{Ahead, Counts, Drawing, Fan, draw, fan};
use crate::web::labels::ENGLISH;

/// Heard from by an instant, of so many.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ForetoldRow {
    /// All of them.
    pub all: u32,
    /// Heard from now.
    pub heard: u32,
    /// The low end of the range.
    pub low: u32,
    /// As likely more as fewer.
    pub middle: u32,
    /// The high end.
    pub high: u32,
}

impl ForetoldRow {
    /// Those heard from, in words.
    pub fn heard_words(&self) -> String {
        span(self.low, self.high)
    }

    /// Those left to ring, in words.
    pub fn left_words(&self) -> String {
        span(self.all - self.high, self.all - self.low)
    }
}

/// From one number to another, in words.
fn span(low: u32, high: u32) -> String {
    if low == high { low.to_string() } else { format!("{low} to {high}") }
}

/// A chaperone and the guardians of her children.
#[derive(Debug, Clone)]
pub struct ForecastRow {
    /// Her name, or words for nobody.
    pub name: String,
    /// Her guardians.
    pub foretold: ForetoldRow,
}

/// One instant looked ahead to.
#[derive(Debug, Clone)]
pub struct ForecastDay {
    /// When.
    pub at: AsOf,
    /// Heard from by then.
    pub foretold: ForetoldRow,
}

/// The line so far and what is to come.
#[derive(Debug, Clone)]
pub struct ForecastPicture {
    /// The line so far.
    pub counts: Counts,
    /// What is to come.
    pub ahead: Vec<Ahead>,
    /// Local date of the first count.
    pub from: Date,
}

impl ForecastPicture {
    /// Both drawings; none if there is nothing to draw.
    pub fn drawings(&self) -> Option<(Drawing, Fan)> {
        draw(&self.counts).zip(fan(&self.counts, &self.ahead))
    }

    /// The first day in words.
    pub fn from_words(&self) -> String {
        ENGLISH.day(&self.from)
    }
}

/// The page at `/season/EVENT/forecast`.
#[derive(Debug, Template)]
#[template(path = "forecast.html")]
pub struct ForecastPage {
    /// Name of the school.
    pub school: String,
    /// Name of the production.
    pub season: String,
    /// When the page was put together.
    pub as_of: AsOf,
    /// Name of the event.
    pub event: String,
    /// Address of the event's page.
    pub href: String,
    /// The earliest call.
    pub deadline: AsOf,
    /// Whether it has passed.
    pub past: bool,
    /// All guardians of the event.
    pub foretold: ForetoldRow,
    /// The line and the band; none before anybody was asked.
    pub picture: Option<ForecastPicture>,
    /// Instants on the way to the call.
    pub days: Vec<ForecastDay>,
    /// Each chaperone's part.
    pub rows: Vec<ForecastRow>,
    /// What was learnt from, what it says, what was assumed: a sentence or two each.
    pub basis: Vec<String>,
}

impl ForecastPage {
    /// The call in words.
    pub fn deadline_words(&self) -> String {
        format!("{}, {}", self.deadline.english_day(), self.deadline.clock())
    }

    /// The whole in a sentence.
    pub fn heading(&self) -> String {
        let ForetoldRow { all, low, high, .. } = self.foretold;
        if self.past {
            return format!("The call has passed: {} of {all} heard from", self.foretold.heard);
        }
        let by = self.deadline_words();
        if low == high {
            return format!("Most likely {low} of {all} heard from by {by}");
        }
        format!("Between {low} and {high} of {all} heard from by {by}")
    }

    /// What that leaves, in a sentence.
    pub fn left(&self) -> String {
        let ForetoldRow { all, heard, low, high, .. } = self.foretold;
        let (fewest, most) = (all - high, all - low);
        let guardians = if most == 1 { "guardian" } else { "guardians" };
        if most == 0 {
            return "That leaves nobody to ring.".to_owned();
        }
        if self.past {
            return format!("{most} {guardians} not heard from.");
        }
        let now = match heard {
            0 => "Nobody has".to_owned(),
            1 => "One has".to_owned(),
            more => format!("{more} have"),
        };
        let left = span(fewest, most);
        let likely = all - self.foretold.middle;
        format!("{now} been heard from so far. That leaves {left} {guardians} to ring, most likely {likely}.")
    }

    /// The picture in a sentence.
    pub fn alt(&self) -> String {
        format!(
            "Guardians heard from over time: {} of {} now; {} by {}.",
            self.foretold.heard,
            self.foretold.all,
            self.foretold.heard_words(),
            self.deadline_words()
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_range_says_what_it_leaves() {
        let foretold = ForetoldRow { all: 260, heard: 190, low: 231, middle: 240, high: 248 };
        assert_eq!(
            (foretold.heard_words().as_str(), foretold.left_words().as_str()),
            ("231 to 248", "12 to 29")
        );
        let sure = ForetoldRow { all: 5, heard: 4, low: 5, middle: 5, high: 5 };
        assert_eq!((sure.heard_words().as_str(), sure.left_words().as_str()), ("5", "0"));
    }
}
