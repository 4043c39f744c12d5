//! `allheard inbound-mail`: one mail from standard input, for mail servers that hand mail to a program.

use super::{ConfigFile, Exit, block_on_exit, tell};
use crate::app::{StartFault, letters, open};
use crate::telemetry;
use std::io::Read as _;

/// Octets read from the pipe at most; what is beyond is not looked at.
const PIPE_MAX_OCTETS: u64 = 64 * 1024 * 1024;

#[derive(Debug, clap::Args)]
pub(super) struct Options {
    #[command(flatten)]
    file: ConfigFile,
}

pub(super) fn run(options: &Options) -> Exit {
    telemetry::start();
    let Some(config) = options.file.read() else { return Exit::TryAgain };
    let mut octets = Vec::new();
    if let Err(error) = std::io::stdin().lock().take(PIPE_MAX_OCTETS).read_to_end(&mut octets) {
        tell(format!("the mail cannot be read from standard input: {error}"));
        return Exit::TryAgain;
    }
    block_on_exit(async {
        let done: Result<(), String> = async {
            let own = letters::own(&config).map_err(|fault: StartFault| fault.to_string())?;
            let house = open(&config).await.map_err(|fault| fault.to_string())?;
            let taken = letters::take(&house, &octets, &own).await.map_err(|fault| fault.to_string());
            house.store.close().await;
            taken.map(drop)
        }
        .await;
        match done {
            Ok(()) => Exit::Done,
            Err(fault) => {
                tell(fault);
                Exit::TryAgain
            }
        }
    })
}
