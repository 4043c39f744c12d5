//! The page that stops messages to one address, and starts them again.

use askama::Template;

use super::Telephone;
use crate::web::labels::{Labels, fill};

/// What stops.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StopChannel {
    /// E-mail.
    Mail,
    /// Text messages.
    Text,
}

/// The page behind `/stop/TOKEN`: GET shows, POST with `act` = `stop` or `start` acts.
#[derive(Debug, Template)]
#[template(path = "stop.html")]
pub struct StopPage {
    /// Words of the reader's language.
    pub labels: &'static Labels,
    /// Name of the school.
    pub school: String,
    /// What stops.
    pub channel: StopChannel,
    /// The address or number, so far as this reader may see it.
    pub address: String,
    /// Given names of the children it is about; may be empty.
    pub givens: Vec<String>,
    /// Whether messages are stopped now.
    pub stopped: bool,
    /// Address of the family's page, where the link opens that too.
    pub back: Option<String>,
    /// The school's telephone, where families may ring.
    pub telephone: Option<Telephone>,
}

impl StopPage {
    /// The heading.
    pub fn heading(&self) -> String {
        let words = &self.labels.stop;
        let text = match (self.stopped, self.channel) {
            (true, _) => words.stopped_title,
            (false, StopChannel::Mail) => words.mail_title,
            (false, StopChannel::Text) => words.text_title,
        };
        fill(text, &[&self.address])
    }

    /// What stops, in a sentence.
    pub fn what_stops(&self) -> String {
        if self.givens.is_empty() {
            self.labels.stop.what_stops_all.to_owned()
        } else {
            fill(self.labels.stop.what_stops, &[&self.labels.list(&self.givens)])
        }
    }
}
