//! One cell of a table. Most of them say what many others say, so the text is shared where it can be.

use std::borrow::Borrow;
use std::fmt;
use std::ops::Deref;
use std::sync::Arc;

/// The text of a cell.
#[derive(Debug, Clone)]
pub enum Cell {
    /// A word of the sheet's own.
    Word(&'static str),
    /// A name or a time that stands in other cells too.
    Shared(Arc<str>),
    /// Anything else.
    Own(String),
    /// A name that is struck through and still legible: of somebody who is not coming.
    Struck(Arc<str>),
}

impl Cell {
    /// Whether it is struck through.
    pub fn is_struck(&self) -> bool {
        matches!(self, Cell::Struck(_))
    }
}

impl Deref for Cell {
    type Target = str;

    fn deref(&self) -> &str {
        match self {
            Cell::Word(text) => text,
            Cell::Shared(text) | Cell::Struck(text) => text,
            Cell::Own(text) => text,
        }
    }
}

impl Borrow<str> for Cell {
    fn borrow(&self) -> &str {
        self
    }
}

impl fmt::Display for Cell {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self)
    }
}

impl PartialEq for Cell {
    fn eq(&self, other: &Cell) -> bool {
        **self == **other
    }
}

impl Eq for Cell {}

impl PartialEq<&str> for Cell {
    fn eq(&self, other: &&str) -> bool {
        **self == **other
    }
}

impl PartialOrd for Cell {
    fn partial_cmp(&self, other: &Cell) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Cell {
    fn cmp(&self, other: &Cell) -> std::cmp::Ordering {
        (**self).cmp(&**other)
    }
}

impl From<&'static str> for Cell {
    fn from(word: &'static str) -> Cell {
        Cell::Word(word)
    }
}

impl From<String> for Cell {
    fn from(text: String) -> Cell {
        Cell::Own(text)
    }
}

impl From<&Arc<str>> for Cell {
    fn from(text: &Arc<str>) -> Cell {
        Cell::Shared(Arc::clone(text))
    }
}
