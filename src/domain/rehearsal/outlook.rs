//! Many courses counted together. What is kept does not grow with their number: how often each count occurred.

use super::course::RehearsedSeason;
use super::stage::Stage;
use super::variants::VariantChange;
use std::collections::BTreeMap;

/// Shares of courses below the low and the high end of a range.
pub const RANGE: (f64, f64) = (0.1, 0.9);

/// How often each value of a count occurred.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct OutlookSpread(BTreeMap<u32, u32>);

impl OutlookSpread {
    /// Counts a value.
    pub fn add(&mut self, value: u32) {
        *self.0.entry(value).or_default() += 1;
    }

    /// Counts everything that another counted.
    pub fn join(&mut self, other: &OutlookSpread) {
        for (value, times) in &other.0 {
            *self.0.entry(*value).or_default() += times;
        }
    }

    fn times(&self) -> u64 {
        self.0.values().map(|times| u64::from(*times)).sum()
    }

    /// The mean; 0 where nothing was counted.
    pub fn mean(&self) -> f64 {
        let sum: u64 = self.0.iter().map(|(value, times)| u64::from(*value) * u64::from(*times)).sum();
        sum as f64 / self.times().max(1) as f64
    }

    /// The smallest value that so large a share does not exceed.
    pub fn quantile(&self, share: f64) -> u32 {
        let wanted = (share * self.times() as f64).ceil().max(1.0) as u64;
        let mut seen = 0;
        for (value, times) in &self.0 {
            seen += u64::from(*times);
            if seen >= wanted {
                return *value;
            }
        }
        0
    }

    /// Low and high end of the range.
    pub fn range(&self) -> (u32, u32) {
        (self.quantile(RANGE.0), self.quantile(RANGE.1))
    }
}

/// How seasons go, counted over many of them.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct RehearsalOutlook {
    /// Seasons counted.
    pub seasons: u32,
    /// Children settled about each matter (events, then house rules) at the end of each day.
    pub settled: Vec<Vec<OutlookSpread>>,
    /// Recipients heard from, likewise.
    pub heard: Vec<Vec<OutlookSpread>>,
    /// Children to ring about, by event.
    pub calls: Vec<OutlookSpread>,
    /// Children still open when the first is called, by event.
    pub left: Vec<OutlookSpread>,
    /// Children who can't come, by event.
    pub cant_come: Vec<OutlookSpread>,
    /// To ring about and still open, by chaperones' list.
    pub lists: Vec<(OutlookSpread, OutlookSpread)>,
    /// To ring about at all events.
    pub all_calls: OutlookSpread,
    /// Settled early, at all events.
    pub early: OutlookSpread,
    /// Mails.
    pub mails: OutlookSpread,
    /// Texts.
    pub texts: OutlookSpread,
    /// Segments.
    pub segments: OutlookSpread,
    /// Messages refused.
    pub refused: OutlookSpread,
}

impl RehearsalOutlook {
    /// Nothing counted yet.
    pub fn of(stage: &Stage) -> RehearsalOutlook {
        let (matters, events) = (stage.matters(), stage.board.season.events.len());
        let by_day = || vec![vec![OutlookSpread::default(); stage.days()]; matters];
        let by_event = || vec![OutlookSpread::default(); events];
        RehearsalOutlook {
            settled: by_day(),
            heard: by_day(),
            calls: by_event(),
            left: by_event(),
            cant_come: by_event(),
            lists: vec![(OutlookSpread::default(), OutlookSpread::default()); stage.lists.len()],
            ..RehearsalOutlook::default()
        }
    }

    /// Counts a course.
    pub fn add(&mut self, stage: &Stage, course: &RehearsedSeason) {
        self.seasons += 1;
        for (matter, (settled, heard)) in self.settled.iter_mut().zip(&mut self.heard).enumerate() {
            settled.iter_mut().zip(course.settled(matter)).for_each(|(spread, count)| spread.add(count));
            heard.iter_mut().zip(course.heard(matter)).for_each(|(spread, count)| spread.add(count));
        }
        let events = [
            (&mut self.calls, &course.calls),
            (&mut self.left, &course.left),
            (&mut self.cant_come, &course.cant_come),
        ];
        for (spreads, counts) in events {
            spreads.iter_mut().zip(counts).for_each(|(spread, count)| spread.add(*count));
        }
        for ((ring, left), count) in self.lists.iter_mut().zip(&course.lists) {
            ring.add(count.0);
            left.add(count.1);
        }
        self.all_calls.add(course.all_calls());
        self.early.add(course.early(stage));
        self.mails.add(course.mails);
        self.texts.add(course.texts);
        self.segments.add(course.segments);
        self.refused.add(course.refused);
    }

    /// Counts everything that another of the same stage counted.
    pub fn join(&mut self, other: &RehearsalOutlook) {
        self.seasons += other.seasons;
        let days = |into: &mut Vec<Vec<OutlookSpread>>, from: &Vec<Vec<OutlookSpread>>| {
            into.iter_mut().flatten().zip(from.iter().flatten()).for_each(|(into, from)| into.join(from));
        };
        days(&mut self.settled, &other.settled);
        days(&mut self.heard, &other.heard);
        for (into, from) in [
            (&mut self.calls, &other.calls),
            (&mut self.left, &other.left),
            (&mut self.cant_come, &other.cant_come),
        ] {
            into.iter_mut().zip(from).for_each(|(into, from)| into.join(from));
        }
        for (into, from) in self.lists.iter_mut().zip(&other.lists) {
            into.0.join(&from.0);
            into.1.join(&from.1);
        }
        for (into, from) in [
            (&mut self.all_calls, &other.all_calls),
            (&mut self.early, &other.early),
            (&mut self.mails, &other.mails),
            (&mut self.texts, &other.texts),
            (&mut self.segments, &other.segments),
            (&mut self.refused, &other.refused),
        ] {
            into.join(from);
        }
    }
}

/// Differences between two courses of the same families, in whole numbers so that their order does not matter.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Paired {
    pairs: u32,
    sum: i64,
    squares: i64,
}

impl Paired {
    /// Counts a pair.
    pub fn add(&mut self, before: u32, after: u32) {
        let more = i64::from(after) - i64::from(before);
        self.pairs += 1;
        self.sum += more;
        self.squares += more * more;
    }

    /// Counts everything that another counted.
    pub fn join(&mut self, other: &Paired) {
        self.pairs += other.pairs;
        self.sum += other.sum;
        self.squares += other.squares;
    }

    /// How much more it is in the mean.
    pub fn mean(&self) -> f64 {
        self.sum as f64 / f64::from(self.pairs.max(1))
    }

    /// The standard error of that mean; none for fewer than two pairs.
    pub fn error(&self) -> Option<f64> {
        let pairs = f64::from(self.pairs);
        let squares = self.squares as f64 - self.sum as f64 * self.mean();
        (self.pairs > 1).then(|| (squares.max(0.0) / (pairs - 1.0) / pairs).sqrt())
    }
}

/// What a change of plan would buy: how much more of each with it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Gain {
    /// The change.
    pub change: VariantChange,
    /// Children to ring about.
    pub calls: Paired,
    /// Children settled early.
    pub early: Paired,
    /// Mails.
    pub mails: Paired,
    /// Texts.
    pub texts: Paired,
    /// Segments.
    pub segments: Paired,
}

impl Gain {
    /// Nothing tried yet.
    pub fn of(change: VariantChange) -> Gain {
        let none = Paired::default();
        Gain { change, calls: none, early: none, mails: none, texts: none, segments: none }
    }

    /// Counts the same families without and with the change.
    pub fn add(
        &mut self,
        (stage, before): (&Stage, &RehearsedSeason),
        (changed, after): (&Stage, &RehearsedSeason),
    ) {
        self.calls.add(before.all_calls(), after.all_calls());
        self.early.add(before.early(stage), after.early(changed));
        self.mails.add(before.mails, after.mails);
        self.texts.add(before.texts, after.texts);
        self.segments.add(before.segments, after.segments);
    }

    /// Counts everything that another of the same change counted.
    pub fn join(&mut self, other: &Gain) {
        for (into, from) in [
            (&mut self.calls, &other.calls),
            (&mut self.early, &other.early),
            (&mut self.mails, &other.mails),
            (&mut self.texts, &other.texts),
            (&mut self.segments, &other.segments),
        ] {
            into.join(from);
        }
    }

    /// Calls saved for each text more; the calls saved where no text more is sent.
    pub fn worth(&self) -> f64 {
        // Not "minus the mean", which would make a nought negative.
        (0.0 - self.calls.mean()) / self.texts.mean().max(1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_spread_knows_its_mean_and_its_ends() {
        let mut spread = OutlookSpread::default();
        assert_eq!((spread.mean(), spread.range()), (0.0, (0, 0)));
        (1..=10).for_each(|value| spread.add(value));
        assert_eq!((spread.mean(), spread.range(), spread.quantile(0.5)), (5.5, (1, 9), 5));
        let mut other = OutlookSpread::default();
        (0..10).for_each(|_| other.add(10));
        spread.join(&other);
        assert_eq!((spread.mean(), spread.range()), (7.75, (2, 10)));
    }

    #[test]
    fn the_error_of_pairs_is_that_of_their_differences() {
        let mut paired = Paired::default();
        paired.add(10, 12);
        assert_eq!((paired.mean(), paired.error()), (2.0, None));
        paired.add(90, 94);
        // Differences 2 and 4: deviation √2, error √2/√2.
        assert_eq!(paired.mean(), 3.0);
        assert!((paired.error().unwrap() - 1.0).abs() < 1e-12);
        let mut constant = Paired::default();
        (0..5).for_each(|at| constant.add(at, at + 7));
        assert_eq!((constant.mean(), constant.error()), (7.0, Some(0.0)));
    }
}
