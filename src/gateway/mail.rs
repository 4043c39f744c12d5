//! A mail as it goes over the wire: text and HTML parts, a calendar, and the headers machines go by.

use crate::service::ports::{MailContent, Parcel};
use lettre::message::header::{ContentType, HeaderName, HeaderValue};
use lettre::message::{Mailbox, Message, MultiPart, SinglePart};
use lettre::{Address, address::AddressError};
use std::time::{Duration, UNIX_EPOCH};

/// Who mails come from.
#[derive(Debug, Clone)]
pub struct Identity {
    /// Sender as shown.
    pub from: Mailbox,
    /// Where answers go.
    pub reply_to: Option<Mailbox>,
    /// Whether the mail server hands `name+detail@…` to the mailbox of `name@…` (RFC 5233).
    pub plus: bool,
    /// Where bounces go (envelope sender).
    pub bounces: Address,
    /// Domain of Message-IDs.
    pub domain: String,
}

/// Why a mail could not be made.
#[derive(Debug, thiserror::Error)]
pub enum MailFault {
    /// The address is none.
    #[error("not a mail address")]
    Address(#[from] AddressError),
    /// The parts do not make a message.
    #[error("the message could not be put together: {0}")]
    Message(#[from] lettre::error::Error),
    /// The instant is outside what a header can say.
    #[error("the date cannot be written")]
    Date,
}

/// The Message-ID of a reference: the same for every attempt, so that a second copy is known as one.
pub fn message_id(reference: &str, domain: &str) -> String {
    format!("<{reference}@{domain}>")
}

/// The address with the token as its detail (RFC 5233), where the mail server knows such.
fn with_detail(address: &Mailbox, plus: bool, token: &str) -> Mailbox {
    let email = &address.email;
    let detailed = format!("{}+{token}@{}", email.user(), email.domain());
    match detailed.parse::<Address>() {
        Ok(email) if plus && !token.is_empty() => Mailbox::new(address.name.clone(), email),
        _ => address.clone(),
    }
}

fn raw(name: &'static str, value: &str) -> HeaderValue {
    HeaderValue::new(HeaderName::new_from_ascii_str(name), value.to_owned())
}

/// Builds a mail (RFC 5322). Headers: Auto-Submitted (RFC 3834 5.2), one-click List-Unsubscribe (RFC 8058), Reply-To.
pub fn build(parcel: &Parcel, mail: &MailContent, identity: &Identity) -> Result<Message, MailFault> {
    let since = u64::try_from(parcel.at.as_millisecond()).map_err(|_| MailFault::Date)?;
    let date = UNIX_EPOCH.checked_add(Duration::from_millis(since)).ok_or(MailFault::Date)?;
    let to = Mailbox::new(None, parcel.to.parse::<Address>()?);
    let mut builder = Message::builder()
        .from(identity.from.clone())
        .to(to)
        .date(date)
        .message_id(Some(message_id(&parcel.reference, &identity.domain)))
        .subject(mail.subject.clone())
        .raw_header(raw("Auto-Submitted", "auto-generated"));
    if !mail.language.is_empty() {
        builder = builder.raw_header(raw("Content-Language", &mail.language));
    }
    if let Some(reply_to) = &identity.reply_to {
        builder = builder.reply_to(with_detail(reply_to, identity.plus, &mail.reply_token));
    }
    if !mail.in_reply_to.is_empty() {
        let answered = format!("<{}>", mail.in_reply_to);
        builder = builder.in_reply_to(answered.clone()).references(answered);
    }
    if !mail.stop_link.is_empty() {
        builder = builder
            .raw_header(raw("List-Unsubscribe", &format!("<{}>", mail.stop_link)))
            .raw_header(raw("List-Unsubscribe-Post", "List-Unsubscribe=One-Click"));
    }
    if mail.html.is_empty() {
        return Ok(builder.singlepart(SinglePart::plain(mail.text.clone()))?);
    }
    let mut parts = MultiPart::alternative()
        .boundary(format!("part-{}", parcel.reference))
        .singlepart(SinglePart::plain(mail.text.clone()))
        .singlepart(SinglePart::html(mail.html.clone()));
    if !mail.calendar.is_empty() {
        parts = parts.singlepart(calendar_part(&mail.calendar));
    }
    Ok(builder.multipart(parts)?)
}

/// The calendar part; its method stands in both places (RFC 6047 2.4).
fn calendar_part(calendar: &str) -> SinglePart {
    let kind =
        ContentType::parse("text/calendar; method=PUBLISH; charset=utf-8").unwrap_or(ContentType::TEXT_PLAIN);
    SinglePart::builder().header(kind).body(calendar.to_owned())
}
