//! Use cases: load, ask the domain, save. Knows ports, not products.

pub mod ports;
