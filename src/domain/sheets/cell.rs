//! One cell of a table. Most of them say what many others say, so the text is shared where it can be.

use std::borrow::Borrow;
use std::fmt;
use std::ops::Deref;
use std::sync::Arc;

/// The text of a cell.
#[derive(Debug, Clone)]
pub enum PaperCell {
    /// A word of the sheet's own.
    Word(&'static str),
    /// A name or a time that stands in other cells too.
    Shared(Arc<str>),
    /// Anything else.
    Own(String),
    /// A name that is struck through and still legible: of somebody who is not coming.
    Struck(Arc<str>),
}

impl PaperCell {
    /// Whether it is struck through.
    pub fn is_struck(&self) -> bool {
        matches!(self, PaperCell::Struck(_))
    }
}

impl Deref for PaperCell {
    type Target = str;

    fn deref(&self) -> &str {
        match self {
            PaperCell::Word(text) => text,
            PaperCell::Shared(text) | PaperCell::Struck(text) => text,
            PaperCell::Own(text) => text,
        }
    }
}

impl Borrow<str> for PaperCell {
    fn borrow(&self) -> &str {
        self
    }
}

impl fmt::Display for PaperCell {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self)
    }
}

impl PartialEq for PaperCell {
    fn eq(&self, other: &PaperCell) -> bool {
        **self == **other
    }
}

impl Eq for PaperCell {}

impl PartialEq<&str> for PaperCell {
    fn eq(&self, other: &&str) -> bool {
        **self == **other
    }
}

impl PartialOrd for PaperCell {
    fn partial_cmp(&self, other: &PaperCell) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for PaperCell {
    fn cmp(&self, other: &PaperCell) -> std::cmp::Ordering {
        (**self).cmp(&**other)
    }
}

impl From<&'static str> for PaperCell {
    fn from(word: &'static str) -> PaperCell {
        PaperCell::Word(word)
    }
}

impl From<String> for PaperCell {
    fn from(text: String) -> PaperCell {
        PaperCell::Own(text)
    }
}

impl From<&Arc<str>> for PaperCell {
    fn from(text: &Arc<str>) -> PaperCell {
        PaperCell::Shared(Arc::clone(text))
    }
}
