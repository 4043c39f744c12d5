//! The rate of a road, counted in the database: one for all processes that share it.
//!
//! The generic cell rate algorithm (ITU-T I.371 annex A, from memory): one instant says how far the rate is used up. A burst is
//! what may leave in a second.

use super::db::Tx;
use super::sql;
use crate::domain::season::Channel;
use crate::service::ports::StoreFault;
use jiff::Timestamp;

/// Microseconds in a second.
const SECOND_US: f64 = 1_000_000.0;
/// The slowest rate that is reckoned with, messages a second.
const SLOWEST: f64 = 0.001;

/// How far a road's rate is used up.
pub(super) struct Pace {
    season: i64,
    channel: Channel,
    now_us: i64,
    /// Until when the rate is used up.
    free_us: i64,
    /// Microseconds that one message takes.
    step_us: f64,
    /// Microseconds that may be used up ahead.
    ahead_us: f64,
}

impl Pace {
    /// Reads it inside the transaction that is going to use some of it up.
    pub(super) async fn read(
        tx: &mut Tx,
        season: i64,
        channel: Channel,
        per_second: f64,
        now: Timestamp,
    ) -> Result<Pace, StoreFault> {
        let rows = tx.fetch(sql::PACE, vec![season.into(), channel.word().into()]).await?;
        let stored = rows.first().map_or(Ok(0), |row| row.int(0))?;
        Ok(Pace::of(season, channel, per_second, now.as_microsecond(), stored))
    }

    fn of(season: i64, channel: Channel, per_second: f64, now_us: i64, stored: i64) -> Pace {
        let rate = per_second.max(SLOWEST);
        let step_us = SECOND_US / rate;
        let ahead_us = step_us * rate.max(1.0);
        // What lies further ahead than a burst was written by a clock that has been set back since.
        let free_us = stored.clamp(now_us, now_us + ahead_us as i64);
        Pace { season, channel, now_us, free_us, step_us, ahead_us }
    }

    /// How many messages may leave now.
    pub(super) fn room(&self) -> u32 {
        let left = self.ahead_us - (self.free_us - self.now_us) as f64;
        (left / self.step_us + f64::EPSILON).floor() as u32
    }

    /// When a whole burst may leave again: waiting for it keeps transactions few without slowing the rate.
    pub(super) fn whole_again(&self) -> Option<Timestamp> {
        Timestamp::from_microsecond(self.free_us.max(self.now_us + 1_000)).ok()
    }

    /// Uses it up.
    pub(super) async fn use_up(&self, tx: &mut Tx, messages: usize) -> Result<(), StoreFault> {
        let until = self.free_us + (self.step_us * messages as f64) as i64;
        let values = vec![self.season.into(), self.channel.word().into(), until.into()];
        tx.run(sql::PACE_SET, values).await.map(|_| ())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pace(per_second: f64, now_us: i64, stored: i64) -> Pace {
        Pace::of(1, Channel::Mail, per_second, now_us, stored)
    }

    #[test]
    fn a_burst_is_a_seconds_worth_and_one_at_least() {
        for (rate, burst) in [(10.0, 10), (1.0, 1), (0.2, 1), (2.5, 2), (1e9, 1_000_000_000)] {
            assert_eq!(pace(rate, 5_000_000, 0).room(), burst, "{rate}");
        }
        // Half of it used up: five more now, all ten in half a second.
        assert_eq!(pace(10.0, 5_000_000, 5_500_000).room(), 5);
        assert_eq!(pace(10.0, 5_500_000, 5_500_000).room(), 10);
        assert_eq!(pace(10.0, 5_000_000, 6_000_000).room(), 0);
        assert_eq!(
            pace(10.0, 5_000_000, 6_000_000).whole_again(),
            Timestamp::from_microsecond(6_000_000).ok()
        );
    }

    #[test]
    fn a_clock_set_back_stops_nothing_for_longer_than_a_burst() {
        let far = pace(10.0, 5_000_000, 7_200_000_000);
        assert_eq!(far.room(), 0);
        assert_eq!(far.whole_again(), Timestamp::from_microsecond(6_000_000).ok());
    }
}
