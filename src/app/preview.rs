//! What a plan would send, put into words without sending anything.

use crate::domain::board::Board;
use crate::domain::plan::{self, Wanted};
use crate::domain::record::Record;
use crate::domain::season::Channel;
use crate::domain::season::Season;
use crate::domain::segments;
use crate::domain::standing;
use crate::service::composing::preview;
use crate::service::office::Ways;
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
    /// The characters that made a text longer.
    pub causes: Vec<char>,
    /// Name of the gateway a text would go by, and its price; none where nothing is configured.
    pub tariff: Option<(String, f64)>,
}

/// What a gateway asks for a segment to some numbers.
#[derive(Debug, Clone)]
pub struct Tariff {
    /// Name of the gateway.
    pub name: String,
    /// Beginnings of the numbers it serves; empty for all.
    pub prefixes: Vec<String>,
    /// Price of a segment.
    pub price: f64,
}

/// Texts of a plan by one gateway.
#[derive(Debug, Clone, PartialEq)]
pub struct Cost {
    /// Name of the gateway; empty where none is configured.
    pub gateway: String,
    /// Texts.
    pub texts: usize,
    /// Segments in all.
    pub segments: usize,
    /// Price in all, in the host's currency.
    pub price: f64,
}

/// What the texts of a plan come to, by gateway in order of name.
pub fn costs(lines: &[Line]) -> Vec<Cost> {
    let mut costs: std::collections::BTreeMap<String, Cost> = std::collections::BTreeMap::new();
    for line in lines.iter().filter(|line| line.wanted.channel == Channel::Text) {
        let (name, price) = line.tariff.clone().unwrap_or_default();
        let fresh = Cost { gateway: name.clone(), texts: 0, segments: 0, price: 0.0 };
        let cost = costs.entry(name).or_insert(fresh);
        cost.texts += 1;
        cost.segments += line.segments.len();
        cost.price += price;
    }
    costs.into_values().collect()
}

/// Plans a season at an instant as if nothing had happened yet, in order of due time.
pub fn lines(
    season: Season,
    wording: &Wording,
    ways: &Ways,
    tariffs: &[Tariff],
    at: Timestamp,
) -> (Board, Vec<Line>) {
    let board = Board::of(season);
    let record = Record { revised_at: at, ..Record::default() };
    let mut wanted = plan::plan(&board, &record, at);
    wanted.sort_by(|a, b| (a.due, &a.key).cmp(&(b.due, &b.key)));
    let lines = wanted
        .into_iter()
        .map(|wanted| {
            let (words, segments, causes) = match preview(&board, wording, &wanted, ways) {
                Ok(Content::Text(text)) => {
                    let count = segments::count(&text);
                    (text, count.segments, count.causes)
                }
                Ok(Content::Mail(mail)) => (mail.subject, Vec::new(), Vec::new()),
                Err(fault) => (fault.to_string(), Vec::new(), Vec::new()),
            };
            let to = wanted
                .guardians
                .iter()
                .find_map(|guardian| standing::address(&board, &record, *guardian, wanted.channel));
            let tariff = to.filter(|_| wanted.channel == Channel::Text).and_then(|to| {
                let serves = |t: &&Tariff| {
                    t.prefixes.is_empty() || t.prefixes.iter().any(|p| to.starts_with(p.as_str()))
                };
                tariffs.iter().find(serves).map(|t| (t.name.clone(), t.price * segments.len() as f64))
            });
            Line { wanted, words, segments, causes, tariff }
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
            "causes": self.causes,
            "gateway": self.tariff.as_ref().map(|(name, _)| name),
            "price": self.tariff.as_ref().map(|(_, price)| price),
        })
    }
}
