//! The only traffic with the outside world's carriers: one closed enum behind one narrow seam.
//!
//! To add a gateway: one file here, one line in [`Road`] and its match.

pub mod folder;
pub mod http;
pub mod mail;
pub mod memory;
pub mod smtp;
pub mod tls;

use crate::domain::season::Channel;
use crate::service::ports::{Content, Gateway, Handed, Outcome, Parcel, Witness};
use jiff::{SignedDuration, Timestamp};
use std::sync::Mutex;

/// How long a gateway that cannot be used is passed over while others are tried.
const UNUSABLE_RESTS: SignedDuration = SignedDuration::from_mins(10);
/// How long one that could not be reached is.
const UNREACHED_RESTS: SignedDuration = SignedDuration::from_secs(30);

/// One way out.
pub enum Road {
    /// A mail server.
    Smtp(Box<smtp::Smtp>),
    /// A text gateway over HTTP.
    Http(Box<http::Http>),
    /// A folder of files.
    Folder(folder::Folder),
    /// Memory, for tests.
    Memory(memory::Memory),
}

impl Road {
    async fn send(&self, parcel: &Parcel) -> Handed {
        match self {
            Road::Smtp(smtp) => smtp.send(parcel).await.into(),
            Road::Http(http) => http.send(parcel).await,
            Road::Folder(folder) => folder.send(parcel).await.into(),
            Road::Memory(memory) => memory.send(parcel).into(),
        }
    }

    fn serves(&self, address: &str) -> bool {
        match self {
            Road::Http(http) => http.spec.serves(address),
            Road::Smtp(_) | Road::Folder(_) | Road::Memory(_) => true,
        }
    }

    /// Whether the other side knows a second copy by its reference: a mail by its Message-ID, a file by its name.
    fn knows_again(&self) -> bool {
        match self {
            Road::Http(http) => http.spec.honours_reference,
            Road::Smtp(_) | Road::Folder(_) => true,
            Road::Memory(_) => false,
        }
    }
}

/// A road with its rate and its sessions.
pub struct Carrier {
    /// The road.
    pub road: Road,
    /// Messages a second.
    pub per_second: f64,
    /// Sessions at once.
    pub sessions: usize,
}

/// A carrier of texts that is passed over for the moment, and why.
#[derive(Debug, Clone)]
struct Rest {
    until: Timestamp,
    why: String,
}

/// The carriers of texts, in order of preference.
pub struct Texts {
    carriers: Vec<Carrier>,
    rests: Mutex<Vec<Option<Rest>>>,
}

impl Texts {
    /// In order of preference.
    pub fn new(carriers: Vec<Carrier>) -> Texts {
        let rests = Mutex::new(vec![None; carriers.len()]);
        Texts { carriers, rests }
    }

    /// The carriers.
    pub fn carriers(&self) -> &[Carrier] {
        &self.carriers
    }

    /// Tries one after the other, as long as it is certain that the one before took nothing.
    async fn send(&self, parcel: &Parcel) -> Handed {
        let mut last: Option<Handed> = None;
        let serving = self.carriers.iter().enumerate().filter(|(_, carrier)| carrier.road.serves(&parcel.to));
        for (at, carrier) in serving {
            if let Some(rest) = self.rest(at, parcel.at) {
                let seconds = rest.until.duration_since(parcel.at).as_secs().max(1);
                let after_seconds = u32::try_from(seconds).ok();
                last.get_or_insert_with(|| Outcome::Temporary { why: rest.why, after_seconds }.into());
                continue;
            }
            let handed = carrier.road.send(parcel).await;
            let (why, rests) = match &handed.outcome {
                Outcome::Unusable { why } => (why, UNUSABLE_RESTS),
                Outcome::Temporary { why, after_seconds } => {
                    (why, after_seconds.map_or(UNREACHED_RESTS, |s| SignedDuration::from_secs(i64::from(s))))
                }
                Outcome::Accepted
                | Outcome::Refused { .. }
                | Outcome::Suspect { .. }
                | Outcome::Uncertain { .. } => return handed,
            };
            // Also the only one: the rest of what is due need not find out one by one.
            self.pass_over(at, parcel.at.saturating_add(rests).unwrap_or(parcel.at), why);
            last = Some(handed);
        }
        last.unwrap_or_else(|| {
            Outcome::Refused { why: "no gateway serves this country".to_owned(), address: true }.into()
        })
    }

    fn rest(&self, at: usize, now: Timestamp) -> Option<Rest> {
        self.rests.lock().ok()?.get(at)?.clone().filter(|rest| rest.until > now)
    }

    fn pass_over(&self, at: usize, until: Timestamp, why: &str) {
        if let Ok(mut rests) = self.rests.lock()
            && let Some(slot) = rests.get_mut(at)
        {
            *slot = Some(Rest { until, why: why.to_owned() });
        }
        tracing::warn!(gateway = at + 1, why, "text gateway passed over");
    }
}

/// The carriers of both channels.
pub struct Gateways {
    /// For mail.
    pub mail: Carrier,
    /// For texts.
    pub text: Texts,
}

impl Gateway for Gateways {
    async fn send(&self, parcel: &Parcel) -> Handed {
        match parcel.content {
            Content::Text(_) => self.text.send(parcel).await,
            Content::Mail(_) => self.mail.road.send(parcel).await,
        }
    }

    fn per_second(&self, channel: Channel) -> f64 {
        match channel {
            Channel::Mail => self.mail.per_second,
            // The slowest sets the pace, since any of them may have to take everything.
            Channel::Text => self.text.carriers.iter().map(|c| c.per_second).fold(f64::MAX, f64::min),
        }
    }

    fn sessions(&self, channel: Channel) -> usize {
        match channel {
            Channel::Mail => self.mail.sessions,
            Channel::Text => self.text.carriers.iter().map(|c| c.sessions).min().unwrap_or(1),
        }
    }

    fn knows_again(&self, channel: Channel) -> bool {
        match channel {
            Channel::Mail => self.mail.road.knows_again(),
            Channel::Text => self.text.carriers.iter().all(|c| c.road.knows_again()),
        }
    }

    fn witnesses(&self) -> Vec<Witness> {
        let clock = |carrier: &Carrier| match &carrier.road {
            Road::Http(http) => http.clock(),
            Road::Smtp(_) | Road::Folder(_) | Road::Memory(_) => None,
        };
        self.text.carriers.iter().filter_map(clock).collect()
    }

    fn troubles(&self, now: Timestamp) -> Vec<(Channel, String)> {
        let Ok(rests) = self.text.rests.lock() else { return Vec::new() };
        let named = rests.iter().zip(&self.text.carriers).filter_map(|(rest, carrier)| {
            let rest = rest.as_ref().filter(|rest| rest.until > now)?;
            let name = match &carrier.road {
                Road::Http(http) => http.spec.name.clone(),
                Road::Smtp(_) | Road::Folder(_) | Road::Memory(_) => String::new(),
            };
            Some((Channel::Text, format!("{name}: {}", rest.why)))
        });
        named.collect()
    }
}
