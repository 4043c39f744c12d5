//! What one guardian is like, all season.

use super::chance::DRAWS;
use super::habits::Habits;

/// Texts that somebody puts up with at least before asking for no more (an assumption) ...
const PATIENCE_LEAST: u32 = 2;
/// ... and so many different numbers of them (an assumption).
const PATIENCES: f64 = 4.0;

/// What a guardian is like.
#[derive(Debug, Clone, Copy)]
pub(super) struct Nature {
    /// Never answers anything.
    pub never: bool,
    /// The text at which she asks for no more.
    pub stops_at: Option<u32>,
    /// By mail and by text: whether the address is wrong, and whether that shows.
    pub wrong: [Option<bool>; 2],
}

impl Nature {
    /// The nature that draws give.
    pub fn of(habits: &Habits, draws: [f64; DRAWS]) -> Nature {
        let wrong = |is: f64, shows: f64| (is < habits.wrong).then_some(shows < habits.wrong_refused);
        let patience = PATIENCE_LEAST + (draws[2] * PATIENCES) as u32;
        Nature {
            never: draws[0] < habits.never,
            stops_at: (draws[1] < habits.stops_texts).then_some(patience),
            wrong: [wrong(draws[3], draws[4]), wrong(draws[5], draws[6])],
        }
    }
}
