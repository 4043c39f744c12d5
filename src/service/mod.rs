//! What the program does with the domain's answers, apart from any network, page or database.

pub mod letter;
pub mod samples;
pub mod wording;
