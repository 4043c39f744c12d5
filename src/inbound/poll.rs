//! Answers fetched from a gateway's inbox, for hosts that gateways cannot reach.

use super::fields::{self, FieldItem, Places};
use crate::service::hearing::CarrierNews;
use jiff::Timestamp;
use reqwest::header::HeaderName;
use reqwest::{Client, StatusCode};
use std::time::Duration;

/// Octets of one page of an inbox that are read.
const PAGE_MAX_OCTETS: usize = 4 * 1024 * 1024;

/// An inbox as the configuration describes it.
#[derive(Debug, Clone)]
pub struct Inbox {
    /// Name, for people.
    pub name: String,
    /// Address of its page of newest texts.
    pub url: String,
    /// Header fields.
    pub headers: Vec<(HeaderName, String)>,
    /// User and password, for Basic authentication.
    pub login: Option<(String, String)>,
    /// JSON pointer to the list; empty if the whole is one.
    pub list: String,
    /// Where things stand in an item.
    pub places: Places,
    /// How often it is looked into.
    pub every: Duration,
}

impl Inbox {
    /// Everything on its page; what was taken in before is known by its identifier.
    ///
    /// # Errors
    /// What went wrong, in a few words without personal data.
    pub async fn fetch(&self, client: &Client, now: Timestamp) -> Result<Vec<CarrierNews>, String> {
        let mut request = client.get(&self.url);
        for (name, value) in &self.headers {
            request = request.header(name, value);
        }
        if let Some((user, password)) = &self.login {
            request = request.basic_auth(user, Some(password));
        }
        let mut response = request.send().await.map_err(|error| {
            if error.is_connect() { "no connection".to_owned() } else { "no answer".to_owned() }
        })?;
        if response.status() != StatusCode::OK {
            return Err(format!("status {}", response.status().as_u16()));
        }
        let mut octets = Vec::new();
        while let Some(chunk) = response.chunk().await.map_err(|_| "the answer was cut short".to_owned())? {
            if octets.len() + chunk.len() > PAGE_MAX_OCTETS {
                return Err(format!("more than {PAGE_MAX_OCTETS} octets"));
            }
            octets.extend_from_slice(&chunk);
        }
        let whole: serde_json::Value =
            serde_json::from_slice(&octets).map_err(|_| "the answer is not JSON".to_owned())?;
        let items =
            fields::items(&whole, &self.list).ok_or_else(|| format!("it has no list at '{}'", self.list))?;
        let mut told = Vec::with_capacity(items.len());
        for item in items {
            match fields::read(&self.name, &self.places, &FieldItem::Json(item), now) {
                Ok(one) => told.push(one),
                Err(why) => tracing::warn!(inbox = self.name, why, "an item of the inbox cannot be read"),
            }
        }
        Ok(told)
    }
}
