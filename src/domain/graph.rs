//! The life of a message: one graph, used by code, pages and tests alike.

use std::fmt;

/// Where a message is in its life.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum State {
    /// Planned, waiting for its due time.
    Planned,
    /// Taken by a sender, nothing said to the outside yet.
    Claimed,
    /// An attempt is written down and may have left.
    Attempting,
    /// A gateway took it over.
    Accepted,
    /// A receipt says that it arrived; nobody has been heard from by that.
    Delivered,
    /// Failed for the moment, to be tried again.
    WaitingToRetry,
    /// The plan changed, or the recipient stopped it, before it went.
    Withdrawn,
    /// Its moment passed before it went.
    Expired,
    /// Refused for good.
    Refused,
    /// Came back after it was accepted.
    Bounced,
    /// Set aside because it broke the sender again and again.
    Quarantined,
    /// An attempt of which nobody can know whether it left.
    Uncertain,
}

use State::{
    Accepted, Attempting, Bounced, Claimed, Delivered, Expired, Planned, Quarantined, Refused, Uncertain,
    WaitingToRetry, Withdrawn,
};

impl State {
    /// Every state, in the order of a life.
    pub const ALL: [Self; 12] = [
        Planned,
        Claimed,
        Attempting,
        Accepted,
        Delivered,
        WaitingToRetry,
        Withdrawn,
        Expired,
        Refused,
        Bounced,
        Quarantined,
        Uncertain,
    ];

    /// The word for it, as stored.
    pub fn word(self) -> &'static str {
        match self {
            Planned => "planned",
            Claimed => "claimed",
            Attempting => "attempting",
            Accepted => "accepted",
            Delivered => "delivered",
            WaitingToRetry => "waiting_to_retry",
            Withdrawn => "withdrawn",
            Expired => "expired",
            Refused => "refused",
            Bounced => "bounced",
            Quarantined => "quarantined",
            Uncertain => "uncertain",
        }
    }

    /// The state that a stored word means, or `None`.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|state| state.word() == word)
    }

    /// Whether the sender still has something to do with it, or a person to decide.
    pub fn is_open(self) -> bool {
        matches!(self, Planned | Claimed | Attempting | WaitingToRetry | Uncertain)
    }

    /// Whether nothing more is done about it: only news from outside (a receipt, a bounce) or a person can still move it.
    pub fn is_end(self) -> bool {
        !self.is_open()
    }
}

impl fmt::Display for State {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// What can happen to a message.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Step {
    /// A sender takes it.
    Claim,
    /// The sender gives it back unsent: its lease ended or it stops.
    Release,
    /// The attempt is written down before the first byte leaves.
    Attempt,
    /// The gateway takes it over.
    Accept,
    /// A receipt says that it arrived.
    Deliver,
    /// It goes back to a later due time, such as the morning.
    Postpone,
    /// The attempt failed for the moment.
    RetryLater,
    /// The plan no longer wants it.
    Withdraw,
    /// Its moment passed.
    Expire,
    /// The gateway refuses it for good, or no address is left.
    Refuse,
    /// It came back.
    Bounce,
    /// It broke the sender too often.
    Quarantine,
    /// The attempt's outcome is unknown.
    Doubt,
    /// A journal knows an attempt that the database, put back from a copy, does not.
    Recall,
    /// A receipt or a person says that the doubtful attempt did go.
    Resolve,
    /// The doubtful attempt is repeated, by policy or by a person's decision.
    TryAgain,
    /// What was refused, came back or was set aside is tried once more, by a person's decision alone.
    TakeUp,
}

/// One row of the graph: a step, the states it may be taken from, and the state it leads to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Edge {
    /// What happens.
    pub step: Step,
    /// Where it may happen.
    pub from: &'static [State],
    /// Where it leads.
    pub to: State,
}

const fn row(step: Step, from: &'static [State], to: State) -> Edge {
    Edge { step, from, to }
}

/// The whole graph, a row for each step.
pub const TABLE: [Edge; 17] = [
    row(Step::Claim, &[Planned, WaitingToRetry], Claimed),
    row(Step::Release, &[Claimed], Planned),
    row(Step::Attempt, &[Claimed], Attempting),
    row(Step::Accept, &[Attempting], Accepted),
    row(Step::Deliver, &[Attempting, Accepted, Uncertain], Delivered),
    row(Step::Postpone, &[Claimed], Planned),
    row(Step::RetryLater, &[Attempting], WaitingToRetry),
    row(Step::Withdraw, &[Planned, Claimed, WaitingToRetry, Uncertain], Withdrawn),
    row(Step::Expire, &[Planned, Claimed, WaitingToRetry, Uncertain], Expired),
    row(Step::Refuse, &[Attempting, Claimed], Refused),
    row(Step::Bounce, &[Attempting, Accepted, Delivered, Uncertain], Bounced),
    row(Step::Quarantine, &[Claimed], Quarantined),
    row(Step::Doubt, &[Attempting], Uncertain),
    row(Step::Recall, &[Planned, Claimed, WaitingToRetry], Uncertain),
    row(Step::Resolve, &[Uncertain], Accepted),
    row(Step::TryAgain, &[Uncertain], WaitingToRetry),
    row(Step::TakeUp, &[Refused, Bounced, Quarantined], WaitingToRetry),
];

/// The state that a step leads to, or `None` when it may not be taken from `state`.
pub fn next(state: State, step: Step) -> Option<State> {
    TABLE.iter().find(|row| row.step == step && row.from.contains(&state)).map(|row| row.to)
}

/// The states from which a step may be taken.
pub fn from_states(step: Step) -> &'static [State] {
    TABLE.iter().find(|row| row.step == step).map_or(&[], |row| row.from)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::collections::BTreeSet;

    /// The graph as text, a line for each arrow.
    fn drawn() -> String {
        let arrows = TABLE.iter().flat_map(|row| {
            let line = |from: &State| format!("{from} -{:?}-> {}\n", row.step, row.to);
            row.from.iter().map(line).collect::<Vec<_>>()
        });
        arrows.collect()
    }

    #[test]
    fn the_whole_graph() {
        let expected = "\
planned -Claim-> claimed
waiting_to_retry -Claim-> claimed
claimed -Release-> planned
claimed -Attempt-> attempting
attempting -Accept-> accepted
attempting -Deliver-> delivered
accepted -Deliver-> delivered
uncertain -Deliver-> delivered
claimed -Postpone-> planned
attempting -RetryLater-> waiting_to_retry
planned -Withdraw-> withdrawn
claimed -Withdraw-> withdrawn
waiting_to_retry -Withdraw-> withdrawn
uncertain -Withdraw-> withdrawn
planned -Expire-> expired
claimed -Expire-> expired
waiting_to_retry -Expire-> expired
uncertain -Expire-> expired
attempting -Refuse-> refused
claimed -Refuse-> refused
attempting -Bounce-> bounced
accepted -Bounce-> bounced
delivered -Bounce-> bounced
uncertain -Bounce-> bounced
claimed -Quarantine-> quarantined
attempting -Doubt-> uncertain
planned -Recall-> uncertain
claimed -Recall-> uncertain
waiting_to_retry -Recall-> uncertain
uncertain -Resolve-> accepted
uncertain -TryAgain-> waiting_to_retry
refused -TakeUp-> waiting_to_retry
bounced -TakeUp-> waiting_to_retry
quarantined -TakeUp-> waiting_to_retry
";
        assert_eq!(drawn(), expected);
    }

    #[test]
    fn every_step_has_one_row_and_the_two_lookups_agree() {
        let steps: BTreeSet<Step> = TABLE.iter().map(|row| row.step).collect();
        assert_eq!(steps.len(), TABLE.len());
        for row in TABLE {
            for state in State::ALL {
                let allowed = from_states(row.step).contains(&state);
                assert_eq!(next(state, row.step), allowed.then_some(row.to));
            }
        }
    }

    #[test]
    fn ends_are_left_only_by_news_from_outside_or_a_person() {
        for state in State::ALL.into_iter().filter(|state| state.is_end()) {
            let ways: Vec<Step> =
                TABLE.iter().filter(|row| row.from.contains(&state)).map(|row| row.step).collect();
            let declared = match state {
                Accepted => vec![Step::Deliver, Step::Bounce],
                Delivered => vec![Step::Bounce],
                Refused | Bounced | Quarantined => vec![Step::TakeUp],
                _ => vec![],
            };
            assert_eq!(ways, declared, "{state}");
        }
    }

    #[test]
    fn every_state_can_be_reached_and_every_open_one_can_end() {
        let mut reached = BTreeSet::from([Planned]);
        let mut ending: BTreeSet<State> = State::ALL.into_iter().filter(|s| s.is_end()).collect();
        for _ in State::ALL {
            for row in TABLE {
                if row.from.iter().any(|from| reached.contains(from)) {
                    reached.insert(row.to);
                }
                if ending.contains(&row.to) {
                    ending.extend(row.from);
                }
            }
        }
        assert_eq!(reached.len(), State::ALL.len());
        assert_eq!(ending.len(), State::ALL.len());
    }

    #[test]
    fn words_go_both_ways() {
        for state in State::ALL {
            assert_eq!(State::from_word(state.word()), Some(state));
        }
        assert_eq!(State::from_word("Planned"), None);
        assert_eq!(State::from_word(""), None);
    }

    proptest! {
        #[test]
        fn nothing_leaves_unless_an_attempt_was_written_down(
            picks in proptest::collection::vec(0_usize..TABLE.len(), 0..60),
        ) {
            let mut state = Planned;
            let mut attempted = false;
            for pick in picks {
                let step = TABLE[pick].step;
                let Some(to) = next(state, step) else { continue };
                attempted |= matches!(step, Step::Attempt | Step::Recall);
                prop_assert!(!state.is_end() || matches!(step, Step::Deliver | Step::Bounce | Step::TakeUp));
                let left = matches!(to, Accepted | Delivered | Bounced | Uncertain);
                prop_assert!(attempted || !left);
                state = to;
            }
        }
    }
}
