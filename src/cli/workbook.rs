//! `allheard workbook`: a workbook to start from.

use super::{Exit, tell};
use crate::demo;
use crate::workbook::{blank, write};
use std::path::PathBuf;

#[derive(Debug, clap::Subcommand)]
pub(super) enum Which {
    /// A blank workbook with guidance, drop-downs and two example rows.
    New {
        /// The file to write, ending in .xlsx; or a folder for .csv files.
        file: PathBuf,
    },
    /// The demonstration's season.
    Example {
        /// The file to write, ending in .xlsx; or a folder for .csv files.
        file: PathBuf,
        /// Which season.
        #[arg(long, default_value_t = 1)]
        seed: u64,
    },
}

pub(super) fn run(which: &Which) -> Exit {
    let (file, book) = match which {
        Which::New { file } => (file, blank()),
        Which::Example { file, seed } => (file, demo::book(*seed)),
    };
    if file.exists() {
        tell(format!("{} is there already and was not changed; name another file", file.display()));
        return Exit::Wrong;
    }
    match write(&book, file) {
        Ok(()) => {
            tell(format!("wrote {}", file.display()));
            Exit::Done
        }
        Err(fault) => {
            tell(format!("{} was not written: {fault}", file.display()));
            Exit::Wrong
        }
    }
}
