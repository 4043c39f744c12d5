//! `allheard links`: a new link to the coordinator's pages, which ends the earlier ones, and links to the chaperones' lists.

use super::{ConfigFile, Exit, block_on_exit, say, tell};
use crate::app::{House, open};
use crate::service::office::OfficeFault;

#[derive(Debug, clap::Args)]
pub(super) struct Options {
    #[command(flatten)]
    file: ConfigFile,
    /// Also a link to each chaperone's list: name and link, a tab between them.
    #[arg(long)]
    chaperones: bool,
}

pub(super) fn run(options: &Options) -> Exit {
    let Some(config) = options.file.read() else { return Exit::Config };
    block_on_exit(async {
        let house = match open(&config).await {
            Ok(house) => house,
            Err(fault) => {
                tell(fault);
                return Exit::Unreachable;
            }
        };
        let shown = show(&house, &config.pages.address, options.chaperones).await;
        house.store.close().await;
        match shown {
            Ok(()) => Exit::Done,
            Err(fault) => {
                tell(fault);
                Exit::Wrong
            }
        }
    })
}

async fn show(house: &House, address: &str, chaperones: bool) -> Result<(), OfficeFault> {
    let ended = house.end_coordinator_links().await?;
    if ended > 0 {
        tell(format!("earlier links to the coordinator's pages ended: {ended}"));
    }
    say(format!("coordinator\t{address}/enter/{}", house.coordinator_link().await?));
    if chaperones {
        let people: Vec<(String, String)> = {
            let desk = house.desk().await?;
            desk.board.season.chaperones.iter().map(|c| (c.reference.clone(), c.name.clone())).collect()
        };
        for (reference, name) in people {
            if let Some(token) = house.chaperone_link(&reference).await? {
                say(format!("{name}\t{address}/c/{token}"));
            }
        }
    }
    Ok(())
}
