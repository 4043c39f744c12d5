//! Allheard tells every guardian of a children's show the times and rules that apply to their child,
//! and knows who has been heard from.

pub mod app;
pub mod audit;
pub mod cli;
pub mod demo;
pub mod domain;
pub mod gateway;
pub mod service;
pub mod store;
pub mod telemetry;
pub mod web;
pub mod workbook;
