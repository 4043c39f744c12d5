//! Whether the season is going, on the coordinator's pages.

/// What the coordinator reads of it, and what she may do about it.
#[derive(Debug, Clone)]
pub struct CourseLine {
    /// Whether planned messages leave.
    pub going: bool,
    /// In a sentence or two.
    pub words: String,
    /// The act of the button and its label; none before the season was first set going.
    pub act: Option<(&'static str, &'static str)>,
}
