//! The sheets of a day as files: HTML made for print, and PDF where a browser is at hand.

use crate::domain::board::Board;
use crate::domain::season::EventId;
use crate::domain::sheets::{Marks, PRINTED, of_event};
use crate::domain::wall;
use crate::web::views::PaperPage;
use askama::Template as _;
use jiff::Timestamp;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// Names under which a browser that can print may be installed.
const BROWSERS: &[&str] = &["chromium", "chromium-browser", "google-chrome", "chrome"];

/// What went wrong.
#[derive(Debug, thiserror::Error)]
pub enum SheetFault {
    /// A folder or a file cannot be written.
    #[error("{}: {source}; choose another folder with --out", .path.display())]
    Write {
        /// Which.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// A page cannot be rendered.
    #[error("a sheet cannot be written: {0}")]
    Render(#[from] askama::Error),
    /// There is no browser.
    #[error(
        "no browser that can print was found ({}); install chromium, or leave out --pdf and print the pages from any browser",
        BROWSERS.join(", ")
    )]
    NoBrowser,
    /// The browser failed.
    #[error("the browser could not print {}: {why}", .path.display())]
    Print {
        /// The page.
        path: PathBuf,
        /// What it said.
        why: String,
    },
}

/// Writes every sheet of some events below a folder, one folder an event; gives back the pages in the order written.
pub fn write(
    board: &Board,
    events: &[EventId],
    version: &str,
    now: Timestamp,
    folder: &Path,
) -> Result<Vec<PathBuf>, SheetFault> {
    let printed = wall::local(&board.season.zone, now).strftime(PRINTED).to_string();
    let mut written = Vec::new();
    for event in events {
        let folder = folder.join(&board.season.events[event.at()].reference);
        std::fs::create_dir_all(&folder)
            .map_err(|source| SheetFault::Write { path: folder.clone(), source })?;
        for sheet in of_event(board, *event, Marks::none()) {
            let path = folder.join(format!("{}.html", sheet.name()));
            let page = PaperPage::of(&sheet, version, &printed).render()?;
            std::fs::write(&path, page).map_err(|source| SheetFault::Write { path: path.clone(), source })?;
            written.push(path);
        }
    }
    Ok(written)
}

/// A browser that can print, on this machine.
pub fn browser() -> Result<PathBuf, SheetFault> {
    let path = std::env::var_os("PATH").unwrap_or_default();
    std::env::split_paths(&path)
        .flat_map(|folder| BROWSERS.iter().map(move |name| folder.join(name)))
        .find(|program| program.is_file())
        .ok_or(SheetFault::NoBrowser)
}

/// Prints a page to a PDF beside it.
pub fn print(browser: &Path, page: &Path) -> Result<PathBuf, SheetFault> {
    let pdf = page.with_extension("pdf");
    let fault = |why: String| SheetFault::Print { path: page.to_owned(), why };
    let here = std::path::absolute(page).map_err(|error| fault(error.to_string()))?;
    let mut to = std::ffi::OsString::from("--print-to-pdf=");
    to.push(&pdf);
    // The page is a file of our own without scripts, so the browser needs no sandbox, which root has not got.
    let done = Command::new(browser)
        .args(["--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer"])
        .arg(to)
        .arg(here)
        .stdin(Stdio::null())
        .output()
        .map_err(|error| fault(error.to_string()))?;
    if done.status.success() && pdf.is_file() {
        Ok(pdf)
    } else {
        Err(fault(
            String::from_utf8_lossy(&done.stderr).lines().last().unwrap_or("no reason given").to_owned(),
        ))
    }
}
