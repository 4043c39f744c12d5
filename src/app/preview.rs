//! What a plan would send, put into words without sending anything.

use crate::domain::board::Board;
use crate::domain::money::Bill;
use crate::domain::plan;
use crate::domain::record::Record;
use crate::domain::season::{Channel, Season};
use crate::domain::wall;
use crate::service::office::Ways;
use crate::service::outlook::{Burst, Leaving, Looking, Paces, Total, bursts, leavings};
use crate::service::wording::Wording;
use jiff::Timestamp;
use serde_json::{Value, json};
use std::collections::{BTreeMap, HashMap};

/// Texts of a plan by one gateway.
#[derive(Debug, Clone, PartialEq)]
pub struct PreviewCost {
    /// Name of the gateway; empty where none is configured.
    pub gateway: String,
    /// Texts.
    pub texts: usize,
    /// Segments in all.
    pub segments: usize,
    /// Cost in all, in units of its currency, for readers who have no exact numbers.
    pub price: f64,
    /// Cost in all.
    pub bill: Bill,
}

/// What the texts of a plan come to, by gateway in order of name.
pub fn costs(lines: &[Leaving]) -> Vec<PreviewCost> {
    let mut costs: BTreeMap<String, PreviewCost> = BTreeMap::new();
    for line in lines.iter().filter(|line| line.wanted.channel == Channel::Text) {
        let gateway = line.gateway.clone().unwrap_or_default();
        let fresh = PreviewCost {
            gateway: gateway.clone(),
            texts: 0,
            segments: 0,
            price: 0.0,
            bill: Bill::default(),
        };
        let cost = costs.entry(gateway).or_insert(fresh);
        cost.texts += 1;
        cost.segments += line.segments.len();
        cost.price += line.cost.map_or(0.0, |cost| cost.units());
        cost.bill.add(line.cost);
    }
    costs.into_values().collect()
}

/// A season's plan at an instant as if nothing had happened yet.
pub struct PlanPreview {
    /// The season and all that follows from it.
    pub board: Board,
    /// Every message, in order of due time.
    pub lines: Vec<Leaving>,
    /// The same by day, channel and notices.
    pub bursts: Vec<Burst>,
}

/// Plans a season at an instant as if nothing had happened yet.
pub fn plan(season: Season, wording: &Wording, ways: &Ways, paces: Paces, at: Timestamp) -> PlanPreview {
    let board = Board::of(season);
    let record = Record { revised_at: at, ..Record::default() };
    let looking = Looking { wording, ways, paces, old: &HashMap::new(), mails: true };
    let wanted = plan::plan(&board, &record, at);
    let lines = leavings(&board, &record, &looking, wanted, at);
    let bursts = bursts(&board, &lines, paces, at);
    PlanPreview { board, lines, bursts }
}

/// A message as JSON: who, what, when and why then, by which channel, at what cost.
pub fn line_json(line: &Leaving, board: &Board) -> Value {
    let season = &board.season;
    let wanted = &line.wanted;
    let local = |at| wall::local(&season.zone, at).to_string();
    json!({
        "key": wanted.key,
        "due": wanted.due.to_string(),
        "due_local": local(wanted.due),
        "why": line.why,
        "leaves": line.leaves.map(|at| at.to_string()),
        "leaves_local": line.leaves.map(local),
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
        "words": line.words,
        "segments": line.segments,
        "causes": line.causes,
        "gateway": line.gateway,
        "price": line.cost.filter(|_| line.gateway.is_some()).map(|cost| cost.units()),
        "cost": line.cost.map(|cost| cost.to_string()),
    })
}

/// What one channel comes to in one week, as JSON.
pub fn week_json(total: &Total) -> Value {
    json!({
        "week": total.monday.to_string(),
        "channel": total.channel.word(),
        "messages": total.messages,
        "segments": total.segments,
        "cost": (!total.bill.is_unknown()).then(|| total.bill.to_string()),
    })
}
