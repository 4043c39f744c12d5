//! `allheard backup` and `allheard restore`.

use super::{ConfigFile, Exit, agreed, block_on_exit, tell};
use crate::app::backup::{CopyFault, back_up, is_sound, put_back};
use std::path::PathBuf;

#[derive(Debug, clap::Args)]
pub(super) struct Backup {
    #[command(flatten)]
    file: ConfigFile,
    /// The copy to write; it must not be there yet.
    copy: PathBuf,
}

#[derive(Debug, clap::Args)]
pub(super) struct Restore {
    #[command(flatten)]
    file: ConfigFile,
    /// The copy to put back.
    copy: PathBuf,
    /// Put it back without asking.
    #[arg(long)]
    yes: bool,
}

fn told(fault: CopyFault) -> Exit {
    tell(&fault);
    match fault {
        CopyFault::OnAServer(_)
        | CopyFault::IsThere(_)
        | CopyFault::Running(_)
        | CopyFault::Unsound { .. } => Exit::Wrong,
        CopyFault::Store(_) | CopyFault::Io { .. } => Exit::Unreachable,
    }
}

pub(super) fn back(options: &Backup) -> Exit {
    let Some(config) = options.file.read() else { return Exit::Config };
    block_on_exit(async {
        match back_up(&config, &options.copy).await {
            Ok(()) => {
                tell(format!("copied and looked over: {}", options.copy.display()));
                Exit::Done
            }
            Err(fault) => told(fault),
        }
    })
}

pub(super) fn restore(options: &Restore) -> Exit {
    let Some(config) = options.file.read() else { return Exit::Config };
    block_on_exit(async {
        if let Err(fault) = is_sound(&options.copy).await {
            return told(fault);
        }
        let question = "what was noted since the copy was made is set aside. Put it back?";
        if !options.yes && !agreed(question, "add --yes to put it back") {
            tell("nothing was put back");
            return Exit::Wrong;
        }
        match put_back(&config, &options.copy).await {
            Ok(kept) => {
                tell(format!("put back; the database before is kept as {}", kept.display()));
                tell(
                    "when `allheard serve` starts, it holds sending if messages left since the copy was made; look at the \
                     coordinator's page, decide about those in doubt, then let it go on there or by `allheard start --after-restore`",
                );
                Exit::Done
            }
            Err(fault) => told(fault),
        }
    })
}
