//! How families behave: the shares that answer and how long they take, assumed or learnt.

use crate::domain::season::Channel;

/// A log-normal waiting time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WaitingHabit {
    /// Half of all answers have come after so many minutes.
    pub median_minutes: f64,
    /// Deviation of its logarithm.
    pub sigma: f64,
}

/// What families do. Every share is a share of everybody asked, those who never answer included.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Habits {
    /// Share that answers the first asking, by text alone.
    pub first_text: f64,
    /// The same, by mail alone.
    pub first_mail: f64,
    /// The same, where it goes by mail and text.
    pub first_both: f64,
    /// Share of the rest that answers the second, the third, and each later asking.
    pub later: [f64; 3],
    /// Share of the rest that a call reaches and settles.
    pub ring: f64,
    /// Share that never answers anything.
    pub never: f64,
    /// Waiting time of answers to texts.
    pub text: WaitingHabit,
    /// Waiting time of answers to mail.
    pub mail: WaitingHabit,
    /// Share of addresses that are wrong or dead.
    pub wrong: f64,
    /// Share of those that a carrier refuses; the others take messages that nobody reads.
    pub wrong_refused: f64,
    /// Share of guardians who ask for texts to stop.
    pub stops_texts: f64,
    /// Share of answers that say the child can't come.
    pub cant_come: f64,
    /// Share of answers that are a question, which settles nothing.
    pub question: f64,
}

/// What was learnt from real answers; none where there were too few to say anything.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Fitted {
    /// See [`Habits::first_text`].
    pub first_text: Option<f64>,
    /// See [`Habits::first_mail`].
    pub first_mail: Option<f64>,
    /// See [`Habits::first_both`].
    pub first_both: Option<f64>,
    /// See [`Habits::later`].
    pub later: [Option<f64>; 3],
    /// See [`Habits::text`].
    pub text: Option<WaitingHabit>,
    /// See [`Habits::mail`].
    pub mail: Option<WaitingHabit>,
    /// Answers that were counted.
    pub answers: u32,
}

impl Habits {
    /// The assumptions, each as good as its mark.
    pub const fn assumed() -> Habits {
        Habits {
            // An assumption; the order of text, mail and both follows published trials of reminders.
            first_text: 0.55,
            first_mail: 0.35,
            first_both: 0.65,
            // An assumption.
            later: [0.30, 0.20, 0.15],
            // An assumption.
            ring: 0.70,
            // Computed: after 65 in 100, then 30, 20 and 15 of each rest and 70 of the last, 5 in 100 are left.
            never: 0.05,
            // An assumption; 61 in 100 within an hour, close to the 60 that carriers publish.
            text: WaitingHabit { median_minutes: 35.0, sigma: 2.0 },
            // An assumption; 68 in 100 within a day.
            mail: WaitingHabit { median_minutes: 600.0, sigma: 1.9 },
            // An assumption.
            wrong: 0.06,
            // An assumption.
            wrong_refused: 0.5,
            // An assumption.
            stops_texts: 0.01,
            // An assumption.
            cant_come: 0.015,
            // An assumption.
            question: 0.025,
        }
    }

    /// The same habits with what was learnt in the place of what was assumed.
    ///
    /// Once answers were counted no address counts as wrong any more: those that refuse are known by then, and those
    /// that nobody reads are among the silent that were counted.
    pub fn with(self, fitted: &Fitted) -> Habits {
        let mut later = self.later;
        for (assumed, learnt) in later.iter_mut().zip(fitted.later) {
            *assumed = learnt.unwrap_or(*assumed);
        }
        Habits {
            first_text: fitted.first_text.unwrap_or(self.first_text),
            first_mail: fitted.first_mail.unwrap_or(self.first_mail),
            first_both: fitted.first_both.unwrap_or(self.first_both),
            later,
            text: fitted.text.unwrap_or(self.text),
            mail: fitted.mail.unwrap_or(self.mail),
            wrong: if fitted.answers > 0 { 0.0 } else { self.wrong },
            ..self
        }
    }

    /// The waiting time of answers by a channel.
    pub fn waiting(&self, channel: Channel) -> WaitingHabit {
        match channel {
            Channel::Mail => self.mail,
            Channel::Text => self.text,
        }
    }

    /// Share of the rest that answers the asking after `before` others; the first is by this channel alone.
    pub fn share(&self, before: u32, channel: Channel) -> f64 {
        match (before, channel) {
            (0, Channel::Text) => self.first_text,
            (0, Channel::Mail) => self.first_mail,
            (later, _) => self.later[(later as usize - 1).min(self.later.len() - 1)],
        }
    }

    /// Share of the rest that answers the same asking's second copy: so many that both together draw what is said of
    /// both. A later asking counts once, by however many roads it comes.
    pub fn share_of_copy(&self, before: u32, first: Channel) -> f64 {
        let alone = self.share(0, first);
        if before > 0 || alone >= 1.0 { 0.0 } else { ((self.first_both - alone) / (1.0 - alone)).max(0.0) }
    }

    /// A share of all who have not answered as a chance of one who is not among those that never do: `rest` is the
    /// share of everybody that had not answered before.
    pub fn chance(&self, share: f64, rest: f64) -> f64 {
        let may = rest - self.never;
        if may <= 0.0 { 1.0 } else { (share * rest / may).clamp(0.0, 1.0) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_follow_one_another_as_assumed() {
        let habits = Habits::assumed();
        for (before, channel, expect) in [
            (0, Channel::Text, 0.55),
            (0, Channel::Mail, 0.35),
            (1, Channel::Mail, 0.30),
            (2, Channel::Text, 0.20),
            (3, Channel::Text, 0.15),
            (9, Channel::Text, 0.15),
        ] {
            assert_eq!(habits.share(before, channel), expect, "{before} {channel:?}");
        }
    }

    #[test]
    fn both_roads_draw_what_is_said_of_both_whichever_comes_first() {
        let habits = Habits::assumed();
        for first in [Channel::Mail, Channel::Text] {
            let alone = habits.share(0, first);
            let together = 1.0 - (1.0 - alone) * (1.0 - habits.share_of_copy(0, first));
            assert!((together - 0.65).abs() < 1e-12, "{first:?} {together}");
        }
        assert_eq!(habits.share_of_copy(1, Channel::Text), 0.0);
    }

    #[test]
    fn the_share_that_never_answers_is_what_the_other_shares_leave() {
        let habits = Habits::assumed();
        let left = habits.later.iter().fold(1.0 - habits.first_both, |rest, share| rest * (1.0 - share));
        assert!((left * (1.0 - habits.ring) - habits.never).abs() < 0.001, "{left}");
        // So a call reaches everybody who ever answers.
        assert!(habits.chance(habits.ring, left) > 0.99);
    }

    #[test]
    fn a_share_of_all_is_a_larger_chance_of_those_who_may() {
        let habits = Habits::assumed();
        // 55 of 100, five of whom never do.
        assert!((habits.chance(0.55, 1.0) * 0.95 - 0.55).abs() < 1e-12);
        assert_eq!(habits.chance(0.15, 0.04), 1.0);
    }

    #[test]
    fn what_was_learnt_stands_in_the_place_of_what_was_assumed() {
        let learnt = WaitingHabit { median_minutes: 12.0, sigma: 1.0 };
        let fitted = Fitted { first_mail: Some(0.5), text: Some(learnt), ..Fitted::default() };
        let habits = Habits::assumed().with(&fitted);
        assert_eq!((habits.first_mail, habits.text), (0.5, learnt));
        assert_eq!((habits.first_text, habits.later), (0.55, Habits::assumed().later));
        assert_eq!(habits.wrong, 0.06);
        assert_eq!(Habits::assumed().with(&Fitted { answers: 1, ..fitted }).wrong, 0.0);
    }
}
