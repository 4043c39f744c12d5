//! `allheard text`: how the phone network counts a text.

use super::{Exit, pretty, say};
use crate::domain::segments;
use serde_json::json;

#[derive(Debug, clap::Args)]
pub(super) struct Options {
    /// The text.
    words: String,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

pub(super) fn run(options: &Options) -> Exit {
    let count = segments::count(&options.words);
    let causes: Vec<String> = count.causes.iter().map(char::to_string).collect();
    if options.json {
        say(pretty(&json!({
            "encoding": count.encoding.word(),
            "units": count.units,
            "segments": count.segments,
            "causes": causes,
        })));
        return Exit::Done;
    }
    let parts: Vec<String> = count.segments.iter().map(usize::to_string).collect();
    say(format!(
        "{}, {} units, {} {}: {}",
        count.encoding.word(),
        count.units,
        parts.len(),
        if parts.len() == 1 { "segment" } else { "segments" },
        parts.join(" + ")
    ));
    if !causes.is_empty() {
        say(format!("longer because of: {}", causes.join(" ")));
    }
    Exit::Done
}
