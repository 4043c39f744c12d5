//! The workbook as plain rows of text: what every file format is read into, stored as, and written from.
//!
//! A cell holds the text a person would type: dates as `2027-06-04`, times as `17:00`, lengths as `2:05`,
//! yes and no as `yes` / `no`. Meaning is given to it in one place only, [`super::reading`].

use std::collections::BTreeMap;
use std::sync::Arc;

/// The first row below the header, as a spreadsheet numbers it.
pub const FIRST_ROW: u32 = 2;

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
    /// Sheets in layout order. Workbooks that differ in one sheet share the others.
    pub sheets: Vec<Arc<Sheet>>,
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
                self.sheets.push(Arc::new(Sheet { name: name.to_owned(), rows: Vec::new() }));
                self.sheets.len() - 1
            }
        };
        Arc::make_mut(&mut self.sheets[at])
    }

    /// Every sheet, to be changed.
    pub fn sheets_mut(&mut self) -> impl Iterator<Item = &mut Sheet> {
        self.sheets.iter_mut().map(Arc::make_mut)
    }

    /// Numbers the rows of every sheet as a spreadsheet shows them, below the header.
    pub fn number_rows(&mut self) {
        let numbered = |sheet: &Sheet| sheet.rows.iter().zip(FIRST_ROW..).all(|(row, at)| row.number == at);
        for sheet in self.sheets.iter_mut().filter(|sheet| !numbered(sheet)).map(Arc::make_mut) {
            for (row, number) in sheet.rows.iter_mut().zip(FIRST_ROW..) {
                row.number = number;
            }
        }
    }

    /// Takes from another workbook, in place of its own, every sheet that says the same in the same rows.
    pub fn share(&mut self, other: &Book) {
        for sheet in &mut self.sheets {
            if let Some(same) = other.sheets.iter().find(|one| *one == sheet) {
                *sheet = Arc::clone(same);
            }
        }
    }

    /// Whether a sheet of two workbooks is one and the same, which is known at once.
    pub fn shares(&self, other: &Book, sheet: &str) -> bool {
        let of = |book: &Book| book.sheets.iter().find(|one| one.name == sheet).map(Arc::as_ptr);
        of(self) == of(other)
    }

    /// Whether a sheet of two workbooks says the same, line by line, wherever its lines stand.
    pub fn agrees(&self, other: &Book, sheet: &str) -> bool {
        let (own, theirs) = (self.rows(sheet), other.rows(sheet));
        let alike = |(one, other): (&Row, &Row)| one.cells == other.cells;
        self.shares(other, sheet) || own.len() == theirs.len() && own.iter().zip(theirs).all(alike)
    }
}

/// What [`Cell::Fault`] holds where a formula was saved without its value.
pub const UNSAVED: &str = "a formula without its value";
/// What [`Cell::Fault`] holds where cells are merged and another one holds their value.
pub const MERGED: &str = "merged with another cell";

/// How much a problem weighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Weight {
    /// Nothing is loaded until it is mended.
    Error,
    /// Loaded all the same; somebody may be told nothing, or something wrong, until a person has looked.
    Warning,
    /// Loaded all the same; worth a look, and may well be meant.
    Hint,
}

impl Weight {
    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Weight::Error => "error",
            Weight::Warning => "warning",
            Weight::Hint => "hint",
        }
    }
}

/// One thing wrong with a workbook, told so that a volunteer can mend it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// How much it weighs.
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
