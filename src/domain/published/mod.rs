//! Published planning figures and findings, each with whose it is and how far this program can vouch for it.
//!
//! They are advice and certify nothing: laws change, differ by place, by paid and unpaid work and by licence, and are cited
//! here from copies of various ages. The school and the local licensing body decide.

pub mod hours;
pub mod ratios;
pub mod reminders;

/// How a figure came to stand here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// Its text, or a public summary of it, was read for this program.
    Seen,
    /// Recalled and not read again: to be looked up before anybody relies on it.
    Recalled,
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
    /// The source in words, with a warning where the figure is only recalled.
    pub fn words(&self) -> String {
        let year = self.year.map_or(String::new(), |year| format!(", {year}"));
        let mark = if self.mark == Mark::Recalled { " (recalled, look it up)" } else { "" };
        format!("{}, {}{year}{mark}", self.body, self.document)
    }
}
