//! `allheard ledger`: the record, checked.

use super::{ConfigFile, Exit, block_on_exit, say, tell};
use crate::app::ledger::{LedgerVerdict, verify_stored};

#[derive(Debug, clap::Subcommand)]
pub(super) enum What {
    /// Check that nothing in the record was changed, removed or put in.
    Verify(VerifyOptions),
}

#[derive(Debug, clap::Args)]
pub(super) struct VerifyOptions {
    #[command(flatten)]
    file: ConfigFile,
}

pub(super) fn run(what: &What) -> Exit {
    let What::Verify(options) = what;
    let Some(config) = options.file.read() else { return Exit::Config };
    block_on_exit(async {
        match verify_stored(&config).await {
            Ok(LedgerVerdict::Whole { lines, erased }) => {
                say(format!("the record is whole: {lines} lines, the words of {erased} erased"));
                Exit::Done
            }
            Ok(LedgerVerdict::Broken { seq, reason }) => {
                say(format!("the record is broken at line {seq}: {reason}"));
                Exit::Wrong
            }
            Ok(LedgerVerdict::NoSeason) => {
                tell("no workbook has been loaded yet; there is no record");
                Exit::Wrong
            }
            Err(fault) => {
                tell(fault);
                Exit::Unreachable
            }
        }
    })
}
