//! When to try again after a temporary failure: exponential steps with full jitter, inside the time that is left.
//!
//! Full jitter (a wait drawn evenly between nothing and the step) keeps many messages that failed together from coming
//! back together. The figures are common practice, no source.

use jiff::{SignedDuration, Timestamp};

/// Milliseconds of the first step.
pub const BASE_MS: i64 = 30_000;

/// Milliseconds of the longest step.
pub const CAP_MS: i64 = 30 * 60_000;

/// Milliseconds that must be left before the message's moment passes for another try to be worth making.
pub const LEAST_LEFT_MS: i64 = 10_000;

/// Milliseconds to wait after the given attempt (the first is 1), drawn by `random` in `[0, 1)` between 0 and a step
/// that starts at `base_ms` and doubles each time up to `cap_ms`. Negative steps count as 0.
pub fn delay_ms(attempt: u32, base_ms: i64, cap_ms: i64, random: f64) -> i64 {
    draw(step_ms(attempt, base_ms, cap_ms), random)
}

/// When to try again after the given attempt failed for the moment; `None` when too little time is left, so that
/// another channel, guardian or person takes over.
///
/// The wait never reaches the moment itself: a step longer than the time left is drawn within the time left.
pub fn next_try(now: Timestamp, attempt: u32, useful_until: Timestamp, random: f64) -> Option<Timestamp> {
    let left = useful_until.as_millisecond() - now.as_millisecond();
    if left < LEAST_LEFT_MS {
        return None;
    }
    let step = step_ms(attempt, BASE_MS, CAP_MS).min(left);
    let wait = SignedDuration::from_millis(draw(step, random).max(1));
    let at = now.checked_add(wait).ok()?;
    (at < useful_until).then_some(at)
}

/// The step after an attempt, before the draw.
fn step_ms(attempt: u32, base_ms: i64, cap_ms: i64) -> i64 {
    let doublings = attempt.saturating_sub(1);
    let factor = 1_i64.checked_shl(doublings).filter(|f| *f > 0);
    factor.map_or(i64::MAX, |f| base_ms.saturating_mul(f)).min(cap_ms).max(0)
}

/// A whole number of milliseconds in `[0, step)`, or 0 when the step is.
fn draw(step: i64, random: f64) -> i64 {
    let drawn = (random.clamp(0.0, 1.0) * step as f64) as i64;
    drawn.min(step - 1).max(0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn steps_double_up_to_the_cap() {
        let nearly_one = 1.0 - f64::EPSILON;
        let longest: Vec<i64> = (1..=5).map(|attempt| delay_ms(attempt, 1000, 6000, nearly_one)).collect();
        assert_eq!(longest, vec![999, 1999, 3999, 5999, 5999]);
        assert_eq!(delay_ms(u32::MAX, 1000, 6000, nearly_one), 5999);
        assert_eq!(delay_ms(0, 1000, 6000, nearly_one), 999);
        assert_eq!(delay_ms(3, 1000, 6000, 0.0), 0);
        assert_eq!(delay_ms(3, 1000, 6000, 0.5), 2000);
        assert_eq!(delay_ms(3, -1, 6000, 0.5), 0);
        assert_eq!(delay_ms(3, 1000, 6000, f64::NAN), 0);
    }

    #[test]
    fn too_little_time_left_ends_the_trying() {
        let now: Timestamp = "2026-12-05T15:00:00Z".parse().unwrap();
        let after = |ms| now + SignedDuration::from_millis(ms);
        assert_eq!(next_try(now, 1, after(LEAST_LEFT_MS - 1), 0.5), None);
        assert_eq!(next_try(now, 1, after(-1), 0.5), None);
        assert_eq!(next_try(now, 9, after(LEAST_LEFT_MS), 0.5), Some(after(LEAST_LEFT_MS / 2)));
        assert_eq!(next_try(now, 1, after(CAP_MS), 0.5), Some(after(BASE_MS / 2)));
        assert_eq!(next_try(now, 1, after(CAP_MS), 0.0), Some(after(1)));
    }

    proptest! {
        #[test]
        fn a_try_lies_after_now_and_before_the_moment(
            attempt in 0_u32..100, left in 0_i64..10_000_000, random in 0.0_f64..1.0,
        ) {
            let now: Timestamp = "2026-12-05T15:00:00Z".parse().unwrap();
            let until = now + SignedDuration::from_millis(left);
            match next_try(now, attempt, until, random) {
                Some(at) => {
                    prop_assert!(now < at && at < until);
                    prop_assert!(at <= now + SignedDuration::from_millis(CAP_MS));
                }
                None => prop_assert!(left < LEAST_LEFT_MS),
            }
        }

        #[test]
        fn waits_are_spread_over_the_whole_step(attempt in 1_u32..20) {
            let waits: Vec<i64> = (0..10)
                .map(|tenth| delay_ms(attempt, BASE_MS, CAP_MS, f64::from(tenth) / 10.0))
                .collect();
            let step = step_ms(attempt, BASE_MS, CAP_MS);
            for (tenth, wait) in (0_i64..).zip(&waits) {
                prop_assert!((wait - step * tenth / 10).abs() <= 1);
            }
        }
    }
}
