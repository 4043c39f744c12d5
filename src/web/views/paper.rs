//! A sheet of the day on paper: complete in itself, so that it can be kept as a file and printed anywhere.

use askama::Template;

use crate::domain::sheets::{CAUTION, PaperSheet};
use crate::web::assets;

/// A sheet as a page of its own.
#[derive(Debug, Template)]
#[template(path = "paper.html")]
pub struct PaperPage<'a> {
    /// What stands on it.
    pub sheet: &'a PaperSheet,
    /// Which workbook it was made from.
    pub version: &'a str,
    /// When it was printed, local time.
    pub printed: &'a str,
    /// How it looks, where it is a file; empty where it links to the style sheet.
    pub style: &'static str,
    /// What it is not.
    pub caution: &'static str,
}

impl<'a> PaperPage<'a> {
    /// The page of a sheet as a file.
    pub fn of(sheet: &'a PaperSheet, version: &'a str, printed: &'a str) -> PaperPage<'a> {
        PaperPage { sheet, version, printed, style: assets::PAPER, caution: CAUTION }
    }

    /// The page of a sheet as it is served.
    pub fn linked(sheet: &'a PaperSheet, version: &'a str, printed: &'a str) -> PaperPage<'a> {
        PaperPage { style: "", ..PaperPage::of(sheet, version, printed) }
    }
}
