//! The season's workbook as files: `.xlsx`, `.ods`, or a folder of `.csv`.
//!
//! Files are read into [`Book`], all or nothing is decided by the domain's reading, and what is written is read back
//! the same. Everything a hostile or broken file can do is bounded here, before any parser sees it.

mod blank;
mod container;
mod folder;
mod guard;
mod header;
mod ods;
mod sheets;
mod spreadsheet;
mod write;

pub use blank::blank;
pub use guard::{csv_field, guarded, unguarded};
pub use write::{WriteError, to_xlsx, write};

use crate::domain::book::{Book, Problem, Weight};
use crate::domain::reading;
use crate::domain::season::Season;
use std::io::Read;
use std::path::Path;

/// Octets of a workbook file at most, packed: 16 MiB; a season of 350 children takes about 0.1 MiB.
pub const FILE_MAX_OCTETS: u64 = 16 * 1024 * 1024;
/// Octets of all parts of a workbook file at most, unpacked: 64 MiB.
pub const UNPACKED_MAX_OCTETS: u64 = 64 * 1024 * 1024;
/// Parts inside a workbook file at most.
pub const PARTS_MAX: usize = 2_000;
/// Lines of one sheet at most: thirty times the largest season this is made for; more is told as an error.
pub const ROWS_MAX: u32 = 10_000;
/// Columns of one sheet looked at, at most.
pub const COLUMNS_MAX: u32 = 256;
/// Cells with something in them over all sheets at most.
pub const CELLS_MAX: usize = 1_000_000;
/// Octets of text over all sheets at most: 32 MiB.
pub const TEXT_MAX_OCTETS: usize = 32 * 1024 * 1024;

/// A problem of the whole file, which stops the reading.
fn whole(reason: impl Into<String>, cure: &str) -> Problem {
    Problem {
        weight: Weight::Error,
        sheet: String::new(),
        row: None,
        column: None,
        reason: reason.into(),
        cure: cure.to_owned(),
    }
}

/// Reads a workbook file or a folder of `.csv`. `Err` when nothing of it can be used; otherwise what was found, with
/// every problem of its sheets and columns. A book that came with an error must not be taken in.
pub fn read(path: &Path) -> Result<(Book, Vec<Problem>), Problem> {
    let about = std::fs::metadata(path).map_err(|fault| {
        whole(format!("the file cannot be opened: {fault}"), "Check the name and whether you may read it.")
    })?;
    if about.is_dir() {
        return folder::read(path);
    }
    let file = std::fs::File::open(path).map_err(|fault| {
        whole(format!("the file cannot be opened: {fault}"), "Check the name and whether you may read it.")
    })?;
    let mut octets = Vec::new();
    file.take(FILE_MAX_OCTETS + 1).read_to_end(&mut octets).map_err(|fault| {
        whole(format!("the file cannot be read: {fault}"), "Copy the file to this machine and try again.")
    })?;
    read_octets(&octets)
}

/// As [`read`], for a file already in memory, such as one handed in through a page.
pub fn read_octets(octets: &[u8]) -> Result<(Book, Vec<Problem>), Problem> {
    if octets.len() as u64 > FILE_MAX_OCTETS {
        return Err(whole(
            format!("the file is larger than {} MiB", FILE_MAX_OCTETS / 1024 / 1024),
            "Take pictures and unused sheets out of it.",
        ));
    }
    let kind = container::look(octets)?;
    spreadsheet::read(octets, kind)
}

/// A workbook read and judged.
#[derive(Debug)]
pub struct Checked {
    /// What the file holds.
    pub book: Book,
    /// The season, when no problem is an error.
    pub season: Option<Season>,
    /// Every problem.
    pub problems: Vec<Problem>,
}

impl Checked {
    /// Whether anything forbids taking the workbook in.
    pub fn has_errors(&self) -> bool {
        self.problems.iter().any(|p| p.weight == Weight::Error)
    }
}

/// Reads a workbook and judges it whole: every problem of the file and of what it says.
pub fn check(path: &Path) -> Checked {
    match read(path) {
        Ok((book, problems)) => judged(book, problems),
        Err(problem) => Checked { book: Book::default(), season: None, problems: vec![problem] },
    }
}

fn judged(book: Book, of_file: Vec<Problem>) -> Checked {
    let (season, of_season) = reading::season(&book);
    let problems = reading::causes::told(&book, of_file, of_season);
    let season = if problems.iter().any(|p| p.weight == Weight::Error) { None } else { season };
    Checked { book, season, problems }
}
