//! One planned message as its family would read it, and a test of it to the coordinator herself.

use super::composing::preview;
use super::office::{Office, OfficeFault};
use super::ports::{Content, Gateway, Outcome, Parcel, Store};
use crate::domain::board::Board;
use crate::domain::hash;
use crate::domain::plan::{self, Wanted};
use crate::domain::reasons;
use crate::domain::season::Channel;
use jiff::Timestamp;
use std::sync::Arc;

/// Hexadecimal digits of a test's reference.
const REFERENCE_DIGITS: usize = 24;
/// What stands before the subject of a test, and before the words of a text.
const MARK: &str = "TEST: ";
/// What a mail's reader is told first.
const MARK_LINE: &str = "This is a test, sent to the coordinator only. No family was told anything by it.";

/// A planned message in its own words.
pub struct Specimen {
    /// The season.
    pub board: Arc<Board>,
    /// The message.
    pub wanted: Wanted,
    /// What its family would read, with a link that opens nothing.
    pub content: Content,
    /// Why it leaves when it does.
    pub why: String,
    /// As of when.
    pub now: Timestamp,
}

/// How a test to the coordinator ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Tested {
    /// No message of that key is planned any more.
    Gone,
    /// The configuration names no address of the coordinator for its channel.
    NoAddress(Channel),
    /// The same form was posted before; nothing was sent again.
    Before,
    /// It was handed over, with what came of it.
    Handed(Channel, Outcome),
}

impl<S: Store, G: Gateway> Office<S, G> {
    /// The planned message of a key in the words its family would read; none if it is not planned any more, or its
    /// wording fails.
    pub async fn specimen(&self, key: &str) -> Result<Option<Specimen>, OfficeFault> {
        let now = self.now();
        let desk = self.desk().await?;
        let mut all = plan::plan(&desk.board, &desk.record, now);
        all.retain(|one| one.key == key);
        let Some(wanted) = all.pop() else { return Ok(None) };
        let old = self.facts_before(&desk, std::slice::from_ref(&wanted)).await?;
        let (known, at) = ((&*desk.board, &desk.record), wanted.due.max(now));
        let content = preview(known, &old, &self.wording, &wanted, &self.ways, at);
        let why = reasons::why(&desk.board, &desk.record, &wanted, now);
        let board = desk.board.clone();
        Ok(content.ok().map(|content| Specimen { board, wanted, content, why, now }))
    }

    /// Sends a planned message's words to the coordinator's own address, marked as a test. It is written down as one
    /// before it leaves and tells nobody anything; `once` names the act, so that it leaves once however often it comes.
    pub async fn send_test(&self, key: &str, once: &str) -> Result<Tested, OfficeFault> {
        let Some(specimen) = self.specimen(key).await? else { return Ok(Tested::Gone) };
        let channel = specimen.wanted.channel;
        let Some((_, to)) = self.ways.coordinator.iter().find(|(by, _)| *by == channel) else {
            return Ok(Tested::NoAddress(channel));
        };
        let season = self.desk().await?.season;
        let external = hash::hex(&hash::sha256(once.as_bytes()));
        let wording = &specimen.wanted.wording;
        if !self.store.note_test(season, &external, channel, wording, specimen.now).await? {
            return Ok(Tested::Before);
        }
        let mut reference = format!("test{external}");
        reference.truncate("test".len() + REFERENCE_DIGITS);
        let content = marked(specimen.content);
        let parcel = Parcel { message: 0, to: to.clone(), reference, at: specimen.now, content };
        let outcome = self.gateway.send(&parcel).await.outcome;
        Ok(Tested::Handed(channel, outcome))
    }
}

/// The words with the mark of a test, and without any way to answer or stop in a family's name.
fn marked(content: Content) -> Content {
    match content {
        Content::Text(words) => Content::Text(format!("{MARK}{words}")),
        Content::Mail(mut mail) => {
            mail.subject = format!("{MARK}{}", mail.subject);
            mail.text = format!("{MARK_LINE}\n\n{}", mail.text);
            mail.html = with_line(&mail.html);
            mail.stop_link.clear();
            mail.reply_token.clear();
            Content::Mail(mail)
        }
    }
}

/// The mark as the first paragraph of an HTML body; before everything where no body begins.
fn with_line(html: &str) -> String {
    let begins = html.find("<body").and_then(|at| Some(at + html[at..].find('>')? + 1)).unwrap_or(0);
    let (head, body) = html.split_at(begins);
    format!("{head}<p><b>{MARK_LINE}</b></p>{body}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::service::ports::MailContent;

    #[test]
    fn a_test_says_so_first_and_answers_for_no_family() {
        let Content::Text(words) = marked(Content::Text("Call 17:00".to_owned())) else { panic!("a text") };
        assert_eq!(words, "TEST: Call 17:00");
        let mail = MailContent {
            subject: "Dress rehearsal".to_owned(),
            text: "Call 17:00".to_owned(),
            html: "<html><body class=\"a\"><p>Call 17:00</p></body></html>".to_owned(),
            calendar: String::new(),
            stop_link: "https://larkmoor.example/s/x".to_owned(),
            reply_token: "x".to_owned(),
            in_reply_to: String::new(),
            language: "en".to_owned(),
        };
        let Content::Mail(mail) = marked(Content::Mail(Box::new(mail))) else { panic!("a mail") };
        assert_eq!(mail.subject, "TEST: Dress rehearsal");
        assert!(mail.text.starts_with(MARK_LINE) && mail.text.ends_with("\n\nCall 17:00"));
        assert!(mail.html.starts_with("<html><body class=\"a\"><p><b>This is a test"), "{}", mail.html);
        assert_eq!((mail.stop_link.as_str(), mail.reply_token.as_str()), ("", ""));
        assert!(with_line("<p>x</p>").ends_with("</b></p><p>x</p>"));
    }
}
