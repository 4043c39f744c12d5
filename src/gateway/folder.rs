//! A folder instead of a carrier: mails as a Maildir of `.eml` files, texts as files with a few header lines.

use super::mail::{self, Identity};
use crate::domain::hash;
use crate::service::ports::{Content, Outcome, Parcel};
use std::io::Write as _;
use std::path::{Path, PathBuf};

/// Hexadecimal digits that tell files of one moment apart (64 bits).
const NAME_DIGITS: usize = 16;

/// The folder of outgoing messages.
pub struct Folder {
    root: PathBuf,
    identity: Identity,
    refuses: Option<Refuses>,
}

/// Which addresses a demonstration lets the carrier refuse.
pub type Refuses = Box<dyn Fn(&str) -> bool + Send + Sync>;

impl Folder {
    /// Makes the folder and its parts ready.
    pub fn open(root: &Path, identity: Identity) -> std::io::Result<Folder> {
        for part in ["mail/tmp", "mail/new", "mail/cur", "texts"] {
            std::fs::create_dir_all(root.join(part))?;
        }
        Ok(Folder { root: root.to_owned(), identity, refuses: None })
    }

    /// Refuses some addresses, as a carrier refuses numbers that are dead.
    #[must_use]
    pub fn refusing(self, refuses: Refuses) -> Folder {
        Folder { refuses: Some(refuses), ..self }
    }

    pub(super) async fn send(&self, parcel: &Parcel) -> Outcome {
        if self.refuses.as_ref().is_some_and(|refuses| refuses(&parcel.to)) {
            return Outcome::Refused { why: "no such address".to_owned(), address: true };
        }
        let name = name(parcel);
        let (path, bytes) = match &parcel.content {
            Content::Text(text) => {
                let head =
                    format!("To: {}\nDate: {}\nReference: {}\n\n", parcel.to, parcel.at, parcel.reference);
                (self.root.join("texts").join(format!("{name}.txt")), (head + text).into_bytes())
            }
            Content::Mail(content) => match mail::build(parcel, content, &self.identity) {
                Ok(message) => (self.root.join("mail/new").join(format!("{name}.eml")), message.formatted()),
                Err(fault) => return Outcome::Refused { why: fault.to_string(), address: true },
            },
        };
        let tmp = self.root.join("mail/tmp").join(&name);
        match tokio::task::spawn_blocking(move || deliver(&tmp, &path, &bytes)).await {
            Ok(Ok(())) => Outcome::Accepted,
            Ok(Err(error)) => {
                Outcome::Unusable { why: format!("the outbox folder cannot be written: {}", error.kind()) }
            }
            Err(_) => Outcome::Uncertain { why: "writing was cut short".to_owned() },
        }
    }
}

/// The name of a parcel's file, without its ending: when, and what. What belongs to no message, such as a reply, is told
/// from others of the same moment by what it is and to whom it goes.
fn name(parcel: &Parcel) -> String {
    let at = parcel.at.as_millisecond();
    if parcel.message != 0 {
        return format!("{at:013}.{}", parcel.message);
    }
    let whose = hash::hex(&hash::sha256(format!("{} {}", parcel.reference, parcel.to).as_bytes()));
    format!("{at:013}.{}", &whose[..NAME_DIGITS])
}

/// Writes aside, makes durable, then moves into place: a file that is there is whole.
fn deliver(tmp: &Path, path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let mut file = std::fs::File::create(tmp)?;
    file.write_all(bytes)?;
    file.sync_data()?;
    std::fs::rename(tmp, path)
}
