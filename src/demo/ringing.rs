//! How invented families are reached by telephone: mostly at once, sometimes not, and a dead number is somebody else's.
//!
//! Assumptions, no source: they only have to be of the right size.

use super::dice::Dice;

/// Of calls to a number that works, how many are answered by the right person.
const ANSWERED: f64 = 0.72;
/// Of calls that are not, how many end with a promise to call back.
const WILL_CALL_BACK: f64 = 0.25;
/// Of those who are spoken to, how many say that the child is not coming.
const NOT_COMING: f64 = 0.01;

/// How a call ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Spoke {
    /// The times were read out, and they said yes.
    Yes,
    /// The child is not coming.
    NotComing,
    /// Nobody answered.
    NoAnswer,
    /// Whoever answered was busy.
    WillCallBack,
}

/// How the call number `nth` to a family ends.
pub fn call(seed: u64, guardian: &str, nth: usize) -> Spoke {
    let mut dice = Dice::new(seed, &format!("call {guardian} {nth}"));
    match (dice.chance(ANSWERED), dice.chance(WILL_CALL_BACK), dice.chance(NOT_COMING)) {
        (true, _, true) => Spoke::NotComing,
        (true, _, false) => Spoke::Yes,
        (false, true, _) => Spoke::WillCallBack,
        (false, false, _) => Spoke::NoAnswer,
    }
}
