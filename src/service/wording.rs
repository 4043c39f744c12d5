//! Puts letters into words: strict templates in every language, proved at load with every sample.
//!
//! A template that names something no letter has, does not parse, or makes a text too long is a [`Fault`]
//! with its file and line when the program starts, so that it cannot surprise anyone at sending time.

use std::collections::BTreeMap;
use std::path::Path;

use self::tongue::Tongue;
use super::digest::{Digest, DigestKind};
use super::letter::Letter;
use super::reply::{Reply, ReplyKind};

mod files;
mod names;
mod proof;
mod tongue;
pub mod words;

/// The language of last resort.
const LAST_RESORT: &str = "en";

/// Something wrong with a template, told so that its author can mend it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, thiserror::Error)]
#[error("{file}, line {line}: {reason} {cure}")]
pub struct Fault {
    /// The file, as its author knows it.
    pub file: String,
    /// Line, from 1.
    pub line: usize,
    /// What is wrong, one sentence.
    pub reason: String,
    /// What to do next, one sentence.
    pub cure: String,
}

/// A text message in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Worded {
    /// What to send, in one line.
    pub text: String,
    /// The language it is in.
    pub language: String,
    /// Whether the guardian's own language had no templates.
    pub language_fell_back: bool,
    /// Segments it makes.
    pub segments: usize,
    /// Whether no wording fitted the limit, so that this is the shortest that could be had.
    pub too_long: bool,
}

/// A mail in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mail {
    /// Subject, one line.
    pub subject: String,
    /// Plain text part.
    pub text: String,
    /// HTML part.
    pub html: String,
    /// The language it is in.
    pub language: String,
    /// Whether the guardian's own language had no templates.
    pub language_fell_back: bool,
}

/// Every language, ready to use.
pub struct Wording {
    tongues: BTreeMap<String, Tongue>,
}

impl Wording {
    /// Reads the templates inside the program, lays those of `folder` over them file by file, and renders
    /// all of them with every sample.
    ///
    /// # Errors
    /// Everything wrong with any template, ordered by file and line.
    pub fn load(folder: Option<&Path>) -> Result<Wording, Vec<Fault>> {
        let mut faults = Vec::new();
        let mut languages = files::built_in();
        if let Some(folder) = folder {
            files::lay_over(&mut languages, folder, &mut faults);
        }
        let mut tongues = BTreeMap::new();
        for (language, folder) in languages {
            if let Some(tongue) = Tongue::load(&language, &folder, &mut faults) {
                tongue.prove(&mut faults);
                tongues.insert(language, tongue);
            }
        }
        faults.sort();
        faults.dedup();
        if faults.is_empty() { Ok(Wording { tongues }) } else { Err(faults) }
    }

    /// Tags of the languages with templates, in alphabetical order.
    pub fn languages(&self) -> Vec<&str> {
        self.tongues.keys().map(String::as_str).collect()
    }

    /// The text message: the first wording that fits, else the one with the fewest segments.
    ///
    /// # Errors
    /// A template that fails on this letter in spite of the proof at load.
    pub fn text(&self, letter: &Letter) -> Result<Worded, Fault> {
        let (tongue, language_fell_back) = self.tongue(&letter.language, &letter.season_language)?;
        tongue.text(letter, language_fell_back)
    }

    /// The mail.
    ///
    /// # Errors
    /// A template that fails on this letter in spite of the proof at load.
    pub fn mail(&self, letter: &Letter) -> Result<Mail, Fault> {
        let (tongue, language_fell_back) = self.tongue(&letter.language, &letter.season_language)?;
        tongue.mail(letter, language_fell_back)
    }

    /// What is sent straight back to a person's own message, one segment.
    ///
    /// # Errors
    /// A template that fails on this reply in spite of the proof at load.
    pub fn reply(&self, kind: ReplyKind, reply: &Reply) -> Result<String, Fault> {
        self.tongue(&reply.language, &reply.season_language)?.0.reply(kind, reply)
    }

    /// A chaperone's digest as a text, one segment.
    ///
    /// # Errors
    /// A template that fails on this digest in spite of the proof at load.
    pub fn digest_text(&self, kind: DigestKind, digest: &Digest) -> Result<String, Fault> {
        self.tongue(&digest.language, &digest.season_language)?.0.digest_text(kind, digest)
    }

    /// A chaperone's digest as a mail: subject and words.
    ///
    /// # Errors
    /// A template that fails on this digest in spite of the proof at load.
    pub fn digest_mail(&self, kind: DigestKind, digest: &Digest) -> Result<(String, String), Fault> {
        self.tongue(&digest.language, &digest.season_language)?.0.digest_mail(kind, digest)
    }

    /// The guardian's language or its parent (`es` for `es-mx`), else the season's, else English.
    fn tongue(&self, language: &str, season_language: &str) -> Result<(&Tongue, bool), Fault> {
        let own = self.nearest(language).map(|tongue| (tongue, false));
        own.or_else(|| self.nearest(season_language).map(|tongue| (tongue, true)))
            .or_else(|| self.nearest(LAST_RESORT).map(|tongue| (tongue, true)))
            .ok_or_else(|| Fault {
                file: format!("message-templates/{LAST_RESORT}"),
                line: 1,
                reason: "There are no templates in the language of last resort.".to_owned(),
                cure: "Put them back.".to_owned(),
            })
    }

    fn nearest(&self, tag: &str) -> Option<&Tongue> {
        let mut tag = tag.to_lowercase();
        loop {
            if let Some(tongue) = self.tongues.get(&tag) {
                return Some(tongue);
            }
            tag.truncate(tag.rfind(['-', '_'])?);
        }
    }
}
