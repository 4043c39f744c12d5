//! The workbook as plain rows of text: what every file format is read into, stored as, and written from.
//!
//! A cell holds the text a person would type: dates as `2027-06-04`, times as `17:00`, lengths as `2:05`,
//! yes and no as `yes` / `no`. Meaning is given to it in one place only, [`super::reading`].

use std::collections::BTreeMap;

/// The number of the workbook layout this program writes and reads (setting `version` of the sheet `season`).
pub const LAYOUT_VERSION: u32 = 1;

/// One cell as found in the file.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Cell {
    /// Text, trimmed and in Unicode normal form C.
    Text(String),
    /// A cell that holds an error value such as `#REF!`.
    Fault(String),
}

/// One row below the header.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Row {
    /// Row number as the spreadsheet shows it (the header is row 1); for messages only, never for identity.
    pub number: u32,
    /// Cells by column name in lower case; empty cells are absent.
    pub cells: BTreeMap<String, Cell>,
}

impl Row {
    /// The text of a cell; an absent or faulty cell reads as empty.
    pub fn text(&self, column: &str) -> &str {
        match self.cells.get(column) {
            Some(Cell::Text(text)) => text,
            _ => "",
        }
    }

    /// Sets a cell; empty text removes it.
    pub fn set(&mut self, column: &str, text: impl Into<String>) {
        let text = text.into();
        if text.is_empty() {
            self.cells.remove(column);
        } else {
            self.cells.insert(column.to_owned(), Cell::Text(text));
        }
    }
}

/// One sheet of the workbook.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Sheet {
    /// Name in lower case, one of [`super::layout`].
    pub name: String,
    /// Rows in file order.
    pub rows: Vec<Row>,
}

/// A whole workbook.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Book {
    /// Sheets in layout order.
    pub sheets: Vec<Sheet>,
}

impl Book {
    /// The rows of a sheet; a missing sheet has none.
    pub fn rows(&self, sheet: &str) -> &[Row] {
        self.sheets.iter().find(|s| s.name == sheet).map_or(&[], |s| &s.rows)
    }

    /// The sheet of that name, made empty at the end if it was missing.
    pub fn sheet_mut(&mut self, name: &str) -> &mut Sheet {
        let at = match self.sheets.iter().position(|s| s.name == name) {
            Some(at) => at,
            None => {
                self.sheets.push(Sheet { name: name.to_owned(), rows: Vec::new() });
                self.sheets.len() - 1
            }
        };
        &mut self.sheets[at]
    }
}

/// How much a problem weighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Weight {
    /// Nothing is loaded until it is mended.
    Error,
    /// Loaded all the same; a person should look.
    Warning,
}

/// One thing wrong with a workbook, told so that a volunteer can mend it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// Error or warning.
    pub weight: Weight,
    /// Sheet name; empty when the whole file is meant.
    pub sheet: String,
    /// Row as the spreadsheet numbers it, where one row is meant.
    pub row: Option<u32>,
    /// Column name, where one cell is meant.
    pub column: Option<String>,
    /// What is wrong and why it matters, one sentence.
    pub reason: String,
    /// What to do next, one sentence.
    pub cure: String,
}
