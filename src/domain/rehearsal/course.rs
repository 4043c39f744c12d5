//! What is kept of one season lived through: counts.

use super::stage::Stage;
use crate::domain::{due, wall};
use jiff::ToSpan;
use jiff::civil::Date;

/// How one season went, in counts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RehearsedSeason {
    pub(super) days: usize,
    pub(super) settled: Vec<i32>,
    pub(super) heard: Vec<i32>,
    /// Children to ring about when those not heard from are rung, by event.
    pub calls: Vec<u32>,
    /// Children still open when the first is called, by event.
    pub left: Vec<u32>,
    /// Children who can't come, by event, as far as was said before it.
    pub cant_come: Vec<u32>,
    /// The same as `calls` and `left`, by chaperones' list.
    pub lists: Vec<(u32, u32)>,
    /// Mails handed over.
    pub mails: u32,
    /// Texts handed over.
    pub texts: u32,
    /// Segments of the texts.
    pub segments: u32,
    /// Messages that a carrier refused.
    pub refused: u32,
}

impl RehearsedSeason {
    /// Nothing counted yet.
    pub(super) fn of(stage: &Stage) -> RehearsedSeason {
        let (events, days) = (stage.board.season.events.len(), stage.days());
        RehearsedSeason {
            days,
            settled: vec![0; stage.matters() * days],
            heard: vec![0; stage.matters() * days],
            calls: vec![0; events],
            left: vec![0; events],
            cant_come: vec![0; events],
            lists: vec![(0, 0); stage.lists.len()],
            mails: 0,
            texts: 0,
            segments: 0,
            refused: 0,
        }
    }

    /// Children settled about a matter at the end of each day.
    pub fn settled(&self, matter: usize) -> impl Iterator<Item = u32> {
        summed(&self.settled[matter * self.days..(matter + 1) * self.days])
    }

    /// Recipients (guardian and child) heard from about a matter at the end of each day.
    pub fn heard(&self, matter: usize) -> impl Iterator<Item = u32> {
        summed(&self.heard[matter * self.days..(matter + 1) * self.days])
    }

    /// Children to ring about, all events together.
    pub fn all_calls(&self) -> u32 {
        self.calls.iter().sum()
    }

    /// Children settled so many days before each event, as the stage's terms say, all events together; about the
    /// house rules, so many days before the first show.
    pub fn early(&self, stage: &Stage) -> u32 {
        let season = &stage.board.season;
        let before = |date: Date| stage.day_of(date.saturating_sub(stage.terms.early_days.days()));
        let on = |matter: usize, date: Date| Some(self.settled(matter).nth(before(date)?).unwrap_or(0));
        let events = stage.moments.keys().filter_map(|event| on(event.at(), season.events[event.at()].date));
        let show = due::first_show(season).map(|at| wall::local(&season.zone, at).date());
        events.sum::<u32>() + show.and_then(|date| on(season.events.len(), date)).unwrap_or(0)
    }
}

fn summed(steps: &[i32]) -> impl Iterator<Item = u32> {
    steps.iter().scan(0_i32, |sum, step| {
        *sum += step;
        Some(u32::try_from(*sum).unwrap_or(0))
    })
}
