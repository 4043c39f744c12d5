//! A season lived through in advance: the real plan against families who answer by chance, many times over.
//!
//! Nothing here draws: every chance is an argument ([`Chance`]), so that one seed gives one rehearsal, and so that a
//! plan and a change of it are tried on the same families. A [`Stage`] is a season made ready once; each
//! [`live`](run::live) of it is one [`RehearsedSeason`]; [`RehearsalOutlook`] and [`Gain`] count courses and keep none.

mod calls;
pub mod chance;
pub mod course;
pub mod fit;
pub mod habits;
pub mod moment;
mod nature;
pub mod outlook;
pub mod run;
pub mod stage;
pub mod variants;

pub use chance::Chance;
pub use course::RehearsedSeason;
pub use habits::Habits;
pub use outlook::{Gain, RehearsalOutlook};
pub use stage::{Stage, Terms};
pub use variants::VariantChange;
