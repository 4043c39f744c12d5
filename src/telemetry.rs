//! Logs: one line an event, row ids only. `ALLHEARD_LOG` sets the level; `ALLHEARD_LOG_JSON=1` writes JSON.

use std::io::IsTerminal as _;
use tracing_subscriber::EnvFilter;

/// Starts logging to standard error.
pub fn start() {
    let filter = EnvFilter::try_from_env("ALLHEARD_LOG").unwrap_or_else(|_| EnvFilter::new("info,sqlx=warn"));
    let builder = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .with_ansi(std::io::stderr().is_terminal());
    let json = std::env::var("ALLHEARD_LOG_JSON").is_ok_and(|v| v == "1");
    let started = if json { builder.json().try_init() } else { builder.with_target(false).try_init() };
    if let Err(error) = started {
        tracing::debug!(%error, "logging was started before");
    }
}
