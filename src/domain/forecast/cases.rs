//! Who was asked when, and what that tells: the rows of waiting that a fit reads and a look ahead continues.

use super::fit::{Sample, Stretch};
use super::predict::Waiting;
use crate::domain::season::Channel;
use std::collections::BTreeMap;

/// Channels with a distribution of their own.
pub const CHANNELS: usize = 2;
/// No answer counts as faster, in hours.
const FASTEST_HOURS: f64 = 1.0 / 60.0;
/// How finely stretches are told apart, in the logarithm of their hours.
const GRAIN: f64 = 0.1;
/// How finely messages are told apart in looking ahead, in hours.
const GRAIN_HOURS: f64 = 0.25;

/// A message that asks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Asking {
    /// By which channel.
    pub channel: Channel,
    /// When, in hours from any one instant.
    pub at: f64,
}

/// Somebody asked about something, once or more, and when she answered.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Case {
    /// Messages in order of time, those to come included.
    pub askings: Vec<Asking>,
    /// When she answered, in the same hours.
    pub answered: Option<f64>,
    /// When she was heard from in another way, such as a call: of messages that tells only that she was silent till then.
    pub otherwise: Option<f64>,
}

/// A stretch by channel and rounded time, to count those alike.
type Alike = (usize, i64);

impl Case {
    /// Whether she has been heard from by an instant, in whatever way.
    pub fn is_heard(&self, now: f64) -> bool {
        [self.answered, self.otherwise].into_iter().flatten().any(|at| at <= now)
    }

    /// Whether she has answered by an instant.
    pub fn has_answered(&self, now: f64) -> bool {
        self.answered.is_some_and(|at| at <= now)
    }

    /// Whether she has been asked by an instant.
    pub fn asked_by(&self, now: f64) -> bool {
        self.askings.first().is_some_and(|asking| asking.at <= now)
    }

    /// Her stretches of waiting until an instant, a message each.
    pub fn stretches(&self, until: f64) -> Vec<Stretch> {
        let asked = self.askings.iter().enumerate().filter(|(_, asking)| asking.at < until);
        asked
            .map(|(k, asking)| {
                let end = self.askings.get(k + 1).map_or(until, |next| next.at.min(until));
                Stretch { channel: place(asking.channel), hours: (end - asking.at).max(FASTEST_HOURS) }
            })
            .collect()
    }
}

/// Where a channel stands among the figures: mail, then text.
pub fn place(channel: Channel) -> usize {
    match channel {
        Channel::Mail => 0,
        Channel::Text => 1,
    }
}

/// What cases tell by an instant; whoever answered before she was asked tells nothing.
pub fn sample(cases: &[Case], now: f64) -> Sample {
    let mut answered: BTreeMap<Alike, f64> = BTreeMap::new();
    let mut passed: BTreeMap<Alike, f64> = BTreeMap::new();
    let mut silent: BTreeMap<Vec<Alike>, f64> = BTreeMap::new();
    for case in cases {
        let answer = case.answered.filter(|at| *at <= now);
        let until = answer.unwrap_or(case.otherwise.map_or(now, |at| at.min(now)));
        let alike: Vec<Alike> = case.stretches(until).iter().map(alike).collect();
        match (answer, alike.split_last()) {
            (_, None) => {}
            (Some(_), Some((last, before))) => {
                *answered.entry(*last).or_default() += 1.0;
                before.iter().for_each(|one| *passed.entry(*one).or_default() += 1.0);
            }
            (None, Some(_)) => *silent.entry(alike).or_default() += 1.0,
        }
    }
    Sample {
        answered: answered.into_iter().map(|(one, count)| (stretch(one), count)).collect(),
        passed: passed.into_iter().map(|(one, count)| (stretch(one), count)).collect(),
        silent: silent
            .into_iter()
            .map(|(all, count)| (all.into_iter().map(stretch).collect(), count))
            .collect(),
    }
}

fn alike(stretch: &Stretch) -> Alike {
    (stretch.channel, (stretch.hours.ln() / GRAIN).round() as i64)
}

fn stretch((channel, log): Alike) -> Stretch {
    Stretch { channel, hours: (log as f64 * GRAIN).exp() }
}

/// Those who have not answered, with those asked alike together.
pub fn waiting<'a>(cases: impl IntoIterator<Item = &'a Case>, now: f64, then: f64) -> Vec<Waiting> {
    let mut groups: BTreeMap<Vec<Alike>, Waiting> = BTreeMap::new();
    for case in cases.into_iter().filter(|case| !case.is_heard(now)) {
        let times = case.askings.iter().map(|a| (place(a.channel), (a.at / GRAIN_HOURS).round() as i64));
        let group = groups.entry(times.collect()).or_insert_with(|| Waiting {
            so_far: case.stretches(now),
            by_then: case.stretches(then),
            count: 0,
        });
        group.count += 1;
    }
    groups.into_values().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn case(askings: &[(Channel, f64)], answered: Option<f64>) -> Case {
        let askings = askings.iter().map(|(channel, at)| Asking { channel: *channel, at: *at }).collect();
        Case { askings, answered, otherwise: None }
    }

    #[test]
    fn each_message_begins_a_stretch() {
        let twice = case(&[(Channel::Mail, 10.0), (Channel::Text, 34.0), (Channel::Text, 80.0)], None);
        let hours = |until| twice.stretches(until).iter().map(|s| (s.channel, s.hours)).collect::<Vec<_>>();
        assert_eq!(hours(5.0), []);
        assert_eq!(hours(20.0), [(0, 10.0)]);
        assert_eq!(hours(40.0), [(0, 24.0), (1, 6.0)]);
        assert_eq!(hours(100.0), [(0, 24.0), (1, 46.0), (1, 20.0)]);
    }

    #[test]
    fn a_sample_tells_answers_from_silence() {
        let cases = [
            case(&[(Channel::Mail, 0.0)], Some(1.0)),
            case(&[(Channel::Mail, 0.0), (Channel::Text, 24.0)], Some(25.0)),
            // Not yet, as far as is known at 48.
            case(&[(Channel::Mail, 0.0)], Some(60.0)),
            case(&[(Channel::Mail, 0.0)], None),
            // Told by somebody, and never asked: that says nothing of messages.
            case(&[], Some(3.0)),
            case(&[(Channel::Text, 70.0)], None),
            // Rung at 24: silent for as long, by message.
            Case { otherwise: Some(24.0), ..case(&[(Channel::Text, 0.0)], None) },
        ];
        let sample = sample(&cases, 48.0);
        let counted = |list: &[(Stretch, f64)]| list.iter().map(|(s, n)| (s.channel, *n)).collect::<Vec<_>>();
        assert_eq!(counted(&sample.answered), [(0, 1.0), (1, 1.0)]);
        assert_eq!(counted(&sample.passed), [(0, 1.0)]);
        assert!((sample.passed[0].0.hours / 24.0 - 1.0).abs() < GRAIN / 2.0);
        let silent = sample.silent.iter().map(|(all, n)| (all[0].channel, all[0].hours.round(), *n));
        assert_eq!(silent.collect::<Vec<_>>(), [(0, 49.0, 2.0), (1, 25.0, 1.0)]);
    }

    #[test]
    fn those_asked_alike_wait_together() {
        let cases = [
            case(&[(Channel::Mail, 0.0)], None),
            case(&[(Channel::Mail, 0.01)], None),
            case(&[(Channel::Text, 0.0)], None),
            case(&[(Channel::Mail, 0.0)], Some(2.0)),
        ];
        let counts: Vec<u32> = waiting(&cases, 10.0, 20.0).iter().map(|w| w.count).collect();
        assert_eq!(counts, [2, 1]);
    }
}
