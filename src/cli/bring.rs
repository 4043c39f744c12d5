//! `allheard bring`.
use super::{ConfigFile, Exit};
#[derive(Debug, clap::Args)]
pub(super) struct Options {
    #[command(flatten)]
    file: ConfigFile,
}
pub(super) fn run(_options: &Options) -> Exit {
    Exit::Wrong
}
