//! What a running season's answers say of its families, as far as it goes: each share and each waiting time starts
//! from the assumption and moves with what was seen.

use super::habits::{Fitted, Habits, WaitingHabit};
use crate::domain::board::{Board, Item};
use crate::domain::due::Due;
use crate::domain::plan;
use crate::domain::record::{AnswerKind, Ask, Cover, NoticeKey, Record};
use crate::domain::season::{Channel, GuardianId};
use jiff::{SignedDuration, Timestamp};
use std::collections::BTreeMap;

/// An assumption weighs as much as so many people seen (an assumption).
pub const WEIGHT: f64 = 20.0;
/// Only askings so old say how many answer (an assumption: most answers have come by then).
pub const RIPE: SignedDuration = SignedDuration::from_hours(72);

/// Askings of one guardian about one item: when each fell due, and by which channels it went.
type Askings = BTreeMap<Timestamp, Vec<Channel>>;

/// Estimates habits from what has happened until `now`.
///
/// When a notice went is taken from when it was due, since the record keeps only the last telling.
pub fn fitted(board: &Board, record: &Record, now: Timestamp) -> Fitted {
    let assumed = Habits::assumed();
    let mut first = [Share::default(), Share::default(), Share::default()];
    let mut later = [Share::default(); 3];
    let mut waits: [Vec<f64>; 2] = [Vec::new(), Vec::new()];
    let mut answers = 0;
    for ((guardian, item), askings) in askings(board, record, now) {
        let answer = record.answer_of(guardian, item).filter(|a| a.kind != AnswerKind::Question);
        let heard_at = answer.map(|answer| answer.at);
        for (before, (sent, channels)) in askings.iter().enumerate() {
            if heard_at.is_some_and(|at| at < *sent) {
                break;
            }
            let next = askings.keys().nth(before + 1);
            let answered = heard_at.is_some_and(|at| next.is_none_or(|next| at < *next));
            // What is not answered yet may be; what the next asking overtook was not.
            let ripe = now.duration_since(*sent) >= RIPE || next.is_some();
            if answered || ripe {
                let share = match (before, channels.as_slice()) {
                    (0, [Channel::Text]) => &mut first[0],
                    (0, [Channel::Mail]) => &mut first[1],
                    (0, _) => &mut first[2],
                    (more, _) => &mut later[(more - 1).min(2)],
                };
                share.asked += 1.0;
                share.answered += f64::from(u8::from(answered));
            }
            if let (Some(at), true, [channel]) = (heard_at, answered, channels.as_slice()) {
                let minutes = (at.duration_since(*sent).as_secs_f64() / 60.0).max(1.0);
                waits[usize::from(*channel == Channel::Text)].push(minutes.ln());
            }
            answers += u32::from(answered);
        }
    }
    let [text, mail, both] = first;
    Fitted {
        first_text: text.with(assumed.first_text),
        first_mail: mail.with(assumed.first_mail),
        first_both: both.with(assumed.first_both),
        later: std::array::from_fn(|at| later[at].with(assumed.later[at])),
        text: waiting(&waits[1], assumed.text),
        mail: waiting(&waits[0], assumed.mail),
        answers,
    }
}

/// Every asking that went, by guardian and item, in order of due time.
fn askings(board: &Board, record: &Record, now: Timestamp) -> BTreeMap<(GuardianId, Item), Askings> {
    let mut out: BTreeMap<(GuardianId, Item), Askings> = BTreeMap::new();
    for (ask, cover) in &record.covered {
        let Ask { guardian, item, notice, channel } = *ask;
        let Some(due) = due(board, item, notice).filter(|due| due.at <= now) else { continue };
        if matches!(cover, Cover::Done(_)) && plan::asks(board, item, notice) {
            let channels = out.entry((guardian, item)).or_default().entry(due.at).or_default();
            channels.push(channel);
            channels.sort_unstable();
            channels.dedup();
        }
    }
    out
}

fn due(board: &Board, item: Item, notice: NoticeKey) -> Option<Due> {
    let NoticeKey::Rule(at) = notice else { return None };
    match item.event {
        Some(event) => board.due(board.programme.position(item.who, event)?, at),
        None => board.season_due(at),
    }
}

#[derive(Debug, Clone, Copy, Default)]
struct Share {
    asked: f64,
    answered: f64,
}

impl Share {
    fn with(self, assumed: f64) -> Option<f64> {
        (self.asked > 0.0).then(|| (self.answered + WEIGHT * assumed) / (self.asked + WEIGHT))
    }
}

/// The waiting time whose logarithms these are, drawn towards the assumption.
fn waiting(logs: &[f64], assumed: WaitingHabit) -> Option<WaitingHabit> {
    let seen = logs.len() as f64;
    let mean = (WEIGHT * assumed.median_minutes.ln() + logs.iter().sum::<f64>()) / (WEIGHT + seen);
    let squares = logs.iter().map(|log| (log - mean).powi(2)).sum::<f64>();
    let variance = (WEIGHT * assumed.sigma.powi(2) + squares) / (WEIGHT + seen);
    (!logs.is_empty()).then(|| WaitingHabit { median_minutes: mean.exp(), sigma: variance.sqrt() })
}
