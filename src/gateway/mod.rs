//! The only traffic with the outside world's carriers: one closed enum behind one narrow seam.
//!
//! To add a gateway: one file here, one line in [`Road`] and its two matches.

pub mod folder;
pub mod mail;
pub mod memory;
pub mod smtp;

use crate::domain::season::Channel;
use crate::service::ports::{Gateway, Outcome, Parcel};

/// One way out.
pub enum Road {
    /// A mail server.
    Smtp(Box<smtp::Smtp>),
    /// A folder of files.
    Folder(folder::Folder),
    /// Memory, for tests.
    Memory(memory::Memory),
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

/// The carriers of both channels.
pub struct Gateways {
    /// For mail.
    pub mail: Carrier,
    /// For texts.
    pub text: Carrier,
}

impl Gateways {
    /// The carrier of a channel.
    pub fn carrier(&self, channel: Channel) -> &Carrier {
        match channel {
            Channel::Mail => &self.mail,
            Channel::Text => &self.text,
        }
    }
}

impl Gateway for Gateways {
    async fn send(&self, parcel: &Parcel) -> Outcome {
        let channel = match parcel.content {
            crate::service::ports::Content::Text(_) => Channel::Text,
            crate::service::ports::Content::Mail(_) => Channel::Mail,
        };
        match &self.carrier(channel).road {
            Road::Smtp(smtp) => smtp.send(parcel).await,
            Road::Folder(folder) => folder.send(parcel).await,
            Road::Memory(memory) => memory.send(parcel),
        }
    }

    fn per_second(&self, channel: Channel) -> f64 {
        self.carrier(channel).per_second
    }

    fn sessions(&self, channel: Channel) -> usize {
        self.carrier(channel).sessions
    }
}
