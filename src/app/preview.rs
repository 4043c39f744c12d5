//! What a plan would send, put into words without sending anything.

use crate::domain::board::Board;
use crate::domain::plan::{self, Wanted};
use crate::domain::record::Record;
use crate::domain::season::Season;
use crate::domain::segments;
use crate::service::composing::preview;
use crate::service::ports::Content;
use crate::service::wording::Wording;
use jiff::Timestamp;
use serde_json::{Value, json};

/// One planned message for a person to read.
pub struct Line {
    /// The message.
    pub wanted: Wanted,
    /// Subject of a mail, words of a text.
    pub words: String,
    /// Units of each segment; empty for mail.
    pub segments: Vec<usize>,
}

/// Plans a season at an instant as if nothing had happened yet, in order of due time.
pub fn lines(season: Season, wording: &Wording, base_url: &str, at: Timestamp) -> (Board, Vec<Line>) {
    let board = Board::of(season);
    let record = Record { revised_at: at, ..Record::default() };
    let mut wanted = plan::plan(&board, &record, at);
    wanted.sort_by(|a, b| (a.due, &a.key).cmp(&(b.due, &b.key)));
    let lines = wanted
        .into_iter()
        .map(|wanted| {
            let (words, segments) = match preview(&board, wording, &wanted, base_url) {
                Ok(Content::Text(text)) => {
                    let count = segments::count(&text);
                    (text, count.segments)
                }
                Ok(Content::Mail(mail)) => (mail.subject, Vec::new()),
                Err(fault) => (fault.to_string(), Vec::new()),
            };
            Line { wanted, words, segments }
        })
        .collect();
    (board, lines)
}

impl Line {
    /// As JSON: who, what, when, by which channel.
    pub fn json(&self, board: &Board) -> Value {
        let season = &board.season;
        let wanted = &self.wanted;
        let local = |at| crate::domain::wall::local(&season.zone, at).to_string();
        json!({
            "key": wanted.key,
            "due": wanted.due.to_string(),
            "due_local": local(wanted.due),
            "useless_from": wanted.until.to_string(),
            "channel": wanted.channel.word(),
            "wording": wanted.wording,
            "answer_owed": wanted.owes,
            "household": season.households[wanted.household.at()].reference,
            "guardians": wanted.guardians.iter().map(|g| {
                let guardian = &season.guardians[g.at()];
                json!({ "ref": guardian.reference, "name": guardian.name })
            }).collect::<Vec<_>>(),
            "items": wanted.parts.iter().map(|(item, notice)| {
                let (child, event) = board.item_refs(*item);
                json!({ "child": child, "event": event, "notice": plan::notice_word(board, *notice) })
            }).collect::<Vec<_>>(),
            "words": self.words,
            "segments": self.segments,
        })
    }
}
