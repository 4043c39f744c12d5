//! When an answer comes.

use super::chance::normal;
use super::habits::WaitingHabit;
use crate::domain::wall;
use jiff::civil::Time;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp, ToSpan};

/// Nobody answers from this local time on (an assumption) ...
pub const ASLEEP_FROM: Time = Time::constant(22, 0, 0, 0);
/// ... until this one (an assumption),
pub const AWAKE_FROM: Time = Time::constant(6, 30, 0, 0);
/// and then within so many minutes (an assumption).
pub const MORNING_MINUTES: f64 = 120.0;
/// Nobody answers later than so many days after a message (an assumption).
pub const LONGEST_DAYS: f64 = 21.0;

/// The moment of an answer to a message sent at `sent`: a log-normal time after it, and where that falls in the night, some
/// time in the morning. The first two draws make the waiting time, the third the morning's minute.
pub fn answered(zone: &TimeZone, sent: Timestamp, waiting: WaitingHabit, draws: [f64; 3]) -> Timestamp {
    let minutes = waiting.median_minutes * (waiting.sigma * normal(draws[0], draws[1])).exp();
    let seconds = (minutes.min(LONGEST_DAYS * 24.0 * 60.0) * 60.0) as i64 + 1;
    let at = sent.saturating_add(SignedDuration::from_secs(seconds)).unwrap_or(sent);
    let local = wall::local(zone, at);
    let day = match local.time() {
        late if late >= ASLEEP_FROM => local.date().saturating_add(1.day()),
        early if early < AWAKE_FROM => local.date(),
        _ => return at,
    };
    let lie_in = SignedDuration::from_secs((draws[2] * MORNING_MINUTES * 60.0) as i64);
    let morning = wall::instant(zone, day.to_datetime(AWAKE_FROM));
    morning.saturating_add(lie_in).unwrap_or(morning)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Draws that make the waiting time its median.
    const MEDIAN: [f64; 2] = [0.0, 0.0];

    fn check(sent: &str, minutes: f64, lie_in: f64, expect: &str) {
        let zone = TimeZone::get("Europe/London").unwrap();
        let waiting = WaitingHabit { median_minutes: minutes, sigma: 2.0 };
        let at = answered(&zone, sent.parse().unwrap(), waiting, [MEDIAN[0], MEDIAN[1], lie_in]);
        let expect: Timestamp = expect.parse().unwrap();
        let off = at.duration_since(expect).as_secs();
        assert!((0..=1).contains(&off), "{sent} {minutes}: {at}");
    }

    #[test]
    fn answers_come_by_day_and_nightly_ones_in_the_morning() {
        check("2027-02-01T18:00:00Z", 35.0, 0.5, "2027-02-01T18:35:00Z");
        check("2027-02-01T18:00:00Z", 239.0, 0.5, "2027-02-01T21:59:00Z");
        check("2027-02-01T18:00:00Z", 240.0, 0.0, "2027-02-02T06:30:00Z");
        check("2027-02-01T18:00:00Z", 600.0, 0.5, "2027-02-02T07:30:00Z");
        check("2027-02-01T18:00:00Z", 750.0, 0.5, "2027-02-02T06:30:00Z");
        // The night in which the clocks go forward.
        check("2027-03-27T21:50:00Z", 15.0, 0.0, "2027-03-28T05:30:00Z");
        check("2027-02-01T12:00:00Z", 1.0e9, 0.5, "2027-02-22T12:00:00Z");
    }
}
