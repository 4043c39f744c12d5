//! Published planning figures and findings, each with whose it is and how far this program can vouch for it.
//!
//! They are advice and certify nothing: laws change, differ by place, by paid and unpaid work and by licence, and are cited
//! here from copies of various ages. The school and the local licensing body decide.

pub mod clocks;
pub mod hours;
pub mod ratios;
pub mod reminders;

/// How a figure came to stand here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// Its text was read for this program.
    Seen,
    /// Somebody else's summary of it was read.
    SecondHand,
}

/// Where a figure or finding is published.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Source {
    /// Who published it.
    pub body: &'static str,
    /// In what, and by way of which summary.
    pub document: &'static str,
    /// Year of the text; none where it bears none.
    pub year: Option<u16>,
    /// How it came to stand here.
    pub mark: Mark,
}

impl Source {
    /// The source in words, which say so where only a summary was read.
    pub fn words(&self) -> String {
        let year = self.year.map_or(String::new(), |year| format!(", {year}"));
        let mark = if self.mark == Mark::SecondHand { " (second-hand)" } else { "" };
        format!("{}, {}{year}{mark}", self.body, self.document)
    }
}
