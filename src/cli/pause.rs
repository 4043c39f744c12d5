//! `allheard pause`: nothing planned leaves until the season is started again.

use super::start::{at_work, state};
use super::{ConfigFile, Exit, tell};
use crate::service::ports::Hand;

#[derive(Debug, clap::Args)]
pub(super) struct Options {
    #[command(flatten)]
    file: ConfigFile,
}

pub(super) fn run(options: &Options) -> Exit {
    at_work(&options.file, async |house, _| {
        if house.pause(Hand::Command).await? {
            tell(
                "paused: nothing planned is sent until `allheard start`; replies to a person's own message still go out",
            );
        } else {
            tell(state(house).await?);
        }
        Ok(Exit::Done)
    })
}
