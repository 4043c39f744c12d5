//! The way in: how long a walk takes, and when the family should have parked.

use jiff::ToSpan;
use jiff::civil::DateTime;

/// Feet per second of a brisk walker. Source: MUTCD 2009 section 4E.06 paragraph 07, signal clearance.
pub const FAST_FEET_PER_SECOND: f64 = 3.5;

/// Feet per second of a slower walker, such as an adult with a child. Source: MUTCD 2009 section 4E.06 paragraph 14.
pub const SLOW_FEET_PER_SECOND: f64 = 3.0;

/// Metres in a foot, exact since 1959.
const METRES_PER_FOOT: f64 = 0.3048;

/// Park-by times are rounded down to this many minutes (common practice, no source).
pub const PARK_STEP_MINUTES: i8 = 5;

/// A part of a minute too small to be walked: what floating-point arithmetic may add to an exact border.
const ROUNDING_MINUTES: f64 = 1e-6;

/// Whole minutes, rounded up, that a distance in metres takes at a speed in feet per second.
///
/// No distance takes no time; at no speed, or one that is no number, the walk takes [`u32::MAX`].
pub fn walk_minutes(metres: f64, feet_per_second: f64) -> u32 {
    if metres <= 0.0 {
        return 0;
    }
    let minutes = metres / (feet_per_second * METRES_PER_FOOT * 60.0);
    if !minutes.is_finite() || minutes < 0.0 {
        return u32::MAX;
    }
    // The conversion saturates; the value is whole and not negative.
    (minutes - ROUNDING_MINUTES).ceil() as u32
}

/// The walk as a range of whole minutes, shortest first: at [`FAST_FEET_PER_SECOND`] and at the given slow speed.
pub fn walk_range(metres: f64, slow_feet_per_second: f64) -> (u32, u32) {
    let fast = walk_minutes(metres, FAST_FEET_PER_SECOND);
    let slow = walk_minutes(metres, slow_feet_per_second);
    (fast.min(slow), fast.max(slow))
}

/// When the family should have parked: the call less the longest walk and the time to sign in, all in minutes, rounded
/// down to [`PARK_STEP_MINUTES`] on the wall clock.
pub fn park_by(call: DateTime, longest_walk: u32, sign_in: u32) -> DateTime {
    let minutes = i64::from(longest_walk) + i64::from(sign_in);
    let exact = call.saturating_sub(minutes.minutes());
    let into_step = exact.minute() % PARK_STEP_MINUTES;
    let whole_minute = exact.date().at(exact.hour(), exact.minute() - into_step, 0, 0);
    whole_minute.min(exact)
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;
    use proptest::prelude::*;

    #[test]
    fn the_worked_example() {
        // Common practice, no source: call 17:00, a walk of 15 to 20 minutes, 5 to sign in.
        let call = date(2026, 12, 5).at(17, 0, 0, 0);
        assert_eq!(park_by(call, 20, 5), date(2026, 12, 5).at(16, 35, 0, 0));
        assert_eq!(park_by(call, 21, 5), date(2026, 12, 5).at(16, 30, 0, 0));
        assert_eq!(park_by(call, 0, 0), call);
    }

    #[test]
    fn parking_may_fall_on_the_day_before() {
        let call = date(2027, 1, 1).at(0, 10, 0, 0);
        assert_eq!(park_by(call, 12, 0), date(2026, 12, 31).at(23, 55, 0, 0));
    }

    #[test]
    fn distances_and_speeds_that_make_no_sense() {
        assert_eq!(walk_minutes(0.0, 3.0), 0);
        assert_eq!(walk_minutes(-5.0, 3.0), 0);
        assert_eq!(walk_minutes(100.0, 0.0), u32::MAX);
        assert_eq!(walk_minutes(100.0, -3.0), u32::MAX);
        assert_eq!(walk_minutes(100.0, f64::NAN), u32::MAX);
        assert_eq!(walk_minutes(f64::NAN, 3.0), u32::MAX);
        assert_eq!(park_by(DateTime::MIN, 9, 9), DateTime::MIN);
    }

    proptest! {
        #[test]
        fn an_exact_border_is_not_rounded_up(minutes in 1_u32..600, tenths in 20_u32..60) {
            let speed = f64::from(tenths) / 10.0;
            let metres = f64::from(minutes) * 60.0 * speed * METRES_PER_FOOT;
            prop_assert_eq!(walk_minutes(metres, speed), minutes);
            prop_assert_eq!(walk_minutes(metres + 0.01, speed), minutes + 1);
        }

        #[test]
        fn parking_is_early_enough_and_no_earlier_than_the_rounding(
            minute in 0_i64..1440, walk in 0_u32..120, sign_in in 0_u32..60,
        ) {
            let call = date(2026, 12, 5).at(0, 0, 0, 0) + minute.minutes();
            let parked = park_by(call, walk, sign_in);
            let slack = call.duration_since(parked).as_mins() - i64::from(walk + sign_in);
            prop_assert!((0..i64::from(PARK_STEP_MINUTES)).contains(&slack));
            prop_assert_eq!(parked.minute() % PARK_STEP_MINUTES, 0);
        }
    }
}
