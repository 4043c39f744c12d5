//! What the configuration says of costs and rates, for plans.

use super::config::{Config, Means};
use crate::domain::departures::Pace;
use crate::domain::money::Money;
use crate::service::outlook::{Paces, Tariff, Tariffs};

/// The cost a key holds; none where it is empty.
fn cost(key: &str, text: &str) -> Result<Option<Money>, String> {
    if text.trim().is_empty() {
        return Ok(None);
    }
    text.parse().map(Some).map_err(|fault| format!("{key} is '{text}': {fault}, or leave it empty"))
}

impl Config {
    /// Everything wrong with the costs.
    pub(super) fn tariff_faults(&self) -> Vec<String> {
        let gateways = self.texts.gateways.iter();
        let texts =
            gateways.map(|gateway| cost(&format!("cost of text gateway '{}'", gateway.name), &gateway.cost));
        std::iter::once(cost("mail.cost", &self.mail.cost)).chain(texts).filter_map(Result::err).collect()
    }

    /// What a mail and a segment cost, as far as that is known. A folder costs nothing that anybody knows.
    pub fn tariffs(&self) -> Tariffs {
        let known = |text: &str| cost("", text).ok().flatten();
        let gateways = self.texts.gateways.iter();
        Tariffs {
            mail: known(&self.mail.cost),
            texts: gateways
                .map(|gateway| Tariff {
                    name: gateway.name.clone(),
                    prefixes: gateway.prefixes.clone(),
                    cost: known(&gateway.cost),
                })
                .collect(),
        }
    }

    /// How fast mail and texts leave.
    pub fn paces(&self) -> Paces {
        let text = match self.texts.by {
            // The slowest sets the pace, as it does in sending.
            Means::Http => {
                let gateways = &self.texts.gateways;
                let rate = gateways.iter().map(|gateway| gateway.per_second).fold(f64::MAX, f64::min);
                Pace::of(rate, gateways.iter().map(|gateway| gateway.sessions).min().unwrap_or(1))
            }
            Means::Folder | Means::Smtp => Pace::of(self.texts.per_second, 1),
        };
        Paces { mail: Pace::of(self.mail.per_second, self.mail.sessions), text }
    }
}
