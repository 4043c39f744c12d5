//! `allheard config`: the sample configuration.

use super::{Exit, say};

pub(super) fn run() -> Exit {
    say(crate::app::config::SAMPLE.trim_end());
    Exit::Done
}
