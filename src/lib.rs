//! Allheard tells every guardian of a children's show the times and rules that apply to their child,
//! and knows who has been heard from.

pub mod domain;
pub mod web;
